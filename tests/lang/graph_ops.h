/* tests/lang/graph_ops.h: operators for the tests of the language, so that these do not hang on the
 * real ones. Keys as docs/language.md has them; nothing is computed. */
#ifndef LB_TESTS_LANG_GRAPH_OPS_H
#define LB_TESTS_LANG_GRAPH_OPS_H

#include "engine/graph/op.h"

typedef struct any_params {
    const char *file, *text, *font, *pin;
    const char *camera;
    int space, operator, align, wrap, from, model;
    double stops, size, threshold, gain, scale, specular, exponent, opacity, shutter, f_number;
    double radius, sigma[2], tile[2], position[3], target[4], box[4];
    double color[4], diffuse[4];
    double rotation[4];
    int32_t samples, seed;
    bool lighting;
    lb_records amend, pairs;
    struct lens {
        double focus, angle;
        const char *name;
    } lens;
} any_params;

typedef struct any_amend {
    struct select {
        const char *light, *camera, *mesh;
    } select;
    struct set {
        int decay;
        double color[4], near, far;
        int32_t material;
    } set;
} any_amend;

typedef struct any_pair {
    int32_t a, b;
    double weight;
    lb_records inner;
} any_pair;

typedef struct any_inner {
    double x;
} any_inner;

static const char *const any_spaces[] = {"srgb", "rec709", "linear-rec709", "raw", NULL};
static const char *const any_operators[] = {"source-over", "destination-out", "xor", "lighter",
                                            NULL};
static const char *const any_aligns[] = {"left", "center", "right", NULL};
static const char *const any_wraps[] = {"repeat", "mirror", "clamp", NULL};
static const char *const any_froms[] = {"height", "normal", NULL};
static const char *const any_models[] = {"blinn", "metal-rough", "unlit", NULL};
static const char *const any_decays[] = {"none", "linear", "quadratic", NULL};

static const lb_input any_image[] = {{"image", LB_KIND_IMAGE, .doc = "i"}, {0}};
static const lb_input any_image_mask[] = {
    {"image", LB_KIND_IMAGE, .doc = "i"},
    {"mask", LB_KIND_IMAGE, .optional = true, .doc = "m"},
    {0},
};
static const lb_input any_composite[] = {
    {"source", LB_KIND_IMAGE, .doc = "s"},
    {"backdrop", LB_KIND_IMAGE, .doc = "b"},
    {"mask", LB_KIND_IMAGE, .optional = true, .doc = "m"},
    {0},
};
static const lb_input any_maps[] = {
    {"diffuse-map", LB_KIND_TEXTURE, .optional = true, .doc = "d"},
    {"bump-map", LB_KIND_TEXTURE, .optional = true, .doc = "b"},
    {0},
};
static const lb_input any_material[] = {
    {"material", LB_KIND_MATERIAL, .optional = true, .doc = "m"}, {0}};
static const lb_input any_items[] = {{"items", LB_KIND_SCENE, .list = true, .doc = "i"}, {0}};
static const lb_input any_render[] = {
    {"scene", LB_KIND_SCENE, .doc = "s"},
    {"camera", LB_KIND_SCENE, .optional = true, .or_param = true, .doc = "c"},
    {0},
};

static const lb_param image_table[] = {
    LB_PARAM(any_params, file, LB_FILE, .required = true, .fixed = true, .doc = "f"),
    LB_PARAM(any_params, space, LB_CHOICE, .names = any_spaces, .doc = "s"),
    {0},
};
static const lb_param solid_table[] = {
    LB_PARAM(any_params, color, LB_COLOR, .initial = {0, 0, 0, 1}, .doc = "c"), {0}};
