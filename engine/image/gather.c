/* engine/image/gather.c */
#include "engine/image/gather.h"

#include <math.h>

#include "engine/base/clones.h"
#include "engine/base/math.h"
#include "engine/image/gather_wide.h"

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
static void weigh_cubic(const float *restrict phase, float b, float c,
                        float (*restrict weights)[LB_GATHER_MOST], int32_t count)
{
    float *restrict w0 = weights[0], *restrict w1 = weights[1];
    float *restrict w2 = weights[2], *restrict w3 = weights[3];

    for (int32_t i = 0; i < count; i++) {
        float t = phase[i];

        w0[i] = far_lobe(1 + t, b, c);
        w1[i] = near_lobe(t, b, c);
        w2[i] = near_lobe(1 - t, b, c);
        w3[i] = far_lobe(2 - t, b, c);
    }
}

/* sinc(x) sinc(x / 3) = 3 sin(pi x) sin(pi x / 3) / (pi x)^2 at the six taps, normalised. The sines
 * of the taps differ by whole turns of pi and of pi / 3, so three are enough. */
LB_CLONES
static void weigh_lanczos3(const float *restrict phase, float (*restrict weights)[LB_GATHER_MOST],
                           int32_t count)
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
        weights[0][i] = w0 / sum;
        weights[1][i] = w1 / sum;
        weights[2][i] = w2 / sum;
        weights[3][i] = w3 / sum;
        weights[4][i] = w4 / sum;
        weights[5][i] = w5 / sum;
    }
}

static void weigh(lb_gather *g, int32_t count)
{
    const float third = 1.0f / 3;

    switch (g->filter) {
    case LB_FILTER_NEAREST:
        to_nearest(g->x, g->fx, count);
        to_nearest(g->y, g->fy, count);
        break;
    case LB_FILTER_CUBIC:
        weigh_cubic(g->fx, 0, 0.5f, g->wx, count);
        weigh_cubic(g->fy, 0, 0.5f, g->wy, count);
        break;
    case LB_FILTER_MITCHELL:
        weigh_cubic(g->fx, third, third, g->wx, count);
        weigh_cubic(g->fy, third, third, g->wy, count);
        break;
    case LB_FILTER_LANCZOS3:
        weigh_lanczos3(g->fx, g->wx, count);
        weigh_lanczos3(g->fy, g->wy, count);
        break;
    default:
        break;
    }
}

/* What each group stands on, samples that are not there left aside by repeating the last. */
static void pad(lb_gather *g)
{
    for (int32_t i = g->count; i % LB_GATHER_GROUP != 0; i++) {
        g->x[i] = g->x[g->count - 1];
        g->y[i] = g->y[g->count - 1];
        g->fx[i] = g->fx[g->count - 1];
        g->fy[i] = g->fy[g->count - 1];
    }
}

LB_CLONES
static void find_spans(lb_gather *restrict g, int32_t groups)
{
    for (int32_t k = 0; k < groups; k++) {
        const int32_t *x = g->x + k * LB_GATHER_GROUP, *y = g->y + k * LB_GATHER_GROUP;
        lb_gather_span s = {x[0], x[0], y[0], y[0]};

        for (int32_t i = 0; i < LB_GATHER_GROUP; i++) {
            s.x0 = x[i] < s.x0 ? x[i] : s.x0;
            s.x1 = x[i] > s.x1 ? x[i] : s.x1;
            s.y0 = y[i] < s.y0 ? y[i] : s.y0;
            s.y1 = y[i] > s.y1 ? y[i] : s.y1;
        }
        g->spans[k] = s;
    }
}

static int32_t groups_of(const lb_gather *g)
{
    return (g->count + LB_GATHER_GROUP - 1) / LB_GATHER_GROUP;
}

static void finish(lb_gather *g)
{
    pad(g);
    weigh(g, groups_of(g) * LB_GATHER_GROUP);
    find_spans(g, groups_of(g));
}

void lb_gather_at(lb_gather *g, const double *x, const double *y, int32_t count)
{
    g->count = count;
    split_positions(x, 0, g->x, g->fx, count);
    split_positions(y, 0, g->y, g->fy, count);
    finish(g);
}

