/* engine/media/half.h: 16-bit floats (IEEE 754-2008 binary16), rows at a time. */
#ifndef LB_MEDIA_HALF_H
#define LB_MEDIA_HALF_H

#include <stdbool.h>
#include <stdint.h>

/* To the nearest half, ties to even. Infinities and NaN stay what they are. A finite value that
 * would round to infinity (65520 and above) becomes the largest half, 65504, with its sign; answers
 * whether there was one. `in` and `out` do not overlap. */
bool lb_half_from_float_row(uint16_t *restrict out, const float *restrict in, int32_t count);

/* Exact. */
void lb_half_to_float_row(float *restrict out, const uint16_t *restrict in, int32_t count);

#endif
