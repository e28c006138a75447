/* engine/image/disc.c: the uniform disc.
 *
 * Going outwards from the middle row, the sum of rows y - d .. y + d grows by one pair of rows a
 * step. Every column of the disc that is wholly covered up to d takes its part from that sum, and
 * the pixels that the disc's edge crosses take theirs from the pair alone. So the cost is linear in
 * the radius, nothing is ever subtracted (a highlight leaves no residue beside it), and a pixel's
 * sum has one order whatever region is asked.
 *
 * Work goes in pieces of a few hundred columns, down a band of rows: the rows within reach stand in
 * the second cache, what the steps make of them in the first. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "engine/base/clones.h"
#include "engine/base/math.h"
#include "engine/image/convolve.h"
#include "engine/image/extend.h"

#define BAND 64                       /* rows */
#define PIECE 512                     /* columns */
#define MOST_STEPS 16                 /* made before their taps are added */
#define STEP_BYTES (14 << 10)         /* for those: most of a first cache */
#define STRIP_BYTES ((size_t)3 << 19) /* rows within reach are copied together up to so much */
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

/* What a step outwards adds: columns of the sum of rows -d .. d, then columns of the pair of rows
 * at -d and d alone. The steps of a group have a pair's row and a sum's row each, one after
 * another; places are distances from the piece's first column in the group's first row. The middle
 * column is its own partner, with half its weight. */
struct tap {
    int32_t left, right;
    float weight;
};

struct step {
    bool has_sums; /* whether a column takes its part from the sum */
    int32_t first; /* tap */
};

struct disc {
    const lb_plane *in;
    lb_plane *out;
    lb_edge edge;
    int32_t reach;
    int32_t piece;      /* columns of one */
    int32_t across;     /* pieces */
    int32_t group;      /* steps */
    size_t stride;      /* of rows of a piece and what it reaches, in floats */
    bool has_strip;     /* all rows of a band are copied; else they come one by one */
    struct step *steps; /* reach + 2: the last one ends them */
    struct tap *taps;
    int32_t tap_count;
};

/* Each column ends once, and the edge crosses at most two pixels a column and row. */
static size_t most_taps(const struct disc *disc)
{
    return 4 * ((size_t)disc->reach + 1) + 8;
}

/* What a piece works in. */
static size_t disc_floats(const struct disc *disc)
{
    size_t strip = disc->has_strip ? BAND + 2 * (size_t)disc->reach : 2 * (size_t)disc->group;

    return (2 + 2 * (size_t)disc->group + strip) * disc->stride;
}

static bool is_full(double r, int32_t dx, int32_t dy)
{
    return (dx + 0.5) * (dx + 0.5) + (dy + 0.5) * (dy + 0.5) <= r * r;
}

static void add_tap(struct disc *disc, int32_t d, bool sum, int32_t x, double weight)
{
    int32_t row = d % disc->group * 2 + sum;
    int32_t middle = row * (int32_t)disc->stride + disc->reach;

    disc->taps[disc->tap_count++] =
        (struct tap){middle - x, middle + x, (float)(x == 0 ? weight / 2 : weight)};
    disc->steps[d].has_sums |= sum;
}

static void fill_steps(struct disc *disc, double r)
{
    double full = 1 / (LB_PI * r * r);

    for (int32_t d = 0; d <= disc->reach; d++) {
        disc->steps[d].first = disc->tap_count;
        for (int32_t x = 0; x <= disc->reach; x++)
            if (is_full(r, x, d) && !is_full(r, x, d + 1))
                add_tap(disc, d, true, x, full);
        for (int32_t x = 0; x <= disc->reach; x++) {
            double weight = is_full(r, x, d) ? 0 : lb_disc_weight(r, x, d);

            if (weight > 0)
                add_tap(disc, d, false, x, weight);
        }
    }
    disc->steps[disc->reach + 1].first = disc->tap_count;
}

/* The rows that a group of steps adds, above and below the middle; and where to. */
struct growth {
    const float *above[MOST_STEPS], *below[MOST_STEPS];
    bool has_sums[MOST_STEPS];
    int32_t count;
    float *running; /* the sum so far */
    float *rows;
    size_t stride;
};

LB_CLONES
static void add_pair(float *restrict pair, float *restrict running, const float *restrict above,
                     const float *restrict below, size_t count)
{
    for (size_t x = 0; x < count; x++) {
        float both = above[x] + below[x];

        pair[x] = both;
        running[x] += both;
    }
}

LB_CLONES
static void add_pair_and_sum(float *restrict pair, float *restrict sum, float *restrict running,
                             const float *restrict above, const float *restrict below, size_t count)
{
    for (size_t x = 0; x < count; x++) {
        float both = above[x] + below[x], all = running[x] + both;

        pair[x] = both;
        sum[x] = all;
        running[x] = all;
    }
}

