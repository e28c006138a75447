/* tests/engine/raster/stage.h: small scenes for tests. What goes wrong ends the test. */
#ifndef LB_TESTS_RASTER_STAGE_H
#define LB_TESTS_RASTER_STAGE_H

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "engine/base/math.h"
#include "engine/raster/raster.h"

static inline void stage_must(lb_status status, const char *what)
{
    if (status == LB_OK)
        return;
    fprintf(stderr, "%s: %s\n", what, lb_status_text(status));
    abort();
}
#define MUST(call) stage_must((call), #call)

static inline lb_scene *stage_new(void)
{
    lb_scene *scene;

    MUST(lb_scene_new(&scene));
    return scene;
}

static inline lb_item *stage_add(lb_scene *scene, lb_item_kind kind, double x, double y, double z)
{
    lb_item *item;

    MUST(lb_scene_add_item(scene, "", "", kind, -1, &item));
    item->trs.translation = (lb_vec3d){x, y, z};
    return item;
}

/* Takes over both. */
static inline lb_item *stage_mesh(lb_scene *scene, lb_mesh *mesh, lb_material *material)
{
    lb_item *item = stage_add(scene, LB_ITEM_MESH, 0, 0, 0);

    item->mesh = mesh;
    item->material = material;
    return item;
}

static inline lb_material *stage_material(lb_shading shading, float r, float g, float b)
{
    lb_material *m;

    MUST(lb_material_new("", &m));
    m->shading = shading;
    m->diffuse = m->base_color = (lb_vec3){r, g, b};
    m->double_sided = true;
    return m;
}

/* A mesh of separate triangles; uvs may be NULL. */
static inline lb_mesh *stage_triangles(const lb_vec3 *corners, const lb_vec2 *uvs, int32_t count)
{
    lb_mesh *mesh;
    lb_primitive *p;

    MUST(lb_mesh_new("", 1, &mesh));
    p = &mesh->primitives[0];
    p->vertex_count = 3 * count;
    p->triangle_count = count;
    p->positions = lb_alloc((size_t)p->vertex_count, sizeof *p->positions);
    p->indices = lb_alloc((size_t)p->vertex_count, sizeof *p->indices);
    if (uvs)
        p->uvs[0] = lb_alloc((size_t)p->vertex_count, sizeof *p->uvs[0]);
    if (!p->positions || !p->indices || (uvs && !p->uvs[0]))
        stage_must(LB_MEMORY, "triangles");
    for (int32_t i = 0; i < p->vertex_count; i++) {
        p->positions[i] = corners[i];
        p->indices[i] = (uint32_t)i;
        if (uvs)
            p->uvs[0][i] = uvs[i];
    }
    MUST(lb_mesh_finish(mesh));
    return mesh;
}

/* Two triangles with corners o, o + a, o + a + b, o + b; u along a, v along b. */
static inline lb_mesh *stage_patch(lb_vec3 o, lb_vec3 a, lb_vec3 b)
{
    lb_vec3 oa = lb_vec3_add(o, a), ob = lb_vec3_add(o, b), oab = lb_vec3_add(oa, b);
    lb_vec3 corners[6] = {o, oa, oab, o, oab, ob};
    lb_vec2 uvs[6] = {{0, 0}, {1, 0}, {1, 1}, {0, 0}, {1, 1}, {0, 1}};

    return stage_triangles(corners, uvs, 2);
}

/* An orthographic camera for which a scene unit is a pixel: pixel (x, y) is the point
 * (x - width / 2, height / 2 - y) of any plane parallel to it. */
static inline lb_instant stage_pixels(const lb_scene *scene, int32_t height)
{
    lb_instant instant = {.scene = scene, .camera = -1, .camera_world = lb_mat4_identity()};

    instant.camera_settings = (lb_camera){
        .orthographic = true, .ymag = height / 2.0, .xmag = height / 2.0, .near = 0, .far = 1000};
    return instant;
}

/* A perspective camera in the origin, looking along -z. */
static inline lb_instant stage_lens(const lb_scene *scene, double yfov_rad)
{
    lb_instant instant = {.scene = scene, .camera = -1, .camera_world = lb_mat4_identity()};

    instant.camera_settings = (lb_camera){.yfov_rad = yfov_rad, .near = 0.1, .far = INFINITY};
    return instant;
}

/* Puts the camera to `eye`, looking at the origin. */
static inline void stage_look(lb_instant *instant, lb_vec3d eye)
{
    lb_trs trs = {eye, lb_quat_look(eye, (lb_vec3d){0, 0, 0}), {1, 1, 1}};

    instant->camera_world = lb_mat4_from_trs(&trs);
}

static inline lb_raster_options stage_options(int32_t width, int32_t height, int32_t samples)
{
    return (lb_raster_options){.width = width,
                               .height = height,
                               .pixel_aspect = 1,
                               .region = {0, 0, width, height},
                               .samples = samples,
                               .layers =
                                   LB_LAYER_COLOR | LB_LAYER_DEPTH | LB_LAYER_NORMAL | LB_LAYER_UV,
                               .lighting = true};
}

static inline lb_image *stage_render(const lb_instant *instants, int32_t count,
                                     const lb_raster_options *options)
{
    lb_image *image;

    MUST(lb_raster_render(NULL, instants, count, options, &image));
    return image;
}

static inline double stage_at(const lb_image *image, const char *channel, int32_t x, int32_t y)
{
    const lb_plane *plane = lb_image_find(image, channel);

    if (!plane)
        stage_must(LB_NOT_FOUND, channel);
    return (double)lb_plane_at(plane, x, y);
}

