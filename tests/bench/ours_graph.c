/* tests/bench/ours_graph.c: graphs from text, with pictures handed in from memory. */
#include "tests/bench/ours_graph.h"

#include <string.h>

#include "engine/graph/run.h"
#include "lang/lang.h"
#include "nodes/nodes.h"

#define MOST_OUTPUTS 16
#define MOST_OPS 512

/* ------------------------------------------------------------------ given */

static const lb_image *given[BENCH_GIVEN];

typedef struct given_params {
    int32_t index;
} given_params;

static const lb_param given_table[] = {
    LB_PARAM(given_params, index, LB_INT, .min = 0, .max = BENCH_GIVEN - 1,
             .doc = "Which of the pictures that were handed over."),
    {0},
};

static const lb_image *find_given(const lb_call *call)
{
    return given[((const given_params *)call->params)->index];
}

static lb_status describe_given(const lb_call *call, lb_desc *out)
{
    const lb_image *image = find_given(call);
    const char *names[LB_MAX_CHANNELS + 1] = {0};

    if (!image)
        return lb_fail(call->diag, LB_NOT_FOUND, call->loc, "no picture was given");
    for (int32_t i = 0; i < lb_image_count(image); i++)
        names[i] = lb_image_name(image, i);
    *out = lb_desc_frame(call, lb_channels_make(call->arena, names));
    out->display_window = lb_image_display(image);
    out->data_window = lb_image_data(image);
    return out->channels ? LB_OK : LB_MEMORY;
}

static lb_status evaluate_given(const lb_task *task, lb_value *out)
{
    const lb_image *image = find_given(&task->call);
    lb_status status = lb_task_image(task, &out->image);

    for (int32_t i = 0; i < lb_image_count(image) && status == LB_OK; i++)
        if (lb_task_wants(task, lb_image_name(image, i)))
            status =
                lb_task_pass(task, out->image, lb_image_name(image, i), lb_image_plane(image, i));
    if (status != LB_OK)
        lb_image_unref(&out->image);
    return status;
}

static const lb_op given_op = {
    .name = "given",
    .summary = "A picture from memory",
    .group = "source",
    .version = 1,
    .params = given_table,
    .params_size = sizeof(given_params),
    .result = LB_KIND_IMAGE,
    .describe = describe_given,
    .evaluate = evaluate_given,
};

void bench_give(int index, const lb_image *image)
{
    if (index >= 0 && index < BENCH_GIVEN)
        given[index] = image;
}

/* ----------------------------------------------------------------- graphs */

struct bench_graph {
    bench *b;
    lb_graph *graph;
    lb_run *run;
};

/* The registry with `given` put where its name belongs. */
static const lb_op *const *all_ops(void)
{
    static const lb_op *ops[MOST_OPS];
    int count = 0;
    bool put = false;

    for (int i = 0; lb_nodes_registry[i] && count < MOST_OPS - 2; i++) {
        if (!put && strcmp(given_op.name, lb_nodes_registry[i]->name) < 0) {
            ops[count++] = &given_op;
            put = true;
        }
        ops[count++] = lb_nodes_registry[i];
    }
    if (!put)
        ops[count++] = &given_op;
    ops[count] = NULL;
    return ops;
}

bench_graph *bench_graph_new(bench *b, const char *path, const char *text, double scale,
                             size_t cache_bytes, const char *set)
{
    lb_run_options options = {
        .pool = b->pool, .diag = b->diag, .scale = scale, .cache_bytes = cache_bytes};
    bench_graph *graph = lb_alloc(1, sizeof *graph);
    char *name = set ? lb_strdup(set) : NULL, *equals = name ? strchr(name, '=') : NULL;
    lb_setting setting = {name, equals ? equals + 1 : NULL};
    lb_status status = graph ? LB_OK : LB_MEMORY;

    if (equals)
        *equals = 0;
    if (status == LB_OK) {
        graph->b = b;
        status =
            text ? lb_lang_parse(b->diag, path, text, strlen(text), all_ops(), &setting,
                                 equals ? 1 : 0, &graph->graph)
                 : lb_lang_load(b->diag, path, all_ops(), &setting, equals ? 1 : 0, &graph->graph);
    }
    if (status == LB_OK)
        status = lb_run_new(graph->graph, &options, &graph->run);
    lb_free(name);
    if (status != LB_OK) {
        bench_graph_free(graph);
        graph = NULL;
    }
    (void)bench_status(b, status);
    return graph;
}

