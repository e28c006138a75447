/* tests/engine/media/test_media.c: which format, what may be written, what the graph gets, and
 * files that appear whole or not at all. */
#include "engine/media/media.h"

#include <criterion/criterion.h>
#include <dirent.h>
#include <math.h>
#include <signal.h>
#include <sys/mount.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>

#include "engine/base/file.h"
#include "engine/base/random.h"
#include "tests/engine/media/exr_support.h"

static const char *const names[] = {"R", "G", "B", "A"};

/* A folder of this test's own; remove_folder. */
static char *make_folder(void)
{
    char *path = strdup("/tmp/lampblack-test-XXXXXX");

    if (!mkdtemp(path))
        support_die("cannot be made", path);
    return path;
}

static int count_files(const char *folder)
{
    DIR *listing = opendir(folder);
    int count = 0;

    for (struct dirent *entry; (entry = readdir(listing)) != NULL;)
        count += strcmp(entry->d_name, ".") != 0 && strcmp(entry->d_name, "..") != 0;
    closedir(listing);
    return count;
}

static void remove_folder(char *folder)
{
    DIR *listing = opendir(folder);
    char path[512];

    for (struct dirent *entry; (entry = readdir(listing)) != NULL;) {
        snprintf(path, sizeof path, "%s/%.200s", folder, entry->d_name);
        unlink(path);
    }
    closedir(listing);
    rmdir(folder);
    free(folder);
}

static void touch(const char *folder, const char *name)
{
    char path[512];
    FILE *file;

    snprintf(path, sizeof path, "%s/%s", folder, name);
    file = fopen(path, "wb");
    fclose(file);
}

static lb_status decode(lb_diag *diag, const char *name, const void *bytes, size_t count,
                        lb_image **out)
{
    return lb_media_decode(NULL, diag, LB_NOWHERE, name, bytes, count, false, out);
}

Test(media, what_is_no_picture)
{
    static const struct {
        char bytes[20];
        size_t count;
        char words[64];
    } rows[] = {{"", 0, "is empty"},
                {"P6 1 1 255 abc", 14, "does not begin as any picture"},
                {"GIF89a", 6, "does not begin as any picture"},
                {"\x89PNG\r\n\x1a\n", 8, "is a damaged PNG"},
                {"\x76\x2f\x31\x01", 4, "is a damaged EXR"},
                {"\xff\xd8\xff\xe0", 4, "cannot be read as jpeg"},
                {"#?RADIANCE\n", 11, "is a damaged HDR: its header has no end"},
                {"BM", 2, "cannot be read as bmp"}};

    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        lb_diag *diag = lb_diag_new();
        lb_media_info info;
        lb_image *image;

        cr_expect_eq(decode(diag, "x.png", rows[i].bytes, rows[i].count, &image), LB_FORMAT,
                     "row %zu", i);
        cr_expect_null(image);
        cr_expect(says(diag, rows[i].words));
        cr_expect_eq(lb_media_probe(NULL, LB_NOWHERE, "x.png", rows[i].bytes, rows[i].count, &info),
                     LB_FORMAT);
        lb_diag_free(&diag);
    }
}

Test(media, what_may_be_written)
{
    static const struct {
        char path[16];
        lb_depth depth;
        int compression, quality;
        lb_status status;
        char words[64];
    } rows[] = {
        {"a.exr", LB_DEPTH_HALF, LB_COMPRESSION_B44A, 0, LB_OK, ""},
        {"a.EXR", LB_DEPTH_FLOAT, LB_COMPRESSION_NONE, 0, LB_OK, ""},
        {"a.png", LB_DEPTH_8, 0, 0, LB_OK, ""},
        {"a.####.png", LB_DEPTH_16, 0, 0, LB_OK, ""},
        {"a.hdr", LB_DEPTH_FLOAT, 0, 0, LB_OK, ""},
        {"a.jpg", LB_DEPTH_8, 0, 100, LB_OK, ""},
        {"a.jpeg", LB_DEPTH_8, 0, 1, LB_OK, ""},
        {"a.tga", LB_DEPTH_8, 0, 0, LB_OK, ""},
        {"a.gif", LB_DEPTH_8, 0, 0, LB_UNSUPPORTED, "are not written as 'gif'; exr, png"},
        {"a.bmp", LB_DEPTH_8, 0, 0, LB_UNSUPPORTED, "are not written as 'bmp'"},
        {"a", LB_DEPTH_8, 0, 0, LB_INVALID, "has no extension"},
        {"a.png/b", LB_DEPTH_8, 0, 0, LB_INVALID, "has no extension"},
        {"a.png", LB_DEPTH_HALF, 0, 0, LB_INVALID, "with depth half: PNG holds 8 or 16"},
        {"a.png", LB_DEPTH_FLOAT, 0, 0, LB_INVALID, "with depth float: PNG holds 8 or 16"},
        {"a.exr", LB_DEPTH_8, 0, 0, LB_INVALID, "with depth 8: EXR holds half or float"},
        {"a.exr", LB_DEPTH_16, 0, 0, LB_INVALID, "with depth 16: EXR holds half or float"},
        {"a.jpg", LB_DEPTH_16, 0, 0, LB_INVALID, "with depth 16: JPEG holds 8"},
        {"a.tga", LB_DEPTH_HALF, 0, 0, LB_INVALID, "with depth half: TGA holds 8"},
        {"a.hdr", LB_DEPTH_8, 0, 0, LB_INVALID, "with depth 8: HDR has one depth"},
        {"a.exr", LB_DEPTH_HALF, 8, 0, LB_UNSUPPORTED, "DWAA and DWAB are not implemented"},
        {"a.exr", (lb_depth)9, 0, 0, LB_INVALID, "no depth number 9"},
        {"a.jpg", LB_DEPTH_8, 0, 101, LB_INVALID, "quality is 101"},
    };
    lb_loc loc = {"g.yaml", 4, 7, 1};

    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        lb_write_options options = {.depth = rows[i].depth,
                                    .compression = (lb_compression)rows[i].compression,
                                    .quality = rows[i].quality,
                                    .working = LB_SPACE_ACESCG};
        lb_diag *diag = lb_diag_new();
        lb_image *image;
        void *bytes;
        size_t count;

        cr_expect_eq(lb_media_check_write(diag, loc, rows[i].path, &options), rows[i].status,
                     "row %zu", i);
        if (rows[i].status != LB_OK) {
            cr_expect(says(diag, rows[i].words));
            cr_assert_eq(lb_image_new((lb_box){0, 0, 1, 1}, (lb_box){0}, &image), LB_OK);
            cr_expect_eq(
                lb_media_encode(NULL, NULL, loc, rows[i].path, image, &options, &bytes, &count),
                rows[i].status);
            lb_image_unref(&image);
        }
        lb_diag_free(&diag);
    }
}

