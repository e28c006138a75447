/* engine/graph/run.h: frames out of a graph. */
#ifndef LB_GRAPH_RUN_H
#define LB_GRAPH_RUN_H

#include "engine/graph/graph.h"

typedef struct lb_run lb_run;

typedef struct lb_run_options {
    lb_pool *pool;
    lb_diag *diag;
    double scale;       /* 1: frame.size */
    size_t cache_bytes; /* for results kept from frame to frame; 0: none is kept */
} lb_run_options;

/* One node's share of a frame, for reports. */
typedef struct lb_node_stats {
    const char *node, *op;
    int64_t evaluated, reused; /* times made, times taken from the cache */
    double seconds;            /* making it, all frames */
    size_t peak_bytes;         /* most memory in use while it was made */
} lb_node_stats;

LB_MUST_CHECK lb_status lb_run_new(const lb_graph *graph, const lb_run_options *options,
                                   lb_run **out);
void lb_run_free(lb_run **run);
const lb_format *lb_run_format(const lb_run *run); /* scaled */

/* The image at `ref` (a node, or a layer of it) at `frame`. `channels`: NULL-ended names wanted,
 * NULL for all. `window`: pixels wanted; NULL: the display window and whatever of the data window
 * `overscan` keeps (true: all of it). *key, if not NULL, is what the result is known by. */
LB_MUST_CHECK lb_status lb_run_image(lb_run *run, const lb_edge_ref *ref, int32_t frame,
                                     const char *const *channels, const lb_box *window,
                                     bool overscan, lb_image **out, lb_key *key);
/* The scene at `ref`. */
LB_MUST_CHECK lb_status lb_run_scene(lb_run *run, const lb_edge_ref *ref, int32_t frame,
                                     lb_scene **out);

/* Nodes evaluated and reused so far; lent, one a node of the graph. */
const lb_node_stats *lb_run_stats(const lb_run *run, int32_t *count);
void lb_run_reset_stats(lb_run *run);

#endif
