/* engine/image/warp.c: displacement by a map. */
#include "engine/image/gather.h"

#define GRAIN 32

struct warp {
    int32_t count; /* planes */
    const lb_plane *const *in;
    const lb_plane *dx, *dy;
    lb_filter filter;
    lb_edge edge;
    lb_box box;
    lb_plane **out;
};

static lb_status warp_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const struct warp *job = context;
    lb_box box = job->box, in = lb_plane_box(job->in[0]);
    int32_t width = lb_box_width(box);
    lb_gather gather = {.filter = job->filter};

    (void)worker;
    /* Down a column of pieces: rows that neighbours share are still in the first cache. */
    for (int32_t x = 0; x < width; x += LB_GATHER_MOST) {
        int32_t n = width - x < LB_GATHER_MOST ? width - x : LB_GATHER_MOST;

        for (int32_t y = box.y0 + begin; y < box.y0 + end; y++) {
            const float *dx = lb_plane_row(job->dx, y) + (box.x0 - lb_plane_box(job->dx).x0);
            const float *dy = lb_plane_row(job->dy, y) + (box.x0 - lb_plane_box(job->dy).x0);

            lb_gather_moved(&gather, box.x0 + x - in.x0, y - in.y0, dx + x, dy + x, n);
            for (int32_t p = 0; p < job->count; p++)
                lb_gather_run(&gather, job->in[p], job->edge,
                              lb_plane_row_to_fill(job->out[p], y) + x);
        }
    }
    return LB_OK;
}

lb_status lb_warp_planes(lb_pool *pool, int32_t count, const lb_plane *const *in,
                         const lb_plane *dx, const lb_plane *dy, lb_filter filter, lb_edge edge,
                         lb_box box, lb_plane **out)
{
    struct warp job = {count, in, dx, dy, filter, edge, box, out};
    lb_status status = LB_OK;

    for (int32_t p = 0; p < count; p++)
        out[p] = NULL;
    if (!lb_box_contains(lb_plane_box(dx), box) || !lb_box_contains(lb_plane_box(dy), box))
        return LB_INVALID;
    for (int32_t p = 1; p < count; p++)
        if (!lb_box_equal(lb_plane_box(in[p]), lb_plane_box(in[0])))
            return LB_INVALID;
    for (int32_t p = 0; p < count && !status; p++)
        status = lb_plane_new_raw(box, &out[p]);
    if (!status && count > 0)
        status = lb_pool_for(pool, lb_box_height(box), GRAIN, warp_rows, &job);
    for (int32_t p = 0; p < count && status; p++)
        lb_plane_unref(&out[p]);
    return status;
}

lb_status lb_warp_plane(lb_pool *pool, const lb_plane *in, const lb_plane *dx, const lb_plane *dy,
                        lb_filter filter, lb_edge edge, lb_box box, lb_plane **out)
{
    return lb_warp_planes(pool, 1, &in, dx, dy, filter, edge, box, out);
}
