/* engine/scene/texture.c: filtered look-ups in a pyramid under a map. */
#include "engine/scene/texture.h"

#include <math.h>
#include <string.h>

#include "engine/base/math.h"
#include "engine/base/memory.h"
#include "engine/scene/pyramid.h"

#define MAX_TAPS 8 /* along the longer axis of a pixel's footprint */

const char *const lb_wrap_names[] = {"repeat", "mirror", "clamp", NULL};
const char *const lb_texture_filter_names[] = {"nearest", "bilinear", "mipmap", NULL};

struct lb_texture {
    lb_refs refs;
    lb_texture_map map;
    float m[6]; /* map.matrix */
    lb_pyramid *pyramid;
};

lb_texture_map lb_texture_map_default(void)
{
    return (lb_texture_map){
        .wrap_u = LB_WRAP_REPEAT,
        .wrap_v = LB_WRAP_REPEAT,
        .filter = LB_TEXTURE_MIPMAP,
        .matrix = {1, 0, 0, 0, 1, 0},
        .role = LB_TEXTURE_VALUE,
        .scale = 1,
    };
}

/* KHR_texture_transform: translation * rotation * scale. Its text turns UVs counter-clockwise, the
 * picture clockwise, v running down; which sine is the negative one follows from its first example
 * (offset 0, 1, a quarter turn, scale 0.5: the lower left quarter of the picture). */
void lb_texture_map_set_transform(lb_texture_map *map, double offset_u, double offset_v,
                                  double rotation_rad, double scale_u, double scale_v)
{
    double c = lb_cos(rotation_rad), s = lb_sin(rotation_rad);
    double m[6] = {c * scale_u, s * scale_v, offset_u, -s * scale_u, c * scale_v, offset_v};

    memcpy(map->matrix, m, sizeof m);
}

static lb_texture *texture_around(lb_pyramid *pyramid, const lb_texture_map *map)
{
    lb_texture *texture = lb_alloc(1, sizeof *texture);

    if (!texture)
        return NULL;
    lb_refs_init(&texture->refs);
    texture->map = *map;
    for (int32_t i = 0; i < 6; i++)
        texture->m[i] = (float)map->matrix[i];
    texture->pyramid = pyramid;
    return texture;
}

lb_status lb_texture_new(lb_pool *pool, const lb_image *image, const lb_texture_map *map,
                         lb_texture **out)
{
    lb_pyramid *pyramid;
    lb_status status;

    *out = NULL;
    if ((status = lb_pyramid_new(pool, image, &pyramid)))
        return status;
    if (!(*out = texture_around(pyramid, map))) {
        lb_pyramid_unref(&pyramid);
        return LB_MEMORY;
    }
    return LB_OK;
}

lb_status lb_texture_with_map(const lb_texture *texture, const lb_texture_map *map,
                              lb_texture **out)
{
    if (!(*out = texture_around(texture->pyramid, map)))
        return LB_MEMORY;
    lb_refs_take(&texture->pyramid->refs);
    return LB_OK;
}

lb_texture *lb_texture_ref(const lb_texture *texture)
{
    lb_texture *shared = (lb_texture *)texture;

    if (shared)
        lb_refs_take(&shared->refs);
    return shared;
}

void lb_texture_unref(lb_texture **texture)
{
    lb_texture *old = *texture;

    *texture = NULL;
    if (!old || !lb_refs_drop(&old->refs))
        return;
    lb_pyramid_unref(&old->pyramid);
    lb_free(old);
}

const lb_texture_map *lb_texture_mapping(const lb_texture *texture)
{
    return &texture->map;
}

int32_t lb_texture_channels(const lb_texture *texture)
{
    return texture->pyramid->channels;
}

int32_t lb_texture_levels(const lb_texture *texture)
{
    return texture->pyramid->levels;
}

lb_texture_level lb_texture_level_at(const lb_texture *texture, int32_t level)
{
    return texture->pyramid->level[level];
}

size_t lb_texture_bytes(const lb_texture *texture)
{
    return sizeof *texture + sizeof *texture->pyramid + texture->pyramid->bytes;
}

/* glTF 2.0, 3.8.4, brought into a range that fits an integer: repeat and clamp 0 .. 1, mirror
 * 0 .. 2 (one period). What is not a number becomes 0. */
static inline float wrap_coordinate(lb_wrap wrap, float u)
{
    if (wrap == LB_WRAP_REPEAT)
        u -= floorf(u);
    else if (wrap == LB_WRAP_MIRROR)
        u -= 2 * floorf(u * 0.5f);
    else
        u = u < 1 ? u : 1;
    return u > 0 ? u : 0;
}

/* Texel -1 .. 2n for one of 0 .. n - 1. */
static inline int32_t wrap_index(lb_wrap wrap, int32_t i, int32_t n)
{
    if (wrap == LB_WRAP_REPEAT)
        return i < 0 ? i + n : i >= n ? (i - n < n ? i - n : 0) : i;
    if (wrap == LB_WRAP_MIRROR) {
        i = i < 0 ? -1 - i : i >= 2 * n ? i - 2 * n : i;
        i = i >= n ? 2 * n - 1 - i : i;
    }
    return i < 0 ? 0 : i >= n ? n - 1 : i;
}

