/* tests/engine/image/test_plane.c */
#include <criterion/criterion.h>
#include <stdint.h>

#include "engine/image/plane.h"

Test(plane, rows_are_aligned_and_zero)
{
    lb_box box = {-3, -2, 1021, 5};
    lb_plane *plane;

    cr_assert(lb_plane_new(box, &plane) == LB_OK);
    cr_expect(lb_box_equal(lb_plane_box(plane), box));
    cr_expect(lb_plane_stride(plane) % 16 == 0 && lb_plane_stride(plane) >= 1024);
    cr_expect(lb_plane_stride(plane) * 4 % 4096 != 0, "rows share the cache's sets");
    for (int32_t y = box.y0; y < box.y1; y++) {
        cr_expect((uintptr_t)lb_plane_row(plane, y) % 64 == 0);
        for (int32_t x = box.x0; x < box.x1; x++)
            cr_assert(lb_plane_at(plane, x, y) == 0);
    }
    lb_plane_row_to_fill(plane, -2)[4] = 7;
    cr_expect(lb_plane_at(plane, 1, -2) == 7);
    cr_expect(lb_plane_at(plane, -4, -2) == 0 && lb_plane_at(plane, 1, 5) == 0);
    cr_expect(lb_plane_bytes(plane) >= (size_t)1024 * 7 * 4);
    lb_plane_unref(&plane);
    cr_expect(plane == NULL);
    lb_plane_unref(&plane);
}

/* Loops go along the rows of many planes at once: a cache of 8 or 12 ways has no room for them
 * where all begin at the same place of a page. */
Test(plane, big_planes_begin_at_different_places)
{
    enum { COUNT = 12 };
    lb_plane *planes[COUNT];
    size_t first = 0, others = 0;

    for (int i = 0; i < COUNT; i++) {
        size_t place;

        cr_assert(lb_plane_new_raw((lb_box){0, 0, 1920, 1080}, &planes[i]) == LB_OK);
        place = (uintptr_t)lb_plane_row(planes[i], 0) % 4096;
        cr_expect(place % 64 == 0);
        lb_plane_row_to_fill(planes[i], 0)[0] = lb_plane_row_to_fill(planes[i], 1079)[1919] = 1;
        first = i == 0 ? place : first;
        others += place != first;
    }
#ifndef __SANITIZE_ADDRESS__ /* there a plane fills its block */
    cr_expect(others >= COUNT / 4, "%d of %d begin elsewhere than the first", (int)others, COUNT);
#else
    (void)others;
#endif
    for (int i = 0; i < COUNT; i++)
        lb_plane_unref(&planes[i]);
}

Test(plane, a_constant_holds_one_row)
{
    lb_plane *plane;
    float value = 0;

    cr_assert(lb_plane_new_constant((lb_box){0, 0, 100, 1000}, 0.25f, &plane) == LB_OK);
    cr_expect(lb_plane_is_constant(plane, &value) && value == 0.25f);
    cr_expect(lb_plane_stride(plane) == 0 && lb_plane_bytes(plane) == 112 * 4);
    cr_expect(lb_plane_row(plane, 0) == lb_plane_row(plane, 999));
    cr_expect(lb_plane_at(plane, 99, 999) == 0.25f && lb_plane_at(plane, 99, 1000) == 0);
    lb_plane_unref(&plane);

    cr_assert(lb_plane_new((lb_box){0, 0, 4, 4}, &plane) == LB_OK);
    cr_expect(!lb_plane_is_constant(plane, &value));
    lb_plane_unref(&plane);
}

Test(plane, references_share)
{
    lb_plane *plane, *again;
    size_t before = lb_memory_used();

    cr_assert(lb_plane_new_raw((lb_box){0, 0, 64, 64}, &plane) == LB_OK);
    again = lb_plane_ref(plane);
    cr_expect(again == plane);
    lb_plane_unref(&plane);
    cr_expect(lb_memory_used() > before);
    lb_plane_unref(&again);
    cr_expect(lb_memory_used() == before);
}

Test(plane, limits)
{
    lb_plane *plane = (lb_plane *)&plane;

    cr_expect(lb_plane_new((lb_box){0, 0, 0, 5}, &plane) == LB_INVALID && !plane);
    cr_expect(lb_plane_new(LB_BOX_EVERYTHING, &plane) == LB_LIMIT && !plane);
    lb_memory_set_budget((size_t)1 << 20);
    cr_expect(lb_plane_new((lb_box){0, 0, 1024, 1024}, &plane) == LB_MEMORY && !plane);
}

Test(plane, failing_allocations)
{
    size_t before = lb_memory_used();

    for (int kind = 0; kind < 3; kind++)
        for (int64_t n = 1;; n++) {
            lb_box box = {0, 0, 300, 20};
            lb_plane *plane;
            lb_status status;

            lb_memory_fail_at(n);
            status = kind == 0   ? lb_plane_new(box, &plane)
                     : kind == 1 ? lb_plane_new_raw(box, &plane)
                                 : lb_plane_new_constant(box, 1, &plane);
            if (lb_memory_fail_left() > 0) {
                lb_memory_fail_at(0);
                cr_expect(status == LB_OK && n > 2);
                lb_plane_unref(&plane);
                break;
            }
            lb_memory_fail_at(0);
            cr_assert(status == LB_MEMORY && !plane);
            cr_assert(lb_memory_used() == before);
        }
}
