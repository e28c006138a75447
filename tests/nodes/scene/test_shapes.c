/* tests/nodes/scene/test_shapes.c: sphere, plane, box, cylinder and torus as operators; that they
 * are closed and of the right size is tests/engine/scene/test_shapes.c's. */
#include <criterion/criterion.h>

#include "tests/nodes/scene/scene_run.h"

static const char *const shapes[] = {"sphere", "plane", "box", "cylinder", "torus"};

/* One mesh item named after the node, where the parameters put it. */
Test(shapes, make_a_scene_of_one_item)
{
    for (size_t i = 0; i < sizeof shapes / sizeof shapes[0]; i++) {
        op_run r = op_new(scene_op(shapes[i]), 1);
        lb_mat4 world;
        lb_value out;

        op_set3(&r, "position", 1, 2, 3);
        op_set3(&r, "rotation", 0, 0, 90);
        op_set(&r, "scale", 2);
        out = scene_make(&r, NULL, 0);
        cr_assert(out.kind == LB_KIND_SCENE && out.scene->item_count == 1);
        cr_expect(strcmp(out.scene->items[0].name, "node") == 0);
        cr_expect(strcmp(out.scene->items[0].data_name, shapes[i]) == 0);
        cr_expect(out.scene->items[0].kind == LB_ITEM_MESH && !out.scene->items[0].material);
        lb_scene_pose(out.scene, 0, &world, NULL);
        /* x turned to y, twice as long, from (1, 2, 3) */
        cr_expect(fabs(world.m[0]) < 1e-12 && fabs(world.m[1] - 2) < 1e-12);
        cr_expect(world.m[12] == 1 && world.m[13] == 2 && world.m[14] == 3);
        lb_value_unref(&out);
        op_free(&r);
    }
}

Test(shapes, have_their_sizes)
{
    static const struct {
        const char *op, *param;
        int count;
        double value[3], high[3];
    } cases[] = {
        {"sphere", "radius", 1, {2}, {2, 2, 2}},   {"plane", "size", 2, {4, 6}, {2, 3, 0}},
        {"plane", "size", 1, {4}, {2, 2, 0}},      {"box", "size", 3, {1, 2, 4}, {0.5, 1, 2}},
        {"cylinder", "height", 1, {8}, {1, 4, 1}}, {"torus", "tube", 1, {0.5}, {1.5, 0.5, 1.5}},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const double *v = cases[i].value, *high = cases[i].high;
        op_run r = op_new(scene_op(cases[i].op), 1);
        lb_value out;
        lb_vec3 corner;

        op_set4(&r, cases[i].param, cases[i].count, v[0], v[1], v[2], 0);
        out = scene_make(&r, NULL, 0);
        corner = out.scene->items[0].mesh->high;
        cr_expect(fabs(corner.x - high[0]) < 1e-6 && fabs(corner.y - high[1]) < 1e-6 &&
                      fabs(corner.z - high[2]) < 1e-6,
                  "case %zu: %g %g %g", i, (double)corner.x, (double)corner.y, (double)corner.z);
        lb_value_unref(&out);
        op_free(&r);
    }
}

Test(shapes, wear_a_material)
{
    lb_value material = {.kind = LB_KIND_MATERIAL};

    cr_assert(lb_material_new("clay", &material.material) == LB_OK);
    for (size_t i = 0; i < sizeof shapes / sizeof shapes[0]; i++) {
        op_run r = op_new(scene_op(shapes[i]), 1);
        lb_value out = scene_make(&r, &material, 1);

        cr_expect(out.scene->items[0].material == material.material);
        lb_value_unref(&out);
        op_free(&r);
    }
    lb_value_unref(&material);
}

Test(shapes, a_torus_thicker_than_its_ring_is_refused)
{
    op_run r = op_new(scene_op("torus"), 1);
    lb_value out;

    op_set(&r, "tube", 1.5);
    cr_expect(scene_run(&r, NULL, 0, &out) == LB_INVALID);
    cr_expect(strstr(scene_messages(&r), "'tube' is 1.5"));
    op_free(&r);
}
