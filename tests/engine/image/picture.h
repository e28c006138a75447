/* tests/engine/image/picture.h: planes for tests. What goes wrong ends the test. */
#ifndef LB_TESTS_ENGINE_IMAGE_PICTURE_H
#define LB_TESTS_ENGINE_IMAGE_PICTURE_H

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "engine/base/random.h"
#include "engine/image/extend.h"
#include "engine/image/plane.h"

static inline lb_plane *picture_new(lb_box box)
{
    lb_plane *plane;

    if (lb_plane_new(box, &plane) != LB_OK) {
        fputs("no plane\n", stderr);
        abort();
    }
    return plane;
}

static inline void picture_set(lb_plane *plane, int32_t x, int32_t y, float value)
{
    lb_plane_row_to_fill(plane, y)[x - lb_plane_box(plane).x0] = value;
}

/* Anything from 0 to 1, one pixel in fifty a highlight; a function of the pixel alone. */
static inline lb_plane *picture_random(lb_box box, uint32_t seed)
{
    lb_plane *plane = picture_new(box);

    for (int32_t y = box.y0; y < box.y1; y++)
        for (int32_t x = box.x0; x < box.x1; x++) {
            float value = lb_random_float(seed, (uint32_t)x, (uint32_t)y, 0);

            if (lb_random_u32(seed, (uint32_t)x, (uint32_t)y, 1) % 50 == 0)
                value *= 10000;
            picture_set(plane, x, y, value);
        }
    return plane;
}

/* The pixels of `box`, which go on by the edge rule. */
static inline lb_plane *picture_cut(const lb_plane *plane, lb_edge edge, lb_box box)
{
    lb_plane *cut = picture_new(box);

    for (int32_t y = box.y0; y < box.y1; y++)
        lb_plane_copy_row(plane, edge, y, box.x0, box.x1, lb_plane_row_to_fill(cut, y));
    return cut;
}

/* Whether a and b hold the same bits over `box`, which both have. */
static inline bool picture_same(const lb_plane *a, const lb_plane *b, lb_box box)
{
    for (int32_t y = box.y0; y < box.y1; y++)
        if (memcmp(lb_plane_row(a, y) + (box.x0 - lb_plane_box(a).x0),
                   lb_plane_row(b, y) + (box.x0 - lb_plane_box(b).x0),
                   (size_t)(box.x1 - box.x0) * sizeof(float)) != 0)
            return false;
    return true;
}

static inline double picture_sum(const lb_plane *plane)
{
    lb_box box = lb_plane_box(plane);
    double sum = 0;

    for (int32_t y = box.y0; y < box.y1; y++)
        for (int32_t x = box.x0; x < box.x1; x++)
            sum += (double)lb_plane_at(plane, x, y);
    return sum;
}

#endif
