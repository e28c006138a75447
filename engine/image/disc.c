/* engine/image/disc.c: the uniform disc.
 *
 * Going outwards from the middle row, the sum of rows y - d .. y + d grows by one pair of rows a
 * step. Every column of the disc that is wholly covered up to d takes its part from that sum, and
 * the pixels that the disc's edge crosses take theirs from the pair alone. So the cost is linear in
 * the radius, nothing is ever subtracted (a highlight leaves no residue beside it), and a pixel's
 * sum has one order whatever region is asked. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "engine/base/clones.h"
#include "engine/base/math.h"
#include "engine/image/convolve.h"
#include "engine/image/extend.h"
#include "engine/image/sums.h"

#define GRAIN 16
#define PIECE 512
#define GROUP 4
#define MOST_RADIUS (1 << 12)

int32_t lb_disc_reach(double radius)
{
    return radius > 0.5 ? (int32_t)ceil(fmin(radius, MOST_RADIUS) - 0.5) : 0;
}

/* Antiderivative of sqrt(r^2 - x^2), 0 <= x <= r. */
static double under_circle(double r, double x)
{
    return 0.5 * (x * sqrt(fmax(r * r - x * x, 0)) + r * r * lb_asin(fmin(x / r, 1)));
}

static double between(double x, double low, double high)
{
    return fmin(fmax(x, low), high);
}

/* Full height up to where the circle meets y1, then under the circle until it meets y0. */
double lb_disc_area(double r, double x0, double x1, double y0, double y1)
{
    double full = y1 < r ? sqrt(r * r - y1 * y1) : 0, end = y0 < r ? sqrt(r * r - y0 * y0) : 0;
    double a = between(full, x0, x1), b = between(end, x0, x1);

    if (b <= x0)
        return 0;
    return (y1 - y0) * (a - x0) + under_circle(r, b) - under_circle(r, a) - y0 * (b - a);
}

double lb_disc_weight(double radius, int32_t dx, int32_t dy)
{
    double x = abs(dx), y = abs(dy), twice = (x == 0 ? 2 : 1) * (y == 0 ? 2 : 1);

    if (!(radius > 0.5))
        return x == 0 && y == 0;
    return twice * lb_disc_area(radius, fmax(x - 0.5, 0), x + 0.5, fmax(y - 0.5, 0), y + 0.5) /
           (LB_PI * radius * radius);
}

/* What a step outwards adds: `sum_count` columns of the sum of rows -d .. d, then columns of the
 * pair of rows at -d and d alone. The middle column is its own partner, with half its weight. */
struct step {
    int32_t sum_count, count;
    int32_t *offsets;
    float *weights;
};

struct disc {
    const lb_plane *in; /* holds everything within reach */
    lb_plane *out;
    int32_t reach, taps; /* taps: of all steps, at most */
    struct step *steps;  /* reach + 1 */
    int32_t *offsets;    /* what the steps' stand in */
    float *weights;
};

static bool is_full(double r, int32_t dx, int32_t dy)
{
    return (dx + 0.5) * (dx + 0.5) + (dy + 0.5) * (dy + 0.5) <= r * r;
}

static void add_tap(struct step *step, int32_t x, double weight)
{
    step->offsets[step->count] = x;
    step->weights[step->count++] = (float)(x == 0 ? weight / 2 : weight);
}

static void fill_steps(struct disc *disc, double r)
{
    int32_t used = 0;
    double full = 1 / (LB_PI * r * r);

    for (int32_t d = 0; d <= disc->reach; d++) {
        struct step *step = &disc->steps[d];

        step->offsets = disc->offsets + used;
        step->weights = disc->weights + used;
        for (int32_t x = 0; x <= disc->reach; x++)
            if (is_full(r, x, d) && !is_full(r, x, d + 1))
                add_tap(step, x, full);
        step->sum_count = step->count;
        for (int32_t x = 0; x <= disc->reach; x++) {
            double weight = is_full(r, x, d) ? 0 : lb_disc_weight(r, x, d);

            if (weight > 0)
                add_tap(step, x, weight);
        }
        used += step->count;
    }
}

LB_CLONES
static void add_rows(float *restrict pair, float *restrict sum, const float *restrict before,
                     const float *restrict above, const float *restrict below, int32_t count)
{
    for (int32_t x = 0; x < count; x++) {
        float both = above[x] + below[x];

        pair[x] = both;
        sum[x] = before[x] + both;
    }
}

/* Rows of GROUP steps at a time, so that one pass over `out` takes many taps. */
struct scratch {
    float *sums, *pairs; /* GROUP rows each */
    size_t stride;
    const float **left, **right; /* `taps` each */
    float *weights;
};

