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
/* Big blocks begin at page borders. Loops that go along the rows of a dozen planes at once would
 * meet in one set of the first cache, so planes begin at sixteen different places in a page. */
#define BIG_BYTES ((size_t)64 << 10)
#define PLACES 16
#define PLACE_FLOATS (SET_FLOATS / PLACES)
/* With AddressSanitizer a plane fills its block, so that it sees every step outside. */
#if defined(__has_feature)
#if __has_feature(address_sanitizer)
#define LB_PLAIN_PLANES 1
#endif
#endif
#if defined(__SANITIZE_ADDRESS__)
#define LB_PLAIN_PLANES 1
#endif
#ifndef LB_PLAIN_PLANES
#define LB_PLAIN_PLANES 0
#endif

struct lb_plane {
    lb_refs refs;
    lb_box box;
    ptrdiff_t stride; /* floats; 0: one row stands for all, every pixel is `value` */
    float value;
    size_t bytes;
    float *pixels;
    void *block; /* what they lie in */
};

static size_t stride_of(lb_box box)
{
    size_t lines = ((size_t)lb_box_width(box) + LINE_FLOATS - 1) / LINE_FLOATS;

    return lines * LINE_FLOATS + (lines * LINE_FLOATS % SET_FLOATS == 0 ? LINE_FLOATS : 0);
}

/* Bytes beside the pixels, for any of the places. */
static size_t spare_of(size_t bytes)
{
    return bytes >= BIG_BYTES && !LB_PLAIN_PLANES ? (PLACES - 1) * PLACE_FLOATS * sizeof(float) : 0;
}

/* Blocks lie in a row more often than not: the product (Knuth's multiplicative hash) spreads
 * neighbours. */
static float *place_in(void *block, size_t bytes)
{
    uint32_t page = (uint32_t)((uintptr_t)block >> 12);
    uint32_t place = spare_of(bytes) ? page * UINT32_C(2654435769) >> 28 : 0;

    return (float *)block + place * PLACE_FLOATS;
}

/* Blocks are rounded up by an eighth at most (base/block.c) and have a header. */
size_t lb_plane_room(lb_box box)
{
    size_t bytes = stride_of(box) * (size_t)lb_box_height(box) * sizeof(float);

    bytes += spare_of(bytes);
    return lb_box_is_empty(box) ? 0 : bytes + bytes / 8 + 192 + sizeof(lb_plane);
}

static lb_status make(lb_box box, bool constant, lb_plane **out)
{
    int64_t width = lb_box_width(box), height = lb_box_height(box);
    size_t stride = stride_of(box), floats, bytes, whole;
    lb_plane *plane;

    *out = NULL;
    if (lb_box_is_empty(box))
        return LB_INVALID;
    if (width * height > LB_PLANE_MAX_PIXELS)
        return LB_LIMIT;
    if (!lb_size_mul(stride, constant ? 1 : (size_t)height, &floats) ||
        !lb_size_mul(floats, sizeof(float), &bytes) || !lb_size_add(bytes, spare_of(bytes), &whole))
        return LB_LIMIT;
    if (!(plane = lb_alloc(1, sizeof *plane)))
        return LB_MEMORY;
    if (!(plane->block = lb_block_new(whole))) {
        lb_free(plane);
        return LB_MEMORY;
    }
    plane->pixels = place_in(plane->block, bytes);
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
        lb_block_free((*plane)->block);
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
