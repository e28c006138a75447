/* examples/kiln-hours/generator/glb.h: writes glTF 2.0 binary files. */
#ifndef KILN_GLB_H
#define KILN_GLB_H

#include "shape.h"

typedef struct glb glb;

typedef struct placing {
    v3 translation;
    quat rotation; /* all zero: none */
    double scale;  /* 0: 1 */
} placing;

glb *glb_new(void);
/* Each answers the index of what it made. `json` is the inside of the object, without braces. */
int glb_image(glb *g, const char *name, const void *png, size_t bytes);
int glb_material(glb *g, const char *name, const char *json, ...);
int glb_camera(glb *g, const char *name, const char *json, ...);
int glb_light(glb *g, const char *name, const char *json, ...);
/* Empties the soup. */
int glb_mesh(glb *g, const char *name, soup *s, int material);
/* parent: -1 for none. kind: "mesh", "camera", "light", or NULL. */
int glb_node(glb *g, int parent, const char *name, const placing *where, const char *kind,
             int index);
/* path: "translation" "rotation" "scale"; interpolation: "LINEAR" "CUBICSPLINE" "STEP". `width`
 * floats a key, three times as many for a cubic spline. */
void glb_curve(glb *g, int node, const char *path, const char *interpolation, int keys, int width,
               const float *times, const float *values);
size_t glb_triangles(const glb *g); /* in the scene, an instance counted each time */
void glb_write(glb **g, const char *path);

#endif
