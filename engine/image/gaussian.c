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

/* Halves `in` `levels` times into *out. needed[l] is what level l has to know of; beyond the boxes
 * that are made the edge rule goes on: transparent and clamped pictures stay so when halved, of
 * repeated and mirrored ones the first level makes all that is needed. */
static lb_status go_up(lb_pool *pool, const lb_plane *in, const lb_gaussian_axis axes[2],
                       int32_t levels, lb_edge edge, const lb_box *needed, lb_plane **out)
{
    lb_plane *below = lb_plane_ref(in), *above;
    lb_box holds = lb_plane_box(in);
    lb_status status = LB_OK;

    for (int32_t l = 0; l < levels && !status; l++) {
        lb_halving halving = halving_at(axes, l);
        lb_box box = needed[l + 1];

        if (edge == LB_EDGE_TRANSPARENT || edge == LB_EDGE_CLAMP) {
            holds = lb_halving_holds(halving, holds, edge);
            box = lb_edge_needs(edge, holds, box);
        }
        status = lb_plane_halve(pool, below, edge, halving, box, &above);
        lb_plane_unref(&below);
        below = above;
        if (edge == LB_EDGE_REPEAT || edge == LB_EDGE_MIRROR)
            edge = LB_EDGE_TRANSPARENT;
        holds = box;
    }
    *out = below;
    return status;
}

static lb_status go_through(lb_pool *pool, const lb_plane *in, const lb_gaussian_axis axes[2],
                            int32_t levels, lb_edge edge, lb_box box, lb_plane **out)
{
    lb_box needed[LB_GAUSSIAN_LEVELS + 1], wanted[LB_GAUSSIAN_LEVELS + 1];
    lb_plane *plane = NULL, *next = NULL;
    bool kept = edge == LB_EDGE_TRANSPARENT || edge == LB_EDGE_CLAMP;
    lb_status status;

    wanted[0] = box;
    for (int32_t l = 0; l < levels; l++)
        wanted[l + 1] = lb_doubling_needs(halving_at(axes, l), wanted[l]);
    needed[levels] = core_needs(axes, wanted[levels]);
    for (int32_t l = levels; l > 0; l--)
        needed[l - 1] = lb_halving_needs(halving_at(axes, l - 1), needed[l]);

    status = go_up(pool, in, axes, levels, edge, needed, &plane);
    if (!status) {
        status = convolve_core(pool, plane, axes, kept ? edge : LB_EDGE_TRANSPARENT, wanted[levels],
                               &next);
        lb_plane_unref(&plane);
        plane = next;
    }
    for (int32_t l = levels; l > 0 && !status; l--) {
        status = lb_plane_double(pool, plane, LB_EDGE_TRANSPARENT, halving_at(axes, l - 1),
                                 wanted[l - 1], &next);
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
    int32_t levels = axes[0].levels > axes[1].levels ? axes[0].levels : axes[1].levels;
    lb_status status;

    *out = NULL;
    if (lb_box_is_empty(box))
        return LB_INVALID;
    if (!(status = lb_gaussian_axis_fill(&axes[0], sigma[0]))) {
        if (sigma[1] == sigma[0])
            axes[1].weights = axes[0].weights; /* lent */
        else
            status = lb_gaussian_axis_fill(&axes[1], sigma[1]);
    }
    if (!status)
        status = levels ? go_through(pool, in, axes, levels, edge, box, out)
                        : convolve_core(pool, in, axes, edge, box, out);
    if (axes[1].weights != axes[0].weights)
        lb_gaussian_axis_clear(&axes[1]);
    lb_gaussian_axis_clear(&axes[0]);
    return status;
}
