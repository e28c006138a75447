/* nodes/color/colorspace.c: what R, G and B mean.
 *
 * Between linear spaces the matrix works on premultiplied colour as it is. A transfer function does
 * not: then colour is made straight, converted, and multiplied by alpha again; where alpha is 0 or
 * less it is converted as it stands. */
#include <string.h>

#include "engine/base/clones.h"
#include "engine/color/space.h"
#include "engine/graph/operand.h"
#include "engine/graph/points.h"

typedef struct {
    int from, to;
} colorspace_params;

static const lb_input inputs[] = {
    {"image", LB_KIND_IMAGE, .doc = "Whose R, G and B are converted."}, {0}};

static const lb_param params[] = {
    LB_PARAM(colorspace_params, from, LB_CHOICE, .names = lb_space_names, .initial = {LB_UNSET},
             .doc = "The space that the numbers are in; by itself the working space. raw: nothing "
                    "is converted."),
    LB_PARAM(colorspace_params, to, LB_CHOICE, .names = lb_space_names, .initial = {LB_UNSET},
             .doc = "The space that is wanted; by itself the working space."),
    {0},
};

typedef struct conversion {
    lb_space from, to;
    bool curved; /* one of them has a transfer function */
} conversion;

static conversion conversion_of(const lb_call *call)
{
    const colorspace_params *p = call->params;
    conversion c = {.from = p->from < 0 ? call->format->working : (lb_space)p->from,
                    .to = p->to < 0 ? call->format->working : (lb_space)p->to};

    c.curved = lb_space_transfer(c.from) != LB_TRANSFER_LINEAR ||
               lb_space_transfer(c.to) != LB_TRANSFER_LINEAR;
    if (c.from == LB_SPACE_RAW || c.to == LB_SPACE_RAW)
        c.from = c.to = LB_SPACE_RAW;
    return c;
}

LB_CLONES
static void straighten_row(float *restrict out, const float *restrict in,
                           const float *restrict alpha, int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        out[x] = in[x] / (alpha[x] > 0.0f ? alpha[x] : 1.0f);
}

LB_CLONES
static void multiply_row(float *restrict row, const float *restrict alpha, int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        row[x] *= alpha[x] > 0.0f ? alpha[x] : 1.0f;
}

static lb_status use(const lb_call *call, const lb_desc *own, uint64_t wanted, lb_points_use *out)
{
    conversion made = conversion_of(call), *kept;

    if (made.from == made.to) {
        lb_points_pass(call, own, wanted, 0, out);
        return LB_OK;
    }
    if (!(kept = lb_arena_alloc(call->arena, 1, sizeof *kept)))
        return lb_fail(call->diag, LB_MEMORY, call->loc, "no memory");
    *kept = made;
    out->state = kept;
    lb_points_use_color(call, own, wanted, out);
    return LB_OK;
}

static void convert(const lb_call *call, const void *state, const lb_span *span)
{
    const conversion *c = state;
    const float *alpha = span->taps[3];
    bool divide = c->curved && !lb_row_is_one(alpha, span->count);

    (void)call;
    for (int i = 0; i < 3; i++)
        if (divide)
            straighten_row(span->made[i], span->taps[i], alpha, span->count);
        else
            memcpy(span->made[i], span->taps[i], (size_t)span->count * sizeof(float));
    lb_space_convert_row(c->from, c->to, span->made[0], span->made[1], span->made[2], span->count);
    for (int i = 0; divide && i < 3; i++)
        multiply_row(span->made[i], alpha, span->count);
}

static const lb_points points = {use, convert};

const lb_op lb_op_colorspace = {
    .name = "colorspace",
    .summary = "Conversion between colour spaces",
    .doc = "Every operator takes numbers to be linear in the working space, so this is for "
           "pictures that came in as raw, or to hand encoded numbers to an output that is raw.",
    .group = "color",
    .example = "  chart: {op: image, file: tile.png, space: raw}\n"
               "  last: {op: colorspace, image: chart, from: srgb}\n",
    .version = 1,
    .inputs = inputs,
    .params = params,
    .params_size = sizeof(colorspace_params),
    .result = LB_KIND_IMAGE,
    .evaluate = lb_points_evaluate,
    .points = &points,
};
