/* lang/expr.c: from an expression's text to its program. Recursive descent; each rule appends its
 * operations and answers the type of what they leave on the stack.
 *
 *   condition  = or [ "?" condition ":" condition ]
 *   or         = and { "||" and }            and = equality { "&&" equality }
 *   equality   = relation { "==" | "!=" }    relation = sum { "<" | "<=" | ">" | ">=" }
 *   sum        = product { "+" | "-" }       product = sign { "*" | "/" | "%" }
 *   sign       = ( "-" | "+" | "!" ) sign | value { "." components }
 *   value      = number | text | name | name "(" condition { "," condition } ")" | "(" condition
 * ")"
 */
#include "lang/expr.h"

#include <math.h>
#include <string.h>

#include "engine/base/text.h"

typedef enum token_kind { TOKEN_END, TOKEN_NUMBER, TOKEN_TEXT, TOKEN_NAME, TOKEN_SIGN } token_kind;

typedef struct token {
    token_kind kind;
    size_t begin, end; /* bytes */
    char sign[3];      /* "<", "<=", ... */
    double number;
} token;

typedef struct type {
    lb_datum_kind kind;
    int32_t count;
} type;

typedef struct compiler {
    lb_diag *diag;
    const lb_scope *scope;
    const lb_yaml_node *scalar;
    lb_arena *arena;
    const char *text;
    size_t length, at; /* `at`: behind `next` */
    token next;
    lb_expr_op *ops;
    lb_datum *constants;
    size_t op_count, op_capacity, constant_count, constant_capacity;
    int32_t depth, stack;
    bool timed;
    lb_status status; /* of the first fault; nothing is reported after it */
} compiler;

/* --- faults --- */

static lb_loc loc_of(const compiler *c, size_t begin, size_t end)
{
    return lb_yaml_place(c->scalar, begin, end);
}

#define FAIL(c, code, begin, end, ...)                                                             \
    ((c)->status == LB_OK                                                                          \
         ? (void)((c)->status =                                                                    \
                      lb_fail((c)->diag, (code), loc_of((c), (begin), (end)), __VA_ARGS__))        \
         : (void)0)

static const char *type_text(type t)
{
    static const char *const numbers[] = {"a number", "a vec2", "a vec3", "a vec4"};

    switch (t.kind) {
    case LB_DATUM_BOOL:
        return "true or false";
    case LB_DATUM_TEXT:
        return "text";
    case LB_DATUM_NUMBERS:
        break;
    }
    return numbers[t.count - 1];
}

/* --- tokens --- */

static bool is_letter(char c)
{
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '_';
}

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static char peek(const compiler *c, size_t at)
{
    return at < c->length ? c->text[at] : 0;
}

static void read_number(compiler *c, token *t)
{
    size_t at = t->begin;

    while (is_digit(peek(c, at)))
        at++;
    if (peek(c, at) == '.')
        at++;
    while (is_digit(peek(c, at)))
        at++;
    if (peek(c, at) == 'e' || peek(c, at) == 'E') {
        size_t digits = at + 1 + (peek(c, at + 1) == '+' || peek(c, at + 1) == '-');

        if (is_digit(peek(c, digits)))
            at = digits;
        while (is_digit(peek(c, at)))
            at++;
    }
    while (is_letter(peek(c, at)) || is_digit(peek(c, at))) /* 2x is a slip, not a number */
        at++;
    t->kind = TOKEN_NUMBER;
    t->end = at;
    if (!lb_text_number(c->text + t->begin, at - t->begin, &t->number) || !isfinite(t->number))
        FAIL(c, LB_INVALID, t->begin, at, "'%.*s' is not a number",
             (int)(at - t->begin < 40 ? at - t->begin : 40), c->text + t->begin);
}

/* The longest run with dashes that is a param's name, else up to the first dash. */
static void read_name(compiler *c, token *t)
{
    size_t longest = t->begin, word;
    bool is_component = c->next.kind == TOKEN_SIGN && c->next.sign[0] == '.';

    while (!is_component && longest - t->begin < 100 &&
           (is_letter(peek(c, longest)) || is_digit(peek(c, longest)) || peek(c, longest) == '-'))
        longest++;
    for (word = t->begin; is_letter(peek(c, word)) || is_digit(peek(c, word));)
        word++;
    while (longest > word &&
           !c->scope->has(c->scope->context, c->text + t->begin, longest - t->begin))
        for (longest--; longest > word && c->text[longest] != '-';)
            longest--;
    t->kind = TOKEN_NAME;
    t->end = longest > word ? longest : word;
}

