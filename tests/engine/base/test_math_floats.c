/* tests/engine/base/test_math_floats.c: elementary functions of float against the C library's of
 * double, whose error is below 2^-28 ulp of float. The bounds are those that math_inline.h states.
 *
 * One-argument functions are gone through over all floats, in order: every 1021st with the one
 * after it, so that every binade has 8000. LAMPBLACK_MATH_STRIDE=1 takes each of the 2^32; that
 * takes minutes of CPU a function. */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "engine/base/math.h"
#include "tests/engine/base/math_ulps.h"

/* Number `i` of all 2^32 floats in ascending order, NaN at both ends. */
static float float_of_rank(uint32_t i)
{
    return lb_f32_bits(i < 0x80000000u ? ~i : i - 0x80000000u);
}

typedef struct float_function {
    const char *name;
    float (*ours)(float);
    double (*exact)(double);
    double limit;
    double low, high; /* where the limit holds */
    int direction;    /* 1: never falls, -1: never rises, 0: neither */
} float_function;

static const float_function functions[] = {
    {"exp2f", lb_exp2f, exp2, LB_EXP2F_ULPS, -INFINITY, INFINITY, 0},
    {"expf", lb_expf, exp, LB_EXPF_ULPS, -INFINITY, INFINITY, 1},
    {"log2f", lb_log2f, log2, LB_LOG2F_ULPS, -INFINITY, INFINITY, 1},
    {"sinf", lb_sinf, sin, LB_SINF_ULPS, -0x1p20, 0x1p20, 0},
    {"cosf", lb_cosf, cos, LB_SINF_ULPS, -0x1p20, 0x1p20, 0},
    {"asinf", lb_asinf, asin, LB_ASINF_ULPS, -INFINITY, INFINITY, 1},
    {"acosf", lb_acosf, acos, LB_ACOSF_ULPS, -INFINITY, INFINITY, -1},
};
#define FUNCTIONS (sizeof functions / sizeof functions[0])

static uint32_t stride(void)
{
    const char *text = getenv("LAMPBLACK_MATH_STRIDE");
    long given = text ? strtol(text, NULL, 10) : 0;

    return given > 0 && given < 1 << 24 ? (uint32_t)given : 1021;
}

typedef struct sweep {
    double worst, steps_back;
    float worst_at, back_at, last;
} sweep;

static void look_at(const float_function *f, float x, sweep *s)
{
    float y = f->ours(x);

    if (isnan(x)) {
        cr_expect(isnan(y), "%s of NaN", f->name);
    } else if ((double)x >= f->low && (double)x <= f->high) {
        double error = ulps_f32(y, f->exact((double)x));

        if (error > s->worst) {
            s->worst = error;
            s->worst_at = x;
        }
        if ((float)f->direction * (y - s->last) < 0) {
            s->steps_back++;
            s->back_at = x;
        }
    }
    s->last = y;
}

Test(math_floats, over_all_floats, .timeout = 7200)
{
    const char *only = getenv("LAMPBLACK_MATH_FUNCTION");
    uint32_t step = stride();

    for (size_t i = 0; i < FUNCTIONS; i++) {
        const float_function *f = &functions[i];
        sweep s = {.last = NAN};

        if (only && strcmp(only, f->name) != 0)
            continue;
        for (uint64_t rank = 0; rank < UINT64_C(1) << 32; rank += step) {
            look_at(f, float_of_rank((uint32_t)rank), &s);
            if (step > 1 && rank + 1 < UINT64_C(1) << 32)
                look_at(f, float_of_rank((uint32_t)rank + 1), &s);
        }
        cr_expect(s.worst <= f->limit, "%s: %.4f ulp at %a", f->name, s.worst, (double)s.worst_at);
        cr_expect(s.steps_back == 0, "%s: %.0f steps back, one at %a", f->name, s.steps_back,
                  (double)s.back_at);
        if (only)
            printf("%s: at most %.4f ulp, at %a\n", f->name, s.worst, (double)s.worst_at);
    }
}

/* Beyond 2^20 the circular ones mean nothing, but stay a point of the circle. */
Test(math_floats, circular_stays_within_one)
{
    for (uint64_t rank = 0; rank < UINT64_C(1) << 32; rank += 65521) {
        float x = float_of_rank((uint32_t)rank);

        if (isfinite(x))
            cr_expect(fabsf(lb_sinf(x)) <= 1 && fabsf(lb_cosf(x)) <= 1, "%a", (double)x);
    }
    cr_expect(isnan(lb_sinf(INFINITY)) && isnan(lb_cosf(-INFINITY)));
    cr_expect(lb_cosf(0) == 1 && lb_sinf(0) == 0 && lb_sinf(-0.0f) == 0);
}

