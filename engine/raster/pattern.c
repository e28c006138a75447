/* engine/raster/pattern.c: sample positions of a pixel. */
#include "engine/raster/pattern.h"

/* For each count the scrambling whose smallest distance between points is largest, found by trying
 * 2^15 of them (2^22 for 16, 32 and 64). */
static const uint32_t seeds[LB_MAX_SAMPLES + 1] = {
    0,     0,     0,     0,      0,     3,     16,      491,   97,    3374, 742,  8086,  692,
    16104, 9009,  16987, 205608, 6910,  17180, 24846,   31034, 11778, 2740, 8540, 500,   805,
    10338, 22119, 4343,  18606,  13909, 21473, 3335786, 7087,  32174, 1524, 2996, 14148, 11474,
    1620,  6394,  13560, 7545,   148,   331,   7935,    17459, 17459, 9926, 6138, 12348, 2671,
    12348, 12348, 2671,  2671,   28603, 23754, 23754,   6138,  6138,  6138, 6116, 26,    1639671,
};

static uint32_t mix(uint32_t x)
{
    x ^= x >> 16;
    x *= 0x7feb352du;
    x ^= x >> 15;
    x *= 0x846ca68bu;
    return x ^ x >> 16;
}

/* Owen's scrambling of six bits: each is turned over or not, as the bits above it decide. */
static uint32_t scramble(uint32_t value, uint32_t seed)
{
    uint32_t out = 0;

    for (int bit = 5; bit >= 0; bit--) {
        uint32_t above = value >> (bit + 1) | 1u << (5 - bit);

        out |= ((value >> bit & 1) ^ (mix(seed ^ mix(above * 0x9e3779b1u)) & 1)) << bit;
    }
    return out;
}

/* Point `index` of the sequence, six bits a coordinate: the bits in reverse, and Sobol's second
 * dimension, whose direction numbers are the rows of Pascal's triangle modulo 2. */
static void sobol(uint32_t index, uint32_t *x, uint32_t *y)
{
    uint32_t direction = 32;

    *x = *y = 0;
    for (int bit = 0; bit < 6; bit++) {
        *x |= (index >> bit & 1) << (5 - bit);
        if (index >> bit & 1)
            *y ^= direction;
        direction ^= direction >> 1;
    }
}

/* The middle of column `rank` of `count`, rounded away from the pixel's middle. */
static int32_t middle(int32_t rank, int32_t count)
{
    return ((2 * rank + 1) * 128 + (2 * rank < count ? 0 : count - 1)) / count;
}

void lb_pattern_make(int32_t count, lb_pattern *out)
{
    uint32_t x[LB_MAX_SAMPLES], y[LB_MAX_SAMPLES];

    *out = (lb_pattern){.count = count};
    for (int32_t i = 0; i < count; i++) {
        sobol((uint32_t)i, &x[i], &y[i]);
        x[i] = scramble(x[i], seeds[count] * 2);
        y[i] = scramble(y[i], seeds[count] * 2 + 1);
    }
    for (int32_t i = 0; i < count; i++) {
        int32_t rank_x = 0, rank_y = 0;

        for (int32_t k = 0; k < count; k++) {
            rank_x += x[k] < x[i];
            rank_y += y[k] < y[i];
        }
        out->x[i] = middle(rank_x, count);
        out->y[i] = middle(rank_y, count);
    }
}

lb_sample_span lb_pattern_span(const lb_pattern *pattern, int32_t index, int32_t instants)
{
    lb_sample_span span = {.low_x = 255, .low_y = 255};

    span.first = (index * pattern->count + instants - 1) / instants;
    span.end = ((index + 1) * pattern->count + instants - 1) / instants;
    for (int32_t s = span.first; s < span.end; s++) {
        span.low_x = pattern->x[s] < span.low_x ? pattern->x[s] : span.low_x;
        span.high_x = pattern->x[s] > span.high_x ? pattern->x[s] : span.high_x;
        span.low_y = pattern->y[s] < span.low_y ? pattern->y[s] : span.low_y;
        span.high_y = pattern->y[s] > span.high_y ? pattern->y[s] : span.high_y;
    }
    return span;
}
