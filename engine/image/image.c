/* engine/image/image.c */
#include "engine/image/image.h"

#include <string.h>

typedef struct channel {
    char *name;
    lb_plane *plane;
} channel;

struct lb_image {
    lb_refs refs;
    lb_box display, data;
    double pixel_aspect;
    int32_t count;
    size_t capacity;
    channel *channels; /* sorted by name as bytes */
};

lb_status lb_image_new(lb_box display_window, lb_box data_window, lb_image **out)
{
    lb_image *image = lb_alloc(1, sizeof *image);

    *out = image;
    if (!image)
        return LB_MEMORY;
    lb_refs_init(&image->refs);
    image->display = lb_box_normal(display_window);
    image->data = lb_box_normal(data_window);
    image->pixel_aspect = 1;
    return LB_OK;
}

lb_image *lb_image_ref(const lb_image *image)
{
    lb_image *shared = (lb_image *)image; /* only the count changes */

    lb_refs_take(&shared->refs);
    return shared;
}

void lb_image_unref(lb_image **image)
{
    lb_image *own = *image;

    *image = NULL;
    if (!own || !lb_refs_drop(&own->refs))
        return;
    for (int32_t i = 0; i < own->count; i++) {
        lb_free(own->channels[i].name);
        lb_plane_unref(&own->channels[i].plane);
    }
    lb_free(own->channels);
    lb_free(own);
}

/* The first channel whose name is not before `name`, by halving. */
static int32_t place_of(const lb_image *image, const char *name)
{
    int32_t low = 0, high = image->count;

    while (low < high) {
        int32_t middle = (low + high) / 2;

        if (strcmp(image->channels[middle].name, name) < 0)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

static bool is_at(const lb_image *image, int32_t place, const char *name)
{
    return place < image->count && strcmp(image->channels[place].name, name) == 0;
}

lb_status lb_image_add(lb_image *image, const char *name, const lb_plane *plane)
{
    int32_t place = place_of(image, name);
    bool replaces = is_at(image, place, name);
    lb_plane *shared;
    char *own;

    if (image->count > (replaces ? 1 : 0) &&
        !lb_box_equal(lb_image_box(image), lb_plane_box(plane)))
        return LB_INVALID;
    if (replaces) {
        shared = lb_plane_ref(plane); /* first: it may be the same plane */
        lb_plane_unref(&image->channels[place].plane);
        image->channels[place].plane = shared;
        return LB_OK;
    }
    if (image->count == LB_MAX_CHANNELS || strlen(name) >= LB_CHANNEL_NAME)
        return LB_LIMIT;
    if (!lb_grow((void **)&image->channels, &image->capacity, (size_t)image->count,
                 sizeof *image->channels) ||
        !(own = lb_strdup(name)))
        return LB_MEMORY;
    memmove(image->channels + place + 1, image->channels + place,
            (size_t)(image->count - place) * sizeof *image->channels);
    image->channels[place] = (channel){own, lb_plane_ref(plane)};
    image->count++;
    return LB_OK;
}

lb_box lb_image_display(const lb_image *image)
{
    return image->display;
}

lb_box lb_image_data(const lb_image *image)
{
    return image->data;
}

lb_box lb_image_box(const lb_image *image)
{
    return image->count ? lb_plane_box(image->channels[0].plane) : (lb_box){0};
}

double lb_image_pixel_aspect(const lb_image *image)
{
    return image->pixel_aspect;
}

void lb_image_set_pixel_aspect(lb_image *image, double aspect)
{
    image->pixel_aspect = aspect;
}

int32_t lb_image_count(const lb_image *image)
{
    return image->count;
}

const char *lb_image_name(const lb_image *image, int32_t index)
{
    return image->channels[index].name;
}

const lb_plane *lb_image_plane(const lb_image *image, int32_t index)
{
    return image->channels[index].plane;
}

const lb_plane *lb_image_find(const lb_image *image, const char *name)
{
    int32_t place = place_of(image, name);

    return is_at(image, place, name) ? image->channels[place].plane : NULL;
}

/* A plane that stands under several names counts once. */
size_t lb_image_bytes(const lb_image *image)
{
    size_t bytes = 0;

    for (int32_t i = 0; i < image->count; i++) {
        bool seen = false;

        for (int32_t j = 0; j < i && !seen; j++)
            seen = image->channels[j].plane == image->channels[i].plane;
        if (!seen)
            bytes += lb_plane_bytes(image->channels[i].plane);
    }
    return bytes;
}

/* What is left of `name` in `layer`; NULL if it belongs to another one. */
static const char *name_in_layer(const char *name, const char *layer)
{
    const char *dot = strrchr(name, '.');
    size_t length = strlen(layer);

    if (!dot)
        return length == 0 ? name : NULL;
    if (length == 0 || (size_t)(dot - name) != length || memcmp(name, layer, length) != 0)
        return NULL;
    return dot + 1;
}

lb_status lb_image_layer(const lb_image *image, const char *layer, lb_image **out)
{
    lb_status status = lb_image_new(image->display, image->data, out);

    if (status)
        return status;
    (*out)->pixel_aspect = image->pixel_aspect;
    for (int32_t i = 0; i < image->count && !status; i++) {
        const char *name = name_in_layer(image->channels[i].name, layer);

        if (name)
            status = lb_image_add(*out, name, image->channels[i].plane);
    }
    if (!status && (*out)->count == 0)
        status = LB_NOT_FOUND;
    if (status)
        lb_image_unref(out);
    return status;
}

const lb_plane *lb_image_mask_plane(const lb_image *image)
{
    const lb_plane *alpha = lb_image_find(image, "A");

    if (alpha)
        return alpha;
    if (image->count == 1)
        return image->channels[0].plane;
    return lb_image_find(image, "R");
}