Test(media, names_match_their_numbers)
{
    cr_expect_str_eq(lb_depth_names[LB_DEPTH_FLOAT], "float");
    cr_expect_null(lb_depth_names[LB_DEPTH_FLOAT + 1]);
    cr_expect_str_eq(lb_compression_names[LB_COMPRESSION_NONE], "none");
    cr_expect_str_eq(lb_compression_names[LB_COMPRESSION_PIZ], "piz");
    cr_expect_str_eq(lb_compression_names[LB_COMPRESSION_B44A], "b44a");
    cr_expect_null(lb_compression_names[LB_COMPRESSION_B44A + 1]);
    cr_expect_eq((int)LB_COMPRESSION_B44A, (int)EXR_COMPRESSION_B44A);
}

Test(media, sequence_names)
{
    static const struct {
        char pattern[24];
        int32_t frame;
        char name[24];
    } rows[] = {{"a.####.exr", 7, "a.0007.exr"},
                {"a.####.exr", 12345, "a.12345.exr"},
                {"a.####.exr", -7, "a.-0007.exr"},
                {"#.png", 0, "0.png"},
                {"a.exr", 7, "a.exr"},
                {"s#/a.##.exr", 3, "s#/a.03.exr"},
                {"s##/a.exr", 3, "s03/a.exr"},
                {"a##", INT32_MIN, "a-2147483648"},
                {"##", INT32_MAX, "2147483647"}};

    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        char *name = lb_sequence_name(rows[i].pattern, rows[i].frame);

        cr_expect_str_eq(name, rows[i].name);
        lb_free(name);
        cr_expect_eq(lb_sequence_is_pattern(rows[i].pattern), strchr(rows[i].pattern, '#') != NULL);
    }
}

Test(media, sequence_holds_the_last_frame_there)
{
    static const struct {
        int32_t frame;
        bool found;
        int32_t held;
    } rows[] = {{-20, false, 0}, {-3, true, -3}, {0, true, -3},        {4, true, -3},
                {5, true, 5},    {9, true, 5},   {10000, true, 10000}, {99999, true, 10000}};
    char *folder = make_folder(), pattern[256];
    int32_t held;

    touch(folder, "f.0005.png");
    touch(folder, "f.-0003.png");
    touch(folder, "f.10000.png");
    touch(folder, "f.7.png");    /* not padded as the pattern asks */
    touch(folder, "f.0008.exr"); /* another extension */
    touch(folder, "g.0009.png"); /* another name */
    touch(folder, "f.00x9.png"); /* no number */
    touch(folder, "f..png");
    touch(folder, "f.99999999999.png");
    snprintf(pattern, sizeof pattern, "%s/f.####.png", folder);
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        cr_expect_eq(lb_sequence_hold(pattern, rows[i].frame, &held), rows[i].found, "%d",
                     rows[i].frame);
        if (rows[i].found)
            cr_expect_eq(held, rows[i].held, "%d holds %d", rows[i].frame, held);
    }
    snprintf(pattern, sizeof pattern, "%s/none/f.####.png", folder);
    cr_expect_not(lb_sequence_hold(pattern, 5, &held));
    snprintf(pattern, sizeof pattern, "%s/f.0005.png", folder);
    cr_expect(lb_sequence_hold(pattern, 77, &held) && held == 77);
    remove_folder(folder);
}

static lb_image *read_as(const char *name, const void *bytes, size_t count, lb_space space,
                         lb_space working, lb_diag *diag)
{
    lb_media_wish wish = {space, working};
    lb_image *image;

    if (lb_media_read_memory(NULL, diag, LB_NOWHERE, name, bytes, count, &wish, &image) != LB_OK)
        support_die("cannot be read", name);
    return image;
}

