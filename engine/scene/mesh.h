/* engine/scene/mesh.h: triangles. */
#ifndef LB_SCENE_MESH_H
#define LB_SCENE_MESH_H

#include "engine/scene/material.h"

/* One run of triangles with one material. Arrays are owned by the mesh; NULL where absent. */
typedef struct lb_primitive {
    int32_t vertex_count, triangle_count;
    lb_vec3 *positions;
    lb_vec3 *normals;  /* unit; always there after lb_mesh_finish */
    lb_vec4 *tangents; /* w is the handedness; NULL: made from uvs when needed */
    lb_vec2 *uvs[2];
    lb_vec4 *colors;       /* linear RGB and alpha; multiply base colour or diffuse */
    uint32_t *indices;     /* 3 a triangle; counter-clockwise faces front */
    lb_material *material; /* owned reference; NULL: the default one */
} lb_primitive;

/* Immutable once finished, reference-counted. */
typedef struct lb_mesh {
    lb_refs refs;
    char *name;
    int32_t primitive_count;
    lb_primitive *primitives;
    lb_vec3 low, high; /* bounds of the positions in use; low > high when there are none */
} lb_mesh;

LB_MUST_CHECK lb_status lb_mesh_new(const char *name, int32_t primitive_count, lb_mesh **out);
/* Bounds, and normals where absent: flat ones (vertices are split then), as glTF asks. Checks that
 * every index is inside (LB_FORMAT if not). */
LB_MUST_CHECK lb_status lb_mesh_finish(lb_mesh *mesh);
/* A copy to change; materials are shared. */
LB_MUST_CHECK lb_status lb_mesh_copy(const lb_mesh *mesh, lb_mesh **out);
lb_mesh *lb_mesh_ref(const lb_mesh *mesh);
void lb_mesh_unref(lb_mesh **mesh);
size_t lb_mesh_bytes(const lb_mesh *mesh);

/* Shapes, centred on the origin, y up, outside faces front, uvs 0..1 with v down, smooth normals
 * where the surface is smooth. One primitive without material. */
LB_MUST_CHECK lb_status lb_mesh_sphere(double radius, int32_t segments, int32_t rings,
                                       lb_mesh **out);
/* In the x-y plane, facing +z, so that it faces an unrotated camera. */
LB_MUST_CHECK lb_status lb_mesh_plane(double width, double height, int32_t segments_x,
                                      int32_t segments_y, lb_mesh **out);
LB_MUST_CHECK lb_status lb_mesh_box(double x, double y, double z, lb_mesh **out);
/* Along y, with caps. */
LB_MUST_CHECK lb_status lb_mesh_cylinder(double radius, double height, int32_t segments,
                                         lb_mesh **out);
/* Around y: radius to the tube's middle, tube its radius. */
LB_MUST_CHECK lb_status lb_mesh_torus(double radius, double tube, int32_t segments,
                                      int32_t tube_segments, lb_mesh **out);

#endif
