/* tests/engine/raster/test_raster.c: whole renders against plane geometry, written beside the
 * checks, and against the compositing rule (W3C Compositing and Blending Level 1, 9.1.4). */
#include <criterion/criterion.h>

#include "tests/engine/raster/stage.h"

#define WIDTH 64
#define HEIGHT 48

static lb_item *add_plain(lb_scene *scene, lb_mesh *mesh)
{
    return stage_mesh(scene, mesh, stage_material(LB_SHADING_UNLIT, 1, 1, 1));
}

/* The way through the middle of a pixel of a frame WIDTH x HEIGHT: x and y at distance 1. */
static void way_through(double yfov, int32_t x, int32_t y, double *wx, double *wy)
{
    double half = lb_tan(yfov / 2);

    *wx = (x + 0.5 - WIDTH / 2.0) / (HEIGHT / 2.0) * half;
    *wy = (HEIGHT / 2.0 - (y + 0.5)) / (HEIGHT / 2.0) * half;
}

/* A tilted plane z = -5 + 0.5 x + 0.25 y: along the way (wx, wy, -1) d, d = 5 / (1 + 0.5 wx + 0.25
 * wy). */
Test(raster, depth_is_the_distance_along_the_axis)
{
    lb_scene *scene = stage_new();
    lb_instant instant = stage_lens(scene, 0.8);
    lb_raster_options options = stage_options(WIDTH, HEIGHT, 1);
    lb_image *image;

    add_plain(scene,
              stage_patch((lb_vec3){-20, -20, -20}, (lb_vec3){40, 0, 20}, (lb_vec3){0, 40, 10}));
    image = stage_render(&instant, 1, &options);
    for (int32_t y = 0; y < HEIGHT; y++)
        for (int32_t x = 0; x < WIDTH; x++) {
            double wx, wy, d, z = stage_at(image, "depth.Z", x, y);

            way_through(0.8, x, y, &wx, &wy);
            d = 5 / (1 + 0.5 * wx + 0.25 * wy);
            cr_assert(fabs(z - d) < 2e-6 * d, "pixel %d %d: %.9g, not %.9g", x, y, z, d);
        }
    lb_image_unref(&image);
    lb_scene_unref(&scene);
}

Test(raster, where_nothing_is)
{
    lb_scene *scene = stage_new();
    lb_instant instant = stage_lens(scene, 0.8);
    lb_raster_options options = stage_options(8, 8, 4);
    lb_image *image = stage_render(&instant, 1, &options);

    cr_expect(lb_image_count(image) == 10);
    for (int32_t i = 0; i < lb_image_count(image); i++) {
        bool is_depth = strcmp(lb_image_name(image, i), "depth.Z") == 0;

        cr_expect(lb_plane_at(lb_image_plane(image, i), 3, 3) == (is_depth ? INFINITY : 0));
    }
    lb_image_unref(&image);
    lb_scene_unref(&scene);
}

/* Ground 1 below the eye, from 30 behind it to 60 before it: the way hits it at d = 1 / -wy. */
Test(raster, ground_that_goes_through_the_near_plane)
{
    lb_scene *scene = stage_new();
    lb_instant instant = stage_lens(scene, 1.2);
    lb_raster_options options = stage_options(WIDTH, HEIGHT, 1);
    lb_image *image;

    add_plain(scene,
              stage_patch((lb_vec3){-90, -1, 30}, (lb_vec3){180, 0, 0}, (lb_vec3){0, 0, -90}));
    image = stage_render(&instant, 1, &options);
    for (int32_t y = 0; y < HEIGHT; y++)
        for (int32_t x = 0; x < WIDTH; x++) {
            double wx, wy, d, u, v;

            way_through(1.2, x, y, &wx, &wy);
            d = -1 / wy;
            if (wy >= 0 || d > 59.9) {
                cr_assert(wy < 0 || stage_at(image, "A", x, y) == 0);
                continue;
            }
            u = (wx * d + 90) / 180;
            v = (30 + d) / 90;
            cr_assert(stage_at(image, "A", x, y) == 1, "a hole at %d %d", x, y);
            cr_assert(fabs(stage_at(image, "depth.Z", x, y) - d) < 1e-5 * d);
            cr_assert(fabs(stage_at(image, "uv.U", x, y) - u) < 1e-5);
            cr_assert(fabs(stage_at(image, "uv.V", x, y) - v) < 1e-5);
            cr_assert(stage_at(image, "normal.Y", x, y) == 1);
        }
    lb_image_unref(&image);
    lb_scene_unref(&scene);
}

