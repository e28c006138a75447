/* engine/image/box.c */
#include "engine/image/box.h"

#include <math.h>

static const lb_box nothing = {0, 0, 0, 0};

static int32_t limited(int64_t value)
{
    return value < -LB_BOX_LIMIT  ? -LB_BOX_LIMIT
           : value > LB_BOX_LIMIT ? LB_BOX_LIMIT
                                  : (int32_t)value;
}

static lb_box make(int64_t x0, int64_t y0, int64_t x1, int64_t y1)
{
    lb_box box = {limited(x0), limited(y0), limited(x1), limited(y1)};

    return lb_box_is_empty(box) ? nothing : box;
}

static int32_t larger(int32_t a, int32_t b)
{
    return a > b ? a : b;
}

static int32_t smaller(int32_t a, int32_t b)
{
    return a < b ? a : b;
}

lb_box lb_box_normal(lb_box box)
{
    return make(box.x0, box.y0, box.x1, box.y1);
}

bool lb_box_is_empty(lb_box box)
{
    return box.x0 >= box.x1 || box.y0 >= box.y1;
}

bool lb_box_equal(lb_box a, lb_box b)
{
    if (lb_box_is_empty(a) || lb_box_is_empty(b))
        return lb_box_is_empty(a) && lb_box_is_empty(b);
    return a.x0 == b.x0 && a.y0 == b.y0 && a.x1 == b.x1 && a.y1 == b.y1;
}

bool lb_box_contains(lb_box outer, lb_box inner)
{
    if (lb_box_is_empty(inner))
        return true;
    return outer.x0 <= inner.x0 && outer.y0 <= inner.y0 && outer.x1 >= inner.x1 &&
           outer.y1 >= inner.y1;
}

lb_box lb_box_intersect(lb_box a, lb_box b)
{
    return make(larger(a.x0, b.x0), larger(a.y0, b.y0), smaller(a.x1, b.x1), smaller(a.y1, b.y1));
}

lb_box lb_box_unite(lb_box a, lb_box b)
{
    if (lb_box_is_empty(a))
        return lb_box_normal(b);
    if (lb_box_is_empty(b))
        return lb_box_normal(a);
    return make(smaller(a.x0, b.x0), smaller(a.y0, b.y0), larger(a.x1, b.x1), larger(a.y1, b.y1));
}

lb_box lb_box_grow(lb_box box, int32_t x, int32_t y)
{
    if (lb_box_is_empty(box))
        return nothing;
    return make((int64_t)box.x0 - x, (int64_t)box.y0 - y, (int64_t)box.x1 + x, (int64_t)box.y1 + y);
}

lb_box lb_box_shift(lb_box box, int32_t x, int32_t y)
{
    if (lb_box_is_empty(box))
        return nothing;
    return make((int64_t)box.x0 + x, (int64_t)box.y0 + y, (int64_t)box.x1 + x, (int64_t)box.y1 + y);
}

/* Limited as a real first: converting what int64_t cannot hold is undefined. */
static int64_t whole(double value)
{
    return (int64_t)fmin(fmax(value, -LB_BOX_LIMIT), LB_BOX_LIMIT);
}

lb_box lb_box_around(double x0, double y0, double x1, double y1)
{
    if (!(x0 < x1 && y0 < y1)) /* NaN answers no */
        return nothing;
    return make(whole(floor(x0)), whole(floor(y0)), whole(ceil(x1)), whole(ceil(y1)));
}
