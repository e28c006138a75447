/* engine/image/defocus.c */
#include "engine/image/defocus.h"

#include <math.h>
#include <stdlib.h>

#include "engine/image/convolve.h"

#define GRAIN 8
#define MOST_RADIUS 512.0

int32_t lb_defocus_reach(double max_radius)
{
    return lb_disc_reach(fmin(max_radius, MOST_RADIUS)) + 1;
}

struct defocus {
    const lb_plane *const *in;
    const lb_plane *radius;
    double max_radius;
    lb_plane **out;
};

static double radius_at(const struct defocus *job, int32_t x, int32_t y)
{
    double r = (double)lb_plane_at(job->radius, x, y);

    return r == r ? fmin(fmax(r, -job->max_radius), job->max_radius) : 0;
}

static void gather(const struct defocus *job, int32_t x, int32_t y, double sums[4])
{
    lb_box in = lb_plane_box(job->in[0]);
    int32_t reach = lb_disc_reach(job->max_radius);
    double own = radius_at(job, x, y), total = 0;

    for (int32_t j = y - reach; j <= y + reach; j++)
        for (int32_t i = x - reach; i <= x + reach; i++) {
            double r = radius_at(job, i, j), spread = fabs(r), weight;

            if (r > own)
                spread = fmin(spread, fabs(own));
            spread = fmax(spread, 0.5);
            if (abs(i - x) > spread + 1 || abs(j - y) > spread + 1)
                continue;
            weight = lb_disc_weight(spread, i - x, j - y);
            total += weight;
            if (i < in.x0 || i >= in.x1 || j < in.y0 || j >= in.y1)
                continue;
            for (int c = 0; c < 4; c++)
                sums[c] += weight * (job->in[c] ? (double)lb_plane_at(job->in[c], i, j) : 1);
        }
    for (int c = 0; c < 4; c++)
        sums[c] /= total;
}

static lb_status defocus_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const struct defocus *job = context;
    lb_box box = lb_plane_box(job->out[0]);

    (void)worker;
    for (int32_t y = box.y0 + begin; y < box.y0 + end; y++)
        for (int32_t x = box.x0; x < box.x1; x++) {
            double sums[4] = {0};

            gather(job, x, y, sums);
            for (int c = 0; c < 4; c++)
                lb_plane_row_to_fill(job->out[c], y)[x - box.x0] = (float)sums[c];
        }
    return LB_OK;
}

lb_status lb_defocus(lb_pool *pool, const lb_plane *const in[4], const lb_plane *radius,
                     double max_radius, lb_box box, lb_plane *out[4])
{
    struct defocus job = {in, radius, fmin(fmax(max_radius, 0), MOST_RADIUS), out};
    lb_status status = LB_OK;

    for (int c = 0; c < 4; c++)
        out[c] = NULL;
    for (int c = 0; c < 4 && !status; c++)
        status = lb_plane_new_raw(box, &out[c]);
    if (!status)
        status = lb_pool_for(pool, lb_box_height(box), GRAIN, defocus_rows, &job);
    for (int c = 0; c < 4 && status; c++)
        lb_plane_unref(&out[c]);
    return status;
}