static const lb_param uv_table[] = {
    LB_PARAM(any_params, wrap, LB_CHOICE, .names = any_wraps, .doc = "w"),
    LB_PARAM(any_params, tile, LB_VEC2, .initial = {1, 1}, .spread = true, .doc = "t"),
    {0},
};
static const lb_param bump_table[] = {
    LB_PARAM(any_params, from, LB_CHOICE, .names = any_froms, .doc = "f"),
    LB_PARAM(any_params, scale, LB_NUMBER, .initial = {1}, .doc = "s"),
    LB_PARAM(any_params, wrap, LB_CHOICE, .names = any_wraps, .doc = "w"),
    {0},
};
static const lb_param material_table[] = {
    LB_PARAM(any_params, model, LB_CHOICE, .names = any_models, .doc = "m"),
    LB_PARAM(any_params, diffuse, LB_COLOR, .initial = {1, 1, 1, 1}, .doc = "d"),
    LB_PARAM(any_params, specular, LB_NUMBER, .min = 0, .max = 1, .doc = "s"),
    LB_PARAM(any_params, exponent, LB_NUMBER, .min = 0, .max = 10000, .doc = "e"),
    {0},
};
static const lb_param select_table[] = {
    LB_PARAM(struct select, light, LB_TEXT, .doc = "l"),
    LB_PARAM(struct select, camera, LB_TEXT, .doc = "c"),
    LB_PARAM(struct select, mesh, LB_TEXT, .doc = "m"),
    {0},
};
static const lb_param set_table[] = {
    LB_PARAM(struct set, decay, LB_CHOICE, .names = any_decays, .initial = {LB_UNSET}, .doc = "d"),
    LB_PARAM(struct set, color, LB_COLOR, .initial = {LB_UNSET}, .doc = "c"),
    LB_PARAM(struct set, near, LB_NUMBER, .initial = {LB_UNSET}, .doc = "n"),
    LB_PARAM(struct set, far, LB_NUMBER, .initial = {LB_UNSET}, .doc = "f"),
    LB_PARAM(struct set, material, LB_REF, .kind = LB_KIND_MATERIAL, .doc = "m"),
    {0},
};
static const lb_param amend_table[] = {
    LB_PARAM(any_amend, select, LB_RECORD, .fields = select_table,
             .fields_size = sizeof(struct select), .required = true, .doc = "s"),
    LB_PARAM(any_amend, set, LB_RECORD, .fields = set_table, .fields_size = sizeof(struct set),
             .doc = "s"),
    {0},
};
static const lb_param scene_table[] = {
    LB_PARAM(any_params, file, LB_FILE, .required = true, .fixed = true, .doc = "f"),
    LB_PARAM(any_params, pin, LB_TEXT, .fixed = true, .doc = "p"),
    LB_PARAM(any_params, amend, LB_RECORDS, .fields = amend_table, .fields_size = sizeof(any_amend),
             .doc = "a"),
    {0},
};
static const lb_param render_table[] = {
    LB_PARAM(any_params, camera, LB_TEXT, .doc = "c"),
    LB_PARAM(any_params, samples, LB_INT, .initial = {4}, .min = 1, .max = 64, .doc = "s"),
    LB_PARAM(any_params, shutter, LB_NUMBER, .min = 0, .max = 360, .unit = LB_DEGREES, .doc = "s"),
    LB_PARAM(any_params, lighting, LB_BOOL, .initial = {1}, .doc = "l"),
    {0},
};
static const lb_param glow_table[] = {
    LB_PARAM(any_params, threshold, LB_NUMBER, .initial = {1}, .min = 0, .max = 65504, .doc = "t"),
    LB_PARAM(any_params, radius, LB_NUMBER, .initial = {40}, .min = 0, .max = 1000,
             .unit = LB_PIXELS, .doc = "r"),
    LB_PARAM(any_params, gain, LB_NUMBER, .initial = {1}, .min = 0, .max = 10, .doc = "g"),
    LB_PARAM(any_params, color, LB_COLOR, .initial = {1, 1, 1, 1}, .doc = "c"),
    {0},
};
static const lb_param blur_table[] = {
    LB_PARAM(any_params, sigma, LB_VEC2, .initial = {4, 4}, .min = 0, .max = 1000, .spread = true,
             .unit = LB_PIXELS, .doc = "s"),
    {0},
};
static const lb_param text_table[] = {
    LB_PARAM(any_params, text, LB_TEXT, .required = true, .doc = "t"),
    LB_PARAM(any_params, font, LB_TEXT, .initial_text = "serif", .doc = "f"),
    LB_PARAM(any_params, size, LB_NUMBER, .initial = {100}, .min = 1, .max = 10000,
             .unit = LB_PIXELS, .doc = "s"),
    LB_PARAM(any_params, align, LB_CHOICE, .names = any_aligns, .doc = "a"),
    {0},
};
static const lb_param composite_table[] = {
    LB_PARAM(any_params, operator, LB_CHOICE, .names = any_operators, .doc = "o"),
    LB_PARAM(any_params, opacity, LB_NUMBER, .initial = {1}, .min = 0, .max = 1, .doc = "o"),
    {0},
};
static const lb_param pose_table[] = {
    LB_PARAM(any_params, position, LB_VEC3, .doc = "p"),
    LB_PARAM(any_params, rotation, LB_ROTATION, .doc = "r"),
    {0},
};
static const lb_param inner_table[] = {LB_PARAM(any_inner, x, LB_NUMBER, .doc = "x"), {0}};
static const lb_param pair_table[] = {
    LB_PARAM(any_pair, a, LB_REF, .kind = LB_KIND_IMAGE, .required = true, .doc = "a"),
    LB_PARAM(any_pair, b, LB_REF, .kind = LB_KIND_IMAGE, .doc = "b"),
    LB_PARAM(any_pair, weight, LB_NUMBER, .initial = {1}, .min = 0, .max = 1, .doc = "w"),
    LB_PARAM(any_pair, inner, LB_RECORDS, .fields = inner_table, .fields_size = sizeof(any_inner),
             .doc = "i"),
    {0},
};
static const lb_param lens_table[] = {
    LB_PARAM(struct lens, focus, LB_NUMBER, .initial = {2}, .min = 0, .max = 100, .doc = "f"),
    LB_PARAM(struct lens, angle, LB_NUMBER, .initial = {50}, .doc = "a"),
    LB_PARAM(struct lens, name, LB_TEXT, .doc = "n"),
    {0},
};
static const lb_param mixer_table[] = {
    LB_PARAM(any_params, pairs, LB_RECORDS, .fields = pair_table, .fields_size = sizeof(any_pair),
             .doc = "p"),
    LB_PARAM(any_params, lens, LB_RECORD, .fields = lens_table, .fields_size = sizeof(struct lens),
             .doc = "l"),
    LB_PARAM(any_params, seed, LB_INT, .fixed = true, .doc = "s"),
    LB_PARAM(any_params, target, LB_VEC4, .doc = "t"),
    {0},
};

