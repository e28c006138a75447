/* tests/nodes/scene/test_render.c: times, cameras, layers and shutters of the render operator. */
#include <criterion/criterion.h>

#include "tests/engine/raster/stage.h"
#include "tests/support/op_run.h"

extern const lb_op lb_op_render;

/* Scenes for the two slots: the same at all times, or `next` from the second time on. */
typedef struct {
    lb_scene *scene, *next, *camera;
} given;

/* Renders all pixels of `box` and the named channels (NULL: all). NULL and r->status: it failed. */
static lb_image *run(op_run *r, const given *g, lb_box box, const char *channel)
{
    lb_call call;
    lb_value values[2][LB_MAX_TIMES], inputs[2] = {{0}}, out = {0};
    double frames[2][LB_MAX_TIMES];
    lb_series series[2] = {{0}};
    uint64_t wanted;

    r->descs[0] = (lb_desc){.kind = LB_KIND_SCENE};
    r->descs[1] = (lb_desc){.kind = g->camera ? LB_KIND_SCENE : LB_KIND_NONE};
    if (op_describe(r) != LB_OK)
        return NULL;
    call = op_call(r);
    for (int slot = 0; slot < (g->camera ? 2 : 1); slot++) {
        int32_t count = lb_op_render.times(&call, slot, frames[slot]);

        cr_assert(count >= 1 && count <= LB_MAX_TIMES);
        for (int32_t i = 0; i < count; i++) {
            values[slot][i] = (lb_value){.kind = LB_KIND_SCENE};
            values[slot][i].scene = slot ? g->camera : i && g->next ? g->next : g->scene;
        }
        series[slot] = (lb_series){count, frames[slot], values[slot]};
        inputs[slot] = values[slot][0];
    }
    wanted = channel ? (uint64_t)1 << lb_channels_find(r->desc.channels, channel)
                     : op_all(r->desc.channels);
    lb_task task = {call, r->pool, box, wanted, &r->desc, inputs, series};
    r->status = lb_op_render.evaluate(&task, &out);
    return r->status == LB_OK ? out.image : NULL;
}

/* A white square, 8 scene units from the camera at (0, 0, 0), which is named "main". */
static lb_scene *square_scene(void)
{
    lb_scene *scene = stage_new();
    lb_item *item;
    lb_mesh *mesh;

    MUST(lb_scene_add_item(scene, "main", "", LB_ITEM_CAMERA, -1, &item));
    item->camera = (lb_camera){.orthographic = true, .xmag = 24, .ymag = 24, .near = 0, .far = 100};
    MUST(lb_mesh_plane(16, 16, 1, 1, &mesh));
    stage_mesh(scene, mesh, stage_material(LB_SHADING_UNLIT, 1, 1, 1))->trs.translation.z = -8;
    return scene;
}

static bool says(op_run *r, const char *text)
{
    char *printed = NULL;
    size_t size = 0;
    FILE *file = open_memstream(&printed, &size);
    bool found;

    lb_diag_print(r->diag, file, false);
    fclose(file);
    found = strstr(printed, text) != NULL;
    if (!found)
        fprintf(stderr, "it says: %s\n", printed);
    free(printed);
    return found;
}

static const lb_box everything = {0, 0, 64, 48};

