/* engine/image/outline.h: shapes of lines and curves, and how much of each pixel they cover. */
#ifndef LB_IMAGE_OUTLINE_H
#define LB_IMAGE_OUTLINE_H

#include "engine/base/thread.h"
#include "engine/image/plane.h"

/* A straight piece, going up or down. */
typedef struct lb_outline_edge {
    double x0, y0, x1, y1;
} lb_outline_edge;

/* Closed contours in frame pixels, as straight pieces. Zero-initialise; free with
 * lb_outline_clear. After a failed allocation (or more than 2^24 pieces) `failed` is set and
 * additions are ignored, so that a long build is checked once at its end. Points are kept on a grid
 * of 2^-16 pixels and within 2^24 pixels of the origin; NaN counts as 0. */
typedef struct lb_outline {
    lb_outline_edge *edges;
    size_t count, capacity;
    double start[2], pen[2]; /* of the contour that is being drawn */
    bool open, failed;
} lb_outline;

void lb_outline_clear(lb_outline *outline);
/* Begins a contour; the one before is closed by a line. */
void lb_outline_move(lb_outline *outline, double x, double y);
void lb_outline_line(lb_outline *outline, double x, double y);
/* Bezier curves with one and with two control points, flattened within 0.0025 pixels. */
void lb_outline_conic(lb_outline *outline, double cx, double cy, double x, double y);
void lb_outline_cubic(lb_outline *outline, double cx, double cy, double dx, double dy, double x,
                      double y);
/* Closes the last contour. */
void lb_outline_close(lb_outline *outline);

/* Every pixel with ink is in it. */
lb_box lb_outline_box(const lb_outline *outline);

/* The share of each pixel of `box` that lies inside: the exact area, at any position. Contours that
 * turn the same way and overlap count once (non-zero winding); one that turns the other way cuts a
 * hole. The outline is closed and not `failed`. *out is the caller's. LB_MEMORY. */
LB_MUST_CHECK lb_status lb_outline_fill(lb_pool *pool, const lb_outline *outline, lb_box box,
                                        lb_plane **out);

#endif
