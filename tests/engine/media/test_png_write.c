/* tests/engine/media/test_png_write.c: PNG of ours, read by libspng; chunks against Portable
 * Network Graphics (PNG) Specification (Third Edition), W3C. */
#include <criterion/criterion.h>
#include <math.h>
#include <spng.h>

#include "engine/base/random.h"
#include "engine/media/media.h"
#include "tests/engine/media/media_support.h"

static const char *const names[] = {"R", "G", "B", "A"};

static unsigned char *encode(const lb_image *image, const lb_write_options *options, size_t *count)
{
    void *bytes;

    cr_assert_eq(lb_media_encode(NULL, NULL, LB_NOWHERE, "a.png", image, options, &bytes, count),
                 LB_OK);
    return bytes;
}

/* All samples of a PNG as it has them, in the machine's byte order; free. */
static void *samples_of(const unsigned char *bytes, size_t count, struct spng_ihdr *header)
{
    spng_ctx *context = spng_ctx_new(0);
    size_t size;
    void *out;

    cr_assert_eq(spng_set_crc_action(context, SPNG_CRC_ERROR, SPNG_CRC_ERROR), 0);
    cr_assert_eq(spng_set_png_buffer(context, bytes, count), 0);
    cr_assert_eq(spng_get_ihdr(context, header), 0);
    cr_assert_eq(spng_decoded_image_size(context, SPNG_FMT_PNG, &size), 0);
    out = malloc(size);
    cr_assert_eq(spng_decode_image(context, out, size, SPNG_FMT_PNG, 0), 0);
    cr_assert_eq(spng_decode_chunks(context), 0);
    spng_ctx_free(context);
    return out;
}

static uint32_t u32_at(const unsigned char *at)
{
    return (uint32_t)at[0] << 24 | (uint32_t)at[1] << 16 | (uint32_t)at[2] << 8 | at[3];
}

/* The data of the first chunk of a type; NULL: none. */
static const unsigned char *chunk_of(const unsigned char *bytes, size_t count, const char *type,
                                     uint32_t *length)
{
    for (size_t at = 8; at + 12 <= count; at += 12 + u32_at(bytes + at)) {
        *length = u32_at(bytes + at);
        if (memcmp(bytes + at + 4, type, 4) == 0)
            return bytes + at + 8;
    }
    return NULL;
}

static void expect_chunk(const unsigned char *bytes, size_t count, const char *type,
                         const void *data, uint32_t wanted)
{
    uint32_t length;
    const unsigned char *found = chunk_of(bytes, count, type, &length);

    cr_expect_eq(found != NULL, data != NULL, "%s", type);
    if (found && data)
        cr_expect(length == wanted && memcmp(found, data, wanted) == 0, "%s", type);
}

static float in_unit(int32_t x, int32_t y, int channel)
{
    return channel == 3 ? 1 : lb_random_float((uint32_t)x, (uint32_t)y, (uint32_t)channel, 1);
}

static float with_alpha(int32_t x, int32_t y, int channel)
{
    float alpha = (float)((x + 50) % 5) / 4.0f;

    return channel == 3 ? alpha : alpha * lb_random_float((uint32_t)x, (uint32_t)y, 0, 2);
}

/* What must stand in the file: colour over alpha, the view's curve (BT.709 and sRGB: their
 * formulas, tests/data/tables/transfer.csv tests them), rounded to nearest. */
static double wanted_signal(lb_view view, double light)
{
    double value = light > 0 ? light : 0;

    if (view == LB_VIEW_REC709)
        value = value < 0.018 ? 4.5 * value : 1.099 * pow(value, 0.45) - 0.099;
    else if (view != LB_VIEW_RAW)
        value = value <= 0.0031308 ? 12.92 * value : 1.055 * pow(value, 1 / 2.4) - 0.055;
    return value < 1 ? value : 1;
}

/* Every view and depth, with and without alpha, over the frame of an image that is elsewhere: as
 * libspng reads it. A wrong rounding would be off by more than half a step; the curve's own error
 * is below 0.01 steps of 16 bits. */
