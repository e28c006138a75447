/* engine/image/transform.c: affine maps.
 *
 * Where the axes stay axes the picture is resampled along y, then along x, with weights of their
 * own for each row and column. Else every pixel takes its own taps. Either way the kernel is as
 * wide, along each axis of the input, as an output pixel is there (at least one pixel), and a
 * weight depends on the pixel's own coordinates only. */
#include <math.h>
#include <string.h>

#include "engine/base/clones.h"
#include "engine/base/math.h"
#include "engine/image/extend.h"
#include "engine/image/gather.h"
#include "engine/image/limit.h"
#include "engine/image/sums.h"

#define GRAIN 16
#define PADDING 4
#define MOST_WIDTH 1024.0 /* a kernel is never stretched more than this */

/* Taps of one output position along one axis. */
typedef struct taps {
    int32_t first, count;
    float *weights;
} taps;

/* At most, and a multiple of PADDING. */
static int32_t most_taps(lb_filter filter, double width)
{
    int32_t most = (int32_t)ceil(2 * lb_filter_radius(filter) * width) + 1;

    return filter == LB_FILTER_NEAREST ? PADDING : (most + PADDING - 1) / PADDING * PADDING;
}

/* Fills *t (room for most_taps) for position x, in pixels from the input's first. */
static void find_taps(lb_filter filter, double width, double x, taps *t)
{
    double radius = lb_filter_radius(filter) * width, sum = 0, weight;
    int32_t last;

    if (!(fabs(x) <= 0x1p29)) { /* NaN, or nowhere near any plane */
        *t = (taps){INT32_MIN / 4, 0, t->weights};
        return;
    }
    if (filter == LB_FILTER_NEAREST) {
        *t = (taps){(int32_t)floor(x), 1, t->weights};
        t->weights[0] = 1;
        return;
    }
    t->first = (int32_t)floor(x - 0.5 - radius) + 1;
    last = (int32_t)ceil(x - 0.5 + radius) - 1;
    t->count = last - t->first + 1;
    for (int32_t i = 0; i < t->count; i++)
        sum += lb_filter_value(filter, (t->first + i + 0.5 - x) / width);
    for (int32_t i = 0; i < t->count; i++) {
        weight = lb_filter_value(filter, (t->first + i + 0.5 - x) / width);
        t->weights[i] = (float)(weight / sum);
    }
}

struct transform {
    int32_t count; /* planes that the narrow way makes together */
    const lb_plane *const *all;
    lb_plane **made;
    bool limited;
    const lb_plane *in; /* one of them, for the other ways */
    const double *m;
    lb_filter filter;
    lb_edge edge;
    double width[2]; /* of the kernel along the input's axes */
    int32_t room[2]; /* most taps along them */
    lb_plane *out;
    taps *columns; /* axis-aligned: of every column of `out` */
    float *weights;
    bool is_steady; /* all columns have the taps of columns[0], moved on */
    lb_box part;    /* of `in`: the columns that are needed */
    float *curve;   /* any map: the kernel, PER_UNIT samples a pixel, and 0 */
};

/* ---- Whole pixels: a copy ---- */

static bool is_whole(double value)
{
    return fabs(value) < LB_BOX_LIMIT && value == floor(value);
}

static bool is_shift(const double m[6], lb_filter filter)
{
    return filter != LB_FILTER_MITCHELL && m[0] == 1 && m[1] == 0 && m[3] == 0 && m[4] == 1 &&
           is_whole(m[2]) && is_whole(m[5]);
}

static lb_status shift_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const struct transform *job = context;
    lb_box box = lb_plane_box(job->out);
    int32_t x = (int32_t)job->m[2], y = (int32_t)job->m[5];

    (void)worker;
    for (int32_t j = box.y0 + begin; j < box.y0 + end; j++)
        lb_plane_copy_row(job->in, job->edge, j + y, box.x0 + x, box.x1 + x,
                          lb_plane_row_to_fill(job->out, j));
    return LB_OK;
}

/* ---- Axes stay axes ---- */

