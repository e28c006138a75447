/* engine/scene/gltf.h: glTF 2.0 (.gltf, .glb) to a scene. */
#ifndef LB_SCENE_GLTF_H
#define LB_SCENE_GLTF_H

#include "engine/scene/scene.h"

/* What a graph needs to know of the file beyond the scene. */
typedef struct lb_gltf_options {
    lb_space working; /* colours and textures are converted to it */
} lb_gltf_options;

/* Does the content look like glTF? Binary: by its first bytes; text: an object with an asset. */
bool lb_gltf_is(const void *bytes, size_t count);
bool lb_gltf_is_binary(const void *bytes, size_t count);

/* Reads the default scene (the first if none is named). `path` is the file's, for buffers and
 * images beside it; `bytes` its content. Whatever the file holds that cannot be used becomes a
 * DROPPED fact; what was assumed or converted likewise. An extension that is *required* and lacking
 * is LB_UNSUPPORTED, naming it. A texture that is missing or broken is a warning and a DROPPED
 * fact, a missing or short buffer an error. Never reads outside the file's own folder tree except
 * by relative uris as the standard allows; http uris are refused. Parts that no node of the scene
 * uses are not looked at. */
LB_MUST_CHECK lb_status lb_gltf_read(lb_pool *pool, lb_diag *diag, lb_loc loc, const char *path,
                                     const void *bytes, size_t count,
                                     const lb_gltf_options *options, lb_scene **out);

/* Hands every file beside it that the file refers to (buffers, images) to `fn`, whether it is there
 * or not; stops when that fails, and answers what it answered, unreported. */
typedef lb_status (*lb_gltf_file_fn)(void *context, const char *path);
LB_MUST_CHECK lb_status lb_gltf_files(lb_diag *diag, lb_loc loc, const char *path,
                                      const void *bytes, size_t count, lb_gltf_file_fn fn,
                                      void *context);

#endif
