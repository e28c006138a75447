/* tests/engine/raster/test_shading.c: light on surfaces, by rendering a patch that faces the
 * camera.
 *
 * Tables: blinn_phong.csv (Blinn 1977), metallic_roughness.csv (glTF 2.0, appendix B.3.5),
 * spot.csv, light_range.csv (KHR_lights_punctual), decay.csv (common practice; quadratic:
 * inverse-square law), bump.csv (Blinn 1978), normal_map.csv (glTF 2.0, sections 3.7.2.1
 * and 3.9.3). */
#include <criterion/criterion.h>

#include "tests/engine/raster/stage.h"
#include "tests/support/table.h"

static lb_vec3d unit3(double x, double y, double z)
{
    double length = sqrt(x * x + y * y + z * z);

    return (lb_vec3d){x / length, y / length, z / length};
}

static lb_vec3d columns(const table *t, int row, const char *x, const char *y, const char *z)
{
    return unit3(table_number(t, row, x), table_number(t, row, y), table_number(t, row, z));
}

/* A light in the direction of `way` from the origin, shining at it. */
static lb_item *add_light(lb_scene *scene, lb_light_type type, lb_vec3d way, double distance,
                          float intensity)
{
    lb_vec3d at = {way.x * distance, way.y * distance, way.z * distance};
    lb_item *item = stage_add(scene, LB_ITEM_LIGHT, at.x, at.y, at.z);

    item->trs.rotation = lb_quat_look(at, (lb_vec3d){0, 0, 0});
    item->light = (lb_light){.type = type,
                             .color = {1, 1, 1},
                             .intensity = intensity,
                             .range = INFINITY,
                             .outer_half_rad = 0.5f};
    return item;
}

/* A patch through the origin that faces `view`, with normal n at every corner. */
static lb_item *add_patch(lb_scene *scene, lb_vec3d view, lb_vec3d n, lb_material *material)
{
    lb_quat q = lb_quat_look(view, (lb_vec3d){0, 0, 0});
    lb_vec3d a = lb_quat_rotate(q, (lb_vec3d){8, 0, 0}), b = lb_quat_rotate(q, (lb_vec3d){0, 8, 0});
    lb_vec3 side = {(float)a.x, (float)a.y, (float)a.z}, up = {(float)b.x, (float)b.y, (float)b.z};
    lb_vec3 o = lb_vec3_scale(lb_vec3_add(side, up), -0.5f);
    lb_mesh *mesh = stage_patch(o, side, up);

    for (int32_t i = 0; i < mesh->primitives[0].vertex_count; i++)
        mesh->primitives[0].normals[i] = (lb_vec3){(float)n.x, (float)n.y, (float)n.z};
    return stage_mesh(scene, mesh, material);
}

/* The middle pixel of the scene seen along -view by parallel rays. */
static lb_image *render_from(const lb_scene *scene, lb_vec3d view)
{
    lb_instant instant = stage_pixels(scene, 4);
    lb_raster_options options = stage_options(4, 4, 1);

    stage_look(&instant, (lb_vec3d){view.x * 10, view.y * 10, view.z * 10});
    return stage_render(&instant, 1, &options);
}

static double render_middle(const lb_scene *scene, lb_vec3d view, const char *channel)
{
    lb_image *image = render_from(scene, view);
    double value = stage_at(image, channel, 2, 2);

    lb_image_unref(&image);
    return value;
}

/* Float arithmetic over some fifty steps, and 2^v to 1e-6 v: within 1e-4 of the value. */
static bool is_near(double a, double b)
{
    return fabs(a - b) <= 1e-4 * fabs(b) + 1e-6;
}