Test(png_write, samples)
{
    static const lb_box frame = {-2, 3, 39, 40}, data = {-10, 0, 30, 60};

    for (int view = LB_VIEW_SRGB; view <= LB_VIEW_RAW; view++)
        for (int depth = LB_DEPTH_8; depth <= LB_DEPTH_16; depth++)
            for (int planes = 3; planes <= 4; planes++) {
                lb_write_options options = {.depth = (lb_depth)depth,
                                            .view = (lb_view)view,
                                            .working = view == LB_VIEW_DISPLAY_P3
                                                           ? LB_SPACE_LINEAR_DISPLAY_P3
                                                           : LB_SPACE_LINEAR_REC709};
                lb_image *image =
                    make_image(frame, data, names, planes, planes == 4 ? with_alpha : in_unit);
                double largest = depth == LB_DEPTH_8 ? 255 : 65535, worst = 0;
                struct spng_ihdr header;
                size_t count;
                unsigned char *bytes = encode(image, &options, &count);
                void *samples = samples_of(bytes, count, &header);

                cr_expect(header.width == 41 && header.height == 37);
                cr_expect_eq(header.bit_depth, depth == LB_DEPTH_8 ? 8 : 16);
                cr_expect_eq(header.color_type, planes == 4 ? SPNG_COLOR_TYPE_TRUECOLOR_ALPHA
                                                            : SPNG_COLOR_TYPE_TRUECOLOR);
                for (int32_t y = 0; y < 37; y++)
                    for (int32_t x = 0; x < 41; x++)
                        for (int c = 0; c < planes; c++) {
                            size_t at = (size_t)((y * 41 + x) * planes + c);
                            double got = depth == LB_DEPTH_8 ? ((uint8_t *)samples)[at]
                                                             : ((uint16_t *)samples)[at];
                            int32_t fx = frame.x0 + x, fy = frame.y0 + y;
                            double a = planes == 4 ? (double)pixel_of(image, "A", fx, fy) : 1;
                            double light = (double)pixel_of(image, names[c], fx, fy);
                            double wanted = c == 3   ? a
                                            : a <= 0 ? 0
                                                     : wanted_signal((lb_view)view, light / a);
                            double off = fabs(got - wanted * largest);

                            worst = off > worst ? off : worst;
                        }
                cr_expect_leq(worst, 0.51, "view %d depth %d planes %d: %g", view, depth, planes,
                              worst);
                free(samples);
                lb_free(bytes);
                lb_image_unref(&image);
            }
}

/* 11.3.2: the codes of H.273 in cICP, the sRGB chunk with its recommended gAMA and cHRM. */
Test(png_write, colour_chunks)
{
    /* Rec. 709's white, red, green, blue as 11.3.2.5 prints them. */
    static const uint32_t srgb_points[] = {31270, 32900, 64000, 33000, 30000, 60000, 15000, 6000};
    static const uint32_t p3_points[] = {31270, 32900, 68000, 32000, 26500, 69000, 15000, 6000};
    static const unsigned char gamma[4] = {0, 0, 45455 >> 8, 45455 & 255};
    static const struct {
        lb_view view;
        bool is_srgb, has_gamma;
        const char *cicp;
        const uint32_t *points;
    } rows[] = {
        {LB_VIEW_SRGB, true, true, NULL, srgb_points},
        {LB_VIEW_REC709, false, false, "\1\1\0\1", NULL},
        {LB_VIEW_DISPLAY_P3, false, true, "\14\15\0\1", p3_points},
        {LB_VIEW_RAW, false, false, NULL, NULL},
    };
    lb_box box = {0, 0, 4, 4};
    lb_image *image = make_image(box, box, names, 3, in_unit);

    for (size_t i = 0; i < 4; i++) {
        lb_write_options options = {
            .depth = LB_DEPTH_8, .view = rows[i].view, .working = LB_SPACE_LINEAR_REC709};
        unsigned char points[32];
        size_t count;
        uint32_t length;
        unsigned char *bytes = encode(image, &options, &count);
        const unsigned char *intent = chunk_of(bytes, count, "sRGB", &length);

        for (int k = 0; k < 8 && rows[i].points; k++)
            for (int b = 0; b < 4; b++)
                points[4 * k + b] = (unsigned char)(rows[i].points[k] >> (24 - 8 * b));
        cr_expect_eq(intent != NULL, rows[i].is_srgb);
        if (intent)
            cr_expect(length == 1 && *intent == 1);
        expect_chunk(bytes, count, "cICP", rows[i].cicp, 4);
        expect_chunk(bytes, count, "gAMA", rows[i].has_gamma ? gamma : NULL, 4);
        expect_chunk(bytes, count, "cHRM", rows[i].points ? points : NULL, 32);
        /* 5.6: all of them before the first IDAT. */
        for (int k = 0; k < 4; k++) {
            static const char types[4][5] = {"cICP", "sRGB", "gAMA", "cHRM"};
            const unsigned char *chunk = chunk_of(bytes, count, types[k], &length);

            if (chunk)
                cr_expect_lt(chunk, chunk_of(bytes, count, "IDAT", &length));
        }
        lb_free(bytes);
    }
    lb_image_unref(&image);
}

