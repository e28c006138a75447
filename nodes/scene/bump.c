/* nodes/scene/bump.c: a picture of heights or of normals as a texture. */
#include "nodes/scene/mapping.h"

enum { FROM_HEIGHT, FROM_NORMAL };
static const char *const from_names[] = {"height", "normal", NULL};

typedef struct {
    int from;
    double scale;
    mapping_params map;
} bump_params;

static const lb_input inputs[] = {
    {"image", LB_KIND_IMAGE, .native = true, .doc = "The picture: its whole frame; read it raw."},
    {0},
};

static const lb_param params[] = {
    LB_PARAM(bump_params, from, LB_CHOICE, .names = from_names, .initial = {FROM_HEIGHT},
             .doc = "Whether its numbers are heights, or in red, green and blue the x, y and z of "
                    "directions as glTF has them."),
    LB_PARAM(bump_params, scale, LB_NUMBER, .initial = {1}, .min = -1e6, .max = 1e6,
             .usual_min = -100, .usual_max = 100,
             .doc = "Height: scene units for the value 1. Normal: factor of x and y."),
    MAPPING_PARAMS(bump_params),
    {0},
};

static lb_status evaluate(const lb_task *task, lb_value *out)
{
    const bump_params *p = task->call.params;
    lb_texture_map map = mapping_of(&p->map);

    map.role = p->from == FROM_NORMAL ? LB_TEXTURE_NORMAL : LB_TEXTURE_HEIGHT;
    map.scale = p->scale;
    return mapping_texture(task, &map, &out->texture);
}

const lb_op lb_op_bump = {
    .name = "bump",
    .summary = "Relief from a picture of heights or normals",
    .doc =
        "For the bump or normal map of a material. It is laid on as uv does it. Only the light on "
        "the surface changes, not its outline. Of a picture in colour the red channel is the "
        "height.",
    .group = "scene",
    .example =
        "  rings: {op: gradient, type: radial, spread: reflect, from: [160, 90], to: [172, "
        "90], stops: [{color: [0, 0, 0]}, {color: [1, 1, 1]}]}\n"
        "  relief: {op: bump, image: rings, scale: 0.04}\n"
        "  clay: {op: material, diffuse: \"#b3541e\", specular: 0.15, exponent: 30, bump-map: "
        "relief}\n"
        "  shape: {op: plane, size: [4, 2.25], rotation: [-25, 0, 0], material: clay}\n"
        "  lamp: {op: light, type: point, decay: none, intensity: 2.2, position: [3, 4, 5]}\n"
        "  sky: {op: light, type: ambient, intensity: 0.12}\n"
        "  eye: {op: camera, position: [0, 1.6, 5], target: [0, 0, 0], fov: 40}\n"
        "  stage: {op: group, items: [shape, lamp, sky]}\n"
        "  last: {op: render, scene: stage, camera: eye, samples: 16}\n",
    .version = 1,
    .inputs = inputs,
    .params = params,
    .params_size = sizeof(bump_params),
    .result = LB_KIND_TEXTURE,
    .evaluate = evaluate,
};
