/* tests/engine/media/test_exr_read.c: OpenEXR files of others, and of the library's C core. */
#include <criterion/criterion.h>
#include <dirent.h>
#include <math.h>
#include <time.h>

#include "engine/media/media.h"
#include "tests/engine/media/exr_support.h"

static lb_status decode(lb_diag *diag, const char *name, const void *bytes, size_t count,
                        bool partial, lb_image **out)
{
    return lb_media_decode(NULL, diag, LB_NOWHERE, name, bytes, count, partial, out);
}

/* 64-bit FNV-1a of a plane's rows. */
static uint64_t hash_of(const lb_plane *plane)
{
    lb_box box = lb_plane_box(plane);
    uint64_t hash = 14695981039346656037u;

    for (int32_t y = box.y0; y < box.y1; y++) {
        const unsigned char *row = (const unsigned char *)lb_plane_row(plane, y);

        for (size_t i = 0; i < (size_t)lb_box_width(box) * 4; i++)
            hash = (hash ^ row[i]) * 1099511628211u;
    }
    return hash;
}

/* tests/data/exr/EXPECTED.csv, made with the C++ API of the OpenEXR library 3.1.5 as SOURCE.md
 * beside it tells. */
Test(exr_read, files_of_others)
{
    size_t size, count;
    char *table = (char *)load_data("exr/EXPECTED.csv", &size), *line;
    int rows = 0;

    table[size] = 0;
    for (line = strchr(table, '\n') + 1; *line; line = strchr(line, '\n') + 1, rows++) {
        char name[128], channel[32], path[160];
        unsigned long long hash;
        lb_box box;
        lb_image *image;
        unsigned char *bytes;

        cr_assert_eq(sscanf(line, "%127[^,],%d,%d,%d,%d,%31[^,],%llx", name, &box.x0, &box.y0,
                            &box.x1, &box.y1, channel, &hash),
                     7);
        snprintf(path, sizeof path, "exr/%s", name);
        bytes = load_data(path, &count);
        cr_assert_eq(decode(NULL, name, bytes, count, false, &image), LB_OK, "%s", name);
        cr_expect(lb_box_equal(lb_image_data(image), box), "%s", name);
        cr_assert(lb_image_find(image, channel), "%s: %s", name, channel);
        cr_expect_eq(hash_of(lb_image_find(image, channel)), hash, "%s: %s", name, channel);
        lb_image_unref(&image);
        free(bytes);
    }
    cr_expect_eq(rows, 50);
    free(table);
}

/* The values are all of the 65536 halves, each where its bits say: a file to test with that has
 * its own meaning. */
Test(exr_read, all_half_values)
{
    static bool seen[65536];
    size_t count;
    unsigned char *bytes = load_data("exr/TestImages/AllHalfValues.exr", &count);
    lb_media_info info;
    lb_image *image;
    int found = 0;

    cr_assert_eq(lb_media_probe(NULL, LB_NOWHERE, "a.exr", bytes, count, &info), LB_OK);
    cr_expect_str_eq(info.format, "exr");
    cr_expect_str_eq(info.compression, "piz");
    cr_expect(info.is_float && info.bits == 16 && info.parts == 1 && info.channel_count == 3);
    cr_expect_str_eq(info.channels[0], "B");
    cr_expect_eq(info.space, LB_SPACE_LINEAR_REC709);
    cr_expect_not(info.has_primaries);
    lb_media_info_clear(&info);
    cr_assert_eq(decode(NULL, "a.exr", bytes, count, false, &image), LB_OK);
    for (int32_t y = 0; y < 256; y++)
        for (int32_t x = 0; x < 256; x++) {
            uint32_t bits = float_bits(pixel_of(image, "R", x, y)), size = bits & 0x7fffffff;
            uint32_t half; /* exact: every value is one */

            if (size >= 0x7f800000)
                half = 0x7c00 | ((size >> 13) & 0x3ff);
            else if (size >= 0x38800000)
                half = (size - 0x38000000) >> 13;
            else
                half = (uint32_t)ldexp((double)fabsf(pixel_of(image, "R", x, y)), 24);
            half |= bits >> 16 & 0x8000;
            found += !seen[half];
            seen[half] = true;
        }
    cr_expect_eq(found, 65536);
    lb_image_unref(&image);
    free(bytes);
}