Test(shading, blinn)
{
    table t = table_load("blinn_phong");

    for (int row = 0; row < t.rows; row++) {
        lb_vec3d n = columns(&t, row, "n_x", "n_y", "n_z"),
                 v = columns(&t, row, "v_x", "v_y", "v_z");
        float kd = (float)table_number(&t, row, "kd"), ks = (float)table_number(&t, row, "ks");
        lb_scene *scene = stage_new();
        lb_material *m = stage_material(LB_SHADING_BLINN, kd, kd, kd);
        double expected = table_number(&t, row, "blinn_colour"), value;

        m->specular = (lb_vec3){ks, ks, ks};
        m->exponent = (float)table_number(&t, row, "exponent");
        add_patch(scene, v, n, m);
        add_light(scene, LB_LIGHT_DIRECTIONAL, columns(&t, row, "l_x", "l_y", "l_z"), 1, 1);
        value = render_middle(scene, v, "G");
        cr_expect(is_near(value, expected), "row %d: %g, expected %g", row, value, expected);
        lb_scene_unref(&scene);
    }
    table_free(&t);
}

Test(shading, metallic_roughness)
{
    table t = table_load("metallic_roughness");

    for (int row = 0; row < t.rows; row++) {
        lb_vec3d n = columns(&t, row, "n_x", "n_y", "n_z"),
                 v = columns(&t, row, "v_x", "v_y", "v_z");
        static const char *const channels[3] = {"R", "G", "B"};
        static const char *const names[3] = {"radiance_r", "radiance_g", "radiance_b"};
        lb_scene *scene = stage_new();
        lb_material *m = stage_material(LB_SHADING_METAL_ROUGH, 0.8f, 0.4f, 0.2f);
        lb_image *image;

        m->metallic = (float)table_number(&t, row, "metallic");
        m->roughness = (float)table_number(&t, row, "roughness");
        add_patch(scene, v, n, m);
        /* Intensity is the radiance of a white Lambert surface: 1 lux is 1 / pi of it. */
        add_light(scene, LB_LIGHT_DIRECTIONAL, columns(&t, row, "l_x", "l_y", "l_z"), 1,
                  (float)(1 / LB_PI));
        image = render_from(scene, v);
        for (int c = 0; c < 3; c++) {
            double value = stage_at(image, channels[c], 2, 2);
            double expected = table_number(&t, row, names[c]);

            /* Grazing light and mirror directions at roughness 0.2 magnify the error of N.H. */
            cr_expect(fabs(value - expected) <= 5e-4 * expected + 1e-6, "row %d %s: %g, not %g",
                      row, channels[c], value, expected);
        }
        lb_image_unref(&image);
        lb_scene_unref(&scene);
    }
    table_free(&t);
}

/* A white Lambert patch below a light at `distance`, its axis turned by `angle_deg`. */
static double lit(lb_light light, double distance, double angle_deg)
{
    static const lb_vec3d up = {0, 0, 1};
    lb_scene *scene = stage_new();
    lb_item *item;
    double value;

    add_patch(scene, up, up, stage_material(LB_SHADING_BLINN, 1, 1, 1));
    item = add_light(scene, light.type, up, distance, 1);
    item->light = light;
    item->trs.rotation = lb_quat_from_axis((lb_vec3d){1, 0, 0}, angle_deg * LB_PI / 180);
    /* The middle pixel's centre is half a pixel off the axis: make the pixels small. */
    {
        lb_instant instant = stage_pixels(scene, 4);
        lb_raster_options options = stage_options(5, 5, 1);

        instant.camera_settings.ymag = 0.01;
        stage_look(&instant, (lb_vec3d){0, 0, 200});
        lb_image *image = stage_render(&instant, 1, &options);
        value = stage_at(image, "R", 2, 2);
        lb_image_unref(&image);
    }
    lb_scene_unref(&scene);
    return value;
}

Test(shading, spot_cone)
{
    table t = table_load("spot");

    for (int row = 0; row < t.rows; row++) {
        lb_light light = {.type = LB_LIGHT_SPOT, .color = {1, 1, 1}, .intensity = 1};
        double expected = table_number(&t, row, "factor"), value;

        light.range = INFINITY;
        light.inner_half_rad = (float)(table_number(&t, row, "inner_deg") * LB_PI / 180);
        light.outer_half_rad = (float)(table_number(&t, row, "outer_deg") * LB_PI / 180);
        value = lit(light, 3, table_number(&t, row, "angle_deg"));
        /* Cosines of float angles: 1e-7 over the width of the cone's edge, at least 0.001. */
        cr_expect(fabs(value - expected) <= 3e-4, "row %d: %g, expected %g", row, value, expected);
    }
    table_free(&t);
}

