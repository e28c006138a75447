/* tests/engine/media/test_exr_write.c: OpenEXR files of ours, read by the library's C core with its
 * own decompressors, and by its tool exrheader where that is installed. */
#include <criterion/criterion.h>
#include <math.h>
#include <unistd.h>

#include "engine/media/media.h"
#include "tests/engine/media/exr_support.h"

static const char *const names[] = {"A", "B", "G", "R", "depth.Z"};

/* Grain on a ramp, beyond what a half holds exactly. */
static float grain(int32_t x, int32_t y, int channel)
{
    uint32_t n = (uint32_t)(x * 7919 + y * 104729 + channel * 15485863) * 2654435761u;

    return (float)(n >> 8) / 16777216.0f * 3.0f + (float)x * 0.01f - 0.5f;
}

static float flat(int32_t x, int32_t y, int channel)
{
    (void)x;
    (void)y;
    return channel ? 0.25f : 1.0f;
}

/* Rounds to 11 significant bits by double arithmetic, which shares nothing with ours. */
static float nearest_half(float value)
{
    int exponent;
    double fraction = frexp((double)value, &exponent);
    int places = exponent < -13 ? 24 + exponent : 11; /* subnormals have fewer */

    return (float)ldexp(nearbyint(ldexp(fraction, places)), exponent - places);
}

static const lb_write_options usual = {.depth = LB_DEPTH_HALF,
                                       .compression = LB_COMPRESSION_ZIP,
                                       .working = LB_SPACE_LINEAR_REC709,
                                       .rate = {30, 1}};

static exr_bytes encode(const lb_image *image, const lb_write_options *options)
{
    exr_bytes out = {0};
    void *bytes;
    lb_diag *diag = lb_diag_new();

    if (lb_media_encode(NULL, diag, LB_NOWHERE, "a.exr", image, options, &bytes, &out.count) !=
        LB_OK) {
        lb_diag_print(diag, stderr, false);
        support_die("does not encode", "a.exr");
    }
    cr_expect_eq(lb_diag_count(diag, LB_WARNING), 0);
    lb_diag_free(&diag);
    out.bytes = malloc(out.count);
    memcpy(out.bytes, bytes, out.count);
    lb_free(bytes);
    return out;
}

/* What a compression may change: PXR24 cuts floats to 24 bits, 15 of the mantissa. */
static double tolerance(const lb_write_options *options, float value)
{
    if (options->compression == LB_COMPRESSION_PXR24 && options->depth == LB_DEPTH_FLOAT)
        return ldexp(fabs((double)value), -15);
    return 0;
}

static void expect_channel(exr_context_t context, const lb_image *image, int32_t index,
                           const lb_write_options *options)
{
    lb_box box = lb_image_box(image);
    const char *name = lb_image_name(image, index);
    float *got = exr_channel_floats(context, name, box), *at = got;

    for (int32_t y = box.y0; y < box.y1; y++)
        for (int32_t x = box.x0; x < box.x1; x++, at++) {
            float value = lb_plane_at(lb_image_plane(image, index), x, y);
            float wanted = options->depth == LB_DEPTH_HALF ? nearest_half(value) : value;

            cr_assert(fabs((double)*at - (double)wanted) <= tolerance(options, wanted),
                      "%s, %s, %s at %d, %d: %.9g not %.9g", lb_depth_names[options->depth],
                      lb_compression_names[options->compression], name, x, y, (double)*at,
                      (double)wanted);
        }
    free(got);
}

static void expect_window(exr_context_t context, lb_box data, lb_box display)
{
    exr_attr_box2i_t window;

    exr_check(exr_get_data_window(context, 0, &window), "data window");
    cr_expect(window.min.x == data.x0 && window.min.y == data.y0 && window.max.x == data.x1 - 1 &&
              window.max.y == data.y1 - 1);
    exr_check(exr_get_display_window(context, 0, &window), "display window");
    cr_expect(window.min.x == display.x0 && window.min.y == display.y0 &&
              window.max.x == display.x1 - 1 && window.max.y == display.y1 - 1);
}

/* Every depth and lossless compression, sizes that do not fill a chunk, windows anywhere; noise,
 * which does not shrink, and flat colour, which shrinks to nothing. */
