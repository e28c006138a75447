/* nodes/scene/aim.h: where a thing stands and where it looks, for the operators that make one. */
#ifndef LB_NODES_SCENE_AIM_H
#define LB_NODES_SCENE_AIM_H

#include "engine/graph/op.h"

typedef struct aim_params {
    double position[3], rotation[4], target[3];
} aim_params;

/* Rows of a table whose struct has an `aim_params aim`; `turned` and `looks` are their docs. */
#define AIM_PARAMS(strct, turned, looks)                                                           \
    LB_PARAM_AS(strct, aim.position, "position", LB_VEC3, .unit = LB_SCENE_UNITS,                  \
                .doc = "Where it stands."),                                                        \
        LB_PARAM_AS(strct, aim.rotation, "rotation", LB_ROTATION, .initial = {LB_UNSET},           \
                    .doc = (turned)),                                                              \
        LB_PARAM_AS(strct, aim.target, "target", LB_VEC3, .initial = {LB_UNSET},                   \
                    .unit = LB_SCENE_UNITS, .doc = (looks))

static inline lb_status aim_check(const lb_call *call, const aim_params *aim)
{
    if (lb_is_set(aim->rotation[0]) && lb_is_set(aim->target[0]))
        return lb_fail(call->diag, LB_INVALID, lb_call_loc(call, "target"),
                       "'%s' has a rotation and a target; give one of them", call->node);
    return LB_OK;
}

/* Moves and turns the item, whose transform is the identity. */
static inline void aim_item(const aim_params *aim, lb_item *item)
{
    const double *p = aim->position, *r = aim->rotation, *t = aim->target;

    item->trs.translation = (lb_vec3d){p[0], p[1], p[2]};
    if (lb_is_set(r[0]))
        item->trs.rotation = (lb_quat){r[0], r[1], r[2], r[3]};
    else if (lb_is_set(t[0]))
        item->trs.rotation = lb_quat_look(item->trs.translation, (lb_vec3d){t[0], t[1], t[2]});
}

#endif
