/* engine/scene/fbx_material.c: Lambert and Phong materials and their maps. Names and meanings are
 * common practice, from memory: each colour has a factor, and transparency is a colour too. */
#include <math.h>
#include <string.h>

#include "engine/scene/fbx_read.h"

lb_vec3 fbx_color(const fbx *g, const double rgb[3])
{
    const double *m = g->to_working;

    return (lb_vec3){(float)(m[0] * rgb[0] + m[1] * rgb[1] + m[2] * rgb[2]),
                     (float)(m[3] * rgb[0] + m[4] * rgb[1] + m[5] * rgb[2]),
                     (float)(m[6] * rgb[0] + m[7] * rgb[1] + m[8] * rgb[2])};
}

typedef struct {
    const char *property, *plain; /* the second is an older name */
    lb_slot slot;
    lb_picture_use use;
    lb_texture_role role;
    bool phong; /* only where there is a highlight */
} map_rule;

static const map_rule rules[] = {
    {"DiffuseColor", "Diffuse", LB_SLOT_DIFFUSE, LB_PICTURE_COLOR, LB_TEXTURE_VALUE, false},
    {"SpecularColor", "Specular", LB_SLOT_SPECULAR, LB_PICTURE_COLOR, LB_TEXTURE_VALUE, true},
    {"EmissiveColor", "Emissive", LB_SLOT_EMISSION, LB_PICTURE_COLOR, LB_TEXTURE_VALUE, false},
    {"NormalMap", "Normal", LB_SLOT_NORMAL, LB_PICTURE_DATA, LB_TEXTURE_NORMAL, false},
    {"Bump", "BumpMap", LB_SLOT_BUMP, LB_PICTURE_DATA, LB_TEXTURE_HEIGHT, false},
    {"TransparentColor", "TransparencyFactor", LB_SLOT_OPACITY, LB_PICTURE_COLOR_ALPHA,
     LB_TEXTURE_VALUE, false},
};

typedef struct {
    fbx *g;
    const fbx_object *object;
    lb_material *m;
    const char *const *uv_names;
    bool is_phong;
    double bump;
} surface;

/* A colour times its factor; the default of both is the format's. */
static void read_color(surface *s, const char *color, const char *factor, const double fallback[3],
                       lb_vec3 *out)
{
    double rgb[3] = {fallback[0], fallback[1], fallback[2]}, f = 1;
    fbx_origin origin = fbx_numbers(s->g, s->object, color, 3, rgb);
    char where[FBX_WHERE];

    (void)fbx_numbers(s->g, s->object, factor, 1, &f);
    for (int i = 0; i < 3; i++) {
        if (rgb[i] * f < 0)
            fbx_fact(s->g, LB_FACT_CONVERTED, fbx_where(where, s->object, color), "Below 0: 0.");
        rgb[i] = fmax(rgb[i] * f, 0);
    }
    *out = fbx_color(s->g, rgb);
    /* That nothing glows is no news. */
    if (origin != FBX_AUTHORED && (rgb[0] > 0 || rgb[1] > 0 || rgb[2] > 0))
        fbx_origin_fact(s->g, s->object, color, origin, "%g %g %g", rgb[0], rgb[1], rgb[2]);
}

/* `Opacity` says it plainly; else it is what the transparent colour, times its factor, leaves. */
static void read_opacity(surface *s)
{
    double opacity = 1, rgb[3] = {0, 0, 0}, factor = 0;
    fbx_origin plain = fbx_numbers(s->g, s->object, "Opacity", 1, &opacity);
    fbx_origin color = fbx_numbers(s->g, s->object, "TransparentColor", 3, rgb);
    fbx_origin by = fbx_numbers(s->g, s->object, "TransparencyFactor", 1, &factor);
    char where[FBX_WHERE];

    fbx_where(where, s->object, "TransparentColor");
    if (plain != FBX_AUTHORED && (color == FBX_AUTHORED || by == FBX_AUTHORED)) {
        if (color == FBX_FORMAT)
            rgb[0] = rgb[1] = rgb[2] = 1; /* only a factor: it is the transparency */
        opacity = 1 - factor * (rgb[0] + rgb[1] + rgb[2]) / 3;
        if (opacity != 1)
            fbx_fact(s->g, LB_FACT_CONVERTED, where,
                     "Opacity is 1 - TransparencyFactor x the mean of TransparentColor: %g.",
                     opacity);
    }
    s->m->opacity = (float)fmin(fmax(opacity, 0), 1);
    s->m->alpha_mode = s->m->opacity < 1 ? LB_ALPHA_BLEND : LB_ALPHA_OPAQUE;
}

