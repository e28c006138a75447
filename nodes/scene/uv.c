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
    .version = 1,
    .inputs = inputs,
    .params = params,
    .params_size = sizeof(uv_params),
    .result = LB_KIND_TEXTURE,
    .evaluate = evaluate,
};
