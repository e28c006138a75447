/* engine/image/gaussian.c: see gaussian_axis.h for the method. */
#include <string.h>

#include "engine/image/convolve.h"
#include "engine/image/extend.h"
#include "engine/image/gaussian_axis.h"
#include "engine/image/pyramid.h"
#include "engine/image/sums.h"

#define GRAIN 32
/* Columns go down a band together, so many that the rows of a kernel stay in the first cache. */
#define STRIP_FLOATS 8192
#define LEAST_STRIP 256

int32_t lb_gaussian_reach(double sigma)
{
    lb_gaussian_axis axis = lb_gaussian_axis_plan(sigma);

    return lb_gaussian_axis_reach(&axis);
}

/* ---- The core: direct convolution ---- */

struct direct {
    const lb_plane *in;
    lb_edge edge;
    const lb_gaussian_axis *axes;
    lb_box part; /* of `in` that is needed */
    lb_plane *out;
};

static size_t row_floats(int32_t count)
{
    return ((size_t)count + 15) / 16 * 16;
}

static const float *row_at(const struct direct *job, int32_t y, const float *zeros)
{
    lb_box box = lb_plane_box(job->in);
    int32_t at = lb_edge_index(job->edge, y - box.y0, lb_box_height(box));

    return at < 0 ? zeros : lb_plane_row(job->in, box.y0 + at) + (job->part.x0 - box.x0);
}

static int32_t strip_of(int32_t radius)
{
    int32_t strip = STRIP_FLOATS / (2 * radius + 1) / 64 * 64;

    return strip > LEAST_STRIP ? strip : LEAST_STRIP;
}

/* The next strip is asked for while this one is worked on: rows of a strip are too short for the
 * processor to foresee. */
static void prefetch(const float *row, int32_t x0, int32_t x1)
{
    for (int32_t x = x0; x < x1; x += 16)
        __builtin_prefetch(row + x, 0, 2);
}

/* Down the columns of job->part: rows first .. first + count - 1 into `band`. `rows` has the input
 * rows from first - radius on. */
static void go_down(const struct direct *job, const float *const *rows, int32_t count, float *band,
                    size_t stride, const float **pointers)
{
    const lb_gaussian_axis *axis = &job->axes[1];
    int32_t radius = axis->radius, width = lb_box_width(job->part), strip = strip_of(radius);
    const float **above = pointers, **below = pointers + radius + 1;

    for (int32_t x = 0; x < width; x += strip) {
        int32_t n = width - x < strip ? width - x : strip;
        int32_t next = x + 2 * strip < width ? x + 2 * strip : width;

        for (int32_t i = 0; i < count; i++) {
            for (int32_t k = 0; k <= radius; k++) {
                above[k] = rows[i + radius - k] + x;
                below[k] = rows[i + radius + k] + x;
            }
            lb_pairs_sum(band + (size_t)i * stride + x, above, below, axis->weights, radius + 1, n);
            for (int32_t k = i == 0 ? 0 : 2 * radius; k <= 2 * radius; k++)
                prefetch(rows[i + k], x + strip, next);
        }
    }
}

/* How many pixels of the output's rows and their kernels are before and after job->part, and
 * whether a row gets room for them; far outside, they are written elsewhere. */
struct margins {
    int32_t before, after, count;
    bool is_far;
};

static struct margins margins_of(const struct direct *job)
{
    lb_box box = lb_plane_box(job->out);
    int32_t radius = job->axes[0].radius, before = job->part.x0 - (box.x0 - radius);
    int32_t after = box.x1 + radius - job->part.x1, count = lb_box_width(box) + 2 * radius;

    if (before > count || after > count)
        return (struct margins){0, 0, count, true};
    return (struct margins){before > 0 ? before : 0, after > 0 ? after : 0, count, false};
}

