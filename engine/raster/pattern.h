/* engine/raster/pattern.h: where in a pixel, and when in the shutter, its samples lie. */
#ifndef LB_RASTER_PATTERN_H
#define LB_RASTER_PATTERN_H

#include <stdint.h>

#define LB_MAX_SAMPLES 64

/* Sample positions lie on a grid of 256 x 256 in a pixel, the same in every pixel: a still edge
 * then has the same smooth ramp wherever it lies and no grain. Sample s is also the s-th in time.
 * The points are the first of a (0, 2)-sequence in base 2 (Sobol' 1967, his first two dimensions)
 * with nested scrambling (Owen 1995), so that every aligned run of 2^k samples, and every run of
 * them in time, is itself well spread; each coordinate is then replaced by its rank, so that for
 * any number n of samples no two share one of n columns or rows, and their mean is the pixel's
 * centre. The scrambling is the one, among tens of thousands tried, whose points lie farthest apart
 * when the pixel is repeated. */
typedef struct lb_pattern {
    int32_t count;
    int32_t x[LB_MAX_SAMPLES], y[LB_MAX_SAMPLES]; /* 0 .. 255 */
} lb_pattern;

/* A run of samples [first, end) and the bounds of their positions. */
typedef struct lb_sample_span {
    int32_t first, end;
    int32_t low_x, high_x, low_y, high_y;
} lb_sample_span;

/* count: 1 .. LB_MAX_SAMPLES */
void lb_pattern_make(int32_t count, lb_pattern *out);
/* The samples that see instant `index` of `instants` (at most pattern->count): those with
 * s * instants / count == index. */
lb_sample_span lb_pattern_span(const lb_pattern *pattern, int32_t index, int32_t instants);

#endif
