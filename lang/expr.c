/* lang/expr.c: from an expression's text to its program. Recursive descent; each rule appends its
 * operations and answers the type of what they leave on the stack.
 *
 *   condition = or [ "?" condition ":" condition ]
 *   or        = and { "||" and }             and     = equality { "&&" equality }
 *   equality  = relation { ("=="|"!=") relation }
 *   relation  = sum { ("<"|"<="|">"|">=") sum }
 *   sum       = product { ("+"|"-") product }
 *   product   = sign { ("*"|"/"|"%") sign }
 *   sign      = ("-"|"+"|"!") sign | value { "." components }
 *   value     = number | text | name | name "(" condition { "," condition } ")"
 *             | "(" condition ")"
 */
#include "lang/expr.h"

#include <stdarg.h>
#include <string.h>

#include "engine/base/text.h"
#include "lang/expr_compile.h"

typedef lb_expr_compiler compiler;
typedef lb_expr_token token;
typedef lb_expr_type type;

static const type bool_type = {LB_DATUM_BOOL, 1}, text_type = {LB_DATUM_TEXT, 1};

/* --- faults --- */

static void fail(compiler *c, lb_status status, size_t begin, size_t end, const char *format,
                 va_list args)
{
    char text[400];

    if (c->status != LB_OK)
        return;
    vsnprintf(text, sizeof text, format, args);
    c->status = lb_fail(c->diag, status, lb_yaml_place(c->scalar, begin, end), "%s", text);
}

void lb_expr_fail(compiler *c, lb_status status, size_t begin, size_t end, const char *format, ...)
{
    va_list args;

    va_start(args, format);
    fail(c, status, begin, end, format, args);
    va_end(args);
}

void lb_expr_wrong(compiler *c, const token *at, const char *format, ...)
{
    va_list args;

    va_start(args, format);
    fail(c, LB_INVALID, at->begin, at->end, format, args);
    va_end(args);
}

/* --- operations --- */

static void append(compiler *c, lb_expr_op op, int32_t grows)
{
    if (c->status != LB_OK)
        return;
    if (!lb_grow((void **)&c->ops, &c->op_capacity, c->op_count, sizeof *c->ops)) {
        lb_expr_fail(c, LB_MEMORY, 0, c->length, "no memory");
        return;
    }
    c->ops[c->op_count++] = op;
    c->stack += grows;
    if (c->stack > LB_EXPR_MAX_STACK)
        lb_expr_fail(c, LB_LIMIT, 0, c->length,
                     "the expression holds more than %d values at a time", LB_EXPR_MAX_STACK);
}

static type emit_constant(compiler *c, const token *from, const lb_datum *value)
{
    if (c->status == LB_OK && !lb_grow((void **)&c->constants, &c->constant_capacity,
                                       c->constant_count, sizeof *c->constants))
        lb_expr_fail(c, LB_MEMORY, 0, c->length, "no memory");
    if (c->status == LB_OK) {
        c->constants[c->constant_count] = *value;
        append(c,
               (lb_expr_op){LB_EXPR_CONSTANT, 0, (uint16_t)from->begin, (uint16_t)from->end,
                            (int32_t)c->constant_count++},
               1);
    }
    return (type){value->kind, value->count};
}

static bool is_long(const lb_datum *value)
{
    return value->kind == LB_DATUM_TEXT && strnlen(value->text, 1000) == 1000;
}

/* The last operation and the `count` constants it works on become one constant. Texts are joined,
 * and long ones compared, when the program runs, which bounds them. */
static void fold(compiler *c, const token *from, size_t count)
{
    size_t first = c->op_count - 1 - count;
    lb_expr part = {.op_count = (int32_t)count + 1, .constants = c->constants};
    const lb_expr_op *blamed = NULL;
    lb_expr_env env = {.arena = c->arena, .blamed = &blamed};
    lb_datum result;

    if (c->status != LB_OK || c->op_count < count + 1 || first < c->fixed)
        return;
    for (size_t i = first; i < c->op_count - 1; i++)
        if (c->ops[i].code != LB_EXPR_CONSTANT)
            return;
    part.ops = &c->ops[first];
    if (count == 2 && is_long(&c->constants[part.ops[0].argument]))
        return;
    if (lb_expr_run(&part, &env, &result) != LB_OK || blamed)
        return; /* what is infinite keeps the place where it became so */
    c->op_count = first;
    c->constant_count -= count;
    c->stack--;
    emit_constant(c, from, &result);
}