/* Nothing nearer than the near plane or farther than the far one: a patch straight away from the
 * eye, seen from 4 to 6 of its 2 .. 10. */
Test(raster, clip_planes)
{
    lb_scene *scene = stage_new();
    lb_instant instant = stage_lens(scene, 1);
    lb_raster_options options = stage_options(WIDTH, HEIGHT, 16);
    lb_image *image;
    double nearest = INFINITY, farthest = 0;

    add_plain(scene, stage_patch((lb_vec3){-9, -1, -2}, (lb_vec3){18, 0, 0}, (lb_vec3){0, 0, -8}));
    instant.camera_settings.near = 4;
    instant.camera_settings.far = 6;
    image = stage_render(&instant, 1, &options);
    for (int32_t y = 0; y < HEIGHT; y++)
        for (int32_t x = 0; x < WIDTH; x++) {
            double d = stage_at(image, "depth.Z", x, y);

            nearest = fmin(nearest, d);
            farthest = d < INFINITY ? fmax(farthest, d) : farthest;
        }
    cr_expect(nearest >= 4 - 1e-5 && nearest < 4.3, "%g", nearest);
    cr_expect(farthest <= 6 + 1e-5 && farthest > 5.3, "%g", farthest);
    lb_image_unref(&image);
    lb_scene_unref(&scene);
}

/* A patch that recedes from distance 2 to 10, u along it: 1 / d is linear on the screen, so is u /
 * d. */
Test(raster, texture_coordinates_are_perspective_correct)
{
    lb_scene *scene = stage_new();
    lb_instant instant = stage_lens(scene, 0.8);
    lb_raster_options options = stage_options(WIDTH, HEIGHT, 1);
    lb_image *image;

    add_plain(scene, stage_patch((lb_vec3){-1, -4, -2}, (lb_vec3){4, 0, -8}, (lb_vec3){0, 8, 0}));
    image = stage_render(&instant, 1, &options);
    for (int32_t x = 20; x < WIDTH; x++) {
        /* (-1 + 4u) / (2 + 8u) = wx */
        double wx, wy, u;

        way_through(0.8, x, 20, &wx, &wy);
        u = (2 * wx + 1) / (4 - 8 * wx);
        if (u > 0.95)
            break;
        cr_assert(fabs(stage_at(image, "uv.U", x, 20) - u) < 1e-5, "column %d: %g, not %g", x,
                  stage_at(image, "uv.U", x, 20), u);
    }
    lb_image_unref(&image);
    lb_scene_unref(&scene);
}

/* One-sided: counter-clockwise faces front, also where a negative scale mirrors the item (glTF 2.0,
 * 3.7.4); from within nothing is seen. */
