/* tests/engine/scene/test_mtl.c: material libraries written here. "MTL material format",
 * version 3.0, is the description; what it leaves open is in docs/formats.md. */
#include "tests/engine/scene/imports.h"

#define FACE "v 0 0 0\nv 1 0 0\nv 1 1 0\nvt 0 0\nvt 1 0\nvt 1 1\nusemtl glaze\nf 1/1 2/2 3/3\n"

/* One material, `glaze`, with pictures for it beside. */
static import_run library(const char *lines)
{
    static const uint32_t pixels[] = {0xFF0000FF, 0x00FF00FF, 0x0000FF80, 0xFFFFFF00};
    static const uint32_t grey[] = {0x404040FF, 0x808080FF, 0xC0C0C0FF, 0xFFFFFFFF};
    import_run r = import_begin();
    char text[2048];

    import_picture(&r, "rgba.png", 2, 2, pixels);
    import_picture(&r, "grey.png", 2, 2, grey);
    import_picture(&r, "a b.png", 2, 2, grey);
    import_picture(&r, "long.png", 4, 1, grey);
    snprintf(text, sizeof text, "newmtl glaze\n%s", lines);
    import_text(&r, "clay.mtl", text);
    import_text(&r, "kiln.obj", "mtllib clay.mtl\n" FACE);
    import_read(&r, "kiln.obj");
    return r;
}

static const lb_material *material(const import_run *r)
{
    cr_assert(r->status == LB_OK && r->scene->item_count > 0, "%s", r->messages);
    return r->scene->items[0].mesh->primitives[0].material;
}

static bool told(const import_run *r, lb_fact_kind kind, const char *what)
{
    return import_has_fact(r->scene, kind, "", what);
}

static bool is_color(lb_vec3 c, float x, float y, float z)
{
    return fabsf(c.x - x) < 1e-6f && fabsf(c.y - y) < 1e-6f && fabsf(c.z - z) < 1e-6f;
}

Test(mtl, phong_terms)
{
    import_run r = library("Kd 0.1 0.2 0.3\nKs 0.4\nNs 37.5\nKe 1 2 3\nd 0.25\nillum 2\n");
    const lb_material *m = material(&r);

    cr_expect(m->shading == LB_SHADING_BLINN && strcmp(m->name, "glaze") == 0 && m->double_sided);
    cr_expect(is_color(m->diffuse, 0.1f, 0.2f, 0.3f) && is_color(m->specular, 0.4f, 0.4f, 0.4f));
    cr_expect(is_color(m->emission, 1, 2, 3) && m->exponent == 37.5f);
    cr_expect(m->opacity == 0.25f && m->alpha_mode == LB_ALPHA_BLEND);
    cr_expect(told(&r, LB_FACT_ASSUMED, "Colours of materials are taken as linear"));
    import_end(&r);
}

Test(mtl, illumination_models)
{
    static const struct {
        const char *lines;
        lb_shading shading;
        float specular, exponent;
        lb_fact_kind kind;
        const char *fact;
    } rows[] = {
        {"Kd 1 1 1\nKs 1 1 1\nillum 0\n", LB_SHADING_UNLIT, 0, 50, LB_FACT_CONVERTED, "(unlit)"},
        {"Ks 1 1 1\nNs 9\nillum 1\n", LB_SHADING_BLINN, 0, 50, LB_FACT_DROPPED,
         "illum 1 has no highlights"},
        {"Ks 1 1 1\nillum 2\n", LB_SHADING_BLINN, 1, 50, LB_FACT_ASSUMED, "There is no Ns: 50."},
        {"Ks 1 1 1\nNs 9\nillum 7\n", LB_SHADING_BLINN, 1, 9, LB_FACT_CONVERTED,
         "illum 7 is shown as 2"},
        {"Ks 1 1 1\nNs 9\n", LB_SHADING_BLINN, 1, 9, LB_FACT_ASSUMED, "There is no illum: 2"},
        {"", LB_SHADING_BLINN, 0, 50, LB_FACT_ASSUMED, "There is no Kd: 0.8."},
    };

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        import_run r = library(rows[i].lines);
        const lb_material *m = material(&r);

        cr_expect(m->shading == rows[i].shading, "%s", rows[i].lines);
        cr_expect(m->specular.x == rows[i].specular && m->exponent == rows[i].exponent, "%s",
                  rows[i].lines);
        cr_expect(told(&r, rows[i].kind, rows[i].fact), "%s", rows[i].lines);
        import_end(&r);
    }
}

