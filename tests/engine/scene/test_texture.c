/* tests/engine/scene/test_texture.c: pictures on surfaces. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "engine/base/math.h"
#include "engine/base/memory.h"
#include "engine/base/random.h"
#include "engine/scene/texture.h"
#include "tests/support/table.h"

static const float still[2] = {0, 0};

typedef float (*pixel_fn)(int channel, int32_t x, int32_t y);

/* A picture of `channels` (1: Y, 3: R G B, 4: with A) over a frame that does not begin at 0, 0. */
static lb_image *picture(int32_t width, int32_t height, int channels, pixel_fn fn)
{
    static const char *const names[] = {"R", "G", "B", "A"};
    lb_box box = {3, -2, 3 + width, -2 + height};
    lb_image *image;

    cr_assert(lb_image_new(box, box, &image) == LB_OK);
    for (int c = 0; c < channels; c++) {
        lb_plane *plane;

        cr_assert(lb_plane_new(box, &plane) == LB_OK);
        for (int32_t y = 0; y < height; y++)
            for (int32_t x = 0; x < width; x++)
                lb_plane_row_to_fill(plane, box.y0 + y)[x] = fn(c, x, y);
        cr_assert(lb_image_add(image, channels == 1 ? "Y" : names[c], plane) == LB_OK);
        lb_plane_unref(&plane);
    }
    return image;
}

static lb_texture *texture(int32_t width, int32_t height, int channels, pixel_fn fn,
                           const lb_texture_map *map)
{
    lb_image *image = picture(width, height, channels, fn);
    lb_texture *made;

    cr_assert(lb_texture_new(NULL, image, map, &made) == LB_OK);
    lb_image_unref(&image);
    return made;
}

static float noise(int channel, int32_t x, int32_t y)
{
    return lb_random_float(1, (uint32_t)channel, (uint32_t)x, (uint32_t)y);
}

static float column(int channel, int32_t x, int32_t y)
{
    (void)channel;
    (void)y;
    return (float)x;
}

/* glTF 2.0, 3.8.4. The table's u are doubles, ours floats: half an ulp of 4. */
Test(texture, wraps)
{
    table t = table_load("wrap");

    for (int row = 0; row < t.rows; row++) {
        const char *mode = table_text(&t, row, "mode");
        double u = table_number(&t, row, "u"), wanted = table_number(&t, row, "wrapped");
        lb_wrap wrap = LB_WRAP_REPEAT;

        while (strcmp(lb_wrap_names[wrap], mode) != 0)
            wrap++;
        cr_expect(fabs(lb_wrap_at(wrap, (float)u) - wanted) < 3e-7, "%s %g: %g, not %g", mode, u,
                  (double)lb_wrap_at(wrap, (float)u), wanted);
    }
    table_free(&t);
}

/* The texel that is looked up is the one that the wrapped place lies in. */
Test(texture, nearest_follows_the_wrap)
{
    for (lb_wrap wrap = LB_WRAP_REPEAT; wrap <= LB_WRAP_CLAMP; wrap++) {
        lb_texture_map map = lb_texture_map_default();
        lb_texture *t;

        map.wrap_u = wrap;
        map.filter = LB_TEXTURE_NEAREST;
        t = texture(5, 2, 1, column, &map);
        for (int i = -30; i < 30; i++) {
            float u = ((float)i + 0.5f) / 10, out[4]; /* quarters of texels: never on an edge */
            float wrapped = lb_wrap_at(wrap, u);
            float texel = wrapped >= 1 ? 4 : floorf(wrapped * 5);

            lb_texture_sample(t, u, 0.3f, still, still, out);
            cr_expect(out[0] == texel && out[1] == texel && out[3] == 1, "%s %g: %g, not %g",
                      lb_wrap_names[wrap], (double)u, (double)out[0], (double)texel);
        }
        lb_texture_unref(&t);
    }
}

/* Between texel centres the value is linear; beyond the edge the wrap mode says what is there. */
Test(texture, bilinear_blends_neighbours)
{
    static const struct {
        lb_wrap wrap;
        float u, value;
    } cases[] = {
        {LB_WRAP_REPEAT, 0.375f, 1},
        {LB_WRAP_REPEAT, 0.4375f, 1.25f},
        {LB_WRAP_REPEAT, 0.5f, 1.5f},
        {LB_WRAP_REPEAT, 0, 1.5f}, /* of 3 and 0 */
        {LB_WRAP_REPEAT, -0.0625f, 2.25f},
        {LB_WRAP_REPEAT, 7.375f, 1},
        {LB_WRAP_CLAMP, 0, 0},
        {LB_WRAP_CLAMP, 1, 3},
        {LB_WRAP_CLAMP, -5, 0},
        {LB_WRAP_CLAMP, 5, 3},
        {LB_WRAP_MIRROR, 1, 3},
        {LB_WRAP_MIRROR, 1.125f, 3},
        {LB_WRAP_MIRROR, 1.25f, 2.5f},
        {LB_WRAP_MIRROR, -0.375f, 1},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        lb_texture_map map = lb_texture_map_default();
        lb_texture *t;
        float out[4];

        map.wrap_u = cases[i].wrap;
        map.filter = LB_TEXTURE_BILINEAR;
        t = texture(4, 3, 1, column, &map);
        lb_texture_sample(t, cases[i].u, 0.1f, still, still, out);
        cr_expect(fabsf(out[0] - cases[i].value) < 1e-6f, "%s %g: %g, not %g",
                  lb_wrap_names[cases[i].wrap], (double)cases[i].u, (double)out[0],
                  (double)cases[i].value);
        lb_texture_unref(&t);
    }
}