static void read_text(compiler *c, token *t)
{
    char quote = c->text[t->begin];
    size_t end = t->begin + 1;

    while (end < c->length && c->text[end] != quote)
        end++;
    if (end == c->length) {
        FAIL(c, LB_INVALID, t->begin, end, "this text has no closing %c", quote);
        end--;
    }
    t->kind = TOKEN_TEXT;
    t->end = end + 1;
}

static void read_sign(compiler *c, token *t)
{
    static const char *const doubles[] = {"<=", ">=", "==", "!=", "&&", "||"};

    t->kind = TOKEN_SIGN;
    t->end = t->begin + 1;
    t->sign[0] = c->text[t->begin];
    for (size_t i = 0; i < sizeof doubles / sizeof doubles[0]; i++)
        if (t->sign[0] == doubles[i][0] && peek(c, t->begin + 1) == doubles[i][1]) {
            t->sign[1] = doubles[i][1];
            t->end++;
            return;
        }
    if (strchr("+-*/%<>!?:(),.", t->sign[0]))
        return;
    while (t->end < c->length && ((unsigned char)c->text[t->end] & 0xC0) == 0x80)
        t->end++; /* all of a code point */
    FAIL(c, LB_INVALID, t->begin, t->end, "'%.*s' has no meaning in an expression",
         (int)(t->end - t->begin), c->text + t->begin);
}

static void advance(compiler *c)
{
    token t = {0};

    while (strchr(" \t\r\n", peek(c, c->at)) && c->at < c->length)
        c->at++;
    t.begin = t.end = c->at;
    if (c->at < c->length) {
        char first = c->text[c->at];

        if (is_digit(first) || (first == '.' && is_digit(peek(c, c->at + 1))))
            read_number(c, &t);
        else if (is_letter(first))
            read_name(c, &t);
        else if (first == '"' || first == '\'')
            read_text(c, &t);
        else
            read_sign(c, &t);
    }
    c->at = t.end;
    c->next = t;
}

static bool is_sign(const compiler *c, const char *sign)
{
    return c->next.kind == TOKEN_SIGN && strcmp(c->next.sign, sign) == 0;
}

static bool accept(compiler *c, const char *sign)
{
    if (c->status != LB_OK || !is_sign(c, sign))
        return false;
    advance(c);
    return true;
}

static void expect(compiler *c, const char *sign)
{
    if (accept(c, sign))
        return;
    if (c->next.kind == TOKEN_END)
        FAIL(c, LB_INVALID, c->next.begin, c->next.end, "the expression ends where '%s' should be",
             sign);
    else
        FAIL(c, LB_INVALID, c->next.begin, c->next.end, "'%s' should be here", sign);
}

/* --- operations --- */

static void emit(compiler *c, lb_expr_code code, int32_t count, int32_t argument, int32_t grows)
{
    if (c->status != LB_OK)
        return;
    if (!lb_grow((void **)&c->ops, &c->op_capacity, c->op_count, sizeof *c->ops)) {
        FAIL(c, LB_MEMORY, 0, c->length, "no memory");
        return;
    }
    c->ops[c->op_count++] = (lb_expr_op){(uint8_t)code, (uint8_t)count, argument};
    c->stack += grows;
    if (c->stack > LB_EXPR_MAX_STACK)
        FAIL(c, LB_LIMIT, 0, c->length, "the expression holds more than %d values at a time",
             LB_EXPR_MAX_STACK);
}

static type emit_constant(compiler *c, const lb_datum *value)
{
    if (c->status == LB_OK && !lb_grow((void **)&c->constants, &c->constant_capacity,
                                       c->constant_count, sizeof *c->constants))
        FAIL(c, LB_MEMORY, 0, c->length, "no memory");
    if (c->status == LB_OK) {
        c->constants[c->constant_count] = *value;
        emit(c, LB_EXPR_CONSTANT, 0, (int32_t)c->constant_count++, 1);
    }
    return (type){value->kind, value->count};
}

static const type number_type = {LB_DATUM_NUMBERS, 1}, bool_type = {LB_DATUM_BOOL, 1};

static type condition(compiler *c);

/* --- values --- */

static type text_value(compiler *c, token t)
{
    lb_datum value = {.kind = LB_DATUM_TEXT, .count = 1};

    value.text = lb_arena_strndup(c->arena, c->text + t.begin + 1, t.end - t.begin - 2);
    if (!value.text)
        FAIL(c, LB_MEMORY, t.begin, t.end, "no memory");
    return emit_constant(c, &value);
}