Test(raster, mirrored_items_keep_their_outside)
{
    lb_image *image[3];

    for (int k = 0; k < 3; k++) {
        lb_scene *scene = stage_new();
        lb_instant instant = stage_lens(scene, 0.8);
        lb_raster_options options = stage_options(WIDTH, HEIGHT, 4);
        lb_mesh *sphere;
        lb_item *item;

        MUST(lb_mesh_sphere(1, 32, 16, &sphere));
        item = add_plain(scene, sphere);
        item->material->double_sided = false;
        item->material->shading = LB_SHADING_BLINN;
        item->trs.translation = (lb_vec3d){0, 0, k == 2 ? 0 : -4};
        item->trs.scale.x = k == 1 ? -1 : 1;
        image[k] = stage_render(&instant, 1, &options);
        lb_scene_unref(&scene);
    }
    /* The mirrored sphere's quads are cut along the other diagonal. */
    for (int32_t y = 0; y < HEIGHT; y++)
        for (int32_t x = 0; x < WIDTH; x++) {
            cr_assert(stage_at(image[0], "A", x, y) == stage_at(image[1], "A", x, y));
            cr_assert(fabs(stage_at(image[0], "R", x, y) - stage_at(image[1], "R", x, y)) < 0.08);
            cr_assert(stage_at(image[1], "normal.Z", x, y) >= -0.05);
            cr_assert(stage_at(image[2], "A", x, y) == 0);
        }
    cr_expect(stage_at(image[0], "normal.Z", WIDTH / 2, HEIGHT / 2) > 0.99);
    for (int k = 0; k < 3; k++)
        lb_image_unref(&image[k]);
}

static lb_curve slide(int32_t item, float x0, float x1, float y, float z)
{
    lb_curve curve = {.item = item,
                      .target = LB_CURVE_TRANSLATION,
                      .interpolation = LB_LINEAR,
                      .key_count = 2,
                      .times = lb_alloc(2, sizeof *curve.times),
                      .values = lb_alloc(6, sizeof *curve.values)};
    float values[6] = {x0, y, z, x1, y, z};

    if (!curve.times || !curve.values)
        stage_must(LB_MEMORY, "curve");
    curve.times[1] = 1;
    memcpy(curve.values, values, sizeof values);
    return curve;
}

/* A square, its left edge going from pixel 16 to 40 while the shutter is open: a pixel at x is
 * covered for the part of the time that the edge is left of it, a ramp of 24 pixels, and the area's
 * share rounds its ends off. */
Test(raster, motion_blur_is_a_ramp)
{
    lb_scene *scene = stage_new();
    lb_instant instants[16];
    lb_raster_options options = stage_options(WIDTH, HEIGHT, 16);
    double error = 0, sum = 0;
    lb_image *image;

    add_plain(scene,
              stage_patch((lb_vec3){0, -100, -1}, (lb_vec3){100, 0, 0}, (lb_vec3){0, 200, 0}));
    lb_curve curve = slide(0, 16 - WIDTH / 2, 40 - WIDTH / 2, 0, 0);
    MUST(lb_scene_add_curve(scene, &curve));
    for (int t = 0; t < 16; t++) {
        instants[t] = stage_pixels(scene, HEIGHT);
        instants[t].time_s = (t + 0.5) / 16;
    }
    image = stage_render(instants, 16, &options);
    for (int32_t x = 0; x < WIDTH; x++) {
        double a = fmin(fmax((x - 16) / 24.0, 0), 1), b = fmin(fmax((x + 1 - 16) / 24.0, 0), 1);
        double value = stage_at(image, "A", x, 20), off = value - (a + b) / 2;

        /* 16 instants: steps of 1/16; a sample stands within a pixel, 1/24 of the way. */
        cr_assert(fabs(off) <= 1 / 16.0 + 1 / 24.0, "column %d: %g, not %g", x, value, (a + b) / 2);
        error += off * off / WIDTH;
        sum += off;
    }
    cr_expect(sqrt(error) < 0.03, "root mean square error %g", sqrt(error));
    cr_expect(fabs(sum) < 0.5, "bias %g", sum);
    lb_image_unref(&image);
    lb_scene_unref(&scene);
}

