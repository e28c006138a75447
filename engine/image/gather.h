/* engine/image/gather.h: samples at any positions, a piece of a row at a time.
 *
 * Weights are made once for a piece and serve any number of planes. Every pixel's value is the same
 * whether its taps are all inside the plane or not, and whatever processor makes it. */
#ifndef LB_IMAGE_GATHER_H
#define LB_IMAGE_GATHER_H

#include "engine/image/sample.h"

#define LB_GATHER_MOST 128
#define LB_GATHER_PLANES 4 /* planes that are read together */
#define LB_GATHER_GROUP 16 /* samples that are made together */

/* A position rounded to 2^-24 pixels. Whole numbers can then be taken from it exactly, so that it
 * is the same place whichever pixel of the plane it is counted from: a part of a picture has the
 * bits of the whole. */
static inline double lb_gather_grid(double position)
{
    return (position + 0x1.8p28) - 0x1.8p28;
}

/* How wide a kernel is along an axis of the input where an output pixel is (a, b) long along it:
 * 1 .. most. Rounding does not count: a turned picture keeps its size. */
static inline double lb_gather_stretch(double a, double b, double most)
{
    double length = __builtin_sqrt(a * a + b * b);

    return length > 1 + 0x1p-20 ? length < most ? length : most : 1;
}

/* Kernels that may go beyond the pixels around, and are those pixels at whole positions. */
static inline bool lb_gather_can_limit(lb_filter filter)
{
    return filter == LB_FILTER_CUBIC || filter == LB_FILTER_LANCZOS3;
}

/* The pixels that a group of samples stands on: from the least to the largest, both in it. */
typedef struct lb_gather_span {
    int32_t x0, x1, y0, y1;
} lb_gather_span;

/* Positions in pixels from the plane's first centre: whole part and fraction along both axes. With
 * LB_FILTER_NEAREST the whole part is the pixel itself. What follows the last sample up to a whole
 * group repeats it. */
typedef struct lb_gather {
    lb_filter filter;
    bool limited;  /* where lb_gather_can_limit: the values are those that lb_gather_limit leaves */
    int32_t count; /* at most LB_GATHER_MOST */
    int32_t x[LB_GATHER_MOST], y[LB_GATHER_MOST];
    float fx[LB_GATHER_MOST], fy[LB_GATHER_MOST];
    float wx[6][LB_GATHER_MOST], wy[6][LB_GATHER_MOST]; /* of each tap in turn */
    lb_gather_span spans[LB_GATHER_MOST / LB_GATHER_GROUP];
} lb_gather;

/* Positions are limited to +-2^28, NaN to one end: there, nothing is near. */
void lb_gather_at(lb_gather *gather, const double *x, const double *y, int32_t count);
/* Pixels first_x .. of row y, moved by dx and dy. */
void lb_gather_moved(lb_gather *gather, int32_t first_x, int32_t y, const float *dx,
                     const float *dy, int32_t count);
/* The samples of `planes`, which have one box: out[p][i] of each. */
void lb_gather_run(const lb_gather *gather, int32_t count, const lb_plane *const *planes,
                   lb_edge edge, float *const *out);
/* Keeps each of `values` within the least and the largest of the (at most four) pixels whose
 * centres are less than a pixel away along both axes. NaN becomes the least; pixels that are NaN do
 * not count. Any filter but nearest. */
void lb_gather_limit(const lb_gather *gather, const lb_plane *plane, lb_edge edge, float *values);

#endif