/* Output pixel i is at m i + t on the input's axis, in pixels from its first. */
static double along(double scale, double offset, int32_t i, int32_t first)
{
    return lb_gather_grid(scale * (i + 0.5) + offset) - first;
}

typedef float four __attribute__((vector_size(16)));
typedef int32_t four_masks __attribute__((vector_size(16)));

/* Four taps at a time; weights and pixels are readable up to a multiple of four. What has no weight
 * counts nothing, be it infinite. */
static inline float dot(const float *weights, const float *pixels, int32_t count)
{
    four sum = {0};

    for (int32_t i = 0; i < count; i += 4) {
        four w, p;

        memcpy(&w, weights + i, sizeof w);
        memcpy(&p, pixels + i, sizeof p);
        sum += (four)((four_masks)(w * p) & (w != 0));
    }
    return (sum[0] + sum[1]) + (sum[2] + sum[3]);
}

/* A row of job->part's columns, and PADDING more, at the output's columns, each with its own taps.
 * `outside` is for those that go on by the edge rule. */
LB_CLONES
static void resample_row(const struct transform *job, const float *row, float *outside, float *out)
{
    int32_t n = lb_box_width(job->part), from = job->part.x0 - lb_plane_box(job->in).x0;
    int32_t width = lb_box_width(lb_plane_box(job->out));

    for (int32_t x = 0; x < width; x++) {
        const taps *t = &job->columns[x];
        int32_t first = t->first - from;

        if (first < 0 || first + t->count > n) {
            for (int32_t i = 0; i < t->count; i++) {
                int32_t at = lb_edge_index(job->edge, first + i, n);

                outside[i] = at < 0 ? 0 : row[at];
            }
            out[x] = dot(t->weights, outside, t->count);
        } else {
            out[x] = dot(t->weights, row + first, t->count);
        }
    }
}

/* The same where all columns have the same weights: rows of taps. */
static void shift_row(const struct transform *job, const float *row, float *extended, float *out)
{
    const taps *t = &job->columns[0];
    int32_t width = lb_box_width(lb_plane_box(job->out));
    const float *in[LB_SUMS_TAPS];
    float weights[LB_SUMS_TAPS];
    int32_t count = 0;

    lb_edge_row(job->edge, row, lb_box_width(job->part),
                t->first - (job->part.x0 - lb_plane_box(job->in).x0), width + t->count, extended);
    for (int32_t i = 0; i < t->count && count < LB_SUMS_TAPS; i++)
        if (t->weights[i] != 0) {
            in[count] = extended + i;
            weights[count++] = t->weights[i];
        }
    lb_taps_sum(out, in, weights, count, width);
}

/* Down the columns of job->part: what the taps `t` make of them. `zeros` stands for rows that are
 * not there. Taps of no weight are left out, so that infinities stay where they are. */
static void go_down(const struct transform *job, const taps *t, const float *zeros,
                    const float **rows, float *weights, float *mixed)
{
    lb_box in = lb_plane_box(job->in);
    int32_t count = 0;

    for (int32_t i = 0; i < t->count; i++) {
        int32_t at = lb_edge_index(job->edge, t->first + i, lb_box_height(in));

        if (t->weights[i] == 0)
            continue;
        rows[count] = at < 0 ? zeros : lb_plane_row(job->in, in.y0 + at) + (job->part.x0 - in.x0);
        weights[count++] = t->weights[i];
    }
    if (count)
        lb_taps_sum(mixed, rows, weights, count, lb_box_width(job->part));
    else
        memset(mixed, 0, (size_t)lb_box_width(job->part) * sizeof *mixed);
}