/* cos^n of the angle to the mirrored ray: that angle is twice the one to the half vector, and for
 * small angles cos^n(2 a) = cos^(4 n)(a), both 1 - 2 n a^2. */
static void read_highlight(surface *s)
{
    static const double specular[3] = {0.2, 0.2, 0.2};
    double exponent = 20;
    fbx_origin origin = fbx_numbers(s->g, s->object, "ShininessExponent", 1, &exponent);
    char where[FBX_WHERE];

    if (origin != FBX_AUTHORED)
        origin = fbx_numbers(s->g, s->object, "Shininess", 1, &exponent);
    read_color(s, "SpecularColor", "SpecularFactor", specular, &s->m->specular);
    fbx_where(where, s->object, "ShininessExponent");
    if (origin != FBX_AUTHORED)
        fbx_origin_fact(s->g, s->object, "ShininessExponent", origin, "%g", exponent);
    exponent = fmin(fmax(exponent, 0), 1e5);
    s->m->exponent = (float)(4 * exponent);
    fbx_fact(s->g, LB_FACT_CONVERTED, where,
             "The exponent %g of Phong's term is %g of Blinn's: four times it.", exponent,
             4 * exponent);
}

static void read_wrap(fbx *g, const fbx_object *texture, lb_texture_map *map)
{
    int64_t u = 0, v = 0;
    char where[FBX_WHERE];

    (void)fbx_integer(g, texture, "WrapModeU", &u);
    (void)fbx_integer(g, texture, "WrapModeV", &v);
    map->wrap_u = u == 1 ? LB_WRAP_CLAMP : LB_WRAP_REPEAT;
    map->wrap_v = v == 1 ? LB_WRAP_CLAMP : LB_WRAP_REPEAT;
    if (u < 0 || u > 1 || v < 0 || v > 1)
        fbx_fact(g, LB_FACT_ASSUMED, fbx_where(where, texture, "WrapModeU"),
                 "A wrap mode is neither 0 nor 1: repeat.");
}

/* u' = su u + tu, v' = sv v + tv with v up; here v goes down. */
static void read_placement(fbx *g, const fbx_object *texture, lb_texture_map *map)
{
    lb_vec3d t = {0, 0, 0}, s = {1, 1, 1}, r = {0, 0, 0};
    double value;
    int64_t swap = 0;
    char where[FBX_WHERE];

    if (fbx_vector(g, texture, "Translation", &t) != FBX_AUTHORED) {
        const fbx_node *old = fbx_child(texture->node, "ModelUVTranslation");

        t.x = fbx_real(old, 0, &value) && fabs(value) < 1e9 ? value : t.x;
        t.y = fbx_real(old, 1, &value) && fabs(value) < 1e9 ? value : t.y;
    }
    if (fbx_vector(g, texture, "Scaling", &s) != FBX_AUTHORED) {
        const fbx_node *old = fbx_child(texture->node, "ModelUVScaling");

        s.x = fbx_real(old, 0, &value) && fabs(value) < 1e9 ? value : s.x;
        s.y = fbx_real(old, 1, &value) && fabs(value) < 1e9 ? value : s.y;
    }
    if (t.x != 0 || t.y != 0 || s.x != 1 || s.y != 1)
        fbx_fact(g, LB_FACT_CONVERTED, fbx_where(where, texture, "Scaling"),
                 "Coordinates are multiplied by %g %g, then moved by %g %g.", s.x, s.y, t.x, t.y);
    memcpy(map->matrix, (double[]){s.x, 0, t.x, 0, s.y, 1 - s.y - t.y}, sizeof map->matrix);
    (void)fbx_vector(g, texture, "Rotation", &r);
    (void)fbx_integer(g, texture, "UVSwap", &swap);
    if (r.x != 0 || r.y != 0 || r.z != 0 || swap)
        fbx_fact(g, LB_FACT_DROPPED, fbx_where(where, texture, "Rotation"),
                 "The picture is not turned or swapped.");
}

