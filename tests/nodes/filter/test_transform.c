/* tests/nodes/filter/test_transform.c: samples of tests/data/tables/sampling.csv, exact quarter
 * turns and mirrors, areas under scaling, windows. Angles are CSS's: clockwise where y goes down
 * (CSS Transforms 1, section 14.1). */
#include <criterion/criterion.h>

#include "engine/image/sample.h"
#include "tests/support/op_run.h"
#include "tests/support/table.h"

extern const lb_op lb_op_transform;

static op_run with_noise(lb_box display, lb_box data, const char *names)
{
    op_run r = op_new(&lb_op_transform, 1);

    op_connect(&r, 0, op_noise_image(display, data, names, 41));
    return r;
}

Test(transform, identity)
{
    lb_box data = {-3, 2, 30, 20};
    op_run r = with_noise((lb_box){0, 0, 32, 24}, data, "A B G R depth.Z");
    lb_image *image = op_run_all(&r);

    cr_expect(lb_box_equal(lb_image_data(image), data));
    cr_expect(op_same(r.inputs[0], image));
    lb_image_unref(&image);
    op_free(&r);
}

Test(transform, whole_pixels)
{
    op_run r = with_noise((lb_box){0, 0, 32, 24}, (lb_box){-3, 2, 30, 20}, "A B G R depth.Z");
    lb_image *image;

    op_set2(&r, "translate", 7, -11);
    image = op_run_all(&r);
    cr_expect(lb_box_equal(lb_image_data(image), (lb_box){4, -9, 37, 9}));
    for (int32_t y = -9; y < 9; y++)
        for (int32_t x = 4; x < 37; x++)
            cr_assert(op_at(image, "R", x, y) == op_at(r.inputs[0], "R", x - 7, y + 11));
    lb_image_unref(&image);
    cr_expect(op_is_consistent(&r));
    op_free(&r);
}

/* Around (16, 12), a point (x, y) goes to (16 - (y - 12), 12 + (x - 16)): clockwise on the screen.
 * Pixel centres land on pixel centres, so the values are the input's. */
Test(transform, quarter_turns)
{
    op_run r = with_noise((lb_box){0, 0, 32, 24}, (lb_box){3, 2, 30, 20}, "A B G R depth.Z");

    for (int turn = -4; turn <= 8; turn++) {
        lb_image *image;

        op_set(&r, "rotate", turn * 90.0);
        image = op_run_all(&r);
        for (int32_t y = 2; y < 20; y++)
            for (int32_t x = 3; x < 30; x++) {
                int32_t u = x - 16, v = y - 12; /* of the pixel's left top corner */

                for (int k = 0; k < (turn + 8) % 4; k++) {
                    int32_t old = u;

                    u = -v - 1;
                    v = old;
                }
                cr_assert(op_at(image, "G", 16 + u, 12 + v) == op_at(r.inputs[0], "G", x, y),
                          "%d turns, (%d, %d)", turn, (int)x, (int)y);
                cr_assert(op_at(image, "depth.Z", 16 + u, 12 + v) ==
                          op_at(r.inputs[0], "depth.Z", x, y));
            }
        lb_image_unref(&image);
    }
    op_free(&r);
}

Test(transform, mirror)
{
    op_run r = with_noise((lb_box){0, 0, 32, 24}, (lb_box){3, 2, 30, 20}, "A R");
    lb_image *image;

    op_set2(&r, "scale", -1, 1);
    image = op_run_all(&r);
    for (int32_t y = 2; y < 20; y++)
        for (int32_t x = 3; x < 30; x++)
            cr_assert(op_at(image, "R", 31 - x, y) == op_at(r.inputs[0], "R", x, y));
    lb_image_unref(&image);
    op_free(&r);
}

static float waves(void *context, const char *name, int32_t i, int32_t j)
{
    (void)context, (void)name;
    return (float)(0.5 + 0.3 * sin(i) + 0.2 * cos(2.0 * j + i / 2.0));
}

/* The table's samples at (x, y) come to the centre of pixel (3, 2) when the picture is moved by
 * (3.5 - x, 2.5 - y). Float sums of up to 36 products: 1e-6. */
Test(transform, samples)
{
    static const char *const kernels[][2] = {{"triangle", "bilinear"},
                                             {"catmull-rom", "cubic"},
                                             {"mitchell", "mitchell"},
                                             {"lanczos3", "lanczos3"}};
    lb_box box = {0, 0, 8, 6};
    table t = table_load("sampling");
    int seen = 0;

    for (int i = 0; i < t.rows; i++)
        for (int k = 0; k < 4; k++) {
            double x = table_number(&t, i, "x"), y = table_number(&t, i, "y");
            op_run r;
            lb_image *image;

            if (strcmp(table_text(&t, i, "kernel"), kernels[k][0]) != 0 ||
                strcmp(table_text(&t, i, "edge"), "zero") != 0)
                continue;
            r = op_new(&lb_op_transform, 1);
            op_connect(&r, 0, op_image(box, box, "Y", waves, NULL));
            op_text(&r, "filter", kernels[k][1]);
            op_set2(&r, "translate", 3.5 - x, 2.5 - y);
            op_bool(&r, "overshoot", true);
            image = op_run_all(&r);
            cr_expect(fabs(op_at(image, "Y", 3, 2) - table_number(&t, i, "value")) < 1e-6,
                      "%s (%g, %g): %.9g, not %.9g", kernels[k][0], x, y, op_at(image, "Y", 3, 2),
                      table_number(&t, i, "value"));
            lb_image_unref(&image);
            op_free(&r);
            seen++;
        }
    cr_expect(seen >= 12, "%d", seen);
    table_free(&t);
}

