/* tests/nodes/source/test_gradient.c: CSS Images 3 and 4 (stop positions, defaults, premultiplied
 * interpolation) and SVG 2 (spreadMethod, degenerate gradients). Positions are chosen so that the
 * mean over a pixel is the value at its centre; where it is not, the mean is worked out beside the
 * check. */
#include <criterion/criterion.h>

#include "tests/support/op_run.h"

extern const lb_op lb_op_gradient;

static void stop(op_run *r, double at, double red, double green, double blue, double alpha)
{
    const lb_param *fields = lb_params_find(lb_op_gradient.params, "stops")->fields;
    void *record = op_record(r, "stops");
    lb_datum color = {.kind = LB_DATUM_NUMBERS, .count = 4, .numbers = {red, green, blue, alpha}};
    lb_datum place = {.kind = LB_DATUM_NUMBERS, .count = 1, .numbers = {at}};

    op_store_datum(r, fields, record, "color", &color);
    if (!isnan(at))
        op_store_datum(r, fields, record, "at", &place);
}

static void near(const lb_image *image, int32_t x, int32_t y, double red, double green, double blue,
                 double alpha)
{
    const double want[4] = {red, green, blue, alpha};
    static const char *const names[4] = {"R", "G", "B", "A"};

    for (int c = 0; c < 4; c++)
        cr_expect(fabs(op_at(image, names[c], x, y) - want[c]) < 1e-6, "%s (%d, %d): %g, not %g",
                  names[c], (int)x, (int)y, op_at(image, names[c], x, y), want[c]);
}

Test(gradient, linear_between_two_points)
{
    op_run r = op_new(&lb_op_gradient, 1);
    lb_image *image;

    op_set2(&r, "from", 8, 10);
    op_set2(&r, "to", 40, 10);
    stop(&r, 0, 1, 0, 0, 1);
    stop(&r, 1, 0, 0, 4, 1);
    image = op_run_all(&r);
    for (int32_t x = 9; x < 39; x++) {
        double t = (x + 0.5 - 8) / 32;

        near(image, x, 3, 1 - t, 0, 4 * t, 1);
        near(image, x, 47, 1 - t, 0, 4 * t, 1);
    }
    near(image, 2, 20, 1, 0, 0, 1);
    near(image, 60, 20, 0, 0, 4, 1);
    lb_image_unref(&image);
    op_free(&r);
}

Test(gradient, goes_down_by_itself)
{
    op_run r = op_new(&lb_op_gradient, 1);
    lb_image *image;

    stop(&r, NAN, 0, 0, 0, 1);
    stop(&r, NAN, 1, 1, 1, 1);
    image = op_run_all(&r);
    for (int32_t y = 1; y < 47; y++)
        near(image, 7, y, (y + 0.5) / 48, (y + 0.5) / 48, (y + 0.5) / 48, 1);
    lb_image_unref(&image);
    op_free(&r);
}

/* CSS Color 4, section 15.3: colours mix premultiplied, so red that fades to transparent green
 * stays red all the way: halfway (0.5, 0, 0) with alpha 0.5. */
Test(gradient, mixes_premultiplied)
{
    op_run r = op_new(&lb_op_gradient, 1);
    lb_image *image;

    op_set2(&r, "from", 0.5, 0);
    op_set2(&r, "to", 32.5, 0);
    stop(&r, 0, 1, 0, 0, 1);
    stop(&r, 1, 0, 1, 0, 0);
    image = op_run_all(&r);
    near(image, 16, 0, 0.5, 0, 0, 0.5);
    near(image, 8, 0, 0.75, 0, 0, 0.75);
    lb_image_unref(&image);
    op_free(&r);
}

/* CSS Images 3, section 3.4.3: the ends are 0 and 1, what lies before its predecessor is moved
 * there, and the others are spread evenly. */
Test(gradient, places_stops_as_css_does)
{
    op_run r = op_new(&lb_op_gradient, 1);
    lb_image *image;

    op_set2(&r, "from", 0, 0);
    op_set2(&r, "to", 64, 0);
    stop(&r, NAN, 0, 0, 0, 1); /* 0 */
    stop(&r, NAN, 1, 0, 0, 1); /* 0.25 */
    stop(&r, 0.5, 0, 1, 0, 1);
    stop(&r, 0.25, 0, 0, 1, 1); /* moved to 0.5 */
    stop(&r, NAN, 1, 1, 1, 1);  /* 1 */
    image = op_run_all(&r);
    near(image, 8, 0, 8.5 / 16, 0, 0, 1);
    near(image, 24, 0, 1 - 8.5 / 16, 8.5 / 16, 0, 1);
    near(image, 31, 0, 0.5 / 16, 1 - 0.5 / 16, 0, 1);
    near(image, 32, 0, 0.5 / 32, 0.5 / 32, 1, 1);
    near(image, 48, 0, 16.5 / 32, 16.5 / 32, 1, 1);
    lb_image_unref(&image);
    op_free(&r);
}