void lb_expr_emit(compiler *c, const token *from, lb_expr_code code, int32_t count,
                  int32_t argument, int32_t grows)
{
    append(c,
           (lb_expr_op){(uint8_t)code, (uint8_t)count, (uint16_t)from->begin, (uint16_t)from->end,
                        argument},
           grows);
    if (code >= LB_EXPR_NEGATE && code <= LB_EXPR_PICK)
        fold(c, from, (size_t)(1 - grows));
}

/* An operation that may go on elsewhere; land() says where. Answers which it is. */
static size_t emit_jump(compiler *c, const token *from, lb_expr_code code, int32_t grows)
{
    lb_expr_emit(c, from, code, 0, 0, grows);
    return c->op_count - 1;
}

/* The jump leads to what comes next. */
static void land(compiler *c, size_t jump)
{
    if (c->status != LB_OK)
        return;
    c->ops[jump].argument = (int32_t)c->op_count;
    c->fixed = c->op_count;
}

static type condition(compiler *c);

/* --- values --- */

static type text_value(compiler *c, const token *t)
{
    lb_datum value = {.kind = LB_DATUM_TEXT, .count = 1};

    if (c->status != LB_OK)
        return text_type;
    value.text = lb_arena_strndup(c->arena, c->text + t->begin + 1, t->end - t->begin - 2);
    if (!value.text)
        lb_expr_fail(c, LB_MEMORY, t->begin, t->end, "no memory");
    return emit_constant(c, t, &value);
}

static bool is_word(const compiler *c, const token *t, const char *word)
{
    return strlen(word) == t->end - t->begin &&
           memcmp(c->text + t->begin, word, t->end - t->begin) == 0;
}

static type name_value(compiler *c, const token *t)
{
    lb_meaning meaning = {.what = LB_MEANS_NOTHING};
    lb_status status;

    if (c->status != LB_OK)
        return lb_expr_number_type;
    if (is_word(c, t, "true") || is_word(c, t, "false"))
        return emit_constant(
            c, t,
            &(lb_datum){.kind = LB_DATUM_BOOL, .count = 1, .numbers = {is_word(c, t, "true")}});
    status = c->scope->find(c->scope->context, c->text + t->begin, t->end - t->begin,
                            lb_yaml_place(c->scalar, t->begin, t->end), &meaning);
    if (status != LB_OK) {
        c->status = status;
        return lb_expr_number_type;
    }
    switch (meaning.what) {
    case LB_MEANS_NOTHING:
        lb_expr_unknown(c, t, false);
        break;
    case LB_MEANS_BROKEN:
        c->status = LB_INVALID; /* told where it is defined */
        break;
    case LB_MEANS_CONSTANT:
        return emit_constant(c, t, &meaning.value);
    case LB_MEANS_FRAME:
    case LB_MEANS_TIME:
        c->timed = true;
        lb_expr_emit(c, t, meaning.what == LB_MEANS_FRAME ? LB_EXPR_FRAME : LB_EXPR_TIME, 0, 0, 1);
        return lb_expr_number_type;
    case LB_MEANS_PARAM:
        c->timed = true;
        lb_expr_emit(c, t, LB_EXPR_PARAM, 0, meaning.slot, 1);
        return (type){meaning.value.kind, meaning.value.count};
    }
    return lb_expr_number_type;
}

/* Behind "name(". */
static type call_value(compiler *c, const token *name)
{
    type args[4] = {{0}};
    int32_t count = 0;

    if (!lb_expr_is_sign(c, ")"))
        do {
            type one = condition(c);

            if (count < 4)
                args[count] = one;
            count++;
        } while (lb_expr_accept(c, ","));
    lb_expr_expect(c, ")");
    return lb_expr_call(c, name, args, count);
}

static type bracket_value(compiler *c, const token *t)
{
    type result;

    if (strcmp(t->sign, "(") != 0) {
        lb_expr_wrong(c, t, "'%s' is here where a value should be", t->sign);
        return lb_expr_number_type;
    }
    result = condition(c);
    lb_expr_expect(c, ")");
    return result;
}