Test(png_write, aspect_and_key)
{
    lb_box box = {0, 0, 4, 4};
    lb_image *image = make_image(box, box, names, 3, in_unit), *back;
    lb_write_options options = {.depth = LB_DEPTH_8, .graph_key = "00ff"};
    size_t count;
    unsigned char *bytes;

    lb_image_set_pixel_aspect(image, 1.5);
    bytes = encode(image, &options, &count);
    expect_chunk(bytes, count, "tEXt",
                 "lampblack.graph\0"
                 "00ff",
                 20);
    cr_assert_eq(lb_media_decode(NULL, NULL, LB_NOWHERE, "a.png", bytes, count, false, &back),
                 LB_OK);
    cr_expect_float_eq(lb_image_pixel_aspect(back), 1.5, 1e-6);
    lb_free(bytes);
    options.graph_key = NULL;
    lb_image_set_pixel_aspect(image, 1);
    bytes = encode(image, &options, &count);
    expect_chunk(bytes, count, "tEXt", NULL, 0);
    expect_chunk(bytes, count, "pHYs", NULL, 0);
    lb_free(bytes);
    lb_image_unref(&back);
    lb_image_unref(&image);
}

/* Which colour type: alpha only where it says something; grey where there is no colour. */
Test(png_write, colour_types)
{
    static const struct {
        char names[4][4];
        int count;
        support_pixel pixel;
        lb_box data;
        int type; /* -1: refused */
    } rows[] = {
        {{"R", "G", "B", "A"}, 4, in_unit, {0, 0, 9, 9}, 2},
        {{"R", "G", "B", "A"}, 4, in_unit, {0, 0, 9, 8}, 6}, /* a row of the frame is not there */
        {{"R", "G", "B", "A"}, 4, with_alpha, {0, 0, 9, 9}, 6},
        {{"Y"}, 1, in_unit, {0, 0, 9, 9}, 0},
        {{"m.x"}, 1, in_unit, {0, 0, 9, 9}, 0},
        {{"R", "z.Z"}, 2, in_unit, {0, 0, 9, 9}, 2},
        {{"N.x", "N.y"}, 2, in_unit, {0, 0, 9, 9}, -1},
    };

    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        lb_write_options options = {.depth = LB_DEPTH_8, .view = LB_VIEW_SRGB, .working = 1};
        const char *pointers[4];
        lb_image *image;
        lb_diag *diag = lb_diag_new();
        void *bytes;
        size_t count;
        lb_status status;

        for (int c = 0; c < rows[i].count; c++)
            pointers[c] = rows[i].names[c];
        image =
            make_image((lb_box){0, 0, 9, 9}, rows[i].data, pointers, rows[i].count, rows[i].pixel);
        status = lb_media_encode(NULL, diag, LB_NOWHERE, "t.png", image, &options, &bytes, &count);
        cr_expect_eq(status, rows[i].type < 0 ? LB_INVALID : LB_OK, "row %zu", i);
        if (status == LB_OK)
            cr_expect_eq(((unsigned char *)bytes)[25], rows[i].type, "row %zu", i);
        else
            cr_expect(says(diag, "has no colour"));
        lb_free(bytes);
        lb_diag_free(&diag);
        lb_image_unref(&image);
    }
}

static float strange(int32_t x, int32_t y, int channel)
{
    static const float values[] = {NAN, INFINITY, -INFINITY, -1, 2, 0.5f};

    (void)y;
    return channel == 3 ? 1 : values[x];
}

Test(png_write, numbers_that_are_no_colour)
{
    static const uint8_t wanted[] = {0, 255, 0, 0, 255, 128};
    lb_box box = {0, 0, 6, 1};
    lb_image *image = make_image(box, box, names, 4, strange);
    lb_write_options options = {.depth = LB_DEPTH_8, .view = LB_VIEW_RAW, .working = 1};
    struct spng_ihdr header;
    size_t count;
    unsigned char *bytes = encode(image, &options, &count);
    uint8_t *samples = samples_of(bytes, count, &header);

    for (int x = 0; x < 6; x++)
        cr_expect_eq(samples[3 * x + 1], wanted[x], "%d: %d", x, samples[3 * x + 1]);
    free(samples);
    lb_free(bytes);
    lb_image_unref(&image);
}