/* The same for -2 .. 2n + 1: textures of one or two texels too. */
static inline int32_t wrap_far(lb_wrap wrap, int32_t i, int32_t n)
{
    int32_t period = wrap == LB_WRAP_MIRROR ? 2 * n : n;

    if (wrap != LB_WRAP_CLAMP && (i < 0 || i >= period))
        i = ((i % period) + period) % period;
    return wrap_index(wrap, i, n);
}

float lb_wrap_at(lb_wrap wrap, float u)
{
    u = wrap_coordinate(wrap, u);
    return wrap == LB_WRAP_MIRROR && u > 1 ? 2 - u : u;
}

/* Adds weight * value of one level at picture coordinates (u, v) to sum[n]; n is the picture's
 * channel count, a constant where this is inlined. */
static inline __attribute__((always_inline)) void add_level(const lb_texture *t, int32_t k, float u,
                                                            float v, float weight, float *sum,
                                                            int32_t n)
{
    const lb_texture_level *level = &t->pyramid->level[k];
    int32_t w = level->width, h = level->height;
    float x = wrap_coordinate(t->map.wrap_u, u) * (float)w;
    float y = wrap_coordinate(t->map.wrap_v, v) * (float)h;

    if (t->map.filter == LB_TEXTURE_NEAREST) {
        int32_t i = wrap_index(t->map.wrap_u, (int32_t)x, w);
        int32_t j = wrap_index(t->map.wrap_v, (int32_t)y, h);
        const float *at = level->texels + ((size_t)j * (size_t)w + (size_t)i) * (size_t)n;

        for (int32_t c = 0; c < n; c++)
            sum[c] += weight * at[c];
        return;
    }
    float xf = floorf(x - 0.5f), yf = floorf(y - 0.5f);
    float fx = x - 0.5f - xf, fy = y - 0.5f - yf;
    int32_t i0 = wrap_index(t->map.wrap_u, (int32_t)xf, w);
    int32_t i1 = wrap_index(t->map.wrap_u, (int32_t)xf + 1, w);
    const float *row0 =
        level->texels + (size_t)wrap_index(t->map.wrap_v, (int32_t)yf, h) * (size_t)w * (size_t)n;
    const float *row1 = level->texels + (size_t)wrap_index(t->map.wrap_v, (int32_t)yf + 1, h) *
                                            (size_t)w * (size_t)n;
    float w00 = weight * (1 - fx) * (1 - fy), w10 = weight * fx * (1 - fy);
    float w01 = weight * (1 - fx) * fy, w11 = weight * fx * fy;

    for (int32_t c = 0; c < n; c++)
        sum[c] += w00 * row0[i0 * n + c] + w10 * row0[i1 * n + c] + w01 * row1[i0 * n + c] +
                  w11 * row1[i1 * n + c];
}

/* What one pixel covers of the picture: `taps` looks along (du, dv), each at level lod. */
typedef struct {
    float lod;
    int32_t taps;
    float du, dv; /* in picture coordinates, the whole length */
} footprint;

/* The ellipse that the pixel's circle becomes has the singular values of J = (ddx ddy) as axes
 * (Heckbert, "Fundamentals of Texture Mapping and Image Warping", 1989, 3.5). Taps along the longer
 * one cover it with circles of the shorter one's size, as far as MAX_TAPS go. */
static footprint footprint_of(const lb_texture *t, const float ddx[2], const float ddy[2])
{
    footprint foot = {0, 1, 0, 0};
    float w = (float)t->pyramid->level[0].width, h = (float)t->pyramid->level[0].height;
    float xu = (t->m[0] * ddx[0] + t->m[1] * ddx[1]) * w;
    float xv = (t->m[3] * ddx[0] + t->m[4] * ddx[1]) * h;
    float yu = (t->m[0] * ddy[0] + t->m[1] * ddy[1]) * w;
    float yv = (t->m[3] * ddy[0] + t->m[4] * ddy[1]) * h;
    float a = xu * xu + yu * yu, b = xu * xv + yu * yv, c = xv * xv + yv * yv;
    float mean = 0.5f * (a + c), half = 0.5f * (a - c);
    float spread = sqrtf(half * half + b * b);
    float major2 = mean + spread, minor2 = mean - spread;
    float axis_u, axis_v, length, ratio;

    if (t->map.filter != LB_TEXTURE_MIPMAP || !(major2 > 1))
        return foot;
    if (!(major2 < 1e30f)) {
        foot.lod = (float)(t->pyramid->levels - 1);
        return foot;
    }
    /* A footprint thinner than a texel is not filtered any finer than a texel. */
    ratio = sqrtf(major2 / (minor2 > 1 ? minor2 : 1)) - 0.25f;
    foot.taps = ratio >= MAX_TAPS ? MAX_TAPS : ratio > 1 ? (int32_t)ceilf(ratio) : 1;
    foot.lod = 0.5f * lb_log2f(major2 / (float)(foot.taps * foot.taps));
    if (!(foot.lod > 0))
        foot.lod = 0;
    if (foot.lod > (float)(t->pyramid->levels - 1))
        foot.lod = (float)(t->pyramid->levels - 1);
    if (foot.taps > 1) {
        axis_u = half >= 0 ? half + spread : b;
        axis_v = half >= 0 ? b : spread - half;
        length = sqrtf(axis_u * axis_u + axis_v * axis_v);
        if (length > 0) {
            float scale = sqrtf(major2) / length;

            foot.du = axis_u * scale / w;
            foot.dv = axis_v * scale / h;
        }
    }
    return foot;
}

