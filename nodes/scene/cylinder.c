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
             .usual_min = 3, .usual_max = 1024, .doc = "Faces round the wall."),
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
    .example =
        "  clay: {op: material, diffuse: \"#b3541e\", specular: 0.4, exponent: 40}\n"
        "  shape: {op: cylinder, radius: 0.9, height: 2, material: clay}\n"
        "  lamp: {op: light, type: point, decay: none, intensity: 2.2, position: [3, 4, 5]}\n"
        "  sky: {op: light, type: ambient, intensity: 0.12}\n"
        "  eye: {op: camera, position: [0, 1.6, 5], target: [0, 0, 0], fov: 40}\n"
        "  stage: {op: group, items: [shape, lamp, sky], rotation: [0, 30, 0]}\n"
        "  last: {op: render, scene: stage, camera: eye, samples: 16}\n",
    .version = 1,
    .inputs = inputs,
    .params = params,
    .params_size = sizeof(cylinder_params),
    .result = LB_KIND_SCENE,
    .evaluate = evaluate,
};
