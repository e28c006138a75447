/* tests/engine/base/test_math.c: elementary functions of double against the C library's in long
 * double, whose 64-bit significand is 2^11 finer than what is measured. The bounds are those that
 * math.h states. Special values are C11, annex F.10 (IEEE 754-2008, section 9.2.1), which the C
 * library implements. */
#include <criterion/criterion.h>

#include "engine/base/math.h"
#include "tests/engine/base/math_ulps.h"

static uint64_t state = 88172645463325252u;

static uint64_t next_bits(void)
{
    state ^= state << 13; /* Marsaglia (2003), "Xorshift RNGs" */
    state ^= state >> 7;
    return state ^= state << 17;
}

static double uniform(double low, double high)
{
    return low + (high - low) * ((double)(next_bits() >> 11) * 0x1p-53);
}

/* Any finite double, every exponent alike. */
static double any_double(void)
{
    double x;

    do {
        x = lb_f64_bits(next_bits());
    } while (!isfinite(x));
    return x;
}

#define COUNT 100000

/* The worst of COUNT arguments; subnormal results have a bound of their own. */
#define EXPECT_WITHIN_BOTH(limit, subnormal_limit, argument, ours, exact)                          \
    do {                                                                                           \
        double worst = 0, at = 0;                                                                  \
        for (int i = 0; i < COUNT; i++) {                                                          \
            const double x = (argument);                                                           \
            const long double want = (exact);                                                      \
            double error = ulps_f64((ours), want);                                                 \
            error /= fabsl(want) < 0x1p-1022L ? (subnormal_limit) : (limit);                       \
            if (error > worst) {                                                                   \
                worst = error;                                                                     \
                at = x;                                                                            \
            }                                                                                      \
        }                                                                                          \
        cr_expect(worst <= 1, "%s: %.3f of what is allowed, at %a", #ours, worst, at);             \
    } while (0)
#define EXPECT_WITHIN(limit, argument, ours, exact)                                                \
    EXPECT_WITHIN_BOTH(limit, limit, argument, ours, exact)

Test(math, double_exponentials)
{
    EXPECT_WITHIN_BOTH(LB_EXP_ULPS, LB_EXP_SUBNORMAL_ULPS, uniform(-1, 1), lb_exp(x), expl(x));
    EXPECT_WITHIN_BOTH(LB_EXP_ULPS, LB_EXP_SUBNORMAL_ULPS, uniform(-760, 720), lb_exp(x), expl(x));
    EXPECT_WITHIN_BOTH(LB_EXP_ULPS, LB_EXP_SUBNORMAL_ULPS, any_double(), lb_exp(x), expl(x));
    EXPECT_WITHIN_BOTH(LB_EXP_ULPS, LB_EXP_SUBNORMAL_ULPS, uniform(-1, 1), lb_exp2(x), exp2l(x));
    EXPECT_WITHIN_BOTH(LB_EXP_ULPS, LB_EXP_SUBNORMAL_ULPS, uniform(-1100, 1030), lb_exp2(x),
                       exp2l(x));
    for (int k = -1074; k < 1024; k++)
        cr_expect(lb_exp2(k) == ldexp(1, k), "2^%d", k);
}

Test(math, double_logarithms)
{
    EXPECT_WITHIN(LB_LOG_ULPS, uniform(0.5, 2), lb_log(x), logl(x));
    EXPECT_WITHIN(LB_LOG_ULPS, 1 + uniform(-1e-6, 1e-6), lb_log(x), logl(x));
    EXPECT_WITHIN(LB_LOG_ULPS, any_double(), lb_log(x), logl(x));
    EXPECT_WITHIN(LB_LOG_ULPS, uniform(0.5, 2), lb_log2(x), log2l(x));
    EXPECT_WITHIN(LB_LOG_ULPS, any_double(), lb_log2(x), log2l(x));
    for (int k = -1074; k < 1024; k++)
        cr_expect(lb_log2(ldexp(1, k)) == k, "log2 2^%d", k);
}

Test(math, double_circular)
{
    EXPECT_WITHIN(LB_SIN_ULPS, uniform(-10, 10), lb_sin(x), sinl(x));
    EXPECT_WITHIN(LB_SIN_ULPS, any_double(), lb_sin(x), sinl(x));
    EXPECT_WITHIN(LB_SIN_ULPS, uniform(-10, 10), lb_cos(x), cosl(x));
    EXPECT_WITHIN(LB_SIN_ULPS, any_double(), lb_cos(x), cosl(x));
    EXPECT_WITHIN(LB_TAN_ULPS, uniform(-10, 10), lb_tan(x), tanl(x));
    EXPECT_WITHIN(LB_TAN_ULPS, any_double(), lb_tan(x), tanl(x));
    /* Close to multiples of pi/2 the argument's own digits cancel. */
    EXPECT_WITHIN(LB_SIN_ULPS, rint(uniform(-1e6, 1e6)) * (LB_PI / 2), lb_sin(x), sinl(x));
    EXPECT_WITHIN(LB_SIN_ULPS, rint(uniform(-1e6, 1e6)) * (LB_PI / 2), lb_cos(x), cosl(x));
    /* Kahan, "Minimizing q*m - n": the double that comes closest to a multiple of pi/2. */
    EXPECT_WITHIN(LB_SIN_ULPS, ldexp(6381956970095103, 797 + i % 3), lb_cos(x), cosl(x));
    EXPECT_WITHIN(LB_SIN_ULPS, ldexp(6381956970095103, 797 + i % 3), lb_sin(x), sinl(x));
    cr_expect(lb_cos(0) == 1 && fabs(lb_cos(LB_PI) + 1) == 0);
}

Test(math, double_arcs)
{
    EXPECT_WITHIN(LB_ARC_ULPS, uniform(-1, 1), lb_asin(x), asinl(x));
    EXPECT_WITHIN(LB_ARC_ULPS, 1 - uniform(0, 1e-9), lb_asin(x), asinl(x));
    EXPECT_WITHIN(LB_ARC_ULPS, ldexp(uniform(-1, 1), -i % 1074), lb_asin(x), asinl(x));
    EXPECT_WITHIN(LB_ARC_ULPS, uniform(-1, 1), lb_acos(x), acosl(x));
    EXPECT_WITHIN(LB_ARC_ULPS, 1 - uniform(0, 1e-9), lb_acos(x), acosl(x));
    EXPECT_WITHIN(LB_ARC_ULPS, ldexp(uniform(-1, 1), -i % 1074), lb_acos(x), acosl(x));
    EXPECT_WITHIN(LB_ARC_ULPS, uniform(-10, 10), lb_atan(x), atanl(x));
    EXPECT_WITHIN(LB_ARC_ULPS, any_double(), lb_atan(x), atanl(x));
}

static void expect_pow(double x, double y)
{
    long double want = powl(x, y);
    double error = ulps_f64(lb_pow(x, y), want);

    cr_expect(error <= (fabsl(want) < 0x1p-1022L ? LB_EXP_SUBNORMAL_ULPS : LB_EXP_ULPS),
              "pow(%a, %a): %.3f ulp", x, y, error);
}

static void expect_atan2(double y, double x)
{
    double error = ulps_f64(lb_atan2(y, x), atan2l(y, x));

    cr_expect(error <= LB_ARC_ULPS, "atan2(%a, %a): %.3f ulp", y, x, error);
}

Test(math, double_of_two)
{
    for (int i = 0; i < 2 * COUNT; i++) {
        double x = fabs(any_double()), y = uniform(-760, 720) / log(x);

        expect_pow(x, y);
        x = uniform(0, 10);
        expect_pow(x, uniform(-10, 10));
        expect_pow(1 + uniform(-1e-9, 1e-9), uniform(-7e11, 7e11));
        x = any_double();
        expect_atan2(any_double(), x);
        expect_atan2(x * uniform(-4, 4), x);
    }
    for (int n = -20; n <= 20; n++)
        cr_expect(lb_pow(-3, n) == pow(-3, n) && lb_pow(2, n) == ldexp(1, n), "power %d", n);
}

/* Within an ulp; zeros, infinities and NaN exactly, with the sign of zeros. */
static bool is_as_good(double got, double want)
{
    if (isnan(want) || isinf(want) || want == 0)
        return isnan(want) ? isnan(got) : got == want && !signbit(got) == !signbit(want);
    return ulps_f64(got, want) <= 2; /* both round */
}

Test(math, special_values)
{
    static const struct {
        const char *name;
        double (*ours)(double), (*theirs)(double);
    } functions[] = {
        {"exp2", lb_exp2, exp2}, {"log2", lb_log2, log2}, {"exp", lb_exp, exp},
        {"log", lb_log, log},    {"sin", lb_sin, sin},    {"cos", lb_cos, cos},
        {"tan", lb_tan, tan},    {"asin", lb_asin, asin}, {"acos", lb_acos, acos},
        {"atan", lb_atan, atan},
    };

    for (size_t i = 0; i < SPECIALS; i++) {
        double x = specials[i];
        for (size_t f = 0; f < sizeof functions / sizeof functions[0]; f++)
            cr_expect(is_as_good(functions[f].ours(x), functions[f].theirs(x)),
                      "%s(%a): %a, not %a", functions[f].name, x, functions[f].ours(x),
                      functions[f].theirs(x));
        for (size_t k = 0; k < SPECIALS; k++) {
            double y = specials[k];
            cr_expect(is_as_good(lb_pow(x, y), pow(x, y)), "pow(%a, %a): %a, not %a", x, y,
                      lb_pow(x, y), pow(x, y));
            cr_expect(is_as_good(lb_atan2(x, y), atan2(x, y)), "atan2(%a, %a): %a, not %a", x, y,
                      lb_atan2(x, y), atan2(x, y));
        }
    }
}
