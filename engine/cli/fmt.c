/* engine/cli/fmt.c: lampblack fmt GRAPH... */
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "engine/base/file.h"
#include "engine/cli/cli.h"
#include "lang/format.h"

typedef struct fmt_options {
    lb_texts graphs;
    bool check;
} fmt_options;

/* All of standard input, lb_text_clear. */
static lb_status read_input(lb_diag *diag, lb_text *out)
{
    char buffer[65536];

    for (;;) {
        ssize_t count = read(STDIN_FILENO, buffer, sizeof buffer);

        if (count == 0)
            break;
        if (count < 0 && errno == EINTR)
            continue;
        if (count < 0)
            return lb_fail(diag, LB_IO, LB_NOWHERE, "standard input cannot be read");
        lb_text_add(out, buffer, (size_t)count);
        if (out->failed)
            return lb_fail(diag, LB_MEMORY, LB_NOWHERE, "no memory");
        if (out->length > LB_LANG_MAX_BYTES)
            break; /* told by who reads the text */
    }
    return LB_OK;
}

static bool is_same(const lb_text *made, const void *text, size_t bytes)
{
    return made->length == bytes && (bytes == 0 || memcmp(made->bytes, text, bytes) == 0);
}

static lb_status format_input(lb_diag *diag, bool check)
{
    lb_text text = {0}, made = {0};
    lb_status status = read_input(diag, &text);

    if (status == LB_OK)
        status = lb_lang_format(diag, "<stdin>", text.bytes, text.length, &made);
    if (status == LB_OK && !check)
        fwrite(made.bytes, 1, made.length, stdout);
    else if (status == LB_OK && !is_same(&made, text.bytes, text.length))
        status = LB_INVALID, puts("<stdin>");
    lb_text_clear(&text);
    lb_text_clear(&made);
    return status;
}

/* Writes to where a link points, so that the link stays one. */
static lb_status replace(lb_diag *diag, const char *path, const lb_text *made)
{
    char *target = realpath(path, NULL);
    lb_status status;

    if (!target)
        return lb_fail(diag, LB_IO, LB_NOWHERE, "cannot write '%s': it is gone", path);
    status = lb_file_write(diag, LB_NOWHERE, target, made->bytes, made->length);
    free(target);
    return status;
}

static lb_status format_file(lb_diag *diag, const char *path, bool check)
{
    lb_text made = {0};
    void *text;
    size_t bytes;
    lb_status status = lb_file_read(diag, LB_NOWHERE, path, LB_LANG_MAX_BYTES, &text, &bytes);

    if (status != LB_OK)
        return status;
    status = lb_lang_format(diag, path, text, bytes, &made);
    if (status == LB_OK && !is_same(&made, text, bytes)) {
        if (!check)
            status = replace(diag, path, &made);
        else
            status = LB_INVALID, puts(path);
    }
    lb_text_clear(&made);
    lb_free(text);
    return status;
}

/* Goes on after a file that is no YAML; the answer is the worst. */
static lb_status run_fmt(lb_session *session, const void *words)
{
    const fmt_options *options = words;
    lb_status status = LB_OK;

    if (options->graphs.count == 0)
        return format_input(session->diag, options->check);
    for (int32_t i = 0; i < options->graphs.count; i++) {
        const char *path = options->graphs.list[i];
        lb_status one = strcmp(path, "-") == 0 ? format_input(session->diag, options->check)
                                               : format_file(session->diag, path, options->check);

        if (one != LB_OK && (status == LB_OK || lb_exit_of(one) > lb_exit_of(status)))
            status = one;
    }
    return status;
}

static const lb_operand operands[] = {
    LB_OPERAND(fmt_options, graphs, "GRAPH", .offer = LB_OFFER_GRAPH,
               .doc = "Graph files; none, or -, is standard input, which goes to standard output."),
    {0},
};

static const lb_option options[] = {
    LB_OPTION(fmt_options, check, "--check", LB_OPTION_FLAG,
              .doc = "Changes nothing; prints the names of files that are laid out otherwise."),
    {0},
};

static const lb_example examples[] = {
    {"lampblack fmt kiln.yaml", NULL},
    {"lampblack fmt --check kiln.yaml", "In a check before a merge:"},
    {0},
};

const lb_command lb_command_fmt = {
    .name = "fmt",
    .summary = "canonical layout, comments kept",
    .doc = "Spacing, quotes and line breaks become canonical; the order of things, comments and "
           "blank lines between them stay, and so does the meaning. A file is written only if "
           "something changes, and one that is no YAML is reported and left alone.",
    .no = "a file is no YAML or, with --check, is laid out otherwise",
    .operands = operands,
    .options = options,
    .examples = examples,
    .options_size = sizeof(fmt_options),
    .run = run_fmt,
};
