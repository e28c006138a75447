/* engine/media/display.c: from scene-linear, premultiplied planes to the integers of a file. */
#include "engine/media/display.h"

#include <stdatomic.h>
#include <string.h>

#include "engine/base/clones.h"

#define ROWS_A_PIECE 8

/* Pixels x0 to x1 of a plane's row y; 0 where the plane is not. */
static void gather_row(const lb_plane *plane, lb_box window, int32_t y, float *out)
{
    int32_t width = lb_box_width(window), first, last;
    lb_box box = plane ? lb_plane_box(plane) : (lb_box){0};

    first = box.x0 > window.x0 ? box.x0 : window.x0;
    last = box.x1 < window.x1 ? box.x1 : window.x1;
    if (y < box.y0 || y >= box.y1 || first >= last) {
        memset(out, 0, (size_t)width * sizeof *out);
        return;
    }
    memset(out, 0, (size_t)(first - window.x0) * sizeof *out);
    memcpy(out + (first - window.x0), lb_plane_row(plane, y) + (first - box.x0),
           (size_t)(last - first) * sizeof *out);
    memset(out + (last - window.x0), 0, (size_t)(window.x1 - last) * sizeof *out);
}

typedef struct search {
    const lb_plane *plane;
    lb_box window;
    atomic_bool found;
} search;

LB_CLONES
static bool row_has_other_than_one(const float *row, int32_t count)
{
    uint32_t other = 0;

    for (int32_t x = 0; x < count; x++)
        other |= row[x] != 1.0f;
    return other != 0;
}

static lb_status search_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    search *s = context;
    lb_box box = lb_plane_box(s->plane);

    (void)worker;
    for (int32_t y = begin; y < end && !atomic_load_explicit(&s->found, memory_order_relaxed); y++)
        if (row_has_other_than_one(lb_plane_row(s->plane, s->window.y0 + y) +
                                       (s->window.x0 - box.x0),
                                   lb_box_width(s->window)))
            atomic_store_explicit(&s->found, true, memory_order_relaxed);
    return LB_OK;
}

/* Whether alpha is 1 in all of the frame. */
static lb_status is_opaque(lb_pool *pool, const lb_plane *alpha, lb_box window, bool *out)
{
    search s = {.plane = alpha, .window = window};
    float value;
    lb_status status;

    *out = false;
    if (!lb_box_contains(lb_plane_box(alpha), window))
        return LB_OK;
    if (lb_plane_is_constant(alpha, &value)) {
        *out = value == 1.0f;
        return LB_OK;
    }
    atomic_init(&s.found, false);
    status = lb_pool_for(pool, lb_box_height(window), 64, search_rows, &s);
    *out = status == LB_OK && !atomic_load(&s.found);
    return status;
}

/* False: the image has planes, but none that can be taken for a picture. */
static bool choose_planes(const lb_image *image, lb_signal *out)
{
    static const char *const names[] = {"R", "G", "B"};
    bool any = false;

    for (int i = 0; i < 3; i++) {
        out->colour[i] = lb_image_find(image, names[i]);
        any = any || out->colour[i];
    }
    out->alpha = lb_image_find(image, "A");
    if (any || lb_image_count(image) == 0)
        return true;
    out->is_grey = true;
    if ((out->colour[0] = lb_image_find(image, "Y")) != NULL)
        return true;
    if (lb_image_count(image) != 1)
        return false;
    out->colour[0] = lb_image_plane(image, 0);
    out->alpha = NULL;
    return true;
}

lb_status lb_signal_open(const lb_delivery *d, bool alpha_wanted, int32_t side_max, lb_signal *out)
{
    lb_status status = LB_OK;
    bool opaque = true;

    *out = (lb_signal){.delivery = d, .window = lb_image_display(d->image)};
    if (lb_box_is_empty(out->window))
        return lb_fail(d->diag, LB_INVALID, d->loc, "'%s': the frame has no pixels", d->path);
    if (lb_box_width(out->window) > side_max || lb_box_height(out->window) > side_max)
        return lb_fail(d->diag, LB_LIMIT, d->loc,
                       "'%s': the frame is %d x %d; this format goes to %d a side", d->path,
                       (int)lb_box_width(out->window), (int)lb_box_height(out->window),
                       (int)side_max);
    if (!choose_planes(d->image, out))
        return lb_fail(d->diag, LB_INVALID, d->loc,
                       "'%s': the image has no colour (R, G, B or Y) to write; its first channel "
                       "is %s",
                       d->path, lb_image_name(d->image, 0));
    if (lb_image_count(d->image) == 0)
        opaque = false;
    else if (alpha_wanted && out->alpha)
        status = is_opaque(d->pool, out->alpha, out->window, &opaque);
    if (status != LB_OK)
        return lb_fail(d->diag, status, d->loc, "'%s': %s", d->path, lb_status_text(status));
    out->has_alpha = alpha_wanted && !opaque;
    out->channels = (out->is_grey ? 1 : 3) + (out->has_alpha ? 1 : 0);
    return LB_OK;
}

