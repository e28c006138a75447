/* engine/cli/ops.c: lampblack ops [NAME]. */
#include <string.h>

#include "engine/base/text.h"
#include "engine/cli/cli.h"
#include "nodes/nodes.h"

static void print_initial(const lb_param *param)
{
    static const int32_t counts[] = {
        [LB_NUMBER] = 1, [LB_VEC2] = 2,     [LB_VEC3] = 3, [LB_VEC4] = 4,
        [LB_COLOR] = 3,  [LB_ROTATION] = 4, [LB_INT] = 1};
    char number[32];

    if (param->required) {
        printf(" (required)");
        return;
    }
    switch (param->type) {
    case LB_BOOL:
        printf(" = %s", param->initial[0] != 0 ? "true" : "false");
        return;
    case LB_CHOICE:
        if (lb_is_set(param->initial[0]))
            printf(" = %s", param->names[(int)param->initial[0]]);
        return;
    case LB_TEXT:
    case LB_FILE:
        if (param->initial_text)
            printf(" = %s", param->initial_text);
        return;
    case LB_REF:
    case LB_RECORD:
    case LB_RECORDS:
    case LB_ROTATION:
        return;
    default:
        break;
    }
    if (!lb_is_set(param->initial[0]))
        return;
    printf(" = ");
    for (int32_t i = 0; i < counts[param->type]; i++)
        printf("%s%s",
               i                         ? ", "
               : counts[param->type] > 1 ? "["
                                         : "",
               lb_text_from_number(param->initial[i], number));
    printf("%s", counts[param->type] > 1 ? "]" : "");
}

static void print_params(const lb_param *params, int indent)
{
    char low[32], high[32];

    for (; params && params->name; params++) {
        printf("%*s%s: %s", indent, "", params->name, lb_type_text(params->type));
        if (params->type == LB_CHOICE)
            for (int i = 0; params->names[i]; i++)
                printf("%s%s", i ? " | " : ": ", params->names[i]);
        if (params->unit != LB_UNITLESS)
            printf(", %s", lb_unit_text(params->unit));
        if (params->min != 0 || params->max != 0)
            printf(", %s to %s", lb_text_from_number(params->min, low),
                   lb_text_from_number(params->max, high));
        print_initial(params);
        printf("%s\n", params->fixed ? " (cannot change from frame to frame)" : "");
        if (params->doc)
            printf("%*s%s\n", indent + 4, "", params->doc);
        if (params->fields)
            print_params(params->fields, indent + 4);
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
}

static int run_ops(int argc, char **argv)
{
    const char *names[1024];
    const char *nearest;
    size_t count = 0;

    if (argc > 2)
        return lb_usage(&lb_command_ops, "one name at most");
    for (; lb_nodes_registry[count] && count < 1024; count++) {
        const lb_op *op = lb_nodes_registry[count];

        names[count] = op->name;
        if (argc == 1)
            printf("%-14s %s\n", op->name, op->summary);
        else if (!strcmp(argv[1], op->name)) {
            print_op(op);
            return LB_EXIT_GOOD;
        }
    }
    if (argc == 1)
        return LB_EXIT_GOOD;
    nearest = lb_text_nearest(argv[1], names, count);
    fprintf(stderr, "lampblack ops: there is no operator '%s'%s%s%s\n", argv[1],
            nearest ? "; did you mean '" : "", nearest ? nearest : "", nearest ? "'?" : "");
    return LB_EXIT_NO;
}

const lb_command lb_command_ops = {
    .name = "ops",
    .usage = "ops [NAME]",
    .summary = "the operators and their parameters",
    .run = run_ops,
};