/* sRGB 0.5 is 0.21404114 linear (tests/data/tables/transfer.csv); 128 / 255 by the same formula. */
static double srgb_to_linear(double v)
{
    return v <= 0.04045 ? v / 12.92 : pow((v + 0.055) / 1.055, 2.4);
}

/* basn4a16: grey with alpha, 16 bits. Y becomes R, G, B, decoded, then multiplied by alpha. */
Test(media, grey_with_alpha_becomes_premultiplied_rgb)
{
    size_t count;
    unsigned char *bytes = load_data("png/16bit/basn4a16.png", &count);
    lb_image *raw = read_as("g.png", bytes, count, LB_SPACE_RAW, LB_SPACE_ACESCG, NULL);
    lb_image *image = read_as("g.png", bytes, count, LB_SPACE_SRGB, LB_SPACE_ACESCG, NULL);

    cr_expect_eq(lb_image_count(raw), 2);
    cr_assert_eq(lb_image_count(image), 4);
    cr_expect_null(lb_image_find(image, "Y"));
    for (int32_t y = 0; y < 32; y++)
        for (int32_t x = 0; x < 32; x++) {
            double alpha = (double)pixel_of(raw, "A", x, y);
            double wanted = srgb_to_linear((double)pixel_of(raw, "Y", x, y)) * alpha;

            cr_expect_eq(pixel_of(image, "A", x, y), pixel_of(raw, "A", x, y));
            for (int c = 0; c < 3; c++)
                cr_assert_float_eq((double)pixel_of(image, names[c], x, y), wanted, 1e-6);
        }
    lb_image_unref(&raw);
    lb_image_unref(&image);
    free(bytes);
}

static double half_red(const char *channel, int32_t x, int32_t y)
{
    (void)x;
    (void)y;
    return channel[strlen(channel) - 1] == 'R' ? 0.5 : channel[0] == 'A' ? 0.5 : 0.25;
}

/* tests/data/tables/matrices.csv, rec709 to acescg; an alpha that must not matter. */
Test(media, linear_colour_goes_through_the_matrix)
{
    static const double m[3][3] = {{0.6130974024, 0.3395231462, 0.04737945141},
                                   {0.07019372247, 0.9163538791, 0.01345239847},
                                   {0.02061559288, 0.1095697729, 0.8698146342}};
    made_part part = {.data = {0, 0, 2, 2},
                      .compression = EXR_COMPRESSION_NONE,
                      .channels = {{"A", EXR_PIXEL_FLOAT, 1},
                                   {"B", EXR_PIXEL_FLOAT, 1},
                                   {"G", EXR_PIXEL_FLOAT, 1},
                                   {"R", EXR_PIXEL_FLOAT, 1},
                                   {"sky.B", EXR_PIXEL_FLOAT, 1},
                                   {"sky.G", EXR_PIXEL_FLOAT, 1},
                                   {"sky.R", EXR_PIXEL_FLOAT, 1}},
                      .value = half_red};
    exr_bytes made = make_exr(part.data, &part, 1, NULL);
    lb_image *image =
        read_as("m.exr", made.bytes, made.count, LB_SPACE_LINEAR_REC709, LB_SPACE_ACESCG, NULL);

    for (int c = 0; c < 3; c++) {
        double wanted = m[c][0] * 0.5 + m[c][1] * 0.25 + m[c][2] * 0.25;
        char layered[8];

        snprintf(layered, sizeof layered, "sky.%s", names[c]);
        cr_expect_float_eq((double)pixel_of(image, names[c], 1, 1), wanted, 1e-6);
        cr_expect_float_eq((double)pixel_of(image, layered, 1, 1), wanted, 1e-6);
    }
    cr_expect_eq(pixel_of(image, "A", 1, 1), 0.5f);
    lb_image_unref(&image);
    /* A curve applies to colour, not to what alpha left of it. */
    image = read_as("m.exr", made.bytes, made.count, LB_SPACE_SRGB, LB_SPACE_LINEAR_REC709, NULL);
    cr_expect_float_eq((double)pixel_of(image, "R", 0, 0), 0.5 * srgb_to_linear(1), 1e-6);
    cr_expect_float_eq((double)pixel_of(image, "G", 0, 0), 0.5 * srgb_to_linear(0.5), 1e-6);
    cr_expect_float_eq((double)pixel_of(image, "sky.R", 0, 0), srgb_to_linear(0.5), 1e-6);
    lb_image_unref(&image);
    free(made.bytes);
}

/* WideColorGamut.exr says Rec. 709's primaries; another file says XYZ's, one nothing. */
Test(media, chromaticities_that_disagree_are_told)
{
    static const exr_attr_chromaticities_t xyz = {1, 0, 0, 1, 0, 0, 1 / 3.0f, 1 / 3.0f};
    made_part part = {
        .data = {0, 0, 2, 2},
        .channels = {{"B", EXR_PIXEL_HALF, 1}, {"G", EXR_PIXEL_HALF, 1}, {"R", EXR_PIXEL_HALF, 1}},
        .value = half_red};
    exr_bytes files[3] = {
        {0}, make_exr(part.data, &part, 1, &xyz), make_exr(part.data, &part, 1, NULL)};
    static const struct {
        int file;
        lb_space space;
        bool told;
    } rows[] = {
        {0, LB_SPACE_LINEAR_REC709, false}, {0, LB_SPACE_SRGB, false},
        {0, LB_SPACE_RAW, false},           {0, LB_SPACE_ACESCG, true},
        {0, LB_SPACE_LINEAR_REC2020, true}, {1, LB_SPACE_LINEAR_REC709, true},
        {1, LB_SPACE_RAW, false},           {2, LB_SPACE_LINEAR_REC709, false},
        {2, LB_SPACE_ACESCG, false},
    };

    files[0].bytes = load_data("exr/TestImages/WideColorGamut.exr", &files[0].count);
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        lb_diag *diag = lb_diag_new();
        lb_image *image = read_as("w.exr", files[rows[i].file].bytes, files[rows[i].file].count,
                                  rows[i].space, LB_SPACE_ACESCG, diag);

        cr_expect_eq(lb_diag_count(diag, LB_WARNING), rows[i].told, "row %zu", i);
        if (rows[i].told)
            cr_expect(says(diag, "'w.exr' says that its primaries are"));
        lb_image_unref(&image);
        lb_diag_free(&diag);
    }
    for (int i = 0; i < 3; i++)
        free(files[i].bytes);
}

