/* tests/engine/color/test_space.c: colour spaces against their standards' formulas and tables.
 *
 * The tables were computed in double precision from IEC 61966-2-1:1999, BT.709-6, BT.1886,
 * SMPTE RP 177:1993 and CIE 160:2004 (Bradford); each names its source. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "engine/color/space.h"
#include "tests/support/table.h"

struct function {
    const char *name;
    lb_transfer transfer;
    double (*one)(lb_transfer, double);
    void (*row)(lb_transfer, float *, int32_t);
};

static const struct function functions[] = {
    {"srgb-encode", LB_TRANSFER_SRGB, lb_transfer_encode, lb_transfer_encode_row},
    {"srgb-decode", LB_TRANSFER_SRGB, lb_transfer_decode, lb_transfer_decode_row},
    {"bt709-oetf", LB_TRANSFER_BT709, lb_transfer_encode, lb_transfer_encode_row},
    {"bt709-oetf-inverse", LB_TRANSFER_BT709, lb_transfer_decode, lb_transfer_decode_row},
    {"bt1886-eotf-1-0", LB_TRANSFER_BT1886, lb_transfer_decode, lb_transfer_decode_row},
};

/* Doubles to 1e-12 of the value; floats to 1e-6 of the value and of 1e-3, which is what a 32-bit
 * argument near the break is worth. */
Test(space, transfer_functions_meet_their_table)
{
    table t = table_load("transfer");
    int checked = 0;

    for (int row = 0; row < t.rows; row++)
        for (size_t f = 0; f < sizeof functions / sizeof functions[0]; f++) {
            double in = table_number(&t, row, "input"), want = table_number(&t, row, "output"), got;
            float rows[3] = {(float)in, (float)in, (float)in};

            if (strcmp(table_text(&t, row, "function"), functions[f].name) != 0)
                continue;
            got = functions[f].one(functions[f].transfer, in);
            cr_expect(fabs(got - want) <= 1e-12 * fmax(fabs(want), 1e-3),
                      "%s(%g): %.15g, not %.15g", functions[f].name, in, got, want);
            /* The row is given the nearest float, which at a break may lie on its other side. */
            want = functions[f].one(functions[f].transfer, (double)rows[0]);
            functions[f].row(functions[f].transfer, rows, 3);
            for (int i = 0; i < 3; i++)
                cr_expect(fabs((double)rows[i] - want) <= 1e-6 * fmax(fabs(want), 1e-3),
                          "row %s(%g): %.9g, not %.9g", functions[f].name, in, (double)rows[i],
                          want);
            checked++;
        }
    cr_expect(checked == 4 * 17 + 15, "%d values were checked", checked);
    table_free(&t);
}

/* glTF 2.0, section 3.9.2: the texel (64, 124, 231) is (0.051, 0.202, 0.799). */
Test(space, srgb_decodes_the_published_texel)
{
    static const double texel[3] = {64, 124, 231}, light[3] = {0.051, 0.202, 0.799};

    for (int c = 0; c < 3; c++)
        cr_expect(fabs(lb_transfer_decode(LB_TRANSFER_SRGB, texel[c] / 255) - light[c]) < 5e-4);
}

Test(space, decoding_undoes_encoding)
{
    for (int t = LB_TRANSFER_LINEAR; t <= LB_TRANSFER_BT1886; t++)
        for (double v = -3; v <= 12; v += 0.001) {
            double back = lb_transfer_decode((lb_transfer)t, lb_transfer_encode((lb_transfer)t, v));
            /* sRGB's and BT.709's parts do not quite meet: the constants are rounded. */
            cr_assert(fabs(back - v) <= 2e-8 + (fabs(v) < 0.02 ? 2e-4 : 0) + 1e-12 * fabs(v),
                      "transfer %d: %g comes back as %.12g", t, v, back);
        }
}

struct named {
    const char *name;
    lb_primaries primaries;
};

static lb_primaries of(lb_space space)
{
    return lb_space_primaries(space);
}

Test(space, matrices_meet_their_table)
{
    /* AP0 is no space of ours; SMPTE ST 2065-1. */
    struct named spaces[] = {
        {"rec709", of(LB_SPACE_LINEAR_REC709)},
        {"rec2020", of(LB_SPACE_LINEAR_REC2020)},
        {"display-p3", of(LB_SPACE_LINEAR_DISPLAY_P3)},
        {"acescg", of(LB_SPACE_ACESCG)},
        {"aces2065-1", {{0.7347, 0.2653}, {0, 1}, {0.0001, -0.0770}, {0.32168, 0.33767}}},
    };
    size_t count = sizeof spaces / sizeof spaces[0];
    table t = table_load("matrices");
    int checked = 0;

    for (size_t a = 0; a < count; a++)
        for (size_t b = 0; b < count; b++) {
            char name[64];
            double m[9];

            snprintf(name, sizeof name, "%s:%s", spaces[a].name, spaces[b].name);
            lb_primaries_matrix(&spaces[a].primaries, &spaces[b].primaries, m);
            for (int row = 0; row < t.rows; row++) {
                int r = (int)table_number(&t, row, "row");
                const char *const columns[3] = {"c0", "c1", "c2"};

                if (strcmp(table_text(&t, row, "matrix"), name) != 0)
                    continue;
                for (int c = 0; c < 3; c++, checked++) {
                    double want = table_number(&t, row, columns[c]);
                    cr_expect(fabs(m[3 * r + c] - want) < 1e-12, "%s [%d][%d]: %.15g, not %.15g",
                              name, r, c, m[3 * r + c], want);
                }
            }
        }
    cr_expect(checked >= 9 * 17, "%d elements were checked", checked);
    table_free(&t);
}

