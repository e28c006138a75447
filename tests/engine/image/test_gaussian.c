/* tests/engine/image/test_gaussian.c: blur against the sampled normal density.
 *
 * The kernel is exp(-i^2 / 2 sigma^2) normalised; its table is computed from that formula. The
 * tolerances are those that convolve.h promises: 1e-4 of the peak, at every position of a highlight
 * against the pyramid's grid. */
#include <criterion/criterion.h>
#include <math.h>

#include "engine/image/convolve.h"
#include "tests/engine/image/picture.h"
#include "tests/support/table.h"

static lb_plane *blur(lb_pool *pool, const lb_plane *in, double sx, double sy, lb_edge edge,
                      lb_box box)
{
    double sigma[2] = {sx, sy};
    lb_plane *out;

    cr_assert(lb_convolve_gaussian(pool, in, sigma, edge, box, &out) == LB_OK);
    return out;
}

/* One bright pixel at (x, y) in a box that its blur does not leave. */
static lb_plane *highlight(int32_t x, int32_t y, int32_t reach, float value)
{
    lb_plane *in = picture_new((lb_box){x - reach, y - reach, x + reach + 1, y + reach + 1});

    picture_set(in, x, y, value);
    return in;
}

/* g[i] for i = -reach .. reach, normalised over 10 sigma. */
static double *density_new(double sigma, int32_t reach)
{
    double *g = calloc((size_t)(2 * reach + 1), sizeof *g), sum = 0;

    cr_assert(g);
    for (int32_t i = (int32_t)(-10 * sigma) - 1; i <= 10 * sigma + 1; i++)
        sum += exp(-0.5 * (i / sigma) * (i / sigma));
    for (int32_t i = -reach; i <= reach; i++)
        g[i + reach] = exp(-0.5 * (i / sigma) * (i / sigma)) / sum;
    return g;
}

Test(gaussian, small_kernels_meet_their_table)
{
    table t = table_load("gaussian");

    for (int row = 0; row < t.rows; row++) {
        double sigma = table_number(&t, row, "sigma"), want = table_number(&t, row, "sampled");
        int32_t tap = (int32_t)table_number(&t, row, "tap"), reach = lb_gaussian_reach(sigma);
        lb_plane *in = highlight(0, 0, reach, 1);
        lb_plane *out = blur(NULL, in, sigma, 0, LB_EDGE_TRANSPARENT, lb_plane_box(in));
        double got = (double)lb_plane_at(out, tap, 0), peak = (double)lb_plane_at(out, 0, 0);

        cr_expect(fabs(got - want) <= 1e-4 * peak, "sigma %g tap %d: %g, not %g", sigma, tap, got,
                  want);
        cr_expect(lb_plane_at(out, tap, 1) == 0, "sigma 0 leaves y alone");
        lb_plane_unref(&in);
        lb_plane_unref(&out);
    }
    table_free(&t);
}

/* Largest error over the whole response, relative to its peak; highlights of 10000 at several
 * positions, because a pyramid's error depends on where it stands. */
static double worst_error(double sigma, int32_t step)
{
    int32_t reach = lb_gaussian_reach(sigma) + (int32_t)ceil(2 * sigma);
    double *g = density_new(sigma, reach), worst = 0, peak = g[reach] * g[reach];

    for (int32_t place = 0; place < 24; place += step) {
        int32_t cx = 100 + place, cy = -37 + place * 5 / 3;
        lb_plane *in = highlight(cx, cy, reach, 10000);
        lb_plane *out = blur(NULL, in, sigma, sigma, LB_EDGE_TRANSPARENT, lb_plane_box(in));

        for (int32_t y = -reach; y <= reach; y++)
            for (int32_t x = -reach; x <= reach; x++) {
                double got = (double)lb_plane_at(out, cx + x, cy + y) / 10000;
                double error = fabs(got - g[x + reach] * g[y + reach]) / peak;

                cr_assert(got >= 0, "nothing rings below 0");
                if (error > worst)
                    worst = error;
            }
        lb_plane_unref(&in);
        lb_plane_unref(&out);
    }
    free(g);
    return worst;
}

