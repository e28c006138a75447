/* engine/raster/tile.c: opaque surfaces of a tile: seen, shaded, averaged.
 *
 * Each pixel is shaded once for every surface that its samples see, at the middle of those samples:
 * neighbouring triangles of one smooth mesh count as one surface, a moving one is taken anew for
 * every pixel that it goes on. So a pixel within a surface costs one point whatever the samples. */
#include "engine/raster/tile.h"

#include <math.h>
#include <string.h>

#include "engine/base/clones.h"
#include "engine/base/memory.h"

/* A surface in the pixel at hand. */
typedef struct {
    uint32_t triangle;
    int32_t drawable;
    int32_t instant, end;          /* its first instant, and the first sample after its last */
    int32_t count, x, y, instants; /* sums over its samples */
    const uint32_t *index;
    uint32_t joined; /* the last other triangle that goes on with it; LB_NOTHING */
    int8_t front;    /* -1: not known */
} patch;

lb_status lb_tile_init(lb_tile *tile, const lb_shot *shot, const lb_bins *bins)
{
    size_t samples =
        (size_t)shot->tile_size * (size_t)shot->tile_size * (size_t)shot->pattern.count;

    tile->shot = tile->cover.shot = shot;
    tile->bins = bins;
    lb_shader_init(&tile->shader, shot);
    for (int32_t s = 0; s < shot->pattern.count; s++)
        tile->instant_of[s] = (uint8_t)(s * shot->instant_count / shot->pattern.count);
    tile->cover.keys = lb_block_new(samples * sizeof *tile->cover.keys);
    tile->cover.ids = lb_block_new(samples * sizeof *tile->cover.ids);
    return tile->cover.keys && tile->cover.ids ? LB_OK : LB_MEMORY;
}

void lb_tile_clear(lb_tile *tile)
{
    lb_block_free(tile->cover.keys);
    lb_block_free(tile->cover.ids);
    lb_shader_clear(&tile->shader);
    lb_free(tile->points.items);
    lb_free(tile->shaded.items);
    lb_free(tile->hits.items);
    lb_free(tile->sorted.items);
    lb_free(tile->fragments);
    lb_free(tile->clear_points.items);
    lb_free(tile->clear_shaded.items);
    lb_free(tile->order);
}

bool lb_results_reserve(lb_results *results, size_t count)
{
    lb_shaded *items;

    if (count <= results->capacity)
        return true;
    if (!(items = lb_realloc(results->items, count + count / 2, sizeof *items)))
        return false;
    results->items = items;
    results->capacity = count + count / 2;
    return true;
}

lb_refs_of lb_tile_refs(const lb_piece *piece, int32_t x, int32_t y)
{
    lb_refs_of refs = {0};
    lb_box t = piece->tiles;

    if (!piece->block)
        return refs;
    refs.broad = piece->refs + piece->broad_first;
    refs.broad_count = piece->broad_end - piece->broad_first;
    if (x >= t.x0 && x < t.x1 && y >= t.y0 && y < t.y1) {
        size_t at = (size_t)(y - t.y0) * (size_t)(t.x1 - t.x0) + (size_t)(x - t.x0);

        refs.listed = piece->refs + piece->offsets[at];
        refs.listed_count = piece->offsets[at + 1] - piece->offsets[at];
    }
    return refs;
}

