/* nodes/scene/group.c: several things that move as one. */
#include "nodes/scene/place.h"

typedef struct {
    place_params place;
} group_params;

static const lb_input inputs[] = {
    {"items", LB_KIND_SCENE, .list = true,
     .doc = "What is in it: shapes, lights, cameras, scenes."},
    {0},
};

static const lb_param params[] = {PLACE_PARAMS(group_params), {0}};

static lb_status evaluate(const lb_task *task, lb_value *out)
{
    const group_params *p = task->call.params;
    lb_item *item;
    lb_status status = lb_scene_of_item(task->call.node, NULL, LB_ITEM_GROUP, &out->scene, &item);

    if (status)
        return status;
    item->trs = place_trs(&p->place);
    for (int32_t i = 0; i < task->call.input_count && status == LB_OK; i++)
        if (task->inputs[i].kind == LB_KIND_SCENE)
            status = lb_scene_append(out->scene, task->inputs[i].scene, 0);
    if (status)
        lb_scene_unref(&out->scene);
    return status;
}

const lb_op lb_op_group = {
    .name = "group",
    .summary = "Several things that move as one",
    .doc =
        "Its position, rotation and scale apply to all that is in it, groups in groups included.",
    .group = "scene",
    .example =
        "  clay: {op: material, diffuse: \"#b3541e\", specular: 0.4, exponent: 40}\n"
        "  foot: {op: cylinder, radius: 0.5, height: 0.3, position: [0, -1, 0], material: "
        "clay}\n"
        "  belly: {op: sphere, radius: 0.9, material: clay}\n"
        "  rim: {op: torus, radius: 0.4, tube: 0.1, position: [0, 0.9, 0], material: clay}\n"
        "  pot: {op: group, items: [foot, belly, rim], rotation: [0, 0, {expr: \"-20 + frame "
        "* 0.8\"}]}\n"
        "  lamp: {op: light, type: point, decay: none, intensity: 2.2, position: [3, 4, 5]}\n"
        "  sky: {op: light, type: ambient, intensity: 0.12}\n"
        "  eye: {op: camera, position: [0, 1.6, 5], target: [0, 0, 0], fov: 40}\n"
        "  stage: {op: group, items: [pot, lamp, sky]}\n"
        "  last: {op: render, scene: stage, camera: eye, samples: 16}\n",
    .version = 1,
    .inputs = inputs,
    .params = params,
    .params_size = sizeof(group_params),
    .result = LB_KIND_SCENE,
    .evaluate = evaluate,
};
