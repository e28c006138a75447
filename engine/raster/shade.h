/* engine/raster/shade.h: light on points of surfaces. Not a public header.
 *
 * Points are shaded in batches of one drawable, each value in an array of its own, so that lights
 * go over a batch with vectors. No point knows of its neighbours: its result does not depend on the
 * batch that it is in. */
#ifndef LB_RASTER_SHADE_H
#define LB_RASTER_SHADE_H

#include "engine/raster/surface.h"

/* A place where a triangle is seen. */
typedef struct lb_point {
    uint32_t triangle;
    int32_t drawable;
    float x, y;     /* pixels from the tile's first one */
    float weight;   /* share of the pixel */
    uint16_t pixel; /* y * LB_TILE_MAX + x */
    uint8_t instant;
} lb_point;

/* What is seen there: premultiplied colour, world normal, texture coordinates. */
typedef struct lb_shaded {
    float rgba[4], normal[3], uv[2];
} lb_shaded;

#define LB_BATCH 128

/* A batch's values. Vectors are three arrays. */
typedef struct lb_batch {
    int32_t count, padded; /* padded: count rounded up for vectors; what is there is finite */
    const lb_material *material;
    const lb_lamp_set *lamps;
    lb_needs needs;
    float position[3][LB_BATCH], normal[3][LB_BATCH],
        view[3][LB_BATCH];    /* view: unit, to the eye */
    float facing[LB_BATCH];   /* -1: seen from the inner side */
    float uv[2][2][LB_BATCH]; /* set, u v */
    float ddx[2][2][LB_BATCH], ddy[2][2][LB_BATCH];
    float slope_u[3][LB_BATCH], slope_v[3][LB_BATCH], tangent[4][LB_BATCH];
    float base[3][LB_BATCH], alpha[LB_BATCH]; /* diffuse or base colour, straight; opacity */
    float specular[3][LB_BATCH], exponent[LB_BATCH];
    float metallic[LB_BATCH], roughness[LB_BATCH];
    float emission[3][LB_BATCH], occlusion[LB_BATCH];
    float way[3][LB_BATCH],
        strength[LB_BATCH]; /* of the light in hand: unit, to it; its radiance */
    float out[3][LB_BATCH]; /* radiance */
} lb_batch;

/* lights.c: adds what the batch's lamps give to `out`. Needs position, normal, view and the
 * material's values. */
void lb_lights_add(lb_batch *batch);
/* Fills `way` and `strength` for a lamp; shadows will dim `strength`. */
void lb_lights_aim(lb_batch *batch, const lb_lamp *lamp);

/* material values from factors, vertex colours and maps (texels.c). */
void lb_batch_fill_alpha(lb_batch *batch);   /* base and alpha */
void lb_batch_fill_surface(lb_batch *batch); /* the rest that light needs */
void lb_batch_bend_normals(lb_batch *batch); /* bump and normal maps, then the side that is seen */

#define LB_SURFACES 64 /* remembered */

/* One worker's. */
typedef struct lb_shader {
    const lb_shot *shot;
    bool want_color, want_normal, want_uv;
    lb_surface surfaces[LB_SURFACES];
    lb_batch batch;
    const lb_drawable *needing; /* whose `needs` these are */
    lb_needs needs;
    size_t order_capacity;
    uint32_t *order; /* points by drawable */
    size_t group_capacity;
    struct lb_shade_group *groups;
} lb_shader;

void lb_shader_init(lb_shader *shader, const lb_shot *shot);
void lb_shader_clear(lb_shader *shader);

/* Shades points of the tile whose first pixel is (x, y). only_alpha: just rgba[3], not yet compared
 * with a mask's cutoff. False: no memory. */
LB_MUST_CHECK bool lb_shade_points(lb_shader *shader, int32_t x, int32_t y, const lb_point *points,
                                   size_t count, bool only_alpha, lb_shaded *out);

/* The surface of a triangle, made or remembered; valid until the next call. */
lb_surface *lb_shader_surface(lb_shader *shader, const lb_drawable *drawable, uint32_t triangle,
                              int32_t instant);

#endif
