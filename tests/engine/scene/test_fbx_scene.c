/* tests/engine/scene/test_fbx_scene.c: cameras, lights and animation of FBX files, which
 * tests/data/fbx/make.py writes (`lamps`, `turn`); expected numbers are worked out here from what
 * stands there. */
#include <criterion/criterion.h>
#include <math.h>

#include "engine/base/math.h"
#include "tests/engine/scene/fbx_files.h"

static bool near(double a, double b)
{
    return fabs(a - b) <= 1e-5 * (1 + fabs(b));
}

static const double degree = LB_PI / 180;

static void expect_vector(const char *name, lb_vec3d v, double x, double y, double z)
{
    cr_expect(near(v.x, x) && near(v.y, y) && near(v.z, z), "%s: %g %g %g, not %g %g %g", name, v.x,
              v.y, v.z, x, y, z);
}

/* Where an item's -z points. */
static lb_vec3d forward(const lb_scene *scene, const char *name)
{
    lb_mat4 world = fbx_world(scene, fbx_item(scene, name), 0);

    return (lb_vec3d){-world.m[8], -world.m[9], -world.m[10]};
}

/* Radiance at distance d is (start / d)^n of the intensity, in metres; 100 percent is 1. A cone of
 * n degrees has half of it on either side. */
Test(fbx_scene, lights)
{
    for (int e = 0; e < FBX_ENCODINGS; e++) {
        lb_scene *scene = fbx_scene("lamps", e);
        const lb_light *fire = &fbx_item(scene, "fire")->light;
        const lb_light *moon = &fbx_item(scene, "moon")->light;
        const lb_light *coals = &fbx_item(scene, "coals")->light;
        const lb_light *ember = &fbx_item(scene, "ember")->light;

        cr_expect(fire->type == LB_LIGHT_SPOT && fire->decay == LB_DECAY_LINEAR);
        cr_expect(near((double)fire->inner_half_rad, 10 * degree));
        cr_expect(near((double)fire->outer_half_rad, 22.5 * degree));
        cr_expect(near((double)lb_light_strength(fire, 0.17f, 1), 2.5));
        cr_expect(near((double)lb_light_strength(fire, 0.34f, 1), 1.25));
        cr_expect(near((double)fire->color.y, 0.5) && near((double)fire->color.z, 0.25));
        cr_expect(moon->type == LB_LIGHT_DIRECTIONAL && moon->decay == LB_DECAY_NONE);
        cr_expect(near((double)moon->intensity, 0.8));
        cr_expect(coals->type == LB_LIGHT_POINT && coals->decay == LB_DECAY_QUADRATIC);
        cr_expect(near((double)lb_light_strength(coals, 0.5f, 1), 0.8));
        cr_expect(near((double)lb_light_strength(coals, 1, 1), 0.2));
        cr_expect(ember->decay == LB_DECAY_NONE);
        cr_expect(near((double)ember->outer_half_rad, 17.5 * degree));
        cr_expect(!fbx_item(scene, "off")->visible);
        /* Along -y of the file, which is +z here; turned by 90 degrees about x: along -z of the
         * file, which is down. */
        expect_vector("moon", forward(scene, "moon"), 0, 0, 1);
        expect_vector("fire", forward(scene, "fire"), 0, -1, 0);
        lb_scene_unref(&scene);
    }
}

Test(fbx_scene, cameras)
{
    for (int e = 0; e < FBX_ENCODINGS; e++) {
        lb_scene *scene = fbx_scene("lamps", e);
        const lb_camera *door = &fbx_item(scene, "door")->camera;
        double wide = tan(30 * degree), film = 1.41732 * 25.4 / 2 / 50 / (16.0 / 9);
        lb_mat4 world = fbx_world(scene, fbx_item(scene, "door"), 0);

        cr_expect(near(door->yfov_rad, 37.5 * degree));
        cr_expect(near(door->near, 0.05) && near(door->far, 25));
        cr_expect(near(door->aspect, 16.0 / 9));
        expect_vector("door", (lb_vec3d){world.m[12], world.m[13], world.m[14]}, 0, 1, 5);
        expect_vector("door", forward(scene, "door"), 0, 0, -1);
        /* The file's camera has +y up, which the model turns to -x. */
        expect_vector("door up", (lb_vec3d){world.m[4], world.m[5], world.m[6]}, -1, 0, 0);
        /* 36 x 24 mm behind 50 mm, its width fit to 16:9. */
        cr_expect(near(fbx_item(scene, "shelf")->camera.yfov_rad, 2 * atan(film)));
        cr_expect(near(fbx_item(scene, "gate")->camera.yfov_rad, 2 * atan(wide * 0.9 / 1.6)));
        cr_expect(near(fbx_item(scene, "wide")->camera.yfov_rad, 50 * degree));
        cr_expect(near(fbx_item(scene, "bare")->camera.near, 0.1));
        lb_scene_unref(&scene);
    }
}

