/* tests/nodes/filter/test_shimmer.c: what standards for heat shimmer can be tested: the mean
 * displacement is near 0, strength 0 is the identity, the same frame and seed give the same
 * picture, no light moves in flat areas, and the turbulence rises. */
#include <criterion/criterion.h>

#include "tests/support/op_run.h"

extern const lb_op lb_op_shimmer;

enum { IMAGE, MASK };

static float ramp_x(void *context, const char *name, int32_t x, int32_t y)
{
    (void)context;
    return (float)(name[0] == 'G' ? y : x);
}

/* A picture whose red is x and whose green is y shows the displacement itself. */
static op_run with_ramps(void)
{
    lb_box frame = {0, 0, 200, 160};
    op_run r = op_new(&lb_op_shimmer, 2);

    r.format.width = 200;
    r.format.height = 160;
    op_connect(&r, IMAGE, op_image(frame, (lb_box){-20, -20, 220, 180}, "G R", ramp_x, NULL));
    op_set(&r, "scale", 20);
    return r;
}

static double shift(const lb_image *image, const char *name, int32_t x, int32_t y)
{
    return op_at(image, name, x, y) - (name[0] == 'G' ? y : x);
}

Test(shimmer, displacements)
{
    static const char *const names[] = {"R", "G"};
    op_run r = with_ramps();
    lb_image *image;

    op_set(&r, "strength", 8);
    image = op_run_all(&r);
    for (int c = 0; c < 2; c++) {
        double sum = 0, squares = 0, most = 0;
        int count = 0;

        for (int32_t y = 0; y < 160; y++)
            for (int32_t x = 0; x < 200; x++, count++) {
                double d = shift(image, names[c], x, y);

                sum += d;
                squares += d * d;
                most = fmax(most, fabs(d));
            }
        /* 80 eddies of about 1.5 rms: their mean is within 3 * 1.5 / sqrt(80) = 0.5 */
        cr_expect(fabs(sum / count) < 0.5, "%s: mean %g", names[c], sum / count);
        cr_expect(most <= 8 && most > 3, "%s: at most %g", names[c], most);
        cr_expect(sqrt(squares / count) > 1 && sqrt(squares / count) < 3, "%s: rms %g", names[c],
                  sqrt(squares / count));
    }
    lb_image_unref(&image);
    op_free(&r);
}

Test(shimmer, identities)
{
    op_run r = op_new(&lb_op_shimmer, 1);
    lb_image *image;

    op_connect(
        &r, IMAGE,
        op_noise_image((lb_box){0, 0, 64, 48}, (lb_box){-9, 3, 60, 40}, "A B G R depth.Z", 51));
    op_set(&r, "strength", 0);
    image = op_run_all(&r);
    cr_expect(lb_box_equal(lb_image_data(image), (lb_box){-9, 3, 60, 40}));
    cr_expect(op_same(r.inputs[IMAGE], image));
    lb_image_unref(&image);
    /* nothing moves where the mask is 0 */
    op_set(&r, "strength", 10);
    op_connect(&r, MASK, op_constant_image((lb_box){0, 0, 64, 48}, "A", 0));
    image = op_run_all(&r);
    for (int32_t y = 3; y < 40; y++)
        for (int32_t x = -9; x < 60; x++)
            cr_assert(op_at(image, "R", x, y) == op_at(r.inputs[IMAGE], "R", x, y));
    lb_image_unref(&image);
    op_free(&r);
}

/* A flat picture that fills the frame stays flat, to its edges. */
Test(shimmer, flat_stays_flat)
{
    op_run r = op_new(&lb_op_shimmer, 1);
    lb_image *image;

    op_connect(&r, IMAGE, op_constant_image((lb_box){0, 0, 64, 48}, "A B G R", 0.75f));
    op_set(&r, "strength", 12);
    image = op_run_all(&r);
    for (int32_t y = 0; y < 48; y++)
        for (int32_t x = 0; x < 64; x++)
            cr_assert(fabs(op_at(image, "R", x, y) - 0.75) < 1e-6, "(%d, %d): %g", (int)x, (int)y,
                      op_at(image, "R", x, y));
    lb_image_unref(&image);
    op_free(&r);
}

static float step(void *context, const char *name, int32_t x, int32_t y)
{
    (void)context, (void)name, (void)y;
    return x < 32 ? 0.02f : 50.0f;
}

