/* engine/scene/gltf_material.c: metallic-roughness materials and their maps. glTF 2.0, 3.9. */
#include <string.h>

#include "engine/scene/gltf_read.h"

lb_vec3 gltf_color(const gltf *g, const double rgb[3])
{
    const double *m = g->to_working;

    return (lb_vec3){(float)(m[0] * rgb[0] + m[1] * rgb[1] + m[2] * rgb[2]),
                     (float)(m[3] * rgb[0] + m[4] * rgb[1] + m[5] * rgb[2]),
                     (float)(m[6] * rgb[0] + m[7] * rgb[1] + m[8] * rgb[2])};
}

static lb_status read_factor(gltf *g, const json_t *object, const char *where, const char *key,
                             double low, double high, double *value)
{
    double fallback = *value;
    char path[GLTF_WHERE];
    lb_status status = gltf_number(g, object, where, key, fallback, value);

    if (status == LB_OK && !json_object_get(object, key))
        return gltf_fact(g, LB_FACT_ASSUMED, gltf_below(path, where, key), "Not given: %g.",
                         fallback);
    return status ? status : gltf_keep_within(g, where, key, low, high, value);
}

static lb_status read_transform(gltf *g, const json_t *info, const char *where, lb_texture_map *map,
                                int64_t *uv_set)
{
    char path[GLTF_WHERE];
    const json_t *object;
    double offset[2] = {0, 0}, scale[2] = {1, 1}, rotation;
    lb_status status = gltf_extension(g, info, where, "KHR_texture_transform", path, &object);

    if (status || !object)
        return status;
    if ((status = gltf_numbers(g, object, path, "offset", 2, offset)) ||
        (status = gltf_numbers(g, object, path, "scale", 2, scale)) ||
        (status = gltf_number(g, object, path, "rotation", 0, &rotation)) ||
        (status = gltf_whole(g, object, path, "texCoord", *uv_set, 0, INT32_MAX, uv_set)))
        return status;
    lb_texture_map_set_transform(map, offset[0], offset[1], rotation, scale[0], scale[1]);
    return LB_OK;
}

typedef struct {
    const char *key;
    lb_slot slot;
    lb_picture_use use;
    lb_texture_role role;
    const char *factor; /* of the textureInfo: "scale" or "strength" */
} map_rule;

static lb_status read_map(gltf *g, const json_t *object, const char *above, const map_rule *rule,
                          gltf_material *out)
{
    lb_texture_map map = lb_texture_map_default();
    char where[GLTF_WHERE];
    const json_t *info;
    int64_t index, uv_set;
    double factor = 1;
    lb_texture *texture;
    lb_status status;

    if ((status = gltf_object(g, object, above, rule->key, &info)) || !info)
        return status;
    gltf_below(where, above, rule->key);
    if ((status = gltf_index(g, info, where, "index", g->texture_count, &index)) ||
        (status = gltf_whole(g, info, where, "texCoord", 0, 0, INT32_MAX, &uv_set)) ||
        (status = read_transform(g, info, where, &map, &uv_set)) ||
        (rule->factor && (status = gltf_number(g, info, where, rule->factor, 1, &factor))))
        return status;
    if (index < 0)
        return gltf_fail(g, LB_FORMAT, where, "index is missing");
    if (uv_set > 1)
        return gltf_fact(g, LB_FACT_DROPPED, where,
                         "The map lies by TEXCOORD_%lld; only 0 and 1 are read.",
                         (long long)uv_set);
    map.uv_set = (int32_t)uv_set;
    map.role = rule->role;
    if (rule->slot == LB_SLOT_OCCLUSION) {
        if ((status = gltf_keep_within(g, where, rule->factor, 0, 1, &factor)))
            return status;
        out->material->occlusion_strength = (float)factor;
    } else {
        map.scale = factor;
    }
    if ((status = gltf_texture_get(g, (size_t)index, rule->use, &map, &texture)) || !texture)
        return status;
    lb_material_set_map(out->material, rule->slot, texture);
    lb_texture_unref(&texture);
    out->needs_uv[map.uv_set] = true;
    return LB_OK;
}

static lb_status read_alpha(gltf *g, const json_t *object, const char *where, lb_material *m)
{
    char path[GLTF_WHERE];
    const char *mode;
    double cutoff;
    lb_status status;

    if ((status = gltf_text(g, object, where, "alphaMode", &mode)) ||
        (status = gltf_number(g, object, where, "alphaCutoff", 0.5, &cutoff)))
        return status;
    m->alpha_cutoff = (float)cutoff;
    m->alpha_mode = LB_ALPHA_OPAQUE;
    if (mode && strcmp(mode, "MASK") == 0)
        m->alpha_mode = LB_ALPHA_MASK;
    else if (mode && strcmp(mode, "BLEND") == 0)
        m->alpha_mode = LB_ALPHA_BLEND;
    else if (mode && strcmp(mode, "OPAQUE") != 0)
        return gltf_fact(g, LB_FACT_ASSUMED, gltf_below(path, where, "alphaMode"),
                         "There is no alpha mode '%.40s': OPAQUE.", mode);
    return LB_OK;
}

