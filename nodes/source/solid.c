/* nodes/source/solid.c: one colour over the whole frame. */
#include "engine/graph/op.h"

typedef struct {
    double color[4];
} solid_params;

static const lb_param params[] = {
    LB_PARAM(solid_params, color, LB_COLOR, .initial = {0, 0, 0, 1}, .usual_min = -200,
             .usual_max = 200, .doc = "The colour, with straight alpha; it fills the frame."),
    {0},
};

/* Constant planes: a row of memory each, whatever the height. */
static lb_status evaluate(const lb_task *task, lb_value *out)
{
    static const char *const names[4] = {"R", "G", "B", "A"};
    const double *color = ((const solid_params *)task->call.params)->color;
    lb_status status = lb_task_image(task, &out->image);

    for (int c = 0; c < 4 && status == LB_OK; c++) {
        lb_plane *plane = NULL;

        if (!lb_task_wants(task, names[c]))
            continue;
        status = lb_plane_new_constant(task->box, (float)(c < 3 ? color[c] * color[3] : color[3]),
                                       &plane);
        if (status == LB_OK)
            status = lb_image_add(out->image, names[c], plane);
        lb_plane_unref(&plane);
    }
    if (status != LB_OK)
        lb_image_unref(&out->image);
    return status;
}

const lb_op lb_op_solid = {
    .name = "solid",
    .summary = "One colour over the whole frame",
    .group = "source",
    .example = "  last: {op: solid, color: \"#b3541e\"}\n",
    .version = 1,
    .params = params,
    .params_size = sizeof(solid_params),
    .result = LB_KIND_IMAGE,
    .evaluate = evaluate,
};
