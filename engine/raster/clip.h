/* engine/raster/clip.h: triangles that reach beyond what fixed point can hold. Not a public header.
 *
 * Corners are X, Y, distance, w: pixel X/w, Y/w from the shot's origin. */
#ifndef LB_RASTER_CLIP_H
#define LB_RASTER_CLIP_H

#include "engine/raster/shot.h"

enum { LB_BEYOND_NEAR = 1, LB_BEYOND_FAR = 2, LB_BEYOND_SIDES = 60, LB_BEYOND_NUMBERS = 64 };

/* The planes that a corner lies beyond: bits 0 near, 1 far, 2 .. 5 the guard band's sides; bit 6
 * when it is not a number. */
static inline int32_t lb_clip_planes(const lb_eye *eye, const double h[4])
{
    double guard = LB_GUARD_PIXELS * h[3];
    int32_t beyond = !(h[2] >= eye->near) ? LB_BEYOND_NEAR : 0;

    beyond |= h[2] > eye->far ? LB_BEYOND_FAR : 0;
    beyond |=
        (h[0] < -guard) << 2 | (h[0] > guard) << 3 | (h[1] < -guard) << 4 | (h[1] > guard) << 5;
    beyond |= !(h[0] - h[0] == 0 && h[1] - h[1] == 0 && h[2] - h[2] == 0) ? LB_BEYOND_NUMBERS : 0;
    return beyond;
}

/* Pixels to fixed point, rounded to nearest; within the guard band. */
static inline int32_t lb_clip_snap(double pixels)
{
    double lifted = pixels * LB_FIXED_ONE + (0.5 + (double)(1 << 30));

    return (int32_t)((int64_t)lifted - (1 << 30));
}

/* One triangle of what is left of a clipped one. */
typedef struct lb_clipped {
    uint32_t triangle;
    int32_t x[3], y[3]; /* fixed point, in the order of the corners that they came from */
    double key[3];      /* plane of the key: key[0] x + key[1] y + key[2], pixels from the origin */
    float key_low, key_high;
} lb_clipped;
#define LB_CLIPPED_MAX 7

/* Cuts a triangle at the near, far and side planes; answers how many pieces (0: nothing is left) it
 * wrote. An edge that two triangles share is cut at the same place in both. */
int32_t lb_clip_triangle(const lb_eye *eye, double corners[3][4], uint32_t triangle,
                         lb_clipped out[LB_CLIPPED_MAX]);

/* Rows q[i] with q[i] . (x, y, 1) = (weight of corner i) / w at pixel (x, y) of the triangle's
 * plane (Olano and Greer, "Triangle scan conversion using 2D homogeneous coordinates", 1997): no
 * corner needs to be in front of the eye. False: it is seen edge on. *facing is the sign of the
 * determinant, +1 where corners go round clockwise on the screen. */
bool lb_clip_weights(double corners[3][4], double q[3][3], int32_t *facing);

#endif
