/* tests/engine/media/test_png_read.c: PngSuite (Willem van Schaik) against stb_image, a decoder
 * that shares no code with the one that is used. */
#include <criterion/criterion.h>
#include <dirent.h>
#include <math.h>

#pragma GCC diagnostic ignored "-Wunused-function"
#define STB_IMAGE_STATIC
#define STB_IMAGE_IMPLEMENTATION
#define STBI_ONLY_PNG
#define STBI_NO_STDIO
#include <stb/stb_image.h>

#include "engine/media/media.h"
#include "tests/engine/media/media_support.h"

/* Our channel for channel c of RGBA, and its value in steps of `largest`. */
static long value_of(const lb_image *image, int c, int x, int y, double largest)
{
    static const char *const colour[] = {"R", "G", "B", "A"};
    const char *name = c < 3 && lb_image_find(image, "Y") ? "Y" : colour[c];

    if (c == 3 && !lb_image_find(image, "A"))
        return (long)largest;
    return lrint((double)pixel_of(image, name, x, y) * largest);
}

static void compare(const char *name, const unsigned char *bytes, size_t count)
{
    int width, height, channels, depth_16 = stbi_is_16_bit_from_memory(bytes, (int)count);
    double largest = depth_16 ? 65535 : 255;
    lb_media_info info;
    lb_image *image;
    void *pixels;

    if (depth_16)
        pixels = stbi_load_16_from_memory(bytes, (int)count, &width, &height, &channels, 4);
    else
        pixels = stbi_load_from_memory(bytes, (int)count, &width, &height, &channels, 4);
    cr_assert(pixels, "%s", name);
    cr_assert_eq(lb_media_decode(NULL, NULL, LB_NOWHERE, name, bytes, count, false, &image), LB_OK,
                 "%s", name);
    cr_assert_eq(lb_media_probe(NULL, LB_NOWHERE, name, bytes, count, &info), LB_OK);
    cr_expect_str_eq(info.format, "png");
    cr_expect_eq(info.bits, depth_16 ? 16 : 8);
    cr_expect(!info.is_float && info.space == LB_SPACE_SRGB && info.parts == 1);
    cr_expect_eq(info.channel_count, channels, "%s", name);
    cr_expect_eq(lb_image_count(image), channels, "%s", name);
    for (int c = 0; c < info.channel_count && c < lb_image_count(image); c++)
        cr_expect_str_eq(info.channels[c], lb_image_name(image, c));
    cr_expect(lb_box_equal(info.display, (lb_box){0, 0, width, height}));
    cr_expect(lb_box_equal(lb_image_data(image), info.display));
    for (int y = 0; y < height; y++)
        for (int x = 0; x < width; x++)
            for (int c = 0; c < 4; c++) {
                size_t at = ((size_t)y * (size_t)width + (size_t)x) * 4 + (size_t)c;
                long wanted = depth_16 ? ((uint16_t *)pixels)[at] : ((uint8_t *)pixels)[at];

                cr_assert_eq(value_of(image, c, x, y, largest), wanted, "%s: channel %d at %d, %d",
                             name, c, x, y);
            }
    /* Values are the integer divided by the largest: exactly, as a float has it. */
    if (lb_image_find(image, "R") && !depth_16)
        cr_expect_eq(pixel_of(image, "R", 0, 0), (float)((uint8_t *)pixels)[0] / 255.0f);
    lb_media_info_clear(&info);
    lb_image_unref(&image);
    free(pixels);
}

typedef void (*file_check)(const char *name, const unsigned char *bytes, size_t count);

static int for_each(const char *folder, file_check check)
{
    char path[512];
    DIR *listing;
    int files = 0;

    snprintf(path, sizeof path, LB_TEST_DATA "/png/%s", folder);
    cr_assert((listing = opendir(path)) != NULL);
    for (struct dirent *entry; (entry = readdir(listing)) != NULL;) {
        unsigned char *bytes;
        size_t count;

        if (entry->d_name[0] == '.')
            continue;
        snprintf(path, sizeof path, "png/%s/%.200s", folder, entry->d_name);
        bytes = load_data(path, &count);
        check(entry->d_name, bytes, count);
        free(bytes);
        files++;
    }
    closedir(listing);
    return files;
}

Test(png_read, png_suite)
{
    int files = for_each("primary", compare);

    files += for_each("16bit", compare);
    files += for_each("unused", compare);
    cr_expect_eq(files, 160, "%d", files);
}

