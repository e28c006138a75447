/* engine/raster/bins.c: sorting triangles into tiles. */
#include "engine/raster/bins.h"

#include <string.h>

#include "engine/base/memory.h"

#define PIECE 4096 /* triangles */
#define BROAD 64   /* tiles */

/* A worker's scratch: what a piece found, before it is sorted. */
typedef struct {
    size_t count, capacity;
    uint64_t *pairs; /* tile << 32 | ref */
    size_t broad_count, broad_capacity;
    uint32_t *broad;
    size_t clipped_count, clipped_capacity;
    lb_clipped *clipped;
    uint32_t *counts; /* of each tile of the region */
    lb_box touched;   /* tiles */
} sorter;

typedef struct {
    const lb_shot *shot;
    lb_bins *bins;
    lb_box tiles; /* of the region */
    int32_t workers;
    sorter *sorters;
} binning;

/* The pixels, from frame pixel 0, that have a sample of `span` within a triangle's bounds. */
typedef struct {
    int32_t x0, y0, x1, y1; /* inclusive */
} bounds;

static inline int32_t min3(int32_t a, int32_t b, int32_t c)
{
    a = a < b ? a : b;
    return a < c ? a : c;
}

static inline int32_t max3(int32_t a, int32_t b, int32_t c)
{
    a = a > b ? a : b;
    return a > c ? a : c;
}

/* Arithmetic shifts round down; a sample's place is a multiple of FIXED_ONE / 256. */
static inline bounds bounds_of(const lb_shot *shot, const lb_sample_span *span, const int32_t x[3],
                               const int32_t y[3])
{
    const int32_t unit = LB_FIXED_ONE / 256;

    return (bounds){
        .x0 = ((min3(x[0], x[1], x[2]) - span->high_x * unit + LB_FIXED_ONE - 1) >> LB_FIXED_BITS) +
              shot->origin_x,
        .y0 = ((min3(y[0], y[1], y[2]) - span->high_y * unit + LB_FIXED_ONE - 1) >> LB_FIXED_BITS) +
              shot->origin_y,
        .x1 = ((max3(x[0], x[1], x[2]) - span->low_x * unit) >> LB_FIXED_BITS) + shot->origin_x,
        .y1 = ((max3(y[0], y[1], y[2]) - span->low_y * unit) >> LB_FIXED_BITS) + shot->origin_y,
    };
}

static bool push_broad(sorter *s, uint32_t ref)
{
    if (!lb_grow((void **)&s->broad, &s->broad_capacity, s->broad_count, sizeof *s->broad))
        return false;
    s->broad[s->broad_count++] = ref;
    return true;
}

/* Notes `ref` for the tiles that the triangle's bounds touch. Which way is taken depends on the
 * triangle alone, not on the region, because it decides the order of drawing. */
static bool push(const binning *b, sorter *s, const bounds *at, uint32_t ref)
{
    lb_box tiles = {lb_bins_tile(b->shot, at->x0), lb_bins_tile(b->shot, at->y0),
                    lb_bins_tile(b->shot, at->x1) + 1, lb_bins_tile(b->shot, at->y1) + 1};
    int32_t pitch = b->tiles.x1 - b->tiles.x0;
    bool is_broad = (int64_t)(tiles.x1 - tiles.x0) * (tiles.y1 - tiles.y0) > BROAD;

    tiles.x0 = tiles.x0 > b->tiles.x0 ? tiles.x0 : b->tiles.x0;
    tiles.y0 = tiles.y0 > b->tiles.y0 ? tiles.y0 : b->tiles.y0;
    tiles.x1 = tiles.x1 < b->tiles.x1 ? tiles.x1 : b->tiles.x1;
    tiles.y1 = tiles.y1 < b->tiles.y1 ? tiles.y1 : b->tiles.y1;
    if (tiles.x0 >= tiles.x1 || tiles.y0 >= tiles.y1)
        return true;
    if (is_broad)
        return push_broad(s, ref);
    s->touched.x0 = tiles.x0 < s->touched.x0 ? tiles.x0 : s->touched.x0;
    s->touched.y0 = tiles.y0 < s->touched.y0 ? tiles.y0 : s->touched.y0;
    s->touched.x1 = tiles.x1 > s->touched.x1 ? tiles.x1 : s->touched.x1;
    s->touched.y1 = tiles.y1 > s->touched.y1 ? tiles.y1 : s->touched.y1;
    for (int32_t y = tiles.y0; y < tiles.y1; y++)
        for (int32_t x = tiles.x0; x < tiles.x1; x++) {
            uint32_t tile = (uint32_t)((y - b->tiles.y0) * pitch + x - b->tiles.x0);

            if (s->count == s->capacity &&
                !lb_grow((void **)&s->pairs, &s->capacity, s->count, sizeof *s->pairs))
                return false;
            s->pairs[s->count++] = (uint64_t)tile << 32 | ref;
            s->counts[tile]++;
        }
    return true;
}

