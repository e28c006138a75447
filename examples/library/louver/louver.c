/* examples/library/louver/louver.c: an operator in a shared object. */
#include "engine/graph/object.h"

typedef struct {
    double pitch, gap, through;
} louver_params;

static const lb_input inputs[] = {{"image", LB_KIND_IMAGE, .doc = "What is seen through it."}, {0}};

static const lb_param params[] = {
    LB_PARAM(louver_params, pitch, LB_NUMBER, .initial = {8}, .min = 1, .max = 10000,
             .unit = LB_PIXELS, .doc = "From one slat to the next."),
    LB_PARAM(louver_params, gap, LB_NUMBER, .initial = {4}, .min = 0, .max = 10000,
             .unit = LB_PIXELS, .doc = "How much of that is open."),
    LB_PARAM(louver_params, through, LB_NUMBER, .initial = {0.25}, .min = 0, .max = 1,
             .doc = "The light that a slat lets through."),
    {0},
};

/* Said once, before a pixel is made, with the line of the graph that it is about. */
static lb_status check(const lb_call *call)
{
    const louver_params *p = call->params;

    if (p->gap > p->pitch)
        return lb_fail(call->diag, LB_INVALID, lb_call_loc(call, "gap"),
                       "'gap' is %g; it is at most 'pitch', %g", p->gap, p->pitch);
    return LB_OK;
}

/* Row y belongs to a slat if its middle does. */
static float light(const louver_params *p, int32_t y)
{
    double at = (y + 0.5) - floor((y + 0.5) / p->pitch) * p->pitch;

    return at < p->gap ? 1.0f : (float)p->through;
}

static lb_status shade_plane(const lb_task *task, const lb_plane *in, lb_plane **out)
{
    lb_box box = task->box;
    lb_status status = lb_plane_copy(in, box, out);

    for (int32_t y = box.y0; status == LB_OK && y < box.y1; y++) {
        float *row = lb_plane_row_to_fill(*out, y), by = light(task->call.params, y);

        for (int32_t x = 0; x < box.x1 - box.x0; x++)
            row[x] *= by;
    }
    return status;
}

/* Colour is premultiplied, so alpha thins with it: what is behind shines through the gaps. */
static lb_status evaluate(const lb_task *task, lb_value *out)
{
    return lb_image_map(task, task->inputs[0].image, shade_plane, &out->image);
}

static const lb_op louver = {
    .name = "louver",
    .summary = "Slats that let less light through",
    .group = "filter",
    .version = 1,
    .inputs = inputs,
    .params = params,
    .params_size = sizeof(louver_params),
    .result = LB_KIND_IMAGE,
    .check = check,
    .evaluate = evaluate,
};

LB_OPERATORS(&louver)
