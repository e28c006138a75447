/* engine/image/defocus_tile.h: a small part of a defocused picture. */
#ifndef LB_IMAGE_DEFOCUS_TILE_H
#define LB_IMAGE_DEFOCUS_TILE_H

#include "engine/image/defocus_near.h"

/* What the largest squares are averaged over, to the left and above. */
#define LB_DEFOCUS_TILE_MARGIN ((1 << (LB_DEFOCUS_SIZES - 1)) - 1)
/* Lanes from row to row: one more than there are, for falls, and so far apart that the edge of a
 * disc does not fall on the same few addresses modulo a page. */
#define LB_DEFOCUS_TILE_STRIDE (LB_DEFOCUS_TILE_WIDTH + LB_DEFOCUS_TILE_MARGIN + 6)

/* r, g, b, a, coverage, nothing: a vector of the widest kind. */
typedef double lb_lanes __attribute__((vector_size(64)));

typedef struct lb_defocus_tile {
    const lb_defocus_sources *sources;
    const lb_discs *discs;
    const lb_near *near;
    lb_box box;
    lb_lanes *steps; /* of one slice: differences along x, 0 between slices */
    lb_lanes *whole; /* of one slice: what squares add up to */
    float *sums;     /* of one slice of narrow discs; 0 between slices */
    lb_lanes *total; /* rows of LB_DEFOCUS_TILE_WIDTH: what the slices so far add up to */
} lb_defocus_tile;

size_t lb_defocus_tile_bytes(void);
/* `memory` of that size, aligned to 64 bytes, is the tile's until it is done with: all 0 before the
 * first tile, and then for one after the other. */
void lb_defocus_tile_begin(lb_defocus_tile *tile, void *memory, lb_box box);
/* Spreads every slice from front to back into tile->total. */
void lb_defocus_tile_run(lb_defocus_tile *tile);
/* What becomes of a box: no light reaches it, nothing that is out of focus does, or work. */
typedef enum lb_defocus_fate {
    LB_DEFOCUS_EMPTY,
    LB_DEFOCUS_SHARP,
    LB_DEFOCUS_BLURRED
} lb_defocus_fate;
lb_defocus_fate lb_defocus_fate_of(const lb_defocus_sources *sources, lb_box box);

#endif
