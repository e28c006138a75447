/* engine/image/similarity.h: how alike the structure of two pictures is. */
#ifndef LB_IMAGE_SIMILARITY_H
#define LB_IMAGE_SIMILARITY_H

#include "engine/base/thread.h"
#include "engine/image/plane.h"

#define LB_SIMILARITY_SIDE 11 /* of the window that is looked at around a pixel */

/* The structural similarity (SSIM) of two planes with the same box, of values from 0 to 1, finite:
 * Wang, Bovik, Sheikh, Simoncelli, "Image quality assessment: from error visibility to structural
 * similarity", IEEE Transactions on Image Processing 13(4), 2004, equation 13: Gaussian window of
 * 11 x 11 with sigma 1.5, K1 0.01, K2 0.03, range 1. *out is the mean over the pixels around which
 * the whole window lies in the box, NaN where that is nowhere; at most 1, which equal planes have.
 * The same bits for any number of threads. LB_MEMORY, LB_CANCELLED. */
LB_MUST_CHECK lb_status lb_similarity(lb_pool *pool, const lb_plane *a, const lb_plane *b,
                                      double *out);

#endif
