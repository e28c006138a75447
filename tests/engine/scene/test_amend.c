/* tests/engine/scene/test_amend.c: what is put right, recorded, or refused. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "engine/base/math.h"
#include "engine/base/memory.h"
#include "engine/scene/amend.h"

static const float times[] = {0, 1}, places[] = {0, 0, 0, 9, 9, 9};

static void animate(lb_scene *scene, int32_t item, lb_curve_target target)
{
    lb_curve curve = {item, target, LB_LINEAR, 2, NULL, NULL};

    curve.times = lb_alloc(2, sizeof(float));
    curve.values = lb_alloc(6, sizeof(float));
    cr_assert(curve.times && curve.values);
    memcpy(curve.times, times, sizeof times);
    memcpy(curve.values, places, sizeof places);
    cr_assert(lb_scene_add_curve(scene, &curve) == LB_OK);
}

/* A spot light, a sun, a camera, an orthographic one, and a mesh of two materials. */
enum { SPOT, SUN, CAMERA, FLAT, MESH };
static lb_scene *make_scene(void)
{
    static const char *const names[] = {"kicker", "sun", "shot", "plan", "plaque"};
    static const lb_item_kind kinds[] = {LB_ITEM_LIGHT, LB_ITEM_LIGHT, LB_ITEM_CAMERA,
                                         LB_ITEM_CAMERA, LB_ITEM_MESH};
    lb_scene *scene;
    lb_item *item;
    lb_mesh *box;

    cr_assert(lb_scene_new(&scene) == LB_OK);
    for (int i = 0; i < 5; i++)
        cr_assert(lb_scene_add_item(scene, names[i], NULL, kinds[i], -1, &item) == LB_OK);
    item = scene->items;
    item[SPOT].light = (lb_light){.type = LB_LIGHT_SPOT,
                                  .intensity = 40,
                                  .decay = LB_DECAY_QUADRATIC,
                                  .range = INFINITY,
                                  .inner_half_rad = 0.125f,
                                  .outer_half_rad = 0.25f};
    item[SUN].light.type = LB_LIGHT_DIRECTIONAL;
    item[CAMERA].camera = (lb_camera){.yfov_rad = 0.5, .near = 10, .far = 20000};
    item[FLAT].camera = (lb_camera){.orthographic = true, .xmag = 1, .ymag = 1, .far = 10};
    cr_assert(lb_mesh_new("two", 2, &box) == LB_OK);
    for (int i = 0; i < 2; i++)
        cr_assert(lb_material_new(i ? "glaze" : "clay", &box->primitives[i].material) == LB_OK);
    item[MESH].mesh = box;
    animate(scene, SPOT, LB_CURVE_TRANSLATION);
    animate(scene, SPOT, LB_CURVE_SCALE);
    animate(scene, CAMERA, LB_CURVE_TRANSLATION);
    return scene;
}

static bool has_fact(const lb_scene *scene, const char *where, const char *what)
{
    for (size_t i = 0; i < scene->fact_count; i++)
        if (scene->facts[i].kind == LB_FACT_AMENDED && strcmp(scene->facts[i].where, where) == 0 &&
            strcmp(scene->facts[i].what, what) == 0)
            return true;
    return false;
}

static const char *messages(lb_diag *diag)
{
    static char text[2048];
    FILE *out = fmemopen(text, sizeof text, "w");

    text[0] = 0;
    lb_diag_print(diag, out, false);
    fclose(out);
    return text;
}

#define BIT(field) (1u << LB_AMEND_##field)

