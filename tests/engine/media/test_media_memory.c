/* tests/engine/media/test_media_memory.c: every allocation of every reader and writer made to fail
 * once. What is left over, AddressSanitizer finds. */
#include <criterion/criterion.h>

#include "engine/media/media.h"
#include "tests/engine/media/exr_support.h"

#define MOST 2000 /* allocations of one call; more would be a loop that does not end */

static const char *const names[] = {"A", "B", "G", "R"};

static float ramp(int32_t x, int32_t y, int channel)
{
    return channel == 0 ? (float)(x % 2) : (float)(x + y * channel) / 100.0f;
}

static const lb_media_wish wish = {LB_SPACE_SRGB, LB_SPACE_LINEAR_REC709};

/* Reads with the n-th allocation failing, for n from 1 until none does. */
static void read_failing(const char *name, const void *bytes, size_t count)
{
    lb_media_info info;
    lb_image *image;
    lb_status status = LB_MEMORY;
    int64_t n;

    for (n = 1; n < MOST && status != LB_OK; n++) {
        lb_memory_fail_at(n);
        status = lb_media_read_memory(NULL, NULL, LB_NOWHERE, name, bytes, count, &wish, &image);
        cr_expect(status == LB_OK || lb_memory_fail_left() == 0);
        lb_memory_fail_at(0);
        cr_expect(status == LB_OK || status == LB_MEMORY, "%s, %d: %s", name, (int)n,
                  lb_status_text(status));
        cr_expect_eq(image != NULL, status == LB_OK);
        lb_image_unref(&image);
    }
    cr_expect_lt(n, MOST, "%s", name);
    status = LB_MEMORY;
    for (n = 1; n < MOST && status != LB_OK; n++) {
        lb_memory_fail_at(n);
        status = lb_media_probe(NULL, LB_NOWHERE, name, bytes, count, &info);
        lb_memory_fail_at(0);
        cr_expect(status == LB_OK || status == LB_MEMORY, "%s, %d: %s", name, (int)n,
                  lb_status_text(status));
        cr_expect(status == LB_OK || !info.channels);
        lb_media_info_clear(&info);
    }
    cr_expect_lt(n, MOST, "%s", name);
}

/* Writes in the same way, then reads what came out. */
static void write_failing(const char *name, lb_depth depth, lb_compression compression)
{
    lb_box box = {0, 0, 40, 50};
    lb_image *image = make_image(box, box, names, 4, ramp);
    lb_write_options options = {.depth = depth,
                                .compression = compression,
                                .view = LB_VIEW_SRGB,
                                .working = LB_SPACE_LINEAR_REC709,
                                .rate = {25, 1},
                                .graph_key = "ff"};
    lb_status status = LB_MEMORY;
    void *bytes;
    size_t count;
    int64_t n;

    for (n = 1; n < MOST && status != LB_OK; n++) {
        lb_memory_fail_at(n);
        status = lb_media_encode(NULL, NULL, LB_NOWHERE, name, image, &options, &bytes, &count);
        lb_memory_fail_at(0);
        cr_expect(status == LB_OK || status == LB_MEMORY, "%s, %s, %d: %s", name,
                  lb_compression_names[compression], (int)n, lb_status_text(status));
        cr_expect_eq(bytes != NULL, status == LB_OK);
        cr_expect_eq(count != 0, status == LB_OK);
        if (status == LB_OK)
            read_failing(name, bytes, count);
        lb_free(bytes);
    }
    cr_expect_lt(n, MOST, "%s", name);
    lb_image_unref(&image);
}

Test(media_memory, exr)
{
    for (int c = LB_COMPRESSION_NONE; c <= LB_COMPRESSION_B44A; c++)
        write_failing("a.exr", LB_DEPTH_HALF, (lb_compression)c);
    write_failing("a.exr", LB_DEPTH_FLOAT, LB_COMPRESSION_ZIP);
}

Test(media_memory, display_formats)
{
    write_failing("a.png", LB_DEPTH_8, LB_COMPRESSION_NONE);
    write_failing("a.png", LB_DEPTH_16, LB_COMPRESSION_NONE);
    write_failing("a.hdr", LB_DEPTH_FLOAT, LB_COMPRESSION_NONE);
    write_failing("a.jpg", LB_DEPTH_8, LB_COMPRESSION_NONE);
    write_failing("a.tga", LB_DEPTH_8, LB_COMPRESSION_NONE);
}

static double value(const char *channel, int32_t x, int32_t y)
{
    return channel[0] * 0.01 + x * 0.02 + y * 0.01;
}

/* Tiles, several parts, luminance and chroma. */
Test(media_memory, exr_of_other_kinds)
{
    made_part parts[] = {
        {.name = "one",
         .data = {0, 0, 32, 32},
         .tile = 16,
         .compression = EXR_COMPRESSION_PIZ,
         .channels = {{"R", EXR_PIXEL_HALF, 1}, {"G", EXR_PIXEL_FLOAT, 1}},
         .value = value},
        {.name = "two",
         .data = {0, 0, 16, 32},
         .compression = EXR_COMPRESSION_ZIP,
         .channels = {{"BY", EXR_PIXEL_HALF, 2},
                      {"RY", EXR_PIXEL_HALF, 2},
                      {"Y", EXR_PIXEL_HALF, 1}},
         .value = value},
    };
    exr_bytes made = make_exr((lb_box){0, 0, 32, 32}, parts, 2, NULL);

    read_failing("made.exr", made.bytes, made.count);
    free(made.bytes);
}

Test(media_memory, png_of_others)
{
    static const char *const files[] = {"png/primary/tbbn3p08.png", "png/16bit/basi4a16.png",
                                        "png/unused/ccwn2c08.png"};

    for (size_t i = 0; i < sizeof files / sizeof *files; i++) {
        size_t count;
        unsigned char *bytes = load_data(files[i], &count);

        read_failing(files[i], bytes, count);
        free(bytes);
    }
}

Test(media_memory, sequence_names)
{
    for (int64_t n = 1; n < 10; n++) {
        char *name;

        lb_memory_fail_at(n);
        name = lb_sequence_name("a.####.exr", 7);
        cr_expect_eq(name != NULL, lb_memory_fail_left() != 0);
        lb_memory_fail_at(0);
        lb_free(name);
    }
}
