/* tests/nodes/color/test_cdl.c: ASC CDL 1.2 as restated in Academy S-2014-006; the figures are in
 * tests/data/tables/cdl.csv. */
#include <criterion/criterion.h>

#include "tests/support/op_run.h"
#include "tests/support/table.h"

extern const lb_op lb_op_cdl;

static float pixel(void *context, const char *name, int32_t x, int32_t y)
{
    const float *rgba = context;

    (void)x, (void)y;
    return rgba[name[0] == 'R' ? 0 : name[0] == 'G' ? 1 : name[0] == 'B' ? 2 : 3];
}

static op_run with(const float rgba[4], const char *names)
{
    lb_box box = {0, 0, 3, 2};
    op_run r = op_new(&lb_op_cdl, 1);

    op_connect(&r, 0, op_image(box, box, names, pixel, (void *)rgba));
    return r;
}

static void set_row(op_run *r, const table *t, int i)
{
    op_set3(r, "slope", table_number(t, i, "slope_r"), table_number(t, i, "slope_g"),
            table_number(t, i, "slope_b"));
    op_set3(r, "offset", table_number(t, i, "offset_r"), table_number(t, i, "offset_g"),
            table_number(t, i, "offset_b"));
    op_set3(r, "power", table_number(t, i, "power_r"), table_number(t, i, "power_g"),
            table_number(t, i, "power_b"));
    op_set(r, "saturation", table_number(t, i, "saturation"));
    op_bool(r, "clamp", table_number(t, i, "clamp") != 0);
}

/* Opaque, without alpha, and with alpha 0.25, where straight colour is what the table has. A few
 * steps of float arithmetic on values up to 3: 2e-6. */
Test(cdl, table)
{
    static const char *const in[3] = {"in_r", "in_g", "in_b"};
    static const char *const want[3] = {"out_r", "out_g", "out_b"};
    static const char *const names[3] = {"R", "G", "B"};
    static const float alphas[3] = {1, 1, 0.25f};
    table t = table_load("cdl");

    for (int i = 0; i < t.rows; i++)
        for (int kind = 0; kind < 3; kind++) {
            float rgba[4] = {0, 0, 0, alphas[kind]};
            lb_image *image;
            op_run r;

            for (int c = 0; c < 3; c++)
                rgba[c] = (float)table_number(&t, i, in[c]) * alphas[kind];
            r = with(rgba, kind == 1 ? "R G B" : "A R G B");
            set_row(&r, &t, i);
            image = op_run_all(&r);
            for (int c = 0; c < 3; c++) {
                double expected = table_number(&t, i, want[c]) * (double)alphas[kind];

                cr_expect(fabs(op_at(image, names[c], 1, 1) - expected) < 2e-6,
                          "row %d, %s, alpha %g: %.9g, not %.9g", i, names[c], (double)alphas[kind],
                          op_at(image, names[c], 1, 1), expected);
            }
            lb_image_unref(&image);
            op_free(&r);
        }
    table_free(&t);
}

Test(cdl, neutral_is_the_identity)
{
    lb_box box = {-3, 2, 40, 30};
    op_run r = op_new(&lb_op_cdl, 2);
    lb_image *image;

    op_connect(&r, 0, op_noise_image((lb_box){0, 0, 32, 32}, box, "A B G R depth.Z", 1));
    image = op_run_all(&r);
    cr_expect(op_same(r.inputs[0], image));
    lb_image_unref(&image);
    op_free(&r);
}

/* A glow's light, alpha 0: twice the slope is twice the light; offset and power are not for it. */
Test(cdl, light_without_coverage)
{
    float rgba[4] = {0.5f, 0.25f, 0, 0};
    op_run r = with(rgba, "A R G B");
    lb_image *image;

    op_set(&r, "slope", 2);
    op_set(&r, "offset", 0.5);
    op_set(&r, "power", 3);
    image = op_run_all(&r);
    cr_expect(op_at(image, "R", 0, 0) == 1 && op_at(image, "G", 0, 0) == 0.5);
    cr_expect(op_at(image, "B", 0, 0) == 0 && op_at(image, "A", 0, 0) == 0);
    lb_image_unref(&image);
    op_free(&r);
}

Test(cdl, is_consistent)
{
    op_run r = op_new(&lb_op_cdl, 2);

    op_connect(
        &r, 0,
        op_noise_image((lb_box){0, 0, 64, 48}, (lb_box){-5, 3, 60, 50}, "A B G R depth.Z", 2));
    op_set3(&r, "slope", 1.1, 0.9, 1.3);
    op_set3(&r, "offset", 0.01, -0.02, 0.1);
    op_set3(&r, "power", 0.8, 1.2, 1.5);
    op_set(&r, "saturation", 1.3);
    cr_expect(op_is_consistent(&r));
    op_free(&r);
}

Test(cdl, memory_may_run_out)
{
    op_run r = op_new(&lb_op_cdl, 1);

    op_connect(&r, 0, op_constant_image((lb_box){0, 0, 8, 8}, "A B G R", 0.5f));
    op_set(&r, "slope", 2);
    cr_expect(op_survives_no_memory(&r));
    op_free(&r);
}
