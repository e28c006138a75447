/* engine/image/limit.c */
#include "engine/image/limit.h"

#include <math.h>
#include <string.h>

#include "engine/base/clones.h"
#include "engine/image/extend.h"
#include "engine/image/gather.h"

#define GRAIN 16
#define MOST_RADIUS 4096.0

bool lb_filter_rings(lb_filter filter)
{
    return filter == LB_FILTER_CUBIC || filter == LB_FILTER_LANCZOS3 ||
           filter == LB_FILTER_MITCHELL;
}

struct limit {
    const lb_plane *in;
    const double *m; /* or */
    const lb_plane *dx, *dy;
    lb_edge edge;
    double radius[2]; /* of the main lobe along the input's axes */
    lb_plane *made;
    int32_t x0, x1;        /* columns of `in` that are needed, if axes stay axes */
    int32_t *first, *last; /* of each column of `made` */
};

#define FAR 0x1p28

/* The pixels of an axis whose centres are nearer to x than `radius`. */
static void span_of(double x, double radius, int32_t *first, int32_t *last)
{
    x = x > -FAR ? x < FAR ? x : FAR : -FAR; /* NaN too */
    *first = (int32_t)floor(x - 0.5 - radius) + 1;
    *last = (int32_t)ceil(x - 0.5 + radius) - 1;
}

static inline float between(float value, float least, float most)
{
    least = least <= most ? least : value; /* no pixel counts: the value stays */
    value = value >= least ? value : least;
    return value > most ? most : value;
}

/* ---- Any map that makes smaller: pixel by pixel ---- */

static float limited(const struct limit *job, double x, double y, float value)
{
    lb_box box = lb_plane_box(job->in);
    float least = INFINITY, most = -INFINITY;
    int32_t x0, x1, y0, y1;

    span_of(x, job->radius[0], &x0, &x1);
    span_of(y, job->radius[1], &y0, &y1);
    if (job->edge == LB_EDGE_TRANSPARENT) {
        if (x0 < box.x0 || y0 < box.y0 || x1 >= box.x1 || y1 >= box.y1)
            least = most = 0;
        x0 = x0 > box.x0 ? x0 : box.x0;
        y0 = y0 > box.y0 ? y0 : box.y0;
        x1 = x1 < box.x1 ? x1 : box.x1 - 1;
        y1 = y1 < box.y1 ? y1 : box.y1 - 1;
    }
    for (int32_t j = y0; j <= y1; j++) {
        int32_t at = lb_edge_index(job->edge, j - box.y0, lb_box_height(box));
        const float *row = lb_plane_row(job->in, box.y0 + at);

        for (int32_t i = x0; i <= x1; i++) {
            int32_t column = i - box.x0;
            float pixel;

            if (i < box.x0 || i >= box.x1)
                column = lb_edge_index(job->edge, column, lb_box_width(box));
            pixel = row[column];
            least = pixel < least ? pixel : least;
            most = pixel > most ? pixel : most;
        }
    }
    return between(value, least, most);
}

static lb_status wide_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const struct limit *job = context;
    lb_box box = lb_plane_box(job->made);
    const double *m = job->m;

    (void)worker;
    for (int32_t y = box.y0 + begin; y < box.y0 + end; y++) {
        float *row = lb_plane_row_to_fill(job->made, y);

        for (int32_t x = box.x0; x < box.x1; x++)
            row[x - box.x0] = limited(
                job, lb_gather_grid(m[0] * (x + 0.5) + m[1] * (y + 0.5) + m[2]),
                lb_gather_grid(m[3] * (x + 0.5) + m[4] * (y + 0.5) + m[5]), row[x - box.x0]);
    }
    return LB_OK;
}

/* ---- Axes stay axes: down the columns, then along the row ---- */

#define MOST_COLUMNS (1 << 22)

/* Where output column x is read, and from which column to which. */
static void column_span(const struct limit *job, int32_t x, int32_t *first, int32_t *last)
{
    span_of(lb_gather_grid(job->m[0] * (x + 0.5) + job->m[2]), job->radius[0], first, last);
}

