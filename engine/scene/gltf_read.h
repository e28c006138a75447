/* engine/scene/gltf_read.h: what the parts of the glTF reader share; private to them.
 *
 * A `where` is the JSON path of the thing at hand ("/nodes/12"), for messages and facts. Functions
 * that answer a status have reported their failure. */
#ifndef LB_SCENE_GLTF_READ_H
#define LB_SCENE_GLTF_READ_H

#include <jansson.h>

#include "engine/scene/gltf.h"
#include "engine/scene/picture.h"

#define GLTF_WHERE 192 /* longest path made here, with the NUL */

/* A buffer; `bytes` is NULL until something needs it. */
typedef struct {
    const uint8_t *bytes;
    size_t count;
    void *owned; /* bytes, when they are not the GLB's own */
} gltf_bytes;

typedef struct {
    bool is_broken; /* told already */
    lb_texture
        *textures[LB_PICTURE_USE_COUNT]; /* under the default map; others share their pixels */
} gltf_image;

typedef struct {
    lb_mesh *mesh; /* NULL until a node needs it */
    const char *name;
} gltf_mesh;

typedef struct {
    bool read;
    lb_material *material;
    bool needs_uv[2]; /* maps use that set */
} gltf_material;

typedef struct {
    bool read;
    lb_camera camera;
    const char *name;
} gltf_camera;

typedef struct {
    bool read, is_known; /* not known: of a type that the standard does not have; recorded */
    lb_light light;
    const char *name;
} gltf_light;

typedef struct gltf {
    lb_pool *pool;
    lb_diag *diag;
    lb_loc loc;
    const char *path;
    char *folder;
    const lb_gltf_options *options;
    double to_working[9]; /* linear Rec. 709 to the working space */
    json_t *root;
    const uint8_t *bin; /* GLB's binary chunk, lent; NULL: none */
    size_t bin_count;
    size_t buffer_count, image_count, mesh_count, material_count, camera_count, light_count;
    size_t node_count, accessor_count, view_count, texture_count, sampler_count;
    gltf_bytes *buffers;
    gltf_image *images;
    gltf_mesh *meshes;
    gltf_material *materials;
    gltf_camera *cameras;
    gltf_light *lights;
    gltf_material plain; /* the default material; not read until needed */
    int32_t *node_items; /* node -> its item; -1: not in the scene */
    lb_scene *scene;
} gltf;

/* gltf_json.c: typed looks into the JSON. */

/* Reports "'file': /where: what" and answers `status`. */
lb_status gltf_fail(gltf *g, lb_status status, const char *where, const char *format, ...)
    LB_PRINTF(4, 5);
/* A fact about `where`, kept once however often it is told; fails only for want of memory. */
LB_MUST_CHECK lb_status gltf_fact(gltf *g, lb_fact_kind kind, const char *where, const char *format,
                                  ...) LB_PRINTF(4, 5);
lb_status gltf_no_memory(gltf *g);
/* Reports the failure of a function that has not: LB_MEMORY is the only one left. */
lb_status gltf_told(gltf *g, lb_status status);

/* "/list/index" into `out`, which it answers. */
const char *gltf_where(char out[GLTF_WHERE], const char *list, size_t index);
/* "/above/key" likewise; `out` may not be `above`. */
const char *gltf_below(char out[GLTF_WHERE], const char *above, const char *key);

/* The member `key` of `object`, NULL if absent. LB_FORMAT if it is not of that type. */
LB_MUST_CHECK lb_status gltf_object(gltf *g, const json_t *object, const char *where,
                                    const char *key, const json_t **out);
LB_MUST_CHECK lb_status gltf_array(gltf *g, const json_t *object, const char *where,
                                   const char *key, const json_t **out);
LB_MUST_CHECK lb_status gltf_text(gltf *g, const json_t *object, const char *where, const char *key,
                                  const char **out);
LB_MUST_CHECK lb_status gltf_bool(gltf *g, const json_t *object, const char *where, const char *key,
                                  bool fallback, bool *out);
LB_MUST_CHECK lb_status gltf_number(gltf *g, const json_t *object, const char *where,
                                    const char *key, double fallback, double *out);
/* Exactly `count` numbers; `out` is left as it is if absent. */
LB_MUST_CHECK lb_status gltf_numbers(gltf *g, const json_t *object, const char *where,
                                     const char *key, int32_t count, double *out);
/* A whole number low .. high. */
LB_MUST_CHECK lb_status gltf_whole(gltf *g, const json_t *object, const char *where,
                                   const char *key, int64_t fallback, int64_t low, int64_t high,
                                   int64_t *out);
/* An index below `count`; -1 if absent. */
LB_MUST_CHECK lb_status gltf_index(gltf *g, const json_t *object, const char *where,
                                   const char *key, size_t count, int64_t *out);
