/* engine/color/space.c */
#include "engine/color/space.h"

#include <math.h>
#include <string.h>

#include "engine/base/clones.h"
#include "engine/base/math.h"

const char *const lb_space_names[] = {"raw",  "linear-rec709", "linear-rec2020",    "acescg",
                                      "srgb", "rec709",        "linear-display-p3", "display-p3",
                                      NULL};
const char *const lb_view_names[] = {"srgb", "rec709", "display-p3", "raw", NULL};

/* ---- Primaries ---- */

#define D65                                                                                        \
    {                                                                                              \
        0.3127, 0.3290                                                                             \
    }

lb_primaries lb_space_primaries(lb_space space)
{
    switch (space) {
    case LB_SPACE_LINEAR_REC2020: /* BT.2020-2, table 3 */
        return (lb_primaries){{0.708, 0.292}, {0.170, 0.797}, {0.131, 0.046}, D65};
    case LB_SPACE_ACESCG: /* Academy S-2014-004; white of TB-2018-001 */
        return (lb_primaries){{0.713, 0.293}, {0.165, 0.830}, {0.128, 0.044}, {0.32168, 0.33767}};
    case LB_SPACE_LINEAR_DISPLAY_P3: /* CSS Color 4 */
    case LB_SPACE_DISPLAY_P3:
        return (lb_primaries){{0.680, 0.320}, {0.265, 0.690}, {0.150, 0.060}, D65};
    default: /* BT.709-6, item 1.3; raw is seen as if it were that */
        return (lb_primaries){{0.640, 0.330}, {0.300, 0.600}, {0.150, 0.060}, D65};
    }
}

lb_transfer lb_space_transfer(lb_space space)
{
    switch (space) {
    case LB_SPACE_SRGB:
    case LB_SPACE_DISPLAY_P3:
        return LB_TRANSFER_SRGB;
    case LB_SPACE_REC709:
        return LB_TRANSFER_BT709;
    default:
        return LB_TRANSFER_LINEAR;
    }
}

/* ---- Transfer functions ---- */

/* signal = factor * light                   where light < break_light
 *        = gain * light^power - (gain - 1)  above
 * sRGB: IEC 61966-2-1:1999. BT.709: BT.709-6 item 1.2. BT.1886: annex 1 with Lw 1, Lb 0. */
typedef struct curve {
    double factor, gain, power;
    double break_light, break_signal; /* the last values of the straight part */
} curve;

static const curve curves[] = {
    [LB_TRANSFER_SRGB] = {12.92, 1.055, 1 / 2.4, 0.0031308, 0.04045},
    [LB_TRANSFER_BT709] = {4.5, 1.099, 0.45, 0.018, 0.081},
    [LB_TRANSFER_BT1886] = {1, 1, 1 / 2.4, -1, -1},
};

/* sRGB counts its break to the straight part, BT.709 to the curve. */
static bool is_straight(lb_transfer transfer, double value, double at)
{
    return transfer == LB_TRANSFER_SRGB ? value <= at : value < at;
}

double lb_transfer_decode(lb_transfer transfer, double value)
{
    const curve *c = &curves[transfer];
    double v = fabs(value), light;

    if (transfer == LB_TRANSFER_LINEAR)
        return value;
    if (is_straight(transfer, v, c->break_signal))
        light = v / c->factor;
    else
        light = lb_pow((v + (c->gain - 1)) / c->gain, 1 / c->power);
    return copysign(light, value);
}

double lb_transfer_encode(lb_transfer transfer, double value)
{
    const curve *c = &curves[transfer];
    double e = fabs(value), signal;

    if (transfer == LB_TRANSFER_LINEAR)
        return value;
    if (is_straight(transfer, e, c->break_light))
        signal = e * c->factor;
    else
        signal = c->gain * lb_pow(e, c->power) - (c->gain - 1);
    return copysign(signal, value);
}

/* The last float of the straight part. */
static float last_straight(lb_transfer transfer, double at)
{
    float last = (float)at;

    return is_straight(transfer, (double)last, at) ? last : nextafterf(last, -1);
}