/* The camera moving one way is the scene moving the other. */
Test(raster, a_moving_camera_blurs_too)
{
    lb_image *image[2];

    for (int k = 0; k < 2; k++) {
        lb_scene *scene = stage_new();
        lb_instant instants[8];
        lb_raster_options options = stage_options(WIDTH, HEIGHT, 8);
        lb_item *item = add_plain(
            scene, stage_patch((lb_vec3){0, -3, -1}, (lb_vec3){5, 0, 0}, (lb_vec3){0, 9, 0}));

        (void)item;
        for (int t = 0; t < 8; t++) {
            instants[t] = stage_pixels(scene, HEIGHT);
            instants[t].time_s = t / 8.0;
            instants[t].camera_world.m[12] = k ? -2 * t : 0;
        }
        if (!k) {
            lb_curve curve = slide(0, 0, 16, 0, 0);
            MUST(lb_scene_add_curve(scene, &curve));
        }
        image[k] = stage_render(instants, 8, &options);
        lb_scene_unref(&scene);
    }
    cr_expect(stage_is_same(image[0], image[1], (lb_box){0, 0, WIDTH, HEIGHT}));
    for (int k = 0; k < 2; k++)
        lb_image_unref(&image[k]);
}

typedef struct {
    float rgb[3], alpha, z;
} sheet;

static void add_sheet(lb_scene *scene, const sheet *s)
{
    lb_material *m = stage_material(LB_SHADING_UNLIT, s->rgb[0], s->rgb[1], s->rgb[2]);
    lb_mesh *mesh =
        stage_patch((lb_vec3){-50, -50, s->z}, (lb_vec3){100, 0, 0}, (lb_vec3){0, 100, 0});

    m->alpha_mode = s->alpha < 1 ? LB_ALPHA_BLEND : LB_ALPHA_OPAQUE;
    m->opacity = s->alpha;
    stage_mesh(scene, mesh, m);
}

Test(raster, blended_surfaces_are_source_over_in_depth_order)
{
    /* From the farthest to the nearest; dyadic, so that sums are exact. */
    static const sheet sheets[] = {
        {{1, 0.5f, 0.25f}, 1, -90},    {{0, 1, 0}, 0.5f, -80},   {{2, 0, 1}, 0.25f, -70},
        {{0.5f, 0.5f, 1}, 0.75f, -60}, {{1, 1, 0}, 0.125f, -50},
    };
    static const int orders[][5] = {{0, 1, 2, 3, 4}, {4, 3, 2, 1, 0}, {2, 0, 4, 1, 3}};

    for (int k = 0; k < 3; k++)
        for (int opaque = 0; opaque < 2; opaque++) {
            lb_scene *scene = stage_new();
            lb_instant instant = stage_pixels(scene, HEIGHT);
            lb_raster_options options = stage_options(WIDTH, HEIGHT, 4);
            double expected[4] = {0};
            lb_image *image;
            static const char *const channels[] = {"R", "G", "B", "A"};

            for (int i = 0; i < 5; i++)
                if (opaque || orders[k][i] > 0)
                    add_sheet(scene, &sheets[orders[k][i]]);
            for (int i = !opaque; i < 5; i++)
                for (int c = 0; c < 4; c++) {
                    double a = (double)sheets[i].alpha;

                    expected[c] =
                        (c < 3 ? (double)sheets[i].rgb[c] : 1) * a + expected[c] * (1 - a);
                }
            image = stage_render(&instant, 1, &options);
            for (int c = 0; c < 4; c++)
                cr_expect(stage_at(image, channels[c], 30, 20) == expected[c],
                          "order %d, %s: %g, not %g", k, channels[c],
                          stage_at(image, channels[c], 30, 20), expected[c]);
            /* The nearest surface of at least half opacity. */
            cr_expect(stage_at(image, "depth.Z", 30, 20) == 60);
            lb_image_unref(&image);
            lb_scene_unref(&scene);
        }
}

/* Two sheets that go through each other: which is in front changes within a pixel, sample by
 * sample. Each half has its own order. */
