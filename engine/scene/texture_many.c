/* engine/scene/texture_many.c: lb_texture_sample and lb_texture_slope at many places at once.
 *
 * The look-ups of one place are a chain of wraps, floors and square roots; side by side they are
 * vectors. So: footprints of all places, then a list of all looks that they take, then the texels
 * and weights of all looks, and last the sums. Every step is texture.c's, in the same order of
 * operations, and the tests hold both to the same bits. */
#include <math.h>

#include "engine/base/clones.h"
#include "engine/base/math.h"
#include "engine/scene/texture.h"

#define MAX_TAPS 8 /* as texture.c */
#define PLACES 64  /* at a time */
#define LOOKS 256  /* at a time; more than one place can take */

typedef struct {
    float u[PLACES], v[PLACES]; /* in the picture */
    float lod[PLACES], du[PLACES], dv[PLACES];
    float taps[PLACES]; /* whole numbers */
} footprints;

/* One bilinear look each. */
typedef struct {
    int32_t count;
    float u[LOOKS], v[LOOKS], weight[LOOKS];
    int32_t width[LOOKS], height[LOOKS];
    const float *texels[LOOKS];
    int32_t place[LOOKS];
    int32_t i0[LOOKS], i1[LOOKS], j0[LOOKS], j1[LOOKS];
    float w00[LOOKS], w10[LOOKS], w01[LOOKS], w11[LOOKS];
} looks;

/* Axes of the footprints, Heckbert 1989, 3.5, in texels of the finest level; see texture.c. */
typedef struct {
    float major2[PLACES], minor2[PLACES], axis_u[PLACES], axis_v[PLACES];
} axes;

LB_CLONES
static void find_axes(const float m[6], float w, float h, const lb_texture_places *p, int32_t first,
                      int32_t count, axes *restrict out, footprints *restrict feet)
{
    for (int32_t i = 0; i < count; i++) {
        float u = p->u[first + i], v = p->v[first + i];
        float ux = p->dudx[first + i], vx = p->dvdx[first + i];
        float uy = p->dudy[first + i], vy = p->dvdy[first + i];
        float xu = (m[0] * ux + m[1] * vx) * w, xv = (m[3] * ux + m[4] * vx) * h;
        float yu = (m[0] * uy + m[1] * vy) * w, yv = (m[3] * uy + m[4] * vy) * h;
        float a = xu * xu + yu * yu, b = xu * xv + yu * yv, c = xv * xv + yv * yv;
        float mean = 0.5f * (a + c), half = 0.5f * (a - c), spread = sqrtf(half * half + b * b);
        float up = half + spread, down = spread - half;

        out->major2[i] = mean + spread;
        out->minor2[i] = mean - spread;
        out->axis_u[i] = half >= 0 ? up : b;
        out->axis_v[i] = half >= 0 ? b : down;
        feet->u[i] = m[0] * u + m[1] * v + m[2];
        feet->v[i] = m[3] * u + m[4] * v + m[5];
    }
}

/* limit: major2 from which on the picture is minified; most: taps; last: the coarsest level. */
LB_CLONES
static void find_taps(const axes *restrict x, float limit, float most, float last, int32_t count,
                      float *restrict taps, float *restrict lod)
{
    for (int32_t i = 0; i < count; i++) {
        float major2 = x->major2[i], minor2 = x->minor2[i] > 1 ? x->minor2[i] : 1;
        float ratio = sqrtf(major2 / minor2) - 0.25f, n;

        ratio = ratio > 1 ? ratio : 1;
        ratio = ratio < most ? ratio : most;
        ratio = major2 < 1e30f ? ratio : 1;
        n = -floorf(-ratio);
        lod[i] = major2 / (n * n);
        taps[i] = n;
    }
    for (int32_t i = 0; i < count; i++) /* apart, or the compiler finds branches to take */
        lod[i] = 0.5f * lb_log2f(lod[i]);
    for (int32_t i = 0; i < count; i++) {
        float level = lod[i] > 0 ? lod[i] : 0;

        level = level < last ? level : last;
        lod[i] = x->major2[i] > limit ? level : 0;
    }
}

