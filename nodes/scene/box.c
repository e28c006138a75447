/* nodes/scene/box.c: a cuboid. */
#include "nodes/scene/place.h"

typedef struct {
    double size[3];
    place_params place;
} box_params;

static const lb_input inputs[] = PLACE_SHAPE_INPUTS;

static const lb_param params[] = {
    LB_PARAM(box_params, size, LB_VEC3, .initial = {2, 2, 2}, .min = 1e-6, .max = 1e6,
             .unit = LB_SCENE_UNITS, .spread = true,
             .doc = "Along x, y and z; one number makes a cube."),
    PLACE_PARAMS(box_params),
    {0},
};

static lb_status evaluate(const lb_task *task, lb_value *out)
{
    const box_params *p = task->call.params;
    lb_mesh *mesh;
    lb_status status = lb_mesh_box(p->size[0], p->size[1], p->size[2], &mesh);

    return status ? status : place_mesh(task, &p->place, mesh, &out->scene);
}

const lb_op lb_op_box = {
    .name = "box",
    .summary = "A box",
    .doc = "A texture lies whole on each of its faces.",
    .group = "scene",
    .example =
        "  clay: {op: material, diffuse: \"#b3541e\", specular: 0.4, exponent: 40}\n"
        "  shape: {op: box, size: [2.2, 1.4, 1.4], material: clay}\n"
        "  lamp: {op: light, type: point, decay: none, intensity: 2.2, position: [3, 4, 5]}\n"
        "  sky: {op: light, type: ambient, intensity: 0.12}\n"
        "  eye: {op: camera, position: [0, 1.6, 5], target: [0, 0, 0], fov: 40}\n"
        "  stage: {op: group, items: [shape, lamp, sky], rotation: [0, 30, 0]}\n"
        "  last: {op: render, scene: stage, camera: eye, samples: 16}\n",
    .version = 1,
    .inputs = inputs,
    .params = params,
    .params_size = sizeof(box_params),
    .result = LB_KIND_SCENE,
    .evaluate = evaluate,
};
