/* engine/image/gather.c */
#include "engine/image/gather.h"

#include <math.h>

#include "engine/base/clones.h"
#include "engine/base/math.h"

#define FAR 0x1p28

/* ---- Positions ---- */

LB_CLONES
static void split_positions(const double *restrict at, double shift, int32_t *restrict whole,
                            float *restrict fraction, int32_t count)
{
    for (int32_t i = 0; i < count; i++) {
        double position = at[i] > -FAR ? at[i] : -FAR, below;

        position = (position < FAR ? position : FAR) + shift;
        below = floor(position);
        whole[i] = (int32_t)below;
        fraction[i] = (float)(position - below);
    }
}

/* In float: the whole part and the fraction of a displacement are exact. */
LB_CLONES
static void split_moves(const float *restrict move, int32_t first, int32_t step,
                        int32_t *restrict whole, float *restrict fraction, int32_t count)
{
    for (int32_t i = 0; i < count; i++) {
        float m = move[i] > -(float)FAR ? move[i] : -(float)FAR, below;

        m = m < (float)FAR ? m : (float)FAR;
        below = floorf(m);
        whole[i] = first + step * i + (int32_t)below;
        fraction[i] = m - below;
    }
}

/* The pixel whose square the position is in: rounded, halves up. */
LB_CLONES
static void to_nearest(int32_t *restrict whole, const float *restrict fraction, int32_t count)
{
    for (int32_t i = 0; i < count; i++)
        whole[i] += fraction[i] >= 0.5f ? 1 : 0;
}

/* ---- Weights ---- */

/* Mitchell and Netravali, SIGGRAPH 1988, equation 8, as polynomials of the phase. */
static inline float near_lobe(float x, float b, float c)
{
    return (((12 - 9 * b - 6 * c) * x + (-18 + 12 * b + 6 * c)) * x * x + (6 - 2 * b)) * (1.0f / 6);
}

static inline float far_lobe(float x, float b, float c)
{
    return ((((-b - 6 * c) * x + (6 * b + 30 * c)) * x + (-12 * b - 48 * c)) * x +
            (8 * b + 24 * c)) *
           (1.0f / 6);
}

LB_CLONES
static void weigh_cubic(const float *restrict phase, float b, float c, float (*restrict weights)[8],
                        int32_t count)
{
    for (int32_t i = 0; i < count; i++) {
        float t = phase[i];

        weights[i][0] = far_lobe(1 + t, b, c);
        weights[i][1] = near_lobe(t, b, c);
        weights[i][2] = near_lobe(1 - t, b, c);
        weights[i][3] = far_lobe(2 - t, b, c);
    }
}

/* sinc(x) sinc(x / 3) = 3 sin(pi x) sin(pi x / 3) / (pi x)^2 at the six taps, normalised. The sines
 * of the taps differ by whole turns of pi and of pi / 3, so three are enough. */
LB_CLONES
static void weigh_lanczos3(const float *restrict phase, float (*restrict weights)[8], int32_t count)
{
    const float pi = (float)LB_PI, third = (float)(LB_PI / 3), half = 0.5f, root = 0.8660254038f;

    for (int32_t i = 0; i < count; i++) {
        float t = phase[i], sine = lb_sinf(pi * t);
        float s0 = lb_sinf(third * t), c0 = lb_cosf(third * t);
        /* sin(pi (t + k) / 3) for k = 1, 2 */
        float s1 = half * s0 + root * c0, s2 = root * c0 - half * s0;
        float x0 = t + 2, x1 = t + 1, x2 = t, x3 = 1 - t, x4 = 2 - t, x5 = 3 - t;
        /* sin(pi x): + at even distances of taps left of the position, and so on */
        float w0 = sine * s2 / (x0 * x0), w1 = -sine * s1 / (x1 * x1);
        float w3 = sine * s2 / (x3 * x3), w4 = -sine * s1 / (x4 * x4), w5 = sine * s0 / (x5 * x5);
        float w2 = x2 > 1e-9f ? sine * s0 / (x2 * x2) : pi * third, sum;

        w3 = x3 > 1e-9f ? w3 : pi * third;
        sum = ((w0 + w1) + (w2 + w3)) + (w4 + w5);
        weights[i][0] = w0 / sum;
        weights[i][1] = w1 / sum;
        weights[i][2] = w2 / sum;
        weights[i][3] = w3 / sum;
        weights[i][4] = w4 / sum;
        weights[i][5] = w5 / sum;
    }
}

