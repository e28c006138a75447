/* tests/bench/frame.c: bench-frame GRAPH FRAME: what each node of a frame costs. */
#include <stdlib.h>
#include <string.h>

#include "engine/graph/run.h"
#include "lang/lang.h"
#include "nodes/nodes.h"

#define RUNS 5

static int by_value(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;

    return (x > y) - (x < y);
}

static double median(double *values, int count)
{
    qsort(values, (size_t)count, sizeof *values, by_value);
    return values[count / 2];
}

typedef struct bench {
    lb_diag *diag;
    lb_pool *pool;
    lb_graph *graph;
    double (*seconds)[RUNS]; /* a node */
    size_t *peaks;
    double total[RUNS], written[16][RUNS];
    size_t write_peaks[16], bytes[16];
} bench;

static lb_status write_outputs(bench *b, const lb_value *values, int run)
{
    lb_status status = LB_OK;

    for (int32_t i = 0; i < b->graph->output_count && i < 16 && status == LB_OK; i++) {
        const lb_output *output = &b->graph->outputs[i];
        lb_write_options options = output->write;
        double start = lb_clock_s();
        void *bytes = NULL;

        lb_memory_reset_peak();
        status = lb_media_encode(b->pool, b->diag, output->file_loc, output->file, values[i].image,
                                 &options, &bytes, &b->bytes[i]);
        b->written[i][run] = lb_clock_s() - start;
        b->write_peaks[i] = lb_memory_peak();
        lb_free(bytes);
    }
    return status;
}

static lb_status one_run(bench *b, int32_t frame, int run)
{
    lb_run_options options = {.pool = b->pool, .diag = b->diag, .scale = 1};
    lb_want wants[16] = {0};
    lb_value values[16] = {0};
    lb_run *made = NULL;
    int32_t count = b->graph->output_count < 16 ? b->graph->output_count : 16, nodes;
    double start = lb_clock_s();
    lb_status status = lb_run_new(b->graph, &options, &made);

    for (int32_t i = 0; i < count; i++)
        wants[i].ref = b->graph->outputs[i].image;
    if (status == LB_OK)
        status = lb_run_frame(made, frame, wants, count, values, NULL);
    b->total[run] = lb_clock_s() - start;
    if (status == LB_OK) {
        const lb_node_stats *stats = lb_run_stats(made, &nodes);

        for (int32_t i = 0; i < nodes; i++) {
            b->seconds[i][run] = stats[i].seconds;
            b->peaks[i] = stats[i].peak_bytes;
        }
        status = write_outputs(b, values, run);
    }
    for (int32_t i = 0; i < count; i++)
        lb_value_unref(&values[i]);
    lb_run_free(&made);
    return status;
}

static void report(bench *b, int32_t frame)
{
    double total = median(b->total, RUNS);

    printf("Frame %d, %d x %d, %d threads, median of %d runs, nothing cached.\n\n", (int)frame,
           (int)b->graph->format.width, (int)b->graph->format.height, (int)lb_pool_threads(b->pool),
           RUNS);
    printf("| node | operator | ms | share | peak MiB |\n| --- | --- | ---: | ---: | ---: |\n");
    for (int32_t i = 0; i < b->graph->node_count; i++) {
        double s = median(b->seconds[i], RUNS);

        if (s > 0)
            printf("| %s | %s | %.1f | %.0f %% | %.0f |\n", b->graph->nodes[i].name,
                   b->graph->nodes[i].op->name, s * 1e3, 100 * s / total,
                   (double)b->peaks[i] / 1048576);
    }
    printf("| **all** | | **%.1f** | | |\n\n", total * 1e3);
    printf("| output | encoding ms | MiB | peak MiB |\n| --- | ---: | ---: | ---: |\n");
    for (int32_t i = 0; i < b->graph->output_count && i < 16; i++)
        printf("| %s | %.1f | %.1f | %.0f |\n", b->graph->outputs[i].name,
               median(b->written[i], RUNS) * 1e3, (double)b->bytes[i] / 1048576,
               (double)b->write_peaks[i] / 1048576);
}

int main(int argc, char **argv)
{
    bench b = {.diag = lb_diag_new()};
    int32_t frame = argc > 2 ? (int32_t)strtol(argv[2], NULL, 10) : 1;
    lb_status status;

    if (argc < 2 || !b.diag) {
        fputs("usage: bench-frame GRAPH FRAME\n", stderr);
        return 2;
    }
    if ((status = lb_lang_load(b.diag, argv[1], lb_nodes_registry, NULL, 0, &b.graph)) == LB_OK &&
        (status = lb_pool_new(0, &b.pool)) == LB_OK) {
        b.seconds = lb_alloc((size_t)b.graph->node_count + 1, sizeof *b.seconds);
        b.peaks = lb_alloc((size_t)b.graph->node_count + 1, sizeof *b.peaks);
        if (!b.seconds || !b.peaks)
            status = LB_MEMORY;
        for (int run = -1; run < RUNS && status == LB_OK; run++) /* the first warms up */
            status = one_run(&b, frame, run < 0 ? 0 : run);
        if (status == LB_OK)
            report(&b, frame);
    }
    lb_diag_print(b.diag, stderr, false);
    lb_free(b.seconds);
    lb_free(b.peaks);
    lb_pool_free(&b.pool);
    lb_graph_free(&b.graph);
    lb_diag_free(&b.diag);
    return status == LB_OK ? 0 : 1;
}