LB_CLONES
static void decode_row(float factor, float add, float gain, float power, float break_signal,
                       float *row, int32_t count)
{
    for (int32_t x = 0; x < count; x++) {
        float v = fabsf(row[x]);
        float straight = v / factor;
        float curved = lb_powf((v + add) / gain, power);

        row[x] = copysignf(v <= break_signal ? straight : curved, row[x]);
    }
}

LB_CLONES
static void encode_row(float factor, float add, float gain, float power, float break_light,
                       float *row, int32_t count)
{
    for (int32_t x = 0; x < count; x++) {
        float e = fabsf(row[x]);
        float straight = e * factor;
        float curved = gain * lb_powf(e, power) - add;

        row[x] = copysignf(e <= break_light ? straight : curved, row[x]);
    }
}

void lb_transfer_decode_row(lb_transfer transfer, float *row, int32_t count)
{
    const curve *c = &curves[transfer];

    if (transfer != LB_TRANSFER_LINEAR)
        decode_row((float)c->factor, (float)(c->gain - 1), (float)c->gain, (float)(1 / c->power),
                   last_straight(transfer, c->break_signal), row, count);
}

void lb_transfer_encode_row(lb_transfer transfer, float *row, int32_t count)
{
    const curve *c = &curves[transfer];

    if (transfer != LB_TRANSFER_LINEAR)
        encode_row((float)c->factor, (float)(c->gain - 1), (float)c->gain, (float)c->power,
                   last_straight(transfer, c->break_light), row, count);
}

/* ---- Matrices, row by row ---- */

static void multiply(const double a[9], const double b[9], double out[9])
{
    for (int r = 0; r < 3; r++)
        for (int c = 0; c < 3; c++)
            out[3 * r + c] = a[3 * r] * b[c] + a[3 * r + 1] * b[3 + c] + a[3 * r + 2] * b[6 + c];
}

static void apply(const double m[9], const double v[3], double out[3])
{
    for (int r = 0; r < 3; r++)
        out[r] = m[3 * r] * v[0] + m[3 * r + 1] * v[1] + m[3 * r + 2] * v[2];
}

/* By cofactors; primaries on one line, which no space has, give infinities. */
static void invert(const double m[9], double out[9])
{
    double det;

    for (int r = 0; r < 3; r++)
        for (int c = 0; c < 3; c++) {
            int r1 = (c + 1) % 3, r2 = (c + 2) % 3, c1 = (r + 1) % 3, c2 = (r + 2) % 3;

            out[3 * r + c] = m[3 * r1 + c1] * m[3 * r2 + c2] - m[3 * r1 + c2] * m[3 * r2 + c1];
        }
    det = m[0] * out[0] + m[1] * out[3] + m[2] * out[6];
    for (int i = 0; i < 9; i++)
        out[i] /= det;
}

/* XYZ with Y = 1 of a chromaticity. */
static void xyz_of(const double xy[2], double out[3])
{
    out[0] = xy[0] / xy[1];
    out[1] = 1;
    out[2] = (1 - xy[0] - xy[1]) / xy[1];
}

/* SMPTE RP 177:1993: the primaries' columns, scaled so that they add up to white. */
static void to_xyz(const lb_primaries *p, double out[9])
{
    const double *const xy[3] = {p->red, p->green, p->blue};
    double columns[9], inverse[9], white[3], scale[3];

    for (int c = 0; c < 3; c++) {
        columns[c] = xy[c][0];
        columns[3 + c] = xy[c][1];
        columns[6 + c] = 1 - xy[c][0] - xy[c][1];
    }
    invert(columns, inverse);
    xyz_of(p->white, white);
    apply(inverse, white, scale);
    for (int i = 0; i < 9; i++)
        out[i] = columns[i] * scale[i % 3];
}

/* Bradford's cone responses, CIE 160:2004: M^-1 diag(rho of target / rho of source) M. */
static void adapt(const double from[2], const double to[2], double out[9])
{
    static const double cones[9] = {0.8951, 0.2664, -0.1614, -0.7502, 1.7135,
                                    0.0367, 0.0389, -0.0685, 1.0296};
    double source[3], target[3], rho_source[3], rho_target[3], scaled[9], inverse[9];

    xyz_of(from, source);
    xyz_of(to, target);
    apply(cones, source, rho_source);
    apply(cones, target, rho_target);
    for (int i = 0; i < 9; i++)
        scaled[i] = cones[i] * (rho_target[i / 3] / rho_source[i / 3]);
    invert(cones, inverse);
    multiply(inverse, scaled, out);
}

