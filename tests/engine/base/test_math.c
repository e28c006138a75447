/* tests/engine/base/test_math.c: elementary functions against the C library's in long double, whose
 * 64-bit significand is 2^11 (2^40 for float) finer than what is measured. Special values are C11,
 * annex F.10 (IEEE 754-2008, section 9.2.1), which the C library implements. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdint.h>
#include <string.h>

#include "engine/base/math.h"

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

static float any_float(void)
{
    float x;

    do {
        x = lb_f32_bits((uint32_t)(next_bits() >> 20));
    } while (!isfinite(x));
    return x;
}

/* The distance in units of the last of `digits` binary places of the exact value; `lowest` is the
 * exponent below which the places stay where they are. */
static double ulps(long double got, long double want, int digits, int lowest)
{
    int exponent;

    if (isnan(got) || isnan(want))
        return isnan(got) && isnan(want) ? 0 : INFINITY;
    if (got == want)
        return 0;
    if (isinf(got) || isinf(want))
        return INFINITY;
    frexpl(want, &exponent);
    if (exponent < lowest)
        exponent = lowest;
    return (double)ldexpl(fabsl(got - want), digits - exponent);
}

/* A result beyond the largest number is infinity, exactly. */
static double ulps_f64(double got, long double want)
{
    if (isinf((double)want))
        return got == (double)want ? 0 : INFINITY;
    return ulps(got, want, 53, -1021);
}

static double ulps_f32(float got, long double want)
{
    if (isinf((float)want))
        return got == (float)want ? 0 : INFINITY;
    return ulps(got, want, 24, -125);
}

#define COUNT 40000

