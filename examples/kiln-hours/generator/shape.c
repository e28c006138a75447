/* examples/kiln-hours/generator/shape.c */
#include "shape.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

_Noreturn void give_up(const char *format, ...)
{
    va_list arguments;

    va_start(arguments, format);
    fputs("kiln-hours generator: ", stderr);
    vfprintf(stderr, format, arguments);
    fputc('\n', stderr);
    va_end(arguments);
    exit(2);
}

void *grab(void *old, size_t count, size_t size)
{
    void *grown = count <= SIZE_MAX / size ? realloc(old, count * size) : NULL;

    if (grown == NULL)
        give_up("no memory for %zu things", count);
    return grown;
}

double v3_length(v3 a)
{
    return sqrt(v3_dot(a, a));
}

v3 v3_normal(v3 a)
{
    double length = v3_length(a);

    return length > 0 ? v3_scale(a, 1 / length) : a;
}

quat quat_axis(v3 axis, double angle_rad)
{
    v3 a = v3_scale(v3_normal(axis), lb_sin(angle_rad / 2));

    return (quat){a.x, a.y, a.z, lb_cos(angle_rad / 2)};
}

quat quat_mul(quat a, quat b)
{
    return (quat){a.w * b.x + a.x * b.w + a.y * b.z - a.z * b.y,
                  a.w * b.y - a.x * b.z + a.y * b.w + a.z * b.x,
                  a.w * b.z + a.x * b.y - a.y * b.x + a.z * b.w,
                  a.w * b.w - a.x * b.x - a.y * b.y - a.z * b.z};
}

v3 quat_turn(quat q, v3 v)
{
    v3 axis = {q.x, q.y, q.z}, t = v3_scale(v3_cross(axis, v), 2);

    return v3_add(v3_add(v, v3_scale(t, q.w)), v3_cross(axis, t));
}

quat quat_look(v3 eye, v3 target)
{
    v3 z = v3_normal(v3_sub(eye, target));
    double yaw = lb_atan2(z.x, z.z), pitch = -lb_asin(z.y);

    return quat_mul(quat_axis((v3){0, 1, 0}, yaw), quat_axis((v3){1, 0, 0}, pitch));
}

double smooth(double edge0, double edge1, double x)
{
    double t = clamp01((x - edge0) / (edge1 - edge0));

    return t * t * (3 - 2 * t);
}

double bell(double x)
{
    return lb_exp(-x * x);
}

static uint32_t scramble(uint32_t a, uint32_t b, uint32_t c)
{
    uint32_t h =
        a * 0x9e3779b1u ^ (b + 0x7f4a7c15u) * 0x85ebca6bu ^ (c + 0x165667b1u) * 0xc2b2ae35u;

    h = (h ^ h >> 15) * 0x2c1b3c6du;
    h = (h ^ h >> 12) * 0x297a2d39u;
    return h ^ h >> 15;
}

double chance(uint32_t a, uint32_t b, uint32_t c)
{
    return scramble(a, b, c) / 4294967296.0;
}

double chance_between(double low, double high, uint32_t a, uint32_t b, uint32_t c)
{
    return mix(low, high, chance(a, b, c));
}

static int wrapped(int cell, int period)
{
    return period == 0 ? cell : ((cell % period) + period) % period;
}

static double slope(int x, int y, int z, uint32_t seed, double dx, double dy, double dz)
{
    uint32_t h = scramble((uint32_t)x * 73856093u ^ (uint32_t)y * 19349663u, (uint32_t)z, seed);
    double gx = (h & 1023) / 511.5 - 1, gy = (h >> 10 & 1023) / 511.5 - 1,
           gz = (h >> 20 & 1023) / 511.5 - 1;

    return gx * dx + gy * dy + gz * dz;
}

