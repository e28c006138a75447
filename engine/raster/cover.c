/* engine/raster/cover.c: edge functions on samples.
 *
 * An edge from corner p to q is e(x, y) = a x + b y - t with a = p.y - q.y, b = q.x - p.x: inside
 * is e >= 0, for corners that go round clockwise on the screen (y down). Corners are multiples of
 * 2^-14 pixel and samples of 2^-8, so e is a whole number of 2^-22 square pixels but for t, which
 * is rounded up; that changes no comparison. Edges that are neither top nor left ones have 1 added
 * to t before it is rounded, so a sample on an edge belongs to one of the triangles that share it.
 * Small triangles are tested in 32 bits, large ones in doubles, which hold these numbers exactly.
 */
#include "engine/raster/cover.h"

#include <math.h>

#include "engine/base/clones.h"
#include "engine/base/memory.h"

#define ALWAYS_INLINE static inline __attribute__((always_inline))
#define UNIT 256 /* sample grid of a pixel */

typedef struct {
    int32_t a[3], b[3];
    int64_t t[3];           /* at the tile's corner, samples counted in 1/256 pixel from there */
    double key, dkx, dky;   /* at the tile's corner, per pixel */
    float low, high;        /* the key's bounds */
    int32_t x0, y0, x1, y1; /* pixels of the tile, half-open */
    int32_t first, end;     /* samples */
    bool is_small;
    uint32_t triangle;
    int32_t instant;
} facet;

ALWAYS_INLINE int32_t least(int32_t a, int32_t b)
{
    return a < b ? a : b;
}

ALWAYS_INLINE int32_t most(int32_t a, int32_t b)
{
    return a > b ? a : b;
}

/* Pixels with a sample in the triangle's bounds, cut to `wanted`; false: none. */
ALWAYS_INLINE bool find_bounds(facet *f, const lb_sample_span *span, const lb_box *wanted,
                               const int32_t x[3], const int32_t y[3])
{
    const int32_t unit = LB_FIXED_ONE / UNIT, up = LB_FIXED_ONE - 1;
    int32_t left = least(least(x[0], x[1]), x[2]), right = most(most(x[0], x[1]), x[2]);
    int32_t top = least(least(y[0], y[1]), y[2]), bottom = most(most(y[0], y[1]), y[2]);
    int32_t w = (right - left + up) >> LB_FIXED_BITS, h = (bottom - top + up) >> LB_FIXED_BITS;

    f->x0 = most((left - span->high_x * unit + up) >> LB_FIXED_BITS, wanted->x0);
    f->y0 = most((top - span->high_y * unit + up) >> LB_FIXED_BITS, wanted->y0);
    f->x1 = least(((right - span->low_x * unit) >> LB_FIXED_BITS) + 1, wanted->x1);
    f->y1 = least(((bottom - span->low_y * unit) >> LB_FIXED_BITS) + 1, wanted->y1);
    f->first = span->first;
    f->end = span->end;
    /* |e| <= |a| (w + 8) 256 + |b| (h + 1) 256 wherever it is looked at, with a <= h 2^14 and
     * b <= w 2^14. */
    f->is_small = w < 64 && h < 64 && 2 * w * h + 8 * h + w < 512;
    return f->x0 < f->x1 && f->y0 < f->y1;
}

/* Corners in fixed point from the tile's corner; area2 is not 0. */
ALWAYS_INLINE void find_edges(facet *f, const int32_t x[3], const int32_t y[3], bool turned)
{
    for (int i = 0; i < 3; i++) {
        int j = turned ? (i + 2) % 3 : (i + 1) % 3;
        int32_t a = y[i] - y[j], b = x[j] - x[i];
        int64_t t = (int64_t)a * x[i] + (int64_t)b * y[i];

        t += a > 0 || (a == 0 && b > 0) ? 0 : 1;
        f->a[i] = a;
        f->b[i] = b;
        f->t[i] = (t + LB_FIXED_ONE / UNIT - 1) >> (LB_FIXED_BITS - 8);
    }
}

