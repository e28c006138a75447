/* lang/expr_run.c: the machine that runs an expression's program. */
#include <math.h>
#include <string.h>

#include "engine/base/text.h"
#include "lang/expr_code.h"

/* A run. */
typedef struct machine {
    const lb_expr *expr;
    const lb_expr_env *env;
    size_t made;   /* bytes of text */
    size_t looked; /* and bytes of texts that were compared */
} machine;

/* --- numbers --- */

static double component(const lb_datum *value, int32_t i)
{
    return value->numbers[value->count == 1 ? 0 : i];
}

static double dot(const lb_datum *a, const lb_datum *b)
{
    double sum = 0;

    for (int32_t i = 0; i < a->count; i++)
        sum += a->numbers[i] * b->numbers[i];
    return sum;
}

/* Puts the result where the first argument was. */
static void call(const lb_expr_function *function, lb_datum *args)
{
    lb_datum result = {.kind = LB_DATUM_NUMBERS, .count = 1};

    switch (function->rule) {
    case LB_RULE_LENGTH:
        result.numbers[0] = sqrt(dot(&args[0], &args[0]));
        break;
    case LB_RULE_DOT:
        result.numbers[0] = dot(&args[0], &args[1]);
        break;
    case LB_RULE_NORMALIZE: {
        double length = sqrt(dot(&args[0], &args[0]));

        result.count = args[0].count;
        for (int32_t i = 0; i < result.count; i++)
            result.numbers[i] = args[0].numbers[i] / length;
        break;
    }
    case LB_RULE_EACH:
    case LB_RULE_NUMBERS:
    case LB_RULE_TEXT: /* make_text */
        for (int32_t i = 0; i < function->count; i++)
            if (args[i].count > result.count)
                result.count = args[i].count;
        for (int32_t i = 0; i < result.count; i++) {
            double x = component(&args[0], i);

            if (function->of1)
                result.numbers[i] = function->of1(x);
            else if (function->of2)
                result.numbers[i] = function->of2(x, component(&args[1], i));
            else
                result.numbers[i] =
                    function->of3(x, component(&args[1], i), component(&args[2], i));
        }
        break;
    }
    args[0] = result;
}

static double arithmetic(lb_expr_code code, double a, double b)
{
    switch (code) {
    case LB_EXPR_ADD:
        return a + b;
    case LB_EXPR_SUBTRACT:
        return a - b;
    case LB_EXPR_MULTIPLY:
        return a * b;
    case LB_EXPR_DIVIDE:
        return a / b;
    default:
        return lb_expr_modulo(a, b);
    }
}

static bool is_equal(const lb_datum *a, const lb_datum *b)
{
    if (a->kind == LB_DATUM_TEXT)
        return strcmp(a->text, b->text) == 0;
    for (int32_t i = 0; i < a->count; i++)
        if (a->numbers[i] != b->numbers[i])
            return false;
    return true;
}

static bool compare(lb_expr_code code, const lb_datum *a, const lb_datum *b)
{
    double x = a->numbers[0], y = b->numbers[0];

    switch (code) {
    case LB_EXPR_LESS:
        return x < y;
    case LB_EXPR_LESS_EQUAL:
        return x <= y;
    case LB_EXPR_GREATER:
        return x > y;
    case LB_EXPR_GREATER_EQUAL:
        return x >= y;
    case LB_EXPR_EQUAL:
        return is_equal(a, b);
    default:
        return !is_equal(a, b);
    }
}

/* Two values to one, in place of the first. */
static void combine(lb_expr_code code, lb_datum *a, const lb_datum *b)
{
    lb_datum result = {.kind = LB_DATUM_BOOL, .count = 1};

    if (code >= LB_EXPR_ADD && code <= LB_EXPR_MODULO) {
        result.kind = LB_DATUM_NUMBERS;
        result.count = a->count > b->count ? a->count : b->count;
        for (int32_t i = 0; i < result.count; i++)
            result.numbers[i] = arithmetic(code, component(a, i), component(b, i));
    } else {
        result.numbers[0] = compare(code, a, b);
    }
    *a = result;
}

