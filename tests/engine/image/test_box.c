/* tests/engine/image/test_box.c: set arithmetic of half-open rectangles. */
#include <criterion/criterion.h>
#include <math.h>

#include "engine/image/box.h"

static const lb_box a = {2, 3, 10, 8}, nothing = {0, 0, 0, 0};

static bool same(lb_box got, int32_t x0, int32_t y0, int32_t x1, int32_t y1)
{
    return got.x0 == x0 && got.y0 == y0 && got.x1 == x1 && got.y1 == y1;
}

Test(box, empty_boxes_are_all_alike)
{
    cr_expect(lb_box_is_empty(nothing) && lb_box_is_empty((lb_box){5, 0, 5, 9}));
    cr_expect(lb_box_is_empty((lb_box){5, 0, 2, 9}) && !lb_box_is_empty(a));
    cr_expect(lb_box_equal(nothing, (lb_box){7, 7, 7, 9}) && !lb_box_equal(nothing, a));
    cr_expect(same(lb_box_normal((lb_box){7, 7, 7, 9}), 0, 0, 0, 0));
    cr_expect(lb_box_width((lb_box){7, 0, 3, 1}) == 0 && lb_box_width(a) == 8);
    cr_expect(lb_box_height(a) == 5);
}

Test(box, sets)
{
    cr_expect(same(lb_box_intersect(a, (lb_box){5, 0, 20, 6}), 5, 3, 10, 6));
    cr_expect(same(lb_box_intersect(a, (lb_box){10, 0, 20, 6}), 0, 0, 0, 0));
    cr_expect(same(lb_box_unite(a, (lb_box){20, 0, 21, 1}), 2, 0, 21, 8));
    cr_expect(same(lb_box_unite(a, (lb_box){90, 90, 90, 90}), 2, 3, 10, 8));
    cr_expect(same(lb_box_unite(nothing, a), 2, 3, 10, 8));
    cr_expect(lb_box_contains(a, a) && lb_box_contains(a, nothing));
    cr_expect(!lb_box_contains(a, (lb_box){2, 3, 11, 8}) && !lb_box_contains(nothing, a));
}

Test(box, growing_and_shifting)
{
    cr_expect(same(lb_box_grow(a, 3, 1), -1, 2, 13, 9));
    cr_expect(same(lb_box_grow(a, -4, 0), 0, 0, 0, 0));
    cr_expect(same(lb_box_grow(nothing, 9, 9), 0, 0, 0, 0));
    cr_expect(same(lb_box_shift(a, -2, 5), 0, 8, 8, 13));
    cr_expect(same(lb_box_grow(LB_BOX_EVERYTHING, INT32_MAX, INT32_MAX), -LB_BOX_LIMIT,
                   -LB_BOX_LIMIT, LB_BOX_LIMIT, LB_BOX_LIMIT));
    cr_expect(lb_box_is_empty(lb_box_shift(a, INT32_MAX, 0)), "beyond the limit nothing is left");
}

Test(box, around_reals)
{
    cr_expect(same(lb_box_around(0.25, -0.5, 3, 1.01), 0, -1, 3, 2));
    cr_expect(lb_box_is_empty(lb_box_around(NAN, 0, 1, 1)));
    cr_expect(lb_box_is_empty(lb_box_around(0, 0, 1, NAN)));
    cr_expect(lb_box_is_empty(lb_box_around(1, 0, 1, 1)));
    cr_expect(same(lb_box_around(-INFINITY, -1e300, INFINITY, 1e300), -LB_BOX_LIMIT, -LB_BOX_LIMIT,
                   LB_BOX_LIMIT, LB_BOX_LIMIT));
}