/* Makes a triangle ready for the tile; false: it is not in it. */
ALWAYS_INLINE bool make_facet(const lb_cover *c, const lb_piece *piece, uint32_t ref,
                              const lb_drawable *d, const lb_vertex *vertices,
                              const lb_sample_span *span, const lb_box *wanted, facet *f)
{
    const lb_shot *shot = c->shot;
    int32_t left = (c->x - shot->origin_x) * LB_FIXED_ONE;
    int32_t top = (c->y - shot->origin_y) * LB_FIXED_ONE;
    const lb_clipped *clipped = NULL;
    const lb_vertex *v[3] = {0};
    int32_t x[3], y[3];
    int64_t area;

    if (ref & LB_REF_CLIPPED) {
        clipped = &piece->clipped[ref & ~LB_REF_CLIPPED];
        f->triangle = clipped->triangle;
        for (int i = 0; i < 3; i++) {
            x[i] = clipped->x[i] - left;
            y[i] = clipped->y[i] - top;
        }
    } else {
        const uint32_t *index = lb_shot_indices(shot, d, ref);

        f->triangle = ref;
        for (int i = 0; i < 3; i++) {
            v[i] = &vertices[index[i]];
            x[i] = v[i]->x - left;
            y[i] = v[i]->y - top;
        }
    }
    if (!find_bounds(f, span, wanted, x, y))
        return false;
    area = (int64_t)(x[1] - x[0]) * (y[2] - y[0]) - (int64_t)(x[2] - x[0]) * (y[1] - y[0]);
    find_edges(f, x, y, area < 0);
    if (clipped) {
        f->dkx = clipped->key[0];
        f->dky = clipped->key[1];
        f->key =
            clipped->key[2] + f->dkx * (c->x - shot->origin_x) + f->dky * (c->y - shot->origin_y);
        f->low = clipped->key_low;
        f->high = clipped->key_high;
    } else {
        double k0 = v[0]->key, k1 = v[1]->key - k0, k2 = v[2]->key - k0;
        double scale = (double)LB_FIXED_ONE / (double)area;

        f->dkx = (k1 * (y[2] - y[0]) - k2 * (y[1] - y[0])) * scale;
        f->dky = (k2 * (x[1] - x[0]) - k1 * (x[2] - x[0])) * scale;
        f->key = k0 - (f->dkx * x[0] + f->dky * y[0]) * (1.0 / LB_FIXED_ONE);
        f->low = fminf(fminf(v[0]->key, v[1]->key), v[2]->key);
        f->high = fmaxf(fmaxf(v[0]->key, v[1]->key), v[2]->key);
    }
    return true;
}

/* What is the same for all rows of a facet. */
typedef struct {
    float key_lane[LB_LANES], key_sample[LB_MAX_SAMPLES];
} key_steps;

ALWAYS_INLINE void find_key_steps(const facet *f, const lb_pattern *p, key_steps *k)
{
    float x = (float)(f->dkx / UNIT), y = (float)(f->dky / UNIT);

#pragma GCC unroll 1
    for (int l = 0; l < LB_LANES; l++)
        k->key_lane[l] = (float)(f->dkx * l);
    for (int32_t s = f->first; s < f->end; s++)
        k->key_sample[s] = x * (float)p->x[s] + y * (float)p->y[s];
}

ALWAYS_INLINE float clamped(float key, float low, float high)
{
    key = key < low ? low : key;
    return key > high ? high : key;
}

/* Edge functions of a small facet over blocks of a row. */
typedef struct {
    int32_t lane[3][LB_LANES], offset[3][LB_MAX_SAMPLES];
    int32_t above[3]; /* furthest up an edge function goes within a block */
} small_steps;

ALWAYS_INLINE void find_small_steps(const facet *f, const lb_pattern *p, small_steps *e)
{
    for (int i = 0; i < 3; i++) {
        int32_t a = f->a[i], b = f->b[i];

#pragma GCC unroll 1 /* else the loop is unrolled before it could become one vector */
        for (int l = 0; l < LB_LANES; l++)
            e->lane[i][l] = a * UNIT * l;
        for (int32_t s = f->first; s < f->end; s++)
            e->offset[i][s] = a * p->x[s] + b * p->y[s];
        e->above[i] = most(a, 0) * (UNIT * LB_LANES - 1) + most(b, 0) * (UNIT - 1);
    }
}

