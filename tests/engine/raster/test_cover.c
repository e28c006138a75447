/* tests/engine/raster/test_cover.c: what covers which pixel by how much.
 *
 * Exact areas: tests/data/tables/coverage.csv (Sutherland and Hodgman 1974, shoelace formula).
 * Vertices on the screen: tests/data/tables/projection.csv (glTF 2.0, section 3.10.3). */
#include <criterion/criterion.h>

#include "engine/base/random.h"
#include "engine/raster/shot.h"
#include "tests/engine/raster/stage.h"
#include "tests/support/table.h"

#define SIZE 32

static lb_vec3 at_pixel(double x, double y)
{
    return (lb_vec3){(float)(x - SIZE / 2), (float)(SIZE / 2 - y), -1};
}

/* Alpha of triangles of an own scene, corners in pixels. */
static lb_image *render_corners(const lb_vec3 *corners, int32_t count, int32_t samples)
{
    lb_scene *scene = stage_new();
    lb_instant instant = stage_pixels(scene, SIZE);
    lb_raster_options options = stage_options(SIZE, SIZE, samples);
    lb_image *image;

    stage_mesh(scene, stage_triangles(corners, NULL, count),
               stage_material(LB_SHADING_UNLIT, 1, 1, 1));
    options.layers = LB_LAYER_COLOR;
    image = stage_render(&instant, 1, &options);
    lb_scene_unref(&scene);
    return image;
}

/* n x n stratified samples err by at most (2n - 1) / n^2 for one straight edge; a pixel of a
 * triangle has up to three. */
Test(cover, triangles_cover_their_exact_areas)
{
    table t = table_load("coverage");

    for (int n = 1; n <= 8; n *= 2) {
        double error = 0;

        for (int row = 0; row < t.rows; row++) {
            lb_vec3 corners[3];
            int32_t x = (int32_t)table_number(&t, row, "column");
            int32_t y = (int32_t)table_number(&t, row, "row");
            double exact = table_number(&t, row, "coverage"), alpha;
            lb_image *image;

            for (int i = 0; i < 3; i++) {
                char xs[3] = {'x', (char)('0' + i), 0}, ys[3] = {'y', (char)('0' + i), 0};

                corners[i] = at_pixel(table_number(&t, row, xs), table_number(&t, row, ys));
            }
            image = render_corners(corners, 1, n * n);
            alpha = stage_at(image, "A", x, y);
            cr_expect(fabs(alpha - exact) <= (2 * n - 1.0) / (n * n) + 1e-6,
                      "%s, pixel %d %d, %d samples: %g, exact %g", table_text(&t, row, "triangle"),
                      x, y, n * n, alpha, exact);
            error += fabs(alpha - exact);
            lb_image_unref(&image);
        }
        /* Points of a net do far better than the bound on average: about 1 / (4 n^2) a pixel with
         * an edge (measured; the pixels in the table that have none are exact). */
        cr_expect(error / t.rows <= 0.75 / (n * n), "%d samples: mean error %g", n * n,
                  error / t.rows);
    }
    table_free(&t);
}

/* Random triangles: the mean of many errors is near 0, so no sample pattern leans to a side. */
Test(cover, areas_have_no_bias)
{
    double sum = 0, sum_area = 0;

    for (uint32_t k = 0; k < 400; k++) {
        lb_vec3 c[3];
        double area;
        lb_image *image;

        for (uint32_t i = 0; i < 3; i++)
            c[i] = at_pixel(2 + 28 * (double)lb_random_float(k, i, 0, 1),
                            2 + 28 * (double)lb_random_float(k, i, 1, 1));
        area = 0.5 * fabs((double)(c[1].x - c[0].x) * (double)(c[2].y - c[0].y) -
                          (double)(c[2].x - c[0].x) * (double)(c[1].y - c[0].y));
        image = render_corners(c, 1, 16);
        for (int32_t y = 0; y < SIZE; y++)
            for (int32_t x = 0; x < SIZE; x++)
                sum += stage_at(image, "A", x, y);
        sum_area += area;
        lb_image_unref(&image);
    }
    /* About 60 edge pixels a triangle, each off by some 0.05: 0.05 sqrt(60 400) = 8 pixels. */
    cr_expect(fabs(sum - sum_area) < 16, "covered %g, areas %g", sum, sum_area);
}

#define CELLS 6

/* A jittered grid over the frame's middle, its corners on whole fractions that fixed point holds.
 */