static double ramp(const char *channel, int32_t x, int32_t y)
{
    return channel[0] + 0.25 * x - 0.125 * y; /* halves hold it exactly below 128 */
}

static double identifier(const char *channel, int32_t x, int32_t y)
{
    (void)channel;
    return (double)(x * 1000 + y);
}

static const lb_box frame = {0, 0, 40, 30};

static lb_image *decode_made(exr_bytes *made)
{
    lb_diag *diag = lb_diag_new();
    lb_image *image = NULL;
    lb_status status = decode(diag, "made.exr", made->bytes, made->count, false, &image);

    if (status != LB_OK) {
        lb_diag_print(diag, stderr, false);
        support_die("does not decode", "made.exr");
    }
    lb_diag_free(&diag);
    free(made->bytes);
    return image;
}

static void expect_values(const lb_image *image, const char *name, const char *channel, lb_box box,
                          double (*value)(const char *, int32_t, int32_t))
{
    for (int32_t y = box.y0; y < box.y1; y++)
        for (int32_t x = box.x0; x < box.x1; x++)
            cr_assert_eq((double)pixel_of(image, name, x, y), value(channel, x, y),
                         "%s at %d, %d: %g", name, x, y, (double)pixel_of(image, name, x, y));
}

/* Every lossless compression, halves, floats and integers side by side, windows at odd places;
 * written by the library with its own packing. */
Test(exr_read, every_compression_and_type)
{
    static const exr_compression_t compressions[] = {EXR_COMPRESSION_NONE, EXR_COMPRESSION_RLE,
                                                     EXR_COMPRESSION_ZIPS, EXR_COMPRESSION_ZIP,
                                                     EXR_COMPRESSION_PIZ,  EXR_COMPRESSION_PXR24};
    static const lb_box boxes[] = {{0, 0, 40, 30}, {-7, -11, 30, 38}, {5, 3, 6, 4}};

    for (size_t i = 0; i < sizeof compressions / sizeof *compressions; i++)
        for (size_t b = 0; b < 3; b++)
            for (int tile = 0; tile <= 16; tile += 16) {
                made_part part = {.data = boxes[b],
                                  .tile = tile,
                                  .mipmap = tile && b == 1,
                                  .compression = compressions[i],
                                  .channels = {{"A.h", EXR_PIXEL_HALF, 1},
                                               {"B.f", EXR_PIXEL_FLOAT, 1},
                                               {"C.h", EXR_PIXEL_HALF, 1}},
                                  .value = ramp};
                exr_bytes made = make_exr(frame, &part, 1, NULL);
                lb_image *image = decode_made(&made);

                cr_expect(lb_box_equal(lb_image_display(image), frame));
                cr_expect(lb_box_equal(lb_image_data(image), boxes[b]));
                cr_expect_eq(lb_image_count(image), 3);
                expect_values(image, "A.h", "A.h", boxes[b], ramp);
                expect_values(image, "B.f", "B.f", boxes[b], ramp);
                expect_values(image, "C.h", "C.h", boxes[b], ramp);
                lb_image_unref(&image);
            }
}

/* Identifiers stay numbers: they are not divided by the largest integer. */
Test(exr_read, integers_keep_their_value)
{
    made_part part = {.data = frame,
                      .compression = EXR_COMPRESSION_ZIP,
                      .channels = {{"id", EXR_PIXEL_UINT, 1}},
                      .value = identifier};
    exr_bytes made = make_exr(frame, &part, 1, NULL);
    lb_media_info info;
    lb_image *image;

    cr_assert_eq(lb_media_probe(NULL, LB_NOWHERE, "", made.bytes, made.count, &info), LB_OK);
    cr_expect(!info.is_float && info.bits == 32);
    lb_media_info_clear(&info);
    image = decode_made(&made);
    expect_values(image, "id", "id", frame, identifier);
    lb_image_unref(&image);
}

