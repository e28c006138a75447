/* engine/cli/layers.h: boxes and lines of a directed graph without cycles, drawn in layers.
 *
 * After Sugiyama, Tagawa, Toda, "Methods for visual understanding of hierarchical system
 * structures" (IEEE Transactions on Systems, Man, and Cybernetics 11, 1981): layers, an order in
 * each layer with few crossings, then places. Lines lead downwards. Through a layer that it only
 * passes a line goes at a place of its own between the boxes; between layers there is nothing but
 * lines: so none runs through a box. All lines from one box share their way until they part. */
#ifndef LB_CLI_LAYERS_H
#define LB_CLI_LAYERS_H

#include "engine/base/status.h"

typedef struct lb_layer_box {
    double width, height; /* given */
    bool is_last;         /* given: stands at the bottom, if no line leads out of it */
    double x, y;          /* found: upper left corner */
} lb_layer_box;

/* Where a line goes straight down: through a layer, at its beginning or at its end. */
typedef struct lb_layer_pass {
    double x, top, bottom;
} lb_layer_pass;

typedef struct lb_layer_line {
    int32_t from, to; /* given: boxes */
    /* Found. The first pass is the point below `from` where it begins (top = bottom), the last one
     * reaches from the layer's edge to the box `to`. */
    int32_t pass_count;
    lb_layer_pass *passes;
} lb_layer_line;

typedef struct lb_layers {
    int32_t box_count, line_count;
    lb_layer_box *boxes;
    lb_layer_line *lines;
    double width, height; /* found: of all */
} lb_layers;

/* Finds the places. Passes are in the arena. Always the same for the same boxes and lines in the
 * same order, on every machine: sums, products and square roots only. LB_MEMORY, LB_CYCLE: reported
 * by nobody. */
struct lb_arena;
LB_MUST_CHECK lb_status lb_layers_place(lb_layers *layers, struct lb_arena *arena);

#endif