static void make_grid(uint32_t seed, lb_vec3 grid[CELLS + 1][CELLS + 1])
{
    for (uint32_t j = 0; j <= CELLS; j++)
        for (uint32_t i = 0; i <= CELLS; i++) {
            double dx = (lb_random_u32(seed, i, j, 0) % 9) / 8.0 - 0.5;
            double dy = (lb_random_u32(seed, i, j, 1) % 9) / 8.0 - 0.5;

            grid[j][i] = at_pixel(4 + 4 * i + 2 * dx, 4 + 4 * j + 2 * dy);
        }
}

/* Sutherland and Hodgman's rule for adjacent triangles, by the top-left rule: every sample on a
 * shared edge belongs to one of them, so coverages add up to exactly 1. */
Test(cover, shared_edges_are_covered_once)
{
    static const int32_t counts[] = {1, 4, 16, 64};

    for (uint32_t seed = 0; seed < 3; seed++)
        for (int k = 0; k < 4; k++) {
            double sum[SIZE][SIZE] = {{0}};
            lb_vec3 grid[CELLS + 1][CELLS + 1];

            make_grid(seed, grid);
            for (int cell = 0; cell < CELLS * CELLS * 2; cell++) {
                int i = cell / 2 % CELLS, j = cell / 2 / CELLS;
                lb_vec3 c[3] = {grid[j][i], grid[j + 1][i + 1],
                                cell & 1 ? grid[j][i + 1] : grid[j + 1][i]};
                lb_image *image = render_corners(c, 1, counts[k]);

                for (int32_t y = 0; y < SIZE; y++)
                    for (int32_t x = 0; x < SIZE; x++)
                        sum[y][x] += stage_at(image, "A", x, y);
                lb_image_unref(&image);
            }
            for (int32_t y = 6; y < 26; y++)
                for (int32_t x = 6; x < 26; x++)
                    cr_assert(sum[y][x] == 1, "seed %u, %d samples, pixel %d %d: %.9g", seed,
                              counts[k], x, y, sum[y][x]);
        }
}

/* Corners on samples: a fan around the very place of a sample covers it once. */
Test(cover, a_corner_on_a_sample_is_covered_once)
{
    double sum = 0;

    for (int i = 0; i < 12; i++) {
        double a = 2 * LB_PI * i / 12, b = 2 * LB_PI * (i + 1) / 12;
        lb_vec3 c[3] = {at_pixel(16.5, 16.5), at_pixel(16.5 + 9 * lb_cos(a), 16.5 + 9 * lb_sin(a)),
                        at_pixel(16.5 + 9 * lb_cos(b), 16.5 + 9 * lb_sin(b))};
        lb_image *image = render_corners(c, 1, 1);

        sum += stage_at(image, "A", 16, 16);
        lb_image_unref(&image);
    }
    cr_expect(sum == 1, "%g", sum);
}

/* Is a place inside a triangle, in 1/16384 pixel, in whole numbers? On an edge: of a left one,
 * which has its inside at its right, and of a top one, yes. */
static bool is_inside(const int64_t x[3], const int64_t y[3], int64_t px, int64_t py)
{
    int64_t area = (x[1] - x[0]) * (y[2] - y[0]) - (x[2] - x[0]) * (y[1] - y[0]);

    for (int i = 0; i < 3; i++) {
        int a = area > 0 ? i : (i + 1) % 3, b = area > 0 ? (i + 1) % 3 : i;
        int64_t dx = x[b] - x[a], dy = y[b] - y[a];
        int64_t side = dx * (py - y[a]) - dy * (px - x[a]);

        if (side < 0 || (side == 0 && !(dy < 0 || (dy == 0 && dx > 0))))
            return false;
    }
    return area != 0;
}

/* Every sample of triangles of all sizes against whole numbers of 64 bits. */
Test(cover, samples_are_decided_exactly)
{
    for (uint32_t k = 0; k < 600; k++) {
        int32_t samples = 1 << k % 7;
        double size = 0.1 * lb_exp2((double)lb_random_float(k, 0, 0, 7) * 12);
        int64_t x[3], y[3];
        lb_pattern pattern;
        lb_vec3 c[3];
        lb_image *image;

        for (uint32_t i = 0; i < 3; i++) {
            /* Coarse steps now and then, so that samples lie on edges. */
            int64_t step = k % 3 ? 1 : 1 << 11;

            x[i] =
                (int64_t)((16 + size * ((double)lb_random_float(k, i, 1, 7) - 0.5)) * 16384) / step;
            y[i] =
                (int64_t)((16 + size * ((double)lb_random_float(k, i, 2, 7) - 0.5)) * 16384) / step;
            x[i] *= step;
            y[i] *= step;
            c[i] = at_pixel((double)x[i] / 16384, (double)y[i] / 16384);
            /* The corner as float holds it. */
            x[i] = (int64_t)((double)c[i].x * 16384) + SIZE / 2 * 16384;
            y[i] = SIZE / 2 * 16384 - (int64_t)((double)c[i].y * 16384);
        }
        lb_pattern_make(samples, &pattern);
        image = render_corners(c, 1, samples);
        for (int32_t j = 0; j < SIZE; j++)
            for (int32_t i = 0; i < SIZE; i++) {
                int32_t count = 0;

                for (int32_t s = 0; s < samples; s++)
                    count += is_inside(x, y, (int64_t)i * 16384 + pattern.x[s] * 64,
                                       (int64_t)j * 16384 + pattern.y[s] * 64);
                cr_assert(stage_at(image, "A", i, j) * samples == count,
                          "triangle %u, size %g, pixel %d %d: %g of %d, not %d", k, size, i, j,
                          stage_at(image, "A", i, j) * samples, samples, count);
            }
        lb_image_unref(&image);
    }
}