static void make_vector(lb_datum *args, int32_t count, int32_t size)
{
    lb_datum result = {.kind = LB_DATUM_NUMBERS, .count = size};
    int32_t filled = 0;

    for (int32_t i = 0; i < count; i++)
        for (int32_t k = 0; k < args[i].count && filled < size; k++)
            result.numbers[filled++] = args[i].numbers[k];
    for (; filled < size; filled++) /* one number for all */
        result.numbers[filled] = args[0].numbers[0];
    args[0] = result;
}

static void pick(lb_datum *value, int32_t picked, int32_t count)
{
    lb_datum result = {.kind = LB_DATUM_NUMBERS, .count = count};

    for (int32_t i = 0; i < count; i++)
        result.numbers[i] = value->numbers[picked >> (2 * i) & 3];
    *value = result;
}

/* --- texts --- */

static lb_status fail_at(const machine *m, const lb_expr_op *op, lb_status status,
                         const char *message)
{
    return lb_fail(m->env->diag, status, lb_expr_place(m->expr, op), "%s", message);
}

/* Memory for a text, counted. */
static lb_status new_text(machine *m, const lb_expr_op *op, size_t length, char **out)
{
    m->made += length;
    if (m->made > LB_EXPR_MAX_TEXT)
        return lb_fail(m->env->diag, LB_LIMIT, lb_expr_place(m->expr, op),
                       "the expression makes over %d bytes of text", LB_EXPR_MAX_TEXT);
    *out = lb_arena_alloc(m->env->arena, length + 1, 1);
    return *out ? LB_OK : fail_at(m, op, LB_MEMORY, "no memory");
}

/* A text that is compared takes time as one that is made does. */
static lb_status count_looked(machine *m, const lb_expr_op *op, const char *text)
{
    m->looked += strnlen(text, LB_EXPR_MAX_TEXT + 1);
    if (m->looked > LB_EXPR_MAX_TEXT)
        return lb_fail(m->env->diag, LB_LIMIT, lb_expr_place(m->expr, op),
                       "the expression compares over %d bytes of text", LB_EXPR_MAX_TEXT);
    return LB_OK;
}

static lb_status copy_text(machine *m, const lb_expr_op *op, const char *text, const char **out)
{
    size_t length = strlen(text);
    char *copy = NULL;
    lb_status status = new_text(m, op, length, &copy);

    if (status == LB_OK)
        *out = memcpy(copy, text, length + 1);
    return status;
}

/* A number in a text: the shortest that reads back as the same number. 0 has no sign. */
static lb_status number_to_text(machine *m, const lb_expr_op *op, lb_datum *value)
{
    char number[32];
    double x = value->numbers[0];
    lb_status status;

    if (!isfinite(x))
        return lb_fail(m->env->diag, LB_INVALID, lb_expr_place(m->expr, op),
                       "a number that goes into text here is %s", lb_text_from_number(x, number));
    *value = (lb_datum){.kind = LB_DATUM_TEXT, .count = 1};
    status = copy_text(m, op, lb_text_from_number(x == 0 ? 0 : x, number), &value->text);
    return status;
}

static bool is_within(double x, double least, double most)
{
    return x >= least && x <= most && x == floor(x);
}

/* Digits of `x`, at least `digits` of them before the point and `decimals` behind it. The C library
 * rounds the exact value, halves to even; its locale may write the point otherwise. */
