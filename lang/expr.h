/* lang/expr.h: expressions. Compiled to a short straight program, types checked before it runs. */
#ifndef LB_LANG_EXPR_H
#define LB_LANG_EXPR_H

#include "engine/graph/param.h"
#include "lang/yaml.h"

#define LB_EXPR_MAX_BYTES 8192
#define LB_EXPR_MAX_DEPTH 128 /* signs, conditions (1 each) and brackets (2) within each other */
#define LB_EXPR_MAX_STACK 128 /* values that wait at the same time */
#define LB_EXPR_MAX_TEXT                                                                           \
    65536 /* bytes that one run may join to texts, halves on the way counted                       \
           */

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
    int32_t argument;
} lb_expr_op;

typedef struct lb_expr {
    lb_datum_kind kind; /* of the result */
    int32_t count;      /* of numbers in the result */
    bool timed;
    int32_t op_count;
    const lb_expr_op *ops;
    const lb_datum *constants;
} lb_expr;

/* What an expression needs while it runs. */
typedef struct lb_expr_env {
    double frame, time_s;
    lb_arena *arena; /* for joined texts */
    lb_diag *diag;
    lb_loc loc;
    void *context;
    lb_status (*param)(void *context, int32_t slot, lb_datum *out);
} lb_expr_env;

/* Compiles a scalar's text into the arena. Reports the first fault where it stands. A name that is
 * LB_MEANS_BROKEN is LB_INVALID without a message. */
LB_MUST_CHECK lb_status lb_expr_compile(lb_diag *diag, const lb_scope *scope,
                                        const lb_yaml_node *scalar, lb_arena *arena, lb_expr *out);

/* Pure: the same bits on every machine. LB_LIMIT for a text that grows too long, LB_MEMORY;
 * arithmetic never fails (1 / 0 is infinite). */
LB_MUST_CHECK lb_status lb_expr_run(const lb_expr *expr, const lb_expr_env *env, lb_datum *out);

/* --- shared by compiler and interpreter --- */

typedef enum lb_expr_code {
    LB_EXPR_CONSTANT, /* argument: which */
    LB_EXPR_FRAME,
    LB_EXPR_TIME,
    LB_EXPR_PARAM, /* argument: slot */
    LB_EXPR_NEGATE,
    LB_EXPR_NOT,
    LB_EXPR_ADD, /* numbers with vectors component by component */
    LB_EXPR_SUBTRACT,
    LB_EXPR_MULTIPLY,
    LB_EXPR_DIVIDE,
    LB_EXPR_MODULO,
    LB_EXPR_LESS,
    LB_EXPR_LESS_EQUAL,
    LB_EXPR_GREATER,
    LB_EXPR_GREATER_EQUAL,
    LB_EXPR_EQUAL,
    LB_EXPR_DIFFERENT,
    LB_EXPR_AND, /* both sides are computed: nothing has side effects */
    LB_EXPR_OR,
    LB_EXPR_SELECT, /* condition, then, else */
    LB_EXPR_JOIN,
    LB_EXPR_CALL,   /* argument: row of lb_expr_functions; count: arguments */
    LB_EXPR_VECTOR, /* argument: size; count: arguments */
    LB_EXPR_PICK,   /* argument: component i in bits 2i and 2i + 1; count: how many */
} lb_expr_code;

/* How a function's arguments and result go together. */
typedef enum lb_expr_rule {
    LB_RULE_EACH,      /* component by component; numbers go with vectors */
    LB_RULE_LENGTH,    /* a number or vector -> a number */
    LB_RULE_DOT,       /* two of one size -> a number */
    LB_RULE_NORMALIZE, /* a number or vector -> the same size */
    LB_RULE_NUMBERS,   /* numbers -> a number */
} lb_expr_rule;

/* One row a number of arguments. */
typedef struct lb_expr_function {
    const char *name;
    int32_t count;
    lb_expr_rule rule;
    double (*of1)(double);
    double (*of2)(double, double);
    double (*of3)(double, double, double);
} lb_expr_function;
extern const lb_expr_function lb_expr_functions[]; /* ended by a NULL name */

#endif
