/* tests/engine/image/test_composite.c: against W3C Compositing and Blending Level 1.
 *
 * Tables: computed from the formulas of sections 9.1 and 10. Below: the worked example of section
 * 5.1.1, published results of the canvas compositing tests, and what has to hold beyond 0..1. */
#include <criterion/criterion.h>
#include <float.h>
#include <math.h>
#include <string.h>

#include "engine/image/composite.h"
#include "tests/support/table.h"

static int index_of(const char *const *names, const char *name)
{
    for (int i = 0; names[i]; i++)
        if (strcmp(names[i], name) == 0)
            return i;
    cr_assert_fail("no name '%s'", name);
    return -1;
}

static void composite_one(lb_porter_duff op, lb_blend blend, const float s[4], const float b[4],
                          const float *amount, float out[4])
{
    lb_composite_row(op, blend, (lb_rgba_out){&out[0], &out[1], &out[2], &out[3]},
                     (lb_rgba_row){&s[0], &s[1], &s[2], &s[3]},
                     (lb_rgba_row){&b[0], &b[1], &b[2], &b[3]}, amount, 1);
}

static void read_four(const table *t, int row, const char *prefix, float out[4])
{
    for (int c = 0; c < 4; c++) {
        char column[8];

        snprintf(column, sizeof column, "%s_%c", prefix, "rgba"[c]);
        out[c] = (float)table_number(t, row, column);
    }
}

/* Inputs are rounded to float once and a result takes four operations: 4e-7 of values up to 1.5. */
#define NEAR 6e-7f

Test(composite, porter_duff_meets_its_table)
{
    table t = table_load("porter_duff");

    for (int row = 0; row < t.rows; row++) {
        const char *name = table_text(&t, row, "operator");
        lb_porter_duff op = (lb_porter_duff)index_of(lb_porter_duff_names, name);
        float s[4], b[4], want[4], out[4];

        read_four(&t, row, "s", s);
        read_four(&t, row, "b", b);
        read_four(&t, row, "o", want);
        composite_one(op, LB_BLEND_NORMAL, s, b, NULL, out);
        want[3] = fminf(want[3], 1); /* coverage is at most 1: see composite.h on lighter */
        for (int c = 0; c < 4; c++) {
            float one = lb_porter_duff_pixel(op, s[c], s[3], b[c], b[3]);

            cr_expect(fabsf(out[c] - want[c]) <= NEAR, "%s row %d component %d: %g, not %g", name,
                      row, c, (double)out[c], (double)want[c]);
            cr_expect(c == 3 || one == out[c]);
        }
    }
    table_free(&t);
}

Test(composite, blend_modes_meet_their_table)
{
    table t = table_load("blend");

    for (int row = 0; row < t.rows; row++) {
        const char *name = table_text(&t, row, "mode");
        lb_blend blend = (lb_blend)index_of(lb_blend_names, name);
        float s[4], b[4], want[4], out[4];

        read_four(&t, row, "s", s);
        read_four(&t, row, "b", b);
        read_four(&t, row, "o", want);
        composite_one(LB_SOURCE_OVER, blend, s, b, NULL, out);
        for (int c = 0; c < 4; c++)
            cr_expect(fabsf(out[c] - want[c]) <= 2 * NEAR, "%s row %d component %d: %g, not %g",
                      name, row, c, (double)out[c], (double)want[c]);
    }
    table_free(&t);
}

/* Section 5.1.1: blue over red, both half covering: (0.25, 0, 0.5), alpha 0.75. Dyadic: exact. */
Test(composite, the_worked_example)
{
    float blue[4] = {0, 0, 0.5f, 0.5f}, red[4] = {0.5f, 0, 0, 0.5f}, out[4];

    composite_one(LB_SOURCE_OVER, LB_BLEND_NORMAL, blue, red, NULL, out);
    cr_expect(out[0] == 0.25f && out[1] == 0 && out[2] == 0.5f && out[3] == 0.75f);
}

/* Published expectations of the canvas compositing tests, 8-bit signals, unpremultiplied; a step of
 * 8 bits is allowed, since the tests themselves round. */
