/* nodes/scene/material.c: what a surface is made of. */
#include "engine/graph/op.h"

typedef struct {
    int model, alpha;
    double diffuse[4], specular[3], exponent;
    double base_color[4], metallic, roughness;
    double emission[4], opacity, alpha_cutoff, occlusion;
    bool double_sided;
} material_params;

/* In the order of the slots of a material, so that input i is map i. */
static const lb_input inputs[] = {
    {"diffuse-map", LB_KIND_TEXTURE, .optional = true, .doc = "blinn: times the diffuse colour."},
    {"specular-map", LB_KIND_TEXTURE, .optional = true, .doc = "blinn: times the specular colour."},
    {"exponent-map", LB_KIND_TEXTURE, .optional = true, .doc = "blinn: red times the exponent."},
    {"base-color-map", LB_KIND_TEXTURE, .optional = true,
     .doc = "metal-rough and unlit: times the base colour."},
    {"metal-rough-map", LB_KIND_TEXTURE, .optional = true,
     .doc = "metal-rough: green times the roughness, blue times the metalness, as glTF has it."},
    {"emission-map", LB_KIND_TEXTURE, .optional = true, .doc = "Times the emission."},
    {"opacity-map", LB_KIND_TEXTURE, .optional = true, .doc = "Red times the opacity."},
    {"occlusion-map", LB_KIND_TEXTURE, .optional = true,
     .doc = "Red is how much of the ambient light gets there."},
    {"bump-map", LB_KIND_TEXTURE, .optional = true, .doc = "Relief, from bump."},
    {"normal-map", LB_KIND_TEXTURE, .optional = true, .doc = "Relief by normals, from bump."},
    {0},
};
_Static_assert(sizeof inputs / sizeof inputs[0] == LB_SLOT_COUNT + 1, "an input for each slot");

static const lb_param params[] = {
    LB_PARAM(material_params, model, LB_CHOICE, .names = lb_shading_names,
             .initial = {LB_SHADING_BLINN},
             .doc = "Diffuse and a highlight; metalness and roughness as in glTF; or the colour as "
                    "it is, whatever the light."),
    LB_PARAM(material_params, diffuse, LB_COLOR, .initial = {0.8, 0.8, 0.8, 1}, .min = 0,
             .max = 1e6, .usual_max = 10, .doc = "blinn: what the surface scatters."),
    LB_PARAM(material_params, specular, LB_VEC3, .initial = {0, 0, 0}, .min = 0, .max = 1e6,
             .spread = true, .usual_max = 100,
             .doc = "blinn: colour of the highlight; one number makes it white."),
    LB_PARAM(material_params, exponent, LB_NUMBER, .initial = {50}, .min = 0, .max = 1e6,
             .usual_max = 10000, .doc = "blinn: the higher, the smaller the highlight."),
    LB_PARAM_AS(material_params, base_color, "base-color", LB_COLOR, .initial = {0.8, 0.8, 0.8, 1},
                .min = 0, .max = 1e6, .usual_max = 10,
                .doc = "metal-rough and unlit: the colour of the surface."),
    LB_PARAM(material_params, metallic, LB_NUMBER, .initial = {0}, .min = 0, .max = 1,
             .doc = "metal-rough: how much it is metal."),
    LB_PARAM(material_params, roughness, LB_NUMBER, .initial = {0.5}, .min = 0, .max = 1,
             .doc = "metal-rough: from a mirror to chalk."),
    LB_PARAM(material_params, emission, LB_COLOR, .initial = {0, 0, 0, 1}, .min = 0, .max = 1e9,
             .doc = "Radiance that it sends out by itself."),
    LB_PARAM(material_params, opacity, LB_NUMBER, .initial = {1}, .min = 0, .max = 1,
             .doc = "How much it hides of what is behind it."),
    LB_PARAM(material_params, alpha, LB_CHOICE, .names = lb_alpha_mode_names, .initial = {LB_UNSET},
             .doc = "What opacity does: nothing, cut out where it is below alpha-cutoff, or let "
                    "through. If not given, blend where the opacity is below 1 or has a map, or a "
                    "colour map has alpha; else opaque."),
    LB_PARAM_AS(material_params, alpha_cutoff, "alpha-cutoff", LB_NUMBER, .initial = {0.5},
                .min = 0, .max = 1, .doc = "With mask: the opacity from which on it is there."),
    LB_PARAM(material_params, occlusion, LB_NUMBER, .initial = {1}, .min = 0, .max = 1,
             .doc = "How far the occlusion map counts."),
    LB_PARAM_AS(material_params, double_sided, "double-sided", LB_BOOL, .initial = {1},
                .doc = "Whether it is seen from behind."),
    {0},
};

/* Maps that a model does not look at. */
static bool is_idle(int model, lb_slot slot)
{
    switch (slot) {
    case LB_SLOT_DIFFUSE:
    case LB_SLOT_SPECULAR:
    case LB_SLOT_EXPONENT:
        return model != LB_SHADING_BLINN;
    case LB_SLOT_BASE_COLOR:
        return model == LB_SHADING_BLINN;
    case LB_SLOT_METAL_ROUGH:
        return model != LB_SHADING_METAL_ROUGH;
    default:
        return model == LB_SHADING_UNLIT && slot != LB_SLOT_OPACITY;
    }
}

