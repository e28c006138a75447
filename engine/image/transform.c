/* engine/image/transform.c: affine maps.
 *
 * Where the axes stay axes the picture is resampled along x, then along y, with weights kept for
 * each column and row. Else every pixel takes its own taps. Either way the kernel is as wide, along
 * each axis of the input, as an output pixel is there (at least one pixel), and a weight depends on
 * the pixel's own coordinates only. */
#include <math.h>
#include <string.h>

#include "engine/base/clones.h"
#include "engine/base/math.h"
#include "engine/image/extend.h"

#define GRAIN 16
#define MOST_WIDTH 4096.0 /* a kernel is never stretched more than this */

/* Taps of one output position along one axis. */
typedef struct taps {
    int32_t first, count;
    float *weights;
} taps;

static int32_t most_taps(lb_filter filter, double width)
{
    return filter == LB_FILTER_NEAREST ? 1
                                       : (int32_t)ceil(2 * lb_filter_radius(filter) * width) + 1;
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
    const lb_plane *in;
    const double *m;
    lb_filter filter;
    lb_edge edge;
    double width[2]; /* of the kernel along the input's axes */
    int32_t room[2]; /* most taps along them */
    lb_plane *out;
    taps *columns; /* axis-aligned: of every column of `out` */
    float *weights;
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
    return scale * (i + 0.5) + offset - first;
}

/* One row of the input at the output's columns. */
static void resample_row(const struct transform *job, const float *row, int32_t n, float *out,
                         int32_t count)
{
    for (int32_t x = 0; x < count; x++) {
        const taps *t = &job->columns[x];
        float sum = 0;

        if (t->first >= 0 && t->first + t->count <= n) {
            for (int32_t i = 0; i < t->count; i++)
                sum += t->weights[i] == 0 ? 0.0f : t->weights[i] * row[t->first + i];
        } else {
            for (int32_t i = 0; i < t->count; i++) {
                int32_t at = lb_edge_index(job->edge, t->first + i, n);

                sum += at < 0 || t->weights[i] == 0 ? 0.0f : t->weights[i] * row[at];
            }
        }
        out[x] = sum;
    }
}

LB_CLONES
static void add_scaled(float *restrict out, const float *restrict in, float weight, int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        out[x] += weight * in[x];
}

/* The rows of the input that a piece needs, resampled once each and kept by their number. */
struct kept {
    float *rows;
    size_t stride;
    int32_t room;
    int32_t *numbers; /* which row stands in slot i; -1: none */
};

static const float *kept_row(const struct transform *job, struct kept *kept, int32_t number,
                             int32_t count)
{
    lb_box in = lb_plane_box(job->in);
    int32_t slot = number % kept->room;
    float *row = kept->rows + (size_t)slot * kept->stride;

    if (kept->numbers[slot] != number) {
        resample_row(job, lb_plane_row(job->in, in.y0 + number), lb_box_width(in), row, count);
        kept->numbers[slot] = number;
    }
    return row;
}

static lb_status aligned_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const struct transform *job = context;
    lb_box box = lb_plane_box(job->out), in = lb_plane_box(job->in);
    int32_t count = lb_box_width(box);
    struct kept kept = {.stride = ((size_t)count + 15) / 16 * 16, .room = job->room[1] + 1};
    taps vertical = {.weights = lb_alloc((size_t)job->room[1], sizeof(float))};
    lb_status status = LB_MEMORY;

    (void)worker;
    kept.rows = lb_block_new((size_t)kept.room * kept.stride * sizeof *kept.rows);
    kept.numbers = lb_alloc((size_t)kept.room, sizeof *kept.numbers);
    if (!vertical.weights || !kept.rows || !kept.numbers)
        goto done;
    for (int32_t i = 0; i < kept.room; i++)
        kept.numbers[i] = -1;
    for (int32_t y = box.y0 + begin; y < box.y0 + end; y++) {
        float *out = lb_plane_row_to_fill(job->out, y);

        find_taps(job->filter, job->width[1], along(job->m[4], job->m[5], y, in.y0), &vertical);
        memset(out, 0, (size_t)count * sizeof *out);
        for (int32_t i = 0; i < vertical.count; i++) {
            int32_t at = lb_edge_index(job->edge, vertical.first + i, lb_box_height(in));

            if (at >= 0 && vertical.weights[i] != 0)
                add_scaled(out, kept_row(job, &kept, at, count), vertical.weights[i], count);
        }
    }
    status = LB_OK;
