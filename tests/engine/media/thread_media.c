/* tests/engine/media/thread_media.c: the same bytes and pixels for any number of threads, for
 * ThreadSanitizer to watch. */
#include <pthread.h>

#include "tests/engine/media/media_support.h"

static const char *const names[] = {"A", "B", "G", "R", "depth.Z"};
static const lb_box frame = {0, 0, 161, 97};

static float grain(int32_t x, int32_t y, int channel)
{
    uint32_t n = (uint32_t)(x * 7919 + y * 104729 + channel * 15485863) * 2654435761u;

    return channel == 0 ? (float)(x % 3) / 2.0f : (float)(n >> 8) / 16777216.0f;
}

static void require(bool good, const char *what)
{
    if (!good)
        support_die("differs", what);
}

typedef struct task {
    lb_pool *pool;
    const lb_image *image;
    const char *path;
    lb_write_options options;
    void *bytes;
    size_t count;
} task;

static void *encode(void *context)
{
    task *t = context;

    if (lb_media_encode(t->pool, NULL, LB_NOWHERE, t->path, t->image, &t->options, &t->bytes,
                        &t->count) != LB_OK)
        support_die("does not encode", t->path);
    return NULL;
}

static void same_pixels(const lb_image *a, const lb_image *b)
{
    lb_box box = lb_image_box(a);

    require(lb_image_count(a) == lb_image_count(b), "count");
    for (int32_t c = 0; c < lb_image_count(a); c++)
        for (int32_t y = box.y0; y < box.y1; y++)
            require(memcmp(lb_plane_row(lb_image_plane(a, c), y),
                           lb_plane_row(lb_image_plane(b, c), y),
                           (size_t)lb_box_width(box) * 4) == 0,
                    lb_image_name(a, c));
}

/* One format with 1, 2 and 3 threads, there and back. */
static void compare(lb_pool *const pools[3], const lb_image *image, const char *path,
                    lb_depth depth, lb_compression compression)
{
    lb_media_wish wish = {LB_SPACE_SRGB, LB_SPACE_ACESCG};
    task first = {.pool = pools[0],
                  .image = image,
                  .path = path,
                  .options = {.depth = depth,
                              .compression = compression,
                              .view = LB_VIEW_SRGB,
                              .working = LB_SPACE_LINEAR_REC709,
                              .rate = {24, 1}}};
    lb_image *back[3];

    encode(&first);
    for (int i = 0; i < 3; i++) {
        task other = first;

        other.pool = pools[i];
        encode(&other);
        require(other.count == first.count && memcmp(other.bytes, first.bytes, first.count) == 0,
                path);
        if (lb_media_read_memory(pools[i], NULL, LB_NOWHERE, path, other.bytes, other.count, &wish,
                                 &back[i]) != LB_OK)
            support_die("does not decode", path);
        same_pixels(back[0], back[i]);
        lb_free(other.bytes);
    }
    for (int i = 0; i < 3; i++)
        lb_image_unref(&back[i]);
    lb_free(first.bytes);
}

/* Frames in flight: several writers at once on one pool. */
static void side_by_side(lb_pool *pool, const lb_image *image)
{
    static const char *const paths[] = {"a.exr", "b.png", "c.exr", "d.jpg"};
    task tasks[4];
    pthread_t threads[4];

    for (int i = 0; i < 4; i++) {
        tasks[i] = (task){.pool = pool,
                          .image = image,
                          .path = paths[i],
                          .options = {.depth = i % 2 ? LB_DEPTH_8 : LB_DEPTH_HALF,
                                      .compression = LB_COMPRESSION_ZIP,
                                      .working = LB_SPACE_LINEAR_REC709}};
        if (pthread_create(&threads[i], NULL, encode, &tasks[i]) != 0)
            support_die("no thread", "pthread_create");
    }
    for (int i = 0; i < 4; i++)
        pthread_join(threads[i], NULL);
    require(tasks[0].count == tasks[2].count &&
                memcmp(tasks[0].bytes, tasks[2].bytes, tasks[0].count) == 0,
            "side by side");
    for (int i = 0; i < 4; i++)
        lb_free(tasks[i].bytes);
}

int main(void)
{
    lb_image *image = make_image(frame, (lb_box){-5, 3, 150, 120}, names, 5, grain);
    lb_pool *pools[3];

    for (int i = 0; i < 3; i++)
        if (lb_pool_new(i + 1, &pools[i]) != LB_OK)
            support_die("no threads", "lb_pool_new");
    for (int c = LB_COMPRESSION_NONE; c <= LB_COMPRESSION_B44A; c++)
        compare(pools, image, "a.exr", LB_DEPTH_HALF, (lb_compression)c);
    compare(pools, image, "a.exr", LB_DEPTH_FLOAT, LB_COMPRESSION_ZIP);
    compare(pools, image, "a.png", LB_DEPTH_8, LB_COMPRESSION_NONE);
    compare(pools, image, "a.png", LB_DEPTH_16, LB_COMPRESSION_NONE);
    compare(pools, image, "a.jpg", LB_DEPTH_8, LB_COMPRESSION_NONE);
    compare(pools, image, "a.tga", LB_DEPTH_8, LB_COMPRESSION_NONE);
    compare(pools, image, "a.hdr", LB_DEPTH_FLOAT, LB_COMPRESSION_NONE);
    side_by_side(pools[2], image);
    for (int i = 0; i < 3; i++)
        lb_pool_free(&pools[i]);
    lb_image_unref(&image);
    return 0;
}
