/* engine/scene/material.c: making and sharing materials. */
#include "engine/scene/material.h"

#include "engine/base/memory.h"

const char *const lb_shading_names[] = {"blinn", "metal-rough", "unlit", NULL};
const char *const lb_alpha_mode_names[] = {"opaque", "mask", "blend", NULL};
const char *const lb_slot_names[] = {
    "diffuse-map",     "specular-map", "exponent-map", "base-color-map",
    "metal-rough-map", "emission-map", "opacity-map",  "occlusion-map",
    "bump-map",        "normal-map",   NULL,
};

lb_status lb_material_new(const char *name, lb_material **out)
{
    lb_material *material = lb_alloc(1, sizeof *material);

    *out = NULL;
    if (!material)
        return LB_MEMORY;
    lb_refs_init(&material->refs);
    if (!(material->name = lb_strdup(name ? name : ""))) {
        lb_free(material);
        return LB_MEMORY;
    }
    material->shading = LB_SHADING_BLINN;
    material->diffuse = material->base_color = (lb_vec3){0.8f, 0.8f, 0.8f};
    material->exponent = 50;
    material->roughness = 0.5f;
    material->opacity = 1;
    material->occlusion_strength = 1;
    material->alpha_mode = LB_ALPHA_OPAQUE;
    material->alpha_cutoff = 0.5f;
    *out = material;
    return LB_OK;
}

lb_material *lb_material_ref(const lb_material *material)
{
    lb_material *shared = (lb_material *)material;

    if (shared)
        lb_refs_take(&shared->refs);
    return shared;
}

void lb_material_unref(lb_material **material)
{
    lb_material *old = *material;

    *material = NULL;
    if (!old || !lb_refs_drop(&old->refs))
        return;
    for (int32_t slot = 0; slot < LB_SLOT_COUNT; slot++)
        lb_texture_unref(&old->maps[slot]);
    lb_free(old->name);
    lb_free(old);
}

void lb_material_set_map(lb_material *material, lb_slot slot, const lb_texture *texture)
{
    lb_texture *fresh = texture ? lb_texture_ref(texture) : NULL;

    lb_texture_unref(&material->maps[slot]);
    material->maps[slot] = fresh;
}

size_t lb_material_bytes(const lb_material *material)
{
    size_t bytes = sizeof *material;

    for (int32_t slot = 0; slot < LB_SLOT_COUNT; slot++) {
        bool again = false;

        for (int32_t before = 0; before < slot; before++)
            again |= material->maps[before] == material->maps[slot];
        if (material->maps[slot] && !again)
            bytes += lb_texture_bytes(material->maps[slot]);
    }
    return bytes;
}
