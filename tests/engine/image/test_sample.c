/* tests/engine/image/test_sample.c: kernels, edges and single samples against their formulas.
 *
 * Tables: Mitchell and Netravali, SIGGRAPH 1988, equation 8; Duchon, J. Applied Meteorology 18,
 * 1979; wrap modes of glTF 2.0, section 3.8.4. */
#include <criterion/criterion.h>
#include <math.h>

#include "tests/engine/image/picture.h"
#include "tests/support/table.h"

/* The tables' names; kernels that are not ours are left out. */
static int filter_named(const char *name)
{
    static const char *const names[] = {"nearest", "triangle", "catmull-rom", "lanczos3",
                                        "mitchell"};

    for (int i = 0; i < 5; i++)
        if (strcmp(name, names[i]) == 0)
            return i;
    return -1;
}

static lb_edge edge_named(const char *name)
{
    return strcmp(name, "zero") == 0     ? LB_EDGE_TRANSPARENT
           : strcmp(name, "clamp") == 0  ? LB_EDGE_CLAMP
           : strcmp(name, "repeat") == 0 ? LB_EDGE_REPEAT
                                         : LB_EDGE_MIRROR;
}

Test(sample, kernels_meet_their_table)
{
    table t = table_load("resampling_kernels");
    int checked = 0;

    for (int row = 0; row < t.rows; row++) {
        int filter = filter_named(table_text(&t, row, "kernel"));
        double x = table_number(&t, row, "x"), want = table_number(&t, row, "value");

        if (filter < 0)
            continue;
        cr_expect(fabs(lb_filter_value((lb_filter)filter, x) - want) < 1e-14, "%s at %g",
                  lb_filter_names[filter], x);
        cr_expect(lb_filter_value((lb_filter)filter, -x) == lb_filter_value((lb_filter)filter, x));
        checked++;
    }
    cr_expect(checked > 50);
    for (int filter = LB_FILTER_BILINEAR; filter <= LB_FILTER_MITCHELL; filter++)
        cr_expect(lb_filter_value((lb_filter)filter, lb_filter_radius((lb_filter)filter)) == 0);
    table_free(&t);
}

/* A picture with one pixel of 1 at column k gives the weight of tap k. */
Test(sample, weights_meet_their_table)
{
    static const char *const columns[6] = {"w_m2", "w_m1", "w_0", "w_1", "w_2", "w_3"};
    table t = table_load("resampling_weights");

    for (int row = 0; row < t.rows; row++) {
        int filter = filter_named(table_text(&t, row, "kernel"));
        double phase = table_number(&t, row, "phase");

        for (int k = 0; k < 6 && filter >= 0; k++) {
            lb_plane *in = picture_new((lb_box){10, 0, 16, 9}),
                     *zero = picture_new((lb_box){0, 0, 20, 9});
            lb_plane *move = picture_new((lb_box){0, 0, 20, 9}), *out;
            double want = table_number(&t, row, columns[k]);
            float got;

            for (int32_t y = 0; y < 9; y++)
                picture_set(in, 10 + k, y, 1);
            got = lb_sample(in, 12.5 + phase, 4.5, (lb_filter)filter, LB_EDGE_TRANSPARENT);
            cr_expect(fabs((double)got - want) < 1e-7, "%s phase %g tap %d: %g, not %g",
                      lb_filter_names[filter], phase, k - 2, (double)got, want);
            for (int32_t y = 0; y < 9; y++)
                for (int32_t x = 0; x < 20; x++)
                    picture_set(move, x, y, (float)phase);
            cr_assert(lb_warp_plane(NULL, in, move, zero, (lb_filter)filter, LB_EDGE_TRANSPARENT,
                                    (lb_box){0, 0, 20, 9}, &out) == LB_OK);
            /* float weights from a float phase */
            cr_expect(fabs((double)lb_plane_at(out, 12, 4) - want) < 4e-7,
                      "warp, %s phase %g tap %d: %g, not %g", lb_filter_names[filter], phase, k - 2,
                      (double)lb_plane_at(out, 12, 4), want);
            lb_plane_unref(&in);
            lb_plane_unref(&zero);
            lb_plane_unref(&move);
            lb_plane_unref(&out);
        }
    }
    table_free(&t);
}

/* 0.5 + 0.3 sin(i) + 0.2 cos(2 j + i / 2), 8 wide and 6 high, here at an odd place of the frame. */
static lb_plane *waves(int32_t x0, int32_t y0)
{
    lb_plane *in = picture_new((lb_box){x0, y0, x0 + 8, y0 + 6});

    for (int32_t j = 0; j < 6; j++)
        for (int32_t i = 0; i < 8; i++)
            picture_set(in, x0 + i, y0 + j,
                        (float)(0.5 + 0.3 * sin(i) + 0.2 * cos(2 * j + i / 2.0)));
    return in;
}

