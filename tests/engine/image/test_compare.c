/* tests/engine/image/test_compare.c: compare.h and similarity.h.
 *
 * Figures of whole pictures: tests/data/tables/compare.csv, whose source stands there; what is
 * counted and where, by hand. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "engine/color/space.h"
#include "engine/image/compare.h"
#include "engine/image/similarity.h"
#include "tests/support/table.h"

typedef float (*pixel_fn)(const void *context, int32_t x, int32_t y);

static lb_plane *plane_of(lb_box box, pixel_fn fn, const void *context)
{
    lb_plane *plane;

    cr_assert(lb_plane_new_raw(box, &plane) == LB_OK);
    for (int32_t y = box.y0; y < box.y1; y++)
        for (int32_t x = box.x0; x < box.x1; x++)
            lb_plane_row_to_fill(plane, y)[x - box.x0] = fn(context, x, y);
    return plane;
}

static void add(lb_image *image, const char *name, lb_plane *plane)
{
    cr_assert(lb_image_add(image, name, plane) == LB_OK);
    lb_plane_unref(&plane);
}

static lb_image *image_new(lb_box display, lb_box data)
{
    lb_image *image;

    cr_assert(lb_image_new(display, data, &image) == LB_OK);
    return image;
}

static float constant(const void *context, int32_t x, int32_t y)
{
    (void)x, (void)y;
    return *(const float *)context;
}

/* Channels "R G A" of one value. */
static lb_image *solid(lb_box display, lb_box data, const char *names, float value)
{
    lb_image *image = image_new(display, data);
    char list[64], *save = NULL;

    snprintf(list, sizeof list, "%s", names);
    for (char *name = strtok_r(list, " ", &save); name; name = strtok_r(NULL, " ", &save))
        add(image, name, plane_of(data, constant, &value));
    return image;
}

static lb_comparison compare(lb_image *a, lb_image *b, const lb_compare_options *options)
{
    lb_comparison c;

    cr_assert(lb_compare(NULL, a, b, options, &c) == LB_OK);
    return c;
}

/* ---- The table ---- */

typedef struct pattern {
    const char *name;
    int32_t width, height;
} pattern;

static float pattern_pixel(const void *context, int32_t x, int32_t y)
{
    const pattern *p = context;
    double u = (double)x / (p->width - 1), v = (double)y / (p->height - 1);

    if (strcmp(p->name, "x") == 0)
        return (float)u;
    if (strcmp(p->name, "y") == 0)
        return (float)v;
    if (strcmp(p->name, "x^2") == 0)
        return (float)(u * u);
    if (strcmp(p->name, "1-x") == 0)
        return (float)(1 - u);
    if (strcmp(p->name, "noise") == 0)
        return (float)(((73 * x + 151 * y + 7 * x * y) % 256) / 255.0);
    if (strcmp(p->name, "noise2") == 0)
        return (float)(((29 * x + 211 * y + 5 * x * y) % 256) / 255.0);
    return (float)strtod(p->name, NULL);
}

/* R, G, B as columns `prefix`r, g, b of a row of the table name them. */
static lb_image *table_image(const table *t, int row, char prefix)
{
    pattern p = {.width = (int32_t)table_number(t, row, "width"),
                 .height = (int32_t)table_number(t, row, "height")};
    lb_box box = {0, 0, p.width, p.height};
    lb_image *image = image_new(box, box);

    for (const char *c = "rgb"; *c; c++) {
        char column[3] = {prefix, *c, 0}, name[2] = {(char)(*c - 'a' + 'A'), 0};

        p.name = table_text(t, row, column);
        add(image, name, plane_of(box, pattern_pixel, &p));
    }
    return image;
}

/* Where R, G and B are the same, so is the luma: without the rounding of its sum in floats. */
static void expect_similarity(const table *t, int row, const lb_image *a, const lb_image *b)
{
    double ssim;

    if (strcmp(table_text(t, row, "ar"), table_text(t, row, "ag")) != 0 ||
        strcmp(table_text(t, row, "ag"), table_text(t, row, "ab")) != 0)
        return;
    cr_assert(lb_similarity(NULL, lb_image_find(a, "R"), lb_image_find(b, "R"), &ssim) == LB_OK);
    cr_expect_float_eq(ssim, table_number(t, row, "ssim"), 1e-12, "row %d: %.15g", row, ssim);
}

