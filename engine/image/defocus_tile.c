/* engine/image/defocus_tile.c
 *
 * A disc enters as the steps along its rows; adding them up from left to right once a slice gives
 * all its discs. Steps are rounded to multiples of 2^-30, so sums are exact as long as they stay
 * below 2^22 (beyond, as good as double): they have the same bits in any order, in any region, and
 * a highlight leaves nothing behind where its disc ends. */
#include "engine/image/defocus_tile.h"

#include <math.h>
#include <string.h>

#include "engine/base/clones.h"

#define WIDTH LB_DEFOCUS_TILE_WIDTH
#define HEIGHT LB_DEFOCUS_TILE_HEIGHT
#define LINE LB_DEFOCUS_TILE_STRIDE
#define PARTS 5    /* r, g, b, a, coverage */
#define COVERAGE 4 /* the lane of that */
/* Adding and taking off 1.5 * 2^52 units rounds to a unit. */
#define ROUND (1.5 * 0x1p52 * 0x1p-30)

size_t lb_defocus_tile_bytes(void)
{
    return ((size_t)HEIGHT * LINE + (size_t)HEIGHT * WIDTH) * sizeof(lb_lanes) +
           (size_t)PARTS * HEIGHT * WIDTH * sizeof(float);
}

void lb_defocus_tile_begin(lb_defocus_tile *tile, void *memory, lb_box box)
{
    tile->box = box;
    tile->steps = memory;
    tile->total = tile->steps + (size_t)HEIGHT * LINE;
    tile->sums = (float *)(tile->total + (size_t)HEIGHT * WIDTH);
    memset(tile->total, 0, (size_t)HEIGHT * WIDTH * sizeof *tile->total);
}

static inline int64_t within(int64_t i)
{
    return i < 0 ? 0 : i > WIDTH ? WIDTH : i;
}

/* The rows of a disc that the tile has; what is left of the tile counts from its edge on. */
static inline void splat_rows(const lb_defocus_tile *t, const lb_disc_shape *shape,
                              const lb_lanes *color, int32_t x, int32_t y, int32_t cornered)
{
    const lb_disc_step *steps = t->discs->steps;
    lb_lanes value = *color * (double)shape->scale;
    const int32_t *firsts = t->discs->first + shape->row;
    int64_t left = x - cornered - t->box.x0, right = x + 1 - t->box.x0;
    int32_t row = y - cornered - shape->height + 1, end = y + shape->height;
    lb_lanes *line;

    row = row < t->box.y0 ? t->box.y0 : row;
    end = end > t->box.y1 ? t->box.y1 : end;
    line = t->steps + (ptrdiff_t)(row - t->box.y0) * LINE;
    for (; row < end; row++, line += LINE) {
        int32_t away = row >= y ? row - y : y - cornered - row;
        const lb_disc_step *step = steps + firsts[away], *stop = steps + firsts[away + 1];

        if (step == stop || right + step->dx <= 0 || left - step->dx >= WIDTH)
            continue;
        if (left >= step->dx && right + step->dx <= WIDTH) {
            for (; step < stop; step++) {
                lb_lanes share = (value * step->delta + ROUND) - ROUND;

                line[left - step->dx] += share;
                line[right + step->dx] -= share;
            }
        } else {
            for (; step < stop; step++) {
                lb_lanes share = (value * step->delta + ROUND) - ROUND;

                line[within(left - step->dx)] += share;
                line[within(right + step->dx)] -= share;
            }
        }
    }
}