static void weigh(lb_gather *g)
{
    const float third = 1.0f / 3;

    switch (g->filter) {
    case LB_FILTER_NEAREST:
        to_nearest(g->x, g->fx, g->count);
        to_nearest(g->y, g->fy, g->count);
        break;
    case LB_FILTER_CUBIC:
        weigh_cubic(g->fx, 0, 0.5f, g->wx, g->count);
        weigh_cubic(g->fy, 0, 0.5f, g->wy, g->count);
        break;
    case LB_FILTER_MITCHELL:
        weigh_cubic(g->fx, third, third, g->wx, g->count);
        weigh_cubic(g->fy, third, third, g->wy, g->count);
        break;
    case LB_FILTER_LANCZOS3:
        weigh_lanczos3(g->fx, g->wx, g->count);
        weigh_lanczos3(g->fy, g->wy, g->count);
        break;
    default:
        break;
    }
}

void lb_gather_at(lb_gather *g, const double *x, const double *y, int32_t count)
{
    g->count = count;
    split_positions(x, 0, g->x, g->fx, count);
    split_positions(y, 0, g->y, g->fy, count);
    weigh(g);
}

void lb_gather_moved(lb_gather *g, int32_t first_x, int32_t y, const float *dx, const float *dy,
                     int32_t count)
{
    g->count = count;
    split_moves(dx, first_x, 1, g->x, g->fx, count);
    split_moves(dy, y, 0, g->y, g->fy, count);
    weigh(g);
}

/* ---- Samples ---- */

typedef float four __attribute__((vector_size(16)));

static inline four load_four(const float *p)
{
    four v;

    __builtin_memcpy(&v, p, sizeof v);
    return v;
}

static inline float sum_four(four v)
{
    return (v[0] + v[1]) + (v[2] + v[3]);
}

/* `p` is the pixel left of and above the position. At a whole position along an axis only that
 * pixel counts, so that infinite neighbours do no harm. */
static inline float bilinear(const float *p, ptrdiff_t stride, float fx, float fy)
{
    float a = p[0], b = p[1], c = p[stride], d = p[stride + 1];
    float top = fx == 0 ? a : a * (1 - fx) + b * fx;
    float bottom = fx == 0 ? c : c * (1 - fx) + d * fx;

    return fy == 0 ? top : top * (1 - fy) + bottom * fy;
}

static inline float sum_taps4(const float *p, ptrdiff_t stride, const float *wx, const float *wy)
{
    const float *q = p - stride - 1;
    four sum = wy[0] * load_four(q);

    sum += wy[1] * load_four(q + stride);
    sum += wy[2] * load_four(q + 2 * stride);
    sum += wy[3] * load_four(q + 3 * stride);
    return sum_four(sum * load_four(wx));
}

static inline float sum_taps6(const float *p, ptrdiff_t stride, const float *wx, const float *wy)
{
    const float *q = p - 2 * stride - 2;
    four sum = {0};
    float sum4 = 0, sum5 = 0;

    for (int j = 0; j < 6; j++, q += stride) {
        sum += wy[j] * load_four(q);
        sum4 += wy[j] * q[4];
        sum5 += wy[j] * q[5];
    }
    return sum_four(sum * load_four(wx)) + (sum4 * wx[4] + sum5 * wx[5]);
}

/* Kernels that are 1 at 0 and 0 at other whole numbers: at whole positions along one axis the other
 * taps are left out. `radius` taps go to either side. */
static inline float along_one_axis(const float *p, ptrdiff_t step, const float *weights,
                                   int32_t radius)
{
    float sum = 0;

    for (int32_t k = 0; k < 2 * radius; k++)
        sum += weights[k] * p[(k + 1 - radius) * step];
    return sum;
}

