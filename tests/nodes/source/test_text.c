/* tests/nodes/source/test_text.c: against FreeType's own metrics and rasteriser. The fonts are
 * those of Debian's fonts-dejavu-core. */
#include <criterion/criterion.h>
#include <fontconfig/fontconfig.h>
#include <ft2build.h>
#include FT_FREETYPE_H
#include FT_BBOX_H
#include FT_OUTLINE_H

#include "tests/support/op_run.h"

extern const lb_op lb_op_text;

#define SIZE 100.0

/* The file of an installed family. */
static void file_of(const char *family, char path[512])
{
    FcPattern *asked = FcPatternBuild(NULL, FC_FAMILY, FcTypeString, family, NULL), *answer;
    FcResult result;
    FcChar8 *file;

    FcConfigSubstitute(NULL, asked, FcMatchPattern);
    FcDefaultSubstitute(asked);
    answer = FcFontMatch(NULL, asked, &result);
    cr_assert(answer && FcPatternGetString(answer, FC_FILE, 0, &file) == FcResultMatch);
    snprintf(path, 512, "%s", (const char *)file);
    FcPatternDestroy(asked);
    FcPatternDestroy(answer);
}

typedef struct reference {
    FT_Library library;
    FT_Face face;
} reference;

static reference reference_open(const char *family)
{
    reference f;
    char path[512];

    file_of(family, path);
    cr_assert(!FT_Init_FreeType(&f.library) && !FT_New_Face(f.library, path, 0, &f.face));
    return f;
}

static void reference_close(reference *f)
{
    FT_Done_Face(f->face);
    FT_Done_FreeType(f->library);
}

static op_run set(const char *text, const char *family, double size, double x, double y)
{
    op_run r = op_new(&lb_op_text, 1);

    r.format.width = 640;
    r.format.height = 360;
    op_text(&r, "text", text);
    op_text(&r, "font", family);
    op_set(&r, "size", size);
    op_set2(&r, "position", x, y);
    op_text(&r, "align", "left");
    op_text(&r, "vertical-align", "baseline");
    return r;
}

/* The outline's bounds in font units, by FT_Outline_Get_BBox, are the ink's in pixels. */
Test(text, ink_is_the_outline)
{
    static const char letters[] = "AHQgjpxO&@";
    static const char *const families[] = {"DejaVu Sans", "DejaVu Serif"};

    for (int f = 0; f < 2; f++) {
        reference ref = reference_open(families[f]);
        double unit = SIZE / ref.face->units_per_EM;

        for (const char *letter = letters; *letter; letter++) {
            char text[2] = {*letter, 0};
            op_run r = set(text, families[f], SIZE, 300.25, 200.5);
            FT_BBox box;
            lb_box want, got;

            cr_assert(!FT_Load_Char(ref.face, (FT_ULong)*letter, FT_LOAD_NO_SCALE));
            FT_Outline_Get_BBox(&ref.face->glyph->outline, &box);
            want = lb_box_around(300.25 + (double)box.xMin * unit, 200.5 - (double)box.yMax * unit,
                                 300.25 + (double)box.xMax * unit, 200.5 - (double)box.yMin * unit);
            cr_assert(op_describe(&r) == LB_OK && op_warnings(&r) == 0);
            got = r.desc.data_window;
            /* curves are flattened, which may cross a pixel's edge */
            cr_expect(abs(got.x0 - want.x0) + abs(got.y0 - want.y0) + abs(got.x1 - want.x1) +
                              abs(got.y1 - want.y1) <=
                          1,
                      "%s %s: [%d, %d) x [%d, %d)", families[f], text, (int)got.x0, (int)got.x1,
                      (int)got.y0, (int)got.y1);
            op_free(&r);
        }
        reference_close(&ref);
    }
}

/* A pixel of the glyph that was rendered 16 times as large, its origin at (0, 0): the mean of 256.
 */
static double mean_of_256(FT_GlyphSlot slot, int32_t x, int32_t y)
{
    const FT_Bitmap *bitmap = &slot->bitmap;
    double sum = 0;

    for (int32_t j = 16 * y + slot->bitmap_top; j < 16 * y + slot->bitmap_top + 16; j++)
        for (int32_t i = 16 * x - slot->bitmap_left; i < 16 * x - slot->bitmap_left + 16; i++)
            if (i >= 0 && j >= 0 && i < (int32_t)bitmap->width && j < (int32_t)bitmap->rows)
                sum += bitmap->buffer[j * bitmap->pitch + i] / 255.0;
    return sum / 256;
}