Test(composite, the_canvas_tests)
{
    table t = table_load("canvas-compositing");

    for (int row = 0; row < t.rows; row++) {
        lb_porter_duff op =
            (lb_porter_duff)index_of(lb_porter_duff_names, table_text(&t, row, "operator"));
        float amount = (float)table_number(&t, row, "global_alpha"), s[4], b[4], want[4], out[4];
        const char *const names[3] = {"source_srgb8", "backdrop_srgb8",
                                      "result_rgba8_unpremultiplied"};
        float *const to[3] = {s, b, want};

        for (int i = 0; i < 3; i++)
            cr_assert(sscanf(table_text(&t, row, names[i]), "%f %f %f %f", &to[i][0], &to[i][1],
                             &to[i][2], &to[i][3]) == 4);
        for (int c = 0; c < 4; c++) {
            s[c] /= 255;
            b[c] /= 255;
        }
        composite_one(op, LB_BLEND_NORMAL, s, b, &amount, out);
        for (int c = 0; c < 4; c++) {
            float straight = c == 3 ? out[3] : out[c] / out[3];
            cr_expect(fabsf(255 * straight - want[c]) <= 1, "row %d component %d: %g, not %g", row,
                      c, (double)(255 * straight), (double)want[c]);
        }
    }
    table_free(&t);
}

/* B as the standard has it, in double, on straight colours: the separable modes. */
static double mix_of(lb_blend blend, double b, double s)
{
    double d = b <= 0.25 ? ((16 * b - 12) * b + 4) * b : sqrt(b);

    switch (blend) {
    case LB_BLEND_MULTIPLY:
        return b * s;
    case LB_BLEND_SCREEN:
        return b + s - b * s;
    case LB_BLEND_OVERLAY:
        return mix_of(LB_BLEND_HARD_LIGHT, s, b);
    case LB_BLEND_DARKEN:
        return fmin(b, s);
    case LB_BLEND_LIGHTEN:
        return fmax(b, s);
    case LB_BLEND_COLOR_DODGE:
        return b == 0 ? 0 : s == 1 ? 1 : fmin(1, b / (1 - s));
    case LB_BLEND_COLOR_BURN:
        return b == 1 ? 1 : s == 0 ? 0 : 1 - fmin(1, (1 - b) / s);
    case LB_BLEND_HARD_LIGHT:
        return s <= 0.5 ? b * 2 * s : b + 2 * s - 1 - b * (2 * s - 1);
    case LB_BLEND_SOFT_LIGHT:
        return s <= 0.5 ? b - (1 - 2 * s) * b * (1 - b) : b + (2 * s - 1) * (d - b);
    case LB_BLEND_DIFFERENCE:
        return fabs(b - s);
    case LB_BLEND_EXCLUSION:
        return b + s - 2 * b * s;
    default:
        return s;
    }
}

/* Every pair of colours in eighths under every pair of alphas in quarters. */
Test(composite, separable_modes_on_a_grid)
{
    for (int mode = LB_BLEND_NORMAL; mode <= LB_BLEND_EXCLUSION; mode++)
        for (int i = 0; i < 9 * 9 * 25; i++) {
            float colour_s = (float)(i % 9) / 8, colour_b = (float)(i / 9 % 9) / 8;
            float as = (float)(i / 81 % 5) / 4, ab = (float)(i / 405) / 4;
            float s[4] = {colour_s * as, 0, 0, as}, b[4] = {colour_b * ab, 0, 0, ab}, out[4];
            double mixed = as == 0 ? 0 : (1 - (double)ab) * (double)colour_s;
            double want;

            mixed += (double)ab * mix_of((lb_blend)mode, (double)colour_b, (double)colour_s);
            want = (double)as * mixed + (1 - (double)as) * (double)b[0];
            composite_one(LB_SOURCE_OVER, (lb_blend)mode, s, b, NULL, out);
            /* Soft light's 16 b^3 takes the most steps. */
            cr_assert(fabs((double)out[0] - want) <= 2e-6, "%s of %g a %g on %g a %g: %g, not %g",
                      lb_blend_names[mode], (double)colour_s, (double)as, (double)colour_b,
                      (double)ab, (double)out[0], want);
        }
}

/* Beyond white: at least the larger colour for screen, at least the difference for exclusion, and
 * no jump at 1 but for dodge and burn, where the standard has one. */
