/* tests/nodes/scene/test_camera.c: field of view by pinhole geometry (tests/data/tables); the view
 * is glTF's, along -z with y up. */
#include <criterion/criterion.h>

#include "engine/base/math.h"
#include "tests/nodes/scene/scene_run.h"
#include "tests/support/table.h"

static double fov_deg(op_run *r)
{
    lb_value out = scene_make(r, NULL, 0);
    double fov = out.scene->items[0].camera.yfov_rad * 180 / LB_PI;

    lb_value_unref(&out);
    return fov;
}

/* The table's back is a height: as the second of two numbers, and, on a square frame, as a width.
 */
Test(camera, focal_length_and_film_back)
{
    table t = table_load("field_of_view");

    for (int row = 0; row < t.rows; row++) {
        double back = table_number(&t, row, "film_back_mm");
        double wanted = table_number(&t, row, "angle_deg"), got;
        op_run r = op_new(scene_op("camera"), 1);

        op_set(&r, "focal-length", table_number(&t, row, "focal_mm"));
        op_set2(&r, "film-back", 99, back);
        got = fov_deg(&r);
        cr_expect(fabs(got - wanted) < 1e-9, "row %d: %.12g, not %.12g", row, got, wanted);
        r.format.width = r.format.height = 100;
        op_set(&r, "film-back", back);
        got = fov_deg(&r);
        cr_expect(fabs(got - wanted) < 1e-9, "row %d: %.12g, not %.12g", row, got, wanted);
        op_free(&r);
    }
    table_free(&t);
}

/* 36 mm across a frame of 16:9 is 20.25 mm up: 2 atan(20.25 / 100), with 50 mm. Without any figure
 * that is what a camera has. */
Test(camera, width_is_the_frames_width)
{
    op_run r = op_new(scene_op("camera"), 1);

    r.format.width = 1920;
    r.format.height = 1080;
    cr_expect(fabs(fov_deg(&r) - 2 * atan(20.25 / 100) * 180 / LB_PI) < 1e-9);
    r.format.width = 960;
    r.format.pixel_aspect = 2;
    cr_expect(fabs(fov_deg(&r) - 2 * atan(20.25 / 100) * 180 / LB_PI) < 1e-9);
    op_set(&r, "fov", 33);
    cr_expect(fabs(fov_deg(&r) - 33) < 1e-12);
    op_free(&r);
}

Test(camera, looks_at_its_target_upright)
{
    op_run r = op_new(scene_op("camera"), 1);
    lb_value out;
    lb_mat4 world;
    lb_vec3d ahead, up;

    op_set3(&r, "position", 0, 3, 4);
    op_set3(&r, "target", 0, 0, 0);
    op_set(&r, "near", 1);
    out = scene_make(&r, NULL, 0);
    lb_scene_pose(out.scene, 0, &world, NULL);
    ahead = lb_mat4_direction(&world, (lb_vec3d){0, 0, -1});
    up = lb_mat4_direction(&world, (lb_vec3d){0, 1, 0});
    cr_expect(fabs(ahead.y + 0.6) < 1e-12 && fabs(ahead.z + 0.8) < 1e-12);
    cr_expect(fabs(up.y - 0.8) < 1e-12 && fabs(up.z + 0.6) < 1e-12);
    cr_expect(out.scene->items[0].camera.near == 1 && out.scene->items[0].camera.far == INFINITY);
    lb_value_unref(&out);
    op_free(&r);
}

Test(camera, orthographic)
{
    op_run r = op_new(scene_op("camera"), 1);
    lb_value out;

    r.format.width = 200;
    r.format.height = 100;
    op_text(&r, "projection", "orthographic");
    op_set(&r, "height", 6);
    out = scene_make(&r, NULL, 0);
    cr_expect(out.scene->items[0].camera.orthographic);
    cr_expect(out.scene->items[0].camera.ymag == 3 && out.scene->items[0].camera.xmag == 6);
    lb_value_unref(&out);
    op_free(&r);
}

Test(camera, contradictions_are_refused)
{
    op_run r = op_new(scene_op("camera"), 1);
    lb_value out;

    op_set(&r, "fov", 30);
    op_set(&r, "focal-length", 30);
    op_set(&r, "near", 5);
    op_set(&r, "far", 5);
    cr_expect(scene_run(&r, NULL, 0, &out) == LB_INVALID);
    cr_expect(lb_diag_count(r.diag, LB_ERROR) == 2, "both are told");
    op_free(&r);
}
