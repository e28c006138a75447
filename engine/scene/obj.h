/* engine/scene/obj.h: OBJ with MTL to a scene; use it through import.h. */
#ifndef LB_SCENE_OBJ_H
#define LB_SCENE_OBJ_H

#include "engine/scene/import.h"

/* As lb_import_read. Objects (o) are items; groups (g) are items below their object, or at the root
 * where no object has begun; a name that comes again goes on with its item. */
LB_MUST_CHECK lb_status lb_obj_read(lb_pool *pool, lb_diag *diag, lb_loc loc, const char *path,
                                    const void *bytes, size_t count,
                                    const lb_import_options *options, lb_scene **out);
/* As lb_import_files: libraries, and the pictures that they name. */
LB_MUST_CHECK lb_status lb_obj_files(lb_diag *diag, lb_loc loc, const char *path, const void *bytes,
                                     size_t count, lb_import_file_fn fn, void *context);

#endif