Test(shading, decay)
{
    table t = table_load("decay");

    for (int row = 0; row < t.rows; row++) {
        const char *kind = table_text(&t, row, "kind");
        double expected = table_number(&t, row, "factor"), value;
        /* Candela: a white Lambert surface returns illuminance / pi. */
        lb_light light = {.type = LB_LIGHT_POINT,
                          .color = {1, 1, 1},
                          .intensity = strcmp(kind, "quadratic") == 0 ? (float)LB_PI : 1,
                          .range = INFINITY};

        while (strcmp(lb_decay_names[light.decay], kind) != 0)
            light.decay++;
        value = lit(light, table_number(&t, row, "distance"), 0);
        cr_expect(is_near(value, expected), "row %d: %g, expected %g", row, value, expected);
    }
    table_free(&t);
}

Test(shading, range)
{
    table t = table_load("light_range");

    for (int row = 0; row < t.rows; row++) {
        double expected = table_number(&t, row, "attenuation"), value;
        lb_light light = {.type = LB_LIGHT_POINT,
                          .color = {1, 1, 1},
                          .intensity = (float)LB_PI,
                          .decay = LB_DECAY_QUADRATIC,
                          .range = (float)table_number(&t, row, "range")};

        value = lit(light, table_number(&t, row, "distance"), 0);
        cr_expect(is_near(value, expected), "row %d: %g, expected %g", row, value, expected);
    }
    table_free(&t);
}

/* Decay, range and cone all at once, as lb_light_strength has them. */
Test(shading, agrees_with_the_light_on_its_own)
{
    for (int decay = 0; decay < 3; decay++)
        for (int k = 0; k < 5; k++) {
            lb_light light = {.type = LB_LIGHT_SPOT,
                              .color = {1, 1, 1},
                              .intensity = 2.5f,
                              .decay = (lb_decay)decay,
                              .range = 7,
                              .inner_half_rad = 0.1f,
                              .outer_half_rad = 0.6f};
            double distance = 0.5 + 1.5 * k, angle = 8.0 * k;
            double expected = (double)lb_light_strength(&light, (float)distance,
                                                        (float)lb_cos(angle * LB_PI / 180));

            cr_expect(fabs(lit(light, distance, angle) - expected) <= 2e-4 * expected + 1e-7);
        }
}

typedef struct {
    double fu, fv;
} ramp;

/* Height at the texel's middle; v runs down the rows. */
static float ramp_at(const void *context, int32_t x, int32_t y, int32_t channel)
{
    const ramp *r = context;

    (void)channel;
    return (float)(r->fu * (x + 0.5) / 32 + r->fv * (y + 0.5) / 32);
}

static lb_vec3 table_vector(const table *t, int row, const char *x, const char *y, const char *z)
{
    return (lb_vec3){(float)table_number(t, row, x), (float)table_number(t, row, y),
                     (float)table_number(t, row, z)};
}

