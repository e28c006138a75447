/* engine/image/defocus_tile.c
 *
 * A disc enters as the steps along its rows; adding them up from left to right once a slice gives
 * all its discs. Steps are rounded to multiples of 2^-30, so sums are exact as long as they stay
 * below 2^22 (beyond, as good as double): they have the same bits in any order, in any region, and
 * a highlight leaves nothing behind where its disc ends.
 *
 * A square enters as the disc about its first pixel, and the sums of all squares of a size are
 * averaged over as many pixels to the left and above: the mean of the discs of a square's pixels,
 * so that equal pixels give the same together as one by one. Averages over 8 x 8 are averages two
 * pixels apart in each direction of those four apart, and so on, so each size joins the next. */
#include "engine/image/defocus_tile.h"

#include <string.h>

#include "engine/base/clones.h"

#define WIDTH LB_DEFOCUS_TILE_WIDTH
#define HEIGHT LB_DEFOCUS_TILE_HEIGHT
#define MARGIN LB_DEFOCUS_TILE_MARGIN
#define LINE LB_DEFOCUS_TILE_STRIDE
#define ROWS (HEIGHT + MARGIN)
#define INLINE inline __attribute__((always_inline))
#define PARTS 5    /* r, g, b, a, coverage */
#define COVERAGE 4 /* the lane of that */
/* Adding and taking off 1.5 * 2^52 units rounds to a unit. */
#define ROUND (1.5 * 0x1p52 * 0x1p-30)

size_t lb_defocus_tile_bytes(void)
{
    return ((size_t)2 * ROWS * LINE + (size_t)HEIGHT * WIDTH) * sizeof(lb_lanes) +
           (size_t)PARTS * HEIGHT * WIDTH * sizeof(float);
}

void lb_defocus_tile_begin(lb_defocus_tile *tile, void *memory, lb_box box)
{
    tile->box = box;
    tile->steps = memory;
    tile->whole = tile->steps + (size_t)ROWS * LINE;
    tile->total = tile->whole + (size_t)ROWS * LINE;
    tile->sums = (float *)(tile->total + (size_t)HEIGHT * WIDTH);
    memset(tile->total, 0, (size_t)HEIGHT * WIDTH * sizeof *tile->total);
}

/* What squares are averaged over lies to the left and above, so the tile has a margin there.
 * Columns count from its left end; `first` is the first that is needed. */
static inline int64_t within(int64_t i, int64_t first)
{
    return i < first ? first : i > MARGIN + WIDTH ? MARGIN + WIDTH : i;
}

static inline lb_lanes *row_of(const lb_defocus_tile *t, lb_lanes *lanes, int32_t y)
{
    return lanes + (ptrdiff_t)(y - t->box.y0 + MARGIN) * LINE;
}

/* What the tile with a margin has of the disc about a pixel. */
struct part {
    int32_t left, row;               /* the pixel's place in `steps` */
    int32_t first;                   /* the first column that is needed */
    const lb_disc_step *step, *stop; /* of the rows that are there */
    bool is_whole;                   /* columns */
};

/* False: nothing. */
static inline bool find_part(const lb_defocus_tile *t, const lb_disc *disc, int32_t x, int32_t y,
                             int32_t margin, struct part *out)
{
    int32_t h = disc->height, row = y - t->box.y0 + MARGIN, left = x - t->box.x0 + MARGIN;
    int32_t top = MARGIN - margin - row, end = t->box.y1 - y, first = MARGIN - margin;

    top = top < 1 - h ? 1 - h : top;
    end = end > h ? h : end;
    if (top >= end || left + h < first || left - h >= MARGIN + WIDTH)
        return false;
    *out = (struct part){left,
                         row,
                         first,
                         disc->steps + disc->first[top + h - 1],
                         disc->steps + disc->first[end + h - 1],
                         left - h >= first && left + 1 + h <= MARGIN + WIDTH};
    return true;
}