/* One channel of three cannot be converted; it is kept, and told. */
Test(media, colour_that_is_not_whole)
{
    size_t count;
    unsigned char *bytes = load_data("exr/TestImages/WideFloatRange.exr", &count);
    lb_diag *diag = lb_diag_new();
    lb_image *image = read_as("g.exr", bytes, count, LB_SPACE_LINEAR_REC709, LB_SPACE_ACESCG, diag);

    cr_expect_eq(lb_image_count(image), 1);
    cr_expect(lb_image_find(image, "G"));
    cr_expect(says(diag, "has not all of R, G and B"));
    lb_image_unref(&image);
    lb_diag_free(&diag);
    free(bytes);
}

/* Truevision TGA File Format Specification 2.0: 18 bytes of header, then B, G, R (, A), bottom row
 * first unless bit 5 of the descriptor is set; run packets have bit 7. */
Test(media, tga)
{
    static const unsigned char plain[] = {0, 0, 2, 0, 0,  0, 0,  0,  0,  0,  0, 0,
                                          2, 0, 2, 0, 32, 8, 10, 20, 30, 40, 1, 2,
                                          3, 4, 5, 6, 7,  8, 50, 60, 70, 80};
    static const unsigned char runs[] = {0, 0, 10, 0,  0,  0,    0, 0, 0, 0,    0,  0,  3,
                                         0, 1, 0,  24, 32, 0x81, 9, 8, 7, 0x00, 30, 20, 10};
    static const unsigned char grey[] = {0, 0, 3, 0, 0, 0, 0, 0,  0, 0,
                                         0, 0, 2, 0, 1, 0, 8, 32, 5, 250};
    unsigned char unused[sizeof plain];
    lb_media_info info;
    lb_image *image;

    cr_assert_eq(decode(NULL, "a.TGA", plain, sizeof plain, &image), LB_OK);
    cr_expect_eq(lb_image_count(image), 4);
    cr_expect_eq(pixel_of(image, "B", 0, 1), 10 / 255.0f);
    cr_expect_eq(pixel_of(image, "A", 0, 1), 40 / 255.0f);
    cr_expect_eq(pixel_of(image, "R", 1, 0), 70 / 255.0f);
    lb_image_unref(&image);

    memcpy(unused, plain, sizeof plain);
    unused[17] = 0; /* none of the 32 bits is alpha */
    cr_assert_eq(lb_media_probe(NULL, LB_NOWHERE, "a.tga", unused, sizeof unused, &info), LB_OK);
    cr_expect(info.channel_count == 3 && info.bits == 8 && info.space == LB_SPACE_SRGB);
    cr_expect_str_eq(info.format, "tga");
    lb_media_info_clear(&info);
    cr_assert_eq(decode(NULL, "a.tga", unused, sizeof unused, &image), LB_OK);
    cr_expect(lb_image_count(image) == 3 && !lb_image_find(image, "A"));
    lb_image_unref(&image);

    cr_assert_eq(decode(NULL, "a.tga", runs, sizeof runs, &image), LB_OK);
    cr_expect_eq(pixel_of(image, "B", 1, 0), 9 / 255.0f);
    cr_expect_eq(pixel_of(image, "R", 1, 0), 7 / 255.0f);
    cr_expect_eq(pixel_of(image, "R", 2, 0), 10 / 255.0f);
    lb_image_unref(&image);

    cr_assert_eq(decode(NULL, "a.tga", grey, sizeof grey, &image), LB_OK);
    cr_expect_eq(lb_image_count(image), 1);
    cr_expect_eq(pixel_of(image, "Y", 1, 0), 250 / 255.0f);
    lb_image_unref(&image);

    /* Without the name nothing says that it is one. */
    cr_expect_eq(decode(NULL, "a.dat", plain, sizeof plain, &image), LB_FORMAT);
}

/* The layout of Windows bitmaps: BITMAPFILEHEADER, BITMAPINFOHEADER, rows bottom first, padded to
 * four bytes (common practice). */
