/* engine/scene/ply_data.c: the rows of PLY's elements. */
#include <math.h>
#include <string.h>

#include "engine/scene/ply_read.h"

static const size_t sizes[] = {1, 1, 2, 2, 4, 4, 4, 8};

static lb_status fail_row(const ply *p, const ply_element *e, int64_t row, const char *what)
{
    return reader_fail(&p->r, LB_FORMAT, p->header.is_text ? p->scan.line : 0,
                       "'%.*s' %lld of %lld: %s", e->name.count < 40 ? (int)e->name.count : 40,
                       e->name.at, (long long)row + 1, (long long)e->count, what);
}

static double binary_value(const uint8_t *at, ply_type type, bool is_big)
{
    uint64_t bits = 0;
    size_t size = sizes[type];
    uint32_t half;
    float single;
    double value;

    for (size_t i = 0; i < size; i++)
        bits |= (uint64_t)at[is_big ? size - 1 - i : i] << 8 * i;
    half = (uint32_t)bits;
    switch (type) {
    case PLY_I8:
        return (int8_t)bits;
    case PLY_I16:
        return (int16_t)bits;
    case PLY_I32:
        return (int32_t)half;
    case PLY_F32:
        memcpy(&single, &half, sizeof single);
        return single;
    case PLY_F64:
        memcpy(&value, &bits, sizeof value);
        return value;
    default:
        return (double)bits;
    }
}

/* The next number, whatever its row; false at the end of the file, or if it is none. */
static bool read_value(ply *p, ply_type type, double *out)
{
    if (p->header.is_text)
        return lb_word_number(lb_scan_word_anywhere(&p->scan), out) != LB_NUMERAL_NONE;
    if ((size_t)(p->end - p->at) < sizes[type])
        return false;
    *out = binary_value(p->at, type, p->header.is_big);
    p->at += sizes[type];
    return true;
}

static size_t bytes_left(const ply *p)
{
    return p->header.is_text ? (size_t)(p->scan.end - p->scan.at) : (size_t)(p->end - p->at);
}

static const char broken[] = "the file ends in it, or something in it is no number";

/* A list into `list` (NULL: past it). */
static lb_status read_list(ply *p, const ply_element *e, int64_t row, const ply_property *property,
                           double **list, size_t *capacity, size_t *count)
{
    double number, ignored;

    if (!read_value(p, property->count_type, &number))
        return fail_row(p, e, row, broken);
    /* A number takes a byte at least, so that no count asks for more memory than the file has. */
    if (!(number >= 0) || number != floor(number) || number > (double)bytes_left(p))
        return fail_row(p, e, row, "a list of a length that cannot be");
    *count = (size_t)number;
    if (list && *capacity < *count) {
        lb_free(*list);
        *capacity = 0;
        if (!(*list = lb_alloc(*count * 2, sizeof **list)))
            return reader_no_memory(&p->r);
        *capacity = *count * 2;
    }
    for (size_t i = 0; i < *count; i++)
        if (!read_value(p, property->type, list ? &(*list)[i] : &ignored))
            return fail_row(p, e, row, broken);
    return LB_OK;
}

/* ---- Vertices ---- */

static lb_status grow_vertex(ply *p, const ply_element *e)
{
    lb_polygons *g = &p->p;

    if (g->place_count >= INT32_MAX)
        return reader_told(&p->r, LB_LIMIT);
    if (!lb_grow((void **)&g->places, &g->place_capacity, g->place_count, sizeof *g->places) ||
        (e->has[PLY_NX] &&
         !lb_grow((void **)&g->normals, &g->normal_capacity, g->place_count, sizeof *g->normals)) ||
        (e->has[PLY_U] &&
         !lb_grow((void **)&g->uvs, &g->uv_capacity, g->place_count, sizeof *g->uvs)) ||
        (e->has[PLY_RED] &&
         !lb_grow((void **)&g->colors, &g->color_capacity, g->place_count, sizeof *g->colors)))
        return reader_no_memory(&p->r);
    return LB_OK;
}

/* Whole numbers are parts of the largest. */
static float color_part(const double v[PLY_SCALARS], ply_role role, ply_type type)
{
    static const double whole[] = {127, 255, 32767, 65535, 2147483647, 4294967295, 1, 1};
    double c = v[role] / whole[type];

    return (float)(c > 0 ? (c < 1e6 ? c : 1e6) : 0); /* NaN becomes 0 too */
}