Test(gaussian, within_a_ten_thousandth_of_the_peak, .timeout = 120)
{
    static const double sigmas[] = {0.3, 0.7,  1,  1.7, 2.5, 3.99, 4,    4.6, 4.99, 5,  6, 7.99,
                                    8,   9.99, 10, 12,  15,  17,   19.9, 20,  31,   32, 40};

    for (size_t i = 0; i < sizeof sigmas / sizeof sigmas[0]; i++) {
        double worst = worst_error(sigmas[i], sigmas[i] < 12 ? 1 : 5);
        cr_expect(worst < 5e-5, "sigma %g: %g of the peak", sigmas[i], worst);
    }
}

Test(gaussian, large_ones_too, .timeout = 120)
{
    cr_expect(worst_error(130, 23) < 5e-5);
}

/* A sigma that is animated across a change of method must not show it. Four hundred highlights
 * stand in each other's reach, so the measure is the brightest pixel of the result. */
Test(gaussian, no_jump_where_the_method_changes)
{
    /* Levels begin at 4, 10, 20 and 40; orders of binomials change at 5, 8 and 32, and twice as
     * high where there is another level. */
    static const double changes[] = {4, 5, 8, 10, 16, 20, 32, 40, 64};
    lb_plane *in = picture_random((lb_box){0, 0, 160, 120}, 5);

    for (size_t i = 0; i < sizeof changes / sizeof changes[0]; i++) {
        double below = changes[i] * (1 - 1e-9), worst = 0, most = 0;
        lb_plane *a = blur(NULL, in, below, below, LB_EDGE_CLAMP, lb_plane_box(in));
        lb_plane *b = blur(NULL, in, changes[i], changes[i], LB_EDGE_CLAMP, lb_plane_box(in));

        for (int32_t y = 0; y < 120; y++)
            for (int32_t x = 0; x < 160; x++) {
                most = fmax(most, (double)lb_plane_at(b, x, y));
                worst =
                    fmax(worst, fabs((double)lb_plane_at(a, x, y) - (double)lb_plane_at(b, x, y)));
            }
        cr_expect(worst < 5e-5 * most, "sigma %g jumps by %g of the brightest pixel", changes[i],
                  worst / most);
        lb_plane_unref(&a);
        lb_plane_unref(&b);
    }
    lb_plane_unref(&in);
}

Test(gaussian, variances_add)
{
    static const double pairs[][3] = {{3, 4, 5}, {6, 8, 10}, {5, 12, 13}, {15, 20, 25}};

    for (size_t i = 0; i < sizeof pairs / sizeof pairs[0]; i++) {
        int32_t reach = lb_gaussian_reach(pairs[i][0]) + lb_gaussian_reach(pairs[i][1]) + 60;
        lb_plane *in = highlight(3, 5, reach, 1);
        lb_box box = lb_plane_box(in);
        lb_plane *once = blur(NULL, in, pairs[i][0], pairs[i][0], LB_EDGE_TRANSPARENT, box);
        lb_plane *twice = blur(NULL, once, pairs[i][1], pairs[i][1], LB_EDGE_TRANSPARENT, box);
        lb_plane *whole = blur(NULL, in, pairs[i][2], pairs[i][2], LB_EDGE_TRANSPARENT, box);
        double peak = (double)lb_plane_at(whole, 3, 5), worst = 0;

        for (int32_t y = box.y0; y < box.y1; y++)
            for (int32_t x = box.x0; x < box.x1; x++)
                worst = fmax(worst,
                             fabs((double)(lb_plane_at(twice, x, y) - lb_plane_at(whole, x, y))));
        cr_expect(worst < 1e-4 * peak, "%g and %g: %g of the peak", pairs[i][0], pairs[i][1],
                  worst / peak);
        lb_plane_unref(&in);
        lb_plane_unref(&once);
        lb_plane_unref(&twice);
        lb_plane_unref(&whole);
    }
}

