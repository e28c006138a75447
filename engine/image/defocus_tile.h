/* engine/image/defocus_tile.h: a small part of a defocused picture. */
#ifndef LB_IMAGE_DEFOCUS_TILE_H
#define LB_IMAGE_DEFOCUS_TILE_H

#include "engine/image/defocus_near.h"

#define LB_DEFOCUS_TILE_STRIDE (LB_DEFOCUS_TILE_WIDTH + 13) /* of steps; see the field */

/* r, g, b, a, coverage, nothing: a vector of the widest kind. */
typedef double lb_lanes __attribute__((vector_size(64)));

typedef struct lb_defocus_tile {
    const lb_defocus_sources *sources;
    const lb_discs *discs;
    const lb_near *near;
    lb_box box;
    /* Of one slice: differences along x, 0 between slices. Rows of WIDTH + 1, and farther apart, so
     * that the edge of a disc does not fall on the same few addresses modulo a page. */
    lb_lanes *steps;
    float *sums;     /* of one slice of narrow discs; 0 between slices */
    lb_lanes *total; /* rows of WIDTH: what the slices so far add up to */
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
