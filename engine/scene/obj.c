/* engine/scene/obj.c: OBJ with MTL to a scene: the way through a file, and what is told of it. */
#include "engine/scene/obj.h"

#include <string.h>

#include "engine/base/file.h"
#include "engine/scene/obj_read.h"

static lb_status read_lines(obj *o)
{
    while (o->scan.at < o->scan.end) {
        lb_word word = lb_scan_word(&o->scan);

        if (word.count > 0 && word.at[0] != '#') {
            lb_status status = obj_read_line(o, word);

            if (status)
                return status;
        }
        lb_scan_next_line(&o->scan);
    }
    return LB_OK;
}

/* Indices may be ahead of what they name, so they are held against the end of the file. */
static lb_status check_indices(const obj *o)
{
    static const char *const names[] = {"vertex", "texture coordinate", "normal"};
    size_t counts[] = {o->p.place_count, o->p.uv_count, o->p.normal_count};

    for (int i = 0; i < 3; i++)
        if ((uint64_t)o->highest[i].index > counts[i])
            return reader_fail(&o->r, LB_FORMAT, o->highest[i].line,
                               "there is no %s %lld in the file, which has %zu", names[i],
                               (long long)o->highest[i].index, counts[i]);
    return LB_OK;
}

static lb_status check_content(const obj *o)
{
    if (o->p.place_count > 0 || o->p.polygon_count > 0 || o->mtl.library_count > 0 ||
        o->unused.count == 0)
        return LB_OK;
    for (int32_t i = 0; i < o->unused.count; i++)
        if (*o->unused.kinds[i].why)
            return LB_OK;
    return reader_fail(&o->r, LB_FORMAT, o->unused.kinds[0].line, "there is nothing of OBJ in it");
}

static lb_status tell_count(obj *o, lb_fact_kind kind, obj_count count, const char *what)
{
    char where[READER_WHERE];

    if (count.count == 0)
        return LB_OK;
    return reader_fact(&o->r, kind, reader_where(where, o->r.name, count.line), "%s: %lld.", what,
                       (long long)count.count);
}

static lb_status tell_assumptions(obj *o)
{
    reader *r = &o->r;
    lb_status status;

    if ((status = reader_fact(r, LB_FACT_ASSUMED, r->name,
                              "OBJ has no unit and names no axes: its numbers are scene units, y "
                              "is up.")))
        return status;
    if (o->p.polygon_count == 0)
        return reader_fact(r, LB_FACT_DROPPED, r->name, "There are no faces, so nothing is seen.");
    if ((status = reader_fact(r, LB_FACT_ASSUMED, r->name,
                              "OBJ does not tell insides from outsides: faces are seen from both "
                              "sides.")))
        return status;
    if (o->p.uv_count > 0 && (status = reader_fact(r, LB_FACT_CONVERTED, r->name,
                                                   "vt goes up the picture: v is 1 - vt.")))
        return status;
    if (o->p.colors &&
        (status =
             reader_fact(r, LB_FACT_ASSUMED, r->name, "Colours of vertices are taken as sRGB, %s.",
                         o->brightest > 1 ? "0 to 255, as there are some above 1" : "0 to 1")))
        return status;
    if (o->own_normals.count == 0)
        return LB_OK;
    return reader_fact(r, o->has_smooth ? LB_FACT_CONVERTED : LB_FACT_ASSUMED, r->name,
                       o->has_smooth
                           ? "Faces without normals get them: the mean of the faces of their "
                             "smoothing group at each vertex, weighted by angle; flat where there "
                             "is none. Faces: %lld."
                           : "Faces without normals and smoothing groups are flat: %lld.",
                       (long long)o->own_normals.count);
}

static lb_status tell(obj *o)
{
    lb_status status;

    if ((status = tell_assumptions(o)) || (status = mtl_report(&o->r, &o->mtl)) ||
        (status = word_tally_report(&o->r, &o->unused, o->r.name)) ||
        (status = tell_count(o, LB_FACT_DROPPED, o->few_corners,
                             "Faces of one or two corners are left out")) ||
        (status = tell_count(o, LB_FACT_DROPPED, o->weights,
                             "Weights of vertices are for free-form geometry and not used")) ||
        (status =
             tell_count(o, LB_FACT_DROPPED, o->depths, "Third texture coordinates are not used")) ||
        (status = tell_count(o, LB_FACT_ASSUMED, o->vague_uvs,
                             "Texture coordinates that are no finite numbers are (0, 0)")) ||
        (status = tell_count(o, LB_FACT_ASSUMED, o->vague_normals,
                             "Normals without a direction become those of their faces")) ||
        (status = tell_count(o, LB_FACT_CONVERTED, o->several_groups,
                             "Lines with several groups make one, named by all of them")) ||
        (status = tell_count(o, LB_FACT_ASSUMED, o->bad_smooth,
                             "Smoothing groups that are neither a number nor off are off")))
        return status;
    return LB_OK;
}

