/* engine/image/defocus_near.c */
#include "engine/image/defocus_near.h"

#include <string.h>

#include "engine/base/clones.h"
#include "engine/base/memory.h"
#include "engine/image/convolve.h"

#define WIDTH LB_DEFOCUS_TILE_WIDTH
#define WIDE (WIDTH + 2 * LB_NEAR_MARGIN)
#define GRAIN 32 /* codes */
#define CHANNEL (LB_DEFOCUS_TILE_HEIGHT * WIDTH)

static int32_t distance(int32_t a, int32_t b)
{
    return a * (a + 1) / 2 + b;
}

size_t lb_near_bytes(void)
{
    return LB_NEAR_CODES * (LB_NEAR_DISTANCES * sizeof(float) + sizeof(uint8_t));
}

struct making {
    const uint8_t *used;
    lb_near *out;
};

static lb_status make_codes(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const struct making *m = context;

    (void)worker;
    for (int32_t code = begin; code < end; code++) {
        double radius = lb_disc_code_radius(code);

        if (!m->used[code] || code == 0)
            continue;
        m->out->reach[code] = (uint8_t)lb_disc_reach(radius);
        for (int32_t a = 0; a <= m->out->reach[code]; a++)
            for (int32_t b = 0; b <= a; b++)
                m->out->weights[distance(a, b) * LB_NEAR_CODES + code] =
                    (float)lb_disc_weight(radius, a, b);
    }
    return LB_OK;
}

lb_status lb_near_new(lb_pool *pool, const uint8_t *used, int32_t codes, lb_near *out)
{
    struct making m = {used, out};
    lb_status status = LB_MEMORY;

    out->weights = lb_alloc(LB_NEAR_DISTANCES * LB_NEAR_CODES, sizeof *out->weights);
    out->reach = lb_alloc(LB_NEAR_CODES, sizeof *out->reach);
    if (out->weights && out->reach)
        status =
            lb_pool_for(pool, codes < LB_NEAR_CODES ? codes : LB_NEAR_CODES, GRAIN, make_codes, &m);
    if (status)
        lb_near_clear(out);
    return status;
}

void lb_near_clear(lb_near *near)
{
    lb_free(near->weights);
    lb_free(near->reach);
    *near = (lb_near){0};
}

int32_t lb_near_reach(int32_t away)
{
    return lb_disc_reach(lb_disc_code_radius((away + 1) * LB_DISC_STEPS_PER_OCTAVE / 2));
}

/* `count` is a constant wherever this is inlined. */
static inline __attribute__((always_inline)) void sides_loop(float *restrict sum,
                                                             const float *const *row, int32_t dx,
                                                             int count, int32_t width)
{
    const float *restrict l0 = row[0] - dx, *restrict r0 = row[0] + dx;
    const float *restrict l1 = row[1] - dx - 1, *restrict r1 = row[1] + dx + 1;
    const float *restrict l2 = row[2] - dx - 2, *restrict r2 = row[2] + dx + 2;
    const float *restrict l3 = row[3] - dx - 3, *restrict r3 = row[3] + dx + 3;

    for (int32_t x = 0; x < width; x++) {
        float s = sum[x] + (l0[x] + r0[x]);

        if (count > 1)
            s += l1[x] + r1[x];
        if (count > 2)
            s += l2[x] + r2[x];
        if (count > 3)
            s += l3[x] + r3[x];
        sum[x] = s;
    }
}

#define AT_ONCE 4

/* Adds what stands dx, dx + 1, ... to both sides, `count` of them, each in its row. */
LB_CLONES
static void add_sides(float *sum, const float *const *row, int32_t dx, int32_t count, int32_t width)
{
    switch (count) {
    case 1:
        sides_loop(sum, row, dx, 1, width);
        break;
    case 2:
        sides_loop(sum, row, dx, 2, width);
        break;
    case 3:
        sides_loop(sum, row, dx, 3, width);
        break;
    default:
        sides_loop(sum, row, dx, 4, width);
    }
}

LB_CLONES
static void add_to(float *restrict to, const float *restrict sum, int32_t width)
{
    for (int32_t x = 0; x < width; x++)
        to[x] += sum[x];
}

/* Columns of the tile that a row reaches, in whole blocks, and how far it reaches; columns of the
 * row that have sources, likewise. */
struct extent {
    int32_t first, width, reach;
    int32_t begin, end;
};

#define BLOCK 16

/* Sums of a row at distance dy: a row of `spread` holds a distance's share. */
static void sum_sides(const float *spread, const struct extent *e, int32_t dy, float *sum)
{
    const float *row[AT_ONCE];

    memcpy(sum, spread + distance(dy, 0) * WIDE + LB_NEAR_MARGIN + e->first,
           (size_t)e->width * sizeof *sum);
    for (int32_t dx = 1; dx <= e->reach; dx += AT_ONCE) {
        int32_t count = e->reach + 1 - dx < AT_ONCE ? e->reach + 1 - dx : AT_ONCE;

        for (int32_t i = 0; i < AT_ONCE; i++) {
            int32_t x = i < count ? dx + i : dx;

            row[i] = spread + LB_NEAR_MARGIN + e->first +
                     (x > dy ? distance(x, dy) : distance(dy, x)) * WIDE;
        }
        add_sides(sum, row, dx, count, e->width);
    }
}