static lb_status aligned_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const struct transform *job = context;
    lb_box box = lb_plane_box(job->out), in = lb_plane_box(job->in);
    size_t inner = (size_t)lb_box_width(job->part) + PADDING, room = (size_t)job->room[1];
    size_t wide = (size_t)lb_box_width(box) + (size_t)job->room[0];
    float *scratch = lb_block_new((2 * inner + wide + 2 * room) * sizeof *scratch);
    float *zeros = scratch, *mixed = zeros + inner, *extended = mixed + inner;
    const float **rows = lb_alloc(room, sizeof *rows);
    lb_status status = LB_MEMORY;

    (void)worker;
    if (scratch && rows) {
        taps vertical = {.weights = extended + wide};

        memset(scratch, 0, (2 * inner + wide) * sizeof *scratch);
        for (int32_t y = box.y0 + begin; y < box.y0 + end; y++) {
            find_taps(job->filter, job->width[1], along(job->m[4], job->m[5], y, in.y0), &vertical);
            go_down(job, &vertical, zeros, rows, vertical.weights + room, mixed);
            if (job->is_steady)
                shift_row(job, mixed, extended, lb_plane_row_to_fill(job->out, y));
            else
                resample_row(job, mixed, extended, lb_plane_row_to_fill(job->out, y));
        }
        status = LB_OK;
    }
    lb_block_free(scratch);
    lb_free(rows);
    return status;
}

/* Taps of every column; of the first one alone where all have the same phase. */
static lb_status make_columns(struct transform *job)
{
    lb_box box = lb_plane_box(job->out), in = lb_plane_box(job->in);
    size_t count = (size_t)lb_box_width(box), room;
    int32_t first = INT32_MAX, last = INT32_MIN;

    job->is_steady = job->m[0] == 1 && fabs(job->m[2]) < LB_BOX_LIMIT;
    if (!lb_size_mul(job->is_steady ? 1 : count, (size_t)job->room[0], &room))
        return LB_LIMIT;
    job->columns = lb_alloc(count, sizeof *job->columns);
    job->weights = lb_alloc(room, sizeof *job->weights);
    if (!job->columns || !job->weights)
        return LB_MEMORY;
    for (size_t x = 0; x < (job->is_steady ? 1 : count); x++) {
        taps *t = &job->columns[x];

        t->weights = job->weights + x * (size_t)job->room[0];
        if (job->is_steady) { /* found at column 0, so that every region has the same */
            find_taps(job->filter, 1, along(1, job->m[2], 0, 0), t);
            t->first += box.x0 - in.x0;
        } else {
            find_taps(job->filter, job->width[0],
                      along(job->m[0], job->m[2], box.x0 + (int32_t)x, in.x0), t);
        }
        if (t->count > 0) {
            first = t->first < first ? t->first : first;
            last = t->first + t->count > last ? t->first + t->count : last;
        }
    }
    if (job->is_steady)
        last += lb_box_width(box);
    if (first > last)
        first = last = 0; /* nothing is near */
    job->part = lb_edge_needs(job->edge, in, (lb_box){in.x0 + first, in.y0, in.x0 + last, in.y1});
    return LB_OK;
}

/* ---- Any map ---- */

/* Positions of pixels x .. x + count - 1 of row y in the input, from its first pixel's centre. */
LB_CLONES
static void positions(const struct transform *job, lb_box in, int32_t x, int32_t y, int32_t count,
                      double *restrict across, double *restrict down)
{
    const double *m = job->m;
    double m0 = m[0], m2 = m[2], m3 = m[3], m5 = m[5], right = m[1] * (y + 0.5),
           below = m[4] * (y + 0.5);
    double shift_x = in.x0 + 0.5, shift_y = in.y0 + 0.5;

    for (int32_t i = 0; i < count; i++) {
        double column = x + i + 0.5;

        across[i] = lb_gather_grid(m0 * column + right + m2) - shift_x;
        down[i] = lb_gather_grid(m3 * column + below + m5) - shift_y;
    }
}

/* A piece of row y from x on, of all planes. */
static void narrow_piece(const struct transform *job, const lb_gather *gather, int32_t x, int32_t y)
{
    int32_t shift = x - lb_plane_box(job->made[0]).x0;

    for (int32_t p = 0; p < job->count; p += LB_GATHER_PLANES) {
        int32_t n = job->count - p < LB_GATHER_PLANES ? job->count - p : LB_GATHER_PLANES;
        float *out[LB_GATHER_PLANES];

        for (int32_t k = 0; k < n; k++)
            out[k] = lb_plane_row_to_fill(job->made[p + k], y) + shift;
        lb_gather_run(gather, n, job->all + p, job->edge, out);
    }
}