static type value(compiler *c)
{
    token t = c->next;
    lb_datum number = {.kind = LB_DATUM_NUMBERS, .count = 1, .numbers = {t.number}};

    if (c->status != LB_OK)
        return lb_expr_number_type;
    lb_expr_advance(c);
    switch (t.kind) {
    case LB_TOKEN_NUMBER:
        return emit_constant(c, &t, &number);
    case LB_TOKEN_TEXT:
        return text_value(c, &t);
    case LB_TOKEN_NAME:
        return lb_expr_accept(c, "(") ? call_value(c, &t) : name_value(c, &t);
    case LB_TOKEN_SIGN:
        return bracket_value(c, &t);
    case LB_TOKEN_END:
        break;
    }
    lb_expr_wrong(c, &t, "the expression ends where a value should be");
    return lb_expr_number_type;
}

/* --- operators --- */

static bool enter(compiler *c)
{
    if (++c->depth > LB_EXPR_MAX_DEPTH)
        lb_expr_fail(c, LB_LIMIT, c->next.begin, c->next.end,
                     "the expression is nested too deep here");
    return c->status == LB_OK;
}

static type sign(compiler *c)
{
    token t = c->next;
    type result = lb_expr_number_type;

    if (!enter(c)) {
        c->depth--;
        return result;
    }
    if (lb_expr_accept(c, "!")) {
        result = sign(c);
        if (result.kind != LB_DATUM_BOOL)
            lb_expr_wrong(c, &t, "'!' takes true or false, not %s", lb_expr_type_text(result));
        lb_expr_emit(c, &t, LB_EXPR_NOT, 1, 0, 0);
    } else if (lb_expr_is_sign(c, "-") || lb_expr_is_sign(c, "+")) {
        lb_expr_advance(c);
        result = sign(c);
        if (result.kind != LB_DATUM_NUMBERS)
            lb_expr_wrong(c, &t, "'%s' takes numbers, not %s", t.sign, lb_expr_type_text(result));
        if (t.sign[0] == '-')
            lb_expr_emit(c, &t, LB_EXPR_NEGATE, 1, 0, 0);
    } else {
        result = value(c);
        while (lb_expr_accept(c, "."))
            result = lb_expr_pick(c, result);
    }
    c->depth--;
    return result;
}

typedef struct infix {
    const char *sign;
    lb_expr_code code;
} infix;

/* What an operator makes of two types; reports what it cannot. */
static type combine(compiler *c, const token *at, lb_expr_code code, type a, type b)
{
    bool is_number = a.kind == LB_DATUM_NUMBERS && b.kind == LB_DATUM_NUMBERS;
    bool is_same = a.kind == b.kind && (a.kind != LB_DATUM_NUMBERS || a.count == b.count);
    bool is_single = a.count == 1 && b.count == 1;
    bool has_bool = a.kind == LB_DATUM_BOOL || b.kind == LB_DATUM_BOOL;

    if (c->status != LB_OK)
        return a;
    if (code >= LB_EXPR_ADD && code <= LB_EXPR_MODULO) {
        if (is_number && (a.count == b.count || a.count == 1 || b.count == 1))
            return a.count > b.count ? a : b;
        if (code == LB_EXPR_ADD && !is_number && !has_bool && is_single)
            return text_type;
    } else if (code >= LB_EXPR_LESS && code <= LB_EXPR_GREATER_EQUAL) {
        if (is_number && is_single)
            return bool_type;
    } else if (code == LB_EXPR_EQUAL || code == LB_EXPR_DIFFERENT) {
        if (is_same)
            return bool_type;
    } else if (a.kind == LB_DATUM_BOOL && b.kind == LB_DATUM_BOOL) {
        return bool_type;
    }
    lb_expr_wrong(c, at, "'%s' cannot go with %s and %s", at->sign, lb_expr_type_text(a),
                  lb_expr_type_text(b));
    return a;
}

/* The levels of infix operators, loosest first. */
static const infix levels[][5] = {
    {{"||", LB_EXPR_OR}},
    {{"&&", LB_EXPR_AND}},
    {{"==", LB_EXPR_EQUAL}, {"!=", LB_EXPR_DIFFERENT}},
    {{"<", LB_EXPR_LESS},
     {"<=", LB_EXPR_LESS_EQUAL},
     {">", LB_EXPR_GREATER},
     {">=", LB_EXPR_GREATER_EQUAL}},
    {{"+", LB_EXPR_ADD}, {"-", LB_EXPR_SUBTRACT}},
    {{"*", LB_EXPR_MULTIPLY}, {"/", LB_EXPR_DIVIDE}, {"%", LB_EXPR_MODULO}},
};
#define LEVEL_COUNT (sizeof levels / sizeof levels[0])

