/* engine/cli/ops.c: lampblack ops [NAME]. */
#include <math.h>
#include <string.h>

#include "engine/base/text.h"
#include "engine/cli/cli.h"

/* A parameter's initial value as the graph would write it; "" when there is none to show. */
static void put_initial(lb_text *out, const lb_param *param)
{
    static const int32_t counts[] = {
        [LB_NUMBER] = 1, [LB_VEC2] = 2, [LB_VEC3] = 3, [LB_VEC4] = 4, [LB_COLOR] = 3, [LB_INT] = 1};
    char number[32];
    int32_t count = 0;

    if (param->type == LB_BOOL)
        lb_text_put(out, param->initial[0] != 0 ? "true" : "false");
    else if (param->type == LB_CHOICE && lb_is_set(param->initial[0]))
        lb_text_put(out, param->names[(int)param->initial[0]]);
    else if (param->initial_text && (param->type == LB_TEXT || param->type == LB_FILE))
        lb_text_put(out, param->initial_text);
    else if (param->type == LB_INT || (param->type >= LB_NUMBER && param->type <= LB_COLOR))
        count = counts[param->type];
    if (count == 0 || !lb_is_set(param->initial[0]))
        return;
    for (int32_t i = 0; i < count; i++)
        lb_text_printf(out, "%s%s",
                       i           ? ", "
                       : count > 1 ? "["
                                   : "",
                       lb_text_from_number(param->initial[i], number));
    if (count > 1)
        lb_text_put(out, "]");
}

/* "0 to 1000", "at least 0", or "". */
static void put_range(lb_text *out, const lb_param *param)
{
    char low[32], high[32];

    if (param->min == 0 && param->max == 0)
        return;
    lb_text_from_number(param->min, low);
    if (isinf(param->max))
        lb_text_printf(out, "at least %s", low);
    else
        lb_text_printf(out, "%s to %s", low, lb_text_from_number(param->max, high));
}

static void print_params(const lb_param *params, int indent)
{
    for (; params && params->name; params++) {
        lb_text initial = {0}, range = {0};

        put_initial(&initial, params);
        put_range(&range, params);
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

/* Rows of a Markdown table; fields of records get their parent's name before them. */
static void mark_params(const lb_param *params, const char *prefix)
{
    for (; params && params->name; params++) {
        lb_text initial = {0}, range = {0}, name = {0};

        put_initial(&initial, params);
        put_range(&range, params);
        lb_text_printf(&name, "%s%s", prefix, params->name);
        printf("| `%s` | %s", name.bytes ? name.bytes : "", lb_type_text(params->type));
        if (params->type == LB_CHOICE)
            for (int i = 0; params->names[i]; i++)
                printf("%s`%s`", i ? ", " : ": ", params->names[i]);
        printf(" | %s%s%s | %s%s%s | %s%s |\n", range.bytes ? range.bytes : "",
               range.length && params->unit != LB_UNITLESS ? " " : "", lb_unit_text(params->unit),
               initial.length ? "`" : "",
               params->required ? "required"
               : initial.bytes  ? initial.bytes
                                : "",
               initial.length ? "`" : "", params->doc ? params->doc : "",
               params->fixed ? " Cannot change from frame to frame." : "");
        if (params->fields) {
            lb_text_put(&name, ".");
            mark_params(params->fields, name.bytes ? name.bytes : "");
        }
        lb_text_clear(&initial);
        lb_text_clear(&range);
        lb_text_clear(&name);
    }
}

static void mark_op(const lb_op *op)
{
    printf("\n## %s\n\n%s; makes %s.\n", op->name, op->summary, lb_kind_text(op->result));
    if (op->doc)
        printf("\n%s\n", op->doc);
    if (op->inputs && op->inputs[0].name)
        printf("\n| input | takes | |\n| --- | --- | --- |\n");
    for (const lb_input *input = op->inputs; input && input->name; input++)
        printf("| `%s` | %s%s%s | %s |\n", input->name, lb_kind_text(input->kind),
               input->list ? ", a list" : "", input->optional ? ", optional" : "",
               input->doc ? input->doc : "");
    if (op->params && op->params[0].name)
        printf("\n| parameter | type | range | initial | |\n| --- | --- | --- | --- | --- |\n");
    mark_params(op->params, "");
}

static void mark_all(const lb_op *const *list)
{
    puts("# Operators\n\nWritten by `lampblack ops --markdown` from the tables that check the "
         "graphs; "
         "a test compares the\ntwo. Any parameter takes a literal, `{param: …}`, `{expr: …}` or "
         "`{keys: …}` unless it says otherwise.");
    for (size_t i = 0; list[i]; i++)
        mark_op(list[i]);
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
}

/* All of them in a line each, or the one called `name`. */
static lb_status show(lb_diag *diag, const lb_op *const *list, const char *name)
{
    const char *names[1024];
    const char *nearest;
    size_t count = 0;

    for (; list[count] && count < 1024; count++) {
        const lb_op *op = list[count];

        names[count] = op->name;
        if (!name)
            printf("%-14s %s\n", op->name, op->summary);
        else if (!strcmp(name, op->name)) {
            print_op(op);
            return LB_OK;
        }
    }
    if (!name)
        return LB_OK;
    nearest = lb_text_nearest(name, names, count);
    return lb_fail(diag, LB_INVALID, LB_NOWHERE, "there is no operator '%s'%s%s%s", name,
                   nearest ? "; did you mean '" : "", nearest ? nearest : "", nearest ? "'?" : "");
}

typedef struct ops_options {
    const char *name;
    bool markdown;
    lb_texts objects;
} ops_options;

static lb_status run_ops(lb_session *session, const void *words)
{
    const ops_options *options = words;
    lb_status status;

    if (options->name && options->markdown)
        return lb_session_usage(session, "--markdown writes all of them");
    if ((status = lb_session_operators(session, &options->objects)) != LB_OK)
        return status;
    if (!options->markdown)
        return show(session->diag, lb_operators_list(session->operators), options->name);
    mark_all(lb_operators_list(session->operators));
    return LB_OK;
}

static const lb_operand operands[] = {
    LB_OPERAND(ops_options, name, "NAME", .max = 1, .offer = LB_OFFER_OPERATORS,
               .doc = "An operator, to be told with its inputs and parameters; all of them in a "
                      "line each when not given."),
    {0},
};

static const lb_option options[] = {
    LB_OPTION(ops_options, markdown, "--markdown", LB_OPTION_FLAG,
              .doc = "Writes the reference of all operators as a page of Markdown."),
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