/* What is hot gets no dark seam. */
Test(shimmer, does_not_ring)
{
    lb_box box = {0, 0, 64, 48};
    op_run r = op_new(&lb_op_shimmer, 1);
    lb_image *image;

    op_connect(&r, IMAGE, op_image(box, box, "R", step, NULL));
    image = op_run_all(&r);
    for (int32_t y = 0; y < 48; y++)
        for (int32_t x = 0; x < 64; x++)
            cr_assert(op_at(image, "R", x, y) >= (double)0.02f && op_at(image, "R", x, y) <= 50);
    lb_image_unref(&image);
    op_free(&r);
}

Test(shimmer, is_a_function_of_frame_and_seed)
{
    op_run r = with_ramps();
    lb_image *first, *again, *seed, *later;

    r.frame = 17;
    first = op_run_all(&r);
    again = op_run_all(&r);
    op_set(&r, "seed", 2);
    seed = op_run_all(&r);
    op_set(&r, "seed", 1);
    r.frame = 18;
    later = op_run_all(&r);
    cr_expect(op_same(first, again));
    cr_expect(fabs(op_at(first, "R", 50, 50) - op_at(seed, "R", 50, 50)) > 1e-3);
    cr_expect(fabs(op_at(first, "R", 50, 50) - op_at(later, "R", 50, 50)) > 1e-4);
    lb_image_unref(&first);
    lb_image_unref(&again);
    lb_image_unref(&seed);
    lb_image_unref(&later);
    op_free(&r);
}

/* At 24 pixels a second and 24 frames a second, a frame later everything stands a pixel higher. */
Test(shimmer, rises)
{
    op_run r = with_ramps();
    lb_image *now, *later;

    op_set(&r, "speed", 0);
    op_set(&r, "rise", 24);
    r.frame = 5;
    now = op_run_all(&r);
    r.frame = 6;
    later = op_run_all(&r);
    for (int32_t y = 5; y < 150; y++)
        for (int32_t x = 5; x < 190; x++)
            cr_assert(fabs(shift(later, "R", x, y) - shift(now, "R", x, y + 1)) < 1e-4,
                      "(%d, %d): %g and %g", (int)x, (int)y, shift(later, "R", x, y),
                      shift(now, "R", x, y + 1));
    lb_image_unref(&now);
    lb_image_unref(&later);
    op_free(&r);
}

/* At half scale (lengths halved, as the engine does) the same eddies are half as large. */
Test(shimmer, scales_with_the_frame)
{
    op_run whole = with_ramps(), half = with_ramps();
    lb_image *a, *b;

    half.format.scale = 0.5;
    lb_params_scale(lb_op_shimmer.params, half.params, 0.5);
    whole.frame = half.frame = 9;
    a = op_run_all(&whole);
    b = op_run_all(&half);
    for (int32_t y = 5; y < 75; y++)
        for (int32_t x = 5; x < 95; x++) {
            /* the corner between four pixels is the middle of one of half the frame */
            double mean = (shift(a, "R", 2 * x, 2 * y) + shift(a, "R", 2 * x + 1, 2 * y) +
                           shift(a, "R", 2 * x, 2 * y + 1) + shift(a, "R", 2 * x + 1, 2 * y + 1)) /
                          4;

            cr_assert(fabs(shift(b, "R", x, y) * 2 - mean) < 0.08, "(%d, %d): %g and %g", (int)x,
                      (int)y, shift(b, "R", x, y) * 2, mean);
        }
    lb_image_unref(&a);
    lb_image_unref(&b);
    op_free(&whole);
    op_free(&half);
}

Test(shimmer, is_consistent)
{
    static const char *const edges[] = {"auto", "transparent", "clamp", "repeat", "mirror"};

    for (int i = 0; i < 10; i++) {
        op_run r = op_new(&lb_op_shimmer, 2);

        r.frame = 7.25;
        op_connect(
            &r, IMAGE,
            op_noise_image((lb_box){0, 0, 64, 48}, (lb_box){-9, 3, 71, 40}, "A R depth.Z", 52));
        if (i >= 5)
            op_connect(&r, MASK,
                       op_noise_image((lb_box){0, 0, 64, 48}, (lb_box){4, 4, 50, 60}, "Y", 53));
        op_set(&r, "strength", 5.5);
        op_set(&r, "scale", 13.7);
        op_text(&r, "edge", edges[i % 5]);
        cr_expect(op_is_consistent(&r), "%s", edges[i % 5]);
        op_free(&r);
    }
}

Test(shimmer, memory_may_run_out)
{
    op_run r = op_new(&lb_op_shimmer, 1);

    op_connect(&r, IMAGE, op_constant_image((lb_box){0, 0, 16, 16}, "A R depth.Z", 1));
    op_connect(&r, MASK, op_constant_image((lb_box){0, 0, 16, 16}, "A", 1));
    cr_expect(op_survives_no_memory(&r));
    op_free(&r);
}