Test(exr_read, parts_get_their_names_in_front)
{
    static const lb_box left = {-4, 2, 20, 25}, right = {10, -3, 44, 12};
    made_part parts[] = {
        {.name = "sharp",
         .data = left,
         .compression = EXR_COMPRESSION_ZIPS,
         .channels = {{"G", EXR_PIXEL_HALF, 1}, {"sharp.Z", EXR_PIXEL_FLOAT, 1}},
         .value = ramp},
        {.name = "soft",
         .data = right,
         .tile = 8,
         .compression = EXR_COMPRESSION_PIZ,
         .channels = {{"G", EXR_PIXEL_HALF, 1}, {"sharp.Z", EXR_PIXEL_HALF, 1}},
         .value = ramp},
    };
    exr_bytes made = make_exr(frame, parts, 2, NULL);
    lb_media_info info;
    lb_image *image;

    cr_assert_eq(lb_media_probe(NULL, LB_NOWHERE, "", made.bytes, made.count, &info), LB_OK);
    cr_expect(info.parts == 2 && info.channel_count == 4);
    cr_expect(lb_box_equal(info.data, (lb_box){-4, -3, 44, 25}));
    image = decode_made(&made);
    cr_assert_eq(lb_image_count(image), 4);
    for (int32_t i = 0; i < 4; i++)
        cr_expect_str_eq(info.channels[i], lb_image_name(image, i));
    lb_media_info_clear(&info);
    cr_expect(lb_box_equal(lb_image_data(image), (lb_box){-4, -3, 44, 25}));
    expect_values(image, "sharp.G", "G", left, ramp);
    expect_values(image, "sharp.Z", "sharp.Z", left, ramp);
    expect_values(image, "soft.G", "G", right, ramp);
    expect_values(image, "soft.sharp.Z", "sharp.Z", right, ramp);
    /* Inside the window around both, but in neither. */
    cr_expect_eq(pixel_of(image, "sharp.G", 30, 10), 0);
    cr_expect_eq(pixel_of(image, "soft.G", -4, 20), 0);
    lb_image_unref(&image);
}

static const lb_primaries wide = {{0.708, 0.292}, {0.170, 0.797}, {0.131, 0.046}, {0.3127, 0.329}};
static const exr_attr_chromaticities_t wide_chromaticities = {0.708f, 0.292f, 0.170f,  0.797f,
                                                              0.131f, 0.046f, 0.3127f, 0.329f};

/* Colours whose chroma is the same everywhere, luminance not: no filter can disturb them. The
 * weights are BT.2020-2's, table 4: 0.2627, 0.6780, 0.0593. */
static double tinted(const char *channel, int32_t x, int32_t y)
{
    double luminance = 0.5 + x * 0.03125 + y * 0.0625;
    double red = 1.5, blue = 0.25; /* as shares of the luminance */

    if (strcmp(channel, "RY") == 0)
        return red - 1;
    if (strcmp(channel, "BY") == 0)
        return blue - 1;
    if (strcmp(channel, "R") == 0)
        return red * luminance;
    if (strcmp(channel, "B") == 0)
        return blue * luminance;
    if (strcmp(channel, "G") == 0)
        return luminance * (1 - 0.2627 * red - 0.0593 * blue) / 0.6780;
    return luminance;
}

