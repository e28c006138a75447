/* engine/graph/order.h: inputs before their readers. */
#ifndef LB_GRAPH_ORDER_H
#define LB_GRAPH_ORDER_H

#include "engine/graph/graph.h"

/* The nodes' indices so that every node stands after all that it reads; the caller's (lb_free). A
 * cycle is LB_INVALID, reported once with the names it runs through. */
LB_MUST_CHECK lb_status lb_graph_order(const lb_graph *graph, lb_diag *diag, int32_t **out);

#endif