static void grow(const struct growth *g)
{
    float *to = g->rows;

    for (int32_t i = 0; i < g->count; i++, to += 2 * g->stride)
        if (g->has_sums[i])
            add_pair_and_sum(to, to + g->stride, g->running, g->above[i], g->below[i], g->stride);
        else
            add_pair(to, g->running, g->above[i], g->below[i], g->stride);
}

#define AT_ONCE 4 /* taps */

/* `taps` is a constant wherever this is inlined. */
static inline __attribute__((always_inline)) void add_some(const float *rows, const struct tap *tap,
                                                           int taps, float *restrict sums,
                                                           int32_t count)
{
    const struct tap *t1 = tap + (taps > 1 ? 1 : 0), *t2 = tap + (taps > 2 ? 2 : 0);
    const struct tap *t3 = tap + (taps > 3 ? 3 : 0);
    const float *restrict a0 = rows + tap->left, *restrict b0 = rows + tap->right;
    const float *restrict a1 = rows + t1->left, *restrict b1 = rows + t1->right;
    const float *restrict a2 = rows + t2->left, *restrict b2 = rows + t2->right;
    const float *restrict a3 = rows + t3->left, *restrict b3 = rows + t3->right;
    float w0 = tap->weight, w1 = t1->weight, w2 = t2->weight, w3 = t3->weight;

    for (int32_t x = 0; x < count; x++) {
        float sum = sums[x] + w0 * (a0[x] + b0[x]);

        if (taps > 1)
            sum += w1 * (a1[x] + b1[x]);
        if (taps > 2)
            sum += w2 * (a2[x] + b2[x]);
        if (taps > 3)
            sum += w3 * (a3[x] + b3[x]);
        sums[x] = sum;
    }
}

/* Loads are what it waits for: two for a vector of pixels and tap. */
LB_CLONES
static void add_taps(const float *rows, const struct tap *tap, const struct tap *end, float *sums,
                     int32_t count)
{
    for (; tap + AT_ONCE <= end; tap += AT_ONCE)
        add_some(rows, tap, AT_ONCE, sums, count);
    for (; tap < end; tap++)
        add_some(rows, tap, 1, sums, count);
}

/* A piece of a band at work; every row is `stride` long. */
struct work {
    const struct disc *disc;
    int32_t x, y, count, height; /* the piece's pixels */
    const float *middle; /* row y from as far as the piece reaches, and the others near it */
    ptrdiff_t step;      /* from one row to the next; 0: rows come one by one */
    float *strip;        /* what is copied of the rows, as far as they go off the picture */
    float *none;         /* the middle row's partner: zeros */
    struct growth growth;
};

/* Row y of the input from as far as the piece reaches; `spare` is where it may be copied to. */
static const float *source_row(const struct work *w, int32_t y, int32_t spare)
{
    const struct disc *disc = w->disc;
    int32_t x0 = w->x - disc->reach;
    float *copy = w->strip + (size_t)spare * disc->stride;

    lb_plane_copy_row(disc->in, disc->edge, y, x0, x0 + (int32_t)disc->stride, copy);
    return copy;
}

/* The rows that steps d, d + 1, ... take for row y. */
static void gather_rows(struct work *w, int32_t y, int32_t d)
{
    const struct disc *disc = w->disc;
    struct growth *g = &w->growth;
    const float *middle = w->middle + (y - w->y) * w->step;

    g->count = disc->reach + 1 - d < disc->group ? disc->reach + 1 - d : disc->group;
    for (int32_t i = 0; i < g->count; i++) {
        g->has_sums[i] = disc->steps[d + i].has_sums;
        if (w->step) {
            g->above[i] = middle - (d + i) * w->step;
            g->below[i] = middle + (d + i) * w->step;
        } else {
            g->above[i] = source_row(w, y - d - i, 2 * i);
            g->below[i] = source_row(w, y + d + i, 2 * i + 1);
        }
    }
    if (d == 0)
        g->below[0] = w->none;
}

static void run_row(struct work *w, int32_t y, float *out)
{
    const struct disc *disc = w->disc;
    struct growth *g = &w->growth;

    memset(out, 0, (size_t)w->count * sizeof *out);
    memset(g->running, 0, disc->stride * sizeof *g->running);
    for (int32_t d = 0; d <= disc->reach; d += g->count) {
        gather_rows(w, y, d);
        grow(g);
        add_taps(g->rows, disc->taps + disc->steps[d].first,
                 disc->taps + disc->steps[d + g->count].first, out, w->count);
    }
}

/* Where the rows within reach of the piece are read: where they stand, if the picture has them
 * all, else from a copy; beyond the piece's own columns that is 0. */
