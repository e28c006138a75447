/* engine/raster/texels.c: what material and maps say about the points of a batch. */
#include <math.h>

#include "engine/base/clones.h"
#include "engine/raster/shade.h"

typedef struct {
    float rgba[LB_BATCH][4];
} texels;

static lb_texture_places places_of(const lb_batch *b, const lb_texture *map)
{
    int set = lb_texture_mapping(map)->uv_set == 1;

    return (lb_texture_places){b->uv[set][0],  b->uv[set][1],  b->ddx[set][0],
                               b->ddx[set][1], b->ddy[set][0], b->ddy[set][1]};
}

static void sample_map(const lb_batch *b, const lb_texture *map, texels *out)
{
    lb_texture_places places = places_of(b, map);

    lb_texture_sample_many(map, &places, b->count, out->rgba);
}

static void scale_vectors(float out[3][LB_BATCH], lb_vec3 factor, int32_t count)
{
    for (int32_t i = 0; i < count; i++) {
        out[0][i] *= factor.x;
        out[1][i] *= factor.y;
        out[2][i] *= factor.z;
    }
}

static void fill_vectors(float out[3][LB_BATCH], lb_vec3 value, int32_t count)
{
    for (int32_t i = 0; i < count; i++) {
        out[0][i] = value.x;
        out[1][i] = value.y;
        out[2][i] = value.z;
    }
}

/* Base colour comes in with the vertices' colours. Pictures are premultiplied, colours here
 * straight: where a picture is fully clear its colour is black. */
static void apply_base_map(lb_batch *b, const lb_texture *map)
{
    bool has_alpha = lb_texture_channels(map) == 4;
    texels t;

    sample_map(b, map, &t);
    for (int32_t i = 0; i < b->count; i++) {
        float alpha = t.rgba[i][3], straight = has_alpha && alpha > 0 ? 1 / alpha : 1;

        for (int c = 0; c < 3; c++)
            b->base[c][i] *= t.rgba[i][c] * straight;
        if (has_alpha)
            b->alpha[i] *= alpha;
    }
}

void lb_batch_fill_alpha(lb_batch *b)
{
    const lb_material *m = b->material;
    bool is_blinn = m->shading == LB_SHADING_BLINN;
    const lb_texture *base = m->maps[is_blinn ? LB_SLOT_DIFFUSE : LB_SLOT_BASE_COLOR];
    const lb_texture *opacity = m->maps[LB_SLOT_OPACITY];
    texels t;

    scale_vectors(b->base, is_blinn ? m->diffuse : m->base_color, b->count);
    for (int32_t i = 0; i < b->count; i++)
        b->alpha[i] *= m->opacity;
    if (base)
        apply_base_map(b, base);
    if (opacity && m->alpha_mode != LB_ALPHA_OPAQUE) {
        int channel = lb_texture_channels(opacity) == 4 ? 3 : 0;

        sample_map(b, opacity, &t);
        for (int32_t i = 0; i < b->count; i++)
            b->alpha[i] *= t.rgba[i][channel];
    }
}

static void fill_blinn(lb_batch *b)
{
    const lb_material *m = b->material;
    texels t;

    fill_vectors(b->specular, m->specular, b->count);
    for (int32_t i = 0; i < b->count; i++)
        b->exponent[i] = m->exponent;
    if (m->maps[LB_SLOT_SPECULAR]) {
        sample_map(b, m->maps[LB_SLOT_SPECULAR], &t);
        for (int32_t i = 0; i < b->count; i++)
            for (int c = 0; c < 3; c++)
                b->specular[c][i] *= t.rgba[i][c];
    }
    if (m->maps[LB_SLOT_EXPONENT]) {
        sample_map(b, m->maps[LB_SLOT_EXPONENT], &t);
        for (int32_t i = 0; i < b->count; i++)
            b->exponent[i] *= t.rgba[i][0];
    }
}

static void fill_metal_rough(lb_batch *b)
{
    const lb_material *m = b->material;
    texels t;

    for (int32_t i = 0; i < b->count; i++) {
        b->metallic[i] = m->metallic;
        b->roughness[i] = m->roughness;
    }
    if (m->maps[LB_SLOT_METAL_ROUGH]) {
        sample_map(b, m->maps[LB_SLOT_METAL_ROUGH], &t);
        for (int32_t i = 0; i < b->count; i++) {
            b->roughness[i] *= t.rgba[i][1];
            b->metallic[i] *= t.rgba[i][2];
        }
    }
}

void lb_batch_fill_surface(lb_batch *b)
{
    const lb_material *m = b->material;
    texels t;

    if (m->shading == LB_SHADING_METAL_ROUGH)
        fill_metal_rough(b);
    else
        fill_blinn(b);
    fill_vectors(b->emission, m->emission, b->count);
    if (m->maps[LB_SLOT_EMISSION]) {
        sample_map(b, m->maps[LB_SLOT_EMISSION], &t);
        for (int32_t i = 0; i < b->count; i++)
            for (int c = 0; c < 3; c++)
                b->emission[c][i] *= t.rgba[i][c];
    }
    for (int32_t i = 0; i < b->count; i++)
        b->occlusion[i] = 1;
    if (m->maps[LB_SLOT_OCCLUSION]) { /* glTF 2.0, 3.9.3: 1 + strength * (sample - 1) */
        sample_map(b, m->maps[LB_SLOT_OCCLUSION], &t);
        for (int32_t i = 0; i < b->count; i++)
            b->occlusion[i] = 1 + m->occlusion_strength * (t.rgba[i][0] - 1);
    }
}

