/* tests/nodes/source/test_image.c: what a file's numbers become (glTF 2.0's example of the sRGB
 * curve, OpenEXR's display windows), where its pixels go, sequences and their gaps. */
#include <criterion/criterion.h>
#include <unistd.h>

#include "engine/base/file.h"
#include "engine/media/media.h"
#include "tests/support/op_run.h"

extern const lb_op lb_op_image;

static char folder[64];

static void make_folder(void)
{
    strcpy(folder, "/tmp/lampblack-image-XXXXXX");
    cr_assert(mkdtemp(folder) != NULL);
}

static void remove_folder(void)
{
    char command[128];

    snprintf(command, sizeof command, "rm -r '%s'", folder);
    cr_expect(system(command) == 0);
}

static const char *in_folder(const char *name)
{
    static char path[160];

    snprintf(path, sizeof path, "%s/%s", folder, name);
    return path;
}

/* Writes the image; EXR as float, PNG as 8 bit sRGB. */
static void write_file(const char *name, const lb_image *image)
{
    lb_write_options options = {.depth = strstr(name, ".exr") ? LB_DEPTH_FLOAT : LB_DEPTH_8,
                                .view = LB_VIEW_SRGB,
                                .working = LB_SPACE_LINEAR_REC709,
                                .rate = {24, 1}};
    lb_diag *diag = lb_diag_new();

    cr_assert(lb_media_write(NULL, diag, LB_NOWHERE, in_folder(name), image, &options) == LB_OK);
    lb_diag_free(&diag);
}

static op_run open_file(const char *name)
{
    op_run r = op_new(&lb_op_image, 1);

    op_text(&r, "file", in_folder(name));
    return r;
}

/* A one-pixel 8 bit RGBA TGA: as plain as a file can be. */
static void write_tga(const char *name, int red, int green, int blue, int alpha)
{
    unsigned char bytes[22] = {0, 0, 2};
    lb_diag *diag = lb_diag_new();

    bytes[12] = bytes[14] = 1;
    bytes[16] = 32;
    bytes[17] = 8;
    bytes[18] = (unsigned char)blue;
    bytes[19] = (unsigned char)green;
    bytes[20] = (unsigned char)red;
    bytes[21] = (unsigned char)alpha;
    cr_assert(lb_file_write(diag, LB_NOWHERE, in_folder(name), bytes, sizeof bytes) == LB_OK);
    lb_diag_free(&diag);
}

/* glTF 2.0, section 3.9.2: the texel (64, 124, 231) is (0.051, 0.202, 0.799) in linear light. */
Test(image, eight_bits_are_srgb, .init = make_folder, .fini = remove_folder)
{
    static const char *const spaces[] = {NULL, "raw", "linear-rec709"};
    static const double want[][3] = {{0.051, 0.202, 0.799},
                                     {64.0 / 255, 124.0 / 255, 231.0 / 255},
                                     {64.0 / 255, 124.0 / 255, 231.0 / 255}};
    static const char *const names[3] = {"R", "G", "B"};

    write_tga("texel.tga", 64, 124, 231, 255);
    for (int i = 0; i < 3; i++) {
        op_run r = open_file("texel.tga");
        lb_image *image;

        if (spaces[i])
            op_text(&r, "space", spaces[i]);
        image = op_run_all(&r);
        cr_assert(image);
        for (int c = 0; c < 3; c++)
            cr_expect(fabs(op_at(image, names[c], 0, 0) - want[i][c]) < 5e-4, "%d %s: %g", i,
                      names[c], op_at(image, names[c], 0, 0));
        lb_image_unref(&image);
        op_free(&r);
    }
}

/* Colour is decoded, then premultiplied: 188 is 0.5029 by the sRGB curve; alpha 51 is 0.2. */
Test(image, alpha_is_premultiplied, .init = make_folder, .fini = remove_folder)
{
    op_run r;
    lb_image *image;

    write_tga("texel.tga", 188, 0, 255, 51);
    r = open_file("texel.tga");
    image = op_run_all(&r);
    cr_expect(fabs(op_at(image, "A", 0, 0) - 0.2) < 1e-6);
    cr_expect(fabs(op_at(image, "R", 0, 0) - 0.5029 * 0.2) < 1e-4);
    cr_expect(fabs(op_at(image, "B", 0, 0) - 0.2) < 1e-6);
    lb_image_unref(&image);
    op_free(&r);
}

