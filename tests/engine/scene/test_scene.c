/* tests/engine/scene/test_scene.c: trees of items, their poses, curves and lights. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "engine/base/math.h"
#include "engine/base/memory.h"
#include "engine/scene/scene.h"
#include "tests/support/table.h"

static bool near(double a, double b, double tolerance)
{
    return fabs(a - b) <= tolerance;
}

/* A curve with `keys` keys, its arrays for the scene to take over. */
static lb_curve curve_of(int32_t item, lb_curve_target target, lb_interpolation interpolation,
                         int32_t keys, const float *times, const float *values, size_t count)
{
    lb_curve curve = {item, target, interpolation, keys, NULL, NULL};

    curve.times = lb_alloc((size_t)keys, sizeof(float));
    curve.values = lb_alloc(count, sizeof(float));
    cr_assert(curve.times && curve.values);
    memcpy(curve.times, times, (size_t)keys * sizeof(float));
    memcpy(curve.values, values, count * sizeof(float));
    return curve;
}

static void curve_free(lb_curve *curve)
{
    lb_free(curve->times);
    lb_free(curve->values);
}

/* glTF 2.0, appendix C.4. The curve holds its quaternions as floats: half an ulp of 1 each, and the
 * angle between them is up to twice as wrong. */
Test(curve, rotations_go_the_shorter_way)
{
    table t = table_load("slerp");

    for (int row = 0; row < t.rows; row++) {
        static const char *const from[] = {"a_x", "a_y", "a_z", "a_w"};
        static const char *const to[] = {"b_x", "b_y", "b_z", "b_w"};
        static const char *const is[] = {"x", "y", "z", "w"};
        float times[2] = {1, 3}, values[8];
        double at = table_number(&t, row, "t"), got[4], dot = 0;
        lb_curve curve;

        for (int i = 0; i < 4; i++) {
            values[i] = (float)table_number(&t, row, from[i]);
            values[4 + i] = (float)table_number(&t, row, to[i]);
        }
        curve = curve_of(0, LB_CURVE_ROTATION, LB_LINEAR, 2, times, values, 8);
        lb_curve_at(&curve, 1 + 2 * at, got);
        for (int i = 0; i < 4; i++)
            dot += got[i] * table_number(&t, row, is[i]);
        cr_expect(near(fabs(dot), 1, 1e-12), "row %d: dot %.17g", row, dot);
        for (int i = 0; i < 4; i++)
            cr_expect(near(got[i] * (dot < 0 ? -1 : 1), table_number(&t, row, is[i]), 3e-7),
                      "row %d: %s is %.9g", row, is[i], got[i]);
        curve_free(&curve);
    }
    table_free(&t);
}

/* glTF 2.0, appendix C.5; the table's values are of the order of 10 at most: float's half ulp. */
Test(curve, splines_have_tangents)
{
    table t = table_load("cubic_spline");

    for (int row = 0; row < t.rows; row++) {
        double duration = table_number(&t, row, "duration_s"), got[4];
        float times[2] = {0.25f, 0};
        float values[18] = {0};
        lb_curve curve;

        times[1] = (float)(0.25 + duration);
        values[3] = (float)table_number(&t, row, "v0");
        values[6] = (float)table_number(&t, row, "out_tangent0");
        values[9] = (float)table_number(&t, row, "in_tangent1");
        values[12] = (float)table_number(&t, row, "v1");
        curve = curve_of(0, LB_CURVE_TRANSLATION, LB_CUBICSPLINE, 2, times, values, 18);
        lb_curve_at(&curve, 0.25 + ((double)times[1] - 0.25) * table_number(&t, row, "t"), got);
        cr_expect(near(got[0], table_number(&t, row, "value"), 2e-6), "row %d: %.9g, not %.9g", row,
                  got[0], table_number(&t, row, "value"));
        cr_expect(got[1] == 0 && got[2] == 0);
        curve_free(&curve);
    }
    table_free(&t);
}

/* glTF 2.0, 3.11: before the first key and after the last the value is held; STEP holds a key's
 * value until the next. */