LB_CLONES
static void widen_row(float *restrict least, float *restrict most, const float *restrict row,
                      int32_t count)
{
    for (int32_t x = 0; x < count; x++) {
        least[x] = row[x] < least[x] ? row[x] : least[x];
        most[x] = row[x] > most[x] ? row[x] : most[x];
    }
}

LB_CLONES
static void limit_row(float *restrict values, const float *restrict least,
                      const float *restrict most, int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        values[x] = between(values[x], least[x], most[x]);
}

/* Along the row: over each column's span. All spans are one, moved on, where the scale is 1. */
static void go_along(const struct limit *job, const float *least, const float *most, float *low,
                     float *high)
{
    int32_t width = lb_box_width(lb_plane_box(job->made));

    for (int32_t x = 0; x < width; x++)
        low[x] = INFINITY, high[x] = -INFINITY;
    if (job->m[0] == 1) {
        for (int32_t i = job->first[0]; i <= job->last[0]; i++) {
            widen_row(low, high, least + i, width);
            widen_row(low, high, most + i, width);
        }
        return;
    }
    for (int32_t x = 0; x < width; x++)
        for (int32_t i = job->first[x]; i <= job->last[x]; i++) {
            low[x] = least[i] < low[x] ? least[i] : low[x];
            high[x] = most[i] > high[x] ? most[i] : high[x];
        }
}

static lb_status aligned_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const struct limit *job = context;
    lb_box box = lb_plane_box(job->made);
    int32_t width = lb_box_width(box), inner = job->x1 - job->x0, y0, y1;
    float *scratch = lb_block_new((3 * (size_t)inner + 2 * (size_t)width) * sizeof *scratch);
    float *least = scratch, *most = scratch + inner, *row = most + inner;
    float *low = row + inner, *high = low + width;

    (void)worker;
    if (!scratch)
        return LB_MEMORY;
    for (int32_t y = box.y0 + begin; y < box.y0 + end; y++) {
        span_of(lb_gather_grid(job->m[4] * (y + 0.5) + job->m[5]), job->radius[1], &y0, &y1);
        for (int32_t x = 0; x < inner; x++)
            least[x] = INFINITY, most[x] = -INFINITY;
        for (int32_t j = y0; j <= y1; j++) {
            lb_plane_copy_row(job->in, job->edge, j, job->x0, job->x1, row);
            widen_row(least, most, row, inner);
        }
        go_along(job, least, most, low, high);
        limit_row(lb_plane_row_to_fill(job->made, y), low, high, width);
    }
    lb_block_free(scratch);
    return LB_OK;
}

/* Finds the columns that are needed, and the span of each output column from the first of them.
 * *out: whether this way is worth while. */
static lb_status find_columns(struct limit *job, bool *out)
{
    lb_box box = lb_plane_box(job->made);
    size_t width = (size_t)lb_box_width(box);
    int32_t a0, a1, b0, b1;

    *out = false;
    if (job->m[1] != 0 || job->m[3] != 0)
        return LB_OK;
    column_span(job, box.x0, &a0, &a1);
    column_span(job, box.x1 - 1, &b0, &b1);
    job->x0 = a0 < b0 ? a0 : b0;
    job->x1 = (a1 > b1 ? a1 : b1) + 1;
    if (job->x1 <= job->x0 || job->x1 - job->x0 > MOST_COLUMNS)
        return LB_OK;
    job->first = lb_alloc(width, sizeof *job->first);
    job->last = lb_alloc(width, sizeof *job->last);
    if (!job->first || !job->last)
        return LB_MEMORY;
    for (size_t x = 0; x < width; x++) {
        column_span(job, box.x0 + (int32_t)x, &job->first[x], &job->last[x]);
        job->first[x] -= job->x0;
        job->last[x] -= job->x0;
    }
    *out = true;
    return LB_OK;
}

/* ---- Any map, no kernel stretched ---- */

/* At most four pixels each, a piece of a row at a time; down a column of pieces, so that rows which
 * neighbours share are still in the first cache. */
