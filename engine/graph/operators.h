/* engine/graph/operators.h: the operators that a graph may use: those that are built in and those
 * of shared objects. */
#ifndef LB_GRAPH_OPERATORS_H
#define LB_GRAPH_OPERATORS_H

#include "engine/graph/op.h"

typedef struct lb_operators lb_operators;

/* `builtin` is NULL-ended, sorted by name, lent for ever. LB_MEMORY. */
LB_MUST_CHECK lb_status lb_operators_new(const lb_op *const *builtin, lb_operators **out);

/* Adds the operators of the shared object `path` (object.h): all or, on failure, none. Code of the
 * object runs, so `path` must come from whoever runs the program and never from a graph. What the
 * file holds is part of the keys of what its operators make. LB_NOT_FOUND, LB_IO: there is no such
 * file; LB_FORMAT: it is no object of operators; LB_UNSUPPORTED: of another interface; LB_INVALID:
 * an operator without sense, or with a name that is taken; reported at `loc`. */
LB_MUST_CHECK lb_status lb_operators_load(lb_operators *operators, lb_diag *diag, lb_loc loc,
                                          const char *path);

/* NULL-ended, sorted by name, for lb_lang_load; lent until the next lb_operators_load. */
const lb_op *const *lb_operators_list(const lb_operators *operators);

/* After every graph that uses them is gone. */
void lb_operators_free(lb_operators **operators);

#endif
