/* engine/media/exr_chroma.c: OpenEXR's luminance and chroma to R, G, B.
 *
 * RY = (R - Y) / Y, BY = (B - Y) / Y, Y = wr R + wg G + wb B with the weights of the file's
 * chromaticities ("Technical Introduction to OpenEXR", luminance/chroma images). Chroma has a
 * sample at every second pixel of every second row. What lies between is found by the half-band
 * filter of 27 taps that the OpenEXR library uses in both directions, rows first (the figures are
 * those of its reference decoder, ImfRgbaYca), so that what a writer thinned out comes back
 * undisturbed; beyond the edges the last sample goes on. */
#include <string.h>

#include "engine/base/clones.h"
#include "engine/media/exr.h"

#define ROWS_A_PIECE 16
#define TAPS 7 /* on each side: pixels 1, 3, 5 ... 13 away */

static const float weights[TAPS] = {0.627123f, -0.186077f, 0.087929f, -0.043159f,
                                    0.019597f, -0.007540f, 0.002128f};

typedef struct chroma_job {
    lb_box data;
    const lb_plane *in[2]; /* RY, BY: at every second pixel and row, or at all */
    lb_plane *wide[2];     /* all pixels of every second row */
    lb_plane *out[2];      /* R, B */
    lb_plane *y;
    float weight[3]; /* of R, G, B in Y */
} chroma_job;

/* The luminance weights: XYZ of the primaries scaled so that they sum to the white's, SMPTE RP 177
 * (1993); solved for by Cramer's rule. False: the primaries lie on a line. */
static bool luminance_of(const lb_primaries *p, double w[3])
{
    const double *points[3] = {p->red, p->green, p->blue};
    double m[3][3], white[3], determinant;

    if (p->white[1] == 0)
        return false;
    white[0] = p->white[0] / p->white[1];
    white[1] = 1;
    white[2] = (1 - p->white[0] - p->white[1]) / p->white[1];
    for (int c = 0; c < 3; c++) {
        m[0][c] = points[c][0];
        m[1][c] = points[c][1];
        m[2][c] = 1 - points[c][0] - points[c][1];
    }
    determinant = m[0][0] * (m[1][1] * m[2][2] - m[1][2] * m[2][1]) -
                  m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0]) +
                  m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0]);
    if (!(determinant > 1e-9 || determinant < -1e-9))
        return false;
    for (int c = 0; c < 3; c++) {
        int a = (c + 1) % 3, b = (c + 2) % 3;
        double scale = white[0] * (m[1][a] * m[2][b] - m[1][b] * m[2][a]) +
                       white[1] * (m[2][a] * m[0][b] - m[2][b] * m[0][a]) +
                       white[2] * (m[0][a] * m[1][b] - m[0][b] * m[1][a]);

        w[c] = scale / determinant * m[1][c];
    }
    return w[1] > 1e-9 || w[1] < -1e-9;
}

static int32_t clamp(int32_t value, int32_t last)
{
    return value < 0 ? 0 : value > last ? last : value;
}

/* A row of `samples` to `count` pixels: pixel 2k is sample k. */
static void widen_row(float *out, const float *in, int32_t samples, int32_t count)
{
    for (int32_t x = 0; x < count; x++) {
        int32_t k = x / 2;
        float sum = 0;

        if (x % 2 == 0) {
            out[x] = in[k];
            continue;
        }
        for (int32_t t = 0; t < TAPS; t++)
            sum += weights[t] * (in[clamp(k - t, samples - 1)] + in[clamp(k + 1 + t, samples - 1)]);
        out[x] = sum;
    }
}

static lb_status widen_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const chroma_job *job = context;
    int32_t count = lb_box_width(job->data);

    (void)worker;
    for (int i = 0; i < 2; i++) {
        lb_box box = lb_plane_box(job->in[i]);

        for (int32_t y = box.y0 + begin; y < box.y0 + end; y++)
            widen_row(lb_plane_row_to_fill(job->wide[i], y), lb_plane_row(job->in[i], y),
                      lb_box_width(box), count);
    }
    return LB_OK;
}