/* The kernel is nowhere wider than itself. */
static lb_status narrow_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const struct transform *job = context;
    lb_box box = lb_plane_box(job->made[0]);
    double across[LB_GATHER_MOST], down[LB_GATHER_MOST];
    lb_gather gather = {.filter = job->filter, .limited = job->limited};

    (void)worker;
    for (int32_t y = box.y0 + begin; y < box.y0 + end; y++)
        for (int32_t x = box.x0; x < box.x1; x += LB_GATHER_MOST) {
            int32_t n = box.x1 - x < LB_GATHER_MOST ? box.x1 - x : LB_GATHER_MOST;

            positions(job, lb_plane_box(job->all[0]), x, y, n, across, down);
            lb_gather_at(&gather, across, down, n);
            narrow_piece(job, &gather, x, y);
        }
    return LB_OK;
}

/* Samples of the kernel, so close that straight lines between them are within 1e-6 of it. */
#define PER_UNIT 1024

static lb_status make_curve(struct transform *job)
{
    int32_t count = (int32_t)lb_filter_radius(job->filter) * PER_UNIT;

    if (!(job->curve = lb_alloc((size_t)count + 2, sizeof *job->curve)))
        return LB_MEMORY;
    for (int32_t i = 0; i < count; i++)
        job->curve[i] = (float)lb_filter_value(job->filter, (double)i / PER_UNIT);
    return LB_OK;
}

/* Weights of the taps around `position` (from the first pixel's centre) along one axis. */
static inline void find_wide_taps(const struct transform *job, int axis, double position, taps *t)
{
    double radius = lb_filter_radius(job->filter) * job->width[axis];
    float scale = (float)(PER_UNIT / job->width[axis]), sum = 0, start;
    int32_t last;

    if (!(fabs(position) <= 0x1p28)) { /* NaN, or nowhere near any plane */
        t->count = 0;
        return;
    }
    t->first = (int32_t)floor(position - radius) + 1;
    last = (int32_t)ceil(position + radius) - 1;
    t->count = last - t->first + 1;
    start = (float)(t->first - position);
    for (int32_t i = 0; i < t->count; i++) {
        float away = fabsf(start + (float)i) * scale;
        int32_t at = (int32_t)away;
        float low = job->curve[at], high = job->curve[at + 1];

        t->weights[i] = low + (high - low) * (away - (float)at);
        sum += t->weights[i];
    }
    for (int32_t i = 0; i < t->count; i++)
        t->weights[i] /= sum;
}

/* Leaves out taps that stand for nothing, and where a kernel is longer than the picture puts those
 * together that stand for the same pixel: a sample costs the picture's size at most. */
static void fold_taps(const struct transform *job, int32_t n, taps *t, float *spare)
{
    if (job->edge == LB_EDGE_TRANSPARENT) {
        int32_t before = t->first < 0 ? -t->first : 0, end = n - t->first;

        end = end < t->count ? end : t->count;
        for (int32_t i = before; i < end; i++)
            t->weights[i - before] = t->weights[i];
        t->first += before;
        t->count = end > before ? end - before : 0;
        return;
    }
    if (t->count <= n)
        return;
    memset(spare, 0, (size_t)n * sizeof *spare);
    for (int32_t i = 0; i < t->count; i++)
        spare[lb_edge_index(job->edge, t->first + i, n)] += t->weights[i];
    memcpy(t->weights, spare, (size_t)n * sizeof *spare);
    t->first = 0;
    t->count = n;
}

