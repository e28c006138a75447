/* engine/scene/stl.c: STL to a scene. "StereoLithography Interface Specification", 1989: facets of
 * a normal and three corners, 32-bit little-endian floats in the binary form. */
#include "engine/scene/stl.h"

#include <math.h>
#include <string.h>

#include "engine/scene/mesh_read.h"

#define HEADER 84 /* 80 bytes of anything, and a count */
#define FACET 50  /* a normal, three corners, two bytes more */

typedef struct {
    reader r;
    lb_scan scan;
    lb_vec3 *positions, *normals; /* 3 a triangle */
    size_t position_capacity, normal_capacity, corners;
    char *name; /* of the solid */
    lb_material *material;
    int64_t vague_normals, turned_normals, attributes;
} stl;

static uint32_t word_at(const uint8_t *at)
{
    return at[0] | (uint32_t)at[1] << 8 | (uint32_t)at[2] << 16 | (uint32_t)at[3] << 24;
}

static float float_at(const uint8_t *at)
{
    uint32_t bits = word_at(at);
    float value;

    memcpy(&value, &bits, sizeof value);
    return value;
}

static bool is_binary(const uint8_t *bytes, size_t count)
{
    return count >= HEADER && (uint64_t)word_at(bytes + 80) * FACET + HEADER == count;
}

/* The first word is "solid", as many binary files begin too. */
static bool begins_solid(const void *bytes, size_t count)
{
    lb_scan scan = lb_scan_of(bytes, count, false);

    return lb_word_is_like(lb_scan_word_anywhere(&scan), "solid");
}

/* A text goes on with a facet or ends. */
static bool is_text(const void *bytes, size_t count)
{
    lb_scan scan = lb_scan_of(bytes, count, false);
    lb_word word;

    if (!begins_solid(bytes, count))
        return false;
    lb_scan_word_anywhere(&scan);
    lb_scan_next_line(&scan);
    word = lb_scan_word_anywhere(&scan);
    return lb_word_is_like(word, "facet") || lb_word_is_like(word, "endsolid");
}

bool lb_stl_is(const void *bytes, size_t count)
{
    return is_binary(bytes, count) || is_text(bytes, count);
}

/* What is neither for sure, being damaged: a text has no zeros. */
static bool takes_as_text(const void *bytes, size_t count)
{
    if (is_binary(bytes, count) || !begins_solid(bytes, count))
        return false;
    return is_text(bytes, count) || !memchr(bytes, 0, count < 512 ? count : 512);
}

/* ---- Triangles ---- */

/* Of the corners, by the right-hand rule; zeros without area. */
static lb_vec3d made_normal(const lb_vec3 *corner)
{
    return lb_polygon_area2(corner, 3);
}

static lb_status add_facet(stl *s, lb_vec3 normal, const lb_vec3 corners[3])
{
    lb_vec3d made = made_normal(corners);
    double along = made.x * normal.x + made.y * normal.y + made.z * normal.z;
    bool is_vague = !isfinite(normal.x) || !isfinite(normal.y) || !isfinite(normal.z) ||
                    (normal.x == 0 && normal.y == 0 && normal.z == 0);

    if (s->corners > INT32_MAX - 3)
        return reader_told(&s->r, LB_LIMIT);
    for (int i = 0; i < 3; i++) {
        if (!lb_grow((void **)&s->positions, &s->position_capacity, s->corners,
                     sizeof *s->positions) ||
            !lb_grow((void **)&s->normals, &s->normal_capacity, s->corners, sizeof *s->normals))
            return reader_no_memory(&s->r);
        s->positions[s->corners] = corners[i];
        s->normals[s->corners] = is_vague ? (lb_vec3){0, 0, 0} : normal;
        s->corners++;
    }
    s->vague_normals += is_vague;
    s->turned_normals += !is_vague && along < 0;
    return LB_OK;
}

static lb_status fill_mesh(stl *s, lb_mesh *mesh)
{
    lb_primitive *p = &mesh->primitives[0];

    if (s->corners == 0)
        return LB_OK;
    if (!(p->positions = lb_alloc(s->corners, sizeof *p->positions)) ||
        !(p->normals = lb_alloc(s->corners, sizeof *p->normals)) ||
        !(p->indices = lb_alloc(s->corners, sizeof *p->indices)))
        return LB_MEMORY;
    memcpy(p->positions, s->positions, s->corners * sizeof *p->positions);
    memcpy(p->normals, s->normals, s->corners * sizeof *p->normals);
    for (size_t i = 0; i < s->corners; i++)
        p->indices[i] = (uint32_t)i;
    p->vertex_count = (int32_t)s->corners;
    p->triangle_count = (int32_t)(s->corners / 3);
    return lb_mesh_finish(mesh);
}

