/* engine/graph/ask.h: what is wanted of each step of a plan, and what a cache has of it. */
#ifndef LB_GRAPH_ASK_H
#define LB_GRAPH_ASK_H

#include "engine/graph/cache.h"
#include "engine/graph/plan.h"

typedef enum lb_ask {
    LB_ASK_ALL,  /* takes from the cache what it has */
    LB_ASK_PART, /* likewise, for a part of a frame: never asks for more than that */
    LB_ASK_LOOK, /* only notes what the cache has */
} lb_ask;

/* From readers to inputs: what is wanted, and how often each step will be read. What is not needed
 * for it stays unwanted. Reports its failures. */
LB_MUST_CHECK lb_status lb_plan_ask(lb_plan *plan, const lb_want *wants, lb_cache *cache,
                                    lb_ask how);

#endif
