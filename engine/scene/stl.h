/* engine/scene/stl.h: STL, text and binary, to a scene; use it through import.h. */
#ifndef LB_SCENE_STL_H
#define LB_SCENE_STL_H

#include "engine/scene/import.h"

/* Does the content look like STL? Binary: 84 bytes and 50 for each triangle that it counts,
 * exactly; text: "solid", and a facet. */
bool lb_stl_is(const void *bytes, size_t count);

/* As lb_import_read. Every solid is an item; triangles keep their own corners, nothing is merged.
 */
LB_MUST_CHECK lb_status lb_stl_read(lb_pool *pool, lb_diag *diag, lb_loc loc, const char *path,
                                    const void *bytes, size_t count,
                                    const lb_import_options *options, lb_scene **out);

#endif
