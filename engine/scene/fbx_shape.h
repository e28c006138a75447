/* engine/scene/fbx_shape.h: a geometry as it is being made a mesh; private to the FBX reader. */
#ifndef LB_SCENE_FBX_SHAPE_H
#define LB_SCENE_FBX_SHAPE_H

#include "engine/scene/fbx_layer.h"
#include "engine/scene/triangulate.h"

typedef struct fbx_polygon {
    size_t first, count; /* corners */
    size_t part;         /* material of the model; material_count: none */
} fbx_polygon;

typedef struct fbx_shape {
    fbx *g;
    const fbx_object *geometry;
    char where[FBX_WHERE];
    size_t place_count;
    lb_vec3 *places; /* the graph's world */
    size_t corner_count;
    int64_t *corners; /* places; the last of a polygon as the complement */
    size_t polygon_count;
    fbx_polygon *polygons;
    size_t material_count;
    fbx_layer normals, uvs[2], colors, materials;
    bool flips; /* the transform mirrors: corners are taken the other way round */
    double normal_by[9];
    lb_cutter cutter;
    lb_vec3 *outline; /* of the largest polygon */
    uint32_t *triangles;
    int32_t *corner_vertices;
    int32_t *last_at, *before; /* vertices that lie in the same place, by place, by vertex */
    int64_t no_area, crossing, too_long, outside;
} fbx_shape;

/* Reads places, polygons and layers as the model shows them; `geometric` is the model's. */
LB_MUST_CHECK lb_status fbx_shape_read(fbx_shape *s, const fbx_object *model,
                                       const lb_mat4 *geometric);
void fbx_shape_clear(fbx_shape *s);

/* The place of a corner, which is the complement at a polygon's end. */
static inline int64_t fbx_place_of(int64_t corner)
{
    return corner < 0 ? ~corner : corner;
}

#endif