/* What is left of the tile counts from its edge on. */
static INLINE void splat(const lb_defocus_tile *t, const struct part *part, const lb_lanes *color,
                         double scale)
{
    lb_lanes value = *color * scale;
    lb_lanes *middle = t->steps + (ptrdiff_t)part->row * LINE + part->left;
    const lb_disc_step *step = part->step, *stop = part->stop;
    lb_lanes *line = t->steps;

    for (; part->is_whole && step < stop; step++) {
        lb_lanes share = (value * step->delta + ROUND) - ROUND;

        middle[step->rises] += share;
        middle[step->falls] -= share;
    }
    for (; step < stop; step++) {
        lb_lanes share = (value * step->delta + ROUND) - ROUND;
        int64_t dx = (step->falls - step->rises) >> 1;
        ptrdiff_t row = part->row * LINE + step->falls - 1 - dx;

        line[row + within(part->left - dx, part->first)] += share;
        line[row + within(part->left + 1 + dx, part->first)] -= share;
    }
}

static inline const float *at(const lb_plane *plane, int32_t x, int32_t y)
{
    return lb_plane_row(plane, y) + (x - lb_plane_box(plane).x0);
}

/* Pixels that are seen (no fifth plane: each is all there) or hidden. */
struct layer {
    const uint16_t *code;
    const uint8_t *slice;
    const lb_plane *const *planes;
    const lb_plane *known;
};

/* What a square of pixels adds up to. `side` is a constant wherever this is inlined. */
static INLINE double sum_of(const lb_plane *plane, int32_t x, int32_t y, int side)
{
    const float *row = at(plane, x, y);
    ptrdiff_t stride = lb_plane_stride(plane);
    double sums[8] = {0};

    for (int j = 0; j < side; j++, row += stride)
        for (int i = 0; i < side; i++)
            sums[i] += (double)row[i];
    for (int half = side / 2; half > 0; half /= 2)
        for (int i = 0; i < half; i++)
            sums[i] += sums[i + half];
    return sums[0];
}

static INLINE void add_colors(const struct layer *layer, int32_t x, int32_t y, int side,
                              lb_lanes *color)
{
    for (int c = 0; c < 4; c++)
        (*color)[c] = sum_of(layer->planes[c], x, y, side);
    (*color)[COVERAGE] = layer->known ? sum_of(layer->known, x, y, side) : side * side;
}

static INLINE void add_square(const struct layer *layer, int32_t x, int32_t y, int32_t size,
                              lb_lanes *color)
{
    switch (size) {
    case 0:
        add_colors(layer, x, y, 1, color);
        break;
    case 1:
        add_colors(layer, x, y, 2, color);
        break;
    case 2:
        add_colors(layer, x, y, 4, color);
        break;
    default:
        add_colors(layer, x, y, 8, color);
    }
}

/* Whether one of eight bytes is `value`. */
static inline bool has_byte(const uint8_t *bytes, uint8_t value)
{
    const uint64_t ones = 0x0101010101010101u;
    uint64_t eight;

    memcpy(&eight, bytes, sizeof eight);
    eight ^= ones * value;
    return ((eight - ones) & ~eight & (ones << 7)) != 0;
}

/* The squares of a size in one row of sources, those of slice `slice`. */
LB_CLONES
static void splat_row(const lb_defocus_tile *t, const struct layer *layer, int32_t slice,
                      int32_t size, int32_t x0, int32_t x1, int32_t y)
{
    const uint8_t *slices = layer->slice + lb_defocus_at(t->sources, x0, y);
    const uint16_t *codes = layer->code + lb_defocus_at(t->sources, x0, y);
    int32_t margin = (1 << size) - 1, count = x1 - x0;

    for (int32_t i = 0; i < count; i++) {
        const lb_disc *disc;
        struct part part;

        if (slices[i] != slice) {
            while (i + 9 <= count && !has_byte(slices + i + 1, (uint8_t)slice))
                i += 8;
            continue;
        }
        if (lb_defocus_size(codes[i]) != size)
            continue;
        disc = &t->discs->discs[codes[i] & LB_DEFOCUS_CODE];
        if (find_part(t, disc, x0 + i, y, margin, &part)) {
            lb_lanes color = {0};

            add_square(layer, x0 + i, y, size, &color);
            splat(t, &part, &color, (double)disc->scale);
        }
    }
}

