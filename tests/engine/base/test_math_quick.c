/* tests/engine/base/test_math_quick.c: lb_powf_quick against the C library's long double. */
#include <criterion/criterion.h>
#include <math.h>

#include "engine/base/clones.h"
#include "engine/base/math.h"
#include "tests/engine/base/math_ulps.h"

static const float powers[] = {0.001f, 0.1f, 0.45f, 0.5f, 0.9f, 1.0f, 1.1f, 1.2f,
                               2.0f,   2.2f, 2.4f,  2.6f, 3.0f, 3.7f, 4.0f};

/* Every binade, 2048 mantissas in each, and all of those at which a grade is: 2^-12 .. 2^4. */
Test(math_quick, powers_are_within_the_bound)
{
    for (size_t p = 0; p < sizeof powers / sizeof powers[0]; p++) {
        double worst = 0, bound = powers[p] <= 2 ? 2.0 : LB_POWF_QUICK_ULPS;
        float at = 0;

        for (uint32_t bits = 0x00800000; bits < 0x7f800000;
             bits += bits >= 0x39800000 && bits < 0x41800000 ? 1021 : 4093) {
            float x = lb_f32_bits(bits), y = lb_powf_quick(x, powers[p]);
            long double exact = powl((long double)x, (long double)powers[p]);
            double far;

            if (exact < 0x1p-124L) {
                cr_assert(y >= 0 && y < 0x1p-123f, "%a^%g: %a", (double)x, (double)powers[p],
                          (double)y);
                continue;
            }
            if (exact > 0x1.fcp127L) {
                cr_assert(y > 0x1.f8p127f, "%a^%g: %a", (double)x, (double)powers[p], (double)y);
                continue;
            }
            far = ulps((long double)y, exact, 24, -125);
            if (far > worst)
                worst = far, at = x;
        }
        cr_expect(worst <= bound, "power %g: %.2f ulps at %a", (double)powers[p], worst,
                  (double)at);
    }
}

Test(math_quick, ends_of_the_range)
{
    for (size_t p = 0; p < sizeof powers / sizeof powers[0]; p++) {
        cr_expect(isinf(lb_powf_quick(INFINITY, powers[p])));
        cr_expect(isnan(lb_powf_quick(NAN, powers[p])));
        cr_expect_eq(lb_powf_quick(1, powers[p]), 1.0f);
        cr_expect(lb_powf_quick(0x1p-149f, powers[p]) == lb_powf_quick(0x1p-126f, powers[p]));
    }
}

LB_CLONES
static void raise_row(float *restrict out, const float *restrict in, float power, int32_t count)
{
    for (int32_t i = 0; i < count; i++)
        out[i] = lb_powf_quick(in[i], power);
}

Test(math_quick, rows_have_the_bits_of_single_values)
{
    static float in[4099], out[4099];

    for (int i = 0; i < 4099; i++)
        in[i] = (float)(i + 1) * 0.00137f;
    raise_row(out, in, 1.7f, 4099);
    for (int i = 0; i < 4099; i++)
        cr_assert(out[i] == lb_powf_quick(in[i], 1.7f), "%d", i);
}
