/* engine/image/composite.c: Porter-Duff and blending on rows, planar and premultiplied.
 *
 * What has blend modes or rows that are missing goes in pieces that stay in the first cache, so
 * that they cost a small buffer and no other code. */
#include "engine/image/composite.h"

#include <float.h>
#include <math.h>
#include <stdbool.h>
#include <stddef.h>

#include "engine/base/clones.h"

#define PIECE 512

const char *const lb_porter_duff_names[] = {"clear",
                                            "copy",
                                            "destination",
                                            "source-over",
                                            "destination-over",
                                            "source-in",
                                            "destination-in",
                                            "source-out",
                                            "destination-out",
                                            "source-atop",
                                            "destination-atop",
                                            "xor",
                                            "lighter",
                                            NULL};

const char *const lb_blend_names[] = {
    "normal",      "multiply",   "screen",     "overlay",    "darken",     "lighten",
    "color-dodge", "color-burn", "hard-light", "soft-light", "difference", "exclusion",
    "hue",         "saturation", "color",      "luminosity", NULL};

/* Fa = a0 + a1 ab, Fb = b0 + b1 as: W3C Compositing and Blending Level 1, section 9.1. */
static const struct factors {
    float a0, a1, b0, b1;
} factors[] = {
    [LB_CLEAR] = {0, 0, 0, 0},
    [LB_COPY] = {1, 0, 0, 0},
    [LB_DESTINATION] = {0, 0, 1, 0},
    [LB_SOURCE_OVER] = {1, 0, 1, -1},
    [LB_DESTINATION_OVER] = {1, -1, 1, 0},
    [LB_SOURCE_IN] = {0, 1, 0, 0},
    [LB_DESTINATION_IN] = {0, 0, 0, 1},
    [LB_SOURCE_OUT] = {1, -1, 0, 0},
    [LB_DESTINATION_OUT] = {0, 0, 1, -1},
    [LB_SOURCE_ATOP] = {0, 1, 1, -1},
    [LB_DESTINATION_ATOP] = {1, -1, 0, 1},
    [LB_XOR] = {1, -1, 1, -1},
    [LB_LIGHTER] = {1, 0, 1, 0},
};

static inline float smaller(float a, float b)
{
    return a < b ? a : b;
}

static inline float larger(float a, float b)
{
    return a > b ? a : b;
}

/* The conditions are written so that NaN stays NaN. */
static inline float limited(float value, float low, float high)
{
    value = low > value ? low : value;
    return high < value ? high : value;
}

static inline float kept_finite(float value)
{
    return limited(value, -FLT_MAX, FLT_MAX);
}

static inline float unit(float value)
{
    return limited(value, 0.0f, 1.0f);
}

void lb_porter_duff_factors(lb_porter_duff op, float source_alpha, float backdrop_alpha, float *fa,
                            float *fb)
{
    struct factors f = factors[op];

    *fa = f.a0 + f.a1 * unit(backdrop_alpha);
    *fb = f.b0 + f.b1 * unit(source_alpha);
}

float lb_porter_duff_pixel(lb_porter_duff op, float source, float source_alpha, float backdrop,
                           float backdrop_alpha)
{
    float fa, fb;

    lb_porter_duff_factors(op, source_alpha, backdrop_alpha, &fa, &fb);
    return kept_finite(source * fa + backdrop * fb);
}

/* ---- Porter-Duff ---- */

/* What values are kept within. They are handed to the loops: of two comparisons with constants the
 * compiler makes a dozen instructions, of two with variables a maximum and a minimum. */
typedef struct bounds {
    float none, all; /* coverage */
    float least, most;
} bounds;

static const bounds in_float = {0.0f, 1.0f, -FLT_MAX, FLT_MAX};

/* co = cs Fa + cb Fb of all components at once, alpha at most 1: a row is read and written once.
 * `amount` NULL: 1. */
static inline void combine(struct factors f, bounds in, float *restrict r, float *restrict g,
                           float *restrict b, float *restrict a, const float *restrict source_r,
                           const float *restrict source_g, const float *restrict source_b,
                           const float *restrict source_a, const float *restrict backdrop_r,
                           const float *restrict backdrop_g, const float *restrict backdrop_b,
                           const float *restrict backdrop_a, const float *restrict amount,
                           int32_t count)
{
    for (int32_t x = 0; x < count; x++) {
        float by = amount ? amount[x] : 1.0f;
        float sr = source_r[x] * by, sg = source_g[x] * by, sb = source_b[x] * by;
        float as = source_a[x] * by, ab = backdrop_a[x];
        float fa = f.a0 + f.a1 * limited(ab, in.none, in.all);
        float fb = f.b0 + f.b1 * limited(as, in.none, in.all);

        r[x] = limited(sr * fa + backdrop_r[x] * fb, in.least, in.most);
        g[x] = limited(sg * fa + backdrop_g[x] * fb, in.least, in.most);
        b[x] = limited(sb * fa + backdrop_b[x] * fb, in.least, in.most);
        a[x] = limited(as * fa + ab * fb, in.least, in.all);
    }
}

