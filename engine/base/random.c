/* engine/base/random.c: hashed numbers and gradient noise. */
#include "engine/base/random.h"

#include <math.h>
#include <stdbool.h>
#include <string.h>

#include "engine/base/clones.h"

/* The 32-bit finaliser of MurmurHash3 (Austin Appleby, public domain): a bijection in which every
 * input bit changes every output bit with a probability near 1/2. */
static inline uint32_t mix(uint32_t h)
{
    h ^= h >> 16;
    h *= 0x85ebca6bu;
    h ^= h >> 13;
    h *= 0xc2b2ae35u;
    return h ^ h >> 16;
}

/* One more word into a hash; the constant is 2^32 over the golden ratio, so that 0 is no fixed
 * point. */
static inline uint32_t join(uint32_t h, uint32_t word)
{
    return mix((h ^ word) + 0x9e3779b9u);
}

uint32_t lb_random_u32(uint32_t a, uint32_t b, uint32_t c, uint32_t d)
{
    return join(join(join(join(0, a) * 5, b) * 5, c) * 5, d);
}

float lb_random_float(uint32_t a, uint32_t b, uint32_t c, uint32_t d)
{
    return (float)(lb_random_u32(a, b, c, d) >> 8) * 0x1p-24f;
}

/* A coordinate as the lattice point below it, modulo 2^32, and the rest, 0 <= rest < 1. What is too
 * large to have a rest, infinite or no number counts as lying on the lattice. */
static inline uint32_t split(double x, double *rest)
{
    double below = floor(x);

    if (!(fabs(x) < 0x1p52)) {
        *rest = 0;
        return 0;
    }
    *rest = x - below;
    return (uint32_t)(int64_t)below;
}

/* Perlin (2002), "Improving Noise", equation 2: first and second derivatives vanish at both ends.
 */
static inline double fade(double t)
{
    return t * t * t * (t * (t * 6.0 - 15.0) + 10.0);
}

static inline double lerp(double a, double b, double t)
{
    return a + (b - a) * t;
}

/* The noise is divided by the most that the sum can reach when every gradient is the one that
 * serves it best; tests/engine/base/test_random.c searches for that maximum. */
#define SCALE_1 2.0
#define SCALE_2 (1 / 0.660817)
#define SCALE_3 (1 / 1.036354)

/* 1D: a slope of -1 .. 1, at least a quarter so that no stretch is flat. */
static inline double slope(uint32_t h, double x)
{
    double size = 0.25 + 0.75 * 0x1p-31 * (double)(h >> 1);

    return h & 1 ? -size * x : size * x;
}

double lb_noise1(double x, uint32_t seed)
{
    double t;
    uint32_t i = split(x, &t), base = join(join(0, seed), 1);

    return SCALE_1 * lerp(slope(join(base, i), t), slope(join(base, i + 1), t - 1), fade(t));
}

/* 2D: eight unit vectors at 22.5 degrees and every 45 from there, so that none is along an axis. */
static inline double slope2(uint32_t h, double x, double y)
{
    const double c = 0.92387953251128676, s = 0.38268343236508977; /* of 22.5 degrees */
    double a = h & 4 ? y : x, b = h & 4 ? x : y;

    return (h & 1 ? -c : c) * a + (h & 2 ? -s : s) * b;
}

double lb_noise2(double x, double y, uint32_t seed)
{
    double tx, ty, low, high;
    uint32_t i = split(x, &tx), j = split(y, &ty), base = join(join(0, seed), 2);
    uint32_t below = join(base, j), above = join(base, j + 1);

    low = lerp(slope2(join(below, i), tx, ty), slope2(join(below, i + 1), tx - 1, ty), fade(tx));
    high = lerp(slope2(join(above, i), tx, ty - 1), slope2(join(above, i + 1), tx - 1, ty - 1),
                fade(tx));
    return SCALE_2 * lerp(low, high, fade(ty));
}

/* 3D: the twelve directions to the edges of a cube, four of them twice so that four bits choose;
 * Perlin (2002), section 3. */
static inline double slope3(uint32_t h, double x, double y, double z)
{
    double a = (h & 15) < 8 ? x : y;
    double b = (h & 15) < 4 ? y : ((h & 13) == 12 ? x : z);

    return (h & 1 ? -a : a) + (h & 2 ? -b : b);
}