static bool are_same(const double a[2], const double b[2])
{
    return a[0] == b[0] && a[1] == b[1];
}

static bool are_equal(const lb_primaries *a, const lb_primaries *b)
{
    return are_same(a->red, b->red) && are_same(a->green, b->green) && are_same(a->blue, b->blue) &&
           are_same(a->white, b->white);
}

void lb_primaries_matrix(const lb_primaries *from, const lb_primaries *to, double m[9])
{
    static const double identity[9] = {1, 0, 0, 0, 1, 0, 0, 0, 1};
    double in[9], out[9], inverse[9], adapted[9], step[9];

    if (are_equal(from, to)) {
        memcpy(m, identity, sizeof identity);
        return;
    }
    to_xyz(from, in);
    to_xyz(to, out);
    invert(out, inverse);
    if (are_same(from->white, to->white)) {
        multiply(inverse, in, m);
        return;
    }
    adapt(from->white, to->white, adapted);
    multiply(adapted, in, step);
    multiply(inverse, step, m);
}

void lb_space_matrix(lb_space from, lb_space to, double m[9])
{
    lb_primaries a = lb_space_primaries(from), b = lb_space_primaries(to);

    lb_primaries_matrix(&a, &b, m);
}

void lb_space_luminance(lb_space space, double weights[3])
{
    lb_primaries p = lb_space_primaries(space);
    double m[9];

    to_xyz(&p, m);
    memcpy(weights, m + 3, 3 * sizeof *weights);
}

/* ---- Rows ---- */

LB_CLONES
static void matrix_row(const float *m, float *restrict r, float *restrict g, float *restrict b,
                       int32_t count)
{
    float m0 = m[0], m1 = m[1], m2 = m[2], m3 = m[3], m4 = m[4], m5 = m[5], m6 = m[6], m7 = m[7],
          m8 = m[8];

    for (int32_t x = 0; x < count; x++) {
        float red = r[x], green = g[x], blue = b[x];

        r[x] = m0 * red + m1 * green + m2 * blue;
        g[x] = m3 * red + m4 * green + m5 * blue;
        b[x] = m6 * red + m7 * green + m8 * blue;
    }
}

void lb_matrix_row(const double m[9], float *r, float *g, float *b, int32_t count)
{
    float single[9];

    for (int i = 0; i < 9; i++)
        single[i] = (float)m[i];
    matrix_row(single, r, g, b, count);
}

void lb_space_convert_row(lb_space from, lb_space to, float *r, float *g, float *b, int32_t count)
{
    lb_primaries a = lb_space_primaries(from), z = lb_space_primaries(to);
    float *const rows[3] = {r, g, b};
    double m[9];

    if (from == to || from == LB_SPACE_RAW || to == LB_SPACE_RAW)
        return;
    for (int c = 0; c < 3; c++)
        lb_transfer_decode_row(lb_space_transfer(from), rows[c], count);
    if (!are_equal(&a, &z)) {
        lb_primaries_matrix(&a, &z, m);
        lb_matrix_row(m, r, g, b, count);
    }
    for (int c = 0; c < 3; c++)
        lb_transfer_encode_row(lb_space_transfer(to), rows[c], count);
}

/* NaN becomes 0: a signal is a number. */
LB_CLONES
static void clamp_row(float *row, int32_t count)
{
    for (int32_t x = 0; x < count; x++) {
        float value = row[x] > 0.0f ? row[x] : 0.0f;

        row[x] = value < 1.0f ? value : 1.0f;
    }
}

void lb_view_row(lb_view view, lb_space working, float *r, float *g, float *b, int32_t count)
{
    static const lb_space spaces[] = {[LB_VIEW_SRGB] = LB_SPACE_SRGB,
                                      [LB_VIEW_REC709] = LB_SPACE_REC709,
                                      [LB_VIEW_DISPLAY_P3] = LB_SPACE_DISPLAY_P3,
                                      [LB_VIEW_RAW] = LB_SPACE_RAW};

    lb_space_convert_row(working, spaces[view], r, g, b, count);
    clamp_row(r, count);
    clamp_row(g, count);
    clamp_row(b, count);
}
