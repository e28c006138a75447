/* engine/image/pyramid.c */
#include "engine/image/pyramid.h"

#include <string.h>

#include "engine/base/clones.h"
#include "engine/image/extend.h"
#include "engine/image/sums.h"

#define GRAIN 16 /* rows of the halved plane */
#define MOST_TAPS (LB_PYRAMID_MOST_ORDER + 1)

static int32_t floor_half(int32_t i)
{
    return i >> 1; /* arithmetic: towards minus infinity */
}

/* n over k, divided by 2^n: exact in float. */
static void binomial(int32_t n, float weights[MOST_TAPS])
{
    float scale = 1.0f / (float)(1 << n);
    int32_t value = 1;

    for (int32_t k = 0; k <= n; k++) {
        weights[k] = (float)value * scale;
        value = value * (n - k) / (k + 1);
    }
}

static size_t row_floats(int32_t count)
{
    return ((size_t)count + 15) / 16 * 16;
}

/* Row y of `in` from column x0 on, by the edge rule; `zeros` where there is none. */
static const float *row_from(const lb_plane *in, lb_edge edge, int32_t y, int32_t x0,
                             const float *zeros)
{
    lb_box box = lb_plane_box(in);
    int32_t at = lb_edge_index(edge, y - box.y0, lb_box_height(box));

    return at < 0 ? zeros : lb_plane_row(in, box.y0 + at) + (x0 - box.x0);
}

/* ---- What needs what ---- */

/* With n = 2m + 1, halved sample i is made of samples 2i - m .. 2i + 1 + m. */
static void halving_needs(int32_t order, int32_t *first, int32_t *last)
{
    int32_t m = (order - 1) / 2;

    if (order) {
        *first = 2 * *first - m;
        *last = 2 * (*last - 1) + 2 + m;
    }
}

/* Sample j is made of halved samples i with 0 <= j - 2i + m <= n. Both samples of a pair are made.
 */
static void doubling_needs(int32_t order, int32_t *first, int32_t *last)
{
    int32_t m = (order - 1) / 2;

    if (order) {
        *first = floor_half(2 * floor_half(*first) - m);
        *last = floor_half(2 * floor_half(*last - 1) + 1 + m) + 1;
    }
}

lb_box lb_halving_needs(lb_halving halving, lb_box box)
{
    halving_needs(halving.order[0], &box.x0, &box.x1);
    halving_needs(halving.order[1], &box.y0, &box.y1);
    return box;
}

lb_box lb_doubling_needs(lb_halving halving, lb_box box)
{
    doubling_needs(halving.order[0], &box.x0, &box.x1);
    doubling_needs(halving.order[1], &box.y0, &box.y1);
    return box;
}

static void holds_along(int32_t order, lb_edge edge, int32_t *first, int32_t *last)
{
    int32_t m = (order - 1) / 2, more = edge == LB_EDGE_CLAMP ? 1 : 0;

    if (order) {
        *first = floor_half(*first - m) - more;
        *last = floor_half(*last - 1 + m) + 1 + more;
    }
}

lb_box lb_halving_holds(lb_halving halving, lb_box in, lb_edge edge)
{
    holds_along(halving.order[0], edge, &in.x0, &in.x1);
    holds_along(halving.order[1], edge, &in.y0, &in.y1);
    return in;
}

/* ---- Halving ---- */

struct level {
    const lb_plane *in;
    lb_edge edge;
    lb_halving halving;
    float weights[2][MOST_TAPS];
    lb_box needed; /* samples of `in` by its edge rule, and the part of it that they stand on */
    lb_box part;
    lb_plane *out;
};

LB_CLONES
static void split_row(float *restrict even, float *restrict odd, const float *restrict in,
                      int32_t pairs)
{
    for (int32_t i = 0; i < pairs; i++) {
        even[i] = in[2 * i];
        odd[i] = in[2 * i + 1];
    }
}

/* Order 3 at once: most of the work is at the finest level, which has it. */
LB_CLONES
static void halve_three(float *restrict out, const float *restrict in,
                        const float *restrict weights, int32_t count)
{
    float outer = weights[0], inner = weights[1];

    for (int32_t i = 0; i < count; i++)
        out[i] = outer * (in[2 * i] + in[2 * i + 3]) + inner * (in[2 * i + 1] + in[2 * i + 2]);
}