Test(media, bmp)
{
    static const unsigned char bytes[] = {'B', 'M', 70, 0, 0, 0, 0, 0, 0, 0, 54, 0, 0,  0, 40, 0,
                                          0,   0,   1,  0, 0, 0, 2, 0, 0, 0, 1,  0, 24, 0, 0,  0,
                                          0,   0,   8,  0, 0, 0, 0, 0, 0, 0, 0,  0, 0,  0, 0,  0,
                                          0,   0,   0,  0, 0, 0, 1, 2, 3, 0, 4,  5, 6,  0};
    lb_image *image;

    cr_assert_eq(decode(NULL, "a.bmp", bytes, sizeof bytes, &image), LB_OK);
    cr_expect(lb_box_equal(lb_image_data(image), (lb_box){0, 0, 1, 2}));
    cr_expect_eq(pixel_of(image, "R", 0, 0), 6 / 255.0f);
    cr_expect_eq(pixel_of(image, "B", 0, 1), 1 / 255.0f);
    lb_image_unref(&image);
}

/* Radiance reference manual, "picture file format": value = mantissa / 256 * 2^(exponent - 128)
 * (readers differ by half a mantissa step; common practice is without). */
Test(media, hdr_read)
{
    static const char head[] = "#?RADIANCE\nFORMAT=32-bit_rle_rgbe\n\n-Y 1 +X 2\n";
    unsigned char bytes[sizeof head + 8];
    lb_media_info info;
    lb_image *image;

    memcpy(bytes, head, sizeof head - 1);
    memcpy(bytes + sizeof head - 1, "\x80\x40\x20\x81\xff\x00\x10\x88", 8);
    cr_assert_eq(lb_media_probe(NULL, LB_NOWHERE, "a", bytes, sizeof bytes - 1, &info), LB_OK);
    cr_expect(info.is_float && info.bits == 32 && info.space == LB_SPACE_LINEAR_REC709);
    lb_media_info_clear(&info);
    cr_assert_eq(decode(NULL, "a", bytes, sizeof bytes - 1, &image), LB_OK);
    cr_expect_eq(pixel_of(image, "R", 0, 0), 1.0f);
    cr_expect_eq(pixel_of(image, "G", 0, 0), 0.5f);
    cr_expect_eq(pixel_of(image, "B", 0, 0), 0.25f);
    cr_expect_eq(pixel_of(image, "R", 1, 0), 255.0f);
    cr_expect_eq(pixel_of(image, "G", 1, 0), 0.0f);
    cr_expect_eq(pixel_of(image, "B", 1, 0), 16.0f);
    lb_image_unref(&image);
}

static lb_status decode_text(lb_diag *diag, const char *text, size_t count, bool partial,
                             lb_image **out)
{
    return lb_media_decode(NULL, diag, LB_NOWHERE, "a.hdr", text, count, partial, out);
}

/* What else a header can say, and runs that end where they must not: of stb_image a fuzzer found
 * that it does not come back from the last row here. */
#define HEAD "#?RADIANCE\nFORMAT=32-bit_rle_rgbe\n"
#define CASE(text, status, words)                                                                  \
    {                                                                                              \
        text, sizeof(text) - 1, status, words                                                      \
    }

Test(media, hdr_refused)
{
    static const struct {
        char bytes[96];
        size_t count;
        lb_status status;
        char words[48];
    } rows[] = {
        CASE(HEAD "\n+Y 1 +X 1\n\x80\x80\x80\x81", LB_UNSUPPORTED, "says '+Y 1 +X 1'"),
        CASE(HEAD "\n-Y 1 -X 1\n\x80\x80\x80\x81", LB_UNSUPPORTED, "says '-Y 1 -X 1'"),
        CASE("#?RADIANCE\nFORMAT=32-bit_rle_xyze\n\n-Y 1 +X 1\nabcd", LB_UNSUPPORTED,
             "another format than 32-bit_rle_rgbe"),
        CASE(HEAD "\n", LB_FORMAT, "it has no size"),
        CASE(HEAD "\n-Y 1 +X 1\n\1\1\1\3", LB_UNSUPPORTED, "runs of the first kind"),
        CASE(HEAD "\n-Y 1 +X 1\n\1\2\1", LB_FORMAT, "row 0 of 1"),
        CASE(HEAD "\n-Y 1 +X 20\n\2\2\0\24\x94\1\x94\2\x94\3\x14\4\5", LB_FORMAT, "row 0 of 1"),
        CASE(HEAD "\n-Y 1 +X 20\n\2\2\0\24\x95\1", LB_FORMAT, "row 0 of 1"),
        CASE(HEAD "\n-Y 1 +X 20\n\2\2\0\24\0\1", LB_FORMAT, "row 0 of 1"),
        CASE(HEAD "\n-Y 1 +X 20\n\2\2\0\23\x94\1", LB_FORMAT, "row 0 of 1"),
    };

    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        lb_diag *diag = lb_diag_new();
        lb_image *image;

        cr_expect_eq(decode_text(diag, rows[i].bytes, rows[i].count, false, &image), rows[i].status,
                     "row %zu", i);
        cr_expect(says(diag, rows[i].words));
        lb_diag_free(&diag);
    }
}