/* What is exact stays exact. */
Test(math_floats, whole_powers_of_two)
{
    for (int k = -149; k < 128; k++) {
        cr_expect(lb_exp2f((float)k) == ldexpf(1, k), "2^%d", k);
        cr_expect(lb_log2f(ldexpf(1, k)) == (float)k, "log2 2^%d", k);
    }
    cr_expect(lb_acosf(1) == 0 && lb_asinf(1) == (float)(LB_PI / 2));
    cr_expect(lb_expf(0) == 1 && lb_asinf(0) == 0);
}

static uint64_t state = 88172645463325252u;

/* 0 <= x < 1. Marsaglia (2003), "Xorshift RNGs". */
static double chance(void)
{
    state ^= state << 13;
    state ^= state >> 7;
    state ^= state << 17;
    return (double)(state >> 11) * 0x1p-53;
}

static float any_float(void)
{
    return float_of_rank((uint32_t)(chance() * 0x1p32));
}

static void expect_powf(float x, float y)
{
    double error = ulps_f32(lb_powf(x, y), pow((double)x, (double)y));

    cr_expect(error <= LB_POWF_ULPS, "powf(%a, %a): %.4f ulp", (double)x, (double)y, error);
}

static void expect_atan2f(float y, float x)
{
    double error = ulps_f32(lb_atan2f(y, x), atan2((double)y, (double)x));

    cr_expect(error <= LB_ATAN2F_ULPS, "atan2f(%a, %a): %.4f ulp", (double)y, (double)x, error);
}

/* Every binade of x, with exponents that bring the result into every binade. */
Test(math_floats, of_two)
{
    for (int binade = -149; binade < 128; binade++) {
        for (int i = 0; i < 2000; i++) {
            float x = (float)ldexp(1 + chance(), binade), y = any_float();

            if (isinf(x) || isinf(y))
                continue;
            expect_powf(x, (float)((chance() * 285 - 155) / log2((double)x)));
            expect_powf(x, (float)(chance() * 8 - 4));
            expect_atan2f(y, x);
            expect_atan2f((float)((double)x * (chance() * 8 - 4)), i % 2 ? x : -x);
        }
    }
}

/* Transfer curves and the exponents that people grade with must not make a ramp step back. */
Test(math_floats, powers_do_not_step_back)
{
    static const float exponents[] = {1 / 2.4f, 2.4f, 0.45f, 1 / 0.45f, 1 / 2.2f, 2.2f,
                                      0.5f,     1.1f, 1.06f, 0.001f,    3,        1000};

    for (size_t i = 0; i < sizeof exponents / sizeof exponents[0]; i++)
        for (int32_t start = 0x30000000; start < 0x48000000; start += 0x7fedc) {
            float last = 0;

            for (int32_t bits = start; bits < start + 2000; bits++) {
                float x = lb_f32_bits((uint32_t)bits), y = lb_powf(x, exponents[i]);

                cr_assert(y >= last, "%a^%g", (double)x, (double)exponents[i]);
                last = y;
            }
        }
}

Test(math_floats, special_values)
{
    for (size_t i = 0; i < SPECIALS; i++) {
        float x = (float)specials[i];

        for (size_t f = 0; f < FUNCTIONS; f++)
            if (functions[f].low == -(double)INFINITY || fabsf(x) <= 0x1p20f)
                cr_expect(ulps_f32(functions[f].ours(x), functions[f].exact((double)x)) <=
                              functions[f].limit,
                          "%s(%a)", functions[f].name, (double)x);
        for (size_t k = 0; k < SPECIALS; k++) {
            float y = (float)specials[k], got = lb_atan2f(x, y);
            double want = atan2((double)x, (double)y);

            expect_atan2f(x, y);
            if (!isnan(want))
                cr_expect(!signbit(got) == !signbit(want), "atan2f(%a, %a)", (double)x, (double)y);
            if (isinf(y) || (x < 0 && y != 0) || (x == 1 && isnan(y)))
                continue;                   /* math_inline.h says how it differs here */
            expect_powf(x == 0 ? 0 : x, y); /* -0 counts as 0 */
        }
    }
    cr_expect(isnan(lb_powf(-2, 2)) && isnan(lb_powf(-INFINITY, 1)) && lb_powf(-2, 0) == 1);
}

