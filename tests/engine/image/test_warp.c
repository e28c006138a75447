/* tests/engine/image/test_warp.c: displacement, out(x, y) = in(x + dx, y + dy) at pixel centres. */
#include <criterion/criterion.h>
#include <math.h>

#include "engine/image/limit.h"
#include "tests/engine/image/picture.h"

static lb_plane *moves(lb_box box, uint32_t seed, float most)
{
    lb_plane *plane = picture_new(box);

    for (int32_t y = box.y0; y < box.y1; y++)
        for (int32_t x = box.x0; x < box.x1; x++)
            picture_set(plane, x, y,
                        most * (2 * lb_random_float(seed, (uint32_t)x, (uint32_t)y, 7) - 1));
    return plane;
}

static lb_plane *warped(lb_pool *pool, const lb_plane *in, const lb_plane *dx, const lb_plane *dy,
                        lb_filter filter, lb_edge edge, lb_box box)
{
    lb_plane *out;

    cr_assert(lb_warp_plane(pool, in, dx, dy, filter, edge, box, &out) == LB_OK);
    return out;
}

/* Against single samples, which have tables of their own; those weigh in double. */
Test(warp, equals_single_samples)
{
    lb_plane *in = picture_new((lb_box){5, -8, 90, 60});
    lb_box box = {0, -12, 96, 66};
    lb_plane *dx = moves((lb_box){-3, -12, 99, 70}, 1, 9), *dy = moves(box, 2, 9);

    for (int32_t y = -8; y < 60; y++)
        for (int32_t x = 5; x < 90; x++)
            picture_set(in, x, y, lb_random_float(11, (uint32_t)x, (uint32_t)y, 0));
    for (int filter = LB_FILTER_NEAREST; filter <= LB_FILTER_MITCHELL; filter++)
        for (int edge = LB_EDGE_TRANSPARENT; edge <= LB_EDGE_MIRROR; edge++) {
            lb_plane *out = warped(NULL, in, dx, dy, (lb_filter)filter, (lb_edge)edge, box);

            for (int32_t y = box.y0; y < box.y1; y++)
                for (int32_t x = box.x0; x < box.x1; x++) {
                    float want = lb_sample(in, x + 0.5 + (double)lb_plane_at(dx, x, y),
                                           y + 0.5 + (double)lb_plane_at(dy, x, y),
                                           (lb_filter)filter, (lb_edge)edge);

                    cr_assert(fabsf(lb_plane_at(out, x, y) - want) < 2e-6f, "%s %s (%d, %d)",
                              lb_filter_names[filter], lb_edge_names[edge], x, y);
                }
            lb_plane_unref(&out);
        }
    lb_plane_unref(&in);
    lb_plane_unref(&dx);
    lb_plane_unref(&dy);
}

/* Positions are not rounded: moving a ramp by d moves its values by d, for d as small as it gets.
 */
Test(warp, positions_are_exact)
{
    lb_plane *in = picture_new((lb_box){0, 0, 64, 8});

    for (int32_t y = 0; y < 8; y++)
        for (int32_t x = 0; x < 64; x++)
            picture_set(in, x, y, (float)x);
    for (int k = 1; k < 18; k++) {
        float d = ldexpf(1, -k);
        lb_plane *dx, *dy, *out;

        cr_assert(lb_plane_new_constant(lb_plane_box(in), d, &dx) == LB_OK);
        cr_assert(lb_plane_new_constant(lb_plane_box(in), 0, &dy) == LB_OK);
        out = warped(NULL, in, dx, dy, LB_FILTER_BILINEAR, LB_EDGE_CLAMP, lb_plane_box(in));
        for (int32_t x = 1; x < 63; x++)
            cr_expect(fabsf(lb_plane_at(out, x, 4) - ((float)x + d)) <= 4e-6f, "2^-%d at %d", k, x);
        lb_plane_unref(&dx);
        lb_plane_unref(&dy);
        lb_plane_unref(&out);
    }
    lb_plane_unref(&in);
}

