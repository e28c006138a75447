/* lang/build_outputs.c: `outputs`. Their settings are a table like an operator's, so that they are
 * read, checked and explained alike. */
#include <string.h>

#include "engine/base/file.h"
#include "engine/base/text.h"
#include "lang/build.h"
#include "lang/output_table.h"

typedef struct output_params {
    const char *file;
    int depth, compression, view;
    int32_t quality;
    double range[2];
    bool drop_frame;
} output_params;

static const lb_param table[] = {
    LB_PARAM(output_params, file, LB_FILE, .required = true, .fixed = true,
             .doc = "Where frames go; #### is the frame number, padded with zeros."),
    LB_PARAM(output_params, depth, LB_CHOICE, .names = lb_depth_names, .initial = {LB_UNSET},
             .fixed = true,
             .doc = "Bits of a channel; half for EXR and 8 for others if not given."),
    LB_PARAM(output_params, compression, LB_CHOICE, .names = lb_compression_names,
             .initial = {LB_COMPRESSION_ZIP}, .fixed = true, .doc = "How EXR files are packed."),
    LB_PARAM(output_params, view, LB_CHOICE, .names = lb_view_names, .initial = {LB_VIEW_SRGB},
             .fixed = true, .doc = "What files for display are converted to."),
    LB_PARAM(output_params, quality, LB_INT, .initial = {90}, .min = 1, .max = 100, .fixed = true,
             .doc = "Of JPEG files."),
    LB_PARAM(output_params, range, LB_VEC2, .initial = {LB_UNSET, LB_UNSET}, .min = -1e6,
             .max = 1e6, .unit = LB_FRAMES, .spread = true, .fixed = true,
             .doc = "First and last frame that are written, or the only one; all if not given."),
    LB_PARAM_AS(output_params, drop_frame, "drop-frame", LB_BOOL, .fixed = true,
                .doc = "Drop-frame timecode."),
    {0},
};

const lb_param *lb_output_table(void)
{
    return table;
}

/* Keys that are not values. */
static const lb_input references[] = {
    {.name = "image", .kind = LB_KIND_IMAGE, .doc = "What is written."},
    {.name = "layers", .kind = LB_KIND_IMAGE, .doc = "Channels or layers of it; all if not given."},
    {0},
};

static void read_layers(lb_build *build, const lb_yaml_node *node, lb_output *output)
{
    const char **names;
    char found[LB_FOUND];

    if (!lb_build_expect(build, node, LB_YAML_LIST, "layers") ||
        !(names = lb_build_alloc(build, (size_t)node->count + 1, sizeof *names)))
        return;
    if (node->count == 0)
        lb_build_fail(build, LB_INVALID, node->loc, "'layers' is empty; leave it out for all");
    for (int32_t i = 0; i < node->count; i++) {
        const lb_yaml_node *item = node->items[i];

        if (item->kind == LB_YAML_BROKEN)
            lb_build_ok(build, LB_INVALID);
        else if (item->kind != LB_YAML_SCALAR || item->type == LB_SCALAR_NULL)
            lb_build_fail(build, LB_INVALID, item->loc,
                          "'layers' holds %s; it takes names of channels or layers",
                          lb_build_found(item, found));
        else
            names[i] = item->text;
        if (!names[i])
            names[i] = ""; /* never read: the graph has a fault */
    }
    output->layers = names;
}

/* `{version}` in a file pattern is the version's name. Reported when something else stands in
 * braces; NULL: reported. */
static const lb_formula *name_version(lb_build *build, const lb_formula *formula)
{
    static const char mark[] = "{version}";
    const char *name = build->graph->version ? build->graph->version->name : "base";
    const char *from = formula->value.text, *brace;
    lb_formula *named;
    lb_text text = {0};

    while ((brace = strchr(from, '{'))) {
        if (strncmp(brace, mark, sizeof mark - 1) != 0) {
            lb_build_fail(build, LB_INVALID, formula->loc,
                          "'%.*s' means nothing here; {version} is the version's name",
                          (int)(strcspn(brace, "}") < 60 ? strcspn(brace, "}") + 1 : 60), brace);
            lb_text_clear(&text);
            return NULL;
        }
        lb_text_add(&text, from, (size_t)(brace - from));
        lb_text_put(&text, name);
        from = brace + sizeof mark - 1;
    }
    lb_text_put(&text, from);
    named = lb_build_alloc(build, 1, sizeof *named);
    if (named) {
        *named = *formula;
        named->value.text = text.failed ? NULL : lb_arena_strdup(build->arena, text.bytes);
        if (!named->value.text) {
            lb_build_fail(build, LB_MEMORY, formula->loc, "no memory");
            named = NULL;
        }
    }
    lb_text_clear(&text);
    return named;
}