int32_t lb_tile_until(lb_tile *tile, const lb_drawable *d, uint32_t triangle, int32_t instant,
                      int32_t x, int32_t y)
{
    const lb_shot *shot = tile->shot;
    const uint32_t *index = lb_shot_indices(shot, d, triangle);
    const uint8_t *strides = shot->strides + d->first_vertex;
    int32_t low, high;

    if (!d->moving)
        return shot->instant_count;
    low = high = strides[index[0]];
    for (int i = 1; i < 3; i++) {
        int32_t stride = strides[index[i]];

        low = stride < low ? stride : low;
        high = stride > high ? stride : high;
    }
    /* Corners that go at different speeds, or are beyond the near plane: see at the place itself.
     */
    if (low < shot->instant_count && (high > low || low == 1)) {
        lb_surface *s = lb_shader_surface(&tile->shader, d, triangle, instant);
        double left = tile->cover.x - shot->origin_x, top = tile->cover.y - shot->origin_y;
        double step = lb_surface_motion(shot, d, s, left + x + 0.5, top + y + 0.5);

        step = step * shot->instant_count < LB_STRIDE ? LB_STRIDE / shot->instant_count : step;
        low = step < LB_STRIDE ? (int32_t)(LB_STRIDE / step) : 1;
    }
    return instant + low;
}

static void draw_opaque(lb_tile *tile, int32_t x, int32_t y)
{
    const lb_bins *bins = tile->bins;

    for (int32_t i = 0; i < bins->opaque_count; i++) {
        lb_refs_of refs = lb_tile_refs(&bins->pieces[i], x, y);

        if (refs.listed_count)
            lb_cover_draw(&tile->cover, &bins->pieces[i], refs.listed, refs.listed_count);
        if (refs.broad_count)
            lb_cover_draw(&tile->cover, &bins->pieces[i], refs.broad, refs.broad_count);
    }
    tile->has_clear = false;
    for (int32_t i = bins->opaque_count; i < bins->piece_count && !tile->has_clear; i++) {
        lb_refs_of refs = lb_tile_refs(&bins->pieces[i], x, y);

        tile->has_clear = refs.listed_count || refs.broad_count;
    }
}

/* What the samples of a row's pixels have in common. */
typedef struct {
    uint32_t id[LB_TILE_MAX];      /* of sample 0 */
    uint32_t differs[LB_TILE_MAX]; /* not 0: the samples see different triangles */
    float near[LB_TILE_MAX];
} row_summary;

LB_CLONES
static void summarize_row(const lb_cover *c, int32_t y, row_summary *out)
{
    int32_t samples = c->shot->pattern.count;

    for (int32_t x = 0; x < c->shot->tile_size; x += LB_LANES) {
        const float *keys = c->keys + lb_cover_at(c, x, y);
        const uint32_t *ids = c->ids + lb_cover_at(c, x, y);
        float near[LB_LANES];
        uint32_t id[LB_LANES], differs[LB_LANES];

#pragma GCC unroll 1
        for (int l = 0; l < LB_LANES; l++) {
            near[l] = keys[l];
            id[l] = ids[l];
            differs[l] = 0;
        }
        for (int32_t s = 1; s < samples; s++) {
#pragma GCC unroll 1
            for (int l = 0; l < LB_LANES; l++) {
                float key = keys[(size_t)s * LB_LANES + (size_t)l];

                near[l] = key > near[l] ? key : near[l];
                differs[l] |= ids[(size_t)s * LB_LANES + (size_t)l] ^ id[l];
            }
        }
        memcpy(out->near + x, near, sizeof near);
        memcpy(out->id + x, id, sizeof id);
        memcpy(out->differs + x, differs, sizeof differs);
    }
}

static bool push_point(lb_tile *tile, const lb_point *point)
{
    lb_points *p = &tile->points;

    if (p->count == p->capacity &&
        !lb_grow((void **)&p->items, &p->capacity, p->count, sizeof *p->items))
        return false;
    p->items[p->count++] = *point;
    return true;
}

static bool shares_corner(const uint32_t *a, const uint32_t *b)
{
    for (int i = 0; i < 3; i++)
        if (a[i] == b[0] || a[i] == b[1] || a[i] == b[2])
            return true;
    return false;
}

static bool is_front(const lb_shot *shot, patch *p)
{
    if (p->front < 0)
        p->front = (int8_t)lb_surface_is_front(shot, &shot->drawables[p->drawable], p->triangle,
                                               p->instant);
    return p->front;
}