void lb_gather_moved(lb_gather *g, int32_t first_x, int32_t y, const float *dx, const float *dy,
                     int32_t count)
{
    g->count = count;
    split_moves(dx, first_x, 1, g->x, g->fx, count);
    split_moves(dy, y, 0, g->y, g->fy, count);
    finish(g);
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

/* Weights of the first four taps of sample i. */
static inline four four_of(const float (*weights)[LB_GATHER_MOST], int32_t i)
{
    return (four){weights[0][i], weights[1][i], weights[2][i], weights[3][i]};
}

/* Taps of a row of columns: p is the first, rest those beyond four. */
static inline float across(const lb_gather *g, int32_t i, four columns, const float *rest,
                           int32_t radius)
{
    float sum = sum_four(columns * four_of(g->wx, i));

    return radius == 2 ? sum : sum + (rest[0] * g->wx[4][i] + rest[1] * g->wx[5][i]);
}

static inline float sum_taps(const lb_gather *g, int32_t i, const float *p, ptrdiff_t stride,
                             int32_t radius)
{
    const float *q = p - (radius - 1) * (stride + 1);
    four columns = {0};
    float rest[2] = {0};

    for (int32_t j = 0; j < 2 * radius; j++, q += stride) {
        columns += g->wy[j][i] * load_four(q);
        for (int32_t k = 4; k < 2 * radius; k++)
            rest[k - 4] += g->wy[j][i] * q[k];
    }
    return across(g, i, columns, rest, radius);
}

/* Kernels that are 1 at 0 and 0 at other whole numbers: at whole positions along one axis the other
 * taps are left out. `radius` taps go to either side. */
static inline float cardinal(const lb_gather *g, int32_t i, const float *p, ptrdiff_t stride,
                             int32_t radius)
{
    const float *row = p - (radius - 1);
    float sum = 0;

    if (g->fx[i] != 0 && g->fy[i] != 0)
        return sum_taps(g, i, p, stride, radius);
    if (g->fx[i] != 0)
        return across(g, i, load_four(row), row + 4, radius);
    if (g->fy[i] == 0)
        return p[0];
    for (int32_t k = 0; k < 2 * radius; k++)
        sum += g->wy[k][i] * p[(k + 1 - radius) * stride];
    return sum;
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
        return sum_taps(g, i, p, stride, 2);
    }
}

/* Samples begin .. end - 1, all of whose taps are inside. */
LB_CLONES
static void run_inside(const lb_gather *restrict g, int32_t begin, int32_t end,
                       const float *restrict origin, ptrdiff_t stride, float *restrict out)
{
    ptrdiff_t at[LB_GATHER_MOST];

    for (int32_t i = begin; i < end; i++)
        at[i] = g->y[i] * stride + g->x[i];

    switch (g->filter) {
    case LB_FILTER_NEAREST:
        for (int32_t i = begin; i < end; i++)
            out[i] = origin[at[i]];
        break;
    case LB_FILTER_BILINEAR:
        for (int32_t i = begin; i < end; i++)
            out[i] = bilinear(origin + at[i], stride, g->fx[i], g->fy[i]);
        break;
    case LB_FILTER_CUBIC:
        for (int32_t i = begin; i < end; i++)
            out[i] = cardinal(g, i, origin + at[i], stride, 2);
        break;
    case LB_FILTER_LANCZOS3:
        for (int32_t i = begin; i < end; i++)
            out[i] = cardinal(g, i, origin + at[i], stride, 3);
        break;
    default:
        for (int32_t i = begin; i < end; i++)
            out[i] = sum_taps(g, i, origin + at[i], stride, 2);
    }
}

