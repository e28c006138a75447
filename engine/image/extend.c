/* engine/image/extend.c */
#include "engine/image/extend.h"

#include <assert.h>
#include <string.h>

#define GRAIN 64

const char *const lb_edge_names[] = {"transparent", "clamp", "repeat", "mirror", NULL};

static int32_t floor_mod(int32_t i, int32_t n)
{
    int32_t rest = i % n;

    return rest < 0 ? rest + n : rest;
}

int32_t lb_edge_index(lb_edge edge, int32_t i, int32_t n)
{
    assert(n > 0);
    if (i >= 0 && i < n)
        return i;
    switch (edge) {
    case LB_EDGE_CLAMP:
        return i < 0 ? 0 : n - 1;
    case LB_EDGE_REPEAT:
        return floor_mod(i, n);
    case LB_EDGE_MIRROR:
        i = floor_mod(i, 2 * n);
        return i < n ? i : 2 * n - 1 - i;
    default:
        return -1;
    }
}

void lb_edge_row(lb_edge edge, const float *row, int32_t n, int32_t first, int32_t count,
                 float *out)
{
    int32_t i = 0, at;

    for (; i < count && (first + i < 0 || first + i >= n); i++) {
        at = lb_edge_index(edge, first + i, n);
        out[i] = at < 0 ? 0.0f : row[at];
    }
    if (i < count) {
        int32_t inside = n - (first + i) < count - i ? n - (first + i) : count - i;

        memcpy(out + i, row + first + i, (size_t)inside * sizeof *out);
        i += inside;
    }
    for (; i < count; i++) {
        at = lb_edge_index(edge, first + i, n);
        out[i] = at < 0 ? 0.0f : row[at];
    }
}

void lb_plane_copy_row(const lb_plane *in, lb_edge edge, int32_t y, int32_t x0, int32_t x1,
                       float *out)
{
    lb_box box = lb_plane_box(in);
    int32_t at = lb_edge_index(edge, y - box.y0, lb_box_height(box));

    if (at < 0)
        memset(out, 0, (size_t)(x1 - x0) * sizeof *out);
    else
        lb_edge_row(edge, lb_plane_row(in, box.y0 + at), lb_box_width(box), x0 - box.x0, x1 - x0,
                    out);
}

static void needs_along(lb_edge edge, int32_t in0, int32_t in1, int32_t *first, int32_t *last)
{
    if (edge == LB_EDGE_REPEAT || edge == LB_EDGE_MIRROR) {
        if (*first < in0 || *last > in1) {
            *first = in0;
            *last = in1;
        }
        return;
    }
    *first = *first < in0 ? in0 : *first >= in1 ? in1 - 1 : *first;
    *last = *last > in1 ? in1 : *last <= in0 ? in0 + 1 : *last;
}

lb_box lb_edge_needs(lb_edge edge, lb_box in, lb_box box)
{
    needs_along(edge, in.x0, in.x1, &box.x0, &box.x1);
    needs_along(edge, in.y0, in.y1, &box.y0, &box.y1);
    return box;
}

struct extension {
    const lb_plane *in;
    lb_edge edge;
    lb_plane *out;
};

static lb_status extend_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const struct extension *job = context;
    lb_box box = lb_plane_box(job->out);

    (void)worker;
    for (int32_t y = box.y0 + begin; y < box.y0 + end; y++)
        lb_plane_copy_row(job->in, job->edge, y, box.x0, box.x1, lb_plane_row_to_fill(job->out, y));
    return LB_OK;
}

lb_status lb_plane_extend(lb_pool *pool, const lb_plane *in, lb_edge edge, lb_box box,
                          lb_plane **out)
{
    struct extension job = {in, edge, NULL};
    lb_status status;

    *out = NULL;
    if (lb_box_contains(lb_plane_box(in), box)) {
        *out = lb_plane_ref(in);
        return LB_OK;
    }
    if ((status = lb_plane_new_raw(box, &job.out)))
        return status;
    if ((status = lb_pool_for(pool, lb_box_height(box), GRAIN, extend_rows, &job)))
        lb_plane_unref(&job.out);
    *out = job.out;
    return status;
}
