/* engine/image/convolve.h: Gaussian and disc. */
#ifndef LB_IMAGE_CONVOLVE_H
#define LB_IMAGE_CONVOLVE_H

#include "engine/base/thread.h"
#include "engine/image/sample.h"

/* How far a Gaussian of that sigma looks, in pixels: what region an input must provide. */
int32_t lb_gaussian_reach(double sigma);

/* Gaussian blur of `in`, the pixels of `box` into *out (owned by the caller). sigma 0 along an axis
 * leaves that axis alone. `edge` tells what lies outside in's box. Within 1e-4 of the peak of the
 * sampled Gaussian (variance sigma^2) at any sigma, and no jump larger than that where the method
 * changes. LB_MEMORY. Source: shared facts in docs/methods.md. */
LB_MUST_CHECK lb_status lb_convolve_gaussian(lb_pool *pool, const lb_plane *in,
                                             const double sigma[2], lb_edge edge, lb_box box,
                                             lb_plane **out);

/* Bytes that it needs beside `in` and *out, at most; `in` is the input's box. */
size_t lb_gaussian_scratch(const double sigma[2], lb_box in, lb_edge edge, lb_box box,
                           int32_t threads);

/* How far a disc looks, in pixels. */
int32_t lb_disc_reach(double radius);
/* The disc's area in the pixel square (dx, dy) pixels from its middle, over the whole area. */
double lb_disc_weight(double radius, int32_t dx, int32_t dy);
/* Area of the disc about (0, 0) within x0 .. x1, y0 .. y1, all of them >= 0. */
double lb_disc_area(double radius, double x0, double x1, double y0, double y1);

/* Uniform disc of `radius` pixels, each pixel weighted by its exact area in the disc. */
LB_MUST_CHECK lb_status lb_convolve_disc(lb_pool *pool, const lb_plane *in, double radius,
                                         lb_edge edge, lb_box box, lb_plane **out);
/* The most bytes that lb_convolve_disc takes while it runs, beside the plane it gives; before
 * blocks are rounded up. */
size_t lb_disc_scratch(double radius, lb_box box, int32_t threads);

#endif
