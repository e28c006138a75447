/* engine/raster/clear.c: masked and blended surfaces of a tile, in depth order for every sample.
 *
 * Each transparent triangle leaves a fragment in every pixel where it is not hidden by something
 * opaque: the set of samples that it covers. Fragments are shaded once each, as opaque surfaces
 * are; a mask is tested at every sample. Then each sample goes through its fragments from the
 * nearest to the farthest and ends with the opaque surface. Rows of the tile are done in several
 * goes when there are too many fragments to hold. */
#include <stdlib.h>

#include "engine/base/memory.h"
#include "engine/raster/tile.h"

#define MOST_HITS ((size_t)1 << 20) /* at a time; more in one row is allowed */
#define LOOK_BACK 64                /* fragments of a pixel that may be joined */
#define MASK_POINTS 4096            /* samples of masks tested in one go */

/* A fragment's place in the order of a sample. */
typedef struct lb_clear_order {
    float key;
    uint32_t fragment; /* from the pixel's first */
} lb_clear_order;

static lb_status find_hits(lb_tile *tile, int32_t row0, int32_t row1)
{
    const lb_bins *bins = tile->bins;
    int32_t x = lb_bins_tile(tile->shot, tile->cover.x),
            y = lb_bins_tile(tile->shot, tile->cover.y);

    tile->hits.count = 0;
    for (int32_t i = bins->opaque_count; i < bins->piece_count; i++) {
        const lb_piece *piece = &bins->pieces[i];
        lb_refs_of refs = lb_tile_refs(piece, x, y);

        if (!lb_cover_find(&tile->cover, piece, refs.listed, refs.listed_count, row0, row1,
                           &tile->hits) ||
            !lb_cover_find(&tile->cover, piece, refs.broad, refs.broad_count, row0, row1,
                           &tile->hits))
            return LB_MEMORY;
        if (tile->hits.count > MOST_HITS && row1 - row0 > 1)
            return LB_LIMIT;
    }
    return LB_OK;
}

/* Hits by pixel, those of one pixel in the order they came. */
static bool sort_hits(lb_tile *tile)
{
    size_t count = tile->hits.count;

    if (count > tile->sorted.capacity) {
        lb_hit *items = lb_realloc(tile->sorted.items, tile->hits.capacity, sizeof *items);

        if (!items)
            return false;
        tile->sorted.items = items;
        tile->sorted.capacity = tile->hits.capacity;
    }
    for (int32_t i = 0; i <= LB_TILE_PIXELS; i++)
        tile->starts[i] = 0;
    for (size_t i = 0; i < count; i++)
        tile->starts[tile->hits.items[i].pixel + 1]++;
    for (int32_t i = 0; i < LB_TILE_PIXELS; i++)
        tile->starts[i + 1] += tile->starts[i];
    for (size_t i = 0; i < count; i++)
        tile->sorted.items[tile->starts[tile->hits.items[i].pixel]++] = tile->hits.items[i];
    tile->sorted.count = count;
    return true;
}

/* Joins hits of one triangle in a pixel that can be shaded as one. */
static bool make_fragments(lb_tile *tile)
{
    const lb_shot *shot = tile->shot;
    size_t first = 0;
    int32_t drawable = shot->class_first[LB_CLASS_CLEAR_STILL];

    tile->fragment_count = 0;
    for (size_t i = 0; i < tile->sorted.count; i++) {
        const lb_hit *hit = &tile->sorted.items[i];
        size_t k = tile->fragment_count;

        if (i == 0 || hit->pixel != tile->sorted.items[i - 1].pixel)
            first = k;
        while (k > first && tile->fragment_count - k < LOOK_BACK) {
            const lb_fragment *f = &tile->fragments[--k];

            if (f->triangle == hit->triangle && hit->instant < f->until)
                goto join;
        }
        if (!lb_grow((void **)&tile->fragments, &tile->fragment_capacity, tile->fragment_count,
                     sizeof *tile->fragments))
            return false;
        k = tile->fragment_count++;
        drawable = lb_shot_drawable_of(shot, hit->triangle, drawable);
        tile->fragments[k] = (lb_fragment){
            .triangle = hit->triangle,
            .drawable = drawable,
            .pixel = hit->pixel,
            .until = lb_tile_until(tile, &shot->drawables[drawable], hit->triangle, hit->instant,
                                   hit->pixel % LB_TILE_MAX, hit->pixel / LB_TILE_MAX)};
    join:
        tile->fragments[k].mask |= hit->mask;
    }
    return true;
}

static lb_point *next_point(lb_tile *tile)
{
    lb_points *p = &tile->clear_points;

    if (p->count == p->capacity &&
        !lb_grow((void **)&p->items, &p->capacity, p->count, sizeof *p->items))
        return NULL;
    return &p->items[p->count++];
}