Test(sample, samples_meet_their_table)
{
    table t = table_load("sampling");
    lb_plane *in = waves(-5, 31);
    int checked = 0;

    for (int row = 0; row < t.rows; row++) {
        int filter = filter_named(table_text(&t, row, "kernel"));
        lb_edge edge = edge_named(table_text(&t, row, "edge"));
        double x = table_number(&t, row, "x"), y = table_number(&t, row, "y");
        double want = table_number(&t, row, "value"),
               m[6] = {1, 0, x - 0.5 - 5, 0, 1, y - 0.5 + 31};
        float got;
        lb_plane *out;

        if (filter < 0)
            continue;
        got = lb_sample(in, x - 5, y + 31, (lb_filter)filter, edge);
        cr_expect(fabs((double)got - want) < 2e-7, "row %d: %.9g, not %.9g", row, (double)got,
                  want);
        /* The same through a transform that puts this position at pixel (0, 0), with the axes kept
         * and turned. */
        for (int turned = 0; turned < 2; turned++) {
            double turn[6] = {0, 1, m[2], 1, 0, m[5]};

            cr_assert(lb_transform_plane(NULL, in, turned ? turn : m, (lb_filter)filter, edge,
                                         (lb_box){0, 0, 1, 1}, &out) == LB_OK);
            cr_expect(fabs((double)lb_plane_at(out, 0, 0) - want) < 6e-7, "row %d: %.9g, not %.9g",
                      row, (double)lb_plane_at(out, 0, 0), want);
            lb_plane_unref(&out);
        }
        checked++;
    }
    cr_expect(checked > 50, "%d", checked);
    lb_plane_unref(&in);
    table_free(&t);
}

/* Texture coordinate u of a row of 10 texels is at texel floor(10 u); the table's wrapped u says
 * which one stands for it. */
Test(sample, edges_meet_the_wrap_table)
{
    table t = table_load("wrap");

    for (int row = 0; row < t.rows; row++) {
        lb_edge edge = edge_named(table_text(&t, row, "mode"));
        double u = table_number(&t, row, "u"), want = table_number(&t, row, "wrapped");
        double texel = want * 10 - 1e-9;
        int32_t got = lb_edge_index(edge, (int32_t)floor(u * 10 + 1e-9), 10);

        /* A mirrored coordinate runs backwards: from the upper end of a texel. */
        cr_expect(got == (int32_t)floor(texel + 2e-9) || got == (int32_t)floor(texel) ||
                      (got == 9 && want == 1),
                  "%s %g: %d, not %g", table_text(&t, row, "mode"), u, got, want * 10);
    }
    cr_expect(lb_edge_index(LB_EDGE_TRANSPARENT, -1, 5) == -1);
    cr_expect(lb_edge_index(LB_EDGE_TRANSPARENT, 5, 5) == -1);
    cr_expect(lb_edge_index(LB_EDGE_MIRROR, -1, 5) == 0 &&
              lb_edge_index(LB_EDGE_MIRROR, 5, 5) == 4);
    cr_expect(lb_edge_index(LB_EDGE_MIRROR, -6, 5) == 4 &&
              lb_edge_index(LB_EDGE_REPEAT, -1, 5) == 4);
    cr_expect(lb_edge_index(LB_EDGE_MIRROR, -1000003, 1) == 0);
    table_free(&t);
}

/* Standards' facts: bilinear reproduces a plane, Catmull-Rom a quadratic. */
Test(sample, polynomials_are_reproduced)
{
    lb_plane *linear = picture_new((lb_box){0, 0, 20, 20});
    lb_plane *square = picture_new((lb_box){0, 0, 20, 20});

    for (int32_t y = 0; y < 20; y++)
        for (int32_t x = 0; x < 20; x++) {
            picture_set(linear, x, y, (float)(x + 2 * y));
            picture_set(square, x, y, (float)(x * x - x * y));
        }
    for (double x = 5; x < 12; x += 0.37)
        for (double y = 6; y < 11; y += 0.29) {
            double i = x - 0.5, j = y - 0.5;

            cr_expect(fabs((double)lb_sample(linear, x, y, LB_FILTER_BILINEAR, LB_EDGE_CLAMP) -
                           (i + 2 * j)) < 4e-6);
            cr_expect(fabs((double)lb_sample(square, x, y, LB_FILTER_CUBIC, LB_EDGE_CLAMP) -
                           (i * i - i * j)) < 2e-5);
        }
    lb_plane_unref(&linear);
    lb_plane_unref(&square);
}

Test(sample, nowhere)
{
    lb_plane *in = waves(0, 0);

    cr_expect(lb_sample(in, NAN, 3, LB_FILTER_CUBIC, LB_EDGE_CLAMP) == 0);
    cr_expect(lb_sample(in, 3, INFINITY, LB_FILTER_BILINEAR, LB_EDGE_REPEAT) == 0);
    cr_expect(lb_sample(in, 1e30, 3, LB_FILTER_NEAREST, LB_EDGE_TRANSPARENT) == 0);
    cr_expect(lb_sample(in, 3.999, 2.001, LB_FILTER_NEAREST, LB_EDGE_TRANSPARENT) ==
              lb_plane_at(in, 3, 2));
    lb_plane_unref(&in);
}