Test(curve, ends_are_held)
{
    static const float times[] = {1, 2, 2, 4}, values[] = {0, 0, 0, 1, 2, 3, 5, 6, 7, 9, 8, 7};
    static const struct {
        lb_interpolation how;
        double time, x;
    } cases[] = {
        {LB_LINEAR, -1, 0},       {LB_LINEAR, 1, 0},   {LB_LINEAR, 1.25, 0.25}, {LB_LINEAR, 2, 5},
        {LB_LINEAR, 3, 7},        {LB_LINEAR, 4, 9},   {LB_LINEAR, 99, 9},      {LB_STEP, 0, 0},
        {LB_STEP, 1.999, 0},      {LB_STEP, 2, 5},     {LB_STEP, 3.999, 5},     {LB_STEP, 4, 9},
        {LB_LINEAR, INFINITY, 9}, {LB_LINEAR, NAN, 0},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        lb_curve curve = curve_of(0, LB_CURVE_SCALE, cases[i].how, 4, times, values, 12);
        double got[4];

        lb_curve_at(&curve, cases[i].time, got);
        cr_expect(near(got[0], cases[i].x, 1e-12), "at %g: %g, not %g", cases[i].time, got[0],
                  cases[i].x);
        curve_free(&curve);
    }
}

/* Decay none and linear: common practice. Quadratic: a white Lambert surface returns illuminance /
 * pi (glTF 2.0, appendix B), and the illuminance of I candela is I / d^2. */
Test(light, decays)
{
    table t = table_load("decay");

    for (int row = 0; row < t.rows; row++) {
        const char *kind = table_text(&t, row, "kind");
        double wanted = table_number(&t, row, "factor");
        float distance = (float)table_number(&t, row, "distance"), got;
        lb_light light = {.type = LB_LIGHT_POINT, .intensity = 3, .range = INFINITY};

        while (strcmp(lb_decay_names[light.decay], kind) != 0)
            light.decay++;
        got = lb_light_strength(&light, distance, 1);
        wanted *= light.decay == LB_DECAY_QUADRATIC ? 3 / LB_PI : 3;
        cr_expect(near(got, wanted, 4e-7 * wanted), "%s at %g: %g", kind, (double)distance,
                  (double)got);
    }
    table_free(&t);
}

/* KHR_lights_punctual. Near the range 1 - (d / range)^4 loses digits: absolute there. */
Test(light, fades_at_its_range)
{
    table t = table_load("light_range");

    for (int row = 0; row < t.rows; row++) {
        double wanted = table_number(&t, row, "attenuation");
        lb_light light = {.type = LB_LIGHT_POINT,
                          .intensity = (float)LB_PI,
                          .decay = LB_DECAY_QUADRATIC,
                          .range = (float)table_number(&t, row, "range")};
        float got = lb_light_strength(&light, (float)table_number(&t, row, "distance"), 1);

        cr_expect(near(got, wanted, 6e-7 * (wanted + 0.01)), "row %d: %.9g, not %.9g", row,
                  (double)got, wanted);
    }
    table_free(&t);
}

/* KHR_lights_punctual. The cosines are floats: their difference is wrong by 1e-7 of 1, divided by
 * the width of the fading zone (at least 0.001), and squared. */
Test(light, has_a_cone)
{
    table t = table_load("spot");

    for (int row = 0; row < t.rows; row++) {
        double inner = table_number(&t, row, "inner_deg") * LB_PI / 180;
        double outer = table_number(&t, row, "outer_deg") * LB_PI / 180;
        double angle = table_number(&t, row, "angle_deg") * LB_PI / 180;
        lb_light light = {.type = LB_LIGHT_SPOT,
                          .intensity = 1,
                          .range = INFINITY,
                          .inner_half_rad = (float)inner,
                          .outer_half_rad = (float)outer};
        float got = lb_light_strength(&light, 5, (float)cos(angle));
        double slack = 4e-7 / fmax(cos(inner) - cos(outer), 0.001);

        cr_expect(near(got, table_number(&t, row, "factor"), slack), "row %d: %.9g, not %s", row,
                  (double)got, table_text(&t, row, "factor"));
    }
    table_free(&t);
}