/* Along a row in which `first` is the output's first column. */
static void go_along(const struct direct *job, const float *first, float *out,
                     const float **pointers)
{
    const lb_gaussian_axis *axis = &job->axes[0];
    const float **left = pointers, **right = pointers + axis->radius + 1;

    for (int32_t k = 0; k <= axis->radius; k++) {
        left[k] = first - k;
        right[k] = first + k;
    }
    lb_pairs_sum(out, left, right, axis->weights, axis->radius + 1,
                 lb_box_width(lb_plane_box(job->out)));
}

/* What lies beyond the row that starts at column job->part.x0; where the output's first column is.
 * `elsewhere` has m.count floats. */
static const float *go_beyond(const struct direct *job, struct margins m, float *row,
                              float *elsewhere)
{
    int32_t inner = lb_box_width(job->part), radius = job->axes[0].radius;
    int32_t first = lb_plane_box(job->out).x0 - job->part.x0;

    if (m.is_far) {
        lb_edge_row(job->edge, row, inner, first - radius, m.count, elsewhere);
        return elsewhere + radius;
    }
    lb_edge_row(job->edge, row, inner, -m.before, m.before, row - m.before);
    lb_edge_row(job->edge, row, inner, inner, m.after, row + inner);
    return row + first;
}

/* Rows of a band: room for the longest list of pointers behind them. */
struct band {
    float *rows, *zeros, *elsewhere;
    size_t stride;
    const float **inputs, **pointers;
};

static void run_band(const struct direct *job, struct margins m, const struct band *band,
                     int32_t begin, int32_t count)
{
    lb_box box = lb_plane_box(job->out);
    int32_t ry = job->axes[1].radius, inner = lb_box_width(job->part);

    for (int32_t i = 0; i < count + 2 * ry; i++)
        band->inputs[i] = row_at(job, box.y0 + begin - ry + i, band->zeros);
    if (ry > 0)
        go_down(job, band->inputs, count, band->rows, band->stride, band->pointers);
    for (int32_t i = 0; i < count; i++) {
        float *row = band->rows + (size_t)i * band->stride;

        if (ry == 0)
            memcpy(row, band->inputs[i], (size_t)inner * sizeof *row);
        go_along(job, go_beyond(job, m, row, band->elsewhere),
                 lb_plane_row_to_fill(job->out, box.y0 + begin + i), band->pointers);
    }
}

static lb_status direct_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const struct direct *job = context;
    int32_t rx = job->axes[0].radius, ry = job->axes[1].radius, count = end - begin;
    struct margins m = margins_of(job);
    size_t before = row_floats(m.before), inner = row_floats(lb_box_width(job->part));
    size_t most = (size_t)(rx > ry ? rx : ry) + 1, input_count = (size_t)count + 2 * (size_t)ry;
    struct band band = {.stride = before + inner + row_floats(m.after)};
    size_t elsewhere = m.is_far ? row_floats(m.count) : 0;
    float *floats =
        lb_block_new(((size_t)count * band.stride + inner + elsewhere) * sizeof *floats);

    (void)worker;
    band.inputs = lb_alloc(input_count + 2 * most, sizeof *band.inputs);
    if (!floats || !band.inputs) {
        lb_block_free(floats);
        lb_free(band.inputs);
        return LB_MEMORY;
    }
    band.pointers = band.inputs + input_count;
    band.rows = floats + before;
    band.zeros = floats + (size_t)count * band.stride;
    band.elsewhere = band.zeros + inner;
    memset(band.zeros, 0, inner * sizeof *band.zeros);
    run_band(job, m, &band, begin, count);
    lb_block_free(floats);
    lb_free(band.inputs);
    return LB_OK;
}

static lb_box core_needs(const lb_gaussian_axis axes[2], lb_box box)
{
    int32_t rx = axes[0].radius, ry = axes[1].radius;

    return (lb_box){box.x0 - rx, box.y0 - ry, box.x1 + rx, box.y1 + ry};
}