/* FreeType's smooth rasteriser flattens curves within 1/16 of a pixel; rendered 16 times as large
 * that is 1/256. At 1024 pixels its 2048 units lie on its grid. Edges that cross a pixel slantwise
 * or twice make it more: 1 %. */
Test(text, coverage_is_freetype_s)
{
    static const char letters[] = "AHQgjpxO&@8S";
    reference ref = reference_open("DejaVu Sans");
    FT_GlyphSlot slot = ref.face->glyph;

    cr_assert(!FT_Set_Pixel_Sizes(ref.face, 1024, 1024));
    for (const char *letter = letters; *letter; letter++)
        for (int phase = 0; phase < 64; phase += 23) {
            char text[2] = {*letter, 0};
            op_run r = set(text, "DejaVu Sans", 64, 100 + phase / 64.0, 200 - phase / 64.0);
            lb_image *image = op_run_all(&r);
            double worst = 0, sum = 0;

            cr_assert(image);
            cr_assert(!FT_Load_Char(ref.face, (FT_ULong)*letter, FT_LOAD_NO_HINTING));
            FT_Outline_Translate(&slot->outline, 16 * phase, 16 * phase);
            cr_assert(!FT_Render_Glyph(slot, FT_RENDER_MODE_NORMAL));
            for (int32_t y = -70; y < 30; y++)
                for (int32_t x = -10; x < 80; x++) {
                    double want = mean_of_256(slot, x, y);

                    worst = fmax(worst, fabs(op_at(image, "A", 100 + x, 200 + y) - want));
                    sum += want;
                }
            cr_expect(worst < 0.01, "%s at %d/64: %g", text, phase, worst);
            cr_expect(fabs(op_sum(image, "A") / sum - 1) < 0.002, "%s: %g, not %g", text,
                      op_sum(image, "A"), sum);
            lb_image_unref(&image);
            op_free(&r);
        }
    reference_close(&ref);
}

/* Lines begin, end or are centred where they should, by FreeType's advances (the letters do not
 * kern: DejaVu Sans has no pair HH). */
Test(text, align)
{
    static const char *const aligns[] = {"left", "center", "right"};
    reference ref = reference_open("DejaVu Sans");
    double unit = SIZE / ref.face->units_per_EM, advance, bearing;

    cr_assert(!FT_Load_Char(ref.face, 'H', FT_LOAD_NO_SCALE));
    advance = (double)ref.face->glyph->advance.x * unit;
    bearing = (double)ref.face->glyph->metrics.horiBearingX * unit;
    for (int i = 0; i < 3; i++) {
        op_run r = set("HHH", "DejaVu Sans", SIZE, 320, 200);
        double left = 320 - 3 * advance * i / 2 + bearing;

        op_text(&r, "align", aligns[i]);
        cr_assert(op_describe(&r) == LB_OK);
        cr_expect(r.desc.data_window.x0 == (int32_t)floor(left), "%s: %d, not %g", aligns[i],
                  (int)r.desc.data_window.x0, left);
        op_free(&r);
    }
    /* tracking stands between letters: 250 / 1000 of 100, twice */
    {
        op_run plain = set("HHH", "DejaVu Sans", SIZE, 100, 200);
        op_run wide = set("HHH", "DejaVu Sans", SIZE, 100, 200);

        op_set(&wide, "tracking", 250);
        cr_assert(op_describe(&plain) == LB_OK && op_describe(&wide) == LB_OK);
        cr_expect(wide.desc.data_window.x1 == plain.desc.data_window.x1 + 50);
        op_free(&plain);
        op_free(&wide);
    }
    reference_close(&ref);
}

/* The H stands on the baseline and is as tall as the capitals. Middle: half of that above and half
 * below; top and bottom: by the font's ascender and descender. */
Test(text, vertical_align)
{
    reference ref = reference_open("DejaVu Sans");
    double unit = SIZE / ref.face->units_per_EM, height;
    double baselines[4];
    static const char *const names[] = {"top", "middle", "baseline", "bottom"};

    cr_assert(!FT_Load_Char(ref.face, 'H', FT_LOAD_NO_SCALE));
    height = (double)ref.face->glyph->metrics.horiBearingY * unit;
    baselines[0] = 180 + ref.face->ascender * unit;
    baselines[1] = 180 + height / 2;
    baselines[2] = 180;
    baselines[3] = 180 + ref.face->descender * unit;
    for (int i = 0; i < 4; i++) {
        op_run r = set("H", "DejaVu Sans", SIZE, 320, 180);

        op_text(&r, "vertical-align", names[i]);
        cr_assert(op_describe(&r) == LB_OK);
        cr_expect(r.desc.data_window.y1 == (int32_t)ceil(baselines[i]), "%s: %d, not %g", names[i],
                  (int)r.desc.data_window.y1, baselines[i]);
        cr_expect(r.desc.data_window.y0 == (int32_t)floor(baselines[i] - height), "%s", names[i]);
        op_free(&r);
    }
    reference_close(&ref);
}