Test(render, all_layers_of_the_frame)
{
    op_run r = op_new(&lb_op_render, 2);
    given g = {.scene = square_scene()};
    lb_image *image = run(&r, &g, everything, NULL);

    cr_assert(image && lb_image_count(image) == 10);
    cr_expect(lb_box_equal(lb_image_data(image), everything));
    cr_expect(lb_box_equal(lb_image_display(image), everything));
    /* The square covers pixels 24 .. 39 and 16 .. 31. */
    for (int32_t y = 0; y < 48; y++)
        for (int32_t x = 0; x < 64; x++) {
            bool in = x >= 24 && x < 40 && y >= 16 && y < 32;

            cr_assert(stage_at(image, "A", x, y) == in && stage_at(image, "R", x, y) == in);
            cr_assert(stage_at(image, "depth.Z", x, y) == (in ? 8 : INFINITY));
            cr_assert(stage_at(image, "normal.Z", x, y) == in);
            cr_assert(!in || fabs(stage_at(image, "uv.U", x, y) - (x + 0.5 - 24) / 16) < 1e-6);
            cr_assert(!in || fabs(stage_at(image, "uv.V", x, y) - (y + 0.5 - 16) / 16) < 1e-6);
        }
    lb_image_unref(&image);
    lb_scene_unref(&g.scene);
    op_free(&r);
}

/* Only what is asked for is made, and only there; the same numbers as in the whole. */
Test(render, parts)
{
    op_run r = op_new(&lb_op_render, 1);
    given g = {.scene = stage_everything()};
    lb_item *camera = stage_add(g.scene, LB_ITEM_CAMERA, 0, 0, 0);
    lb_box box = {13, 5, 50, 40};
    lb_image *all, *part;

    camera->camera = (lb_camera){.yfov_rad = 0.9, .near = 0.1, .far = INFINITY};
    op_set(&r, "shutter", 180);
    op_set(&r, "samples", 4);
    all = run(&r, &g, everything, NULL);
    cr_assert(all);
    for (int32_t i = 0; i < lb_image_count(all); i++) {
        const char *name = lb_image_name(all, i);

        part = run(&r, &g, box, name);
        cr_assert(part && lb_image_count(part) == 1 && lb_image_find(part, name));
        cr_expect(lb_box_equal(lb_image_box(part), box));
        for (int32_t y = box.y0; y < box.y1; y++)
            for (int32_t x = box.x0; x < box.x1; x++)
                cr_assert(memcmp(&(float){(float)stage_at(all, name, x, y)},
                                 &(float){(float)stage_at(part, name, x, y)}, sizeof(float)) == 0);
        lb_image_unref(&part);
    }
    lb_image_unref(&all);
    lb_scene_unref(&g.scene);
    op_free(&r);
}

/* A shutter of 180 degrees is open for half a frame (common practice: 1/60 s at 30 frames a
 * second); times are the middles of its parts. */
Test(render, shutter_times)
{
    op_run r = op_new(&lb_op_render, 1);
    lb_call call = op_call(&r);
    double frames[LB_MAX_TIMES];

    cr_expect(lb_op_render.times(&call, 0, frames) == 1 && frames[0] == 1);
    op_set(&r, "shutter", 180);
    cr_expect(lb_op_render.times(&call, 0, frames) == 16);
    cr_expect(frames[0] == 1 + 0.5 / 32 && frames[15] == 1.5 - 0.5 / 32);
    op_set(&r, "phase", -90);
    cr_expect(lb_op_render.times(&call, 1, frames) == 16 && frames[0] + frames[15] == 2);
    op_set(&r, "samples", 4);
    cr_expect(lb_op_render.times(&call, 0, frames) == 4);
    cr_expect(frames[0] == 0.75 + 0.5 / 8);
    op_set(&r, "samples", 64);
    cr_expect(lb_op_render.times(&call, 0, frames) == 16);
    op_free(&r);
}

/* The square flies 48 units a second, 2 a frame at 24 frames a second: with an open shutter of a
 * whole frame its left edge is a ramp over 2 pixels, whose middle it reaches after half the frame.
 */
