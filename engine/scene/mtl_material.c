/* engine/scene/mtl_material.c: what a material library says as the renderer has it. */
#include <string.h>

#include "engine/scene/mtl.h"

typedef struct {
    reader *r;
    const mtl_material *m;
    lb_material *out;
    const char *name;
    char where[READER_WHERE];
} maker;

static lb_status fact(maker *k, lb_fact_kind kind, const char *what)
{
    return reader_fact(k->r, kind, k->where, "%s", what);
}

/* MTL's u' = u s + o with v up, as a matrix for v down: v' = 1 - ((1 - v) s + o). */
static lb_texture_map mapping_of(const mtl_map *from)
{
    lb_texture_map map = lb_texture_map_default();

    map.wrap_u = map.wrap_v = from->clamps ? LB_WRAP_CLAMP : LB_WRAP_REPEAT;
    map.matrix[0] = from->scale[0];
    map.matrix[2] = from->offset[0];
    map.matrix[4] = from->scale[1];
    map.matrix[5] = 1 - from->scale[1] - from->offset[1];
    return map;
}

static lb_status tell_options(maker *k, const mtl_map *map)
{
    char where[READER_WHERE];
    lb_status status = LB_OK;

    reader_where(where, k->m->library, map->line);
    for (int i = 0; i < MTL_UNUSED_COUNT && status == LB_OK; i++)
        if (map->unused >> i & 1)
            status = reader_fact(k->r, LB_FACT_DROPPED, where, "The option %s is not used.",
                                 mtl_unused_names[i]);
    if (status == LB_OK && map->clamps)
        status = reader_fact(k->r, LB_FACT_CONVERTED, where,
                             "-clamp on: outside of it the picture's edge goes on, where MTL has "
                             "no picture.");
    if (status == LB_OK && map->was_absolute)
        status =
            reader_fact(k->r, LB_FACT_CONVERTED, where,
                        "A path of another machine: '%.150s' is looked for instead.", map->path);
    return status;
}

static picture_use channel_of(const mtl_map *map, picture_use fallback)
{
    switch (map->channel) {
    case 'r':
        return PICTURE_RED;
    case 'g':
        return PICTURE_GREEN;
    case 'b':
        return PICTURE_BLUE;
    case 'm':
        return PICTURE_MATTE;
    case 'l':
        return PICTURE_LUMINANCE;
    default:
        return fallback; /* z is the depth that nothing has */
    }
}

/* The picture of a slot; NULL with LB_OK if there is none. */
static lb_status picture_of(maker *k, mtl_slot slot, picture_use use, const lb_texture **out,
                            bool *had_alpha)
{
    const mtl_map *map = &k->m->maps[slot];
    picture_wish wish = {use, map->is_linear, (float)map->base, (float)map->gain};
    char where[READER_WHERE];
    lb_status status;

    *out = NULL;
    *had_alpha = false;
    if (map->line == 0)
        return LB_OK;
    if ((status = tell_options(k, map)))
        return status;
    reader_where(where, k->m->library, map->line);
    return reader_picture(k->r, where, map->path, &wish, out, had_alpha);
}

static lb_status put(maker *k, const lb_texture *picture, const lb_texture_map *map, lb_slot slot)
{
    lb_texture *texture;
    lb_status status = reader_told(k->r, lb_texture_with_map(picture, map, &texture));

    if (status)
        return status;
    lb_material_set_map(k->out, slot, texture);
    lb_texture_unref(&texture);
    return LB_OK;
}

/* A picture that multiplies a factor. *is_there: it could be had. */
static lb_status add_map(maker *k, mtl_slot slot, picture_use use, lb_slot to, bool *is_there)
{
    lb_texture_map map = mapping_of(&k->m->maps[slot]);
    const lb_texture *picture;
    bool had_alpha;
    lb_status status = picture_of(k, slot, use, &picture, &had_alpha);

    *is_there = picture != NULL;
    if (status || !picture)
        return status;
    if (slot == MTL_D && k->m->maps[slot].channel == 0 &&
        (status = fact(k, LB_FACT_ASSUMED,
                       had_alpha ? "map_d: the alpha of its picture is the opacity."
                                 : "map_d: the luminance of its picture, which has "
                                   "no alpha, is the opacity.")))
        return status;
    if (slot == MTL_KD && had_alpha && k->m->maps[MTL_D].line == 0 &&
        (status = fact(k, LB_FACT_DROPPED,
                       "The picture of map_Kd has an alpha; there is no map_d to use it.")))
        return status;
    return put(k, picture, &map, to);
}