/* Twice the area: positive when the corners go round clockwise on the screen. */
static inline int64_t area_of(const int32_t x[3], const int32_t y[3])
{
    return (int64_t)(x[1] - x[0]) * (y[2] - y[0]) - (int64_t)(x[2] - x[0]) * (y[1] - y[0]);
}

/* Counter-clockwise faces front, clockwise if the item is mirrored (glTF 2.0, 3.7.4). */
static inline bool is_culled(const lb_drawable *d, const lb_placing *placing, int64_t area)
{
    return area == 0 || (!d->material->double_sided && (area > 0) != placing->mirrored);
}

static bool add_clipped(const binning *b, sorter *s, const lb_drawable *d, uint32_t triangle,
                        int32_t instant, const lb_sample_span *span)
{
    const lb_shot *shot = b->shot;
    const lb_placing *placing = lb_shot_placing(shot, d, instant);
    const uint32_t *index = lb_shot_indices(shot, d, triangle);
    double corners[3][4];
    lb_clipped pieces[LB_CLIPPED_MAX];
    int32_t count;

    for (int i = 0; i < 3; i++)
        lb_shot_clip_point(shot, placing, instant, placing->primitive->positions[index[i]],
                           corners[i]);
    count = lb_clip_triangle(&shot->eyes[instant], corners, triangle, pieces);
    for (int32_t i = 0; i < count; i++) {
        bounds at = bounds_of(shot, span, pieces[i].x, pieces[i].y);

        if (is_culled(d, placing, area_of(pieces[i].x, pieces[i].y)) || at.x0 > at.x1 ||
            at.y0 > at.y1)
            continue;
        if (!lb_grow((void **)&s->clipped, &s->clipped_capacity, s->clipped_count,
                     sizeof *s->clipped))
            return false;
        s->clipped[s->clipped_count] = pieces[i];
        if (!push(b, s, &at, LB_REF_CLIPPED | (uint32_t)s->clipped_count++))
            return false;
    }
    return true;
}

/* The triangles of a piece that belong to one drawable. */
static bool add_run(const binning *b, sorter *s, const lb_drawable *d, uint32_t first, uint32_t end,
                    int32_t instant, const lb_sample_span *span)
{
    const lb_shot *shot = b->shot;
    const lb_placing *placing = lb_shot_placing(shot, d, instant);
    const lb_vertex *vertices = lb_shot_vertices(shot, d, instant);
    const uint32_t *index = lb_shot_indices(shot, d, first);

    for (uint32_t triangle = first; triangle < end; triangle++, index += 3) {
        const lb_vertex *v[3] = {&vertices[index[0]], &vertices[index[1]], &vertices[index[2]]};
        int32_t x[3] = {v[0]->x, v[1]->x, v[2]->x}, y[3] = {v[0]->y, v[1]->y, v[2]->y};
        bounds at;

        if (x[0] == LB_OUTSIDE || x[1] == LB_OUTSIDE || x[2] == LB_OUTSIDE) {
            bool all = x[0] == x[1] && x[1] == x[2] && (y[0] & y[1] & y[2]);

            if (!all && !add_clipped(b, s, d, triangle, instant, span))
                return false;
            continue;
        }
        if (is_culled(d, placing, area_of(x, y)))
            continue;
        at = bounds_of(shot, span, x, y);
        if (at.x0 <= at.x1 && at.y0 <= at.y1 && !push(b, s, &at, triangle))
            return false;
    }
    return true;
}

