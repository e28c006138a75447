/* nodes/scene/light.c: one light. */
#include "engine/base/math.h"
#include "nodes/scene/aim.h"

typedef struct {
    int type, decay;
    double color[4], intensity, cone, cone_inner, range;
    aim_params aim;
} light_params;

static const lb_param params[] = {
    LB_PARAM(light_params, type, LB_CHOICE, .names = lb_light_type_names,
             .initial = {LB_LIGHT_POINT},
             .doc = "From a point to all sides, from a point in a cone, from far away in one "
                    "direction, or from everywhere."),
    LB_PARAM(light_params, color, LB_COLOR, .initial = {1, 1, 1, 1}, .usual_max = 100,
             .doc = "Its colour."),
    LB_PARAM(light_params, intensity, LB_NUMBER, .initial = {1}, .min = 0, .max = 1e9,
             .usual_max = 1e6,
             .doc = "With decay none, and for directional and ambient lights, the radiance of a "
                    "white surface that faces it; with linear that at distance 1; with quadratic "
                    "candela."),
    LB_PARAM(light_params, decay, LB_CHOICE, .names = lb_decay_names, .initial = {LB_DECAY_NONE},
             .doc = "How a point or spot light gets weaker with the distance."),
    LB_PARAM(light_params, cone, LB_NUMBER, .initial = {90}, .min = 0.01, .max = 180,
             .unit = LB_DEGREES, .usual_min = 2, .usual_max = 180,
             .doc = "Spot: the whole angle beyond which there is no light."),
    LB_PARAM_AS(light_params, cone_inner, "cone-inner", LB_NUMBER, .initial = {0}, .min = 0,
                .max = 180, .unit = LB_DEGREES,
                .doc = "Spot: the whole angle within which the light is at its full strength."),
    LB_PARAM(light_params, range, LB_NUMBER, .initial = {LB_UNSET}, .min = 1e-6, .max = 1e9,
             .unit = LB_SCENE_UNITS,
             .doc = "Point and spot: the distance at which the light has faded to nothing; if not "
                    "given it never does."),
    AIM_PARAMS(light_params, "How it is turned from shining along -z.",
               "The point that it shines at, instead of a rotation."),
    {0},
};

static lb_status check(const lb_call *call)
{
    const light_params *p = call->params;
    lb_status status = aim_check(call, &p->aim);

    if (status)
        return status;
    if (p->type == LB_LIGHT_SPOT && p->cone_inner > p->cone)
        return lb_fail(call->diag, LB_INVALID, lb_call_loc(call, "cone-inner"),
                       "'cone-inner' is %g; it goes up to the cone's %g", p->cone_inner, p->cone);
    return LB_OK;
}

static lb_status evaluate(const lb_task *task, lb_value *out)
{
    const light_params *p = task->call.params;
    lb_item *item;
    lb_status status = lb_scene_of_item(task->call.node, NULL, LB_ITEM_LIGHT, &out->scene, &item);

    if (status)
        return status;
    aim_item(&p->aim, item);
    item->light = (lb_light){
        .type = (lb_light_type)p->type,
        .color = {(float)p->color[0], (float)p->color[1], (float)p->color[2]},
        .intensity = (float)p->intensity,
        .decay = (lb_decay)p->decay,
        .range = lb_is_set(p->range) ? (float)p->range : INFINITY,
        .inner_half_rad = (float)(p->cone_inner * LB_PI / 360),
        .outer_half_rad = (float)(p->cone * LB_PI / 360),
    };
    return LB_OK;
}

const lb_op lb_op_light = {
    .name = "light",
    .summary = "A light",
    .group = "scene",
    .example = "  wall: {op: plane, size: [12, 8], position: [0, 0, -1]}\n"
               "  pot: {op: sphere, radius: 0.9, position: [0, -0.4, 0.4]}\n"
               "  fire: {op: light, type: spot, decay: none, color: \"#ff8c42\", intensity: 2.5, "
               "position: [-3, 2.5, 4], target: [0, 0, -1], cone: 50, cone-inner: 30}\n"
               "  moon: {op: light, type: directional, color: \"#6f8fb0\", intensity: 0.25, "
               "rotation: [-40, 30, 0]}\n"
               "  eye: {op: camera, position: [0, 0.4, 6], target: [0, 0, 0], fov: 40}\n"
               "  stage: {op: group, items: [wall, pot, fire, moon]}\n"
               "  last: {op: render, scene: stage, camera: eye, samples: 16}\n",
    .version = 1,
    .params = params,
    .params_size = sizeof(light_params),
    .result = LB_KIND_SCENE,
    .check = check,
    .evaluate = evaluate,
};