static inline __attribute__((always_inline)) void look_at(const lb_texture *t,
                                                          const footprint *foot, float u, float v,
                                                          float *sum, int32_t n)
{
    int32_t k = (int32_t)foot->lod;
    float f = foot->lod - (float)k, each = 1 / (float)foot->taps;

    for (int32_t c = 0; c < n; c++)
        sum[c] = 0;
    for (int32_t i = 0; i < foot->taps; i++) {
        float at = ((float)i + 0.5f) * each - 0.5f;

        add_level(t, k, u + at * foot->du, v + at * foot->dv, (1 - f) * each, sum, n);
        if (f > 0)
            add_level(t, k + 1, u + at * foot->du, v + at * foot->dv, f * each, sum, n);
    }
}

/* The filtered picture at picture coordinates. */
static void look(const lb_texture *t, const footprint *foot, float u, float v, float *sum)
{
    if (t->pyramid->channels == 1)
        look_at(t, foot, u, v, sum, 1);
    else if (t->pyramid->channels == 3)
        look_at(t, foot, u, v, sum, 3);
    else
        look_at(t, foot, u, v, sum, 4);
}

void lb_texture_sample(const lb_texture *texture, float u, float v, const float ddx[2],
                       const float ddy[2], float out[4])
{
    const float *m = texture->m;
    footprint foot = footprint_of(texture, ddx, ddy);

    look(texture, &foot, m[0] * u + m[1] * v + m[2], m[3] * u + m[4] * v + m[5], out);
    if (texture->pyramid->channels == 1)
        out[1] = out[2] = out[0];
    if (texture->pyramid->channels < 4)
        out[3] = 1;
}

/* Adds weight * (d/du, d/dv) of one level's first channel: central differences of the bilinear
 * picture, one texel to either side. The sixteen texels around are read once. */
static void add_slopes(const lb_texture *t, int32_t k, float u, float v, float weight, float *su,
                       float *sv)
{
    const lb_texture_level *level = &t->pyramid->level[k];
    int32_t n = t->pyramid->channels, w = level->width, h = level->height, columns[4];
    float x = wrap_coordinate(t->map.wrap_u, u) * (float)w - 0.5f;
    float y = wrap_coordinate(t->map.wrap_v, v) * (float)h - 0.5f;
    float xf = floorf(x), yf = floorf(y), fx = x - xf, fy = y - yf, across[4], along[4];

    if (t->map.filter == LB_TEXTURE_NEAREST)
        fx = fx < 0.5f ? 0 : 1, fy = fy < 0.5f ? 0 : 1;
    for (int32_t i = 0; i < 4; i++)
        columns[i] = n * wrap_far(t->map.wrap_u, (int32_t)xf - 1 + i, w);
    for (int32_t j = 0; j < 4; j++) {
        const float *row = level->texels + (size_t)wrap_far(t->map.wrap_v, (int32_t)yf - 1 + j, h) *
                                               (size_t)w * (size_t)n;
        float a = row[columns[0]], b = row[columns[1]], c = row[columns[2]], d = row[columns[3]];

        across[j] = (c - a) + fx * ((d - b) - (c - a)); /* value(x + 1) - value(x - 1) */
        along[j] = b + fx * (c - b);
    }
    *su += weight * 0.5f * (float)w * (across[1] + fy * (across[2] - across[1]));
    *sv += weight * 0.5f * (float)h *
           ((along[2] - along[0]) + fy * ((along[3] - along[1]) - (along[2] - along[0])));
}

void lb_texture_slope(const lb_texture *texture, float u, float v, const float ddx[2],
                      const float ddy[2], float *du, float *dv)
{
    const float *m = texture->m;
    footprint foot = footprint_of(texture, ddx, ddy);
    int32_t k = (int32_t)foot.lod;
    float f = foot.lod - (float)k, each = 1 / (float)foot.taps, scale = (float)texture->map.scale;
    float pu = m[0] * u + m[1] * v + m[2], pv = m[3] * u + m[4] * v + m[5], su = 0, sv = 0;

    for (int32_t i = 0; i < foot.taps; i++) {
        float at = ((float)i + 0.5f) * each - 0.5f;
        float tu = pu + at * foot.du, tv = pv + at * foot.dv;

        add_slopes(texture, k, tu, tv, (1 - f) * each, &su, &sv);
        if (f > 0)
            add_slopes(texture, k + 1, tu, tv, f * each, &su, &sv);
    }
    *du = scale * (m[0] * su + m[3] * sv);
    *dv = scale * (m[1] * su + m[4] * sv);
}
