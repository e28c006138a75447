/* engine/scene/pyramid.c: a picture at halving sizes, each level an exact area average. */
#include "engine/scene/pyramid.h"

#include <math.h>
#include <string.h>

#define MAX_SIDE                                                                                   \
    (1 << 20) /* more than any file holds; float keeps every texel apart up to 2^23                \
               */

typedef struct {
    const lb_plane *planes[4];
    lb_box window;
    int32_t channels;
    float *out;
} gather_job;

/* Interleaves rows of planes; outside a plane's box there is nothing: 0. */
static lb_status gather_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const gather_job *job = context;
    int32_t width = lb_box_width(job->window);

    (void)worker;
    for (int32_t row = begin; row < end; row++) {
        float *out = job->out + (size_t)row * (size_t)width * (size_t)job->channels;
        int32_t y = job->window.y0 + row;

        for (int32_t c = 0; c < job->channels; c++) {
            lb_box box = job->planes[c] ? lb_plane_box(job->planes[c]) : (lb_box){0};
            lb_box seen = lb_box_intersect(box, job->window);
            const float *in;

            for (int32_t x = 0; x < width; x++)
                out[x * job->channels + c] = 0;
            if (lb_box_is_empty(seen) || y < seen.y0 || y >= seen.y1)
                continue;
            in = lb_plane_row(job->planes[c], y) - box.x0;
            for (int32_t x = seen.x0; x < seen.x1; x++)
                out[(x - job->window.x0) * job->channels + c] = in[x];
        }
    }
    return LB_OK;
}

/* Which planes of the image are the texture's channels. */
static int32_t pick_planes(const lb_image *image, const lb_plane *planes[4])
{
    const lb_plane *r = lb_image_find(image, "R"), *g = lb_image_find(image, "G");
    const lb_plane *b = lb_image_find(image, "B"), *a = lb_image_find(image, "A");
    const lb_plane *y = lb_image_find(image, "Y");
    float alpha;

    if (a && lb_plane_is_constant(a, &alpha) && alpha == 1 &&
        lb_box_contains(lb_plane_box(a), lb_image_display(image)))
        a = NULL;
    if (!r && !g && !b && y)
        r = g = b = y;
    if (!r && !g && !b) {
        planes[0] = lb_image_mask_plane(image);
        if (!planes[0] && lb_image_count(image) > 0)
            planes[0] = lb_image_plane(image, 0);
        return planes[0] ? 1 : 0;
    }
    planes[0] = r;
    planes[1] = g;
    planes[2] = b;
    planes[3] = a;
    if (a)
        return 4;
    return (r == g && g == b) || (r && !g && !b && lb_image_count(image) == 1) ? 1 : 3;
}

/* One output index along an axis: input texels first .. first + count - 1, the first and the last
 * covered in part. An output texel covers from/to input texels, 2 when the size is even, and more
 * than 2 and at most 3 when it is odd (it touches 3 then). */
typedef struct {
    int32_t first, count;
    float weights[4];
} cover;

static cover cover_of(int32_t index, int32_t from, int32_t to)
{
    /* The edges are index * from / to, exact as fractions of `to`. */
    int64_t begin = (int64_t)index * from, end = (int64_t)(index + 1) * from;
    cover c = {(int32_t)(begin / to), 0, {0}};

    for (int64_t texel = c.first; texel * to < end && c.count < 4; texel++) {
        int64_t left = texel * to > begin ? texel * to : begin;
        int64_t right = (texel + 1) * to < end ? (texel + 1) * to : end;

        c.weights[c.count++] = (float)((double)(right - left) / (double)from);
    }
    return c;
}

typedef struct {
    lb_texture_level from, to;
    float *out;
    int32_t channels;
} halve_job;

