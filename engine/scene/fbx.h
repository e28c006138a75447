/* engine/scene/fbx.h: FBX 7.x, binary and text, to a scene. */
#ifndef LB_SCENE_FBX_H
#define LB_SCENE_FBX_H

#include "engine/scene/scene.h"

/* What a graph needs to know of the file beyond the scene. */
typedef struct lb_fbx_options {
    lb_space working; /* colours and textures are converted to it */
} lb_fbx_options;

/* Does the content look like FBX of any version? */
bool lb_fbx_is(const void *bytes, size_t count);

/* Reads all models of the file and what hangs on them. `path` is the file's, for pictures beside
 * it; `bytes` its content.
 *
 * Everything comes out in the graph's world: right-handed, y up, one unit a metre (so
 * UnitScaleFactor, which counts centimetres, is divided by 100), a camera along -z; the first frame
 * of the file's time span is time 0. The important numbers of lights, cameras and the file's
 * settings become facts that tell whether they are authored, the default of the file's template or
 * of the format; what is converted, assumed or not used likewise. A picture that is missing or
 * broken is a warning and a DROPPED fact. */
LB_MUST_CHECK lb_status lb_fbx_read(lb_pool *pool, lb_diag *diag, lb_loc loc, const char *path,
                                    const void *bytes, size_t count, const lb_fbx_options *options,
                                    lb_scene **out);

/* Hands every place where a picture of the file may lie to `fn`, whether it is there or not; stops
 * when that fails, and answers what it answered, unreported. */
typedef lb_status (*lb_fbx_file_fn)(void *context, const char *path);
LB_MUST_CHECK lb_status lb_fbx_files(lb_diag *diag, lb_loc loc, const char *path, const void *bytes,
                                     size_t count, lb_fbx_file_fn fn, void *context);

#endif