static void unknown_name(compiler *c, token t, bool is_function)
{
    char name[64] = "";
    const char *nearest = NULL;
    size_t length = t.end - t.begin;

    if (length < sizeof name) {
        memcpy(name, c->text + t.begin, length);
        if (!is_function) {
            nearest = c->scope->nearest(c->scope->context, name);
        } else {
            const char *names[64];
            size_t count = 0;

            for (const lb_expr_function *f = lb_expr_functions; f->name; f++)
                names[count++] = f->name;
            names[count++] = "vec2";
            names[count++] = "vec3";
            names[count++] = "vec4";
            nearest = lb_text_nearest(name, names, count);
        }
    }
    FAIL(c, LB_INVALID, t.begin, t.end, "unknown %s '%.*s'%s%s%s",
         is_function ? "function" : "name", (int)(length < 60 ? length : 60), c->text + t.begin,
         nearest ? "; did you mean '" : "", nearest ? nearest : "", nearest ? "'?" : "");
}

static type name_value(compiler *c, token t)
{
    lb_meaning meaning = {.what = LB_MEANS_NOTHING};
    lb_status status;

    if (c->status != LB_OK)
        return number_type;
    status = c->scope->find(c->scope->context, c->text + t.begin, t.end - t.begin,
                            loc_of(c, t.begin, t.end), &meaning);
    if (status != LB_OK) {
        c->status = status;
        return number_type;
    }
    switch (meaning.what) {
    case LB_MEANS_NOTHING:
        unknown_name(c, t, false);
        break;
    case LB_MEANS_BROKEN:
        c->status = LB_INVALID; /* told where it is defined */
        break;
    case LB_MEANS_CONSTANT:
        return emit_constant(c, &meaning.value);
    case LB_MEANS_FRAME:
    case LB_MEANS_TIME:
        c->timed = true;
        emit(c, meaning.what == LB_MEANS_FRAME ? LB_EXPR_FRAME : LB_EXPR_TIME, 0, 0, 1);
        return number_type;
    case LB_MEANS_PARAM:
        c->timed = true;
        emit(c, LB_EXPR_PARAM, 0, meaning.slot, 1);
        return (type){meaning.value.kind, meaning.value.count};
    }
    return number_type;
}

/* vec2(1, 2), vec3(v.xy, 1), vec4(0): components, or one number for all. */
static type vector_value(compiler *c, token name, int32_t size, const type *args, int32_t count)
{
    int32_t components = 0;

    for (int32_t i = 0; i < count; i++) {
        if (args[i].kind != LB_DATUM_NUMBERS)
            FAIL(c, LB_INVALID, name.begin, name.end, "vec%d takes numbers, not %s", (int)size,
                 type_text(args[i]));
        components += args[i].count;
    }
    if (components != size && !(count == 1 && components == 1))
        FAIL(c, LB_INVALID, name.begin, name.end, "vec%d takes %d numbers, not %d", (int)size,
             (int)size, (int)components);
    emit(c, LB_EXPR_VECTOR, count, size, 1 - count);
    return (type){LB_DATUM_NUMBERS, size};
}

/* Checks the arguments of a function; the result's type. */
static type apply_rule(compiler *c, token name, const lb_expr_function *f, const type *args)
{
    type result = number_type;

    for (int32_t i = 0; i < f->count; i++) {
        if (args[i].kind != LB_DATUM_NUMBERS || (f->rule == LB_RULE_NUMBERS && args[i].count > 1)) {
            FAIL(c, LB_INVALID, name.begin, name.end, "%s takes %s, not %s", f->name,
                 f->rule == LB_RULE_NUMBERS ? "single numbers" : "numbers", type_text(args[i]));
            return result;
        }
        if (args[i].count > 1 && result.count > 1 && args[i].count != result.count)
            FAIL(c, LB_INVALID, name.begin, name.end, "%s cannot go with both a vec%d and a vec%d",
                 f->name, (int)result.count, (int)args[i].count);
        if (args[i].count > result.count)
            result = args[i];
    }
    if (f->rule == LB_RULE_DOT && args[0].count != args[1].count)
        FAIL(c, LB_INVALID, name.begin, name.end, "dot takes two vectors of one size");
    return f->rule == LB_RULE_LENGTH || f->rule == LB_RULE_DOT ? number_type : result;
}

