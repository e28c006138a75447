/* lang/lang.c: from a file to a graph. */
#include "lang/lang.h"

#include <string.h>

#include "lang/build.h"

/* Everything that is made anew for each version. */
static void build_graph(lb_build *build)
{
    const lb_yaml_node *root = build->documents->root;

    build->set = lb_build_alloc(build, 1, sizeof *build->set);
    if (!build->is_over)
        lb_build_frame(build, root);
    if (!build->is_over)
        lb_build_units(build);
    if (!build->is_over && build->graph->version == NULL)
        lb_build_versions(build, lb_yaml_find(root, "versions"));
    if (!build->is_over)
        lb_build_settings(build);
    if (!build->is_over)
        lb_build_params(build);
    if (!build->is_over)
        lb_build_uses(build);
    if (!build->is_over)
        lb_build_nodes(build);
    if (!build->is_over)
        lb_build_outputs(build, lb_yaml_find(root, "outputs"));
    lb_build_check(build);
}

/* Makes the build one of version `entry`. */
static bool take_version(lb_build *build, const lb_yaml_entry *entry)
{
    lb_graph_version *version = lb_build_alloc(build, 1, sizeof *version);

    if (!version)
        return false;
    *version = (lb_graph_version){entry->key->text, entry->key->loc};
    build->graph->version = version;
    if (entry->value->kind == LB_YAML_MAPPING)
        build->version = entry->value;
    return true;
}

static void choose_version(lb_build *build, const char *name)
{
    const lb_yaml_node *versions = lb_yaml_find(build->documents->root, "versions");
    lb_name_map names = {0};
    char hint[LB_HINT];
    int32_t at = -1;

    for (int32_t i = 0; versions && versions->kind == LB_YAML_MAPPING && i < versions->count; i++) {
        const lb_yaml_node *key = versions->entries[i].key;

        if (strcmp(key->text, name) == 0)
            at = i;
        if (!lb_name_map_add(&names, key->text, key->length, i, NULL))
            lb_build_fail(build, LB_MEMORY, LB_NOWHERE, "no memory");
    }
    if (at < 0)
        lb_build_fail(build, LB_INVALID, LB_NOWHERE,
                      "version %.60s: the graph has no such "
                      "version%s",
                      name, lb_build_map_hint(build, name, &names, hint));
    else
        take_version(build, &versions->entries[at]);
    lb_name_map_clear(&names);
}

/* A version that is only checked: its own faults are told, with its name; those that it shares with
 * others were. */
static void check_version(lb_build *build, const lb_yaml_entry *entry)
{
    lb_graph *graph = NULL;
    lb_build again = {.diag = build->diag,
                      .file = build->file,
                      .ops = build->ops,
                      .settings = build->settings,
                      .setting_count = build->setting_count,
                      .status = build->status, /* what is declared wrongly is so in each version */
                      .told = build->told,
                      .compared = build->compared,
                      .checked_ops = build->checked_ops,
                      .documents = build->documents};

    if (lb_graph_new(&graph) != LB_OK) {
        lb_build_fail(build, LB_MEMORY, entry->key->loc, "no memory");
        return;
    }
    graph->file = build->graph->file;
    graph->folder = build->graph->folder;
    again.graph = graph;
    again.arena = graph->arena;
    again.store = (lb_store){build->diag, graph->arena, graph->format.working, graph->folder};
    if (take_version(&again, entry))
        build_graph(&again);
    build->told = again.told;
    build->compared = again.compared;
    build->checked += again.grown + 20 * again.things; /* as long as they take */
    build->checked_ops = again.checked_ops;
    build->checked_frames += again.frame_ops;
    build->is_over = again.is_over;
    if (build->status == LB_OK)
        build->status = again.status;
    lb_graph_free(&graph);
}

