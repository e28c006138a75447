/* engine/scene/ply.c: PLY to a scene. */
#include "engine/scene/ply.h"

#include <string.h>

#include "engine/base/file.h"
#include "engine/scene/ply_read.h"

bool lb_ply_is(const void *bytes, size_t count)
{
    return count >= 5 && memcmp(bytes, "ply", 3) == 0 &&
           (((const char *)bytes)[3] == '\n' || ((const char *)bytes)[3] == '\r');
}

/* Three of a kind or none; x, y, z have to be there if there is a face. */
static lb_status check_header(ply *p)
{
    static const ply_role triples[][3] = {{PLY_NX, PLY_NY, PLY_NZ}, {PLY_RED, PLY_GREEN, PLY_BLUE}};
    ply_header *h = &p->header;
    bool has_faces = false;

    for (int32_t i = 0; i < h->element_count; i++) {
        ply_element *e = &h->elements[i];

        has_faces = has_faces || e->has[PLY_INDICES];
        if (e->kind != PLY_VERTEX)
            continue;
        p->vertex = e;
        if (!e->has[PLY_X] || !e->has[PLY_Y] || !e->has[PLY_Z])
            return reader_fail(&p->r, LB_FORMAT, e->line, "vertices without x, y and z");
        for (size_t k = 0; k < 2; k++)
            if (!e->has[triples[k][1]] || !e->has[triples[k][2]])
                e->has[triples[k][0]] = false;
        e->has[PLY_U] = e->has[PLY_U] && e->has[PLY_V];
    }
    if (has_faces && !p->vertex)
        return reader_fail(&p->r, LB_FORMAT, 0, "faces without vertices");
    return LB_OK;
}

static void show(lb_word word, char out[48])
{
    snprintf(out, 48, "%.*s", word.count < 40 ? (int)word.count : 40, word.at);
}

/* What the header has and nothing is made of. */
static lb_status tell_unused(ply *p)
{
    char where[READER_WHERE], name[48], element[48];
    const ply_header *h = &p->header;
    lb_status status = LB_OK;

    for (int32_t i = 0; i < h->element_count && status == LB_OK; i++) {
        const ply_element *e = &h->elements[i];

        reader_where(where, p->r.name, e->line);
        show(e->name, element);
        if (e->kind == PLY_OTHER) {
            status = reader_fact(&p->r, LB_FACT_DROPPED, where, "Elements '%s' are not used: %lld.",
                                 element, (long long)e->count);
            continue;
        }
        for (int32_t k = 0; k < e->property_count && status == LB_OK; k++) {
            const ply_property *property = &e->properties[k];
            bool is_used = property->role != PLY_NOTHING;

            if (e->kind == PLY_VERTEX && is_used)
                is_used =
                    property->role <= PLY_Z || (property->role <= PLY_NZ && e->has[PLY_NX]) ||
                    (property->role >= PLY_RED && property->role <= PLY_ALPHA && e->has[PLY_RED]) ||
                    (property->role >= PLY_U && e->has[PLY_U]);
            else if (property->role == PLY_TEXCOORD)
                is_used = !p->vertex || !p->vertex->has[PLY_U];
            show(property->name, name);
            if (!is_used)
                status = reader_fact(&p->r, LB_FACT_DROPPED, where,
                                     "The property '%s' of '%s' is not used.", name, element);
        }
    }
    return status;
}

static lb_status tell_count(ply *p, lb_fact_kind kind, int64_t count, const char *what)
{
    return count == 0 ? LB_OK
                      : reader_fact(&p->r, kind, p->r.name, "%s: %lld.", what, (long long)count);
}

static bool is_encoded(const ply *p)
{
    for (int32_t i = 0; i < p->vertex->property_count; i++)
        if (p->vertex->properties[i].role == PLY_RED)
            return p->vertex->properties[i].type < PLY_F32;
    return false;
}

