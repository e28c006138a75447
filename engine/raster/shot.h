/* engine/raster/shot.h: what the renderer makes of the scene's instants before any pixel: cameras
 * as matrices to pixels, things to draw, lights in the world. Shared by all threads, unchanged
 * while tiles are rendered. Not a public header. */
#ifndef LB_RASTER_SHOT_H
#define LB_RASTER_SHOT_H

#include "engine/raster/pattern.h"
#include "engine/raster/raster.h"

/* Screen positions are whole numbers of 2^-14 pixel from the shot's origin pixel, within
 * LB_GUARD_PIXELS of it. Edge functions of such numbers are exact in 64 bits. */
#define LB_FIXED_BITS 14
#define LB_FIXED_ONE (1 << LB_FIXED_BITS)
#define LB_GUARD_PIXELS 32700

/* Tiles start at whole multiples of their size, counted from pixel 0 of the frame, whatever the
 * region: so a pixel is computed in the same way in any region. */
#define LB_TILE_MAX 32

/* A vertex at one instant. */
typedef struct lb_vertex {
    int32_t x, y; /* LB_FIXED_BITS; x LB_OUTSIDE: y is a set of the planes it lies beyond */
    float key;    /* how near: 1 / distance, orthographic -distance; linear on the screen */
} lb_vertex;
#define LB_OUTSIDE INT32_MIN

/* A moving surface is shaded anew whenever it has gone this far along x or y: what detail that
 * could miss is finer than pixels show. */
#define LB_STRIDE 1.5 /* pixels */
#define LB_STRIDE_FIXED (LB_FIXED_ONE * 3 / 2)

/* One primitive of one item. Drawables are sorted: opaque before transparent, still before
 * moving; their triangles are numbered through in that order. */
typedef struct lb_drawable {
    const lb_material *material; /* never NULL; of the middle instant */
    int32_t item, primitive;     /* primitive within the item's mesh */
    bool moving;                 /* differs between instants, camera included */
    bool transparent;            /* mask or blend */
    uint32_t first_triangle, triangle_count;
    size_t first_vertex; /* in vertices, or in moving_vertices and strides */
    int32_t vertex_count;
    size_t placing; /* first of 1 or, moving, shot->instant_count */
} lb_drawable;

/* A drawable at an instant. */
typedef struct lb_placing {
    const lb_primitive *primitive;
    double world[12]; /* 3 x 4 by rows: object to world, from the shot's world origin */
    float normal[9];  /* by rows: object normals to world ones, not of unit length */
    bool mirrored;
} lb_placing;

/* The camera at an instant. */
typedef struct lb_eye {
    double pixel[16]; /* 4 x 4 by rows: world to X, Y, distance, w; pixel X/w, Y/w from origin */
    double near, far;
    lb_vec3 position; /* from the world origin */
    lb_vec3 backward; /* unit, from the picture to the camera, for orthographic ones */
    bool orthographic;
} lb_eye;

/* A light at an instant; color is times intensity. */
typedef struct lb_lamp {
    lb_light_type type;
    lb_decay decay;
    lb_vec3 color, position;
    lb_vec3 axis; /* unit: point and spot the way it shines; directional the way to the light */
    float inverse_range;         /* 0: no range */
    float cone_outer, cone_step; /* cosine of the outer half angle; 1 / width */
} lb_lamp;

/* All lights at an instant. Ambient ones are summed up in `ambient`. */
typedef struct lb_lamp_set {
    lb_vec3 ambient;
    int32_t count;
    lb_lamp *lamps;
} lb_lamp_set;

enum { LB_CLASS_STILL, LB_CLASS_MOVING, LB_CLASS_CLEAR_STILL, LB_CLASS_CLEAR_MOVING, LB_CLASSES };

typedef struct lb_shot {
    lb_raster_options options;
    lb_pattern pattern;
    int32_t instant_count;
    lb_sample_span spans[LB_MAX_SAMPLES]; /* of each instant */
    lb_sample_span whole;
    int32_t origin_x, origin_y; /* pixel of fixed-point 0 */
    int32_t tile_size, tile_shift;
    lb_vec3d world_origin;

    lb_eye *eyes; /* one an instant */
    bool orthographic;
    lb_lamp_set *lamps; /* one an instant; all the same if !lamps_move */
    lb_lamp *lamp_store;
    bool lamps_move;

    int32_t drawable_count;
    lb_drawable *drawables;
    lb_placing *placings;
    int32_t class_first[LB_CLASSES + 1]; /* drawables */
    uint32_t triangle_count;
    size_t vertex_count, moving_vertex_count;
    lb_vertex *vertices;
    lb_vertex *moving_vertices; /* instant by instant */
    uint8_t *strides; /* per moving vertex: instants it takes to go LB_STRIDE_FIXED, 1 .. count */
    lb_material *plain;
} lb_shot;

/* Checks the instants against each other and fills everything but the vertices. */
LB_MUST_CHECK lb_status lb_shot_new(const lb_instant *instants, int32_t count,
                                    const lb_raster_options *options, lb_shot **out);
void lb_shot_free(lb_shot **shot);

/* Fills the vertices. */
LB_MUST_CHECK lb_status lb_shot_project(lb_pool *pool, lb_shot *shot);

/* The drawable that has triangle number `triangle`, beginning to look at `hint`. */
int32_t lb_shot_drawable_of(const lb_shot *shot, uint32_t triangle, int32_t hint);

static inline const lb_placing *lb_shot_placing(const lb_shot *shot, const lb_drawable *d,
                                                int32_t instant)
{
    return &shot->placings[d->placing + (size_t)(d->moving ? instant : 0)];
}
static inline const lb_vertex *lb_shot_vertices(const lb_shot *shot, const lb_drawable *d,
                                                int32_t instant)
{
    return d->moving ? shot->moving_vertices + (size_t)instant * shot->moving_vertex_count +
                           d->first_vertex
                     : shot->vertices + d->first_vertex;
}
/* Topology does not change over the shutter: the first instant's speaks for all. */
static inline const uint32_t *lb_shot_indices(const lb_shot *shot, const lb_drawable *d,
                                              uint32_t triangle)
{
    return shot->placings[d->placing].primitive->indices +
           (size_t)(triangle - d->first_triangle) * 3;
}
/* Object point to X, Y, distance, w at an instant. */
void lb_shot_clip_point(const lb_shot *shot, const lb_placing *placing, int32_t instant,
                        lb_vec3 point, double out[4]);

#endif
