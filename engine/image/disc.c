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
#include "engine/image/pairs.h"

#define GRAIN 16
#define PIECE 1024
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

/* Area of the disc in x0 .. x1, y0 .. y1 of the first quadrant: full height up to where the circle
 * meets y1, then under the circle until it meets y0. */
static double area(double r, double x0, double x1, double y0, double y1)
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

    if (!(radius > 0))
        return x == 0 && y == 0;
    return twice * area(radius, fmax(x - 0.5, 0), x + 0.5, fmax(y - 0.5, 0), y + 0.5) /
           (LB_PI * radius * radius);
}

/* What the sum of rows -d .. d gives, and what the pair of rows at +-d: columns and weights, the
 * middle column apart because it has no partner. */
struct step {
    float sum_middle, pair_middle;
    int32_t sum_count, pair_count;
    int32_t *offsets; /* sum_count of the sum, then pair_count of the pair */
    float *weights;
};

struct disc {
    const lb_plane *in; /* holds everything within reach */
    lb_plane *out;
    int32_t reach;
    struct step *steps; /* reach + 1 */
    int32_t *offsets;   /* what the steps' stand in */
    float *weights;
};

static bool is_full(double r, int32_t dx, int32_t dy)
{
    return (dx + 0.5) * (dx + 0.5) + (dy + 0.5) * (dy + 0.5) <= r * r;
}

static void fill_steps(struct disc *disc, double r)
{
    int32_t used = 0;
    float full = (float)(1 / (LB_PI * r * r));

    for (int32_t d = 0; d <= disc->reach; d++) {
        struct step *step = &disc->steps[d];

        step->offsets = disc->offsets + used;
        step->weights = disc->weights + used;
        for (int32_t x = 0; x <= disc->reach; x++) {
            if (!is_full(r, x, d) || is_full(r, x, d + 1))
                continue;
            if (x == 0) {
                step->sum_middle = full;
                continue;
            }
            step->offsets[step->sum_count] = x;
            step->weights[step->sum_count++] = full;
        }
        for (int32_t x = 0; x <= disc->reach; x++) {
            double weight = is_full(r, x, d) ? 0 : lb_disc_weight(r, x, d);

            if (weight <= 0)
                continue;
            if (x == 0) {
                step->pair_middle = (float)weight;
                continue;
            }
            step->offsets[step->sum_count + step->pair_count] = x;
            step->weights[step->sum_count + step->pair_count++] = (float)weight;
        }
        used += step->sum_count + step->pair_count;
    }
}

LB_CLONES
static void add_rows(float *restrict pair, float *restrict sum, const float *restrict above,
                     const float *restrict below, int32_t count)
{
    for (int32_t x = 0; x < count; x++) {
        pair[x] = above[x] + below[x];
        sum[x] += pair[x];
    }
}

LB_CLONES
static void add_middle(float *restrict out, const float *restrict sum, const float *restrict pair,
                       float sum_weight, float pair_weight, int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        out[x] += sum_weight * sum[x] + pair_weight * pair[x];
}

/* Pixels x .. x + count - 1 of row y. `pair` and `sum` hold count + 2 reach. */
static void disc_piece(const struct disc *disc, int32_t x, int32_t y, int32_t count, float *out,
                       float *pair, float *sum)
{
    int32_t reach = disc->reach, wide = count + 2 * reach;
    int32_t at = x - reach - lb_plane_box(disc->in).x0;

    memset(out, 0, (size_t)count * sizeof *out);
    memcpy(pair, lb_plane_row(disc->in, y) + at, (size_t)wide * sizeof *pair);
    memcpy(sum, pair, (size_t)wide * sizeof *sum);
    for (int32_t d = 0; d <= reach; d++) {
        const struct step *step = &disc->steps[d];

        if (d > 0)
            add_rows(pair, sum, lb_plane_row(disc->in, y - d) + at,
                     lb_plane_row(disc->in, y + d) + at, wide);
        if (step->sum_middle > 0 || step->pair_middle > 0)
            add_middle(out, sum + reach, pair + reach, step->sum_middle, step->pair_middle, count);
        lb_pairs_add(out, sum + reach, step->offsets, step->weights, step->sum_count, count);
        lb_pairs_add(out, pair + reach, step->offsets + step->sum_count,
                     step->weights + step->sum_count, step->pair_count, count);
    }
}

static lb_status disc_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const struct disc *disc = context;
    lb_box box = lb_plane_box(disc->out);
    size_t wide = (size_t)PIECE + 2 * (size_t)disc->reach + 16;
    float *scratch = lb_block_new(2 * wide * sizeof *scratch);

    (void)worker;
    if (!scratch)
        return LB_MEMORY;
    for (int32_t y = box.y0 + begin; y < box.y0 + end; y++)
        for (int32_t x = box.x0; x < box.x1; x += PIECE)
            disc_piece(disc, x, y, box.x1 - x < PIECE ? box.x1 - x : PIECE,
                       lb_plane_row_to_fill(disc->out, y) + (x - box.x0), scratch, scratch + wide);
    lb_block_free(scratch);
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
    disc.steps = lb_alloc(side, sizeof *disc.steps);
    disc.offsets = lb_alloc(taps, sizeof *disc.offsets);
    disc.weights = lb_alloc(taps, sizeof *disc.weights);
    if (disc.steps && disc.offsets && disc.weights &&
        !(status =
              lb_plane_extend(pool, in, edge, lb_box_grow(box, disc.reach, disc.reach), &wide)) &&
        !(status = lb_plane_new_raw(box, &disc.out))) {
        disc.in = wide;
        if (disc.reach > 0)
            fill_steps(&disc, radius);
        else
            disc.steps[0].pair_middle = 1; /* within one pixel */
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