double noise(double x, double y, double z, int period, uint32_t seed)
{
    int cx = (int)floor(x), cy = (int)floor(y), cz = (int)floor(z);
    double fx = x - cx, fy = y - cy, fz = z - cz, sum = 0;
    double sx = fx * fx * fx * (fx * (6 * fx - 15) + 10);
    double sy = fy * fy * fy * (fy * (6 * fy - 15) + 10);
    double sz = fz * fz * fz * (fz * (6 * fz - 15) + 10);

    for (int corner = 0; corner < 8; corner++) {
        int i = corner & 1, j = corner >> 1 & 1, k = corner >> 2;
        double weight = (i ? sx : 1 - sx) * (j ? sy : 1 - sy) * (k ? sz : 1 - sz);

        sum += weight * slope(wrapped(cx + i, period), wrapped(cy + j, period),
                              wrapped(cz + k, period), seed, fx - i, fy - j, fz - k);
    }
    return 1.4 * sum;
}

double cloud(double x, double y, double z, int octaves, int period, uint32_t seed)
{
    double sum = 0, weight = 0.5;

    for (int i = 0; i < octaves; i++) {
        sum += weight * noise(x, y, z, period, seed + (uint32_t)i * 101u);
        weight *= 0.5;
        x *= 2, y *= 2, z *= 2, period *= 2;
    }
    return sum;
}

double cells(double x, double y, int period, uint32_t seed, uint32_t *id)
{
    int cx = (int)floor(x), cy = (int)floor(y);
    double nearest = 9;

    for (int j = cy - 1; j <= cy + 1; j++) {
        for (int i = cx - 1; i <= cx + 1; i++) {
            uint32_t a = (uint32_t)wrapped(i, period), b = (uint32_t)wrapped(j, period);
            double dx = i + chance(a, b, seed) - x, dy = j + chance(a, b, seed + 1) - y;
            double distance = sqrt(dx * dx + dy * dy);

            if (distance < nearest) {
                nearest = distance;
                *id = scramble(a, b, seed + 2);
            }
        }
    }
    return nearest;
}

uint32_t soup_vertex(soup *s, const vertex *v)
{
    if (s->vertex_count == s->vertex_room) {
        s->vertex_room = s->vertex_room * 2 + 256;
        s->vertices = grab(s->vertices, s->vertex_room, sizeof *s->vertices);
    }
    s->vertices[s->vertex_count] = *v;
    return (uint32_t)s->vertex_count++;
}

void soup_triangle(soup *s, uint32_t a, uint32_t b, uint32_t c)
{
    if (s->index_count + 3 > s->index_room) {
        s->index_room = s->index_room * 2 + 768;
        s->indices = grab(s->indices, s->index_room, sizeof *s->indices);
    }
    s->indices[s->index_count++] = a;
    s->indices[s->index_count++] = b;
    s->indices[s->index_count++] = c;
}

void soup_free(soup *s)
{
    free(s->vertices);
    free(s->indices);
    *s = (soup){0};
}

static v3 place(surface_fn fn, const void *context, double u, double v)
{
    vertex at = {0};

    fn(context, u, v, &at);
    return at.position;
}

/* By central differences, a little inside where the surface ends or closes to a point. */
static v3 surface_normal(surface_fn fn, const void *context, double u, double v)
{
    double d = 0.0005, m = 0.002;

    v = v < m ? m : v > 1 - m ? 1 - m : v;
    v3 along_u = v3_sub(place(fn, context, u + d, v), place(fn, context, u - d, v));
    v3 along_v = v3_sub(place(fn, context, u, v + d), place(fn, context, u, v - d));
    return v3_normal(v3_cross(along_u, along_v));
}

void soup_surface(soup *s, int nu, int nv, surface_fn fn, const void *context)
{
    uint32_t first = (uint32_t)s->vertex_count, width = (uint32_t)nu + 1;

    for (int j = 0; j <= nv; j++) {
        for (int i = 0; i <= nu; i++) {
            double u = (double)i / nu, v = (double)j / nv;
            vertex at = {.color = {1, 1, 1}, .u = u, .v = v};

            fn(context, u, v, &at);
            at.normal = surface_normal(fn, context, u, v);
            soup_vertex(s, &at);
        }
    }
    for (int j = 0; j < nv; j++) {
        for (int i = 0; i < nu; i++) {
            uint32_t a = first + (uint32_t)j * width + (uint32_t)i;

            soup_triangle(s, a, a + 1, a + width + 1);
            soup_triangle(s, a, a + width + 1, a + width);
        }
    }
}