/* However a picture is turned and scaled, its light grows with its area: 1 %, since kernels sample.
 */
Test(transform, keeps_light)
{
    static const double scales[][2] = {{0.25, 0.25}, {0.5, 1}, {3, 2}, {1, 1}};
    static const char *const filters[] = {"bilinear", "cubic", "lanczos3", "mitchell"};

    for (int i = 0; i < 16; i++) {
        op_run r = op_new(&lb_op_transform, 2);
        double area = scales[i / 4][0] * scales[i / 4][1];
        lb_image *image;

        op_connect(&r, 0, op_noise_image((lb_box){0, 0, 60, 60}, (lb_box){0, 0, 60, 60}, "A", 42));
        op_set2(&r, "scale", scales[i / 4][0], scales[i / 4][1]);
        op_set(&r, "rotate", 31);
        op_text(&r, "filter", filters[i % 4]);
        image = op_run_all(&r);
        cr_expect(fabs(op_sum(image, "A") / (op_sum(r.inputs[0], "A") * area) - 1) < 0.01,
                  "%s, scale %g %g: %g", filters[i % 4], scales[i / 4][0], scales[i / 4][1],
                  op_sum(image, "A") / (op_sum(r.inputs[0], "A") * area));
        lb_image_unref(&image);
        op_free(&r);
    }
}

static float step(void *context, const char *name, int32_t x, int32_t y)
{
    (void)context, (void)y;
    return name[0] == 'A' ? 1.0f : x < 20 ? 0.02f : 50.0f;
}

/* A hot edge: moved by part of a pixel or made smaller it stays between its two sides, where the
 * kernels' formulas go far below 0. */
Test(transform, does_not_ring)
{
    static const char *const filters[] = {"cubic", "lanczos3", "mitchell"};
    lb_box box = {0, 0, 40, 40};

    for (int i = 0; i < 12; i++) {
        op_run r = op_new(&lb_op_transform, 1);
        double least = INFINITY, most = -INFINITY;
        lb_image *image;

        op_connect(&r, 0, op_image(box, box, "A R", step, NULL));
        op_text(&r, "filter", filters[i % 3]);
        op_set2(&r, "translate", 0.3, 0.1);
        op_set(&r, "scale", i / 3 % 2 ? 0.4 : 1);
        op_bool(&r, "overshoot", i >= 6);
        image = op_run_all(&r);
        for (int32_t y = 15; y < 25; y++)
            for (int32_t x = 15; x < 25; x++) {
                least = fmin(least, op_at(image, "R", x, y));
                most = fmax(most, op_at(image, "R", x, y));
            }
        if (i >= 6)
            cr_expect(least < -0.5 || most > 50.5, "%d: %g .. %g", i, least, most);
        else
            cr_expect(least >= (double)0.02f && most <= 50, "%d: %g .. %g", i, least, most);
        lb_image_unref(&image);
        op_free(&r);
    }
}

/* What a turned picture without alpha uncovers is transparent, and what it covers is not. */
Test(transform, makes_alpha)
{
    op_run r = op_new(&lb_op_transform, 1);
    lb_image *image;

    op_connect(&r, 0, op_constant_image((lb_box){0, 0, 40, 40}, "B G R", 0.5f));
    op_set(&r, "rotate", 45);
    image = op_run_all(&r);
    cr_expect(lb_image_find(image, "A") != NULL);
    cr_expect(fabs(op_at(image, "A", 20, 20) - 1) < 1e-6 && op_at(image, "A", 1, 1) == 0);
    cr_expect(fabs(op_at(image, "R", 20, 20) - 0.5) < 1e-6);
    lb_image_unref(&image);
    cr_expect(op_is_consistent(&r));
    op_free(&r);
}

Test(transform, flat_is_nothing)
{
    op_run r = with_noise((lb_box){0, 0, 32, 24}, (lb_box){0, 0, 32, 24}, "A R");

    op_set2(&r, "scale", 1, 0);
    cr_expect(op_describe(&r) == LB_OK && lb_box_is_empty(r.desc.data_window));
    op_free(&r);
}

Test(transform, is_consistent)
{
    static const char *const filters[] = {"nearest", "bilinear", "cubic", "lanczos3", "mitchell"};
    static const double cases[][5] = {{0.3, 0.7, 0, 1, 1},
                                      {12.5, -3.2, 0, 0.4, 0.3},
                                      {0, 0, 30, 1, 1},
                                      {-5, 8.25, 77.7, 2.5, -0.6},
                                      {100.1, 0, 180, 1.3, 1.3}};

    for (int i = 0; i < 25; i++) {
        const double *c = cases[i / 5];
        op_run r = with_noise((lb_box){0, 0, 64, 48}, (lb_box){-9, 3, 71, 40}, "A R depth.Z");

        op_set2(&r, "translate", c[0], c[1]);
        op_set(&r, "rotate", c[2]);
        op_set2(&r, "scale", c[3], c[4]);
        op_text(&r, "filter", filters[i % 5]);
        op_bool(&r, "overshoot", i % 2);
        cr_expect(op_is_consistent(&r), "%s, case %d", filters[i % 5], i / 5);
        op_free(&r);
    }
}

Test(transform, memory_may_run_out)
{
    op_run r = op_new(&lb_op_transform, 1);

    op_connect(&r, 0, op_constant_image((lb_box){0, 0, 16, 16}, "B G R depth.Z", 1));
    op_set(&r, "rotate", 10);
    cr_expect(op_survives_no_memory(&r));
    op_free(&r);
}
