/* engine/graph/batches.h: the steps of a plan that are made together, and the order of making.
 *
 * A batch is one step, or several that work pixel by pixel and are run as one (points.h). Steps get
 * a level: one more than what they read, but the same along an edge that can be fused. Fused are
 * those that hang together on one level: nothing can then lead out of a batch and back into it. */
#ifndef LB_GRAPH_BATCHES_H
#define LB_GRAPH_BATCHES_H

#include <stdatomic.h>

#include "engine/graph/plan.h"

typedef struct lb_batch {
    int32_t step_count;
    lb_step **steps; /* inputs before readers */
    int32_t need_count;
    int32_t *needs;                     /* batches that come before it: indices */
    size_t result_bytes, scratch_bytes; /* expected */
    atomic_bool done;
} lb_batch;

typedef struct lb_batches {
    int32_t count;
    lb_batch *items; /* every batch stands after those it needs */
    /* Expected of pictures, when batches are made in this order, one after the other. */
    size_t peak_bytes;
    int32_t peak_batch;  /* the one that is being made then; -1: there is none */
    size_t shared_bytes; /* of results that are the same for all frames, which caches keep */
} lb_batches;

/* Of all steps that are wanted and not in a cache. In the plan's arena. Edges within a batch are
 * taken off the `readers` of the steps. LB_MEMORY. */
LB_MUST_CHECK lb_status lb_batches_make(lb_plan *plan, lb_batches *out);

#endif
