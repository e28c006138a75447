/* tests/determinism/canvas.c: the pixels of a graph's nodes at one frame. */
#include "tests/determinism/canvas.h"

#include <string.h>

lb_box canvas_window(const lb_run *run)
{
    return lb_box_grow(lb_format_window(lb_run_format(run)), CANVAS_MARGIN, CANVAS_MARGIN);
}

/* An image like `made`, with planes over what it has of the window and nothing in them. */
static lb_status empty_like(const lb_image *made, lb_box window, lb_image **out)
{
    lb_status status = lb_image_new(lb_image_display(made), lb_image_data(made), out);

    window = lb_box_intersect(window, lb_image_data(made));
    if (lb_box_is_empty(window))
        window = lb_image_box(made); /* a pixel of nothing */

    for (int32_t c = 0; c < lb_image_count(made) && status == LB_OK; c++) {
        lb_plane *plane = NULL;

        status = lb_plane_new(window, &plane);
        if (status == LB_OK)
            status = lb_image_add(*out, lb_image_name(made, c), plane);
        lb_plane_unref(&plane);
    }
    return status;
}

static bool is_like(const lb_image *a, const lb_image *b)
{
    if (lb_image_count(a) != lb_image_count(b) ||
        !lb_box_equal(lb_image_data(a), lb_image_data(b)) ||
        !lb_box_equal(lb_image_display(a), lb_image_display(b)))
        return false;
    for (int32_t c = 0; c < lb_image_count(a); c++)
        if (strcmp(lb_image_name(a, c), lb_image_name(b, c)) != 0)
            return false;
    return true;
}

/* The canvas's planes are shared with nobody else yet, so they may be filled. */
static void lay_in(lb_image *canvas, const lb_image *made, lb_box tile)
{
    lb_box box = lb_box_intersect(tile, lb_image_box(made));

    box = lb_box_intersect(box, lb_image_box(canvas));
    for (int32_t c = 0; c < lb_image_count(made); c++) {
        const lb_plane *from = lb_image_plane(made, c);
        lb_plane *to = (lb_plane *)lb_image_plane(canvas, c);

        for (int32_t y = box.y0; y < box.y1; y++)
            memcpy(lb_plane_row_to_fill(to, y) + (box.x0 - lb_plane_box(to).x0),
                   lb_plane_row(from, y) + (box.x0 - lb_plane_box(from).x0),
                   (size_t)lb_box_width(box) * sizeof(float));
    }
}

static bool make_tile(lb_run *run, lb_diag *diag, int32_t frame, const lb_want *wants,
                      int32_t count, lb_box tile, lb_value *values, lb_image **out)
{
    lb_status status = lb_run_frame(run, frame, wants, count, values, NULL);

    for (int32_t i = 0; i < count && status == LB_OK; i++) {
        const lb_image *made = values[i].image;

        if (!out[i])
            status = empty_like(made, canvas_window(run), &out[i]);
        else if (!is_like(out[i], made))
            status = lb_fail(diag, LB_INVALID, LB_NOWHERE,
                             "a tile has other windows or channels than the one before it");
        if (status == LB_OK)
            lay_in(out[i], made, tile);
    }
    for (int32_t i = 0; i < count; i++)
        lb_value_unref(&values[i]);
    return status == LB_OK;
}

bool canvas_make(lb_run *run, lb_diag *diag, int32_t frame, const int32_t *wanted, int32_t count,
                 bool tiled, lb_image **out)
{
    const lb_box w = canvas_window(run);
    const int32_t xs[] = {w.x0, w.x0 + lb_box_width(w) * 21 / 100,
                          w.x0 + lb_box_width(w) * 64 / 100, w.x1};
    const int32_t ys[] = {w.y0, w.y0 + lb_box_height(w) * 43 / 100,
                          w.y0 + lb_box_height(w) * 58 / 100, w.y1};
    lb_want *wants = lb_alloc((size_t)count, sizeof *wants);
    lb_value *values = lb_alloc((size_t)count, sizeof *values);
    bool good = wants && values;

    for (int32_t i = 0; i < (tiled ? 9 : 1) && good; i++) {
        lb_box tile = tiled ? (lb_box){xs[i % 3], ys[i / 3], xs[i % 3 + 1], ys[i / 3 + 1]} : w;

        for (int32_t k = 0; k < count; k++)
            wants[k] = (lb_want){.ref = {.node = wanted[k]}, .window = &tile};
        good = make_tile(run, diag, frame, wants, count, tile, values, out);
    }
    lb_free(wants);
    lb_free(values);
    return good;
}

void canvas_free(lb_image **images, int32_t count)
{
    for (int32_t i = 0; i < count; i++)
        lb_image_unref(&images[i]);
}

static void hash_row(lb_hasher *hasher, const float *row, int32_t count)
{
    uint32_t bits[64];

    for (int32_t x = 0; x < count;) {
        int32_t n = count - x < 64 ? count - x : 64;

        memcpy(bits, row + x, (size_t)n * sizeof *bits);
        for (int32_t i = 0; i < n; i++)
            bits[i] = (bits[i] & 0x7fffffffu) > 0x7f800000u ? 0x7fc00000u : bits[i];
        lb_hash_bytes(hasher, bits, (size_t)n * sizeof *bits);
        x += n;
    }
}

static void hash_box(lb_hasher *hasher, lb_box box)
{
    const int32_t sides[] = {box.x0, box.y0, box.x1, box.y1};

    for (int i = 0; i < 4; i++)
        lb_hash_u64(hasher, (uint64_t)(int64_t)sides[i]);
}

lb_key canvas_key(const lb_image *image)
{
    lb_hasher *hasher = lb_hasher_new();
    lb_key key = {0};

    if (!hasher)
        return key;
    hash_box(hasher, lb_image_display(image));
    hash_box(hasher, lb_image_data(image));
    for (int32_t c = 0; c < lb_image_count(image); c++) {
        const lb_plane *plane = lb_image_plane(image, c);
        lb_box box = lb_plane_box(plane);

        lb_hash_string(hasher, lb_image_name(image, c));
        for (int32_t y = box.y0; y < box.y1; y++)
            hash_row(hasher, lb_plane_row(plane, y), lb_box_width(box));
    }
    key = lb_hasher_key(hasher);
    lb_hasher_free(&hasher);
    return key;
}