static lb_status halve_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const halve_job *job = context;
    size_t n = (size_t)job->channels, stride = (size_t)job->from.width * n;

    (void)worker;
    for (int32_t y = begin; y < end; y++) {
        cover rows = cover_of(y, job->from.height, job->to.height);
        const float *in = job->from.texels + (size_t)rows.first * stride;
        float *out = job->out + (size_t)y * (size_t)job->to.width * n;

        for (int32_t x = 0; x < job->to.width; x++) {
            cover cols = cover_of(x, job->from.width, job->to.width);

            for (size_t c = 0; c < n; c++) {
                float sum = 0;

                for (int32_t j = 0; j < rows.count; j++) {
                    const float *at = in + (size_t)j * stride + (size_t)cols.first * n + c;
                    float line = 0;

                    for (int32_t i = 0; i < cols.count; i++)
                        line += at[(size_t)i * n] * cols.weights[i];
                    sum += line * rows.weights[j];
                }
                out[(size_t)x * n + c] = sum;
            }
        }
    }
    return LB_OK;
}

/* Sizes of all levels and where each begins; the texels needed, or false when that overflows. */
static bool lay_out(lb_pyramid *p, int32_t width, int32_t height, size_t starts[], size_t *total)
{
    *total = 0;
    for (p->levels = 0; p->levels < LB_PYRAMID_LEVELS; p->levels++) {
        size_t floats;

        if (!lb_size_mul((size_t)width, (size_t)height, &floats) ||
            !lb_size_mul(floats, (size_t)p->channels, &floats))
            return false;
        p->level[p->levels] = (lb_texture_level){width, height, NULL};
        starts[p->levels] = *total;
        if (!lb_size_add(*total, floats, total))
            return false;
        if (width == 1 && height == 1) {
            p->levels++;
            break;
        }
        width = width > 1 ? width / 2 : 1;
        height = height > 1 ? height / 2 : 1;
    }
    return lb_size_mul(*total, sizeof(float), &p->bytes);
}

static lb_status fill(lb_pool *pool, lb_pyramid *p, const lb_plane *const planes[4], lb_box window)
{
    gather_job gather = {
        {planes[0], planes[1], planes[2], planes[3]}, window, p->channels, p->texels};
    lb_status status = lb_pool_for(pool, p->level[0].height, 16, gather_rows, &gather);

    for (int32_t k = 1; k < p->levels && status == LB_OK; k++) {
        halve_job job = {p->level[k - 1], p->level[k], (float *)p->level[k].texels, p->channels};

        status = lb_pool_for(pool, p->level[k].height, 16, halve_rows, &job);
    }
    return status;
}

lb_status lb_pyramid_new(lb_pool *pool, const lb_image *image, lb_pyramid **out)
{
    lb_box window = lb_image_display(image);
    const lb_plane *planes[4] = {NULL, NULL, NULL, NULL};
    size_t starts[LB_PYRAMID_LEVELS], total;
    lb_status status;
    lb_pyramid *p;

    *out = NULL;
    if (lb_box_is_empty(window))
        return LB_INVALID;
    if (lb_box_width(window) > MAX_SIDE || lb_box_height(window) > MAX_SIDE)
        return LB_LIMIT;
    if (!(p = lb_alloc(1, sizeof *p)))
        return LB_MEMORY;
    lb_refs_init(&p->refs);
    if ((p->channels = pick_planes(image, planes)) == 0)
        status = LB_INVALID;
    else if (!lay_out(p, lb_box_width(window), lb_box_height(window), starts, &total))
        status = LB_LIMIT;
    else if (!(p->texels = lb_block_new(p->bytes)))
        status = LB_MEMORY;
    else {
        for (int32_t k = 0; k < p->levels; k++)
            p->level[k].texels = p->texels + starts[k];
        status = fill(pool, p, planes, window);
    }
    if (status)
        lb_pyramid_unref(&p);
    *out = p;
    return status;
}

void lb_pyramid_unref(lb_pyramid **pyramid)
{
    lb_pyramid *old = *pyramid;

    *pyramid = NULL;
    if (!old || !lb_refs_drop(&old->refs))
        return;
    lb_block_free(old->texels);
    lb_free(old);
}
