/* engine/image/sample.h: reading between pixels; geometric transforms.
 *
 * Pixel (i, j) has its centre at (i + 0.5, j + 0.5). Coordinates here are such frame coordinates.
 */
#ifndef LB_IMAGE_SAMPLE_H
#define LB_IMAGE_SAMPLE_H

#include "engine/base/thread.h"
#include "engine/image/plane.h"

/* What lies outside the pixels: nothing, the edge's pixel, the picture again, the picture turned
 * over (edge pixel doubled). */
typedef enum lb_edge { LB_EDGE_TRANSPARENT, LB_EDGE_CLAMP, LB_EDGE_REPEAT, LB_EDGE_MIRROR } lb_edge;
extern const char *const lb_edge_names[]; /* in the enum's order, NULL at the end */

typedef enum lb_filter {
    LB_FILTER_NEAREST,
    LB_FILTER_BILINEAR,
    LB_FILTER_CUBIC, /* Catmull-Rom: B 0, C 1/2 */
    LB_FILTER_LANCZOS3,
    LB_FILTER_MITCHELL,
} lb_filter;
extern const char *const lb_filter_names[]; /* nearest bilinear cubic lanczos3 mitchell, NULL */

/* The kernel's value at x source pixels from its middle; 0 beyond lb_filter_radius. */
double lb_filter_value(lb_filter filter, double x);
double lb_filter_radius(lb_filter filter);

/* The index that stands for `i` in a row of n > 0 by the edge rule; -1: nothing (transparent). */
int32_t lb_edge_index(lb_edge edge, int32_t i, int32_t n);

/* One sample at frame position (x, y). Weights are normalised along each axis before the edge rule
 * applies. */
float lb_sample(const lb_plane *plane, double x, double y, lb_filter filter, lb_edge edge);

/* out(x, y) = in(map(x, y)) for the output centres of `box`: m is the 2 x 3 matrix from output to
 * input coordinates, row by row. Where the map makes the picture smaller the kernel grows with it,
 * along each axis of the input as much as an output pixel is long there, so that nothing aliases;
 * nearest never does, because it must not mix values. With kernels that leave pixels alone (all but
 * mitchell) moving by whole pixels is a copy, bit for bit. */
LB_MUST_CHECK lb_status lb_transform_plane(lb_pool *pool, const lb_plane *in, const double m[6],
                                           lb_filter filter, lb_edge edge, lb_box box,
                                           lb_plane **out);
/* The same for `count` planes of one box; limited: each pixel left as lb_limit_transform leaves it
 * (limit.h). All of out[0 .. count - 1] are NULL on failure. LB_INVALID: boxes that differ. */
LB_MUST_CHECK lb_status lb_transform_planes(lb_pool *pool, int32_t count, const lb_plane *const *in,
                                            const double m[6], lb_filter filter, lb_edge edge,
                                            bool limited, lb_box box, lb_plane **out);

/* Bytes that it needs beside the input and the result, at most; `in` is the input's box. */
size_t lb_transform_scratch(lb_box in, const double m[6], lb_filter filter, lb_box box,
                            int32_t threads);

/* out(x, y) = in(x + dx(x, y), y + dy(x, y)), backward mapping; dx and dy cover `box`. Needs no
 * memory but the result's. */
LB_MUST_CHECK lb_status lb_warp_plane(lb_pool *pool, const lb_plane *in, const lb_plane *dx,
                                      const lb_plane *dy, lb_filter filter, lb_edge edge,
                                      lb_box box, lb_plane **out);
/* The same for `count` planes of one box, by the same map: positions and weights are found once.
 * All of out[0 .. count - 1] are NULL on failure. LB_INVALID: boxes that do not fit. */
LB_MUST_CHECK lb_status lb_warp_planes(lb_pool *pool, int32_t count, const lb_plane *const *in,
                                       const lb_plane *dx, const lb_plane *dy, lb_filter filter,
                                       lb_edge edge, lb_box box, lb_plane **out);
/* The same, each pixel left as lb_limit_warp leaves it (limit.h): in one go where the filter is
 * cubic or lanczos3. */
LB_MUST_CHECK lb_status lb_warp_planes_limited(lb_pool *pool, int32_t count,
                                               const lb_plane *const *in, const lb_plane *dx,
                                               const lb_plane *dy, lb_filter filter, lb_edge edge,
                                               lb_box box, lb_plane **out);

#endif
