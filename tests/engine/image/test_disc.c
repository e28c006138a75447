/* tests/engine/image/test_disc.c: the uniform disc against the area of a circle in a square. */
#include <criterion/criterion.h>
#include <math.h>

#include "engine/image/convolve.h"
#include "tests/engine/image/picture.h"
#include "tests/support/table.h"

static lb_plane *spread(lb_pool *pool, const lb_plane *in, double radius, lb_edge edge, lb_box box)
{
    lb_plane *out;

    cr_assert(lb_convolve_disc(pool, in, radius, edge, box, &out) == LB_OK);
    return out;
}

/* The table has the exact area over pi r^2. Left out: rows whose pixel touches the circle from
 * inside at one point, r = dy + 1/2, where the table's own (dx, dy) and (dy, dx) disagree. */
Test(disc, weights_meet_their_table)
{
    table t = table_load("disc");
    int checked = 0;

    for (int row = 0; row < t.rows; row++) {
        double radius = table_number(&t, row, "radius"), want = table_number(&t, row, "weight");
        int32_t dx = (int32_t)table_number(&t, row, "dx"),
                dy = (int32_t)table_number(&t, row, "dy");

        if (radius == dy + 0.5)
            continue;
        cr_expect(fabs(lb_disc_weight(radius, dx, dy) - want) < 1e-13, "%g (%d, %d): %.15g", radius,
                  dx, dy, lb_disc_weight(radius, dx, dy));
        cr_expect(lb_disc_weight(radius, -dx, dy) == lb_disc_weight(radius, dx, -dy));
        checked++;
    }
    cr_expect(checked > 50);
    table_free(&t);
}

/* The area in all pixels is the disc's, and symmetric about the diagonal. */
Test(disc, weights_add_up)
{
    for (double r = 0.5; r < 45; r += 0.37) {
        int32_t reach = lb_disc_reach(r);
        double sum = 0;

        for (int32_t y = -reach; y <= reach; y++)
            for (int32_t x = -reach; x <= reach; x++) {
                double w = lb_disc_weight(r, x, y);

                sum += w;
                cr_assert(w >= 0 && fabs(w - lb_disc_weight(r, y, x)) < 1e-14);
            }
        cr_expect(fabs(sum - 1) < 1e-12, "radius %g: %.15g", r, sum);
        cr_expect(lb_disc_weight(r, reach + 1, 0) == 0 && lb_disc_weight(r, 0, reach + 1) == 0);
    }
}

Test(disc, one_pixel_becomes_the_disc)
{
    static const double radii[] = {0, 0.3, 0.5, 0.51, 1, 1.5, 2, 2.75, 4, 7.5, 13.2, 40, 251.3};

    for (size_t i = 0; i < sizeof radii / sizeof radii[0]; i++) {
        int32_t reach = lb_disc_reach(radii[i]);
        lb_plane *in = picture_new((lb_box){4, 5, 5, 6}), *out;
        lb_box box = lb_box_grow(lb_plane_box(in), reach + 2, reach + 2);

        picture_set(in, 4, 5, 10000);
        out = spread(NULL, in, radii[i], LB_EDGE_TRANSPARENT, box);
        for (int32_t y = box.y0; y < box.y1; y++)
            for (int32_t x = box.x0; x < box.x1; x++) {
                double want = 10000 * lb_disc_weight(radii[i], x - 4, y - 5);
                double got = (double)lb_plane_at(out, x, y);

                cr_assert(fabs(got - want) <= 2e-7 * want, "radius %g (%d, %d): %g, not %g",
                          radii[i], x - 4, y - 5, got, want);
            }
        lb_plane_unref(&in);
        lb_plane_unref(&out);
    }
}

/* Against the sum over every pixel, in double. */
Test(disc, pictures)
{
    static const double radii[] = {0.8, 1.5, 3.3, 9, 17.6};
    lb_plane *in = picture_random((lb_box){-5, 3, 60, 41}, 12);

    for (size_t i = 0; i < sizeof radii / sizeof radii[0]; i++)
        for (int edge = LB_EDGE_TRANSPARENT; edge <= LB_EDGE_MIRROR; edge++) {
            int32_t reach = lb_disc_reach(radii[i]);
            lb_box box = {-12, 0, 66, 44};
            lb_plane *big = picture_cut(in, (lb_edge)edge, lb_box_grow(box, reach, reach));
            lb_plane *out = spread(NULL, in, radii[i], (lb_edge)edge, box);

            for (int32_t y = box.y0; y < box.y1; y += 3)
                for (int32_t x = box.x0; x < box.x1; x += 5) {
                    double want = 0;

                    for (int32_t j = -reach; j <= reach; j++)
                        for (int32_t k = -reach; k <= reach; k++)
                            want += lb_disc_weight(radii[i], k, j) *
                                    (double)lb_plane_at(big, x + k, y + j);
                    cr_assert(fabs((double)lb_plane_at(out, x, y) - want) <= 2e-6 * want + 1e-9,
                              "radius %g edge %d (%d, %d)", radii[i], edge, x, y);
                }
            lb_plane_unref(&big);
            lb_plane_unref(&out);
        }
    lb_plane_unref(&in);
}