Test(mtl, opacity)
{
    static const struct {
        const char *lines;
        float opacity;
        lb_alpha_mode mode;
        const char *fact; /* NULL: none about it */
        lb_fact_kind kind;
    } rows[] = {
        {"d 1\nTr 0\n", 1, LB_ALPHA_OPAQUE, NULL, 0},
        {"d 0.75\nTr 0.25\n", 0.75f, LB_ALPHA_BLEND, NULL, 0},
        {"Tr 0.25\n", 0.75f, LB_ALPHA_BLEND, "opacity 1 - Tr", LB_FACT_CONVERTED},
        {"d 1\nTr 1\n", 1, LB_ALPHA_OPAQUE, "d says 1 opaque and Tr 1 clear: d counts",
         LB_FACT_DROPPED},
        {"Tr 0.5\nd 0.25\n", 0.25f, LB_ALPHA_BLEND, "d counts", LB_FACT_DROPPED},
        {"d -halo 0.5\n", 0.5f, LB_ALPHA_BLEND, "-halo", LB_FACT_DROPPED},
    };

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        import_run r = library(rows[i].lines);
        const lb_material *m = material(&r);

        cr_expect(m->opacity == rows[i].opacity && m->alpha_mode == rows[i].mode, "%s",
                  rows[i].lines);
        cr_expect(rows[i].fact
                      ? told(&r, rows[i].kind, rows[i].fact)
                      : !told(&r, LB_FACT_DROPPED, "clear") && !told(&r, LB_FACT_CONVERTED, "Tr"),
                  "%s", rows[i].lines);
        import_end(&r);
    }
}

/* A texel as it is stored: row and column from the top left. */
static float texel(const lb_texture *texture, int32_t x, int32_t y, int32_t channel)
{
    lb_texture_level level = lb_texture_level_at(texture, 0);
    int32_t channels = lb_texture_channels(texture);

    return level.texels[(y * level.width + x) * channels + (channels == 1 ? 0 : channel)];
}