#define ANY_OP(id, key, ins, table, kind)                                                          \
    static const lb_op any_op_##id = {.name = key,                                                 \
                                      .summary = "test",                                           \
                                      .version = 1,                                                \
                                      .inputs = ins,                                               \
                                      .params = table,                                             \
                                      .params_size = sizeof(any_params),                           \
                                      .result = kind}

ANY_OP(image, "image", NULL, image_table, LB_KIND_IMAGE);
ANY_OP(solid, "solid", NULL, solid_table, LB_KIND_IMAGE);
ANY_OP(text, "text", NULL, text_table, LB_KIND_IMAGE);
ANY_OP(glow, "glow", any_image_mask, glow_table, LB_KIND_IMAGE);
ANY_OP(blur, "blur", any_image, blur_table, LB_KIND_IMAGE);
ANY_OP(composite, "composite", any_composite, composite_table, LB_KIND_IMAGE);
ANY_OP(mixer, "mixer", any_image, mixer_table, LB_KIND_IMAGE);
ANY_OP(uv, "uv", any_image, uv_table, LB_KIND_TEXTURE);
ANY_OP(bump, "bump", any_image, bump_table, LB_KIND_TEXTURE);
ANY_OP(material, "material", any_maps, material_table, LB_KIND_MATERIAL);
ANY_OP(scene, "scene", NULL, scene_table, LB_KIND_SCENE);
ANY_OP(sphere, "sphere", any_material, pose_table, LB_KIND_SCENE);
ANY_OP(camera, "camera", NULL, pose_table, LB_KIND_SCENE);
ANY_OP(group, "group", any_items, pose_table, LB_KIND_SCENE);
ANY_OP(render, "render", any_render, render_table, LB_KIND_IMAGE);

static const lb_op *const any_ops[] = {
    &any_op_blur,   &any_op_bump,   &any_op_camera, &any_op_composite,
    &any_op_glow,   &any_op_group,  &any_op_image,  &any_op_material,
    &any_op_mixer,  &any_op_render, &any_op_scene,  &any_op_solid,
    &any_op_sphere, &any_op_text,   &any_op_uv,     NULL};

#endif
