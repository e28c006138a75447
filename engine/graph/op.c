/* engine/graph/op.c: what operators on images share. */
#include "engine/graph/op.h"

#include <string.h>

#include "engine/graph/param.h"

lb_loc lb_call_loc(const lb_call *call, const char *param)
{
    const lb_param *at = lb_params_find(call->op->params, param);

    return at && call->locs ? call->locs[at - call->op->params] : call->loc;
}

lb_desc lb_desc_frame(const lb_call *call, const lb_channels *channels)
{
    lb_box window = lb_format_window(call->format);

    return (lb_desc){LB_KIND_IMAGE, window, window, call->format->pixel_aspect, channels};
}

lb_status lb_task_image(const lb_task *task, lb_image **out)
{
    lb_status status = lb_image_new(task->desc->display_window, task->desc->data_window, out);

    if (status == LB_OK)
        lb_image_set_pixel_aspect(*out, task->desc->pixel_aspect);
    return status;
}

lb_status lb_plane_cut(const lb_plane *plane, lb_box box, lb_plane **out)
{
    lb_box from = lb_plane_box(plane), both = lb_box_intersect(from, box);
    float value;
    lb_status status;

    if (lb_plane_is_constant(plane, &value) && lb_box_contains(from, box))
        return lb_plane_new_constant(box, value, out);
    if (!lb_box_equal(both, box))
        status = lb_plane_new(box, out);
    else
        status = lb_plane_new_raw(box, out);
    if (status != LB_OK || lb_box_is_empty(both))
        return status;
    for (int32_t y = both.y0; y < both.y1; y++)
        memcpy(lb_plane_row_to_fill(*out, y) + (both.x0 - box.x0),
               lb_plane_row(plane, y) + (both.x0 - from.x0),
               (size_t)lb_box_width(both) * sizeof(float));
    return LB_OK;
}

lb_status lb_task_pass(const lb_task *task, lb_image *out, const char *name, const lb_plane *plane)
{
    lb_plane *cut = NULL;
    lb_status status;

    if (lb_box_equal(lb_plane_box(plane), task->box))
        return lb_image_add(out, name, plane);
    if ((status = lb_plane_cut(plane, task->box, &cut)) == LB_OK)
        status = lb_image_add(out, name, cut);
    lb_plane_unref(&cut);
    return status;
}

lb_status lb_image_map(const lb_task *task, const lb_image *in, lb_plane_fn fn, lb_image **out)
{
    const lb_channels *channels = task->desc->channels;
    lb_status status = lb_task_image(task, out);

    for (int32_t i = 0; status == LB_OK && i < channels->count; i++) {
        const lb_plane *plane = lb_image_find(in, channels->names[i]);
        lb_plane *made = NULL;

        if (!(task->channels >> i & 1) || !plane)
            continue;
        if ((status = fn(task, plane, &made)) == LB_OK)
            status = lb_image_add(*out, channels->names[i], made);
        lb_plane_unref(&made);
    }
    if (status != LB_OK)
        lb_image_unref(out);
    return status;
}