static type function_value(compiler *c, token name, const type *args, int32_t count)
{
    const char *text = c->text + name.begin;
    size_t length = name.end - name.begin;
    const lb_expr_function *known = NULL;

    if (length == 4 && memcmp(text, "vec", 3) == 0 && text[3] >= '2' && text[3] <= '4')
        return vector_value(c, name, text[3] - '0', args, count);
    for (const lb_expr_function *f = lb_expr_functions; f->name; f++) {
        if (strlen(f->name) != length || memcmp(f->name, text, length) != 0)
            continue;
        if (f->count == count) {
            type result = apply_rule(c, name, f, args);

            emit(c, LB_EXPR_CALL, count, (int32_t)(f - lb_expr_functions), 1 - count);
            return result;
        }
        known = known ? known : f;
    }
    if (!known) {
        unknown_name(c, name, true);
    } else {
        int32_t least = known->count, most = known->count;

        while (known[1].name && strcmp(known[1].name, known->name) == 0)
            most = (++known)->count;
        if (least == most)
            FAIL(c, LB_INVALID, name.begin, name.end, "%s takes %d value%s, not %d", known->name,
                 (int)least, least == 1 ? "" : "s", (int)count);
        else
            FAIL(c, LB_INVALID, name.begin, name.end, "%s takes %d to %d values, not %d",
                 known->name, (int)least, (int)most, (int)count);
    }
    return number_type;
}

static type call_value(compiler *c, token name)
{
    type args[4] = {{0}};
    int32_t count = 0;

    if (!is_sign(c, ")"))
        do {
            type one = condition(c);

            if (count < 4)
                args[count] = one;
            count++;
        } while (accept(c, ","));
    expect(c, ")");
    if (count == 0)
        FAIL(c, LB_INVALID, name.begin, name.end, "%.*s needs a value in its brackets",
             (int)(name.end - name.begin < 60 ? name.end - name.begin : 60), c->text + name.begin);
    if (count > 4)
        FAIL(c, LB_INVALID, name.begin, name.end, "%.*s has more values than any function takes",
             (int)(name.end - name.begin < 60 ? name.end - name.begin : 60), c->text + name.begin);
    return c->status == LB_OK ? function_value(c, name, args, count) : number_type;
}

static bool is_word(const compiler *c, token t, const char *word)
{
    return strlen(word) == t.end - t.begin && memcmp(c->text + t.begin, word, t.end - t.begin) == 0;
}

static type value(compiler *c)
{
    token t = c->next;
    lb_datum constant = {.kind = LB_DATUM_NUMBERS, .count = 1, .numbers = {t.number}};
    type result;

    if (c->status != LB_OK)
        return number_type;
    advance(c);
    switch (t.kind) {
    case TOKEN_NUMBER:
        return emit_constant(c, &constant);
    case TOKEN_TEXT:
        return text_value(c, t);
    case TOKEN_NAME:
        if (accept(c, "("))
            return call_value(c, t);
        if (is_word(c, t, "true") || is_word(c, t, "false")) {
            constant.kind = LB_DATUM_BOOL;
            constant.numbers[0] = is_word(c, t, "true");
            return emit_constant(c, &constant);
        }
        return name_value(c, t);
    case TOKEN_END:
        FAIL(c, LB_INVALID, t.begin, t.end, "the expression ends where a value should be");
        return number_type;
    case TOKEN_SIGN:
        break;
    }
    if (strcmp(t.sign, "(") != 0) {
        FAIL(c, LB_INVALID, t.begin, t.end, "'%s' is here where a value should be", t.sign);
        return number_type;
    }
    result = condition(c);
    expect(c, ")");
    return result;
}

/* .x .yz .rgb: components by position or colour, as GLSL 4.60, section 5.5, has them. */
static type components(compiler *c, type of)
{
    static const char sets[2][5] = {"xyzw", "rgba"};
    token t = c->next;
    int32_t picked = 0, count = (int32_t)(t.end - t.begin);

    if (c->status != LB_OK)
        return of;
    if (t.kind != TOKEN_NAME || count > 4) {
        FAIL(c, LB_INVALID, t.begin, t.end, "x, y, z, w or r, g, b, a should be here");
        return of;
    }
    if (of.kind != LB_DATUM_NUMBERS || of.count == 1) {
        FAIL(c, LB_INVALID, t.begin, t.end, "%s has no components", type_text(of));
        return of;
    }
    for (int32_t i = 0; i < count; i++) {
        const char *set = sets[strchr(sets[0], c->text[t.begin]) ? 0 : 1];
        const char *found = strchr(set, c->text[t.begin + (size_t)i]);

        if (!found || found - set >= of.count) {
            FAIL(c, LB_INVALID, t.begin, t.end, "%s has no component '%.*s'", type_text(of),
                 (int)count, c->text + t.begin);
            return of;
        }
        picked |= (int32_t)(found - set) << (2 * i);
    }
    advance(c);
    emit(c, LB_EXPR_PICK, count, picked, 0);
    return (type){LB_DATUM_NUMBERS, count};
}

