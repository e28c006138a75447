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
    .example =
        "  clay: {op: material, diffuse: \"#b3541e\", specular: 0.4, exponent: 40}\n"
        "  shape: {op: plane, size: [3, 2], rotation: [-60, 0, 0], material: clay}\n"
        "  lamp: {op: light, type: point, decay: none, intensity: 2.2, position: [3, 4, 5]}\n"
        "  sky: {op: light, type: ambient, intensity: 0.12}\n"
        "  eye: {op: camera, position: [0, 1.6, 5], target: [0, 0, 0], fov: 40}\n"
        "  stage: {op: group, items: [shape, lamp, sky], rotation: [0, 30, 0]}\n"
        "  last: {op: render, scene: stage, camera: eye, samples: 16}\n",
    .version = 1,
    .inputs = inputs,
    .params = params,
    .params_size = sizeof(plane_params),
    .result = LB_KIND_SCENE,
    .evaluate = evaluate,
};
