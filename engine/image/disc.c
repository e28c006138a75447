/* engine/image/disc.c: the uniform disc.
 *
 * Rows that lie d above and below a row have the same weights, so they are added first, and so are
 * columns k to the left and right: column k of the disc is the sum of the pairs of rows that it
 * covers wholly, which grows outwards from column to column (from the edge to the middle), and of
 * the pairs where the disc's edge crosses it, each with its weight; it is made once and serves two
 * pixels. So the cost is linear in the radius, nothing is ever subtracted (a highlight leaves no
 * residue beside it), and a pixel's sum has one order whatever region is asked.
 *
 * Work goes in pieces of some hundred columns, down a band of rows, two rows at a time. Columns of
 * the disc go in groups, so many that what they are made into stays in the first cache. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "engine/base/clones.h"
#include "engine/base/math.h"
#include "engine/image/convolve.h"
#include "engine/image/extend.h"

#define PIECE 512                     /* columns of pixels */
#define BAND 64                       /* rows of pixels */
#define GROUP_BYTES (48 << 10)        /* of what a group's columns are made into */
#define STRIP_BYTES ((size_t)3 << 19) /* rows within reach are copied together up to so much */
#define MOST_RADIUS (1 << 12)
#define UNIT 16          /* columns that rows are aligned to: a vector of the widest kind */
#define BLOCK (2 * UNIT) /* columns of pixels that a column of the disc is made for at once */
#define ROWS 2           /* of pixels, likewise */
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

/* Column k of the disc, to both sides. Pairs of rows are made one after another from the middle
 * outwards, and the running sum takes them in. */
struct column {
    int32_t made;  /* pairs that it is the first to need */
    int32_t whole; /* pairs that it is the first to cover wholly */
    int32_t edge;  /* pairs after those that have weights */
};

/* Columns from the outermost on that are made together; each group goes on with the running sum. */
struct group {
    int32_t first, count; /* columns: k is reach - first at first */
    int32_t weight;       /* the first one's */
    int32_t pair, pairs;  /* distance of the first pair of rows, and how many */
};

struct disc {
    const lb_plane *in;
    lb_plane *out;
    lb_edge edge;
    double radius; /* 0: within a pixel */
    int32_t reach;
    int32_t across; /* pieces */
    int32_t before; /* columns before the farthest to the left, so that rows begin aligned */
    size_t stride;  /* of rows of work, in floats */
    bool has_strip; /* all rows of a band are copied; else they come for each two rows of pixels */
    struct column *columns; /* reach + 1 */
    struct group *groups;
    float *weights;                   /* of pixels on the edge, over that of a whole one */
    float whole;                      /* weight of a whole pixel */
    int32_t most_columns, most_pairs; /* of a group */
    int32_t group_count, weight_count;
};

/* ---- Plan ---- */

static bool is_full(double r, int32_t dx, int32_t dy)
{
    return (dx + 0.5) * (dx + 0.5) + (dy + 0.5) * (dy + 0.5) <= r * r;
}

/* Column k's edge: what is nearer than `begin` is covered wholly. Further in it lies no nearer. */
static void find_edge(double r, int32_t k, int32_t *begin, int32_t *end)
{
    while (is_full(r, k, *begin))
        ++*begin;
    *end = *end > *begin ? *end : *begin;
    while (lb_disc_weight(r, k, *end) > 0)
        ++*end;
}

/* Counts groups, weights and pairs, and notes them where there is room. */
static void plan_columns(struct disc *disc)
{
    double r = disc->radius, whole = r > 0 ? 1 / (LB_PI * r * r) : 1;
    int32_t begin = 0, end = 0, made = 0, covered = 0, first = 0, pair = 0;

    disc->whole = (float)whole;
    disc->group_count = disc->weight_count = disc->most_pairs = 0;
    for (int32_t i = 0; i <= disc->reach; i++) {
        int32_t k = disc->reach - i;

        if (i % disc->most_columns == 0) {
            first = i;
            pair = made = covered;
            made += pair == 0; /* the middle row is there by itself */
            if (disc->groups)
                disc->groups[disc->group_count] =
                    (struct group){first, 0, disc->weight_count, pair, 0};
            disc->group_count++;
        }
        find_edge(r, k, &begin, &end);
        for (int32_t d = begin; d < end; d++, disc->weight_count++)
            if (disc->weights)
                disc->weights[disc->weight_count] =
                    (float)(lb_disc_weight(r, k, d) / (double)disc->whole);
        if (disc->columns)
            disc->columns[i] = (struct column){end - made, begin - covered, end - begin};
        if (disc->groups) {
            disc->groups[disc->group_count - 1].count = i + 1 - first;
            disc->groups[disc->group_count - 1].pairs = end - pair;
        }
        made = end;
        covered = begin;
        disc->most_pairs = end - pair > disc->most_pairs ? end - pair : disc->most_pairs;
    }
}

/* ---- Columns of the disc ---- */

