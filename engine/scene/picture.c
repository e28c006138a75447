/* engine/scene/picture.c: the bytes of a picture to a texture. */
#include "engine/scene/picture.h"

#include <string.h>

#include "engine/media/media.h"

typedef struct {
    const lb_plane *in[4];
    lb_plane *out[4];
    lb_box box;
    lb_space from, working;
} convert_job;

static lb_status convert_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const convert_job *job = context;
    int32_t width = lb_box_width(job->box);

    (void)worker;
    for (int32_t y = job->box.y0 + begin; y < job->box.y0 + end; y++) {
        float *rgb[3];

        for (int32_t c = 0; c < 3; c++) {
            rgb[c] = lb_plane_row_to_fill(job->out[c], y);
            memcpy(rgb[c], lb_plane_row(job->in[c], y), (size_t)width * sizeof(float));
        }
        lb_space_convert_row(job->from, job->working, rgb[0], rgb[1], rgb[2], width);
        for (int32_t c = 0; c < 3 && job->in[3]; c++) {
            const float *alpha = lb_plane_row(job->in[3], y);

            for (int32_t x = 0; x < width; x++)
                rgb[c][x] *= alpha[x];
        }
    }
    return LB_OK;
}

/* Working-linear R, G, B, with A premultiplied if it is wanted and there. A grey picture stays one
 * channel as long as it has no alpha: red, green, blue are the same plane then. */
static lb_status to_color(lb_pool *pool, const lb_image *stored, lb_space from, lb_space working,
                          bool with_alpha, lb_image **out)
{
    static const char *const names[] = {"R", "G", "B"};
    const lb_plane *grey = lb_image_find(stored, "Y");
    const lb_plane *alpha = with_alpha ? lb_image_find(stored, "A") : NULL;
    convert_job job = {.box = lb_image_box(stored), .from = from, .working = working};
    lb_status status = lb_image_new(lb_image_display(stored), lb_image_data(stored), out);

    job.in[3] = alpha;
    for (int32_t c = 0; c < 3 && status == LB_OK; c++) {
        if (!(job.in[c] = grey ? grey : lb_image_find(stored, names[c])))
            status = LB_UNSUPPORTED;
        else
            status = lb_plane_new_raw(job.box, &job.out[c]);
    }
    if (status == LB_OK)
        status = lb_pool_for(pool, lb_box_height(job.box), 16, convert_rows, &job);
    for (int32_t c = 0; c < 3 && status == LB_OK; c++)
        status = lb_image_add(*out, names[c], job.out[grey && !alpha ? 0 : c]);
    if (status == LB_OK && alpha)
        status = lb_image_add(*out, "A", alpha);
    for (int32_t c = 0; c < 3; c++)
        lb_plane_unref(&job.out[c]);
    if (status)
        lb_image_unref(out);
    return status;
}

/* The numbers as they are, without alpha. */
static lb_status to_data(const lb_image *stored, lb_image **out)
{
    static const char *const names[] = {"R", "G", "B", "Y"};
    lb_status status = lb_image_new(lb_image_display(stored), lb_image_data(stored), out);

    for (int32_t c = 0; c < 4 && status == LB_OK; c++) {
        const lb_plane *plane = lb_image_find(stored, names[c]);

        if (plane)
            status = lb_image_add(*out, names[c], plane);
    }
    if (status == LB_OK && lb_image_count(*out) == 0)
        status = LB_UNSUPPORTED;
    if (status)
        lb_image_unref(out);
    return status;
}

lb_status lb_picture_texture(lb_pool *pool, const char *name, const void *bytes, size_t count,
                             lb_picture_use use, lb_space working, lb_texture **out)
{
    lb_texture_map map = lb_texture_map_default();
    lb_image *stored = NULL, *taken = NULL;
    lb_media_info info;
    lb_space space = LB_SPACE_SRGB;
    lb_status status;

    *out = NULL;
    if ((status = lb_media_probe(NULL, LB_NOWHERE, name, bytes, count, &info)))
        return status;
    if (info.is_float)
        space = LB_SPACE_LINEAR_REC709;
    lb_media_info_clear(&info);
    if ((status = lb_media_decode(pool, NULL, LB_NOWHERE, name, bytes, count, false, &stored)))
        return status;
    status = use == LB_PICTURE_DATA
                 ? to_data(stored, &taken)
                 : to_color(pool, stored, space, working, use == LB_PICTURE_COLOR_ALPHA, &taken);
    lb_image_unref(&stored);
    if (status == LB_OK)
        status = lb_texture_new(pool, taken, &map, out);
    lb_image_unref(&taken);
    return status;
}

const char *lb_picture_fault(lb_status status)
{
    return status == LB_UNSUPPORTED ? "is of a kind that is not read"
           : status == LB_LIMIT     ? "is too big"
           : status == LB_IO        ? "cannot be read"
                                    : "is damaged or no picture";
}
