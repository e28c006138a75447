/* engine/scene/ply.h: PLY, text and binary of both byte orders, to a scene; use it through
 * import.h.
 */
#ifndef LB_SCENE_PLY_H
#define LB_SCENE_PLY_H

#include "engine/scene/import.h"

/* Does the content begin as PLY does? */
bool lb_ply_is(const void *bytes, size_t count);

/* As lb_import_read. The file is one item. */
LB_MUST_CHECK lb_status lb_ply_read(lb_pool *pool, lb_diag *diag, lb_loc loc, const char *path,
                                    const void *bytes, size_t count,
                                    const lb_import_options *options, lb_scene **out);
/* As lb_import_files: the picture that a comment of the header names. */
LB_MUST_CHECK lb_status lb_ply_files(lb_diag *diag, lb_loc loc, const char *path, const void *bytes,
                                     size_t count, lb_import_file_fn fn, void *context);

#endif