double lb_noise3(double x, double y, double z, uint32_t seed)
{
    double tx, ty, tz, sum[4];
    uint32_t i = split(x, &tx), j = split(y, &ty), k = split(z, &tz);
    uint32_t base = join(join(0, seed), 3);

    for (uint32_t c = 0; c < 4; c++) {
        uint32_t row = join(join(base, k + (c >> 1)), j + (c & 1));
        double py = ty - (c & 1), pz = tz - (c >> 1);
        sum[c] = lerp(slope3(join(row, i), tx, py, pz), slope3(join(row, i + 1), tx - 1, py, pz),
                      fade(tx));
    }
    return SCALE_3 * lerp(lerp(sum[0], sum[1], fade(ty)), lerp(sum[2], sum[3], fade(ty)), fade(tz));
}

/* The same in float, written so that the loop becomes vectors: signs are flipped by their bit. */
static inline float flip(float x, uint32_t sign)
{
    uint32_t bits;

    memcpy(&bits, &x, sizeof bits);
    bits ^= sign << 31;
    memcpy(&x, &bits, sizeof bits);
    return x;
}

static inline float slope3f(uint32_t h, float x, float y, float z)
{
    float a = (h & 15) < 8 ? x : y;
    float c = (h & 13) == 12 ? x : z;
    float b = (h & 15) < 4 ? y : c;

    return flip(a, h) + flip(b, h >> 1);
}

static inline float fadef(float t)
{
    return t * t * t * (t * (t * 6.0f - 15.0f) + 10.0f);
}

static inline float lerpf(float a, float b, float t)
{
    return a + (b - a) * t;
}

static inline float edge3f(uint32_t row, uint32_t i, float x, float y, float z, float weight)
{
    return lerpf(slope3f(join(row, i), x, y, z), slope3f(join(row, i + 1), x - 1, y, z), weight);
}

/* A row whose coordinates all fit into 32-bit integers. */
LB_CLONES
static void noise_row(float *restrict out, int32_t count, double x0, double dx, float y, float z,
                      const uint32_t rows[4])
{
    const uint32_t r0 = rows[0], r1 = rows[1], r2 = rows[2], r3 = rows[3];
    const float wy = fadef(y), wz = fadef(z);

    for (int32_t n = 0; n < count; n++) {
        double x = x0 + n * dx;
        int32_t cut = (int32_t)x;
        int32_t below = cut - (x < cut);
        uint32_t i = (uint32_t)below;
        float t = (float)(x - below), w = fadef(t);
        float low = lerpf(edge3f(r0, i, t, y, z, w), edge3f(r1, i, t, y - 1, z, w), wy);
        float high = lerpf(edge3f(r2, i, t, y, z - 1, w), edge3f(r3, i, t, y - 1, z - 1, w), wy);
        out[n] = (float)SCALE_3 * lerpf(low, high, wz);
    }
}

/* ---- Rows in which several pixels share a cell ----
 *
 * Along a row y and z stand still, so what the four corners on one side of a cell make is a line,
 * slope t + offset, and one for each column of the lattice is enough. A group of pixels lies in two
 * cells at most, so that lines are chosen, not looked up. */

#define ROW_PIECE 512
#define ROW_GROUP 16
#define MOST_STEP (1.0 / (ROW_GROUP - 1)) /* cells a pixel */
#define MOST_COLUMNS (ROW_PIECE / (ROW_GROUP - 1) + 4)

typedef struct lines {
    float slope[MOST_COLUMNS], offset[MOST_COLUMNS];
} lines;

/* Of one corner: a sum of two of +-x, +-y, +-z, as slope3f has it. */
static inline float slope_x(uint32_t h)
{
    float a = (h & 15) < 8 ? 1.0f : 0.0f, b = (h & 13) == 12 ? 1.0f : 0.0f;

    return flip(a, h) + flip(b, h >> 1);
}

static inline float slope_rest(uint32_t h, float y, float z)
{
    return slope3f(h, 0.0f, y, z);
}

