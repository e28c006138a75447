/* engine/image/sums.h: the inner loops of convolutions: weighted sums of rows. */
#ifndef LB_IMAGE_SUMS_H
#define LB_IMAGE_SUMS_H

#include <stdint.h>

/* out[x] = sum over k < pairs of weights[k] (a[k][x] + b[k][x]), added in the order of k: symmetric
 * kernels, at half the multiplications. The middle of one is a pair of itself with half its weight,
 * which is exact. No row overlaps `out`. */
void lb_pairs_sum(float *out, const float *const *a, const float *const *b, const float *weights,
                  int32_t pairs, int32_t count);
/* out[x] = sum over k < taps of weights[k] in[k][x], added in the order of k; at least one tap. Up
 * to LB_SUMS_TAPS go in one pass. */
#define LB_SUMS_TAPS 6
void lb_taps_sum(float *out, const float *const *in, const float *weights, int32_t taps,
                 int32_t count);

#endif
