/* tests/engine/media/test_half.c: 16-bit floats against IEEE 754-2008 binary16. */
#include "engine/media/half.h"

#include <criterion/criterion.h>
#include <math.h>

#include "tests/engine/media/media_support.h"
#include "tests/support/table.h"

/* tests/data/tables/half.csv: rounding to nearest, ties to even, computed from the published
 * formula. Where it has infinity, ours is the largest half and says so. */
Test(half, rounding_table)
{
    table t = table_load("half");

    cr_assert_geq(t.rows, 18);
    for (int row = 0; row < t.rows; row++) {
        float in = (float)table_number(&t, row, "input"), back;
        double wanted = table_number(&t, row, "half");
        uint16_t half;
        bool clamped = lb_half_from_float_row(&half, &in, 1);

        lb_half_to_float_row(&back, &half, 1);
        if (isinf(wanted)) {
            cr_expect(clamped && back == 65504.0f, "%g became %g", (double)in, (double)back);
            continue;
        }
        /* The table prints nine digits. */
        cr_expect(!clamped && fabs((double)back - wanted) <= 1e-8 * fabs(wanted),
                  "%g became %.9g, not %.9g", (double)in, (double)back, wanted);
    }
    table_free(&t);
}

/* The definition, by arithmetic that shares nothing with ours: sign, exponent, mantissa. */
static double half_value(uint16_t half)
{
    int exponent = (half >> 10) & 31;
    double mantissa = half & 0x3ff, sign = half & 0x8000 ? -1 : 1;

    if (exponent == 0)
        return sign * ldexp(mantissa, -24);
    return sign * ldexp(1024 + mantissa, exponent - 25);
}

Test(half, every_value_to_float_and_back)
{
    static uint16_t halves[65536], again[65536];
    static float floats[65536];

    for (int i = 0; i < 65536; i++)
        halves[i] = (uint16_t)i;
    lb_half_to_float_row(floats, halves, 65536);
    cr_expect_not(lb_half_from_float_row(again, floats, 65536));
    for (int i = 0; i < 65536; i++) {
        bool special = (i & 0x7c00) == 0x7c00;

        if (!special)
            cr_expect_eq((double)floats[i], half_value((uint16_t)i), "%04x", (unsigned)i);
        else if (i & 0x3ff)
            cr_expect(isnan(floats[i]), "%04x", (unsigned)i);
        else
            cr_expect(isinf(floats[i]) && (signbit(floats[i]) != 0) == (i >> 15), "%04x",
                      (unsigned)i);
        cr_expect_eq(again[i], halves[i], "%04x came back as %04x", (unsigned)i,
                     (unsigned)again[i]);
        cr_expect_eq(signbit(floats[i]) != 0, i >= 0x8000);
    }
}

/* Between each pair of neighbours: just below the middle, the middle, just above. */
Test(half, rounds_to_nearest_even_everywhere)
{
    for (uint16_t h = 0; h < 0x7bff; h++) {
        double low = half_value(h), high = half_value((uint16_t)(h + 1));
        float middle = (float)((low + high) / 2); /* exact: one bit more than a half has */
        float in[6] = {nextafterf(middle, 0), middle, nextafterf(middle, INFINITY)};
        uint16_t even = (uint16_t)(h & 1 ? h + 1 : h);
        uint16_t out[6], wanted[3] = {h, even, (uint16_t)(h + 1)};

        for (int i = 0; i < 3; i++)
            in[3 + i] = -in[i];
        cr_expect_not(lb_half_from_float_row(out, in, 6));
        for (int i = 0; i < 3; i++) {
            cr_expect_eq(out[i], wanted[i], "%a: %04x", (double)in[i], (unsigned)out[i]);
            cr_expect_eq(out[3 + i], wanted[i] | 0x8000);
        }
    }
}

Test(half, beyond_the_largest)
{
    static const struct {
        float in;
        uint16_t out;
        bool clamped;
    } rows[] = {{65519.996f, 0x7bff, false},
                {65520, 0x7bff, true},
                {-1e30f, 0xfbff, true},
                {INFINITY, 0x7c00, false},
                {-INFINITY, 0xfc00, false}};

    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        uint16_t out;

        cr_expect_eq(lb_half_from_float_row(&out, &rows[i].in, 1), rows[i].clamped);
        cr_expect_eq(out, rows[i].out, "%g: %04x", (double)rows[i].in, (unsigned)out);
    }
}