/* Corner numbers of each side, counter-clockwise from outside, and the side it is. */
static const struct {
    int corner[4], side;
} sides[6] = {
    {{0, 4, 6, 2}, SIDE_LEFT}, {{5, 1, 3, 7}, SIDE_RIGHT}, {{0, 1, 5, 4}, SIDE_DOWN},
    {{6, 7, 3, 2}, SIDE_UP},   {{1, 0, 2, 3}, SIDE_BACK},  {{4, 5, 7, 6}, SIDE_FRONT},
};

/* The inset vertex of corner `corner` on side `side`; -1 where the side is left out. */
typedef int32_t inset_table[6][8];

static void block_faces(soup *s, const block *b, inset_table inset)
{
    for (int side = 0; side < 6; side++) {
        const int *c = sides[side].corner;
        v3 normal = v3_normal(v3_cross(v3_sub(b->corners[c[1]], b->corners[c[0]]),
                                       v3_sub(b->corners[c[3]], b->corners[c[0]])));

        for (int i = 0; i < 8; i++)
            inset[side][i] = -1;
        if (b->without & sides[side].side)
            continue;
        for (int i = 0; i < 4; i++) {
            v3 at = b->corners[c[i]];
            v3 along = v3_normal(v3_sub(b->corners[c[(i + 1) % 4]], at));
            v3 back = v3_normal(v3_sub(b->corners[c[(i + 3) % 4]], at));
            uint32_t h = (uint32_t)(side * 8 + c[i]);
            vertex v = {.color = {1, 1, 1}, .normal = normal};

            v.position =
                v3_add(at, v3_scale(along, b->wear * chance_between(0.6, 1.5, b->seed, h, 1)));
            v.position = v3_add(v.position,
                                v3_scale(back, b->wear * chance_between(0.6, 1.5, b->seed, h, 2)));
            v.position =
                v3_add(v.position, v3_scale(normal, -b->wear * 0.35 * chance(b->seed, h, 3)));
            b->paint(b->context, v.position, normal, &v);
            inset[side][c[i]] = (int32_t)soup_vertex(s, &v);
        }
        soup_triangle(s, (uint32_t)inset[side][c[0]], (uint32_t)inset[side][c[1]],
                      (uint32_t)inset[side][c[2]]);
        soup_triangle(s, (uint32_t)inset[side][c[0]], (uint32_t)inset[side][c[2]],
                      (uint32_t)inset[side][c[3]]);
    }
}

/* The strip between two sides along the edge that both have. */
static void block_edge(soup *s, inset_table inset, int side, int i)
{
    int a = sides[side].corner[i], b = sides[side].corner[(i + 1) % 4];

    for (int other = side + 1; other < 6; other++) {
        if (inset[side][a] < 0 || inset[other][a] < 0 || inset[other][b] < 0)
            continue;
        soup_triangle(s, (uint32_t)inset[side][a], (uint32_t)inset[other][a],
                      (uint32_t)inset[side][b]);
        soup_triangle(s, (uint32_t)inset[side][b], (uint32_t)inset[other][a],
                      (uint32_t)inset[other][b]);
    }
}

void soup_block(soup *s, const block *b)
{
    inset_table inset;

    block_faces(s, b, inset);
    for (int side = 0; side < 6; side++)
        for (int i = 0; i < 4; i++)
            block_edge(s, inset, side, i);
    for (int corner = 0; corner < 8; corner++) {
        int32_t x = inset[corner & 1 ? 1 : 0][corner], y = inset[corner & 2 ? 3 : 2][corner],
                z = inset[corner & 4 ? 5 : 4][corner];
        int odd = (corner ^ corner >> 1 ^ corner >> 2) & 1;

        if (x < 0 || y < 0 || z < 0)
            continue;
        if (odd)
            soup_triangle(s, (uint32_t)x, (uint32_t)y, (uint32_t)z);
        else
            soup_triangle(s, (uint32_t)x, (uint32_t)z, (uint32_t)y);
    }
}

