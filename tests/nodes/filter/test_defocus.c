/* tests/nodes/filter/test_defocus.c: the circle of confusion by the thin lens
 * (tests/data/tables/circle_of_confusion.csv), as a disc weighted by area (disc.csv); nothing in
 * focus changes, light is kept, and what is behind does not spill over what is sharp in front. */
#include <criterion/criterion.h>

#include "engine/image/convolve.h"
#include "tests/support/op_run.h"
#include "tests/support/table.h"

extern const lb_op lb_op_defocus;

enum { IMAGE, DEPTH };

static void set_lens(op_run *r, double focus, double number, double focal, double back)
{
    op_set(r, "focus", focus);
    op_set(r, "f-number", number);
    op_set(r, "focal-length", focal);
    op_set(r, "film-back", back);
}

struct spot {
    int32_t x, y;
    float depth, value;
};

/* A dot on black, everything at one depth. */
static float spot(void *context, const char *name, int32_t x, int32_t y)
{
    const struct spot *s = context;

    if (strcmp(name, "depth.Z") == 0 || strcmp(name, "Z") == 0)
        return s->depth;
    if (strcmp(name, "A") == 0)
        return 1;
    return x == s->x && y == s->y ? s->value : 0;
}

/* How far the dot's disc reaches: from its area, since the disc is even. The dot's light over the
 * level in the middle is the disc's area. */
static double measured_radius(const lb_image *image, const struct spot *s)
{
    double level = op_at(image, "R", s->x, s->y);

    return sqrt((double)s->value / level / 3.14159265358979323846);
}

/* Where everything is at one distance the picture is spread over one disc, of the table's radius.
 * The frame is 1920 wide as there. 2 % for discs that are made of pixels. */
Test(defocus, radius_by_the_thin_lens)
{
    table t = table_load("circle_of_confusion");
    lb_box frame = {0, 0, 1920, 96};
    int seen = 0;

    for (int i = 0; i < t.rows; i++) {
        double want = table_number(&t, i, "coc_px") / 2;
        struct spot s = {960, 48, (float)(table_number(&t, i, "distance_mm") / 1000), 100};
        int32_t half = want < 15 ? 20 : 2;
        lb_box box = {960 - half, 48 - half, 960 + half, 48 + half};
        op_run r = op_new(&lb_op_defocus, 2);
        lb_image *image;

        r.format.width = 1920;
        r.format.height = 96;
        op_connect(&r, IMAGE, op_image(frame, frame, "A B G R depth.Z", spot, &s));
        set_lens(&r, table_number(&t, i, "focus_mm") / 1000, table_number(&t, i, "f_number"),
                 table_number(&t, i, "focal_mm"), table_number(&t, i, "sensor_mm"));
        op_set(&r, "max-radius", 40);
        cr_assert(op_describe(&r) == LB_OK);
        image = op_part(&r, box, op_all(r.desc.channels));
        if (want == 0) {
            cr_expect(op_at(image, "R", 960, 48) == 100);
        } else if (want > 2) {
            double got = measured_radius(image, &s);

            cr_expect(fabs(got / want - 1) < 0.02, "row %d: %g pixels, not %g", i, got, want);
            seen++;
        }
        if (want < 15)
            cr_expect(fabs(op_sum(image, "R") - 100) < 0.5, "row %d: %g", i, op_sum(image, "R"));
        lb_image_unref(&image);
        op_free(&r);
    }
    cr_expect(seen >= 8, "%d", seen);
    table_free(&t);
}

/* The even defocus is the area-weighted disc. */
Test(defocus, radius_the_same_everywhere)
{
    table t = table_load("disc");
    struct spot s = {32, 24, 1, 1};

    for (int i = 0; i < t.rows; i++) {
        int32_t dx = (int32_t)table_number(&t, i, "dx"), dy = (int32_t)table_number(&t, i, "dy");
        double radius = table_number(&t, i, "radius"), want = table_number(&t, i, "weight");
        op_run r = op_new(&lb_op_defocus, 1);
        lb_image *image;

        if (dx < dy) { /* the disc is symmetric */
            op_free(&r);
            continue;
        }
        op_connect(&r, IMAGE,
                   op_image((lb_box){0, 0, 64, 48}, (lb_box){0, 0, 64, 48}, "A B G R", spot, &s));
        op_set(&r, "radius", radius);
        image = op_run_all(&r);
        /* a radius of half a pixel is a pixel's disc: all of it in the middle, weight at most 1 */
        cr_expect(fabs(op_at(image, "R", 32 + dx, 24 - dy) - fmin(want, 1)) < 1e-5,
                  "radius %g, (%d, %d): %g, not %g", radius, (int)dx, (int)dy,
                  op_at(image, "R", 32 + dx, 24 - dy), want);
        lb_image_unref(&image);
        op_free(&r);
    }
    table_free(&t);
}

