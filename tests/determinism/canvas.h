/* tests/determinism/canvas.h: the pixels of a graph's nodes at one frame, whole or in tiles. */
#ifndef LB_TESTS_DETERMINISM_CANVAS_H
#define LB_TESTS_DETERMINISM_CANVAS_H

#include "engine/graph/run.h"

/* Pixels beyond the frame that are looked at too: what a later move could bring in. */
#define CANVAS_MARGIN 12

/* The frame, grown by the margin. */
lb_box canvas_window(const lb_run *run);

/* Makes the nodes `wanted` (indices in the graph) at `frame`, all together, and answers in out[i]
 * an image whose planes cover what it has of canvas_window. `tiled`: asks for nine uneven tiles,
 * one after the other, and lays them together. False: reported. */
bool canvas_make(lb_run *run, lb_diag *diag, int32_t frame, const int32_t *wanted, int32_t count,
                 bool tiled, lb_image **out);
void canvas_free(lb_image **images, int32_t count);

/* XXH3-128 of an image: its windows, and of each channel in order its name and its pixels row by
 * row. Every NaN counts as the same one, because which one comes out is a matter of the order of
 * the operands of an instruction; -0 and +0 differ. */
lb_key canvas_key(const lb_image *image);

#endif