LB_CLONES
static void find_steps(const axes *restrict x, const float *restrict taps, float w, float h,
                       int32_t count, float *restrict du, float *restrict dv)
{
    for (int32_t i = 0; i < count; i++) {
        float u = x->axis_u[i], v = x->axis_v[i], length = sqrtf(u * u + v * v);
        float scale = sqrtf(x->major2[i]) / length;

        u = u * scale / w;
        v = v * scale / h;
        length = taps[i] > 1 ? length : 0;
        du[i] = length > 0 ? u : 0;
        dv[i] = length > 0 ? v : 0;
    }
}

static void find_footprints(const lb_texture *t, const lb_texture_places *p, int32_t first,
                            int32_t count, footprints *out)
{
    const lb_texture_map *map = lb_texture_mapping(t);
    lb_texture_level finest = lb_texture_level_at(t, 0);
    bool is_mipmap = map->filter == LB_TEXTURE_MIPMAP;
    float m[6], w = (float)finest.width, h = (float)finest.height;
    axes x;

    for (int i = 0; i < 6; i++)
        m[i] = (float)map->matrix[i];
    find_axes(m, w, h, p, first, count, &x, out);
    find_taps(&x, is_mipmap ? 1 : INFINITY, is_mipmap ? MAX_TAPS : 1,
              (float)(lb_texture_levels(t) - 1), count, out->taps, out->lod);
    find_steps(&x, out->taps, w, h, count, out->du, out->dv);
}

static void push_look(looks *l, const lb_texture_level *level, int32_t place, float u, float v,
                      float weight)
{
    int32_t i = l->count++;

    l->u[i] = u;
    l->v[i] = v;
    l->weight[i] = weight;
    l->width[i] = level->width;
    l->height[i] = level->height;
    l->texels[i] = level->texels;
    l->place[i] = place;
}

static inline __attribute__((always_inline)) float wrap_coordinate(lb_wrap wrap, float u)
{
    if (wrap == LB_WRAP_REPEAT)
        u -= floorf(u);
    else if (wrap == LB_WRAP_MIRROR)
        u -= 2 * floorf(u * 0.5f);
    else
        u = u < 1 ? u : 1;
    return u > 0 ? u : 0;
}

static inline __attribute__((always_inline)) int32_t wrap_index(lb_wrap wrap, int32_t i, int32_t n)
{
    if (wrap == LB_WRAP_REPEAT) {
        int32_t over = i - n < n ? i - n : 0;

        return i < 0 ? i + n : i >= n ? over : i;
    }
    if (wrap == LB_WRAP_MIRROR) {
        i = i < 0 ? -1 - i : i;
        i = i >= 2 * n ? i - 2 * n : i;
        i = i >= n ? 2 * n - 1 - i : i;
    }
    i = i < 0 ? 0 : i;
    return i >= n ? n - 1 : i;
}

/* Texel and weight along one axis, for a wrap that is known. */
static inline __attribute__((always_inline)) void place_axis(lb_wrap wrap, const float *restrict u,
                                                             const int32_t *restrict size,
                                                             int32_t count, int32_t *restrict i0,
                                                             int32_t *restrict i1,
                                                             float *restrict f)
{
    for (int32_t i = 0; i < count; i++) {
        float x = wrap_coordinate(wrap, u[i]) * (float)size[i], low = floorf(x - 0.5f);

        f[i] = x - 0.5f - low;
        i0[i] = wrap_index(wrap, (int32_t)low, size[i]);
        i1[i] = wrap_index(wrap, (int32_t)low + 1, size[i]);
    }
}

LB_CLONES
static void place_looks(lb_wrap wrap, const float *u, const int32_t *size, int32_t count,
                        int32_t *i0, int32_t *i1, float *f)
{
    if (wrap == LB_WRAP_REPEAT)
        place_axis(LB_WRAP_REPEAT, u, size, count, i0, i1, f);
    else if (wrap == LB_WRAP_MIRROR)
        place_axis(LB_WRAP_MIRROR, u, size, count, i0, i1, f);
    else
        place_axis(LB_WRAP_CLAMP, u, size, count, i0, i1, f);
}

LB_CLONES
static void weigh_looks(looks *l, const float *restrict fx, const float *restrict fy)
{
    for (int32_t i = 0; i < l->count; i++) {
        float weight = l->weight[i], x = fx[i], y = fy[i];

        l->w00[i] = weight * (1 - x) * (1 - y);
        l->w10[i] = weight * x * (1 - y);
        l->w01[i] = weight * (1 - x) * y;
        l->w11[i] = weight * x * y;
    }
}