/* Which of the geometry's sets the texture names; the first where it names none. */
static int32_t uv_set_of(surface *s, const fbx_object *texture)
{
    const char *name = "";
    char where[FBX_WHERE];

    (void)fbx_string(s->g, texture, "UVSet", &name);
    if (!name[0] || strcmp(name, "default") == 0 || strcmp(name, s->uv_names[0]) == 0)
        return 0;
    if (strcmp(name, s->uv_names[1]) == 0)
        return 1;
    fbx_fact(s->g, LB_FACT_ASSUMED, fbx_where(where, texture, "UVSet"),
             "No UV set of the geometry is '%.40s': the first.", name);
    return 0;
}

static lb_status put_map(surface *s, const map_rule *rule, const fbx_object *texture)
{
    lb_texture_map map = lb_texture_map_default();
    lb_texture *made;
    lb_status status;

    map.role = rule->role;
    map.scale = rule->role == LB_TEXTURE_VALUE ? 1 : s->bump;
    if (rule->role == LB_TEXTURE_HEIGHT)
        map.scale *= s->g->unit;
    map.uv_set = uv_set_of(s, texture);
    read_wrap(s->g, texture, &map);
    read_placement(s->g, texture, &map);
    if ((status = fbx_texture_get(s->g, texture, rule->use, &map, &made)) || !made)
        return status;
    if (rule->slot == LB_SLOT_OPACITY && lb_texture_channels(made) != 4) {
        char where[FBX_WHERE];

        fbx_fact(s->g, LB_FACT_DROPPED, fbx_where(where, texture, NULL),
                 "A map of transparency without alpha is not used.");
    } else {
        lb_material_set_map(s->m, rule->slot, made);
        if (rule->slot == LB_SLOT_OPACITY)
            s->m->alpha_mode = LB_ALPHA_BLEND;
    }
    lb_texture_unref(&made);
    return LB_OK;
}

static const map_rule *rule_of(const char *property)
{
    for (size_t i = 0; i < sizeof rules / sizeof rules[0]; i++)
        if (strcmp(rules[i].property, property) == 0 || strcmp(rules[i].plain, property) == 0)
            return &rules[i];
    return NULL;
}

static lb_status read_maps(surface *s)
{
    fbx *g = s->g;
    char where[FBX_WHERE];
    lb_status status = LB_OK;

    for (size_t i = 0; i < s->object->down_count && status == LB_OK; i++) {
        const fbx_link *link = fbx_down(g, s->object, i);
        fbx_object *texture = &g->objects[link->child];
        const map_rule *rule = link->property ? rule_of(link->property) : NULL;

        if (!fbx_is_class(texture, "Texture") && !fbx_is_class(texture, "LayeredTexture"))
            continue;
        fbx_where(where, s->object, link->property);
        texture->used = true;
        if (fbx_is_class(texture, "LayeredTexture")) {
            const fbx_object *first = fbx_below(g, texture, "Texture", NULL);

            fbx_fact(g, LB_FACT_DROPPED, where, "Of a map in layers the first is used.");
            if (!first)
                continue;
            texture = &g->objects[first - g->objects];
        }
        if (!rule || (rule->phong && !s->is_phong))
            fbx_fact(g, LB_FACT_DROPPED, where, "The map '%.60s' is not used.", texture->name);
        else if (s->m->maps[rule->slot])
            fbx_fact(g, LB_FACT_DROPPED, where, "There is a map already: '%.60s' is not used.",
                     texture->name);
        else
            status = put_map(s, rule, texture);
    }
    /* A map stands in the place of its colour; here they are multiplied. */
    if (s->m->maps[LB_SLOT_DIFFUSE])
        fbx_fact(g, LB_FACT_CONVERTED, fbx_where(where, s->object, "DiffuseColor"),
                 "The map stands for the colour: the colour is white times DiffuseFactor.");
    return status;
}

