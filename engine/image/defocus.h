/* engine/image/defocus.h: a disc blur whose radius changes from pixel to pixel. */
#ifndef LB_IMAGE_DEFOCUS_H
#define LB_IMAGE_DEFOCUS_H

#include "engine/base/thread.h"
#include "engine/image/plane.h"

/* How far lb_defocus looks, in pixels: what region around `box` its inputs must cover. */
int32_t lb_defocus_reach(double max_radius);

/* Spreads every pixel over the disc of its own circle of confusion.
 *
 * in       r, g, b, a, premultiplied; in[3] NULL: opaque within in[0]'s box. All have one box.
 *          Outside it there is nothing
 * radius   of each pixel's circle of confusion in pixels: negative in front of the focus, 0 in
 *          focus, positive behind it; longer ones are cut to max_radius; NaN counts as 0. Its box
 *          covers in[0]'s
 * out      four planes of `box`, owned by the caller; all NULL on failure
 *
 * What is out of focus in front spreads over what is behind it; what is behind never spreads over
 * something sharper in front. Where the picture has no pixels for what a blurred edge uncovers, its
 * surroundings stand in. Where the radius is the same everywhere it is lb_convolve_disc.
 * LB_MEMORY, LB_INVALID (boxes), LB_CANCELLED. */
LB_MUST_CHECK lb_status lb_defocus(lb_pool *pool, const lb_plane *const in[4],
                                   const lb_plane *radius, double max_radius, lb_box box,
                                   lb_plane *out[4]);

#endif
