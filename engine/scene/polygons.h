/* engine/scene/polygons.h: polygons whose corners name places, texture coordinates and normals each
 * by an index of its own, as interchange formats have them, to triangles; private to the readers.
 */
#ifndef LB_SCENE_POLYGONS_H
#define LB_SCENE_POLYGONS_H

#include "engine/scene/mesh.h"
#include "engine/scene/triangulate.h"

/* Indices; uv and normal are -1 where there is none. */
typedef struct lb_corner {
    int32_t place, uv, normal;
} lb_corner;

typedef struct lb_polygon {
    size_t first;   /* of its corners */
    int32_t count;  /* 3 or more */
    int32_t part;   /* what it belongs to, from 0 */
    int64_t smooth; /* the smoothing group; 0: flat */
} lb_polygon;

/* Arrays are lb_alloc'ed. Zero-initialise. */
typedef struct lb_polygons {
    lb_vec3 *places;
    lb_vec4 *colors; /* of the places; NULL: none */
    lb_vec2 *uvs;
    lb_vec3 *normals; /* of any length; without direction: the triangle's */
    lb_corner *corners;
    lb_polygon *polygons;
    size_t place_count, place_capacity, color_capacity, uv_count, uv_capacity;
    size_t normal_count, normal_capacity, corner_count, corner_capacity;
    size_t polygon_count, polygon_capacity;
} lb_polygons;

void lb_polygons_clear(lb_polygons *p);

/* Adds normals for the corners that have none: for polygons without a smoothing group their own,
 * else the mean of those that meet in the place and share the group, each weighted by its angle
 * there (Thürmer and Wüthrich, "Computing vertex normals from polygonal facets", Journal of
 * Graphics Tools 3(1), 1998). LB_MEMORY, LB_LIMIT. Every index has been checked before. */
LB_MUST_CHECK lb_status lb_polygons_add_normals(lb_polygons *p);

/* What cutting them came upon; zero-initialise, goes on from one call to the next. */
typedef struct lb_polygons_tally {
    int64_t cut;        /* polygons of more than three corners */
    int64_t no_area;    /* polygons without area, triangles with them */
    int64_t crossing;   /* outlines that cross themselves */
    int64_t too_long;   /* left out */
    int64_t lacking_uv; /* corners without, in primitives with */
} lb_polygons_tally;

/* The polygons order[0 .. count), which have normals, as one primitive: corners that are the same
 * in everything are one vertex. `out` is empty; its material is left alone. LB_MEMORY, LB_LIMIT. */
LB_MUST_CHECK lb_status lb_polygons_primitive(const lb_polygons *p, const uint32_t *order,
                                              size_t count, lb_cutter *cutter,
                                              lb_polygons_tally *tally, lb_primitive *out);

/* Three numbers to the order in which they first came. Zero-initialise. */
typedef struct lb_triple_table {
    struct lb_triple_slot {
        int32_t key[3];
        int32_t value; /* + 1; 0: free */
    } * slots;
    size_t capacity;
    int32_t count;
} lb_triple_table;
void lb_triple_table_clear(lb_triple_table *table);
/* Finds it or adds it as number `count`, which then goes up by one. LB_MEMORY, LB_LIMIT. */
LB_MUST_CHECK lb_status lb_triple_table_find(lb_triple_table *table, int32_t a, int32_t b,
                                             int32_t c, int32_t *value);

#endif