/* A factor that only multiplies a map is 1 when the file leaves it out. */
static lb_status choose_color(maker *k, const double given[3], bool is_given, bool has_map,
                              double fallback, const char *name, lb_vec3 *out)
{
    double c[3] = {fallback, fallback, fallback};

    if (is_given)
        memcpy(c, given, sizeof c);
    else if (has_map)
        c[0] = c[1] = c[2] = 1;
    *out = reader_color(k->r, c, false);
    if (!is_given && (has_map || fallback > 0))
        return reader_fact(k->r, LB_FACT_ASSUMED, k->where, "There is no %s: %g.", name, c[0]);
    return LB_OK;
}

/* ---- Roughness and metal, which come apart and are one picture here ---- */

static float scalar_at(const lb_texture_level *level, int32_t channels, int32_t x, int32_t y)
{
    return level->texels[((size_t)y * (size_t)level->width + (size_t)x) * (size_t)channels];
}

static lb_status fill_metal_rough(const lb_texture *rough, const lb_texture *metal, lb_image *image,
                                  lb_box box)
{
    static const char *const names[] = {"R", "G", "B"};
    const lb_texture *from[3] = {NULL, rough, metal};
    lb_status status = LB_OK;

    for (int c = 0; c < 3 && status == LB_OK; c++) {
        lb_texture_level level = {0};
        int32_t channels = from[c] ? lb_texture_channels(from[c]) : 1;
        lb_plane *plane;

        if ((status = lb_plane_new_raw(box, &plane)))
            break;
        if (from[c])
            level = lb_texture_level_at(from[c], 0);
        for (int32_t y = box.y0; y < box.y1; y++) {
            float *row = lb_plane_row_to_fill(plane, y);

            for (int32_t x = box.x0; x < box.x1; x++)
                row[x] = from[c] ? scalar_at(&level, channels, x, y) : 1;
        }
        status = lb_image_add(image, names[c], plane);
        lb_plane_unref(&plane);
    }
    return status;
}

static lb_status put_metal_rough(maker *k, const lb_texture *rough, const lb_texture *metal)
{
    lb_texture_map map = mapping_of(&k->m->maps[rough ? MTL_PR : MTL_PM]);
    lb_texture_level level = lb_texture_level_at(rough ? rough : metal, 0);
    lb_box box = {0, 0, level.width, level.height};
    lb_texture *texture = NULL;
    lb_image *image = NULL;
    lb_status status;

    if ((status = lb_image_new(box, box, &image)) == LB_OK &&
        (status = fill_metal_rough(rough, metal, image, box)) == LB_OK)
        status = lb_texture_new(k->r->pool, image, &map, &texture);
    if (status == LB_OK)
        lb_material_set_map(k->out, LB_SLOT_METAL_ROUGH, texture);
    lb_texture_unref(&texture);
    lb_image_unref(&image);
    return reader_told(k->r, status);
}

static bool same_lay(const mtl_map *a, const mtl_map *b)
{
    return a->clamps == b->clamps && memcmp(a->offset, b->offset, sizeof a->offset) == 0 &&
           memcmp(a->scale, b->scale, sizeof a->scale) == 0;
}

static lb_status add_metal_rough_maps(maker *k)
{
    const mtl_material *m = k->m;
    const lb_texture *rough, *metal;
    bool had_alpha;
    lb_status status;

    if ((status = picture_of(k, MTL_PR, channel_of(&m->maps[MTL_PR], PICTURE_LUMINANCE), &rough,
                             &had_alpha)) ||
        (status = picture_of(k, MTL_PM, channel_of(&m->maps[MTL_PM], PICTURE_LUMINANCE), &metal,
                             &had_alpha)))
        return status;
    k->out->roughness = m->given & MTL_HAS_PR ? (float)m->pr : rough ? 1 : 0.5f;
    k->out->metallic = m->given & MTL_HAS_PM ? (float)m->pm : metal ? 1 : 0;
    if (!(m->given & MTL_HAS_PR) &&
        (status = fact(k, LB_FACT_ASSUMED, rough ? "There is no Pr: 1." : "There is no Pr: 0.5.")))
        return status;
    if (rough && metal) {
        lb_texture_level a = lb_texture_level_at(rough, 0), b = lb_texture_level_at(metal, 0);

        if (a.width != b.width || a.height != b.height ||
            !same_lay(&m->maps[MTL_PR], &m->maps[MTL_PM])) {
            metal = NULL;
            if ((status = fact(k, LB_FACT_DROPPED,
                               "map_Pm is of another size than map_Pr or lies otherwise: it is not "
                               "used.")))
                return status;
        }
    }
    return rough || metal ? put_metal_rough(k, rough, metal) : LB_OK;
}