void bench_graph_free(bench_graph *graph)
{
    if (!graph)
        return;
    lb_run_free(&graph->run);
    lb_graph_free(&graph->graph);
    lb_free(graph);
}

int bench_graph_frame(bench_graph *graph, int frame, lb_image **out)
{
    lb_want wants[MOST_OUTPUTS] = {0};
    lb_value values[MOST_OUTPUTS] = {0};
    int32_t count = bench_graph_outputs(graph);
    lb_status status;

    for (int32_t i = 0; i < count; i++)
        wants[i].ref = graph->graph->outputs[i].image;
    lb_memory_reset_peak();
    status = lb_run_frame(graph->run, frame, wants, count, values, NULL);
    if (out)
        *out = status == LB_OK ? lb_image_ref(values[0].image) : NULL;
    for (int32_t i = 0; i < count; i++)
        lb_value_unref(&values[i]);
    return bench_status(graph->b, status);
}

/* What one node makes. */
static int node_value(bench_graph *graph, const char *node, int frame, lb_value *out)
{
    lb_want want = {.ref = {.node = lb_graph_find(graph->graph, node)}};

    *out = (lb_value){0};
    return want.ref.node < 0
               ? LB_NOT_FOUND
               : bench_status(graph->b, lb_run_frame(graph->run, frame, &want, 1, out, NULL));
}

int bench_graph_node_frame(bench_graph *graph, const char *node, int frame, lb_image **out)
{
    lb_value value;
    int status = node_value(graph, node, frame, &value);

    *out = status == LB_OK && value.kind == LB_KIND_IMAGE ? lb_image_ref(value.image) : NULL;
    lb_value_unref(&value);
    return *out ? LB_OK : LB_INVALID;
}

int bench_graph_scene(bench_graph *graph, const char *node, int frame, int *width, int *height,
                      lb_scene **out)
{
    lb_value value;
    int status = node_value(graph, node, frame, &value);

    *width = lb_run_format(graph->run)->width;
    *height = lb_run_format(graph->run)->height;
    *out = status == LB_OK && value.kind == LB_KIND_SCENE ? lb_scene_ref(value.scene) : NULL;
    lb_value_unref(&value);
    return *out ? LB_OK : LB_INVALID;
}

double bench_graph_time(const bench_graph *graph, double frame)
{
    const lb_format *format = lb_run_format(graph->run);

    return lb_frame_time(frame, format->first, format->rate);
}

int bench_graph_plan(bench_graph *graph, int frame)
{
    return bench_status(graph->b, lb_run_check(graph->run, frame));
}

int bench_graph_encode(bench_graph *graph, int output, const lb_image *image, void **bytes,
                       size_t *count)
{
    const lb_output *wanted = &graph->graph->outputs[output];

    return bench_status(graph->b,
                        lb_media_encode(graph->b->pool, graph->b->diag, wanted->file_loc,
                                        wanted->file, image, &wanted->write, bytes, count));
}

int bench_graph_nodes(const bench_graph *graph)
{
    return (int)graph->graph->node_count;
}

const char *bench_graph_node(const bench_graph *graph, int node, const char **op)
{
    *op = graph->graph->nodes[node].op->name;
    return graph->graph->nodes[node].name;
}

double bench_graph_seconds(const bench_graph *graph, int node, double *peak_bytes)
{
    int32_t count;
    const lb_node_stats *stats = lb_run_stats(graph->run, &count);

    *peak_bytes = node < count ? (double)stats[node].peak_bytes : 0;
    return node < count ? stats[node].seconds : 0;
}

int bench_graph_outputs(const bench_graph *graph)
{
    int32_t count = graph->graph->output_count;

    return (int)(count < MOST_OUTPUTS ? count : MOST_OUTPUTS);
}

const char *bench_graph_output(const bench_graph *graph, int output)
{
    return graph->graph->outputs[output].name;
}