static inline float wide_pixel(const struct transform *job, const taps *tx, const taps *ty,
                               float *columns)
{
    lb_box in = lb_plane_box(job->in);
    int32_t n = lb_box_width(in);
    bool inside = tx->first >= 0 && tx->first + tx->count <= n;
    float sum = 0;

    for (int32_t i = 0; i < tx->count; i++)
        columns[i] = 0;
    for (int32_t j = 0; j < ty->count; j++) {
        int32_t at = lb_edge_index(job->edge, ty->first + j, lb_box_height(in));
        const float *row = at < 0 ? NULL : lb_plane_row(job->in, in.y0 + at);

        if (!row)
            continue;
        if (inside) {
            for (int32_t i = 0; i < tx->count; i++)
                columns[i] += ty->weights[j] * row[tx->first + i];
            continue;
        }
        for (int32_t i = 0; i < tx->count; i++) {
            int32_t column = lb_edge_index(job->edge, tx->first + i, n);

            columns[i] += ty->weights[j] * (column < 0 ? 0.0f : row[column]);
        }
    }
    for (int32_t i = 0; i < tx->count; i++)
        sum += tx->weights[i] * columns[i];
    return sum;
}

/* No tap is inside. */
static inline bool is_far(const struct transform *job, double across, double down)
{
    lb_box in = lb_plane_box(job->in);
    double x = lb_filter_radius(job->filter) * job->width[0];
    double y = lb_filter_radius(job->filter) * job->width[1];

    return !(across > -x && down > -y && across < lb_box_width(in) - 1 + x &&
             down < lb_box_height(in) - 1 + y);
}

LB_CLONES
static void wide_row(const struct transform *job, int32_t y, float *scratch, float *out)
{
    lb_box box = lb_plane_box(job->out), in = lb_plane_box(job->in);
    size_t room_x = (size_t)job->room[0], room_y = (size_t)job->room[1];
    taps tx = {.weights = scratch}, ty = {.weights = scratch + room_x};
    float *spare = scratch + room_x + room_y; /* as long as the longer of them */

    for (int32_t x = box.x0; x < box.x1; x++) {
        double across, down;

        positions(job, in, x, y, 1, &across, &down);
        if (job->edge == LB_EDGE_TRANSPARENT && is_far(job, across, down)) {
            out[x - box.x0] = 0;
            continue;
        }
        find_wide_taps(job, 0, across, &tx);
        find_wide_taps(job, 1, down, &ty);
        fold_taps(job, lb_box_width(in), &tx, spare);
        fold_taps(job, lb_box_height(in), &ty, spare);
        out[x - box.x0] = wide_pixel(job, &tx, &ty, spare);
    }
}

static lb_status wide_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const struct transform *job = context;
    int32_t first = lb_plane_box(job->out).y0;
    float *scratch = lb_alloc(2 * ((size_t)job->room[0] + (size_t)job->room[1]), sizeof *scratch);

    (void)worker;
    if (!scratch)
        return LB_MEMORY;
    for (int32_t y = first + begin; y < first + end; y++)
        wide_row(job, y, scratch, lb_plane_row_to_fill(job->out, y));
    lb_free(scratch);
    return LB_OK;
}

/* ---- The choice ---- */

enum way { SHIFT, ALIGNED, WIDE_KERNEL, NARROW };

static enum way way_of(const struct transform *job)
{
    const double *m = job->m;

    if (is_shift(m, job->filter))
        return SHIFT;
    if (m[1] == 0 && m[3] == 0)
        return ALIGNED;
    return job->filter != LB_FILTER_NEAREST && (job->width[0] > 1 || job->width[1] > 1)
               ? WIDE_KERNEL
               : NARROW;
}

static lb_status run_one(lb_pool *pool, struct transform *job, enum way way, int32_t index)
{
    static const lb_range_fn rows[] = {shift_rows, aligned_rows, wide_rows};
    lb_status status;

    job->in = job->all[index];
    job->out = job->made[index];
    status = lb_pool_for(pool, lb_box_height(lb_plane_box(job->out)), GRAIN, rows[way], job);
    if (status == LB_OK && job->limited)
        status = lb_limit_transform(pool, job->in, job->m, job->edge, job->out);
    return status;
}

