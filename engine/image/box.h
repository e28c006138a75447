/* engine/image/box.h: rectangles of pixels. */
#ifndef LB_IMAGE_BOX_H
#define LB_IMAGE_BOX_H

#include <stdbool.h>
#include <stdint.h>

/* Half-open: x0 <= x < x1. Empty when x0 >= x1 or y0 >= y1; lb_box_normal makes every empty box
 * {0, 0, 0, 0}, and all functions here answer normal boxes. Coordinates stay within
 * +-LB_BOX_LIMIT (results are clamped to it). */
typedef struct lb_box {
    int32_t x0, y0, x1, y1;
} lb_box;

#define LB_BOX_LIMIT (1 << 24)
#define LB_BOX_EVERYTHING ((lb_box){-LB_BOX_LIMIT, -LB_BOX_LIMIT, LB_BOX_LIMIT, LB_BOX_LIMIT})

lb_box lb_box_normal(lb_box box); /* within the limit; {0, 0, 0, 0} if empty */
bool lb_box_is_empty(lb_box box);
bool lb_box_equal(lb_box a, lb_box b);
bool lb_box_contains(lb_box outer, lb_box inner); /* an empty inner is in everything */
lb_box lb_box_intersect(lb_box a, lb_box b);
lb_box lb_box_unite(lb_box a, lb_box b); /* the smallest box around both */
lb_box lb_box_grow(lb_box box, int32_t x, int32_t y);
lb_box lb_box_shift(lb_box box, int32_t x, int32_t y);
/* The smallest box of whole pixels around a rectangle of reals; NaN gives an empty box. */
lb_box lb_box_around(double x0, double y0, double x1, double y1);
static inline int32_t lb_box_width(lb_box box)
{
    return box.x1 > box.x0 ? box.x1 - box.x0 : 0;
}
static inline int32_t lb_box_height(lb_box box)
{
    return box.y1 > box.y0 ? box.y1 - box.y0 : 0;
}

#endif