/* ITU-R BT.2087-0's four decimals, Rec. 709 to Rec. 2020 (digits from memory); white stays white.
 */
Test(space, matrices_keep_white_and_meet_bt2087)
{
    static const double published[9] = {0.6274, 0.3293, 0.0433, 0.0691, 0.9195,
                                        0.0114, 0.0164, 0.0880, 0.8956};
    double m[9];

    lb_space_matrix(LB_SPACE_LINEAR_REC709, LB_SPACE_LINEAR_REC2020, m);
    for (int i = 0; i < 9; i++)
        cr_expect(fabs(m[i] - published[i]) < 5e-5);
    for (int a = LB_SPACE_LINEAR_REC709; a < LB_SPACE_COUNT; a++)
        for (int b = LB_SPACE_LINEAR_REC709; b < LB_SPACE_COUNT; b++) {
            lb_space_matrix((lb_space)a, (lb_space)b, m);
            for (int r = 0; r < 3; r++)
                cr_expect(fabs(m[3 * r] + m[3 * r + 1] + m[3 * r + 2] - 1) < 1e-12);
        }
}

/* BT.709-6 item 3.2 and BT.2020-2 table 4 state the weights to four decimals. */
Test(space, luminance_weights_are_the_standards)
{
    static const double rec709[3] = {0.2126, 0.7152, 0.0722}, rec2020[3] = {0.2627, 0.6780, 0.0593};
    double w[3], z[3];

    lb_space_luminance(LB_SPACE_LINEAR_REC709, w);
    lb_space_luminance(LB_SPACE_LINEAR_REC2020, z);
    for (int c = 0; c < 3; c++) {
        cr_expect(fabs(w[c] - rec709[c]) < 5e-5);
        cr_expect(fabs(z[c] - rec2020[c]) < 5e-5);
    }
}

Test(space, rows_go_there_and_back)
{
    for (int a = LB_SPACE_LINEAR_REC709; a < LB_SPACE_COUNT; a++)
        for (int b = LB_SPACE_LINEAR_REC709; b < LB_SPACE_COUNT; b++) {
            float rgb[3][37], first[3][37];

            for (int i = 0; i < 3 * 37; i++)
                first[i / 37][i % 37] = 0.03f + 0.011f * (float)i;
            memcpy(rgb, first, sizeof rgb);
            lb_space_convert_row((lb_space)a, (lb_space)b, rgb[0], rgb[1], rgb[2], 37);
            lb_space_convert_row((lb_space)b, (lb_space)a, rgb[0], rgb[1], rgb[2], 37);
            for (int i = 0; i < 3 * 37; i++) {
                float was = first[i / 37][i % 37], is = rgb[i / 37][i % 37];
                /* 1.3: both ends of a chain of powers and matrices of 1e-7 each; a negative
                 * excursion over a break adds what the parts miss each other by. */
                cr_assert(fabsf(is - was) < 3e-5f, "%s to %s: %g comes back as %g",
                          lb_space_names[a], lb_space_names[b], (double)was, (double)is);
            }
        }
}

Test(space, raw_is_never_touched)
{
    float r[2] = {5, -1}, g[2] = {0.5f, 2}, b[2] = {0, 0.25f};

    lb_space_convert_row(LB_SPACE_RAW, LB_SPACE_SRGB, r, g, b, 2);
    lb_space_convert_row(LB_SPACE_ACESCG, LB_SPACE_RAW, r, g, b, 2);
    cr_expect(r[0] == 5 && r[1] == -1 && g[0] == 0.5f && g[1] == 2 && b[0] == 0 && b[1] == 0.25f);
}

Test(space, views_clamp)
{
    float r[4] = {0.18f, 70, -3, NAN}, g[4] = {0.18f, 1, 0, 0}, b[4] = {0.18f, 1e30f, 0, 0};

    lb_view_row(LB_VIEW_SRGB, LB_SPACE_LINEAR_REC709, r, g, b, 4);
    /* 0.18 encodes to 0.461356129500442 (standards' formula, colour-science 0.4.6). */
    cr_expect(fabsf(r[0] - 0.4613561f) < 1e-6f);
    cr_expect(r[1] == 1 && b[1] == 1 && r[2] == 0 && r[3] == 0);
    cr_expect(fabsf(g[1] - 1) < 1e-6f && g[1] <= 1);

    r[0] = 1.5f;
    g[0] = -1;
    b[0] = 0.25f;
    lb_view_row(LB_VIEW_RAW, LB_SPACE_ACESCG, r, g, b, 1);
    cr_expect(r[0] == 1 && g[0] == 0 && b[0] == 0.25f);
}

Test(space, names_are_complete)
{
    int count = 0;

    while (lb_space_names[count])
        count++;
    cr_expect(count == LB_SPACE_COUNT);
    cr_expect(strcmp(lb_space_names[LB_SPACE_DISPLAY_P3], "display-p3") == 0);
    cr_expect(strcmp(lb_view_names[LB_VIEW_RAW], "raw") == 0 && !lb_view_names[LB_VIEW_RAW + 1]);
}
