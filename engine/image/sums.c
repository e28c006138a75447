/* engine/image/sums.c
 *
 * Up to four pairs or six taps a pass, eight rows read for one that is read and written; a piece
 * of `out` stays in the first cache from pass to pass. */
#include "engine/image/sums.h"

#include <stdbool.h>

#include "engine/base/clones.h"

#define PIECE 512
#define MOST_PAIRS 4

/* `pairs` and `adds` are constants wherever this is inlined, so the conditions vanish. */
static inline __attribute__((always_inline)) void pairs_loop(float *restrict out,
                                                             const float *const *a,
                                                             const float *const *b, const float *w,
                                                             int pairs, bool adds, int32_t at,
                                                             int32_t count)
{
    const float *restrict a0 = a[0] + at, *restrict a1 = a[pairs > 1 ? 1 : 0] + at;
    const float *restrict a2 = a[pairs > 2 ? 2 : 0] + at, *restrict a3 = a[pairs > 3 ? 3 : 0] + at;
    const float *restrict b0 = b[0] + at, *restrict b1 = b[pairs > 1 ? 1 : 0] + at;
    const float *restrict b2 = b[pairs > 2 ? 2 : 0] + at, *restrict b3 = b[pairs > 3 ? 3 : 0] + at;
    float w0 = w[0], w1 = w[pairs > 1 ? 1 : 0], w2 = w[pairs > 2 ? 2 : 0];
    float w3 = w[pairs > 3 ? 3 : 0];

    for (int32_t x = 0; x < count; x++) {
        float sum = w0 * (a0[x] + b0[x]);

        if (adds)
            sum = out[x] + sum;
        if (pairs > 1)
            sum += w1 * (a1[x] + b1[x]);
        if (pairs > 2)
            sum += w2 * (a2[x] + b2[x]);
        if (pairs > 3)
            sum += w3 * (a3[x] + b3[x]);
        out[x] = sum;
    }
}

LB_CLONES
static void set_pairs(float *restrict out, const float *const *a, const float *const *b,
                      const float *weights, int32_t pairs, int32_t at, int32_t count)
{
    switch (pairs) {
    case 1:
        pairs_loop(out, a, b, weights, 1, false, at, count);
        break;
    case 2:
        pairs_loop(out, a, b, weights, 2, false, at, count);
        break;
    case 3:
        pairs_loop(out, a, b, weights, 3, false, at, count);
        break;
    default:
        pairs_loop(out, a, b, weights, 4, false, at, count);
    }
}

LB_CLONES
static void add_pairs(float *restrict out, const float *const *a, const float *const *b,
                      const float *weights, int32_t pairs, int32_t at, int32_t count)
{
    switch (pairs) {
    case 1:
        pairs_loop(out, a, b, weights, 1, true, at, count);
        break;
    case 2:
        pairs_loop(out, a, b, weights, 2, true, at, count);
        break;
    case 3:
        pairs_loop(out, a, b, weights, 3, true, at, count);
        break;
    default:
        pairs_loop(out, a, b, weights, 4, true, at, count);
    }
}

/* The odd ones go first, so that all further passes are full. */
static int32_t first_pass(int32_t pairs, int32_t most)
{
    return pairs % most ? pairs % most : pairs < most ? pairs : most;
}

void lb_pairs_sum(float *out, const float *const *a, const float *const *b, const float *weights,
                  int32_t pairs, int32_t count)
{
    for (int32_t at = 0; at < count; at += PIECE) {
        int32_t n = count - at < PIECE ? count - at : PIECE, k = first_pass(pairs, MOST_PAIRS);

        set_pairs(out + at, a, b, weights, k, at, n);
        for (; k < pairs; k += MOST_PAIRS)
            add_pairs(out + at, a + k, b + k, weights + k, MOST_PAIRS, at, n);
    }
}

static inline __attribute__((always_inline)) void taps_loop(float *restrict out,
                                                            const float *const *in, const float *w,
                                                            int taps, bool adds, int32_t at,
                                                            int32_t count)
{
    const float *restrict i0 = in[0] + at, *restrict i1 = in[taps > 1 ? 1 : 0] + at;
    const float *restrict i2 = in[taps > 2 ? 2 : 0] + at, *restrict i3 = in[taps > 3 ? 3 : 0] + at;
    const float *restrict i4 = in[taps > 4 ? 4 : 0] + at, *restrict i5 = in[taps > 5 ? 5 : 0] + at;
    float w0 = w[0], w1 = w[taps > 1 ? 1 : 0], w2 = w[taps > 2 ? 2 : 0], w3 = w[taps > 3 ? 3 : 0];
    float w4 = w[taps > 4 ? 4 : 0], w5 = w[taps > 5 ? 5 : 0];

    for (int32_t x = 0; x < count; x++) {
        float sum = w0 * i0[x];

        if (adds)
            sum = out[x] + sum;
        if (taps > 1)
            sum += w1 * i1[x];
        if (taps > 2)
            sum += w2 * i2[x];
        if (taps > 3)
            sum += w3 * i3[x];
        if (taps > 4)
            sum += w4 * i4[x];
        if (taps > 5)
            sum += w5 * i5[x];
        out[x] = sum;
    }
}

LB_CLONES
static void set_taps(float *restrict out, const float *const *in, const float *weights,
                     int32_t taps, int32_t at, int32_t count)
{
    switch (taps) {
    case 1:
        taps_loop(out, in, weights, 1, false, at, count);
        break;
    case 2:
        taps_loop(out, in, weights, 2, false, at, count);
        break;
    case 3:
        taps_loop(out, in, weights, 3, false, at, count);
        break;
    case 4:
        taps_loop(out, in, weights, 4, false, at, count);
        break;
    case 5:
        taps_loop(out, in, weights, 5, false, at, count);
        break;
    default:
        taps_loop(out, in, weights, 6, false, at, count);
    }
}

LB_CLONES
static void add_six_taps(float *restrict out, const float *const *in, const float *weights,
                         int32_t at, int32_t count)
{
    taps_loop(out, in, weights, 6, true, at, count);
}

void lb_taps_sum(float *out, const float *const *in, const float *weights, int32_t taps,
                 int32_t count)
{
    for (int32_t at = 0; at < count; at += PIECE) {
        int32_t n = count - at < PIECE ? count - at : PIECE, k = first_pass(taps, LB_SUMS_TAPS);

        set_taps(out + at, in, weights, k, at, n);
        for (; k < taps; k += LB_SUMS_TAPS)
            add_six_taps(out + at, in + k, weights + k, at, n);
    }
}