static lb_vec3 white(surface *s, const char *factor)
{
    double f = 1, rgb[3];

    (void)fbx_numbers(s->g, s->object, factor, 1, &f);
    rgb[0] = rgb[1] = rgb[2] = fmax(f, 0);
    return fbx_color(s->g, rgb);
}

static lb_status read_material(surface *s)
{
    static const double grey[3] = {0.8, 0.8, 0.8}, black[3] = {0, 0, 0};
    const char *shading = "";
    double reflection = 0;
    char where[FBX_WHERE];
    lb_status status;

    (void)fbx_text(fbx_child(s->object->node, "ShadingModel"), 0, &shading);
    if (!shading[0])
        (void)fbx_string(s->g, s->object, "ShadingModel", &shading);
    s->is_phong = strcasecmp(shading, "phong") == 0;
    if (!s->is_phong && strcasecmp(shading, "lambert") != 0)
        fbx_fact(s->g, LB_FACT_ASSUMED, fbx_where(where, s->object, "ShadingModel"),
                 "The model '%.40s' is not read: its Lambert terms are.", shading);
    s->m->shading = LB_SHADING_BLINN;
    s->m->double_sided = true; /* the format shows both sides */
    s->bump = 1;
    (void)fbx_numbers(s->g, s->object, "BumpFactor", 1, &s->bump);
    read_color(s, "DiffuseColor", "DiffuseFactor", grey, &s->m->diffuse);
    read_color(s, "EmissiveColor", "EmissiveFactor", black, &s->m->emission);
    s->m->base_color = s->m->diffuse;
    s->m->specular = (lb_vec3){0, 0, 0};
    if (s->is_phong)
        read_highlight(s);
    read_opacity(s);
    if (fbx_numbers(s->g, s->object, "ReflectionFactor", 1, &reflection) == FBX_AUTHORED &&
        reflection != 0)
        fbx_fact(s->g, LB_FACT_DROPPED, fbx_where(where, s->object, "ReflectionFactor"),
                 "Reflections, %g, are not drawn.", reflection);
    if ((status = read_maps(s)))
        return status;
    if (s->m->maps[LB_SLOT_DIFFUSE])
        s->m->diffuse = s->m->base_color = white(s, "DiffuseFactor");
    if (s->m->maps[LB_SLOT_SPECULAR])
        s->m->specular = white(s, "SpecularFactor");
    if (s->m->maps[LB_SLOT_EMISSION])
        s->m->emission = white(s, "EmissiveFactor");
    return LB_OK;
}

static lb_status make_plain(fbx *g, lb_material **out)
{
    static const double grey[3] = {0.8, 0.8, 0.8};
    lb_status status;

    if (!g->plain) {
        if ((status = fbx_told(g, lb_material_new("", &g->plain))))
            return status;
        g->plain->shading = LB_SHADING_BLINN;
        g->plain->double_sided = true;
        g->plain->diffuse = g->plain->base_color = fbx_color(g, grey);
        fbx_fact(g, LB_FACT_ASSUMED, "/Material",
                 "Geometry without material: Lambert, 0.8 of grey.");
    }
    *out = g->plain;
    return LB_OK;
}

lb_status fbx_material_get(fbx *g, const fbx_object *object, const char *const uv_names[2],
                           lb_material **out)
{
    surface s = {.g = g, .object = object, .uv_names = uv_names};
    lb_material **slot;
    lb_status status;

    if (!object)
        return make_plain(g, out);
    slot = &g->materials[object - g->objects];
    if (!*slot) {
        g->objects[object - g->objects].used = true;
        fbx_fact(g, LB_FACT_ASSUMED, "/Material",
                 "Colours are linear Rec. 709, pictures of colour sRGB: the file does not say.");
        if ((status = fbx_told(g, lb_material_new(object->name, &s.m))))
            return status;
        if ((status = read_material(&s))) {
            lb_material_unref(&s.m);
            return status;
        }
        *slot = s.m;
    }
    *out = *slot;
    return LB_OK;
}
