/* tests/engine/image/test_image.c: named planes; names as OpenEXR has them. */
#include <criterion/criterion.h>
#include <string.h>

#include "engine/image/image.h"
#include "tests/engine/image/picture.h"

static const lb_box frame = {0, 0, 8, 4}, data = {-1, -1, 9, 5};

static lb_image *image_with(const char *const *names, int32_t count)
{
    lb_plane *plane = picture_new(data);
    lb_image *image;

    cr_assert(lb_image_new(frame, data, &image) == LB_OK);
    for (int32_t i = 0; i < count; i++)
        cr_assert(lb_image_add(image, names[i], plane) == LB_OK);
    lb_plane_unref(&plane);
    return image;
}

Test(image, channels_are_sorted_and_found)
{
    const char *names[] = {"R", "depth.Z", "A", "B", "G", "A"};
    const char *sorted[] = {"A", "B", "G", "R", "depth.Z"};
    lb_image *image = image_with(names, 6);

    cr_assert(lb_image_count(image) == 5);
    for (int32_t i = 0; i < 5; i++) {
        cr_expect(strcmp(lb_image_name(image, i), sorted[i]) == 0);
        cr_expect(lb_image_find(image, sorted[i]) == lb_image_plane(image, i));
    }
    cr_expect(!lb_image_find(image, "Z") && !lb_image_find(image, "") &&
              !lb_image_find(image, "a"));
    cr_expect(lb_box_equal(lb_image_display(image), frame));
    cr_expect(lb_box_equal(lb_image_data(image), data));
    cr_expect(lb_box_equal(lb_image_box(image), data));
    cr_expect(lb_image_pixel_aspect(image) == 1);
    cr_expect(lb_image_bytes(image) == lb_plane_bytes(lb_image_plane(image, 0)),
              "one plane shared");
    lb_image_unref(&image);
    cr_expect(image == NULL);
}

Test(image, adding)
{
    lb_plane *small = picture_new(frame), *whole = picture_new(data);
    char name[LB_CHANNEL_NAME + 1];
    lb_image *image;

    cr_assert(lb_image_new(frame, data, &image) == LB_OK);
    cr_expect(lb_box_is_empty(lb_image_box(image)) && !lb_image_mask_plane(image));
    cr_expect(lb_image_add(image, "A", small) == LB_OK);
    cr_expect(lb_image_add(image, "A", whole) == LB_OK, "the only plane may change its box");
    cr_expect(lb_image_add(image, "A", lb_image_find(image, "A")) == LB_OK, "itself");
    cr_expect(lb_image_add(image, "B", small) == LB_INVALID);
    memset(name, 'n', sizeof name);
    name[LB_CHANNEL_NAME] = 0;
    cr_expect(lb_image_add(image, name, whole) == LB_LIMIT);
    name[LB_CHANNEL_NAME - 1] = 0;
    cr_expect(lb_image_add(image, name, whole) == LB_OK);
    for (int i = 2; i < LB_MAX_CHANNELS; i++) {
        snprintf(name, sizeof name, "c%d", i);
        cr_expect(lb_image_add(image, name, whole) == LB_OK);
    }
    cr_expect(lb_image_add(image, "more", whole) == LB_LIMIT);
    cr_expect(lb_image_add(image, "c5", whole) == LB_OK);
    lb_image_unref(&image);
    lb_plane_unref(&small);
    lb_plane_unref(&whole);
}

Test(image, layers)
{
    const char *names[] = {"R", "key.R", "key.A", "light.key.R", "keyhole.R", ".odd"};
    lb_image *image = image_with(names, 6), *layer;

    lb_image_set_pixel_aspect(image, 2);
    cr_assert(lb_image_layer(image, "key", &layer) == LB_OK);
    cr_expect(lb_image_count(layer) == 2 && lb_image_find(layer, "R") && lb_image_find(layer, "A"));
    cr_expect(lb_image_find(layer, "A") == lb_image_find(image, "key.A"));
    cr_expect(lb_image_pixel_aspect(layer) == 2);
    lb_image_unref(&layer);
    cr_assert(lb_image_layer(image, "", &layer) == LB_OK);
    cr_expect(lb_image_count(layer) == 1 && lb_image_find(layer, "R"));
    lb_image_unref(&layer);
    cr_assert(lb_image_layer(image, "light.key", &layer) == LB_OK);
    cr_expect(lb_image_count(layer) == 1);
    lb_image_unref(&layer);
    cr_expect(lb_image_layer(image, "light", &layer) == LB_NOT_FOUND && !layer);
    lb_image_unref(&image);
}

Test(image, the_plane_that_says_how_much)
{
    const char *rgba[] = {"R", "G", "B", "A"}, *rgb[] = {"G", "B", "R"}, *one[] = {"depth.Z"};
    const char *other[] = {"X", "Y"};
    lb_image *image = image_with(rgba, 4);

    cr_expect(lb_image_mask_plane(image) == lb_image_find(image, "A"));
    lb_image_unref(&image);
    image = image_with(rgb, 3);
    cr_expect(lb_image_mask_plane(image) == lb_image_find(image, "R"));
    lb_image_unref(&image);
    image = image_with(one, 1);
    cr_expect(lb_image_mask_plane(image) == lb_image_plane(image, 0));
    lb_image_unref(&image);
    image = image_with(other, 2);
    cr_expect(!lb_image_mask_plane(image));
    lb_image_unref(&image);
}

Test(image, references_and_memory)
{
    size_t before = lb_memory_used();
    const char *names[] = {"R", "G"};
    lb_image *image = image_with(names, 2), *again = lb_image_ref(image);

    lb_image_unref(&image);
    cr_expect(lb_image_count(again) == 2);
    lb_image_unref(&again);
    cr_expect(lb_memory_used() == before);
}

static lb_status make_all(const lb_plane *plane)
{
    lb_image *image = NULL, *layer = NULL;
    lb_status status = lb_image_new(frame, data, &image);

    if (!status)
        status = lb_image_add(image, "a.X", plane);
    if (!status)
        status = lb_image_add(image, "Y", plane);
    if (!status)
        status = lb_image_layer(image, "a", &layer);
    lb_image_unref(&layer);
    lb_image_unref(&image);
    return status;
}

Test(image, failing_allocations)
{
    lb_plane *plane = picture_new(data);
    size_t before = lb_memory_used();

    for (int64_t n = 1;; n++) {
        lb_status status;
        bool done;

        lb_memory_fail_at(n);
        status = make_all(plane);
        done = lb_memory_fail_left() > 0;
        lb_memory_fail_at(0);
        cr_assert(lb_memory_used() == before);
        if (done) {
            cr_expect(status == LB_OK && n > 6);
            break;
        }
        cr_assert(status == LB_MEMORY);
    }
    lb_plane_unref(&plane);
}