Test(raster, blended_surfaces_may_cross)
{
    lb_scene *scene = stage_new();
    lb_instant instant = stage_pixels(scene, HEIGHT);
    lb_raster_options options = stage_options(WIDTH, HEIGHT, 16);
    double left, right;
    lb_image *image;

    for (int k = 0; k < 2; k++) {
        lb_material *m = stage_material(LB_SHADING_UNLIT, k == 0, k == 1, 0);
        float slope = k ? 1 : -1;

        m->alpha_mode = LB_ALPHA_BLEND;
        m->opacity = 0.5f;
        stage_mesh(scene,
                   stage_patch((lb_vec3){-50, -50, -100 - 50 * slope},
                               (lb_vec3){100, 0, 100 * slope}, (lb_vec3){0, 100, 0}),
                   m);
    }
    image = stage_render(&instant, 1, &options);
    left = stage_at(image, "R", 10, 20);
    right = stage_at(image, "R", 50, 20);
    cr_expect(left == 0.5 && stage_at(image, "G", 10, 20) == 0.25, "red in front: %g", left);
    cr_expect(right == 0.25 && stage_at(image, "G", 50, 20) == 0.5, "green in front: %g", right);
    cr_expect(stage_at(image, "A", 31, 20) == 0.75 && stage_at(image, "A", 32, 20) == 0.75);
    lb_image_unref(&image);

    /* Moved by half a pixel the crossing runs through the middle of pixel 31. */
    instant.camera_world.m[12] = 0.5;
    image = stage_render(&instant, 1, &options);
    cr_expect(stage_at(image, "R", 31, 20) == 0.375, "%g", stage_at(image, "R", 31, 20));
    lb_image_unref(&image);
    lb_scene_unref(&scene);
}

static float left_half(const void *context, int32_t x, int32_t y, int32_t channel)
{
    (void)context;
    (void)y;
    (void)channel;
    return x < 8;
}

/* A mask cuts at the sample, so its edge is as smooth as a triangle's: here through the middle of
 * pixel 31. glTF 2.0, 3.9.4: alpha below the cutoff is not there, above it is opaque. */
Test(raster, masks_cut_between_samples)
{
    lb_scene *scene = stage_new();
    lb_instant instant = stage_pixels(scene, HEIGHT);
    lb_raster_options options = stage_options(WIDTH, HEIGHT, 16);
    lb_texture_map map = lb_texture_map_default();
    lb_material *m = stage_material(LB_SHADING_UNLIT, 1, 1, 1);
    lb_texture *hole;
    lb_image *image;

    map.filter = LB_TEXTURE_NEAREST;
    hole = stage_texture(16, 1, left_half, NULL, &map);
    lb_material_set_map(m, LB_SLOT_OPACITY, hole);
    lb_texture_unref(&hole);
    m->alpha_mode = LB_ALPHA_MASK;
    stage_mesh(scene,
               stage_patch((lb_vec3){-16.5f, -50, -1}, (lb_vec3){32, 0, 0}, (lb_vec3){0, 100, 0}),
               m);
    add_sheet(scene, &(sheet){{0, 0, 0.5f}, 1, -5});
    image = stage_render(&instant, 1, &options);
    cr_expect(stage_at(image, "R", 20, 20) == 1 && stage_at(image, "R", 40, 20) == 0);
    cr_expect(stage_at(image, "R", 31, 20) == 0.5, "%g", stage_at(image, "R", 31, 20));
    cr_expect(stage_at(image, "B", 31, 20) == 0.75, "%g", stage_at(image, "B", 31, 20));
    cr_expect(stage_at(image, "depth.Z", 31, 20) == 1 && stage_at(image, "depth.Z", 40, 20) == 5);
    lb_image_unref(&image);
    lb_scene_unref(&scene);
}

/* More layers than are held at a time: the tile is done in parts, with the same result. */
Test(raster, a_thousand_layers)
{
    lb_scene *scene = stage_new();
    lb_instant instant = stage_pixels(scene, HEIGHT);
    lb_raster_options options = stage_options(WIDTH, HEIGHT, 1);
    double left = 1;
    lb_image *image;

    for (int i = 0; i < 1500; i++)
        add_sheet(scene, &(sheet){{1, 1, 1}, 0.0009765625f, -1 - (float)(i * 7 % 1500) / 2});
    for (int i = 0; i < 1500; i++)
        left *= 1 - 0.0009765625;
    image = stage_render(&instant, 1, &options);
    cr_expect(fabs(stage_at(image, "A", 3, 3) - (1 - left)) < 1e-5, "%g",
              stage_at(image, "A", 3, 3));
    cr_expect(stage_at(image, "A", 3, 3) == stage_at(image, "A", 60, 45));
    lb_image_unref(&image);
    lb_scene_unref(&scene);
}

