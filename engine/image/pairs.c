/* engine/image/pairs.c
 *
 * Four pairs a pass: eight rows are read for one that is read and written, and the sum of a piece
 * stays in the first cache. */
#include "engine/image/pairs.h"

#include "engine/base/clones.h"

#define PIECE 1024

LB_CLONES
static void begin_row(float *restrict out, const float *restrict in, float weight, int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        out[x] = weight * in[x];
}

LB_CLONES
static void add_pair(float *restrict out, const float *restrict a, const float *restrict b,
                     float weight, int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        out[x] += weight * (a[x] + b[x]);
}

LB_CLONES
static void add_four_pairs(float *restrict out, const float *restrict a0, const float *restrict b0,
                           const float *restrict a1, const float *restrict b1,
                           const float *restrict a2, const float *restrict b2,
                           const float *restrict a3, const float *restrict b3, const float *weights,
                           int32_t count)
{
    float w0 = weights[0], w1 = weights[1], w2 = weights[2], w3 = weights[3];

    for (int32_t x = 0; x < count; x++) {
        float sum = out[x] + w0 * (a0[x] + b0[x]);

        sum += w1 * (a1[x] + b1[x]);
        sum += w2 * (a2[x] + b2[x]);
        out[x] = sum + w3 * (a3[x] + b3[x]);
    }
}

void lb_pairs_rows(float *out, const float *middle, const float *const *before,
                   const float *const *after, const float *weights, int32_t radius, int32_t count)
{
    for (int32_t x = 0; x < count; x += PIECE) {
        int32_t n = count - x < PIECE ? count - x : PIECE, k = 1;

        begin_row(out + x, middle + x, weights[0], n);
        for (; k + 3 <= radius; k += 4)
            add_four_pairs(out + x, before[k] + x, after[k] + x, before[k + 1] + x,
                           after[k + 1] + x, before[k + 2] + x, after[k + 2] + x, before[k + 3] + x,
                           after[k + 3] + x, weights + k, n);
        for (; k <= radius; k++)
            add_pair(out + x, before[k] + x, after[k] + x, weights[k], n);
    }
}

void lb_pairs_along(float *out, const float *in, const float *weights, int32_t radius,
                    int32_t count)
{
    for (int32_t x = 0; x < count; x += PIECE) {
        int32_t n = count - x < PIECE ? count - x : PIECE, k = 1;
        const float *at = in + x;

        begin_row(out + x, at, weights[0], n);
        for (; k + 3 <= radius; k += 4)
            add_four_pairs(out + x, at - k, at + k, at - k - 1, at + k + 1, at - k - 2, at + k + 2,
                           at - k - 3, at + k + 3, weights + k, n);
        for (; k <= radius; k++)
            add_pair(out + x, at - k, at + k, weights[k], n);
    }
}

void lb_pairs_add(float *out, const float *in, const int32_t *offsets, const float *weights,
                  int32_t taps, int32_t count)
{
    int32_t i = 0;

    for (; i + 3 < taps; i += 4)
        add_four_pairs(out, in - offsets[i], in + offsets[i], in - offsets[i + 1],
                       in + offsets[i + 1], in - offsets[i + 2], in + offsets[i + 2],
                       in - offsets[i + 3], in + offsets[i + 3], weights + i, count);
    for (; i < taps; i++)
        add_pair(out, in - offsets[i], in + offsets[i], weights[i], count);
}