LB_CLONES
static void add_weighted_rows(float *restrict out, const float *restrict a, const float *restrict b,
                              float weight, int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        out[x] += weight * (a[x] + b[x]);
}

/* Chroma of row y, 0 the first of the data window. */
static void chroma_row(const lb_plane *wide, int32_t y, float *out, int32_t count)
{
    lb_box box = lb_plane_box(wide);
    int32_t k = y / 2, last = lb_box_height(box) - 1;

    if (y % 2 == 0) {
        memcpy(out, lb_plane_row(wide, box.y0 + k), (size_t)count * sizeof *out);
        return;
    }
    memset(out, 0, (size_t)count * sizeof *out);
    for (int32_t t = 0; t < TAPS; t++)
        add_weighted_rows(out, lb_plane_row(wide, box.y0 + clamp(k - t, last)),
                          lb_plane_row(wide, box.y0 + clamp(k + 1 + t, last)), weights[t], count);
}

LB_CLONES
static void rgb_row(float *restrict r, float *restrict y, float *restrict b, float wr, float wg,
                    float wb, int32_t count)
{
    for (int32_t x = 0; x < count; x++) {
        float luminance = y[x], red = (r[x] + 1.0f) * luminance, blue = (b[x] + 1.0f) * luminance;

        r[x] = red;
        b[x] = blue;
        y[x] = (luminance - red * wr - blue * wb) / wg;
    }
}

static lb_status make_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const chroma_job *job = context;
    int32_t count = lb_box_width(job->data);

    (void)worker;
    for (int32_t row = begin; row < end; row++) {
        int32_t y = job->data.y0 + row, x = job->data.x0 - lb_plane_box(job->y).x0;
        float *rows[2];

        for (int i = 0; i < 2; i++) {
            rows[i] = lb_plane_row_to_fill(job->out[i], y) + x;
            if (job->wide[i])
                chroma_row(job->wide[i], row, rows[i], count);
            else
                memcpy(rows[i], lb_plane_row(job->in[i], y) + x, (size_t)count * sizeof **rows);
        }
        rgb_row(rows[0], lb_plane_row_to_fill(job->y, y) + x, rows[1], job->weight[0],
                job->weight[1], job->weight[2], count);
    }
    return LB_OK;
}

static lb_status run(lb_pool *pool, chroma_job *job, bool is_sampled)
{
    lb_status status = LB_OK;

    for (int i = 0; i < 2 && status == LB_OK; i++) {
        lb_box box = lb_plane_box(job->in[i]);

        box.x1 = box.x0 + lb_box_width(job->data);
        if (is_sampled)
            status = lb_plane_new_raw(box, &job->wide[i]);
        if (status == LB_OK)
            status = lb_plane_new(lb_plane_box(job->y), &job->out[i]);
    }
    if (status == LB_OK && is_sampled)
        status = lb_pool_for(pool, lb_box_height(lb_plane_box(job->in[0])), ROWS_A_PIECE,
                             widen_rows, job);
    if (status == LB_OK)
        status = lb_pool_for(pool, lb_box_height(job->data), ROWS_A_PIECE, make_rows, job);
    return status;
}

lb_status lb_exr_chroma_to_rgb(lb_pool *pool, lb_box data, const lb_plane *ry, const lb_plane *by,
                               lb_plane *y, const lb_primaries *primaries, lb_plane **r,
                               lb_plane **b)
{
    chroma_job job = {.data = data, .in = {ry, by}, .y = y};
    bool is_sampled = !lb_box_equal(lb_plane_box(ry), lb_plane_box(y));
    double w[3];
    lb_status status;

    *r = *b = NULL;
    if (!luminance_of(primaries, w))
        return LB_FORMAT;
    for (int c = 0; c < 3; c++)
        job.weight[c] = (float)w[c];
    status = run(pool, &job, is_sampled);
    for (int i = 0; i < 2; i++) {
        lb_plane_unref(&job.wide[i]);
        if (status != LB_OK)
            lb_plane_unref(&job.out[i]);
    }
    *r = job.out[0];
    *b = job.out[1];
    return status;
}