Test(text, lines)
{
    op_run one = set("H", "DejaVu Sans", SIZE, 320, 180);
    op_run three = set("H\nH\nH", "DejaVu Sans", SIZE, 320, 180);
    op_run block = set("H\nH\nH\n", "DejaVu Sans", SIZE, 320, 180);

    op_set(&three, "line-height", 1.25);
    op_set(&block, "line-height", 1.25);
    cr_assert(op_describe(&one) == LB_OK && op_describe(&three) == LB_OK);
    cr_expect(three.desc.data_window.y0 == one.desc.data_window.y0);
    cr_expect(three.desc.data_window.y1 == one.desc.data_window.y1 + 250);
    cr_assert(op_describe(&block) == LB_OK); /* a block scalar's last line break adds no line */
    cr_expect(lb_box_equal(block.desc.data_window, three.desc.data_window));
    op_text(&three, "vertical-align", "middle");
    op_text(&block, "vertical-align", "middle");
    cr_assert(op_describe(&three) == LB_OK && op_describe(&block) == LB_OK);
    cr_expect(lb_box_equal(block.desc.data_window, three.desc.data_window));
    cr_expect(abs(three.desc.data_window.y0 + three.desc.data_window.y1 - 360) <= 1);
    op_free(&one);
    op_free(&three);
    op_free(&block);
}

Test(text, kerning)
{
    op_run pair = set("AV", "DejaVu Sans", SIZE, 100, 200);
    op_run a = set("A", "DejaVu Sans", SIZE, 100, 200), v = set("V", "DejaVu Sans", SIZE, 100, 200);
    reference ref = reference_open("DejaVu Sans");
    double advance;

    cr_assert(!FT_Load_Char(ref.face, 'A', FT_LOAD_NO_SCALE));
    advance = (double)ref.face->glyph->advance.x * SIZE / ref.face->units_per_EM;
    cr_assert(op_describe(&pair) == LB_OK && op_describe(&a) == LB_OK && op_describe(&v) == LB_OK);
    cr_expect(pair.desc.data_window.x1 < v.desc.data_window.x1 + advance - 2);
    reference_close(&ref);
    op_free(&pair);
    op_free(&a);
    op_free(&v);
}

/* Ten steps of a hundredth of a pixel: the middle of the ink moves by as much each time. */
Test(text, moves_smoothly)
{
    double last = 0;

    for (int i = 0; i <= 10; i++) {
        op_run r = set("Kiln", "DejaVu Serif", 31.7, 50 + i * 0.01, 100.3);
        lb_image *image = op_run_all(&r);
        lb_box box = lb_image_box(image);
        double sum = 0, middle = 0;

        for (int32_t y = box.y0; y < box.y1; y++)
            for (int32_t x = box.x0; x < box.x1; x++) {
                sum += op_at(image, "A", x, y);
                middle += op_at(image, "A", x, y) * (x + 0.5);
            }
        middle /= sum;
        if (i > 0)
            cr_expect(fabs(middle - last - 0.01) < 0.003, "step %d: %g", i, middle - last);
        last = middle;
        lb_image_unref(&image);
        op_free(&r);
    }
}

Test(text, color_is_premultiplied)
{
    op_run r = set("H", "DejaVu Sans", SIZE, 300, 200);
    lb_image *image;

    op_set4(&r, "color", 4, 2, 0.5, 0, 0.5);
    image = op_run_all(&r);
    for (int32_t y = r.desc.data_window.y0; y < r.desc.data_window.y1; y++)
        for (int32_t x = r.desc.data_window.x0; x < r.desc.data_window.x1; x++) {
            double alpha = op_at(image, "A", x, y);

            cr_assert(alpha >= 0 && alpha <= 0.5);
            cr_assert(op_at(image, "R", x, y) == 2 * alpha);
            cr_assert(op_at(image, "G", x, y) == 0.5 * alpha && op_at(image, "B", x, y) == 0);
        }
    lb_image_unref(&image);
    op_free(&r);
}