Test(exr_write, every_depth_and_compression)
{
    static const struct {
        lb_box display, data;
    } rows[] = {{{0, 0, 61, 47}, {0, 0, 61, 47}},
                {{0, 0, 20, 20}, {-13, -5, 40, 31}},
                {{0, 0, 20, 20}, {7, 9, 8, 10}}};

    for (size_t row = 0; row < sizeof rows / sizeof *rows; row++)
        for (int depth = LB_DEPTH_HALF; depth <= LB_DEPTH_FLOAT; depth++)
            for (int c = LB_COMPRESSION_NONE; c <= LB_COMPRESSION_PXR24; c++)
                for (int is_flat = 0; is_flat < 2; is_flat++) {
                    lb_write_options options = usual;
                    lb_image *image = make_image(rows[row].display, rows[row].data, names, 5,
                                                 is_flat ? flat : grain);
                    exr_compression_t stored;
                    exr_context_t context;
                    exr_bytes file;

                    options.depth = (lb_depth)depth;
                    options.compression = (lb_compression)c;
                    file = encode(image, &options);
                    context = open_exr(&file);
                    expect_window(context, rows[row].data, rows[row].display);
                    exr_check(exr_get_compression(context, 0, &stored), "compression");
                    cr_expect_eq((int)stored, c);
                    for (int32_t i = 0; i < 5; i++)
                        expect_channel(context, image, i, &options);
                    exr_finish(&context);
                    free(file.bytes);
                    lb_image_unref(&image);
                }
}

static double grain_of(const char *channel, int32_t x, int32_t y)
{
    return (double)grain(x, y, channel[0] == 'A' ? 0 : channel[0] == 'B' ? 1 : 2);
}

static double flat_of(const char *channel, int32_t x, int32_t y)
{
    return (double)flat(x, y, channel[0] != 'A');
}

/* B44 is lossy for halves and leaves floats alone: what comes out is what comes out of a file that
 * the library made of the same pixels with its own packing. */
Test(exr_write, b44)
{
    for (int c = LB_COMPRESSION_B44; c <= LB_COMPRESSION_B44A; c++)
        for (int depth = LB_DEPTH_HALF; depth <= LB_DEPTH_FLOAT; depth++)
            for (int is_flat = 0; is_flat < 2; is_flat++) {
                exr_pixel_type_t type = depth == LB_DEPTH_HALF ? EXR_PIXEL_HALF : EXR_PIXEL_FLOAT;
                lb_box box = {0, 0, 30, 41};
                made_part part = {.data = box,
                                  .compression = (exr_compression_t)c,
                                  .channels = {{"A", type, 1}, {"B", type, 1}, {"G", type, 1}},
                                  .value = is_flat ? flat_of : grain_of};
                exr_bytes made = make_exr(box, &part, 1, NULL), file;
                lb_image *image = make_image(box, box, names, 3, is_flat ? flat : grain);
                lb_write_options options = usual;
                exr_context_t ours, theirs;

                options.depth = (lb_depth)depth;
                options.compression = (lb_compression)c;
                file = encode(image, &options);
                ours = open_exr(&file);
                theirs = open_exr(&made);
                for (int i = 0; i < 3; i++) {
                    float *a = exr_channel_floats(ours, names[i], box);
                    float *b = exr_channel_floats(theirs, names[i], box);

                    cr_expect_eq(memcmp(a, b, 30 * 41 * 4), 0, "%s %s %s", lb_compression_names[c],
                                 lb_depth_names[depth], names[i]);
                    if (is_flat || depth == LB_DEPTH_FLOAT)
                        cr_expect_eq(a[40], lb_plane_at(lb_image_plane(image, i), 10, 1));
                    free(a);
                    free(b);
                }
                exr_finish(&ours);
                exr_finish(&theirs);
                free(file.bytes);
                free(made.bytes);
                lb_image_unref(&image);
            }
}

/* Attributes as "OpenEXR Standard Attributes" has them. Time code 01:00:00:00 drop frame is frame
 * 107892 by tests/data/tables/timecode.csv (SMPTE ST 12-1); BCD hours in the top byte, the drop
 * frame flag is bit 6. */
