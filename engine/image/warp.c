/* engine/image/warp.c: displacement by a map. */
#include "engine/image/gather.h"
#include "engine/image/limit.h"

#define GRAIN 32

struct warp {
    int32_t count; /* planes */
    const lb_plane *const *in;
    const lb_plane *dx, *dy;
    lb_filter filter;
    bool limited;
    lb_edge edge;
    lb_box box;
    lb_plane **out;
};

static void run_planes(const struct warp *job, const lb_gather *gather, int32_t first, int32_t x,
                       int32_t y)
{
    int32_t n = job->count - first < LB_GATHER_PLANES ? job->count - first : LB_GATHER_PLANES;
    float *out[LB_GATHER_PLANES];

    for (int32_t p = 0; p < n; p++)
        out[p] = lb_plane_row_to_fill(job->out[first + p], y) + x;
    lb_gather_run(gather, n, job->in + first, job->edge, out);
}

static lb_status warp_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const struct warp *job = context;
    lb_box box = job->box, in = lb_plane_box(job->in[0]);
    int32_t width = lb_box_width(box);
    lb_gather gather = {.filter = job->filter, .limited = job->limited};

    (void)worker;
    for (int32_t y = box.y0 + begin; y < box.y0 + end; y++) {
        const float *dx = lb_plane_row(job->dx, y) + (box.x0 - lb_plane_box(job->dx).x0);
        const float *dy = lb_plane_row(job->dy, y) + (box.x0 - lb_plane_box(job->dy).x0);

        for (int32_t x = 0; x < width; x += LB_GATHER_MOST) {
            int32_t n = width - x < LB_GATHER_MOST ? width - x : LB_GATHER_MOST;

            lb_gather_moved(&gather, box.x0 + x - in.x0, y - in.y0, dx + x, dy + x, n);
            for (int32_t p = 0; p < job->count; p += LB_GATHER_PLANES)
                run_planes(job, &gather, p, x, y);
        }
    }
    return LB_OK;
}

static lb_status run(lb_pool *pool, struct warp *job)
{
    lb_status status = LB_OK;

    for (int32_t p = 0; p < job->count; p++)
        job->out[p] = NULL;
    if (!lb_box_contains(lb_plane_box(job->dx), job->box) ||
        !lb_box_contains(lb_plane_box(job->dy), job->box))
        return LB_INVALID;
    for (int32_t p = 1; p < job->count; p++)
        if (!lb_box_equal(lb_plane_box(job->in[p]), lb_plane_box(job->in[0])))
            return LB_INVALID;
    for (int32_t p = 0; p < job->count && !status; p++)
        status = lb_plane_new_raw(job->box, &job->out[p]);
    if (!status && job->count > 0)
        status = lb_pool_for(pool, lb_box_height(job->box), GRAIN, warp_rows, job);
    return status;
}

static lb_status drop_unless(lb_status status, int32_t count, lb_plane **out)
{
    for (int32_t p = 0; p < count && status; p++)
        lb_plane_unref(&out[p]);
    return status;
}

lb_status lb_warp_planes(lb_pool *pool, int32_t count, const lb_plane *const *in,
                         const lb_plane *dx, const lb_plane *dy, lb_filter filter, lb_edge edge,
                         lb_box box, lb_plane **out)
{
    struct warp job = {count, in, dx, dy, filter, false, edge, box, out};

    return drop_unless(run(pool, &job), count, out);
}

lb_status lb_warp_planes_limited(lb_pool *pool, int32_t count, const lb_plane *const *in,
                                 const lb_plane *dx, const lb_plane *dy, lb_filter filter,
                                 lb_edge edge, lb_box box, lb_plane **out)
{
    bool together = lb_gather_can_limit(filter);
    struct warp job = {count, in, dx, dy, filter, together, edge, box, out};
    lb_status status = run(pool, &job);

    if (!together && lb_filter_rings(filter))
        for (int32_t p = 0; p < count && !status; p++)
            status = lb_limit_warp(pool, in[p], dx, dy, edge, out[p]);
    return drop_unless(status, count, out);
}

lb_status lb_warp_plane(lb_pool *pool, const lb_plane *in, const lb_plane *dx, const lb_plane *dy,
                        lb_filter filter, lb_edge edge, lb_box box, lb_plane **out)
{
    return lb_warp_planes(pool, 1, &in, dx, dy, filter, edge, box, out);
}
