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
        double worst = 0, bound = powers[p] <= 2 ? 2.5 : LB_POWF_QUICK_ULPS;
        lb_power power = lb_power_of(powers[p]);
        float at = 0;

        for (uint32_t bits = 0x00800000; bits < 0x7f800000;
             bits += bits >= 0x39800000 && bits < 0x41800000 ? 1021 : 4093) {
            float x = lb_f32_bits(bits), y = lb_powf_quick(x, power);
            long double exact = powl((long double)x, (long double)powers[p]);
            double far;

            if (exact < 0x1p-124L) {
                cr_assert(y > 0 && y < 0x1p-123f, "%a^%g: %a", (double)x, (double)powers[p],
                          (double)y);
                continue;
            }
            if (exact > 0x1.fcp127L) {
                cr_assert(y > 0x1.f8p127f && y < INFINITY, "%a^%g: %a", (double)x,
                          (double)powers[p], (double)y);
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
        lb_power y = lb_power_of(powers[p]);

        cr_expect_eq(lb_powf_quick(INFINITY, y), lb_powf_quick(0x1.fffffep127f, y));
        cr_expect_eq(lb_powf_quick(NAN, y), lb_powf_quick(0x1p-126f, y));
        cr_expect_eq(lb_powf_quick(1, y), 1.0f);
        cr_expect_eq(lb_powf_quick(0x1p-149f, y), lb_powf_quick(0x1p-126f, y));
    }
}

LB_CLONES
static void raise_row(float *restrict out, const float *restrict in, lb_power power, int32_t count)
{
    for (int32_t i = 0; i < count; i++)
        out[i] = lb_powf_quick(in[i], power);
}

Test(math_quick, rows_have_the_bits_of_single_values)
{
    static float in[4099], out[4099];
    lb_power power = lb_power_of(1.7f);

    for (int i = 0; i < 4099; i++)
        in[i] = (float)(i + 1) * 0.00137f;
    raise_row(out, in, power, 4099);
    for (int i = 0; i < 4099; i++)
        cr_assert(out[i] == lb_powf_quick(in[i], power), "%d", i);
}