/* Sums of doubles in another order: 1e-13 of them. A luma of floats is off by some 2^-24 in each
 * pixel, so a covariance by about that beside C2 = 9e-4; of many windows the mean is off by less
 * than 1e-6. */
Test(compare, figures_of_the_table)
{
    table t = table_load("compare");

    for (int row = 0; row < t.rows; row++) {
        lb_image *a = table_image(&t, row, 'a'), *b = table_image(&t, row, 'b');
        lb_comparison c = compare(a, b, &(lb_compare_options){0});

        cr_assert(c.worst >= 0 && c.channel_count == 3);
        cr_expect(c.channels[c.worst].largest == table_number(&t, row, "largest"));
        cr_expect_float_eq(c.mean, table_number(&t, row, "mean"), 1e-13, "row %d", row);
        cr_expect_eq(c.count, (int64_t)table_number(&t, row, "count"), "row %d", row);
        cr_expect_float_eq(c.psnr_db, table_number(&t, row, "psnr"), 1e-11, "row %d", row);
        cr_expect_float_eq(c.ssim, table_number(&t, row, "ssim"), 1e-6, "row %d: %.9g", row,
                           c.ssim);
        expect_similarity(&t, row, a, b);
        lb_comparison_clear(&c);
        lb_image_unref(&a);
        lb_image_unref(&b);
    }
    table_free(&t);
}

/* ---- What is counted, and where ---- */

/* Of a picture of 20 x 12 at (3, -2) with one value, two pixels are others. */
Test(compare, pixels_that_differ)
{
    lb_box box = {3, -2, 23, 10};
    lb_image *a = solid(box, box, "R G B", 0.25f), *b = solid(box, box, "R B", 0.25f);
    lb_plane *green = plane_of(box, constant, &(float){0.25f});
    lb_comparison c;

    lb_plane_row_to_fill(green, 4)[2] = 0.75f;  /* (5, 4): 0.5 more */
    lb_plane_row_to_fill(green, 6)[17] = -0.5f; /* (20, 6): 0.75 less */
    add(b, "G", green);
    c = compare(a, b, &(lb_compare_options){0});
    cr_expect(c.pixels == 240 && c.count == 2 && c.nans == 0);
    cr_expect(lb_box_equal(c.region, (lb_box){5, 4, 21, 7}));
    cr_assert(c.channel_count == 3 && c.worst == 1);
    cr_expect_str_eq(c.channels[1].name, "G");
    cr_expect(c.channels[1].count == 2 && c.channels[1].largest == 0.75);
    cr_expect(c.channels[1].at_x == 20 && c.channels[1].at_y == 6);
    cr_expect_float_eq(c.channels[1].mean, 1.25 / 240, 1e-16);
    cr_expect_float_eq(c.mean, 1.25 / 720, 1e-16);
    cr_expect(c.channels[0].count == 0 && c.channels[0].largest == 0 && c.channels[0].mean == 0);
    /* Seen are 0.25 and 0.75, and 0.25 and 0. */
    cr_expect_float_eq(c.psnr_db, 10 * log10(720 / (0.25 + 0.0625)), 1e-12);
    lb_comparison_clear(&c);
    lb_image_unref(&a);
    lb_image_unref(&b);
}

/* IEEE 754: 0 equals -0; NaN is as it is defined in compare.h. */
Test(compare, values_that_are_no_numbers)
{
    static const float as[] = {0, NAN, NAN, 1, INFINITY, INFINITY, 2};
    static const float bs[] = {-0.0f, NAN, 1, NAN, INFINITY, 3, 2.5f};
    lb_box box = {0, 0, 7, 1};
    lb_image *a = image_new(box, box), *b = image_new(box, box);
    lb_plane *planes[2];
    lb_comparison c;

    for (int side = 0; side < 2; side++) {
        cr_assert(lb_plane_new(box, &planes[side]) == LB_OK);
        memcpy(lb_plane_row_to_fill(planes[side], 0), side ? bs : as, sizeof as);
        add(side ? b : a, "R", planes[side]);
    }
    c = compare(a, b, &(lb_compare_options){0});
    cr_expect(c.count == 4 && c.nans == 2);
    cr_expect(c.channels[0].count == 4 && c.channels[0].nans == 2);
    cr_expect(lb_box_equal(c.region, (lb_box){2, 0, 7, 1}));
    cr_expect(isinf(c.channels[0].largest) && c.channels[0].at_x == 5 && isinf(c.mean));
    /* Seen: 0 beside 1 twice, 1 beside 1 twice. */
    cr_expect_float_eq(c.psnr_db, 10 * log10(21 / 2.0), 1e-12);
    cr_expect(isnan(c.ssim), "no window of 11 x 11 fits");
    lb_comparison_clear(&c);
    lb_image_unref(&a);
    lb_image_unref(&b);
}

