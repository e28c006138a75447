/* engine/graph/graph.h: a graph as the parser leaves it: names resolved, values checked. */
#ifndef LB_GRAPH_GRAPH_H
#define LB_GRAPH_GRAPH_H

#include "engine/graph/param.h"
#include "engine/media/media.h"

/* When a value is wanted. */
typedef struct lb_moment {
    double frame;
    double time_s;
    const lb_format *format; /* of the whole graph, scale 1 */
    lb_arena *arena;         /* for texts */
    lb_diag *diag;
} lb_moment;

/* A value that depends on the frame: an expression, keys, or a vector that holds some. Pure and
 * safe from any thread. `at` reports its own failures (a division by zero is none). */
typedef struct lb_source {
    lb_status (*at)(const void *context, const lb_moment *moment, lb_datum *out);
    const void *context; /* lives in the graph's arena */
    bool timed;          /* false: the same at every frame */
} lb_source;

/* Puts a source's value into a node's parameters. */
typedef struct lb_binding {
    const lb_param *param;
    int32_t records_offset; /* offset of the lb_records that holds it; -1: in the struct itself */
    int32_t record;         /* which of them */
    size_t base_offset;     /* of the struct that `param` belongs to, within its record or params
                             * (inline records) */
    lb_source source;
    lb_loc loc;
} lb_binding;

/* What a slot is connected to. */
typedef struct lb_edge_ref {
    int32_t node;      /* -1: nothing */
    const char *layer; /* NULL: the whole image */
    lb_loc loc;
    const char *name; /* how the graph names it there; NULL: by the node's name */
} lb_edge_ref;

/* A name space of the graph: the file itself (the first one), an included file, or one use of a
 * part. What is in it lies flat among all nodes, each under its full name. */
typedef struct lb_graph_unit {
    const char *name;   /* full: "kit", "kit/title"; "" for the graph file */
    const char *part;   /* what is used, as `op` says behind part/; NULL: a file */
    const char *file;   /* in which it is written */
    const char *folder; /* of that file; the unit's paths are relative to it */
    lb_loc loc;         /* where it is included or used; nowhere for the graph file */
    int32_t parent;     /* -1 for the graph file */
    int32_t result;     /* of a part: the node that the use stands for; -1: none */
} lb_graph_unit;

typedef struct lb_node {
    const char *name; /* full: "glow", "kit/glow" */
    const lb_op *op;
    lb_loc loc;   /* of the name */
    void *params; /* literals and defaults stored; op->params_size bytes */
    lb_loc *locs; /* one a parameter of the table */
    int32_t slot_count;
    lb_edge_ref *slots;
    int32_t binding_count;
    lb_binding *bindings;
    int32_t unit; /* of graph->units */
} lb_node;
/* The name without what stands before the last /: as its own file has it. */
const char *lb_node_local(const lb_node *node);

typedef struct lb_output {
    const char *name;
    lb_loc loc;
    lb_edge_ref image;
    const char *file; /* pattern, relative to the current folder (joined with the graph's) */
    lb_loc file_loc;
    const char *const *layers; /* NULL-ended; NULL: all that the format can hold */
    int32_t first, last;       /* written at these frames, inclusive */
    lb_write_options write;
} lb_output;

/* A named value that the graph declares and that may be set from outside. */
typedef struct lb_graph_param {
    const char *name;  /* full: "warmth", "kit/warmth" */
    const char *type;  /* "a number", "a colour", ... */
    const char *value; /* as a setting is written; NULL: it differs from frame to frame */
} lb_graph_param;

/* Another set of params and another frame for the same nodes. */
typedef struct lb_graph_version {
    const char *name;
    lb_loc loc;
} lb_graph_version;

/* Everything lives in `arena`; made by lang, read by all. */
typedef struct lb_graph {
    lb_arena *arena;
    const char *file;   /* as given; interned in the diag */
    const char *folder; /* of the graph file */
    lb_format format;   /* scale 1 */
    int32_t node_count;
    lb_node *nodes;
    int32_t output_count;
    lb_output *outputs;
    int32_t param_count;
    lb_graph_param *params;
    int32_t unit_count; /* 0: a graph that no file describes */
    lb_graph_unit *units;
    int32_t version_count;
    lb_graph_version *versions;
    const lb_graph_version *version; /* which of them this is; NULL: none */
} lb_graph;

LB_MUST_CHECK lb_status lb_graph_new(lb_graph **out);
void lb_graph_free(lb_graph **graph);
int32_t lb_graph_find(const lb_graph *graph, const char *name); /* -1 */

/* Required inputs connected, kinds fit, layers only of images, no cycle, operators' own `check`s
 * at the first frame. Reports everything, answers the first failure. */
LB_MUST_CHECK lb_status lb_graph_check(const lb_graph *graph, lb_diag *diag);

/* Notes below the last message: in which uses of parts and included files unit `unit` lies, from
 * the inside out, and in which version. */
void lb_graph_note(const lb_graph *graph, int32_t unit, lb_diag *diag);

/* Parameters of `node` at `moment`, scaled for `format`, in moment->arena: *out has
 * op->params_size bytes. *timed tells whether any of it can differ at another frame. */
LB_MUST_CHECK lb_status lb_node_resolve(const lb_graph *graph, const lb_node *node,
                                        const lb_moment *moment, const lb_format *format,
                                        void **out, bool *timed);

#endif
