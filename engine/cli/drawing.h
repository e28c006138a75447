/* engine/cli/drawing.h: what is drawn of a graph: its nodes and outputs, and what leads where. */
#ifndef LB_CLI_DRAWING_H
#define LB_CLI_DRAWING_H

#include "engine/base/text.h"
#include "engine/cli/layers.h"
#include "engine/graph/graph.h"

/* A node, a part with all that is in it, or an output. */
typedef struct lb_drawing_box {
    const char *name, *detail; /* detail: the operator, the part, or the output's file */
    const char *summary;       /* of the operator; NULL: none */
    lb_kind kind;              /* of the result; NONE: an output */
    int32_t node;              /* of the graph, of a part the one it stands for; -1: an output */
    bool is_used;              /* an output needs it */
    char *thumbnail;           /* PNG in base64, the drawing's own (lb_free); NULL: none */
    int32_t thumbnail_width, thumbnail_height;
} lb_drawing_box;

/* What leads from one box to another: box `from` as input `input` of box `to`. */
typedef struct lb_drawing_line {
    lb_kind kind;
    const char *input; /* its name in the table; NULL: that goes without saying */
    const char *layer; /* only that layer; NULL: all */
} lb_drawing_line;

typedef struct lb_drawing {
    lb_arena *arena;
    const lb_graph *graph;
    lb_drawing_box *boxes;  /* as layers.boxes */
    lb_drawing_line *lines; /* as layers.lines */
    lb_layers layers;       /* sizes and places once lb_drawing_svg was called */
} lb_drawing;

/* A use of a part is one box, or, if `opens_parts`, all that is in it. LB_MEMORY, not reported.
 * Free with lb_drawing_clear, also after a failure. */
LB_MUST_CHECK lb_status lb_drawing_make(const lb_graph *graph, bool opens_parts, lb_drawing *out);
void lb_drawing_clear(lb_drawing *drawing);

/* Appends the picture as SVG, light or dark as the reader's system is. LB_LIMIT for graphs of which
 * no picture can be made; LB_MEMORY; not reported. */
LB_MUST_CHECK lb_status lb_drawing_svg(lb_drawing *drawing, lb_text *out);
/* Appends it in the DOT language, for programs that draw graphs. */
void lb_drawing_dot(const lb_drawing *drawing, lb_text *out);

#endif