Test(render, motion_blur)
{
    op_run r = op_new(&lb_op_render, 1);
    given g = {.scene = square_scene()};
    float *times = lb_alloc(2, sizeof *times), *values = lb_alloc(6, sizeof *values);
    lb_image *image;

    cr_assert(times && values);
    times[1] = 10;
    values[2] = values[5] = -8;
    values[3] = 480;
    MUST(lb_scene_add_curve(g.scene, &(lb_curve){.item = 1,
                                                 .target = LB_CURVE_TRANSLATION,
                                                 .interpolation = LB_LINEAR,
                                                 .key_count = 2,
                                                 .times = times,
                                                 .values = values}));
    image = run(&r, &g, everything, NULL);
    cr_assert(image);
    cr_expect(stage_at(image, "A", 24, 24) == 1 && stage_at(image, "A", 23, 24) == 0, "closed");
    lb_image_unref(&image);
    op_set(&r, "shutter", 360);
    image = run(&r, &g, everything, NULL);
    cr_assert(image);
    /* Mean over the time of the share right of 24 + 2t: 1/4 of pixel 24, 3/4 of pixel 25. */
    cr_expect(fabs(stage_at(image, "A", 24, 24) - 0.25) < 0.07);
    cr_expect(fabs(stage_at(image, "A", 25, 24) - 0.75) < 0.07);
    cr_expect(stage_at(image, "A", 23, 24) == 0 && stage_at(image, "A", 26, 24) == 1);
    lb_image_unref(&image);
    r.frame = 3; /* 4 pixels on */
    op_set(&r, "shutter", 0);
    image = run(&r, &g, everything, NULL);
    cr_assert(image);
    cr_expect(stage_at(image, "A", 28, 24) == 1 && stage_at(image, "A", 27, 24) == 0);
    lb_image_unref(&image);
    lb_scene_unref(&g.scene);
    op_free(&r);
}

/* A scene that is made anew for each time, as by an animated parameter. */
Test(render, scenes_that_differ_within_the_shutter)
{
    op_run r = op_new(&lb_op_render, 1);
    given g = {.scene = square_scene(), .next = square_scene()};
    lb_image *image;

    g.next->items[1].trs.translation.x = 32;
    op_set(&r, "shutter", 180);
    op_set(&r, "samples", 4);
    image = run(&r, &g, everything, NULL);
    cr_assert(image);
    cr_expect(stage_at(image, "A", 30, 24) == 0.25 && stage_at(image, "A", 60, 24) == 0.75);
    lb_image_unref(&image);
    stage_add(g.next, LB_ITEM_GROUP, 0, 0, 0);
    image = run(&r, &g, everything, NULL);
    cr_expect(!image && r.status == LB_INVALID && says(&r, "while the shutter is open"));
    lb_scene_unref(&g.scene);
    lb_scene_unref(&g.next);
    op_free(&r);
}

Test(render, cameras_by_name)
{
    op_run r = op_new(&lb_op_render, 1);
    given g = {.scene = square_scene()};
    lb_item *item;
    lb_image *image;

    MUST(lb_scene_add_item(g.scene, "close", "", LB_ITEM_CAMERA, -1, &item));
    item->camera = g.scene->items[0].camera;
    item->trs.translation.z = -5;
    op_text(&r, "camera", "close");
    image = run(&r, &g, everything, "depth.Z");
    cr_assert(image);
    cr_expect(stage_at(image, "depth.Z", 30, 24) == 3);
    lb_image_unref(&image);
    op_text(&r, "camera", "main");
    image = run(&r, &g, everything, "depth.Z");
    cr_assert(image);
    cr_expect(stage_at(image, "depth.Z", 30, 24) == 8);
    lb_image_unref(&image);

    op_text(&r, "camera", "maim");
    cr_expect(!run(&r, &g, everything, NULL) && r.status == LB_NOT_FOUND);
    cr_expect(says(&r, "the scene has no camera 'maim'; did you mean 'main'?"));
    op_text(&r, "camera", "somewhere else");
    cr_expect(!run(&r, &g, everything, NULL) && r.status == LB_NOT_FOUND);
    cr_expect(says(&r, "the scene has no camera 'somewhere else'; it has 'main', 'close'"));
    lb_scene_unref(&g.scene);
    op_free(&r);
}

