/* engine/raster/bins.h: which triangles may touch which tile. Not a public header.
 *
 * Triangles are taken in pieces of some thousands with consecutive numbers at one instant (still
 * ones: at all). Each piece sorts its own by tile, so that pieces need nothing from each other, and
 * a tile that goes through the pieces in order meets triangles in order of their numbers. */
#ifndef LB_RASTER_BINS_H
#define LB_RASTER_BINS_H

#include "engine/raster/clip.h"

typedef struct lb_piece {
    uint32_t first, end;     /* triangles */
    int32_t drawable;        /* the first one's */
    int32_t instant;         /* -1: all */
    lb_box tiles;            /* tiles that `offsets` is about */
    const uint32_t *offsets; /* of each of those, row by row, into refs; one more at the end */
    const uint32_t *refs;    /* triangle numbers, or LB_REF_CLIPPED and an index into clipped */
    uint32_t broad_first, broad_end; /* refs of triangles over many tiles, for all to look at */
    const lb_clipped *clipped;
    void *block;
} lb_piece;
#define LB_REF_CLIPPED 0x80000000u

typedef struct lb_bins {
    int32_t piece_count, opaque_count; /* opaque pieces come first */
    lb_piece *pieces;
} lb_bins;

LB_MUST_CHECK lb_status lb_bins_new(lb_pool *pool, const lb_shot *shot, lb_bins **out);
void lb_bins_free(lb_bins **bins);

/* The tile of a pixel: rounds down. */
static inline int32_t lb_bins_tile(const lb_shot *shot, int32_t pixel)
{
    return pixel >= 0 ? pixel >> shot->tile_shift
                      : -((-pixel + shot->tile_size - 1) >> shot->tile_shift);
}

#endif