static lb_status check(const lb_call *call)
{
    const material_params *p = call->params;

    for (int32_t slot = 0; slot < LB_SLOT_COUNT; slot++)
        if (call->inputs[slot].kind != LB_KIND_NONE && is_idle(p->model, (lb_slot)slot))
            lb_warn(call->diag, lb_call_loc(call, "model"),
                    "'%s': the model %s does not use its %s", call->node,
                    lb_shading_names[p->model], lb_slot_names[slot]);
    return LB_OK;
}

static lb_vec3 color_of(const double c[3])
{
    return (lb_vec3){(float)c[0], (float)c[1], (float)c[2]};
}

/* What a texture is, decides how its relief is read, whichever of the two inputs it came by; one
 * that is not from bump is what the input says. */
static lb_status set_relief(lb_material *m, lb_slot slot, const lb_texture *texture)
{
    lb_texture_map map = *lb_texture_mapping(texture);
    lb_texture *fresh;
    lb_status status;

    if (map.role == LB_TEXTURE_VALUE)
        map.role = slot == LB_SLOT_NORMAL ? LB_TEXTURE_NORMAL : LB_TEXTURE_HEIGHT;
    if ((status = lb_texture_with_map(texture, &map, &fresh)))
        return status;
    lb_material_set_map(m, map.role == LB_TEXTURE_NORMAL ? LB_SLOT_NORMAL : LB_SLOT_BUMP, fresh);
    lb_texture_unref(&fresh);
    return LB_OK;
}

static lb_status set_maps(const lb_task *task, lb_material *m)
{
    lb_status status = LB_OK;

    for (int32_t i = 0; i < LB_SLOT_COUNT && status == LB_OK; i++) {
        if (task->inputs[i].kind != LB_KIND_TEXTURE || is_idle(m->shading, (lb_slot)i))
            continue;
        if (i == LB_SLOT_BUMP || i == LB_SLOT_NORMAL)
            status = set_relief(m, (lb_slot)i, task->inputs[i].texture);
        else
            lb_material_set_map(m, (lb_slot)i, task->inputs[i].texture);
    }
    return status;
}

static lb_alpha_mode alpha_of(const material_params *p, const lb_material *m)
{
    const lb_texture *color =
        m->maps[m->shading == LB_SHADING_BLINN ? LB_SLOT_DIFFUSE : LB_SLOT_BASE_COLOR];

    if (p->alpha >= 0)
        return (lb_alpha_mode)p->alpha;
    return p->opacity < 1 || m->maps[LB_SLOT_OPACITY] || (color && lb_texture_channels(color) == 4)
               ? LB_ALPHA_BLEND
               : LB_ALPHA_OPAQUE;
}

static lb_status evaluate(const lb_task *task, lb_value *out)
{
    const material_params *p = task->call.params;
    lb_material *m;
    lb_status status = lb_material_new(task->call.node, &m);

    if (status)
        return status;
    m->shading = (lb_shading)p->model;
    m->diffuse = color_of(p->diffuse);
    m->specular = color_of(p->specular);
    m->exponent = (float)p->exponent;
    m->base_color = color_of(p->base_color);
    m->metallic = (float)p->metallic;
    m->roughness = (float)p->roughness;
    m->emission = color_of(p->emission);
    m->opacity = (float)p->opacity;
    m->alpha_cutoff = (float)p->alpha_cutoff;
    m->occlusion_strength = (float)p->occlusion;
    m->double_sided = p->double_sided;
    status = set_maps(task, m);
    m->alpha_mode = alpha_of(p, m);
    if (status)
        lb_material_unref(&m);
    out->material = m;
    return status;
}

const lb_op lb_op_material = {
    .name = "material",
    .summary = "What a surface is made of",
    .doc = "Numbers and colours are multiplied by their maps. Maps that the model does not use are "
           "warned of.",
    .group = "scene",
    .example =
        "  clay: {op: material, diffuse: \"#b3541e\", specular: 0.05, exponent: 8}\n"
        "  glaze: {op: material, diffuse: \"#12383f\", specular: 0.9, exponent: 120}\n"
        "  copper: {op: material, model: metal-rough, base-color: \"#d08050\", metallic: 1, "
        "roughness: 0.35}\n"
        "  left: {op: sphere, radius: 0.8, position: [-1.8, 0, 0], material: clay}\n"
        "  middle: {op: sphere, radius: 0.8, material: glaze}\n"
        "  right: {op: sphere, radius: 0.8, position: [1.8, 0, 0], material: copper}\n"
        "  lamp: {op: light, type: point, decay: none, intensity: 2.2, position: [3, 4, 5]}\n"
        "  sky: {op: light, type: ambient, intensity: 0.12}\n"
        "  eye: {op: camera, position: [0, 1.6, 5], target: [0, 0, 0], fov: 40}\n"
        "  stage: {op: group, items: [left, middle, right, lamp, sky]}\n"
        "  last: {op: render, scene: stage, camera: eye, samples: 16}\n",
    .version = 1,
    .inputs = inputs,
    .params = params,
    .params_size = sizeof(material_params),
    .result = LB_KIND_MATERIAL,
    .check = check,
    .evaluate = evaluate,
};