Test(media, hdr_runs_and_exposure)
{
    static const char runs[] =
        HEAD "EXPOSURE= 2.5\n\n-Y 2 +X 20\n\2\2\0\24\x94\x80\x94\x40\x94\x20\x94\x81\2\2";
    lb_diag *diag = lb_diag_new();
    lb_image *image;

    cr_expect_eq(decode_text(NULL, runs, sizeof runs - 1, false, &image), LB_FORMAT);
    cr_assert_eq(decode_text(diag, runs, sizeof runs - 1, true, &image), LB_OK);
    cr_expect_eq(lb_diag_count(diag, LB_WARNING), 2);
    cr_expect(says(diag, "was exposed by 2.5"));
    cr_expect_eq(pixel_of(image, "R", 19, 0), 1);
    cr_expect_eq(pixel_of(image, "B", 0, 0), 0.25f);
    cr_expect_eq(pixel_of(image, "R", 0, 1), 0);
    lb_image_unref(&image);
    lb_diag_free(&diag);
}

static float lights(int32_t x, int32_t y, int channel)
{
    if (y == 0) /* runs */
        return (float)(channel + 1);
    if (x % 7 == 0)
        return 0;
    return ldexpf((float)(x * 37 % 255 + channel + 1) / 256.0f, x % 40 - 20);
}

/* Every value within half a mantissa step of the largest of its pixel; widths with and without
 * runs; negative, infinite and undefined ones legal. */
Test(media, hdr_written)
{
    static const int32_t widths[] = {1, 7, 8, 300, 33000};

    for (size_t i = 0; i < sizeof widths / sizeof *widths; i++) {
        lb_box box = {0, 0, widths[i], 3};
        lb_image *image = make_image(box, box, names, 3, lights), *back;
        lb_write_options options = {.depth = LB_DEPTH_FLOAT, .working = LB_SPACE_LINEAR_REC709};
        void *bytes;
        size_t count;

        cr_assert_eq(
            lb_media_encode(NULL, NULL, LB_NOWHERE, "a.hdr", image, &options, &bytes, &count),
            LB_OK);
        cr_assert_eq(decode(NULL, "a.hdr", bytes, count, &back), LB_OK);
        for (int32_t y = 0; y < 3; y++)
            for (int32_t x = 0; x < widths[i]; x++) {
                double most = 0;
                int exponent;

                for (int c = 0; c < 3; c++)
                    most = fmax(most, (double)pixel_of(image, names[c], x, y));
                frexp(most, &exponent);
                for (int c = 0; c < 3; c++)
                    cr_assert_float_eq((double)pixel_of(back, names[c], x, y),
                                       (double)pixel_of(image, names[c], x, y),
                                       ldexp(1.001, exponent - 9));
            }
        lb_image_unref(&back);
        lb_image_unref(&image);
        lb_free(bytes);
    }
}

static float strange(int32_t x, int32_t y, int channel)
{
    static const float values[] = {NAN, INFINITY, -INFINITY, -1, 0.99999f, 1e-40f};

    (void)y;
    return channel == 1 ? 0.25f : values[x];
}

Test(media, hdr_of_numbers_that_are_no_light)
{
    lb_box box = {0, 0, 6, 1};
    lb_image *image = make_image(box, box, names, 3, strange), *back;
    lb_write_options options = {.depth = LB_DEPTH_FLOAT, .view = LB_VIEW_RAW, .working = 1};
    void *bytes;
    size_t count;

    cr_assert_eq(lb_media_encode(NULL, NULL, LB_NOWHERE, "a.hdr", image, &options, &bytes, &count),
                 LB_OK);
    cr_assert_eq(decode(NULL, "a.hdr", bytes, count, &back), LB_OK);
    cr_expect_eq(pixel_of(back, "R", 0, 0), 0);
    cr_expect_eq(pixel_of(back, "G", 0, 0), 0.25f);
    cr_expect(pixel_of(back, "R", 1, 0) > 1e38f && isfinite(pixel_of(back, "R", 1, 0)));
    cr_expect_eq(pixel_of(back, "R", 2, 0), 0);
    cr_expect_eq(pixel_of(back, "R", 3, 0), 0);
    cr_expect_eq(pixel_of(back, "R", 4, 0), 1); /* 255.997 / 256 rounds up */
    lb_image_unref(&back);
    lb_image_unref(&image);
    lb_free(bytes);
}

static float smooth(int32_t x, int32_t y, int channel)
{
    return channel == 3 ? 0.5f : 0.5f * (float)(x + y + 20 * channel) / 128.0f;
}

/* TGA keeps alpha and divides by it; JPEG has none: colour over black, within what quality 100 and
 * a chroma at full resolution may lose of a smooth picture. */