/* Alpha within 0 .. 1, NaN as 0; colour divided by it, 0 where it is 0. */
LB_CLONES
static void clamp_alpha_row(float *alpha, int32_t count)
{
    for (int32_t x = 0; x < count; x++) {
        float value = alpha[x] > 0.0f ? alpha[x] : 0.0f;

        alpha[x] = value < 1.0f ? value : 1.0f;
    }
}

LB_CLONES
static void divide_row(float *restrict row, const float *restrict alpha, int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        row[x] = alpha[x] > 0.0f ? row[x] / alpha[x] : 0.0f;
}

/* `row` is within 0 .. 1, so that doubles hold the product exactly and halves go up. */
LB_CLONES
static void quantize_row(uint16_t *restrict out, const float *restrict row, double largest,
                         int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        out[x] = (uint16_t)(int32_t)((double)row[x] * largest + 0.5);
}

LB_CLONES
static void store_8_row(uint8_t *restrict out, const uint16_t *restrict row, int32_t step,
                        int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        out[(size_t)x * (size_t)step] = (uint8_t)row[x];
}

LB_CLONES
static void store_16_row(uint8_t *restrict out, const uint16_t *restrict row, int32_t step,
                         int32_t count)
{
    for (int32_t x = 0; x < count; x++) {
        out[(size_t)x * (size_t)step] = (uint8_t)(row[x] >> 8);
        out[(size_t)x * (size_t)step + 1] = (uint8_t)row[x];
    }
}

size_t lb_signal_scratch(const lb_signal *signal)
{
    return (size_t)lb_box_width(signal->window) * 5; /* R, G, B, A and integers */
}

void lb_signal_light_row(const lb_signal *signal, int32_t y, float *const rgb[3])
{
    int32_t count = lb_box_width(signal->window);

    for (int i = 0; i < 3; i++)
        if (i == 0 || !signal->is_grey)
            gather_row(signal->colour[i], signal->window, y, rgb[i]);
        else
            memcpy(rgb[i], rgb[0], (size_t)count * sizeof(float));
}

void lb_signal_row(const lb_signal *signal, int32_t y, int bits, float *scratch, uint8_t *out)
{
    const lb_write_options *options = signal->delivery->options;
    int32_t count = lb_box_width(signal->window), bytes = bits / 8;
    int32_t step = bytes * signal->channels, colours = signal->is_grey ? 1 : 3;
    float *rows[4] = {scratch, scratch + count, scratch + 2 * (size_t)count,
                      scratch + 3 * (size_t)count};
    uint16_t *integers = (uint16_t *)(void *)(scratch + 4 * (size_t)count);

    lb_signal_light_row(signal, y, rows);
    if (signal->has_alpha) {
        gather_row(signal->alpha, signal->window, y, rows[3]);
        clamp_alpha_row(rows[3], count);
        for (int i = 0; i < 3; i++)
            divide_row(rows[i], rows[3], count);
    }
    lb_view_row(options->view, options->working, rows[0], rows[1], rows[2], count);
    for (int32_t c = 0; c < signal->channels; c++) {
        quantize_row(integers, c < colours ? rows[c] : rows[3], bits == 8 ? 255.0 : 65535.0, count);
        if (bits == 8)
            store_8_row(out + c * bytes, integers, step, count);
        else
            store_16_row(out + c * bytes, integers, step, count);
    }
}

typedef struct filling {
    const lb_signal *signal;
    uint8_t *pixels;
} filling;

static lb_status fill_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const filling *f = context;
    const lb_signal *signal = f->signal;
    size_t row_bytes = (size_t)lb_box_width(signal->window) * (size_t)signal->channels;
    float *scratch = lb_block_new(lb_signal_scratch(signal) * sizeof *scratch);

    (void)worker;
    if (!scratch)
        return LB_MEMORY;
    for (int32_t y = begin; y < end; y++)
        lb_signal_row(signal, signal->window.y0 + y, 8, scratch, f->pixels + (size_t)y * row_bytes);
    lb_block_free(scratch);
    return LB_OK;
}

lb_status lb_signal_pixels(const lb_signal *signal, uint8_t **out)
{
    const lb_delivery *d = signal->delivery;
    size_t bytes = (size_t)lb_box_width(signal->window) * (size_t)lb_box_height(signal->window) *
                   (size_t)signal->channels;
    filling f = {signal, lb_block_new(bytes)};
    lb_status status = LB_MEMORY;

    *out = f.pixels;
    if (f.pixels)
        status = lb_pool_for(d->pool, lb_box_height(signal->window), ROWS_A_PIECE, fill_rows, &f);
    if (status != LB_OK) {
        lb_block_free(f.pixels);
        *out = NULL;
        return lb_fail(d->diag, status, d->loc, "'%s' could not be encoded: %s", d->path,
                       lb_status_text(status));
    }
    return LB_OK;
}
