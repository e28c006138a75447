/* tests/engine/raster/thread_raster.c: several threads on one picture, for ThreadSanitizer. Exit
 * status 0: the same bits as one thread. */
#include "tests/engine/raster/stage.h"

int main(void)
{
    lb_scene *scene = stage_everything();
    lb_raster_options options = stage_options(160, 120, 4);
    lb_instant at[4];
    lb_image *alone;
    int bad = 0;

    for (int t = 0; t < 4; t++) {
        at[t] = stage_lens(scene, 0.9);
        at[t].time_s = (t + 0.5) / 4;
    }
    alone = stage_render(at, 4, &options);
    for (int32_t threads = 2; threads <= 7; threads++) {
        lb_pool *pool;
        lb_image *image;

        MUST(lb_pool_new(threads, &pool));
        MUST(lb_raster_render(pool, at, 4, &options, &image));
        bad += !stage_is_same(alone, image, options.region);
        lb_image_unref(&image);
        lb_pool_free(&pool);
    }
    lb_image_unref(&alone);
    lb_scene_unref(&scene);
    if (bad)
        fprintf(stderr, "%d of 6 pools made another picture\n", bad);
    return bad != 0;
}
