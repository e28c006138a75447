/* engine/cli/names.c: lampblack names KIND [GRAPH]: the names that a graph or the program has, a
 * line each. Shells ask it while a person types, so it reads no more of the graph than its keys and
 * the files that it includes: a graph that is not finished has names too. What is inside parts has
 * names that nothing outside can use, so these are left out. */
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

/* Bounds of what is looked at: a person waits. */
#define MAX_FILES 64 /* that are included, and read */
#define MAX_BYTES ((size_t)8 << 20)
#define MAX_DEPTH 16
#define MAX_LOOKS 20000 /* at names and files within files */

typedef struct document {
    const char *path, *folder;
    const lb_yaml_node *root; /* NULL: it cannot be read */
    struct document *next;
} document;

typedef struct lister {
    lb_arena *arena;
    const char *kind;
    document *documents;
    int32_t files, looks;
    size_t bytes;
} lister;

static lb_status read_tree(lb_diag *diag, const char *path, size_t most, lb_arena *arena,
                           const lb_yaml_node **root, size_t *read)
{
    void *text = NULL;
    size_t bytes = 0;
    const char *file;
    lb_yaml_node *tree = NULL;
    lb_status status = lb_file_read(diag, LB_NOWHERE, path, most, &text, &bytes);
    size_t mark = bytes >= 3 && !memcmp(text, "\xEF\xBB\xBF", 3) ? 3 : 0; /* byte order */

    if (status == LB_OK && bytes > mark) {
        file = diag ? lb_diag_add_source(diag, path, (char *)text + mark, bytes - mark) : NULL;
        status = !diag || file
                     ? lb_yaml_read(diag, file, (char *)text + mark, bytes - mark, arena, &tree)
                     : lb_fail(diag, LB_MEMORY, LB_NOWHERE, "no memory");
    }
    lb_free(text);
    *root = tree && tree->kind == LB_YAML_MAPPING ? tree : NULL;
    *read = bytes;
    return status;
}

static bool keep_paths(lister *l, document *d, const char *path)
{
    char *folder = lb_path_folder(path);

    d->path = lb_arena_strdup(l->arena, path);
    d->folder = folder ? lb_arena_strdup(l->arena, folder) : NULL;
    lb_free(folder);
    return d->path && d->folder;
}

/* What the graph includes is read in silence: the names of a file that is not there, or no YAML,
 * are not offered. NULL: there are none. */
static const document *find_document(lister *l, const char *path)
{
    document *d = l->documents;
    size_t bytes = 0;

    while (d && strcmp(d->path, path) != 0)
        d = d->next;
    if (d)
        return d->root ? d : NULL;
    if (l->files == MAX_FILES || l->bytes >= MAX_BYTES ||
        !(d = lb_arena_alloc(l->arena, 1, sizeof *d)) || !keep_paths(l, d, path))
        return NULL;
    d->next = l->documents;
    l->documents = d;
    l->files++;
    if (read_tree(NULL, path, MAX_BYTES - l->bytes, l->arena, &d->root, &bytes) != LB_OK)
        d->root = NULL;
    l->bytes += bytes;
    return d->root ? d : NULL;
}

static const lb_yaml_node *mapping_of(const lb_yaml_node *root, const char *key)
{
    const lb_yaml_node *node = lb_yaml_find(root, key);

    return node && node->kind == LB_YAML_MAPPING ? node : NULL;
}

static void list(lister *l, const document *d, const char *prefix, int32_t depth);

/* `kit: looks.yaml` or `kit: {file: looks.yaml}` */
static void list_included(lister *l, const document *d, const lb_yaml_entry *entry,
                          const char *prefix, int32_t depth)
{
    const lb_yaml_node *word = entry->value;
    const document *included;
    char *path, *longer;

    if (word->kind == LB_YAML_MAPPING)
        word = lb_yaml_find(word, "file");
    if (!word || word->kind != LB_YAML_SCALAR || word->length == 0 ||
        !(path = lb_path_join(d->folder, word->text)))
        return;
    included = find_document(l, path);
    longer = lb_arena_printf(l->arena, "%s%s/", prefix, entry->key->text);
    if (included && longer)
        list(l, included, longer, depth + 1);
    lb_free(path);
}

static void list(lister *l, const document *d, const char *prefix, int32_t depth)
{
    const lb_yaml_node *names = mapping_of(d->root, l->kind);
    const lb_yaml_node *include = mapping_of(d->root, "include");
    bool is_handed_out = !strcmp(l->kind, "nodes") || !strcmp(l->kind, "params");

    for (int32_t i = 0; names && i < names->count && (depth == 0 || l->looks < MAX_LOOKS); i++) {
        printf("%s%s\n", prefix, names->entries[i].key->text);
        l->looks += depth > 0;
    }
    if (!include || !is_handed_out || depth == MAX_DEPTH)
        return;
    for (int32_t i = 0; i < include->count && l->looks++ < MAX_LOOKS; i++)
        list_included(l, d, &include->entries[i], prefix, depth);
}

static lb_status print_keys(lb_diag *diag, const char *path, const char *kind)
{
    lister l = {.arena = lb_arena_new(), .kind = kind};
    document *graph = l.arena ? lb_arena_alloc(l.arena, 1, sizeof *graph) : NULL;
    lb_status status = LB_MEMORY;

    if (graph && keep_paths(&l, graph, path)) {
        l.documents = graph;
        status = read_tree(diag, path, LB_LANG_MAX_BYTES, l.arena, &graph->root, &(size_t){0});
    } else {
        lb_fail(diag, LB_MEMORY, LB_NOWHERE, "no memory");
    }
    if (graph && graph->root)
        list(&l, graph, "", 0);
    lb_arena_free(&l.arena);
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
    .doc =
        "What shells offer while a command is typed. No more of the graph is looked at than its "
        "keys and those of the files that it includes, whose nodes and params are KIT/NAME; so a "
        "graph that has other errors has names.",
    .no = "the file cannot be understood as YAML",
    .operands = operands,
    .examples = examples,
    .options_size = sizeof(names_options),
    .run = run_names,
};