Test(defocus, in_focus_is_the_identity)
{
    op_run r = op_new(&lb_op_defocus, 1);
    lb_box box = {0, 0, 64, 48};
    lb_image *image;

    op_connect(&r, IMAGE, op_noise_image(box, box, "A B G R normal.X", 61));
    op_connect(&r, DEPTH, op_constant_image(box, "Z", 2));
    set_lens(&r, 2, 2.8, 50, 36);
    image = op_run_all(&r);
    for (int32_t y = 0; y < 48; y++)
        for (int32_t x = 0; x < 64; x++) {
            cr_assert(fabs(op_at(image, "R", x, y) - op_at(r.inputs[IMAGE], "R", x, y)) < 1e-6);
            cr_assert(fabs(op_at(image, "A", x, y) - op_at(r.inputs[IMAGE], "A", x, y)) < 1e-6);
        }
    lb_image_unref(&image);
    op_free(&r);
}

/* The left half is sharp and dark in front of a bright, blurred background. */
static float halves(void *context, const char *name, int32_t x, int32_t y)
{
    bool front = x < 40;

    (void)context, (void)y;
    if (strcmp(name, "depth.Z") == 0)
        return front ? 2.0f : 50.0f;
    return strcmp(name, "A") == 0 ? 1.0f : front ? 0.1f : 5.0f;
}

Test(defocus, no_halo_on_what_is_sharp)
{
    lb_box box = {0, 0, 96, 48};
    op_run r = op_new(&lb_op_defocus, 2);
    lb_image *image;

    r.format.width = 96;
    op_connect(&r, IMAGE, op_image(box, box, "A B G R depth.Z", halves, NULL));
    set_lens(&r, 2, 1.4, 50, 10);
    op_set(&r, "max-radius", 12);
    image = op_run_all(&r);
    for (int32_t y = 0; y < 48; y++) {
        for (int32_t x = 0; x < 39; x++)
            cr_assert(fabs(op_at(image, "R", x, y) - 0.1) < 1e-3, "(%d, %d): %g", (int)x, (int)y,
                      op_at(image, "R", x, y));
        for (int32_t x = 0; x < 96; x++)
            cr_assert(fabs(op_at(image, "A", x, y) - 1) < 1e-4);
    }
    cr_expect(fabs(op_at(image, "R", 90, 24) - 5) < 1e-3);
    lb_image_unref(&image);
    op_free(&r);
}

/* A flat picture at any depths stays flat to the edges of the frame. */
Test(defocus, flat_stays_flat)
{
    lb_box box = {0, 0, 64, 48};
    op_run r = op_new(&lb_op_defocus, 2);
    lb_image *image;

    op_connect(&r, IMAGE, op_constant_image(box, "A B G R", 0.5f));
    op_connect(&r, DEPTH, op_noise_image(box, box, "Z", 62));
    set_lens(&r, 4, 1.4, 85, 24);
    op_set(&r, "max-radius", 9);
    image = op_run_all(&r);
    for (int32_t y = 0; y < 48; y++)
        for (int32_t x = 0; x < 64; x++)
            cr_assert(fabs(op_at(image, "R", x, y) - 0.5) < 1e-4, "(%d, %d): %g", (int)x, (int)y,
                      op_at(image, "R", x, y));
    lb_image_unref(&image);
    op_free(&r);
}

Test(defocus, says_what_is_missing)
{
    lb_box box = {0, 0, 16, 16};
    op_run r = op_new(&lb_op_defocus, 1);

    op_connect(&r, IMAGE, op_constant_image(box, "A B G R", 1));
    cr_expect(op_describe(&r) == LB_INVALID); /* neither focus nor radius */
    op_set(&r, "focus", 2);
    cr_expect(op_describe(&r) == LB_INVALID); /* no depth */
    op_connect(&r, DEPTH, op_constant_image(box, "u v", 1));
    cr_expect(op_describe(&r) == LB_INVALID); /* no depth in it */
    op_connect(&r, DEPTH, op_constant_image(box, "Y", 1));
    cr_expect(op_describe(&r) == LB_OK);
    op_set(&r, "focus", 0.05); /* the focal length */
    cr_expect(op_describe(&r) == LB_INVALID);
    op_set(&r, "focus", 2);
    op_set(&r, "radius", 2);
    cr_expect(op_describe(&r) == LB_INVALID); /* both */
    cr_expect(lb_diag_count(r.diag, LB_ERROR) == 5);
    op_free(&r);
}

