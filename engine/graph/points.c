/* engine/graph/points.c: what operators declare who work pixel by pixel. They are run in
 * points_run.c. */
#include "engine/graph/points.h"

#include "engine/graph/operand.h"

static const char *const rgba[4] = {"R", "G", "B", "A"};

void lb_points_tap(const lb_call *call, int32_t slot, const char *name, lb_points_use *out)
{
    const lb_desc *input = &call->inputs[slot];
    int32_t channel = LB_TAP_NONE;

    if (name && input->kind == LB_KIND_IMAGE)
        channel = lb_channels_find(input->channels, name);
    out->taps[out->tap_count++] = (lb_tap){slot, channel};
}

void lb_points_pass(const lb_call *call, const lb_desc *own, uint64_t wanted, int32_t slot,
                    lb_points_use *out)
{
    const lb_channels *has = call->inputs[slot].channels;

    for (int32_t i = 0; i < own->channels->count; i++)
        if (wanted >> i & 1)
            out->passed[i] = (lb_tap){slot, lb_channels_find(has, own->channels->names[i])};
}

void lb_points_use_color(const lb_call *call, const lb_desc *own, uint64_t wanted,
                         lb_points_use *out)
{
    bool any = false;

    lb_points_pass(call, own, wanted, 0, out);
    for (int c = 0; c < 3; c++)
        any = any || (wanted & lb_channels_bit(own->channels, rgba[c])) != 0;
    if (!any)
        return;
    for (int c = 0; c < 4; c++)
        lb_points_tap(call, 0, rgba[c], out);
    if (out->taps[3].channel < 0)
        out->taps[3].channel = LB_TAP_INSIDE;
    for (int c = 0; c < 3; c++)
        out->made[out->made_count++] = lb_channels_find(own->channels, rgba[c]);
}

static bool is_made(const lb_points_use *use, int32_t channel)
{
    for (int32_t i = 0; i < use->made_count; i++)
        if (use->made[i] == channel)
            return true;
    return false;
}

uint64_t lb_points_bits(const lb_points_use *use, const lb_desc *own, uint64_t wanted, int32_t slot)
{
    uint64_t bits = 0;

    for (int32_t i = 0; i < use->tap_count; i++)
        if (use->taps[i].slot == slot && use->taps[i].channel >= 0)
            bits |= (uint64_t)1 << use->taps[i].channel;
    for (int32_t i = 0; i < own->channels->count; i++)
        if ((wanted >> i & 1) && !is_made(use, i) && use->passed[i].slot == slot &&
            use->passed[i].channel >= 0)
            bits |= (uint64_t)1 << use->passed[i].channel;
    return bits;
}

lb_status lb_points_evaluate(const lb_task *task, lb_value *out)
{
    const lb_call *call = &task->call;
    lb_points_use use = {0};
    lb_points_input *inputs =
        lb_arena_alloc(call->arena, (size_t)call->input_count + 1, sizeof *inputs);
    lb_points_member member = {.call = call,
                               .desc = task->desc,
                               .box = task->box,
                               .channels = task->channels,
                               .use = &use,
                               .inputs = inputs,
                               .kept = true};
    lb_status status;

    if (!inputs)
        return LB_MEMORY;
    for (int32_t i = 0; i < call->input_count; i++) {
        bool has = task->inputs[i].kind == LB_KIND_IMAGE;

        inputs[i] = (lb_points_input){.member = -1, .image = has ? task->inputs[i].image : NULL};
    }
    status = call->op->points->use(call, task->desc, task->channels, &use);
    if (status == LB_OK)
        status = lb_points_run(task->pool, &member, 1);
    out->image = member.image;
    return status;
}
