/* nodes/composite/composite.c: one picture over, in, or blended with another.
 *
 * W3C Compositing and Blending Level 1 in working-linear light. An image without alpha is opaque
 * where it has pixels; a one-channel image is grey. */
#include <string.h>

#include "engine/graph/operand.h"
#include "engine/graph/points.h"
#include "engine/image/composite.h"

enum { SOURCE, BACKDROP, MASK };

typedef struct {
    int porter_duff;
    int blend;
    double opacity;
} composite_params;

static const lb_input inputs[] = {
    {"source", LB_KIND_IMAGE, .doc = "What is put on the backdrop."},
    {"backdrop", LB_KIND_IMAGE,
     .doc = "What is behind it; its frame and its other layers become the result's."},
    {"mask", LB_KIND_IMAGE, .optional = true,
     .doc = "How much of the source there is, from 0 to 1: its alpha, its only channel, or "
            "its red."},
    {0}};

static const lb_param params[] = {
    LB_PARAM_AS(composite_params, porter_duff, "operator", LB_CHOICE, .names = lb_porter_duff_names,
                .initial = {LB_SOURCE_OVER},
                .doc = "Which parts of the two remain: Porter and Duff."),
    LB_PARAM(composite_params, blend, LB_CHOICE, .names = lb_blend_names,
             .initial = {LB_BLEND_NORMAL},
             .doc = "How their colours mix where both are; in linear light."),
    LB_PARAM(composite_params, opacity, LB_NUMBER, .initial = {1}, .min = 0, .max = 1,
             .doc = "Scales the source's colour and alpha before it is composited."),
    {0},
};

/* Where the operator's result can be other than transparent black: `s` and `b` are where source
 * and backdrop can be. */
static lb_box reach_of(lb_porter_duff rule, lb_box s, lb_box b)
{
    switch (rule) {
    case LB_CLEAR:
        return (lb_box){0};
    case LB_COPY:
    case LB_SOURCE_OUT:
    case LB_DESTINATION_ATOP:
        return s;
    case LB_DESTINATION:
    case LB_DESTINATION_OUT:
    case LB_SOURCE_ATOP:
        return b;
    case LB_SOURCE_IN:
    case LB_DESTINATION_IN:
        return lb_box_intersect(s, b);
    default:
        return lb_box_unite(s, b);
    }
}

/* R, G, B, A and the backdrop's other layers. A grey backdrop's Y becomes the three. */
static const lb_channels *result_channels(const lb_call *call, bool *others)
{
    static const char *const colors[] = {"R", "G", "B", "A"};
    const lb_channels *has = call->inputs[BACKDROP].channels;
    bool grey = lb_channels_find(has, "R") < 0;
    const char *names[LB_MAX_CHANNELS + 5];
    int32_t count = 4;

    memcpy(names, colors, sizeof colors);
    for (int32_t i = 0; i < has->count && count < LB_MAX_CHANNELS; i++)
        if (lb_channels_find(lb_channels_rgba(), has->names[i]) < 0 &&
            !(grey && strcmp(has->names[i], "Y") == 0))
            names[count++] = has->names[i];
    names[count] = NULL;
    *others = count > 4;
    return lb_channels_make(call->arena, names);
}

static lb_status describe(const lb_call *call, lb_desc *out)
{
    const composite_params *p = call->params;
    const lb_desc *source = &call->inputs[SOURCE], *backdrop = &call->inputs[BACKDROP];
    const lb_desc *mask = &call->inputs[MASK];
    lb_box reach = source->data_window;
    lb_status status = lb_mask_check(call, MASK, "mask");
    bool others;

    if (status != LB_OK)
        return status;
    if (mask->kind == LB_KIND_IMAGE)
        reach = lb_box_intersect(reach, mask->data_window);
    *out = *backdrop;
    out->data_window = reach_of((lb_porter_duff)p->porter_duff, reach, backdrop->data_window);
    out->channels = result_channels(call, &others);
    if (others)
        out->data_window = lb_box_unite(out->data_window, backdrop->data_window);
    return out->channels ? LB_OK : lb_fail(call->diag, LB_MEMORY, call->loc, "no memory");
}

static const char *const rgba[4] = {"R", "G", "B", "A"};