/* Every value of the table that is given, into `params`. False: one of them is faulty. */
static bool read_values(lb_build *build, const lb_yaml_node *node, const lb_output *output,
                        output_params *params)
{
    lb_status before = build->status;
    bool is_good;

    build->status = LB_OK;
    lb_build_ok(build, lb_params_init(&build->store, table, params));
    for (const lb_param *param = table; param->name && !build->is_over; param++) {
        const lb_yaml_node *value = lb_yaml_find(node, param->name);
        lb_target target = {param, params, -1, 0, 0, true};
        const lb_formula *formula;
        lb_binding binding;
        bool is_binding;

        if (!value && param->required)
            lb_build_fail(build, LB_INVALID, output->loc, "'%.60s' needs '%s' (%s)", output->name,
                          param->name, lb_type_text(param->type));
        formula = value ? lb_build_value(build, value, param->name, param) : NULL;
        if (value && !formula)
            lb_build_ok(build, LB_INVALID); /* also where a param is at fault, not the output */
        if (formula && param->type == LB_FILE && !formula->timed &&
            formula->value.kind == LB_DATUM_TEXT)
            formula = name_version(build, formula);
        if (formula)
            lb_build_store(build, formula, &target, &binding, &is_binding);
    }
    is_good = build->status == LB_OK && !build->is_over;
    build->status = before != LB_OK ? before : build->status;
    return is_good;
}

/* Whether the format can hold what is asked for: first with its own depth, to point at the file's
 * name, then with the graph's. */
static void check_write(lb_build *build, const lb_yaml_node *node, lb_output *output,
                        const output_params *params)
{
    const char *extension = lb_path_extension(output->file);
    const lb_yaml_node *depth = lb_yaml_find(node, "depth");
    const lb_yaml_node *drop_frame = lb_yaml_find(node, "drop-frame");
    lb_rate rate = build->graph->format.rate;

    output->write.depth =
        strcmp(extension, "exr") == 0 || strcmp(extension, "hdr") == 0 ? LB_DEPTH_HALF : LB_DEPTH_8;
    if (lb_build_ok(build, lb_media_check_write(build->diag, output->file_loc, output->file,
                                                &output->write)) &&
        params->depth >= 0) {
        output->write.depth = (lb_depth)params->depth;
        lb_build_ok(build, lb_media_check_write(build->diag, depth ? depth->loc : output->file_loc,
                                                output->file, &output->write));
    }
    if (params->drop_frame && (rate.den != 1001 || (rate.num != 30000 && rate.num != 60000)))
        lb_build_fail(build, LB_INVALID, drop_frame ? drop_frame->loc : output->loc,
                      "drop-frame timecode is for rates of 30000/1001 and 60000/1001");
}

/* The frames that an output is written at: every one, or the whole numbers of its own range. */
static void set_range(lb_build *build, const lb_yaml_node *node, const output_params *params,
                      lb_output *output)
{
    const lb_format *format = &build->graph->format;
    const double *range = params->range;

    output->first = INT32_MIN;
    output->last = INT32_MAX;
    if (!lb_is_set(range[0]))
        return;
    if (range[0] != (int32_t)range[0] || range[1] != (int32_t)range[1] || range[0] > range[1])
        lb_build_fail(build, LB_INVALID, lb_yaml_find(node, "range")->loc,
                      "'range' takes the first and the last frame, whole numbers in this order");
    else if (range[0] > format->last || range[1] < format->first)
        lb_build_fail(build, LB_INVALID, lb_yaml_find(node, "range")->loc,
                      "'range' has none of the graph's frames, which are %d to %d",
                      (int)format->first, (int)format->last);
    output->first = (int32_t)range[0];
    output->last = (int32_t)range[1];
}