/* Takes away the samples of fragments [first, end) where the mask says that nothing is there. */
static void drop_masked(lb_tile *tile, size_t first, size_t end)
{
    const lb_shaded *shaded = tile->clear_shaded.items;
    size_t at = 0;

    for (size_t i = first; i < end; i++) {
        lb_fragment *f = &tile->fragments[i];
        const lb_material *m = tile->shot->drawables[f->drawable].material;

        if (m->alpha_mode != LB_ALPHA_MASK)
            continue;
        for (uint64_t left = f->mask; left; left &= left - 1, at++)
            if (!(shaded[at].rgba[3] >= m->alpha_cutoff))
                f->mask &= ~(left & -left);
    }
}

/* Tests masks at every sample: glTF 2.0, 3.9.4, alpha below the cutoff is not there. */
static bool test_masks(lb_tile *tile)
{
    const lb_pattern *pattern = &tile->shot->pattern;
    size_t first = 0;

    tile->clear_points.count = 0;
    for (size_t i = 0; i <= tile->fragment_count; i++) {
        lb_fragment *f = &tile->fragments[i];
        bool is_last = i == tile->fragment_count;

        if (is_last || tile->clear_points.count >= MASK_POINTS) {
            size_t count = tile->clear_points.count;

            if (count &&
                (!lb_results_reserve(&tile->clear_shaded, count) ||
                 !lb_shade_points(&tile->shader, tile->cover.x, tile->cover.y,
                                  tile->clear_points.items, count, true, tile->clear_shaded.items)))
                return false;
            if (count)
                drop_masked(tile, first, i);
            tile->clear_points.count = 0;
            first = i;
        }
        if (is_last || tile->shot->drawables[f->drawable].material->alpha_mode != LB_ALPHA_MASK)
            continue;
        for (uint64_t left = f->mask; left; left &= left - 1) {
            int s = __builtin_ctzll(left);
            lb_point *point = next_point(tile);

            if (!point)
                return false;
            *point = (lb_point){.triangle = f->triangle,
                                .drawable = f->drawable,
                                .x = (float)(f->pixel % LB_TILE_MAX) + (float)pattern->x[s] / 256,
                                .y = (float)(f->pixel / LB_TILE_MAX) + (float)pattern->y[s] / 256,
                                .instant = tile->instant_of[s]};
        }
    }
    return true;
}

static void drop_empty(lb_tile *tile)
{
    size_t kept = 0;

    for (size_t i = 0; i < tile->fragment_count; i++)
        if (tile->fragments[i].mask)
            tile->fragments[kept++] = tile->fragments[i];
    tile->fragment_count = kept;
}

/* One point for each fragment, at the middle of its samples. */
static bool shade_fragments(lb_tile *tile)
{
    const lb_pattern *pattern = &tile->shot->pattern;

    tile->clear_points.count = 0;
    for (size_t i = 0; i < tile->fragment_count; i++) {
        const lb_fragment *f = &tile->fragments[i];
        int32_t x = 0, y = 0, instants = 0, count = 0;
        lb_point *point = next_point(tile);

        if (!point)
            return false;
        for (uint64_t left = f->mask; left; left &= left - 1, count++) {
            int s = __builtin_ctzll(left);

            x += pattern->x[s];
            y += pattern->y[s];
            instants += tile->instant_of[s];
        }
        *point = (lb_point){
            .triangle = f->triangle,
            .drawable = f->drawable,
            .x = (float)(f->pixel % LB_TILE_MAX) + (float)x / (256 * (float)count),
            .y = (float)(f->pixel / LB_TILE_MAX) + (float)y / (256 * (float)count),
            .instant = (uint8_t)(instants / count),
        };
    }
    return lb_results_reserve(&tile->clear_shaded, tile->fragment_count) &&
           lb_shade_points(&tile->shader, tile->cover.x, tile->cover.y, tile->clear_points.items,
                           tile->fragment_count, false, tile->clear_shaded.items);
}

static bool is_before(const lb_clear_order *a, const lb_clear_order *b)
{
    return a->key > b->key || (a->key == b->key && a->fragment < b->fragment);
}

static int compare_order(const void *a, const void *b)
{
    return is_before(a, b) ? -1 : 1;
}

/* Brings the pixel's fragments into the order of sample s. From one sample to the next little
 * changes, so they are nearly sorted already. */
