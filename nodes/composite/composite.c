/* nodes/composite/composite.c: one picture over, in, or blended with another.
 *
 * W3C Compositing and Blending Level 1 in working-linear light. An image without alpha is opaque
 * where it has pixels; a one-channel image is grey. */
#include <string.h>

#include "engine/graph/operand.h"
#include "engine/image/composite.h"

enum { SOURCE, BACKDROP, MASK };

typedef struct {
    int porter_duff;
    int blend;
    double opacity;
} composite_params;

static const lb_input inputs[] = {
    {"source", LB_KIND_IMAGE, .doc = "What is put on the backdrop."},
    {"backdrop", LB_KIND_IMAGE,
     .doc = "What is behind it; its frame and its other layers become the result's."},
    {"mask", LB_KIND_IMAGE, .optional = true,
     .doc = "How much of the source there is, from 0 to 1: its alpha, its only channel, or "
            "its red."},
    {0}};

static const lb_param params[] = {
    LB_PARAM_AS(composite_params, porter_duff, "operator", LB_CHOICE, .names = lb_porter_duff_names,
                .initial = {LB_SOURCE_OVER},
                .doc = "Which parts of the two remain: Porter and Duff."),
    LB_PARAM(composite_params, blend, LB_CHOICE, .names = lb_blend_names,
             .initial = {LB_BLEND_NORMAL},
             .doc = "How their colours mix where both are; in linear light."),
    LB_PARAM(composite_params, opacity, LB_NUMBER, .initial = {1}, .min = 0, .max = 1,
             .doc = "Scales the source's colour and alpha before it is composited."),
    {0},
};

/* Where the operator's result can be other than transparent black: `s` and `b` are where source
 * and backdrop can be. */
static lb_box reach_of(lb_porter_duff rule, lb_box s, lb_box b)
{
    switch (rule) {
    case LB_CLEAR:
        return (lb_box){0};
    case LB_COPY:
    case LB_SOURCE_OUT:
    case LB_DESTINATION_ATOP:
        return s;
    case LB_DESTINATION:
    case LB_DESTINATION_OUT:
    case LB_SOURCE_ATOP:
        return b;
    case LB_SOURCE_IN:
    case LB_DESTINATION_IN:
        return lb_box_intersect(s, b);
    default:
        return lb_box_unite(s, b);
    }
}

/* R, G, B, A and the backdrop's other layers. A grey backdrop's Y becomes the three. */
static const lb_channels *result_channels(const lb_call *call, bool *others)
{
    static const char *const colors[] = {"R", "G", "B", "A"};
    const lb_channels *has = call->inputs[BACKDROP].channels;
    bool grey = lb_channels_find(has, "R") < 0;
    const char *names[LB_MAX_CHANNELS + 5];
    int32_t count = 4;

    memcpy(names, colors, sizeof colors);
    for (int32_t i = 0; i < has->count && count < LB_MAX_CHANNELS; i++)
        if (lb_channels_find(lb_channels_rgba(), has->names[i]) < 0 &&
            !(grey && strcmp(has->names[i], "Y") == 0))
            names[count++] = has->names[i];
    names[count] = NULL;
    *others = count > 4;
    return lb_channels_make(call->arena, names);
}

static lb_status describe(const lb_call *call, lb_desc *out)
{
    const composite_params *p = call->params;
    const lb_desc *source = &call->inputs[SOURCE], *backdrop = &call->inputs[BACKDROP];
    const lb_desc *mask = &call->inputs[MASK];
    lb_box reach = source->data_window;
    lb_status status = lb_mask_check(call, MASK, "mask");
    bool others;

    if (status != LB_OK)
        return status;
    if (mask->kind == LB_KIND_IMAGE)
        reach = lb_box_intersect(reach, mask->data_window);
    *out = *backdrop;
    out->data_window = reach_of((lb_porter_duff)p->porter_duff, reach, backdrop->data_window);
    out->channels = result_channels(call, &others);
    if (others)
        out->data_window = lb_box_unite(out->data_window, backdrop->data_window);
    return out->channels ? LB_OK : lb_fail(call->diag, LB_MEMORY, call->loc, "no memory");
}

static uint64_t channels(const lb_call *call, const lb_desc *own, int32_t slot, uint64_t wanted)
{
    const lb_channels *has = call->inputs[slot].channels;
    uint64_t bits = 0;

    if (slot == MASK)
        return lb_channels_bit(has, lb_mask_channel(has));
    bits = lb_channels_rgba_bits(has);
    for (int32_t i = 0; slot == BACKDROP && i < own->channels->count; i++)
        if (wanted >> i & 1)
            bits |= lb_channels_bit(has, own->channels->names[i]);
    return bits;
}

/* The planes of one input; grey for three colours where it has Y instead. */
typedef struct layer {
    const lb_plane *rgba[4];
    bool opaque; /* has no alpha */
    lb_box data_window;
} layer;

static const char *const rgba[4] = {"R", "G", "B", "A"};

