/* nodes/color/exposure.c: light in stops. */
#include "engine/base/clones.h"
#include "engine/base/math.h"
#include "engine/graph/points.h"

typedef struct {
    double stops;
} exposure_params;

static const lb_input inputs[] = {{"image", LB_KIND_IMAGE, .doc = "Whose R, G and B are scaled."},
                                  {0}};

static const lb_param params[] = {
    LB_PARAM(exposure_params, stops, LB_NUMBER, .initial = {0}, .min = -64, .max = 64,
             .unit = LB_EV, .usual_min = -12, .usual_max = 12,
             .doc = "Each one doubles the light, below 0 halves it."),
    {0},
};

LB_CLONES
static void scale_rows(float *restrict out_r, float *restrict out_g, float *restrict out_b,
                       const float *restrict r, const float *restrict g, const float *restrict b,
                       float by, int32_t count)
{
    for (int32_t x = 0; x < count; x++) {
        out_r[x] = r[x] * by;
        out_g[x] = g[x] * by;
        out_b[x] = b[x] * by;
    }
}

static lb_status use(const lb_call *call, const lb_desc *own, uint64_t wanted, lb_points_use *out)
{
    const exposure_params *p = call->params;
    float *by = lb_arena_alloc(call->arena, 1, sizeof *by);

    if (!by)
        return lb_fail(call->diag, LB_MEMORY, call->loc, "no memory");
    *by = (float)lb_exp2(p->stops);
    out->state = by;
    lb_points_use_color(call, own, wanted, out);
    return LB_OK;
}

/* Light is linear, so premultiplied colour scales as it is. */
static void expose(const lb_call *call, const void *state, const lb_span *span)
{
    (void)call;
    scale_rows(span->made[0], span->made[1], span->made[2], span->taps[0], span->taps[1],
               span->taps[2], *(const float *)state, span->count);
}

static const lb_points points = {use, expose};

const lb_op lb_op_exposure = {
    .name = "exposure",
    .summary = "Light in stops",
    .group = "color",
    .example = "  dusk: {op: gradient, stops: [{color: \"#2b1d2e\"}, {color: \"#7a3b1d\"}]}\n"
               "  type: {op: text, text: KILN, size: 110, weight: 700, color: [3, 1.2, 0.3]}\n"
               "  lit: {op: composite, source: type, backdrop: dusk}\n"
               "  last: {op: exposure, image: lit, stops: -1.5}\n",
    .version = 1,
    .inputs = inputs,
    .params = params,
    .params_size = sizeof(exposure_params),
    .result = LB_KIND_IMAGE,
    .evaluate = lb_points_evaluate,
    .points = &points,
};