/* A fine mesh and a coarse one of the same plane look the same: where many triangles of a mesh are
 * seen in a pixel they are one surface. */
Test(raster, fineness_does_not_show)
{
    lb_image *image[2];

    for (int k = 0; k < 2; k++) {
        lb_scene *scene = stage_new();
        lb_instant instant = stage_lens(scene, 0.8);
        lb_raster_options options = stage_options(WIDTH, HEIGHT, 16);
        lb_mesh *mesh;
        lb_item *item;

        MUST(lb_mesh_plane(10, 10, k ? 150 : 1, k ? 150 : 1, &mesh));
        item = stage_mesh(scene, mesh, stage_material(LB_SHADING_BLINN, 0.5f, 0.5f, 0.5f));
        item->trs.translation.z = -4;
        item->trs.rotation = lb_quat_from_euler_deg(20, 30, 0);
        item = stage_add(scene, LB_ITEM_LIGHT, 1, 2, -1);
        item->light = (lb_light){.type = LB_LIGHT_POINT,
                                 .color = {1, 1, 1},
                                 .intensity = 30,
                                 .decay = LB_DECAY_QUADRATIC,
                                 .range = INFINITY};
        image[k] = stage_render(&instant, 1, &options);
        lb_scene_unref(&scene);
    }
    for (int32_t y = 0; y < HEIGHT; y++)
        for (int32_t x = 0; x < WIDTH; x++) {
            double a = stage_at(image[0], "R", x, y), b = stage_at(image[1], "R", x, y);

            if (stage_at(image[0], "A", x, y) < 1)
                continue;
            cr_assert(stage_at(image[1], "A", x, y) == 1);
            cr_assert(fabs(a - b) < 0.01 * a, "pixel %d %d: %g, %g", x, y, a, b);
            /* Of the part of the pixel with the nearest sample: within a pixel, up to 0.02 here. */
            cr_assert(fabs(stage_at(image[0], "uv.U", x, y) - stage_at(image[1], "uv.U", x, y)) <
                      0.02);
        }
    for (int k = 0; k < 2; k++)
        lb_image_unref(&image[k]);
}

/* What files can hold: coordinates that are no numbers, infinite, huge, all the same. */
Test(raster, strange_coordinates_do_no_harm)
{
    static const float odd[] = {NAN,   INFINITY, -INFINITY, 3e38f, -3e38f,
                                1e20f, 1e-40f,   0,         -0.0f, 5};
    lb_vec3 corners[3 * 300];
    lb_scene *scene = stage_new();
    lb_instant instant = stage_lens(scene, 0.8);
    lb_raster_options options = stage_options(WIDTH, HEIGHT, 4);
    lb_image *image;
    lb_mesh *mesh;

    for (int i = 0; i < 900; i++)
        corners[i] = (lb_vec3){odd[(i * 7 + i / 3) % 10], odd[(i * 3 + i / 9) % 10],
                               i % 4 ? odd[(i + i / 5) % 10] : -4};
    mesh = stage_triangles(corners, NULL, 300);
    stage_mesh(scene, mesh, stage_material(LB_SHADING_BLINN, 1, 1, 1));
    mesh = lb_mesh_ref(mesh);
    stage_mesh(scene, mesh, stage_material(LB_SHADING_BLINN, 1, 1, 1));
    scene->items[1].material->alpha_mode = LB_ALPHA_BLEND;
    scene->items[1].trs.scale = (lb_vec3d){0, 1e30, NAN};
    for (int k = 0; k < 2; k++) {
        instant.camera_settings.orthographic = k;
        instant.camera_settings.ymag = 4;
        image = stage_render(&instant, 1, &options);
        cr_expect(lb_image_count(image) == 10);
        lb_image_unref(&image);
    }
    lb_scene_unref(&scene);
}