Test(amend, lights)
{
    lb_scene *scene = make_scene();
    lb_amendment to = {.given = BIT(DECAY) | BIT(INTENSITY) | BIT(CONE) | BIT(COLOR) | BIT(RANGE),
                       .decay = LB_DECAY_LINEAR,
                       .intensity = 2,
                       .cone_deg = 90,
                       .range = 7,
                       .color = {1, 0.5f, 0.25f}};

    cr_assert(lb_scene_amend(scene, SPOT, &to, NULL, LB_NOWHERE) == LB_OK);
    cr_expect(scene->items[SPOT].light.decay == LB_DECAY_LINEAR);
    cr_expect(scene->items[SPOT].light.intensity == 2 && scene->items[SPOT].light.range == 7);
    /* a full cone of 90 degrees is pi / 4 from the axis (KHR_lights_punctual) */
    cr_expect(fabs(scene->items[SPOT].light.outer_half_rad - LB_PI / 4) < 1e-6);
    cr_expect(has_fact(scene, "light 'kicker'", "decay: quadratic becomes linear."));
    cr_expect(has_fact(scene, "light 'kicker'", "intensity: 40 becomes 2."));
    cr_expect(has_fact(scene, "light 'kicker'", "color: 0, 0, 0 becomes 1, 0.5, 0.25."));
    cr_expect(has_fact(scene, "light 'kicker'", "range: inf becomes 7."));
    lb_scene_unref(&scene);
}

Test(amend, cameras)
{
    lb_scene *scene = make_scene();
    lb_amendment to = {
        .given = BIT(NEAR) | BIT(FAR) | BIT(FOV), .near = 1, .far = 2000, .fov_deg = 90};

    cr_assert(lb_scene_amend(scene, CAMERA, &to, NULL, LB_NOWHERE) == LB_OK);
    cr_expect(scene->items[CAMERA].camera.near == 1 && scene->items[CAMERA].camera.far == 2000);
    cr_expect(fabs(scene->items[CAMERA].camera.yfov_rad - LB_PI / 2) < 1e-12);
    cr_expect(has_fact(scene, "camera 'shot'", "near: 10 becomes 1."));
    lb_scene_unref(&scene);
}

/* What is set stays: the animation of just that property ends. */
Test(amend, places)
{
    lb_scene *scene = make_scene();
    lb_amendment to = {.given = BIT(POSITION), .trs = {{1, 2, 3}, {0, 0, 0, 1}, {1, 1, 1}}};
    lb_mat4 world[5];

    cr_assert(lb_scene_amend(scene, SPOT, &to, NULL, LB_NOWHERE) == LB_OK);
    lb_scene_pose(scene, 1, world, NULL);
    cr_expect(world[SPOT].m[12] == 1 && world[SPOT].m[13] == 2 && world[SPOT].m[0] == 9);
    cr_expect(world[CAMERA].m[12] == 9 && scene->curve_count == 2);
    lb_scene_unref(&scene);
}

/* A matrix is taken apart: what is not set stays as it was. One that shears cannot be. */
Test(amend, matrices)
{
    lb_trs given = {{4, 5, 6}, lb_quat_from_euler_deg(20, -50, 130), {2, -3, 0.5}};
    lb_scene *scene = make_scene();
    lb_item *item = &scene->items[MESH];
    lb_amendment to = {.given = BIT(POSITION), .trs = {{1, 2, 3}, {0, 0, 0, 1}, {1, 1, 1}}};
    lb_diag *diag = lb_diag_new();
    lb_mat4 world[5];

    item->has_matrix = true;
    item->matrix = lb_mat4_from_trs(&given);
    cr_assert(lb_scene_amend(scene, MESH, &to, NULL, LB_NOWHERE) == LB_OK);
    lb_scene_pose(scene, 0, world, NULL);
    for (int i = 0; i < 12; i++)
        cr_expect(fabs(world[MESH].m[i] - item->matrix.m[i]) < 1e-12, "element %d", i);
    cr_expect(world[MESH].m[12] == 1 && world[MESH].m[14] == 3);
    item->has_matrix = true;
    item->matrix.m[4] += 1;
    cr_expect(lb_scene_amend(scene, MESH, &to, diag, LB_NOWHERE) == LB_INVALID);
    cr_expect(strstr(messages(diag), "'plaque' has a matrix that shears"));
    lb_scene_unref(&scene);
    lb_diag_free(&diag);
}

