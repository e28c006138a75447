/* nodes/filter/crop.c: a part of a picture, in its place.
 *
 * An edge between pixels leaves that share of the pixel that it cuts, so a moving edge does not
 * jump. Depth, normals and ids are kept whole there. Of a picture without alpha a share of a pixel
 * would be a dark seam: there edges go to the nearest whole pixel. */
#include <string.h>

#include "engine/base/clones.h"
#include "engine/graph/operand.h"
#include "engine/graph/points.h"

typedef struct {
    double box[4];
} crop_params;

static const lb_input inputs[] = {{"image", LB_KIND_IMAGE, .doc = "What is cropped."}, {0}};

static const lb_param params[] = {
    LB_PARAM(crop_params, box, LB_VEC4, .required = true, .min = -1e6, .max = 1e6,
             .unit = LB_PIXELS,
             .doc = "[x0, y0, x1, y1]: left, top, right and bottom edge of what remains. The "
                    "picture keeps its place and its frame."),
    {0},
};

/* The edges as they are used. */
static void edges(const lb_call *call, double b[4])
{
    const lb_channels *has = call->inputs[0].channels;
    bool whole = lb_channels_find(has, "R") >= 0 && lb_channels_find(has, "A") < 0;

    memcpy(b, ((const crop_params *)call->params)->box, 4 * sizeof *b);
    for (int i = 0; whole && i < 4; i++)
        b[i] = floor(b[i] + 0.5);
}

static lb_status describe(const lb_call *call, lb_desc *out)
{
    double b[4];

    edges(call, b);
    *out = call->inputs[0];
    out->data_window =
        b[0] < b[2] && b[1] < b[3]
            ? lb_box_intersect(out->data_window, lb_box_around(b[0], b[1], b[2], b[3]))
            : (lb_box){0};
    return LB_OK;
}

/* How much of pixel [i, i + 1) is between `low` and `high`. */
static double share(int32_t i, double low, double high)
{
    double from = low > i ? low : i, to = high < i + 1 ? high : i + 1;

    return to > from ? to - from : 0;
}

static bool is_soft(const double b[4])
{
    for (int i = 0; i < 4; i++)
        if (b[i] != floor(b[i]))
            return true;
    return false;
}

/* Colour and coverage that an edge cuts; everything else passes. */
static lb_status use(const lb_call *call, const lb_desc *own, uint64_t wanted, lb_points_use *out)
{
    double b[4];

    edges(call, b);
    lb_points_pass(call, own, wanted, 0, out);
    for (int32_t i = 0; is_soft(b) && i < own->channels->count; i++) {
        if (!(wanted >> i & 1) || !lb_channel_is_color(own->channels->names[i]))
            continue;
        lb_points_tap(call, 0, own->channels->names[i], out);
        out->made[out->made_count++] = i;
    }
    return LB_OK;
}

LB_CLONES
static void multiply_row(float *restrict out, const float *restrict in, const float *restrict by,
                         float scale, int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        out[x] = in[x] * (by[x] * scale);
}

static void cut(const lb_call *call, const void *state, const lb_span *span)
{
    float columns[LB_SPAN_MOST], rows;
    double b[4];

    (void)state;
    edges(call, b);
    rows = (float)share(span->y, b[1], b[3]);
    for (int32_t x = 0; x < span->count; x++)
        columns[x] = (float)share(span->x + x, b[0], b[2]);
    for (int32_t i = 0; i < span->made_count; i++)
        multiply_row(span->made[i], span->taps[i], columns, rows, span->count);
}

static const lb_points points = {use, cut};

const lb_op lb_op_crop = {
    .name = "crop",
    .summary = "A part of a picture, in its place",
    .group = "filter",
    .example = "  dusk: {op: gradient, stops: [{color: \"#2b1d2e\"}, {color: \"#7a3b1d\"}]}\n"
               "  type: {op: text, text: KILN, size: 110, weight: 700, color: [3, 1.2, 0.3]}\n"
               "  lit: {op: composite, source: type, backdrop: dusk}\n"
               "  last: {op: crop, image: lit, box: [40, 45, 280, 135]}\n",
    .version = 1,
    .inputs = inputs,
    .params = params,
    .params_size = sizeof(crop_params),
    .result = LB_KIND_IMAGE,
    .describe = describe,
    .evaluate = lb_points_evaluate,
    .points = &points,
};
