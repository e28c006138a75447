/* engine/image/filter.c: resampling kernels and single samples. */
#include <math.h>

#include "engine/base/math.h"
#include "engine/image/sample.h"

#define MOST_TAPS 6

const char *const lb_filter_names[] = {"nearest",  "bilinear", "cubic",
                                       "lanczos3", "mitchell", NULL};

/* Mitchell and Netravali, SIGGRAPH 1988, equation 8. */
static double cubic(double x, double b, double c)
{
    double near = ((12 - 9 * b - 6 * c) * x + (-18 + 12 * b + 6 * c)) * x * x + (6 - 2 * b);
    double far =
        (((-b - 6 * c) * x + (6 * b + 30 * c)) * x + (-12 * b - 48 * c)) * x + (8 * b + 24 * c);

    return (x < 1 ? near : x < 2 ? far : 0) / 6;
}

static double sinc(double x)
{
    return x == 0 ? 1 : lb_sin(LB_PI * x) / (LB_PI * x);
}

double lb_filter_value(lb_filter filter, double x)
{
    double away = fabs(x);

    switch (filter) {
    case LB_FILTER_BILINEAR:
        return away < 1 ? 1 - away : 0;
    case LB_FILTER_CUBIC:
        return cubic(away, 0, 0.5);
    case LB_FILTER_MITCHELL:
        return cubic(away, 1.0 / 3, 1.0 / 3);
    case LB_FILTER_LANCZOS3: /* Duchon, J. Applied Meteorology 18, 1979; 0 at whole numbers */
        if (away >= 3 || (away != 0 && away == floor(away)))
            return 0;
        return sinc(away) * sinc(away / 3);
    default:
        return x >= -0.5 && x < 0.5 ? 1 : 0;
    }
}

double lb_filter_radius(lb_filter filter)
{
    switch (filter) {
    case LB_FILTER_BILINEAR:
        return 1;
    case LB_FILTER_CUBIC:
    case LB_FILTER_MITCHELL:
        return 2;
    case LB_FILTER_LANCZOS3:
        return 3;
    default:
        return 0.5;
    }
}

/* The taps around position x on an axis whose pixel i has its centre at i + 0.5: weights that add
 * up to 1, the first tap's index into *first. How many there are. */
static int32_t taps_at(lb_filter filter, double x, double weights[MOST_TAPS], int32_t *first)
{
    int32_t support = (int32_t)lb_filter_radius(filter), count = 2 * support;
    double below = floor(x - 0.5), phase = x - 0.5 - below, sum = 0;

    if (filter == LB_FILTER_NEAREST) {
        *first = (int32_t)floor(x);
        weights[0] = 1;
        return 1;
    }
    *first = (int32_t)below + 1 - support;
    for (int32_t i = 0; i < count; i++)
        sum += weights[i] = lb_filter_value(filter, i + 1 - support - phase);
    for (int32_t i = 0; i < count; i++)
        weights[i] /= sum;
    return count;
}

float lb_sample(const lb_plane *plane, double x, double y, lb_filter filter, lb_edge edge)
{
    lb_box box = lb_plane_box(plane);
    double wx[MOST_TAPS], wy[MOST_TAPS], sum = 0;
    int32_t count, first_x, first_y;

    if (!(fabs(x) <= 0x1p29 && fabs(y) <= 0x1p29)) /* NaN, or nowhere near any plane */
        return 0;
    count = taps_at(filter, x - box.x0, wx, &first_x);
    taps_at(filter, y - box.y0, wy, &first_y);
    for (int32_t j = 0; j < count; j++) {
        int32_t row_at = lb_edge_index(edge, first_y + j, lb_box_height(box));
        const float *row = row_at < 0 ? NULL : lb_plane_row(plane, box.y0 + row_at);
        double across = 0;

        if (!row || wy[j] == 0)
            continue;
        for (int32_t i = 0; i < count; i++) {
            int32_t at = lb_edge_index(edge, first_x + i, lb_box_width(box));

            if (at >= 0 && wx[i] != 0)
                across += wx[i] * (double)row[at];
        }
        sum += wy[j] * across;
    }
    return (float)sum;
}