static void find_rows(struct work *w)
{
    const struct disc *disc = w->disc;
    int32_t reach = disc->reach, x0 = w->x - reach, wide = w->count + 2 * reach;
    lb_box has = lb_plane_box(disc->in),
           wanted = {x0, w->y - reach, x0 + (int32_t)disc->stride, w->y + w->height + reach};
    float *row = w->strip;

    w->step = 0;
    if (lb_box_contains(has, wanted)) {
        w->step = lb_plane_stride(disc->in);
        w->middle = lb_plane_row(disc->in, w->y) + (x0 - has.x0);
    } else if (disc->has_strip) {
        w->step = (ptrdiff_t)disc->stride;
        w->middle = w->strip + reach * w->step;
        for (int32_t y = wanted.y0; y < wanted.y1; y++, row += disc->stride) {
            lb_plane_copy_row(disc->in, disc->edge, y, x0, x0 + wide, row);
            memset(row + wide, 0, (disc->stride - (size_t)wide) * sizeof *row);
        }
    }
}

static lb_status run_pieces(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const struct disc *disc = context;
    lb_box box = lb_plane_box(disc->out);
    struct work w = {.disc = disc, .growth.stride = disc->stride};
    float *memory = lb_block_new(disc_floats(disc) * sizeof *memory);

    (void)worker;
    if (!memory)
        return LB_MEMORY;
    w.none = memory;
    w.growth.running = w.none + disc->stride;
    w.growth.rows = w.growth.running + disc->stride;
    w.strip = w.growth.rows + 2 * (size_t)disc->group * disc->stride;
    memset(w.none, 0, disc->stride * sizeof *w.none);
    for (int32_t i = begin; i < end; i++) {
        w.y = box.y0 + i / disc->across * BAND;
        w.x = box.x0 + i % disc->across * disc->piece;
        w.count = box.x1 - w.x < disc->piece ? box.x1 - w.x : disc->piece;
        w.height = box.y1 - w.y < BAND ? box.y1 - w.y : BAND;
        find_rows(&w);
        for (int32_t y = w.y; y < w.y + w.height; y++)
            run_row(&w, y, lb_plane_row_to_fill(disc->out, y) + (w.x - box.x0));
    }
    lb_block_free(memory);
    return LB_OK;
}

/* How the work on a box is cut up; no memory yet. */
static struct disc disc_for(double radius, lb_box box)
{
    struct disc disc = {.reach = lb_disc_reach(radius), .piece = PIECE};
    size_t steps;

    if (lb_box_width(box) < PIECE)
        disc.piece = (lb_box_width(box) + 31) / 32 * 32;
    disc.across = (lb_box_width(box) - 1) / PIECE + 1;
    disc.stride = ((size_t)disc.piece + 2 * (size_t)disc.reach + 31) / 32 * 32;
    steps = STEP_BYTES / (2 * disc.stride * sizeof(float));
    disc.group = steps < 1 ? 1 : steps > MOST_STEPS ? MOST_STEPS : (int32_t)steps;
    disc.has_strip = (BAND + 2 * (size_t)disc.reach) * disc.stride * sizeof(float) <= STRIP_BYTES;
    return disc;
}

static int32_t bands(lb_box box)
{
    return (lb_box_height(box) - 1) / BAND + 1;
}

lb_status lb_convolve_disc(lb_pool *pool, const lb_plane *in, double radius, lb_edge edge,
                           lb_box box, lb_plane **out)
{
    struct disc disc = disc_for(radius, box);
    lb_status status = LB_MEMORY;

    *out = NULL;
    disc.in = in;
    disc.edge = edge;
    disc.steps = lb_alloc((size_t)disc.reach + 2, sizeof *disc.steps);
    disc.taps = lb_alloc(most_taps(&disc), sizeof *disc.taps);
    if (disc.steps && disc.taps && !(status = lb_plane_new_raw(box, &disc.out))) {
        fill_steps(&disc, disc.reach > 0 ? radius : 0);
        status = lb_pool_for(pool, disc.across * bands(box), 1, run_pieces, &disc);
        if (status)
            lb_plane_unref(&disc.out);
    }
    lb_free(disc.steps);
    lb_free(disc.taps);
    *out = disc.out;
    return status;
}

size_t lb_disc_scratch(double radius, lb_box box, int32_t threads)
{
    struct disc disc = disc_for(radius, box);
    size_t pieces = (size_t)disc.across * (size_t)bands(box),
           workers = threads > 1 ? (size_t)threads : 1;

    return most_taps(&disc) * sizeof *disc.taps + ((size_t)disc.reach + 2) * sizeof *disc.steps +
           (pieces < workers ? pieces : workers) * disc_floats(&disc) * sizeof(float);
}
