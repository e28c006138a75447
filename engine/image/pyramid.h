/* engine/image/pyramid.h: halving and doubling a plane's resolution with binomial kernels.
 *
 * Sample i of a halved axis stands for samples 2i and 2i + 1, whatever box is asked: the grid is
 * that of the frame's coordinates. A plane goes on beyond its box by an edge rule. */
#ifndef LB_IMAGE_PYRAMID_H
#define LB_IMAGE_PYRAMID_H

#include "engine/image/sample.h"

#define LB_PYRAMID_MOST_ORDER 9

/* Orders of the binomials along x and y: odd, 3 to 9; 0 leaves an axis as it is. */
typedef struct lb_halving {
    int32_t order[2];
} lb_halving;

/* Smooths and keeps every second sample; `box` in the halved coordinates. */
LB_MUST_CHECK lb_status lb_plane_halve(lb_pool *pool, const lb_plane *in, lb_edge edge,
                                       lb_halving halving, lb_box box, lb_plane **out);

/* Interpolates between samples with the same binomials; `box` in the doubled coordinates. */
LB_MUST_CHECK lb_status lb_plane_double(lb_pool *pool, const lb_plane *in, lb_edge edge,
                                        lb_halving halving, lb_box box, lb_plane **out);

/* The samples that those need for `box`. */
lb_box lb_halving_needs(lb_halving halving, lb_box box);
lb_box lb_doubling_needs(lb_halving halving, lb_box box);

/* Outside this box of halved samples everything is what the edge rule (transparent or clamp) makes
 * of the samples inside, given that the same holds for `in` before halving. */
lb_box lb_halving_holds(lb_halving halving, lb_box in, lb_edge edge);

/* Bytes that a thread needs to halve or double so that `box` comes out, at most. */
size_t lb_halving_scratch(lb_halving halving, lb_box box);
size_t lb_doubling_scratch(lb_halving halving, lb_box box);

#endif
