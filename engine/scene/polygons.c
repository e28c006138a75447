/* engine/scene/polygons.c: polygons with an index for each thing to triangles. */
#include "engine/scene/polygons.h"

#include <math.h>
#include <string.h>

#include "engine/base/math.h"

void lb_polygons_clear(lb_polygons *p)
{
    lb_free(p->places);
    lb_free(p->colors);
    lb_free(p->uvs);
    lb_free(p->normals);
    lb_free(p->corners);
    lb_free(p->polygons);
    *p = (lb_polygons){0};
}

/* ---- Normals ---- */

static lb_status add_normal(lb_polygons *p, lb_vec3d n, int32_t *index)
{
    double length = sqrt(n.x * n.x + n.y * n.y + n.z * n.z);
    double scale = length > 0 && length < INFINITY ? 1 / length : 0;

    if (p->normal_count >= INT32_MAX)
        return LB_LIMIT;
    if (!lb_grow((void **)&p->normals, &p->normal_capacity, p->normal_count, sizeof *p->normals))
        return LB_MEMORY;
    *index = (int32_t)p->normal_count;
    p->normals[p->normal_count++] =
        (lb_vec3){(float)(n.x * scale), (float)(n.y * scale), (float)(n.z * scale)};
    return LB_OK;
}

/* The normals that are being added up. */
typedef struct {
    lb_triple_table table; /* place and group */
    lb_vec3d *sums;
    size_t capacity;
    lb_vec3 *points; /* of one polygon */
    size_t point_capacity;
} smoothing;

static lb_vec3d difference(lb_vec3 a, lb_vec3 b)
{
    return (lb_vec3d){(double)a.x - b.x, (double)a.y - b.y, (double)a.z - b.z};
}

static double dot(lb_vec3d a, lb_vec3d b)
{
    return a.x * b.x + a.y * b.y + a.z * b.z;
}

/* Between the two edges that meet in corner `i`; 0 where one has no length. */
static double corner_angle(const lb_vec3 *points, int32_t count, int32_t i)
{
    lb_vec3d a = difference(points[i > 0 ? i - 1 : count - 1], points[i]);
    lb_vec3d b = difference(points[i + 1 < count ? i + 1 : 0], points[i]);
    double length2 = dot(a, a) * dot(b, b), cosine;

    if (!(length2 > 0))
        return 0;
    cosine = dot(a, b) / sqrt(length2);
    return lb_acos(cosine > 1 ? 1 : cosine < -1 ? -1 : cosine);
}

static bool take_points(const lb_polygons *p, const lb_polygon *polygon, lb_vec3 **points,
                        size_t *capacity)
{
    if (*capacity < (size_t)polygon->count) {
        lb_free(*points);
        *capacity = (size_t)polygon->count * 2;
        if (!(*points = lb_alloc(*capacity, sizeof **points))) {
            *capacity = 0;
            return false;
        }
    }
    for (int32_t i = 0; i < polygon->count; i++)
        (*points)[i] = p->places[p->corners[polygon->first + (size_t)i].place];
    return true;
}

/* A corner waits with -2 - (number of its sum) until all are added up. */
static lb_status add_to_sums(lb_polygons *p, const lb_polygon *polygon, lb_vec3d normal,
                             smoothing *s)
{
    double length = sqrt(dot(normal, normal)), scale = length > 0 ? 1 / length : 0;

    for (int32_t i = 0; i < polygon->count; i++) {
        lb_corner *corner = &p->corners[polygon->first + (size_t)i];
        double weight = corner_angle(s->points, polygon->count, i) * scale;
        size_t known = (size_t)s->table.count;
        int32_t sum;
        lb_status status;

        if (corner->normal >= 0)
            continue;
        if (!lb_grow((void **)&s->sums, &s->capacity, known, sizeof *s->sums))
            return LB_MEMORY;
        if ((status = lb_triple_table_find(&s->table, corner->place, (int32_t)polygon->smooth,
                                           (int32_t)(polygon->smooth >> 32), &sum)))
            return status;
        if ((size_t)sum == known)
            s->sums[sum] = (lb_vec3d){0, 0, 0};
        s->sums[sum].x += normal.x * weight;
        s->sums[sum].y += normal.y * weight;
        s->sums[sum].z += normal.z * weight;
        corner->normal = -2 - sum;
    }
    return LB_OK;
}

static lb_status add_flat(lb_polygons *p, const lb_polygon *polygon, lb_vec3d normal)
{
    int32_t index;
    lb_status status = add_normal(p, normal, &index);

    for (int32_t i = 0; i < polygon->count && status == LB_OK; i++) {
        lb_corner *corner = &p->corners[polygon->first + (size_t)i];

        corner->normal = corner->normal < 0 ? index : corner->normal;
    }
    return status;
}

static bool lacks_normals(const lb_polygons *p, const lb_polygon *polygon)
{
    for (int32_t i = 0; i < polygon->count; i++)
        if (p->corners[polygon->first + (size_t)i].normal < 0)
            return true;
    return false;
}

static lb_status add_normals(lb_polygons *p, smoothing *s)
{
    lb_status status = LB_OK;
    size_t base;

    for (size_t i = 0; i < p->polygon_count && status == LB_OK; i++) {
        const lb_polygon *polygon = &p->polygons[i];
        lb_vec3d normal;

        if (!lacks_normals(p, polygon))
            continue;
        if (!take_points(p, polygon, &s->points, &s->point_capacity))
            return LB_MEMORY;
        normal = lb_polygon_area2(s->points, polygon->count);
        status =
            polygon->smooth ? add_to_sums(p, polygon, normal, s) : add_flat(p, polygon, normal);
    }
    base = p->normal_count;
    for (int32_t i = 0; i < s->table.count && status == LB_OK; i++) {
        int32_t index;

        status = add_normal(p, s->sums[i], &index);
    }
    for (size_t i = 0; i < p->corner_count && status == LB_OK && s->table.count > 0; i++)
        if (p->corners[i].normal < -1)
            p->corners[i].normal = (int32_t)(base + (size_t)(-2 - p->corners[i].normal));
    return status;
}

