/* nodes/scene/torus.c: a ring. */
#include "nodes/scene/place.h"

typedef struct {
    double radius, tube;
    int32_t segments;
    place_params place;
} torus_params;

static const lb_input inputs[] = PLACE_SHAPE_INPUTS;

static const lb_param params[] = {
    LB_PARAM(torus_params, radius, LB_NUMBER, .initial = {1}, .min = 1e-6, .max = 1e6,
             .unit = LB_SCENE_UNITS, .doc = "From the axis (y) to the middle of the tube."),
    LB_PARAM(torus_params, tube, LB_NUMBER, .initial = {0.25}, .min = 1e-6, .max = 1e6,
             .unit = LB_SCENE_UNITS, .doc = "Radius of the tube."),
    LB_PARAM(torus_params, segments, LB_INT, .initial = {96}, .min = 6, .max = 2048, .usual_min = 6,
             .usual_max = 1024, .doc = "Faces round the axis; half as many round the tube."),
    PLACE_PARAMS(torus_params),
    {0},
};

static lb_status check(const lb_call *call)
{
    const torus_params *p = call->params;

    if (p->tube > p->radius)
        return lb_fail(call->diag, LB_INVALID, lb_call_loc(call, "tube"),
                       "'tube' is %g; a ring of radius %g takes one up to that", p->tube,
                       p->radius);
    return LB_OK;
}

static lb_status evaluate(const lb_task *task, lb_value *out)
{
    const torus_params *p = task->call.params;
    lb_mesh *mesh;
    lb_status status = lb_mesh_torus(p->radius, p->tube, p->segments, p->segments / 2, &mesh);

    return status ? status : place_mesh(task, &p->place, mesh, &out->scene);
}

const lb_op lb_op_torus = {
    .name = "torus",
    .summary = "A ring",
    .doc = "It lies flat: its axis is up (y).",
    .group = "scene",
    .example =
        "  clay: {op: material, diffuse: \"#b3541e\", specular: 0.4, exponent: 40}\n"
        "  shape: {op: torus, radius: 1.2, tube: 0.35, rotation: [30, 0, 0], material: "
        "clay}\n"
        "  lamp: {op: light, type: point, decay: none, intensity: 2.2, position: [3, 4, 5]}\n"
        "  sky: {op: light, type: ambient, intensity: 0.12}\n"
        "  eye: {op: camera, position: [0, 1.6, 5], target: [0, 0, 0], fov: 40}\n"
        "  stage: {op: group, items: [shape, lamp, sky], rotation: [0, 30, 0]}\n"
        "  last: {op: render, scene: stage, camera: eye, samples: 16}\n",
    .version = 1,
    .inputs = inputs,
    .params = params,
    .params_size = sizeof(torus_params),
    .result = LB_KIND_SCENE,
    .check = check,
    .evaluate = evaluate,
};
