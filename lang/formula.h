/* lang/formula.h: a value as the graph gives it: fixed, or worked out at each frame. */
#ifndef LB_LANG_FORMULA_H
#define LB_LANG_FORMULA_H

#include "engine/graph/graph.h"
#include "lang/expr.h"
#include "lang/keys.h"

typedef enum lb_formula_kind {
    LB_FORMULA_CONSTANT,
    LB_FORMULA_EXPR,
    LB_FORMULA_KEYS,
    LB_FORMULA_PARAM,
    LB_FORMULA_VECTOR,
} lb_formula_kind;

typedef struct lb_formula lb_formula;

/* The params that differ from frame to frame, by slot. None depends on itself. */
typedef struct lb_formula_set {
    int32_t count;
    const lb_formula **items;
} lb_formula_set;

/* Lives in the graph's arena; immutable once made. */
struct lb_formula {
    lb_formula_kind kind;
    bool timed;     /* false for constants alone */
    lb_datum value; /* kind and count; of constants the value too */
    lb_loc loc;
    const lb_formula_set *set;
    const char *folder; /* of the file it is written in: what a path is relative to */

    /* A constant text that is a CSS hex colour, working-linear: 3 or 4 numbers; 0: it is none. */
    int32_t color_count;
    double color[4];

    lb_expr expr;
    lb_keys keys;
    int32_t slot;            /* LB_FORMULA_PARAM */
    const lb_formula *parts; /* LB_FORMULA_VECTOR: value.count of them, each one number */
};

/* One moment's work, so that a param is computed once however often it is used. Zero-initialise but
 * for `moment`. */
typedef struct lb_formula_run {
    const lb_moment *moment;
    struct lb_known_value *known; /* a hash table by slot, in the moment's arena */
    size_t known_count, known_capacity;
    int64_t ops; /* operations done, to keep a check short */
} lb_formula_run;
/* For another moment, with the same arena. */
void lb_formula_run_reset(lb_formula_run *run);

/* LB_LIMIT, LB_MEMORY; reported. */
LB_MUST_CHECK lb_status lb_formula_at(const lb_formula *formula, lb_formula_run *run,
                                      lb_datum *out);

/* Below the message that `value` will not do, or could not be made (then 0): at which frame, and
 * where it became infinite or not a number. */
void lb_formula_note(const lb_formula *formula, lb_formula_run *run, const lb_datum *value);

/* As lb_source wants it; `context` is a formula. */
lb_status lb_formula_source(const void *context, const lb_moment *moment, lb_datum *out);

#endif
