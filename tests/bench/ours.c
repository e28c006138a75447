/* tests/bench/ours.c: the primitives. */
#include "tests/bench/ours.h"

#include <string.h>

#include "engine/image/composite.h"
#include "engine/image/convolve.h"
#include "engine/image/defocus.h"

bench *bench_new(int threads)
{
    bench *b = lb_alloc(1, sizeof *b);

    if (!b)
        return NULL;
    b->diag = lb_diag_new();
    if (!b->diag || lb_pool_new(threads, &b->pool) != LB_OK) {
        bench_free(b);
        return NULL;
    }
    return b;
}

void bench_free(bench *b)
{
    if (!b)
        return;
    lb_pool_free(&b->pool);
    lb_diag_free(&b->diag);
    lb_free(b);
}

int bench_status(bench *b, lb_status status)
{
    lb_diag_print(b->diag, stderr, false);
    return (int)status;
}

size_t bench_memory_used(void)
{
    return lb_memory_used();
}

size_t bench_memory_peak(void)
{
    return lb_memory_peak();
}

void bench_memory_trim(void)
{
    lb_memory_trim();
}

lb_image *bench_picture(int width, int height, const char *channels, const float *pixels)
{
    lb_box box = {0, 0, width, height};
    lb_image *image = NULL;
    lb_status status = lb_image_new(box, box, &image);

    for (int c = 0; channels[c] && status == LB_OK; c++) {
        const char name[2] = {channels[c], 0};
        lb_plane *plane = NULL;

        if ((status = lb_plane_new_raw(box, &plane)) != LB_OK)
            break;
        for (int y = 0; y < height; y++)
            memcpy(lb_plane_row_to_fill(plane, y),
                   pixels + ((size_t)c * (size_t)height + (size_t)y) * (size_t)width,
                   (size_t)width * sizeof *pixels);
        status = lb_image_add(image, name, plane);
        lb_plane_unref(&plane);
    }
    if (status != LB_OK)
        lb_image_unref(&image);
    return image;
}

void bench_pixels(const lb_image *image, const char *channels, float *pixels)
{
    lb_box box = lb_image_display(image);

    for (int c = 0; channels[c]; c++) {
        const char name[2] = {channels[c], 0};
        const lb_plane *plane = lb_image_find(image, name);

        for (int32_t y = box.y0; y < box.y1; y++)
            for (int32_t x = box.x0; x < box.x1; x++)
                *pixels++ = plane ? lb_plane_at(plane, x, y) : 0;
    }
}

void bench_picture_free(lb_image *image)
{
    lb_image_unref(&image);
}

/* Makes a picture of the planes, which it lets go of, and hands it over. */
static lb_status gather_planes(const lb_image *in, lb_plane **planes, int32_t count,
                               lb_status status, lb_image **out)
{
    lb_image *made = NULL;

    if (status == LB_OK)
        status = lb_image_new(lb_image_display(in), lb_image_data(in), &made);
    for (int32_t i = 0; i < count && status == LB_OK; i++)
        status = lb_image_add(made, lb_image_name(in, i), planes[i]);
    for (int32_t i = 0; i < count; i++)
        lb_plane_unref(&planes[i]);
    if (status != LB_OK || !out)
        lb_image_unref(&made);
    if (out)
        *out = made;
    return status;
}

int bench_gaussian(bench *b, const lb_image *in, double sigma, lb_image **out)
{
    const double sigmas[2] = {sigma, sigma};
    lb_plane *planes[LB_MAX_CHANNELS] = {0};
    int32_t count = lb_image_count(in);
    lb_status status = LB_OK;

    for (int32_t i = 0; i < count && status == LB_OK; i++)
        status = lb_convolve_gaussian(b->pool, lb_image_plane(in, i), sigmas, LB_EDGE_TRANSPARENT,
                                      lb_image_data(in), &planes[i]);
    return bench_status(b, gather_planes(in, planes, count, status, out));
}

int bench_disc(bench *b, const lb_image *in, double radius, lb_image **out)
{
    lb_plane *planes[LB_MAX_CHANNELS] = {0};
    int32_t count = lb_image_count(in);
    lb_status status = LB_OK;

    for (int32_t i = 0; i < count && status == LB_OK; i++)
        status = lb_convolve_disc(b->pool, lb_image_plane(in, i), radius, LB_EDGE_TRANSPARENT,
                                  lb_image_data(in), &planes[i]);
    return bench_status(b, gather_planes(in, planes, count, status, out));
}

