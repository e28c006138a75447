/* nodes/filter/crop.c: a part of a picture, in its place.
 *
 * An edge between pixels leaves that share of the pixel that it cuts, so a moving edge does not
 * jump. Depth, normals and ids are kept whole there. Of a picture without alpha a share of a pixel
 * would be a dark seam: there edges go to the nearest whole pixel. */
#include <string.h>

#include "engine/base/clones.h"
#include "engine/graph/operand.h"

typedef struct {
    double box[4];
} crop_params;

static const lb_input inputs[] = {{"image", LB_KIND_IMAGE, .doc = "What is cropped."}, {0}};

static const lb_param params[] = {
    LB_PARAM(crop_params, box, LB_VEC4, .required = true, .min = -1e6, .max = 1e6,
             .unit = LB_PIXELS,
             .doc = "[x0, y0, x1, y1]: left, top, right and bottom edge of what remains. The "
                    "picture keeps its place and its frame."),
    {0},
};

/* The edges as they are used. */
static void edges(const lb_call *call, double b[4])
{
    const lb_channels *has = call->inputs[0].channels;
    bool whole = lb_channels_find(has, "R") >= 0 && lb_channels_find(has, "A") < 0;

    memcpy(b, ((const crop_params *)call->params)->box, 4 * sizeof *b);
    for (int i = 0; whole && i < 4; i++)
        b[i] = floor(b[i] + 0.5);
}

static lb_status describe(const lb_call *call, lb_desc *out)
{
    double b[4];

    edges(call, b);
    *out = call->inputs[0];
    out->data_window =
        b[0] < b[2] && b[1] < b[3]
            ? lb_box_intersect(out->data_window, lb_box_around(b[0], b[1], b[2], b[3]))
            : (lb_box){0};
    return LB_OK;
}

/* How much of pixel [i, i + 1) is between `low` and `high`. */
static double share(int32_t i, double low, double high)
{
    double from = low > i ? low : i, to = high < i + 1 ? high : i + 1;

    return to > from ? to - from : 0;
}

LB_CLONES
static void multiply_row(float *restrict row, const float *restrict by, float scale, int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        row[x] *= by[x] * scale;
}

static lb_status soft_crop(const lb_task *task, const lb_plane *in, const double b[4],
                           lb_plane **out)
{
    lb_box box = task->box;
    int32_t width = lb_box_width(box);
    float *columns = lb_alloc((size_t)width, sizeof *columns);
    lb_status status = columns ? lb_plane_copy(in, box, out) : LB_MEMORY;

    for (int32_t x = 0; x < width && status == LB_OK; x++)
        columns[x] = (float)share(box.x0 + x, b[0], b[2]);
    for (int32_t y = box.y0; y < box.y1 && status == LB_OK; y++)
        multiply_row(lb_plane_row_to_fill(*out, y), columns, (float)share(y, b[1], b[3]), width);
    lb_free(columns);
    return status;
}

static bool is_soft(const double b[4])
{
    for (int i = 0; i < 4; i++)
        if (b[i] != floor(b[i]))
            return true;
    return false;
}

static lb_status evaluate(const lb_task *task, lb_value *out)
{
    const lb_channels *own = task->desc->channels;
    lb_status status = lb_task_image(task, &out->image);
    double b[4];

    edges(&task->call, b);
    for (int32_t i = 0; status == LB_OK && i < own->count; i++) {
        const lb_plane *plane = lb_task_plane(task, 0, own->names[i]);
        lb_plane *made = NULL;

        if (!(task->channels >> i & 1) || !plane)
            continue;
        if (!is_soft(b) || !lb_channel_is_color(own->names[i])) {
            status = lb_task_pass(task, out->image, own->names[i], plane);
            continue;
        }
        if ((status = soft_crop(task, plane, b, &made)) == LB_OK)
            status = lb_image_add(out->image, own->names[i], made);
        lb_plane_unref(&made);
    }
    if (status != LB_OK)
        lb_image_unref(&out->image);
    return status;
}

const lb_op lb_op_crop = {
    .name = "crop",
    .summary = "A part of a picture, in its place",
    .group = "filter",
    .version = 1,
    .inputs = inputs,
    .params = params,
    .params_size = sizeof(crop_params),
    .result = LB_KIND_IMAGE,
    .describe = describe,
    .evaluate = evaluate,
};