Test(exr_read, luminance_and_chroma_become_rgb)
{
    for (int step = 1; step <= 2; step++) {
        made_part part = {.data = {-8, 4, 32, 26},
                          .compression = step == 1 ? EXR_COMPRESSION_ZIP : EXR_COMPRESSION_PIZ,
                          .channels = {{"BY", EXR_PIXEL_FLOAT, step},
                                       {"RY", EXR_PIXEL_FLOAT, step},
                                       {"Y", EXR_PIXEL_FLOAT, 1}},
                          .value = tinted};
        exr_bytes made = make_exr(frame, &part, 1, &wide_chromaticities);
        lb_media_info info;
        lb_image *image;

        cr_assert_eq(lb_media_probe(NULL, LB_NOWHERE, "", made.bytes, made.count, &info), LB_OK);
        cr_assert_eq(info.channel_count, 3);
        cr_expect_str_eq(info.channels[0], "B");
        cr_expect_str_eq(info.channels[2], "R");
        cr_expect(info.has_primaries && fabs(info.primaries.red[0] - wide.red[0]) < 1e-6 &&
                  fabs(info.primaries.white[1] - wide.white[1]) < 1e-6);
        lb_media_info_clear(&info);
        image = decode_made(&made);
        cr_assert_eq(lb_image_count(image), 3);
        for (int32_t y = part.data.y0; y < part.data.y1; y++)
            for (int32_t x = part.data.x0; x < part.data.x1; x++)
                for (int c = 0; c < 3; c++) {
                    const char *name = &"R\0G\0B"[2 * c];
                    double wanted = tinted(name, x, y);

                    /* The weights are published with four decimals, G's divided by 0.678; the
                     * filter's taps sum to 1 within 2e-6. */
                    cr_assert_float_eq((double)pixel_of(image, name, x, y), wanted,
                                       2e-4 * fabs(wanted) + 1e-6, "%s at %d, %d: %g not %g", name,
                                       x, y, (double)pixel_of(image, name, x, y), wanted);
                }
        lb_image_unref(&image);
    }
}

/* Chroma that changes along a line stays on the line between its samples: every filter that keeps
 * straight lines does so, away from the edges. */
static double sloped(const char *channel, int32_t x, int32_t y)
{
    if (strcmp(channel, "RY") == 0)
        return x / 64.0;
    if (strcmp(channel, "BY") == 0)
        return y / 64.0;
    return 1;
}

Test(exr_read, chroma_between_its_samples)
{
    made_part part = {.data = {0, 0, 64, 64},
                      .compression = EXR_COMPRESSION_ZIPS,
                      .channels = {{"BY", EXR_PIXEL_FLOAT, 2},
                                   {"RY", EXR_PIXEL_FLOAT, 2},
                                   {"Y", EXR_PIXEL_FLOAT, 1}},
                      .value = sloped};
    exr_bytes made = make_exr((lb_box){0, 0, 64, 64}, &part, 1, NULL);
    lb_image *image = decode_made(&made);

    for (int32_t y = 14; y < 48; y++)
        for (int32_t x = 14; x < 48; x++) {
            cr_assert_float_eq((double)pixel_of(image, "R", x, y), 1 + x / 64.0, 1e-5);
            cr_assert_float_eq((double)pixel_of(image, "B", x, y), 1 + y / 64.0, 1e-5);
        }
    lb_image_unref(&image);
}

Test(exr_read, other_sampling_is_refused)
{
    made_part part = {.data = frame,
                      .compression = EXR_COMPRESSION_NONE,
                      .channels = {{"R", EXR_PIXEL_HALF, 2}, {"Y", EXR_PIXEL_HALF, 1}},
                      .value = ramp};
    exr_bytes made = make_exr(frame, &part, 1, NULL);
    lb_diag *diag = lb_diag_new();
    lb_image *image;

    cr_expect_eq(decode(diag, "s.exr", made.bytes, made.count, false, &image), LB_UNSUPPORTED);
    cr_expect_null(image);
    cr_expect(says(diag, "channel 'R' is sampled at every 2 x 2"));
    lb_diag_free(&diag);
    free(made.bytes);
}

/* A header with the type or compression changed: bytes of the file's own, found by name. */
static void replace_after(exr_bytes *made, const char *name, size_t skip, const void *with,
                          size_t count)
{
    unsigned char *at = memmem(made->bytes, made->count, name, strlen(name) + 1);

    if (!at)
        support_die("is not in the header", name);
    memcpy(at + skip, with, count);
}