/* ---- The parts of a material ---- */

static bool is_metal_rough(const mtl_material *m)
{
    return (m->given & (MTL_HAS_PR | MTL_HAS_PM)) || m->maps[MTL_PR].line || m->maps[MTL_PM].line;
}

/* d is how opaque it is, Tr how clear. */
static lb_status read_opacity(maker *k)
{
    const mtl_material *m = k->m;
    bool has_d = m->given & MTL_HAS_D, has_tr = m->given & MTL_HAS_TR, has_map;
    lb_status status = LB_OK;

    k->out->opacity = has_d ? (float)m->d : has_tr ? (float)(1 - m->tr) : 1;
    if (has_d && has_tr && (m->d + m->tr < 0.999 || m->d + m->tr > 1.001))
        status = reader_fact(k->r, LB_FACT_DROPPED, k->where,
                             "d says %g opaque and Tr %g clear: d counts.", m->d, m->tr);
    else if (has_tr && !has_d && m->tr != 0)
        status = reader_fact(k->r, LB_FACT_CONVERTED, k->where, "Tr %g: opacity 1 - Tr.", m->tr);
    if (status == LB_OK)
        status = add_map(k, MTL_D, channel_of(&m->maps[MTL_D], PICTURE_OPACITY), LB_SLOT_OPACITY,
                         &has_map);
    if (status == LB_OK)
        k->out->alpha_mode = k->out->opacity < 1 || has_map ? LB_ALPHA_BLEND : LB_ALPHA_OPAQUE;
    return status;
}

static lb_status read_relief(maker *k)
{
    const mtl_material *m = k->m;
    const mtl_map *bump = &m->maps[MTL_BUMP], *norm = &m->maps[MTL_NORM];
    lb_texture_map map = mapping_of(norm->line ? norm : bump);
    const lb_texture *picture;
    bool had_alpha;
    lb_status status;

    if (norm->line) {
        if (bump->line && (status = fact(k, LB_FACT_DROPPED, "norm is there: bump is not used.")))
            return status;
        map.role = LB_TEXTURE_NORMAL;
        map.scale = norm->bump;
        if ((status = picture_of(k, MTL_NORM, PICTURE_NUMBERS, &picture, &had_alpha)) || !picture)
            return status;
        if ((status = fact(k, LB_FACT_ASSUMED, "norm: green is up the picture, as in glTF 2.0.")))
            return status;
        return put(k, picture, &map, LB_SLOT_NORMAL);
    }
    map.role = LB_TEXTURE_HEIGHT;
    map.scale = bump->bump;
    if ((status =
             picture_of(k, MTL_BUMP, channel_of(bump, PICTURE_LUMINANCE), &picture, &had_alpha)) ||
        !picture)
        return status;
    if ((status =
             reader_fact(k->r, LB_FACT_ASSUMED, k->where,
                         "bump: white is %g scene units (-bm) high; MTL has no unit.", bump->bump)))
        return status;
    return put(k, picture, &map, LB_SLOT_BUMP);
}

static bool is_bright(lb_vec3 color)
{
    return color.x > 0 || color.y > 0 || color.z > 0;
}

/* Illumination model 2 has (N.H)^Ns with the vector half-way to the eye and no N.L, which is what
 * blinn does: Ks and Ns go over as they are. */