/* Adds the steps up into the squares' sums; they are cleared. */
LB_CLONES
static void add_steps(const lb_defocus_tile *t, int32_t margin, bool is_first)
{
    for (int32_t y = t->box.y0 - margin; y < t->box.y1; y++) {
        lb_lanes *line = row_of(t, t->steps, y), *whole = row_of(t, t->whole, y), sum = {0};

        for (int32_t x = MARGIN - margin; x < MARGIN + lb_box_width(t->box); x++) {
            sum += line[x];
            whole[x] = is_first ? sum : whole[x] + sum;
        }
        memset(line, 0, LINE * sizeof *line);
    }
}

/* Averages the squares' sums over what stands there, `apart` to the left, above, and both. */
LB_CLONES
static void average(const lb_defocus_tile *t, int32_t apart)
{
    for (int32_t y = t->box.y1 - 1; y > t->box.y0 - apart; y--) {
        lb_lanes *here = row_of(t, t->whole, y), *above = row_of(t, t->whole, y - apart);

        for (int32_t x = MARGIN + lb_box_width(t->box) - 1; x > MARGIN - apart; x--)
            here[x] = ((here[x] + here[x - apart]) + (above[x] + above[x - apart])) * 0.25;
    }
}

/* In focus: a pixel and what it hides stay where they are. */
static void place_row(const lb_defocus_tile *t, int32_t y)
{
    const lb_defocus_sources *s = t->sources;
    int32_t focus = lb_slice_focus(s->slices);
    lb_box box = lb_box_intersect(t->box, s->box);
    lb_lanes *line = row_of(t, t->steps, y) + MARGIN + (box.x0 - t->box.x0);
    const uint8_t *slices = s->slice + lb_defocus_at(s, box.x0, y);
    const float *rows[4];

    for (int c = 0; c < 4; c++)
        rows[c] = at(s->color[c], box.x0, y);
    for (int32_t x = 0; x < lb_box_width(box); x++) {
        lb_lanes color = {0};

        if (slices[x] == focus) {
            color = (lb_lanes){(double)rows[0][x], (double)rows[1][x], (double)rows[2][x],
                               (double)rows[3][x], 1};
        } else if (s->hidden_slice && s->hidden_slice[lb_defocus_at(s, box.x0 + x, y)] == focus) {
            for (int c = 0; c < PARTS; c++)
                color[c] = (double)*at(s->hidden[c], box.x0 + x, y);
        } else {
            continue;
        }
        line[x] += color;
        line[x + 1] -= color;
    }
}

/* Adds the steps up, and the squares' sums if there are any, and lays the slice behind those
 * before: it takes what room they left, so that a surface that runs through several slices adds up
 * to itself. */
LB_CLONES
static void close_slice(const lb_defocus_tile *t, bool has_squares)
{
    for (int32_t y = t->box.y0; y < t->box.y1; y++) {
        lb_lanes *line = row_of(t, t->steps, y) + MARGIN;
        lb_lanes *whole = row_of(t, t->whole, y) + MARGIN;
        lb_lanes *total = t->total + (ptrdiff_t)(y - t->box.y0) * WIDTH, sum = {0};

        for (int32_t x = 0; x < t->box.x1 - t->box.x0; x++) {
            lb_lanes here;
            double room, coverage;

            sum += line[x];
            here = has_squares ? sum + whole[x] : sum;
            coverage = here[COVERAGE];
            if (coverage <= 0)
                continue;
            room = 1 - total[x][COVERAGE];
            if (coverage <= room)
                total[x] += here;
            else if (room > 0)
                total[x] += here * (room / coverage);
        }
        memset(line, 0, (LINE - MARGIN) * sizeof *line);
    }
}

