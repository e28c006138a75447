/* tests/nodes/scene/test_light.c: KHR_lights_punctual: a light shines along its -z. */
#include <criterion/criterion.h>

#include "engine/base/math.h"
#include "tests/nodes/scene/scene_run.h"

Test(light, has_its_parameters)
{
    op_run r = op_new(scene_op("light"), 1);
    lb_value out;
    lb_light light;

    op_text(&r, "type", "spot");
    op_text(&r, "decay", "linear");
    op_set3(&r, "color", 1, 0.5, 0.25);
    op_set(&r, "intensity", 7);
    op_set(&r, "cone", 60);
    op_set(&r, "cone-inner", 20);
    out = scene_make(&r, NULL, 0);
    light = out.scene->items[0].light;
    cr_expect(out.scene->items[0].kind == LB_ITEM_LIGHT && light.type == LB_LIGHT_SPOT);
    cr_expect(light.decay == LB_DECAY_LINEAR && light.intensity == 7 && light.color.z == 0.25f);
    cr_expect(light.range == INFINITY);
    /* full angles in the graph, half angles in the light */
    cr_expect(fabs(light.outer_half_rad - LB_PI / 6) < 1e-6);
    cr_expect(fabs(light.inner_half_rad - LB_PI / 18) < 1e-6);
    lb_value_unref(&out);
    op_free(&r);
}

Test(light, shines_at_its_target)
{
    op_run r = op_new(scene_op("light"), 1);
    lb_value out;
    lb_mat4 world;
    lb_vec3d ahead;

    op_set3(&r, "position", 1, 2, 3);
    op_set3(&r, "target", 1, 2, 10);
    out = scene_make(&r, NULL, 0);
    lb_scene_pose(out.scene, 0, &world, NULL);
    ahead = lb_mat4_direction(&world, (lb_vec3d){0, 0, -1});
    cr_expect(fabs(ahead.z - 1) < 1e-12 && fabs(ahead.x) < 1e-12 && fabs(ahead.y) < 1e-12);
    lb_value_unref(&out);
    op_free(&r);
}

Test(light, contradictions_are_refused)
{
    op_run r = op_new(scene_op("light"), 1);
    lb_value out;

    op_set3(&r, "rotation", 0, 0, 0);
    op_set3(&r, "target", 1, 2, 10);
    cr_expect(scene_run(&r, NULL, 0, &out) == LB_INVALID);
    cr_expect(strstr(scene_messages(&r), "a rotation and a target"));
    op_free(&r);
    r = op_new(scene_op("light"), 1);
    op_text(&r, "type", "spot");
    op_set(&r, "cone", 30);
    op_set(&r, "cone-inner", 31);
    cr_expect(scene_run(&r, NULL, 0, &out) == LB_INVALID);
    op_free(&r);
}