Test(media, tga_and_jpeg_written)
{
    lb_box box = {0, 0, 40, 30};
    lb_image *image = make_image(box, box, names, 4, smooth), *back;
    lb_write_options options = {
        .depth = LB_DEPTH_8, .view = LB_VIEW_RAW, .working = LB_SPACE_RAW, .quality = 100};
    void *bytes;
    size_t count;

    cr_assert_eq(lb_media_encode(NULL, NULL, LB_NOWHERE, "a.tga", image, &options, &bytes, &count),
                 LB_OK);
    cr_assert_eq(decode(NULL, "a.tga", bytes, count, &back), LB_OK);
    lb_free(bytes);
    cr_expect_eq(lb_image_count(back), 4);
    for (int c = 0; c < 4; c++)
        for (int32_t y = 0; y < 30; y++)
            for (int32_t x = 0; x < 40; x++)
                cr_assert_float_eq(pixel_of(back, names[c], x, y) * (c == 3 ? 1.0f : 0.5f),
                                   pixel_of(image, names[c], x, y), 0.51f / 255.0f);
    lb_image_unref(&back);

    cr_assert_eq(lb_media_encode(NULL, NULL, LB_NOWHERE, "a.jpg", image, &options, &bytes, &count),
                 LB_OK);
    cr_assert_eq(decode(NULL, "a.jpg", bytes, count, &back), LB_OK);
    cr_expect_eq(lb_image_count(back), 3);
    for (int c = 0; c < 3; c++)
        for (int32_t y = 0; y < 30; y++)
            for (int32_t x = 0; x < 40; x++)
                cr_assert_float_eq(pixel_of(back, names[c], x, y), pixel_of(image, names[c], x, y),
                                   3.0f / 255.0f);
    lb_image_unref(&back);
    /* Cut short, it is refused, or decoded with a warning. */
    for (size_t n = 0; n < count - 1; n += 41) {
        unsigned char *part = malloc(n + 1);
        lb_diag *diag = lb_diag_new();
        lb_status status;

        memcpy(part, bytes, n);
        cr_expect_eq(decode(NULL, "a.jpg", part, n, &back), LB_FORMAT, "%zu", n);
        status = lb_media_decode(NULL, diag, LB_NOWHERE, "a.jpg", part, n, true, &back);
        cr_expect(status == LB_OK ? lb_diag_count(diag, LB_WARNING) == 1 : status == LB_FORMAT);
        lb_image_unref(&back);
        lb_diag_free(&diag);
        free(part);
    }
    lb_free(bytes);
    lb_image_unref(&image);
}

/* Counts of a Huffman table that add up to more than there are values: a fuzzer found that
 * stb_image writes beyond its own table. ISO/IEC 10918-1, B.2.4.2: 0xFF 0xC4, two bytes of length,
 * one of class and number, sixteen counts. */
Test(media, jpeg_with_too_long_a_table)
{
    lb_box box = {0, 0, 16, 16};
    lb_image *image = make_image(box, box, names, 3, smooth), *back;
    lb_write_options options = {.depth = LB_DEPTH_8, .working = LB_SPACE_LINEAR_REC709};
    lb_diag *diag = lb_diag_new();
    unsigned char *at, *shifted;
    void *bytes;
    size_t count;

    cr_assert_eq(lb_media_encode(NULL, NULL, LB_NOWHERE, "a.jpg", image, &options, &bytes, &count),
                 LB_OK);
    at = memmem(bytes, count, "\xff\xc4", 2);
    cr_assert(at);
    memset(at + 5, 40, 16);
    cr_expect_eq(decode(diag, "a.jpg", bytes, count, &back), LB_FORMAT);
    cr_expect(says(diag, "a Huffman table is longer than one can be"));
    /* Nor may it come in under another name: filling bytes before its first marker make it no JPEG
     * by its first bytes, and the name a TGA. */
    shifted = malloc(count + 7);
    memset(shifted, 0xff, 7);
    memcpy(shifted + 7, bytes, count);
    cr_expect_eq(decode(NULL, "a.jpg", shifted, count + 7, &back), LB_FORMAT);
    cr_expect_eq(decode(NULL, "a.tga", shifted, count + 7, &back), LB_FORMAT);
    free(shifted);
    lb_diag_free(&diag);
    lb_free(bytes);
    lb_image_unref(&image);
}

/* A header of 54 bytes or so that claims the largest picture there is. */
Test(media, claims_are_checked_first)
{
    unsigned char bmp[64] = {'B', 'M', 64, 0, 0, 0, 0, 0, 0, 0, 54, 0, 0, 0, 40};
    unsigned char tga[64] = {0, 0, 10};
    static const char hdr[] = "#?RADIANCE\nFORMAT=32-bit_rle_rgbe\n\n-Y 30000 +X 30000\n";
    lb_image *image;

    bmp[18] = bmp[19] = bmp[22] = bmp[23] = 0x40; /* 16448 x 16448 */
    bmp[26] = 1;
    bmp[28] = 24;
    tga[12] = tga[13] = tga[14] = tga[15] = 0x7f;
    tga[16] = 24;
    lb_memory_reset_peak();
    cr_expect_eq(decode(NULL, "a.bmp", bmp, sizeof bmp, &image), LB_FORMAT);
    cr_expect_eq(decode(NULL, "a.tga", tga, sizeof tga, &image), LB_FORMAT);
    cr_expect_eq(decode(NULL, "a.hdr", hdr, sizeof hdr - 1, &image), LB_FORMAT);
    cr_expect_lt(lb_memory_peak(), (size_t)1 << 20);
}

static const lb_write_options png_8 = {
    .depth = LB_DEPTH_8, .view = LB_VIEW_SRGB, .working = LB_SPACE_LINEAR_REC709};

Test(media, read_and_write_files)
{
    char *folder = make_folder(), path[256];
    lb_box box = {0, 0, 20, 10};
    lb_image *image = make_image(box, box, names, 3, smooth), *back;
    lb_media_wish wish = {LB_SPACE_SRGB, LB_SPACE_LINEAR_REC709};
    lb_diag *diag = lb_diag_new();

    snprintf(path, sizeof path, "%s/a.png", folder);
    cr_expect_eq(lb_media_read(NULL, diag, LB_NOWHERE, path, &wish, &back), LB_NOT_FOUND);
    cr_expect_null(back);
    cr_expect(says(diag, "a.png"));
    cr_assert_eq(lb_media_write(NULL, diag, LB_NOWHERE, path, image, &png_8), LB_OK);
    cr_expect_eq(count_files(folder), 1);
    cr_assert_eq(lb_media_read(NULL, diag, LB_NOWHERE, path, &wish, &back), LB_OK);
    /* Half a step of sRGB, whose slope at this brightness is below 1.6. */
    cr_expect_float_eq(pixel_of(back, "B", 5, 5), pixel_of(image, "B", 5, 5), 1.6f * 0.5f / 255.0f);
    lb_image_unref(&back);
    lb_image_unref(&image);
    lb_diag_free(&diag);
    remove_folder(folder);
}

