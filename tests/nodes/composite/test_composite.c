/* tests/nodes/composite/test_composite.c: W3C Compositing and Blending Level 1, sections 5, 9 and
 * 10: tests/data/tables/porter_duff.csv and blend.csv. */
#include <criterion/criterion.h>

#include "tests/support/op_run.h"
#include "tests/support/table.h"

extern const lb_op lb_op_composite;

enum { SOURCE, BACKDROP, MASK };

static float pixel(void *context, const char *name, int32_t x, int32_t y)
{
    const float *rgba = context;

    (void)x, (void)y;
    return rgba[name[0] == 'R' ? 0 : name[0] == 'G' ? 1 : name[0] == 'B' ? 2 : 3];
}

static lb_image *flat(lb_box box, const char *names, const float rgba[4])
{
    return op_image((lb_box){0, 0, 64, 48}, box, names, pixel, (void *)rgba);
}

static void read4(const table *t, int row, const char *prefix, float out[4])
{
    static const char parts[4] = "rgba";
    char name[16];

    for (int c = 0; c < 4; c++) {
        snprintf(name, sizeof name, "%s_%c", prefix, parts[c]);
        out[c] = (float)table_number(t, row, name);
    }
}

static void check_row(const table *t, int row, const char *key, const char *value, bool clamped)
{
    static const char *const names[4] = {"R", "G", "B", "A"};
    lb_box box = {0, 0, 5, 3};
    float source[4], backdrop[4], want[4];
    op_run r = op_new(&lb_op_composite, 1);
    lb_image *image;

    read4(t, row, "s", source);
    read4(t, row, "b", backdrop);
    read4(t, row, "o", want);
    op_connect(&r, SOURCE, flat(box, "A B G R", source));
    op_connect(&r, BACKDROP, flat(box, "A B G R", backdrop));
    op_text(&r, key, value);
    op_describe(&r);
    if (strcmp(value, "clear") == 0) {
        cr_expect(lb_box_is_empty(r.desc.data_window));
    } else {
        image = op_run_all(&r);
        for (int c = 0; c < 4; c++) {
            double expected = (double)want[c];

            if (clamped && c == 3) /* lighter: coverage is at most 1 */
                expected = fmin(expected, 1);
            cr_expect(fabs(op_at(image, names[c], 2, 1) - expected) < 2e-6,
                      "%s, row %d, %s: %.9g, not %.9g", value, row, names[c],
                      op_at(image, names[c], 2, 1), expected);
        }
        lb_image_unref(&image);
    }
    op_free(&r);
}

Test(composite, porter_duff)
{
    table t = table_load("porter_duff");

    for (int i = 0; i < t.rows; i++)
        check_row(&t, i, "operator", table_text(&t, i, "operator"), true);
    cr_expect(t.rows >= 13 * 3);
    table_free(&t);
}

Test(composite, blend_modes)
{
    table t = table_load("blend");

    for (int i = 0; i < t.rows; i++)
        check_row(&t, i, "blend", table_text(&t, i, "mode"), false);
    cr_expect(t.rows >= 16 * 3);
    table_free(&t);
}

/* Section 9.1: where Fa and the source, or Fb and the backdrop, can be other than 0. */
Test(composite, windows)
{
    static const lb_box s = {2, 3, 20, 18}, b = {10, 8, 40, 30};
    static const lb_box both = {2, 3, 40, 30}, shared = {10, 8, 20, 18};
    static const struct {
        const char *name;
        const lb_box *window;
    } rows[] = {{"copy", &s},           {"destination", &b},
                {"source-over", &both}, {"destination-over", &both},
                {"source-in", &shared}, {"destination-in", &shared},
                {"source-out", &s},     {"destination-out", &b},
                {"source-atop", &b},    {"destination-atop", &s},
                {"xor", &both},         {"lighter", &both}};

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        op_run r = op_new(&lb_op_composite, 2);
        lb_image *image;

        op_connect(&r, SOURCE, op_noise_image((lb_box){0, 0, 9, 9}, s, "A B G R", 6));
        op_connect(&r, BACKDROP, op_noise_image((lb_box){0, 0, 64, 48}, b, "A B G R", 7));
        op_text(&r, "operator", rows[i].name);
        image = op_run_all(&r);
        cr_assert(image);
        cr_expect(lb_box_equal(lb_image_data(image), *rows[i].window), "%s", rows[i].name);
        cr_expect(lb_box_equal(lb_image_display(image), (lb_box){0, 0, 64, 48}));
        lb_image_unref(&image);
        cr_expect(op_is_consistent(&r), "%s", rows[i].name);
        op_free(&r);
    }
}