/* The worst of COUNT arguments. */
#define EXPECT_WITHIN(limit, ulps_of, argument, ours, exact)                                       \
    do {                                                                                           \
        double worst = 0, at = 0;                                                                  \
        for (int i = 0; i < COUNT; i++) {                                                          \
            const double x = (argument);                                                           \
            double error = ulps_of((ours), (exact));                                               \
            if (error > worst) {                                                                   \
                worst = error;                                                                     \
                at = x;                                                                            \
            }                                                                                      \
        }                                                                                          \
        cr_expect(worst <= (limit), "%s: %.3f ulp at %a", #ours, worst, at);                       \
    } while (0)

Test(math, double_exponentials)
{
    EXPECT_WITHIN(1, ulps_f64, uniform(-1, 1), lb_exp(x), expl(x));
    EXPECT_WITHIN(1, ulps_f64, uniform(-760, 720), lb_exp(x), expl(x));
    EXPECT_WITHIN(1, ulps_f64, any_double(), lb_exp(x), expl(x));
    EXPECT_WITHIN(1, ulps_f64, uniform(-1, 1), lb_exp2(x), exp2l(x));
    EXPECT_WITHIN(1, ulps_f64, uniform(-1100, 1030), lb_exp2(x), exp2l(x));
    for (int k = -1074; k < 1024; k++)
        cr_expect(lb_exp2(k) == ldexp(1, k), "2^%d", k);
}

Test(math, double_logarithms)
{
    EXPECT_WITHIN(1, ulps_f64, uniform(0.5, 2), lb_log(x), logl(x));
    EXPECT_WITHIN(1, ulps_f64, 1 + uniform(-1e-6, 1e-6), lb_log(x), logl(x));
    EXPECT_WITHIN(1, ulps_f64, any_double(), lb_log(x), logl(x));
    EXPECT_WITHIN(1, ulps_f64, uniform(0.5, 2), lb_log2(x), log2l(x));
    EXPECT_WITHIN(1, ulps_f64, any_double(), lb_log2(x), log2l(x));
    for (int k = -1074; k < 1024; k++)
        cr_expect(lb_log2(ldexp(1, k)) == k, "log2 2^%d", k);
}

Test(math, double_circular)
{
    EXPECT_WITHIN(1, ulps_f64, uniform(-10, 10), lb_sin(x), sinl(x));
    EXPECT_WITHIN(1, ulps_f64, any_double(), lb_sin(x), sinl(x));
    EXPECT_WITHIN(1, ulps_f64, uniform(-10, 10), lb_cos(x), cosl(x));
    EXPECT_WITHIN(1, ulps_f64, any_double(), lb_cos(x), cosl(x));
    EXPECT_WITHIN(1, ulps_f64, uniform(-10, 10), lb_tan(x), tanl(x));
    EXPECT_WITHIN(1, ulps_f64, any_double(), lb_tan(x), tanl(x));
    /* Close to multiples of pi/2 the argument's own digits cancel. */
    EXPECT_WITHIN(1, ulps_f64, rint(uniform(-1e6, 1e6)) * (LB_PI / 2), lb_sin(x), sinl(x));
    EXPECT_WITHIN(1, ulps_f64, rint(uniform(-1e6, 1e6)) * (LB_PI / 2), lb_cos(x), cosl(x));
    /* Kahan, "Minimizing q*m - n": the double that comes closest to a multiple of pi/2. */
    EXPECT_WITHIN(1, ulps_f64, ldexp(6381956970095103, 797 + i % 3), lb_cos(x), cosl(x));
    EXPECT_WITHIN(1, ulps_f64, ldexp(6381956970095103, 797 + i % 3), lb_sin(x), sinl(x));
    cr_expect(lb_cos(0) == 1 && fabs(lb_cos(LB_PI) + 1) == 0);
}

Test(math, double_arcs)
{
    EXPECT_WITHIN(1, ulps_f64, uniform(-1, 1), lb_asin(x), asinl(x));
    EXPECT_WITHIN(1, ulps_f64, 1 - uniform(0, 1e-9), lb_asin(x), asinl(x));
    EXPECT_WITHIN(1, ulps_f64, ldexp(uniform(-1, 1), -i % 1074), lb_asin(x), asinl(x));
    EXPECT_WITHIN(1, ulps_f64, uniform(-1, 1), lb_acos(x), acosl(x));
    EXPECT_WITHIN(1, ulps_f64, 1 - uniform(0, 1e-9), lb_acos(x), acosl(x));
    EXPECT_WITHIN(1, ulps_f64, ldexp(uniform(-1, 1), -i % 1074), lb_acos(x), acosl(x));
    EXPECT_WITHIN(1, ulps_f64, uniform(-10, 10), lb_atan(x), atanl(x));
    EXPECT_WITHIN(1, ulps_f64, any_double(), lb_atan(x), atanl(x));
}

Test(math, double_of_two)
{
    for (int i = 0; i < 5 * COUNT; i++) {
        double x = fabs(any_double()), y = uniform(-760, 720) / log(x), error;

        error = ulps_f64(lb_pow(x, y), powl(x, y));
        cr_expect(error <= 1, "pow(%a, %a): %.3f ulp", x, y, error);
        x = uniform(0, 10);
        y = uniform(-10, 10);
        error = ulps_f64(lb_pow(x, y), powl(x, y));
        cr_expect(error <= 1, "pow(%a, %a): %.3f ulp", x, y, error);
        x = any_double();
        y = i % 2 ? any_double() : x * uniform(-4, 4);
        error = ulps_f64(lb_atan2(y, x), atan2l(y, x));
        cr_expect(error <= 1, "atan2(%a, %a): %.3f ulp", y, x, error);
    }
    for (int n = -20; n <= 20; n++)
        cr_expect(lb_pow(-3, n) == pow(-3, n) && lb_pow(2, n) == ldexp(1, n), "power %d", n);
}

static const double specials[] = {
    0.0,
    -0.0,
    1,
    -1,
    2,
    -2,
    3,
    -3,
    0.5,
    -0.5,
    1.5,
    -1.5,
    0.25,
    1e300,
    -1e300,
    1e-300,
    -1e-300,
    1e20,
    0x1p53,
    -0x1p53,
    0x1p-1074,
    -0x1p-1074,
    0x1.fffffffffffffp1023,
    0x1p-1022,
    0x1.fffffffffffffp-1,
    0x1.0000000000001p0,
    INFINITY,
    -INFINITY,
    NAN,
};
#define SPECIALS (sizeof specials / sizeof specials[0])

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

/* The bounds that math_inline.h states. */
Test(math, float_exponentials)
{
    EXPECT_WITHIN(1.25, ulps_f32, (double)(float)uniform(-1, 1), lb_exp2f((float)x), exp2l(x));
    EXPECT_WITHIN(1.25, ulps_f32, (double)(float)uniform(-155, 130), lb_exp2f((float)x), exp2l(x));
    EXPECT_WITHIN(1.25, ulps_f32, (double)any_float(), lb_exp2f((float)x), exp2l(x));
    EXPECT_WITHIN(1.25, ulps_f32, (double)(float)uniform(-1, 1), lb_expf((float)x), expl(x));
    EXPECT_WITHIN(1.25, ulps_f32, (double)(float)uniform(-110, 90), lb_expf((float)x), expl(x));
    EXPECT_WITHIN(1.25, ulps_f32, (double)any_float(), lb_expf((float)x), expl(x));
    EXPECT_WITHIN(2, ulps_f32, (double)(float)uniform(0.5, 2), lb_log2f((float)x), log2l(x));
    EXPECT_WITHIN(2, ulps_f32, (double)any_float(), lb_log2f((float)x), log2l(x));
    for (int k = -149; k < 128; k++) {
        cr_expect(lb_exp2f((float)k) == ldexpf(1, k), "2^%d", k);
        cr_expect(lb_log2f(ldexpf(1, k)) == (float)k, "log2 2^%d", k);
    }
}

Test(math, float_circular)
{
    EXPECT_WITHIN(1.5, ulps_f32, (double)(float)uniform(-7, 7), lb_sinf((float)x), sinl(x));
    EXPECT_WITHIN(1.5, ulps_f32, (double)(float)uniform(-1e6, 1e6), lb_sinf((float)x), sinl(x));
    EXPECT_WITHIN(1.5, ulps_f32, (double)(float)uniform(-7, 7), lb_cosf((float)x), cosl(x));
    EXPECT_WITHIN(1.5, ulps_f32, (double)(float)uniform(-1e6, 1e6), lb_cosf((float)x), cosl(x));
    EXPECT_WITHIN(1.5, ulps_f32, (double)(float)(rint(uniform(-6e5, 6e5)) * (LB_PI / 2)),
                  lb_sinf((float)x), sinl(x));
    EXPECT_WITHIN(1.5, ulps_f32, (double)(float)(rint(uniform(-6e5, 6e5)) * (LB_PI / 2)),
                  lb_cosf((float)x), cosl(x));
    for (int i = 0; i < COUNT; i++) {
        float x = any_float();
        cr_expect(fabsf(lb_sinf(x)) <= 1 && fabsf(lb_cosf(x)) <= 1, "%a", (double)x);
    }
    cr_expect(isnan(lb_sinf(INFINITY)) && isnan(lb_cosf(-INFINITY)) && isnan(lb_sinf(NAN)));
    cr_expect(lb_cosf(0) == 1 && lb_sinf(0) == 0 && lb_sinf(-0.0f) == 0);
}

Test(math, float_arcs)
{
    EXPECT_WITHIN(2.5, ulps_f32, (double)(float)uniform(-1, 1), lb_asinf((float)x), asinl(x));
    EXPECT_WITHIN(2.5, ulps_f32, (double)any_float(), lb_asinf((float)x), asinl(x));
    EXPECT_WITHIN(1.25, ulps_f32, (double)(float)uniform(-1, 1), lb_acosf((float)x), acosl(x));
    EXPECT_WITHIN(1.25, ulps_f32, (double)any_float(), lb_acosf((float)x), acosl(x));
    cr_expect(lb_acosf(1) == 0 && lb_asinf(1) == (float)(LB_PI / 2));
    cr_expect(isnan(lb_acosf(NAN)) && isnan(lb_asinf(NAN)));
}

Test(math, float_of_two)
{
    for (int i = 0; i < 5 * COUNT; i++) {
        float x = fabsf(any_float()), y = (float)(uniform(-155, 130) / log2((double)x));
        double error = ulps_f32(lb_powf(x, y), powl((long double)x, (long double)y));

        cr_expect(error <= 0.6, "powf(%a, %a): %.3f ulp", (double)x, (double)y, error);
        x = (float)uniform(0, 2);
        y = (float)uniform(-4, 4);
        error = ulps_f32(lb_powf(x, y), powl((long double)x, (long double)y));
        cr_expect(error <= 0.6, "powf(%a, %a): %.3f ulp", (double)x, (double)y, error);
        x = any_float();
        y = i % 2 ? any_float() : (float)((double)x * uniform(-4, 4));
        if (isinf(y))
            continue;
        error = ulps_f32(lb_atan2f(y, x), atan2l((long double)y, (long double)x));
        cr_expect(error <= 2, "atan2f(%a, %a): %.3f ulp", (double)y, (double)x, error);
    }
}

Test(math, float_special_values)
{
    for (size_t i = 0; i < SPECIALS; i++) {
        float x = (float)specials[i];
        cr_expect(ulps_f32(lb_exp2f(x), exp2l((long double)x)) <= 1.25);
        cr_expect(ulps_f32(lb_expf(x), expl((long double)x)) <= 1.25);
        cr_expect(ulps_f32(lb_log2f(x), log2l((long double)x)) <= 2, "log2f(%a)", (double)x);
        for (size_t k = 0; k < SPECIALS; k++) {
            float y = (float)specials[k], got = lb_atan2f(x, y);
            long double want = atan2l((long double)x, (long double)y);
            cr_expect(ulps_f32(got, want) <= 2, "atan2f(%a, %a)", (double)x, (double)y);
            if (!isnan(want))
                cr_expect(!signbit(got) == !signbit(want), "atan2f(%a, %a)", (double)x, (double)y);
            if (isinf(y) || (x < 0 && y != 0) || (x == 1 && isnan(y)))
                continue; /* math_inline.h says how it differs here */
            got = lb_powf(x, y);
            want = powl((long double)fabsf(x), (long double)y); /* -0 counts as 0 */
            cr_expect(ulps_f32(got, want) <= 0.6, "powf(%a, %a): %a", (double)x, (double)y,
                      (double)got);
        }
    }
    cr_expect(isnan(lb_powf(-2, 2)) && isnan(lb_powf(-INFINITY, 1)) && lb_powf(-2, 0) == 1);
}

/* The same loop built for each vector width gives the same bits. */
#define ROWS(width, attribute)                                                                     \
    attribute static void rows_##width(float *restrict out, const float *restrict x,               \
                                       const float *restrict y, int32_t count)                     \
    {                                                                                              \
        for (int32_t i = 0; i < count; i++)                                                        \
            out[i] = lb_powf(x[i], y[i]);                                                          \
        for (int32_t i = 0; i < count; i++)                                                        \
            out[count + i] = lb_exp2f(y[i]) + lb_log2f(x[i]);                                      \
        for (int32_t i = 0; i < count; i++)                                                        \
            out[2 * count + i] = lb_sinf(y[i]) + 2 * lb_cosf(x[i]);                                \
        for (int32_t i = 0; i < count; i++)                                                        \
            out[3 * count + i] = lb_atan2f(y[i], x[i]) + lb_expf(y[i]);                            \
        for (int32_t i = 0; i < count; i++)                                                        \
            out[4 * count + i] = lb_asinf(y[i] * 0.1f) + 2 * lb_acosf(y[i] * 0.1f);                \
    }

