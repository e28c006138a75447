/* engine/scene/fbx_layer.h: what a geometry says of its corners, places and polygons; private to
 * the FBX reader. */
#ifndef LB_SCENE_FBX_LAYER_H
#define LB_SCENE_FBX_LAYER_H

#include "engine/scene/fbx_read.h"

/* What each value belongs to. */
typedef enum fbx_mapping {
    FBX_BY_CORNER,
    FBX_BY_PLACE,
    FBX_BY_POLYGON,
    FBX_ALL_SAME,
} fbx_mapping;

typedef struct fbx_layer {
    fbx_mapping mapping;
    int width; /* numbers a value; 0: there is no such layer */
    double *values;
    int64_t *index; /* value of each; NULL: in their order */
    const char *name;
} fbx_layer;

/* A place in the geometry. */
typedef struct fbx_spot {
    size_t corner, place, polygon;
} fbx_spot;

/* How many there are of each. */
typedef struct fbx_counts {
    size_t corners, places, polygons;
} fbx_counts;

/* LayerElement`element` with its `values` and `index` nodes, the `nth`; one that does not fit the
 * geometry is told of and left out. */
typedef struct fbx_layer_rule {
    const char *element, *values, *index;
    int width;
} fbx_layer_rule;
LB_MUST_CHECK lb_status fbx_layer_read(fbx *g, const fbx_object *geometry,
                                       const fbx_layer_rule *rule, int nth,
                                       const fbx_counts *counts, fbx_layer *out);
void fbx_layer_clear(fbx_layer *layer);
/* The values there, lent; NULL where the layer has none. */
const double *fbx_layer_at(const fbx_layer *layer, const fbx_spot *spot);

#endif