lb_status lb_polygons_add_normals(lb_polygons *p)
{
    smoothing s = {0};
    lb_status status = add_normals(p, &s);

    lb_triple_table_clear(&s.table);
    lb_free(s.sums);
    lb_free(s.points);
    return status;
}

/* ---- Triangles ---- */

typedef struct {
    const lb_polygons *from;
    lb_cutter *cutter;
    lb_polygons_tally *tally;
    lb_triple_table table;
    lb_corner *vertices; /* table.count of them */
    size_t capacity;
    lb_vec3 *points;
    uint32_t *cuts; /* triangles of one polygon */
    size_t point_capacity, cut_capacity;
    lb_primitive *out;
} maker;

static lb_status vertex_of(maker *m, const lb_corner *corner, uint32_t *out)
{
    size_t known = (size_t)m->table.count;
    int32_t vertex;
    lb_status status;

    if (!lb_grow((void **)&m->vertices, &m->capacity, known, sizeof *m->vertices))
        return LB_MEMORY;
    if ((status =
             lb_triple_table_find(&m->table, corner->place, corner->uv, corner->normal, &vertex)))
        return status;
    if ((size_t)vertex == known)
        m->vertices[vertex] = *corner;
    *out = (uint32_t)vertex;
    return LB_OK;
}

static lb_status cut_polygon(maker *m, const lb_polygon *polygon, lb_cut *cut)
{
    size_t wanted = (size_t)(polygon->count - 2) * 3;

    if (!take_points(m->from, polygon, &m->points, &m->point_capacity))
        return LB_MEMORY;
    if (m->cut_capacity < wanted) {
        lb_free(m->cuts);
        m->cut_capacity = wanted * 2;
        if (!(m->cuts = lb_alloc(m->cut_capacity, sizeof *m->cuts))) {
            m->cut_capacity = 0;
            return LB_MEMORY;
        }
    }
    return lb_triangulate(m->cutter, m->points, polygon->count, m->cuts, cut);
}

static lb_status add_polygon(maker *m, const lb_polygon *polygon)
{
    const lb_corner *corners = &m->from->corners[polygon->first];
    uint32_t *indices = m->out->indices + (size_t)m->out->triangle_count * 3;
    size_t count = (size_t)(polygon->count - 2) * 3;
    lb_cut cut;
    lb_status status = cut_polygon(m, polygon, &cut);

    m->tally->cut += polygon->count > 3;
    m->tally->no_area += cut == LB_CUT_NO_AREA;
    m->tally->crossing += cut == LB_CUT_CROSSING;
    m->tally->too_long += cut == LB_CUT_TOO_LONG;
    if (status || cut == LB_CUT_TOO_LONG)
        return status;
    for (size_t i = 0; i < count && status == LB_OK; i++)
        status = vertex_of(m, &corners[m->cuts[i]], &indices[i]);
    m->out->triangle_count += polygon->count - 2;
    return status;
}

static lb_status fill_vertices(maker *m)
{
    const lb_polygons *p = m->from;
    size_t count = (size_t)m->table.count;
    lb_primitive *out = m->out;
    bool has_uv = false;

    for (size_t i = 0; i < count && !has_uv; i++)
        has_uv = m->vertices[i].uv >= 0;
    if (!(out->positions = lb_alloc(count, sizeof *out->positions)) ||
        !(out->normals = lb_alloc(count, sizeof *out->normals)) ||
        (has_uv && !(out->uvs[0] = lb_alloc(count, sizeof *out->uvs[0]))) ||
        (p->colors && !(out->colors = lb_alloc(count, sizeof *out->colors))))
        return LB_MEMORY;
    for (size_t i = 0; i < count; i++) {
        const lb_corner *v = &m->vertices[i];

        out->positions[i] = p->places[v->place];
        out->normals[i] = p->normals[v->normal];
        if (p->colors)
            out->colors[i] = p->colors[v->place];
        if (has_uv && v->uv >= 0)
            out->uvs[0][i] = p->uvs[v->uv];
        m->tally->lacking_uv += has_uv && v->uv < 0;
    }
    out->vertex_count = m->table.count;
    return LB_OK;
}

lb_status lb_polygons_primitive(const lb_polygons *p, const uint32_t *order, size_t count,
                                lb_cutter *cutter, lb_polygons_tally *tally, lb_primitive *out)
{
    maker m = {.from = p, .cutter = cutter, .tally = tally, .out = out};
    size_t triangles = 0;
    lb_status status = LB_OK;

    for (size_t i = 0; i < count; i++)
        triangles += (size_t)p->polygons[order[i]].count - 2;
    if (triangles > INT32_MAX / 3)
        return LB_LIMIT;
    if (triangles > 0 && !(out->indices = lb_alloc(triangles * 3, sizeof *out->indices)))
        return LB_MEMORY;
    for (size_t i = 0; i < count && status == LB_OK; i++)
        status = add_polygon(&m, &p->polygons[order[i]]);
    if (status == LB_OK && m.table.count > 0)
        status = fill_vertices(&m);
    lb_triple_table_clear(&m.table);
    lb_free(m.vertices);
    lb_free(m.points);
    lb_free(m.cuts);
    return status;
}