/* ---- Narrow discs ---- */

/* The next sources of a slice among `count` pixels, from *begin on; false: there are none. What
 * stands farther apart than discs reach is dealt with by itself: `begin` .. `end` - 1. */
static bool find_run(const uint8_t *slices, int32_t slice, int32_t count, int32_t *begin,
                     int32_t *end)
{
    int32_t x = *begin;

    while (x < count && slices[x] != slice)
        x += x + 8 <= count && !has_byte(slices + x, (uint8_t)slice) ? 8 : 1;
    *begin = *end = x;
    for (; x < count && x < *end + LB_NEAR_MARGIN; x++)
        if (slices[x] == slice)
            *end = x + 1;
    return *begin < count;
}

/* The sources of a slice in row y from x0 to x1. What is not in the slice is 0 and not its colour,
 * which may be infinite. */
LB_CLONES
static void fetch_run(const lb_defocus_tile *t, const struct layer *layer, int32_t slice,
                      int32_t x0, int32_t x1, int32_t y, lb_near_row *out)
{
    int32_t first = x0 - (t->box.x0 - LB_NEAR_MARGIN), count = x1 - x0;
    const uint8_t *slices = layer->slice + lb_defocus_at(t->sources, x0, y);
    const uint16_t *codes = layer->code + lb_defocus_at(t->sources, x0, y);
    int32_t mask[WIDTH + 2 * LB_NEAR_MARGIN];

    if (count < WIDTH + 2 * LB_NEAR_MARGIN)
        memset(out, 0, sizeof *out);
    for (int32_t x = 0; x < count; x++) {
        mask[x] = slices[x] == slice ? -1 : 0;
        out->code[first + x] = mask[x] & codes[x];
    }
    for (int c = 0; c < PARTS; c++) {
        const lb_plane *plane = c < 4 ? layer->planes[c] : layer->known;
        float *to = out->parts[c] + first;

        if (plane) {
            const float *row = at(plane, x0, y);

            for (int32_t x = 0; x < count; x++)
                to[x] = mask[x] ? row[x] : 0.0f;
        } else {
            for (int32_t x = 0; x < count; x++)
                to[x] = mask[x] ? 1.0f : 0.0f;
        }
    }
}

static void spread_layer(const lb_defocus_tile *t, const struct layer *layer, int32_t slice,
                         int32_t reach, lb_box has)
{
    lb_box near = t->box;
    lb_near_row row;

    /* Always as wide, so that all of a row is there; what is too far has no weight. */
    near.x1 = near.x0 + WIDTH;
    near = lb_box_intersect(lb_box_grow(near, LB_NEAR_MARGIN, reach), has);
    for (int32_t y = near.y0; y < near.y1; y++) {
        const uint8_t *slices = layer->slice + lb_defocus_at(t->sources, near.x0, y);
        int32_t begin = 0, end;

        for (; find_run(slices, slice, lb_box_width(near), &begin, &end); begin = end) {
            fetch_run(t, layer, slice, near.x0 + begin, near.x0 + end, y, &row);
            lb_near_spread(t->near, &row, y - t->box.y0, t->box.y1 - t->box.y0, t->sums);
        }
    }
}

/* As close_slice; but what fills the room up to the rounding of floats is taken as it is. */
static void close_near(const lb_defocus_tile *t)
{
    for (int32_t y = 0; y < t->box.y1 - t->box.y0; y++) {
        const float *sums = t->sums + (ptrdiff_t)y * WIDTH;
        lb_lanes *total = t->total + (ptrdiff_t)y * WIDTH;

        for (int32_t x = 0; x < t->box.x1 - t->box.x0; x++) {
            double coverage = (double)sums[COVERAGE * HEIGHT * WIDTH + x], share = 1;
            double room = 1 - total[x][COVERAGE];

            if (coverage <= 0 || room <= 0)
                continue;
            if (coverage > room + 1e-6)
                share = room / coverage;
            for (int c = 0; c < PARTS; c++)
                total[x][c] += (double)sums[c * HEIGHT * WIDTH + x] * share;
        }
    }
    memset(t->sums, 0, (size_t)PARTS * HEIGHT * WIDTH * sizeof *t->sums);
}