static lb_status tell(ply *p)
{
    reader *r = &p->r;
    const lb_polygons *g = &p->p;
    lb_status status;

    if ((status = reader_fact(r, LB_FACT_ASSUMED, r->name,
                              "PLY has no unit and names no axes: its numbers are scene units, y "
                              "is up.")) ||
        (status = tell_unused(p)) ||
        (status = tell_count(p, LB_FACT_DROPPED, p->few_corners,
                             "Faces of one or two corners are left out")) ||
        (status = tell_count(p, LB_FACT_CONVERTED, p->strips,
                             "Strips are taken apart into triangles")) ||
        (status = tell_count(p, LB_FACT_CONVERTED, p->connectors,
                             "Triangles with a corner twice, which join strips, are left out")) ||
        (status = tell_count(p, LB_FACT_DROPPED, p->odd_texcoord,
                             "Faces whose texcoord has not two numbers a corner go without")) ||
        (status = tell_count(p, LB_FACT_ASSUMED, p->vague_uvs,
                             "Texture coordinates that are no finite numbers are (0, 0)")) ||
        (status = tell_count(p, LB_FACT_ASSUMED, p->vague_normals,
                             "Normals without a direction become those of their faces")))
        return status;
    if (g->polygon_count == 0)
        return reader_fact(r, LB_FACT_DROPPED, r->name,
                           "There are no faces, so nothing is seen; points: %lld.",
                           (long long)g->place_count);
    if ((status = reader_fact(r, LB_FACT_ASSUMED, r->name,
                              "PLY does not tell insides from outsides: faces are seen from both "
                              "sides.")))
        return status;
    if (!p->vertex->has[PLY_NX] &&
        (status = reader_fact(r, LB_FACT_ASSUMED, r->name,
                              "There are no normals, and PLY has no smoothing: faces are flat.")))
        return status;
    if (g->uvs && (status = reader_fact(r, LB_FACT_ASSUMED, r->name,
                                        "Texture coordinates go up the picture: v is 1 - v.")))
        return status;
    if (g->colors &&
        (status = reader_fact(r, LB_FACT_ASSUMED, r->name, "Colours of vertices are taken as %s.",
                              is_encoded(p) ? "sRGB, as they are whole numbers"
                                            : "linear, as they are floats")))
        return status;
    return LB_OK;
}

static lb_status add_picture(ply *p, lb_material *m)
{
    picture_wish wish = {.use = PICTURE_COLOR, .gain = 1};
    lb_texture_map map = lb_texture_map_default();
    char where[READER_WHERE], *path;
    const lb_texture *picture;
    lb_texture *texture;
    lb_status status;

    if (p->header.picture.count == 0 || !p->p.uvs)
        return LB_OK;
    reader_where(where, p->r.name, p->header.picture_line);
    if ((status = reader_path(p->r.folder, p->header.picture, NULL, &path)) == LB_MEMORY)
        return reader_no_memory(&p->r);
    if (status)
        return LB_OK;
    status = reader_picture(&p->r, where, path, &wish, &picture, NULL);
    lb_free(path);
    if (status || !picture)
        return status;
    if ((status = reader_told(&p->r, lb_texture_with_map(picture, &map, &texture))))
        return status;
    lb_material_set_map(m, LB_SLOT_DIFFUSE, texture);
    lb_texture_unref(&texture);
    m->diffuse = reader_color(&p->r, (const double[3]){1, 1, 1}, false);
    return LB_OK;
}

static lb_status make_material(ply *p, lb_material **out)
{
    static const double white[3] = {1, 1, 1}, grey[3] = {0.8, 0.8, 0.8};
    lb_material *m;
    lb_status status = reader_told(&p->r, lb_material_new("", out));

    if (status)
        return status;
    m = *out;
    m->diffuse = m->base_color = reader_color(&p->r, p->p.colors ? white : grey, false);
    m->double_sided = true;
    m->alpha_mode = p->has_clear ? LB_ALPHA_BLEND : LB_ALPHA_OPAQUE;
    if ((status = add_picture(p, m)))
        return status;
    return reader_fact(&p->r, LB_FACT_ASSUMED, p->r.name, "PLY has no materials: %s.",
                       m->maps[LB_SLOT_DIFFUSE] ? "the picture of its comment, without highlights"
                       : p->p.colors            ? "white, under the colours of the vertices"
                                                : "a diffuse colour of 0.8 alone");
}