/* The header of a deep file, without its chunks. */
static exr_bytes make_deep_header(void)
{
    exr_context_initializer_t start = EXR_DEFAULT_CONTEXT_INITIALIZER;
    exr_attr_box2i_t window = {.min = {.x = 0, .y = 0}, .max = {.x = 7, .y = 7}};
    exr_attr_v2f_t centre = {.x = 0, .y = 0};
    exr_bytes out = {0};
    exr_context_t context;
    int part;

    start.user_data = &out;
    start.write_fn = exr_write_bytes;
    start.error_handler_fn = exr_hush;
    exr_check(exr_start_write(&context, "/dev/null/deep.exr", EXR_WRITE_FILE_DIRECTLY, &start),
              "exr_start_write");
    exr_check(exr_add_part(context, "deep", EXR_STORAGE_DEEP_SCANLINE, &part), "exr_add_part");
    exr_check(exr_initialize_required_attr(context, part, &window, &window, 1, &centre, 1,
                                           EXR_LINEORDER_INCREASING_Y, EXR_COMPRESSION_ZIPS),
              "required");
    exr_check(
        exr_add_channel(context, part, "Z", EXR_PIXEL_FLOAT, EXR_PERCEPTUALLY_LOGARITHMIC, 1, 1),
        "exr_add_channel");
    exr_check(exr_write_header(context), "exr_write_header");
    exr_finish(&context);
    return out;
}

Test(exr_read, dwa_and_deep_are_refused_by_name)
{
    made_part part = {.data = frame,
                      .compression = EXR_COMPRESSION_ZIPS,
                      .channels = {{"R", EXR_PIXEL_HALF, 1}},
                      .value = ramp};
    lb_diag *diag = lb_diag_new();
    lb_media_info info;
    lb_image *image;
    exr_bytes deep;

    for (unsigned char code = 8; code <= 9; code++) {
        exr_bytes made = make_exr(frame, &part, 1, NULL);

        /* "compression\0compression\0" and four bytes of length stand before the value. */
        replace_after(&made, "compression", 28, &code, 1);
        cr_expect_eq(decode(diag, "d.exr", made.bytes, made.count, true, &image), LB_UNSUPPORTED);
        cr_expect(says(diag, code == 8 ? "is compressed with DWAA" : "is compressed with DWAB"));
        cr_expect_eq(lb_media_probe(diag, LB_NOWHERE, "d.exr", made.bytes, made.count, &info),
                     LB_UNSUPPORTED);
        free(made.bytes);
    }
    deep = make_deep_header();
    cr_expect_eq(decode(diag, "deep.exr", deep.bytes, deep.count, true, &image), LB_UNSUPPORTED);
    cr_expect(says(diag, "'deep.exr' holds deep data, which is not read"));
    free(deep.bytes);
    lb_diag_free(&diag);
}

/* Cut short: the rows that are there, or nothing. */
Test(exr_read, cut_short)
{
    made_part part = {.data = {0, 0, 64, 64},
                      .compression = EXR_COMPRESSION_ZIPS,
                      .channels = {{"Y", EXR_PIXEL_FLOAT, 1}},
                      .value = ramp};
    exr_bytes made = make_exr(frame, &part, 1, NULL);
    lb_diag *diag = lb_diag_new();
    lb_image *image;
    int good = 0, zero = 0;

    cr_expect_eq(decode(diag, "c.exr", made.bytes, made.count * 3 / 4, false, &image), LB_FORMAT);
    cr_expect_null(image);
    cr_expect(says(diag, "of its 64 blocks cannot be decoded"));
    cr_assert_eq(decode(diag, "c.exr", made.bytes, made.count * 3 / 4, true, &image), LB_OK);
    cr_expect(says(diag, "warning: 'c.exr' is damaged"));
    for (int32_t y = 0; y < 64; y++) {
        bool sound = (double)pixel_of(image, "Y", 5, y) == ramp("Y", 5, y);

        good += sound;
        zero += pixel_of(image, "Y", 5, y) == 0;
    }
    cr_expect(good > 20 && zero > 5 && good + zero == 64, "%d good, %d zero", good, zero);
    lb_image_unref(&image);
    for (size_t n = 0; n < made.count; n += n < 600 ? 1 : 97) {
        lb_status status = decode(NULL, "c.exr", made.bytes, n, true, &image);

        cr_expect(status == LB_OK || status == LB_FORMAT, "%zu bytes: %d", n, (int)status);
        lb_image_unref(&image);
    }
    lb_diag_free(&diag);
    free(made.bytes);
}