static lb_status add_material(stl *s)
{
    static const double grey[3] = {0.8, 0.8, 0.8};
    lb_status status;

    if (s->material)
        return LB_OK;
    if ((status = reader_told(&s->r, lb_material_new("", &s->material))))
        return status;
    s->material->diffuse = s->material->base_color = reader_color(&s->r, grey, false);
    s->material->double_sided = true;
    return LB_OK;
}

/* The facets so far as an item; the next solid begins anew. */
static lb_status end_solid(stl *s)
{
    lb_mesh *mesh = NULL;
    lb_item *item;
    lb_status status = add_material(s);

    if (status == LB_OK)
        status = reader_told(&s->r, lb_mesh_new(s->name, 1, &mesh));
    if (status == LB_OK) {
        mesh->primitives[0].material = lb_material_ref(s->material);
        status = reader_told(&s->r, fill_mesh(s, mesh));
    }
    if (status == LB_OK)
        status = reader_told(
            &s->r, lb_scene_add_item(s->r.scene, s->name, s->name, LB_ITEM_MESH, -1, &item));
    if (status)
        lb_mesh_unref(&mesh);
    else
        item->mesh = mesh;
    s->corners = 0;
    lb_free(s->name);
    s->name = NULL;
    return status;
}

/* ---- Binary ---- */

static lb_status read_binary(stl *s, const uint8_t *bytes, size_t count)
{
    uint64_t facets = count >= HEADER ? word_at(bytes + 80) : 0;
    lb_status status;

    if (count < HEADER)
        return reader_fail(&s->r, LB_FORMAT, 0, "the file ends within its header");
    if (facets * FACET + HEADER > count)
        return reader_fail(
            &s->r, LB_FORMAT, 0, "%zu bytes are there; %llu triangles take %llu, and it is no text",
            count, (unsigned long long)facets, (unsigned long long)(facets * FACET + HEADER));
    if (facets * FACET + HEADER < count &&
        (status =
             reader_fact(&s->r, LB_FACT_DROPPED, s->r.name, "Bytes behind the last triangle: %llu.",
                         (unsigned long long)(count - HEADER - facets * FACET))))
        return status;
    if ((status = reader_stem(&s->r, &s->name)))
        return status;
    for (uint64_t i = 0; i < facets && status == LB_OK; i++) {
        const uint8_t *at = bytes + HEADER + i * FACET;
        float v[12];
        lb_vec3 corners[3];

        for (int k = 0; k < 12; k++) {
            v[k] = float_at(at + 4 * k);
            if (k >= 3 && !isfinite(v[k]))
                return reader_fail(&s->r, LB_FORMAT, 0,
                                   "triangle %llu has a corner that is nowhere",
                                   (unsigned long long)i + 1);
        }
        for (int k = 0; k < 3; k++)
            corners[k] = (lb_vec3){v[3 * k + 3], v[3 * k + 4], v[3 * k + 5]};
        s->attributes += at[48] || at[49];
        status = add_facet(s, (lb_vec3){v[0], v[1], v[2]}, corners);
    }
    return status ? status : end_solid(s);
}

/* ---- Text ---- */

static lb_status expect(stl *s, const char *wanted)
{
    lb_word word = lb_scan_word_anywhere(&s->scan);

    if (lb_word_is_like(word, wanted))
        return LB_OK;
    if (word.count == 0)
        return reader_fail(&s->r, LB_FORMAT, s->scan.line, "the file ends where '%s' should be",
                           wanted);
    return reader_fail(&s->r, LB_FORMAT, s->scan.line, "'%.*s' where '%s' should be",
                       word.count < 40 ? (int)word.count : 40, word.at, wanted);
}

/* Three numbers; those of a corner have to be finite. */
static lb_status read_vector(stl *s, bool is_corner, lb_vec3 *out)
{
    float v[3];

    for (int i = 0; i < 3; i++) {
        lb_word word = lb_scan_word_anywhere(&s->scan);
        double value;
        lb_numeral kind = lb_word_number(word, &value);

        if (kind == LB_NUMERAL_NONE)
            return reader_fail(&s->r, LB_FORMAT, s->scan.line, "'%.*s' is no number",
                               word.count < 40 ? (int)word.count : 40, word.at);
        v[i] = (float)value;
        if (is_corner && !isfinite(v[i]))
            return reader_fail(&s->r, LB_FORMAT, s->scan.line, "a corner that is nowhere");
    }
    *out = (lb_vec3){v[0], v[1], v[2]};
    return LB_OK;
}

