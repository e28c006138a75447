/* tests/nodes/color/test_colorspace.c: transfer functions of IEC 61966-2-1 and BT.709, and matrices
 * by SMPTE RP 177 with Bradford adaptation: tests/data/tables/transfer.csv and matrices.csv. */
#include <criterion/criterion.h>

#include "tests/support/op_run.h"
#include "tests/support/table.h"

extern const lb_op lb_op_colorspace;

static float pixel(void *context, const char *name, int32_t x, int32_t y)
{
    const float *rgba = context;

    (void)x, (void)y;
    return rgba[name[0] == 'R' ? 0 : name[0] == 'G' ? 1 : name[0] == 'B' ? 2 : 3];
}

static lb_image *convert(const char *from, const char *to, const float rgba[4])
{
    lb_box box = {0, 0, 2, 2};
    op_run r = op_new(&lb_op_colorspace, 1);
    lb_image *image;

    op_connect(&r, 0, op_image(box, box, "A B G R", pixel, (void *)rgba));
    op_text(&r, "from", from);
    op_text(&r, "to", to);
    image = op_run_all(&r);
    op_free(&r);
    return image;
}

/* Straight colour is what the curve is for: with alpha 0.5 the numbers are halved, before and
 * after. Powers and a division: 3e-6 of a value up to 5. */
Test(colorspace, curves)
{
    static const char *const rows[][3] = {{"srgb-encode", "linear-rec709", "srgb"},
                                          {"srgb-decode", "srgb", "linear-rec709"},
                                          {"bt709-oetf", "linear-rec709", "rec709"},
                                          {"bt709-oetf-inverse", "rec709", "linear-rec709"}};
    table t = table_load("transfer");
    int seen = 0;

    for (int i = 0; i < t.rows; i++)
        for (int k = 0; k < 4; k++) {
            float v = (float)table_number(&t, i, "input");
            double want = table_number(&t, i, "output"), scale = fmax(1, fabs(want));
            float opaque[4] = {v, v, v, 1}, half[4] = {v / 2, v / 2, v / 2, 0.5f};
            lb_image *a, *b;

            /* BT.709's two pieces do not quite meet at 0.018, and the float is just below it. */
            if (strcmp(table_text(&t, i, "function"), rows[k][0]) != 0 ||
                (strcmp(rows[k][0], "bt709-oetf") == 0 && v == 0.018f))
                continue;
            a = convert(rows[k][1], rows[k][2], opaque);
            b = convert(rows[k][1], rows[k][2], half);
            cr_expect(fabs(op_at(a, "G", 1, 1) - want) < 3e-6 * scale, "%s(%g): %.9g, not %.9g",
                      rows[k][0], (double)v, op_at(a, "G", 1, 1), want);
            cr_expect(fabs(op_at(b, "G", 1, 1) - want / 2) < 3e-6 * scale, "%s(%g), alpha 0.5",
                      rows[k][0], (double)v);
            lb_image_unref(&a);
            lb_image_unref(&b);
            seen++;
        }
    cr_expect(seen >= 20, "%d rows", seen);
    table_free(&t);
}

/* Columns of the published rec709 -> rec2020 matrix (ITU-R BT.2087-0, four decimals). */
Test(colorspace, primaries)
{
    static const double want[3] = {0.6274, 0.0691, 0.0164};
    float red[4] = {1, 0, 0, 1};
    lb_image *image = convert("linear-rec709", "linear-rec2020", red);

    cr_expect(fabs(op_at(image, "R", 0, 0) - want[0]) < 5e-5);
    cr_expect(fabs(op_at(image, "G", 0, 0) - want[1]) < 5e-5);
    cr_expect(fabs(op_at(image, "B", 0, 0) - want[2]) < 5e-5);
    lb_image_unref(&image);
}

Test(colorspace, raw_and_same_are_identities)
{
    static const char *const pairs[][2] = {
        {"raw", "srgb"}, {"srgb", "raw"}, {"srgb", "srgb"}, {"acescg", "acescg"}};

    for (int i = 0; i < 4; i++) {
        op_run r = op_new(&lb_op_colorspace, 1);
        lb_image *image;

        op_connect(
            &r, 0,
            op_noise_image((lb_box){0, 0, 16, 16}, (lb_box){0, 0, 16, 16}, "A B G R depth.Z", 4));
        op_text(&r, "from", pairs[i][0]);
        op_text(&r, "to", pairs[i][1]);
        image = op_run_all(&r);
        cr_expect(op_same(r.inputs[0], image), "%s to %s", pairs[i][0], pairs[i][1]);
        lb_image_unref(&image);
        op_free(&r);
    }
}

Test(colorspace, is_consistent)
{
    op_run r = op_new(&lb_op_colorspace, 2);

    op_connect(
        &r, 0,
        op_noise_image((lb_box){0, 0, 64, 48}, (lb_box){-5, 3, 60, 50}, "A B G R depth.Z", 5));
    op_text(&r, "from", "acescg");
    op_text(&r, "to", "srgb");
    cr_expect(op_is_consistent(&r));
    op_free(&r);
}