/* A small file that claims a big picture costs nothing. */
Test(exr_read, claims_are_checked_first)
{
    static const struct {
        int32_t x1, y1;
        size_t budget; /* beyond what is in use; 0: none */
        lb_status status;
        char words[48];
    } rows[] = {
        {70000, 9, 0, LB_LIMIT, "claims 70001 x 10 pixels"},
        {65535, 65535, 0, LB_LIMIT, "in all are read"},
        {30000, 9999, 0, LB_FORMAT, "damaged"},
        {399, 299, 100000, LB_MEMORY, "memory budget"},
        {-2, 9, 0, LB_FORMAT, "damaged"},
    };
    made_part part = {.data = {0, 0, 400, 300},
                      .compression = EXR_COMPRESSION_ZIP,
                      .channels = {{"R", EXR_PIXEL_HALF, 1}},
                      .value = ramp};

    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        exr_bytes made = make_exr(frame, &part, 1, NULL);
        int32_t corner[2] = {rows[i].x1, rows[i].y1};
        lb_diag *diag = lb_diag_new();
        lb_image *image;

        replace_after(&made, "dataWindow", 11 + 6 + 4 + 8, corner, 8);
        lb_memory_set_budget(rows[i].budget ? lb_memory_used() + rows[i].budget : 0);
        lb_memory_reset_peak();
        cr_expect_eq(decode(diag, "big.exr", made.bytes, made.count, true, &image), rows[i].status,
                     "row %zu", i);
        cr_expect_lt(lb_memory_peak(), lb_memory_used() + 100000, "row %zu", i);
        cr_expect(says(diag, rows[i].words));
        lb_memory_set_budget(0);
        lb_diag_free(&diag);
        free(made.bytes);
    }
}

/* All 89 broken files of the OpenEXR project's collection: an answer and a message, in no time. */
Test(exr_read, damaged_files)
{
    DIR *folder = opendir(LB_TEST_DATA "/exr/Damaged");
    clock_t start = clock();
    int files = 0;

    cr_assert(folder);
    for (struct dirent *entry; (entry = readdir(folder)) != NULL;) {
        char name[512];
        size_t count;
        unsigned char *bytes;

        if (entry->d_name[0] == '.')
            continue;
        snprintf(name, sizeof name, "exr/Damaged/%.400s", entry->d_name);
        bytes = load_data(name, &count);
        files++;
        for (int partial = 0; partial < 2; partial++) {
            lb_diag *diag = lb_diag_new();
            lb_image *image;
            lb_status status = decode(diag, entry->d_name, bytes, count, partial, &image);

            if (status == LB_OK)
                cr_expect(image && (partial == 0 || lb_diag_count(diag, LB_ERROR) == 0));
            else
                cr_expect(!image && lb_diag_count(diag, LB_ERROR) == 1, "%s", entry->d_name);
            cr_expect(status != LB_MEMORY && status != LB_IO, "%s: %d", entry->d_name, (int)status);
            lb_image_unref(&image);
            lb_diag_free(&diag);
        }
        free(bytes);
    }
    closedir(folder);
    cr_expect_eq(files, 89);
    cr_expect_lt(lb_memory_peak(), (size_t)256 << 20);
    cr_expect_lt((double)(clock() - start) / CLOCKS_PER_SEC, 20.0);
}
