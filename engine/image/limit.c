/* engine/image/limit.c */
#include "engine/image/limit.h"

#include <math.h>
#include <string.h>

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
};

/* The pixels of an axis, counted from the input's first, whose centres are nearer than `radius`. */
static void span_of(double x, double radius, int32_t first_pixel, int32_t *first, int32_t *last)
{
    *first = (int32_t)floor(x - 0.5 - radius) + 1 - first_pixel;
    *last = (int32_t)ceil(x - 0.5 + radius) - 1 - first_pixel;
}

static float limited(const struct limit *job, double x, double y, float value)
{
    lb_box box = lb_plane_box(job->in);
    float least = INFINITY, most = -INFINITY;
    int32_t x0, x1, y0, y1;

    if (!(fabs(x) <= 0x1p29 && fabs(y) <= 0x1p29)) /* nowhere near any plane */
        return value;
    span_of(x, job->radius[0], box.x0, &x0, &x1);
    span_of(y, job->radius[1], box.y0, &y0, &y1);
    for (int32_t j = y0; j <= y1; j++) {
        int32_t at = lb_edge_index(job->edge, j, lb_box_height(box));
        const float *row = at < 0 ? NULL : lb_plane_row(job->in, box.y0 + at);

        for (int32_t i = x0; i <= x1; i++) {
            int32_t column = i;
            float pixel;

            if (i < 0 || i >= lb_box_width(box))
                column = lb_edge_index(job->edge, i, lb_box_width(box));
            pixel = !row || column < 0 ? 0.0f : row[column];
            least = pixel < least ? pixel : least;
            most = pixel > most ? pixel : most;
        }
    }
    if (!(value >= least))
        return least <= most ? least : value;
    return value > most ? most : value;
}

static lb_status transform_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const struct limit *job = context;
    lb_box box = lb_plane_box(job->made);
    const double *m = job->m;

    (void)worker;
    for (int32_t y = box.y0 + begin; y < box.y0 + end; y++) {
        float *row = lb_plane_row_to_fill(job->made, y);

        for (int32_t x = box.x0; x < box.x1; x++)
            row[x - box.x0] = limited(job, m[0] * (x + 0.5) + m[1] * (y + 0.5) + m[2],
                                      m[3] * (x + 0.5) + m[4] * (y + 0.5) + m[5], row[x - box.x0]);
    }
    return LB_OK;
}

/* The same where no kernel is stretched: at most four pixels each, a piece of a row at a time. */
static lb_status narrow_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const struct limit *job = context;
    lb_box box = lb_plane_box(job->made), in = lb_plane_box(job->in);
    double across[LB_GATHER_MOST], down[LB_GATHER_MOST];
    lb_gather gather = {.filter = LB_FILTER_BILINEAR};
    const double *m = job->m;

    (void)worker;
    for (int32_t y = box.y0 + begin; y < box.y0 + end; y++)
        for (int32_t x = box.x0; x < box.x1; x += LB_GATHER_MOST) {
            int32_t n = box.x1 - x < LB_GATHER_MOST ? box.x1 - x : LB_GATHER_MOST;

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

    for (int axis = 0; axis < 2; axis++) {
        double length = sqrt(m[3 * axis] * m[3 * axis] + m[3 * axis + 1] * m[3 * axis + 1]);

        job.radius[axis] = length > 1 ? fmin(length, MOST_RADIUS) : 1;
    }
    return lb_pool_for(pool, lb_box_height(lb_plane_box(made)), GRAIN,
                       job.radius[0] > 1 || job.radius[1] > 1 ? transform_rows : narrow_rows, &job);
}

lb_status lb_limit_warp(lb_pool *pool, const lb_plane *in, const lb_plane *dx, const lb_plane *dy,
                        lb_edge edge, lb_plane *made)
{
    struct limit job = {in, NULL, dx, dy, edge, {1, 1}, made};

    return lb_pool_for(pool, lb_box_height(lb_plane_box(made)), GRAIN, warp_rows, &job);
}
