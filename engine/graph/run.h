/* engine/graph/run.h: frames out of a graph. */
#ifndef LB_GRAPH_RUN_H
#define LB_GRAPH_RUN_H

#include "engine/graph/plan.h"

typedef struct lb_run lb_run;

typedef struct lb_run_options {
    lb_pool *pool;
    lb_diag *diag;
    int32_t width, height;    /* of the frame; 0: frame.size times `scale` */
    double scale;             /* pixels rendered per pixel of frame.size */
    size_t cache_bytes;       /* for results kept from frame to frame; 0: none is kept */
    const char *cache_folder; /* results kept from run to run; NULL: none is */
} lb_run_options;

/* One node's share of the frames so far, for reports. */
typedef struct lb_node_stats {
    const char *node, *op;
    int64_t evaluated, reused; /* times made, times taken from a cache */
    double seconds;            /* making it */
    size_t peak_bytes;         /* most memory in use while it was made */
} lb_node_stats;

/* The graph, the pool and the diag are lent and must outlive the run. */
LB_MUST_CHECK lb_status lb_run_new(const lb_graph *graph, const lb_run_options *options,
                                   lb_run **out);
void lb_run_free(lb_run **run);
const lb_format *lb_run_format(const lb_run *run); /* scaled */

/* The values of `wants` at `frame`, made together so that what they share is made once; out[i] are
 * the caller's (lb_value_unref), NONE on failure. An image's planes cover its part of the window.
 * keys[i], if keys is not NULL, is what it is known by: equal keys, equal pixels. Reports what goes
 * wrong. One frame at a time on a run. */
LB_MUST_CHECK lb_status lb_run_frame(lb_run *run, int32_t frame, const lb_want *wants,
                                     int32_t count, lb_value *out, lb_key *keys);

/* Plans `frame` for all outputs of the graph and makes nothing: files, layers, parameters and kinds
 * are looked at. */
LB_MUST_CHECK lb_status lb_run_check(lb_run *run, int32_t frame);

/* Nodes evaluated and reused so far; lent, one a node of the graph. */
const lb_node_stats *lb_run_stats(const lb_run *run, int32_t *count);

#endif