Test(mtl, maps_and_what_their_pixels_mean)
{
    import_run r =
        library("Kd 1 1 1\nKs 1 1 1\nNs 100\nmap_Kd rgba.png\nmap_Ks grey.png\n"
                "map_Ns grey.png\nmap_d rgba.png\nmap_Ke grey.png\nbump -bm 0.125 a b.png\n");
    const lb_material *m = material(&r);
    float grey = 64 / 255.0f, light = 0.05126946f; /* IEC 61966-2-1 of 64 / 255 */

    cr_assert(m->maps[LB_SLOT_DIFFUSE] && m->maps[LB_SLOT_SPECULAR] && m->maps[LB_SLOT_EXPONENT] &&
              m->maps[LB_SLOT_OPACITY] && m->maps[LB_SLOT_EMISSION] && m->maps[LB_SLOT_BUMP]);
    cr_expect(texel(m->maps[LB_SLOT_DIFFUSE], 0, 0, 0) == 1 &&
              texel(m->maps[LB_SLOT_DIFFUSE], 0, 0, 1) == 0);
    cr_expect(lb_texture_channels(m->maps[LB_SLOT_DIFFUSE]) == 3 && /* alpha leaves colour alone */
              texel(m->maps[LB_SLOT_DIFFUSE], 0, 1, 2) == 1);
    cr_expect(fabsf(texel(m->maps[LB_SLOT_SPECULAR], 0, 0, 0) - light) < 1e-6f);
    cr_expect(fabsf(texel(m->maps[LB_SLOT_EXPONENT], 0, 0, 0) - grey) < 1e-6f);
    cr_expect(fabsf(texel(m->maps[LB_SLOT_OPACITY], 0, 1, 0) - 128 / 255.0f) < 1e-6f);
    cr_expect(lb_texture_mapping(m->maps[LB_SLOT_BUMP])->role == LB_TEXTURE_HEIGHT);
    cr_expect(lb_texture_mapping(m->maps[LB_SLOT_BUMP])->scale == 0.125);
    cr_expect(m->alpha_mode == LB_ALPHA_BLEND && is_color(m->emission, 1, 1, 1));
    cr_expect(told(&r, LB_FACT_ASSUMED, "map_d: the alpha of its picture"));
    cr_expect(told(&r, LB_FACT_ASSUMED, "bump: white is 0.125 scene units"));
    import_end(&r);
    r = library("map_Kd rgba.png\nmap_d grey.png\nnorm -bm 2 rgba.png\nbump grey.png\n");
    m = material(&r);
    cr_expect(fabsf(texel(m->maps[LB_SLOT_OPACITY], 0, 0, 0) - grey) < 1e-6f);
    cr_expect(told(&r, LB_FACT_ASSUMED, "luminance of its picture"));
    cr_expect(lb_texture_mapping(m->maps[LB_SLOT_NORMAL])->role == LB_TEXTURE_NORMAL);
    cr_expect(lb_texture_mapping(m->maps[LB_SLOT_NORMAL])->scale == 2 && !m->maps[LB_SLOT_BUMP]);
    cr_expect(is_color(m->diffuse, 1, 1, 1) && told(&r, LB_FACT_ASSUMED, "There is no Kd: 1."));
    import_end(&r);
    r = library("map_Kd rgba.png\n");
    (void)material(&r);
    cr_expect(told(&r, LB_FACT_DROPPED, "map_Kd has an alpha"));
    import_end(&r);
}

Test(mtl, channels_and_ranges)
{
    static const struct {
        const char *line;
        float value; /* of the texel (0, 1), which is 0 0 255 128 */
    } rows[] = {
        {"map_Ns -imfchan r rgba.png\n", 0},
        {"map_Ns -imfchan b rgba.png\n", 1},
        {"map_Ns -imfchan m rgba.png\n", 128 / 255.0f},
        {"map_Ns -imfchan l rgba.png\n", 0.0722f},
        {"map_Ns rgba.png -imfchan b\n", 1},
        {"map_Ns -mm 0.25 0.5 -imfchan b rgba.png\n", 0.75f},
    };

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        char lines[128];
        import_run r;

        snprintf(lines, sizeof lines, "Ks 1 1 1\nNs 2\nillum 2\n%s", rows[i].line);
        r = library(lines);
        cr_assert(material(&r)->maps[LB_SLOT_EXPONENT], "%s", rows[i].line);
        cr_expect(fabsf(texel(material(&r)->maps[LB_SLOT_EXPONENT], 0, 1, 0) - rows[i].value) <
                      2e-3f,
                  "%s", rows[i].line);
        import_end(&r);
    }
}

/* u' = u s + o with v up; ours goes down, so the place (u, 1 - v) must come to (u', 1 - v'). */
Test(mtl, options_of_place)
{
    import_run r = library("map_Kd -s 2 3 1 -o 0.1 0.2 0 -clamp on grey.png\n");
    const lb_texture_map *map = lb_texture_mapping(material(&r)->maps[LB_SLOT_DIFFUSE]);
    double u = 0.3, v = 0.6, down = 1 - v;

    cr_expect(map->wrap_u == LB_WRAP_CLAMP && map->wrap_v == LB_WRAP_CLAMP);
    cr_expect(fabs(map->matrix[0] * u + map->matrix[1] * down + map->matrix[2] - (u * 2 + 0.1)) <
              1e-12);
    cr_expect(fabs(map->matrix[3] * u + map->matrix[4] * down + map->matrix[5] -
                   (1 - (v * 3 + 0.2))) < 1e-12);
    cr_expect(told(&r, LB_FACT_CONVERTED, "-clamp on"));
    import_end(&r);
    r = library("map_Kd -blendu off -blendv on -cc on -boost 2 -texres 64 -t 1 1 1 -type sphere "
                "grey.png\n");
    cr_expect(lb_texture_mapping(material(&r)->maps[LB_SLOT_DIFFUSE])->wrap_u == LB_WRAP_REPEAT);
    cr_expect(told(&r, LB_FACT_DROPPED, "-blendu off") && !told(&r, LB_FACT_DROPPED, "-blendv"));
    cr_expect(told(&r, LB_FACT_DROPPED, "-cc") && told(&r, LB_FACT_DROPPED, "-boost"));
    cr_expect(told(&r, LB_FACT_DROPPED, "-texres") && told(&r, LB_FACT_DROPPED, "-t is"));
    cr_expect(told(&r, LB_FACT_DROPPED, "-type"));
    import_end(&r);
}