static inline __attribute__((always_inline)) void add_looks(const looks *l, float (*out)[4],
                                                            int32_t n)
{
    for (int32_t i = 0; i < l->count; i++) {
        size_t pitch = (size_t)l->width[i] * (size_t)n;
        const float *row0 = l->texels[i] + (size_t)l->j0[i] * pitch;
        const float *row1 = l->texels[i] + (size_t)l->j1[i] * pitch;
        const float *a = row0 + l->i0[i] * n, *b = row0 + l->i1[i] * n;
        const float *c = row1 + l->i0[i] * n, *d = row1 + l->i1[i] * n;
        float w00 = l->w00[i], w10 = l->w10[i], w01 = l->w01[i], w11 = l->w11[i];
        float *sum = out[l->place[i]];

        for (int32_t k = 0; k < n; k++)
            sum[k] += w00 * a[k] + w10 * b[k] + w01 * c[k] + w11 * d[k];
    }
}

/* Does the looks in the list and empties it. */
static void finish_looks(const lb_texture *t, looks *l, float (*out)[4])
{
    const lb_texture_map *map = lb_texture_mapping(t);
    float fx[LOOKS], fy[LOOKS];

    place_looks(map->wrap_u, l->u, l->width, l->count, l->i0, l->i1, fx);
    place_looks(map->wrap_v, l->v, l->height, l->count, l->j0, l->j1, fy);
    weigh_looks(l, fx, fy);
    if (lb_texture_channels(t) == 1)
        add_looks(l, out, 1);
    else if (lb_texture_channels(t) == 3)
        add_looks(l, out, 3);
    else
        add_looks(l, out, 4);
    l->count = 0;
}

/* The texel before each look and the way from it to the next one, along one axis. */
static inline __attribute__((always_inline)) void find_axis(lb_wrap wrap, const float *restrict u,
                                                            const int32_t *restrict size,
                                                            int32_t count, int32_t *restrict before,
                                                            float *restrict f)
{
    for (int32_t i = 0; i < count; i++) {
        float x = wrap_coordinate(wrap, u[i]) * (float)size[i], low = floorf(x - 0.5f);

        f[i] = x - 0.5f - low;
        before[i] = (int32_t)low;
    }
}

LB_CLONES
static void find_texels(lb_wrap wrap, const float *u, const int32_t *size, int32_t count,
                        int32_t *before, float *f)
{
    if (wrap == LB_WRAP_REPEAT)
        find_axis(LB_WRAP_REPEAT, u, size, count, before, f);
    else if (wrap == LB_WRAP_MIRROR)
        find_axis(LB_WRAP_MIRROR, u, size, count, before, f);
    else
        find_axis(LB_WRAP_CLAMP, u, size, count, before, f);
}

/* Texels first .. first + 3 of a row of n, wrapped. */
static void wrap_four(lb_wrap wrap, int32_t first, int32_t n, int32_t out[4])
{
    int32_t period = wrap == LB_WRAP_MIRROR ? 2 * n : n;

    for (int32_t i = 0; i < 4; i++) {
        int32_t k = first + i;

        if (wrap != LB_WRAP_CLAMP && (k < 0 || k >= period))
            k = ((k % period) + period) % period;
        out[i] = first >= 0 && first + 3 < n ? first + i : wrap_index(wrap, k, n);
    }
}

/* Does the looks in the list for slopes along u and v, texture.c's add_slopes, and empties it. */
static void finish_slopes(const lb_texture *t, looks *l, float (*out)[4])
{
    const lb_texture_map *map = lb_texture_mapping(t);
    size_t n = (size_t)lb_texture_channels(t);
    float fx[LOOKS], fy[LOOKS];

    find_texels(map->wrap_u, l->u, l->width, l->count, l->i0, fx);
    find_texels(map->wrap_v, l->v, l->height, l->count, l->j0, fy);
    for (int32_t i = 0; i < l->count; i++) {
        int32_t columns[4], rows[4];
        float across[4], along[4], w = (float)l->width[i], h = (float)l->height[i];
        float *sum = out[l->place[i]];

        wrap_four(map->wrap_u, l->i0[i] - 1, l->width[i], columns);
        wrap_four(map->wrap_v, l->j0[i] - 1, l->height[i], rows);
        for (int32_t j = 0; j < 4; j++) {
            const float *row = l->texels[i] + (size_t)rows[j] * (size_t)l->width[i] * n;
            float a = row[(size_t)columns[0] * n], b = row[(size_t)columns[1] * n];
            float c = row[(size_t)columns[2] * n], d = row[(size_t)columns[3] * n];

            across[j] = (c - a) + fx[i] * ((d - b) - (c - a));
            along[j] = b + fx[i] * (c - b);
        }
        sum[0] += l->weight[i] * 0.5f * w * (across[1] + fy[i] * (across[2] - across[1]));
        sum[1] += l->weight[i] * 0.5f * h *
                  ((along[2] - along[0]) + fy[i] * ((along[3] - along[1]) - (along[2] - along[0])));
    }
    l->count = 0;
}