static lb_status run_all(lb_pool *pool, struct transform *job, enum way way)
{
    bool alone = !lb_gather_can_limit(job->filter) && job->limited;
    int32_t height = lb_box_height(lb_plane_box(job->made[0]));
    lb_status status = LB_OK;

    job->in = job->all[0];
    job->out = job->made[0];
    if (way == ALIGNED)
        status = make_columns(job);
    else if (way == WIDE_KERNEL)
        status = make_curve(job);
    if (status == LB_OK && way == NARROW) {
        job->limited = job->limited && !alone;
        status = lb_pool_for(pool, height, GRAIN, narrow_rows, job);
        for (int32_t p = 0; p < job->count && alone && status == LB_OK; p++)
            status = lb_limit_transform(pool, job->all[p], job->m, job->edge, job->made[p]);
        return status;
    }
    for (int32_t p = 0; p < job->count && status == LB_OK; p++)
        status = run_one(pool, job, way, p);
    return status;
}

lb_status lb_transform_planes(lb_pool *pool, int32_t count, const lb_plane *const *in,
                              const double m[6], lb_filter filter, lb_edge edge, bool limited,
                              lb_box box, lb_plane **out)
{
    struct transform job = {
        .count = count, .all = in, .made = out, .filter = filter, .edge = edge, .m = m};
    lb_status status = LB_OK;

    job.limited = limited && lb_filter_rings(filter);
    for (int32_t p = 0; p < count; p++)
        out[p] = NULL;
    for (int32_t p = 1; p < count; p++)
        if (!lb_box_equal(lb_plane_box(in[p]), lb_plane_box(in[0])))
            return LB_INVALID;
    for (int32_t p = 0; p < count && status == LB_OK; p++)
        status = lb_plane_new_raw(box, &out[p]);
    for (int axis = 0; axis < 2; axis++) {
        job.width[axis] = lb_gather_stretch(m[3 * axis], m[3 * axis + 1], MOST_WIDTH);
        job.room[axis] = most_taps(filter, job.width[axis]);
    }
    if (status == LB_OK && count > 0)
        status = run_all(pool, &job, way_of(&job));
    lb_free(job.curve);
    lb_free(job.columns);
    lb_free(job.weights);
    for (int32_t p = 0; p < count && status != LB_OK; p++)
        lb_plane_unref(&out[p]);
    return status;
}

size_t lb_transform_scratch(lb_box in, const double m[6], lb_filter filter, lb_box box,
                            int32_t threads)
{
    struct transform job = {.m = m, .filter = filter};
    size_t crew = threads > 0 ? (size_t)threads : 1, wide = (size_t)lb_box_width(box), rows, fixed;

    for (int axis = 0; axis < 2; axis++) {
        job.width[axis] = lb_gather_stretch(m[3 * axis], m[3 * axis + 1], MOST_WIDTH);
        job.room[axis] = most_taps(filter, job.width[axis]);
    }
    switch (way_of(&job)) {
    case ALIGNED: /* aligned_rows and make_columns, and the same of limit.c */
        rows = (size_t)(job.width[0] * (double)(wide + 4)) + PADDING;
        rows = 3 * (rows > (size_t)lb_box_width(in) ? rows : (size_t)lb_box_width(in)) + 2 * wide +
               (size_t)job.room[0] + 4 * (size_t)job.room[1];
        fixed = wide * (sizeof(taps) + (size_t)job.room[0] * sizeof(float) + 2 * sizeof(int32_t));
        return crew * (rows * sizeof(float) * 7 / 4 + 192) + fixed + 4096;
    case WIDE_KERNEL:
        rows = 2 * ((size_t)job.room[0] + (size_t)job.room[1]);
        return crew * (rows * sizeof(float) + 192) + 4 * PER_UNIT * sizeof(float) + 4096;
    default:
        return 4096;
    }
}

lb_status lb_transform_plane(lb_pool *pool, const lb_plane *in, const double m[6], lb_filter filter,
                             lb_edge edge, lb_box box, lb_plane **out)
{
    return lb_transform_planes(pool, 1, &in, m, filter, edge, false, box, out);
}
