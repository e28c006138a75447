/* tests/support/fake_ops.h: small operators and hand-made graphs, for tests of the engine that need
 * to see what is asked of an operator. Header-only. */
#ifndef LB_TESTS_SUPPORT_FAKE_OPS_H
#define LB_TESTS_SUPPORT_FAKE_OPS_H

#include <string.h>

#include "engine/graph/run.h"

/* What the operators were last asked, and how often. One test process each, so plain globals do. */
static struct {
    int ramps, sums, spreads, blends;
    lb_box ramp_box;
    uint64_t ramp_channels;
    int series;
    double first_frame, last_frame;
} seen;

typedef struct ramp_params {
    double gain;
} ramp_params;
static const lb_param ramp_table[] = {
    LB_PARAM(ramp_params, gain, LB_NUMBER, .initial = {1}, .min = -100, .max = 100), {0}};

static inline lb_status ramp_describe(const lb_call *call, lb_desc *out)
{
    static const char *const names[] = {"R", "G", "B", "A", "depth.Z", NULL};

    *out = lb_desc_frame(call, lb_channels_make(call->arena, names));
    return out->channels ? LB_OK : LB_MEMORY;
}

/* Every wanted channel: gain * x + y. */
static inline lb_status ramp_evaluate(const lb_task *task, lb_value *out)
{
    const ramp_params *p = task->call.params;
    lb_status status = lb_task_image(task, &out->image);

    seen.ramps++;
    seen.ramp_box = task->box;
    seen.ramp_channels = task->channels;
    for (int32_t i = 0; i < task->desc->channels->count && status == LB_OK; i++) {
        lb_plane *plane = NULL;

        if (!(task->channels >> i & 1))
            continue;
        if ((status = lb_plane_new(task->box, &plane)) != LB_OK)
            break;
        for (int32_t y = task->box.y0; y < task->box.y1; y++)
            for (int32_t x = task->box.x0; x < task->box.x1; x++)
                lb_plane_row_to_fill(plane, y)[x - task->box.x0] = (float)(p->gain * x + y);
        status = lb_image_add(out->image, task->desc->channels->names[i], plane);
        lb_plane_unref(&plane);
    }
    if (status != LB_OK)
        lb_image_unref(&out->image);
    return status;
}

static const lb_op fake_ramp = {.name = "ramp",
                                .summary = "gain * x + y",
                                .version = 1,
                                .params = ramp_table,
                                .params_size = sizeof(ramp_params),
                                .result = LB_KIND_IMAGE,
                                .describe = ramp_describe,
                                .evaluate = ramp_evaluate};

/* Adds three to every pixel. */
static inline lb_status add_plane(const lb_task *task, const lb_plane *in, lb_plane **out)
{
    lb_box box = task->box;
    lb_status status = lb_plane_cut(in, box, out);

    if (status != LB_OK)
        return status;
    for (int32_t y = box.y0; y < box.y1; y++)
        for (int32_t x = 0; x < lb_box_width(box); x++)
            lb_plane_row_to_fill(*out, y)[x] += 3;
    return LB_OK;
}
static inline lb_status sum_evaluate(const lb_task *task, lb_value *out)
{
    seen.sums++;
    return lb_image_map(task, task->inputs[0].image, add_plane, &out->image);
}
static const lb_input image_input[] = {{.name = "image", .kind = LB_KIND_IMAGE}, {0}};
static const lb_op fake_sum = {.name = "sum",
                               .summary = "adds three",
                               .version = 1,
                               .inputs = image_input,
                               .result = LB_KIND_IMAGE,
                               .evaluate = sum_evaluate};

/* Reads ten pixels around; the result is the pixel itself. */
static inline lb_box spread_region(const lb_call *call, int32_t slot, lb_box wanted)
{
    (void)call, (void)slot;
    return lb_box_grow(wanted, 10, 10);
}
static inline lb_status spread_plane(const lb_task *task, const lb_plane *in, lb_plane **out)
{
    return lb_plane_cut(in, task->box, out);
}
static inline lb_status spread_evaluate(const lb_task *task, lb_value *out)
{
    seen.spreads++;
    return lb_image_map(task, task->inputs[0].image, spread_plane, &out->image);
}
static const lb_op fake_spread = {.name = "spread",
                                  .summary = "looks around",
                                  .version = 1,
                                  .inputs = image_input,
                                  .result = LB_KIND_IMAGE,
                                  .region = spread_region,
                                  .evaluate = spread_evaluate};

