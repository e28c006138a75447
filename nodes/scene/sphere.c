/* nodes/scene/sphere.c: a ball of triangles between circles of latitude and longitude. */
#include "nodes/scene/place.h"

typedef struct {
    double radius;
    int32_t segments;
    place_params place;
} sphere_params;

static const lb_input inputs[] = PLACE_SHAPE_INPUTS;

static const lb_param params[] = {
    LB_PARAM(sphere_params, radius, LB_NUMBER, .initial = {1}, .min = 1e-6, .max = 1e6,
             .unit = LB_SCENE_UNITS, .doc = "From the middle to the surface."),
    LB_PARAM(sphere_params, segments, LB_INT, .initial = {96}, .min = 4, .max = 2048,
             .usual_min = 4, .usual_max = 1024,
             .doc = "Faces round the equator; half as many from pole to pole."),
    PLACE_PARAMS(sphere_params),
    {0},
};

static lb_status evaluate(const lb_task *task, lb_value *out)
{
    const sphere_params *p = task->call.params;
    lb_mesh *mesh;
    lb_status status = lb_mesh_sphere(p->radius, p->segments, p->segments / 2, &mesh);

    return status ? status : place_mesh(task, &p->place, mesh, &out->scene);
}

const lb_op lb_op_sphere = {
    .name = "sphere",
    .summary = "A sphere",
    .doc =
        "Its poles are up and down (y). A texture lies on it as a map on a globe, with its middle "
        "to the front (+z).",
    .group = "scene",
    .example =
        "  clay: {op: material, diffuse: \"#b3541e\", specular: 0.4, exponent: 40}\n"
        "  shape: {op: sphere, radius: 1.4, material: clay}\n"
        "  lamp: {op: light, type: point, decay: none, intensity: 2.2, position: [3, 4, 5]}\n"
        "  sky: {op: light, type: ambient, intensity: 0.12}\n"
        "  eye: {op: camera, position: [0, 1.6, 5], target: [0, 0, 0], fov: 40}\n"
        "  stage: {op: group, items: [shape, lamp, sky], rotation: [0, 30, 0]}\n"
        "  last: {op: render, scene: stage, camera: eye, samples: 16}\n",
    .version = 1,
    .inputs = inputs,
    .params = params,
    .params_size = sizeof(sphere_params),
    .result = LB_KIND_SCENE,
    .evaluate = evaluate,
};