Test(defocus, is_consistent)
{
    static const char *const edges[] = {"mirror", "transparent", "clamp"};

    for (int i = 0; i < 6; i++) {
        op_run r = op_new(&lb_op_defocus, 2);

        op_connect(
            &r, IMAGE,
            op_noise_image((lb_box){0, 0, 64, 48}, (lb_box){-9, 3, 71, 40}, "A B G R depth.Z", 63));
        if (i < 3) {
            set_lens(&r, 4, 2, 50, 24);
            op_set(&r, "max-radius", 7);
        } else {
            op_set(&r, "radius", 4.3);
        }
        op_text(&r, "edge", edges[i % 3]);
        cr_expect(op_is_consistent(&r), "%s, %s", edges[i % 3], i < 3 ? "by depth" : "even");
        op_free(&r);
    }
}

static float striped(void *context, const char *name, int32_t x, int32_t y)
{
    (void)context;
    if (strcmp(name, "depth.Z") == 0)
        return y < 150 ? 3.0f : 60.0f;
    return strcmp(name, "A") == 0 ? 1.0f : (float)((x + y) % 7);
}

/* Circles so wide that the rows are made a band at a time: the bands are parts of the whole. */
Test(defocus, bands_are_parts_of_the_whole, .timeout = 120)
{
    lb_box box = {0, 0, 20, 300}, all = {0, -100, 20, 400}, part = {0, 120, 20, 190};
    op_run r = op_new(&lb_op_defocus, 2);
    lb_image *whole, *cut;

    op_connect(&r, IMAGE, op_image(box, box, "A B G R depth.Z", striped, NULL));
    set_lens(&r, 4, 0.02, 50, 1);
    r.format.width = 1920;
    op_set(&r, "max-radius", 512);
    op_text(&r, "edge", "transparent");
    cr_assert(op_describe(&r) == LB_OK);
    whole = op_part(&r, all, op_all(r.desc.channels));
    cut = op_part(&r, part, op_all(r.desc.channels));
    for (int32_t y = part.y0; y < part.y1; y++)
        for (int32_t x = part.x0; x < part.x1; x++)
            cr_assert(op_at(whole, "R", x, y) == op_at(cut, "R", x, y), "(%d, %d)", x, y);
    cr_expect(op_at(whole, "A", 10, -90) > 0 && op_at(whole, "A", 10, 390) > 0);
    lb_image_unref(&whole);
    lb_image_unref(&cut);
    op_free(&r);
}

/* Distances from half of the focus on, so that no circle is wider than what is infinitely far has.
 */
static float receding(void *context, const char *name, int32_t x, int32_t y)
{
    (void)context;
    if (strcmp(name, "depth.Z") == 0)
        return x < 100 ? 2.0f : 4.0f + (float)y;
    return strcmp(name, "A") == 0 ? 1.0f : (float)((x + y) % 7);
}

/* What a plan expects it to take is at least what it takes, but for the rounding of blocks and the
 * planes that are its result, and not more than three times that. */
Test(defocus, memory_is_foreseen)
{
    static const char *const edges[] = {"transparent", "clamp", "mirror"};
    lb_box box = {0, 0, 640, 400};

    for (int i = 0; i < 6; i++) {
        op_run r = op_new(&lb_op_defocus, 2);
        size_t expected, before, took, planes = (size_t)640 * 400 * 4 * 4;
        lb_image *image;
        lb_call call;

        op_connect(&r, IMAGE, op_image(box, box, "A B G R depth.Z", receding, NULL));
        r.format.width = 640;
        set_lens(&r, 4, i < 3 ? 2 : 0.5, 50, 24);
        op_text(&r, "edge", edges[i % 3]);
        cr_assert(op_describe(&r) == LB_OK);
        call = op_call(&r);
        expected = lb_op_defocus.scratch(&call, &r.desc, box, op_all(r.desc.channels));
        before = lb_memory_used();
        lb_memory_reset_peak();
        image = op_part(&r, box, op_all(r.desc.channels));
        took = lb_memory_peak() - before - planes;
        cr_expect(expected + expected / 8 + planes / 8 + 300000 > took,
                  "%d: %zu expected, %zu taken", i, expected, took);
        cr_expect(expected < 3 * took, "%d: %zu expected, %zu taken", i, expected, took);
        lb_image_unref(&image);
        op_free(&r);
    }
}

Test(defocus, memory_may_run_out)
{
    lb_box box = {0, 0, 16, 16};
    op_run r = op_new(&lb_op_defocus, 1);

    op_connect(&r, IMAGE, op_constant_image(box, "A B G R depth.Z", 1));
    set_lens(&r, 4, 2, 50, 24);
    op_set(&r, "max-radius", 3);
    cr_expect(op_survives_no_memory(&r));
    op_free(&r);
}