/* Column sums of one halved row over job->part's columns. */
static const float *halve_down(const struct level *job, int32_t y, const float *zeros, float *mixed)
{
    const float *above[MOST_TAPS / 2], *below[MOST_TAPS / 2];
    int32_t order = job->halving.order[1], m = (order - 1) / 2;

    if (!order)
        return row_from(job->in, job->edge, y, job->part.x0, zeros);
    for (int32_t k = 0; k <= m; k++) {
        above[k] = row_from(job->in, job->edge, 2 * y - m + k, job->part.x0, zeros);
        below[k] = row_from(job->in, job->edge, 2 * y + 1 + m - k, job->part.x0, zeros);
    }
    lb_pairs_sum(mixed, above, below, job->weights[1], m + 1, lb_box_width(job->part));
    return mixed;
}

/* Of a row of samples 2 first - m .., split into even and odd ones. The offset of tap k is k - m,
 * and the tap that mirrors it has the other parity. */
static void halve_along(const struct level *job, const float *row, float *even, float *odd,
                        float *out, int32_t count)
{
    const float *a[MOST_TAPS / 2], *b[MOST_TAPS / 2];
    int32_t order = job->halving.order[0], m = (order - 1) / 2;

    if (order == 3) {
        halve_three(out, row, job->weights[0], count);
        return;
    }
    split_row(even, odd, row, count + m);
    for (int32_t k = 0; k <= m; k++) {
        int32_t mirrored = order - k;

        a[k] = (k % 2 ? odd : even) + k / 2;
        b[k] = (mirrored % 2 ? odd : even) + mirrored / 2;
    }
    lb_pairs_sum(out, a, b, job->weights[0], m + 1, count);
}

size_t lb_halving_scratch(lb_halving halving, lb_box box)
{
    int32_t wide = lb_box_width(lb_halving_needs(halving, box));

    return (3 * row_floats(wide) + 2 * row_floats(wide / 2 + 16) + 32) * sizeof(float);
}

/* Rows that halve_rows works in. `mixed` has room for what job->needed has beside job->part. */
struct rows {
    float *zeros, *mixed, *extended, *even, *odd;
};

static bool is_within(const struct level *job)
{
    return job->part.x0 >= job->needed.x0 && job->part.x1 <= job->needed.x1;
}

/* Row y of the result before it is halved along, from job->needed.x0 on. */
static const float *wide_row(const struct level *job, int32_t y, const struct rows *rows)
{
    int32_t inner = lb_box_width(job->part), first = job->needed.x0 - job->part.x0;
    float *mixed = rows->mixed;
    const float *row = halve_down(job, y, rows->zeros, mixed);

    if (row != mixed || !is_within(job)) {
        lb_edge_row(job->edge, row, inner, first, lb_box_width(job->needed), rows->extended);
        return rows->extended;
    }
    lb_edge_row(job->edge, mixed, inner, first, -first, mixed + first);
    lb_edge_row(job->edge, mixed, inner, inner, job->needed.x1 - job->part.x1, mixed + inner);
    return mixed + first;
}

static lb_status halve_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const struct level *job = context;
    lb_box box = lb_plane_box(job->out);
    int32_t width = lb_box_width(box), wide = lb_box_width(job->needed);
    size_t inner = row_floats(lb_box_width(job->part)), half = row_floats(wide / 2 + 16);
    size_t before = is_within(job) ? row_floats(job->part.x0 - job->needed.x0) : 0;
    size_t after = is_within(job) ? row_floats(job->needed.x1 - job->part.x1) : 0;
    float *scratch = lb_block_new((inner + before + inner + after + row_floats(wide) + 2 * half) *
                                  sizeof *scratch);
    struct rows rows = {.zeros = scratch, .mixed = scratch + inner + before};

    (void)worker;
    if (!scratch)
        return LB_MEMORY;
    rows.extended = rows.mixed + inner + after;
    rows.even = rows.extended + row_floats(wide);
    rows.odd = rows.even + half;
    memset(rows.zeros, 0, inner * sizeof *rows.zeros);
    for (int32_t y = box.y0 + begin; y < box.y0 + end; y++) {
        const float *row = wide_row(job, y, &rows);
        float *out = lb_plane_row_to_fill(job->out, y);

        if (job->halving.order[0] == 0)
            memcpy(out, row, (size_t)width * sizeof *out);
        else
            halve_along(job, row, rows.even, rows.odd, out, width);
    }
    lb_block_free(scratch);
    return LB_OK;
}