/* Weights add up to 1: what does not leave the frame is all there, and a flat picture stays. */
Test(gaussian, energy_is_kept)
{
    static const double sigmas[] = {0.5, 2, 4.5, 9, 20, 70};

    for (size_t i = 0; i < sizeof sigmas / sizeof sigmas[0]; i++) {
        int32_t reach = lb_gaussian_reach(sigmas[i]);
        lb_plane *in = picture_random((lb_box){-7, 2, 40, 31}, 9), *flat;
        lb_plane *out = blur(NULL, in, sigmas[i], sigmas[i], LB_EDGE_TRANSPARENT,
                             lb_box_grow(lb_plane_box(in), reach, reach));
        double before = picture_sum(in), after = picture_sum(out);

        cr_expect(fabs(after - before) < 2e-6 * before, "sigma %g: %g became %g", sigmas[i], before,
                  after);
        lb_plane_unref(&in);
        lb_plane_unref(&out);
        for (int edge = LB_EDGE_CLAMP; edge <= LB_EDGE_MIRROR; edge++) {
            cr_assert(lb_plane_new_constant((lb_box){0, 0, 33, 21}, 0.75f, &flat) == LB_OK);
            out = blur(NULL, flat, sigmas[i], sigmas[i], (lb_edge)edge, (lb_box){-9, -5, 40, 30});
            for (int32_t y = -5; y < 30; y++)
                for (int32_t x = -9; x < 40; x++)
                    cr_assert(fabsf(lb_plane_at(out, x, y) - 0.75f) < 1.5e-6f,
                              "sigma %g edge %d (%d, %d): %.9g", sigmas[i], edge, x, y,
                              (double)lb_plane_at(out, x, y));
            lb_plane_unref(&flat);
            lb_plane_unref(&out);
        }
    }
}

/* Every edge rule against the same blur of a picture that was enlarged by the rule beforehand. */
Test(gaussian, edges)
{
    static const double sigmas[][2] = {{1.5, 1.5}, {6, 6}, {30, 30}, {2, 26}, {26, 0}, {0, 1}};
    static const lb_box boxes[] = {
        {-20, -11, 60, 43}, {300, 200, 320, 210}, {-400, 9, -390, 30}, {40, 300, 50, 303}};
    lb_plane *in = picture_random((lb_box){-3, 5, 46, 34}, 77);

    for (size_t i = 0; i < sizeof sigmas / sizeof sigmas[0]; i++)
        for (size_t k = 0; k < sizeof boxes / sizeof boxes[0]; k++)
            for (int edge = LB_EDGE_TRANSPARENT; edge <= LB_EDGE_MIRROR; edge++) {
                double sx = sigmas[i][0], sy = sigmas[i][1];
                lb_box box = boxes[k],
                       grown = lb_box_grow(box, lb_gaussian_reach(sx), lb_gaussian_reach(sy));
                lb_plane *big = picture_cut(in, (lb_edge)edge, grown);
                lb_plane *want = blur(NULL, big, sx, sy, LB_EDGE_TRANSPARENT, box);
                lb_plane *got = blur(NULL, in, sx, sy, (lb_edge)edge, box);

                cr_expect(picture_same(want, got, box), "sigma %g %g, %s, box %zu", sx, sy,
                          lb_edge_names[edge], k);
                lb_plane_unref(&big);
                lb_plane_unref(&want);
                lb_plane_unref(&got);
            }
    lb_plane_unref(&in);
}

/* A pixel's bits depend neither on the threads nor on the region that is asked, nor on how much
 * more of the input is there than the reach says. */
Test(gaussian, same_bits_for_any_threads_and_region, .timeout = 120)
{
    static const double sigmas[][2] = {{0.8, 0.8}, {2, 5}, {6, 6}, {13, 13}, {50, 3}, {41, 60}};
    lb_plane *in = picture_random((lb_box){-31, -17, 300, 211}, 3);
    lb_box box = lb_plane_box(in);
    lb_pool *pool;

    cr_assert(lb_pool_new(3, &pool) == LB_OK);
    for (size_t i = 0; i < sizeof sigmas / sizeof sigmas[0]; i++) {
        double sx = sigmas[i][0], sy = sigmas[i][1];
        lb_plane *one = blur(NULL, in, sx, sy, LB_EDGE_TRANSPARENT, box);
        lb_plane *three = blur(pool, in, sx, sy, LB_EDGE_TRANSPARENT, box);

        cr_expect(picture_same(one, three, box), "threads, sigma %g %g", sx, sy);
        for (int32_t k = 0; k < 8; k++) {
            lb_box part = {-31 + 23 * k, -17 + 19 * k, -30 + 23 * k + 7 * k, -15 + 19 * k + 5 * k};
            lb_plane *cut, *got;

            part = lb_box_intersect(part, box);
            cut = picture_cut(in, LB_EDGE_TRANSPARENT,
                              lb_box_grow(part, lb_gaussian_reach(sx), lb_gaussian_reach(sy)));
            got = blur(pool, cut, sx, sy, LB_EDGE_TRANSPARENT, part);
            cr_expect(picture_same(one, got, part), "part %d, sigma %g %g", k, sx, sy);
            lb_plane_unref(&cut);
            lb_plane_unref(&got);
        }
        lb_plane_unref(&one);
        lb_plane_unref(&three);
    }
    lb_pool_free(&pool);
    lb_plane_unref(&in);
}