/* Does a triangle go on with the patch? It does if they share a corner, so that every attribute
 * runs on across their edge, and show the same side. */
static bool continues(const lb_shot *shot, patch *p, patch *next)
{
    return p->drawable == next->drawable && shares_corner(p->index, next->index) &&
           (!shot->drawables[p->drawable].material->double_sided ||
            is_front(shot, p) == is_front(shot, next));
}

/* A patch of the triangle that sample s sees, with no samples yet. What one of the `count` earlier
 * patches knows of that triangle is taken from there. */
static patch new_patch(lb_tile *tile, const patch *patches, int32_t count, uint32_t triangle,
                       int32_t s, int32_t x, int32_t y)
{
    const lb_shot *shot = tile->shot;
    int32_t instant = tile->instant_of[s], until;
    patch p = {.triangle = triangle, .instant = instant, .joined = LB_NOTHING, .front = -1};
    int32_t k = count - 1;

    while (k >= 0 && patches[k].triangle != triangle)
        k--;
    if (k >= 0) {
        p.drawable = patches[k].drawable;
        p.index = patches[k].index;
    } else {
        p.drawable = lb_shot_drawable_of(shot, triangle, count ? patches[count - 1].drawable : 0);
        p.index = lb_shot_indices(shot, &shot->drawables[p.drawable], triangle);
    }
    until = lb_tile_until(tile, &shot->drawables[p.drawable], triangle, instant, x, y);
    p.end = until < shot->instant_count ? shot->spans[until].first : shot->pattern.count;
    return p;
}

/* Is sample s, which sees `triangle`, known to belong to the patch? */
static inline bool shows(const patch *p, uint32_t triangle, int32_t s)
{
    return (p->triangle == triangle || p->joined == triangle) && s < p->end;
}

/* Finds the surfaces of a pixel; sample s sees patch of[s], -1: none. Samples come in the order of
 * time, so patches end in about the order in which they begin. */
static int32_t find_patches(lb_tile *tile, int32_t x, int32_t y, patch patches[],
                            int8_t of[LB_MAX_SAMPLES])
{
    const uint32_t *ids = tile->cover.ids + lb_cover_at(&tile->cover, x, y);
    const lb_pattern *pattern = &tile->shot->pattern;
    int32_t count = 0, last = 0, live = 0;

    for (int32_t s = 0; s < pattern->count; s++) {
        uint32_t triangle = ids[s * LB_LANES];
        int32_t k = last;

        of[s] = -1;
        if (triangle == LB_NOTHING)
            continue;
        if (k >= count || !shows(&patches[k], triangle, s)) {
            while (live < count && s >= patches[live].end)
                live++;
            for (k = live; k < count && !shows(&patches[k], triangle, s); k++)
                ;
        }
        if (k == count) {
            patches[count] = new_patch(tile, patches, count, triangle, s, x, y);
            for (k = live; k < count; k++)
                if (s < patches[k].end && continues(tile->shot, &patches[k], &patches[count])) {
                    patches[k].joined = triangle;
                    break;
                }
            count += k == count;
        }
        patches[k].count++;
        patches[k].x += pattern->x[s];
        patches[k].y += pattern->y[s];
        patches[k].instants += tile->instant_of[s];
        of[s] = (int8_t)k;
        last = k;
    }
    return count;
}

/* The triangle that stands for a patch of several: the one seen nearest to its middle. */
static void choose_triangle(const lb_tile *tile, const uint32_t *ids,
                            const int8_t of[LB_MAX_SAMPLES], int8_t k, patch *p)
{
    const lb_pattern *pattern = &tile->shot->pattern;
    int32_t x = p->x / p->count, y = p->y / p->count, best = INT32_MAX;

    for (int32_t s = 0; s < pattern->count; s++) {
        int32_t dx = pattern->x[s] - x, dy = pattern->y[s] - y;

        if (of[s] == k && dx * dx + dy * dy < best) {
            best = dx * dx + dy * dy;
            p->triangle = ids[s * LB_LANES];
        }
    }
}

