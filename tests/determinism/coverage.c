/* tests/determinism/coverage.c: which operators, and which of their ways, a set of graphs uses. */
#include "tests/determinism/coverage.h"

#include <string.h>

#define MOST_PARAMS 128 /* of a table and of the records in it */
#define MOST_INPUTS 32

typedef struct op_seen {
    const lb_op *op;
    bool used;
    uint64_t choices[MOST_PARAMS]; /* bit: that value; of a bool 0 and 1 */
    unsigned inputs[MOST_INPUTS];  /* bit 0: was left open, bit 1: was connected */
} op_seen;

struct coverage {
    int32_t count;
    op_seen *ops;
};

coverage *coverage_new(const lb_op *const *ops)
{
    coverage *seen = lb_alloc(1, sizeof *seen);

    if (!seen)
        return NULL;
    while (ops[seen->count])
        seen->count++;
    seen->ops = lb_alloc((size_t)seen->count, sizeof *seen->ops);
    if (!seen->ops)
        coverage_free(&seen);
    for (int32_t i = 0; seen && i < seen->count; i++)
        seen->ops[i].op = ops[i];
    return seen;
}

void coverage_free(coverage **seen)
{
    if (*seen)
        lb_free((*seen)->ops);
    lb_free(*seen);
    *seen = NULL;
}

/* How many params a table has, those of records in it included. */
static int32_t count_all(const lb_param *params)
{
    int32_t count = 0;

    for (; params && params->name; params++)
        count += 1 + count_all(params->fields);
    return count;
}

/* Sets bits for the values that the params of one table have in the struct at `base`. */
static void add_params(const lb_param *params, const void *base, uint64_t *choices, int32_t at)
{
    for (; params && params->name && at < MOST_PARAMS;
         at += 1 + count_all(params->fields), params++) {
        const char *field = (const char *)base + params->offset;
        int value;

        if (params->type == LB_BOOL) {
            choices[at] |= *(const bool *)field ? 2u : 1u;
        } else if (params->type == LB_CHOICE) {
            memcpy(&value, field, sizeof value);
            if (value >= 0)
                choices[at] |= UINT64_C(1) << value;
        } else if (params->type == LB_RECORD) {
            add_params(params->fields, field, choices, at + 1);
        } else if (params->type == LB_RECORDS) {
            const lb_records *records = (const lb_records *)field;

            for (int32_t i = 0; i < records->count; i++)
                add_params(params->fields,
                           (const char *)records->items + (size_t)i * params->fields_size, choices,
                           at + 1);
        }
    }
}

bool coverage_add(coverage *seen, const lb_graph *graph, lb_diag *diag)
{
    lb_arena *arena = lb_arena_new();
    lb_moment moment = {
        .frame = graph->format.first, .format = &graph->format, .arena = arena, .diag = diag};
    bool good = arena != NULL;

    for (int32_t n = 0; n < graph->node_count && good; n++) {
        const lb_node *node = &graph->nodes[n];
        op_seen *op = NULL;
        void *params = NULL;
        bool timed;

        for (int32_t i = 0; i < seen->count && !op; i++)
            if (seen->ops[i].op == node->op)
                op = &seen->ops[i];
        if (!op)
            continue;
        op->used = true;
        good = lb_node_resolve(graph, node, &moment, &graph->format, &params, &timed) == LB_OK;
        if (good)
            add_params(node->op->params, params, op->choices, 0);
        for (int32_t i = 0; i < lb_inputs_count(node->op->inputs) && i < MOST_INPUTS; i++)
            if (i < node->slot_count)
                op->inputs[i] |= node->slots[i].node >= 0 ? 2u : 1u;
    }
    lb_arena_free(&arena);
    return good;
}

static int report_params(const op_seen *op, const lb_param *params, int32_t at, FILE *out)
{
    static const char *const truth[] = {"false", "true", NULL};
    int missing = 0;

    for (; params && params->name && at < MOST_PARAMS;
         at += 1 + count_all(params->fields), params++) {
        const char *const *names = params->type == LB_BOOL     ? truth
                                   : params->type == LB_CHOICE ? params->names
                                                               : NULL;

        for (int k = 0; names && names[k]; k++)
            if (!(op->choices[at] >> k & 1)) {
                fprintf(out, "no graph has %s with %s: %s\n", op->op->name, params->name, names[k]);
                missing++;
            }
        missing += report_params(op, params->fields, at + 1, out);
    }
    return missing;
}

int coverage_report(const coverage *seen, FILE *out)
{
    int missing = 0;

    for (int32_t k = 0; k < seen->count; k++) {
        const op_seen *op = &seen->ops[k];
        const lb_input *inputs = op->op->inputs;

        if (!op->used) {
            fprintf(out, "no graph has %s\n", op->op->name);
            missing++;
            continue;
        }
        missing += report_params(op, op->op->params, 0, out);
        for (int32_t i = 0; inputs && inputs[i].name && i < MOST_INPUTS; i++)
            if (inputs[i].optional && op->inputs[i] != 3) {
                fprintf(out, "no graph has %s %s '%s'\n", op->op->name,
                        op->inputs[i] & 2 ? "without" : "with", inputs[i].name);
                missing++;
            }
    }
    return missing;
}
