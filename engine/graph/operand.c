/* engine/graph/operand.c */
#include "engine/graph/operand.h"

#include <string.h>

#include "engine/base/clones.h"

bool lb_channel_is_color(const char *name)
{
    const char *dot = strrchr(name, '.');
    const char *last = dot ? dot + 1 : name;

    return last[0] && !last[1] && strchr("RGBAY", last[0]);
}

bool lb_channels_have_color(const lb_channels *channels)
{
    for (int32_t i = 0; i < channels->count; i++)
        if (lb_channel_is_color(channels->names[i]))
            return true;
    return false;
}

uint64_t lb_channels_bit(const lb_channels *channels, const char *name)
{
    int32_t i = name ? lb_channels_find(channels, name) : -1;

    return i < 0 ? 0 : (uint64_t)1 << i;
}

uint64_t lb_channels_rgba_bits(const lb_channels *channels)
{
    return lb_channels_bit(channels, "R") | lb_channels_bit(channels, "G") |
           lb_channels_bit(channels, "B") | lb_channels_bit(channels, "A") |
           lb_channels_bit(channels, "Y");
}

const lb_channels *lb_channels_with(lb_arena *arena, const lb_channels *channels, const char *name)
{
    const char *names[LB_MAX_CHANNELS + 2];
    int32_t count = channels->count;

    if (lb_channels_find(channels, name) >= 0)
        return channels;
    memcpy(names, channels->names, (size_t)count * sizeof names[0]);
    if (count < LB_MAX_CHANNELS)
        names[count++] = name;
    names[count] = NULL;
    return lb_channels_make(arena, names);
}

const char *lb_mask_channel(const lb_channels *channels)
{
    if (lb_channels_find(channels, "A") >= 0)
        return "A";
    if (channels->count == 1)
        return channels->names[0];
    return lb_channels_find(channels, "R") >= 0 ? "R" : NULL;
}

lb_status lb_mask_check(const lb_call *call, int32_t slot, const char *name)
{
    const lb_desc *input = &call->inputs[slot];

    if (input->kind != LB_KIND_IMAGE || !input->channels || lb_mask_channel(input->channels))
        return LB_OK;
    return lb_fail(call->diag, LB_INVALID, call->loc,
                   "'%s' of '%s' has several channels and neither A nor R among them; name one "
                   "layer of it",
                   name, call->node);
}

const lb_plane *lb_task_plane(const lb_task *task, int32_t slot, const char *name)
{
    const lb_value *value = &task->inputs[slot];

    return name && value->kind == LB_KIND_IMAGE ? lb_image_find(value->image, name) : NULL;
}

const float *lb_plane_row_over(const lb_plane *plane, int32_t x0, int32_t x1, int32_t y,
                               float *scratch)
{
    size_t width = (size_t)(x1 - x0);
    lb_box box = plane ? lb_plane_box(plane) : (lb_box){0};
    int32_t from = box.x0 > x0 ? box.x0 : x0, to = box.x1 < x1 ? box.x1 : x1;

    if (y < box.y0 || y >= box.y1 || from >= to) {
        memset(scratch, 0, width * sizeof *scratch);
        return scratch;
    }
    if (from == x0 && to == x1)
        return lb_plane_row(plane, y) + (x0 - box.x0);
    memset(scratch, 0, width * sizeof *scratch);
    memcpy(scratch + (from - x0), lb_plane_row(plane, y) + (from - box.x0),
           (size_t)(to - from) * sizeof *scratch);
    return scratch;
}

LB_CLONES
static void limit_row(float *restrict out, const float *restrict in, float amount, int32_t count)
{
    for (int32_t x = 0; x < count; x++) {
        float value = in[x] > 0.0f ? in[x] : 0.0f; /* NaN too */

        out[x] = (value < 1.0f ? value : 1.0f) * amount;
    }
}

LB_CLONES
static uint32_t differ_from(uint32_t bits, const float *row, int32_t count)
{
    uint32_t any = 0;

    for (int32_t x = 0; x < count; x++) {
        uint32_t value;

        memcpy(&value, &row[x], sizeof value);
        any |= value ^ bits;
    }
    return any;
}

bool lb_row_is_one(const float *row, int32_t count)
{
    const uint32_t one = 0x3f800000;
    const int32_t piece = 256; /* most rows that are not are known by their beginning */

    for (int32_t x = 0; x < count; x += piece)
        if (differ_from(one, row + x, count - x < piece ? count - x : piece))
            return false;
    return true;
}

void lb_mask_row(const float *mask, float amount, int32_t count, float *out)
{
    if (mask)
        limit_row(out, mask, amount, count);
    for (int32_t x = 0; !mask && x < count; x++)
        out[x] = amount;
}

const float *lb_plane_mask_over(const lb_plane *plane, float amount, int32_t x0, int32_t x1,
                                int32_t y, float *scratch)
{
    lb_box box = plane ? lb_plane_box(plane) : (lb_box){0};
    int32_t from = box.x0 > x0 ? box.x0 : x0, to = box.x1 < x1 ? box.x1 : x1;

    if (!plane) {
        lb_mask_row(NULL, amount, x1 - x0, scratch);
        return scratch;
    }
    if (y < box.y0 || y >= box.y1 || from >= to) {
        memset(scratch, 0, (size_t)(x1 - x0) * sizeof *scratch);
        return scratch;
    }
    memset(scratch, 0, (size_t)(from - x0) * sizeof *scratch);
    lb_mask_row(lb_plane_row(plane, y) + (from - box.x0), amount, to - from, scratch + (from - x0));
    memset(scratch + (to - x0), 0, (size_t)(x1 - to) * sizeof *scratch);
    return scratch;
}

lb_status lb_plane_copy(const lb_plane *plane, lb_box box, lb_plane **out)
{
    lb_status status = lb_plane_new_raw(box, out);

    for (int32_t y = box.y0; status == LB_OK && y < box.y1; y++) {
        float *row = lb_plane_row_to_fill(*out, y);
        const float *from = lb_plane_row_over(plane, box.x0, box.x1, y, row);

        if (from != row)
            memcpy(row, from, (size_t)lb_box_width(box) * sizeof *row);
    }
    return status;
}