static lb_status run_level(lb_pool *pool, struct level *job, lb_box box, int32_t grain,
                           lb_range_fn rows, lb_plane **out)
{
    lb_status status;

    *out = NULL;
    binomial(job->halving.order[0], job->weights[0]);
    binomial(job->halving.order[1], job->weights[1]);
    job->part = lb_edge_needs(job->edge, lb_plane_box(job->in), job->needed);
    if ((status = lb_plane_new_raw(box, &job->out)))
        return status;
    if ((status = lb_pool_for(pool, lb_box_height(box), grain, rows, job)))
        lb_plane_unref(&job->out);
    *out = job->out;
    return status;
}

lb_status lb_plane_halve(lb_pool *pool, const lb_plane *in, lb_edge edge, lb_halving halving,
                         lb_box box, lb_plane **out)
{
    struct level job = {.in = in, .edge = edge, .halving = halving};

    job.needed = lb_halving_needs(halving, box);
    return run_level(pool, &job, box, GRAIN, halve_rows, out);
}

/* ---- Doubling ---- */

LB_CLONES
static void join_rows(float *restrict out, const float *restrict even, const float *restrict odd,
                      int32_t pairs)
{
    for (int32_t i = 0; i < pairs; i++) {
        out[2 * i] = even[i];
        out[2 * i + 1] = odd[i];
    }
}

/* The weights of samples of one parity, twice the binomial's every second one, from the last halved
 * sample to the first: `first` is that one's offset from floor(j / 2). How many there are. */
static int32_t phase(int32_t order, const float *weights, int32_t parity, float out[MOST_TAPS],
                     int32_t *first)
{
    int32_t m = (order - 1) / 2, count = 0, index = (parity + m) % 2;

    /* index = j - 2i + m, so i = floor(j / 2) + (parity + m - index) / 2. */
    *first = (parity + m - index) / 2;
    for (; index <= order; index += 2)
        out[count++] = 2 * weights[index];
    return count;
}

/* Order 3 at once, as in halve_three. */
LB_CLONES
static void double_three(float *restrict out, const float *restrict row, const float *restrict even,
                         const float *restrict odd, int32_t pairs)
{
    float e0 = even[0], e1 = even[1], o0 = odd[0], o1 = odd[1];

    for (int32_t i = 0; i < pairs; i++) {
        float left = e0 * row[i + 1], right = o0 * row[i + 2];

        out[2 * i] = left + e1 * row[i];
        out[2 * i + 1] = right + o1 * row[i + 1];
    }
}

/* A row of halved samples made twice as long. `row` starts at the halved sample needed.x0; `out`
 * gets both samples of each halved one from `from` on, `pairs` of them. */
static void double_along(const struct level *job, const float *row, float *even, float *odd,
                         float *out, int32_t from, int32_t pairs)
{
    const float *taps[MOST_TAPS];
    float weights[MOST_TAPS];
    float *const to[2] = {even, odd};
    int32_t first, count;

    if (job->halving.order[0] == 3) {
        float others[MOST_TAPS];

        phase(3, job->weights[0], 0, weights, &first);
        phase(3, job->weights[0], 1, others, &first);
        double_three(out, row + (from - 1 - job->needed.x0), weights, others, pairs);
        return;
    }
    for (int32_t parity = 0; parity < 2; parity++) {
        count = phase(job->halving.order[0], job->weights[0], parity, weights, &first);
        for (int32_t k = 0; k < count; k++)
            taps[k] = row + (from + first - k - job->needed.x0);
        lb_taps_sum(to[parity], taps, weights, count, pairs);
    }
    join_rows(out, even, odd, pairs);
}

/* Rows of `in`, doubled along x once each and kept by their number. */
struct doubled {
    float *rows; /* room * stride */
    size_t stride;
    int32_t room, last; /* every row up to `last` was made */
    bool begun;
    float *extended, *even, *odd, *zeros;
};