Test(mtl, roughness_and_metal)
{
    import_run r = library(
        "Kd 1 0 0\nPr 0.25\nPm 0.75\nmap_Pr grey.png\nmap_Pm -imfchan b rgba.png\nKs 1 1 1\n");
    const lb_material *m = material(&r);
    const lb_texture *map = m->maps[LB_SLOT_METAL_ROUGH];

    cr_assert(m->shading == LB_SHADING_METAL_ROUGH && map);
    cr_expect(m->roughness == 0.25f && m->metallic == 0.75f && is_color(m->base_color, 1, 0, 0));
    cr_expect(fabsf(texel(map, 0, 0, 1) - 64 / 255.0f) < 1e-6f && texel(map, 0, 0, 2) == 0);
    cr_expect(fabsf(texel(map, 0, 1, 1) - 192 / 255.0f) < 1e-6f && texel(map, 0, 1, 2) == 1);
    cr_expect(told(&r, LB_FACT_CONVERTED, "metal-rough"));
    import_end(&r);
    r = library("Pm 1\nmap_Pr grey.png\nmap_Pm long.png\n");
    cr_expect(told(&r, LB_FACT_DROPPED, "map_Pm is of another size") &&
              told(&r, LB_FACT_ASSUMED, "There is no Pr: 1."));
    cr_expect(texel(material(&r)->maps[LB_SLOT_METAL_ROUGH], 0, 0, 2) == 1);
    import_end(&r);
}

Test(mtl, what_is_not_shown_is_told)
{
    import_run r = library("Ka 0 0 0\nTf 1 1 1\nNi 1\nKd 1 1 1\n");

    (void)material(&r);
    for (size_t i = 0; i < r.scene->fact_count; i++)
        cr_expect(r.scene->facts[i].kind != LB_FACT_DROPPED, "%s", r.scene->facts[i].what);
    import_end(&r);
    r = library(
        "Ka 1 1 1\nTf 0.5 1 1\nNi 1.45\nsharpness 60\nrefl -type sphere x.png\nPc 1\nwhat 1\n"
        "Kd spectral x.rfl\nNs much\nmap_Kd gone.png\nmap_Ks \"C:\\x\\gone too.png\"\n");
    (void)material(&r);
    cr_expect(
        import_has_fact(r.scene, LB_FACT_DROPPED, "clay.mtl:2", "Ka (the colour under ambient"));
    cr_expect(import_has_fact(r.scene, LB_FACT_DROPPED, "clay.mtl:3", "Tf"));
    cr_expect(
        import_has_fact(r.scene, LB_FACT_DROPPED, "clay.mtl:4", "Ni (the index of refraction)"));
    cr_expect(import_has_fact(r.scene, LB_FACT_DROPPED, "clay.mtl:5", "sharpness"));
    cr_expect(import_has_fact(r.scene, LB_FACT_DROPPED, "clay.mtl:6", "refl"));
    cr_expect(import_has_fact(r.scene, LB_FACT_DROPPED, "clay.mtl:8", "what is not known"));
    cr_expect(import_has_fact(r.scene, LB_FACT_DROPPED, "clay.mtl:9",
                              "make no sense are passed over: 2"));
    cr_expect(import_has_fact(r.scene, LB_FACT_DROPPED, "clay.mtl:11", "is missing"));
    cr_expect(strstr(r.messages, "clay.mtl:11: '") && strstr(r.messages, "gone.png' is missing"));
    import_end(&r);
}

