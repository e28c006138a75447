/* engine/scene/triangulate.h: a polygon in space to triangles. */
#ifndef LB_SCENE_TRIANGULATE_H
#define LB_SCENE_TRIANGULATE_H

#include "engine/base/memory.h"
#include "engine/base/vec.h"

/* The most corners of a polygon that is not convex: cutting takes the square of them. */
#define LB_TRIANGULATE_MOST 2048

/* What had to be done. */
typedef enum lb_cut {
    LB_CUT_SOUND,
    LB_CUT_NO_AREA,  /* it has no area, so nothing tells inside from outside: a fan */
    LB_CUT_CROSSING, /* an outline that crosses itself, or nearly: as well as it goes */
    LB_CUT_TOO_LONG, /* more than LB_TRIANGULATE_MOST corners and not convex: nothing was made */
} lb_cut;

/* Memory that is used again from one polygon to the next. Zero-initialise. */
typedef struct lb_cutter {
    size_t capacity;
    double (*flat)[2];
    int32_t *next, *before, *hollow;
    uint8_t *state;
} lb_cutter;
void lb_cutter_clear(lb_cutter *cutter);

/* Twice the area of a polygon (3 corners or more) along its normal (Newell's: the sums of the areas
 * of its shadows on the three planes, which is the normal of the plane that fits best). Zeros where
 * it has no area. */
lb_vec3d lb_polygon_area2(const lb_vec3 *points, int32_t count);

/* Cuts a polygon of `count` corners, 3 or more, into count - 2 triangles, each turning as it does:
 * 3 * (count - 2) numbers of corners into `out`. It may be concave, and holes may be joined to its
 * outside by an edge that is walked both ways. Convex ones become fans, of the first corner where
 * there is a choice. LB_MEMORY. */
LB_MUST_CHECK lb_status lb_triangulate(lb_cutter *cutter, const lb_vec3 *points, int32_t count,
                                       uint32_t *out, lb_cut *cut);

#endif
