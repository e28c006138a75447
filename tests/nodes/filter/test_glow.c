/* tests/nodes/filter/test_glow.c: image + gain blur(max(image - threshold, 0)), common practice.
 * The light added is gain times the light above the threshold while none of it leaves the picture;
 * gain 0 or a threshold above the picture's maximum changes nothing. */
#include <criterion/criterion.h>

#include "tests/support/op_run.h"

extern const lb_op lb_op_glow;

enum { IMAGE, MASK };

static lb_image *noise(void)
{
    return op_noise_image((lb_box){0, 0, 64, 48}, (lb_box){-4, 2, 60, 47}, "A B G R depth.Z", 21);
}

static double above(const lb_image *image, const char *name, double threshold)
{
    lb_box box = lb_image_box(image);
    double sum = 0;

    for (int32_t y = box.y0; y < box.y1; y++)
        for (int32_t x = box.x0; x < box.x1; x++)
            sum += fmax(op_at(image, name, x, y) - threshold, 0);
    return sum;
}

/* The data window grows as far as the kernels reach, so nothing is lost: the sums agree to what
 * the kernel's cut tails and floats leave, 1e-4. */
Test(glow, energy)
{
    static const char *const falloffs[] = {"natural", "gaussian"};
    static const char *const names[] = {"R", "G", "B"};
    static const double tint[] = {1, 0.5, 2};

    for (int i = 0; i < 2; i++) {
        op_run r = op_new(&lb_op_glow, 2);
        lb_image *image;

        op_connect(&r, IMAGE, noise());
        op_text(&r, "falloff", falloffs[i]);
        op_set(&r, "threshold", 0.4);
        op_set(&r, "radius", 12);
        op_set(&r, "gain", 1.5);
        op_set3(&r, "tint", tint[0], tint[1], tint[2]);
        image = op_run_all(&r);
        for (int c = 0; c < 3; c++) {
            double added = op_sum(image, names[c]) - op_sum(r.inputs[IMAGE], names[c]);
            double want = 1.5 * tint[c] * above(r.inputs[IMAGE], names[c], 0.4);

            cr_expect(fabs(added - want) < 1e-4 * want, "%s, %s: %g, not %g", falloffs[i], names[c],
                      added, want);
        }
        /* it covers nothing */
        for (int32_t y = 2; y < 47; y++)
            for (int32_t x = -4; x < 60; x++) {
                cr_assert(op_at(image, "A", x, y) == op_at(r.inputs[IMAGE], "A", x, y));
                cr_assert(op_at(image, "R", x, y) >= op_at(r.inputs[IMAGE], "R", x, y));
                cr_assert(op_at(image, "depth.Z", x, y) == op_at(r.inputs[IMAGE], "depth.Z", x, y));
            }
        lb_image_unref(&image);
        op_free(&r);
    }
}

Test(glow, identities)
{
    static const char *const keys[] = {"gain", "threshold", "tint"};
    static const double values[] = {0, 1000, 0};

    for (int i = 0; i < 3; i++) {
        op_run r = op_new(&lb_op_glow, 1);
        lb_image *image;

        op_connect(&r, IMAGE, noise());
        op_set(&r, "threshold", 0.2);
        if (i == 2)
            op_set3(&r, keys[i], 0, 0, 0);
        else
            op_set(&r, keys[i], values[i]);
        image = op_run_all(&r);
        for (int32_t y = 2; y < 47; y++)
            for (int32_t x = -4; x < 60; x++)
                cr_assert(op_at(image, "G", x, y) == op_at(r.inputs[IMAGE], "G", x, y), "%s",
                          keys[i]);
        lb_image_unref(&image);
        op_free(&r);
    }
}

/* A mask of 0.25 spills a quarter; beyond the mask's window nothing is spilled. */
Test(glow, mask)
{
    float quarter = 0.25f;
    op_run r = op_new(&lb_op_glow, 1);
    double want = 0;
    lb_image *image;

    op_connect(&r, IMAGE, noise());
    op_connect(&r, MASK,
               op_image((lb_box){0, 0, 64, 48}, (lb_box){10, 10, 30, 20}, "Y", op_constant_pixel,
                        &quarter));
    op_set(&r, "threshold", 0.4);
    op_set(&r, "radius", 8);
    image = op_run_all(&r);
    for (int32_t y = 10; y < 20; y++)
        for (int32_t x = 10; x < 30; x++)
            want += 0.25 * fmax(op_at(r.inputs[IMAGE], "R", x, y) - 0.4, 0);
    cr_expect(fabs(op_sum(image, "R") - op_sum(r.inputs[IMAGE], "R") - want) < 1e-4 * want);
    lb_image_unref(&image);
    cr_expect(op_is_consistent(&r));
    op_free(&r);
}

static float spot(void *context, const char *name, int32_t x, int32_t y)
{
    (void)context, (void)name;
    return x == 128 && y == 128 ? 1000.0f : 0.0f;
}

/* Going outwards the light never grows and stays round. */
Test(glow, falls_off)
{
    lb_box box = {0, 0, 257, 257};
    op_run r = op_new(&lb_op_glow, 2);
    lb_image *image;
    double last = INFINITY;

    op_connect(&r, IMAGE, op_image(box, box, "R", spot, NULL));
    op_set(&r, "radius", 48);
    image = op_run_all(&r);
    for (int32_t i = 1; i < 80; i++) {
        double here = op_at(image, "R", 128 + i, 128);

        cr_assert(here <= last, "%d: %g after %g", (int)i, here, last);
        cr_assert(fabs(here - op_at(image, "R", 128, 128 - i)) <= 0.01 * here);
        last = here;
    }
    for (int32_t i = 20; i < 60; i += 5) { /* (3, 4, 5): as far along the axis as across */
        double straight = op_at(image, "R", 128 + i, 128);
        double across = op_at(image, "R", 128 + i * 3 / 5, 128 + i * 4 / 5);

        cr_expect(fabs(straight - across) < 0.01 * straight, "%d: %g and %g", (int)i, straight,
                  across);
    }
    lb_image_unref(&image);
    op_free(&r);
}

Test(glow, is_consistent)
{
    for (int radius = 0; radius < 90; radius = radius * 4 + 5) {
        op_run r = op_new(&lb_op_glow, 2);

        op_connect(&r, IMAGE, noise());
        op_set(&r, "threshold", 0.3);
        op_set(&r, "radius", radius);
        cr_expect(op_is_consistent(&r), "radius %d", radius);
        op_free(&r);
    }
}

Test(glow, memory_may_run_out)
{
    op_run r = op_new(&lb_op_glow, 1);

    op_connect(&r, IMAGE, op_constant_image((lb_box){0, 0, 16, 16}, "A R depth.Z", 2));
    op_connect(&r, MASK, op_constant_image((lb_box){0, 0, 16, 16}, "A", 0.5f));
    op_set(&r, "radius", 4);
    cr_expect(op_survives_no_memory(&r));
    op_free(&r);
}