/* Each number with whose it is. */
Test(fbx_scene, origins)
{
    static const struct {
        lb_fact_kind kind;
        const char *where, *what;
    } rows[] = {
        {LB_FACT_AUTHORED, "/GlobalSettings/TimeMode", "23.976 frames"},
        {LB_FACT_AUTHORED, "/GlobalSettings/TimeSpanStart", "0 s to 4 s"},
        {LB_FACT_AUTHORED, "/NodeAttribute/fire/OuterAngle", "45 degrees"},
        {LB_FACT_AUTHORED, "/NodeAttribute/fire/InnerAngle", "20 degrees"},
        {LB_FACT_AUTHORED, "/NodeAttribute/fire/DecayType", "linear"},
        {LB_FACT_AUTHORED, "/NodeAttribute/fire/DecayStart", "17 units"},
        {LB_FACT_AUTHORED, "/NodeAttribute/fire/Intensity", "250 percent"},
        {LB_FACT_CONVERTED, "/NodeAttribute/fire/DecayType", "0.17 m"},
        {LB_FACT_ASSUMED, "/NodeAttribute/ember/OuterAngle", "35 degrees, the default of the file"},
        {LB_FACT_ASSUMED, "/NodeAttribute/ember/InnerAngle",
         "0 degrees, the default of the format"},
        {LB_FACT_ASSUMED, "/NodeAttribute/coals/DecayType", "quadratic, the default of the file"},
        {LB_FACT_ASSUMED, "/NodeAttribute/moon/DecayStart", "the default of the format"},
        {LB_FACT_CONVERTED, "/NodeAttribute/off/CastLight", "hidden"},
        {LB_FACT_AUTHORED, "/NodeAttribute/door/NearPlane", "5 units"},
        {LB_FACT_AUTHORED, "/NodeAttribute/door/FarPlane", "2500 units"},
        {LB_FACT_AUTHORED, "/NodeAttribute/door/FieldOfView", "37.5 degrees"},
        {LB_FACT_ASSUMED, "/NodeAttribute/bare/NearPlane", "10 units, the default of the format"},
        {LB_FACT_ASSUMED, "/NodeAttribute/bare/FarPlane", "4000 units"},
        {LB_FACT_ASSUMED, "/NodeAttribute/bare/FieldOfView", "25.115 degrees"},
        {LB_FACT_AUTHORED, "/NodeAttribute/shelf/FocalLength", "50 mm"},
        {LB_FACT_CONVERTED, "/NodeAttribute/shelf/FieldOfView", "vertical"},
    };
    lb_scene *scene = fbx_scene("lamps", 1);

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        cr_expect(files_has_fact(scene, rows[i].kind, rows[i].where, rows[i].what), "%s: %s",
                  rows[i].where, rows[i].what);
    cr_expect(near(scene->frame_rate, 24000 / 1001.0));
    lb_scene_unref(&scene);
}

static lb_vec3d place(const lb_scene *scene, const char *name, double time_s)
{
    lb_mat4 world = fbx_world(scene, fbx_item(scene, name), time_s);

    return (lb_vec3d){world.m[12], world.m[13], world.m[14]};
}

/* Hermite's cubic (glTF 2.0, appendix C.5, has it too). */
static double hermite(double v0, double m0, double v1, double m1, double duration, double x)
{
    double x2 = x * x, x3 = x2 * x;

    return (2 * x3 - 3 * x2 + 1) * v0 + (x3 - 2 * x2 + x) * duration * m0 + (3 * x2 - 2 * x3) * v1 +
           (x3 - x2) * duration * m1;
}

