/* nodes/scene/place.h: where something stands, for the operators that put one thing into a scene.
 */
#ifndef LB_NODES_SCENE_PLACE_H
#define LB_NODES_SCENE_PLACE_H

#include "engine/graph/op.h"

typedef struct place_params {
    double position[3], rotation[4], scale[3];
} place_params;

/* Rows of a table whose struct has a `place_params place`. */
#define PLACE_PARAMS(strct)                                                                        \
    LB_PARAM_AS(strct, place.position, "position", LB_VEC3, .unit = LB_SCENE_UNITS,                \
                .doc = "Where its origin stands."),                                                \
        LB_PARAM_AS(strct, place.rotation, "rotation", LB_ROTATION, .initial = {0, 0, 0, 1},       \
                    .doc = "How it is turned: angles about x, y and z, x first, or a "             \
                           "quaternion."),                                                         \
        LB_PARAM_AS(strct, place.scale, "scale", LB_VEC3, .initial = {1, 1, 1}, .spread = true,    \
                    .doc = "How much larger it is along its own axes; one number sets all.")

static inline lb_trs place_trs(const place_params *place)
{
    const double *p = place->position, *r = place->rotation, *s = place->scale;

    return (lb_trs){{p[0], p[1], p[2]}, {r[0], r[1], r[2], r[3]}, {s[0], s[1], s[2]}};
}

#define PLACE_SHAPE_INPUTS                                                                         \
    {                                                                                              \
        {"material", LB_KIND_MATERIAL, .optional = true,                                           \
         .doc = "What it is made of; grey without one."},                                          \
            {0},                                                                                   \
    }

/* A scene of one mesh, named after the node; takes over the mesh. */
static inline lb_status place_mesh(const lb_task *task, const place_params *place, lb_mesh *mesh,
                                   lb_scene **out)
{
    lb_item *item;
    lb_status status = lb_scene_of_item(task->call.node, mesh->name, LB_ITEM_MESH, out, &item);

    if (status) {
        lb_mesh_unref(&mesh);
        return status;
    }
    item->trs = place_trs(place);
    item->mesh = mesh;
    if (task->inputs[0].kind == LB_KIND_MATERIAL)
        item->material = lb_material_ref(task->inputs[0].material);
    return LB_OK;
}

#endif
