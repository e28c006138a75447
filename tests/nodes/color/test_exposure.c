/* tests/nodes/color/test_exposure.c: a stop is a factor of 2 (common practice; ISO 12232's exposure
 * value goes by log2). */
#include <criterion/criterion.h>

#include "tests/support/op_run.h"

extern const lb_op lb_op_exposure;

Test(exposure, stops_are_powers_of_two)
{
    static const double stops[] = {0, 1, -1, 3, -2.5, 0.5, 10};
    static const double factors[] = {1, 2, 0.5, 8, 0.17677669529663687, 1.4142135623730951, 1024};
    op_run r = op_new(&lb_op_exposure, 1);

    op_connect(
        &r, 0,
        op_noise_image((lb_box){0, 0, 20, 10}, (lb_box){-2, 0, 20, 12}, "A B G R depth.Z", 3));
    for (int i = 0; i < 7; i++) {
        lb_image *image;

        op_set(&r, "stops", stops[i]);
        image = op_run_all(&r);
        for (int32_t y = 0; y < 12; y++)
            for (int32_t x = -2; x < 20; x++) {
                double in = op_at(r.inputs[0], "G", x, y), out = op_at(image, "G", x, y);

                cr_assert(fabs(out - in * factors[i]) <= fabs(in * factors[i]) * 0x1p-23);
                cr_assert(op_at(image, "A", x, y) == op_at(r.inputs[0], "A", x, y));
                cr_assert(op_at(image, "depth.Z", x, y) == op_at(r.inputs[0], "depth.Z", x, y));
            }
        lb_image_unref(&image);
    }
    cr_expect(op_is_consistent(&r));
    op_free(&r);
}