static void sort_for_sample(lb_tile *tile, const lb_fragment *fragments, size_t count, int32_t s)
{
    const lb_shot *shot = tile->shot;
    lb_clear_order *order = tile->order;
    double x = tile->cover.x - shot->origin_x + fragments->pixel % LB_TILE_MAX +
               shot->pattern.x[s] / 256.0;
    double y = tile->cover.y - shot->origin_y + fragments->pixel / LB_TILE_MAX +
               shot->pattern.y[s] / 256.0;

    for (size_t i = 0; i < count; i++) {
        const lb_fragment *f = &fragments[order[i].fragment];
        const lb_drawable *d = &shot->drawables[f->drawable];

        if (!(f->mask >> s & 1))
            continue;
        order[i].key = lb_surface_key(
            lb_shader_surface(&tile->shader, d, f->triangle, d->moving ? tile->instant_of[s] : 0),
            x, y);
    }
    if (s == 0 && count > 32) {
        qsort(order, count, sizeof *order, compare_order);
        return;
    }
    for (size_t i = 1; i < count; i++) {
        lb_clear_order moved = order[i];
        size_t k = i;

        for (; k > 0 && is_before(&moved, &order[k - 1]); k--)
            order[k] = order[k - 1];
        order[k] = moved;
    }
}

/* What is nearest, for the layers that say so: a blended surface counts from half its opacity on.
 */
static void note_nearest(lb_tile *tile, int32_t pixel, const lb_shaded *shaded, float key)
{
    if (!(shaded->rgba[3] >= 0.5f) || !(key > tile->near_key[pixel]))
        return;
    tile->near_key[pixel] = key;
    tile->depth[pixel] = lb_tile_distance(tile->shot, key);
    for (int c = 0; c < 3; c++)
        tile->normal[c][pixel] = shaded->normal[c];
    for (int c = 0; c < 2; c++)
        tile->uv[c][pixel] = shaded->uv[c];
}

/* W3C Compositing and Blending Level 1, 9.1.4 (source-over), from front to back: every layer is
 * dimmed by what is left of the light after those before it. */
static void composite_pixel(lb_tile *tile, size_t first, size_t count)
{
    const lb_fragment *fragments = tile->fragments + first;
    const lb_shaded *shaded = tile->clear_shaded.items + first;
    int32_t samples = tile->shot->pattern.count, pixel = fragments->pixel;
    const uint32_t *ids =
        tile->cover.ids + lb_cover_at(&tile->cover, pixel % LB_TILE_MAX, pixel / LB_TILE_MAX);
    float sum[4] = {0};

    for (size_t i = 0; i < count; i++)
        tile->order[i] = (lb_clear_order){-INFINITY, (uint32_t)i};
    for (int32_t s = 0; s < samples; s++) {
        uint32_t behind = ids[s * LB_LANES];
        float left = 1;

        sort_for_sample(tile, fragments, count, s);
        for (size_t i = 0; i < count && left > 0; i++) {
            const lb_clear_order *o = &tile->order[i];

            if (!(fragments[o->fragment].mask >> s & 1))
                continue;
            for (int c = 0; c < 4; c++)
                sum[c] += left * shaded[o->fragment].rgba[c];
            note_nearest(tile, pixel, &shaded[o->fragment], o->key);
            left *= 1 - shaded[o->fragment].rgba[3];
        }
        if (behind == LB_NOTHING || !(left > 0))
            continue;
        for (int c = 0; c < 3 && tile->shader.want_color; c++)
            sum[c] += left * tile->shaded.items[behind].rgba[c];
        sum[3] += left;
    }
    for (int c = 0; c < 4; c++)
        tile->rgba[c][pixel] = sum[c] / (float)samples;
}

static bool composite(lb_tile *tile)
{
    for (size_t first = 0, end; first < tile->fragment_count; first = end) {
        for (end = first + 1; end < tile->fragment_count &&
                              tile->fragments[end].pixel == tile->fragments[first].pixel;
             end++)
            ;
        if (end - first > tile->order_capacity) {
            lb_clear_order *order = lb_realloc(tile->order, 2 * (end - first), sizeof *tile->order);

            if (!order)
                return false;
            tile->order = order;
            tile->order_capacity = 2 * (end - first);
        }
        composite_pixel(tile, first, end - first);
    }
    return true;
}

static lb_status add_rows(lb_tile *tile, int32_t row0, int32_t row1)
{
    lb_status status = find_hits(tile, row0, row1);

    if (status == LB_LIMIT) { /* too many: half the rows, then the other half */
        int32_t middle = row0 + (row1 - row0) / 2;

        if ((status = add_rows(tile, row0, middle)))
            return status;
        return add_rows(tile, middle, row1);
    }
    if (status || !tile->hits.count)
        return status;
    if (!sort_hits(tile) || !make_fragments(tile) || !test_masks(tile))
        return LB_MEMORY;
    drop_empty(tile);
    return shade_fragments(tile) && composite(tile) ? LB_OK : LB_MEMORY;
}

lb_status lb_tile_add_clear(lb_tile *tile)
{
    return add_rows(tile, tile->cover.wanted.y0, tile->cover.wanted.y1);
}