/* ---- Rows: the same loop built for each vector width gives what one call gives ---- */

#define ROW 4099
static float row_x[ROW], row_y[ROW];

typedef void (*row_fn)(float *restrict out);

#define ROW_OF(width, attribute, name, call)                                                       \
    attribute static void name##_##width(float *restrict out)                                      \
    {                                                                                              \
        for (int32_t i = 0; i < ROW; i++) {                                                        \
            const float x = row_x[i], y = row_y[i];                                                \
            (void)y;                                                                               \
            out[i] = call;                                                                         \
        }                                                                                          \
    }
/* One at a time: the argument comes from memory that the compiler may not look ahead into. */
#define ROWS_OF(name, call)                                                                        \
    static void name##_one(float *restrict out)                                                    \
    {                                                                                              \
        for (int32_t i = 0; i < ROW; i++) {                                                        \
            const float x = *(volatile float *)&row_x[i], y = *(volatile float *)&row_y[i];        \
            (void)y;                                                                               \
            *(volatile float *)&out[i] = call;                                                     \
        }                                                                                          \
    }                                                                                              \
    ROW_OF(plain, , name, call)                                                                    \
    ROW_OF(avx2, TARGET("avx2"), name, call)                                                       \
    ROW_OF(fma, TARGET("avx2,fma"), name, call)                                                    \
    ROW_OF(avx512, TARGET("avx512f"), name, call)

#ifdef __x86_64__
#define TARGET(name) __attribute__((target(name)))
#define HAS(name) __builtin_cpu_supports(name)
#else
#define TARGET(name)
#define HAS(name) true
#endif

ROWS_OF(exp2f, lb_exp2f(x))
ROWS_OF(expf, lb_expf(x))
ROWS_OF(log2f, lb_log2f(x))
ROWS_OF(powf, lb_powf(x, y))
ROWS_OF(sinf, lb_sinf(x))
ROWS_OF(cosf, lb_cosf(x))
ROWS_OF(atan2f, lb_atan2f(x, y))
ROWS_OF(asinf, lb_asinf(x))
ROWS_OF(acosf, lb_acosf(x))

#define ROW_FNS(name)                                                                              \
    {                                                                                              \
#name, name##_one,                                                                         \
        {                                                                                          \
            name##_plain, name##_avx2, name##_fma, name##_avx512                                   \
        }                                                                                          \
    }

/* Bits are compared; which NaN it is may differ. */
static bool same_rows(const float *a, const float *b)
{
    for (int32_t i = 0; i < ROW; i++)
        if (lb_bits_f32(a[i]) != lb_bits_f32(b[i]) && !(isnan(a[i]) && isnan(b[i])))
            return false;
    return true;
}

Test(math_floats, rows_of_every_width_are_single_calls)
{
    static const struct {
        const char *name;
        row_fn one, wide[4];
    } rows[] = {ROW_FNS(exp2f), ROW_FNS(expf),   ROW_FNS(log2f), ROW_FNS(powf), ROW_FNS(sinf),
                ROW_FNS(cosf),  ROW_FNS(atan2f), ROW_FNS(asinf), ROW_FNS(acosf)};
    const bool can[4] = {true, HAS("avx2"), HAS("fma"), HAS("avx512f")};
    static float want[ROW], got[ROW];

    for (int round = 0; round < 40; round++) {
        for (int32_t i = 0; i < ROW; i++) { /* all kinds of floats, then the usual ones */
            row_x[i] = round % 2 ? any_float() : (float)(chance() * 4 - 1);
            row_y[i] = round % 2 ? any_float() : (float)(chance() * 20 - 10);
        }
        for (size_t i = 0; i < SPECIALS; i++)
            row_x[i] = row_y[ROW - 1 - i] = (float)specials[i];
        for (size_t f = 0; f < sizeof rows / sizeof rows[0]; f++) {
            rows[f].one(want);
            for (int w = 0; w < 4; w++) {
                if (!can[w])
                    continue;
                memset(got, 0, sizeof got);
                rows[f].wide[w](got);
                cr_expect(same_rows(got, want), "%s, width %d", rows[f].name, w);
            }
        }
    }
}