Test(shading, bump)
{
    table t = table_load("bump");

    for (int row = 0; row < t.rows; row++) {
        lb_vec3 pu = table_vector(&t, row, "pu_x", "pu_y", "pu_z");
        lb_vec3 pv = table_vector(&t, row, "pv_x", "pv_y", "pv_z");
        lb_vec3 o = lb_vec3_scale(lb_vec3_add(pu, pv), -0.5f), n = lb_vec3_cross(pu, pv);
        ramp slopes = {table_number(&t, row, "fu"), table_number(&t, row, "fv")};
        lb_material *m = stage_material(LB_SHADING_BLINN, 1, 1, 1);
        lb_texture_map map = lb_texture_map_default();
        lb_scene *scene = stage_new();
        lb_texture *height;
        lb_instant instant = stage_pixels(scene, 4);
        lb_raster_options options = stage_options(5, 5, 1);
        lb_vec3d eye = unit3((double)n.x, (double)n.y, (double)n.z);
        lb_vec3 expected = table_vector(&t, row, "n_x", "n_y", "n_z"), value;
        lb_image *image;

        map.role = LB_TEXTURE_HEIGHT;
        map.filter = LB_TEXTURE_BILINEAR;
        height = stage_texture(32, 1, ramp_at, &slopes, &map);
        lb_material_set_map(m, LB_SLOT_BUMP, height);
        lb_texture_unref(&height);
        stage_mesh(scene, stage_patch(o, pu, pv), m);
        instant.camera_settings.ymag = 0.01;
        stage_look(&instant, (lb_vec3d){eye.x * 10, eye.y * 10, eye.z * 10});
        image = stage_render(&instant, 1, &options);
        value = (lb_vec3){(float)stage_at(image, "normal.X", 2, 2),
                          (float)stage_at(image, "normal.Y", 2, 2),
                          (float)stage_at(image, "normal.Z", 2, 2)};
        cr_expect(lb_vec3_length(lb_vec3_sub(value, expected)) < 1e-4f,
                  "row %d: %g %g %g, expected %g %g %g", row, (double)value.x, (double)value.y,
                  (double)value.z, (double)expected.x, (double)expected.y, (double)expected.z);
        lb_image_unref(&image);
        lb_scene_unref(&scene);
    }
    table_free(&t);
}

static float code_at(const void *context, int32_t x, int32_t y, int32_t channel)
{
    (void)x;
    (void)y;
    return ((const float *)context)[channel] / 255;
}

/* With tangents of the vertices; and without, where the plane's u is +x and its v is down. */
static void check_normal_map(const table *t, int row, bool with_tangents)
{
    float codes[3] = {(float)table_number(t, row, "r"), (float)table_number(t, row, "g"),
                      (float)table_number(t, row, "b")};
    float hand = (float)table_number(t, row, "handedness");
    lb_material *m = stage_material(LB_SHADING_BLINN, 1, 1, 1);
    lb_texture_map map = lb_texture_map_default();
    lb_scene *scene = stage_new();
    lb_instant instant = stage_pixels(scene, 4);
    lb_raster_options options = stage_options(4, 4, 1);
    lb_vec3 expected = table_vector(t, row, "n_x", "n_y", "n_z"), value;
    lb_texture *normals;
    lb_image *image;
    lb_mesh *mesh;

    map.role = LB_TEXTURE_NORMAL;
    map.scale = table_number(t, row, "scale");
    normals = stage_texture(4, 3, code_at, codes, &map);
    lb_material_set_map(m, LB_SLOT_NORMAL, normals);
    lb_texture_unref(&normals);
    MUST(lb_mesh_plane(8, 8, 1, 1, &mesh));
    if (with_tangents) {
        lb_primitive *p = &mesh->primitives[0];

        lb_free(p->tangents);
        p->tangents = lb_alloc((size_t)p->vertex_count, sizeof *p->tangents);
        for (int32_t i = 0; p->tangents && i < p->vertex_count; i++)
            p->tangents[i] = (lb_vec4){1, 0, 0, hand};
    }
    stage_mesh(scene, mesh, m);
    stage_look(&instant, (lb_vec3d){0, 0, 10});
    image = stage_render(&instant, 1, &options);
    value = (lb_vec3){(float)stage_at(image, "normal.X", 2, 2),
                      (float)stage_at(image, "normal.Y", 2, 2),
                      (float)stage_at(image, "normal.Z", 2, 2)};
    cr_expect(lb_vec3_length(lb_vec3_sub(value, expected)) < 1e-5f,
              "row %d, tangents %d: %g %g %g, expected %g %g %g", row, with_tangents,
              (double)value.x, (double)value.y, (double)value.z, (double)expected.x,
              (double)expected.y, (double)expected.z);
    lb_image_unref(&image);
    lb_scene_unref(&scene);
}