/* Eight pixels, one sample, tested in 32 bits. */
ALWAYS_INLINE void test_small(float *restrict keys, uint32_t *restrict ids, const int32_t e[3],
                              const small_steps *steps, int32_t s, float key,
                              const float *restrict key_lane, const facet *f)
{
    int32_t e0 = e[0] + steps->offset[0][s], e1 = e[1] + steps->offset[1][s];
    int32_t e2 = e[2] + steps->offset[2][s];
    float low = f->low, high = f->high;
    uint32_t triangle = f->triangle;

#pragma GCC unroll 1
    for (int l = 0; l < LB_LANES; l++) {
        int32_t outside =
            (e0 + steps->lane[0][l]) | (e1 + steps->lane[1][l]) | (e2 + steps->lane[2][l]);
        float k = clamped(key + key_lane[l], low, high);
        bool passes = (outside >= 0) & (k > keys[l]);

        keys[l] = passes ? k : keys[l];
        ids[l] = passes ? triangle : ids[l];
    }
}

ALWAYS_INLINE void draw_small(lb_cover *c, const facet *f)
{
    const lb_pattern *p = &c->shot->pattern;
    int32_t samples = p->count, blocks = c->shot->tile_size / LB_LANES;
    small_steps steps;
    key_steps keys;

    find_key_steps(f, p, &keys);
    find_small_steps(f, p, &steps);
    for (int32_t y = f->y0; y < f->y1; y++)
        for (int32_t block = f->x0 / LB_LANES; block * LB_LANES < f->x1; block++) {
            int32_t x = block * LB_LANES, e[3];
            size_t at = ((size_t)y * (size_t)blocks + (size_t)block) * (size_t)samples * LB_LANES;
            float key = (float)(f->key + f->dkx * x + f->dky * y);

            for (int i = 0; i < 3; i++)
                e[i] = (int32_t)((int64_t)f->a[i] * (UNIT * x) + (int64_t)f->b[i] * (UNIT * y) -
                                 f->t[i]);
            if (((e[0] + steps.above[0]) | (e[1] + steps.above[1]) | (e[2] + steps.above[2])) < 0)
                continue;
            for (int32_t s = f->first; s < f->end; s++)
                test_small(c->keys + at + (size_t)s * LB_LANES, c->ids + at + (size_t)s * LB_LANES,
                           e, &steps, s, key + keys.key_sample[s], keys.key_lane, f);
        }
}

/* Edge functions of a large facet over blocks of a row. */
typedef struct {
    double lane[3][LB_LANES], offset[3][LB_MAX_SAMPLES];
    int64_t above[3], below[3]; /* furthest an edge function goes within a block */
} edge_steps;

ALWAYS_INLINE void find_edge_steps(const facet *f, const lb_pattern *p, edge_steps *e)
{
    for (int i = 0; i < 3; i++) {
        int64_t a = f->a[i], b = f->b[i];

        for (int l = 0; l < LB_LANES; l++)
            e->lane[i][l] = (double)(a * UNIT * l);
        for (int32_t s = f->first; s < f->end; s++)
            e->offset[i][s] = (double)(a * p->x[s] + b * p->y[s]);
        e->above[i] = (a > 0 ? a : 0) * (UNIT * LB_LANES - 1) + (b > 0 ? b : 0) * (UNIT - 1);
        e->below[i] = (a < 0 ? a : 0) * (UNIT * LB_LANES - 1) + (b < 0 ? b : 0) * (UNIT - 1);
    }
}

/* For each of eight pixels 1 if it is inside three edges, else 0. */
ALWAYS_INLINE void inside_large(const double e[3], const edge_steps *steps, int32_t s,
                                int32_t out[LB_LANES])
{
    double e0 = e[0] + steps->offset[0][s], e1 = e[1] + steps->offset[1][s];
    double e2 = e[2] + steps->offset[2][s];

#pragma GCC unroll 1
    for (int l = 0; l < LB_LANES; l++)
        out[l] = (e0 + steps->lane[0][l] >= 0) & (e1 + steps->lane[1][l] >= 0) &
                 (e2 + steps->lane[2][l] >= 0);
}

enum { BLOCK_OUT, BLOCK_PART, BLOCK_IN };

/* Where block x of row y lies; for one that is cut `at` gets the edges at its corner. An edge that
 * does not cut it is given a value that no step of it can change the sign of. */