Test(light, far_ones_do_not_fade)
{
    lb_light light = {.type = LB_LIGHT_DIRECTIONAL, .intensity = 2, .range = 1};

    cr_expect(lb_light_strength(&light, 1e6f, -1) == 2);
    light.type = LB_LIGHT_AMBIENT;
    cr_expect(lb_light_strength(&light, 0, 0) == 2);
    light = (lb_light){.type = LB_LIGHT_POINT, .intensity = 1, .decay = LB_DECAY_QUADRATIC};
    light.range = INFINITY;
    cr_expect(isfinite(lb_light_strength(&light, 0, 1)));
}

/* root (moves to x 1 .. 3 over 2 s) > arm (turned a quarter about z) > box; and a hidden group. */
static lb_scene *make_tree(void)
{
    static const float times[] = {0, 2}, values[] = {1, 0, 0, 3, 0, 0};
    lb_curve curve = curve_of(0, LB_CURVE_TRANSLATION, LB_LINEAR, 2, times, values, 6);
    lb_scene *scene;
    lb_item *item;

    cr_assert(lb_scene_new(&scene) == LB_OK);
    cr_assert(lb_scene_add_item(scene, "root", NULL, LB_ITEM_GROUP, -1, &item) == LB_OK);
    cr_assert(lb_scene_add_item(scene, "arm", NULL, LB_ITEM_GROUP, 0, &item) == LB_OK);
    item->trs.rotation = lb_quat_from_euler_deg(0, 0, 90);
    cr_assert(lb_scene_add_item(scene, "box", "cube", LB_ITEM_MESH, 1, &item) == LB_OK);
    item->trs.translation.x = 5;
    item->trs.scale = (lb_vec3d){2, 4, 6};
    cr_assert(lb_mesh_box(1, 1, 1, &item->mesh) == LB_OK);
    cr_assert(lb_scene_add_item(scene, "lamp", "kicker", LB_ITEM_LIGHT, 1, &item) == LB_OK);
    cr_assert(lb_scene_add_item(scene, "off", NULL, LB_ITEM_GROUP, -1, &item) == LB_OK);
    item->visible = false;
    cr_assert(lb_scene_add_item(scene, "box2", "", LB_ITEM_MESH, 4, &item) == LB_OK);
    item->mesh = lb_mesh_ref(scene->items[2].mesh);
    cr_assert(lb_scene_add_curve(scene, &curve) == LB_OK);
    cr_assert(lb_scene_add_fact(scene, LB_FACT_ASSUMED, "/here", "%d of %s", 3, "four") == LB_OK);
    return scene;
}

static void expect_tree(const lb_scene *scene, size_t first)
{
    lb_mat4 world[16];
    bool visible[16];
    lb_vec3d at;

    lb_scene_pose(scene, 1, world, visible);
    at = lb_mat4_point(&world[first + 2], (lb_vec3d){0.5, 0, 0});
    /* 2 along from the root; 5 + 2 * 0.5 along the arm, which points up. */
    cr_expect(near(at.x, 2, 1e-12) && near(at.y, 6, 1e-12) && near(at.z, 0, 1e-12));
    cr_expect(visible[first + 2] && !visible[first + 4] && !visible[first + 5]);
}

Test(scene, poses_and_bounds)
{
    lb_scene *scene = make_tree();
    lb_vec3d low, high;

    expect_tree(scene, 0);
    cr_expect(lb_scene_is_animated(scene) && scene->duration_s == 2);
    cr_expect(lb_scene_bounds(scene, 1, &low, &high));
    cr_expect(near(low.x, 0, 1e-12) && near(high.x, 4, 1e-12), "%g %g", low.x, high.x);
    cr_expect(near(low.y, 4, 1e-12) && near(high.y, 6, 1e-12), "%g %g", low.y, high.y);
    cr_expect(near(low.z, -3, 1e-12) && near(high.z, 3, 1e-12));
    scene->items[0].visible = false;
    cr_expect(!lb_scene_bounds(scene, 1, &low, &high));
    lb_scene_unref(&scene);
}

Test(scene, finds_by_either_name)
{
    lb_scene *scene = make_tree();

    cr_expect(lb_scene_find(scene, LB_ITEM_LIGHT, "kicker") == 3);
    cr_expect(lb_scene_find(scene, LB_ITEM_LIGHT, "lamp") == 3);
    cr_expect(lb_scene_find(scene, LB_ITEM_LIGHT, NULL) == 3);
    cr_expect(lb_scene_find(scene, LB_ITEM_LIGHT, "box") == -1);
    cr_expect(lb_scene_find(scene, LB_ITEM_CAMERA, NULL) == -1);
    cr_expect(lb_scene_find(scene, LB_ITEM_MESH, "cube") == 2);
    lb_scene_unref(&scene);
}