/* Where the map is whole, pixels are copied, infinities beside them or not. */
Test(warp, whole_moves_are_exact)
{
    lb_plane *in = picture_random((lb_box){0, 0, 150, 40}, 3);
    lb_box box = {-5, -5, 155, 45};
    lb_plane *dx = moves(box, 4, 6), *dy = moves(box, 5, 6);

    for (int32_t y = 0; y < 40; y += 5)
        for (int32_t x = 0; x < 150; x += 7)
            picture_set(in, x, y, INFINITY);
    for (int32_t y = box.y0; y < box.y1; y++)
        for (int32_t x = box.x0; x < box.x1; x++) {
            picture_set(dx, x, y, rintf(lb_plane_at(dx, x, y)));
            picture_set(dy, x, y, rintf(lb_plane_at(dy, x, y)));
        }
    for (int filter = LB_FILTER_NEAREST; filter <= LB_FILTER_LANCZOS3; filter++) {
        lb_plane *out = warped(NULL, in, dx, dy, (lb_filter)filter, LB_EDGE_TRANSPARENT, box);

        for (int32_t y = box.y0; y < box.y1; y++)
            for (int32_t x = box.x0; x < box.x1; x++) {
                float want = lb_plane_at(in, x + (int32_t)lb_plane_at(dx, x, y),
                                         y + (int32_t)lb_plane_at(dy, x, y));
                float got = lb_plane_at(out, x, y);

                cr_assert(memcmp(&want, &got, sizeof got) == 0, "%s (%d, %d)",
                          lb_filter_names[filter], x, y);
            }
        lb_plane_unref(&out);
    }
    lb_plane_unref(&in);
    lb_plane_unref(&dx);
    lb_plane_unref(&dy);
}

Test(warp, same_bits_for_any_threads_region_and_company)
{
    lb_plane *in = picture_random((lb_box){-9, 4, 260, 170}, 8),
             *other = picture_random(lb_plane_box(in), 9);
    lb_box box = {-20, -10, 300, 200};
    lb_plane *dx = moves(box, 1, 5), *dy = moves(box, 2, 5);
    const lb_plane *both[2] = {other, in};
    lb_pool *pool;

    cr_assert(lb_pool_new(3, &pool) == LB_OK);
    for (int filter = LB_FILTER_NEAREST; filter <= LB_FILTER_MITCHELL; filter++) {
        lb_plane *one = warped(NULL, in, dx, dy, (lb_filter)filter, LB_EDGE_TRANSPARENT, box);
        lb_plane *two[2];

        cr_assert(lb_warp_planes(pool, 2, both, dx, dy, (lb_filter)filter, LB_EDGE_TRANSPARENT, box,
                                 two) == LB_OK);
        cr_expect(picture_same(one, two[1], box) && !picture_same(one, two[0], box));
        for (int32_t i = 0; i < 5; i++) {
            lb_box part = {-20 + 61 * i, -10 + 40 * i, -20 + 61 * i + 9 * i + 1, -10 + 40 * i + 7};
            lb_plane *cut = picture_cut(in, LB_EDGE_TRANSPARENT, lb_box_grow(part, 8, 8));
            lb_plane *got = warped(pool, cut, dx, dy, (lb_filter)filter, LB_EDGE_TRANSPARENT, part);

            cr_expect(picture_same(one, got, part), "%s, part %d", lb_filter_names[filter], i);
            lb_plane_unref(&cut);
            lb_plane_unref(&got);
        }
        lb_plane_unref(&one);
        lb_plane_unref(&two[0]);
        lb_plane_unref(&two[1]);
    }
    lb_pool_free(&pool);
    lb_plane_unref(&in);
    lb_plane_unref(&other);
    lb_plane_unref(&dx);
    lb_plane_unref(&dy);
}