static lb_image *render_everything(lb_pool *pool, lb_box region, int32_t samples, int32_t instants)
{
    lb_scene *scene = stage_everything();
    lb_raster_options options = stage_options(WIDTH, HEIGHT, samples);
    lb_instant at[16];
    lb_image *image = NULL;

    for (int32_t t = 0; t < instants; t++) {
        at[t] = stage_lens(scene, 0.9);
        at[t].time_s = (t + 0.5) / instants;
        at[t].camera_world.m[12] = 0.01 * t;
    }
    options.region = region;
    MUST(lb_raster_render(pool, at, instants, &options, &image));
    lb_scene_unref(&scene);
    return image;
}

Test(raster, threads_and_regions_change_no_bit)
{
    static const lb_box regions[] = {{0, 0, WIDTH, HEIGHT},
                                     {5, 7, 6, 8},
                                     {31, 0, 33, 48},
                                     {-17, -40, 20, 13},
                                     {40, 30, 100, 80}};
    static const int32_t threads[] = {1, 2, 3, 7},
                         setups[][2] = {{1, 1}, {4, 4}, {16, 5}, {33, 16}};

    for (int k = 0; k < 4; k++) {
        lb_image *whole =
            render_everything(NULL, (lb_box){-20, -40, 100, 80}, setups[k][0], setups[k][1]);

        for (int i = 0; i < 5; i++) {
            lb_pool *pool;
            lb_image *part;

            MUST(lb_pool_new(threads[i % 4], &pool));
            part = render_everything(pool, regions[i], setups[k][0], setups[k][1]);
            cr_expect(lb_box_equal(lb_image_box(part), regions[i]));
            cr_expect(stage_is_same(whole, part, regions[i]), "%d samples, region %d", setups[k][0],
                      i);
            lb_image_unref(&part);
            lb_pool_free(&pool);
        }
        lb_image_unref(&whole);
    }
}

/* Each layer is the same whatever others are asked for. */
Test(raster, layers_do_not_mind_each_other)
{
    lb_image *all = render_everything(NULL, (lb_box){0, 0, WIDTH, HEIGHT}, 4, 4);

    for (uint32_t layers = 1; layers < 16; layers++) {
        lb_scene *scene = stage_everything();
        lb_raster_options options = stage_options(WIDTH, HEIGHT, 4);
        lb_instant at[4];
        lb_image *image;

        for (int32_t t = 0; t < 4; t++) {
            at[t] = stage_lens(scene, 0.9);
            at[t].time_s = (t + 0.5) / 4;
            at[t].camera_world.m[12] = 0.01 * t;
        }
        options.layers = layers;
        image = stage_render(at, 4, &options);
        for (int32_t i = 0; i < lb_image_count(image); i++) {
            const lb_plane *plane = lb_image_plane(image, i);
            const lb_plane *whole = lb_image_find(all, lb_image_name(image, i));

            for (int32_t y = 0; y < HEIGHT; y++)
                cr_assert(memcmp(lb_plane_row(plane, y), lb_plane_row(whole, y),
                                 WIDTH * sizeof(float)) == 0,
                          "%s with layers %u, row %d", lb_image_name(image, i), layers, y);
        }
        lb_image_unref(&image);
        lb_scene_unref(&scene);
    }
    lb_image_unref(&all);
}

/* Every allocation fails once: a status, nothing lost, and then it works. */
Test(raster, memory_may_run_out)
{
    lb_scene *scene = stage_everything();
    lb_raster_options options = stage_options(WIDTH, HEIGHT, 4);
    lb_instant at[2] = {stage_lens(scene, 0.9), stage_lens(scene, 0.9)};
    lb_status status = LB_MEMORY;
    int failed = 0;

    at[1].time_s = 0.5;
    for (int64_t n = 1; status != LB_OK && n < 10000; n++) {
        lb_image *image;

        lb_memory_fail_at(n);
        status = lb_raster_render(NULL, at, 2, &options, &image);
        lb_memory_fail_at(0);
        cr_assert(status == LB_OK || status == LB_MEMORY);
        cr_assert((status == LB_OK) == (image != NULL));
        failed += status != LB_OK;
        lb_image_unref(&image);
    }
    cr_expect(status == LB_OK && failed > 20, "%d failures", failed);
    lb_scene_unref(&scene);
}