Test(render, no_camera_at_all)
{
    op_run r = op_new(&lb_op_render, 1);
    given g = {.scene = stage_new()};

    cr_expect(!run(&r, &g, everything, NULL) && r.status == LB_NOT_FOUND);
    cr_expect(says(&r, "there is no camera in the scene"));
    op_text(&r, "camera", "x");
    cr_expect(!run(&r, &g, everything, NULL) && says(&r, "no camera 'x', nor any other"));
    lb_scene_unref(&g.scene);
    op_free(&r);
}

/* A connected camera is used, where it is at each time, and not the scene's own. */
Test(render, a_connected_camera)
{
    op_run r = op_new(&lb_op_render, 1);
    given g = {.scene = square_scene(), .camera = stage_new()};
    float *times = lb_alloc(2, sizeof *times), *values = lb_alloc(6, sizeof *values);
    lb_item *item = stage_add(g.camera, LB_ITEM_CAMERA, 0, 0, 2);
    lb_image *image;

    cr_assert(times && values);
    item->camera = g.scene->items[0].camera;
    times[1] = 1;
    values[2] = 2;
    values[3] = 24;
    values[5] = 2;
    MUST(lb_scene_add_curve(g.camera, &(lb_curve){.item = 0,
                                                  .target = LB_CURVE_TRANSLATION,
                                                  .interpolation = LB_LINEAR,
                                                  .key_count = 2,
                                                  .times = times,
                                                  .values = values}));
    r.frame = 5; /* four frames of one pixel to the right: the picture goes left */
    image = run(&r, &g, everything, NULL);
    cr_assert(image);
    cr_expect(stage_at(image, "A", 20, 24) == 1 && stage_at(image, "A", 19, 24) == 0);
    cr_expect(stage_at(image, "depth.Z", 30, 24) == 10);
    lb_image_unref(&image);
    lb_scene_unref(&g.camera);
    g.camera = stage_new();
    cr_expect(!run(&r, &g, everything, NULL) && says(&r, "holds no camera"));
    lb_scene_unref(&g.camera);
    lb_scene_unref(&g.scene);
    op_free(&r);
}

Test(render, lighting_can_be_off)
{
    op_run r = op_new(&lb_op_render, 1);
    given g = {.scene = square_scene()};
    lb_image *image;

    g.scene->items[1].material->shading = LB_SHADING_BLINN;
    g.scene->items[1].material->diffuse = (lb_vec3){0.25f, 0.5f, 2};
    stage_add(g.scene, LB_ITEM_LIGHT, 0, 0, 0); /* of no intensity */
    image = run(&r, &g, everything, NULL);
    cr_assert(image);
    cr_expect(stage_at(image, "G", 30, 24) == 0);
    lb_image_unref(&image);
    op_bool(&r, "lighting", false);
    image = run(&r, &g, everything, NULL);
    cr_assert(image);
    cr_expect(stage_at(image, "G", 30, 24) == 0.5 && stage_at(image, "B", 30, 24) == 2);
    lb_image_unref(&image);
    lb_scene_unref(&g.scene);
    op_free(&r);
}

Test(render, memory_may_run_out)
{
    op_run r = op_new(&lb_op_render, 1);
    given g = {.scene = square_scene(), .camera = stage_new()};
    lb_image *image = NULL;
    int failed = 0;

    stage_add(g.camera, LB_ITEM_CAMERA, 0, 0, 0)->camera = g.scene->items[0].camera;
    op_set(&r, "shutter", 90);
    for (int64_t n = 1; !image && n < 1000; n++) {
        lb_memory_fail_at(n);
        image = run(&r, &g, everything, NULL);
        lb_memory_fail_at(0);
        failed += !image;
        cr_assert(image || r.status == LB_MEMORY);
    }
    cr_expect(image && failed > 10);
    lb_image_unref(&image);
    lb_scene_unref(&g.camera);
    lb_scene_unref(&g.scene);
    op_free(&r);
}
