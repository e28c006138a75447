/* lang/expr_compile.h: what the parts of the compiler share; for lang/expr*.c only. */
#ifndef LB_LANG_EXPR_COMPILE_H
#define LB_LANG_EXPR_COMPILE_H

#include "lang/expr_code.h"

typedef enum lb_expr_token_kind {
    LB_TOKEN_END,
    LB_TOKEN_NUMBER,
    LB_TOKEN_TEXT,
    LB_TOKEN_NAME,
    LB_TOKEN_SIGN
} lb_expr_token_kind;

typedef struct lb_expr_token {
    lb_expr_token_kind kind;
    size_t begin, end; /* bytes */
    char sign[3];      /* "<", "<=", ... */
    double number;
} lb_expr_token;

typedef struct lb_expr_type {
    lb_datum_kind kind;
    int32_t count;
} lb_expr_type;

typedef struct lb_expr_compiler {
    lb_diag *diag;
    const lb_scope *scope;
    const lb_yaml_node *scalar;
    lb_arena *arena;
    const char *text;
    size_t length, at; /* `at`: behind `next` */
    lb_expr_token next;
    lb_expr_op *ops;
    lb_datum *constants;
    size_t op_count, op_capacity, constant_count, constant_capacity;
    size_t fixed; /* operations before this one are not folded: something jumps here */
    int32_t depth, stack;
    bool timed;
    lb_status status; /* of the first fault; nothing is reported after it */
} lb_expr_compiler;

/* Reports the first fault, at bytes begin .. end of the text. */
void lb_expr_fail(lb_expr_compiler *c, lb_status status, size_t begin, size_t end,
                  const char *format, ...) LB_PRINTF(5, 6);
/* The same at a token, as LB_INVALID. */
void lb_expr_wrong(lb_expr_compiler *c, const lb_expr_token *at, const char *format, ...)
    LB_PRINTF(3, 4);

static const lb_expr_type lb_expr_number_type = {LB_DATUM_NUMBERS, 1};
/* "a number", "a vec3", "text", ... */
const char *lb_expr_type_text(lb_expr_type type);

/* expr_scan.c: c->next becomes the token behind it. */
void lb_expr_advance(lb_expr_compiler *c);
/* Is the next token this sign? */
bool lb_expr_is_sign(const lb_expr_compiler *c, const char *sign);
/* Goes on behind it if it is. */
bool lb_expr_accept(lb_expr_compiler *c, const char *sign);
/* Reports it if it is not. */
void lb_expr_expect(lb_expr_compiler *c, const char *sign);
/* The end of the run of letters, digits, _ and - that begins at a byte. */
size_t lb_expr_word_end(const lb_expr_compiler *c, size_t begin);

/* expr.c: appends an operation, which comes from `from` in the text and makes the stack grow by
 * `grows`. Where all it works on is constant, its result takes its place. */
void lb_expr_emit(lb_expr_compiler *c, const lb_expr_token *from, lb_expr_code code, int32_t count,
                  int32_t argument, int32_t grows);

/* expr_call.c: a call with `count` arguments on the stack, of these types (the first four). */
lb_expr_type lb_expr_call(lb_expr_compiler *c, const lb_expr_token *name, const lb_expr_type *args,
                          int32_t count);
/* The components that the next token names, of what is on the stack. */
lb_expr_type lb_expr_pick(lb_expr_compiler *c, lb_expr_type of);
/* Reports a name that nothing has. */
void lb_expr_unknown(lb_expr_compiler *c, const lb_expr_token *name, bool is_function);

#endif