void soup_box(soup *s, v3 low, v3 high, const block *like)
{
    block b = *like;

    for (int i = 0; i < 8; i++)
        b.corners[i] = (v3){i & 1 ? high.x : low.x, i & 2 ? high.y : low.y, i & 4 ? high.z : low.z};
    soup_block(s, &b);
}

/* A sphere of triangles, being divided. */
typedef struct ball {
    v3 points[162];
    int triangles[320][3];
    int point_count, triangle_count;
} ball;

/* Where the middle of the edge from a to b is in the list, made if it is not there yet. */
static int middle(ball *k, int a, int b)
{
    v3 at = v3_normal(v3_add(k->points[a], k->points[b]));

    for (int i = 12; i < k->point_count; i++)
        if (v3_length(v3_sub(k->points[i], at)) < 1e-6)
            return i;
    k->points[k->point_count] = at;
    return k->point_count++;
}

static void divide(ball *k)
{
    ball old = *k;

    k->triangle_count = 0;
    for (int f = 0; f < old.triangle_count; f++) {
        int a = old.triangles[f][0], b = old.triangles[f][1], c = old.triangles[f][2];
        int ab = middle(k, a, b), bc = middle(k, b, c), ca = middle(k, c, a);
        int four[4][3] = {{a, ab, ca}, {b, bc, ab}, {c, ca, bc}, {ab, bc, ca}};

        memcpy(k->triangles[k->triangle_count], four, sizeof four);
        k->triangle_count += 4;
    }
}

static void icosahedron(ball *k)
{
    static const int faces[20][3] = {{0, 11, 5}, {0, 5, 1},  {0, 1, 7},   {0, 7, 10}, {0, 10, 11},
                                     {1, 5, 9},  {5, 11, 4}, {11, 10, 2}, {10, 7, 6}, {7, 1, 8},
                                     {3, 9, 4},  {3, 4, 2},  {3, 2, 6},   {3, 6, 8},  {3, 8, 9},
                                     {4, 9, 5},  {2, 4, 11}, {6, 2, 10},  {8, 6, 7},  {9, 8, 1}};
    double g = (1 + sqrt(5)) / 2;
    const v3 corners[12] = {{-1, g, 0}, {1, g, 0}, {-1, -g, 0}, {1, -g, 0},
                            {0, -1, g}, {0, 1, g}, {0, -1, -g}, {0, 1, -g},
                            {g, 0, -1}, {g, 0, 1}, {-g, 0, -1}, {-g, 0, 1}};

    k->point_count = 12;
    k->triangle_count = 20;
    for (int i = 0; i < 12; i++)
        k->points[i] = v3_normal(corners[i]);
    memcpy(k->triangles, faces, sizeof faces);
}

void soup_lump(soup *s, v3 centre, v3 radius, double rough, int divisions, uint32_t seed,
               paint_fn paint, const void *context)
{
    uint32_t first = (uint32_t)s->vertex_count;
    ball k;

    icosahedron(&k);
    for (int i = 0; i < divisions && i < 2; i++)
        divide(&k);
    for (int i = 0; i < k.point_count; i++) {
        v3 p = k.points[i];
        double swell = 1 + rough * cloud(p.x * 1.7, p.y * 1.7, p.z * 1.7, divisions, 0, seed) * 2;
        vertex v = {.color = {1, 1, 1}, .normal = p};

        v.position = v3_add(
            centre, (v3){p.x * radius.x * swell, p.y * radius.y * swell, p.z * radius.z * swell});
        paint(context, v.position, p, &v);
        soup_vertex(s, &v);
    }
    for (int i = 0; i < k.triangle_count; i++)
        soup_triangle(s, first + (uint32_t)k.triangles[i][0], first + (uint32_t)k.triangles[i][1],
                      first + (uint32_t)k.triangles[i][2]);
}