/* Taps before and after a position's pixel. */
static void taps_around(lb_filter filter, int32_t *before, int32_t *after)
{
    int32_t radius = (int32_t)lb_filter_radius(filter); /* nearest: 0 */

    *before = radius > 0 ? radius - 1 : 0;
    *after = radius;
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

/* Samples begin .. end - 1. */
LB_CLONES
static void limit_inside(const lb_gather *restrict g, int32_t begin, int32_t end,
                         const float *restrict origin, ptrdiff_t stride, float *restrict values)
{
    for (int32_t i = begin; i < end; i++) {
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

static float limit_outside(const lb_gather *g, int32_t i, const lb_plane *plane, lb_edge edge,
                           float value)
{
    int32_t x = g->x[i], y = g->y[i], right = x + (g->fx[i] > 0), below = y + (g->fy[i] > 0);

    return between_four(value, pixel_of(plane, edge, x, y), pixel_of(plane, edge, right, y),
                        pixel_of(plane, edge, x, below), pixel_of(plane, edge, right, below));
}

/* ---- Groups ---- */

/* Where all pixels are inside that lie `before` before and `after` after those of the span. */
static bool is_inside(const lb_gather_span *s, lb_box box, int32_t before, int32_t after)
{
    return s->x0 >= before && s->y0 >= before && s->x1 < lb_box_width(box) - after &&
           s->y1 < lb_box_height(box) - after;
}

static bool is_beyond(const lb_gather_span *s, lb_box box, int32_t before, int32_t after)
{
    return s->x1 < -after || s->y1 < -after || s->x0 - before >= lb_box_width(box) ||
           s->y0 - before >= lb_box_height(box);
}

static int32_t group_end(const lb_gather *g, int32_t begin)
{
    return g->count - begin < LB_GATHER_GROUP ? g->count : begin + LB_GATHER_GROUP;
}

void lb_gather_limit(const lb_gather *g, const lb_plane *plane, lb_edge edge, float *values)
{
    lb_box box = lb_plane_box(plane);
    const float *origin = lb_plane_row(plane, box.y0);

    for (int32_t k = 0; k < groups_of(g); k++) {
        int32_t begin = k * LB_GATHER_GROUP, end = group_end(g, begin);

        if (is_inside(&g->spans[k], box, 0, 1)) {
            limit_inside(g, begin, end, origin, lb_plane_stride(plane), values);
            continue;
        }
        for (int32_t i = begin; i < end; i++)
            values[i] = limit_outside(g, i, plane, edge, values[i]);
    }
}

/* Samples of which some may stand on what is outside. */
static void run_across_edge(const lb_gather *g, int32_t begin, int32_t end, const lb_plane *plane,
                            lb_edge edge, float *out)
{
    lb_box box = lb_plane_box(plane);
    const float *origin = lb_plane_row(plane, box.y0);
    ptrdiff_t stride = lb_plane_stride(plane);
    int32_t before, after;

    taps_around(g->filter, &before, &after);
    for (int32_t i = begin; i < end; i++) {
        lb_gather_span at = {g->x[i], g->x[i], g->y[i], g->y[i]};

        if (is_inside(&at, box, before, after))
            out[i] = sample_one(g, i, origin + g->y[i] * stride + g->x[i], stride);
        else if (edge == LB_EDGE_TRANSPARENT && is_beyond(&at, box, before, after))
            out[i] = 0;
        else
            out[i] = sample_outside(g, i, plane, edge);
        if (g->limited)
            out[i] = limit_outside(g, i, plane, edge, out[i]);
    }
}

static void run_some(const lb_gather *g, const lb_gather_source *source,
                     const lb_plane *const *planes, lb_edge edge, float *const *out)
{
    lb_box box = lb_plane_box(planes[0]);
    int32_t before, after;

    taps_around(g->filter, &before, &after);
    for (int32_t k = 0; k < groups_of(g); k++) {
        int32_t begin = k * LB_GATHER_GROUP, end = group_end(g, begin);
        bool inside = is_inside(&g->spans[k], box, before, after);

        if (inside && lb_gather_is_wide(g, k, source)) {
            lb_gather_wide(g, k, source, out);
            continue;
        }
        for (int32_t p = 0; p < source->count; p++) {
            if (!inside) {
                run_across_edge(g, begin, end, planes[p], edge, out[p]);
                continue;
            }
            run_inside(g, begin, end, source->origin[p], source->stride[p], out[p]);
            if (g->limited)
                limit_inside(g, begin, end, source->origin[p], source->stride[p], out[p]);
        }
    }
}

void lb_gather_run(const lb_gather *g, int32_t count, const lb_plane *const *planes, lb_edge edge,
                   float *const *out)
{
    for (int32_t done = 0; done < count; done += LB_GATHER_PLANES) {
        lb_box box = lb_plane_box(planes[done]);
        lb_gather_source source = {.width = lb_box_width(box)};

        for (; source.count < LB_GATHER_PLANES && done + source.count < count; source.count++) {
            const lb_plane *plane = planes[done + source.count];

            source.origin[source.count] = lb_plane_row(plane, box.y0);
            source.stride[source.count] = lb_plane_stride(plane);
        }
        run_some(g, &source, planes + done, edge, out + done);
    }
}
