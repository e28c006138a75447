/* engine/scene/gltf.h: glTF 2.0 (.gltf, .glb) to a scene. */
#ifndef LB_SCENE_GLTF_H
#define LB_SCENE_GLTF_H

#include "engine/scene/scene.h"

/* What a graph needs to know of the file beyond the scene. */
typedef struct lb_gltf_options {
    lb_space working; /* colours and textures are converted to it */
} lb_gltf_options;

/* Reads the default scene (the first if none is named). `path` is the file's, for buffers and
 * images beside it; `bytes` its content. Whatever the file holds that cannot be used becomes a
 * DROPPED fact; what was assumed or converted likewise. An extension that is *required* and lacking
 * is LB_UNSUPPORTED, naming it. A texture that is missing or broken is a warning and a DROPPED
 * fact, a missing or short buffer an error. Never reads outside the file's own folder tree except
 * by relative uris as the standard allows; http uris are refused. */
LB_MUST_CHECK lb_status lb_gltf_read(lb_pool *pool, lb_diag *diag, lb_loc loc, const char *path,
                                     const void *bytes, size_t count,
                                     const lb_gltf_options *options, lb_scene **out);

/* Hashes the file and everything that it refers to (buffers, images), for keys. */
struct lb_hasher;
LB_MUST_CHECK lb_status lb_gltf_hash(lb_diag *diag, lb_loc loc, const char *path, const void *bytes,
                                     size_t count, struct lb_hasher *hasher);

#endif