/* An area average keeps the mean; a texel of the next level is the integral over its area. The sum
 * over a level is in float: 24 bits of it, over 30 additions each way. */
Test(texture, levels_are_area_averages)
{
    static const int32_t sizes[][2] = {{8, 8}, {7, 5}, {1, 9}, {13, 1}, {31, 6}, {3, 2}, {1, 1}};

    for (size_t i = 0; i < sizeof sizes / sizeof sizes[0]; i++) {
        lb_texture_map map = lb_texture_map_default();
        int32_t w = sizes[i][0], h = sizes[i][1];
        lb_texture *t = texture(w, h, 4, noise, &map);
        double first = 0;

        for (int32_t k = 0; k < lb_texture_levels(t); k++) {
            lb_texture_level level = lb_texture_level_at(t, k);
            double sum = 0;

            for (int32_t p = 0; p < level.width * level.height; p++)
                sum += level.texels[4 * p + 1];
            sum /= level.width * level.height;
            first = k ? first : sum;
            cr_expect(fabs(sum - first) < 1e-6, "%d x %d, level %d: %g, not %g", w, h, k, sum,
                      first);
            cr_expect(level.width == (w >> k > 0 ? w >> k : 1), "level %d", k);
            cr_expect(level.height == (h >> k > 0 ? h >> k : 1), "level %d", k);
            if (k == lb_texture_levels(t) - 1)
                cr_expect(level.width == 1 && level.height == 1);
        }
        lb_texture_unref(&t);
    }
}

/* Level 1 of 5 texels 0 1 2 3 4 has two of 2.5 each: (0 + 1 + 2/2) / 2.5, (2/2 + 3 + 4) / 2.5. */
Test(texture, odd_sizes_are_weighted)
{
    lb_texture_map map = lb_texture_map_default();
    lb_texture *t = texture(5, 1, 1, column, &map);
    lb_texture_level level = lb_texture_level_at(t, 1);

    cr_expect(fabsf(level.texels[0] - 0.8f) < 1e-6f && fabsf(level.texels[1] - 3.2f) < 1e-6f);
    lb_texture_unref(&t);
}

/* A pixel that covers 2^k texels each way looks at level k, one between at a blend; far away the
 * mean is seen, wherever. */
Test(texture, level_of_detail)
{
    lb_texture_map map = lb_texture_map_default();
    lb_texture *t = texture(64, 64, 3, noise, &map);
    lb_texture_level two = lb_texture_level_at(t, 2), three = lb_texture_level_at(t, 3);
    float u = 2.5f / 16, v = 5.5f / 16; /* a texel centre of level 2 */
    float ddx[2] = {4.0f / 64, 0}, ddy[2] = {0, 4.0f / 64}, out[4], mean[4];

    lb_texture_sample(t, u, v, ddx, ddy, out);
    cr_expect(fabsf(out[1] - two.texels[(5 * 16 + 2) * 3 + 1]) < 1e-6f);
    /* sqrt(32) texels: half-way between 4 and 8. (2.5 / 16, 5.5 / 16) is (1.25, 2.75) in level 3:
     * a quarter off the centres of (1, 2), so 9/16, 3/16, 3/16 and 1/16 of four texels. */
    ddx[0] = ddy[1] = sqrtf(32) / 64;
    lb_texture_sample(t, u, v, ddx, ddy, out);
    mean[0] = 9.0f / 16 * three.texels[(2 * 8 + 1) * 3] + 3.0f / 16 * three.texels[(2 * 8) * 3] +
              3.0f / 16 * three.texels[(3 * 8 + 1) * 3] + 1.0f / 16 * three.texels[(3 * 8) * 3];
    cr_expect(fabsf(out[0] - 0.5f * (two.texels[(5 * 16 + 2) * 3] + mean[0])) < 1e-5f);
    ddx[0] = ddy[1] = 1e6f;
    lb_texture_sample(t, u, v, ddx, ddy, out);
    cr_expect(out[2] == lb_texture_level_at(t, 6).texels[2]);
    lb_texture_unref(&t);
}

