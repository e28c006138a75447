/* engine/image/similarity.c
 *
 * The window is a product of two rows of weights, so means are taken down the columns first and
 * then along the row. Sums are double: the covariances are differences of means of products that
 * are nearly equal. */
#include "engine/image/similarity.h"

#include <math.h>

#include "engine/base/clones.h"
#include "engine/base/math.h"

#define REACH (LB_SIMILARITY_SIDE / 2)
#define ROWS 16 /* a piece of the loop */

enum { MEAN_A, MEAN_B, SQUARES, PRODUCTS, MOMENTS };

typedef struct job {
    const lb_plane *a, *b;
    lb_box inside; /* where the whole window is in the box */
    double weights[LB_SIMILARITY_SIDE];
    double *sums; /* of the rows */
} job;

static void set_weights(double weights[LB_SIMILARITY_SIDE])
{
    double sum = 0;

    for (int i = 0; i < LB_SIMILARITY_SIDE; i++) {
        weights[i] = lb_exp(-(double)((i - REACH) * (i - REACH)) / (2 * 1.5 * 1.5));
        sum += weights[i];
    }
    for (int i = 0; i < LB_SIMILARITY_SIDE; i++)
        weights[i] /= sum;
}

/* Adds a row of both planes to the moments of the columns. */
LB_CLONES
static void add_row(double *restrict mean_a, double *restrict mean_b, double *restrict squares,
                    double *restrict products, const float *restrict a, const float *restrict b,
                    double weight, int32_t count)
{
    for (int32_t x = 0; x < count; x++) {
        double u = (double)a[x], v = (double)b[x];

        mean_a[x] += weight * u;
        mean_b[x] += weight * v;
        squares[x] += weight * (u * u + v * v);
        products[x] += weight * (u * v);
    }
}

/* Moments of windows out of those of columns; `out` may not be `columns`. */
LB_CLONES
static void along_row(double *restrict out, const double *restrict columns,
                      const double *restrict weights, int32_t count)
{
    for (int32_t x = 0; x < count; x++) {
        double sum = 0;

        for (int k = 0; k < LB_SIMILARITY_SIDE; k++)
            sum += weights[k] * columns[x + k];
        out[x] = sum;
    }
}

/* Equation 13; both variances appear only as their sum. */
LB_CLONES
static void compare_windows(double *restrict out, const double *restrict mean_a,
                            const double *restrict mean_b, const double *restrict squares,
                            const double *restrict products, int32_t count)
{
    const double c1 = 0.01 * 0.01, c2 = 0.03 * 0.03;

    for (int32_t x = 0; x < count; x++) {
        double product = mean_a[x] * mean_b[x];
        double square = mean_a[x] * mean_a[x] + mean_b[x] * mean_b[x];

        out[x] = (2 * product + c1) * (2 * (products[x] - product) + c2) /
                 ((square + c1) * (squares[x] - square + c2));
    }
}

static double row_sum(const job *j, int32_t y, double *scratch)
{
    int32_t width = lb_box_width(lb_plane_box(j->a)), count = lb_box_width(j->inside);
    double *columns[MOMENTS], *windows[MOMENTS], sum = 0;

    for (int m = 0; m < MOMENTS; m++) {
        columns[m] = scratch + (size_t)m * (size_t)width;
        windows[m] = scratch + (size_t)(MOMENTS + m) * (size_t)width;
        for (int32_t x = 0; x < width; x++)
            columns[m][x] = 0;
    }
    for (int k = 0; k < LB_SIMILARITY_SIDE; k++)
        add_row(columns[MEAN_A], columns[MEAN_B], columns[SQUARES], columns[PRODUCTS],
                lb_plane_row(j->a, y - REACH + k), lb_plane_row(j->b, y - REACH + k), j->weights[k],
                width);
    for (int m = 0; m < MOMENTS; m++)
        along_row(windows[m], columns[m], j->weights, count);
    compare_windows(columns[0], windows[MEAN_A], windows[MEAN_B], windows[SQUARES],
                    windows[PRODUCTS], count);
    for (int32_t x = 0; x < count; x++)
        sum += columns[0][x];
    return sum;
}

static lb_status do_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const job *j = context;
    double *scratch =
        lb_alloc((size_t)lb_box_width(lb_plane_box(j->a)), (size_t)(2 * MOMENTS) * sizeof(double));

    (void)worker;
    if (!scratch)
        return LB_MEMORY;
    for (int32_t y = begin; y < end; y++)
        j->sums[y] = row_sum(j, j->inside.y0 + y, scratch);
    lb_free(scratch);
    return LB_OK;
}

lb_status lb_similarity(lb_pool *pool, const lb_plane *a, const lb_plane *b, double *out)
{
    lb_box box = lb_plane_box(a);
    job j = {.a = a, .b = b, .inside = lb_box_normal(lb_box_grow(box, -REACH, -REACH))};
    int32_t rows = lb_box_height(j.inside);
    double sum = 0;
    lb_status status;

    *out = (double)NAN;
    if (rows == 0)
        return LB_OK;
    if (!(j.sums = lb_alloc((size_t)rows, sizeof *j.sums)))
        return LB_MEMORY;
    set_weights(j.weights);
    status = lb_pool_for(pool, rows, ROWS, do_rows, &j);
    for (int32_t y = 0; y < rows; y++)
        sum += j.sums[y];
    if (status == LB_OK)
        *out = sum / ((double)rows * lb_box_width(j.inside));
    lb_free(j.sums);
    return status;
}