done:
    lb_free(vertical.weights);
    lb_block_free(kept.rows);
    lb_free(kept.numbers);
    return status;
}

static lb_status make_columns(struct transform *job)
{
    lb_box box = lb_plane_box(job->out), in = lb_plane_box(job->in);
    size_t count = (size_t)lb_box_width(box), room;

    if (!lb_size_mul(count, (size_t)job->room[0], &room))
        return LB_LIMIT;
    job->columns = lb_alloc(count, sizeof *job->columns);
    job->weights = lb_alloc(room, sizeof *job->weights);
    if (!job->columns || !job->weights)
        return LB_MEMORY;
    for (size_t x = 0; x < count; x++) {
        job->columns[x].weights = job->weights + x * (size_t)job->room[0];
        find_taps(job->filter, job->width[0],
                  along(job->m[0], job->m[2], box.x0 + (int32_t)x, in.x0), &job->columns[x]);
    }
    return LB_OK;
}

/* ---- Any map ---- */

static float pixel_at(const struct transform *job, const taps *tx, const taps *ty)
{
    lb_box in = lb_plane_box(job->in);
    int32_t n = lb_box_width(in);
    bool inside = tx->first >= 0 && tx->first + tx->count <= n;
    float sum = 0;

    for (int32_t j = 0; j < ty->count; j++) {
        int32_t at = lb_edge_index(job->edge, ty->first + j, lb_box_height(in));
        const float *row;
        float across = 0;

        if (at < 0 || ty->weights[j] == 0)
            continue;
        row = lb_plane_row(job->in, in.y0 + at);
        for (int32_t i = 0; i < tx->count; i++) {
            int32_t column = tx->first + i;

            if (!inside)
                column = lb_edge_index(job->edge, column, n);
            if (column >= 0 && tx->weights[i] != 0)
                across += tx->weights[i] * row[column];
        }
        sum += ty->weights[j] * across;
    }
    return sum;
}

static lb_status general_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const struct transform *job = context;
    lb_box box = lb_plane_box(job->out), in = lb_plane_box(job->in);
    const double *m = job->m;
    taps tx = {.weights = lb_alloc((size_t)job->room[0], sizeof(float))};
    taps ty = {.weights = lb_alloc((size_t)job->room[1], sizeof(float))};

    (void)worker;
    if (tx.weights && ty.weights) {
        for (int32_t y = box.y0 + begin; y < box.y0 + end; y++) {
            float *out = lb_plane_row_to_fill(job->out, y);

            for (int32_t x = box.x0; x < box.x1; x++) {
                double across = m[0] * (x + 0.5) + m[1] * (y + 0.5) + m[2] - in.x0;
                double down = m[3] * (x + 0.5) + m[4] * (y + 0.5) + m[5] - in.y0;

                find_taps(job->filter, job->width[0], across, &tx);
                find_taps(job->filter, job->width[1], down, &ty);
                out[x - box.x0] = pixel_at(job, &tx, &ty);
            }
        }
    }
    lb_free(tx.weights);
    lb_free(ty.weights);
    return tx.weights && ty.weights ? LB_OK : LB_MEMORY;
}

lb_status lb_transform_plane(lb_pool *pool, const lb_plane *in, const double m[6], lb_filter filter,
                             lb_edge edge, lb_box box, lb_plane **out)
{
    struct transform job = {.in = in, .m = m, .filter = filter, .edge = edge};
    lb_range_fn rows = general_rows;
    lb_status status;

    *out = NULL;
    if ((status = lb_plane_new_raw(box, &job.out)))
        return status;
    for (int axis = 0; axis < 2; axis++) {
        double length = sqrt(m[3 * axis] * m[3 * axis] + m[3 * axis + 1] * m[3 * axis + 1]);

        job.width[axis] = length > 1 ? fmin(length, MOST_WIDTH) : 1;
        job.room[axis] = most_taps(filter, job.width[axis]);
    }
    if (is_shift(m, filter)) {
        rows = shift_rows;
    } else if (m[1] == 0 && m[3] == 0) {
        rows = aligned_rows;
        status = make_columns(&job);
    }
    if (!status)
        status = lb_pool_for(pool, lb_box_height(box), GRAIN, rows, &job);
    lb_free(job.columns);
    lb_free(job.weights);
    if (status)
        lb_plane_unref(&job.out);
    *out = job.out;
    return status;
}