#define KEPT_ROWS (LB_PYRAMID_MOST_ORDER + 1)

size_t lb_doubling_scratch(lb_halving halving, lb_box box)
{
    int32_t width = lb_box_width(box), wide = lb_box_width(lb_doubling_needs(halving, box));

    return (KEPT_ROWS * row_floats(width + 4) + 2 * row_floats(width / 2 + 4) +
            2 * row_floats(wide)) *
           sizeof(float);
}

static float *slot_of(const struct doubled *d, int32_t y)
{
    int32_t slot = y % d->room;

    return d->rows + (size_t)(slot < 0 ? slot + d->room : slot) * d->stride;
}

/* The doubled row starts at the even sample 2 floor(box.x0 / 2). */
static void make_row(const struct level *job, const struct doubled *d, int32_t y)
{
    lb_box box = lb_plane_box(job->out);
    const float *row = row_from(job->in, job->edge, y, job->part.x0, d->zeros);
    int32_t inner = lb_box_width(job->part), shift = job->needed.x0 - job->part.x0;
    float *out = slot_of(d, y);

    if (job->halving.order[0] == 0) {
        lb_edge_row(job->edge, row, inner, shift, lb_box_width(box), out);
        return;
    }
    if (shift >= 0 && shift + lb_box_width(job->needed) <= inner) {
        row += shift;
    } else {
        lb_edge_row(job->edge, row, inner, shift, lb_box_width(job->needed), d->extended);
        row = d->extended;
    }
    double_along(job, row, d->even, d->odd, out, floor_half(box.x0),
                 floor_half(box.x1 - 1) - floor_half(box.x0) + 1);
}

static const float *doubled_row(const struct level *job, struct doubled *d, int32_t y)
{
    if (!d->begun)
        d->last = y - 1;
    d->begun = true;
    while (d->last < y)
        make_row(job, d, ++d->last);
    return slot_of(d, y) + (job->halving.order[0] ? lb_plane_box(job->out).x0 & 1 : 0);
}

static void double_down(const struct level *job, struct doubled *d, int32_t y, float *out)
{
    const float *taps[MOST_TAPS];
    float weights[MOST_TAPS];
    int32_t width = lb_box_width(lb_plane_box(job->out)), first, count;

    if (!job->halving.order[1]) {
        memcpy(out, doubled_row(job, d, y), (size_t)width * sizeof *out);
        return;
    }
    count = phase(job->halving.order[1], job->weights[1], y & 1, weights, &first);
    for (int32_t k = count - 1; k >= 0; k--) /* rising, so that each row is made once */
        taps[k] = doubled_row(job, d, floor_half(y) + first - k);
    lb_taps_sum(out, taps, weights, count, width);
}

static lb_status double_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const struct level *job = context;
    lb_box box = lb_plane_box(job->out);
    size_t long_row = row_floats(lb_box_width(box) + 4),
           half = row_floats(lb_box_width(box) / 2 + 4);
    size_t inner = row_floats(lb_box_width(job->part)),
           wide = row_floats(lb_box_width(job->needed));
    struct doubled d = {.stride = long_row, .room = KEPT_ROWS};
    float *scratch = lb_block_new((KEPT_ROWS * long_row + 2 * half + inner + wide) * sizeof(float));

    (void)worker;
    if (!scratch)
        return LB_MEMORY;
    d.rows = scratch;
    d.even = scratch + KEPT_ROWS * long_row;
    d.odd = d.even + half;
    d.zeros = d.odd + half;
    d.extended = d.zeros + inner;
    memset(d.zeros, 0, inner * sizeof *d.zeros);
    for (int32_t y = box.y0 + begin; y < box.y0 + end; y++)
        double_down(job, &d, y, lb_plane_row_to_fill(job->out, y));
    lb_block_free(scratch);
    return LB_OK;
}

lb_status lb_plane_double(lb_pool *pool, const lb_plane *in, lb_edge edge, lb_halving halving,
                          lb_box box, lb_plane **out)
{
    struct level job = {.in = in, .edge = edge, .halving = halving};

    job.needed = lb_doubling_needs(halving, box);
    return run_level(pool, &job, box, 2 * GRAIN, double_rows, out);
}