Test(compare, channels_of_one_picture_only)
{
    lb_box box = {0, 0, 16, 16};
    lb_image *a = solid(box, box, "R G B A", 0.5f), *b = solid(box, box, "R G B depth.Z", 0.5f);
    lb_comparison c = compare(a, b, &(lb_compare_options){0});
    static const char *const names[] = {"A", "B", "G", "R", "depth.Z"};

    cr_assert_eq(c.channel_count, 5);
    for (int i = 0; i < 5; i++) {
        cr_expect_str_eq(c.channels[i].name, names[i]);
        cr_expect(c.channels[i].has[0] == (i < 4) && c.channels[i].has[1] == (i > 0));
        cr_expect(c.channels[i].largest == (i == 0 || i == 4 ? 0.5 : 0), "%s", names[i]);
    }
    cr_expect(isinf(c.psnr_db) && c.ssim == 1, "what is seen is the same");
    lb_comparison_clear(&c);
    lb_image_unref(&a);
    lb_image_unref(&b);

    a = solid(box, box, "R G B A", 1);
    b = solid(box, box, "R G B", 1);
    c = compare(a, b, &(lb_compare_options){0});
    cr_expect(c.count == 0, "no alpha is 1");
    lb_comparison_clear(&c);
    lb_image_unref(&a);
    a = solid(box, box, "Y", 1);
    c = compare(a, b, &(lb_compare_options){0});
    cr_expect(c.count == 256 && isinf(c.psnr_db), "grey is seen like three equal channels");
    lb_comparison_clear(&c);
    lb_image_unref(&a);
    lb_image_unref(&b);
    a = solid(box, box, "normal.X normal.Y", 0.5f);
    b = solid(box, box, "normal.X normal.Y", 0.25f);
    c = compare(a, b, &(lb_compare_options){0});
    cr_expect(c.count == 256 && isnan(c.psnr_db) && isnan(c.ssim), "there is no colour");
    lb_comparison_clear(&c);
    lb_image_unref(&a);
    lb_image_unref(&b);
}

/* A frame of 8 x 4 beside one of 12 x 6; pixels only in a part of them. */
Test(compare, windows)
{
    lb_box small = {0, 0, 8, 4}, large = {0, 0, 12, 6}, part = {2, 1, 5, 3};
    lb_image *a = solid(small, part, "R A", 1), *b = solid(large, part, "R A", 1);
    lb_comparison c = compare(a, b, &(lb_compare_options){0});

    cr_expect(lb_box_equal(c.window, large) && c.pixels == 72 && c.count == 0);
    cr_expect(lb_box_is_empty(c.region) && c.worst == -1);
    lb_comparison_clear(&c);
    lb_image_unref(&b);
    b = solid(large, large, "R A", 1);
    c = compare(a, b, &(lb_compare_options){0});
    cr_expect(c.count == 72 - 6 && lb_box_equal(c.region, large));
    lb_comparison_clear(&c);
    c = compare(a, b, &(lb_compare_options){.window = &small});
    cr_expect(c.pixels == 32 && c.count == 32 - 6);
    lb_comparison_clear(&c);
    c = compare(a, b, &(lb_compare_options){.window = &(lb_box){3, 0, 3, 9}});
    cr_expect(c.pixels == 0 && c.count == 0 && c.mean == 0 && isnan(c.psnr_db));
    lb_comparison_clear(&c);
    lb_image_unref(&a);
    lb_image_unref(&b);
}

static void encode(const void *context, float *r, float *g, float *b, int32_t count)
{
    lb_view_row(LB_VIEW_SRGB, *(const lb_space *)context, r, g, b, count);
}