Test(mtl, libraries)
{
    import_run r = import_begin();

    import_text(&r, "two words.mtl", "newmtl a\nKd 1 0 0\n");
    import_text(&r, "b.mtl", "newmtl b\nKd 0 1 0\nnewmtl a\nKd 0 0 1\n");
    import_text(
        &r, "kiln.obj",
        "mtllib two words.mtl\nmtllib gone.mtl b.mtl\nmtllib b.mtl\nv 0 0 0\nv 1 0 0\nv 0 1 0\n"
        "usemtl a\nf 1 2 3\nusemtl b\nf 1 2 3\nusemtl c\nf 1 2 3\nusemtl a\nf 1 2 3\n");
    import_read(&r, "kiln.obj");
    cr_assert(r.status == LB_OK && r.scene->items[0].mesh->primitive_count == 3);
    cr_expect(r.scene->items[0].mesh->primitives[0].triangle_count == 2);
    cr_expect(is_color(r.scene->items[0].mesh->primitives[0].material->diffuse, 1, 0, 0));
    cr_expect(is_color(r.scene->items[0].mesh->primitives[1].material->diffuse, 0, 1, 0));
    cr_expect(is_color(r.scene->items[0].mesh->primitives[2].material->diffuse, 0.8f, 0.8f, 0.8f));
    cr_expect(strcmp(r.scene->items[0].mesh->primitives[2].material->name, "c") == 0);
    cr_expect(import_has_fact(r.scene, LB_FACT_DROPPED, "kiln.obj:2", "gone.mtl' is missing"));
    cr_expect(import_has_fact(r.scene, LB_FACT_ASSUMED, "kiln.obj", "'c' is in no library"));
    cr_expect(import_has_fact(r.scene, LB_FACT_DROPPED, "b.mtl:3", "name that is there already"));
    cr_expect(strstr(r.messages, "line 2: the material library"));
    import_end(&r);
}

Test(mtl, pictures_of_another_machine_are_looked_for_beside)
{
    import_run r = library("map_Kd C:\\work\\maps\\grey.png\nmap_Ks /home/else/grey.png\n");

    cr_expect(material(&r)->maps[LB_SLOT_DIFFUSE] && material(&r)->maps[LB_SLOT_SPECULAR]);
    cr_expect(told(&r, LB_FACT_CONVERTED, "A path of another machine"));
    import_end(&r);
}

typedef struct {
    char names[16][1024];
    int count;
} file_list;

static lb_status list_file(void *context, const char *path)
{
    file_list *list = context;
    const char *slash = strrchr(path, '/');

    if (list->count < 16)
        snprintf(list->names[list->count++], 1024, "%s", slash ? slash + 1 : path);
    return LB_OK;
}

/* Everything that decides the result is named, there or not. */
Test(mtl, files_that_are_referred_to)
{
    static const char text[] = "v 0 0 0\n  mtllib a.mtl b.mtl\nmtllib \\\n c.mtl\n";
    static const char *const wanted[] = {"a.mtl b.mtl", "a.mtl", "x.png",
                                         "y z.png",     "b.mtl", "c.mtl"};
    import_run r = import_begin();
    file_list list = {0};
    char path[1024];

    import_text(&r, "a.mtl", "newmtl a\nmap_Kd -s 1 2 x.png\nbump sub\\y z.png\n");
    import_path(&r, "kiln.obj", path);
    cr_expect(lb_import_files(NULL, LB_NOWHERE, path, text, sizeof text - 1, list_file, &list) ==
              LB_OK);
    cr_expect(list.count == 6, "%d", list.count);
    for (int i = 0; i < list.count && i < 6; i++)
        cr_expect(strcmp(list.names[i], wanted[i]) == 0, "%d: %s", i, list.names[i]);
    import_end(&r);
}