static void print_fixed(double x, int digits, int decimals, char buffer[400])
{
    char raw[360];
    bool is_zero = true, in_point = false;
    size_t at = 0, whole;

    snprintf(raw, sizeof raw, "%.*f", decimals, fabs(x));
    for (const char *c = raw; *c; c++)
        is_zero = is_zero && !(*c >= '1' && *c <= '9');
    if (x < 0 && !is_zero)
        buffer[at++] = '-';
    whole = strspn(raw, "0123456789");
    for (size_t i = whole; i < (size_t)digits; i++)
        buffer[at++] = '0';
    for (const char *c = raw; *c; c++) {
        bool is_digit = *c >= '0' && *c <= '9';

        if (is_digit || !in_point)
            buffer[at++] = is_digit ? *c : '.';
        in_point = !is_digit;
    }
    buffer[at] = 0;
}

/* text(x), text(x, digits), text(x, digits, decimals), in place of the first. */
static lb_status make_text(machine *m, const lb_expr_op *op, lb_datum *args)
{
    double x = args[0].numbers[0], digits = op->count > 1 ? args[1].numbers[0] : 1;
    double decimals = op->count > 2 ? args[2].numbers[0] : 0;
    char buffer[400], number[32];

    if (op->count == 1 || !isfinite(x))
        return number_to_text(m, op, &args[0]);
    if (!is_within(digits, 1, LB_EXPR_MAX_DIGITS))
        return lb_fail(m->env->diag, LB_INVALID, lb_expr_place(m->expr, op),
                       "text() is asked for %s digits; it takes 1 to %d",
                       lb_text_from_number(digits, number), LB_EXPR_MAX_DIGITS);
    if (!is_within(decimals, 0, LB_EXPR_MAX_DECIMALS))
        return lb_fail(m->env->diag, LB_INVALID, lb_expr_place(m->expr, op),
                       "text() is asked for %s decimals; it takes 0 to %d",
                       lb_text_from_number(decimals, number), LB_EXPR_MAX_DECIMALS);
    print_fixed(x, (int)digits, (int)decimals, buffer);
    args[0] = (lb_datum){.kind = LB_DATUM_TEXT, .count = 1};
    return copy_text(m, op, buffer, &args[0].text);
}

/* Two texts, or a text and a number, in place of the first. */
static lb_status join(machine *m, const lb_expr_op *op, lb_datum *pair)
{
    size_t first, second;
    char *joined = NULL;
    lb_status status = LB_OK;

    for (int i = 0; i < 2 && status == LB_OK; i++)
        if (pair[i].kind == LB_DATUM_NUMBERS)
            status = number_to_text(m, op, &pair[i]);
    if (status != LB_OK)
        return status;
    first = strlen(pair[0].text);
    second = strlen(pair[1].text);
    if ((status = new_text(m, op, first + second, &joined)) != LB_OK)
        return status;
    memcpy(joined, pair[0].text, first);
    memcpy(joined + first, pair[1].text, second + 1);
    pair[0].text = joined;
    return LB_OK;
}

/* --- the loop --- */

static lb_datum number(double value)
{
    return (lb_datum){.kind = LB_DATUM_NUMBERS, .count = 1, .numbers = {value}};
}

/* How many values an operation takes from the stack. */
static int32_t arity(const lb_expr_op *op)
{
    switch ((lb_expr_code)op->code) {
    case LB_EXPR_CONSTANT:
    case LB_EXPR_FRAME:
    case LB_EXPR_TIME:
    case LB_EXPR_PARAM:
    case LB_EXPR_JUMP:
        return 0;
    case LB_EXPR_NEGATE:
    case LB_EXPR_NOT:
    case LB_EXPR_PICK:
    case LB_EXPR_AND:
    case LB_EXPR_OR:
    case LB_EXPR_ELSE:
        return 1;
    case LB_EXPR_CALL:
    case LB_EXPR_VECTOR:
    case LB_EXPR_TEXT:
        return op->count;
    default:
        return 2;
    }
}