Test(scene, copies_and_appends)
{
    lb_scene *scene = make_tree(), *copy, *both;
    lb_item *item;

    cr_assert(lb_scene_copy(scene, &copy) == LB_OK);
    expect_tree(copy, 0);
    cr_expect(copy->items[2].mesh == scene->items[2].mesh);
    cr_expect(strcmp(copy->facts[0].what, "3 of four") == 0);
    cr_assert(lb_scene_new(&both) == LB_OK);
    cr_assert(lb_scene_add_item(both, "above", NULL, LB_ITEM_GROUP, -1, &item) == LB_OK);
    cr_assert(lb_scene_append(both, scene, 0) == LB_OK);
    cr_assert(lb_scene_append(both, copy, -1) == LB_OK);
    lb_scene_unref(&scene);
    lb_scene_unref(&copy);
    cr_expect(both->item_count == 13 && both->curve_count == 2 && both->fact_count == 2);
    cr_expect(both->items[1].parent == 0 && both->items[7].parent == -1);
    expect_tree(both, 1);
    expect_tree(both, 7);
    cr_expect(lb_scene_bytes(both) > lb_mesh_bytes(both->items[3].mesh));
    lb_scene_unref(&both);
    cr_expect(lb_memory_used() == 0, "%zu bytes are left", lb_memory_used());
}

Test(scene, refuses_nonsense)
{
    static const float time = 0, value[3] = {0};
    lb_curve curve = curve_of(7, LB_CURVE_SCALE, LB_STEP, 1, &time, value, 3);
    lb_scene *scene;
    lb_item *item;

    cr_assert(lb_scene_new(&scene) == LB_OK);
    cr_expect(lb_scene_add_item(scene, "x", NULL, LB_ITEM_GROUP, 0, &item) == LB_INVALID);
    cr_expect(item == NULL);
    cr_expect(lb_scene_add_curve(scene, &curve) == LB_INVALID);
    lb_scene_unref(&scene);
}

/* Two curves for the same property: the later one counts. Items out of order are sorted in. */
Test(scene, later_curves_count)
{
    static const float time = 0, one[] = {1, 1, 1}, two[] = {2, 2, 2}, three[] = {3, 3, 3};
    lb_curve curves[] = {curve_of(1, LB_CURVE_SCALE, LB_STEP, 1, &time, three, 3),
                         curve_of(0, LB_CURVE_SCALE, LB_STEP, 1, &time, one, 3),
                         curve_of(0, LB_CURVE_SCALE, LB_STEP, 1, &time, two, 3)};
    lb_mat4 world[2];
    lb_scene *scene;
    lb_item *item;

    cr_assert(lb_scene_new(&scene) == LB_OK);
    for (int i = 0; i < 2; i++)
        cr_assert(lb_scene_add_item(scene, "x", NULL, LB_ITEM_GROUP, -1, &item) == LB_OK);
    for (int i = 0; i < 3; i++)
        cr_assert(lb_scene_add_curve(scene, &curves[i]) == LB_OK);
    lb_scene_pose(scene, 0, world, NULL);
    cr_expect(world[0].m[0] == 2 && world[1].m[0] == 3);
    cr_expect(!lb_scene_is_animated(scene));
    lb_scene_unref(&scene);
}

Test(scene, survives_want_of_memory)
{
    lb_scene *scene = make_tree(), *copy = NULL;
    size_t before = lb_memory_used();
    lb_status status = LB_MEMORY;
    int64_t n;

    for (n = 1; status == LB_MEMORY && n < 1000; n++) {
        lb_memory_fail_at(n);
        status = lb_scene_copy(scene, &copy);
        lb_memory_fail_at(0);
        if (status)
            cr_expect(copy == NULL && lb_memory_used() == before, "allocation %lld", (long long)n);
    }
    cr_expect(status == LB_OK && n > 10, "%s after %lld", lb_status_text(status), (long long)n);
    lb_scene_unref(&copy);
    lb_scene_unref(&scene);
}