/* A step at 20.25: a quarter of pixel 20 is red, the rest blue. */
Test(gradient, hard_edges_are_smooth)
{
    op_run r = op_new(&lb_op_gradient, 1);
    lb_image *image;

    op_set2(&r, "from", 0, 0);
    op_set2(&r, "to", 81, 0);
    stop(&r, 0.25, 1, 0, 0, 1);
    stop(&r, 0.25, 0, 0, 1, 1);
    image = op_run_all(&r);
    near(image, 19, 0, 1, 0, 0, 1);
    near(image, 20, 0, 0.25, 0, 0.75, 1);
    near(image, 21, 0, 0, 0, 1, 1);
    lb_image_unref(&image);
    op_free(&r);
}

Test(gradient, radial_and_conic)
{
    op_run r = op_new(&lb_op_gradient, 1);
    lb_image *image;

    op_text(&r, "type", "radial");
    op_set2(&r, "from", 30.5, 20.5);
    op_set2(&r, "to", 30.5, 40.5);
    stop(&r, 0, 0, 0, 0, 1);
    stop(&r, 1, 1, 1, 1, 1);
    image = op_run_all(&r);
    near(image, 33, 24, 0.25, 0.25, 0.25, 1); /* 3, 4, 5 */
    near(image, 22, 26, 0.5, 0.5, 0.5, 1);    /* 6, 8, 10 */
    near(image, 60, 20, 1, 1, 1, 1);
    lb_image_unref(&image);
    /* From straight up clockwise: right is a quarter, down a half, left three. */
    op_text(&r, "type", "conic");
    op_set2(&r, "to", 30.5, 0);
    image = op_run_all(&r);
    near(image, 60, 20, 0.25, 0.25, 0.25, 1);
    near(image, 30, 40, 0.5, 0.5, 0.5, 1);
    near(image, 10, 20, 0.75, 0.75, 0.75, 1);
    near(image, 40, 10, 0.125, 0.125, 0.125, 1);
    lb_image_unref(&image);
    op_free(&r);
}

/* SVG 2, section 14.2.2.2, spreadMethod. */
Test(gradient, repeats_and_turns_over)
{
    op_run r = op_new(&lb_op_gradient, 1);
    lb_image *image;

    op_set2(&r, "from", 16, 0);
    op_set2(&r, "to", 32, 0);
    op_text(&r, "spread", "repeat");
    stop(&r, 0, 0, 0, 0, 1);
    stop(&r, 1, 1, 1, 1, 1);
    image = op_run_all(&r);
    for (int32_t x = 0; x < 64; x++)
        if (x % 16 != 0 && x % 16 != 15)
            near(image, x, 0, (x % 16 + 0.5) / 16, (x % 16 + 0.5) / 16, (x % 16 + 0.5) / 16, 1);
    lb_image_unref(&image);
    op_text(&r, "spread", "reflect");
    image = op_run_all(&r);
    for (int32_t x = 0; x < 64; x++) {
        double t = (x % 16 + 0.5) / 16;

        t = x / 16 % 2 ? t : 1 - t; /* 16 .. 31 goes up */
        near(image, x, 0, t, t, t, 1);
    }
    lb_image_unref(&image);
    op_free(&r);
}

Test(gradient, degenerate_is_the_last_colour)
{
    op_run r = op_new(&lb_op_gradient, 1);
    static const char *const types[] = {"linear", "radial", "conic"};
    static const char *const spreads[] = {"pad", "repeat", "reflect"};

    op_set2(&r, "from", 10, 10);
    op_set2(&r, "to", 10, 10);
    stop(&r, 0, 1, 0, 0, 1);
    stop(&r, 1, 0, 1, 0, 1);
    for (int i = 0; i < 9; i++) {
        lb_image *image;

        op_text(&r, "type", types[i / 3]);
        op_text(&r, "spread", spreads[i % 3]);
        image = op_run_all(&r);
        near(image, 50, 30, 0, 1, 0, 1);
        lb_image_unref(&image);
    }
    op_free(&r);
}

Test(gradient, needs_a_stop)
{
    op_run r = op_new(&lb_op_gradient, 1);

    cr_expect(op_describe(&r) == LB_INVALID);
    op_free(&r);
}

Test(gradient, is_consistent)
{
    static const char *const types[] = {"linear", "radial", "conic"};
    static const char *const spreads[] = {"pad", "repeat", "reflect"};

    for (int i = 0; i < 9; i++) {
        op_run r = op_new(&lb_op_gradient, 2);

        op_text(&r, "type", types[i / 3]);
        op_text(&r, "spread", spreads[i % 3]);
        op_set2(&r, "from", 11.3, 17.9);
        op_set2(&r, "to", 23.1, 29.4);
        stop(&r, 0.1, 1, 0, 0, 1);
        stop(&r, 0.6, 0, 1, 0, 0.5);
        stop(&r, 0.6, 3, 0, 1, 1);
        stop(&r, 0.9, 0.2, 0.3, 0.4, 1);
        cr_expect(op_is_consistent(&r), "%s %s", types[i / 3], spreads[i % 3]);
        op_free(&r);
    }
}

Test(gradient, memory_may_run_out)
{
    op_run r = op_new(&lb_op_gradient, 1);

    stop(&r, 0, 1, 0, 0, 1);
    stop(&r, 1, 1, 0, 0, 1);
    cr_expect(op_survives_no_memory(&r));
    op_free(&r);
}