/* ---- Slices ---- */

static struct layer seen_of(const lb_defocus_sources *s)
{
    return (struct layer){s->code, s->slice, s->color, NULL};
}

static struct layer hidden_of(const lb_defocus_sources *s)
{
    return (struct layer){s->hidden_code, s->hidden_slice, (const lb_plane *const *)s->hidden,
                          s->hidden[4]};
}

/* The squares of a size in a slice; false: there are none. */
static bool spread_squares(const lb_defocus_tile *t, int32_t slice, int32_t size)
{
    const lb_defocus_sources *s = t->sources;
    struct layer seen = seen_of(s), hidden = hidden_of(s);
    lb_box blocks = lb_defocus_blocks_near(s, t->box);
    uint64_t bit = (uint64_t)1 << slice;
    bool any = false;

    for (int32_t y = blocks.y0; y < blocks.y1; y++)
        for (int32_t x = blocks.x0; x < blocks.x1; x++) {
            const lb_defocus_block *block = lb_defocus_block_at(s, x, y);
            lb_box box = lb_box_intersect(lb_defocus_block_box(x, y), s->box);
            lb_box behind = lb_box_intersect(box, s->hidden_box);

            if (!((block->seen[size] | block->hidden[size]) & bit) ||
                !lb_defocus_reaches(block, x, y, t->box))
                continue;
            any = true;
            for (int32_t row = box.y0; row < box.y1; row++) {
                if (block->seen[size] & bit)
                    splat_row(t, &seen, slice, size, box.x0, box.x1, row);
                if (block->hidden[size] & bit && row >= behind.y0 && row < behind.y1)
                    splat_row(t, &hidden, slice, size, behind.x0, behind.x1, row);
            }
        }
    return any;
}

/* From the largest squares down. */
static void spread_slice(const lb_defocus_tile *t, int32_t slice)
{
    bool has_squares = false;

    for (int32_t size = LB_DEFOCUS_SIZES - 1; size > 0; size--) {
        if (spread_squares(t, slice, size)) {
            add_steps(t, (1 << size) - 1, !has_squares);
            has_squares = true;
        }
        if (has_squares)
            average(t, 1 << (size - 1));
    }
    spread_squares(t, slice, 0);
    close_slice(t, has_squares);
}

/* A slice of narrow discs, `away` from the focus. */
static void spread_near(const lb_defocus_tile *t, int32_t slice, int32_t away)
{
    const lb_defocus_sources *s = t->sources;
    struct layer seen = seen_of(s), hidden = hidden_of(s);

    spread_layer(t, &seen, slice, lb_near_reach(away), s->box);
    if (s->hidden_slice)
        spread_layer(t, &hidden, slice, lb_near_reach(away), s->hidden_box);
    close_near(t);
}

void lb_defocus_tile_run(lb_defocus_tile *t)
{
    const lb_defocus_sources *s = t->sources;
    uint64_t slices = lb_defocus_find_near(s, t->box).slices;
    int32_t focus = lb_slice_focus(s->slices);
    lb_box inside = lb_box_intersect(t->box, s->box);

    for (int32_t slice = 0; slice <= 2 * s->slices.side; slice++) {
        int32_t away = slice < focus ? focus - 1 - slice : slice - focus - 1;

        if (!(slices >> slice & 1))
            continue;
        if (slice != focus && away < LB_NEAR_SLICES) {
            spread_near(t, slice, away);
            continue;
        }
        if (slice != focus) {
            spread_slice(t, slice);
            continue;
        }
        for (int32_t y = inside.y0; y < inside.y1; y++)
            place_row(t, y);
        close_slice(t, false);
    }
}
