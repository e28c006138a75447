/* engine/graph/make.h: makes the batches of one plan, for run.c. */
#ifndef LB_GRAPH_MAKE_H
#define LB_GRAPH_MAKE_H

#include "engine/graph/batches.h"
#include "engine/graph/cache.h"
#include "engine/graph/profile.h"
#include "engine/graph/watch.h"

/* Everything is lent. */
typedef struct lb_make {
    lb_plan *plan;
    lb_batches batches;
    lb_cache *cache;       /* NULL: none */
    lb_profile *profile;   /* NULL: none */
    const lb_watch *watch; /* NULL: none */
    bool in_order;         /* one batch after the other, for the least memory */
    bool is_part;       /* of a frame that is made in parts: nothing is worth keeping but what all
                         * frames use */
    atomic_int stopped; /* a batch failed or somebody asked to stop */
    /* Of a failure for want of memory: where, what was asked for, and what was in use. */
    const lb_step *short_step;
    size_t short_bytes, short_used;
} lb_make;

/* Makes every batch. Values are then in the steps of the targets; what only others read is gone.
 * Reports failures to the plan's diag, but LB_MEMORY only in `short_*`. */
LB_MUST_CHECK lb_status lb_make_all(lb_make *make);

/* What slot `feed` hands over from one of its steps; a reference. */
LB_MUST_CHECK lb_status lb_feed_value(const lb_feed *feed, int32_t index, lb_value *out);

#endif