static lb_vec3 vector_at(float v[3][LB_BATCH], int32_t i)
{
    return (lb_vec3){v[0][i], v[1][i], v[2][i]};
}

LB_CLONES
static void normalize_vectors(float v[3][LB_BATCH], int32_t padded)
{
    for (int32_t i = 0; i < padded; i++) {
        float x = v[0][i], y = v[1][i], z = v[2][i], length2 = x * x + y * y + z * z;
        float scale = length2 > 0 ? 1 / sqrtf(length2) : 0;

        v[0][i] = x * scale;
        v[1][i] = y * scale;
        v[2][i] = z * scale;
    }
}

/* Blinn, "Simulation of Wrinkled Surfaces", SIGGRAPH 1978, about a unit normal n that need not be
 * the triangle's: n' = n + s (Fu (n x Pv) - Fv (n x Pu)) / |Pu x Pv|, s the sign of (Pu x Pv) . n,
 * so that heights go outwards whichever way round the texture coordinates are. */
LB_CLONES
static void bend_by_slopes(lb_batch *b, const float *restrict fu, const float *restrict fv)
{
    for (int32_t i = 0; i < b->padded; i++) {
        float nx = b->normal[0][i], ny = b->normal[1][i], nz = b->normal[2][i];
        float ux = b->slope_u[0][i], uy = b->slope_u[1][i], uz = b->slope_u[2][i];
        float vx = b->slope_v[0][i], vy = b->slope_v[1][i], vz = b->slope_v[2][i];
        float ax = uy * vz - uz * vy, ay = uz * vx - ux * vz, az = ux * vy - uy * vx;
        float area = sqrtf(ax * ax + ay * ay + az * az), side = ax * nx + ay * ny + az * nz;
        float scale = area > 0 ? 1 / area : 0, u, v;

        scale = side < 0 ? -scale : scale;
        u = fu[i] * scale;
        v = fv[i] * scale;
        b->normal[0][i] = nx + (u * (ny * vz - nz * vy) - v * (ny * uz - nz * uy));
        b->normal[1][i] = ny + (u * (nz * vx - nx * vz) - v * (nz * ux - nx * uz));
        b->normal[2][i] = nz + (u * (nx * vy - ny * vx) - v * (nx * uy - ny * ux));
    }
}

static void bend_by_height(lb_batch *b, const lb_texture *map)
{
    lb_texture_places places = places_of(b, map);
    float fu[LB_BATCH] = {0}, fv[LB_BATCH] = {0};

    lb_texture_slope_many(map, &places, b->count, fu, fv);
    bend_by_slopes(b, fu, fv);
    normalize_vectors(b->normal, b->padded);
}

/* glTF 2.0, 3.7.2.1 and 3.9.3: the normal that a texel means. Without tangents of the vertices the
 * tangent is along u and the bitangent against v, which is up the picture. */
static lb_vec3 bent_normal(lb_batch *b, int32_t i, const float texel[4], float scale)
{
    float hand = b->tangent[3][i], x, y, z;
    lb_vec3 n = vector_at(b->normal, i), bitangent;
    lb_vec3 tangent = {b->tangent[0][i], b->tangent[1][i], b->tangent[2][i]};

    if (hand == 0)
        tangent = vector_at(b->slope_u, i);
    tangent = lb_vec3_sub(tangent, lb_vec3_scale(n, lb_vec3_dot(n, tangent)));
    tangent = lb_vec3_normalize(tangent);
    bitangent = lb_vec3_cross(n, tangent);
    if (hand == 0)
        hand = lb_vec3_dot(bitangent, vector_at(b->slope_v, i)) > 0 ? -1 : 1;
    hand = hand < 0 ? -1 : 1;
    x = (2 * texel[0] - 1) * scale;
    y = (2 * texel[1] - 1) * scale * hand;
    z = 2 * texel[2] - 1;
    if (!(lb_vec3_dot(tangent, tangent) > 0.5f))
        return n;
    return (lb_vec3){tangent.x * x + bitangent.x * y + n.x * z,
                     tangent.y * x + bitangent.y * y + n.y * z,
                     tangent.z * x + bitangent.z * y + n.z * z};
}

static void bend_by_normal(lb_batch *b, const lb_texture *map)
{
    float scale = (float)lb_texture_mapping(map)->scale;
    texels t;

    sample_map(b, map, &t);
    for (int32_t i = 0; i < b->count; i++) {
        lb_vec3 n = bent_normal(b, i, t.rgba[i], scale);

        b->normal[0][i] = n.x;
        b->normal[1][i] = n.y;
        b->normal[2][i] = n.z;
    }
    normalize_vectors(b->normal, b->padded);
}

void lb_batch_bend_normals(lb_batch *b)
{
    static const lb_slot slots[2] = {LB_SLOT_NORMAL, LB_SLOT_BUMP};

    normalize_vectors(b->normal, b->padded);
    normalize_vectors(b->view, b->padded);
    for (int k = 0; k < 2; k++) {
        const lb_texture *map = b->material->maps[slots[k]];
        bool is_height;

        if (!map)
            continue;
        /* A picture says itself what it is; one that does not is what its slot is for. */
        is_height = lb_texture_mapping(map)->role == LB_TEXTURE_HEIGHT ||
                    (lb_texture_mapping(map)->role == LB_TEXTURE_VALUE && slots[k] == LB_SLOT_BUMP);
        if (is_height)
            bend_by_height(b, map);
        else
            bend_by_normal(b, map);
    }
    for (int32_t i = 0; i < b->padded; i++)
        for (int c = 0; c < 3; c++)
            b->normal[c][i] *= b->facing[i];
}
