/* tests/nodes/filter/test_blur.c: the Gaussian of tests/data/tables/gaussian.csv, variances that
 * add (W3C Filter Effects 1, feGaussianBlur), and what passes through. */
#include <criterion/criterion.h>

#include "engine/image/convolve.h"
#include "tests/support/op_run.h"
#include "tests/support/table.h"

extern const lb_op lb_op_blur;

static float dot(void *context, const char *name, int32_t x, int32_t y)
{
    const int32_t *at = context;

    (void)name;
    return x == at[0] && y == at[1] ? 1.0f : 0.0f;
}

/* A single pixel becomes the kernel: k(i) k(j). The sum of the taps that are not in the table is
 * below 1e-3 of the peak. */
Test(blur, impulse_is_the_gaussian)
{
    static const double sigmas[] = {1, 2, 5};
    int32_t at[2] = {32, 24};
    table t = table_load("gaussian");

    for (int s = 0; s < 3; s++) {
        op_run r = op_new(&lb_op_blur, 1);
        double peak = 0;
        lb_image *image;

        op_connect(&r, 0, op_image((lb_box){0, 0, 64, 48}, (lb_box){0, 0, 64, 48}, "A R", dot, at));
        op_set(&r, "sigma", sigmas[s]);
        image = op_run_all(&r);
        cr_expect(fabs(op_sum(image, "R") - 1) < 1e-5);
        for (int i = 0; i < t.rows; i++)
            if (table_number(&t, i, "sigma") == sigmas[s] && table_number(&t, i, "tap") == 0)
                peak = table_number(&t, i, "sampled");
        cr_assert(peak > 0);
        for (int i = 0; i < t.rows; i++) {
            int32_t tap = (int32_t)table_number(&t, i, "tap");
            double want = table_number(&t, i, "sampled") * peak;

            if (table_number(&t, i, "sigma") != sigmas[s])
                continue;
            cr_expect(fabs(op_at(image, "R", 32 + tap, 24) - want) < 1e-4 * peak * peak,
                      "sigma %g, tap %d: %g, not %g", sigmas[s], (int)tap,
                      op_at(image, "R", 32 + tap, 24), want);
            cr_expect(fabs(op_at(image, "A", 32, 24 - tap) - want) < 1e-4 * peak * peak);
        }
        lb_image_unref(&image);
        op_free(&r);
    }
    table_free(&t);
}

Test(blur, zero_is_the_identity)
{
    op_run r = op_new(&lb_op_blur, 1);
    lb_image *image;

    op_connect(
        &r, 0,
        op_noise_image((lb_box){0, 0, 20, 10}, (lb_box){-2, 1, 17, 12}, "A B G R depth.Z", 11));
    op_set(&r, "sigma", 0);
    image = op_run_all(&r);
    cr_expect(op_same(r.inputs[0], image));
    cr_expect(lb_box_equal(r.desc.data_window, (lb_box){-2, 1, 17, 12}));
    lb_image_unref(&image);
    op_free(&r);
}

Test(blur, data_beside_light_passes)
{
    lb_box box = {0, 0, 20, 10};
    op_run r = op_new(&lb_op_blur, 1);
    lb_image *image;

    op_connect(&r, 0, op_noise_image(box, box, "A B G R depth.Z key.R normal.X", 12));
    op_set2(&r, "sigma", 3, 1);
    op_text(&r, "edge", "clamp");
    image = op_run_all(&r);
    cr_expect(lb_box_equal(r.desc.data_window, box)); /* clamped: nothing lies outside */
    for (int32_t y = 0; y < 10; y++)
        for (int32_t x = 0; x < 20; x++) {
            cr_assert(op_at(image, "depth.Z", x, y) == op_at(r.inputs[0], "depth.Z", x, y));
            cr_assert(op_at(image, "normal.X", x, y) == op_at(r.inputs[0], "normal.X", x, y));
        }
    cr_expect(op_at(image, "key.R", 9, 5) != op_at(r.inputs[0], "key.R", 9, 5));
    lb_image_unref(&image);
    /* by itself, data is what one wants blurred */
    op_connect(&r, 0, op_image(box, box, "Z", dot, (int32_t[2]){9, 5}));
    image = op_run_all(&r);
    cr_expect(op_at(image, "Z", 9, 5) < 0.5 && op_at(image, "Z", 8, 5) > 0);
    lb_image_unref(&image);
    op_free(&r);
}

/* A constant picture stays itself under every edge rule but transparent. */
Test(blur, edges)
{
    static const char *const edges[] = {"clamp", "repeat", "mirror"};
    lb_box box = {0, 0, 20, 10};

    for (int i = 0; i < 3; i++) {
        op_run r = op_new(&lb_op_blur, 1);
        lb_image *image;

        op_connect(&r, 0, op_constant_image(box, "R", 0.5f));
        op_set(&r, "sigma", 4);
        op_text(&r, "edge", edges[i]);
        image = op_run_all(&r);
        for (int32_t x = 0; x < 20; x++)
            cr_expect(fabs(op_at(image, "R", x, 0) - 0.5) < 2e-6, "%s", edges[i]);
        lb_image_unref(&image);
        op_free(&r);
    }
}

Test(blur, is_consistent)
{
    static const char *const edges[] = {"transparent", "clamp", "repeat", "mirror"};
    static const double sigmas[][2] = {{0.7, 0.7}, {3, 0}, {0, 5.5}, {6, 2}, {30, 30}};

    for (int i = 0; i < 20; i++) {
        op_run r = op_new(&lb_op_blur, 2);

        op_connect(
            &r, 0,
            op_noise_image((lb_box){0, 0, 64, 48}, (lb_box){-9, 3, 71, 40}, "A R depth.Z", 13));
        op_set2(&r, "sigma", sigmas[i / 4][0], sigmas[i / 4][1]);
        op_text(&r, "edge", edges[i % 4]);
        cr_expect(op_is_consistent(&r), "%s, sigma %g %g", edges[i % 4], sigmas[i / 4][0],
                  sigmas[i / 4][1]);
        op_free(&r);
    }
}

Test(blur, memory_may_run_out)
{
    op_run r = op_new(&lb_op_blur, 1);

    op_connect(&r, 0, op_constant_image((lb_box){0, 0, 16, 16}, "A R depth.Z", 0.5f));
    cr_expect(op_survives_no_memory(&r));
    op_free(&r);
}