/* A pixel that more than one surface is seen in, or none. */
static bool add_mixed(lb_tile *tile, int32_t x, int32_t y)
{
    const lb_shot *shot = tile->shot;
    int32_t samples = shot->pattern.count, pixel = y * LB_TILE_MAX + x, count, covered = 0;
    size_t at = lb_cover_at(&tile->cover, x, y), first = tile->points.count;
    uint32_t *ids = tile->cover.ids + at;
    const float *keys = tile->cover.keys + at;
    patch patches[LB_MAX_SAMPLES];
    int8_t of[LB_MAX_SAMPLES];
    float near = -INFINITY;

    count = find_patches(tile, x, y, patches, of);
    for (int32_t k = 0; k < count; k++) {
        patch *p = &patches[k];
        float scale = 1 / (256 * (float)p->count);
        lb_point point = {.drawable = p->drawable,
                          .x = (float)x + (float)p->x * scale,
                          .y = (float)y + (float)p->y * scale,
                          .weight = (float)p->count / (float)samples,
                          .pixel = (uint16_t)pixel,
                          .instant = (uint8_t)(p->instants / p->count)};

        if (p->joined != LB_NOTHING)
            choose_triangle(tile, ids, of, (int8_t)k, p);
        point.triangle = p->triangle;
        covered += p->count;
        if (!push_point(tile, &point))
            return false;
    }
    tile->rgba[3][pixel] = (float)covered / (float)samples;
    for (int32_t s = 0; s < samples; s++) {
        if (of[s] < 0)
            continue;
        if (keys[s * LB_LANES] > near) {
            near = keys[s * LB_LANES];
            tile->near_point[pixel] = (uint32_t)first + (uint32_t)of[s];
        }
        ids[s * LB_LANES] = (uint32_t)first + (uint32_t)of[s];
    }
    return true;
}

/* A pixel all of whose samples see one triangle: one point, if it hardly moves. */
static bool add_whole(lb_tile *tile, int32_t x, int32_t y, uint32_t triangle, int32_t *drawable)
{
    const lb_shot *shot = tile->shot;
    int32_t pixel = y * LB_TILE_MAX + x;
    const lb_drawable *d;
    lb_point point = {.triangle = triangle,
                      .x = (float)x + 0.5f,
                      .y = (float)y + 0.5f,
                      .weight = 1,
                      .pixel = (uint16_t)pixel,
                      .instant = (uint8_t)((shot->instant_count - 1) / 2)};

    *drawable = lb_shot_drawable_of(shot, triangle, *drawable);
    d = &shot->drawables[*drawable];
    if (lb_tile_until(tile, d, triangle, 0, x, y) < shot->instant_count)
        return add_mixed(tile, x, y);
    point.drawable = *drawable;
    tile->rgba[3][pixel] = 1;
    tile->near_point[pixel] = (uint32_t)tile->points.count;
    if (tile->has_clear) {
        uint32_t *ids = tile->cover.ids + lb_cover_at(&tile->cover, x, y);

        for (int32_t s = 0; s < shot->pattern.count; s++)
            ids[s * LB_LANES] = (uint32_t)tile->points.count;
    }
    return push_point(tile, &point);
}

/* Makes the points of all pixels, and what is known without shading. */
static bool collect(lb_tile *tile)
{
    lb_box w = tile->cover.wanted;
    int32_t drawable = 0;

    tile->points.count = 0;
    for (int32_t y = w.y0; y < w.y1; y++) {
        row_summary row;

        summarize_row(&tile->cover, y, &row);
        for (int32_t x = w.x0; x < w.x1; x++) {
            int32_t pixel = y * LB_TILE_MAX + x;

            tile->near_key[pixel] = row.near[x];
            tile->near_point[pixel] = LB_NOTHING;
            tile->rgba[3][pixel] = 0;
            if (row.differs[x]) {
                if (!add_mixed(tile, x, y))
                    return false;
            } else if (row.id[x] != LB_NOTHING) {
                if (!add_whole(tile, x, y, row.id[x], &drawable))
                    return false;
            }
        }
    }
    return true;
}

