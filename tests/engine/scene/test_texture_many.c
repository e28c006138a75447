/* tests/engine/scene/test_texture_many.c: many look-ups at once give the same bits as one by one.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "engine/base/random.h"
#include "engine/scene/texture.h"

#define COUNT 1000

static lb_image *noise_image(int32_t width, int32_t height, int32_t channels)
{
    static const char *const names[] = {"R", "G", "B", "A"};
    lb_box box = {0, 0, width, height};
    lb_image *image;

    cr_assert(lb_image_new(box, box, &image) == LB_OK);
    for (int32_t c = 0; c < channels; c++) {
        lb_plane *plane;

        cr_assert(lb_plane_new(box, &plane) == LB_OK);
        for (int32_t y = 0; y < height; y++)
            for (int32_t x = 0; x < width; x++)
                lb_plane_row_to_fill(plane, y)[x] =
                    lb_random_float((uint32_t)x, (uint32_t)y, (uint32_t)c, 1);
        cr_assert(lb_image_add(image, names[c], plane) == LB_OK);
        lb_plane_unref(&plane);
    }
    return image;
}

/* Coordinates near and far, derivatives from nothing to the whole picture in all directions, and
 * some that are no numbers. */
static void make_places(float values[6][COUNT])
{
    for (uint32_t i = 0; i < COUNT; i++)
        for (uint32_t k = 0; k < 6; k++) {
            float f = lb_random_float(i, k, 0, 2) * 2 - 1, scale = 3;

            for (uint32_t n = lb_random_u32(i, k, 1, 2) % 12; k >= 2 && n > 0; n--)
                scale *= 0.3f;
            values[k][i] = f * scale;
            if (i % 97 == 5 && i / 97 == k)
                values[k][i] = i % 2 ? NAN : INFINITY;
            if (i % 31 == 0 && k >= 2)
                values[k][i] = 0;
        }
}

Test(texture_many, same_bits_as_one_by_one)
{
    static float values[6][COUNT], out[COUNT][4], du[COUNT], dv[COUNT];
    static const int32_t sizes[][2] = {{64, 64}, {1, 1}, {37, 5}, {2, 90}};
    lb_texture_places places = {values[0], values[1], values[2], values[3], values[4], values[5]};

    make_places(values);
    for (int32_t size = 0; size < 4; size++)
        for (int32_t channels = 1; channels <= 4; channels += channels == 1 ? 2 : 1)
            for (int32_t k = 0; k < 27; k++) {
                lb_texture_map map = lb_texture_map_default();
                lb_image *image = noise_image(sizes[size][0], sizes[size][1], channels);
                lb_texture *texture;

                map.wrap_u = (lb_wrap)(k % 3);
                map.wrap_v = (lb_wrap)(k / 3 % 3);
                map.filter = (lb_texture_filter)(k / 9);
                map.scale = 0.7;
                lb_texture_map_set_transform(&map, 0.1, -0.3, 0.4, 1.5, -0.7);
                cr_assert(lb_texture_new(NULL, image, &map, &texture) == LB_OK);
                lb_texture_sample_many(texture, &places, COUNT, out);
                lb_texture_slope_many(texture, &places, COUNT, du, dv);
                for (int32_t i = 0; i < COUNT; i++) {
                    float ddx[2] = {places.dudx[i], places.dvdx[i]};
                    float ddy[2] = {places.dudy[i], places.dvdy[i]}, one[4], slope[2];

                    lb_texture_sample(texture, places.u[i], places.v[i], ddx, ddy, one);
                    cr_assert(memcmp(one, out[i], sizeof one) == 0 ||
                                  (isnan(one[0]) && isnan(out[i][0])),
                              "size %d, %d channels, map %d, place %d: %g, not %g", size, channels,
                              k, i, (double)out[i][0], (double)one[0]);
                    lb_texture_slope(texture, places.u[i], places.v[i], ddx, ddy, &slope[0],
                                     &slope[1]);
                    cr_assert((memcmp(&slope[0], &du[i], sizeof du[i]) == 0 &&
                               memcmp(&slope[1], &dv[i], sizeof dv[i]) == 0) ||
                                  (isnan(slope[0]) && isnan(du[i])),
                              "size %d, %d channels, map %d, place %d: slopes %g %g, not %g %g",
                              size, channels, k, i, (double)du[i], (double)dv[i], (double)slope[0],
                              (double)slope[1]);
                }
                lb_texture_unref(&texture);
                lb_image_unref(&image);
            }
}
