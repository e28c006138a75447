/* lang/expr_run.c: what the functions of expressions compute, and the loop that runs a program.
 * Functions are GLSL's (The OpenGL Shading Language 4.60, sections 8.1 to 8.5), in double. */
#include <math.h>
#include <string.h>

#include "engine/base/math.h"
#include "engine/base/random.h"
#include "lang/expr.h"

static double sign(double x)
{
    return (x > 0) - (x < 0);
}

static double fract(double x)
{
    return x - floor(x);
}

static double modulo(double x, double y)
{
    return x - y * floor(x / y);
}

static double minimum(double x, double y)
{
    return y < x ? y : x;
}

static double maximum(double x, double y)
{
    return x < y ? y : x;
}

static double clamp(double x, double low, double high)
{
    return minimum(maximum(x, low), high);
}

static double mix(double x, double y, double a)
{
    return x * (1 - a) + y * a;
}

static double step(double edge, double x)
{
    return x < edge ? 0 : 1;
}

static double smoothstep(double edge0, double edge1, double x)
{
    double t = clamp((x - edge0) / (edge1 - edge0), 0, 1);

    return t * t * (3 - 2 * t);
}

static double noise1(double x)
{
    return lb_noise1(x, 0);
}

static double noise2(double x, double y)
{
    return lb_noise2(x, y, 0);
}

static double noise3(double x, double y, double z)
{
    return lb_noise3(x, y, z, 0);
}

/* The seed's bits pick the number: any two seeds that differ are unrelated. */
static double random_of(double seed)
{
    uint64_t bits = 0;
    double value = seed == 0 ? 0 : seed; /* -0 is 0 */

    if (!isnan(value))
        memcpy(&bits, &value, sizeof bits);
    return lb_random_float((uint32_t)bits, (uint32_t)(bits >> 32), 0x65787072u, 0);
}

static double absolute(double x)
{
    return fabs(x);
}

static double square_root(double x)
{
    return sqrt(x);
}

static double round_down(double x)
{
    return floor(x);
}

static double round_up(double x)
{
    return ceil(x);
}

const lb_expr_function lb_expr_functions[] = {
    {"sin", 1, LB_RULE_EACH, lb_sin, NULL, NULL},
    {"cos", 1, LB_RULE_EACH, lb_cos, NULL, NULL},
    {"tan", 1, LB_RULE_EACH, lb_tan, NULL, NULL},
    {"asin", 1, LB_RULE_EACH, lb_asin, NULL, NULL},
    {"acos", 1, LB_RULE_EACH, lb_acos, NULL, NULL},
    {"atan", 1, LB_RULE_EACH, lb_atan, NULL, NULL},
    {"atan", 2, LB_RULE_EACH, NULL, lb_atan2, NULL},
    {"sqrt", 1, LB_RULE_EACH, square_root, NULL, NULL},
    {"pow", 2, LB_RULE_EACH, NULL, lb_pow, NULL},
    {"exp", 1, LB_RULE_EACH, lb_exp, NULL, NULL},
    {"log", 1, LB_RULE_EACH, lb_log, NULL, NULL},
    {"exp2", 1, LB_RULE_EACH, lb_exp2, NULL, NULL},
    {"log2", 1, LB_RULE_EACH, lb_log2, NULL, NULL},
    {"abs", 1, LB_RULE_EACH, absolute, NULL, NULL},
    {"sign", 1, LB_RULE_EACH, sign, NULL, NULL},
    {"floor", 1, LB_RULE_EACH, round_down, NULL, NULL},
    {"ceil", 1, LB_RULE_EACH, round_up, NULL, NULL},
    {"fract", 1, LB_RULE_EACH, fract, NULL, NULL},
    {"mod", 2, LB_RULE_EACH, NULL, modulo, NULL},
    {"min", 2, LB_RULE_EACH, NULL, minimum, NULL},
    {"max", 2, LB_RULE_EACH, NULL, maximum, NULL},
    {"clamp", 3, LB_RULE_EACH, NULL, NULL, clamp},
    {"mix", 3, LB_RULE_EACH, NULL, NULL, mix},
    {"step", 2, LB_RULE_EACH, NULL, step, NULL},
    {"smoothstep", 3, LB_RULE_EACH, NULL, NULL, smoothstep},
    {"length", 1, LB_RULE_LENGTH, NULL, NULL, NULL},
    {"dot", 2, LB_RULE_DOT, NULL, NULL, NULL},
    {"normalize", 1, LB_RULE_NORMALIZE, NULL, NULL, NULL},
    {"noise", 1, LB_RULE_NUMBERS, noise1, NULL, NULL},
    {"noise", 2, LB_RULE_NUMBERS, NULL, noise2, NULL},
    {"noise", 3, LB_RULE_NUMBERS, NULL, NULL, noise3},
    {"random", 1, LB_RULE_NUMBERS, random_of, NULL, NULL},
    {NULL, 0, LB_RULE_EACH, NULL, NULL, NULL},
};

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
        return modulo(a, b);
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
    case LB_EXPR_AND:
        return x != 0 && y != 0;
    case LB_EXPR_OR:
        return x != 0 || y != 0;
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