Test(exr_write, attributes)
{
    lb_box box = {0, 0, 8, 8};
    lb_image *image = make_image(box, box, names, 4, grain);
    lb_write_options options = usual;
    exr_attr_chromaticities_t c;
    exr_attr_rational_t rate;
    exr_attr_timecode_t timecode;
    exr_lineorder_t order;
    exr_bytes file;
    exr_context_t context;
    const char *key;
    int32_t length;
    float aspect;

    options.working = LB_SPACE_ACESCG;
    options.rate = (lb_rate){30000, 1001};
    options.index = 107892;
    options.drop_frame = true;
    options.graph_key = "0123456789abcdef0123456789abcdef";
    lb_image_set_pixel_aspect(image, 2);
    file = encode(image, &options);
    context = open_exr(&file);
    exr_check(exr_attr_get_rational(context, 0, "framesPerSecond", &rate), "framesPerSecond");
    cr_expect(rate.num == 30000 && rate.denom == 1001);
    exr_check(exr_attr_get_timecode(context, 0, "timeCode", &timecode), "timeCode");
    cr_expect_eq(timecode.time_and_flags, 0x01000040u, "%08x", timecode.time_and_flags);
    exr_check(exr_attr_get_string(context, 0, "lampblack.graph", &length, &key), "key");
    cr_expect_str_eq(key, options.graph_key);
    /* Academy S-2014-004. */
    exr_check(exr_attr_get_chromaticities(context, 0, "chromaticities", &c), "chromaticities");
    cr_expect(c.red_x == 0.713f && c.red_y == 0.293f && c.green_x == 0.165f &&
              c.green_y == 0.830f && c.blue_x == 0.128f && c.blue_y == 0.044f &&
              c.white_x == 0.32168f && c.white_y == 0.33767f);
    exr_check(exr_get_pixel_aspect_ratio(context, 0, &aspect), "pixelAspectRatio");
    cr_expect_eq(aspect, 2);
    exr_check(exr_get_lineorder(context, 0, &order), "lineOrder");
    cr_expect_eq(order, EXR_LINEORDER_INCREASING_Y);
    exr_finish(&context);
    free(file.bytes);

    options = usual;
    options.working = LB_SPACE_RAW;
    options.rate = (lb_rate){0, 0};
    file = encode(image, &options);
    context = open_exr(&file);
    cr_expect_neq(exr_attr_get_chromaticities(context, 0, "chromaticities", &c), EXR_ERR_SUCCESS);
    cr_expect_neq(exr_attr_get_rational(context, 0, "framesPerSecond", &rate), EXR_ERR_SUCCESS);
    cr_expect_neq(exr_attr_get_string(context, 0, "lampblack.graph", &length, &key),
                  EXR_ERR_SUCCESS);
    exr_finish(&context);
    free(file.bytes);
    lb_image_unref(&image);
}

static float extreme(int32_t x, int32_t y, int channel)
{
    static const float values[] = {65504, 65519.9f, 65520, 1e20f, -1e20f, INFINITY, -INFINITY, NAN};

    (void)y;
    (void)channel;
    return values[x % 8];
}

/* Beyond the largest half: clamped and told. Infinity and NaN are halves. */
Test(exr_write, what_a_half_cannot_hold)
{
    static const float wanted[] = {65504, 65504, 65504, 65504, -65504, INFINITY, -INFINITY};
    lb_box box = {0, 0, 8, 2};
    lb_image *image = make_image(box, box, names + 3, 1, extreme);
    lb_write_options options = usual;
    lb_diag *diag = lb_diag_new();
    exr_bytes file = {0};
    exr_context_t context;
    void *bytes;
    float *got;

    cr_assert_eq(
        lb_media_encode(NULL, diag, LB_NOWHERE, "h.exr", image, &options, &bytes, &file.count),
        LB_OK);
    file.bytes = bytes;
    cr_expect_eq(lb_diag_count(diag, LB_WARNING), 1);
    cr_expect(says(diag, "beyond the largest half"));
    context = open_exr(&file);
    got = exr_channel_floats(context, "R", box);
    for (int i = 0; i < 7; i++)
        cr_expect_eq(got[i], wanted[i]);
    cr_expect(isnan(got[7]));
    free(got);
    exr_finish(&context);
    lb_free(bytes);

    options.depth = LB_DEPTH_FLOAT;
    cr_assert_eq(
        lb_media_encode(NULL, diag, LB_NOWHERE, "f.exr", image, &options, &bytes, &file.count),
        LB_OK);
    cr_expect_eq(lb_diag_count(diag, LB_WARNING), 1);
    lb_free(bytes);
    lb_diag_free(&diag);
    lb_image_unref(&image);
}