static lb_status add_vertex(ply *p, const ply_element *e, int64_t row, const double v[PLY_SCALARS],
                            const ply_type types[PLY_SCALARS])
{
    lb_polygons *g = &p->p;
    lb_status status = grow_vertex(p, e);
    size_t at = g->place_count;

    if (status)
        return status;
    for (int i = PLY_X; i <= PLY_Z; i++)
        if (!isfinite((float)v[i]))
            return fail_row(p, e, row, "it is nowhere: a coordinate is no finite number");
    g->places[at] = (lb_vec3){(float)v[PLY_X], (float)v[PLY_Y], (float)v[PLY_Z]};
    if (e->has[PLY_NX]) {
        lb_vec3 n = {(float)v[PLY_NX], (float)v[PLY_NY], (float)v[PLY_NZ]};
        bool is_vague = !isfinite(n.x) || !isfinite(n.y) || !isfinite(n.z) ||
                        (n.x == 0 && n.y == 0 && n.z == 0);

        p->vague_normals += is_vague;
        g->normals[at] = is_vague ? (lb_vec3){0, 0, 0} : n;
        g->normal_count++;
    }
    if (e->has[PLY_U]) {
        bool is_vague = !isfinite((float)v[PLY_U]) || !isfinite((float)v[PLY_V]);

        p->vague_uvs += is_vague;
        g->uvs[at] = is_vague ? (lb_vec2){0, 0} : (lb_vec2){(float)v[PLY_U], (float)(1 - v[PLY_V])};
        g->uv_count++;
    }
    if (e->has[PLY_RED]) {
        float alpha = e->has[PLY_ALPHA] ? color_part(v, PLY_ALPHA, types[PLY_ALPHA]) : 1;

        g->colors[at] = (lb_vec4){color_part(v, PLY_RED, types[PLY_RED]),
                                  color_part(v, PLY_GREEN, types[PLY_GREEN]),
                                  color_part(v, PLY_BLUE, types[PLY_BLUE]), fminf(alpha, 1)};
        p->has_clear = p->has_clear || alpha < 1;
    }
    g->place_count++;
    return LB_OK;
}

static lb_status read_vertex(ply *p, const ply_element *e, int64_t row)
{
    double v[PLY_NOTHING + 1] = {0};
    ply_type types[PLY_NOTHING + 1] = {PLY_I8};

    for (int32_t i = 0; i < e->property_count; i++) {
        const ply_property *property = &e->properties[i];
        size_t count;
        lb_status status;

        if (property->is_list) {
            if ((status = read_list(p, e, row, property, NULL, NULL, &count)))
                return status;
            continue;
        }
        types[property->role] = property->type;
        if (!read_value(p, property->type, &v[property->role]))
            return fail_row(p, e, row, broken);
    }
    return add_vertex(p, e, row, v, types);
}

/* ---- Faces and strips ---- */

static bool index_of(const ply *p, double number, int32_t *out)
{
    if (!(number >= 0) || number >= (double)p->vertex->count || number != floor(number) ||
        number > INT32_MAX - 1)
        return false;
    *out = (int32_t)number;
    return true;
}

static lb_status add_corner(ply *p, int32_t place, int32_t uv)
{
    lb_polygons *g = &p->p;

    if (!lb_grow((void **)&g->corners, &g->corner_capacity, g->corner_count, sizeof *g->corners))
        return reader_no_memory(&p->r);
    g->corners[g->corner_count++] =
        (lb_corner){place, p->vertex->has[PLY_U] ? place : uv, p->vertex->has[PLY_NX] ? place : -1};
    return LB_OK;
}

static lb_status end_polygon(ply *p, size_t first)
{
    lb_polygons *g = &p->p;
    size_t count = g->corner_count - first;

    if (count > INT32_MAX / 8 || g->polygon_count >= INT32_MAX)
        return reader_told(&p->r, LB_LIMIT);
    if (!lb_grow((void **)&g->polygons, &g->polygon_capacity, g->polygon_count,
                 sizeof *g->polygons))
        return reader_no_memory(&p->r);
    g->polygons[g->polygon_count++] = (lb_polygon){first, (int32_t)count, 0, 0};
    return LB_OK;
}

/* Texture coordinates of the face's own corners, u and v by turns. */
static lb_status add_uv(ply *p, size_t corner, int32_t *out)
{
    lb_polygons *g = &p->p;
    float u = (float)p->texcoord[2 * corner], v = (float)(1 - p->texcoord[2 * corner + 1]);

    if (g->uv_count >= INT32_MAX)
        return reader_told(&p->r, LB_LIMIT);
    if (!lb_grow((void **)&g->uvs, &g->uv_capacity, g->uv_count, sizeof *g->uvs))
        return reader_no_memory(&p->r);
    if (!isfinite(u) || !isfinite(v)) {
        p->vague_uvs++;
        u = v = 0;
    }
    *out = (int32_t)g->uv_count;
    g->uvs[g->uv_count++] = (lb_vec2){u, v};
    return LB_OK;
}

