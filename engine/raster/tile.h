/* engine/raster/tile.h: one tile's pixels. Not a public header. */
#ifndef LB_RASTER_TILE_H
#define LB_RASTER_TILE_H

#include <math.h>

#include "engine/raster/cover.h"
#include "engine/raster/shade.h"

#define LB_TILE_PIXELS (LB_TILE_MAX * LB_TILE_MAX)

/* A run of samples of one pixel that see one transparent triangle at about one instant. */
typedef struct lb_fragment {
    uint64_t mask;
    uint32_t triangle;
    int32_t drawable;
    int32_t until; /* the instant after its last */
    uint16_t pixel;
} lb_fragment;

/* Arrays that grow. */
typedef struct lb_points {
    size_t count, capacity;
    lb_point *items;
} lb_points;
typedef struct lb_results {
    size_t capacity;
    lb_shaded *items;
} lb_results;

/* One worker's memory. */
typedef struct lb_tile {
    const lb_shot *shot;
    const lb_bins *bins;
    lb_cover cover;
    lb_shader shader;
    bool has_clear; /* something transparent may be in the tile */
    uint8_t instant_of[LB_MAX_SAMPLES];

    lb_points points; /* of opaque surfaces, pixel by pixel */
    lb_results shaded;
    uint32_t near_point[LB_TILE_PIXELS]; /* the nearest sample's; LB_NOTHING */
    float near_key[LB_TILE_PIXELS];

    lb_hits hits, sorted;
    size_t fragment_count, fragment_capacity;
    lb_fragment *fragments;
    lb_points clear_points; /* of fragments, one each */
    lb_results clear_shaded;
    size_t order_capacity;
    struct lb_clear_order *order;
    uint32_t starts[LB_TILE_PIXELS + 1]; /* of each pixel's hits */

    float rgba[4][LB_TILE_PIXELS], depth[LB_TILE_PIXELS];
    float normal[3][LB_TILE_PIXELS], uv[2][LB_TILE_PIXELS];
} lb_tile;

/* Planes to write to; those not wanted are NULL. */
typedef struct lb_layers {
    lb_plane *rgba[4], *depth, *normal[3], *uv[2];
} lb_layers;

LB_MUST_CHECK lb_status lb_tile_init(lb_tile *tile, const lb_shot *shot, const lb_bins *bins);
void lb_tile_clear(lb_tile *tile);

/* Renders the tile with column x and row y, counted in tiles from frame pixel 0. */
LB_MUST_CHECK lb_status lb_tile_render(lb_tile *tile, int32_t x, int32_t y,
                                       const lb_layers *layers);

/* clear.c: what is transparent, in front of what is opaque. After the tile's points are shaded and
 * cover.ids hold their numbers. */
LB_MUST_CHECK lb_status lb_tile_add_clear(lb_tile *tile);

/* The refs of a piece that may touch the tile at (x, y). */
typedef struct lb_refs_of {
    const uint32_t *listed, *broad;
    size_t listed_count, broad_count;
} lb_refs_of;
lb_refs_of lb_tile_refs(const lb_piece *piece, int32_t x, int32_t y);

/* Until which instant, exclusive, what pixel (x, y) of the tile sees of a triangle at `instant` may
 * be shaded as one: it goes less than LB_STRIDE_FIXED. */
int32_t lb_tile_until(lb_tile *tile, const lb_drawable *d, uint32_t triangle, int32_t instant,
                      int32_t x, int32_t y);

/* Makes room for `count` results. */
LB_MUST_CHECK bool lb_results_reserve(lb_results *results, size_t count);

static inline float lb_tile_distance(const lb_shot *shot, float key)
{
    return key == -INFINITY ? INFINITY : shot->orthographic ? -key : 1 / key;
}

#endif