#if defined(__x86_64__) && defined(__GNUC__) && !defined(__clang__)
ROWS(plain, __attribute__((optimize("no-tree-vectorize"))))
ROWS(sse2, )
ROWS(avx2, __attribute__((target("avx2"))))
ROWS(fma, __attribute__((target("avx2,fma"))))
ROWS(avx512, __attribute__((target("avx512f"))))

#define ROW 1003
static float row_x[ROW], row_y[ROW], row_want[5 * ROW], row_got[5 * ROW];

static void compare_rows(const char *name, void (*rows)(float *restrict, const float *restrict,
                                                        const float *restrict, int32_t))
{
    memset(row_got, 0, sizeof row_got);
    rows(row_got, row_x, row_y, ROW);
    cr_expect(memcmp(row_got, row_want, sizeof row_want) == 0, "%s", name);
}

Test(math, every_width_gives_the_same_bits)
{
    for (int i = 0; i < ROW; i++) {
        row_x[i] = (float)uniform(0, 4);
        row_y[i] = (float)uniform(-10, 10);
    }
    rows_plain(row_want, row_x, row_y, ROW);
    compare_rows("sse2", rows_sse2);
    if (__builtin_cpu_supports("avx2"))
        compare_rows("avx2", rows_avx2);
    if (__builtin_cpu_supports("fma"))
        compare_rows("fma", rows_fma);
    if (__builtin_cpu_supports("avx512f"))
        compare_rows("avx512f", rows_avx512);
}
#endif