LB_CLONES
static void combine_rows(struct factors f, bounds in, float *restrict r, float *restrict g,
                         float *restrict b, float *restrict a, const float *restrict source_r,
                         const float *restrict source_g, const float *restrict source_b,
                         const float *restrict source_a, const float *restrict backdrop_r,
                         const float *restrict backdrop_g, const float *restrict backdrop_b,
                         const float *restrict backdrop_a, int32_t count)
{
    combine(f, in, r, g, b, a, source_r, source_g, source_b, source_a, backdrop_r, backdrop_g,
            backdrop_b, backdrop_a, NULL, count);
}

LB_CLONES
static void combine_scaled_rows(struct factors f, bounds in, float *restrict r, float *restrict g,
                                float *restrict b, float *restrict a,
                                const float *restrict source_r, const float *restrict source_g,
                                const float *restrict source_b, const float *restrict source_a,
                                const float *restrict backdrop_r, const float *restrict backdrop_g,
                                const float *restrict backdrop_b, const float *restrict backdrop_a,
                                const float *restrict amount, int32_t count)
{
    combine(f, in, r, g, b, a, source_r, source_g, source_b, source_a, backdrop_r, backdrop_g,
            backdrop_b, backdrop_a, amount, count);
}

static void combine_piece(struct factors f, lb_rgba_out out, lb_rgba_row s, lb_rgba_row b,
                          const float *amount, int32_t count)
{
    if (amount)
        combine_scaled_rows(f, in_float, out.r, out.g, out.b, out.a, s.r, s.g, s.b, s.a, b.r, b.g,
                            b.b, b.a, amount, count);
    else
        combine_rows(f, in_float, out.r, out.g, out.b, out.a, s.r, s.g, s.b, s.a, b.r, b.g, b.b,
                     b.a, count);
}

/* ---- Blending ---- */

/* What follows is as ab B(Cb, Cs) from premultiplied cs, cb and alphas within 0..1: no division
 * where the formula is a polynomial. */

static inline float screen(float cs, float as, float cb, float ab)
{
    float s = cs * ab, b = cb * as;

    return larger(s + b - cs * cb, larger(s, b));
}

static inline float hard_light(float cs, float as, float cb, float ab)
{
    float twice = 2.0f * cs;

    return twice <= as ? twice * cb : screen(twice - as, as, cb, ab);
}

static inline float difference(float cs, float as, float cb, float ab)
{
    return fabsf(cs * ab - cb * as);
}

static inline float exclusion(float cs, float as, float cb, float ab)
{
    return larger(cs * ab + cb * as - 2.0f * cs * cb, difference(cs, as, cb, ab));
}

/* From here on cs is within 0..as and cb within 0..ab. */

static inline float color_dodge(float cs, float as, float cb, float ab)
{
    float room = as - cs;
    float most = as * ab;
    float value = as * smaller(ab, cb * as / (room > 0.0f ? room : 1.0f));

    value = room > 0.0f ? value : most;
    return cb > 0.0f ? value : 0.0f;
}

static inline float color_burn(float cs, float as, float cb, float ab)
{
    float value = as * (ab - smaller(ab, (ab - cb) * as / (cs > 0.0f ? cs : 1.0f)));

    value = cs > 0.0f ? value : 0.0f;
    return cb < ab ? value : as * ab;
}

static inline float soft_light(float cs, float as, float cb, float ab)
{
    float s = as > 0.0f ? cs / as : 0.0f, b = ab > 0.0f ? cb / ab : 0.0f;
    float dark = b - (1.0f - 2.0f * s) * b * (1.0f - b);
    float d = b <= 0.25f ? ((16.0f * b - 12.0f) * b + 4.0f) * b : sqrtf(b);
    float light = b + (2.0f * s - 1.0f) * (d - b);

    return as * ab * (s <= 0.5f ? dark : light);
}

#define MOST_BLENDED 0x1p60f

#define OPEN_LOOP(formula)                                                                         \
    for (int32_t x = 0; x < count; x++) {                                                          \
        float as = unit(source_alpha[x]), ab = unit(backdrop_alpha[x]);                            \
        float cs = limited(source[x], -MOST_BLENDED, MOST_BLENDED);                                \
        float cb = limited(backdrop[x], -MOST_BLENDED, MOST_BLENDED);                              \
                                                                                                   \
        (void)as;                                                                                  \
        out[x] = (1.0f - ab) * cs + (formula);                                                     \
    }                                                                                              \
    break