/* Writes `name` into the folder, where that cannot succeed: a message, an answer, and afterwards
 * the folder as it was. */
static void expect_no_trace(const char *folder, const char *name, const lb_image *image,
                            const char *words)
{
    static const unsigned char before[] = "what was there before";
    char path[256];
    lb_diag *diag = lb_diag_new();
    int files = count_files(folder);
    void *after;
    size_t count;

    snprintf(path, sizeof path, "%s/%s", folder, name);
    cr_expect_eq(lb_media_write(NULL, diag, LB_NOWHERE, path, image, &png_8), LB_IO);
    cr_expect_eq(lb_diag_count(diag, LB_ERROR), 1);
    cr_expect(says(diag, words));
    cr_expect_eq(count_files(folder), files);
    if (strcmp(name, "old.png") == 0) {
        cr_assert_eq(lb_file_read(NULL, LB_NOWHERE, path, 1000, &after, &count), LB_OK);
        cr_expect(count == sizeof before && memcmp(after, before, count) == 0);
        lb_free(after);
    }
    lb_diag_free(&diag);
}

static void write_old(const char *folder)
{
    char path[256];
    FILE *file;

    snprintf(path, sizeof path, "%s/old.png", folder);
    file = fopen(path, "wb");
    fwrite("what was there before", 1, 22, file);
    fclose(file);
}

/* A limit of the file size stands for a disk that fills up in the middle of a file. */
Test(media, a_full_disk_leaves_no_trace)
{
    char *folder = make_folder();
    lb_box box = {0, 0, 200, 200};
    lb_image *image = make_image(box, box, names, 3, smooth);
    struct rlimit limit = {1024, 1024};

    write_old(folder);
    signal(SIGXFSZ, SIG_IGN);
    cr_assert_eq(setrlimit(RLIMIT_FSIZE, &limit), 0);
    expect_no_trace(folder, "new.png", image, "File too large");
    expect_no_trace(folder, "old.png", image, "File too large");
    lb_image_unref(&image);
    remove_folder(folder);
}

/* What no compression makes small. */
static float grain(int32_t x, int32_t y, int channel)
{
    return lb_random_float((uint32_t)x, (uint32_t)y, (uint32_t)channel, 1);
}

/* And a disk that is really full, where there is the right to mount one. */
Test(media, a_full_file_system_leaves_no_trace)
{
    char *folder = make_folder(), path[256];
    lb_box box = {0, 0, 300, 300};
    lb_image *image = make_image(box, box, names, 3, grain);

    if (mount("none", folder, "tmpfs", 0, "size=16k") != 0) {
        fprintf(stderr, "no right to mount: not tested on a real file system\n");
    } else {
        write_old(folder);
        expect_no_trace(folder, "new.png", image, "No space left");
        expect_no_trace(folder, "old.png", image, "No space left");
        snprintf(path, sizeof path, "%s/old.png", folder);
        unlink(path);
        umount(folder);
    }
    lb_image_unref(&image);
    remove_folder(folder);
}

Test(media, folders_that_cannot_be_written)
{
    char *folder = make_folder(), path[256];
    lb_box box = {0, 0, 4, 4};
    lb_image *image = make_image(box, box, names, 3, smooth);
    lb_diag *diag = lb_diag_new();

    touch(folder, "file");
    snprintf(path, sizeof path, "%s/file/a.png", folder);
    cr_expect_eq(lb_media_write(NULL, diag, LB_NOWHERE, path, image, &png_8), LB_IO);
    cr_expect(says(diag, "Not a directory"));
    snprintf(path, sizeof path, "%s/none/a.png", folder);
    cr_expect_eq(lb_media_write(NULL, diag, LB_NOWHERE, path, image, &png_8), LB_IO);
    cr_expect(says(diag, "No such file or directory"));
    if (geteuid() != 0) { /* the superuser may write everywhere */
        chmod(folder, 0500);
        expect_no_trace(folder, "a.png", image, "Permission denied");
        chmod(folder, 0700);
    }
    lb_diag_free(&diag);
    lb_image_unref(&image);
    remove_folder(folder);
}

/* An image that cannot be encoded opens no file. */
Test(media, nothing_is_written_of_what_cannot_be_encoded)
{
    char *folder = make_folder(), path[256];
    lb_box box = {0, 0, 4, 4};
    const char *const normals[] = {"N.x", "N.y"};
    lb_image *image = make_image(box, box, normals, 2, smooth);

    snprintf(path, sizeof path, "%s/a.png", folder);
    cr_expect_eq(lb_media_write(NULL, NULL, LB_NOWHERE, path, image, &png_8), LB_INVALID);
    cr_expect_eq(count_files(folder), 0);
    lb_image_unref(&image);
    remove_folder(folder);
}
