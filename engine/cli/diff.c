/* engine/cli/diff.c: lampblack diff A B. */
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "engine/base/file.h"
#include "engine/base/json.h"
#include "engine/cli/cli.h"
#include "engine/cli/diff_pixels.h"
#include "lang/diff.h"

typedef struct diff_options {
    const char *a, *b;
    lb_texts git; /* what git hands over behind them */
    bool json, is_git;
    lb_texts objects;
    lb_frames frames; /* whose pixels are compared too */
    const char *image, *outputs;
    lb_settings settings;
    double scale;
    int32_t threads;
    size_t memory;
} diff_options;

/* ---- Words ---- */

static const char *thing_of(const char *section)
{
    static const char *const words[][2] = {
        {"nodes", "node"},       {"params", "param"},    {"outputs", "output"}, {"parts", "part"},
        {"versions", "version"}, {"include", "include"}, {"inputs", "input"}};

    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++)
        if (strcmp(words[i][0], section) == 0)
            return words[i][1];
    return section;
}

/* "nodes.hot: radius" and the like: where a change is. */
static void put_place(lb_text *out, const lb_change *change)
{
    if (change->part)
        lb_text_printf(out, "part %s, ", change->part);
    lb_text_put(out, thing_of(change->section));
    if (change->name)
        lb_text_printf(out, " %s", change->name);
    if (change->path)
        lb_text_printf(out, "%s%s", change->name ? ": " : ".", change->path);
}

static void put_value(lb_text *out, const char *text)
{
    lb_text_put(out, text ? text : "(not given)");
}

static void put_change(lb_text *out, const lb_change *change)
{
    static const char signs[] = {[LB_CHANGE_ADDED] = '+',
                                 [LB_CHANGE_REMOVED] = '-',
                                 [LB_CHANGE_RENAMED] = '=',
                                 [LB_CHANGE_VALUE] = '~',
                                 [LB_CHANGE_INPUT] = '~'};

    lb_text_printf(out, "%c ", signs[change->kind]);
    put_place(out, change);
    switch (change->kind) {
    case LB_CHANGE_ADDED:
        lb_text_printf(out, " %s", change->new_text ? change->new_text : "");
        break;
    case LB_CHANGE_REMOVED:
        lb_text_printf(out, " %s", change->old_text ? change->old_text : "");
        break;
    case LB_CHANGE_RENAMED:
        lb_text_printf(out, ", before %s", change->old_text);
        break;
    case LB_CHANGE_VALUE:
    case LB_CHANGE_INPUT:
        lb_text_put(out, change->kind == LB_CHANGE_INPUT ? " from " : " ");
        put_value(out, change->old_text);
        lb_text_put(out, change->kind == LB_CHANGE_INPUT ? " to " : " -> ");
        put_value(out, change->new_text);
        if (change->unit)
            lb_text_printf(out, " %s", change->unit);
        break;
    }
    lb_text_put(out, "\n");
}

/* ---- JSON ---- */

static void put_text_or_null(lb_json *json, const char *key, const char *text)
{
    lb_json_key(json, key);
    if (text)
        lb_json_text(json, text);
    else
        lb_json_raw(json, "null");
}

static void put_loc(lb_json *json, const char *key, const lb_loc *loc)
{
    lb_json_key(json, key);
    if (!loc->file) {
        lb_json_raw(json, "null");
        return;
    }
    lb_json_open(json, '{', true);
    put_text_or_null(json, "file", loc->file);
    lb_json_key(json, "line");
    lb_json_number(json, loc->line);
    lb_json_key(json, "column");
    lb_json_number(json, loc->column);
    lb_json_close(json, '}');
}

static void put_json(lb_json *json, const lb_change *change)
{
    lb_json_open(json, '{', false);
    put_text_or_null(json, "change", lb_change_names[change->kind]);
    put_text_or_null(json, "part", change->part);
    put_text_or_null(json, "section", change->section);
    put_text_or_null(json, "name", change->name);
    put_text_or_null(json, "path", change->path);
    put_text_or_null(json, "old", change->old_text);
    put_text_or_null(json, "new", change->new_text);
    put_text_or_null(json, "unit", change->unit);
    put_loc(json, "old_place", &change->old_loc);
    put_loc(json, "new_place", &change->new_loc);
    lb_json_close(json, '}');
}