LB_CLONES
static void make_lines(lines *restrict l, uint32_t first, int32_t count, float y, float z,
                       const uint32_t rows[4])
{
    const uint32_t r0 = rows[0], r1 = rows[1], r2 = rows[2], r3 = rows[3];
    const float wy = fadef(y), wz = fadef(z);

    for (int32_t n = 0; n < count; n++) {
        uint32_t i = first + (uint32_t)n;
        uint32_t h0 = join(r0, i), h1 = join(r1, i), h2 = join(r2, i), h3 = join(r3, i);
        float slope =
            lerpf(lerpf(slope_x(h0), slope_x(h1), wy), lerpf(slope_x(h2), slope_x(h3), wy), wz);
        float rest = lerpf(lerpf(slope_rest(h0, y, z), slope_rest(h1, y - 1, z), wy),
                           lerpf(slope_rest(h2, y, z - 1), slope_rest(h3, y - 1, z - 1), wy), wz);

        l->slope[n] = (float)SCALE_3 * slope;
        l->offset[n] = (float)SCALE_3 * rest;
    }
}

/* Cells and places in them of pixels begin .. begin + count - 1. */
LB_CLONES
static void find_places(int32_t *restrict cells, float *restrict places, int32_t begin,
                        int32_t count, double x0, double dx)
{
    for (int32_t n = 0; n < count; n++) {
        double x = x0 + (begin + n) * dx;
        int32_t cut = (int32_t)x, below = cut - (x < cut);

        cells[n] = below;
        places[n] = (float)(x - below);
    }
}

/* l begins with column `first` of the lattice. */
LB_CLONES
static void run_groups(float *restrict out, int32_t groups, const int32_t *restrict cells,
                       const float *restrict places, int32_t first, const lines *restrict l)
{
    for (int32_t k = 0; k < groups;
         k++, out += ROW_GROUP, cells += ROW_GROUP, places += ROW_GROUP) {
        const int32_t cell = cells[0];
        const float *slope = l->slope + (cell - first), *offset = l->offset + (cell - first);
        const float s0 = slope[0], s1 = slope[1], s2 = slope[2];
        const float o0 = offset[0], o1 = offset[1], o2 = offset[2];

        for (int32_t n = 0; n < ROW_GROUP; n++) {
            float t = places[n];
            float low = (cells[n] == cell ? s0 : s1) * t + (cells[n] == cell ? o0 : o1);
            float high = (cells[n] == cell ? s1 : s2) * (t - 1) + (cells[n] == cell ? o1 : o2);

            out[n] = lerpf(low, high, fadef(t));
        }
    }
}

static void line_row(float *out, int32_t count, double x0, double dx, float y, float z,
                     const uint32_t rows[4])
{
    for (int32_t n = 0; n < count; n += ROW_PIECE) {
        int32_t left = count - n < ROW_PIECE ? count - n : ROW_PIECE, full = left / ROW_GROUP;
        int32_t cells[ROW_PIECE], rest = left - full * ROW_GROUP;
        float places[ROW_PIECE], last[ROW_GROUP];
        lines l;

        find_places(cells, places, n, (full + (rest > 0)) * ROW_GROUP, x0, dx);
        /* Two more: where this cell ends, and what a group reads and does not need. */
        make_lines(&l, (uint32_t)cells[0], cells[left - 1] - cells[0] + 3, y, z, rows);
        run_groups(out + n, full, cells, places, cells[0], &l);
        if (rest > 0) {
            run_groups(last, 1, cells + full * ROW_GROUP, places + full * ROW_GROUP, cells[0], &l);
            memcpy(out + n + full * ROW_GROUP, last, (size_t)rest * sizeof *last);
        }
    }
}

void lb_noise3_row(float *out, int32_t count, double x0, double dx, double y, double z,
                   uint32_t seed)
{
    double last = x0 + (count - 1) * dx, ty, tz;
    uint32_t j = split(y, &ty), k = split(z, &tz), base = join(join(0, seed), 3);
    uint32_t rows[4];

    if (!(fabs(x0) < 0x1p31 - 2 && fabs(last) < 0x1p31 - 2)) {
        for (int32_t n = 0; n < count; n++)
            out[n] = (float)lb_noise3(x0 + n * dx, y, z, seed);
        return;
    }
    for (uint32_t c = 0; c < 4; c++)
        rows[c] = join(join(base, k + (c >> 1)), j + (c & 1));
    if (dx > 0 && dx <= MOST_STEP)
        line_row(out, count, x0, dx, (float)ty, (float)tz, rows);
    else
        noise_row(out, count, x0, dx, (float)ty, (float)tz, rows);
}
