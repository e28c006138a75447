/* tests/nodes/channel/test_unpremultiply.c: colour divided by alpha (W3C Compositing and Blending
 * Level 1, section 5), where there is any; one rounding of float arithmetic. */
#include <criterion/criterion.h>

#include "tests/support/op_run.h"

extern const lb_op lb_op_unpremultiply, lb_op_premultiply;

Test(unpremultiply, color_divided_by_alpha)
{
    static const char *const names[] = {"R", "G", "B", "A", "depth.Z"};
    op_run r = op_new(&lb_op_unpremultiply, 1);
    lb_image *image;
    int32_t empty = 0;

    op_connect(
        &r, 0,
        op_noise_image((lb_box){0, 0, 20, 10}, (lb_box){-2, 0, 20, 12}, "A B G R depth.Z", 3));
    image = op_run_all(&r);
    for (int c = 0; c < 5; c++)
        for (int32_t y = 0; y < 12; y++)
            for (int32_t x = -2; x < 20; x++) {
                double in = op_at(r.inputs[0], names[c], x, y);
                double alpha = op_at(r.inputs[0], "A", x, y);
                float right = c < 3 && alpha > 0 ? (float)in / (float)alpha : (float)in;

                empty += alpha <= 0;
                cr_assert((float)op_at(image, names[c], x, y) == right, "%s at (%d, %d)", names[c],
                          (int)x, (int)y);
            }
    cr_assert(empty > 0, "alpha 0 is among them");
    lb_image_unref(&image);
    cr_expect(op_survives_no_memory(&r));
    cr_expect(op_is_consistent(&r));
    op_free(&r);
}

/* There and back: two roundings of half a unit in the last place each. Light without coverage stays
 * on the way there, and has no coverage to be multiplied with on the way back. */
Test(unpremultiply, and_back)
{
    op_run there = op_new(&lb_op_unpremultiply, 1), back = op_new(&lb_op_premultiply, 1);
    lb_image *image;

    op_connect(&there, 0,
               op_noise_image((lb_box){0, 0, 20, 10}, (lb_box){-2, 0, 20, 12}, "A B G R", 5));
    op_connect(&back, 0, op_run_all(&there));
    image = op_run_all(&back);
    for (int32_t y = 0; y < 12; y++)
        for (int32_t x = -2; x < 20; x++) {
            double in = op_at(there.inputs[0], "G", x, y),
                   alpha = op_at(there.inputs[0], "A", x, y);

            cr_assert(fabs(op_at(image, "G", x, y) - (alpha > 0 ? in : 0)) <= fabs(in) * 0x1.8p-23);
        }
    lb_image_unref(&image);
    op_free(&there);
    op_free(&back);
}