/* Sorts what was found into one block: clipped, offsets, refs. */
static lb_status keep(const binning *b, sorter *s, lb_piece *piece)
{
    lb_box t = s->count ? s->touched : (lb_box){0, 0, 0, 0};
    size_t width = (size_t)(t.x1 - t.x0), tiles = width * (size_t)(t.y1 - t.y0);
    size_t pitch = (size_t)(b->tiles.x1 - b->tiles.x0);
    size_t clipped_bytes = s->clipped_count * sizeof(lb_clipped);
    uint32_t *offsets, *refs, at = 0;

    piece->tiles = t;
    if (!s->count && !s->broad_count)
        return LB_OK;
    piece->block =
        lb_block_new(clipped_bytes + (tiles + 1 + s->count + s->broad_count) * sizeof(uint32_t));
    if (!piece->block)
        return LB_MEMORY;
    if (clipped_bytes)
        memcpy(piece->block, s->clipped, clipped_bytes);
    offsets = (uint32_t *)(void *)((char *)piece->block + clipped_bytes);
    refs = offsets + tiles + 1;
    piece->clipped = piece->block;
    piece->offsets = offsets;
    piece->refs = refs;
    for (size_t i = 0; i < tiles; i++) {
        uint32_t *count = &s->counts[((size_t)(t.y0 - b->tiles.y0) + i / width) * pitch +
                                     (size_t)(t.x0 - b->tiles.x0) + i % width];

        offsets[i] = at;
        at += *count;
        *count = offsets[i]; /* now where the next ref of that tile goes */
    }
    offsets[tiles] = at;
    for (size_t i = 0; i < s->count; i++)
        refs[s->counts[s->pairs[i] >> 32]++] = (uint32_t)s->pairs[i];
    if (s->broad_count)
        memcpy(refs + at, s->broad, s->broad_count * sizeof *refs);
    piece->broad_first = at;
    piece->broad_end = at + (uint32_t)s->broad_count;
    for (size_t i = 0; i < tiles; i++)
        s->counts[((size_t)(t.y0 - b->tiles.y0) + i / width) * pitch +
                  (size_t)(t.x0 - b->tiles.x0) + i % width] = 0;
    return LB_OK;
}

static lb_status sort_piece(const binning *b, sorter *s, lb_piece *piece)
{
    const lb_shot *shot = b->shot;
    int32_t instant = piece->instant < 0 ? 0 : piece->instant;
    const lb_sample_span *span = piece->instant < 0 ? &shot->whole : &shot->spans[instant];

    s->count = s->broad_count = s->clipped_count = 0;
    s->touched = (lb_box){INT32_MAX, INT32_MAX, INT32_MIN, INT32_MIN};
    for (int32_t i = piece->drawable; i < shot->drawable_count; i++) {
        const lb_drawable *d = &shot->drawables[i];
        uint32_t first = d->first_triangle > piece->first ? d->first_triangle : piece->first;
        uint32_t end = d->first_triangle + d->triangle_count;

        end = end < piece->end ? end : piece->end;
        if (first >= end)
            break;
        if (!add_run(b, s, d, first, end, instant, span))
            return LB_MEMORY;
    }
    return keep(b, s, piece);
}