/* A texture whose texel (x, y) has the value at(x, y, channel); released by the caller. */
typedef float (*stage_texel)(const void *context, int32_t x, int32_t y, int32_t channel);
static inline lb_texture *stage_texture(int32_t size, int32_t channels, stage_texel at,
                                        const void *context, const lb_texture_map *map)
{
    static const char *const names[] = {"R", "G", "B", "A"};
    lb_box box = {0, 0, size, size};
    lb_texture *texture;
    lb_image *image;

    MUST(lb_image_new(box, box, &image));
    for (int32_t c = 0; c < channels; c++) {
        lb_plane *plane;

        MUST(lb_plane_new(box, &plane));
        for (int32_t y = 0; y < size; y++)
            for (int32_t x = 0; x < size; x++)
                lb_plane_row_to_fill(plane, y)[x] = at(context, x, y, c);
        MUST(lb_image_add(image, names[c], plane));
        lb_plane_unref(&plane);
    }
    MUST(lb_texture_new(NULL, image, map, &texture));
    lb_image_unref(&image);
    return texture;
}

/* Are all channels the same bits within `box`? */
static inline bool stage_is_same(const lb_image *a, const lb_image *b, lb_box box)
{
    if (lb_image_count(a) != lb_image_count(b))
        return false;
    for (int32_t i = 0; i < lb_image_count(a); i++)
        for (int32_t y = box.y0; y < box.y1; y++)
            for (int32_t x = box.x0; x < box.x1; x++) {
                float p = lb_plane_at(lb_image_plane(a, i), x, y);
                float q = lb_plane_at(lb_image_plane(b, i), x, y);

                if (memcmp(&p, &q, sizeof p) != 0)
                    return false;
            }
    return true;
}

/* Something of everything: textured, bumpy, shiny, moving, cut by the near plane, masked, blended.
 */
static inline float stage_wave(const void *context, int32_t x, int32_t y, int32_t channel)
{
    (void)context;
    return 0.5f + 0.4f * lb_sinf((float)x * 0.4f + (float)channel) * lb_cosf((float)y * 0.3f);
}

static inline lb_scene *stage_everything(void)
{
    lb_scene *scene = stage_new();
    lb_texture_map map = lb_texture_map_default();
    lb_texture *wave = stage_texture(32, 3, stage_wave, NULL, &map), *height, *hole;
    lb_material *m[5];
    lb_mesh *mesh;
    lb_item *item;
    float *key_times = lb_alloc(2, sizeof *key_times), *values = lb_alloc(6, sizeof *values);

    map.role = LB_TEXTURE_HEIGHT;
    map.scale = 0.02;
    MUST(lb_texture_with_map(wave, &map, &height));
    map.role = LB_TEXTURE_VALUE;
    MUST(lb_texture_with_map(wave, &map, &hole));
    for (int i = 0; i < 5; i++)
        m[i] = stage_material(i == 1 ? LB_SHADING_METAL_ROUGH : LB_SHADING_BLINN, 0.7f, 0.5f, 0.3f);
    lb_material_set_map(m[0], LB_SLOT_DIFFUSE, wave);
    lb_material_set_map(m[0], LB_SLOT_BUMP, height);
    m[0]->specular = (lb_vec3){0.5f, 0.5f, 0.5f};
    m[1]->roughness = 0.3f;
    m[1]->metallic = 0.5f;
    m[2]->alpha_mode = LB_ALPHA_BLEND;
    m[2]->opacity = 0.4f;
    m[3]->alpha_mode = LB_ALPHA_MASK;
    lb_material_set_map(m[3], LB_SLOT_OPACITY, hole);
    lb_texture_unref(&wave);
    lb_texture_unref(&height);
    lb_texture_unref(&hole);
    MUST(lb_mesh_sphere(1, 24, 16, &mesh));
    item = stage_mesh(scene, mesh, m[0]);
    item->trs.translation = (lb_vec3d){-0.8, 0, -4};
    if (!key_times || !values)
        stage_must(LB_MEMORY, "curve");
    key_times[1] = 1;
    values[0] = -0.8f;
    values[2] = -4;
    values[3] = 0;
    values[4] = 0.5f;
    values[5] = -4;
    MUST(lb_scene_add_curve(scene, &(lb_curve){.item = 0,
                                               .target = LB_CURVE_TRANSLATION,
                                               .interpolation = LB_LINEAR,
                                               .key_count = 2,
                                               .times = key_times,
                                               .values = values}));
    MUST(lb_mesh_torus(0.7, 0.3, 24, 12, &mesh));
    stage_mesh(scene, mesh, m[1])->trs.translation = (lb_vec3d){0.9, 0.2, -4};
    MUST(lb_mesh_box(1, 1, 1, &mesh));
    stage_mesh(scene, mesh, m[2])->trs.translation = (lb_vec3d){0.2, -0.2, -2.6};
    MUST(lb_mesh_plane(1.5, 1.5, 2, 2, &mesh));
    stage_mesh(scene, mesh, m[3])->trs.translation = (lb_vec3d){-0.4, 0.3, -2.2};
    mesh = stage_patch((lb_vec3){-30, -1, 30}, (lb_vec3){60, 0, 0}, (lb_vec3){0, 0, -60});
    stage_mesh(scene, mesh, m[4]);
    item = stage_add(scene, LB_ITEM_LIGHT, 2, 3, 0);
    item->light = (lb_light){.type = LB_LIGHT_POINT,
                             .color = {1, 0.9f, 0.8f},
                             .intensity = 40,
                             .decay = LB_DECAY_QUADRATIC,
                             .range = INFINITY};
    item = stage_add(scene, LB_ITEM_LIGHT, 0, 0, 0);
    item->light = (lb_light){
        .type = LB_LIGHT_AMBIENT, .color = {1, 1, 1}, .intensity = 0.1f, .range = INFINITY};
    return scene;
}

#endif