static void refuse(const char *name, const unsigned char *bytes, size_t count)
{
    lb_diag *diag = lb_diag_new();
    lb_image *image;

    cr_expect_eq(lb_media_decode(NULL, diag, LB_NOWHERE, name, bytes, count, true, &image),
                 LB_FORMAT, "%s", name);
    cr_expect_null(image);
    cr_expect_eq(lb_diag_count(diag, LB_ERROR), 1);
    cr_expect(says(diag, name));
    lb_diag_free(&diag);
}

Test(png_read, corrupt_files_are_refused)
{
    cr_expect_eq(for_each("corrupt", refuse), 14);
}

/* What the corrupt ones of the suite are for, one by one: PngSuite.LICENSE's page tells. */
Test(png_read, messages_say_what_is_wrong)
{
    static const struct {
        char file[32], words[48];
    } rows[] = {
        {"png/corrupt/xcsn0g01.png", "is a damaged PNG: invalid chunk checksum"},
        {"png/corrupt/xhdn0g08.png", "is a damaged PNG: invalid chunk checksum"},
        {"png/corrupt/xd9n2c08.png", "is a damaged PNG: invalid bit depth"},
        {"png/corrupt/xc1n0g08.png", "is a damaged PNG: invalid color type"},
        {"png/corrupt/xs1n0g01.png", "does not begin as any picture that is read"},
    };

    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        lb_diag *diag = lb_diag_new();
        lb_image *image;
        size_t count;
        unsigned char *bytes = load_data(rows[i].file, &count);

        cr_expect_neq(
            lb_media_decode(NULL, diag, LB_NOWHERE, rows[i].file, bytes, count, true, &image),
            LB_OK);
        cr_expect(says(diag, rows[i].words));
        lb_diag_free(&diag);
        free(bytes);
    }
}

/* Cut at every byte up to the checksum of IEND, which has nothing to check: never a crash, never a
 * picture. */
Test(png_read, cut_short)
{
    size_t count;
    unsigned char *bytes = load_data("png/primary/basi6a08.png", &count);

    for (size_t n = 0; n < count - 4; n++) {
        unsigned char *part = malloc(n + 1); /* its end is where a sanitizer looks */
        lb_image *image;

        memcpy(part, bytes, n);
        part = realloc(part, n ? n : 1);
        cr_expect_eq(lb_media_decode(NULL, NULL, LB_NOWHERE, "c.png", part, n, true, &image),
                     LB_FORMAT, "%zu bytes", n);
        free(part);
    }
    free(bytes);
}

static uint32_t crc_of(const unsigned char *bytes, size_t count)
{
    uint32_t crc = 0xffffffffu; /* PNG (Third Edition), annex D */

    for (size_t i = 0; i < count; i++) {
        crc ^= bytes[i];
        for (int k = 0; k < 8; k++)
            crc = crc & 1 ? 0xedb88320u ^ (crc >> 1) : crc >> 1;
    }
    return ~crc;
}

static void put_u32(unsigned char *at, uint32_t value)
{
    for (int i = 0; i < 4; i++)
        at[i] = (unsigned char)(value >> (24 - 8 * i));
}

/* A header that claims a size, with the right CRC, before the pixels of a small picture. */
Test(png_read, claims_are_checked_first)
{
    static const struct {
        uint32_t width, height;
        size_t budget; /* beyond what is in use; 0: none */
        lb_status status;
        char words[40];
    } rows[] = {
        {70000, 10, 0, LB_LIMIT, "claims 70000 x 10 pixels"},
        {65536, 65536, 0, LB_LIMIT, "in all are read"},
        {30000, 30000, 0, LB_FORMAT, "bytes cannot hold the 30000 x 30000"},
        {2000, 100, 300000, LB_MEMORY, "memory budget"},
    };

    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        size_t count;
        unsigned char *bytes = load_data("png/primary/basn6a08.png", &count);
        lb_diag *diag = lb_diag_new();
        lb_image *image;

        put_u32(bytes + 16, rows[i].width);
        put_u32(bytes + 20, rows[i].height);
        put_u32(bytes + 29, crc_of(bytes + 12, 17));
        lb_memory_set_budget(rows[i].budget ? lb_memory_used() + rows[i].budget : 0);
        lb_memory_reset_peak();
        cr_expect_eq(lb_media_decode(NULL, diag, LB_NOWHERE, "c.png", bytes, count, true, &image),
                     rows[i].status, "row %zu", i);
        cr_expect_lt(lb_memory_peak(), lb_memory_used() + 300000);
        lb_memory_set_budget(0);
        cr_expect(says(diag, rows[i].words));
        lb_diag_free(&diag);
        free(bytes);
    }
}