/* facet normal x y z, outer loop, three times vertex x y z, endloop, endfacet; the first word was
 * taken. */
static lb_status read_facet(stl *s)
{
    lb_vec3 normal, corners[3];
    lb_status status;

    if ((status = expect(s, "normal")) || (status = read_vector(s, false, &normal)) ||
        (status = expect(s, "outer")) || (status = expect(s, "loop")))
        return status;
    for (int i = 0; i < 3; i++)
        if ((status = expect(s, "vertex")) || (status = read_vector(s, true, &corners[i])))
            return status;
    if ((status = expect(s, "endloop")) || (status = expect(s, "endfacet")))
        return status;
    return add_facet(s, normal, corners);
}

/* One solid behind its first word. */
static lb_status read_solid(stl *s)
{
    lb_word name = lb_scan_rest(&s->scan);
    lb_status status =
        name.count > 0 ? reader_name(&s->r, name, &s->name) : reader_stem(&s->r, &s->name);

    lb_scan_next_line(&s->scan);
    while (status == LB_OK) {
        lb_word word = lb_scan_word_anywhere(&s->scan);

        if (lb_word_is_like(word, "endsolid")) {
            lb_scan_next_line(&s->scan);
            return end_solid(s);
        }
        if (lb_word_is_like(word, "facet"))
            status = read_facet(s);
        else if (word.count == 0)
            status = reader_fail(&s->r, LB_FORMAT, s->scan.line, "the file ends within a solid");
        else
            status = reader_fail(&s->r, LB_FORMAT, s->scan.line,
                                 "'%.*s' where a facet or the end of the solid should be",
                                 word.count < 40 ? (int)word.count : 40, word.at);
    }
    return status;
}

static lb_status read_text(stl *s)
{
    lb_status status = LB_OK;
    lb_word word;

    while (status == LB_OK && (word = lb_scan_word_anywhere(&s->scan)).count > 0) {
        if (!lb_word_is_like(word, "solid"))
            return reader_fail(&s->r, LB_FORMAT, s->scan.line, "'%.*s' where a solid should be",
                               word.count < 40 ? (int)word.count : 40, word.at);
        status = read_solid(s);
    }
    return status;
}

static lb_status tell(stl *s)
{
    reader *r = &s->r;
    lb_status status;

    if ((status = reader_fact(r, LB_FACT_ASSUMED, r->name,
                              "STL has no unit and names no axes: its numbers are scene units, y "
                              "is up.")) ||
        (status = reader_fact(r, LB_FACT_ASSUMED, r->name,
                              "STL has no materials: a diffuse colour of 0.8 alone, seen from both "
                              "sides.")))
        return status;
    if (s->vague_normals > 0 &&
        (status = reader_fact(r, LB_FACT_ASSUMED, r->name,
                              "Facets without a normal get it from their corners: %lld.",
                              (long long)s->vague_normals)))
        return status;
    if (s->turned_normals > 0 &&
        (status = reader_fact(r, LB_FACT_ASSUMED, r->name,
                              "Facets whose normal is against their corners' order keep both: "
                              "%lld.",
                              (long long)s->turned_normals)))
        return status;
    if (s->attributes > 0)
        return reader_fact(r, LB_FACT_DROPPED, r->name,
                           "Attributes of triangles, which are colours in some files: %lld.",
                           (long long)s->attributes);
    return LB_OK;
}

lb_status lb_stl_read(lb_pool *pool, lb_diag *diag, lb_loc loc, const char *path, const void *bytes,
                      size_t count, const lb_import_options *options, lb_scene **out)
{
    stl s = {.scan = lb_scan_of(bytes, count, false)};
    lb_status status;

    *out = NULL;
    if ((status = reader_open(&s.r, pool, diag, loc, path, options)) == LB_OK)
        status = takes_as_text(bytes, count) ? read_text(&s) : read_binary(&s, bytes, count);
    if (status == LB_OK)
        status = tell(&s);
    if (status)
        lb_scene_unref(&s.r.scene);
    *out = s.r.scene;
    lb_free(s.positions);
    lb_free(s.normals);
    lb_free(s.name);
    lb_material_unref(&s.material);
    reader_close(&s.r);
    return status;
}