static lb_status narrow_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const struct limit *job = context;
    lb_box box = lb_plane_box(job->made), in = lb_plane_box(job->in);
    double across[LB_GATHER_MOST], down[LB_GATHER_MOST];
    lb_gather gather = {.filter = LB_FILTER_BILINEAR};
    const double *m = job->m;

    (void)worker;
    for (int32_t x = box.x0; x < box.x1; x += LB_GATHER_MOST) {
        int32_t n = box.x1 - x < LB_GATHER_MOST ? box.x1 - x : LB_GATHER_MOST;

        for (int32_t y = box.y0 + begin; y < box.y0 + end; y++) {
            for (int32_t i = 0; i < n; i++) {
                across[i] =
                    lb_gather_grid(m[0] * (x + i + 0.5) + m[1] * (y + 0.5) + m[2]) - in.x0 - 0.5;
                down[i] =
                    lb_gather_grid(m[3] * (x + i + 0.5) + m[4] * (y + 0.5) + m[5]) - in.y0 - 0.5;
            }
            lb_gather_at(&gather, across, down, n);
            lb_gather_limit(&gather, job->in, job->edge,
                            lb_plane_row_to_fill(job->made, y) + (x - box.x0));
        }
    }
    return LB_OK;
}

static lb_status warp_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const struct limit *job = context;
    lb_box box = lb_plane_box(job->made), in = lb_plane_box(job->in);
    lb_gather gather = {.filter = LB_FILTER_BILINEAR};
    float values[LB_GATHER_MOST];

    (void)worker;
    for (int32_t y = box.y0 + begin; y < box.y0 + end; y++) {
        const float *dx = lb_plane_row(job->dx, y) + (box.x0 - lb_plane_box(job->dx).x0);
        const float *dy = lb_plane_row(job->dy, y) + (box.x0 - lb_plane_box(job->dy).x0);
        float *row = lb_plane_row_to_fill(job->made, y);

        for (int32_t x = 0; x < box.x1 - box.x0; x += LB_GATHER_MOST) {
            int32_t n = box.x1 - box.x0 - x;

            n = n < LB_GATHER_MOST ? n : LB_GATHER_MOST;
            lb_gather_moved(&gather, box.x0 + x - in.x0, y - in.y0, dx + x, dy + x, n);
            memcpy(values, row + x, (size_t)n * sizeof *values);
            lb_gather_limit(&gather, job->in, job->edge, values);
            /* Where nothing moves it is the pixel itself, or smoothed without ringing. */
            for (int32_t i = 0; i < n; i++)
                row[x + i] = dx[x + i] != 0 || dy[x + i] != 0 ? values[i] : row[x + i];
        }
    }
    return LB_OK;
}

lb_status lb_limit_transform(lb_pool *pool, const lb_plane *in, const double m[6], lb_edge edge,
                             lb_plane *made)
{
    struct limit job = {.in = in, .m = m, .edge = edge, .made = made};
    lb_range_fn rows = narrow_rows;
    lb_status status;
    bool aligned;

    for (int axis = 0; axis < 2; axis++)
        job.radius[axis] = lb_gather_stretch(m[3 * axis], m[3 * axis + 1], MOST_RADIUS);
    status = find_columns(&job, &aligned);
    if (aligned)
        rows = aligned_rows;
    else if (job.radius[0] > 1 || job.radius[1] > 1)
        rows = wide_rows;
    if (status == LB_OK)
        status = lb_pool_for(pool, lb_box_height(lb_plane_box(made)), GRAIN, rows, &job);
    lb_free(job.first);
    lb_free(job.last);
    return status;
}

lb_status lb_limit_warp(lb_pool *pool, const lb_plane *in, const lb_plane *dx, const lb_plane *dy,
                        lb_edge edge, lb_plane *made)
{
    struct limit job = {.in = in, .dx = dx, .dy = dy, .edge = edge, .made = made};

    return lb_pool_for(pool, lb_box_height(lb_plane_box(made)), GRAIN, warp_rows, &job);
}
