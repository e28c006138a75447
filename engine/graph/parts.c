/* engine/graph/parts.c: pictures that are made in horizontal parts. */
#include "engine/graph/parts.h"

#include <string.h>

#define ROWS_LEAST 32 /* below, most of the work is for the margins that filters need */

typedef struct assembly {
    const lb_want *wants;
    int32_t count;
    lb_box window; /* of wants without one */
    lb_want *part_wants;
    lb_box *part_windows;
    lb_value *values; /* of a part */
    lb_key *keys;
    lb_value *out;
} assembly;

int32_t lb_parts_rows(lb_box window, int32_t parts)
{
    int32_t rows = (lb_box_height(window) - 1) / parts + 1;

    return parts <= 1 || rows >= ROWS_LEAST ? rows : 0;
}

static lb_box window_of(const assembly *a, int32_t want)
{
    return a->wants[want].window ? *a->wants[want].window : a->window;
}

/* An earlier want of the same picture, whose planes can be shared; -1: none. */
static int32_t find_twin(const assembly *a, int32_t want)
{
    for (int32_t i = 0; i < want; i++) {
        const char *x = a->wants[i].ref.layer, *y = a->wants[want].ref.layer;

        if (lb_key_equal(a->keys[i], a->keys[want]) && (x == y || (x && y && !strcmp(x, y))) &&
            lb_box_equal(window_of(a, i), window_of(a, want)))
            return i;
    }
    return -1;
}

/* Planes for the whole window, not filled. */
static lb_status begin_image(assembly *a, int32_t want)
{
    const lb_image *part = a->values[want].image;
    lb_box box = lb_box_intersect(window_of(a, want), lb_image_data(part));
    int32_t twin = find_twin(a, want);
    lb_image *image = NULL;
    lb_status status = lb_image_new(lb_image_display(part), lb_image_data(part), &image);

    if (status != LB_OK)
        return status;
    a->out[want] = (lb_value){.kind = LB_KIND_IMAGE, .image = image};
    lb_image_set_pixel_aspect(image, lb_image_pixel_aspect(part));
    for (int32_t i = 0; i < lb_image_count(part) && status == LB_OK; i++) {
        const char *name = lb_image_name(part, i);
        const lb_plane *same = twin >= 0 ? lb_image_find(a->out[twin].image, name) : NULL;
        lb_plane *plane = same ? lb_plane_ref(same) : NULL;

        if (!plane && lb_box_is_empty(box))
            plane = lb_plane_ref(lb_image_plane(part, i)); /* a pixel of black, as it came */
        if (!plane)
            status = lb_plane_new_raw(box, &plane);
        if (status == LB_OK)
            status = lb_image_add(image, name, plane);
        lb_plane_unref(&plane);
    }
    return status;
}

static void copy_part(const assembly *a, int32_t want)
{
    const lb_image *part = a->values[want].image;
    int32_t twin = find_twin(a, want);

    if (lb_box_is_empty(lb_box_intersect(window_of(a, want), lb_image_data(part))))
        return; /* the pixel of black is there already */
    for (int32_t i = 0; i < lb_image_count(part); i++) {
        const char *name = lb_image_name(part, i);
        const lb_plane *from = lb_image_plane(part, i);
        lb_plane *to = (lb_plane *)lb_image_find(a->out[want].image, name); /* not published yet */
        lb_box both;

        if (!to || (twin >= 0 && lb_image_find(a->out[twin].image, name) == to))
            continue;
        both = lb_box_intersect(lb_plane_box(from), lb_plane_box(to));
        both = lb_box_intersect(both, a->part_windows[want]);
        for (int32_t y = both.y0; y < both.y1; y++)
            memcpy(lb_plane_row_to_fill(to, y) + (both.x0 - lb_plane_box(to).x0),
                   lb_plane_row(from, y) + (both.x0 - lb_plane_box(from).x0),
                   (size_t)lb_box_width(both) * sizeof(float));
    }
}

/* Part `index` of all wants. */
static lb_status make_part(assembly *a, int32_t index, int32_t parts, lb_parts_fn fn, void *context)
{
    lb_status status;

    for (int32_t i = 0; i < a->count; i++) {
        lb_box window = window_of(a, i);
        int32_t rows = (lb_box_height(window) - 1) / parts + 1;

        a->part_windows[i] = window;
        a->part_windows[i].y0 = window.y0 + index * rows;
        if (a->part_windows[i].y0 > window.y1)
            a->part_windows[i].y0 = window.y1;
        if (window.y1 - a->part_windows[i].y0 > rows)
            a->part_windows[i].y1 = a->part_windows[i].y0 + rows;
        a->part_wants[i] = a->wants[i];
        a->part_wants[i].window = &a->part_windows[i];
    }
    if ((status = fn(context, a->part_wants, a->count, a->values, a->keys)) != LB_OK)
        return status;
    for (int32_t i = 0; i < a->count && status == LB_OK; i++) {
        if (a->values[i].kind != LB_KIND_IMAGE)
            status = LB_MEMORY;
        else if (index == 0)
            status = begin_image(a, i);
        if (status == LB_OK)
            copy_part(a, i);
    }
    for (int32_t i = 0; i < a->count; i++)
        lb_value_unref(&a->values[i]);
    return status;
}

lb_status lb_parts_make(const lb_want *wants, int32_t count, lb_box window, int32_t parts,
                        lb_parts_fn fn, void *context, lb_value *out, lb_key *keys)
{
    size_t n = (size_t)count + 1;
    assembly a = {.wants = wants,
                  .count = count,
                  .window = window,
                  .part_wants = lb_alloc(n, sizeof(lb_want)),
                  .part_windows = lb_alloc(n, sizeof(lb_box)),
                  .values = lb_alloc(n, sizeof(lb_value)),
                  .keys = lb_alloc(n, sizeof(lb_key)),
                  .out = out};
    lb_status status = a.part_wants && a.part_windows && a.values && a.keys ? LB_OK : LB_MEMORY;

    memset(out, 0, (size_t)count * sizeof *out);
    for (int32_t i = 0; i < parts && status == LB_OK; i++)
        status = make_part(&a, i, parts, fn, context);
    if (status == LB_OK && keys)
        memcpy(keys, a.keys, (size_t)count * sizeof *keys);
    for (int32_t i = 0; i < count && status != LB_OK; i++)
        lb_value_unref(&out[i]);
    lb_free(a.part_wants);
    lb_free(a.part_windows);
    lb_free(a.values);
    lb_free(a.keys);
    return status;
}