ALWAYS_INLINE int place_block(const facet *f, const edge_steps *steps, int32_t x, int32_t y,
                              double at[3])
{
    int place = BLOCK_IN;

    for (int i = 0; i < 3; i++) {
        int64_t e = (int64_t)f->a[i] * (UNIT * x) + (int64_t)f->b[i] * (UNIT * y) - f->t[i];

        if (e + steps->above[i] < 0)
            return BLOCK_OUT;
        if (e + steps->below[i] < 0) {
            place = BLOCK_PART;
            at[i] = (double)e;
        } else {
            at[i] = 0x1p50;
        }
    }
    return place;
}

ALWAYS_INLINE void test_keys(float *restrict keys, uint32_t *restrict ids,
                             const int32_t *restrict inside, float key,
                             const float *restrict key_lane, const facet *f)
{
    float low = f->low, high = f->high;
    uint32_t triangle = f->triangle;

#pragma GCC unroll 1
    for (int l = 0; l < LB_LANES; l++) {
        float k = clamped(key + key_lane[l], low, high);
        bool passes = (inside[l] != 0) & (k > keys[l]);

        keys[l] = passes ? k : keys[l];
        ids[l] = passes ? triangle : ids[l];
    }
}

ALWAYS_INLINE void draw_large(lb_cover *c, const facet *f)
{
    static const int32_t everywhere[LB_LANES] = {1, 1, 1, 1, 1, 1, 1, 1};
    const lb_pattern *p = &c->shot->pattern;
    int32_t samples = p->count, blocks = c->shot->tile_size / LB_LANES;
    edge_steps steps;
    key_steps keys;

    find_key_steps(f, p, &keys);
    find_edge_steps(f, p, &steps);
    for (int32_t y = f->y0; y < f->y1; y++)
        for (int32_t block = f->x0 / LB_LANES; block * LB_LANES < f->x1; block++) {
            double e[3] = {0};
            int32_t x = block * LB_LANES, inside[LB_LANES];
            int place = place_block(f, &steps, x, y, e);
            size_t at = ((size_t)y * (size_t)blocks + (size_t)block) * (size_t)samples * LB_LANES;
            float key = (float)(f->key + f->dkx * x + f->dky * y);

            if (place == BLOCK_OUT)
                continue;
            for (int32_t s = f->first; s < f->end; s++) {
                if (place == BLOCK_PART)
                    inside_large(e, &steps, s, inside);
                test_keys(c->keys + at + (size_t)s * LB_LANES, c->ids + at + (size_t)s * LB_LANES,
                          place == BLOCK_PART ? inside : everywhere, key + keys.key_sample[s],
                          keys.key_lane, f);
            }
        }
}

LB_CLONES
void lb_cover_draw(lb_cover *cover, const lb_piece *piece, const uint32_t *refs, size_t count)
{
    const lb_shot *shot = cover->shot;
    int32_t instant = piece->instant < 0 ? 0 : piece->instant;
    const lb_sample_span *span = piece->instant < 0 ? &shot->whole : &shot->spans[instant];
    int32_t drawable = piece->drawable;
    const lb_drawable *d = &shot->drawables[drawable];
    const lb_vertex *vertices = lb_shot_vertices(shot, d, instant);

    for (size_t i = 0; i < count; i++) {
        uint32_t triangle =
            refs[i] & LB_REF_CLIPPED ? piece->clipped[refs[i] & ~LB_REF_CLIPPED].triangle : refs[i];
        facet f;

        if (triangle - d->first_triangle >= d->triangle_count) {
            drawable = lb_shot_drawable_of(shot, triangle, drawable);
            d = &shot->drawables[drawable];
            vertices = lb_shot_vertices(shot, d, instant);
        }
        if (!make_facet(cover, piece, refs[i], d, vertices, span, &cover->wanted, &f))
            continue;
        if (f.is_small)
            draw_small(cover, &f);
        else
            draw_large(cover, &f);
    }
}

