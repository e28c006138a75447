/* tests/support/cache_images.h: images whose pixels follow from their key, and folders to keep them
 * in, for tests of the caches. Header-only. */
#ifndef LB_TESTS_SUPPORT_CACHE_IMAGES_H
#define LB_TESTS_SUPPORT_CACHE_IMAGES_H

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "engine/base/hash.h"
#include "engine/graph/cache.h"

/* `folder` NULL: in memory only. */
static inline lb_status cache_new(size_t bytes, const char *folder, lb_cache **out)
{
    return lb_cache_open(&(lb_cache_options){.memory_bytes = bytes, .folder = folder}, NULL, out);
}

/* Spread as real keys are: a hash of the number. */
static inline lb_key image_key(uint64_t number)
{
    return lb_key_of(&number, sizeof number);
}

static inline float image_pixel(lb_key key, int32_t channel, int32_t x, int32_t y)
{
    return (float)(int32_t)(key.low & 0xffff) + (float)(1000 * channel + 10 * y + x);
}

static inline lb_desc image_desc(lb_box box)
{
    return (lb_desc){LB_KIND_IMAGE, box, box, 1, lb_channels_rgba()};
}

/* A, B, G, R over `box`; NULL: no memory. */
static inline lb_image *image_new(lb_key key, lb_box box)
{
    lb_image *image = NULL;
    lb_status status = lb_image_new(box, box, &image);

    for (int32_t c = 0; c < 4 && status == LB_OK; c++) {
        lb_plane *plane = NULL;

        if ((status = lb_plane_new(box, &plane)) != LB_OK)
            break;
        for (int32_t y = box.y0; y < box.y1; y++)
            for (int32_t x = box.x0; x < box.x1; x++)
                lb_plane_row_to_fill(plane, y)[x - box.x0] = image_pixel(key, c, x, y);
        status = lb_image_add(image, lb_channels_rgba()->names[c], plane);
        lb_plane_unref(&plane);
    }
    if (status != LB_OK)
        lb_image_unref(&image);
    return image;
}

/* Every pixel of `box` in those channels. */
static inline bool image_is_right(const lb_image *image, lb_key key, lb_box box, uint64_t channels)
{
    for (int32_t c = 0; c < 4; c++) {
        const lb_plane *plane = lb_image_find(image, lb_channels_rgba()->names[c]);

        if (!(channels >> c & 1))
            continue;
        if (!plane || !lb_box_contains(lb_plane_box(plane), box))
            return false;
        for (int32_t y = box.y0; y < box.y1; y++)
            for (int32_t x = box.x0; x < box.x1; x++)
                if (lb_plane_at(plane, x, y) != image_pixel(key, c, x, y))
                    return false;
    }
    return true;
}

/* A new folder under /tmp; remove_folder takes it away again with all that is in it. */
static inline void make_folder(char path[64])
{
    strcpy(path, "/tmp/lampblack-kept-XXXXXX");
    if (!mkdtemp(path))
        abort();
}
static inline void remove_folder(const char *path)
{
    char command[128];

    snprintf(command, sizeof command, "rm -rf '%s'", path);
    if (system(command) != 0)
        abort();
}

#endif