/* Times are from the span's start, 1 s of the file. */
Test(fbx_scene, curves)
{
    for (int e = 0; e < FBX_ENCODINGS; e++) {
        lb_scene *scene = fbx_scene("turn", e);
        double turned;
        lb_vec3d side;
        lb_mat4 world;

        for (double t = -0.5; t < 3.6; t += 0.0625) {
            double x = t <= 0 ? 0 : t <= 1 ? t : t <= 2 ? 1 + 4 * (t - 1) : 5;
            double y = t < 1 ? 10 : t < 2 ? 20 : 30;
            double z = t <= 0   ? 0
                       : t <= 1 ? hermite(0, 2, 3, -1, 1, t)
                       : t <= 3 ? hermite(3, 4, 1, 0.5, 2, (t - 1) / 2)
                                : 1;

            expect_vector("wheel", place(scene, "wheel", t), x, y, z);
        }
        /* 270 degrees a second about y; frames of 25 a second are met exactly. */
        for (int frame = 0; frame <= 50; frame++) {
            turned = 270 * degree * frame / 25;
            world = fbx_world(scene, fbx_item(scene, "wheel"), frame / 25.0);
            side = lb_mat4_direction(&world, (lb_vec3d){1, 0, 0});
            expect_vector("wheel's x", side, cos(turned), 0, -sin(turned));
        }
        /* About (1, 0, 0), which stays: p - R p. */
        for (int frame = 0; frame <= 25; frame++) {
            turned = 90 * degree * frame / 25;
            expect_vector("arm", place(scene, "arm", frame / 25.0), 1 - cos(turned), -sin(turned),
                          0);
        }
        cr_expect_eq(scene->frame_rate, 25);
        lb_scene_unref(&scene);
    }
}

/* A weighted piece as a Bezier curve in time and value: handles of 0.5 and 0.6 of 2 s, slopes 0 and
 * 3; values at frames, joined by lines, are within a frame's bend of it. And automatic tangents:
 * (4 - 0) / 2 at the middle key, flat at the ends. */
Test(fbx_scene, tangents)
{
    for (int e = 0; e < FBX_ENCODINGS; e++) {
        lb_scene *scene = fbx_scene("turn", e);

        for (double s = 0.05; s < 1; s += 0.05) {
            double r = 1 - s, w = 0.50005, v = 0.60006;
            double t = 2 * (3 * r * r * s * w + 3 * r * s * s * (1 - v) + s * s * s);
            double value = 3 * r * s * s * (1 - v * 2 * 3) + s * s * s;

            cr_expect(fabs(place(scene, "lever", t).x - value) < 0.006, "%s, %g s: %g, not %g",
                      fbx_encodings[e], t, place(scene, "lever", t).x, value);
        }
        for (int frame = 0; frame <= 50; frame++) {
            double t = frame / 25.0;
            double y = t <= 1 ? hermite(0, 0, 1, 2, 1, t) : hermite(1, 2, 4, 0, 1, t - 1);

            cr_expect(near(place(scene, "lever", t).y, y), "%g s", t);
        }
        lb_scene_unref(&scene);
    }
}

Test(fbx_scene, what_is_left_out)
{
    lb_scene *scene = fbx_scene("turn", 2);

    cr_expect(files_has_fact(scene, LB_FACT_DROPPED, "/AnimationStack", "'firing' of 2 stacks"));
    cr_expect(files_has_fact(scene, LB_FACT_DROPPED, "/AnimationLayer/upper", "first layer"));
    cr_expect(files_has_fact(scene, LB_FACT_DROPPED, "/Model/lever/Visibility", "not used"));
    cr_expect(files_has_fact(scene, LB_FACT_CONVERTED, "/AnimationCurve", "cubic splines"));
    cr_expect(files_has_fact(scene, LB_FACT_CONVERTED, "/GlobalSettings/TimeSpanStart", "1 s"));
    lb_scene_unref(&scene);
}

/* What a person gets to see. */
Test(fbx_scene, audit)
{
    static const char *const lines[] = {
        "23.976 frames a second",
        "authored: /NodeAttribute/fire/OuterAngle: a full cone of 45 degrees.",
        "assumed: /NodeAttribute/bare/FarPlane: Not given: 4000 units, the default of the format.",
        "converted: /NodeAttribute/shelf/FieldOfView: The vertical angle is",
    };
    static char text[1 << 16];
    FILE *out = popen(LB_PROGRAM " audit " LB_TEST_DATA "/fbx/lamps-7500.fbx", "r");

    cr_assert(out);
    text[fread(text, 1, sizeof text - 1, out)] = 0;
    cr_expect_eq(pclose(out), 0);
    for (size_t i = 0; i < sizeof lines / sizeof lines[0]; i++)
        cr_expect(strstr(text, lines[i]), "%s", lines[i]);
}