int bench_defocus(bench *b, const lb_image *in, const lb_image *radii, double most, lb_image **out)
{
    /* An image sorts its channels: A, B, G, R. */
    const lb_plane *const planes[4] = {lb_image_find(in, "R"), lb_image_find(in, "G"),
                                       lb_image_find(in, "B"), lb_image_find(in, "A")};
    lb_plane *made[4] = {0}, *sorted[4];
    lb_status status =
        lb_defocus(b->pool, planes, lb_image_find(radii, "R"), most, lb_image_data(in), made);

    for (int i = 0; i < 4; i++)
        sorted[i] = made[3 - i];
    return bench_status(b, gather_planes(in, sorted, 4, status, out));
}

int bench_warp(bench *b, const lb_image *in, const lb_image *map, int filter, lb_image **out)
{
    const lb_plane *planes[LB_MAX_CHANNELS] = {0};
    lb_plane *made[LB_MAX_CHANNELS] = {0};
    int32_t count = lb_image_count(in);
    lb_status status;

    for (int32_t i = 0; i < count; i++)
        planes[i] = lb_image_plane(in, i);
    status =
        lb_warp_planes(b->pool, count, planes, lb_image_find(map, "R"), lb_image_find(map, "G"),
                       (lb_filter)filter, LB_EDGE_CLAMP, lb_image_data(in), made);
    return bench_status(b, gather_planes(in, made, count, status, out));
}

/* ------------------------------------------------------------ source-over */

typedef struct over_work {
    const lb_plane *source[4], *backdrop[4];
    lb_plane *out[4];
    int32_t width;
} over_work;

static lb_status over_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const over_work *w = context;

    (void)worker;
    for (int32_t y = begin; y < end; y++) {
        lb_rgba_row source = {lb_plane_row(w->source[0], y), lb_plane_row(w->source[1], y),
                              lb_plane_row(w->source[2], y), lb_plane_row(w->source[3], y)};
        lb_rgba_row backdrop = {lb_plane_row(w->backdrop[0], y), lb_plane_row(w->backdrop[1], y),
                                lb_plane_row(w->backdrop[2], y), lb_plane_row(w->backdrop[3], y)};
        lb_rgba_out out = {lb_plane_row_to_fill(w->out[0], y), lb_plane_row_to_fill(w->out[1], y),
                           lb_plane_row_to_fill(w->out[2], y), lb_plane_row_to_fill(w->out[3], y)};

        lb_composite_row(LB_SOURCE_OVER, LB_BLEND_NORMAL, out, source, backdrop, NULL, w->width);
    }
    return LB_OK;
}

int bench_over(bench *b, const lb_image *source, const lb_image *backdrop, lb_image **out)
{
    static const char *const names[4] = {"R", "G", "B", "A"};
    lb_box box = lb_image_data(source);
    over_work w = {.width = lb_box_width(box)};
    lb_plane *sorted[4];
    lb_status status = LB_OK;

    for (int c = 0; c < 4 && status == LB_OK; c++) {
        w.source[c] = lb_image_find(source, names[c]);
        w.backdrop[c] = lb_image_find(backdrop, names[c]);
        status = lb_plane_new_raw(box, &w.out[c]);
    }
    if (status == LB_OK)
        status = lb_pool_for(b->pool, lb_box_height(box), 8, over_rows, &w);
    for (int c = 0; c < 4; c++)
        sorted[c] = w.out[3 - c];
    return bench_status(b, gather_planes(source, sorted, 4, status, out));
}

/* ------------------------------------------------------------------ files */

int bench_encode(bench *b, const lb_image *in, const char *name, int depth, int compression,
                 int view, void **bytes, size_t *count)
{
    lb_write_options options = {.depth = (lb_depth)depth,
                                .compression = (lb_compression)compression,
                                .view = (lb_view)view,
                                .working = LB_SPACE_LINEAR_REC709,
                                .rate = {.num = 30, .den = 1}};

    return bench_status(
        b, lb_media_encode(b->pool, b->diag, LB_NOWHERE, name, in, &options, bytes, count));
}

int bench_decode(bench *b, const char *name, const void *bytes, size_t count, lb_image **out)
{
    lb_image *made = NULL;
    lb_status status =
        lb_media_decode(b->pool, b->diag, LB_NOWHERE, name, bytes, count, false, &made);

    if (out)
        *out = made;
    else
        lb_image_unref(&made);
    return bench_status(b, status);
}

void bench_bytes_free(void *bytes)
{
    lb_free(bytes);
}