/* Rows of steps d .. d + group - 1; the step before stands in the last row of `sums`. */
static void grow_rows(const struct disc *disc, struct scratch *s, int32_t d, int32_t group,
                      int32_t y, ptrdiff_t at, int32_t wide)
{
    for (int32_t i = 0; i < group; i++, d++) {
        float *sum = s->sums + (size_t)i * s->stride, *pair = s->pairs + (size_t)i * s->stride;
        const float *above = lb_plane_row(disc->in, y - d) + at;

        if (d == 0) {
            memcpy(pair, above, (size_t)wide * sizeof *pair);
            memcpy(sum, above, (size_t)wide * sizeof *sum);
        } else {
            add_rows(pair, sum, s->sums + (size_t)((i + GROUP - 1) % GROUP) * s->stride, above,
                     lb_plane_row(disc->in, y + d) + at, wide);
        }
    }
}

/* Pixels x .. x + count - 1 of row y. */
static void disc_piece(const struct disc *disc, struct scratch *s, int32_t x, int32_t y,
                       int32_t count, float *out)
{
    int32_t reach = disc->reach;
    ptrdiff_t at = (ptrdiff_t)x - reach - lb_plane_box(disc->in).x0;

    memset(out, 0, (size_t)count * sizeof *out);
    for (int32_t d = 0; d <= reach; d += GROUP) {
        int32_t group = reach + 1 - d < GROUP ? reach + 1 - d : GROUP, taps = 0;

        grow_rows(disc, s, d, group, y, at, count + 2 * reach);
        for (int32_t i = 0; i < group; i++) {
            const struct step *step = &disc->steps[d + i];

            for (int32_t k = 0; k < step->count; k++, taps++) {
                float *row = (k < step->sum_count ? s->sums : s->pairs) + (size_t)i * s->stride;

                s->left[taps] = row + reach - step->offsets[k];
                s->right[taps] = row + reach + step->offsets[k];
                s->weights[taps] = step->weights[k];
            }
        }
        lb_pairs_add(out, s->left, s->right, s->weights, taps, count);
    }
}

static lb_status disc_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const struct disc *disc = context;
    lb_box box = lb_plane_box(disc->out);
    size_t wide = (size_t)PIECE + 2 * (size_t)disc->reach + 16, taps = (size_t)disc->taps;
    struct scratch s = {.stride = wide / 16 * 16 + 16};
    const float **pointers = lb_alloc(2 * taps, sizeof *pointers);

    (void)worker;
    s.sums = lb_block_new((2 * GROUP * s.stride + taps) * sizeof *s.sums);
    if (!s.sums || !pointers) {
        lb_block_free(s.sums);
        lb_free(pointers);
        return LB_MEMORY;
    }
    s.pairs = s.sums + GROUP * s.stride;
    s.weights = s.pairs + GROUP * s.stride;
    s.left = pointers;
    s.right = pointers + taps;
    for (int32_t x = box.x0; x < box.x1; x += PIECE)
        for (int32_t y = box.y0 + begin; y < box.y0 + end; y++)
            disc_piece(disc, &s, x, y, box.x1 - x < PIECE ? box.x1 - x : PIECE,
                       lb_plane_row_to_fill(disc->out, y) + (x - box.x0));
    lb_block_free(s.sums);
    lb_free(pointers);
    return LB_OK;
}

lb_status lb_convolve_disc(lb_pool *pool, const lb_plane *in, double radius, lb_edge edge,
                           lb_box box, lb_plane **out)
{
    struct disc disc = {.reach = lb_disc_reach(radius)};
    /* Each column ends once, and the edge crosses at most two pixels a column and row. */
    size_t side = (size_t)disc.reach + 1, taps = 4 * side + 8;
    lb_plane *wide = NULL;
    lb_status status = LB_MEMORY;

    *out = NULL;
    disc.taps = (int32_t)taps;
    disc.steps = lb_alloc(side, sizeof *disc.steps);
    disc.offsets = lb_alloc(taps, sizeof *disc.offsets);
    disc.weights = lb_alloc(taps, sizeof *disc.weights);
    if (disc.steps && disc.offsets && disc.weights &&
        !(status =
              lb_plane_extend(pool, in, edge, lb_box_grow(box, disc.reach, disc.reach), &wide)) &&
        !(status = lb_plane_new_raw(box, &disc.out))) {
        disc.in = wide;
        fill_steps(&disc, disc.reach > 0 ? radius : 0);
        status = lb_pool_for(pool, lb_box_height(box), GRAIN, disc_rows, &disc);
        if (status)
            lb_plane_unref(&disc.out);
    }
    lb_plane_unref(&wide);
    lb_free(disc.steps);
    lb_free(disc.offsets);
    lb_free(disc.weights);
    *out = disc.out;
    return status;
}
