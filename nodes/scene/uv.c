/* nodes/scene/uv.c: a picture as a texture. */
#include "nodes/scene/mapping.h"

typedef struct {
    mapping_params map;
} uv_params;

static const lb_input inputs[] = {
    {"image", LB_KIND_IMAGE, .native = true, .doc = "The picture: its whole frame."},
    {0},
};

static const lb_param params[] = {MAPPING_PARAMS(uv_params), {0}};

static lb_status evaluate(const lb_task *task, lb_value *out)
{
    const uv_params *p = task->call.params;
    lb_texture_map map = mapping_of(&p->map);

    return mapping_texture(task, &map, &out->texture);
}

const lb_op lb_op_uv = {
    .name = "uv",
    .summary = "Lays a picture on a surface",
    .doc = "The picture's top left corner is where u and v are 0; v runs down. First it is turned, "
           "then tiled, then moved.",
    .group = "scene",
    .example =
        "  grout: {op: solid, color: \"#8a7f70\"}\n"
        "  face: {op: crop, image: fired, box: [6, 6, 314, 174]}\n"
        "  fired: {op: gradient, stops: [{color: \"#8c3b1a\"}, {color: \"#c46a3a\"}]}\n"
        "  brick: {op: composite, source: face, backdrop: grout}\n"
        "  laid: {op: uv, image: brick, tile: [6, 4]}\n"
        "  wall: {op: material, diffuse-map: laid}\n"
        "  shape: {op: cylinder, radius: 1, height: 2, material: wall}\n"
        "  lamp: {op: light, type: point, decay: none, intensity: 2.2, position: [3, 4, 5]}\n"
        "  sky: {op: light, type: ambient, intensity: 0.12}\n"
        "  eye: {op: camera, position: [0, 1.6, 5], target: [0, 0, 0], fov: 40}\n"
        "  stage: {op: group, items: [shape, lamp, sky]}\n"
        "  last: {op: render, scene: stage, camera: eye, samples: 16}\n",
    .version = 1,
    .inputs = inputs,
    .params = params,
    .params_size = sizeof(uv_params),
    .result = LB_KIND_TEXTURE,
    .evaluate = evaluate,
};
