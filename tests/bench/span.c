/* tests/bench/span.c: bench-span GRAPH FRAME: what a frame is made of, for many.py to reckon how it
 * would go on more threads than the machine has. The frame is made on one thread, once to warm up
 * and once to be written down; the linker puts the functions below in the place of the pool's
 * loops.
 *
 * Standard output is JSON. A piece is a list of what it does one after the other: seconds by itself
 * as numbers, loops as {"pieces": [...]}, and the frame's batches as {"pieces": [...], "needs":
 * [[...], ...]}, the pieces that each one waits for. */
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#include "engine/base/text.h"
#include "engine/graph/batches.h"
#include "engine/graph/run.h"
#include "lang/lang.h"
#include "nodes/nodes.h"

lb_status __real_lb_batches_make(lb_plan *plan, lb_batches *out);
lb_status __wrap_lb_batches_make(lb_plan *plan, lb_batches *out);
lb_status __wrap_lb_pool_for(lb_pool *pool, int32_t count, int32_t grain, lb_range_fn fn,
                             void *context);
lb_status __wrap_lb_pool_for_waiting(lb_pool *pool, int32_t count, lb_range_fn fn, void *context);

static struct {
    lb_text text;
    bool is_on;
    bool has_items; /* in the list that is open */
    double since;   /* when the work began that is not written yet */
    const lb_batches *batches;
} record;

/* Time of this thread, which others do not disturb much. */
static double clock_s(void)
{
    struct timespec now;

    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static void comma(void)
{
    if (record.has_items)
        lb_text_put(&record.text, ",");
    record.has_items = true;
}

/* Writes the work since the last call. */
static void put_work(void)
{
    double now = clock_s();

    comma();
    lb_text_printf(&record.text, "%.9f", now - record.since);
    record.since = now;
}

static void open_list(const char *begin)
{
    lb_text_put(&record.text, begin);
    record.has_items = false;
}

static void close_list(const char *end)
{
    lb_text_put(&record.text, end);
    record.has_items = true;
}

static lb_status put_pieces(int32_t count, int32_t grain, lb_range_fn fn, void *context)
{
    lb_status status = LB_OK;

    for (int32_t begin = 0; begin < count && status == LB_OK; begin += grain) {
        comma();
        open_list("[");
        record.since = clock_s();
        status = fn(context, begin, count - begin > grain ? begin + grain : count, 0);
        put_work();
        close_list("]");
    }
    return status;
}

lb_status __wrap_lb_batches_make(lb_plan *plan, lb_batches *out)
{
    record.batches = out;
    return __real_lb_batches_make(plan, out);
}

static lb_status run(int32_t count, int32_t grain, lb_range_fn fn, void *context)
{
    lb_status status = LB_OK;

    for (int32_t begin = 0; begin < count && status == LB_OK; begin += grain)
        status = fn(context, begin, count - begin > grain ? begin + grain : count, 0);
    return status;
}

lb_status __wrap_lb_pool_for(lb_pool *pool, int32_t count, int32_t grain, lb_range_fn fn,
                             void *context)
{
    lb_status status;

    (void)pool;
    if (grain < 1)
        grain = 1;
    if (!record.is_on || count <= grain)
        return run(count, grain, fn, context);
    put_work();
    comma();
    open_list("{\"pieces\":[");
    status = put_pieces(count, grain, fn, context);
    close_list("]}");
    record.since = clock_s();
    return status;
}

/* The batches of a frame. */
lb_status __wrap_lb_pool_for_waiting(lb_pool *pool, int32_t count, lb_range_fn fn, void *context)
{
    lb_status status;

    (void)pool;
    if (!record.is_on)
        return run(count, 1, fn, context);
    put_work();
    comma();
    open_list("{\"needs\":[");
    for (int32_t i = 0; i < count; i++) {
        const lb_batch *batch = &record.batches->items[i];

        comma();
        open_list("[");
        for (int32_t k = 0; k < batch->need_count; k++) {
            comma();
            lb_text_printf(&record.text, "%d", (int)batch->needs[k]);
        }
        close_list("]");
    }
    open_list("],\"pieces\":[");
    status = put_pieces(count, 1, fn, context);
    close_list("]}");
    record.since = clock_s();
    return status;
}

static lb_status make_frame(lb_run *run, const lb_graph *graph, int32_t frame)
{
    lb_want want = {.ref = graph->outputs[0].image};
    lb_value value;
    lb_status status = lb_run_frame(run, frame, &want, 1, &value, NULL);

    lb_value_unref(&value);
    return status;
}

int main(int argc, char **argv)
{
    lb_diag *diag = lb_diag_new();
    lb_graph *graph = NULL;
    lb_pool *pool = NULL;
    lb_run *run = NULL;
    lb_run_options options = {.diag = diag, .scale = 1};
    int32_t frame = argc == 3 ? (int32_t)strtol(argv[2], NULL, 10) : 0;

    if (argc != 3) {
        fputs("usage: bench-span GRAPH FRAME\n", stderr);
        return 2;
    }
    if (lb_lang_load(diag, argv[1], lb_nodes_registry, NULL, 0, &graph) == LB_OK &&
        graph->output_count > 0 && lb_pool_new(1, &pool) == LB_OK) {
        options.pool = pool;
        if (lb_run_new(graph, &options, &run) == LB_OK && make_frame(run, graph, frame) == LB_OK) {
            record.is_on = true;
            record.since = clock_s();
            lb_text_put(&record.text, "[");
            if (make_frame(run, graph, frame) == LB_OK) {
                put_work();
                lb_text_put(&record.text, "]\n");
            } else {
                record.text.failed = true;
            }
        }
    }
    lb_diag_print(diag, stderr, false);
    if (record.text.length > 0 && !record.text.failed)
        fputs(record.text.bytes, stdout);
    else
        record.text.failed = true;
    lb_run_free(&run);
    lb_pool_free(&pool);
    lb_graph_free(&graph);
    lb_diag_free(&diag);
    return record.text.failed;
}
