/* engine/image/gaussian.c */
#include <math.h>
#include <string.h>

#include "engine/base/math.h"
#include "engine/image/convolve.h"
#include "engine/image/extend.h"
#include "engine/image/pairs.h"

#define GRAIN 32
/* Where the kernel ends, in sigmas: there it is 3.7e-6 of its peak. */
#define CUT 5.0
#define MOST_RADIUS (1 << 16)

static int32_t radius_of(double sigma)
{
    return sigma > 0 ? (int32_t)fmin(ceil(CUT * sigma), MOST_RADIUS) : 0;
}

int32_t lb_gaussian_reach(double sigma)
{
    return radius_of(sigma);
}

/* Half of the point-sampled kernel, normalised: weights[0 .. radius]; lb_free. NULL: no memory. */
static float *kernel_new(double sigma, int32_t radius)
{
    float *weights = lb_alloc((size_t)radius + 1, sizeof *weights);
    double sum = 1;

    if (!weights)
        return NULL;
    for (int32_t k = 1; k <= radius; k++)
        sum += 2 * lb_exp(-0.5 * (k / sigma) * (k / sigma));
    weights[0] = (float)(1 / sum);
    for (int32_t k = 1; k <= radius; k++)
        weights[k] = (float)(lb_exp(-0.5 * (k / sigma) * (k / sigma)) / sum);
    return weights;
}

struct direct {
    const lb_plane *in;
    lb_edge edge;
    int32_t radius[2];
    float *weights[2];
    int32_t x0, x1; /* the columns of `in` that are needed */
    lb_plane *out;
};

/* The part of in's columns that first .. last - 1 stand on by the edge rule. */
static void columns_needed(lb_edge edge, lb_box in, int32_t first, int32_t last, int32_t *x0,
                           int32_t *x1)
{
    if (edge == LB_EDGE_REPEAT || edge == LB_EDGE_MIRROR) {
        bool inside = first >= in.x0 && last <= in.x1;

        *x0 = inside ? first : in.x0;
        *x1 = inside ? last : in.x1;
        return;
    }
    *x0 = first < in.x0 ? in.x0 : first >= in.x1 ? in.x1 - 1 : first;
    *x1 = last > in.x1 ? in.x1 : last <= in.x0 ? in.x0 + 1 : last;
}

static const float *row_at(const struct direct *job, int32_t y, const float *zeros)
{
    lb_box box = lb_plane_box(job->in);
    int32_t at = lb_edge_index(job->edge, y - box.y0, lb_box_height(box));

    return at < 0 ? zeros : lb_plane_row(job->in, box.y0 + at) + (job->x0 - box.x0);
}

static lb_status direct_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const struct direct *job = context;
    lb_box box = lb_plane_box(job->out);
    int32_t width = lb_box_width(box), inner = job->x1 - job->x0, wide = width + 2 * job->radius[0];
    int32_t reach = job->radius[1];
    size_t stride = ((size_t)inner + 15) / 16 * 16;
    float *scratch = lb_block_new((2 * stride + (size_t)wide) * sizeof *scratch);
    const float **rows = lb_alloc(2 * ((size_t)reach + 1), sizeof *rows);
    float *zeros = scratch, *mixed = scratch + stride, *extended = scratch + 2 * stride;

    (void)worker;
    if (!scratch || !rows) {
        lb_block_free(scratch);
        lb_free(rows);
        return LB_MEMORY;
    }
    memset(zeros, 0, (size_t)inner * sizeof *zeros);
    for (int32_t y = box.y0 + begin; y < box.y0 + end; y++) {
        const float **before = rows, **after = rows + reach + 1;

        for (int32_t k = 0; k <= reach; k++) {
            before[k] = row_at(job, y - k, zeros);
            after[k] = row_at(job, y + k, zeros);
        }
        lb_pairs_rows(mixed, before[0], before, after, job->weights[1], reach, inner);
        lb_edge_row(job->edge, mixed, inner, box.x0 - job->radius[0] - job->x0, wide, extended);
        lb_pairs_along(lb_plane_row_to_fill(job->out, y), extended + job->radius[0],
                       job->weights[0], job->radius[0], width);
    }
    lb_block_free(scratch);
    lb_free(rows);
    return LB_OK;
}

lb_status lb_convolve_gaussian(lb_pool *pool, const lb_plane *in, const double sigma[2],
                               lb_edge edge, lb_box box, lb_plane **out)
{
    struct direct job = {.in = in, .edge = edge};
    lb_status status = LB_OK;

    *out = NULL;
    for (int axis = 0; axis < 2; axis++) {
        job.radius[axis] = radius_of(sigma[axis]);
        if (!(job.weights[axis] = kernel_new(sigma[axis], job.radius[axis])))
            status = LB_MEMORY;
    }
    columns_needed(edge, lb_plane_box(in), box.x0 - job.radius[0], box.x1 + job.radius[0], &job.x0,
                   &job.x1);
    if (!status && !(status = lb_plane_new_raw(box, &job.out)) &&
        (status = lb_pool_for(pool, lb_box_height(box), GRAIN, direct_rows, &job)))
        lb_plane_unref(&job.out);
    lb_free(job.weights[0]);
    lb_free(job.weights[1]);
    *out = job.out;
    return status;
}