/* One operation that leaves a value where its first argument was, at `at`. */
static lb_status compute(machine *m, const lb_expr_op *op, lb_datum *at)
{
    const lb_expr_env *env = m->env;
    lb_status status;

    switch ((lb_expr_code)op->code) {
    case LB_EXPR_CONSTANT:
        *at = m->expr->constants[op->argument];
        return LB_OK;
    case LB_EXPR_FRAME:
        *at = number(env->frame);
        return LB_OK;
    case LB_EXPR_TIME:
        *at = number(env->time_s);
        return LB_OK;
    case LB_EXPR_PARAM:
        return env->param(env->context, op->argument, at);
    case LB_EXPR_NEGATE:
        for (int32_t k = 0; k < at->count; k++)
            at->numbers[k] = -at->numbers[k];
        return LB_OK;
    case LB_EXPR_NOT:
        at->numbers[0] = at->numbers[0] == 0;
        return LB_OK;
    case LB_EXPR_JOIN:
        return join(m, op, at);
    case LB_EXPR_TEXT:
        return make_text(m, op, at);
    case LB_EXPR_CALL:
        call(&lb_expr_functions[op->argument], at);
        return LB_OK;
    case LB_EXPR_VECTOR:
        make_vector(at, op->count, op->argument);
        return LB_OK;
    case LB_EXPR_PICK:
        pick(at, op->argument, op->count);
        return LB_OK;
    default:
        if (at->kind == LB_DATUM_TEXT && (status = count_looked(m, op, at->text)) != LB_OK)
            return status;
        combine((lb_expr_code)op->code, &at[0], &at[1]);
        return LB_OK;
    }
}

/* Does the program go on at op->argument? *top: behind the last value. */
static bool jumps(const lb_expr_op *op, lb_datum **top)
{
    bool is_true = op->code != LB_EXPR_JUMP && (*top)[-1].numbers[0] != 0;
    bool goes = op->code == LB_EXPR_OR ? is_true : !is_true;

    if (op->code == LB_EXPR_ELSE || (op->code != LB_EXPR_JUMP && !goes))
        --*top;
    return goes;
}

static bool is_finite(const lb_datum *value)
{
    for (int32_t i = 0; value->kind == LB_DATUM_NUMBERS && i < value->count; i++)
        if (!isfinite(value->numbers[i]))
            return false;
    return true;
}

/* Of the values on the stack, which operation made them infinite or not a number: the first that
 * had only finite ones to work with. */
static void blame(const lb_expr_op *op, const lb_datum *value, const lb_expr_op **origins)
{
    const lb_expr_op *origin = op;

    for (int32_t i = arity(op); i-- > 0;)
        if (origins[i])
            origin = origins[i];
    origins[0] = is_finite(value) ? NULL : origin;
}

static lb_status run(machine *m, lb_datum *out)
{
    const lb_expr *expr = m->expr;
    const lb_expr_env *env = m->env;
    lb_datum stack[LB_EXPR_MAX_STACK];
    const lb_expr_op *origins[LB_EXPR_MAX_STACK];
    lb_datum *top = stack; /* behind the last */

    for (int32_t i = 0; i < expr->op_count; i++) {
        const lb_expr_op *op = &expr->ops[i];
        lb_datum *at = top - arity(op);
        lb_status status;

        if (op->code >= LB_EXPR_AND) {
            if (jumps(op, &top))
                i = op->argument - 1;
            continue;
        }
        if ((status = compute(m, op, at)) != LB_OK)
            return status;
        if (env->blamed)
            blame(op, at, &origins[at - stack]);
        top = at + 1;
    }
    *out = stack[0];
    if (env->blamed)
        *env->blamed = origins[0];
    return LB_OK;
}

lb_status lb_expr_run(const lb_expr *expr, const lb_expr_env *env, lb_datum *out)
{
    machine m = {expr, env, 0, 0};
    lb_status status = run(&m, out);

    if (env->text_bytes)
        *env->text_bytes += (int64_t)(m.made + m.looked);
    return status;
}
