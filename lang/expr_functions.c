/* lang/expr_functions.c: what the functions of expressions compute: GLSL's (The OpenGL Shading
 * Language 4.60, sections 8.1 to 8.5), in double. What is not a number stays so. */
#include <math.h>
#include <string.h>

#include "engine/base/math.h"
#include "engine/base/random.h"
#include "lang/expr_code.h"

static double radians(double x)
{
    return x * (LB_PI / 180);
}

static double degrees(double x)
{
    return x * (180 / LB_PI);
}

static double square_root(double x)
{
    return sqrt(x);
}

static double absolute(double x)
{
    return fabs(x);
}

static double sign(double x)
{
    return x > 0 ? 1 : x < 0 ? -1 : x == 0 ? 0 : x;
}

static double round_down(double x)
{
    return floor(x);
}

static double round_up(double x)
{
    return ceil(x);
}

/* GLSL leaves halves to us: they go to the even neighbour, as in its roundEven. */
static double round_nearest(double x)
{
    return rint(x);
}

static double fract(double x)
{
    return x - floor(x);
}

double lb_expr_modulo(double x, double y)
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

/* Infinity is no place in a field of noise. */
static double noise1(double x)
{
    return isfinite(x) ? lb_noise1(x, 0) : NAN;
}

static double noise2(double x, double y)
{
    return isfinite(x) && isfinite(y) ? lb_noise2(x, y, 0) : NAN;
}

static double noise3(double x, double y, double z)
{
    return isfinite(x) && isfinite(y) && isfinite(z) ? lb_noise3(x, y, z, 0) : NAN;
}

/* The seed's bits pick the number: any two seeds that differ are unrelated. */
static double random_of(double seed)
{
    uint64_t bits;
    double value = seed == 0 ? 0 : seed; /* -0 is 0 */

    if (isnan(value))
        return value;
    memcpy(&bits, &value, sizeof bits);
    return lb_random_float((uint32_t)bits, (uint32_t)(bits >> 32), 0x65787072u, 0);
}

const lb_expr_function lb_expr_functions[] = {
    {"radians", 1, LB_RULE_EACH, radians, NULL, NULL},
    {"degrees", 1, LB_RULE_EACH, degrees, NULL, NULL},
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
    {"round", 1, LB_RULE_EACH, round_nearest, NULL, NULL},
    {"fract", 1, LB_RULE_EACH, fract, NULL, NULL},
    {"mod", 2, LB_RULE_EACH, NULL, lb_expr_modulo, NULL},
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
    {"text", 1, LB_RULE_TEXT, NULL, NULL, NULL},
    {"text", 2, LB_RULE_TEXT, NULL, NULL, NULL},
    {"text", 3, LB_RULE_TEXT, NULL, NULL, NULL},
    {NULL, 0, LB_RULE_EACH, NULL, NULL, NULL},
};
