/* engine/image/plane.c */
#include "engine/image/plane.h"

#include <assert.h>
#include <string.h>

#include "engine/base/thread.h"

/* Rows start on a cache line: strides are whole lines of 16 floats. */
#define LINE_FLOATS 16
/* Rows whose distance is a multiple of this many floats would share few sets of the first cache,
 * and whatever goes down a column would evict itself. */
#define SET_FLOATS 1024

struct lb_plane {
    lb_refs refs;
    lb_box box;
    ptrdiff_t stride; /* floats; 0: one row stands for all, every pixel is `value` */
    float value;
    size_t bytes;
    float *pixels;
};

static size_t stride_of(lb_box box)
{
    size_t lines = ((size_t)lb_box_width(box) + LINE_FLOATS - 1) / LINE_FLOATS;

    return lines * LINE_FLOATS + (lines * LINE_FLOATS % SET_FLOATS == 0 ? LINE_FLOATS : 0);
}

/* Blocks are rounded up by an eighth at most (base/block.c) and have a header. */
size_t lb_plane_room(lb_box box)
{
    size_t bytes = stride_of(box) * (size_t)lb_box_height(box) * sizeof(float);

    return lb_box_is_empty(box) ? 0 : bytes + bytes / 8 + 192 + sizeof(lb_plane);
}

static lb_status make(lb_box box, bool constant, lb_plane **out)
{
    int64_t width = lb_box_width(box), height = lb_box_height(box);
    size_t stride = stride_of(box), floats, bytes;
    lb_plane *plane;

    *out = NULL;
    if (lb_box_is_empty(box))
        return LB_INVALID;
    if (width * height > LB_PLANE_MAX_PIXELS)
        return LB_LIMIT;
    if (!lb_size_mul(stride, constant ? 1 : (size_t)height, &floats) ||
        !lb_size_mul(floats, sizeof(float), &bytes))
        return LB_LIMIT;
    if (!(plane = lb_alloc(1, sizeof *plane)))
        return LB_MEMORY;
    if (!(plane->pixels = lb_block_new(bytes))) {
        lb_free(plane);
        return LB_MEMORY;
    }
    lb_refs_init(&plane->refs);
    plane->box = box;
    plane->stride = constant ? 0 : (ptrdiff_t)stride;
    plane->bytes = bytes;
    *out = plane;
    return LB_OK;
}

lb_status lb_plane_new_raw(lb_box box, lb_plane **out)
{
    return make(box, false, out);
}

lb_status lb_plane_new(lb_box box, lb_plane **out)
{
    lb_status status = make(box, false, out);

    if (!status)
        memset((*out)->pixels, 0, (*out)->bytes);
    return status;
}

lb_status lb_plane_new_constant(lb_box box, float value, lb_plane **out)
{
    lb_status status = make(box, true, out);

    if (status)
        return status;
    (*out)->value = value;
    for (size_t i = 0; i < (*out)->bytes / sizeof(float); i++)
        (*out)->pixels[i] = value;
    return LB_OK;
}

lb_plane *lb_plane_ref(const lb_plane *plane)
{
    lb_plane *shared = (lb_plane *)plane; /* only the count changes */

    lb_refs_take(&shared->refs);
    return shared;
}

void lb_plane_unref(lb_plane **plane)
{
    if (*plane && lb_refs_drop(&(*plane)->refs)) {
        lb_block_free((*plane)->pixels);
        lb_free(*plane);
    }
    *plane = NULL;
}

lb_box lb_plane_box(const lb_plane *plane)
{
    return plane->box;
}

size_t lb_plane_bytes(const lb_plane *plane)
{
    return plane->bytes;
}

bool lb_plane_is_constant(const lb_plane *plane, float *out)
{
    if (plane->stride != 0)
        return false;
    *out = plane->value;
    return true;
}

const float *lb_plane_row(const lb_plane *plane, int32_t y)
{
    assert(y >= plane->box.y0 && y < plane->box.y1);
    return plane->pixels + (y - plane->box.y0) * plane->stride;
}

float *lb_plane_row_to_fill(lb_plane *plane, int32_t y)
{
    assert(y >= plane->box.y0 && y < plane->box.y1 && plane->stride != 0);
    return plane->pixels + (y - plane->box.y0) * plane->stride;
}

ptrdiff_t lb_plane_stride(const lb_plane *plane)
{
    return plane->stride;
}

float lb_plane_at(const lb_plane *plane, int32_t x, int32_t y)
{
    lb_box box = plane->box;

    if (x < box.x0 || x >= box.x1 || y < box.y0 || y >= box.y1)
        return 0;
    return lb_plane_row(plane, y)[x - box.x0];
}