static lb_status make_mesh(ply *p, const char *name, lb_mesh **out)
{
    lb_polygons_tally tally = {0};
    lb_cutter cutter = {0};
    uint32_t *order = lb_alloc(p->p.polygon_count, sizeof *order);
    lb_status status = order ? lb_mesh_new(name, 1, out) : LB_MEMORY;

    for (size_t i = 0; order && i < p->p.polygon_count; i++)
        order[i] = (uint32_t)i;
    if (status == LB_OK)
        status = lb_polygons_primitive(&p->p, order, p->p.polygon_count, &cutter, &tally,
                                       &(*out)->primitives[0]);
    if (status == LB_OK)
        status = lb_mesh_finish(*out);
    lb_free(order);
    lb_cutter_clear(&cutter);
    status = reader_told(&p->r, status);
    return status ? status : reader_tally(&p->r, &tally);
}

static lb_status build(ply *p)
{
    lb_mesh *mesh = NULL;
    lb_item *item;
    char *name;
    lb_status status;

    if (p->p.polygon_count == 0)
        return LB_OK;
    if (p->p.colors)
        reader_colors(&p->r, p->p.colors, p->p.place_count, is_encoded(p));
    if ((status = reader_told(&p->r, lb_polygons_add_normals(&p->p))) ||
        (status = reader_stem(&p->r, &name)))
        return status;
    if ((status = make_mesh(p, name, &mesh)) == LB_OK &&
        (status = make_material(p, &mesh->primitives[0].material)) == LB_OK)
        status =
            reader_told(&p->r, lb_scene_add_item(p->r.scene, name, name, LB_ITEM_MESH, -1, &item));
    if (status)
        lb_mesh_unref(&mesh);
    else
        item->mesh = mesh;
    lb_free(name);
    return status;
}

lb_status lb_ply_read(lb_pool *pool, lb_diag *diag, lb_loc loc, const char *path, const void *bytes,
                      size_t count, const lb_import_options *options, lb_scene **out)
{
    ply *p = lb_alloc(1, sizeof *p);
    lb_status status;

    *out = NULL;
    if (!p)
        return lb_fail(diag, LB_MEMORY, loc, "'%s': no room for this scene", path);
    if ((status = reader_open(&p->r, pool, diag, loc, path, options)) == LB_OK &&
        (status = ply_header_read(&p->r, bytes, count, &p->header)) == LB_OK &&
        (status = check_header(p)) == LB_OK) {
        p->at = p->header.data;
        p->end = (const uint8_t *)bytes + count;
        p->scan = (lb_scan){(const char *)p->at, (const char *)p->end, p->header.data_line, false};
        if ((status = ply_data_read(p)) == LB_OK && (status = tell(p)) == LB_OK)
            status = build(p);
    }
    if (status)
        lb_scene_unref(&p->r.scene);
    *out = p->r.scene;
    lb_polygons_clear(&p->p);
    lb_free(p->indices);
    lb_free(p->texcoord);
    reader_close(&p->r);
    lb_free(p);
    return status;
}

lb_status lb_ply_files(lb_diag *diag, lb_loc loc, const char *path, const void *bytes, size_t count,
                       lb_import_file_fn fn, void *context)
{
    lb_import_options options = {LB_SPACE_LINEAR_REC709};
    ply *p = lb_alloc(1, sizeof *p);
    char *picture;
    lb_status status;

    (void)diag;
    if (!p)
        return LB_MEMORY;
    if ((status = reader_open(&p->r, NULL, NULL, loc, path, &options)) == LB_OK &&
        ply_header_read(&p->r, bytes, count, &p->header) == LB_OK && p->header.picture.count > 0) {
        status = reader_path(p->r.folder, p->header.picture, NULL, &picture);
        if (status == LB_OK) {
            status = fn(context, picture);
            lb_free(picture);
        } else if (status != LB_MEMORY) {
            status = LB_OK;
        }
    }
    lb_scene_unref(&p->r.scene);
    reader_close(&p->r);
    lb_free(p);
    return status;
}