Test(disc, energy_is_kept)
{
    static const double radii[] = {0.7, 2, 11.3, 33};
    lb_plane *in = picture_random((lb_box){0, 0, 50, 40}, 2);

    for (size_t i = 0; i < sizeof radii / sizeof radii[0]; i++) {
        int32_t reach = lb_disc_reach(radii[i]);
        lb_plane *out = spread(NULL, in, radii[i], LB_EDGE_TRANSPARENT,
                               lb_box_grow(lb_plane_box(in), reach, reach));

        cr_expect(fabs(picture_sum(out) / picture_sum(in) - 1) < 1e-6);
        lb_plane_unref(&out);
    }
    lb_plane_unref(&in);
}

Test(disc, same_bits_for_any_threads_and_region)
{
    static const double radii[] = {1, 4.4, 23};
    lb_plane *in = picture_random((lb_box){-9, 4, 1300, 70}, 8);
    lb_box box = lb_plane_box(in);
    lb_pool *pool;

    cr_assert(lb_pool_new(3, &pool) == LB_OK);
    for (size_t i = 0; i < sizeof radii / sizeof radii[0]; i++) {
        int32_t reach = lb_disc_reach(radii[i]);
        lb_plane *one = spread(NULL, in, radii[i], LB_EDGE_TRANSPARENT, box);
        lb_plane *three = spread(pool, in, radii[i], LB_EDGE_TRANSPARENT, box);

        cr_expect(picture_same(one, three, box));
        for (int32_t k = 0; k < 6; k++) {
            lb_box part = {-9 + 211 * k, 4 + 9 * k, -9 + 211 * k + 17 + 40 * k, 4 + 9 * k + 7};
            lb_plane *cut = picture_cut(in, LB_EDGE_TRANSPARENT, lb_box_grow(part, reach, reach));
            lb_plane *got;

            part = lb_box_intersect(part, box);
            got = spread(pool, cut, radii[i], LB_EDGE_TRANSPARENT, part);
            cr_expect(picture_same(one, got, part), "radius %g part %d", radii[i], k);
            lb_plane_unref(&cut);
            lb_plane_unref(&got);
        }
        lb_plane_unref(&one);
        lb_plane_unref(&three);
    }
    lb_pool_free(&pool);
    lb_plane_unref(&in);
}

/* From narrow boxes to discs too wide for their rows to be copied together. */
Test(disc, scratch_is_what_it_takes)
{
    static const double radii[] = {0, 0.8, 5, 40, 500};
    lb_plane *in = picture_random((lb_box){0, 0, 1200, 200}, 3);

    for (size_t i = 0; i < sizeof radii / sizeof radii[0]; i++)
        for (int32_t threads = 1; threads <= 3; threads++) {
            lb_box box = {0, 0, radii[i] > 100 ? 70 : 1200, radii[i] > 100 ? 20 : 200};
            size_t peak, want = lb_disc_scratch(radii[i], box, threads);
            lb_plane *out;
            lb_pool *pool;

            cr_assert(lb_pool_new(threads, &pool) == LB_OK);
            lb_memory_trim();
            lb_memory_reset_peak();
            out = spread(pool, in, radii[i], LB_EDGE_MIRROR, box);
            peak = lb_memory_peak() - lb_memory_used();
            /* Blocks are rounded up by an eighth; with several threads one may do it all. */
            cr_expect(peak <= want + want / 8 + 4096, "radius %g: %zu, not %zu", radii[i], peak,
                      want);
            cr_expect(threads > 1 || peak >= want, "radius %g: %zu, not %zu", radii[i], peak, want);
            lb_plane_unref(&out);
            lb_pool_free(&pool);
        }
    lb_plane_unref(&in);
}

Test(disc, failing_allocations)
{
    lb_plane *in = picture_random((lb_box){0, 0, 50, 40}, 4);
    size_t before = lb_memory_used();

    for (int64_t n = 1;; n++) {
        lb_plane *out;
        lb_status status;
        bool done;

        lb_memory_fail_at(n);
        status = lb_convolve_disc(NULL, in, 3, LB_EDGE_CLAMP, lb_plane_box(in), &out);
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
