/* engine/cli/merge.c: lampblack merge BASE OURS THEIRS. */
#include <stdlib.h>
#include <string.h>

#include "engine/base/file.h"
#include "engine/cli/cli.h"
#include "lang/merge.h"

typedef struct merge_options {
    const char *sides[3];
    const char *output, *path;
} merge_options;

/* What messages call a side: its file, or the path that git gave it. */
static char *name_of(const merge_options *options, int side)
{
    static const char *const sides[] = {"base", "ours", "theirs"};
    lb_text name = {0};

    if (!options->path)
        return lb_strdup(options->sides[side]);
    lb_text_printf(&name, side == 1 ? "%s" : "%s (%s)", options->path, sides[side]);
    return name.bytes;
}

/* A file; one that is not there is trouble whatever its other faults. */
static lb_status read_side(lb_session *session, const merge_options *options, int side,
                           lb_merge_side *out)
{
    void *text = NULL;
    lb_status status = lb_file_read(session->diag, LB_NOWHERE, options->sides[side],
                                    LB_LANG_MAX_BYTES, &text, &out->bytes);

    out->text = text;
    if (status == LB_OK && !(out->path = name_of(options, side)))
        status = lb_fail(session->diag, LB_MEMORY, LB_NOWHERE, "no memory");
    return status;
}

static lb_status write_result(lb_session *session, const char *output, const lb_text *made)
{
    char *target;
    lb_status status;

    if (!output || strcmp(output, "-") == 0) {
        fwrite(made->bytes, 1, made->length, stdout);
        return LB_OK;
    }
    target = realpath(output, NULL); /* a link stays one */
    status = lb_file_write(session->diag, LB_NOWHERE, target ? target : output, made->bytes,
                           made->length);
    free(target);
    return status;
}

static lb_status run_merge(lb_session *session, const void *words)
{
    const merge_options *options = words;
    lb_merge_side sides[3] = {0};
    lb_text made = {0};
    int32_t conflicts = 0;
    lb_status status = LB_OK;

    for (int i = 0; i < 3 && status == LB_OK; i++)
        status = read_side(session, options, i, &sides[i]);
    if (status == LB_OK)
        status = lb_lang_merge(session->diag, &sides[0], &sides[1], &sides[2], &made, &conflicts);
    if (status == LB_OK)
        status = write_result(session, options->output, &made);
    session->in_trouble |= status != LB_OK; /* 1 says: there are conflicts, and they are marked */
    if (status == LB_OK && conflicts > 0)
        status = LB_INVALID;
    for (int i = 0; i < 3; i++) {
        lb_free((char *)sides[i].path);
        lb_free((char *)sides[i].text);
    }
    lb_text_clear(&made);
    return status;
}

static const lb_operand operands[] = {
    LB_OPERAND(merge_options, sides[0], "BASE", .min = 1, .max = 1, .offer = LB_OFFER_GRAPH,
               .doc = "The graph file that both sides began with."),
    LB_OPERAND(merge_options, sides[1], "OURS", .min = 1, .max = 1, .offer = LB_OFFER_GRAPH,
               .doc = "The one whose text stays where it can."),
    LB_OPERAND(merge_options, sides[2], "THEIRS", .min = 1, .max = 1, .offer = LB_OFFER_GRAPH,
               .doc = "The one whose changes come in."),
    {0},
};

static const lb_option options[] = {
    LB_OPTION(merge_options, output, "--output", LB_OPTION_TEXT, .argument = "FILE",
              .offer = LB_OFFER_FILE,
              .doc = "Where the result goes; standard output if not given."),
    LB_OPTION(merge_options, path, "--path", LB_OPTION_TEXT, .argument = "PATH",
              .doc = "What messages call the file, where the three are temporary ones."),
    {0},
};

static const lb_example examples[] = {
    {"lampblack merge kiln.yaml ours.yaml theirs.yaml --output merged.yaml",
     "With the version that both began with first:"},
    {0},
};

const lb_command lb_command_merge = {
    .name = "merge",
    .summary = "three versions of a graph made one, by meaning",
    .doc = "Takes what theirs changed since the first into the text of ours: node by node and "
           "parameter by parameter, whatever the order and the layout. Lines that theirs did not "
           "change stay as they are. What both sides changed is reported with its places and "
           "stands in the result twice, between lines that version control knows.",
    .no = "there are conflicts, marked in the result",
    .operands = operands,
    .options = options,
    .examples = examples,
    .options_size = sizeof(merge_options),
    .run = run_merge,
};