static layer layer_of(const lb_task *task, int32_t slot)
{
    const lb_desc *input = &task->call.inputs[slot];
    layer made = {.opaque = lb_channels_find(input->channels, "A") < 0,
                  .data_window = input->data_window};

    for (int c = 0; c < 4; c++)
        made.rgba[c] = lb_task_plane(task, slot, rgba[c]);
    if (!made.rgba[0] && !made.rgba[1] && !made.rgba[2])
        made.rgba[0] = made.rgba[1] = made.rgba[2] = lb_task_plane(task, slot, "Y");
    return made;
}

typedef struct job {
    const lb_task *task;
    layer source, backdrop;
    const lb_plane *mask;
    bool masked;
    lb_plane *out[4];
} job;

/* Row y of a layer; rows that it has not whole go to scratch, four of them. */
static lb_rgba_row row_of(const layer *from, lb_box box, int32_t y, float *scratch)
{
    size_t width = (size_t)lb_box_width(box);
    const float *rows[4];

    for (size_t c = 0; c < 3; c++)
        rows[c] = lb_plane_row_over(from->rgba[c], box.x0, box.x1, y, scratch + c * width);
    rows[3] =
        from->opaque
            ? lb_plane_alpha_over(NULL, from->data_window, box.x0, box.x1, y, scratch + 3 * width)
            : lb_plane_row_over(from->rgba[3], box.x0, box.x1, y, scratch + 3 * width);
    return (lb_rgba_row){rows[0], rows[1], rows[2], rows[3]};
}

static lb_status composite_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const job *j = context;
    const composite_params *p = j->task->call.params;
    lb_box box = j->task->box;
    size_t width = (size_t)lb_box_width(box);
    float *scratch = lb_block_new(9 * width * sizeof *scratch);

    (void)worker;
    if (!scratch)
        return LB_MEMORY;
    for (int32_t y = box.y0 + begin; y < box.y0 + end; y++) {
        lb_rgba_row source = row_of(&j->source, box, y, scratch);
        lb_rgba_row backdrop = row_of(&j->backdrop, box, y, scratch + 4 * width);
        const float *amount = NULL;
        lb_rgba_out out = {lb_plane_row_to_fill(j->out[0], y), lb_plane_row_to_fill(j->out[1], y),
                           lb_plane_row_to_fill(j->out[2], y), lb_plane_row_to_fill(j->out[3], y)};

        if (j->masked || p->opacity != 1)
            amount = j->masked && !j->mask ? memset(scratch + 8 * width, 0, width * sizeof *scratch)
                                           : lb_plane_mask_over(j->mask, (float)p->opacity, box.x0,
                                                                box.x1, y, scratch + 8 * width);
        lb_composite_row((lb_porter_duff)p->porter_duff, (lb_blend)p->blend, out, source, backdrop,
                         amount, (int32_t)width);
    }
    lb_block_free(scratch);
    return LB_OK;
}

static lb_status pass_others(const lb_task *task, lb_image *out)
{
    const lb_channels *own = task->desc->channels;
    lb_status status = LB_OK;

    for (int32_t i = 0; i < own->count && status == LB_OK; i++) {
        const lb_plane *plane = lb_task_plane(task, BACKDROP, own->names[i]);

        if ((task->channels >> i & 1) && plane && strcmp(own->names[i], "R") &&
            strcmp(own->names[i], "G") && strcmp(own->names[i], "B") && strcmp(own->names[i], "A"))
            status = lb_task_pass(task, out, own->names[i], plane);
    }
    return status;
}

static lb_status evaluate(const lb_task *task, lb_value *out)
{
    const lb_desc *mask = &task->call.inputs[MASK];
    job j = {.task = task,
             .source = layer_of(task, SOURCE),
             .backdrop = layer_of(task, BACKDROP),
             .masked = mask->kind == LB_KIND_IMAGE};
    bool any = false;
    lb_status status = lb_task_image(task, &out->image);

    if (j.masked)
        j.mask = lb_task_plane(task, MASK, lb_mask_channel(mask->channels));
    for (int c = 0; c < 4; c++)
        any = any || lb_task_wants(task, rgba[c]);
    for (int c = 0; c < 4 && any && status == LB_OK; c++)
        status = lb_plane_new_raw(task->box, &j.out[c]);
    if (status == LB_OK && any)
        status = lb_pool_for(task->pool, lb_box_height(task->box), 16, composite_rows, &j);
    for (int c = 0; c < 4; c++) {
        if (status == LB_OK && lb_task_wants(task, rgba[c]))
            status = lb_image_add(out->image, rgba[c], j.out[c]);
        lb_plane_unref(&j.out[c]);
    }
    if (status == LB_OK)
        status = pass_others(task, out->image);
    if (status != LB_OK)
        lb_image_unref(&out->image);
    return status;
}

const lb_op lb_op_composite = {
    .name = "composite",
    .summary = "One picture over, in, or blended with another",
    .doc = "co = Fa cs + Fb cb by the operator's fractions; a blend mode other than normal mixes "
           "the colours first where both pictures are (W3C Compositing and Blending Level 1). "
           "All of it in linear light.",
    .group = "composite",
    .version = 1,
    .inputs = inputs,
    .params = params,
    .params_size = sizeof(composite_params),
    .result = LB_KIND_IMAGE,
    .describe = describe,
    .channels = channels,
    .evaluate = evaluate,
};