/* One disc about pixel (x, y), or about its upper left corner when `cornered` is 1. */
static inline __attribute__((always_inline)) void splat(const lb_defocus_tile *t,
                                                        const lb_disc_shape *shape,
                                                        const lb_lanes *color, int32_t x, int32_t y,
                                                        int32_t cornered)
{
    const lb_disc_place *place = t->discs->places + shape->place;
    const lb_disc_place *end = t->discs->places + shape->place_end;
    lb_lanes value = *color * (double)shape->scale;
    int32_t h = shape->height;

    if (place < end && x - cornered - h >= t->box.x0 && x + h <= t->box.x0 + WIDTH &&
        y - cornered - h >= t->box.y0 && y + h <= t->box.y1) {
        lb_lanes *middle = t->steps + (ptrdiff_t)(y - t->box.y0) * LINE + (x - t->box.x0);

        for (; place < end; place++) {
            lb_lanes share = (value * place->delta + ROUND) - ROUND;

            middle[place->rises] += share;
            middle[place->falls] -= share;
        }
    } else {
        splat_rows(t, shape, color, x, y, cornered);
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

/* What a square of pixels adds up to. */
static inline double sum_of(const lb_plane *plane, int32_t x, int32_t y, int32_t side)
{
    double sum = 0;

    for (int32_t j = 0; j < side; j++) {
        const float *row = at(plane, x, y + j);

        for (int32_t i = 0; i < side; i++)
            sum += (double)row[i];
    }
    return sum;
}

/* The pixels of slice `slice` in one row of sources. */
LB_CLONES
static void splat_row(const lb_defocus_tile *t, const struct layer *layer, int32_t slice,
                      int32_t x0, int32_t x1, int32_t y)
{
    const uint8_t *slices = layer->slice + lb_defocus_at(t->sources, x0, y);
    const uint16_t *codes = layer->code + lb_defocus_at(t->sources, x0, y);
    const float *rows[4], *known = layer->known ? at(layer->known, x0, y) : NULL;

    for (int c = 0; c < 4; c++)
        rows[c] = at(layer->planes[c], x0, y);
    for (int32_t i = 0; i < x1 - x0; i++) {
        uint32_t code = codes[i];
        lb_disc_kind kind = lb_defocus_kind(code);
        const lb_disc_shape *shape = &t->discs->shapes[kind][code & LB_DEFOCUS_CODE];
        int32_t side = kind == LB_DISC_QUAD ? 4 : 2;
        lb_lanes color = {0};

        if (slices[i] != slice)
            continue;
        if (kind == LB_DISC_ONE) {
            color = (lb_lanes){(double)rows[0][i], (double)rows[1][i], (double)rows[2][i],
                               (double)rows[3][i], known ? (double)known[i] : 1};
            splat(t, shape, &color, x0 + i, y, 0);
        } else {
            for (int c = 0; c < 4; c++)
                color[c] = sum_of(layer->planes[c], x0 + i, y, side);
            color[COVERAGE] = known ? sum_of(layer->known, x0 + i, y, side) : side * side;
            splat(t, shape, &color, x0 + i + side / 2, y + side / 2, 1);
        }
    }
}

/* In focus: a pixel and what it hides stay where they are. */
static void place_row(const lb_defocus_tile *t, int32_t y)
{
    const lb_defocus_sources *s = t->sources;
    int32_t focus = lb_slice_focus(s->slices);
    lb_box box = lb_box_intersect(t->box, s->box);
    lb_lanes *line = t->steps + (ptrdiff_t)(y - t->box.y0) * LINE;

    for (int32_t x = box.x0; x < box.x1; x++) {
        size_t i = lb_defocus_at(s, x, y);
        lb_lanes color = {0};

        if (s->slice[i] == focus) {
            for (int c = 0; c < 4; c++)
                color[c] = (double)*at(s->color[c], x, y);
            color[COVERAGE] = 1;
        } else if (s->hidden_slice && s->hidden_slice[i] == focus) {
            for (int c = 0; c < 5; c++)
                color[c] = (double)*at(s->hidden[c], x, y);
        } else {
            continue;
        }
        line[x - t->box.x0] += color;
        line[x - t->box.x0 + 1] -= color;
    }
}

/* Adds the steps up and lays the slice behind those before: it takes what room they left, so that
 * a surface that runs through several slices adds up to itself. */
LB_CLONES
static void close_slice(const lb_defocus_tile *t)
{
    for (int32_t y = 0; y < t->box.y1 - t->box.y0; y++) {
        lb_lanes *line = t->steps + (ptrdiff_t)y * LINE;
        lb_lanes *total = t->total + (ptrdiff_t)y * WIDTH, sum = {0};

        for (int32_t x = 0; x < t->box.x1 - t->box.x0; x++) {
            double room, coverage;

            sum += line[x];
            coverage = sum[COVERAGE];
            if (coverage <= 0)
                continue;
            room = 1 - total[x][COVERAGE];
            if (coverage <= room)
                total[x] += sum;
            else if (room > 0)
                total[x] += sum * (room / coverage);
        }
        memset(line, 0, LINE * sizeof *line);
    }
}

/* ---- Narrow discs ---- */

/* The sources of a slice in row y, as far as they reach the tile; false: there are none. What is
 * not in the slice is 0 and not its colour, which may be infinite. */
LB_CLONES
static bool fetch_row(const lb_defocus_tile *t, const struct layer *layer, int32_t slice,
                      lb_box has, int32_t y, lb_near_row *out)
{
    int32_t first = has.x0 - (t->box.x0 - LB_NEAR_MARGIN), count = has.x1 - has.x0;
    const uint8_t *slices = layer->slice + lb_defocus_at(t->sources, has.x0, y);
    const uint16_t *codes = layer->code + lb_defocus_at(t->sources, has.x0, y);
    int32_t mask[WIDTH + 2 * LB_NEAR_MARGIN], any = 0;

    for (int32_t x = 0; x < count; x++) {
        mask[x] = slices[x] == slice ? -1 : 0;
        any |= mask[x];
    }
    if (!any)
        return false;
    if (count < WIDTH + 2 * LB_NEAR_MARGIN)
        memset(out, 0, sizeof *out);
    for (int32_t x = 0; x < count; x++)
        out->code[first + x] = mask[x] & codes[x];
    for (int c = 0; c < PARTS; c++) {
        const lb_plane *plane = c < 4 ? layer->planes[c] : layer->known;
        float *to = out->parts[c] + first;

        if (plane) {
            const float *row = at(plane, has.x0, y);

            for (int32_t x = 0; x < count; x++)
                to[x] = mask[x] ? row[x] : 0.0f;
        } else {
            for (int32_t x = 0; x < count; x++)
                to[x] = mask[x] ? 1.0f : 0.0f;
        }
    }
    return true;
}

static void spread_layer(const lb_defocus_tile *t, const struct layer *layer, int32_t slice,
                         int32_t reach, lb_box has)
{
    lb_box near = t->box;
    lb_near_row row;

    /* Always as wide, so that all of a row is there; what is too far has no weight. */
    near.x1 = near.x0 + WIDTH;
    near = lb_box_intersect(lb_box_grow(near, LB_NEAR_MARGIN, reach), has);
    for (int32_t y = near.y0; y < near.y1; y++)
        if (fetch_row(t, layer, slice, near, y, &row))
            lb_near_spread(t->near, &row, y - t->box.y0, t->box.y1 - t->box.y0, t->sums);
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

/* ---- Which blocks matter ---- */

static int32_t floor_div(int32_t i, int32_t n)
{
    return i >= 0 ? i / n : -((n - 1 - i) / n);
}

/* Blocks that can reach the tile at all. */
static lb_box blocks_near(const lb_defocus_sources *s, lb_box box)
{
    int32_t reach = (int32_t)ceil(s->max_radius) + 6;
    lb_box near = lb_box_intersect(lb_box_grow(box, reach, reach), s->box);

    if (lb_box_is_empty(near))
        return near;
    return (lb_box){floor_div(near.x0, LB_DEFOCUS_BLOCK), floor_div(near.y0, LB_DEFOCUS_BLOCK),
                    floor_div(near.x1 - 1, LB_DEFOCUS_BLOCK) + 1,
                    floor_div(near.y1 - 1, LB_DEFOCUS_BLOCK) + 1};
}

static const lb_defocus_block *block_at(const lb_defocus_sources *s, int32_t x, int32_t y)
{
    return &s->map[(y - s->blocks.y0) * lb_box_width(s->blocks) + (x - s->blocks.x0)];
}

static lb_box block_box(int32_t x, int32_t y)
{
    return (lb_box){x * LB_DEFOCUS_BLOCK, y * LB_DEFOCUS_BLOCK, (x + 1) * LB_DEFOCUS_BLOCK,
                    (y + 1) * LB_DEFOCUS_BLOCK};
}

static bool reaches(const lb_defocus_block *block, int32_t x, int32_t y, lb_box box)
{
    lb_box around = lb_box_grow(block_box(x, y), block->reach, block->reach);

    return !lb_box_is_empty(lb_box_intersect(around, box));
}

/* What reaches the box: the slices of its pixels, and whether one of them has any light. */
struct near {
    uint64_t slices;
    bool has_light;
};

static struct near find_near(const lb_defocus_sources *s, lb_box box)
{
    lb_box blocks = blocks_near(s, box);
    struct near near = {0, false};

    for (int32_t y = blocks.y0; y < blocks.y1; y++)
        for (int32_t x = blocks.x0; x < blocks.x1; x++) {
            const lb_defocus_block *block = block_at(s, x, y);

            if (reaches(block, x, y, box)) {
                near.slices |= block->slices | block->hidden;
                near.has_light |= block->has_light;
            }
        }
    return near;
}

lb_defocus_fate lb_defocus_fate_of(const lb_defocus_sources *s, lb_box box)
{
    struct near near = find_near(s, box);

    if (!near.has_light)
        return LB_DEFOCUS_EMPTY;
    return near.slices & ~((uint64_t)1 << lb_slice_focus(s->slices)) ? LB_DEFOCUS_BLURRED
                                                                     : LB_DEFOCUS_SHARP;
}

static struct layer seen_of(const lb_defocus_sources *s)
{
    return (struct layer){s->code, s->slice, s->color, NULL};
}

static struct layer hidden_of(const lb_defocus_sources *s)
{
    return (struct layer){s->hidden_code, s->hidden_slice, (const lb_plane *const *)s->hidden,
                          s->hidden[4]};
}

static void spread_slice(const lb_defocus_tile *t, int32_t slice)
{
    const lb_defocus_sources *s = t->sources;
    struct layer seen = seen_of(s), hidden = hidden_of(s);
    lb_box blocks = blocks_near(s, t->box);
    uint64_t bit = (uint64_t)1 << slice;

    for (int32_t y = blocks.y0; y < blocks.y1; y++)
        for (int32_t x = blocks.x0; x < blocks.x1; x++) {
            const lb_defocus_block *block = block_at(s, x, y);
            lb_box box = lb_box_intersect(block_box(x, y), s->box);
            lb_box behind = lb_box_intersect(box, s->hidden_box);

            if (!((block->slices | block->hidden) & bit) || !reaches(block, x, y, t->box))
                continue;
            for (int32_t row = box.y0; row < box.y1; row++) {
                if (block->slices & bit)
                    splat_row(t, &seen, slice, box.x0, box.x1, row);
                if (block->hidden & bit && row >= behind.y0 && row < behind.y1)
                    splat_row(t, &hidden, slice, behind.x0, behind.x1, row);
            }
        }
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
    uint64_t slices = find_near(s, t->box).slices;
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
        if (slice == focus)
            for (int32_t y = inside.y0; y < inside.y1; y++)
                place_row(t, y);
        else
            spread_slice(t, slice);
        close_slice(t);
    }
}