static inline float cardinal(const lb_gather *g, int32_t i, const float *p, ptrdiff_t stride,
                             int32_t radius)
{
    if (g->fx[i] == 0)
        return g->fy[i] == 0 ? p[0] : along_one_axis(p, stride, g->wy[i], radius);
    if (g->fy[i] == 0)
        return along_one_axis(p, 1, g->wx[i], radius);
    return radius == 2 ? sum_taps4(p, stride, g->wx[i], g->wy[i])
                       : sum_taps6(p, stride, g->wx[i], g->wy[i]);
}

static inline float sample_one(const lb_gather *g, int32_t i, const float *p, ptrdiff_t stride)
{
    switch (g->filter) {
    case LB_FILTER_NEAREST:
        return p[0];
    case LB_FILTER_BILINEAR:
        return bilinear(p, stride, g->fx[i], g->fy[i]);
    case LB_FILTER_CUBIC:
        return cardinal(g, i, p, stride, 2);
    case LB_FILTER_LANCZOS3:
        return cardinal(g, i, p, stride, 3);
    default:
        return sum_taps4(p, stride, g->wx[i], g->wy[i]);
    }
}

/* All taps of the piece are inside. */
LB_CLONES
static void run_inside(const lb_gather *restrict g, const float *restrict origin, ptrdiff_t stride,
                       float *restrict out)
{
    ptrdiff_t at[LB_GATHER_MOST];

    for (int32_t i = 0; i < g->count; i++)
        at[i] = g->y[i] * stride + g->x[i];

    switch (g->filter) {
    case LB_FILTER_NEAREST:
        for (int32_t i = 0; i < g->count; i++)
            out[i] = origin[at[i]];
        break;
    case LB_FILTER_BILINEAR:
        for (int32_t i = 0; i < g->count; i++)
            out[i] = bilinear(origin + at[i], stride, g->fx[i], g->fy[i]);
        break;
    case LB_FILTER_CUBIC:
        for (int32_t i = 0; i < g->count; i++)
            out[i] = cardinal(g, i, origin + at[i], stride, 2);
        break;
    case LB_FILTER_LANCZOS3:
        for (int32_t i = 0; i < g->count; i++)
            out[i] = cardinal(g, i, origin + at[i], stride, 3);
        break;
    default:
        for (int32_t i = 0; i < g->count; i++)
            out[i] = sum_taps4(origin + at[i], stride, g->wx[i], g->wy[i]);
    }
}

/* Taps before and after a position's pixel. */
static void taps_around(lb_filter filter, int32_t *before, int32_t *after)
{
    int32_t radius = (int32_t)lb_filter_radius(filter); /* nearest: 0 */

    *before = radius > 0 ? radius - 1 : 0;
    *after = radius;
}

LB_CLONES
static void range_of(const int32_t *restrict values, int32_t count, int32_t *least, int32_t *most)
{
    int32_t low = values[0], high = values[0];

    for (int32_t i = 0; i < count; i++) {
        low = values[i] < low ? values[i] : low;
        high = values[i] > high ? values[i] : high;
    }
    *least = low;
    *most = high;
}

/* One sample whose taps go on by the edge rule: they are copied to where they can be read. */
static float sample_outside(const lb_gather *g, int32_t i, const lb_plane *plane, lb_edge edge)
{
    lb_box box = lb_plane_box(plane);
    int32_t before, after, columns[6];
    float taps[6][8] = {{0}};

    taps_around(g->filter, &before, &after);
    for (int32_t k = 0; k <= before + after; k++)
        columns[k] = lb_edge_index(edge, g->x[i] - before + k, lb_box_width(box));
    for (int32_t j = 0; j <= before + after; j++) {
        int32_t at = lb_edge_index(edge, g->y[i] - before + j, lb_box_height(box));
        const float *row = at < 0 ? NULL : lb_plane_row(plane, box.y0 + at);

        for (int32_t k = 0; k <= before + after && row; k++)
            taps[j][k] = columns[k] < 0 ? 0 : row[columns[k]];
    }
    return sample_one(g, i, &taps[before][before], 8);
}