Test(shading, normal_map)
{
    table t = table_load("normal_map");

    for (int row = 0; row < t.rows; row++) {
        check_normal_map(&t, row, true);
        if (table_number(&t, row, "handedness") > 0)
            check_normal_map(&t, row, false);
    }
    table_free(&t);
}

/* The side that is not the outer one shows the normal turned round (glTF 2.0, 3.9.6): lit from its
 * own side, either side of a patch looks the same. */
Test(shading, inner_sides_turn_the_normal)
{
    for (int side = -1; side <= 1; side += 2) {
        lb_scene *scene = stage_new();
        double value;

        add_patch(scene, (lb_vec3d){0, 0, 1}, (lb_vec3d){0, 0, 1},
                  stage_material(LB_SHADING_BLINN, 1, 1, 1));
        add_light(scene, LB_LIGHT_DIRECTIONAL, unit3(0.6, 0, side * 0.8), 1, 1);
        value = render_middle(scene, (lb_vec3d){0, 0, side}, "R");
        cr_expect(fabs(value - 0.8) < 1e-6, "side %d: %g", side, value);
        value = render_middle(scene, (lb_vec3d){0, 0, side}, "normal.Z");
        cr_expect(value == side);
        value = render_middle(scene, (lb_vec3d){0, 0, -side}, "R");
        cr_expect(value == 0, "from the dark side: %g", value);
        lb_scene_unref(&scene);
    }
}

static float constant_at(const void *context, int32_t x, int32_t y, int32_t channel)
{
    (void)x;
    (void)y;
    return ((const float *)context)[channel];
}

static void set_constant(lb_material *m, lb_slot slot, int32_t channels, float a, float b, float c,
                         float d)
{
    float values[4] = {a, b, c, d};
    lb_texture_map map = lb_texture_map_default();
    lb_texture *texture = stage_texture(2, channels, constant_at, values, &map);

    lb_material_set_map(m, slot, texture);
    lb_texture_unref(&texture);
}

/* Maps multiply the factors, slot by slot; values by hand from the formulas of 5.1. */
Test(shading, maps_multiply)
{
    static const lb_vec3d up = {0, 0, 1};
    lb_scene *scene = stage_new();
    lb_material *m = stage_material(LB_SHADING_BLINN, 0.5f, 0.5f, 0.5f);
    lb_image *image;
    lb_item *ambient;

    m->specular = (lb_vec3){0.5f, 0.25f, 1};
    m->exponent = 20;
    m->emission = (lb_vec3){2, 2, 2};
    set_constant(m, LB_SLOT_DIFFUSE, 3, 0.5f, 0.25f, 1, 0);
    set_constant(m, LB_SLOT_SPECULAR, 3, 0.5f, 1, 0.25f, 0);
    set_constant(m, LB_SLOT_EXPONENT, 1, 0.5f, 0, 0, 0);
    set_constant(m, LB_SLOT_EMISSION, 3, 0.5f, 0.25f, 0, 0);
    set_constant(m, LB_SLOT_OCCLUSION, 1, 0.5f, 0, 0, 0);
    add_patch(scene, up, up, m);
    /* N.L 0.6; half vector between (0, 0, 1) and (0.8, 0, 0.6): N.H = sqrt(0.8). */
    add_light(scene, LB_LIGHT_DIRECTIONAL, (lb_vec3d){0.8, 0, 0.6}, 1, 1);
    ambient = add_light(scene, LB_LIGHT_AMBIENT, up, 1, 1);
    ambient->light.color = (lb_vec3){1, 0.5f, 0};
    image = render_from(scene, up);
    double gloss = lb_pow(0.8, 5); /* exponent 10 */
    double expected[3] = {0.25 * 0.6 + 0.25 * gloss + 1 + 0.25 * 0.5,
                          0.125 * 0.6 + 0.25 * gloss + 0.5 + 0.125 * 0.5 * 0.5,
                          0.5 * 0.6 + 0.25 * gloss};
    cr_expect(fabs(stage_at(image, "R", 2, 2) - expected[0]) < 1e-5);
    cr_expect(fabs(stage_at(image, "G", 2, 2) - expected[1]) < 1e-5);
    cr_expect(fabs(stage_at(image, "B", 2, 2) - expected[2]) < 1e-5);
    lb_image_unref(&image);
    lb_scene_unref(&scene);
}