static void build_output(lb_build *build, const lb_yaml_entry *entry, lb_output *output)
{
    const lb_yaml_node *node = entry->value, *value;
    output_params params = {0};

    *output = (lb_output){.name = entry->key->text,
                          .loc = entry->key->loc,
                          .image = {.node = LB_BROKEN_EDGE, .loc = entry->key->loc},
                          .file_loc = entry->key->loc};
    lb_build_check_name(build, entry->key);
    if (!lb_build_expect(build, node, LB_YAML_MAPPING, output->name))
        return;
    lb_build_check_table(build, node, references, table, output->name, false);
    if ((value = lb_yaml_find(node, "image")))
        lb_build_reference(build, value, "image", &output->image);
    else
        lb_build_fail(build, LB_INVALID, output->loc, "'%.60s' needs 'image', a node's name",
                      output->name);
    if ((value = lb_yaml_find(node, "layers")))
        read_layers(build, value, output);
    if ((value = lb_yaml_find(node, "file")))
        output->file_loc = value->loc;
    if (!read_values(build, node, output, &params))
        return;
    output->file = params.file;
    output->write = (lb_write_options){.compression = (lb_compression)params.compression,
                                       .view = (lb_view)params.view,
                                       .working = build->graph->format.working,
                                       .rate = build->graph->format.rate,
                                       .drop_frame = params.drop_frame,
                                       .quality = params.quality};
    set_range(build, node, &params, output);
    check_write(build, node, output, &params);
}

/* "a//b/./c" is "a/b/c": the same file under another spelling. In place. */
static void tidy_path(char *path)
{
    char *to = path;

    for (const char *from = path; *from; from++) {
        bool at_start = from == path || from[-1] == '/';

        if (*from == '/' && to > path && to[-1] == '/')
            continue;
        if (at_start && from[0] == '.' && from[1] == '/') {
            from++;
            continue;
        }
        *to++ = *from;
    }
    *to = 0;
}

/* Are there frames at which both are written? */
static bool meet(const lb_output *a, const lb_output *b)
{
    return a->first <= b->last && b->first <= a->last;
}

/* Do two outputs write one file? If so, then at the first frame or at the last: where the numbers
 * have more digits than the patterns have #, equal names stay equal. */
static void check_names_at(lb_build *build, int32_t frame)
{
    const lb_graph *graph = build->graph;
    lb_name_map names = {0};

    for (int32_t i = 0; i < graph->output_count && !build->is_over; i++) {
        const lb_output *output = &graph->outputs[i];
        char *name = output->file ? lb_sequence_name(output->file, frame) : NULL;
        char *kept = name ? lb_arena_strdup(build->arena, name) : NULL;
        int32_t other = -1;

        lb_free(name);
        if (!output->file)
            continue;
        if (kept)
            tidy_path(kept);
        if (!kept || !lb_name_map_add(&names, kept, strlen(kept), i, &other) ||
            !lb_name_map_set(&names, kept, strlen(kept), i)) {
            lb_build_fail(build, LB_MEMORY, output->loc, "no memory");
        } else if (other >= 0 && meet(output, &graph->outputs[other])) {
            lb_build_fail(build, LB_INVALID, output->file_loc, "'%s' writes the same files as '%s'",
                          output->name, graph->outputs[other].name);
            lb_note(build->diag, graph->outputs[other].file_loc, "which is here");
        }
    }
    lb_name_map_clear(&names);
}

void lb_build_outputs(lb_build *build, const lb_yaml_node *outputs)
{
    lb_graph *graph = build->graph;

    if (!outputs || !lb_build_expect(build, outputs, LB_YAML_MAPPING, "outputs"))
        return;
    graph->outputs = lb_build_alloc(build, (size_t)outputs->count, sizeof *graph->outputs);
    lb_build_enter(build, build->units);
    for (int32_t i = 0; i < outputs->count && !build->is_over; i++) {
        build_output(build, &outputs->entries[i], &graph->outputs[i]);
        graph->output_count = i + 1;
    }
    if (graph->output_count > 1) {
        check_names_at(build, graph->format.first);
        check_names_at(build, graph->format.last);
    }
    build->unit = NULL;
}
