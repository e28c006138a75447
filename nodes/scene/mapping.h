/* nodes/scene/mapping.h: how a picture lies on a surface, for the operators that make textures. */
#ifndef LB_NODES_SCENE_MAPPING_H
#define LB_NODES_SCENE_MAPPING_H

#include "engine/base/math.h"
#include "engine/graph/op.h"

typedef struct mapping_params {
    int wrap, filter;
    int32_t uv_set;
    double tile[2], offset[2], rotate;
} mapping_params;

/* Rows of a table whose struct has a `mapping_params map`. */
#define MAPPING_PARAMS(strct)                                                                      \
    LB_PARAM_AS(strct, map.wrap, "wrap", LB_CHOICE, .names = lb_wrap_names,                        \
                .initial = {LB_WRAP_REPEAT},                                                       \
                .doc = "What lies beyond the picture's edge: the picture again, the picture "      \
                       "turned over, or its edge."),                                               \
        LB_PARAM_AS(strct, map.tile, "tile", LB_VEC2, .initial = {1, 1}, .spread = true,           \
                    .min = -1e6, .max = 1e6,                                                       \
                    .doc = "How often the picture goes into the surface's width and height; "      \
                           "negative ones turn it over."),                                         \
        LB_PARAM_AS(strct, map.offset, "offset", LB_VEC2, .min = -1e6, .max = 1e6,                 \
                    .doc = "Added to the place in the picture, in widths and heights of it: the "  \
                           "picture moves left and up."),                                          \
        LB_PARAM_AS(strct, map.rotate, "rotate", LB_NUMBER, .unit = LB_DEGREES, .min = -1e6,       \
                    .max = 1e6,                                                                    \
                    .doc = "Turns what is laid on about the surface's middle, clockwise."),        \
        LB_PARAM_AS(strct, map.filter, "filter", LB_CHOICE, .names = lb_texture_filter_names,      \
                    .initial = {LB_TEXTURE_MIPMAP},                                                \
                    .doc = "The nearest texel, between four texels, or that with smaller "         \
                           "pictures where it is far away."),                                      \
        LB_PARAM_AS(strct, map.uv_set, "uv-set", LB_INT, .max = 1,                                 \
                    .doc = "Which of a mesh's two sets of texture coordinates is used.")

/* The picture's place for the surface's (u, v): offset + tile * (R (uv - 1/2) + 1/2). */
static inline lb_texture_map mapping_of(const mapping_params *p)
{
    lb_texture_map map = lb_texture_map_default();
    double angle = p->rotate * LB_PI / 180, c = lb_cos(angle), s = lb_sin(angle);
    double u = p->tile[0], v = p->tile[1];
    double m[6] = {u * c,  u * s, p->offset[0] + u * (0.5 - 0.5 * c - 0.5 * s),
                   v * -s, v * c, p->offset[1] + v * (0.5 + 0.5 * s - 0.5 * c)};

    for (int i = 0; i < 6; i++)
        map.matrix[i] = m[i];
    map.wrap_u = map.wrap_v = (lb_wrap)p->wrap;
    map.filter = (lb_texture_filter)p->filter;
    map.uv_set = p->uv_set;
    return map;
}

static inline lb_status mapping_texture(const lb_task *task, const lb_texture_map *map,
                                        lb_texture **out)
{
    const lb_call *call = &task->call;
    lb_status status = lb_texture_new(task->pool, task->inputs[0].image, map, out);

    if (status == LB_INVALID)
        lb_fail(call->diag, status, call->loc, "'%s': there is no picture in its image",
                call->node);
    return status;
}

#endif