/* The mean of its input over the frames before, at and after this one. */
static inline int32_t blend_times(const lb_call *call, int32_t slot, double *frames)
{
    (void)slot;
    for (int i = 0; i < 3; i++)
        frames[i] = call->frame - 1 + i;
    return 3;
}
static inline lb_status blend_evaluate(const lb_task *task, lb_value *out)
{
    const lb_series *series = &task->series[0];
    lb_plane *plane = NULL;
    lb_status status = lb_task_image(task, &out->image);

    seen.blends++;
    seen.series = series->count;
    seen.first_frame = series->frames[0];
    seen.last_frame = series->frames[series->count - 1];
    if (status == LB_OK && (status = lb_plane_new(task->box, &plane)) == LB_OK) {
        for (int32_t y = task->box.y0; y < task->box.y1; y++)
            for (int32_t x = task->box.x0; x < task->box.x1; x++)
                for (int32_t k = 0; k < series->count; k++)
                    lb_plane_row_to_fill(plane, y)[x - task->box.x0] +=
                        lb_plane_at(lb_image_find(series->values[k].image, "R"), x, y) / 3;
        for (int c = 0; c < 4 && status == LB_OK; c++)
            status = lb_image_add(out->image, &"R\0G\0B\0A"[2 * c], plane);
    }
    lb_plane_unref(&plane);
    if (status != LB_OK)
        lb_image_unref(&out->image);
    return status;
}
static inline lb_status blend_describe(const lb_call *call, lb_desc *out)
{
    *out = lb_desc_frame(call, lb_channels_rgba());
    return LB_OK;
}
static const lb_op fake_blend = {.name = "blend",
                                 .summary = "over three frames",
                                 .version = 1,
                                 .inputs = image_input,
                                 .result = LB_KIND_IMAGE,
                                 .describe = blend_describe,
                                 .times = blend_times,
                                 .evaluate = blend_evaluate};

/* A parameter that is the frame's number. */
static inline lb_status frame_number(const void *context, const lb_moment *moment, lb_datum *out)
{
    (void)context;
    *out = (lb_datum){.kind = LB_DATUM_NUMBERS, .count = 1, .numbers = {moment->frame}};
    return LB_OK;
}
static inline lb_binding bind_frame(const lb_param *param)
{
    return (lb_binding){
        .param = param, .records_offset = -1, .source = {.at = frame_number, .timed = true}};
}

/* A graph with a frame of w x h and room for `nodes` nodes. */
static inline lb_graph *fake_graph(int32_t w, int32_t h, int32_t nodes)
{
    lb_graph *graph = NULL;

    if (lb_graph_new(&graph) != LB_OK)
        abort();
    graph->format.width = w;
    graph->format.height = h;
    graph->format.last = 100;
    graph->nodes = lb_arena_alloc(graph->arena, (size_t)nodes, sizeof *graph->nodes);
    return graph;
}

/* Adds a node that reads `inputs` (indices; -1: nothing). */
static inline int32_t fake_node(lb_graph *graph, const char *name, const lb_op *op,
                                const int32_t *inputs, int32_t count)
{
    lb_store store = {.arena = graph->arena, .working = graph->format.working};
    lb_node *node = &graph->nodes[graph->node_count];

    *node = (lb_node){.name = name, .op = op, .slot_count = count};
    node->loc = (lb_loc){"fake.yaml", graph->node_count + 1, 1, 1};
    node->params = lb_arena_alloc(graph->arena, 1, op->params_size + 1);
    node->locs =
        lb_arena_alloc(graph->arena, (size_t)lb_params_count(op->params) + 1, sizeof(lb_loc));
    node->slots = lb_arena_alloc(graph->arena, (size_t)count + 1, sizeof *node->slots);
    if (lb_params_init(&store, op->params, node->params) != LB_OK)
        abort();
    for (int32_t i = 0; i < count; i++)
        node->slots[i] = (lb_edge_ref){.node = inputs[i], .loc = node->loc};
    return graph->node_count++;
}

#endif
