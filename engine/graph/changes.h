/* engine/graph/changes.h: where the results of two graphs begin to differ. */
#ifndef LB_GRAPH_CHANGES_H
#define LB_GRAPH_CHANGES_H

#include "engine/graph/run.h"

/* One result of one run. */
typedef struct lb_changes_side {
    lb_run *run;
    lb_edge_ref ref;
} lb_changes_side;

typedef struct lb_changes {
    bool same; /* both are known by the same key: equal pixels, in the same layer and channels */
    /* Nodes of the new graph, inputs before readers, whose result is nothing that the old graph
     * makes, although all that they read is. None, and not the same: what the new graph shows here
     * is made in the old one too, but shown elsewhere or not at all. */
    int32_t count;
    int32_t *nodes;
} lb_changes;

/* Compares, by keys, what goes into both results at `frame`; makes no pixel. Neither names nor
 * positions in the graph count, so a node that is renamed or moved is no change, and a node that
 * was taken out shows as a change of its readers. Frames of another size or colour space change
 * every result. Of what is read at other times the old graph is asked at the same times.
 *
 * out   lb_changes_clear, also after a failure
 *
 * Reports to `diag`. */
LB_MUST_CHECK lb_status lb_changes_find(const lb_changes_side *old, const lb_changes_side *new,
                                        int32_t frame, lb_diag *diag, lb_changes *out);
void lb_changes_clear(lb_changes *changes);

#endif
