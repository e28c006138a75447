/* examples/kiln-hours/generator/shape.h: vectors, repeatable noise, and triangles being collected.
 */
#ifndef KILN_SHAPE_H
#define KILN_SHAPE_H

#include <stddef.h>
#include <stdint.h>

#include "engine/base/math.h"

typedef struct v3 {
    double x, y, z;
} v3;
typedef struct quat {
    double x, y, z, w;
} quat;

static inline v3 v3_add(v3 a, v3 b)
{
    return (v3){a.x + b.x, a.y + b.y, a.z + b.z};
}
static inline v3 v3_sub(v3 a, v3 b)
{
    return (v3){a.x - b.x, a.y - b.y, a.z - b.z};
}
static inline v3 v3_scale(v3 a, double s)
{
    return (v3){a.x * s, a.y * s, a.z * s};
}
static inline v3 v3_mix(v3 a, v3 b, double t)
{
    return v3_add(v3_scale(a, 1 - t), v3_scale(b, t));
}
static inline double v3_dot(v3 a, v3 b)
{
    return a.x * b.x + a.y * b.y + a.z * b.z;
}
static inline v3 v3_cross(v3 a, v3 b)
{
    return (v3){a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x};
}
double v3_length(v3 a);
v3 v3_normal(v3 a); /* (0, 0, 0) stays */

quat quat_axis(v3 axis, double angle_rad);
quat quat_mul(quat a, quat b); /* b is applied first */
v3 quat_turn(quat q, v3 v);
/* Turns -z from `eye` to `target`, y up as far as can be. */
quat quat_look(v3 eye, v3 target);

static inline double clamp01(double x)
{
    return x < 0 ? 0 : x > 1 ? 1 : x;
}
static inline double mix(double a, double b, double t)
{
    return a + (b - a) * t;
}
double smooth(double edge0, double edge1, double x); /* GLSL's smoothstep */

/* A bell of height 1 at 0, 1/e at +-1. */
double bell(double x);

/* A number in 0 .. 1 that only depends on what is given. */
double chance(uint32_t a, uint32_t b, uint32_t c);
double chance_between(double low, double high, uint32_t a, uint32_t b, uint32_t c);
/* Gradient noise, about -1 .. 1, repeating every `period` lattice cells (0: never). */
double noise(double x, double y, double z, int period, uint32_t seed);
/* `octaves` of it, each half as strong and twice as fine. */
double cloud(double x, double y, double z, int octaves, int period, uint32_t seed);
/* Distance to the nearest of one random point a cell, in cells; *id tells which point it is. */
double cells(double x, double y, int period, uint32_t seed, uint32_t *id);

/* Memory, or the end of the program: a generator has nothing to save. */
void *grab(void *old, size_t count, size_t size);
_Noreturn void give_up(const char *format, ...);

typedef struct vertex {
    v3 position, normal;
    double u, v;
    double color[3];
} vertex;

/* Triangles of one material. */
typedef struct soup {
    vertex *vertices;
    size_t vertex_count, vertex_room;
    uint32_t *indices;
    size_t index_count, index_room;
} soup;

uint32_t soup_vertex(soup *s, const vertex *v);
void soup_triangle(soup *s, uint32_t a, uint32_t b, uint32_t c);
void soup_free(soup *s);

/* A surface over u and v from 0 to 1. The function fills in all but the normal. */
typedef void (*surface_fn)(const void *context, double u, double v, vertex *out);
/* nu by nv squares of it, normals by differences; the front is where u cross v points. */
void soup_surface(soup *s, int nu, int nv, surface_fn fn, const void *context);

/* Sides of a block, for what is to be left out. */
enum { SIDE_LEFT = 1, SIDE_RIGHT = 2, SIDE_DOWN = 4, SIDE_UP = 8, SIDE_BACK = 16, SIDE_FRONT = 32 };

/* What a block's corners look like at a place. */
typedef void (*paint_fn)(const void *context, v3 at, v3 normal, vertex *out);

/* A block with rounded, uneven edges. corners[4 * z + 2 * y + x], x to the right, y up, z to the
 * front. `wear` is how far the faces draw back from the edges. */
typedef struct block {
    v3 corners[8];
    double wear;
    int without;
    uint32_t seed;
    paint_fn paint;
    const void *context;
} block;
void soup_block(soup *s, const block *b);
/* The same for a box between two points. */
void soup_box(soup *s, v3 low, v3 high, const block *like);

/* A lump: an icosahedron, divided once or twice, pushed about. */
void soup_lump(soup *s, v3 centre, v3 radius, double rough, int divisions, uint32_t seed,
               paint_fn paint, const void *context);

#endif
