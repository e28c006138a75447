/* lang/expr.h: expressions. Compiled to a short straight program, types checked before it runs. */
#ifndef LB_LANG_EXPR_H
#define LB_LANG_EXPR_H

#include "engine/graph/param.h"
#include "lang/yaml.h"

#define LB_EXPR_MAX_BYTES 8192
#define LB_EXPR_MAX_NAME 100  /* bytes of a name that are looked at */
#define LB_EXPR_MAX_DEPTH 128 /* signs, conditions (1 each) and brackets (2) within each other */
#define LB_EXPR_MAX_STACK 128 /* values that wait at the same time */
/* bytes that one run may join to texts, halves on the way counted, and bytes that it may compare */
#define LB_EXPR_MAX_TEXT 65536
#define LB_EXPR_MAX_DIGITS 30   /* of text(), before the point */
#define LB_EXPR_MAX_DECIMALS 15 /* and behind it */

/* What a name in an expression stands for. */
typedef struct lb_meaning {
    enum {
        LB_MEANS_NOTHING,
        LB_MEANS_CONSTANT, /* `value` */
        LB_MEANS_FRAME,
        LB_MEANS_TIME,
        LB_MEANS_PARAM,  /* differs from frame to frame; `slot`, kind and count of `value` */
        LB_MEANS_BROKEN, /* it has a fault of its own that was reported */
    } what;
    lb_datum value;
    int32_t slot;
} lb_meaning;

/* Who knows the names. */
typedef struct lb_scope {
    void *context;
    /* Is there a param of that name? Names with dashes in them are params or nothing. */
    bool (*has)(void *context, const char *name, size_t length);
    /* `loc` is where the name stands. LB_MEMORY only, reported. */
    lb_status (*find)(void *context, const char *name, size_t length, lb_loc loc, lb_meaning *out);
    /* For an unknown name; NULL: none is near. */
    const char *(*nearest)(void *context, const char *name);
} lb_scope;

typedef struct lb_expr_op {
    uint8_t code, count;
    uint16_t begin, end; /* the bytes of the text that it comes from */
    int32_t argument;
} lb_expr_op;

typedef struct lb_expr {
    lb_datum_kind kind; /* of the result */
    int32_t count;      /* of numbers in the result */
    bool timed;
    int32_t op_count;
    const lb_expr_op *ops;
    const lb_datum *constants;
    const lb_yaml_node *scalar; /* the text, for places in it */
} lb_expr;

/* What an expression needs while it runs. */
typedef struct lb_expr_env {
    double frame, time_s;
    lb_arena *arena; /* for joined texts */
    lb_diag *diag;
    void *context;
    lb_status (*param)(void *context, int32_t slot, lb_datum *out);
    int64_t *text_bytes; /* NULL, or what the bytes of texts that were made or compared go to */
    const lb_expr_op **blamed; /* NULL, or where the operation is put that made the result infinite
                                * or not a number of finite numbers; NULL: the result is finite */
} lb_expr_env;

/* Compiles a scalar's text into the arena. Reports the first fault where it stands. A name that is
 * LB_MEANS_BROKEN is LB_INVALID without a message. */
LB_MUST_CHECK lb_status lb_expr_compile(lb_diag *diag, const lb_scope *scope,
                                        const lb_yaml_node *scalar, lb_arena *arena, lb_expr *out);

/* Pure: the same bits on every machine. LB_LIMIT for a text that grows too long, LB_INVALID for one
 * that would hold an infinite number, LB_MEMORY; arithmetic never fails (1 / 0 is infinite). What
 * the answer does not need is not computed. Takes time in proportion to op_count at most. */
LB_MUST_CHECK lb_status lb_expr_run(const lb_expr *expr, const lb_expr_env *env, lb_datum *out);

/* Where an operation stands in the file. */
lb_loc lb_expr_place(const lb_expr *expr, const lb_expr_op *op);

#endif