Test(composite, brighter_than_white)
{
    float out[4], s[4] = {3, 3, 0.5f, 1}, b[4] = {2, 0.25f, 4, 1};

    composite_one(LB_SOURCE_OVER, LB_BLEND_SCREEN, s, b, NULL, out);
    cr_expect(out[0] == 3 && out[1] == 3 && out[2] == 4);
    composite_one(LB_SOURCE_OVER, LB_BLEND_MULTIPLY, s, b, NULL, out);
    cr_expect(out[0] == 6 && out[1] == 0.75f && out[2] == 2);
    composite_one(LB_SOURCE_OVER, LB_BLEND_EXCLUSION, s, b, NULL, out);
    cr_expect(out[0] == 1 && out[1] == 2.75f && out[2] == 3.5f);
    composite_one(LB_SOURCE_OVER, LB_BLEND_COLOR_DODGE, s, b, NULL, out);
    cr_expect(out[0] == 1 && out[1] == 1 && out[2] == 1);

    for (int mode = LB_BLEND_NORMAL; mode <= LB_BLEND_LUMINOSITY; mode++)
        for (int i = 0; i < 32; i++) {
            float low = 1 - 0x1p-20f, high = 1 + 0x1p-20f, other = (float)i / 16, below[4];

            if (mode == LB_BLEND_COLOR_DODGE || mode == LB_BLEND_COLOR_BURN)
                continue;
            composite_one(LB_SOURCE_OVER, (lb_blend)mode, (float[4]){low, 0.5f, 0.25f, 1},
                          (float[4]){other, 0.75f, 0.125f, 1}, NULL, below);
            composite_one(LB_SOURCE_OVER, (lb_blend)mode, (float[4]){high, 0.5f, 0.25f, 1},
                          (float[4]){other, 0.75f, 0.125f, 1}, NULL, out);
            for (int c = 0; c < 3; c++)
                cr_expect(fabsf(out[c] - below[c]) < 2e-5f, "%s jumps at 1 over %g",
                          lb_blend_names[mode], (double)other);
        }
}

Test(composite, finite_in_finite_out)
{
    static const float hard[] = {0,        -0.0f,   FLT_TRUE_MIN, FLT_MIN,  1e-20f, 0.5f,
                                 1,        1.5f,    1e20f,        FLT_MAX,  -1,     -1e30f,
                                 -FLT_MAX, 0x1p60f, -0.5f,        0.999999f};
    enum { COUNT = sizeof hard / sizeof hard[0] };

    for (int op = LB_CLEAR; op <= LB_LIGHTER; op++)
        for (int mode = LB_BLEND_NORMAL; mode <= LB_BLEND_LUMINOSITY; mode++)
            for (int i = 0; i < COUNT * COUNT * COUNT * COUNT; i += 7) {
                float s[4] = {hard[i % COUNT], hard[(i + 3) % COUNT], hard[(i + 5) % COUNT],
                              hard[i / COUNT % COUNT]};
                float b[4] = {hard[i / COUNT / COUNT % COUNT], hard[(i + 1) % COUNT],
                              hard[(i + 9) % COUNT], hard[i / COUNT / COUNT / COUNT]};
                float out[4];

                composite_one((lb_porter_duff)op, (lb_blend)mode, s, b, NULL, out);
                for (int c = 0; c < 4; c++)
                    cr_assert(isfinite(out[c]), "%s %s of (%g %g %g %g) on (%g %g %g %g)",
                              lb_porter_duff_names[op], lb_blend_names[mode], (double)s[0],
                              (double)s[1], (double)s[2], (double)s[3], (double)b[0], (double)b[1],
                              (double)b[2], (double)b[3]);
                cr_assert(out[3] <= 1);
            }
}

/* Long rows, missing rows and amounts give what single pixels give, bit for bit. */
Test(composite, rows_equal_pixels)
{
    enum { COUNT = 1500 };
    static float s[4][COUNT], b[4][COUNT], out[4][COUNT], amount[COUNT];

    for (int x = 0; x < COUNT; x++) {
        for (int c = 0; c < 4; c++) {
            s[c][x] = (float)((x * 7 + c * 3) % 19) / 16;
            b[c][x] = (float)((x * 5 + c * 11) % 23) / 16;
        }
        s[3][x] = fminf(s[3][x], 1);
        amount[x] = (float)(x % 9) / 8;
    }
    for (int op = LB_CLEAR; op <= LB_LIGHTER; op++)
        for (int mode = LB_BLEND_NORMAL; mode <= LB_BLEND_LUMINOSITY; mode++)
            for (int missing = 0; missing < 3; missing++) {
                lb_rgba_row source = {s[0], s[1], s[2], missing == 1 ? NULL : s[3]};
                lb_rgba_row backdrop = {b[0], missing == 2 ? NULL : b[1], b[2],
                                        missing == 2 ? NULL : b[3]};

                lb_composite_row((lb_porter_duff)op, (lb_blend)mode,
                                 (lb_rgba_out){out[0], out[1], out[2], out[3]}, source, backdrop,
                                 missing == 0 ? amount : NULL, COUNT);
                for (int x = 0; x < COUNT; x += 13) {
                    float one[4];

                    composite_one((lb_porter_duff)op, (lb_blend)mode,
                                  (float[4]){s[0][x], s[1][x], s[2][x], missing == 1 ? 1 : s[3][x]},
                                  (float[4]){b[0][x], missing == 2 ? 0 : b[1][x], b[2][x],
                                             missing == 2 ? 1 : b[3][x]},
                                  missing == 0 ? &amount[x] : NULL, one);
                    for (int c = 0; c < 4; c++)
                        cr_assert(out[c][x] == one[c]);
                }
            }
}
