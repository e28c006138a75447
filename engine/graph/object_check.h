/* engine/graph/object_check.h: is what a shared object brings something that can be used? */
#ifndef LB_GRAPH_OBJECT_CHECK_H
#define LB_GRAPH_OBJECT_CHECK_H

#include "engine/graph/object.h"

/* Built for this interface? LB_UNSUPPORTED, reported with what each side has. */
LB_MUST_CHECK lb_status lb_object_check(lb_diag *diag, lb_loc loc, const char *path,
                                        const lb_object *object);

/* Operator `index` by itself: its name, kinds, inputs and parameters. LB_INVALID where the table
 * has no sense, LB_UNSUPPORTED where it wants what objects cannot have; reported. */
LB_MUST_CHECK lb_status lb_object_check_op(lb_diag *diag, lb_loc loc, const char *path,
                                           const lb_object *object, uint32_t index);

#endif
