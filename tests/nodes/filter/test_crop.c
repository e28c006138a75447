/* tests/nodes/filter/test_crop.c: what remains is the box's share of each pixel. */
#include <criterion/criterion.h>

#include "tests/support/op_run.h"

extern const lb_op lb_op_crop;

static lb_image *crop(op_run *r, double x0, double y0, double x1, double y1)
{
    op_set4(r, "box", 4, x0, y0, x1, y1);
    return op_run_all(r);
}

Test(crop, whole_pixels)
{
    lb_box box = {-5, 0, 60, 40};
    op_run r = op_new(&lb_op_crop, 1);
    lb_image *image;

    op_connect(&r, 0, op_noise_image((lb_box){0, 0, 64, 48}, box, "A B G R depth.Z", 31));
    image = crop(&r, -20, 3, 17, 30);
    cr_expect(lb_box_equal(lb_image_data(image), (lb_box){-5, 3, 17, 30}));
    cr_expect(lb_box_equal(lb_image_display(image), (lb_box){0, 0, 64, 48}));
    cr_expect(op_same(r.inputs[0], image));
    lb_image_unref(&image);
    cr_expect(op_is_consistent(&r));
    op_free(&r);
}

/* Columns 3 and 9 are covered by 0.25 and 0.5, rows 4 and 7 by 0.5 and 0.75. */
Test(crop, parts_of_pixels)
{
    op_run r = op_new(&lb_op_crop, 1);
    lb_image *image;

    op_connect(&r, 0, op_constant_image((lb_box){0, 0, 64, 48}, "A B G R depth.Z", 1));
    image = crop(&r, 3.75, 4.5, 9.5, 7.75);
    cr_expect(lb_box_equal(lb_image_data(image), (lb_box){3, 4, 10, 8}));
    cr_expect(op_at(image, "A", 3, 5) == 0.25 && op_at(image, "R", 9, 5) == 0.5);
    cr_expect(op_at(image, "A", 5, 4) == 0.5 && op_at(image, "R", 5, 7) == 0.75);
    cr_expect(op_at(image, "G", 3, 4) == 0.125 && op_at(image, "B", 9, 7) == 0.375);
    cr_expect(op_at(image, "depth.Z", 3, 4) == 1);
    cr_expect(op_sum(image, "A") == 5.75 * 3.25);
    lb_image_unref(&image);
    cr_expect(op_is_consistent(&r));
    op_free(&r);
}

Test(crop, without_alpha_goes_to_whole_pixels)
{
    op_run r = op_new(&lb_op_crop, 1);
    lb_image *image;

    op_connect(&r, 0, op_constant_image((lb_box){0, 0, 64, 48}, "B G R", 1));
    image = crop(&r, 3.75, 4.5, 9.25, 7.75);
    cr_expect(lb_box_equal(lb_image_data(image), (lb_box){4, 5, 9, 8}));
    cr_expect(op_sum(image, "R") == 15);
    lb_image_unref(&image);
    op_free(&r);
}

Test(crop, nothing_remains)
{
    static const double boxes[][4] = {{5, 5, 5, 9}, {9, 5, 3, 9}, {80, 80, 90, 90}};
    op_run r = op_new(&lb_op_crop, 1);

    op_connect(&r, 0, op_constant_image((lb_box){0, 0, 64, 48}, "A R", 1));
    for (int i = 0; i < 3; i++) {
        op_set4(&r, "box", 4, boxes[i][0], boxes[i][1], boxes[i][2], boxes[i][3]);
        cr_expect(op_describe(&r) == LB_OK && lb_box_is_empty(r.desc.data_window));
    }
    op_free(&r);
}

Test(crop, memory_may_run_out)
{
    op_run r = op_new(&lb_op_crop, 1);

    op_connect(&r, 0, op_constant_image((lb_box){0, 0, 64, 48}, "A R depth.Z", 1));
    op_set4(&r, "box", 4, 0.5, 0.5, 8, 8);
    cr_expect(op_survives_no_memory(&r));
    op_free(&r);
}
