/* nodes/color/cdl.c: the ASC color decision list.
 *
 * ASC CDL 1.2 as restated in Academy S-2014-006 (Common LUT Format), with and without clamping. It
 * is of straight colour: where there is a power or a clamp, colour is divided by alpha and
 * multiplied again; without them alpha goes into the offset. Where alpha is 0 or less there is no
 * straight colour, only light that was added (a glow's): it has slope and saturation, offset and
 * power leave it. */
#include "engine/base/clones.h"
#include "engine/base/math.h"
#include "engine/graph/operand.h"
#include "engine/graph/points.h"

typedef struct {
    double slope[3], offset[3], power[3], saturation;
    bool clamp;
} cdl_params;

static const lb_input inputs[] = {{"image", LB_KIND_IMAGE, .doc = "Whose R, G and B are graded."},
                                  {0}};

static const lb_param params[] = {
    LB_PARAM(cdl_params, slope, LB_VEC3, .initial = {1, 1, 1}, .min = 0, .max = 65504,
             .spread = true, .doc = "Multiplies red, green and blue."),
    LB_PARAM(cdl_params, offset, LB_VEC3, .initial = {0, 0, 0}, .min = -65504, .max = 65504,
             .spread = true, .doc = "Is added then."),
    LB_PARAM(cdl_params, power, LB_VEC3, .initial = {1, 1, 1}, .min = 0.001, .max = 1000,
             .spread = true, .doc = "The exponent of the sum."),
    LB_PARAM(cdl_params, saturation, LB_NUMBER, .initial = {1}, .min = 0, .max = 1000,
             .doc = "Distance from grey of the same luma (Rec. 709 weights), last."),
    LB_PARAM(cdl_params, clamp, LB_BOOL, .initial = {false},
             .doc = "Keeps values within 0 and 1 before the power and at the end; without it "
                    "negative values pass the power unchanged."),
    {0},
};

/* Straight colour, scaled and moved. */
LB_CLONES
static void straight_slope_row(float *restrict out, const float *restrict in,
                               const float *restrict alpha, float slope, float offset,
                               int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        out[x] =
            in[x] / (alpha[x] > 0.0f ? alpha[x] : 1.0f) * slope + (alpha[x] > 0.0f ? offset : 0.0f);
}

/* The same of premultiplied colour: (c / a s + o) a = c s + o a. */
LB_CLONES
static void slope_row(float *restrict out, const float *restrict in, const float *restrict alpha,
                      float slope, float offset, int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        out[x] = in[x] * slope + (alpha[x] > 0.0f ? alpha[x] * offset : 0.0f);
}

LB_CLONES
static void clamp_row(float *row, int32_t count)
{
    for (int32_t x = 0; x < count; x++) {
        row[x] = row[x] > 0.0f ? row[x] : 0.0f;
        row[x] = row[x] < 1.0f ? row[x] : 1.0f;
    }
}

LB_CLONES
static void power_row(float *restrict row, const float *restrict alpha, float power, int32_t count)
{
    for (int32_t x = 0; x < count; x++) {
        float base = row[x] > 0.0f ? row[x] : 1.0f;
        float raised = lb_powf_quick(base, power);

        row[x] = row[x] > 0.0f && alpha[x] > 0.0f ? raised : row[x];
    }
}

/* For powers that lb_powf_quick is not made for. */
LB_CLONES
static void high_power_row(float *restrict row, const float *restrict alpha, float power,
                           int32_t count)
{
    for (int32_t x = 0; x < count; x++) {
        float base = row[x] > 0.0f ? row[x] : 1.0f;
        float raised = lb_powf(base, power);

        row[x] = row[x] > 0.0f && alpha[x] > 0.0f ? raised : row[x];
    }
}

static inline float luma(float r, float g, float b)
{
    return 0.2126f * r + 0.7152f * g + 0.0722f * b;
}

LB_CLONES
static void saturate_row(float *restrict r, float *restrict g, float *restrict b, float saturation,
                         int32_t count)
{
    for (int32_t x = 0; x < count; x++) {
        float y = luma(r[x], g[x], b[x]);

        r[x] = y + saturation * (r[x] - y);
        g[x] = y + saturation * (g[x] - y);
        b[x] = y + saturation * (b[x] - y);
    }
}