/* --- operators --- */

static bool enter(compiler *c)
{
    if (++c->depth > LB_EXPR_MAX_DEPTH)
        FAIL(c, LB_LIMIT, c->next.begin, c->next.end, "the expression is nested too deep here");
    return c->status == LB_OK;
}

static type sign(compiler *c)
{
    token t = c->next;
    type result = number_type;

    if (!enter(c)) {
        c->depth--;
        return result;
    }
    if (accept(c, "!")) {
        result = sign(c);
        if (result.kind != LB_DATUM_BOOL)
            FAIL(c, LB_INVALID, t.begin, t.end, "'!' takes true or false, not %s",
                 type_text(result));
        emit(c, LB_EXPR_NOT, 1, 0, 0);
    } else if (is_sign(c, "-") || is_sign(c, "+")) {
        advance(c);
        result = sign(c);
        if (result.kind != LB_DATUM_NUMBERS)
            FAIL(c, LB_INVALID, t.begin, t.end, "'%s' takes numbers, not %s", t.sign,
                 type_text(result));
        if (t.sign[0] == '-')
            emit(c, LB_EXPR_NEGATE, 1, 0, 0);
    } else {
        result = value(c);
        while (accept(c, "."))
            result = components(c, result);
    }
    c->depth--;
    return result;
}

typedef struct infix {
    const char *sign;
    lb_expr_code code;
} infix;

/* What an operator makes of two types; reports what it cannot. */
static type combine(compiler *c, token at, lb_expr_code code, type a, type b)
{
    bool is_number = a.kind == LB_DATUM_NUMBERS && b.kind == LB_DATUM_NUMBERS;
    bool is_same = a.kind == b.kind && (a.kind != LB_DATUM_NUMBERS || a.count == b.count);

    if (c->status != LB_OK)
        return a;
    if (code >= LB_EXPR_ADD && code <= LB_EXPR_MODULO) {
        if (is_number && (a.count == b.count || a.count == 1 || b.count == 1))
            return a.count > b.count ? a : b;
        if (code == LB_EXPR_ADD && a.kind == LB_DATUM_TEXT && b.kind == LB_DATUM_TEXT)
            return a;
    } else if (code >= LB_EXPR_LESS && code <= LB_EXPR_GREATER_EQUAL) {
        if (is_number && a.count == 1 && b.count == 1)
            return bool_type;
    } else if (code == LB_EXPR_EQUAL || code == LB_EXPR_DIFFERENT) {
        if (is_same)
            return bool_type;
    } else if (a.kind == LB_DATUM_BOOL && b.kind == LB_DATUM_BOOL) {
        return bool_type;
    }
    FAIL(c, LB_INVALID, at.begin, at.end, "'%s' cannot go with %s and %s", at.sign, type_text(a),
         type_text(b));
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
        type right;

        for (found = levels[level]; found->sign && !is_sign(c, found->sign);)
            found++;
        if (!found->sign)
            break;
        advance(c);
        right = binary(c, level + 1);
        result = combine(c, t, found->code, result, right);
        emit(c, result.kind == LB_DATUM_TEXT ? LB_EXPR_JOIN : found->code, 2, 0, -1);
    }
    return result;
}

static type condition(compiler *c)
{
    type result = number_type, other;
    token t;

    if (enter(c)) {
        result = binary(c, 0);
        t = c->next;
        if (accept(c, "?")) {
            if (result.kind != LB_DATUM_BOOL)
                FAIL(c, LB_INVALID, t.begin, t.end, "'?' takes true or false before it, not %s",
                     type_text(result));
            result = condition(c);
            expect(c, ":");
            other = condition(c);
            if (result.kind != other.kind || result.count != other.count)
                FAIL(c, LB_INVALID, t.begin, t.end,
                     "'?' chooses between %s and %s; both must be"
                     " of one type",
                     type_text(result), type_text(other));
            emit(c, LB_EXPR_SELECT, 3, 0, -2);
        }
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
    *out = (lb_expr){result.kind, result.count, c->timed, (int32_t)c->op_count, ops, constants};
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
    advance(&c);
    result = condition(&c);
    if (c.next.kind != TOKEN_END)
        FAIL(&c, LB_INVALID, c.next.begin, c.next.end, "the expression should end here");
    if (c.status == LB_OK)
        c.status = finish(&c, result, out);
    lb_free(c.ops);
    lb_free(c.constants);
    return c.status;
}
