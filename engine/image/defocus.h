/* engine/image/defocus.h: a disc blur whose radius changes from pixel to pixel. */
#ifndef LB_IMAGE_DEFOCUS_H
#define LB_IMAGE_DEFOCUS_H

#include "engine/base/thread.h"
#include "engine/image/plane.h"

/* How far lb_defocus looks, in pixels: what region around `box` its inputs must cover. It looks
 * farther than it spreads, for what is hidden. */
int32_t lb_defocus_reach(double max_radius);
/* How far a picture grows at most. */
int32_t lb_defocus_spread(double max_radius);

/* Where no circle is wider than `radius`, this as max_radius gives the same bits as any that is
 * larger, looks no farther than it must and takes less memory. */
double lb_defocus_max_radius(double radius);

/* Spreads every pixel over the disc of its own circle of confusion.
 *
 * in       r, g, b, a, premultiplied; in[3] NULL: opaque within in[0]'s box. All have one box.
 *          Outside it there is nothing
 * radius   of each pixel's circle of confusion in pixels: negative in front of the focus, 0 in
 *          focus, positive behind it; longer ones are cut to max_radius; NaN counts as 0. Its box
 *          covers in[0]'s as far as it is looked at
 * out      four planes of `box`, owned by the caller; all NULL on failure
 *
 * What is out of focus in front spreads over what is behind it; what is behind never spreads over
 * something sharper in front. Where the picture has no pixels for what a blurred edge uncovers, its
 * surroundings stand in. Where the radius is the same everywhere it is lb_convolve_disc.
 * LB_MEMORY, LB_INVALID (boxes), LB_CANCELLED. */
LB_MUST_CHECK lb_status lb_defocus(lb_pool *pool, const lb_plane *const in[4],
                                   const lb_plane *radius, double max_radius, lb_box box,
                                   lb_plane *out[4]);
/* The most bytes that lb_defocus takes while it runs on a picture of `in`, beside the planes it
 * gives; before blocks are rounded up. */
size_t lb_defocus_scratch(double max_radius, lb_box in, lb_box box, int32_t threads);

#endif