/* The samples of eight pixels that a facet covers in front of what is opaque there. */
ALWAYS_INLINE void find_masks(const lb_cover *c, const facet *f, const edge_steps *steps,
                              const key_steps *keys, int32_t x, int32_t y, const double e[3],
                              uint64_t masks[LB_LANES])
{
    float key = (float)(f->key + f->dkx * x + f->dky * y);
    const float *row = c->keys + lb_cover_at(c, x, y);

    for (int l = 0; l < LB_LANES; l++)
        masks[l] = 0;
    for (int32_t s = f->first; s < f->end; s++) {
        double e0 = e[0] + steps->offset[0][s], e1 = e[1] + steps->offset[1][s];
        double e2 = e[2] + steps->offset[2][s];
        const float *before = row + (size_t)s * LB_LANES;

#pragma GCC unroll 1
        for (int l = 0; l < LB_LANES; l++) {
            float k = clamped(key + keys->key_sample[s] + keys->key_lane[l], f->low, f->high);
            bool passes = (e0 + steps->lane[0][l] >= 0) & (e1 + steps->lane[1][l] >= 0) &
                          (e2 + steps->lane[2][l] >= 0) & (k > before[l]);

            masks[l] |= (uint64_t)passes << s;
        }
    }
}

static void find_hits(const lb_cover *c, const facet *f, lb_hits *hits)
{
    edge_steps steps;
    key_steps keys;

    find_key_steps(f, &c->shot->pattern, &keys);
    find_edge_steps(f, &c->shot->pattern, &steps);
    for (int32_t y = f->y0; y < f->y1; y++)
        for (int32_t x = f->x0 / LB_LANES * LB_LANES; x < f->x1; x += LB_LANES) {
            double e[3] = {0};
            uint64_t masks[LB_LANES];

            if (place_block(f, &steps, x, y, e) == BLOCK_OUT)
                continue;
            find_masks(c, f, &steps, &keys, x, y, e, masks);
            for (int32_t l = 0; l < LB_LANES; l++)
                if (masks[l] && x + l >= c->wanted.x0 && x + l < c->wanted.x1)
                    hits->items[hits->count++] = (lb_hit){
                        .mask = masks[l],
                        .triangle = f->triangle,
                        .pixel = (uint16_t)(y * LB_TILE_MAX + x + l),
                        .instant = (uint8_t)f->instant,
                    };
        }
}

/* Room for what one triangle may add. */
static bool reserve(lb_hits *hits)
{
    size_t most_hits = LB_TILE_MAX * LB_TILE_MAX, capacity;
    lb_hit *items;

    if (hits->capacity - hits->count >= most_hits)
        return true;
    capacity = hits->capacity ? hits->capacity * 2 : 4 * most_hits;
    if (capacity < hits->capacity || !(items = lb_realloc(hits->items, capacity, sizeof *items)))
        return false;
    hits->items = items;
    hits->capacity = capacity;
    return true;
}

bool lb_cover_find(const lb_cover *cover, const lb_piece *piece, const uint32_t *refs, size_t count,
                   int32_t row0, int32_t row1, lb_hits *hits)
{
    const lb_shot *shot = cover->shot;
    int32_t instant = piece->instant < 0 ? 0 : piece->instant;
    const lb_sample_span *span = piece->instant < 0 ? &shot->whole : &shot->spans[instant];
    lb_box wanted = cover->wanted;
    int32_t drawable = piece->drawable;

    wanted.y0 = most(wanted.y0, row0);
    wanted.y1 = least(wanted.y1, row1);
    for (size_t i = 0; i < count; i++) {
        uint32_t triangle =
            refs[i] & LB_REF_CLIPPED ? piece->clipped[refs[i] & ~LB_REF_CLIPPED].triangle : refs[i];
        const lb_drawable *d;
        facet f;

        drawable = lb_shot_drawable_of(shot, triangle, drawable);
        d = &shot->drawables[drawable];
        f.instant = instant;
        if (!make_facet(cover, piece, refs[i], d, lb_shot_vertices(shot, d, instant), span, &wanted,
                        &f))
            continue;
        if (!reserve(hits))
            return false;
        find_hits(cover, &f, hits);
    }
    return true;
}

void lb_cover_reset(lb_cover *cover)
{
    size_t count = (size_t)cover->shot->tile_size * (size_t)cover->shot->tile_size *
                   (size_t)cover->shot->pattern.count;

    for (size_t i = 0; i < count; i++)
        cover->keys[i] = -INFINITY;
    for (size_t i = 0; i < count; i++)
        cover->ids[i] = LB_NOTHING;
}
