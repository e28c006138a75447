/* engine/image/extend.h: pixels beyond a plane's edge, row by row or as a larger plane. */
#ifndef LB_IMAGE_EXTEND_H
#define LB_IMAGE_EXTEND_H

#include "engine/image/sample.h"

/* Pixels first .. first + count - 1 of a row of n > 0 pixels that goes on by the edge rule. */
void lb_edge_row(lb_edge edge, const float *row, int32_t n, int32_t first, int32_t count,
                 float *out);

/* Pixels x0 .. x1 - 1 of row y of a plane that goes on by the edge rule. */
void lb_plane_copy_row(const lb_plane *in, lb_edge edge, int32_t y, int32_t x0, int32_t x1,
                       float *out);

/* The part of `in` on which the pixels of `box` stand by the edge rule: never empty, so that the
 * rule applied to that part alone gives the same pixels (all of `in` along an axis on which a
 * repeated or mirrored picture is left). */
lb_box lb_edge_needs(lb_edge edge, lb_box in, lb_box box);

/* A plane that holds every pixel of `box` (and perhaps more): `in` itself, one more reference, if
 * it has them, else a copy that goes on by the edge rule. Owned by the caller. LB_MEMORY, LB_LIMIT,
 * LB_CANCELLED. */
LB_MUST_CHECK lb_status lb_plane_extend(lb_pool *pool, const lb_plane *in, lb_edge edge, lb_box box,
                                        lb_plane **out);

#endif
