/* engine/image/defocus_near.h: narrow discs, pixel by pixel of theirs.
 *
 * A disc of few pixels has as many steps as pixels, so it is spread directly: for every distance
 * the row of weights, one for each source, times the row of colours, added to the rows around. */
#ifndef LB_IMAGE_DEFOCUS_NEAR_H
#define LB_IMAGE_DEFOCUS_NEAR_H

#include "engine/image/defocus_sources.h"

#define LB_NEAR_CODES 1562 /* codes below are of radii below 11.3: nine slices to each side */
#define LB_NEAR_SLICES 9
#define LB_NEAR_REACH 11
#define LB_NEAR_DISTANCES 78 /* (a, b), 0 <= b <= a <= 11 */
#define LB_NEAR_MARGIN 16    /* of sources beside a tile: whole vectors */

/* Weights by distance and code; 0 where there is none. */
typedef struct lb_near {
    float *weights;
    uint8_t *reach; /* by code */
} lb_near;

/* The weights of the codes that are marked. LB_MEMORY, LB_CANCELLED. */
LB_MUST_CHECK lb_status lb_near_new(lb_pool *pool, const uint8_t *used, int32_t codes,
                                    lb_near *out);
void lb_near_clear(lb_near *near);
size_t lb_near_bytes(void);

/* How far the discs of a slice reach, `away` slices from the focus (0 is the next). */
int32_t lb_near_reach(int32_t away);

/* One row of sources about a row of a tile: which discs, and what they spread. */
typedef struct lb_near_row {
    int32_t code[LB_DEFOCUS_TILE_WIDTH + 2 * LB_NEAR_MARGIN]; /* 0: not in this slice */
    float parts[5][LB_DEFOCUS_TILE_WIDTH + 2 * LB_NEAR_MARGIN];
} lb_near_row;

/* Spreads a row of sources. `sums` are five channels of LB_DEFOCUS_TILE_HEIGHT rows of
 * LB_DEFOCUS_TILE_WIDTH; `y` is the row's place among them, before or behind them too. */
void lb_near_spread(const lb_near *near, const lb_near_row *row, int32_t y, int32_t rows,
                    float *sums);

#endif