/* `made` counts the bytes of all texts of this run. */
static lb_status join(const lb_expr_env *env, lb_datum *a, const lb_datum *b, size_t *made)
{
    size_t first = strlen(a->text), second = strlen(b->text);
    char *joined;

    *made += first + second;
    if (*made > LB_EXPR_MAX_TEXT)
        return lb_fail(env->diag, LB_LIMIT, env->loc, "the expression makes over %d bytes of text",
                       LB_EXPR_MAX_TEXT);
    if (!(joined = lb_arena_alloc(env->arena, first + second + 1, 1)))
        return lb_fail(env->diag, LB_MEMORY, env->loc, "no memory");
    memcpy(joined, a->text, first);
    memcpy(joined + first, b->text, second);
    a->text = joined;
    return LB_OK;
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

static lb_datum number(double value)
{
    return (lb_datum){.kind = LB_DATUM_NUMBERS, .count = 1, .numbers = {value}};
}

lb_status lb_expr_run(const lb_expr *expr, const lb_expr_env *env, lb_datum *out)
{
    lb_datum stack[LB_EXPR_MAX_STACK];
    lb_datum *top = stack; /* behind the last */
    size_t made = 0;
    lb_status status;

    for (int32_t i = 0; i < expr->op_count; i++) {
        const lb_expr_op *op = &expr->ops[i];

        switch ((lb_expr_code)op->code) {
        case LB_EXPR_CONSTANT:
            *top++ = expr->constants[op->argument];
            break;
        case LB_EXPR_FRAME:
            *top++ = number(env->frame);
            break;
        case LB_EXPR_TIME:
            *top++ = number(env->time_s);
            break;
        case LB_EXPR_PARAM:
            if ((status = env->param(env->context, op->argument, top++)) != LB_OK)
                return status;
            break;
        case LB_EXPR_NEGATE:
            for (int32_t k = 0; k < top[-1].count; k++)
                top[-1].numbers[k] = -top[-1].numbers[k];
            break;
        case LB_EXPR_NOT:
            top[-1].numbers[0] = top[-1].numbers[0] == 0;
            break;
        case LB_EXPR_SELECT:
            top -= 2;
            top[-1] = top[-1].numbers[0] != 0 ? top[0] : top[1];
            break;
        case LB_EXPR_JOIN:
            top--;
            if ((status = join(env, &top[-1], &top[0], &made)) != LB_OK)
                return status;
            break;
        case LB_EXPR_CALL:
            top -= op->count - 1;
            call(&lb_expr_functions[op->argument], &top[-1]);
            break;
        case LB_EXPR_VECTOR:
            top -= op->count - 1;
            make_vector(&top[-1], op->count, op->argument);
            break;
        case LB_EXPR_PICK:
            pick(&top[-1], op->argument, op->count);
            break;
        default:
            top--;
            combine((lb_expr_code)op->code, &top[-1], &top[0]);
        }
    }
    *out = stack[0];
    return LB_OK;
}
