/* engine/image/defocus_sources.h: what every pixel does when it is spread: how far, and in which
 * slice of depth. */
#ifndef LB_IMAGE_DEFOCUS_SOURCES_H
#define LB_IMAGE_DEFOCUS_SOURCES_H

#include "engine/base/thread.h"
#include "engine/image/defocus_discs.h"
#include "engine/image/plane.h"

/* Slices go from front to back: in front of the focus from the widest circle to the narrowest, the
 * focus, behind it from the narrowest to the widest; half an octave of radius each. */
typedef struct lb_slices {
    int32_t side; /* in front of the focus, and as many behind it */
} lb_slices;
#define LB_NO_SLICE 255
lb_slices lb_slices_for(double max_radius);
int32_t lb_slice_of(lb_slices slices, int32_t code, bool in_front);
static inline int32_t lb_slice_focus(lb_slices slices)
{
    return slices.side;
}

/* Pictures are made in tiles. */
#define LB_DEFOCUS_TILE_WIDTH 128
#define LB_DEFOCUS_TILE_HEIGHT 32

/* Square blocks of pixels at absolute multiples of the size: which slices have pixels there, and
 * how far the widest of them reaches. */
#define LB_DEFOCUS_BLOCK 32
#define LB_DEFOCUS_SIZES 4 /* of squares, see below */
typedef struct lb_defocus_block {
    uint64_t seen[LB_DEFOCUS_SIZES], hidden[LB_DEFOCUS_SIZES]; /* bit i: a square of slice i */
    int32_t reach;
    bool has_light; /* perhaps: some value of r, g, b or a is not 0 */
} lb_defocus_block;

/* Where circles are wide, squares of 2 x 2, 4 x 4 or 8 x 8 pixels at absolute multiples of that are
 * spread as one: each pixel's light is shared out evenly among the square's discs, for a fraction
 * of the work, and moves by a pixel or two, or four, within a disc that is six times as wide. Radii
 * must be alike, and no pixel stand out so much that one would see its own disc. The first pixel's
 * code has the size (1 << size is the square's side), the others have no slice. */
#define LB_DEFOCUS_CODE 0x3fffu
#define LB_DEFOCUS_SIZE_BIT 14
#define LB_DEFOCUS_SQUARE_RADIUS 11.35f /* the least */
static inline int32_t lb_defocus_size(uint32_t code)
{
    return (int32_t)(code >> LB_DEFOCUS_SIZE_BIT);
}

typedef struct lb_defocus_sources {
    lb_box box;
    size_t stride;
    lb_slices slices;
    double max_radius;
    const lb_plane *color[4];
    const lb_plane *radius;
    uint16_t *code;
    uint8_t *slice;
    uint64_t *rows; /* bit i: a pixel of slice i is in the row */
    /* Behind what is in front of the focus: r, g, b, a, and how much is known (0 .. 1), by which
     * the others are multiplied. They cover what is in front; NULL: nothing is. */
    lb_plane *hidden[5];
    lb_box hidden_box;
    uint16_t *hidden_code;
    uint8_t *hidden_slice;
    lb_box blocks; /* block coordinates */
    lb_defocus_block *map;
    int32_t codes; /* codes are below that */
    uint8_t *used; /* by code: is there such a disc? */
} lb_defocus_sources;

/* Looks at the radius and colour of every pixel of `box`. LB_MEMORY, LB_CANCELLED. */
LB_MUST_CHECK lb_status lb_defocus_sources_new(lb_pool *pool, const lb_plane *const color[4],
                                               const lb_plane *radius, double max_radius,
                                               lb_box box, lb_defocus_sources *out);
/* Estimates what is hidden (defocus_hidden.c). */
LB_MUST_CHECK lb_status lb_defocus_find_hidden(lb_pool *pool, lb_defocus_sources *sources);
/* Makes squares of what is alike; before the map. LB_CANCELLED. */
LB_MUST_CHECK lb_status lb_defocus_merge(lb_pool *pool, lb_defocus_sources *sources);
/* Fills the map; after the others (defocus_map.c). */
LB_MUST_CHECK lb_status lb_defocus_map(lb_pool *pool, lb_defocus_sources *sources);
void lb_defocus_sources_clear(lb_defocus_sources *sources);
/* The most bytes that they take while they are made. */
size_t lb_defocus_sources_bytes(lb_box box, double max_radius);
/* How far lb_defocus_find_hidden looks. */
int32_t lb_defocus_hidden_reach(double max_radius);

static inline size_t lb_defocus_at(const lb_defocus_sources *s, int32_t x, int32_t y)
{
    return (size_t)(y - s->box.y0) * s->stride + (size_t)(x - s->box.x0);
}

/* The blocks that can reach a box at all, and whether one, at (x, y), does. */
lb_box lb_defocus_blocks_near(const lb_defocus_sources *sources, lb_box box);
bool lb_defocus_reaches(const lb_defocus_block *block, int32_t x, int32_t y, lb_box box);
/* What reaches a box: the slices of its pixels, and whether one of them has any light. */
typedef struct lb_defocus_near {
    uint64_t slices;
    bool has_light;
} lb_defocus_near;
lb_defocus_near lb_defocus_find_near(const lb_defocus_sources *sources, lb_box box);

static inline const lb_defocus_block *lb_defocus_block_at(const lb_defocus_sources *s, int32_t x,
                                                          int32_t y)
{
    return &s->map[(y - s->blocks.y0) * lb_box_width(s->blocks) + (x - s->blocks.x0)];
}

static inline lb_box lb_defocus_block_box(int32_t x, int32_t y)
{
    return (lb_box){x * LB_DEFOCUS_BLOCK, y * LB_DEFOCUS_BLOCK, (x + 1) * LB_DEFOCUS_BLOCK,
                    (y + 1) * LB_DEFOCUS_BLOCK};
}

#endif