/* ---- The command ---- */

/* A graph file; /dev/null, as git has it, is a graph without anything. */
static lb_status read_side(lb_session *session, const char *path, lb_diff_side *out)
{
    void *text = NULL;
    lb_status status;

    out->path = path;
    if (strcmp(path, "/dev/null") == 0)
        return LB_OK;
    status = lb_file_read(session->diag, LB_NOWHERE, path, LB_LANG_MAX_BYTES, &text, &out->bytes);
    out->text = text;
    return status;
}

static void print_text(const lb_diff *diff, const char *title)
{
    static const char *const colors[] = {[LB_CHANGE_ADDED] = "\033[32m",
                                         [LB_CHANGE_REMOVED] = "\033[31m",
                                         [LB_CHANGE_RENAMED] = "\033[36m",
                                         [LB_CHANGE_VALUE] = "",
                                         [LB_CHANGE_INPUT] = ""};
    bool color = lb_wants_color(STDOUT_FILENO);

    if (title && diff->count > 0)
        printf("%s\n", title);
    for (int32_t i = 0; i < diff->count; i++) {
        lb_text line = {0};

        put_change(&line, &diff->items[i]);
        if (line.bytes)
            printf("%s%s%s%s", title ? "  " : "", color ? colors[diff->items[i].kind] : "",
                   line.bytes, color ? "\033[0m" : "");
        lb_text_clear(&line);
    }
}

static void put_changes(lb_json *json, const lb_diff *diff)
{
    lb_json_open(json, '[', false);
    for (int32_t i = 0; i < diff->count; i++)
        put_json(json, &diff->items[i]);
    lb_json_close(json, ']');
}

/* Changes of meaning; *differ tells whether there are any. */
static lb_status compare(lb_session *session, const diff_options *options, const char *paths[2],
                         const char *title, lb_json *json, bool *differ)
{
    lb_diff_side sides[2] = {0};
    lb_diff diff = {0};
    lb_status status = LB_OK;

    for (int i = 0; i < 2 && status == LB_OK; i++)
        status = read_side(session, paths[i], &sides[i]);
    if (status == LB_OK)
        status = lb_session_operators(session, &options->objects);
    if (status == LB_OK)
        status = lb_lang_diff(session->diag, &sides[0], &sides[1],
                              lb_operators_list(session->operators), &diff);
    if (status == LB_OK) {
        *differ = diff.count > 0;
        if (json)
            put_changes(json, &diff);
        else
            print_text(&diff, title);
    }
    lb_diff_clear(&diff);
    for (int i = 0; i < 2; i++)
        lb_free((char *)sides[i].text);
    return status;
}

/* The pictures of the frames that --frame names. */
static lb_status compare_pixels(lb_session *session, const diff_options *options,
                                const char *paths[2], lb_json *json, bool *differ)
{
    const lb_diff_pixels_options pixels = {.graphs = {paths[0], paths[1]},
                                           .frames = options->frames,
                                           .outputs = options->outputs,
                                           .settings = &options->settings,
                                           .scale = options->scale,
                                           .threads = options->threads,
                                           .memory = options->memory,
                                           .image = options->image,
                                           .text = json ? NULL : stdout,
                                           .json = json};
    bool pixels_differ = false;
    lb_status status = lb_diff_pixels(session, &pixels, &pixels_differ);

    *differ = *differ || pixels_differ;
    return status;
}

/* Meaning, and pixels if they are asked for: as JSON an array of changes, or an object of both. */
static lb_status compare_all(lb_session *session, const diff_options *options, const char *paths[2],
                             lb_json *json, bool *differ)
{
    bool with_pixels = options->frames.count > 0;
    lb_status status;

    if (json && with_pixels) {
        lb_json_open(json, '{', false);
        lb_json_key(json, "changes");
    }
    status = compare(session, options, paths, options->is_git ? options->a : NULL, json, differ);
    if (status != LB_OK || !with_pixels)
        return status;
    if (json)
        lb_json_key(json, "pixels");
    status = compare_pixels(session, options, paths, json, differ);
    if (json)
        lb_json_close(json, '}');
    return status;
}

