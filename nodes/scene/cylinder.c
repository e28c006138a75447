/* nodes/scene/cylinder.c: an upright cylinder with flat ends. */
#include "nodes/scene/place.h"

typedef struct {
    double radius, height;
    int32_t segments;
    place_params place;
} cylinder_params;

static const lb_input inputs[] = PLACE_SHAPE_INPUTS;

static const lb_param params[] = {
    LB_PARAM(cylinder_params, radius, LB_NUMBER, .initial = {1}, .min = 1e-6, .max = 1e6,
             .unit = LB_SCENE_UNITS, .doc = "From the axis to the wall."),
    LB_PARAM(cylinder_params, height, LB_NUMBER, .initial = {2}, .min = 1e-6, .max = 1e6,
             .unit = LB_SCENE_UNITS, .doc = "From end to end, along y."),
    LB_PARAM(cylinder_params, segments, LB_INT, .initial = {96}, .min = 3, .max = 4096,
             .doc = "Faces round the wall."),
    PLACE_PARAMS(cylinder_params),
    {0},
};

static lb_status evaluate(const lb_task *task, lb_value *out)
{
    const cylinder_params *p = task->call.params;
    lb_mesh *mesh;
    lb_status status = lb_mesh_cylinder(p->radius, p->height, p->segments, &mesh);

    return status ? status : place_mesh(task, &p->place, mesh, &out->scene);
}

const lb_op lb_op_cylinder = {
    .name = "cylinder",
    .summary = "A cylinder with flat ends",
    .doc = "It stands upright (y). A texture is wound round the wall once, with its middle to the "
           "front (+z), and its largest disc lies on each end.",
    .group = "scene",
    .version = 1,
    .inputs = inputs,
    .params = params,
    .params_size = sizeof(cylinder_params),
    .result = LB_KIND_SCENE,
    .evaluate = evaluate,
};
