/* nodes/channel/unpremultiply.c: premultiplied colour made straight. */
#include "engine/base/clones.h"
#include "nodes/channel/alpha.h"

static const lb_input inputs[] = {
    {"image", LB_KIND_IMAGE, .doc = "A picture with premultiplied colour."}, {0}};

LB_CLONES
static void divide_row(float *restrict out, const float *restrict in, const float *restrict alpha,
                       int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        out[x] = in[x] / (alpha[x] > 0.0f ? alpha[x] : 1.0f);
}

static void divide(const lb_call *call, const void *state, const lb_span *span)
{
    (void)call, (void)state;
    for (int c = 0; c < 3; c++)
        divide_row(span->made[c], span->taps[c], span->taps[3], span->count);
}

static const lb_points points = {alpha_use, divide};

const lb_op lb_op_unpremultiply = {
    .name = "unpremultiply",
    .summary = "Colour divided by alpha",
    .doc = "For handing straight colour to something outside, or to `premultiply` again after a "
           "step of your own. Where alpha is 0 or less the colour stays as it is.",
    .group = "channel",
    .example = "  type: {op: text, text: KILN, size: 110, weight: 700, color: [3, 1.2, 0.3]}\n"
               "  soft: {op: blur, image: type, sigma: 8}\n"
               "  last: {op: unpremultiply, image: soft}\n",
    .version = 1,
    .inputs = inputs,
    .result = LB_KIND_IMAGE,
    .evaluate = lb_points_evaluate,
    .points = &points,
};