#define CLAMPED_LOOP(formula)                                                                      \
    for (int32_t x = 0; x < count; x++) {                                                          \
        float as = unit(source_alpha[x]), ab = unit(backdrop_alpha[x]);                            \
        float beyond = limited(source[x], -MOST_BLENDED, MOST_BLENDED);                            \
        float cs = limited(source[x], 0.0f, as), cb = limited(backdrop[x], 0.0f, ab);              \
                                                                                                   \
        out[x] = (1.0f - ab) * beyond + (formula);                                                 \
    }                                                                                              \
    break

/* One component of a piece: as Cs' = (1 - ab) cs + as ab B(Cb, Cs), section 5. */
LB_CLONES
static void separable_row(lb_blend blend, float *restrict out, const float *restrict source,
                          const float *restrict source_alpha, const float *restrict backdrop,
                          const float *restrict backdrop_alpha, int32_t count)
{
    switch (blend) {
    case LB_BLEND_MULTIPLY:
        OPEN_LOOP(cs * cb);
    case LB_BLEND_SCREEN:
        OPEN_LOOP(screen(cs, as, cb, ab));
    case LB_BLEND_OVERLAY:
        OPEN_LOOP(hard_light(cb, ab, cs, as));
    case LB_BLEND_DARKEN:
        OPEN_LOOP(smaller(cs * ab, cb * as));
    case LB_BLEND_LIGHTEN:
        OPEN_LOOP(larger(cs * ab, cb * as));
    case LB_BLEND_COLOR_DODGE:
        CLAMPED_LOOP(color_dodge(cs, as, cb, ab));
    case LB_BLEND_COLOR_BURN:
        CLAMPED_LOOP(color_burn(cs, as, cb, ab));
    case LB_BLEND_HARD_LIGHT:
        OPEN_LOOP(hard_light(cs, as, cb, ab));
    case LB_BLEND_SOFT_LIGHT:
        CLAMPED_LOOP(soft_light(cs, as, cb, ab));
    case LB_BLEND_DIFFERENCE:
        OPEN_LOOP(difference(cs, as, cb, ab));
    case LB_BLEND_EXCLUSION:
        OPEN_LOOP(exclusion(cs, as, cb, ab));
    default: /* normal: B = Cs, so Cs' = Cs; not asked for */
        break;
    }
}

/* Section 10.2, on straight colours within 0..1. The weights are the standard's own. */
typedef struct rgb {
    float r, g, b;
} rgb;

static inline float lum(rgb c)
{
    return 0.3f * c.r + 0.59f * c.g + 0.11f * c.b;
}

static inline float least(rgb c)
{
    return smaller(c.r, smaller(c.g, c.b));
}

static inline float most(rgb c)
{
    return larger(c.r, larger(c.g, c.b));
}

static inline float sat(rgb c)
{
    return most(c) - least(c);
}

static inline rgb towards(rgb c, float grey, float fraction)
{
    return (rgb){grey + (c.r - grey) * fraction, grey + (c.g - grey) * fraction,
                 grey + (c.b - grey) * fraction};
}

/* 0 where rounding, among the smallest floats, leaves nothing to divide by. */
static inline float quotient(float a, float b)
{
    return b > 0.0f ? a / b : 0.0f;
}

static inline rgb set_lum(rgb c, float value)
{
    float add = value - lum(c), grey, low, high;

    c = (rgb){c.r + add, c.g + add, c.b + add};
    grey = lum(c);
    low = least(c);
    high = most(c);
    c = towards(c, grey, low < 0.0f ? quotient(grey, grey - low) : 1.0f);
    c = towards(c, grey, high > 1.0f ? quotient(1.0f - grey, high - grey) : 1.0f);
    return (rgb){unit(c.r), unit(c.g), unit(c.b)};
}

/* The smallest component goes to 0, the largest to `value`, the middle one in proportion. The
 * quotient is within 0..1 however small the range is. */
static inline rgb set_sat(rgb c, float value)
{
    float low = least(c), range = most(c) - low, divisor = range > 0.0f ? range : 1.0f;

    return (rgb){(c.r - low) / divisor * value, (c.g - low) / divisor * value,
                 (c.b - low) / divisor * value};
}

static inline float straight(float c, float alpha)
{
    return limited(c, 0.0f, alpha) / (alpha > 0.0f ? alpha : 1.0f);
}

