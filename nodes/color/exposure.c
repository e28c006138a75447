/* nodes/color/exposure.c: light in stops. */
#include "engine/base/clones.h"
#include "engine/base/math.h"
#include "engine/graph/op.h"

typedef struct {
    double stops;
} exposure_params;

static const lb_input inputs[] = {{"image", LB_KIND_IMAGE, .doc = "Whose R, G and B are scaled."},
                                  {0}};

static const lb_param params[] = {
    LB_PARAM(exposure_params, stops, LB_NUMBER, .initial = {0}, .min = -64, .max = 64,
             .unit = LB_EV, .doc = "Each one doubles the light, below 0 halves it."),
    {0},
};

LB_CLONES
static void scale_row(float *row, float by, int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        row[x] *= by;
}

/* Light is linear, so premultiplied colour scales as it is. */
static void expose_row(const lb_task *task, void *context, float *const rows[4], int32_t count,
                       int32_t y)
{
    const float *by = context;

    (void)task, (void)y;
    for (int c = 0; c < 3; c++)
        scale_row(rows[c], *by, count);
}

static lb_status evaluate(const lb_task *task, lb_value *out)
{
    const exposure_params *p = task->call.params;
    float by = (float)lb_exp2(p->stops);

    return lb_image_map_rgba(task, task->inputs[0].image, expose_row, &by, &out->image);
}

const lb_op lb_op_exposure = {
    .name = "exposure",
    .summary = "Light in stops",
    .group = "color",
    .version = 1,
    .inputs = inputs,
    .params = params,
    .params_size = sizeof(exposure_params),
    .result = LB_KIND_IMAGE,
    .evaluate = evaluate,
};