static void resolve(lb_tile *tile)
{
    const lb_point *points = tile->points.items;
    const lb_shaded *shaded = tile->shaded.items;
    lb_box w = tile->cover.wanted;

    for (int32_t y = w.y0; y < w.y1; y++)
        for (int32_t x = w.x0; x < w.x1; x++)
            for (int c = 0; c < 3; c++)
                tile->rgba[c][y * LB_TILE_MAX + x] = 0;
    for (size_t i = 0; i < tile->points.count && tile->shader.want_color; i++)
        for (int c = 0; c < 3; c++)
            tile->rgba[c][points[i].pixel] += points[i].weight * shaded[i].rgba[c];
    for (int32_t y = w.y0; y < w.y1; y++)
        for (int32_t x = w.x0; x < w.x1; x++) {
            int32_t pixel = y * LB_TILE_MAX + x;
            uint32_t near = tile->near_point[pixel];

            tile->depth[pixel] = lb_tile_distance(tile->shot, tile->near_key[pixel]);
            for (int c = 0; c < 3; c++)
                tile->normal[c][pixel] = near == LB_NOTHING ? 0 : shaded[near].normal[c];
            for (int c = 0; c < 2; c++)
                tile->uv[c][pixel] = near == LB_NOTHING ? 0 : shaded[near].uv[c];
        }
}

static void write_plane(const lb_tile *tile, const float *pixels, lb_plane *plane)
{
    lb_box w = tile->cover.wanted;
    int32_t left = lb_plane_box(plane).x0;

    for (int32_t y = w.y0; y < w.y1; y++)
        memcpy(lb_plane_row_to_fill(plane, tile->cover.y + y) + (tile->cover.x + w.x0 - left),
               pixels + y * LB_TILE_MAX + w.x0, (size_t)(w.x1 - w.x0) * sizeof *pixels);
}

static void write_all(const lb_tile *tile, const lb_layers *layers)
{
    for (int c = 0; c < 4; c++)
        if (layers->rgba[c])
            write_plane(tile, tile->rgba[c], layers->rgba[c]);
    if (layers->depth)
        write_plane(tile, tile->depth, layers->depth);
    for (int c = 0; c < 3; c++)
        if (layers->normal[c])
            write_plane(tile, tile->normal[c], layers->normal[c]);
    for (int c = 0; c < 2; c++)
        if (layers->uv[c])
            write_plane(tile, tile->uv[c], layers->uv[c]);
}

lb_status lb_tile_render(lb_tile *tile, int32_t x, int32_t y, const lb_layers *layers)
{
    const lb_shot *shot = tile->shot;
    lb_box region = shot->options.region;
    lb_cover *c = &tile->cover;
    int32_t size = shot->tile_size;
    lb_status status;

    c->x = x * size;
    c->y = y * size;
    c->wanted =
        (lb_box){region.x0 > c->x ? region.x0 - c->x : 0, region.y0 > c->y ? region.y0 - c->y : 0,
                 region.x1 - c->x < size ? region.x1 - c->x : size,
                 region.y1 - c->y < size ? region.y1 - c->y : size};
    lb_cover_reset(c);
    draw_opaque(tile, x, y);
    if (!collect(tile) || !lb_results_reserve(&tile->shaded, tile->points.count) ||
        (tile->points.count && (shot->options.layers & ~(uint32_t)LB_LAYER_DEPTH) &&
         !lb_shade_points(&tile->shader, c->x, c->y, tile->points.items, tile->points.count, false,
                          tile->shaded.items)))
        return LB_MEMORY;
    resolve(tile);
    if (tile->has_clear && (status = lb_tile_add_clear(tile)))
        return status;
    write_all(tile, layers);
    return LB_OK;
}