static lb_status sort_pieces(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const binning *b = context;
    sorter *s = &b->sorters[worker];
    lb_status status = LB_OK;

    if (!s->counts) {
        size_t tiles = (size_t)(b->tiles.x1 - b->tiles.x0) * (size_t)(b->tiles.y1 - b->tiles.y0);

        if (!(s->counts = lb_alloc(tiles, sizeof *s->counts)))
            return LB_MEMORY;
    }
    for (int32_t i = begin; i < end && !status; i++)
        status = sort_piece(b, s, &b->bins->pieces[i]);
    return status;
}

/* Writes the pieces of one class to `pieces`, if not NULL; answers how many there are. */
static int64_t split_class(const lb_shot *shot, int32_t class, lb_piece *pieces)
{
    int32_t from = shot->class_first[class], to = shot->class_first[class + 1];
    bool moving = class == LB_CLASS_MOVING || class == LB_CLASS_CLEAR_MOVING;
    int32_t instants = moving ? shot->instant_count : 1, hint = from;
    uint32_t first, end, per_instant;

    if (from == to)
        return 0;
    first = shot->drawables[from].first_triangle;
    end = shot->drawables[to - 1].first_triangle + shot->drawables[to - 1].triangle_count;
    per_instant = (end - first + PIECE - 1) / PIECE;
    for (int32_t t = 0; t < instants && pieces; t++)
        for (uint32_t i = 0; i < per_instant; i++) {
            uint32_t begin = first + i * PIECE;

            hint = lb_shot_drawable_of(shot, begin, hint);
            *pieces++ = (lb_piece){.first = begin,
                                   .end = end - begin > PIECE ? begin + PIECE : end,
                                   .drawable = hint,
                                   .instant = moving ? t : -1};
        }
    return (int64_t)per_instant * instants;
}

static lb_status split(const lb_shot *shot, lb_bins *bins)
{
    int64_t count = 0, at = 0;

    for (int32_t class = 0; class < LB_CLASSES; class ++)
        count += split_class(shot, class, NULL);
    if (count > INT32_MAX)
        return LB_LIMIT;
    if (count && !(bins->pieces = lb_alloc((size_t)count, sizeof *bins->pieces)))
        return LB_MEMORY;
    for (int32_t class = 0; class < LB_CLASSES; class ++) {
        if (class == LB_CLASS_CLEAR_STILL)
            bins->opaque_count = (int32_t)at;
        if (count)
            at += split_class(shot, class, bins->pieces + at);
    }
    bins->piece_count = (int32_t)count;
    return LB_OK;
}

lb_status lb_bins_new(lb_pool *pool, const lb_shot *shot, lb_bins **out)
{
    lb_box r = shot->options.region;
    binning b = {.shot = shot, .workers = pool ? lb_pool_threads(pool) : 1};
    lb_status status;

    b.tiles = (lb_box){lb_bins_tile(shot, r.x0), lb_bins_tile(shot, r.y0),
                       lb_bins_tile(shot, r.x1 - 1) + 1, lb_bins_tile(shot, r.y1 - 1) + 1};
    *out = b.bins = lb_alloc(1, sizeof *b.bins);
    b.sorters = lb_alloc((size_t)b.workers, sizeof *b.sorters);
    if (!b.bins || !b.sorters)
        status = LB_MEMORY;
    else if (!(status = split(shot, b.bins)))
        status = lb_pool_for(pool, b.bins->piece_count, 1, sort_pieces, &b);
    for (int32_t i = 0; i < b.workers && b.sorters; i++) {
        lb_free(b.sorters[i].pairs);
        lb_free(b.sorters[i].broad);
        lb_free(b.sorters[i].clipped);
        lb_free(b.sorters[i].counts);
    }
    lb_free(b.sorters);
    if (status)
        lb_bins_free(out);
    return status;
}

void lb_bins_free(lb_bins **bins)
{
    lb_bins *old = *bins;

    *bins = NULL;
    if (!old)
        return;
    for (int32_t i = 0; i < old->piece_count; i++)
        lb_block_free(old->pieces[i].block);
    lb_free(old->pieces);
    lb_free(old);
}
