/* engine/scene/fbx.c: an FBX file to a scene: order of reading, and what it refers to. */
#include "engine/scene/fbx.h"

#include "engine/base/file.h"
#include "engine/scene/fbx_read.h"

bool lb_fbx_is(const void *bytes, size_t count)
{
    return fbx_is_binary(bytes, count) || fbx_is_text(bytes, count);
}

/* Where a text file goes wrong is told by line, a binary one by byte. */
static lb_status tell_problem(lb_diag *diag, lb_loc loc, const char *path,
                              const fbx_document *document, lb_status status)
{
    const char *bytes = (const char *)document->bytes;
    size_t line = 1;

    if (document->is_binary)
        return lb_fail(diag, status, loc, "'%s': byte %zu: %s", path, document->problem_at,
                       document->problem);
    for (size_t i = 0; i < document->problem_at && i < document->byte_count; i++)
        line += bytes[i] == '\n';
    return lb_fail(diag, status, loc, "'%s': line %zu: %s", path, line, document->problem);
}

static lb_status open_lists(fbx *g)
{
    if (g->object_count == 0)
        return LB_OK;
    g->images = lb_alloc(g->object_count, sizeof *g->images);
    g->materials = lb_alloc(g->object_count, sizeof *g->materials);
    g->made = lb_alloc(g->object_count, sizeof *g->made);
    return g->images && g->materials && g->made ? LB_OK : fbx_no_memory(g);
}

static lb_status open_document(fbx *g, const void *bytes, size_t count)
{
    lb_status status;

    if (!lb_fbx_is(bytes, count))
        return fbx_fail(g, LB_FORMAT, "", "this is no FBX");
    if ((status = fbx_parse(bytes, count, &g->document)))
        return tell_problem(g->diag, g->loc, g->path, &g->document, status);
    if (!(g->folder = lb_path_folder(g->path)))
        return fbx_no_memory(g);
    if ((status = fbx_told(g, lb_scene_new(&g->scene))))
        return status;
    return fbx_objects_read(g);
}

static void clear(fbx *g)
{
    for (size_t i = 0; i < g->object_count; i++) {
        for (int use = 0; g->images && use < LB_PICTURE_USE_COUNT; use++)
            lb_texture_unref(&g->images[i].textures[use]);
        if (g->made)
            lb_mesh_unref(&g->made[i].mesh);
        if (g->materials)
            lb_material_unref(&g->materials[i]);
    }
    for (size_t i = 0; i < g->curve_count; i++) {
        fbx_curve_clear(g->curves[i]);
        lb_free(g->curves[i]);
    }
    lb_material_unref(&g->plain);
    lb_free(g->curves);
    lb_free(g->images);
    lb_free(g->made);
    lb_free(g->materials);
    lb_free(g->models);
    lb_free(g->model_of);
    lb_free(g->objects);
    lb_free(g->links);
    lb_free(g->ups);
    lb_free(g->downs);
    lb_free(g->folder);
    fbx_document_clear(&g->document);
}

static lb_status read_all(fbx *g, const void *bytes, size_t count)
{
    lb_status status;

    if ((status = open_document(g, bytes, count)) || (status = open_lists(g)) ||
        (status = fbx_settings_read(g)) || (status = fbx_models_read(g)) ||
        (status = fbx_animations_read(g)))
        return status;
    fbx_rest_report(g);
    return g->is_full ? fbx_no_memory(g) : LB_OK;
}

lb_status lb_fbx_read(lb_pool *pool, lb_diag *diag, lb_loc loc, const char *path, const void *bytes,
                      size_t count, const lb_fbx_options *options, lb_scene **out)
{
    fbx g = {.pool = pool, .diag = diag, .loc = loc, .path = path, .options = options};
    lb_status status;

    lb_space_matrix(LB_SPACE_LINEAR_REC709, options->working, g.to_working);
    status = read_all(&g, bytes, count);
    if (status)
        lb_scene_unref(&g.scene);
    *out = g.scene;
    clear(&g);
    return status;
}

static lb_status each_place(fbx *g, lb_fbx_file_fn fn, void *context)
{
    lb_status status = LB_OK;

    for (size_t i = 0; i < g->object_count && status == LB_OK; i++) {
        char *places[FBX_PLACES];

        if (!fbx_is_class(&g->objects[i], "Texture"))
            continue;
        if ((status = fbx_image_places(g, &g->objects[i], places)))
            return status;
        for (int k = 0; k < FBX_PLACES; k++) {
            if (places[k] && status == LB_OK)
                status = fn(context, places[k]);
            lb_free(places[k]);
        }
    }
    return status;
}

lb_status lb_fbx_files(lb_diag *diag, lb_loc loc, const char *path, const void *bytes, size_t count,
                       lb_fbx_file_fn fn, void *context)
{
    fbx g = {.diag = diag, .loc = loc, .path = path};
    lb_status status = open_document(&g, bytes, count);

    if (status == LB_OK)
        status = each_place(&g, fn, context);
    lb_scene_unref(&g.scene);
    clear(&g);
    return status;
}