/* A metal-rough map says the same as the factors (glTF 2.0, 3.9.2: G roughness, B metallic), and
 * colours of vertices multiply. */
Test(shading, metal_rough_map_and_vertex_colors)
{
    static const lb_vec3d up = {0, 0, 1};
    double value[2];

    for (int k = 0; k < 2; k++) {
        lb_scene *scene = stage_new();
        lb_material *m = stage_material(LB_SHADING_METAL_ROUGH, 0.8f, 0.8f, 0.8f);
        lb_item *item = add_patch(scene, up, up, m);
        lb_primitive *p = &item->mesh->primitives[0];

        m->metallic = k ? 1 : 0.5f;
        m->roughness = k ? 1 : 0.25f;
        m->base_color = k ? m->base_color : (lb_vec3){0.4f, 0.4f, 0.4f};
        if (k) {
            set_constant(m, LB_SLOT_METAL_ROUGH, 3, 9, 0.25f, 0.5f, 0);
            p->colors = lb_alloc((size_t)p->vertex_count, sizeof *p->colors);
            for (int32_t i = 0; p->colors && i < p->vertex_count; i++)
                p->colors[i] = (lb_vec4){0.5f, 0.5f, 0.5f, 1};
        }
        add_light(scene, LB_LIGHT_DIRECTIONAL, unit3(0.3, 0.1, 1), 1, 1);
        value[k] = render_middle(scene, up, "R");
        lb_scene_unref(&scene);
    }
    cr_expect(fabs(value[0] - value[1]) < 1e-6 * value[0], "%g %g", value[0], value[1]);
}

/* lighting off: diffuse or base colour as it is. Unlit does not mind lights (KHR_materials_unlit).
 */
Test(shading, without_lights)
{
    static const lb_vec3d up = {0, 0, 1};

    for (int k = 0; k < 3; k++) {
        lb_scene *scene = stage_new();
        lb_material *m = stage_material((lb_shading)k, 0.25f, 0.5f, 1.5f);
        lb_instant instant = stage_pixels(scene, 4);
        lb_raster_options options = stage_options(4, 4, 4);
        lb_image *image;

        m->emission = (lb_vec3){3, 3, 3};
        add_patch(scene, up, up, m);
        add_light(scene, LB_LIGHT_DIRECTIONAL, unit3(1, 1, 1), 1, 0.1f);
        stage_look(&instant, (lb_vec3d){0, 0, 10});
        options.lighting = k == LB_SHADING_UNLIT;
        image = stage_render(&instant, 1, &options);
        cr_expect(stage_at(image, "R", 1, 1) == 0.25 && stage_at(image, "G", 1, 1) == 0.5 &&
                      stage_at(image, "B", 1, 1) == 1.5 && stage_at(image, "A", 1, 1) == 1,
                  "%s", lb_shading_names[k]);
        lb_image_unref(&image);
        lb_scene_unref(&scene);
    }
}

/* A scene without any light has one in the camera: Lambert's cosine of the angle to it. */
Test(shading, headlight)
{
    lb_scene *scene = stage_new();
    lb_vec3d view = unit3(0, 0, 1);
    double value;

    add_patch(scene, view, unit3(0.6, 0, 0.8), stage_material(LB_SHADING_BLINN, 0.5f, 0.5f, 0.5f));
    value = render_middle(scene, view, "R");
    cr_expect(fabs(value - 0.4) < 1e-6, "%g", value);
    stage_add(scene, LB_ITEM_LIGHT, 0, 0, 0)->visible = false;
    value = render_middle(scene, view, "R");
    cr_expect(value == 0, "a light that is hidden is a light: %g", value);
    lb_scene_unref(&scene);
}
