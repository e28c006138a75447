/* engine/media/display.h: a frame as the integers of a display format; for this layer only. */
#ifndef LB_MEDIA_DISPLAY_H
#define LB_MEDIA_DISPLAY_H

#include "engine/media/codec.h"

/* Which planes make the picture of the display window. Lent from the image. */
typedef struct lb_signal {
    const lb_delivery *delivery;
    lb_box window;             /* the frame: the display window */
    const lb_plane *colour[3]; /* NULL: 0 everywhere; grey has the first alone */
    const lb_plane *alpha;     /* NULL: 0 everywhere if has_alpha, else 1 */
    bool is_grey, has_alpha;
    int32_t channels; /* 1 to 4: grey or colour, and alpha */
} lb_signal;

/* Finds R, G, B, else Y, else the only plane there is; an image without planes is transparent
 * black. With `alpha_wanted` an "A" that is not 1 everywhere in the frame is kept, and colour is
 * divided by it; else colour is as it is over black. LB_INVALID for an image without colour,
 * LB_LIMIT for a frame with sides over `side_max`. */
LB_MUST_CHECK lb_status lb_signal_open(const lb_delivery *delivery, bool alpha_wanted,
                                       int32_t side_max, lb_signal *out);

/* Floats that lb_signal_row needs to work in. */
size_t lb_signal_scratch(const lb_signal *signal);

/* Row y of the frame through the view, rounded to the nearest of 8 or 16 bits (big-endian), the
 * channels of a pixel side by side. */
void lb_signal_row(const lb_signal *signal, int32_t y, int bits, float *scratch, uint8_t *out);

/* Row y of the frame in scene-linear light as the image has it, over black. */
void lb_signal_light_row(const lb_signal *signal, int32_t y, float *const rgb[3]);

/* All rows with 8 bits; lb_block_free. */
LB_MUST_CHECK lb_status lb_signal_pixels(const lb_signal *signal, uint8_t **out);

#endif