Test(raster, what_makes_no_sense_is_refused)
{
    lb_scene *scene = stage_everything(), *other = stage_new();
    lb_instant at[2] = {stage_lens(scene, 0.9), stage_lens(other, 0.9)};
    lb_raster_options good = stage_options(WIDTH, HEIGHT, 4), o;
    lb_image *image;

    cr_expect(lb_raster_render(NULL, at, 2, &good, &image) == LB_INVALID && !image);
    at[1] = at[0];
    o = good;
    o.samples = 1;
    cr_expect(lb_raster_render(NULL, at, 2, &o, &image) == LB_INVALID,
              "more instants than samples");
    o.samples = 65;
    cr_expect(lb_raster_render(NULL, at, 1, &o, &image) == LB_INVALID);
    o = good;
    o.region = (lb_box){3, 3, 3, 9};
    cr_expect(lb_raster_render(NULL, at, 1, &o, &image) == LB_INVALID);
    o = good;
    o.pixel_aspect = 0;
    cr_expect(lb_raster_render(NULL, at, 1, &o, &image) == LB_INVALID);
    o = good;
    o.width = 100000;
    cr_expect(lb_raster_render(NULL, at, 1, &o, &image) == LB_LIMIT);
    at[0].camera = 0; /* a mesh */
    cr_expect(lb_raster_render(NULL, at, 1, &good, &image) == LB_INVALID);
    at[0].camera = 1000;
    cr_expect(lb_raster_render(NULL, at, 1, &good, &image) == LB_INVALID);
    at[0].camera = -1;
    at[0].camera_settings.yfov_rad = 4;
    cr_expect(lb_raster_render(NULL, at, 1, &good, &image) == LB_INVALID);
    lb_scene_unref(&scene);
    lb_scene_unref(&other);
}

Test(raster, it_can_be_stopped)
{
    lb_scene *scene = stage_everything();
    lb_instant instant = stage_lens(scene, 0.9);
    lb_raster_options options = stage_options(WIDTH, HEIGHT, 4);
    lb_image *image;
    lb_pool *pool;

    MUST(lb_pool_new(2, &pool));
    lb_pool_cancel(pool);
    cr_expect(lb_raster_render(pool, &instant, 1, &options, &image) == LB_CANCELLED && !image);
    lb_pool_free(&pool);
    lb_scene_unref(&scene);
}

/* A camera in the scene, moved and turned, is used where it is at the instant; its scale is left
 * out (glTF 2.0, 3.10.1). */
Test(raster, cameras_of_the_scene)
{
    lb_scene *scene = stage_new();
    lb_raster_options options = stage_options(WIDTH, HEIGHT, 1);
    lb_item *item = stage_add(scene, LB_ITEM_CAMERA, 3, 0, 0);
    lb_instant instant = {.scene = scene, .camera = 0};
    lb_image *image;
    lb_mesh *box;

    item->camera = (lb_camera){.yfov_rad = 0.8, .near = 0.1, .far = 100};
    item->trs.rotation = lb_quat_from_euler_deg(0, 90, 0); /* looks along -x */
    item->trs.scale = (lb_vec3d){5, 5, 5};
    MUST(lb_mesh_box(1, 1, 1, &box));
    add_plain(scene, box)->trs.translation.x = -7;
    image = stage_render(&instant, 1, &options);
    cr_expect(fabs(stage_at(image, "depth.Z", WIDTH / 2, HEIGHT / 2) - 9.5) < 1e-5, "%g",
              stage_at(image, "depth.Z", WIDTH / 2, HEIGHT / 2));
    cr_expect(stage_at(image, "normal.X", WIDTH / 2, HEIGHT / 2) == 1);
    lb_image_unref(&image);
    lb_scene_unref(&scene);
}