/* The display window's corner goes to (0, 0), and the data window with it. */
Test(image, windows, .init = make_folder, .fini = remove_folder)
{
    lb_image *in = op_noise_image((lb_box){100, 50, 164, 98}, (lb_box){90, 60, 150, 120},
                                  "A B G R depth.Z", 71);
    op_run r;
    lb_image *out;

    write_file("windows.exr", in);
    r = open_file("windows.exr");
    out = op_run_all(&r);
    cr_assert(out);
    cr_expect(lb_box_equal(lb_image_display(out), (lb_box){0, 0, 64, 48}));
    cr_expect(lb_box_equal(lb_image_data(out), (lb_box){-10, 10, 50, 70}));
    for (int32_t y = 10; y < 70; y++)
        for (int32_t x = -10; x < 50; x++) {
            cr_assert(op_at(out, "R", x, y) == op_at(in, "R", x + 100, y + 50));
            cr_assert(op_at(out, "depth.Z", x, y) == op_at(in, "depth.Z", x + 100, y + 50));
        }
    lb_image_unref(&out);
    cr_expect(op_is_consistent(&r));
    lb_image_unref(&in);
    op_free(&r);
}

/* The OpenEXR project's own files, windows as their headers say (exrheader). */
Test(image, display_windows_of_openexr)
{
    static const struct {
        const char *name;
        lb_box display; /* half-open; the data window of all is [0, 400) x [0, 300) */
    } rows[] = {{"t01", {0, 0, 400, 300}},     {"t03", {30, 20, 400, 300}},
                {"t07", {-40, -40, 441, 331}}, {"t09", {400, 0, 600, 300}},
                {"t11", {0, 300, 400, 500}},   {"t13", {399, 299, 500, 400}}};
    lb_image *first = NULL;

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        lb_box d = rows[i].display;
        op_run r = op_new(&lb_op_image, 1);
        char path[256];
        lb_image *image;

        snprintf(path, sizeof path, "%s/exr/DisplayWindow/%s.exr", LB_TEST_DATA, rows[i].name);
        op_text(&r, "file", path);
        image = op_run_all(&r);
        cr_assert(image, "%s", path);
        cr_expect(lb_box_equal(lb_image_display(image), (lb_box){0, 0, d.x1 - d.x0, d.y1 - d.y0}),
                  "%s", rows[i].name);
        cr_expect(
            lb_box_equal(lb_image_data(image), (lb_box){-d.x0, -d.y0, 400 - d.x0, 300 - d.y0}),
            "%s", rows[i].name);
        if (!first)
            first = image;
        for (int32_t x = 3; x < 400; x += 17) /* one picture in all of them */
            cr_expect(op_at(image, "G", x - d.x0, x / 2 - d.y0) == op_at(first, "G", x, x / 2));
        if (image != first)
            lb_image_unref(&image);
        op_free(&r);
    }
    lb_image_unref(&first);
}

static lb_image *flat(float value)
{
    return op_constant_image((lb_box){0, 0, 8, 6}, "A B G R", value);
}

static void write_frame(int number, float value)
{
    lb_image *image = flat(value);
    char name[32];

    snprintf(name, sizeof name, "seq.%04d.exr", number);
    write_file(name, image);
    lb_image_unref(&image);
}

Test(image, sequence, .init = make_folder, .fini = remove_folder)
{
    static const struct {
        double frame;
        int offset;
        const char *missing;
        double want;                                          /* < 0: the run stops */
    } rows[] = {{3, 0, "error", 0.3}, {3.9, 0, "error", 0.3}, /* a frame lasts until the next */
                {4, 0, "error", -1},  {4, 0, "hold", 0.3},
                {9, 0, "hold", 0.7},  {2, 0, "hold", -1}, /* nothing before it */
                {4, 0, "black", 0},   {7, 0, "black", 0.7},
                {1, 2, "error", 0.3}, {107, -100, "error", 0.7}};

    write_frame(3, 0.3f);
    write_frame(7, 0.7f);
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        op_run r = open_file("seq.####.exr");
        lb_image *image;

        r.frame = rows[i].frame;
        op_set(&r, "offset", rows[i].offset);
        op_text(&r, "missing", rows[i].missing);
        image = op_run_all(&r);
        if (rows[i].want < 0) {
            cr_expect(!image && r.status == LB_NOT_FOUND, "row %zu", i);
            cr_expect(lb_diag_count(r.diag, LB_ERROR) == 1, "row %zu", i);
        } else {
            cr_assert(image, "row %zu", i);
            cr_expect(op_at(image, "R", 2, 2) == (double)(float)rows[i].want, "row %zu: %g", i,
                      op_at(image, "R", 2, 2));
        }
        if (image)
            lb_image_unref(&image);
        op_free(&r);
    }
}

