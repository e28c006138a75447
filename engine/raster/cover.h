/* engine/raster/cover.h: which triangle each sample of a tile sees. Not a public header. */
#ifndef LB_RASTER_COVER_H
#define LB_RASTER_COVER_H

#include "engine/raster/bins.h"

#define LB_LANES 8
#define LB_NOTHING UINT32_MAX

/* The samples of one tile. Eight pixels of a row lie side by side, sample by sample: sample s of
 * pixel (x, y) of the tile is element ((y * tile_size / 8 + x / 8) * samples + s) * 8 + x % 8. */
typedef struct lb_cover {
    const lb_shot *shot;
    int32_t x, y;  /* the tile's first pixel, from frame pixel 0 */
    lb_box wanted; /* pixels of it, from its first one */
    float *keys;   /* of the nearest; -INFINITY: nothing */
    uint32_t *ids; /* triangle; LB_NOTHING */
} lb_cover;

static inline size_t lb_cover_at(const lb_cover *c, int32_t x, int32_t y)
{
    size_t blocks = (size_t)c->shot->tile_size / LB_LANES;

    return ((size_t)y * blocks + (size_t)x / LB_LANES) * (size_t)c->shot->pattern.count * LB_LANES +
           (size_t)x % LB_LANES;
}

void lb_cover_reset(lb_cover *cover);

/* Draws triangles of a piece, in their order. Of two at the same depth the first one stays. */
void lb_cover_draw(lb_cover *cover, const lb_piece *piece, const uint32_t *refs, size_t count);

/* A triangle on the samples of one pixel where nothing opaque hides it. */
typedef struct lb_hit {
    uint64_t mask; /* samples */
    uint32_t triangle;
    uint16_t pixel; /* y * LB_TILE_MAX + x */
    uint8_t instant;
} lb_hit;

typedef struct lb_hits {
    size_t count, capacity;
    lb_hit *items;
} lb_hits;

/* Appends the triangles' hits in rows [row0, row1) of the tile. False: no memory. */
LB_MUST_CHECK bool lb_cover_find(const lb_cover *cover, const lb_piece *piece, const uint32_t *refs,
                                 size_t count, int32_t row0, int32_t row1, lb_hits *hits);

#endif
