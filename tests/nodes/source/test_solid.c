/* tests/nodes/source/test_solid.c: colours are premultiplied. */
#include <criterion/criterion.h>

#include "tests/support/op_run.h"

extern const lb_op lb_op_solid;

Test(solid, fills_the_frame_premultiplied)
{
    op_run r = op_new(&lb_op_solid, 1);
    lb_image *image;

    op_set4(&r, "color", 4, 0.5, 2, -0.25, 0.5);
    image = op_run_all(&r);
    cr_assert(image && lb_box_equal(lb_image_box(image), (lb_box){0, 0, 64, 48}));
    for (int32_t y = 0; y < 48; y++)
        for (int32_t x = 0; x < 64; x++) {
            cr_assert(op_at(image, "R", x, y) == 0.25 && op_at(image, "G", x, y) == 1);
            cr_assert(op_at(image, "B", x, y) == -0.125 && op_at(image, "A", x, y) == 0.5);
        }
    lb_image_unref(&image);
    cr_expect(op_is_consistent(&r));
    op_free(&r);
}

Test(solid, css_hex_is_converted)
{
    op_run r = op_new(&lb_op_solid, 1);
    lb_image *image;

    /* glTF 2.0, section 3.9.2: the texel (64, 124, 231) is (0.051, 0.202, 0.799) in linear light.
     */
    op_text(&r, "color", "#407ce7");
    image = op_run_all(&r);
    cr_expect(fabs(op_at(image, "R", 5, 5) - 0.051) < 5e-4);
    cr_expect(fabs(op_at(image, "G", 5, 5) - 0.202) < 5e-4);
    cr_expect(fabs(op_at(image, "B", 5, 5) - 0.799) < 5e-4);
    lb_image_unref(&image);
    op_free(&r);
}

Test(solid, memory_may_run_out)
{
    op_run r = op_new(&lb_op_solid, 1);

    cr_expect(op_survives_no_memory(&r));
    op_free(&r);
}