static lb_status read_all(obj *o)
{
    lb_status status;

    if ((status = read_lines(o)) || (status = check_content(o)) || (status = check_indices(o)) ||
        (status = tell(o)))
        return status;
    if (o->brightest > 1)
        for (size_t i = 0; i < o->p.place_count; i++) {
            lb_vec4 *c = &o->p.colors[i];

            *c = (lb_vec4){c->x / 255, c->y / 255, c->z / 255, 1};
        }
    if (o->p.colors)
        reader_colors(&o->r, o->p.colors, o->p.place_count, true);
    if ((status = reader_told(&o->r, lb_polygons_add_normals(&o->p))))
        return status;
    return obj_build(o);
}

static void clear(obj *o)
{
    lb_polygons_clear(&o->p);
    mtl_set_clear(&o->mtl);
    obj_names_clear(&o->objects);
    obj_names_clear(&o->groups);
    obj_names_clear(&o->uses);
    obj_names_clear(&o->libraries);
    lb_triple_table_clear(&o->item_table);
    lb_triple_table_clear(&o->part_table);
    lb_free(o->items);
    lb_free(o->parts);
    reader_close(&o->r);
    lb_free(o);
}

lb_status lb_obj_read(lb_pool *pool, lb_diag *diag, lb_loc loc, const char *path, const void *bytes,
                      size_t count, const lb_import_options *options, lb_scene **out)
{
    obj *o = lb_alloc(1, sizeof *o);
    lb_status status;

    *out = NULL;
    if (!o)
        return lb_fail(diag, LB_MEMORY, loc, "'%s': no room for this scene", path);
    o->scan = lb_scan_of(bytes, count, true);
    o->object = o->group = o->use = o->part = -1;
    if ((status = reader_open(&o->r, pool, diag, loc, path, options)) == LB_OK)
        status = read_all(o);
    if (status)
        lb_scene_unref(&o->r.scene);
    *out = o->r.scene;
    clear(o);
    return status;
}

/* ---- What lies beside it ---- */

typedef struct {
    lb_diag *diag;
    lb_loc loc;
    lb_import_file_fn fn;
    void *context;
} files_job;

/* A library, and the pictures of all of its materials. One that cannot be read is told of by
 * lb_obj_read. */
static lb_status hand_library(void *context, const char *path)
{
    const files_job *job = context;
    mtl_set set = {0};
    lb_status status = job->fn(job->context, path);

    if (status || !lb_file_exists(path))
        return status;
    status = mtl_read(&set, NULL, job->loc, path);
    if (status != LB_MEMORY)
        status = LB_OK;
    for (size_t i = 0; i < set.material_count && status == LB_OK; i++)
        for (int k = 0; k < MTL_MAP_COUNT && status == LB_OK; k++)
            if (set.materials[i].maps[k].path)
                status = job->fn(job->context, set.materials[i].maps[k].path);
    mtl_set_clear(&set);
    return status;
}

lb_status lb_obj_files(lb_diag *diag, lb_loc loc, const char *path, const void *bytes, size_t count,
                       lb_import_file_fn fn, void *context)
{
    files_job job = {diag, loc, fn, context};
    lb_scan scan = lb_scan_of(bytes, count, true);
    char *folder = lb_path_folder(path);
    lb_status status = folder ? LB_OK : LB_MEMORY;

    while (status == LB_OK && scan.at < scan.end) {
        /* Only lines that begin so are looked at; most do not. */
        if (lb_scan_more(&scan) && *scan.at == 'm' && lb_word_is(lb_scan_word(&scan), "mtllib"))
            status = obj_each_library(folder, lb_scan_rest(&scan), true, hand_library, &job);
        lb_scan_next_line(&scan);
    }
    lb_free(folder);
    return status;
}