static lb_status run_diff(lb_session *session, const void *words)
{
    const diff_options *options = words;
    const char *paths[2] = {options->a, options->b};
    lb_text text = {0};
    lb_json json = {.text = &text};
    bool differ = false;
    lb_status status;

    if (options->is_git) { /* PATH OLD-FILE OLD-HEX OLD-MODE NEW-FILE NEW-HEX NEW-MODE */
        if (options->git.count < 5)
            return lb_session_usage(session, "--git takes the words that git hands over: a path, "
                                             "then file, hash and mode of both sides");
        paths[0] = options->b;
        paths[1] = options->git.list[2];
    } else if (options->git.count > 0) {
        return lb_session_usage(session, "'%s' is one word too many", options->git.list[0]);
    }
    if (options->image && options->frames.count == 0)
        return lb_session_usage(session, "--image shows frames, and --frame names none");
    status = compare_all(session, options, paths, options->json ? &json : NULL, &differ);
    lb_text_put(&text, "\n");
    if (status == LB_OK && options->json)
        status = lb_session_print(session, &text);
    lb_text_clear(&text);
    session->in_trouble |= status != LB_OK; /* 1 says that there are differences */
    if (status == LB_OK && differ && !options->is_git)
        status = LB_INVALID;
    return status;
}

static const lb_operand operands[] = {
    LB_OPERAND(diff_options, a, "A", .min = 1, .max = 1, .offer = LB_OFFER_GRAPH,
               .doc = "The graph file as it was."),
    LB_OPERAND(diff_options, b, "B", .min = 1, .max = 1, .offer = LB_OFFER_GRAPH,
               .doc = "The graph file as it is."),
    LB_OPERAND(diff_options, git, "GIT", .doc = "With --git: what git hands over behind these."),
    {0},
};

static const lb_option options[] = {
    LB_OPTION(diff_options, frames, "--frame", LB_OPTION_FRAMES,
              .doc = "Renders these frames of both graphs, such as 1,120-123, and compares their "
                     "pixels too."),
    LB_OPTION(diff_options, image, "--image", LB_OPTION_TEXT, .argument = "FILE",
              .expects = "a file, such as compare.####.png", .offer = LB_OFFER_FILE,
              .doc = "With --frame: both pictures side by side, and their difference made larger."),
    LB_OPTION(diff_options, outputs, "--outputs", LB_OPTION_TEXT, .argument = "NAME,...",
              .expects = "names with commas between them", .offer = LB_OFFER_OUTPUTS, .comma = true,
              .doc = "With --frame: only these outputs."),
    LB_OPTION(diff_options, scale, "--scale", LB_OPTION_SCALE,
              .doc = "With --frame: a smaller or larger picture, such as 1/2."),
    LB_OPTION_SET(diff_options),
    LB_OPTION_JSON(diff_options),
    LB_OPTION(diff_options, is_git, "--git", LB_OPTION_FLAG,
              .doc =
                  "Takes the words that git hands to a diff driver, and ends with 0 whether there "
                  "are differences or not."),
    LB_OPTION_THREADS(diff_options),
    LB_OPTION_MEMORY(diff_options),
    LB_OPTION_OPERATORS(diff_options),
    {0},
};

static const lb_example examples[] = {
    {"lampblack diff kiln.yaml theirs.yaml || echo different", NULL},
    {"lampblack diff kiln.yaml theirs.yaml --json || echo different", "For a program:"},
    {"lampblack diff kiln.yaml theirs.yaml --frame 3 --image beside.png || true", "And in pixels:"},
    {0},
};

const lb_command lb_command_diff = {
    .name = "diff",
    .summary = "what two graphs differ in, by meaning",
    .doc =
        "Nodes added, removed and renamed, parameters with their old and their new value, inputs, "
        "curves, expressions, params, parts, versions and outputs. Order, layout, comments and "
        "the spelling of values never show.\n\nWith --frame the outputs that both graphs have are "
        "rendered and compared: how many pixels differ and where, the largest difference of the "
        "numbers and their mean, PSNR and SSIM of what is seen, and the nodes at which it begins. "
        "Outputs whose pixels are known to be the same are not rendered.",
    .no = "there are differences",
    .operands = operands,
    .options = options,
    .examples = examples,
    .options_size = sizeof(diff_options),
    .run = run_diff,
};
