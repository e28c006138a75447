/* nodes/nodes.h: every operator that is built in. */
#ifndef LB_NODES_NODES_H
#define LB_NODES_NODES_H

#include "engine/graph/op.h"

/* NULL-ended, sorted by name; made by the build from the files in this folder. */
extern const lb_op *const lb_nodes_registry[];

#endif