/* A number without a fraction. */
bool gltf_is_whole(const json_t *value, int64_t *out);
/* Sets a number that leaves the standard's low .. high to the nearer one, and records it. */
LB_MUST_CHECK lb_status gltf_keep_within(gltf *g, const char *where, const char *key, double low,
                                         double high, double *value);
/* Element `index` of an array of objects. */
LB_MUST_CHECK lb_status gltf_element(gltf *g, const json_t *array, const char *where, size_t index,
                                     const json_t **out);
/* Element `index` of the root's array `list`; `where` gets its path. LB_FORMAT if there is none. */
LB_MUST_CHECK lb_status gltf_root_element(gltf *g, const char *list, size_t index,
                                          char where[GLTF_WHERE], const json_t **out);
/* How many elements the root's array `list` has; LB_FORMAT if it is not an array. */
LB_MUST_CHECK lb_status gltf_root_count(gltf *g, const char *list, size_t *out);
/* object.extensions.NAME, NULL if absent; `where` gets its path. */
LB_MUST_CHECK lb_status gltf_extension(gltf *g, const json_t *object, const char *above,
                                       const char *name, char where[GLTF_WHERE],
                                       const json_t **out);

/* gltf_uri.c: what uris stand for. */

/* The file that a relative uri names, in memory of the caller (lb_free): percent-decoded; as it is
 * written if only that is there. LB_UNSUPPORTED: another scheme or an absolute path; LB_FORMAT:
 * empty, or with a NUL in it; LB_MEMORY. Not reported. */
LB_MUST_CHECK lb_status gltf_uri_path(const char *folder, const char *uri, char **out);
bool gltf_uri_is_data(const char *uri);
/* Bytes of a data uri (RFC 2397), base64 or percent-encoded. LB_FORMAT, LB_MEMORY. Not reported. */
LB_MUST_CHECK lb_status gltf_uri_data(const char *uri, void **out, size_t *count);

/* gltf_buffer.c: bytes, and typed elements in them. */

typedef struct {
    int64_t count;
    int32_t components; /* 1 .. 4, 9, 16 */
    int32_t type;       /* componentType: 5120 .. 5126 */
    bool normalized;
    const uint8_t *base; /* NULL: zeros */
    size_t stride;
    int64_t sparse_count;
    const uint8_t *sparse_indices, *sparse_values;
    int32_t sparse_type; /* componentType of the indices */
    char where[GLTF_WHERE];
} gltf_accessor;

/* A part of a buffer, checked to lie inside it. stride 0: none given. */
LB_MUST_CHECK lb_status gltf_view(gltf *g, size_t index, const uint8_t **bytes, size_t *count,
                                  size_t *stride);
LB_MUST_CHECK lb_status gltf_accessor_open(gltf *g, size_t index, gltf_accessor *out);
/* All elements as floats, `width` components each (accessor's own, or 4 for 3: the fourth is 1),
 * into new memory (lb_free). LB_FORMAT for numbers that are not finite. NULL for count 0. */
LB_MUST_CHECK lb_status gltf_accessor_floats(gltf *g, const gltf_accessor *a, int32_t width,
                                             float **out);
/* Scalar unsigned integers. */
LB_MUST_CHECK lb_status gltf_accessor_indices(gltf *g, const gltf_accessor *a, uint32_t **out);

/* The other parts. */

/* gltf_material.c. `index` -1: the default one. Lent. */
LB_MUST_CHECK lb_status gltf_material_get(gltf *g, int64_t index, const gltf_material **out);
/* gltf_image.c: a texture of /textures for `use` under `map` (wrap and filter are set here); NULL
 * with LB_OK if the picture cannot be had: that is warned of and recorded. */
LB_MUST_CHECK lb_status gltf_texture_get(gltf *g, size_t index, lb_picture_use use,
                                         lb_texture_map *map, lb_texture **out);
/* gltf_mesh.c. Lent. */
LB_MUST_CHECK lb_status gltf_mesh_get(gltf *g, size_t index, const gltf_mesh **out);
/* gltf_optics.c. Lent. */
LB_MUST_CHECK lb_status gltf_camera_get(gltf *g, size_t index, const gltf_camera **out);
LB_MUST_CHECK lb_status gltf_light_get(gltf *g, size_t index, const gltf_light **out);
/* gltf_node.c: the scene's tree. */
LB_MUST_CHECK lb_status gltf_nodes_read(gltf *g);
/* gltf_anim.c: all animations. */
LB_MUST_CHECK lb_status gltf_animations_read(gltf *g);
/* gltf_audit.c: extensions that are required, and all that is in the file and not used. */
LB_MUST_CHECK lb_status gltf_extensions_check(gltf *g);
LB_MUST_CHECK lb_status gltf_rest_report(gltf *g);

/* Linear Rec. 709 to working. */
lb_vec3 gltf_color(const gltf *g, const double rgb[3]);

#endif
