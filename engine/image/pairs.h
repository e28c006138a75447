/* engine/image/pairs.h: the inner loop of every symmetric kernel. */
#ifndef LB_IMAGE_PAIRS_H
#define LB_IMAGE_PAIRS_H

#include <stdint.h>

/* out[x] = weights[0] middle[x] + sum over k = 1 .. radius of weights[k] (before[k][x] +
 * after[k][x]), added in the order of k. No row overlaps `out`. */
void lb_pairs_rows(float *out, const float *middle, const float *const *before,
                   const float *const *after, const float *weights, int32_t radius, int32_t count);

/* The same along one row: before[k] is in - k, after[k] is in + k. `in` is readable from -radius to
 * count + radius - 1. */
void lb_pairs_along(float *out, const float *in, const float *weights, int32_t radius,
                    int32_t count);

/* out[x] += sum over i < taps of weights[i] (in[x - offsets[i]] + in[x + offsets[i]]), in order. */
void lb_pairs_add(float *out, const float *in, const int32_t *offsets, const float *weights,
                  int32_t taps, int32_t count);

#endif