/* Rotations of all kinds come back from their matrix, up to the sign of the quaternion. */
Test(amend, rotations_from_matrices)
{
    for (int i = 0; i < 1000; i++) {
        lb_trs in = {
            {0, 0, 0}, lb_quat_from_euler_deg(i * 37 % 360, i * 91 % 360, i * 53 % 360), {1, 2, 3}};
        lb_mat4 m = lb_mat4_from_trs(&in);
        lb_trs out;
        double dot;

        cr_assert(lb_trs_from_matrix(&m, &out));
        dot = in.rotation.x * out.rotation.x + in.rotation.y * out.rotation.y +
              in.rotation.z * out.rotation.z + in.rotation.w * out.rotation.w;
        cr_expect(fabs(fabs(dot) - 1) < 1e-12, "turn %d: %.17g", i, dot);
        cr_expect(fabs(out.scale.y - 2) < 1e-12);
    }
}

Test(amend, what_an_item_does_not_have)
{
    static const struct {
        int item;
        uint32_t field;
        const char *message;
    } cases[] = {
        {SUN, LB_AMEND_CONE, "'sun' is a directional light and has no 'cone'"},
        {SUN, LB_AMEND_DECAY, "'sun' is a directional light and has no 'decay'"},
        {CAMERA, LB_AMEND_DECAY, "'shot' is a camera and has no 'decay'"},
        {SPOT, LB_AMEND_NEAR, "'kicker' is a light and has no 'near'"},
        {FLAT, LB_AMEND_FOV, "'plan' is an orthographic camera and has no 'fov'"},
        {FLAT, LB_AMEND_MATERIAL, "'plan' is a camera and has no 'material'"},
        {MESH, LB_AMEND_INTENSITY, "'plaque' is a mesh and has no 'intensity'"},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        lb_scene *scene = make_scene();
        lb_amendment to = {.given = 1u << cases[i].field};
        lb_diag *diag = lb_diag_new();

        cr_expect(lb_scene_amend(scene, cases[i].item, &to, diag, LB_NOWHERE) == LB_INVALID);
        cr_expect(strstr(messages(diag), cases[i].message), "%s", messages(diag));
        cr_expect(scene->fact_count == 0);
        lb_scene_unref(&scene);
        lb_diag_free(&diag);
    }
}

/* Numbers that cannot stand together. */
Test(amend, contradictions)
{
    lb_scene *scene = make_scene();
    lb_amendment cone = {.given = BIT(CONE), .cone_deg = 5};
    lb_amendment near = {.given = BIT(NEAR), .near = 30000};
    lb_diag *diag = lb_diag_new();

    cr_expect(lb_scene_amend(scene, SPOT, &cone, diag, LB_NOWHERE) == LB_INVALID);
    cr_expect(lb_scene_amend(scene, CAMERA, &near, diag, LB_NOWHERE) == LB_INVALID);
    cr_expect(lb_diag_count(diag, LB_ERROR) == 2);
    lb_scene_unref(&scene);
    lb_diag_free(&diag);
}

static bool is_glaze(void *context, const char *name)
{
    ++*(int *)context;
    return strcmp(name, "glaze") == 0;
}

/* One part of a mesh gets another material; other items with the same mesh keep theirs. */
Test(amend, materials)
{
    lb_scene *scene = make_scene(), *before;
    lb_material *gold;
    int32_t count;
    int asked = 0;

    cr_assert(lb_material_new("gold", &gold) == LB_OK);
    cr_assert(lb_scene_copy(scene, &before) == LB_OK);
    cr_assert(lb_scene_amend_material(scene, MESH, is_glaze, &asked, gold, &count) == LB_OK);
    cr_expect(count == 1 && asked > 0);
    cr_expect(scene->items[MESH].mesh->primitives[1].material == gold);
    cr_expect(strcmp(scene->items[MESH].mesh->primitives[0].material->name, "clay") == 0);
    cr_expect(strcmp(before->items[MESH].mesh->primitives[1].material->name, "glaze") == 0);
    cr_expect(has_fact(scene, "mesh 'plaque'", "material of part 1: glaze becomes gold."));
    cr_assert(lb_scene_amend_material(scene, MESH, is_glaze, &asked, gold, &count) == LB_OK);
    cr_expect(count == 0);
    cr_assert(lb_scene_amend_material(scene, SPOT, is_glaze, &asked, gold, &count) == LB_OK);
    cr_expect(count == 0);
    lb_material_unref(&gold);
    lb_scene_unref(&scene);
    lb_scene_unref(&before);
    cr_expect(lb_memory_used() == 0);
}
