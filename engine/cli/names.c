/* engine/cli/names.c: lampblack names KIND [GRAPH]: the names that a graph or the program has, a
 * line each. Shells ask it while a person types, so it reads no more of the graph than its keys: a
 * graph that is not finished has names too. */
#include <string.h>

#include "engine/base/file.h"
#include "engine/cli/cli.h"
#include "lang/yaml.h"
#include "nodes/nodes.h"

typedef struct names_options {
    const char *kind, *graph;
} names_options;

/* Those but for the first two are keys of a graph. */
static const char *const kinds[] = {"commands", "operators", "nodes", "outputs",
                                    "params",   "versions",  NULL};

static lb_status read_graph(lb_diag *diag, const char *path, lb_arena *arena, lb_yaml_node **root)
{
    void *text = NULL;
    size_t bytes = 0;
    const char *file;
    lb_status status = lb_file_read(diag, LB_NOWHERE, path, LB_LANG_MAX_BYTES, &text, &bytes);
    size_t mark = bytes >= 3 && !memcmp(text, "\xEF\xBB\xBF", 3) ? 3 : 0; /* byte order */

    *root = NULL;
    if (status == LB_OK && bytes > mark) {
        file = lb_diag_add_source(diag, path, (char *)text + mark, bytes - mark);
        status = file ? lb_yaml_read(diag, file, (char *)text + mark, bytes - mark, arena, root)
                      : lb_fail(diag, LB_MEMORY, LB_NOWHERE, "no memory");
    }
    lb_free(text);
    return status;
}

static lb_status print_keys(lb_diag *diag, const char *path, const char *kind)
{
    lb_arena *arena = lb_arena_new();
    lb_yaml_node *root = NULL, *list = NULL;
    lb_status status = arena ? read_graph(diag, path, arena, &root)
                             : lb_fail(diag, LB_MEMORY, LB_NOWHERE, "no memory");

    if (root && root->kind == LB_YAML_MAPPING)
        list = lb_yaml_find(root, kind);
    for (int32_t i = 0; list && list->kind == LB_YAML_MAPPING && i < list->count; i++)
        puts(list->entries[i].key->text);
    lb_arena_free(&arena);
    return status;
}

static lb_status run_names(lb_session *session, const void *words)
{
    const names_options *options = words;
    bool of_program = !strcmp(options->kind, kinds[0]) || !strcmp(options->kind, kinds[1]);

    if (of_program != !options->graph)
        return lb_session_usage(
            session, of_program ? "%s are the program's, not a graph's" : "%s of which GRAPH?",
            options->kind);
    if (!of_program)
        return print_keys(session->diag, options->graph, options->kind);
    if (!strcmp(options->kind, kinds[0]))
        for (size_t i = 0; lb_commands[i]; i++)
            puts(lb_commands[i]->name);
    else
        for (size_t i = 0; lb_nodes_registry[i]; i++)
            puts(lb_nodes_registry[i]->name);
    return LB_OK;
}

static const lb_operand operands[] = {
    LB_OPERAND(names_options, kind, "KIND", .min = 1, .max = 1, .words = kinds,
               .offer = LB_OFFER_WORDS, .doc = "Which names."),
    LB_OPERAND(names_options, graph, "GRAPH", .max = 1, .offer = LB_OFFER_GRAPH,
               .doc = "The graph file whose names they are."),
    {0},
};

static const lb_example examples[] = {
    {"for name in $(lampblack names outputs kiln.yaml); do echo \"$name\"; done",
     "In a script, something for each output:"},
    {0},
};

const lb_command lb_command_names = {
    .name = "names",
    .summary = "the names that a graph has, a line each",
    .doc = "What shells offer while a command is typed. No more of the graph is looked at than its "
           "keys, so a graph that has other errors has names.",
    .no = "the file cannot be understood as YAML",
    .operands = operands,
    .examples = examples,
    .options_size = sizeof(names_options),
    .run = run_names,
};
