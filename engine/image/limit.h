/* engine/image/limit.h: resampling without ringing.
 *
 * Kernels with negative lobes (cubic, Lanczos, Mitchell) go beyond the values around an edge. In
 * scene-linear light, where an ember is a hundred times as bright as the brick beside it, that is a
 * black seam. Here each pixel that was made is kept within the least and the largest of the pixels
 * under the kernel's main lobe: in the middle of flat or rising areas nothing changes. */
#ifndef LB_IMAGE_LIMIT_H
#define LB_IMAGE_LIMIT_H

#include "engine/image/sample.h"

/* True for kernels that can ring. */
bool lb_filter_rings(lb_filter filter);

/* After lb_transform_plane with the same in, m and edge: changes `made` in place, before it is
 * published. NaN, which infinite pixels leave, becomes the least. LB_MEMORY,
 * LB_CANCELLED. */
LB_MUST_CHECK lb_status lb_limit_transform(lb_pool *pool, const lb_plane *in, const double m[6],
                                           lb_edge edge, lb_plane *made);
/* After lb_warp_plane, likewise. */
LB_MUST_CHECK lb_status lb_limit_warp(lb_pool *pool, const lb_plane *in, const lb_plane *dx,
                                      const lb_plane *dy, lb_edge edge, lb_plane *made);

#endif
