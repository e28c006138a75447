/* engine/raster/surface.h: what a triangle is like at a point of the screen. Not a public header.
 */
#ifndef LB_RASTER_SURFACE_H
#define LB_RASTER_SURFACE_H

#include "engine/raster/clip.h"

/* What a material asks of its surface. */
typedef struct lb_needs {
    bool uv[2];   /* sets of texture coordinates */
    bool color;   /* of vertices */
    bool slopes;  /* how the position goes with the texture coordinates of set slopes_set */
    bool tangent; /* of vertices */
    int32_t slopes_set;
} lb_needs;
lb_needs lb_needs_of(const lb_material *material, bool want_uv);

/* A triangle at an instant, ready for points. */
typedef struct lb_surface {
    uint32_t triangle; /* LB_NO_SURFACE: none */
    int32_t instant;
    double x, y; /* pixels from the shot's origin: where the planes below are counted from */
    double weight[3][3]; /* planes x, y, 1: share of a corner divided by w */
    double key[3];       /* plane of the key */
    bool front, mirrored;
    lb_vec3 position[3], normal[3]; /* at corner 0, and from there to 1 and to 2 */
    lb_vec2 uv[2][3];
    lb_vec4 color[3], tangent[3];
    lb_vec3 slope_u, slope_v;
    bool has_next;     /* of moving ones, when asked for */
    double next[3][3]; /* X, Y, w of the corners at a neighbouring instant */
} lb_surface;
#define LB_NO_SURFACE UINT32_MAX

void lb_surface_make(const lb_shot *shot, const lb_drawable *drawable, uint32_t triangle,
                     int32_t instant, const lb_needs *needs, lb_surface *out);

/* How many pixels, along x or y, that which is seen at a point of a moving triangle is away from
 * there an instant later (or, at the last, earlier). */
double lb_surface_motion(const lb_shot *shot, const lb_drawable *drawable, lb_surface *surface,
                         double x, double y);

/* The triangle's own normal, to its outer side. */
lb_vec3 lb_surface_flat(const lb_surface *surface);

/* Is the outer side seen? */
bool lb_surface_is_front(const lb_shot *shot, const lb_drawable *drawable, uint32_t triangle,
                         int32_t instant);

/* Shares of corners 1 and 2 at a point, and how they change from pixel to pixel. The point may lie
 * a little outside: then it is brought to the edge. */
typedef struct lb_shares {
    float b1, b2, b1_dx, b2_dx, b1_dy, b2_dy;
} lb_shares;

static inline lb_shares lb_surface_shares(const lb_surface *s, double x, double y)
{
    double dx = x - s->x, dy = y - s->y, q[3], sum, sum_dx, sum_dy, b1, b2;
    bool is_inside;

    for (int i = 0; i < 3; i++)
        q[i] = s->weight[i][0] * dx + s->weight[i][1] * dy + s->weight[i][2];
    is_inside = (q[0] >= 0) & (q[1] >= 0) & (q[2] >= 0);
    for (int i = 0; i < 3 && !is_inside; i++)
        q[i] = q[i] > 0 ? q[i] : 0;
    sum = q[0] + q[1] + q[2];
    if (!(sum > 0))
        return (lb_shares){0};
    sum = 1 / sum;
    b1 = q[1] * sum;
    b2 = q[2] * sum;
    sum_dx = s->weight[0][0] + s->weight[1][0] + s->weight[2][0];
    sum_dy = s->weight[0][1] + s->weight[1][1] + s->weight[2][1];
    return (lb_shares){
        .b1 = (float)b1,
        .b2 = (float)b2,
        .b1_dx = (float)((s->weight[1][0] - b1 * sum_dx) * sum),
        .b2_dx = (float)((s->weight[2][0] - b2 * sum_dx) * sum),
        .b1_dy = (float)((s->weight[1][1] - b1 * sum_dy) * sum),
        .b2_dy = (float)((s->weight[2][1] - b2 * sum_dy) * sum),
    };
}

/* Plane of the key at a point. */
static inline float lb_surface_key(const lb_surface *s, double x, double y)
{
    return (float)(s->key[0] * (x - s->x) + s->key[1] * (y - s->y) + s->key[2]);
}

#endif