static lb_status convolve_core(lb_pool *pool, const lb_plane *in, const lb_gaussian_axis axes[2],
                               lb_edge edge, lb_box box, lb_plane **out)
{
    struct direct job = {.in = in, .edge = edge, .axes = axes};
    lb_status status;

    *out = NULL;
    job.part = lb_edge_needs(edge, lb_plane_box(in), core_needs(axes, box));
    if ((status = lb_plane_new_raw(box, &job.out)))
        return status;
    if ((status = lb_pool_for(pool, lb_box_height(box), GRAIN, direct_rows, &job)))
        lb_plane_unref(&job.out);
    *out = job.out;
    return status;
}

/* ---- The pyramid around it ---- */

static lb_halving halving_at(const lb_gaussian_axis axes[2], int32_t level)
{
    lb_halving halving = {{0, 0}};

    for (int a = 0; a < 2; a++)
        if (level < axes[a].levels)
            halving.order[a] = axes[a].orders[level];
    return halving;
}

/* Which samples are made on the way: made[l] is what level l has to have (the input: to know),
 * back[l] what comes out of it again. */
struct ladder {
    int32_t levels;
    lb_edge edges[LB_GAUSSIAN_LEVELS + 1]; /* how level l goes on beyond made[l] */
    lb_box made[LB_GAUSSIAN_LEVELS + 1], back[LB_GAUSSIAN_LEVELS + 1];
};

/* Beyond the boxes that are made the edge rule goes on: transparent and clamped pictures stay so
 * when halved, of repeated and mirrored ones the first level makes all that is needed. */
static void plan_ladder(const lb_gaussian_axis axes[2], lb_box in, lb_edge edge, lb_box box,
                        struct ladder *l)
{
    bool kept = edge == LB_EDGE_TRANSPARENT || edge == LB_EDGE_CLAMP;
    lb_box needed[LB_GAUSSIAN_LEVELS + 1];

    l->levels = axes[0].levels > axes[1].levels ? axes[0].levels : axes[1].levels;
    l->back[0] = box;
    for (int32_t k = 0; k < l->levels; k++)
        l->back[k + 1] = lb_doubling_needs(halving_at(axes, k), l->back[k]);
    needed[l->levels] = core_needs(axes, l->back[l->levels]);
    for (int32_t k = l->levels; k > 0; k--)
        needed[k - 1] = lb_halving_needs(halving_at(axes, k - 1), needed[k]);
    l->made[0] = in;
    l->edges[0] = edge;
    for (int32_t k = 0; k < l->levels; k++) {
        lb_box holds = lb_halving_holds(halving_at(axes, k), l->made[k], edge);

        l->made[k + 1] = kept ? lb_edge_needs(edge, holds, needed[k + 1]) : needed[k + 1];
        l->edges[k + 1] = kept ? edge : LB_EDGE_TRANSPARENT;
    }
}

static lb_status go_through(lb_pool *pool, const lb_plane *in, const lb_gaussian_axis axes[2],
                            const struct ladder *l, lb_plane **out)
{
    lb_plane *plane = lb_plane_ref(in), *next = NULL;
    lb_status status = LB_OK;

    for (int32_t k = 0; k < l->levels && !status; k++) {
        status =
            lb_plane_halve(pool, plane, l->edges[k], halving_at(axes, k), l->made[k + 1], &next);
        lb_plane_unref(&plane);
        plane = next;
    }
    if (!status) {
        status = convolve_core(pool, plane, axes, l->edges[l->levels], l->back[l->levels], &next);
        lb_plane_unref(&plane);
        plane = next;
    }
    for (int32_t k = l->levels; k > 0 && !status; k--) {
        status = lb_plane_double(pool, plane, LB_EDGE_TRANSPARENT, halving_at(axes, k - 1),
                                 l->back[k - 1], &next);
        lb_plane_unref(&plane);
        plane = next;
    }
    *out = plane;
    return status;
}

