/* nodes/channel/premultiply.c: straight colour made premultiplied. */
#include "engine/base/clones.h"
#include "nodes/channel/alpha.h"

static const lb_input inputs[] = {
    {"image", LB_KIND_IMAGE,
     .doc = "A picture with straight colour; without alpha it stays as it is."},
    {0}};

LB_CLONES
static void multiply_row(float *restrict out, const float *restrict in, const float *restrict alpha,
                         int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        out[x] = in[x] * alpha[x];
}

static void multiply(const lb_call *call, const void *state, const lb_span *span)
{
    (void)call, (void)state;
    for (int c = 0; c < 3; c++)
        multiply_row(span->made[c], span->taps[c], span->taps[3], span->count);
}

static const lb_points points = {alpha_use, multiply};

const lb_op lb_op_premultiply = {
    .name = "premultiply",
    .summary = "Colour times alpha",
    .doc = "Every operator takes colour to be premultiplied. This is for pictures that came in "
           "with straight colour.",
    .group = "channel",
    .example = "  dusk: {op: gradient, stops: [{color: \"#2b1d2e\"}, {color: \"#7a3b1d\"}]}\n"
               "  type: {op: text, text: KILN, size: 110, weight: 700, color: [3, 1.2, 0.3]}\n"
               "  straight: {op: unpremultiply, image: type}\n"
               "  again: {op: premultiply, image: straight}\n"
               "  last: {op: composite, source: again, backdrop: dusk}\n",
    .version = 1,
    .inputs = inputs,
    .result = LB_KIND_IMAGE,
    .evaluate = lb_points_evaluate,
    .points = &points,
};
