/* engine/image/plane.h: one channel of pixels. */
#ifndef LB_IMAGE_PLANE_H
#define LB_IMAGE_PLANE_H

#include "engine/base/memory.h"
#include "engine/image/box.h"

#define LB_PLANE_MAX_PIXELS ((int64_t)1 << 31)

/* A rectangle of 32-bit floats in frame pixels, reference-counted. One thread makes, fills and
 * publishes it; from then on nobody changes it, and any number of threads read it unlocked. */
typedef struct lb_plane lb_plane;

/* Makes a plane of `box`, every pixel 0.
 *
 * box   frame pixels, half-open, not empty, at most LB_PLANE_MAX_PIXELS
 * out   owned by the caller (lb_plane_unref); NULL on failure
 *
 * LB_LIMIT if the box is too big, LB_MEMORY if the budget or the system has no room. */
LB_MUST_CHECK lb_status lb_plane_new(lb_box box, lb_plane **out);
/* The same with pixels left as they come: for a maker that writes every one. */
LB_MUST_CHECK lb_status lb_plane_new_raw(lb_box box, lb_plane **out);
/* Every pixel `value`, one row of memory whatever the height. */
LB_MUST_CHECK lb_status lb_plane_new_constant(lb_box box, float value, lb_plane **out);

lb_plane *lb_plane_ref(const lb_plane *plane);
void lb_plane_unref(lb_plane **plane); /* NULL-safe; clears the pointer */

lb_box lb_plane_box(const lb_plane *plane);
size_t lb_plane_bytes(const lb_plane *plane); /* of pixels held */
/* What a plane of `box` takes from the account (lb_memory_used) at most; a new one may still get a
 * block half as large again that waited. */
size_t lb_plane_room(lb_box box);
/* True: every pixel has the value *out. Only known for planes made constant. */
bool lb_plane_is_constant(const lb_plane *plane, float *out);

/* Pixel (x0, y) of the plane's box: the row's start, lent, 64-byte aligned. y is inside the box. */
const float *lb_plane_row(const lb_plane *plane, int32_t y);
/* For the maker only, before publishing; not for constant planes. */
float *lb_plane_row_to_fill(lb_plane *plane, int32_t y);
/* Floats from one row to the next; 0 for constant planes. */
ptrdiff_t lb_plane_stride(const lb_plane *plane);
/* Pixel (x, y), which may lie outside the box: then 0. */
float lb_plane_at(const lb_plane *plane, int32_t x, int32_t y);

#endif