/* A file gives the same picture as the family that is in it. */
Test(text, font_by_file)
{
    char path[512];
    op_run by_family = set("Ember", "DejaVu Serif", SIZE, 200, 200), by_file;
    lb_image *a = op_run_all(&by_family), *b;

    file_of("DejaVu Serif", path);
    by_file = set("Ember", path, SIZE, 200, 200);
    b = op_run_all(&by_file);
    cr_assert(a && b);
    cr_expect(op_same(a, b) && op_same(b, a));
    cr_expect(op_warnings(&by_family) == 0 && op_warnings(&by_file) == 0);
    lb_image_unref(&a);
    lb_image_unref(&b);
    op_text(&by_file, "font", "/nowhere/some.ttf");
    cr_expect(op_describe(&by_file) == LB_NOT_FOUND);
    cr_expect(lb_diag_count(by_file.diag, LB_ERROR) == 1);
    op_free(&by_family);
    op_free(&by_file);
}

/* "font" is kept as a path beside the graph; the family is what stands behind the folder. */
Test(text, family_in_a_folder)
{
    op_run r = set("x", "scenes/title/DejaVu Serif", SIZE, 200, 200);
    op_run plain = set("x", "DejaVu Serif", SIZE, 200, 200);

    cr_assert(op_describe(&r) == LB_OK && op_describe(&plain) == LB_OK);
    cr_expect(op_warnings(&r) == 0);
    cr_expect(lb_box_equal(r.desc.data_window, plain.desc.data_window));
    op_free(&r);
    op_free(&plain);
}

Test(text, bold_and_italic)
{
    op_run plain = set("oooo", "DejaVu Sans", SIZE, 50, 200);
    op_run bold = set("oooo", "DejaVu Sans", SIZE, 50, 200);
    op_run slanted = set("oooo", "DejaVu Sans", SIZE, 50, 200);
    lb_image *a, *b;

    op_set(&bold, "weight", 700);
    a = op_run_all(&plain);
    b = op_run_all(&bold);
    cr_expect(op_warnings(&bold) == 0);
    cr_expect(op_sum(b, "A") > 1.2 * op_sum(a, "A"));
    lb_image_unref(&a);
    lb_image_unref(&b);
    op_set(&slanted, "weight", 950); /* DejaVu Sans has nothing so heavy */
    cr_expect(op_describe(&slanted) == LB_OK && op_warnings(&slanted) == 1);
    op_free(&plain);
    op_free(&bold);
    op_free(&slanted);
}

Test(text, what_is_missing_is_told)
{
    op_run family = set("H", "Surely Not Installed", SIZE, 100, 200);
    op_run glyph = set("a\xf0\x9f\x9c\xb0z", "DejaVu Serif", SIZE, 100, 200); /* U+1F730 */

    cr_expect(op_describe(&family) == LB_OK && op_warnings(&family) == 1);
    cr_expect(op_describe(&glyph) == LB_OK && op_warnings(&glyph) == 1);
    op_free(&family);
    op_free(&glyph);
}

Test(text, nothing_to_see)
{
    static const char *const texts[] = {"", " ", "\n\n", "   \n \t"};

    for (int i = 0; i < 4; i++) {
        op_run r = set(texts[i], "DejaVu Sans", SIZE, 100, 200);

        cr_expect(op_describe(&r) == LB_OK && lb_box_is_empty(r.desc.data_window), "%d", i);
        cr_expect(op_warnings(&r) == 0, "%d", i);
        op_free(&r);
    }
}

Test(text, strange_texts)
{
    op_run r = set("\xff\xfe", "DejaVu Sans", SIZE, 100, 200);
    char *words = malloc(70001);

    cr_expect(op_describe(&r) == LB_INVALID);
    memset(words, 'w', 70000);
    words[70000] = 0;
    op_text(&r, "text", words);
    cr_expect(op_describe(&r) == LB_LIMIT);
    words[2000] = 0;
    op_text(&r, "text", words);
    cr_expect(op_describe(&r) == LB_OK);
    op_text(&r, "text", "a\xe2\x80\x8f\xd7\x90\xd7\x91 e\xcc\x81\xef\xbb\xbf"); /* marks, Hebrew */
    cr_expect(op_describe(&r) == LB_OK);
    op_set(&r, "size", 20000);
    cr_expect(op_describe(&r) == LB_OK);
    free(words);
    op_free(&r);
}

Test(text, is_consistent)
{
    op_run r = set("Night\nfiring", "DejaVu Serif", 47.3, 111.1, 99.7);

    op_set4(&r, "color", 4, 1, 0.5, 0.25, 0.75);
    cr_expect(op_is_consistent(&r));
    op_free(&r);
}

Test(text, memory_may_run_out)
{
    op_run r = set("ab", "DejaVu Serif", 20, 111.1, 99.7);

    op_set4(&r, "color", 4, 1, 0.5, 0.25, 0.75);
    cr_expect(op_survives_no_memory(&r));
    op_free(&r);
}
