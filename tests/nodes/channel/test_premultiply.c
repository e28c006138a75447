/* tests/nodes/channel/test_premultiply.c: colour times alpha (W3C Compositing and Blending Level 1,
 * section 5: "premultiplied alpha"; one rounding of float arithmetic). */
#include <criterion/criterion.h>

#include "tests/support/op_run.h"

extern const lb_op lb_op_premultiply;

static void compare(const lb_image *in, const lb_image *out, bool has_alpha)
{
    static const char *const names[] = {"R", "G", "B", "A", "depth.Z"};

    for (int c = 0; c < 5; c++)
        for (int32_t y = 0; y < 12 && (c != 3 || has_alpha); y++)
            for (int32_t x = -2; x < 20; x++) {
                double alpha = c < 3 && has_alpha ? op_at(in, "A", x, y) : 1;
                float right = (float)(op_at(in, names[c], x, y) * alpha); /* exact in double */

                cr_assert((float)op_at(out, names[c], x, y) == right, "%s at (%d, %d)", names[c],
                          (int)x, (int)y);
            }
}

Test(premultiply, color_times_alpha)
{
    static const char *const lists[] = {"A B G R depth.Z", "B G R depth.Z"};

    for (int i = 0; i < 2; i++) {
        op_run r = op_new(&lb_op_premultiply, 1);
        lb_image *image;

        op_connect(&r, 0,
                   op_noise_image((lb_box){0, 0, 20, 10}, (lb_box){-2, 0, 20, 12}, lists[i], 3));
        image = op_run_all(&r);
        compare(r.inputs[0], image, i == 0);
        lb_image_unref(&image);
        cr_expect(op_survives_no_memory(&r));
        cr_expect(op_is_consistent(&r));
        op_free(&r);
    }
}