/* Large triangles go another way than small ones, and clipped ones yet another: the same samples.
 */
Test(cover, size_does_not_matter)
{
    for (uint32_t k = 0; k < 20; k++) {
        double angle = (double)lb_random_float(k, 0, 0, 0) * LB_PI;
        double x = 16 + (double)lb_random_float(k, 1, 0, 0), y = 16, c = lb_cos(angle);
        double s = lb_sin(angle);
        static const double reach[3] = {40, 3000, 1e6};
        lb_image *image[3];

        for (int i = 0; i < 3; i++) {
            /* On one side of a line through the frame. */
            lb_vec3 p[3] = {at_pixel(x - c * reach[i], y - s * reach[i]),
                            at_pixel(x + c * reach[i], y + s * reach[i]),
                            at_pixel(x - s * reach[i], y + c * reach[i])};

            image[i] = render_corners(p, 1, 16);
        }
        for (int32_t j = 12; j < 20; j++)
            for (int32_t i = 12; i < 20; i++)
                for (int n = 1; n < 3; n++)
                    /* Corners are rounded to 2^-14 pixel (and far ones to float): a sample in a
                     * hundred may change sides. */
                    cr_expect(fabs(stage_at(image[0], "A", i, j) - stage_at(image[n], "A", i, j)) <=
                                  (n == 1 ? 1.0 : 2.0) / 16,
                              "%u: pixel %d %d, reach %g", k, i, j, reach[n]);
        for (int i = 0; i < 3; i++)
            lb_image_unref(&image[i]);
    }
}

Test(cover, vertices_land_where_the_projection_says)
{
    table t = table_load("projection");

    for (int row = 0; row < t.rows; row++) {
        lb_vec3 corners[3] = {{(float)table_number(&t, row, "x"), (float)table_number(&t, row, "y"),
                               (float)table_number(&t, row, "z")},
                              {0, 0, -20},
                              {1, 0, -20}};
        lb_scene *scene = stage_new();
        lb_instant instant = stage_lens(scene, table_number(&t, row, "yfov_rad"));
        lb_raster_options options = stage_options(1920, 1080, 1);
        double far = table_number(&t, row, "far"), w = table_number(&t, row, "w");
        lb_shot *shot;
        const lb_vertex *v;

        stage_mesh(scene, stage_triangles(corners, NULL, 1),
                   stage_material(LB_SHADING_UNLIT, 1, 1, 1));
        instant.camera_settings.near = table_number(&t, row, "near");
        instant.camera_settings.far = far;
        options.pixel_aspect = table_number(&t, row, "aspect") * 1080 / 1920;
        MUST(lb_shot_new(&instant, 1, &options, &shot));
        MUST(lb_shot_project(NULL, shot));
        v = &shot->vertices[0];
        if (table_number(&t, row, "inside") == 0) {
            cr_expect(v->x == LB_OUTSIDE && v->y == 1, "row %d is beyond the near plane", row);
        } else {
            /* Half a step of 2^-14 pixel, and float coordinates. */
            double x = v->x / (double)LB_FIXED_ONE + shot->origin_x;
            double y = v->y / (double)LB_FIXED_ONE + shot->origin_y;

            cr_expect(fabs(x - table_number(&t, row, "pixel_x")) < 2e-4, "row %d: x %.9g", row, x);
            cr_expect(fabs(y - table_number(&t, row, "pixel_y")) < 2e-4, "row %d: y %.9g", row, y);
            cr_expect(fabs((double)v->key * w - 1) < 1e-6, "row %d: key %g", row, (double)v->key);
        }
        lb_shot_free(&shot);
        lb_scene_unref(&scene);
    }
    table_free(&t);
}