static float stripes(int channel, int32_t x, int32_t y)
{
    (void)channel;
    (void)y;
    return x / 2 % 2 ? 1 : 0;
}

/* Seen at a slant, a picture that only changes across the slant stays sharp: a footprint of 8
 * texels along v and 1 along u sees the column's own value, whichever way the pixel's axes lie. */
Test(texture, slanted_pixels_stay_sharp)
{
    static const float turns[] = {0, 0.5f, 1.2f};
    lb_texture_map map = lb_texture_map_default();
    lb_texture *t = texture(64, 64, 1, stripes, &map);

    for (int i = 0; i < 3; i++) {
        float c = cosf(turns[i]), s = sinf(turns[i]), out[4];
        float ddx[2] = {c / 64, 8 * s / 64}, ddy[2] = {-s / 64, 8 * c / 64};

        lb_texture_sample(t, 3.0f / 64, 0.4f, ddx, ddy, out); /* between the two texels of 1 */
        cr_expect(out[0] > 0.99f, "turned by %g: %g", (double)turns[i], (double)out[0]);
        lb_texture_sample(t, 5.0f / 64, 0.4f, ddx, ddy, out);
        cr_expect(out[0] < 0.01f, "turned by %g: %g", (double)turns[i], (double)out[0]);
    }
    lb_texture_unref(&t);
}

/* KHR_texture_transform, first example: offset (0, 1), a quarter turn, scale 1/2 shows the lower
 * left quarter of the picture, turned clockwise: the surface's corners see these places. */
Test(texture, transform_is_the_extensions)
{
    static const double corners[4][4] = {
        /* surface u v -> picture u v */
        {0, 0, 0, 1},   /* its upper left: the picture's lower left corner */
        {1, 0, 0, 0.5}, /* upper right: half-way up the left edge */
        {1, 1, 0.5, 0.5},
        {0, 1, 0.5, 1},
    };
    lb_texture_map map = lb_texture_map_default();

    lb_texture_map_set_transform(&map, 0, 1, LB_PI / 2, 0.5, 0.5);
    for (int i = 0; i < 4; i++) {
        double u = corners[i][0], v = corners[i][1];
        double pu = map.matrix[0] * u + map.matrix[1] * v + map.matrix[2];
        double pv = map.matrix[3] * u + map.matrix[4] * v + map.matrix[5];

        cr_expect(fabs(pu - corners[i][2]) < 1e-12 && fabs(pv - corners[i][3]) < 1e-12,
                  "corner %d: %g %g", i, pu, pv);
    }
}

static float ramp(int channel, int32_t x, int32_t y)
{
    (void)channel;
    return 0.5f * (float)x - 0.25f * (float)y;
}

/* Of a ramp the central difference is its slope: 0.5 a texel of 32 is 16 a picture; under a map u'
 * = 2u + v, v' = 3v + 1/4 by the chain rule. On any level, between levels too. */
Test(texture, slope_of_a_ramp)
{
    static const float footprints[] = {0, 1, 2.9f, 4};
    lb_texture_map map = lb_texture_map_default();
    lb_texture *t;

    map.matrix[0] = 2;
    map.matrix[1] = 1;
    map.matrix[4] = 3;
    map.matrix[5] = 0.25;
    map.scale = 0.1;
    map.role = LB_TEXTURE_HEIGHT;
    t = texture(32, 64, 1, ramp, &map);
    for (int i = 0; i < 4; i++) {
        float ddx[2] = {footprints[i] / 64, 0}, ddy[2] = {0, footprints[i] / 192}, du, dv;
        double fu = 0.5 * 32, fv = -0.25 * 64;

        lb_texture_slope(t, 0.2f, 0.07f, ddx, ddy, &du, &dv);
        cr_expect(fabs(du - 0.1 * 2 * fu) < 1e-4, "footprint %g: %g", (double)footprints[i],
                  (double)du);
        cr_expect(fabs(dv - 0.1 * (fu + 3 * fv)) < 1e-4, "footprint %g: %g", (double)footprints[i],
                  (double)dv);
    }
    lb_texture_unref(&t);
}

static float one(int channel, int32_t x, int32_t y)
{
    (void)x;
    (void)y;
    return channel == 3 ? 1 : 0.5f;
}

