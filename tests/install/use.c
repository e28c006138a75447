/* tests/install/use.c: a program of somebody else's, built against what `cmake --install` put down.
 */
#include "engine/graph/run.h"
#include "lang/lang.h"
#include "nodes/nodes.h"

int main(void)
{
    static const char text[] = "lampblack: 1\n"
                               "frame: {size: [4, 4], rate: 24, range: [1, 1]}\n"
                               "nodes: {a: {op: solid, color: [0.5, 0.25, 0.125]}}\n"
                               "outputs: {o: {image: a, file: o.exr}}\n";
    lb_diag *diag = lb_diag_new();
    lb_graph *graph = NULL;
    lb_run *run = NULL;
    lb_value value = {0};
    int result = 1;

    if (lb_lang_parse(diag, "use.yaml", text, sizeof text - 1, lb_nodes_registry, NULL, 0,
                      &graph) == LB_OK) {
        lb_run_options options = {.diag = diag, .scale = 1};
        lb_want want = {.ref = graph->outputs[0].image};

        if (lb_run_new(graph, &options, &run) == LB_OK &&
            lb_run_frame(run, 1, &want, 1, &value, NULL) == LB_OK)
            result = lb_plane_at(lb_image_find(value.image, "G"), 3, 3) == 0.25f ? 0 : 1;
    }
    lb_diag_print(diag, stderr, false);
    lb_value_unref(&value);
    lb_run_free(&run);
    lb_graph_free(&graph);
    lb_diag_free(&diag);
    return result;
}