static lb_key key_of(op_run *r)
{
    lb_hasher *hasher = lb_hasher_new();
    lb_call call = op_call(r);
    lb_key key;

    cr_assert(lb_op_image.fingerprint(&call, hasher) == LB_OK);
    key = lb_hasher_key(hasher);
    lb_hasher_free(&hasher);
    return key;
}

/* Keys go by content: the same bytes under another name are the same, a changed file is not. */
Test(image, fingerprint, .init = make_folder, .fini = remove_folder)
{
    op_run r, again;
    lb_key first, second, other;

    write_frame(1, 0.5f);
    write_frame(2, 0.5f);
    write_frame(3, 0.25f);
    r = open_file("seq.####.exr");
    r.frame = 1;
    first = key_of(&r);
    r.frame = 3;
    other = key_of(&r);
    op_text(&r, "file", in_folder("seq.0001.exr"));
    second = key_of(&r);
    cr_expect(lb_key_equal(first, second) && !lb_key_equal(first, other));
    write_frame(1, 0.75f);
    again = open_file("seq.0001.exr");
    cr_expect(!lb_key_equal(key_of(&again), first));
    op_free(&r);
    op_free(&again);
}

/* At half scale each pixel stands for four: a flat picture stays flat to its edges, odd sizes too,
 * a ramp stays a ramp, and depth is one of the depths that were there. */
static float ramp(void *context, const char *name, int32_t x, int32_t y)
{
    (void)context;
    return name[0] == 'R'   ? (float)x
           : name[0] == 'G' ? 0.5f
           : name[0] == 'A' ? 1.0f
                            : (float)(x + y);
}

Test(image, half_scale, .init = make_folder, .fini = remove_folder)
{
    static const char *const filters[] = {"bilinear", "cubic", "mitchell", "lanczos3"};
    lb_box box = {0, 0, 33, 21};
    lb_image *in = op_image(box, box, "A G R depth.Z", ramp, NULL);

    write_file("ramp.exr", in);
    for (int i = 0; i < 4; i++) {
        op_run r = open_file("ramp.exr");
        lb_image *out;

        r.format.scale = 0.5;
        op_text(&r, "filter", filters[i]);
        out = op_run_all(&r);
        cr_assert(out);
        cr_expect(lb_box_equal(lb_image_data(out), (lb_box){0, 0, 17, 11}));
        for (int32_t y = 0; y < 11; y++)
            for (int32_t x = 0; x < 17; x++) {
                double depth = op_at(out, "depth.Z", x, y);

                cr_assert(fabs(op_at(out, "G", x, y) - 0.5) < 1e-6, "%s", filters[i]);
                cr_assert(depth == floor(depth));
                if (x > 3 && x < 13) /* 2 (x + 1/2) - 1/2 */
                    cr_assert(fabs(op_at(out, "R", x, y) - (2 * x + 0.5)) < 1e-4, "%s: %g",
                              filters[i], op_at(out, "R", x, y));
            }
        lb_image_unref(&out);
        cr_expect(op_is_consistent(&r));
        op_free(&r);
    }
    lb_image_unref(&in);
}

