/* engine/graph/parts.h: pictures that are made in horizontal parts, for want of memory. */
#ifndef LB_GRAPH_PARTS_H
#define LB_GRAPH_PARTS_H

#include "engine/graph/plan.h"

/* The rows of each part of `window`; 0: more parts than make sense. */
int32_t lb_parts_rows(lb_box window, int32_t parts);

/* Makes the values of `wants`, as lb_run_frame. */
typedef lb_status (*lb_parts_fn)(void *context, const lb_want *wants, int32_t count, lb_value *out,
                                 lb_key *keys);

/* The same as one call of fn, with a call for each part. Wants without a window are for `window`.
 * Planes that are the same picture's same channel are made once. LB_MEMORY where a value is not an
 * image. */
LB_MUST_CHECK lb_status lb_parts_make(const lb_want *wants, int32_t count, lb_box window,
                                      int32_t parts, lb_parts_fn fn, void *context, lb_value *out,
                                      lb_key *keys);

#endif
