/* engine/scene/material.h: what a surface does with light. */
#ifndef LB_SCENE_MATERIAL_H
#define LB_SCENE_MATERIAL_H

#include "engine/scene/texture.h"

typedef enum lb_shading { LB_SHADING_BLINN, LB_SHADING_METAL_ROUGH, LB_SHADING_UNLIT } lb_shading;
extern const char *const lb_shading_names[]; /* blinn metal-rough unlit, NULL */

typedef enum lb_alpha_mode { LB_ALPHA_OPAQUE, LB_ALPHA_MASK, LB_ALPHA_BLEND } lb_alpha_mode;
extern const char *const lb_alpha_mode_names[]; /* opaque mask blend, NULL */

typedef enum lb_slot {
    LB_SLOT_DIFFUSE,  /* blinn: times diffuse */
    LB_SLOT_SPECULAR, /* blinn: times specular */
    LB_SLOT_EXPONENT, /* blinn: times exponent */
    LB_SLOT_BASE_COLOR,
    LB_SLOT_METAL_ROUGH, /* G roughness, B metallic, as glTF */
    LB_SLOT_EMISSION,
    LB_SLOT_OPACITY,
    LB_SLOT_OCCLUSION, /* R; dims ambient light only */
    LB_SLOT_BUMP,      /* height */
    LB_SLOT_NORMAL,
    LB_SLOT_COUNT,
} lb_slot;
extern const char *const lb_slot_names[]; /* "diffuse-map" ... in the enum's order, NULL */

/* Colours are working-linear. Immutable once made, reference-counted. Maps multiply the factors. */
typedef struct lb_material {
    lb_refs refs;
    char *name;
    lb_shading shading;
    lb_vec3 diffuse;    /* blinn; also unlit's colour is base_color */
    lb_vec3 specular;   /* blinn */
    float exponent;     /* blinn */
    lb_vec3 base_color; /* metal-rough, unlit */
    float metallic, roughness;
    lb_vec3 emission; /* radiance, strength multiplied in */
    float opacity;    /* 0..1 */
    float occlusion_strength;
    lb_alpha_mode alpha_mode;
    float alpha_cutoff;
    bool double_sided;
    lb_texture *maps[LB_SLOT_COUNT]; /* owned references; NULL: none */
} lb_material;

/* A material with the graph language's defaults (blinn, diffuse 0.8, specular 0, exponent 50). */
LB_MUST_CHECK lb_status lb_material_new(const char *name, lb_material **out);
lb_material *lb_material_ref(const lb_material *material);
void lb_material_unref(lb_material **material);
/* Takes its own reference. For the maker only. */
void lb_material_set_map(lb_material *material, lb_slot slot, const lb_texture *texture);
/* With its maps, each counted once. */
size_t lb_material_bytes(const lb_material *material);

#endif