void lb_gather_run(const lb_gather *g, const lb_plane *plane, lb_edge edge, float *out)
{
    lb_box box = lb_plane_box(plane);
    int32_t width = lb_box_width(box), height = lb_box_height(box);
    int32_t x0, x1, y0, y1, before, after;
    const float *origin = lb_plane_row(plane, box.y0);
    ptrdiff_t stride = lb_plane_stride(plane);

    if (g->count <= 0)
        return;
    taps_around(g->filter, &before, &after);
    range_of(g->x, g->count, &x0, &x1);
    range_of(g->y, g->count, &y0, &y1);
    if (x0 >= before && y0 >= before && x1 + after < width && y1 + after < height) {
        /* The next rows of the picture that has this one will mostly look a few rows on. */
        for (int32_t i = 0; i < g->count; i += 8)
            __builtin_prefetch(origin + (g->y[i] + 4) * stride + g->x[i]);
        run_inside(g, origin, stride, out);
        return;
    }
    for (int32_t i = 0; i < g->count; i++) {
        int32_t x = g->x[i], y = g->y[i];

        if (x >= before && y >= before && x + after < width && y + after < height)
            out[i] = sample_one(g, i, origin + y * stride + x, stride);
        else if (edge == LB_EDGE_TRANSPARENT &&
                 (x + after < 0 || y + after < 0 || x - before >= width || y - before >= height))
            out[i] = 0;
        else
            out[i] = sample_outside(g, i, plane, edge);
    }
}

/* ---- Limits ---- */

static inline float between_four(float value, float a, float b, float c, float d)
{
    float least = INFINITY, most = -INFINITY;

    least = a < least ? a : least;
    least = b < least ? b : least;
    least = c < least ? c : least;
    least = d < least ? d : least;
    most = a > most ? a : most;
    most = b > most ? b : most;
    most = c > most ? c : most;
    most = d > most ? d : most;
    least = least <= most ? least : value; /* no pixel counts: the value stays */
    value = value >= least ? value : least;
    return value > most ? most : value;
}

LB_CLONES
static void limit_inside(const lb_gather *restrict g, const float *restrict origin,
                         ptrdiff_t stride, float *restrict values)
{
    for (int32_t i = 0; i < g->count; i++) {
        ptrdiff_t at = g->y[i] * stride + g->x[i];
        ptrdiff_t right = g->fx[i] > 0 ? 1 : 0, below = g->fy[i] > 0 ? stride : 0;

        values[i] = between_four(values[i], origin[at], origin[at + right], origin[at + below],
                                 origin[at + below + right]);
    }
}

static float pixel_of(const lb_plane *plane, lb_edge edge, int32_t x, int32_t y)
{
    lb_box box = lb_plane_box(plane);

    x = lb_edge_index(edge, x, lb_box_width(box));
    y = lb_edge_index(edge, y, lb_box_height(box));
    return x < 0 || y < 0 ? 0 : lb_plane_row(plane, box.y0 + y)[x];
}

void lb_gather_limit(const lb_gather *g, const lb_plane *plane, lb_edge edge, float *values)
{
    lb_box box = lb_plane_box(plane);
    int32_t width = lb_box_width(box), height = lb_box_height(box), x0, x1, y0, y1;
    const float *origin = lb_plane_row(plane, box.y0);
    ptrdiff_t stride = lb_plane_stride(plane);

    if (g->count <= 0)
        return;
    range_of(g->x, g->count, &x0, &x1);
    range_of(g->y, g->count, &y0, &y1);
    if (x0 >= 0 && y0 >= 0 && x1 + 1 < width && y1 + 1 < height) {
        limit_inside(g, origin, stride, values);
        return;
    }
    for (int32_t i = 0; i < g->count; i++) {
        int32_t x = g->x[i], y = g->y[i], right = x + (g->fx[i] > 0), below = y + (g->fy[i] > 0);
        const float *at = origin, *under = origin;

        if (x >= 0 && y >= 0 && right < width && below < height) {
            at += y * stride;
            under += below * stride;
            values[i] = between_four(values[i], at[x], at[right], under[x], under[right]);
        } else if (edge == LB_EDGE_TRANSPARENT &&
                   (right < 0 || below < 0 || x >= width || y >= height)) {
            values[i] = 0;
        } else {
            values[i] = between_four(
                values[i], pixel_of(plane, edge, x, y), pixel_of(plane, edge, right, y),
                pixel_of(plane, edge, x, below), pixel_of(plane, edge, right, below));
        }
    }
}