Test(gaussian, nothing_to_blur)
{
    lb_plane *in = picture_random((lb_box){2, 3, 40, 20}, 4), *out;
    double sigma[2] = {NAN, -1};

    out = blur(NULL, in, 0, 0, LB_EDGE_TRANSPARENT, lb_plane_box(in));
    cr_expect(picture_same(in, out, lb_plane_box(in)));
    lb_plane_unref(&out);
    cr_assert(lb_convolve_gaussian(NULL, in, sigma, LB_EDGE_CLAMP, lb_plane_box(in), &out) ==
              LB_OK);
    cr_expect(picture_same(in, out, lb_plane_box(in)));
    lb_plane_unref(&out);
    cr_expect(lb_convolve_gaussian(NULL, in, sigma, LB_EDGE_CLAMP, (lb_box){0}, &out) ==
              LB_INVALID);
    cr_expect(lb_gaussian_reach(0) == 0 && lb_gaussian_reach(-3) == 0);
    out = blur(NULL, in, 6, 6, LB_EDGE_TRANSPARENT, (lb_box){1000, 1000, 1010, 1010});
    cr_expect(picture_sum(out) == 0, "far from everything");
    lb_plane_unref(&out);
    lb_plane_unref(&in);
}

/* What was foreseen is enough, and not much more than what was used. */
Test(gaussian, memory_is_foreseen)
{
    static const double sigmas[][2] = {{0.5, 0.5}, {2, 2},   {3.5, 9},
                                       {10, 10},   {50, 50}, {200, 200}};
    lb_plane *in = picture_random((lb_box){0, 0, 1200, 700}, 3);
    lb_box box = lb_box_grow(lb_plane_box(in), 10, 10);

    for (int32_t threads = 1; threads < 4; threads += 2) {
        lb_pool *pool;

        cr_assert(lb_pool_new(threads, &pool) == LB_OK);
        for (size_t i = 0; i < sizeof sigmas / sizeof sigmas[0]; i++)
            for (int edge = LB_EDGE_TRANSPARENT; edge <= LB_EDGE_MIRROR; edge++) {
                size_t said =
                    lb_gaussian_scratch(sigmas[i], lb_plane_box(in), (lb_edge)edge, box, threads);
                size_t used;
                lb_plane *out;

                lb_memory_trim();
                lb_memory_reset_peak();
                out = blur(pool, in, sigmas[i][0], sigmas[i][1], (lb_edge)edge, box);
                used = lb_memory_peak() - lb_memory_used(); /* all but the result */
                cr_expect(used <= said && said <= 3 * used / 2 + 400000 * (size_t)threads,
                          "sigma %g %g, %s, %d threads: used %zu, said %zu", sigmas[i][0],
                          sigmas[i][1], lb_edge_names[edge], threads, used, said);
                lb_plane_unref(&out);
            }
        lb_pool_free(&pool);
    }
    lb_plane_unref(&in);
}

Test(gaussian, failing_allocations)
{
    static const double sigmas[] = {2, 9, 40};
    lb_plane *in = picture_random((lb_box){0, 0, 50, 40}, 4);
    size_t before = lb_memory_used();

    for (size_t i = 0; i < 3; i++)
        for (int64_t n = 1;; n++) {
            double sigma[2] = {sigmas[i], sigmas[i]};
            lb_plane *out;
            lb_status status;
            bool done;

            lb_memory_fail_at(n);
            status = lb_convolve_gaussian(NULL, in, sigma, LB_EDGE_MIRROR, lb_plane_box(in), &out);
            done = lb_memory_fail_left() > 0;
            lb_memory_fail_at(0);
            cr_assert(status == (done ? LB_OK : LB_MEMORY) && (out != NULL) == done);
            lb_plane_unref(&out);
            cr_assert(lb_memory_used() == before);
            if (done) {
                cr_expect(n > 5);
                break;
            }
        }
    lb_plane_unref(&in);
}