static lb_status read_metal_rough(gltf *g, const json_t *object, const char *above,
                                  gltf_material *out)
{
    static const map_rule metal_rough = {"metallicRoughnessTexture", LB_SLOT_METAL_ROUGH,
                                         LB_PICTURE_DATA, LB_TEXTURE_VALUE, NULL};
    map_rule base = {"baseColorTexture", LB_SLOT_BASE_COLOR, LB_PICTURE_COLOR, LB_TEXTURE_VALUE,
                     NULL};
    double factor[4] = {1, 1, 1, 1}, metallic = 1, roughness = 1;
    lb_material *m = out->material;
    char where[GLTF_WHERE];
    const json_t *pbr;
    lb_status status;

    if ((status = gltf_object(g, object, above, "pbrMetallicRoughness", &pbr)))
        return status;
    if (m->alpha_mode != LB_ALPHA_OPAQUE)
        base.use = LB_PICTURE_COLOR_ALPHA;
    gltf_below(where, above, "pbrMetallicRoughness");
    if ((status = gltf_numbers(g, pbr, where, "baseColorFactor", 4, factor)) ||
        (m->shading != LB_SHADING_UNLIT &&
         ((status = read_factor(g, pbr, where, "metallicFactor", 0, 1, &metallic)) ||
          (status = read_factor(g, pbr, where, "roughnessFactor", 0, 1, &roughness)))))
        return status;
    for (int32_t i = 0; i < 4; i++)
        if ((status =
                 gltf_keep_within(g, where, "baseColorFactor", 0, i < 3 ? 1e6 : 1, &factor[i])))
            return status;
    m->base_color = m->diffuse = gltf_color(g, factor);
    m->opacity = m->alpha_mode == LB_ALPHA_OPAQUE ? 1 : (float)factor[3]; /* 3.9.6 */
    m->metallic = (float)metallic;
    m->roughness = (float)roughness;
    if ((status = read_map(g, pbr, where, &base, out)))
        return status;
    return m->shading == LB_SHADING_UNLIT ? LB_OK : read_map(g, pbr, where, &metal_rough, out);
}

static lb_status read_emission(gltf *g, const json_t *object, const char *where, lb_material *m)
{
    double factor[3] = {0, 0, 0}, strength = 1;
    char path[GLTF_WHERE];
    const json_t *extension;
    lb_status status;

    if ((status = gltf_numbers(g, object, where, "emissiveFactor", 3, factor)) ||
        (status = gltf_extension(g, object, where, "KHR_materials_emissive_strength", path,
                                 &extension)) ||
        (status = gltf_number(g, extension, path, "emissiveStrength", 1, &strength)) ||
        (status = gltf_keep_within(g, path, "emissiveStrength", 0, 1e12, &strength)))
        return status;
    for (int32_t i = 0; i < 3; i++) {
        if ((status = gltf_keep_within(g, where, "emissiveFactor", 0, 1e6, &factor[i])))
            return status;
        factor[i] *= strength;
    }
    m->emission = gltf_color(g, factor);
    return LB_OK;
}

/* KHR_materials_unlit: the base colour is what is seen; the rest is for those who lack it. */
static lb_status read_unlit(gltf *g, const json_t *object, const char *where, bool *is_unlit)
{
    char path[GLTF_WHERE];
    const json_t *extension;
    lb_status status = gltf_extension(g, object, where, "KHR_materials_unlit", path, &extension);

    *is_unlit = extension != NULL;
    return status;
}

static lb_status read_material(gltf *g, size_t index, gltf_material *out)
{
    static const map_rule maps[] = {
        {"normalTexture", LB_SLOT_NORMAL, LB_PICTURE_DATA, LB_TEXTURE_NORMAL, "scale"},
        {"occlusionTexture", LB_SLOT_OCCLUSION, LB_PICTURE_DATA, LB_TEXTURE_VALUE, "strength"},
        {"emissiveTexture", LB_SLOT_EMISSION, LB_PICTURE_COLOR, LB_TEXTURE_VALUE, NULL},
    };
    char where[GLTF_WHERE];
    const json_t *object;
    const char *name;
    bool is_unlit;
    lb_material *m;
    lb_status status;

    if ((status = gltf_root_element(g, "materials", index, where, &object)) ||
        (status = gltf_text(g, object, where, "name", &name)) ||
        (status = read_unlit(g, object, where, &is_unlit)) ||
        (status = gltf_told(g, lb_material_new(name, &out->material))))
        return status;
    m = out->material;
    m->shading = is_unlit ? LB_SHADING_UNLIT : LB_SHADING_METAL_ROUGH;
    if ((status = gltf_bool(g, object, where, "doubleSided", false, &m->double_sided)) ||
        (status = read_alpha(g, object, where, m)) ||
        (status = read_metal_rough(g, object, where, out)) || is_unlit)
        return status;
    if ((status = read_emission(g, object, where, m)))
        return status;
    for (size_t i = 0; i < sizeof maps / sizeof maps[0]; i++)
        if ((status = read_map(g, object, where, &maps[i], out)))
            return status;
    return LB_OK;
}

/* glTF 2.0, 3.9.2 and 5.19: white metal of roughness 1. */
static lb_status make_plain(gltf *g)
{
    static const double white[3] = {1, 1, 1};
    lb_status status;

    if (g->plain.read)
        return LB_OK;
    if ((status = gltf_told(g, lb_material_new("", &g->plain.material))))
        return status;
    g->plain.read = true;
    g->plain.material->shading = LB_SHADING_METAL_ROUGH;
    g->plain.material->base_color = g->plain.material->diffuse = gltf_color(g, white);
    g->plain.material->metallic = g->plain.material->roughness = 1;
    return LB_OK;
}

lb_status gltf_material_get(gltf *g, int64_t index, const gltf_material **out)
{
    lb_status status = LB_OK;

    *out = index < 0 ? &g->plain : &g->materials[index];
    if (index < 0)
        return make_plain(g);
    if (!g->materials[index].read) {
        status = read_material(g, (size_t)index, &g->materials[index]);
        g->materials[index].read = status == LB_OK;
        if (status)
            lb_material_unref(&g->materials[index].material);
    }
    return status;
}
