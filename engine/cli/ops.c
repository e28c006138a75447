/* engine/cli/ops.c: lampblack ops [NAME]. */
#include <string.h>

#include "engine/base/text.h"
#include "engine/cli/cli.h"
#include "engine/cli/op_pages.h"
#include "engine/cli/op_words.h"

static void print_params(const lb_param *params, int indent)
{
    for (; params && params->name; params++) {
        lb_text initial = {0}, range = {0};

        lb_op_put_initial(&initial, params);
        lb_op_put_range(&range, params);
        printf("%*s%s: %s", indent, "", params->name, lb_type_text(params->type));
        if (params->type == LB_CHOICE)
            for (int i = 0; params->names[i]; i++)
                printf("%s%s", i ? " | " : ": ", params->names[i]);
        if (params->unit != LB_UNITLESS)
            printf(", %s", lb_unit_text(params->unit));
        if (range.length)
            printf(", %s", range.bytes);
        if (params->required)
            printf(" (required)");
        else if (initial.length)
            printf(" = %s", initial.bytes);
        printf("%s\n", params->fixed ? " (cannot change from frame to frame)" : "");
        if (params->doc)
            printf("%*s%s\n", indent + 4, "", params->doc);
        if (params->fields)
            print_params(params->fields, indent + 4);
        lb_text_clear(&initial);
        lb_text_clear(&range);
    }
}

static void print_op(const lb_op *op)
{
    printf("%s: %s\n", op->name, op->summary);
    if (op->doc)
        printf("  %s\n", op->doc);
    printf("  makes %s\n", lb_kind_text(op->result));
    if (op->inputs && op->inputs[0].name)
        printf("inputs\n");
    for (const lb_input *input = op->inputs; input && input->name; input++)
        printf("  %s: %s%s%s\n      %s\n", input->name, lb_kind_text(input->kind),
               input->list ? ", a list" : "", input->optional ? " (optional)" : "",
               input->doc ? input->doc : "");
    if (op->params && op->params[0].name)
        printf("parameters\n");
    print_params(op->params, 2);
    if (op->example) {
        lb_text example = {0};

        lb_op_put_example(&example, op);
        printf("\nAn example, to be saved and rendered:\n\n%s", example.bytes ? example.bytes : "");
        lb_text_clear(&example);
    }
}

/* All of them in a line each, by their groups. */
static lb_status list_all(lb_diag *diag, const lb_op *const *list)
{
    const lb_op **sorted = lb_ops_by_group(list);
    const char *group = NULL;

    if (!sorted)
        return lb_fail(diag, LB_MEMORY, LB_NOWHERE, "no memory");
    for (size_t i = 0; sorted[i]; i++) {
        const char *text = lb_op_group_text(sorted[i]->group);

        if (!group || strcmp(group, text) != 0)
            printf("%s%s\n", group ? "\n" : "", text);
        group = text;
        printf("  %-14s %s\n", sorted[i]->name, sorted[i]->summary);
    }
    lb_free(sorted);
    return LB_OK;
}

/* The one called `name`. */
static lb_status show(lb_diag *diag, const lb_op *const *list, const char *name)
{
    const char *names[1024];
    const char *nearest;
    size_t count = 0;

    for (; list[count] && count < 1024; count++) {
        names[count] = list[count]->name;
        if (strcmp(name, names[count]) == 0) {
            print_op(list[count]);
            return LB_OK;
        }
    }
    nearest = lb_text_nearest(name, names, count);
    return lb_fail(diag, LB_INVALID, LB_NOWHERE, "there is no operator '%s'%s%s%s", name,
                   nearest ? "; did you mean '" : "", nearest ? nearest : "", nearest ? "'?" : "");
}

typedef struct ops_options {
    const char *name;
    const char *pages;
    lb_texts objects;
} ops_options;

static lb_status run_ops(lb_session *session, const void *words)
{
    const ops_options *options = words;
    lb_status status;

    if (options->name && options->pages)
        return lb_session_usage(session, "--pages writes all of them");
    if ((status = lb_session_operators(session, &options->objects)) != LB_OK)
        return status;
    if (options->name)
        return show(session->diag, lb_operators_list(session->operators), options->name);
    if (!options->pages)
        return list_all(session->diag, lb_operators_list(session->operators));
    if ((status = lb_session_threads(session, 0)) != LB_OK)
        return status;
    return lb_op_pages_write(session, options->pages);
}

static const lb_operand operands[] = {
    LB_OPERAND(ops_options, name, "NAME", .max = 1, .offer = LB_OFFER_OPERATORS,
               .doc =
                   "An operator, to be told with its inputs, parameters and an example; all in a "
                   "line each when not given."),
    {0},
};

static const lb_option options[] = {
    LB_OPTION(ops_options, pages, "--pages", LB_OPTION_TEXT, .argument = "FOLDER",
              .expects = "a folder", .offer = LB_OFFER_FOLDER,
              .doc = "Writes the reference of all operators into a folder: pages of Markdown, and "
                     "the pictures of their examples."),
    LB_OPTION_OPERATORS(ops_options),
    {0},
};

static const lb_example examples[] = {
    {"lampblack ops", NULL},
    {"lampblack ops blur", NULL},
    {0},
};

const lb_command lb_command_ops = {
    .name = "ops",
    .summary = "the operators and their parameters",
    .no = "there is no operator of that name",
    .operands = operands,
    .options = options,
    .examples = examples,
    .options_size = sizeof(ops_options),
    .run = run_ops,
};
