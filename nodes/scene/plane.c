/* nodes/scene/plane.c: a flat rectangle. */
#include "nodes/scene/place.h"

typedef struct {
    double size[2];
    int32_t segments;
    place_params place;
} plane_params;

static const lb_input inputs[] = PLACE_SHAPE_INPUTS;

static const lb_param params[] = {
    LB_PARAM(plane_params, size, LB_VEC2, .initial = {2, 2}, .min = 1e-6, .max = 1e6,
             .unit = LB_SCENE_UNITS, .spread = true,
             .doc = "Width and height; one number makes a square."),
    LB_PARAM(plane_params, segments, LB_INT, .initial = {1}, .min = 1, .max = 2048,
             .doc = "Faces along each side."),
    PLACE_PARAMS(plane_params),
    {0},
};

static lb_status evaluate(const lb_task *task, lb_value *out)
{
    const plane_params *p = task->call.params;
    lb_mesh *mesh;
    lb_status status = lb_mesh_plane(p->size[0], p->size[1], p->segments, p->segments, &mesh);

    return status ? status : place_mesh(task, &p->place, mesh, &out->scene);
}

const lb_op lb_op_plane = {
    .name = "plane",
    .summary = "A flat rectangle",
    .doc = "It faces the front (+z), so a camera that is not turned sees all of a texture on it, "
           "upright.",
    .group = "scene",
    .version = 1,
    .inputs = inputs,
    .params = params,
    .params_size = sizeof(plane_params),
    .result = LB_KIND_SCENE,
    .evaluate = evaluate,
};
