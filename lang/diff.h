/* lang/diff.h: what two graph files differ in by meaning. */
#ifndef LB_LANG_DIFF_H
#define LB_LANG_DIFF_H

#include "engine/graph/op.h"

typedef enum lb_change_kind {
    LB_CHANGE_ADDED,
    LB_CHANGE_REMOVED,
    LB_CHANGE_RENAMED, /* from old_text to new_text, the thing's name */
    LB_CHANGE_VALUE,   /* a parameter, a key of a curve, a setting */
    LB_CHANGE_INPUT,   /* what a node or an output takes */
} lb_change_kind;
extern const char *const lb_change_names[]; /* added removed renamed changed rewired, NULL */

/* One difference. Texts live in the diff's arena. */
typedef struct lb_change {
    lb_change_kind kind;
    const char *part;    /* the part that it is in; NULL: the graph itself */
    const char *section; /* "nodes", "params", "outputs", "frame", ... */
    const char *name;    /* of the node, param, ... by the new file; NULL: the section itself */
    const char *path;    /* what of it: "radius", "stops[1].color", "radius at 45"; NULL: all */
    /* As a graph has them, on one line, without what differs in spelling alone; NULL: not there.
     * Of something added or removed: all of it. */
    const char *old_text, *new_text;
    const char *unit;        /* of numbers, "pixels"; NULL: none */
    lb_loc old_loc, new_loc; /* of the value or the name; nowhere where it is not there */
} lb_change;

typedef struct lb_diff {
    lb_arena *arena;
    int32_t count;
    lb_change *items;
    size_t capacity;
} lb_diff;

/* A file's text and its name in messages. */
typedef struct lb_diff_side {
    const char *path;
    const char *text;
    size_t bytes;
} lb_diff_side;

/* Finds what `b` has otherwise than `a`. Order, layout, comments, anchors and the spelling of
 * values never count; nor does a parameter that is given its initial value. Things with another
 * name but the same content are renamed, and what refers to them is not changed by it. The files
 * need not be good graphs, only YAML: what the tables of `ops` do not know is compared as it
 * stands. An empty text is a graph without anything. Included files are not read.
 *
 * out   lb_diff_clear also after a failure
 *
 * LB_OK, whether there are differences or not; LB_INVALID, LB_LIMIT: no YAML or no mapping,
 * reported; LB_MEMORY, reported. */
LB_MUST_CHECK lb_status lb_lang_diff(lb_diag *diag, const lb_diff_side *a, const lb_diff_side *b,
                                     const lb_op *const *ops, lb_diff *out);
void lb_diff_clear(lb_diff *diff);

#endif