/* The limit in one go is the limit afterwards. */
Test(warp, limited_as_in_two_steps)
{
    lb_box box = {-20, -10, 300, 200};
    lb_plane *planes[3];
    lb_plane *dx = moves(box, 1, 4), *dy = moves(box, 2, 4);

    for (uint32_t p = 0; p < 3; p++)
        planes[p] = picture_random((lb_box){-9, 4, 260, 170}, p);
    picture_set(planes[1], 50, 50, INFINITY);
    for (int32_t y = 20; y < 60; y++)
        for (int32_t x = 30; x < 70; x++) {
            picture_set(dx, x, y, y % 3 ? 0 : 1.5f);
            picture_set(dy, x, y, x % 3 ? 0 : -2);
        }
    for (int filter = LB_FILTER_NEAREST; filter <= LB_FILTER_MITCHELL; filter++)
        for (int edge = LB_EDGE_TRANSPARENT; edge <= LB_EDGE_MIRROR; edge++) {
            const lb_plane *const *in = (const lb_plane *const *)planes;
            lb_plane *got[3];

            cr_assert(lb_warp_planes_limited(NULL, 3, in, dx, dy, (lb_filter)filter, (lb_edge)edge,
                                             box, got) == LB_OK);
            for (int p = 0; p < 3; p++) {
                lb_plane *want =
                    warped(NULL, planes[p], dx, dy, (lb_filter)filter, (lb_edge)edge, box);

                if (lb_filter_rings((lb_filter)filter))
                    cr_assert(lb_limit_warp(NULL, planes[p], dx, dy, (lb_edge)edge, want) == LB_OK);
                cr_expect(picture_same(want, got[p], box), "%s %s plane %d",
                          lb_filter_names[filter], lb_edge_names[edge], p);
                lb_plane_unref(&want);
                lb_plane_unref(&got[p]);
            }
        }
    for (int p = 0; p < 3; p++)
        lb_plane_unref(&planes[p]);
    lb_plane_unref(&dx);
    lb_plane_unref(&dy);
}

Test(warp, hopeless_maps_give_an_answer)
{
    static const float hopeless[] = {NAN, INFINITY, -INFINITY, 1e30f, -1e30f, 3e9f, 1e-40f};
    lb_plane *in = picture_random((lb_box){0, 0, 30, 20}, 1);
    lb_box box = {0, 0, 7, 7};
    lb_plane *dx = picture_new(box), *dy = picture_new(box);

    for (int32_t y = 0; y < 7; y++)
        for (int32_t x = 0; x < 7; x++) {
            picture_set(dx, x, y, hopeless[x]);
            picture_set(dy, x, y, hopeless[y]);
        }
    for (int filter = LB_FILTER_NEAREST; filter <= LB_FILTER_MITCHELL; filter++)
        for (int edge = LB_EDGE_TRANSPARENT; edge <= LB_EDGE_MIRROR; edge++) {
            lb_plane *out = warped(NULL, in, dx, dy, (lb_filter)filter, (lb_edge)edge, box);

            for (int32_t y = 0; y < 7; y++)
                for (int32_t x = 0; x < 7; x++)
                    cr_expect(isfinite(lb_plane_at(out, x, y)));
            lb_plane_unref(&out);
        }
    lb_plane_unref(&in);
    lb_plane_unref(&dx);
    lb_plane_unref(&dy);
}

Test(warp, boxes_and_allocations)
{
    lb_plane *in = picture_random((lb_box){0, 0, 50, 40}, 4), *dx, *out;
    size_t before;

    cr_assert(lb_plane_new_constant((lb_box){0, 0, 50, 40}, 0.5f, &dx) == LB_OK);
    before = lb_memory_used();
    cr_expect(lb_warp_plane(NULL, in, dx, dx, LB_FILTER_CUBIC, LB_EDGE_CLAMP,
                            (lb_box){0, 0, 51, 40}, &out) == LB_INVALID &&
              !out);
    for (int64_t n = 1;; n++) {
        lb_status status;
        bool done;

        lb_memory_fail_at(n);
        status =
            lb_warp_plane(NULL, in, dx, dx, LB_FILTER_CUBIC, LB_EDGE_CLAMP, lb_plane_box(in), &out);
        done = lb_memory_fail_left() > 0;
        lb_memory_fail_at(0);
        cr_assert(status == (done ? LB_OK : LB_MEMORY) && (out != NULL) == done);
        lb_plane_unref(&out);
        cr_assert(lb_memory_used() == before);
        if (done)
            break;
    }
    lb_plane_unref(&in);
    lb_plane_unref(&dx);
}