/* Several bands, so that each joins the one before it; one pixel; one row. */
Test(png_write, sizes)
{
    static const int32_t sizes[][2] = {{1, 1}, {3000, 1}, {1, 3000}, {701, 500}, {2, 70000}};

    for (size_t i = 0; i < 5; i++) {
        lb_box box = {0, 0, sizes[i][0], sizes[i][1]};
        lb_image *image;
        lb_write_options options = {.depth = LB_DEPTH_16, .view = LB_VIEW_RAW, .working = 1};
        struct spng_ihdr header;
        size_t count;
        void *bytes;
        uint16_t *samples;

        if (sizes[i][1] > LB_MEDIA_MAX_SIDE) {
            cr_assert_eq(lb_image_new(box, box, &image), LB_OK);
            cr_expect_eq(
                lb_media_encode(NULL, NULL, LB_NOWHERE, "a.png", image, &options, &bytes, &count),
                LB_LIMIT);
            lb_image_unref(&image);
            continue;
        }
        image = make_image(box, box, names, 3, in_unit);
        bytes = encode(image, &options, &count);
        samples = samples_of(bytes, count, &header);
        for (int32_t y = 0; y < box.y1; y++)
            for (int32_t x = 0; x < box.x1; x++)
                cr_assert_eq(samples[((size_t)y * (size_t)box.x1 + (size_t)x) * 3],
                             lrint((double)in_unit(x, y, 0) * 65535));
        free(samples);
        lb_free(bytes);
        lb_image_unref(&image);
    }
}

/* Noise that repeats every 64 pixels, cut by flat stripes: its bands are searched for strings. */
static float tiled(int32_t x, int32_t y, int channel)
{
    return y / 32 % 4 == 3
               ? 0.25f
               : lb_random_float((uint32_t)x % 64, (uint32_t)y % 8, (uint32_t)channel, 9);
}

/* Bands that are searched join those that are not; and the search pays. */
Test(png_write, strings)
{
    lb_box box = {0, 0, 701, 500};

    for (int depth = LB_DEPTH_8; depth <= LB_DEPTH_16; depth++) {
        lb_write_options options = {.depth = (lb_depth)depth, .view = LB_VIEW_RAW, .working = 1};
        lb_image *image = make_image(box, box, names, 3, tiled);
        struct spng_ihdr header;
        size_t count, raw = (size_t)701 * 500 * 3 * (depth == LB_DEPTH_16 ? 2 : 1);
        unsigned char *bytes = encode(image, &options, &count);
        void *samples = samples_of(bytes, count, &header);

        cr_expect_lt(count, raw / 10, "depth %d: %zu bytes", depth, count);
        for (int32_t y = 0; y < box.y1; y++)
            for (int32_t x = 0; x < box.x1; x++) {
                size_t at = ((size_t)y * (size_t)box.x1 + (size_t)x) * 3;
                double largest = depth == LB_DEPTH_16 ? 65535 : 255;

                cr_assert_float_eq(depth == LB_DEPTH_16 ? ((uint16_t *)samples)[at]
                                                        : ((uint8_t *)samples)[at],
                                   (double)tiled(x, y, 0) * largest, 0.51);
            }
        free(samples);
        lb_free(bytes);
        lb_image_unref(&image);
    }
}

/* Ours, read by ours: 16 bits come back as the nearest of 65536 steps. */
Test(png_write, comes_back)
{
    lb_box box = {0, 0, 64, 64};
    lb_image *image = make_image(box, box, names, 4, with_alpha), *back;
    lb_write_options options = {.depth = LB_DEPTH_16, .view = LB_VIEW_SRGB, .working = 1};
    lb_media_wish wish = {LB_SPACE_SRGB, LB_SPACE_LINEAR_REC709};
    size_t count;
    unsigned char *bytes = encode(image, &options, &count);

    cr_assert_eq(lb_media_read_memory(NULL, NULL, LB_NOWHERE, "a.png", bytes, count, &wish, &back),
                 LB_OK);
    for (int c = 0; c < 4; c++)
        for (int32_t y = 0; y < 64; y++)
            for (int32_t x = 0; x < 64; x++)
                /* Half a step of the signal, at the curve's steepest (2.28 at white). */
                cr_assert_float_eq(pixel_of(back, names[c], x, y), pixel_of(image, names[c], x, y),
                                   2.4 * 0.5 / 65535);
    lb_image_unref(&back);
    lb_image_unref(&image);
    lb_free(bytes);
}
