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
             .usual_max = 10, .spread = true, .doc = "Multiplies red, green and blue."),
    LB_PARAM(cdl_params, offset, LB_VEC3, .initial = {0, 0, 0}, .min = -65504, .max = 65504,
             .spread = true, .doc = "Is added then."),
    LB_PARAM(cdl_params, power, LB_VEC3, .initial = {1, 1, 1}, .min = 0.001, .max = 1000,
             .usual_min = 0.1, .usual_max = 10, .spread = true, .doc = "The exponent of the sum."),
    LB_PARAM(cdl_params, saturation, LB_NUMBER, .initial = {1}, .min = 0, .max = 1000,
             .usual_max = 4,
             .doc = "Distance from grey of the same luma (Rec. 709 weights), last."),
    LB_PARAM(cdl_params, clamp, LB_BOOL, .initial = {false},
             .doc = "Keeps values within 0 and 1 before the power and at the end; without it "
                    "negative values pass the power unchanged."),
    {0},
};

/* The parameters as the loops take them. */
typedef struct grade {
    float slope[3], offset[3], saturation;
    lb_power power[3]; /* where it is at most 4 */
} grade;

/* Slope and offset of premultiplied colour, (c / a s + o) a = c s + o a, all components at once. */
LB_CLONES
static void slope_rows(float *restrict out_r, float *restrict out_g, float *restrict out_b,
                       const float *restrict r, const float *restrict g, const float *restrict b,
                       const float *restrict alpha, const grade *by, int32_t count)
{
    float slope_r = by->slope[0], slope_g = by->slope[1], slope_b = by->slope[2];
    float offset_r = by->offset[0], offset_g = by->offset[1], offset_b = by->offset[2];

    for (int32_t x = 0; x < count; x++) {
        float a = alpha[x] > 0.0f ? alpha[x] : 0.0f;

        out_r[x] = r[x] * slope_r + a * offset_r;
        out_g[x] = g[x] * slope_g + a * offset_g;
        out_b[x] = b[x] * slope_b + a * offset_b;
    }
}

/* Slope and offset of straight colour, from premultiplied. */
LB_CLONES
static void straight_slope_row(float *restrict out, const float *restrict in,
                               const float *restrict alpha, float slope, float offset,
                               int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        out[x] =
            in[x] / (alpha[x] > 0.0f ? alpha[x] : 1.0f) * slope + (alpha[x] > 0.0f ? offset : 0.0f);
}

/* Slope, offset and power where alpha is 1: the same as the row above and the row below. */
LB_CLONES
static void opaque_power_row(float *restrict out, const float *restrict in, float slope,
                             float offset, lb_power power, int32_t count)
{
    for (int32_t x = 0; x < count; x++) {
        float value = in[x] * slope + offset, raised = lb_powf_quick(value, power);

        out[x] = value > 0.0f ? raised : value;
    }
}

LB_CLONES
static void power_row(float *restrict row, const float *restrict alpha, lb_power power,
                      int32_t count)
{
    for (int32_t x = 0; x < count; x++) {
        float raised = lb_powf_quick(row[x], power);

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

LB_CLONES
static void clamp_row(float *row, int32_t count)
{
    for (int32_t x = 0; x < count; x++) {
        row[x] = row[x] > 0.0f ? row[x] : 0.0f;
        row[x] = row[x] < 1.0f ? row[x] : 1.0f;
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
    return is_affine(p) && is_saturation(p) && p->saturation == 1;
}

/* Whether lb_powf_quick can raise to it. */
static bool is_quick(double power)
{
    return power <= 4;
}

static lb_status use(const lb_call *call, const lb_desc *own, uint64_t wanted, lb_points_use *out)
{
    const cdl_params *p = call->params;
    grade *by;

    if (is_neutral(p)) {
        lb_points_pass(call, own, wanted, 0, out);
        return LB_OK;
    }
    if (!(by = lb_arena_alloc(call->arena, 1, sizeof *by)))
        return lb_fail(call->diag, LB_MEMORY, call->loc, "no memory");
    by->saturation = (float)p->saturation;
    for (int c = 0; c < 3; c++) {
        by->slope[c] = (float)p->slope[c];
        by->offset[c] = (float)p->offset[c];
        if (is_quick(p->power[c]))
            by->power[c] = lb_power_of((float)p->power[c]);
    }
    out->state = by;
    lb_points_use_color(call, own, wanted, out);
    return LB_OK;
}

/* Slope, offset, clamp and power of one component, into straight colour. */
static void shape_row(const cdl_params *p, const grade *by, int c, float *row, const float *in,
                      const float *alpha, bool opaque, int32_t count)
{
    bool quick = is_quick(p->power[c]);

    if (opaque && quick && p->power[c] != 1 && !p->clamp) {
        opaque_power_row(row, in, by->slope[c], by->offset[c], by->power[c], count);
        return;
    }
    straight_slope_row(row, in, alpha, by->slope[c], by->offset[c], count);
    if (p->clamp)
        clamp_row(row, count);
    if (!quick)
        high_power_row(row, alpha, (float)p->power[c], count);
    else if (p->power[c] != 1)
        power_row(row, alpha, by->power[c], count);
}

static void make_span(const lb_call *call, const void *state, const lb_span *span)
{
    const cdl_params *p = call->params;
    const grade *by = state;
    const float *const *in = span->taps, *alpha = in[3];
    float *const *rows = span->made;
    int32_t count = span->count;
    bool affine = is_affine(p), opaque = !affine && lb_row_is_one(alpha, count);

    if (affine && is_saturation(p)) {
        saturated_row(rows[0], rows[1], rows[2], in[0], in[1], in[2], by->saturation, count);
        return;
    }
    if (affine)
        slope_rows(rows[0], rows[1], rows[2], in[0], in[1], in[2], alpha, by, count);
    for (int c = 0; !affine && c < 3; c++)
        shape_row(p, by, c, rows[c], in[c], alpha, opaque, count);
    if (p->saturation != 1)
        saturate_row(rows[0], rows[1], rows[2], by->saturation, count);
    for (int c = 0; !affine && c < 3; c++) {
        if (p->clamp)
            clamp_row(rows[c], count);
        if (!opaque)
            multiply_row(rows[c], alpha, count);
    }
}

static const lb_points points = {use, make_span};

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
    .version = 4,
    .inputs = inputs,
    .params = params,
    .params_size = sizeof(cdl_params),
    .result = LB_KIND_IMAGE,
    .evaluate = lb_points_evaluate,
    .points = &points,
};