/* IEC 61966-2-1: linear 0.21404114 is signal 0.5; so is the same grey in any space of that white,
 * and what is over 1 is seen as 1. */
Test(compare, what_is_seen)
{
    static const lb_space spaces[] = {LB_SPACE_LINEAR_REC709, LB_SPACE_LINEAR_REC2020};
    lb_compare_options options = {.encode = encode, .contexts = {&spaces[0], &spaces[0]}};
    lb_box box = {0, 0, 32, 32};
    lb_image *black = solid(box, box, "R G B", 0), *grey = solid(box, box, "R G B", 0.21404114f);
    lb_image *white = solid(box, box, "R G B", 1), *glare = solid(box, box, "R G B", 40);
    lb_comparison c = compare(black, grey, &options);

    cr_expect_float_eq(c.psnr_db, 10 * log10(1 / 0.25), 1e-5, "%.9g", c.psnr_db);
    lb_comparison_clear(&c);
    c = compare(white, glare, &options);
    cr_expect(c.count == 1024 && c.psnr_db > 120 && c.ssim > 1 - 1e-9, "%g dB", c.psnr_db);
    lb_comparison_clear(&c);
    options.contexts[1] = &spaces[1];
    c = compare(grey, grey, &options);
    cr_expect(c.count == 0 && c.psnr_db > 120 && c.ssim > 1 - 1e-9, "%g dB", c.psnr_db);
    lb_comparison_clear(&c);
    lb_image_unref(&black);
    lb_image_unref(&grey);
    lb_image_unref(&white);
    lb_image_unref(&glare);
}

/* ---- The same bits, and no room ---- */

Test(compare, any_number_of_threads)
{
    pattern p = {"noise", 157, 211}, q = {"noise2", 157, 211};
    lb_box box = {-5, 7, 152, 218};
    lb_image *a = image_new(box, box), *b = image_new(box, box);
    lb_comparison first = {0};

    for (const char *const *name = (const char *const[]){"B", "G", "R", NULL}; *name; name++) {
        add(a, *name, plane_of(box, pattern_pixel, &p));
        add(b, *name, plane_of(box, pattern_pixel, **name == 'G' ? &q : &p));
    }
    for (int32_t threads = 1; threads <= 7; threads += 2) {
        lb_pool *pool = NULL;
        lb_comparison c;

        cr_assert(lb_pool_new(threads, &pool) == LB_OK);
        cr_assert(lb_compare(pool, a, b, &(lb_compare_options){0}, &c) == LB_OK);
        if (threads == 1)
            first = c;
        cr_expect(memcmp(&first.mean, &c.mean, sizeof c.mean) == 0);
        cr_expect(memcmp(&first.psnr_db, &c.psnr_db, sizeof c.psnr_db) == 0);
        cr_expect(memcmp(&first.ssim, &c.ssim, sizeof c.ssim) == 0);
        cr_expect(first.count == c.count && lb_box_equal(first.region, c.region));
        cr_expect(first.channels[1].at_x == c.channels[1].at_x &&
                  first.channels[1].at_y == c.channels[1].at_y);
        if (threads > 1)
            lb_comparison_clear(&c);
        lb_pool_free(&pool);
    }
    cr_expect(first.count > 0 && first.ssim < 1);
    lb_comparison_clear(&first);
    lb_image_unref(&a);
    lb_image_unref(&b);
}

Test(compare, no_room)
{
    lb_box box = {0, 0, 20, 20};
    lb_image *a = solid(box, box, "R G B", 0.5f), *b = solid(box, box, "R G B", 0.25f);
    int64_t n = 1;

    for (bool failed = true; failed; n++) {
        lb_comparison c;
        lb_status status;

        lb_memory_fail_at(n);
        status = lb_compare(NULL, a, b, &(lb_compare_options){0}, &c);
        failed = lb_memory_fail_left() == 0;
        lb_memory_fail_at(0);
        cr_expect_eq(status, failed ? LB_MEMORY : LB_OK, "allocation %d", (int)n);
        lb_comparison_clear(&c);
    }
    cr_expect(n > 8, "%d allocations", (int)n);
    lb_image_unref(&a);
    lb_image_unref(&b);
}