/* One group at work on two rows of pixels. Pair d of the first row is of rows y - d and y + d. */
struct making {
    const struct column *columns;
    const float *weights;
    int32_t count;
    bool begins, middle;        /* the first group; its first pair is the middle row itself */
    const float *above, *below; /* rows y - d and y + d of the first pair */
    ptrdiff_t step;             /* down to the next row */
    float *pairs;               /* two rows of a block each */
    float *running;             /* two rows of the sum so far */
    float *made;                /* columns: two rows each */
    int32_t width;
    size_t stride;
};

/* The same bits whatever the width: a lane is a pixel. */
#if defined(__AVX512F__)
#define LANES 16
#elif defined(__AVX2__)
#define LANES 8
#else
#define LANES 4
#endif
#define NAME(name) name##_built
#define TARGET
#include "engine/image/disc_lanes.inc"

#ifdef LB_HAS_CLONES
#define LANES 8
#define NAME(name) name##_avx2
#define TARGET __attribute__((target("avx2")))
#include "engine/image/disc_lanes.inc"
#define LANES 16
#define NAME(name) name##_avx512
#define TARGET __attribute__((target("avx512f")))
#include "engine/image/disc_lanes.inc"
#endif

struct kernels {
    void (*make_group)(const struct making *m);
    void (*add_columns)(float *restrict sums, const float *restrict made, size_t stride,
                        int32_t outer, int32_t columns, int32_t count, bool begins);
};

static struct kernels find_kernels(void)
{
#ifdef LB_HAS_CLONES
    if (__builtin_cpu_supports("avx512f"))
        return (struct kernels){make_group_avx512, add_columns_avx512};
    if (__builtin_cpu_supports("avx2"))
        return (struct kernels){make_group_avx2, add_columns_avx2};
#endif
    return (struct kernels){make_group_built, add_columns_built};
}

LB_CLONES
static void scale_row(float *restrict out, const float *restrict sums, float scale, int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        out[x] = scale * sums[x];
}

/* ---- Pieces ---- */

/* A piece of a band at work. */
struct work {
    const struct disc *disc;
    int32_t x, y, count, height; /* the piece's pixels */
    int32_t width;               /* of the rows of work */
    bool one_by_one;             /* rows are copied for each pair of rows of pixels */
    const float *middle;         /* row y from as far as the piece reaches */
    ptrdiff_t step;
    float *strip, *sums, *spare;
    struct making making;
    struct kernels kernels;
};

/* Rows y0 .. y1 - 1 as far as the piece reaches. */
static void copy_rows(const struct work *w, int32_t y0, int32_t y1, float *row)
{
    const struct disc *disc = w->disc;
    int32_t x0 = w->x - disc->reach - disc->before,
            wide = w->count + 2 * disc->reach + disc->before;

    for (int32_t y = y0; y < y1; y++, row += disc->stride) {
        lb_plane_copy_row(disc->in, disc->edge, y, x0, x0 + wide, row);
        memset(row + wide, 0, (disc->stride - (size_t)wide) * sizeof *row);
    }
}

/* Where the rows within reach are read: where they stand, if the picture has them all, else from a
 * copy; beyond the piece's own columns that is 0. */
static void find_rows(struct work *w)
{
    const struct disc *disc = w->disc;
    int32_t reach = disc->reach, x0 = w->x - reach - disc->before;
    int32_t end = w->y + (w->height + ROWS - 1) / ROWS * ROWS + reach;
    lb_box wanted = {x0, w->y - reach, x0 + w->width, end};

    w->one_by_one = false;
    if (lb_box_contains(lb_plane_box(disc->in), wanted)) {
        w->step = lb_plane_stride(disc->in);
        w->middle = lb_plane_row(disc->in, w->y) + (x0 - lb_plane_box(disc->in).x0);
    } else {
        w->step = (ptrdiff_t)disc->stride;
        w->one_by_one = !disc->has_strip;
        if (disc->has_strip) {
            w->middle = w->strip + reach * w->step;
            copy_rows(w, wanted.y0, wanted.y1, w->strip);
        }
    }
}

static void run_group(struct work *w, int32_t y, const struct group *group)
{
    const struct disc *disc = w->disc;
    struct making *m = &w->making;
    int32_t d = group->pair;

    m->columns = disc->columns + group->first;
    m->weights = disc->weights + group->weight;
    m->count = group->count;
    m->begins = group->first == 0;
    m->middle = d == 0;
    m->step = w->step;
    m->width = w->width;
    if (w->one_by_one) {
        copy_rows(w, y - d - group->pairs + 1, y - d + 2, w->strip);
        m->above = w->strip + (group->pairs - 1) * w->step;
        m->below = m->above + 2 * w->step;
        copy_rows(w, y + d, y + d + group->pairs + 1, (float *)m->below);
    } else {
        m->above = w->middle + (y - w->y - d) * w->step;
        m->below = w->middle + (y - w->y + d) * w->step;
    }
    w->kernels.make_group(m);
}