/* Taps of R, G, B, A of one picture; grey for three colours where it has Y instead. */
static void tap_picture(const lb_call *call, int32_t slot, lb_points_use *out)
{
    const lb_channels *has = call->inputs[slot].channels;
    bool grey = true;

    for (int c = 0; c < 3; c++)
        grey = grey && lb_channels_find(has, rgba[c]) < 0;
    for (int c = 0; c < 3; c++)
        lb_points_tap(call, slot, grey ? "Y" : rgba[c], out);
    lb_points_tap(call, slot, "A", out);
    if (lb_channels_find(has, "A") < 0) /* opaque where it has pixels */
        out->taps[out->tap_count - 1].channel = LB_TAP_INSIDE;
}

/* True if nothing of the source can be seen, so that it need not be made. */
static bool is_backdrop(const lb_call *call)
{
    const composite_params *p = call->params;

    for (int c = 0; c < 4; c++)
        if (lb_channels_find(call->inputs[BACKDROP].channels, rgba[c]) < 0)
            return false;
    switch ((lb_porter_duff)p->porter_duff) {
    case LB_DESTINATION:
        return true;
    case LB_SOURCE_OVER:
    case LB_DESTINATION_OVER:
    case LB_SOURCE_ATOP:
    case LB_DESTINATION_OUT:
    case LB_XOR:
    case LB_LIGHTER:
        return p->opacity == 0;
    default:
        return false;
    }
}

static lb_status use(const lb_call *call, const lb_desc *own, uint64_t wanted, lb_points_use *out)
{
    const lb_channels *mask = call->inputs[MASK].channels;

    lb_points_pass(call, own, wanted, BACKDROP, out);
    if (!(wanted & lb_channels_rgba_bits(own->channels)) || is_backdrop(call))
        return LB_OK;
    tap_picture(call, SOURCE, out);
    tap_picture(call, BACKDROP, out);
    if (call->inputs[MASK].kind == LB_KIND_IMAGE)
        lb_points_tap(call, MASK, lb_mask_channel(mask), out);
    for (int c = 0; c < 4; c++)
        out->made[out->made_count++] = lb_channels_find(own->channels, rgba[c]);
    return LB_OK;
}

static void composite(const lb_call *call, const void *state, const lb_span *span)
{
    const composite_params *p = call->params;
    const float *const *in = span->taps;
    lb_rgba_row source = {in[0], in[1], in[2], in[3]}, backdrop = {in[4], in[5], in[6], in[7]};
    lb_rgba_out out = {span->made[0], span->made[1], span->made[2], span->made[3]};
    float amount[LB_SPAN_MOST];
    const float *mask = call->inputs[MASK].kind == LB_KIND_IMAGE ? in[8] : NULL;

    (void)state;
    if (mask || p->opacity != 1)
        lb_mask_row(mask, (float)p->opacity, span->count, amount);
    lb_composite_row((lb_porter_duff)p->porter_duff, (lb_blend)p->blend, out, source, backdrop,
                     mask || p->opacity != 1 ? amount : NULL, span->count);
}

static const lb_points points = {use, composite};

const lb_op lb_op_composite = {
    .name = "composite",
    .summary = "One picture over, in, or blended with another",
    .doc = "co = Fa cs + Fb cb by the operator's fractions; a blend mode other than normal mixes "
           "the colours first where both pictures are (W3C Compositing and Blending Level 1). "
           "All of it in linear light.",
    .group = "composite",
    .example = "  dusk: {op: gradient, stops: [{color: \"#2b1d2e\"}, {color: \"#7a3b1d\"}]}\n"
               "  type: {op: text, text: KILN, size: 110, weight: 700, color: [3, 1.2, 0.3]}\n"
               "  pool: {op: gradient, type: radial, from: [160, 90], to: [160, 150], stops: "
               "[{color: \"#3d6b7d\"}, {color: \"#3d6b7d00\"}]}\n"
               "  below: {op: composite, source: pool, backdrop: dusk}\n"
               "  last: {op: composite, source: type, backdrop: below, blend: screen, opacity: "
               "0.8}\n",
    .version = 1,
    .inputs = inputs,
    .params = params,
    .params_size = sizeof(composite_params),
    .result = LB_KIND_IMAGE,
    .describe = describe,
    .evaluate = lb_points_evaluate,
    .points = &points,
};