static void check_versions(lb_build *build)
{
    const lb_yaml_node *versions = lb_yaml_find(build->documents->root, "versions");

    for (int32_t i = 0; versions && versions->kind == LB_YAML_MAPPING && i < versions->count &&
                        i < LB_MAX_VERSIONS && !build->is_over;
         i++) {
        if (build->checked > LB_MAX_CHECKED || build->checked_frames > LB_MAX_FRAME_OPS) {
            lb_warn(build->diag, versions->entries[i].key->loc,
                    "version '%.60s' and those behind it are not checked: that is too much for one "
                    "run; choose them one by one",
                    versions->entries[i].key->text);
            return;
        }
        check_version(build, &versions->entries[i]);
    }
}

static lb_status parse(lb_build *build, const char *text, size_t bytes,
                       const lb_lang_options *options)
{
    if (lb_build_read(build, text, bytes) && !build->is_over) {
        lb_build_declare(build);
        if (options->version && !build->is_over)
            choose_version(build, options->version);
        if (!build->is_over)
            build_graph(build);
        if (options->all_versions && !build->is_over)
            check_versions(build);
        if (build->status == LB_OK)
            lb_build_warn(build);
        lb_build_trim(build);
    }
    lb_build_forget(build);
    return build->status;
}

/* The graph's own copy of where it came from. */
static bool set_paths(lb_graph *graph, lb_diag *diag, const char *path)
{
    char *folder = lb_path_folder(path);

    graph->file = diag ? lb_diag_intern(diag, path) : lb_arena_strdup(graph->arena, path);
    graph->folder = folder ? lb_arena_strdup(graph->arena, folder) : NULL;
    lb_free(folder);
    return graph->file && graph->folder;
}

lb_status lb_lang_read_text(lb_diag *diag, const char *path, const char *text, size_t bytes,
                            const lb_lang_options *options, lb_graph **out)
{
    lb_graph *graph = NULL;
    lb_build *build = NULL;
    lb_status status = LB_MEMORY;

    *out = NULL;
    if (lb_graph_new(&graph) == LB_OK && set_paths(graph, diag, path) &&
        (build = lb_arena_alloc(graph->arena, 1, sizeof *build))) {
        *build = (lb_build){.diag = diag,
                            .graph = graph,
                            .arena = graph->arena,
                            .store = {diag, graph->arena, graph->format.working, graph->folder},
                            .file = graph->file,
                            .ops = options->ops,
                            .settings = options->settings,
                            .setting_count = options->setting_count,
                            .told = lb_diag_count(diag, LB_ERROR)};
        status = parse(build, text, bytes, options);
    } else {
        lb_fail(diag, LB_MEMORY, LB_NOWHERE, "no memory");
    }
    if (status == LB_OK)
        *out = graph;
    else
        lb_graph_free(&graph);
    return status;
}

lb_status lb_lang_read(lb_diag *diag, const char *path, const lb_lang_options *options,
                       lb_graph **out)
{
    lb_loc loc = {.file = diag ? lb_diag_intern(diag, path) : NULL};
    void *text;
    size_t bytes;
    lb_status status;

    *out = NULL;
    if ((status = lb_file_read(diag, loc, path, LB_LANG_MAX_BYTES, &text, &bytes)) != LB_OK)
        return status;
    status = lb_lang_read_text(diag, path, text, bytes, options, out);
    lb_free(text);
    return status;
}

lb_status lb_lang_load(lb_diag *diag, const char *path, const lb_op *const *ops,
                       const lb_setting *settings, int32_t setting_count, lb_graph **out)
{
    const lb_lang_options options = {
        .ops = ops, .settings = settings, .setting_count = setting_count};

    return lb_lang_read(diag, path, &options, out);
}

lb_status lb_lang_parse(lb_diag *diag, const char *path, const char *text, size_t bytes,
                        const lb_op *const *ops, const lb_setting *settings, int32_t setting_count,
                        lb_graph **out)
{
    const lb_lang_options options = {
        .ops = ops, .settings = settings, .setting_count = setting_count};

    return lb_lang_read_text(diag, path, text, bytes, &options, out);
}
