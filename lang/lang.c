/* lang/lang.c: from a file to a graph. */
#include "lang/lang.h"

#include <string.h>

#include "engine/base/file.h"
#include "lang/build.h"

#define VERSION 1

/* The version decides how all the rest is read, so nothing else is said when it is wrong. */
static bool check_version(lb_build *build, const lb_yaml_node *root)
{
    const lb_yaml_node *version;
    char found[LB_FOUND];

    if (root->kind != LB_YAML_MAPPING) {
        lb_build_fail(build, LB_INVALID, root->loc,
                      "a graph is a mapping that begins with 'lampblack: %d'", VERSION);
        return false;
    }
    version = lb_yaml_find(root, "lampblack");
    if (!version) {
        lb_build_fail(build, LB_INVALID, (lb_loc){.file = build->file},
                      "no 'lampblack: %d', the version of the language", VERSION);
        return false;
    }
    if (version->kind == LB_YAML_SCALAR && version->type == LB_SCALAR_NUMBER &&
        version->number == VERSION)
        return true;
    if (version->kind == LB_YAML_SCALAR && version->type == LB_SCALAR_NUMBER &&
        version->number > VERSION)
        lb_build_fail(build, LB_UNSUPPORTED, version->loc,
                      "'lampblack' is %s; this program reads version %d",
                      lb_build_found(version, found), VERSION);
    else
        lb_build_fail(build, LB_INVALID, version->loc, "'lampblack' is %s; it takes %d",
                      lb_build_found(version, found), VERSION);
    return false;
}

/* What the language has, and this program does not do yet. */
static void refuse(lb_build *build, const lb_yaml_node *root, const char *key)
{
    for (int32_t i = 0; i < root->count; i++)
        if (strcmp(root->entries[i].key->text, key) == 0)
            lb_build_fail(build, LB_UNSUPPORTED, root->entries[i].key->loc,
                          "'%s' is not supported yet", key);
}

static void build_graph(lb_build *build, const lb_yaml_node *root)
{
    static const char *const keys[] = {"lampblack", "frame", "color",   "params", "include",
                                       "parts",     "nodes", "outputs", NULL};

    lb_build_check_keys(build, root, keys, "the graph");
    refuse(build, root, "include");
    refuse(build, root, "parts");
    build->has_include = lb_yaml_find(root, "include") != NULL;
    lb_build_frame(build, root);
    build->store.working = build->graph->format.working;
    lb_build_params(build, lb_yaml_find(root, "params"));
    if (!build->is_over)
        lb_build_nodes(build, lb_yaml_find(root, "nodes"));
    if (!build->is_over)
        lb_build_outputs(build, lb_yaml_find(root, "outputs"));
    lb_build_check(build);
    if (build->status == LB_OK)
        lb_build_warn(build);
}

static lb_status parse(lb_build *build, const char *text, size_t bytes)
{
    lb_yaml_node *root = NULL;

    lb_build_ok(build, lb_yaml_read(build->diag, build->file, text, bytes, build->arena, &root));
    if (root && !build->is_over && check_version(build, root))
        build_graph(build, root);
    lb_name_map_clear(&build->param_names);
    lb_name_map_clear(&build->node_names);
    return build->status;
}

/* The graph's own copy of where it came from. */
static bool set_paths(lb_graph *graph, const char *path, const char *file)
{
    char *folder = lb_path_folder(path);

    graph->file = file ? file : lb_arena_strdup(graph->arena, path);
    graph->folder = folder ? lb_arena_strdup(graph->arena, folder) : NULL;
    lb_free(folder);
    return graph->file && graph->folder;
}

lb_status lb_lang_parse(lb_diag *diag, const char *path, const char *text, size_t bytes,
                        const lb_op *const *ops, const lb_setting *settings, int32_t setting_count,
                        lb_graph **out)
{
    static const char mark[] = "\xEF\xBB\xBF"; /* byte order */
    const char *file = NULL;
    lb_graph *graph = NULL;
    lb_build *build = NULL;
    lb_status status = LB_MEMORY;

    *out = NULL;
    if (bytes == 0)
        text = "";
    if (diag)
        file = lb_diag_add_source(diag, path, text, bytes);
    if (bytes >= 3 && memcmp(text, mark, 3) == 0)
        text += 3, bytes -= 3;
    if (bytes > LB_LANG_MAX_BYTES)
        return lb_fail(diag, LB_LIMIT, (lb_loc){.file = file}, "a graph has at most %zu MiB",
                       LB_LANG_MAX_BYTES >> 20);
    if ((file || !diag) && lb_graph_new(&graph) == LB_OK && set_paths(graph, path, file) &&
        (build = lb_arena_alloc(graph->arena, 1, sizeof *build))) {
        *build = (lb_build){.diag = diag,
                            .graph = graph,
                            .arena = graph->arena,
                            .store = {diag, graph->arena, graph->format.working, graph->folder},
                            .file = graph->file,
                            .ops = ops,
                            .settings = settings,
                            .setting_count = setting_count};
        status = parse(build, text, bytes);
    } else {
        lb_fail(diag, LB_MEMORY, (lb_loc){.file = file}, "no memory");
    }
    if (status == LB_OK)
        *out = graph;
    else
        lb_graph_free(&graph);
    return status;
}

lb_status lb_lang_load(lb_diag *diag, const char *path, const lb_op *const *ops,
                       const lb_setting *settings, int32_t setting_count, lb_graph **out)
{
    lb_loc loc = {.file = diag ? lb_diag_intern(diag, path) : NULL};
    void *text;
    size_t bytes;
    lb_status status;

    *out = NULL;
    if ((status = lb_file_read(diag, loc, path, LB_LANG_MAX_BYTES, &text, &bytes)) != LB_OK)
        return status;
    status = lb_lang_parse(diag, path, text, bytes, ops, settings, setting_count, out);
    lb_free(text);
    return status;
}