/* The same into other rows. */
LB_CLONES
static void saturated_row(float *restrict out_r, float *restrict out_g, float *restrict out_b,
                          const float *restrict r, const float *restrict g, const float *restrict b,
                          float saturation, int32_t count)
{
    for (int32_t x = 0; x < count; x++) {
        float y = luma(r[x], g[x], b[x]);

        out_r[x] = y + saturation * (r[x] - y);
        out_g[x] = y + saturation * (g[x] - y);
        out_b[x] = y + saturation * (b[x] - y);
    }
}

LB_CLONES
static void multiply_row(float *restrict row, const float *restrict alpha, int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        row[x] *= alpha[x] > 0.0f ? alpha[x] : 1.0f;
}

static bool is_saturation(const cdl_params *p)
{
    for (int c = 0; c < 3; c++)
        if (p->slope[c] != 1 || p->offset[c] != 0)
            return false;
    return true;
}

/* Only slope, offset and saturation: then straight colour is not needed. */
static bool is_affine(const cdl_params *p)
{
    return p->power[0] == 1 && p->power[1] == 1 && p->power[2] == 1 && !p->clamp;
}

static bool is_neutral(const cdl_params *p)
{
    for (int c = 0; c < 3; c++)
        if (p->slope[c] != 1 || p->offset[c] != 0 || p->power[c] != 1)
            return false;
    return p->saturation == 1 && !p->clamp;
}

static lb_status use(const lb_call *call, const lb_desc *own, uint64_t wanted, lb_points_use *out)
{
    if (is_neutral(call->params))
        lb_points_pass(call, own, wanted, 0, out);
    else
        lb_points_use_color(call, own, wanted, out);
    return LB_OK;
}

/* Clamps and powers of one component, in place. */
static void shape_row(const cdl_params *p, int c, float *row, const float *alpha, int32_t count)
{
    if (p->clamp)
        clamp_row(row, count);
    if (p->power[c] > 4)
        high_power_row(row, alpha, (float)p->power[c], count);
    else if (p->power[c] != 1)
        power_row(row, alpha, (float)p->power[c], count);
}

static void grade(const lb_call *call, const void *state, const lb_span *span)
{
    const cdl_params *p = call->params;
    const float *alpha = span->taps[3];
    float *const *rows = span->made;
    int32_t count = span->count;
    bool affine = is_affine(p), divide = !affine && !lb_row_is_one(alpha, count);

    (void)state;
    if (affine && is_saturation(p)) {
        saturated_row(rows[0], rows[1], rows[2], span->taps[0], span->taps[1], span->taps[2],
                      (float)p->saturation, count);
        return;
    }
    for (int c = 0; c < 3; c++) {
        (divide ? straight_slope_row : slope_row)(rows[c], span->taps[c], alpha, (float)p->slope[c],
                                                  (float)p->offset[c], count);
        shape_row(p, c, rows[c], alpha, count);
    }
    if (p->saturation != 1)
        saturate_row(rows[0], rows[1], rows[2], (float)p->saturation, count);
    for (int c = 0; c < 3; c++) {
        if (p->clamp)
            clamp_row(rows[c], count);
        if (divide)
            multiply_row(rows[c], alpha, count);
    }
}

static const lb_points points = {use, grade};

const lb_op lb_op_cdl = {
    .name = "cdl",
    .summary = "ASC CDL: slope, offset, power, saturation",
    .doc = "v = (in slope + offset)^power for each of red, green and blue, then saturation around "
           "luma; on straight colour, in the working space. Light without coverage (alpha 0) has "
           "slope and saturation only.",
    .group = "color",
    .example = "  dusk: {op: gradient, stops: [{color: \"#2b1d2e\"}, {color: \"#7a3b1d\"}]}\n"
               "  type: {op: text, text: KILN, size: 110, weight: 700, color: [3, 1.2, 0.3]}\n"
               "  lit: {op: composite, source: type, backdrop: dusk}\n"
               "  last: {op: cdl, image: lit, slope: [0.8, 0.95, 1.3], offset: [0, 0.01, 0.03], "
               "power: 0.9, saturation: 0.6}\n",
    .version = 3,
    .inputs = inputs,
    .params = params,
    .params_size = sizeof(cdl_params),
    .result = LB_KIND_IMAGE,
    .evaluate = lb_points_evaluate,
    .points = &points,
};