static void run_rows(struct work *w, int32_t y, float *const out[ROWS])
{
    const struct disc *disc = w->disc;

    for (int32_t i = 0; i < disc->group_count; i++) {
        const struct group *group = &disc->groups[i];

        run_group(w, y, group);
        for (int32_t j = 0; j < ROWS; j++)
            w->kernels.add_columns(
                w->sums + (size_t)j * disc->stride,
                w->making.made + (size_t)j * disc->stride + disc->before + disc->reach,
                disc->stride, disc->reach - group->first, group->count, w->count, i == 0);
    }
    for (int32_t j = 0; j < ROWS; j++)
        scale_row(out[j], w->sums + (size_t)j * disc->stride, disc->whole, w->count);
}

/* What a piece works in: pairs, columns as they are made, running sums, sums, a row for nobody,
 * copied rows; and what the last block of columns reads beyond. */
static size_t disc_floats(const struct disc *disc)
{
    size_t strip =
        disc->has_strip ? BAND + 2 * (size_t)disc->reach : 2 * ((size_t)disc->most_pairs + 1);

    return ROWS * BLOCK * (size_t)disc->most_pairs +
           (ROWS * ((size_t)disc->most_columns + 2) + 1 + strip) * disc->stride + 4 * UNIT;
}

static lb_status run_pieces(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const struct disc *disc = context;
    lb_box box = lb_plane_box(disc->out);
    struct work w = {.disc = disc, .making.stride = disc->stride, .kernels = find_kernels()};
    float *memory = lb_block_new(disc_floats(disc) * sizeof *memory);

    (void)worker;
    if (!memory)
        return LB_MEMORY;
    w.making.pairs = memory;
    w.making.made = memory + ROWS * BLOCK * (size_t)disc->most_pairs;
    w.making.running = w.making.made + ROWS * (size_t)disc->most_columns * disc->stride;
    w.sums = w.making.running + ROWS * disc->stride;
    w.spare = w.sums + ROWS * disc->stride;
    w.strip = w.spare + disc->stride;
    for (int32_t i = begin; i < end; i++) {
        w.y = box.y0 + i / disc->across * BAND;
        w.x = box.x0 + i % disc->across * PIECE;
        w.count = box.x1 - w.x < PIECE ? box.x1 - w.x : PIECE;
        w.height = box.y1 - w.y < BAND ? box.y1 - w.y : BAND;
        w.width = (w.count + 2 * disc->reach + disc->before + BLOCK - 1) / BLOCK * BLOCK;
        find_rows(&w);
        for (int32_t y = 0; y < w.height; y += ROWS) {
            float *out[ROWS] = {w.spare, w.spare};

            for (int32_t j = 0; j < ROWS && y + j < w.height; j++)
                out[j] = lb_plane_row_to_fill(disc->out, w.y + y + j) + (w.x - box.x0);
            run_rows(&w, w.y + y, out);
        }
    }
    lb_block_free(memory);
    return LB_OK;
}

/* How the work on a box is cut up; no memory yet. */
static struct disc disc_for(double radius, lb_box box)
{
    struct disc disc = {.reach = lb_disc_reach(radius)};
    int32_t width = lb_box_width(box), unit = 4 * UNIT;
    int32_t piece = width < PIECE ? (width + unit - 1) / unit * unit : PIECE;
    size_t columns;

    disc.radius = disc.reach > 0 ? fmin(radius, MOST_RADIUS) : 0;
    disc.across = (width - 1) / PIECE + 1;
    disc.stride = ((size_t)piece + 2 * (size_t)disc.reach + UNIT - 1 + BLOCK - 1) / BLOCK * BLOCK;
    disc.has_strip = (BAND + 2 * (size_t)disc.reach) * disc.stride * sizeof(float) <= STRIP_BYTES;
    columns = GROUP_BYTES / (ROWS * disc.stride * sizeof(float));
    columns = columns < 2 ? 2 : columns;
    disc.most_columns = columns > (size_t)disc.reach ? disc.reach + 1 : (int32_t)columns;
    plan_columns(&disc);
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
    disc.before = (box.x0 - lb_plane_box(in).x0 - disc.reach) & (UNIT - 1);
    disc.columns = lb_alloc((size_t)disc.reach + 1, sizeof *disc.columns);
    disc.groups = lb_alloc((size_t)disc.group_count, sizeof *disc.groups);
    disc.weights = lb_alloc((size_t)disc.weight_count, sizeof *disc.weights);
    if (disc.columns && disc.groups && disc.weights &&
        !(status = lb_plane_new_raw(box, &disc.out))) {
        plan_columns(&disc);
        status = lb_pool_for(pool, disc.across * bands(box), 1, run_pieces, &disc);
        if (status)
            lb_plane_unref(&disc.out);
    }
    lb_free(disc.columns);
    lb_free(disc.groups);
    lb_free(disc.weights);
    *out = disc.out;
    return status;
}

size_t lb_disc_scratch(double radius, lb_box box, int32_t threads)
{
    struct disc disc = disc_for(radius, box);
    size_t pieces = (size_t)disc.across * (size_t)bands(box),
           workers = threads > 1 ? (size_t)threads : 1;

    return ((size_t)disc.reach + 1) * sizeof *disc.columns +
           (size_t)disc.group_count * sizeof *disc.groups +
           (size_t)disc.weight_count * sizeof *disc.weights +
           (pieces < workers ? pieces : workers) * disc_floats(&disc) * sizeof(float);
}
