/* tests/nodes/scene/test_group.c: transforms multiply from the outside in. */
#include <criterion/criterion.h>

#include "tests/nodes/scene/scene_run.h"

Test(group, moves_all_that_is_in_it)
{
    op_run box = op_new(scene_op("box"), 1), inner = op_new(scene_op("group"), 1);
    op_run outer = op_new(scene_op("group"), 1);
    lb_value items[3] = {{0}}, out;
    lb_mat4 world[8];
    lb_vec3d at;

    op_set3(&box, "position", 1, 0, 0);
    op_set3(&inner, "rotation", 0, 0, 90);
    op_set3(&outer, "position", 0, 0, 5);
    op_set(&outer, "scale", 3);
    items[0] = scene_make(&box, NULL, 0);
    items[2] = items[0];
    items[1] = scene_make(&inner, items, 1);
    out = scene_make(&outer, items, 3);
    cr_assert(out.scene->item_count == 5);
    cr_expect(out.scene->items[0].kind == LB_ITEM_GROUP && out.scene->items[0].parent == -1);
    cr_expect(out.scene->items[1].parent == 0 && out.scene->items[2].parent == 0);
    cr_expect(out.scene->items[3].parent == 2 && out.scene->items[4].parent == 0);
    lb_scene_pose(out.scene, 0, world, NULL);
    at = lb_mat4_point(&world[3], (lb_vec3d){0, 0, 0});
    cr_expect(fabs(at.x) < 1e-12 && fabs(at.y - 3) < 1e-12 && fabs(at.z - 5) < 1e-12);
    at = lb_mat4_point(&world[4], (lb_vec3d){0, 0, 0});
    cr_expect(fabs(at.x - 3) < 1e-12 && fabs(at.z - 5) < 1e-12);
    lb_value_unref(&items[0]);
    lb_value_unref(&items[1]);
    lb_value_unref(&out);
    op_free(&box);
    op_free(&inner);
    op_free(&outer);
}

Test(group, may_be_empty)
{
    op_run r = op_new(scene_op("group"), 1);
    lb_value out = scene_make(&r, NULL, 0);

    cr_expect(out.scene->item_count == 1 && strcmp(out.scene->items[0].name, "node") == 0);
    lb_value_unref(&out);
    op_free(&r);
}
