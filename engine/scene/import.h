/* engine/scene/import.h: a file of any format that is read to a scene. */
#ifndef LB_SCENE_IMPORT_H
#define LB_SCENE_IMPORT_H

#include "engine/scene/scene.h"

typedef enum lb_import_format {
    LB_IMPORT_NONE, /* none that is read */
    LB_IMPORT_GLTF,
    LB_IMPORT_OBJ,
    LB_IMPORT_PLY,
    LB_IMPORT_STL,
    LB_IMPORT_FBX,
} lb_import_format;
extern const char *const lb_import_format_names[]; /* none gltf obj ply stl fbx, NULL */

/* What a graph needs to know of the file beyond the scene. */
typedef struct lb_import_options {
    lb_space working; /* colours and textures are converted to it */
} lb_import_options;

/* Whether the name ends like that of a format that is read, in any case. */
bool lb_import_is_name(const char *path);
/* By the content where that tells, else by the end of the name. */
lb_import_format lb_import_format_of(const char *path, const void *bytes, size_t count);
/* LB_UNSUPPORTED, reported, if that is none. */
LB_MUST_CHECK lb_status lb_import_check(lb_diag *diag, lb_loc loc, const char *path,
                                        const void *bytes, size_t count);

/* Reads a scene, as lb_gltf_read does: what cannot be used, was assumed or converted becomes a
 * fact; pictures and material libraries that are missing are warnings; what contradicts the format
 * is LB_FORMAT, with the line where it has lines; no format that is read is LB_UNSUPPORTED. */
LB_MUST_CHECK lb_status lb_import_read(lb_pool *pool, lb_diag *diag, lb_loc loc, const char *path,
                                       const void *bytes, size_t count,
                                       const lb_import_options *options, lb_scene **out);

/* Hands every file that reading would look for to `fn`, whether it is there or not; stops when that
 * fails, and answers what it answered, unreported. */
typedef lb_status (*lb_import_file_fn)(void *context, const char *path);
LB_MUST_CHECK lb_status lb_import_files(lb_diag *diag, lb_loc loc, const char *path,
                                        const void *bytes, size_t count, lb_import_file_fn fn,
                                        void *context);

#endif