/* Weights of a row's sources. */
LB_CLONES
static void find_weights(const float *restrict weights, const int32_t *restrict code,
                         int32_t distances, int32_t count, float *restrict weight)
{
    for (int32_t d = 0; d < distances; d++)
        for (int32_t x = 0; x < count; x++)
            weight[d * WIDE + x] = weights[d * LB_NEAR_CODES + code[x]];
}

/* What is beside the sources spreads nothing. */
static void clear_sides(float *spread, const struct extent *e, int32_t distances)
{
    int32_t end = e->first + e->width + 2 * LB_NEAR_MARGIN;

    for (int32_t d = 0; d < distances; d++, spread += WIDE) {
        if (e->begin > e->first)
            memset(spread + e->first, 0, (size_t)(e->begin - e->first) * sizeof *spread);
        if (end > e->end)
            memset(spread + e->end, 0, (size_t)(end - e->end) * sizeof *spread);
    }
}

/* One channel times the weights. 0 times infinity is 0 here: it lies beyond the disc. */
LB_CLONES
static void weigh(const float *restrict weight, const float *restrict part, int32_t distances,
                  int32_t count, float *restrict spread)
{
    for (int32_t d = 0; d < distances; d++)
        for (int32_t x = 0; x < count; x++) {
            float w = weight[d * WIDE + x];

            spread[d * WIDE + x] = w > 0 ? w * part[x] : 0.0f;
        }
}

/* The same where all sources have one code, as in what is far away: nothing to look up. */
LB_CLONES
static void weigh_alike(const float *restrict weights, const float *restrict part,
                        int32_t distances, int32_t count, float *restrict spread)
{
    for (int32_t d = 0; d < distances; d++) {
        float w = weights[d * LB_NEAR_CODES];

        for (int32_t x = 0; x < count; x++)
            spread[d * WIDE + x] = w > 0 ? w * part[x] : 0.0f;
    }
}

static struct extent extent_of(const lb_near *near, const lb_near_row *row, int32_t *widest,
                               bool *differ)
{
    int32_t first = WIDE, last = -1, from, to;
    struct extent e;

    *widest = 0;
    *differ = false;
    for (int32_t x = 0; x < WIDE; x++) {
        int32_t code = row->code[x];

        if (!code)
            continue;
        first = first < x ? first : x;
        last = x;
        *differ |= *widest && code != *widest;
        *widest = code > *widest ? code : *widest;
    }
    e.reach = near->reach[*widest];
    from = first - LB_NEAR_MARGIN - e.reach;
    to = last - LB_NEAR_MARGIN + e.reach + 1;
    from = from < 0 ? 0 : from / BLOCK * BLOCK;
    to = to > WIDTH ? WIDTH : (to + BLOCK - 1) / BLOCK * BLOCK;
    e.first = from;
    e.width = to - from;
    e.begin = first / BLOCK * BLOCK;
    e.end = (last + BLOCK) / BLOCK * BLOCK;
    return e;
}

void lb_near_spread(const lb_near *near, const lb_near_row *row, int32_t y, int32_t rows,
                    float *sums)
{
    float weight[LB_NEAR_DISTANCES * WIDE], spread[LB_NEAR_DISTANCES * WIDE], sum[WIDTH];
    int32_t widest, distances, count;
    bool differ;
    struct extent e = extent_of(near, row, &widest, &differ);

    if (e.width <= 0)
        return;
    distances = distance(e.reach, e.reach) + 1;
    count = e.end - e.begin;
    if (differ)
        find_weights(near->weights, row->code + e.begin, distances, count, weight + e.begin);
    clear_sides(spread, &e, distances);
    for (int32_t c = 0; c < 5; c++, sums += CHANNEL) {
        const float *part = row->parts[c] + e.begin;

        if (differ)
            weigh(weight + e.begin, part, distances, count, spread + e.begin);
        else
            weigh_alike(near->weights + widest, part, distances, count, spread + e.begin);
        for (int32_t dy = 0; dy <= e.reach; dy++) {
            bool has_above = y - dy >= 0 && y - dy < rows;
            bool has_below = dy && y + dy >= 0 && y + dy < rows;

            if (!has_above && !has_below)
                continue;
            sum_sides(spread, &e, dy, sum);
            if (has_above)
                add_to(sums + (y - dy) * WIDTH + e.first, sum, e.width);
            if (has_below)
                add_to(sums + (y + dy) * WIDTH + e.first, sum, e.width);
        }
    }
}
