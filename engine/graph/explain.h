/* engine/graph/explain.h: a plan in words. */
#ifndef LB_GRAPH_EXPLAIN_H
#define LB_GRAPH_EXPLAIN_H

#include "engine/base/text.h"
#include "engine/graph/batches.h"
#include "engine/graph/cache.h"

/* Describes a plan whose steps were asked (LB_ASK_LOOK) and put into batches: a table of what is
 * made, in order; what the cache gives; what is not needed; the expected peak of memory. A failed
 * allocation shows in out->failed. */
void lb_explain(const lb_plan *plan, const lb_batches *batches, lb_cache *cache, lb_text *out);

#endif