/* With mask m and opacity o the source is scaled by m o: over black, alpha 1, half of half of 0.8
 * is 0.2. Beyond the mask's window there is no source. */
Test(composite, mask_and_opacity)
{
    lb_box box = {0, 0, 16, 16};
    float white[4] = {0.8f, 0.8f, 0.8f, 1}, black[4] = {0, 0, 0, 1}, m[4] = {0.5f, 9, 9, 0.25f};
    static const char *const masks[] = {"R", "A B G R", "Y", "R G B"};
    static const double expected[] = {0.2, 0.1, 0.1, 0.2};

    for (int i = 0; i < 4; i++) {
        op_run r = op_new(&lb_op_composite, 1);
        lb_image *image;

        op_connect(&r, SOURCE, flat(box, "A B G R", white));
        op_connect(&r, BACKDROP, flat(box, "A B G R", black));
        op_connect(&r, MASK, flat((lb_box){4, 4, 8, 8}, masks[i], m));
        op_set(&r, "opacity", 0.5);
        image = op_run_all(&r);
        cr_expect(fabs(op_at(image, "R", 5, 5) - expected[i]) < 1e-6, "%s: %g", masks[i],
                  op_at(image, "R", 5, 5));
        cr_expect(op_at(image, "R", 2, 5) == 0 && op_at(image, "A", 2, 5) == 1);
        lb_image_unref(&image);
        cr_expect(op_is_consistent(&r));
        op_free(&r);
    }
}

/* A picture without alpha is opaque where it has pixels and nothing beyond. */
Test(composite, no_alpha_is_opaque)
{
    lb_box box = {0, 0, 16, 16};
    float gray[4] = {0.5f, 0.5f, 0.5f, 0.5f}, red[4] = {1, 0, 0, 1};
    static const char *const names[] = {"R G B", "Y"};

    for (int i = 0; i < 2; i++) {
        op_run r = op_new(&lb_op_composite, 1);
        lb_image *image;

        op_connect(&r, SOURCE, flat((lb_box){2, 2, 6, 6}, names[i], gray));
        op_connect(&r, BACKDROP, flat(box, "A B G R", red));
        image = op_run_all(&r);
        cr_expect(op_at(image, "R", 3, 3) == 0.5 && op_at(image, "G", 3, 3) == 0.5);
        cr_expect(op_at(image, "R", 7, 3) == 1 && op_at(image, "G", 7, 3) == 0);
        lb_image_unref(&image);
        cr_expect(op_is_consistent(&r));
        op_free(&r);
    }
}

Test(composite, layers_of_the_backdrop_pass)
{
    lb_box s = {2, 3, 20, 18}, b = {10, 8, 40, 30};
    op_run r = op_new(&lb_op_composite, 1);
    lb_image *image;

    op_connect(&r, SOURCE, op_noise_image(s, s, "A B G R depth.Z", 8));
    op_connect(&r, BACKDROP, op_noise_image(b, b, "A B G R depth.Z normal.X", 9));
    op_text(&r, "operator", "source-in");
    image = op_run_all(&r);
    cr_expect(lb_box_equal(lb_image_data(image), b)); /* nothing of the layers is lost */
    for (int32_t y = 8; y < 30; y++)
        for (int32_t x = 10; x < 40; x++) {
            cr_assert(op_at(image, "depth.Z", x, y) == op_at(r.inputs[BACKDROP], "depth.Z", x, y));
            cr_assert(op_at(image, "normal.X", x, y) ==
                      op_at(r.inputs[BACKDROP], "normal.X", x, y));
        }
    lb_image_unref(&image);
    cr_expect(op_is_consistent(&r));
    op_free(&r);
}

Test(composite, mask_of_many_channels_is_refused)
{
    lb_box box = {0, 0, 8, 8};
    op_run r = op_new(&lb_op_composite, 1);

    op_connect(&r, SOURCE, op_constant_image(box, "A B G R", 1));
    op_connect(&r, BACKDROP, op_constant_image(box, "A B G R", 1));
    op_connect(&r, MASK, op_constant_image(box, "normal.X normal.Y", 1));
    cr_expect(op_describe(&r) == LB_INVALID);
    cr_expect(lb_diag_count(r.diag, LB_ERROR) == 1);
    op_free(&r);
}

Test(composite, memory_may_run_out)
{
    lb_box box = {0, 0, 8, 8};
    op_run r = op_new(&lb_op_composite, 1);

    op_connect(&r, SOURCE, op_constant_image(box, "A B G R", 1));
    op_connect(&r, BACKDROP, op_constant_image(box, "A B G R depth.Z", 1));
    op_connect(&r, MASK, op_constant_image(box, "A", 0.5f));
    cr_expect(op_survives_no_memory(&r));
    op_free(&r);
}