static type binary(compiler *c, size_t level)
{
    type result;

    if (level == LEVEL_COUNT)
        return sign(c);
    result = binary(c, level + 1);
    for (const infix *found; c->status == LB_OK;) {
        token t = c->next;
        bool is_lazy;
        size_t jump = 0;
        type right;

        for (found = levels[level]; found->sign && !lb_expr_is_sign(c, found->sign);)
            found++;
        if (!found->sign)
            break;
        lb_expr_advance(c);
        is_lazy = found->code == LB_EXPR_AND || found->code == LB_EXPR_OR;
        if (is_lazy)
            jump = emit_jump(c, &t, found->code, -1);
        right = binary(c, level + 1);
        result = combine(c, &t, found->code, result, right);
        if (is_lazy)
            land(c, jump);
        else
            lb_expr_emit(c, &t, result.kind == LB_DATUM_TEXT ? LB_EXPR_JOIN : found->code, 2, 0,
                         -1);
    }
    return result;
}

/* Behind the "?"; only the side that is chosen is computed. */
static type choice(compiler *c, const token *t, type chooser)
{
    size_t to_else, to_end;
    type result, other;

    if (chooser.kind != LB_DATUM_BOOL)
        lb_expr_wrong(c, t, "'?' takes true or false before it, not %s",
                      lb_expr_type_text(chooser));
    to_else = emit_jump(c, t, LB_EXPR_ELSE, -1);
    result = condition(c);
    lb_expr_expect(c, ":");
    to_end = emit_jump(c, t, LB_EXPR_JUMP, -1); /* the other side begins with what was there */
    land(c, to_else);
    other = condition(c);
    if (result.kind != other.kind || result.count != other.count)
        lb_expr_wrong(c, t, "'?' chooses between %s and %s; both must be of one type",
                      lb_expr_type_text(result), lb_expr_type_text(other));
    land(c, to_end);
    return result;
}

static type condition(compiler *c)
{
    type result = lb_expr_number_type;

    if (enter(c)) {
        token t;

        result = binary(c, 0);
        t = c->next;
        if (lb_expr_accept(c, "?"))
            result = choice(c, &t, result);
    }
    c->depth--;
    return result;
}

/* Copies the program into the arena. */
static lb_status finish(compiler *c, type result, lb_expr *out)
{
    lb_expr_op *ops = lb_arena_alloc(c->arena, c->op_count, sizeof *ops);
    lb_datum *constants = lb_arena_alloc(c->arena, c->constant_count + 1, sizeof *constants);

    if (!ops || !constants)
        return lb_fail(c->diag, LB_MEMORY, c->scalar->loc, "no memory");
    memcpy(ops, c->ops, c->op_count * sizeof *ops);
    if (c->constant_count > 0)
        memcpy(constants, c->constants, c->constant_count * sizeof *constants);
    *out = (lb_expr){result.kind, result.count, c->timed, (int32_t)c->op_count,
                     ops,         constants,    c->scalar};
    return LB_OK;
}

lb_status lb_expr_compile(lb_diag *diag, const lb_scope *scope, const lb_yaml_node *scalar,
                          lb_arena *arena, lb_expr *out)
{
    compiler c = {.diag = diag,
                  .scope = scope,
                  .scalar = scalar,
                  .arena = arena,
                  .text = scalar->text,
                  .length = scalar->length};
    type result;

    *out = (lb_expr){0};
    if (c.length > LB_EXPR_MAX_BYTES)
        return lb_fail(diag, LB_LIMIT, scalar->loc, "the expression is longer than %d bytes",
                       LB_EXPR_MAX_BYTES);
    lb_expr_advance(&c);
    result = condition(&c);
    if (c.next.kind != LB_TOKEN_END)
        lb_expr_wrong(&c, &c.next, "the expression should end here");
    if (c.status == LB_OK)
        c.status = finish(&c, result, out);
    lb_free(c.ops);
    lb_free(c.constants);
    return c.status;
}

lb_loc lb_expr_place(const lb_expr *expr, const lb_expr_op *op)
{
    return lb_yaml_place(expr->scalar, op->begin, op->end);
}
