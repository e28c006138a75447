/* tests/engine/media/media_support.h: files and images for the tests of media. Header-only; what
 * goes wrong ends the test. */
#ifndef LB_TESTS_ENGINE_MEDIA_SUPPORT_H
#define LB_TESTS_ENGINE_MEDIA_SUPPORT_H

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "engine/media/media.h"

static inline void support_die(const char *why, const char *what)
{
    fprintf(stderr, "%s: %s\n", what, why);
    abort();
}

/* tests/data/NAME; free. */
static inline unsigned char *load_data(const char *name, size_t *count)
{
    char path[1024];
    FILE *file;
    long size;
    unsigned char *bytes;

    snprintf(path, sizeof path, "%s/%s", LB_TEST_DATA, name);
    if (!(file = fopen(path, "rb")) || fseek(file, 0, SEEK_END) || (size = ftell(file)) < 0)
        support_die("cannot be read", path);
    rewind(file);
    bytes = malloc((size_t)size + 1);
    if (!bytes || fread(bytes, 1, (size_t)size, file) != (size_t)size)
        support_die("cannot be read", path);
    fclose(file);
    *count = (size_t)size;
    return bytes;
}

/* What a channel holds at (x, y). */
typedef float (*support_pixel)(int32_t x, int32_t y, int channel);

/* An image with a plane for each name, filled by `pixel` in `box`. */
static inline lb_image *make_image(lb_box display, lb_box box, const char *const *names, int count,
                                   support_pixel pixel)
{
    lb_image *image;

    if (lb_image_new(display, box, &image) != LB_OK)
        support_die("no memory", "make_image");
    for (int c = 0; c < count; c++) {
        lb_plane *plane;

        if (lb_plane_new(box, &plane) != LB_OK)
            support_die("no memory", "make_image");
        for (int32_t y = box.y0; y < box.y1; y++)
            for (int32_t x = box.x0; x < box.x1; x++)
                lb_plane_row_to_fill(plane, y)[x - box.x0] = pixel(x, y, c);
        if (lb_image_add(image, names[c], plane) != LB_OK)
            support_die("no memory", "make_image");
        lb_plane_unref(&plane);
    }
    return image;
}

static inline float pixel_of(const lb_image *image, const char *channel, int32_t x, int32_t y)
{
    const lb_plane *plane = lb_image_find(image, channel);

    if (!plane)
        support_die("has no such channel", channel);
    return lb_plane_at(plane, x, y);
}

/* The messages of a diag as one text; free. */
static inline char *messages_of(lb_diag *diag)
{
    char *text = NULL;
    size_t size = 0;
    FILE *file = open_memstream(&text, &size);

    lb_diag_print(diag, file, false);
    fclose(file);
    return text;
}

/* True if the messages so far say `words`; they are then spent. */
static inline bool says(lb_diag *diag, const char *words)
{
    char *text = messages_of(diag);
    bool found = strstr(text, words) != NULL;

    if (!found)
        fprintf(stderr, "not '%s' but: %s\n", words, text);
    free(text);
    return found;
}

static inline uint32_t float_bits(float value)
{
    uint32_t bits;

    memcpy(&bits, &value, sizeof bits);
    return bits;
}

#endif