static lb_status read_highlight(maker *k)
{
    const mtl_material *m = k->m;
    bool wants =
        m->given & MTL_HAS_ILLUM ? m->illum >= 2 : (m->given & MTL_HAS_KS) || m->maps[MTL_KS].line;
    bool has_map, lacks;
    lb_status status;

    if (!wants) {
        if ((m->given & MTL_HAS_KS) && (m->ks[0] > 0 || m->ks[1] > 0 || m->ks[2] > 0))
            return reader_fact(k->r, LB_FACT_DROPPED, k->where,
                               "illum %lld has no highlights: Ks is not used.",
                               (long long)m->illum);
        return LB_OK;
    }
    if ((status = add_map(k, MTL_KS, PICTURE_COLOR, LB_SLOT_SPECULAR, &has_map)) ||
        (status =
             choose_color(k, m->ks, m->given & MTL_HAS_KS, has_map, 0, "Ks", &k->out->specular)))
        return status;
    lacks = !(m->given & MTL_HAS_NS) && is_bright(k->out->specular);
    k->out->exponent = (float)m->ns;
    if ((lacks && (status = fact(k, LB_FACT_ASSUMED, "There is no Ns: 50."))) ||
        (status = add_map(k, MTL_NS, channel_of(&m->maps[MTL_NS], PICTURE_LUMINANCE),
                          LB_SLOT_EXPONENT, &has_map)))
        return status;
    if ((m->given & MTL_HAS_ILLUM) && m->illum > 2)
        return reader_fact(k->r, LB_FACT_CONVERTED, k->where,
                           "illum %lld is shown as 2: without reflections and refraction.",
                           (long long)m->illum);
    if (!(m->given & MTL_HAS_ILLUM) && is_bright(k->out->specular))
        return fact(k, LB_FACT_ASSUMED, "There is no illum: 2, as there is a Ks.");
    return LB_OK;
}

static lb_status read_shading(maker *k)
{
    const mtl_material *m = k->m;
    bool is_flat = (m->given & MTL_HAS_ILLUM) && m->illum == 0, rough = is_metal_rough(m), has_map;
    lb_status status;

    k->out->shading = rough     ? LB_SHADING_METAL_ROUGH
                      : is_flat ? LB_SHADING_UNLIT
                                : LB_SHADING_BLINN;
    if ((status =
             add_map(k, MTL_KD, PICTURE_COLOR,
                     k->out->shading == LB_SHADING_BLINN ? LB_SLOT_DIFFUSE : LB_SLOT_BASE_COLOR,
                     &has_map)) ||
        (status =
             choose_color(k, m->kd, m->given & MTL_HAS_KD, has_map, 0.8, "Kd", &k->out->diffuse)))
        return status;
    k->out->base_color = k->out->diffuse;
    if (rough) {
        if ((m->given & (MTL_HAS_KS | MTL_HAS_NS)) &&
            (status = fact(k, LB_FACT_CONVERTED,
                           "With Pr or Pm it is a metal-rough material: Ks, Ns and illum are not "
                           "used.")))
            return status;
        return add_metal_rough_maps(k);
    }
    if (is_flat)
        return fact(k, LB_FACT_CONVERTED, "illum 0: its colour is shown without light (unlit).");
    return read_highlight(k);
}

static lb_status read_emission(maker *k)
{
    const mtl_material *m = k->m;
    bool has_map;
    lb_status status;

    if ((status = add_map(k, MTL_KE, PICTURE_COLOR, LB_SLOT_EMISSION, &has_map)))
        return status;
    return choose_color(k, m->ke, m->given & MTL_HAS_KE, has_map, 0, "Ke", &k->out->emission);
}

static lb_status make(maker *k)
{
    const mtl_material *m = k->m;
    lb_status status;

    k->out->double_sided = true;
    snprintf(k->where, sizeof k->where, "%.100s:%lld %.60s", m->library, (long long)m->line,
             k->name);
    if ((status = read_shading(k)) || (status = read_opacity(k)))
        return status;
    if (k->out->shading == LB_SHADING_UNLIT)
        return LB_OK;
    if ((status = read_emission(k)))
        return status;
    return read_relief(k);
}

lb_status mtl_material_get(reader *r, mtl_set *set, int32_t number, lb_material **out)
{
    mtl_material *m = &set->materials[number];
    maker k = {.r = r, .m = m};
    char *name;
    lb_status status;

    *out = m->made;
    if (m->made)
        return LB_OK;
    if ((status = reader_name(r, m->name, &name)))
        return status;
    k.name = name;
    status = reader_told(r, lb_material_new(name, &k.out));
    if (status == LB_OK && (status = make(&k)))
        lb_material_unref(&k.out);
    lb_free(name);
    m->made = *out = status == LB_OK ? k.out : NULL;
    return status;
}
