/* engine/cli/check.c: lampblack check GRAPH. */
#include "engine/cli/cli.h"

/* Plans the first frame, so that files and layers are looked at, without making a pixel. */
static lb_status plan_first(const lb_graph *graph, lb_diag *diag)
{
    lb_run_options options = {.diag = diag, .scale = 1};
    lb_run *run = NULL;
    lb_status status = lb_run_new(graph, &options, &run);

    if (status == LB_OK)
        status = lb_run_check(run, graph->format.first);
    lb_run_free(&run);
    return status;
}

static int run_check(int argc, char **argv)
{
    lb_diag *diag = lb_diag_new();
    lb_graph *graph = NULL;
    lb_setting settings[LB_MAX_SETTINGS];
    const char *objects[LB_MAX_OBJECTS];
    int32_t setting_count = 0, object_count = 0;
    lb_operators *operators = NULL;
    const char *path = NULL, *value;
    lb_status status;
    int result;

    if (!diag)
        return LB_EXIT_TROUBLE;
    for (int i = 1; i < argc; i++) {
        if (lb_option(argc, argv, &i, "--set", &value)) {
            const char *wrong = value ? lb_setting_add(settings, &setting_count, (char *)value)
                                      : "--set takes NAME=VALUE";

            if (wrong) {
                lb_diag_free(&diag);
                return lb_usage(&lb_command_check, "%s", wrong);
            }
        } else if (lb_option(argc, argv, &i, "--operators", &value)) {
            const char *wrong = lb_object_add(objects, &object_count, value);

            if (wrong) {
                lb_diag_free(&diag);
                return lb_usage(&lb_command_check, "%s", wrong);
            }
        } else if (argv[i][0] == '-' || path) {
            lb_diag_free(&diag);
            return lb_usage(&lb_command_check, "'%s' is one word too many", argv[i]);
        } else {
            path = argv[i];
        }
    }
    if (!path) {
        lb_diag_free(&diag);
        return lb_usage(&lb_command_check, "which graph?");
    }
    if (lb_operators_open(diag, objects, object_count, &operators) != LB_OK) {
        lb_print_messages(diag);
        lb_diag_free(&diag);
        return LB_EXIT_TROUBLE;
    }
    status =
        lb_lang_load(diag, path, lb_operators_list(operators), settings, setting_count, &graph);
    if (status == LB_OK)
        status = plan_first(graph, diag);
    lb_print_messages(diag);
    if (status == LB_OK)
        printf("%s: good: %d nodes, %d outputs, frames %d to %d, %d warnings\n", path,
               (int)graph->node_count, (int)graph->output_count, (int)graph->format.first,
               (int)graph->format.last, (int)lb_diag_count(diag, LB_WARNING));
    result = lb_exit_of(status);
    lb_graph_free(&graph);
    lb_operators_free(&operators);
    lb_diag_free(&diag);
    return result;
}

const lb_command lb_command_check = {
    .name = "check",
    .usage = "check GRAPH [--set NAME=VALUE]... [--operators FILE.so]...",
    .summary = "errors and warnings, nothing rendered",
    .run = run_check,
};