/* CSS Images 3, section 5.5: a 40 x 30 picture in a 64 x 48 frame, and an 80 x 20 one. */
Test(image, fit, .init = make_folder, .fini = remove_folder)
{
    static const struct {
        int width, height;
        const char *fit;
        lb_box data;
    } rows[] = {{40, 30, "contain", {0, 0, 64, 48}},  {40, 30, "scale-down", {12, 9, 52, 39}},
                {80, 20, "contain", {0, 16, 64, 32}}, {80, 20, "scale-down", {0, 16, 64, 32}},
                {80, 20, "cover", {-64, 0, 128, 48}}, {80, 20, "fill", {0, 0, 64, 48}}};

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        lb_box box = {0, 0, rows[i].width, rows[i].height};
        lb_image *in = op_constant_image(box, "A B G R", 0.5f), *out;
        op_run r;

        write_file("fit.exr", in);
        r = open_file("fit.exr");
        op_text(&r, "fit", rows[i].fit);
        out = op_run_all(&r);
        cr_assert(out);
        cr_expect(lb_box_equal(lb_image_data(out), rows[i].data), "row %zu: %d %d %d %d", i,
                  lb_image_data(out).x0, lb_image_data(out).y0, lb_image_data(out).x1,
                  lb_image_data(out).y1);
        cr_expect(lb_box_equal(lb_image_display(out), (lb_box){0, 0, 64, 48}));
        cr_expect(fabs(op_at(out, "R", 32, 24) - 0.5) < 1e-6);
        lb_image_unref(&in);
        lb_image_unref(&out);
        op_free(&r);
    }
}

/* One channel is a picture in grey, or by itself when it is raw; an EXR that names its primaries is
 * converted from them (ITU-R BT.2087-0's matrix, four decimals). */
Test(image, grey_and_primaries, .init = make_folder, .fini = remove_folder)
{
    lb_image *in = op_constant_image((lb_box){0, 0, 4, 4}, "Y", 0.5f), *out;
    lb_write_options options = {
        .depth = LB_DEPTH_FLOAT, .working = LB_SPACE_LINEAR_REC2020, .rate = {24, 1}};
    lb_diag *diag = lb_diag_new();
    op_run r;

    write_file("grey.exr", in);
    r = open_file("grey.exr");
    out = op_run_all(&r);
    cr_assert(out && lb_image_count(out) == 3);
    cr_expect(op_at(out, "G", 1, 1) == 0.5);
    lb_image_unref(&out);
    op_text(&r, "space", "raw");
    out = op_run_all(&r);
    cr_expect(lb_image_count(out) == 1 && op_at(out, "Y", 1, 1) == 0.5);
    lb_image_unref(&out);
    lb_image_unref(&in);
    op_free(&r);

    in = op_image((lb_box){0, 0, 4, 4}, (lb_box){0, 0, 4, 4}, "B G R", ramp, NULL);
    cr_assert(lb_media_write(NULL, diag, LB_NOWHERE, in_folder("wide.exr"), in, &options) == LB_OK);
    r = open_file("wide.exr");
    r.format.working = LB_SPACE_LINEAR_REC709;
    out = op_run_all(&r);
    /* back by BT.2087's matrix it is what was written */
    for (int32_t x = 0; x < 4; x++) {
        double R = op_at(out, "R", x, 1), G = op_at(out, "G", x, 1), B = op_at(out, "B", x, 1);

        cr_expect(fabs(0.6274 * R + 0.3293 * G + 0.0433 * B - x) < 1e-3);
        cr_expect(fabs(0.0691 * R + 0.9195 * G + 0.0114 * B - 0.5) < 1e-3);
    }
    lb_image_unref(&in);
    lb_image_unref(&out);
    op_free(&r);
    lb_diag_free(&diag);
}

Test(image, missing_or_damaged, .init = make_folder, .fini = remove_folder)
{
    lb_diag *diag = lb_diag_new();
    op_run r = open_file("nothing.png");

    cr_expect(op_describe(&r) == LB_NOT_FOUND && lb_diag_count(r.diag, LB_ERROR) == 1);
    op_free(&r);
    cr_assert(lb_file_write(diag, LB_NOWHERE, in_folder("bad.png"), "no picture", 10) == LB_OK);
    r = open_file("bad.png");
    cr_expect(op_describe(&r) != LB_OK && lb_diag_count(r.diag, LB_ERROR) == 1);
    op_free(&r);
    lb_diag_free(&diag);
}

Test(image, memory_may_run_out, .init = make_folder, .fini = remove_folder)
{
    op_run r;

    write_frame(1, 0.5f);
    r = open_file("seq.####.exr");
    cr_expect(op_survives_no_memory(&r));
    op_free(&r);
    r = open_file("seq.0001.exr");
    r.format.scale = 0.5;
    cr_expect(op_survives_no_memory(&r));
    op_free(&r);
}
