/* lang/expr_code.h: the program that an expression becomes; for lang/expr*.c only. */
#ifndef LB_LANG_EXPR_CODE_H
#define LB_LANG_EXPR_CODE_H

#include "lang/expr.h"

/* A machine with a stack of values. Jumps go forward, so that a program ends after as many steps as
 * it has operations. */
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
    LB_EXPR_CALL,   /* argument: row of lb_expr_functions; count: arguments */
    LB_EXPR_VECTOR, /* argument: size; count: arguments */
    LB_EXPR_PICK,   /* argument: component i in bits 2i and 2i + 1; count: how many */
    LB_EXPR_JOIN,   /* texts, or a text and a number */
    LB_EXPR_TEXT,   /* count: arguments of text() */
    LB_EXPR_AND,    /* false stays, and the program goes on at `argument`; true goes */
    LB_EXPR_OR,     /* the other way round */
    LB_EXPR_ELSE,   /* the condition goes; if it was false the program goes on at `argument` */
    LB_EXPR_JUMP,   /* the program goes on at `argument` */
} lb_expr_code;

/* How a function's arguments and result go together. */
typedef enum lb_expr_rule {
    LB_RULE_EACH,      /* component by component; numbers go with vectors */
    LB_RULE_LENGTH,    /* a number or vector -> a number */
    LB_RULE_DOT,       /* two of one size -> a number */
    LB_RULE_NORMALIZE, /* a number or vector -> the same size */
    LB_RULE_NUMBERS,   /* numbers -> a number */
    LB_RULE_TEXT,      /* numbers -> text */
} lb_expr_rule;

/* One row a number of arguments; the rows of a name stand together, fewest arguments first. */
typedef struct lb_expr_function {
    const char *name;
    int32_t count;
    lb_expr_rule rule;
    double (*of1)(double);
    double (*of2)(double, double);
    double (*of3)(double, double, double);
} lb_expr_function;
extern const lb_expr_function lb_expr_functions[]; /* ended by a NULL name */

/* x - y floor(x / y), GLSL's. */
double lb_expr_modulo(double x, double y);

#endif