/* Nothing that an interpolator may hand over reads outside or gives what is no number. */
Test(texture, takes_any_number)
{
    static const float odd[] = {0,     -0.0f,  1,      NAN,    INFINITY, -INFINITY,
                                1e38f, -1e38f, 1e-40f, -1e-9f, 16777217, -3};
    const size_t n = sizeof odd / sizeof odd[0];

    for (lb_wrap wrap = LB_WRAP_REPEAT; wrap <= LB_WRAP_CLAMP; wrap++)
        for (lb_texture_filter f = LB_TEXTURE_NEAREST; f <= LB_TEXTURE_MIPMAP; f++) {
            lb_texture_map map = lb_texture_map_default();
            lb_texture *t;

            map.wrap_u = map.wrap_v = wrap;
            map.filter = f;
            t = texture(3, 7, 4, one, &map);
            for (size_t i = 0; i < n * n; i++) {
                float ddx[2] = {odd[i % n], odd[i / n]}, ddy[2] = {odd[i / n], 0}, out[4], du, dv;

                lb_texture_sample(t, odd[i % n], odd[i / n], ddx, ddy, out);
                cr_expect(fabsf(out[0] - 0.5f) < 1e-6f && fabsf(out[3] - 1) < 1e-6f);
                lb_texture_slope(t, odd[i % n], odd[i / n], ddx, ddy, &du, &dv);
            }
            lb_texture_unref(&t);
        }
}

/* Which channels a texture has, and pixels that are outside the data window: nothing. */
Test(texture, channels_and_windows)
{
    lb_texture_map map = lb_texture_map_default();
    lb_box display = {0, 0, 4, 2}, data = {1, 0, 9, 1};
    lb_image *image;
    lb_plane *plane;
    lb_texture *t, *other;
    float out[4];

    cr_assert(lb_image_new(display, data, &image) == LB_OK);
    cr_expect(lb_texture_new(NULL, image, &map, &t) == LB_INVALID && !t, "no planes");
    cr_assert(lb_plane_new_constant(data, 2, &plane) == LB_OK);
    cr_assert(lb_image_add(image, "R", plane) == LB_OK);
    cr_assert(lb_image_add(image, "G", plane) == LB_OK);
    cr_assert(lb_image_add(image, "B", plane) == LB_OK);
    lb_plane_unref(&plane);
    map.filter = LB_TEXTURE_NEAREST;
    cr_assert(lb_texture_new(NULL, image, &map, &t) == LB_OK);
    cr_expect(lb_texture_channels(t) == 1, "grey needs but one");
    lb_texture_sample(t, 0.1f, 0.1f, still, still, out);
    cr_expect(out[0] == 0);
    lb_texture_sample(t, 0.9f, 0.1f, still, still, out);
    cr_expect(out[0] == 2 && out[2] == 2 && out[3] == 1);
    lb_texture_sample(t, 0.9f, 0.9f, still, still, out);
    cr_expect(out[0] == 0);
    map.matrix[2] = 0.25;
    cr_assert(lb_texture_with_map(t, &map, &other) == LB_OK);
    cr_expect(lb_texture_level_at(other, 0).texels == lb_texture_level_at(t, 0).texels);
    lb_texture_unref(&t);
    lb_texture_sample(other, 0.1f, 0.1f, still, still, out);
    cr_expect(out[0] == 2, "a quarter further");
    lb_texture_unref(&other);
    lb_image_unref(&image);
}

Test(texture, survives_want_of_memory)
{
    lb_texture_map map = lb_texture_map_default();
    lb_image *image = picture(8, 8, 4, noise);
    size_t before = lb_memory_used();

    for (int64_t n = 1; n < 100; n++) {
        lb_texture *t;
        lb_status status;

        lb_memory_fail_at(n);
        status = lb_texture_new(NULL, image, &map, &t);
        lb_memory_fail_at(0);
        lb_texture_unref(&t);
        cr_expect(lb_memory_used() == before, "allocation %lld", (long long)n);
        if (status == LB_OK) {
            cr_expect(n > 3);
            lb_image_unref(&image);
            return;
        }
        cr_expect(status == LB_MEMORY);
    }
    cr_expect(false, "it never succeeded");
}

/* The same texels whatever the number of threads. */
Test(texture, pyramid_is_the_same_by_any_threads)
{
    lb_texture_map map = lb_texture_map_default();
    lb_image *image = picture(101, 67, 3, noise);
    lb_texture *alone, *shared;
    lb_pool *pool;

    cr_assert(lb_pool_new(3, &pool) == LB_OK);
    cr_assert(lb_texture_new(NULL, image, &map, &alone) == LB_OK);
    cr_assert(lb_texture_new(pool, image, &map, &shared) == LB_OK);
    for (int32_t k = 0; k < lb_texture_levels(alone); k++) {
        lb_texture_level a = lb_texture_level_at(alone, k), b = lb_texture_level_at(shared, k);

        cr_expect(memcmp(a.texels, b.texels,
                         (size_t)a.width * (size_t)a.height * 3 * sizeof(float)) == 0);
    }
    lb_texture_unref(&alone);
    lb_texture_unref(&shared);
    lb_image_unref(&image);
    lb_pool_free(&pool);
}