/* An image without planes is transparent black, and still a frame. */
Test(exr_write, nothing_to_see)
{
    lb_box display = {3, 4, 50, 40};
    lb_image *image;
    exr_bytes file;
    exr_context_t context;
    float *got;

    cr_assert_eq(lb_image_new(display, (lb_box){0}, &image), LB_OK);
    file = encode(image, &usual);
    context = open_exr(&file);
    expect_window(context, (lb_box){3, 4, 4, 5}, display);
    got = exr_channel_floats(context, "A", (lb_box){3, 4, 4, 5});
    cr_expect_eq(*got, 0);
    free(got);
    exr_finish(&context);
    free(file.bytes);
    lb_image_unref(&image);
}

/* Constant planes have one row of memory for all. */
Test(exr_write, constant_planes)
{
    lb_box box = {0, 0, 33, 40};
    lb_image *image;
    lb_plane *plane;
    exr_bytes file;
    exr_context_t context;

    cr_assert_eq(lb_image_new(box, box, &image), LB_OK);
    cr_assert_eq(lb_plane_new_constant(box, 0.75f, &plane), LB_OK);
    cr_assert_eq(lb_image_add(image, "Y", plane), LB_OK);
    lb_plane_unref(&plane);
    file = encode(image, &usual);
    context = open_exr(&file);
    expect_channel(context, image, 0, &usual);
    exr_finish(&context);
    free(file.bytes);
    lb_image_unref(&image);
}

/* Ours, read by ours: names, windows, bits. */
Test(exr_write, comes_back)
{
    lb_box box = {-3, 2, 29, 37};
    lb_image *image = make_image((lb_box){0, 0, 30, 30}, box, names, 5, grain), *back;
    lb_write_options options = usual;
    exr_bytes file;

    options.depth = LB_DEPTH_FLOAT;
    lb_image_set_pixel_aspect(image, 1.5);
    file = encode(image, &options);
    cr_assert_eq(
        lb_media_decode(NULL, NULL, LB_NOWHERE, "a.exr", file.bytes, file.count, false, &back),
        LB_OK);
    cr_expect(lb_box_equal(lb_image_data(back), box));
    cr_expect_eq(lb_image_pixel_aspect(back), 1.5);
    cr_assert_eq(lb_image_count(back), 5);
    for (int32_t c = 0; c < 5; c++)
        for (int32_t y = box.y0; y < box.y1; y++)
            cr_expect_eq(memcmp(lb_plane_row(lb_image_plane(image, c), y),
                                lb_plane_row(lb_image_plane(back, c), y),
                                (size_t)lb_box_width(box) * 4),
                         0);
    lb_image_unref(&back);
    lb_image_unref(&image);
    free(file.bytes);
}

/* The OpenEXR project's own tool, if it is here, prints the header of every compression. */
Test(exr_write, exrheader_agrees)
{
    static const char *const words[] = {"none",
                                        "run-length encoding",
                                        "zip, individual scanlines",
                                        "zip, multi-scanline blocks",
                                        "piz",
                                        "pxr24",
                                        "b44",
                                        "b44a"};
    lb_box box = {0, 0, 40, 40};
    lb_image *image = make_image(box, box, names, 5, grain);

    if (system("command -v exrheader > /dev/null") != 0) {
        fprintf(stderr, "exrheader is not installed: not compared\n");
        lb_image_unref(&image);
        return;
    }
    for (int c = LB_COMPRESSION_NONE; c <= LB_COMPRESSION_B44A; c++) {
        char path[] = "/tmp/lampblack-test-XXXXXX", command[128], text[4096], wanted[64];
        lb_write_options options = usual;
        exr_bytes file;
        FILE *stream;
        size_t length;
        int fd = mkstemp(path);

        options.compression = (lb_compression)c;
        file = encode(image, &options);
        cr_assert_eq(write(fd, file.bytes, file.count), (ssize_t)file.count);
        close(fd);
        snprintf(command, sizeof command, "exrheader %s 2>&1", path);
        stream = popen(command, "r");
        length = fread(text, 1, sizeof text - 1, stream);
        text[length] = 0;
        cr_expect_eq(pclose(stream), 0);
        unlink(path);
        snprintf(wanted, sizeof wanted, "compression (type compression): %s\n", words[c]);
        cr_expect(strstr(text, wanted), "%s", text);
        cr_expect(strstr(text, "depth.Z, 16-bit floating-point, sampling 1 1"));
        cr_expect(strstr(text, "framesPerSecond (type rational): 30/1"));
        free(file.bytes);
    }
    lb_image_unref(&image);
}