lb_status lb_convolve_gaussian(lb_pool *pool, const lb_plane *in, const double sigma[2],
                               lb_edge edge, lb_box box, lb_plane **out)
{
    lb_gaussian_axis axes[2] = {lb_gaussian_axis_plan(sigma[0]), lb_gaussian_axis_plan(sigma[1])};
    struct ladder ladder;
    lb_status status;

    *out = NULL;
    if (lb_box_is_empty(box))
        return LB_INVALID;
    plan_ladder(axes, lb_plane_box(in), edge, box, &ladder);
    if (!(status = lb_gaussian_axis_fill(&axes[0], sigma[0]))) {
        if (sigma[1] == sigma[0])
            axes[1].weights = axes[0].weights; /* lent */
        else
            status = lb_gaussian_axis_fill(&axes[1], sigma[1]);
    }
    if (!status)
        status = go_through(pool, in, axes, &ladder, out);
    if (axes[1].weights != axes[0].weights)
        lb_gaussian_axis_clear(&axes[1]);
    lb_gaussian_axis_clear(&axes[0]);
    return status;
}

/* ---- Memory ---- */

/* A thread's block, which may also be half as large again: one that waited. */
static size_t block_bytes(size_t bytes)
{
    return bytes + bytes * 3 / 4 + 192;
}

/* Level k on the way back, which may get the block that it had on the way there. */
static size_t back_bytes(const struct ladder *l, int32_t k)
{
    size_t bytes = lb_plane_room(l->back[k]), there = lb_plane_room(l->made[k]);

    return there > bytes && there <= bytes * 3 / 2 ? there : bytes;
}

/* What direct_rows takes. */
static size_t direct_bytes(const lb_gaussian_axis axes[2], lb_box box)
{
    int32_t rx = axes[0].radius, ry = axes[1].radius;
    size_t wide = row_floats(lb_box_width(box) + 2 * rx) + 32;
    size_t pointers = GRAIN + 2 * (size_t)ry + 2 * (size_t)(rx > ry ? rx : ry) + 2;

    return block_bytes((GRAIN + 2) * wide * sizeof(float)) +
           block_bytes(pointers * sizeof(float *));
}

/* The most that is there at once before *out is, and with it. */
struct needs {
    size_t before, beside;
};

static void widen_needs(struct needs *n, bool before, size_t bytes)
{
    size_t *most = before ? &n->before : &n->beside;

    *most = bytes > *most ? bytes : *most;
}

size_t lb_gaussian_scratch(const double sigma[2], lb_box in, lb_edge edge, lb_box box,
                           int32_t threads)
{
    lb_gaussian_axis axes[2] = {lb_gaussian_axis_plan(sigma[0]), lb_gaussian_axis_plan(sigma[1])};
    size_t crew = threads > 0 ? (size_t)threads : 1, planes, out;
    struct needs most = {0, 0};
    struct ladder l;

    if (lb_box_is_empty(box) || lb_box_is_empty(in))
        return 0;
    plan_ladder(axes, in, edge, box, &l);
    out = row_floats(lb_box_width(box)) * (size_t)lb_box_height(box) * sizeof(float);
    for (int32_t k = 0; k < l.levels; k++) {
        lb_halving halving = halving_at(axes, k);
        size_t up = block_bytes(lb_halving_scratch(halving, l.made[k + 1]));
        size_t down = block_bytes(lb_doubling_scratch(halving, l.back[k]));

        planes = (k > 0 ? lb_plane_room(l.made[k]) : 0) + lb_plane_room(l.made[k + 1]);
        widen_needs(&most, true, planes + crew * up);
        planes = back_bytes(&l, k + 1) + (k > 0 ? back_bytes(&l, k) : 0);
        widen_needs(&most, k > 0, planes + crew * down);
    }
    planes = l.levels > 0 ? lb_plane_room(l.made[l.levels]) + back_bytes(&l, l.levels) : 0;
    widen_needs(&most, l.levels > 0, planes + crew * direct_bytes(axes, l.back[l.levels]));
    if (most.before > out && most.before - out > most.beside)
        most.beside = most.before - out;
    /* the weights, and what they are made from */
    return most.beside + 128 * ((size_t)axes[0].radius + (size_t)axes[1].radius) + 8192;
}