/* Sums of the looks of some places: of colours, or of slopes. */
static void sum_some(const lb_texture *t, const lb_texture_places *places, int32_t first,
                     int32_t count, bool slopes, float (*out)[4])
{
    lb_texture_level levels[32];
    int32_t level_count = lb_texture_levels(t);
    footprints feet;
    looks l;

    l.count = 0;
    for (int32_t k = 0; k < level_count; k++)
        levels[k] = lb_texture_level_at(t, k);
    find_footprints(t, places, first, count, &feet);
    for (int32_t i = 0; i < count; i++) {
        int32_t k = (int32_t)feet.lod[i], taps = (int32_t)feet.taps[i];
        float f = feet.lod[i] - (float)k, each = 1 / (float)taps;

        for (int c = 0; c < 4; c++)
            out[i][c] = 0;
        for (int32_t tap = 0; tap < taps; tap++) {
            float at = ((float)tap + 0.5f) * each - 0.5f;
            float u = feet.u[i] + at * feet.du[i], v = feet.v[i] + at * feet.dv[i];

            push_look(&l, &levels[k], i, u, v, (1 - f) * each);
            if (f > 0)
                push_look(&l, &levels[k + 1], i, u, v, f * each);
        }
        if (l.count <= LOOKS - 2 * MAX_TAPS && i < count - 1)
            continue;
        if (slopes)
            finish_slopes(t, &l, out);
        else
            finish_looks(t, &l, out);
    }
}

void lb_texture_sample_many(const lb_texture *texture, const lb_texture_places *places,
                            int32_t count, float (*out)[4])
{
    int32_t channels = lb_texture_channels(texture);

    if (lb_texture_mapping(texture)->filter == LB_TEXTURE_NEAREST) {
        for (int32_t i = 0; i < count; i++)
            lb_texture_sample(texture, places->u[i], places->v[i],
                              (float[2]){places->dudx[i], places->dvdx[i]},
                              (float[2]){places->dudy[i], places->dvdy[i]}, out[i]);
        return;
    }
    for (int32_t first = 0; first < count; first += PLACES) {
        int32_t some = count - first < PLACES ? count - first : PLACES;

        sum_some(texture, places, first, some, false, out + first);
    }
    for (int32_t i = 0; i < count; i++) {
        if (channels == 1)
            out[i][1] = out[i][2] = out[i][0];
        if (channels < 4)
            out[i][3] = 1;
    }
}

void lb_texture_slope_many(const lb_texture *texture, const lb_texture_places *places,
                           int32_t count, float *du, float *dv)
{
    const lb_texture_map *map = lb_texture_mapping(texture);
    float m[6], scale = (float)map->scale, sums[PLACES][4];

    for (int i = 0; i < 6; i++)
        m[i] = (float)map->matrix[i];
    if (map->filter == LB_TEXTURE_NEAREST) {
        for (int32_t i = 0; i < count; i++)
            lb_texture_slope(texture, places->u[i], places->v[i],
                             (float[2]){places->dudx[i], places->dvdx[i]},
                             (float[2]){places->dudy[i], places->dvdy[i]}, &du[i], &dv[i]);
        return;
    }
    for (int32_t first = 0; first < count; first += PLACES) {
        int32_t some = count - first < PLACES ? count - first : PLACES;

        sum_some(texture, places, first, some, true, sums);
        for (int32_t i = 0; i < some; i++) {
            du[first + i] = scale * (m[0] * sums[i][0] + m[3] * sums[i][1]);
            dv[first + i] = scale * (m[1] * sums[i][0] + m[4] * sums[i][1]);
        }
    }
}
