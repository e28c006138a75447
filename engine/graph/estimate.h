/* engine/graph/estimate.h: how much memory a plan's pictures will take. Not a public header. */
#ifndef LB_GRAPH_ESTIMATE_H
#define LB_GRAPH_ESTIMATE_H

#include "engine/graph/batches.h"

/* Goes once through the batches in their order, counting planes: each is there from when it is made
 * until the last step that holds it has its last reader, whoever passed it on. Fills in the bytes
 * of `batches` and of each batch. Scenes and textures are not counted. LB_MEMORY, not reported. */
LB_MUST_CHECK lb_status lb_estimate(lb_plan *plan, lb_batches *batches);

#endif
