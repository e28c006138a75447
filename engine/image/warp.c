/* engine/image/warp.c: displacement by a map. */
#include <math.h>

#include "engine/image/sample.h"

#define GRAIN 16

struct warp {
    const lb_plane *in, *dx, *dy;
    lb_filter filter;
    lb_edge edge;
    lb_plane *out;
};

static lb_status warp_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const struct warp *job = context;
    lb_box box = lb_plane_box(job->out);

    (void)worker;
    for (int32_t y = box.y0 + begin; y < box.y0 + end; y++) {
        const float *dx = lb_plane_row(job->dx, y) + (box.x0 - lb_plane_box(job->dx).x0);
        const float *dy = lb_plane_row(job->dy, y) + (box.x0 - lb_plane_box(job->dy).x0);
        float *out = lb_plane_row_to_fill(job->out, y);

        for (int32_t x = 0; x < box.x1 - box.x0; x++)
            out[x] = lb_sample(job->in, box.x0 + x + 0.5 + (double)dx[x], y + 0.5 + (double)dy[x],
                               job->filter, job->edge);
    }
    return LB_OK;
}

lb_status lb_warp_plane(lb_pool *pool, const lb_plane *in, const lb_plane *dx, const lb_plane *dy,
                        lb_filter filter, lb_edge edge, lb_box box, lb_plane **out)
{
    struct warp job = {in, dx, dy, filter, edge, NULL};
    lb_status status;

    *out = NULL;
    if (!lb_box_contains(lb_plane_box(dx), box) || !lb_box_contains(lb_plane_box(dy), box))
        return LB_INVALID;
    if ((status = lb_plane_new_raw(box, &job.out)))
        return status;
    if ((status = lb_pool_for(pool, lb_box_height(box), GRAIN, warp_rows, &job)))
        lb_plane_unref(&job.out);
    *out = job.out;
    return status;
}