#define RGB_LOOP(formula)                                                                          \
    for (int32_t x = 0; x < count; x++) {                                                          \
        float as = unit(source.a[x]), ab = unit(backdrop.a[x]);                                    \
        rgb cs = {straight(source.r[x], as), straight(source.g[x], as),                            \
                  straight(source.b[x], as)};                                                      \
        rgb cb = {straight(backdrop.r[x], ab), straight(backdrop.g[x], ab),                        \
                  straight(backdrop.b[x], ab)};                                                    \
        rgb mix = (formula);                                                                       \
                                                                                                   \
        r[x] = (1.0f - ab) * limited(source.r[x], -MOST_BLENDED, MOST_BLENDED) + as * ab * mix.r;  \
        g[x] = (1.0f - ab) * limited(source.g[x], -MOST_BLENDED, MOST_BLENDED) + as * ab * mix.g;  \
        b[x] = (1.0f - ab) * limited(source.b[x], -MOST_BLENDED, MOST_BLENDED) + as * ab * mix.b;  \
    }                                                                                              \
    break

LB_CLONES
static void nonseparable_row(lb_blend blend, float *restrict r, float *restrict g,
                             float *restrict b, lb_rgba_row source, lb_rgba_row backdrop,
                             int32_t count)
{
    switch (blend) {
    case LB_BLEND_HUE:
        RGB_LOOP(set_lum(set_sat(cs, sat(cb)), lum(cb)));
    case LB_BLEND_SATURATION:
        RGB_LOOP(set_lum(set_sat(cb, sat(cs)), lum(cb)));
    case LB_BLEND_COLOR:
        RGB_LOOP(set_lum(cs, lum(cb)));
    default:
        RGB_LOOP(set_lum(cb, lum(cs)));
    }
}

/* ---- Rows ---- */

LB_CLONES
static void scale_row(float *restrict out, const float *restrict in, const float *restrict by,
                      int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        out[x] = in[x] * by[x];
}

/* A piece with a blend mode: the source's colours are mixed with the backdrop's first. */
static void blend_piece(struct factors f, lb_blend blend, lb_rgba_out out, lb_rgba_row source,
                        lb_rgba_row backdrop, const float *amount, int32_t count)
{
    float mixed[3][PIECE], scaled[4][PIECE];

    if (amount) {
        scale_row(scaled[0], source.r, amount, count);
        scale_row(scaled[1], source.g, amount, count);
        scale_row(scaled[2], source.b, amount, count);
        scale_row(scaled[3], source.a, amount, count);
        source = (lb_rgba_row){scaled[0], scaled[1], scaled[2], scaled[3]};
    }
    if (blend >= LB_BLEND_HUE) {
        nonseparable_row(blend, mixed[0], mixed[1], mixed[2], source, backdrop, count);
    } else {
        separable_row(blend, mixed[0], source.r, source.a, backdrop.r, backdrop.a, count);
        separable_row(blend, mixed[1], source.g, source.a, backdrop.g, backdrop.a, count);
        separable_row(blend, mixed[2], source.b, source.a, backdrop.b, backdrop.a, count);
    }
    source = (lb_rgba_row){mixed[0], mixed[1], mixed[2], source.a};
    combine_piece(f, out, source, backdrop, NULL, count);
}

static bool is_whole(lb_rgba_row row)
{
    return row.r && row.g && row.b && row.a;
}

static const float zeros[PIECE];

static lb_rgba_row piece_of(lb_rgba_row row, int32_t x, const float *ones)
{
    return (lb_rgba_row){row.r ? row.r + x : zeros, row.g ? row.g + x : zeros,
                         row.b ? row.b + x : zeros, row.a ? row.a + x : ones};
}

void lb_composite_row(lb_porter_duff op, lb_blend blend, lb_rgba_out out, lb_rgba_row source,
                      lb_rgba_row backdrop, const float *amount, int32_t count)
{
    float ones[PIECE];

    if (blend == LB_BLEND_NORMAL && is_whole(source) && is_whole(backdrop)) {
        combine_piece(factors[op], out, source, backdrop, amount, count);
        return;
    }
    for (int32_t x = 0; x < PIECE; x++)
        ones[x] = 1.0f;
    for (int32_t x = 0; x < count; x += PIECE) {
        int32_t n = count - x < PIECE ? count - x : PIECE;
        lb_rgba_row s = piece_of(source, x, ones), b = piece_of(backdrop, x, ones);
        lb_rgba_out to = {out.r + x, out.g + x, out.b + x, out.a + x};
        const float *by = amount ? amount + x : NULL;

        if (blend == LB_BLEND_NORMAL)
            combine_piece(factors[op], to, s, b, by, n);
        else
            blend_piece(factors[op], blend, to, s, b, by, n);
    }
}
