/* engine/cli/check.c: lampblack check GRAPH. */
#include "engine/base/status_json.h"
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

typedef struct check_options {
    const char *graph, *version;
    bool json;
    lb_settings settings;
    lb_texts objects;
} check_options;

/* The first frames of the versions as well, unless one was chosen. Files that several of them lack
 * are told once. */
static lb_status plan_versions(lb_session *session, const check_options *options,
                               const lb_graph *graph)
{
    lb_status status = plan_first(graph, session->diag);

    for (int32_t i = 0; !options->version && i < graph->version_count; i++) {
        lb_graph *version;
        lb_status one = lb_session_version(session, options->graph, &options->settings,
                                           graph->versions[i].name, false, &version);

        if (one == LB_OK)
            one = plan_first(version, session->diag);
        if (status == LB_OK)
            status = one;
    }
    return status;
}

static lb_status check(lb_session *session, const check_options *options, lb_graph **graph)
{
    lb_status status;

    if ((status = lb_session_operators(session, &options->objects)) != LB_OK ||
        (status = lb_session_version(session, options->graph, &options->settings, options->version,
                                     !options->version, graph)) != LB_OK)
        return status;
    return plan_versions(session, options, *graph);
}

static lb_status run_check(lb_session *session, const void *words)
{
    const check_options *options = words;
    lb_graph *graph = NULL;
    lb_status status = check(session, options, &graph);

    if (options->json) {
        lb_text text = {0};
        lb_status printed;

        lb_diag_json(session->diag, &text);
        printed = lb_session_print(session, &text);

        return status != LB_OK ? status : printed;
    }
    if (status != LB_OK)
        return status;
    lb_print_messages(session->diag);
    printf("%s: good: %d nodes, %d outputs, frames %d to %d, %d warnings\n", options->graph,
           (int)graph->node_count, (int)graph->output_count, (int)graph->format.first,
           (int)graph->format.last, (int)lb_diag_count(session->diag, LB_WARNING));
    return LB_OK;
}

static const lb_operand operands[] = {
    LB_OPERAND(check_options, graph, "GRAPH", .min = 1, .max = 1, .offer = LB_OFFER_GRAPH,
               .doc = "The graph file."),
    {0},
};

static const lb_option options[] = {
    LB_OPTION_SET(check_options),
    LB_OPTION_VERSION(check_options, "Only this version of the graph; all when not given."),
    LB_OPTION_OPERATORS(check_options),
    LB_OPTION(check_options, json, "--json", LB_OPTION_FLAG,
              .doc = "Writes the messages as JSON to standard output: an array of objects with "
                     "severity, message, file, begin, end and notes."),
    {0},
};

static const lb_example examples[] = {
    {"lampblack check kiln.yaml", NULL},
    {"lampblack check kiln.yaml --set headline=\"NIGHT FIRING\"",
     "With the value that it will be rendered with:"},
    {"lampblack check kiln.yaml --json", "For an editor or a service:"},
    {0},
};

const lb_command lb_command_check = {
    .name = "check",
    .summary = "errors and warnings of a graph, nothing rendered",
    .doc =
        "Every error of the graph is told in one run, with its place and what would do; then the "
        "first frame is planned, so that missing files and layers are found, without making a "
        "pixel. Versions are checked one by one, and what is wrong with one alone says so.",
    .no = "the graph has errors",
    .operands = operands,
    .options = options,
    .examples = examples,
    .options_size = sizeof(check_options),
    .run = run_check,
};