static lb_status add_face(ply *p, const ply_element *e, int64_t row, size_t count,
                          size_t texcoord_count)
{
    size_t first = p->p.corner_count;
    bool has_uv = !p->vertex->has[PLY_U] && texcoord_count == 2 * count;
    lb_status status = LB_OK;

    p->odd_texcoord += !p->vertex->has[PLY_U] && texcoord_count > 0 && !has_uv;
    if (count < 3) {
        p->few_corners++;
        return LB_OK;
    }
    for (size_t i = 0; i < count && status == LB_OK; i++) {
        int32_t place, uv = -1;

        if (!index_of(p, p->indices[i], &place))
            return fail_row(p, e, row, "it names a vertex that is not there");
        if (has_uv)
            status = add_uv(p, i, &uv);
        if (status == LB_OK)
            status = add_corner(p, place, uv);
    }
    return status ? status : end_polygon(p, first);
}

/* -1 ends a strip; every second triangle goes the other way round. Two equal corners in a triangle
 * are how strips are joined: there is nothing of it to be seen. */
static lb_status add_strips(ply *p, const ply_element *e, int64_t row, size_t count)
{
    size_t length = 0;
    int32_t last[2] = {0, 0};
    lb_status status;

    for (size_t i = 0; i < count; i++) {
        size_t first = p->p.corner_count;
        int32_t place;

        if (p->indices[i] == -1) {
            length = 0;
            continue;
        }
        if (!index_of(p, p->indices[i], &place))
            return fail_row(p, e, row, "it names a vertex that is not there");
        p->strips += length == 0;
        if (length >= 2 && (place == last[0] || place == last[1] || last[0] == last[1])) {
            p->connectors++;
        } else if (length >= 2) {
            int odd = length % 2;

            if ((status = add_corner(p, last[odd], -1)) ||
                (status = add_corner(p, last[!odd], -1)) || (status = add_corner(p, place, -1)) ||
                (status = end_polygon(p, first)))
                return status;
        }
        last[0] = last[1];
        last[1] = place;
        length++;
    }
    return LB_OK;
}

static lb_status read_face(ply *p, const ply_element *e, int64_t row)
{
    size_t count = 0, texcoord_count = 0, ignored;
    lb_status status = LB_OK;
    double value;

    for (int32_t i = 0; i < e->property_count && status == LB_OK; i++) {
        const ply_property *property = &e->properties[i];

        if (property->role == PLY_INDICES)
            status = read_list(p, e, row, property, &p->indices, &p->index_capacity, &count);
        else if (property->role == PLY_TEXCOORD)
            status = read_list(p, e, row, property, &p->texcoord, &p->texcoord_capacity,
                               &texcoord_count);
        else if (property->is_list)
            status = read_list(p, e, row, property, NULL, NULL, &ignored);
        else if (!read_value(p, property->type, &value))
            status = fail_row(p, e, row, broken);
    }
    if (status || !e->has[PLY_INDICES])
        return status;
    return e->kind == PLY_STRIPS ? add_strips(p, e, row, count)
                                 : add_face(p, e, row, count, texcoord_count);
}

static lb_status skip_row(ply *p, const ply_element *e, int64_t row)
{
    for (int32_t i = 0; i < e->property_count; i++) {
        const ply_property *property = &e->properties[i];
        size_t count;
        double value;
        lb_status status;

        if (!property->is_list && !read_value(p, property->type, &value))
            return fail_row(p, e, row, broken);
        if (property->is_list && (status = read_list(p, e, row, property, NULL, NULL, &count)))
            return status;
    }
    return LB_OK;
}

lb_status ply_data_read(ply *p)
{
    const ply_header *h = &p->header;
    lb_status status = LB_OK;

    for (int32_t i = 0; i < h->element_count && status == LB_OK; i++) {
        const ply_element *e = &h->elements[i];

        if (e->property_count == 0) /* rows of nothing */
            continue;
        for (int64_t row = 0; row < e->count && status == LB_OK; row++)
            status = e->kind == PLY_VERTEX  ? read_vertex(p, e, row)
                     : e->kind == PLY_OTHER ? skip_row(p, e, row)
                                            : read_face(p, e, row);
    }
    return status;
}
