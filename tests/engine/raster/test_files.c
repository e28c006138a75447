/* tests/engine/raster/test_files.c: every glTF file in tests/data that imports is rendered, seen
 * from outside its bounds; where there is something to see, something is seen. Assets:
 * tests/data/gltf, whose SOURCE.md tells where they are from. */
#include <criterion/criterion.h>
#include <ftw.h>
#include <math.h>
#include <string.h>

#include "engine/base/file.h"
#include "engine/base/math.h"
#include "engine/raster/raster.h"
#include "engine/scene/gltf.h"

#define MAX_FILES 1000

static char *files[MAX_FILES];
static int file_count;

static int note_file(const char *path, const struct stat *info, int type, struct FTW *where)
{
    const char *extension = lb_path_extension(path);

    (void)info, (void)where;
    if (type == FTW_F && file_count < MAX_FILES &&
        (!strcmp(extension, "gltf") || !strcmp(extension, "glb")))
        files[file_count++] = strdup(path);
    return 0;
}

/* A camera that has all of the bounds within its view, looking along a diagonal. */
static void aim(lb_vec3d low, lb_vec3d high, lb_instant *instant)
{
    lb_vec3d middle = {(low.x + high.x) / 2, (low.y + high.y) / 2, (low.z + high.z) / 2};
    double dx = high.x - low.x, dy = high.y - low.y, dz = high.z - low.z;
    double radius = sqrt(dx * dx + dy * dy + dz * dz) / 2 + 1e-6;
    lb_vec3d eye = {middle.x + radius, middle.y + 0.8 * radius, middle.z + 2.5 * radius};
    lb_trs place = {eye, lb_quat_look(eye, middle), {1, 1, 1}};

    instant->camera = -1;
    instant->camera_settings =
        (lb_camera){.yfov_rad = 50 * LB_PI / 180, .near = radius / 100, .far = INFINITY};
    instant->camera_world = lb_mat4_from_trs(&place);
}

/* How many pixels have any coverage; -1: nothing to render. */
static int render(const lb_scene *scene, bool expects_triangles)
{
    lb_instant instant = {.scene = scene};
    lb_raster_options options = {.width = 96,
                                 .height = 96,
                                 .pixel_aspect = 1,
                                 .region = {0, 0, 96, 96},
                                 .samples = 4,
                                 .layers = LB_LAYER_COLOR | LB_LAYER_DEPTH | LB_LAYER_NORMAL |
                                           LB_LAYER_UV,
                                 .lighting = true};
    lb_image *image = NULL;
    lb_vec3d low, high;
    int covered = 0;

    if (!lb_scene_bounds(scene, 0, &low, &high) || !expects_triangles)
        return -1;
    aim(low, high, &instant);
    cr_assert_eq(lb_raster_render(NULL, &instant, 1, &options, &image), LB_OK);
    for (int32_t y = 0; y < 96; y++)
        for (int32_t x = 0; x < 96; x++) {
            float alpha = lb_plane_at(lb_image_find(image, "A"), x, y);
            float red = lb_plane_at(lb_image_find(image, "R"), x, y);

            cr_assert(alpha >= 0 && alpha <= 1.0001f && isfinite(red), "pixel %d, %d", (int)x,
                      (int)y);
            covered += alpha > 0;
        }
    lb_image_unref(&image);
    return covered;
}

static int64_t count_triangles(const lb_scene *scene)
{
    int64_t count = 0;

    for (size_t i = 0; i < scene->item_count; i++)
        for (int32_t p = 0; scene->items[i].mesh && p < scene->items[i].mesh->primitive_count; p++)
            count += scene->items[i].mesh->primitives[p].triangle_count;
    return count;
}

Test(files, rendered, .timeout = 250)
{
    int rendered = 0, seen = 0;

    cr_assert_eq(nftw(LB_TEST_DATA "/gltf", note_file, 16, FTW_PHYS), 0);
    cr_assert_geq(file_count, 60, "the assets are there");
    for (int i = 0; i < file_count; i++) {
        lb_gltf_options options = {LB_SPACE_LINEAR_REC709};
        lb_scene *scene = NULL;
        void *bytes = NULL;
        size_t count;
        int covered;

        cr_assert_eq(lb_file_read(NULL, LB_NOWHERE, files[i], 1 << 28, &bytes, &count), LB_OK);
        if (lb_gltf_read(NULL, NULL, LB_NOWHERE, files[i], bytes, count, &options, &scene) ==
            LB_OK) {
            covered = render(scene, count_triangles(scene) > 0);
            rendered += covered >= 0;
            seen += covered > 0;
            if (covered == 0)
                fprintf(stderr, "nothing is seen of %s\n", files[i]);
        }
        lb_scene_unref(&scene);
        lb_free(bytes);
        free(files[i]);
    }
    cr_expect_geq(rendered, 60);
    cr_expect_eq(seen, rendered);
}
