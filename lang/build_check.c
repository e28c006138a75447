/* lang/build_check.c: the checks of the whole graph, and warnings. */
#include <string.h>

#include "lang/build.h"

/* One for each kind of value; they have no inputs, so that nothing follows from them. */
static const lb_op stand_ins[LB_STAND_IN_COUNT] = {
    {.name = "", .summary = "", .result = LB_KIND_IMAGE},
    {.name = "", .summary = "", .result = LB_KIND_SCENE},
    {.name = "", .summary = "", .result = LB_KIND_MATERIAL},
    {.name = "", .summary = "", .result = LB_KIND_TEXTURE},
};

/* Is the reference no good by itself, or to a node whose operator is unknown? */
static bool is_broken(const lb_build *build, const lb_edge_ref *edge)
{
    return edge->node == LB_BROKEN_EDGE || (edge->node >= 0 && !build->graph->nodes[edge->node].op);
}

static void mend_edge(lb_build *build, lb_edge_ref *edge, lb_kind kind, int32_t own_count)
{
    if (!is_broken(build, edge))
        return;
    edge->layer = NULL;
    edge->node = -1;
    for (int32_t i = 0; i < LB_STAND_IN_COUNT; i++)
        if (stand_ins[i].result == kind)
            edge->node = own_count + i;
}

static void mend_slots(lb_build *build, lb_node *node, int32_t own_count)
{
    int32_t count = lb_inputs_count(node->op->inputs);

    for (int32_t i = 0; i < node->slot_count; i++) {
        const lb_input *input = count > 0 ? &node->op->inputs[i < count ? i : count - 1] : NULL;

        mend_edge(build, &node->slots[i],
                  input && (i < count || input->list) ? input->kind : LB_KIND_NONE, own_count);
    }
}

/* The operator of a faulty node without its own check, which would see what was not stored. */
static void silence(lb_build *build, lb_node *node)
{
    lb_op *op = lb_build_alloc(build, 1, sizeof *op);

    if (!op)
        return;
    *op = *node->op;
    op->check = NULL;
    node->op = op;
}

static void mend(lb_build *build)
{
    lb_graph *graph = build->graph;
    int32_t own_count = graph->node_count;

    for (int32_t i = 0; i < own_count; i++)
        if (graph->nodes[i].op)
            mend_slots(build, &graph->nodes[i], own_count);
    for (int32_t i = 0; i < graph->output_count; i++)
        mend_edge(build, &graph->outputs[i].image, LB_KIND_IMAGE, own_count);
    for (int32_t i = 0; i < own_count; i++) {
        if (!graph->nodes[i].op)
            graph->nodes[i].op = &stand_ins[0];
        else if (build->nodes[i].is_faulty)
            silence(build, &graph->nodes[i]);
    }
    for (int32_t i = 0; i < LB_STAND_IN_COUNT; i++)
        graph->nodes[own_count + i] = (lb_node){.name = "", .op = &stand_ins[i]};
    graph->node_count += LB_STAND_IN_COUNT;
}

void lb_build_check(lb_build *build)
{
    if (build->is_over)
        return;
    if (build->status != LB_OK)
        mend(build);
    if (!build->is_over)
        lb_build_ok(build, lb_graph_check(build->graph, build->diag));
}

/* Marks what an output needs. `stack` has room for every node. */
static void mark(lb_build *build, int32_t from, int32_t *stack)
{
    int32_t count = 0;

    if (from < 0 || build->nodes[from].is_used)
        return;
    build->nodes[from].is_used = true;
    stack[count++] = from;
    while (count > 0) {
        const lb_node *node = &build->graph->nodes[stack[--count]];

        for (int32_t i = 0; i < node->slot_count; i++) {
            int32_t to = node->slots[i].node;

            if (to >= 0 && !build->nodes[to].is_used) {
                build->nodes[to].is_used = true;
                stack[count++] = to;
            }
        }
    }
}

void lb_build_warn(lb_build *build)
{
    const lb_graph *graph = build->graph;
    int32_t *stack;

    for (int32_t i = 0; i < build->param_count; i++)
        if (!build->params[i].is_used)
            lb_warn(build->diag, build->params[i].loc, "param '%s' is not used",
                    build->params[i].name);
    if (graph->output_count == 0) {
        lb_warn(build->diag, (lb_loc){.file = build->file},
                "there are no outputs: nothing will be written");
        return;
    }
    if (!(stack = lb_build_alloc(build, (size_t)graph->node_count, sizeof *stack)))
        return;
    for (int32_t i = 0; i < graph->output_count; i++)
        mark(build, graph->outputs[i].image.node, stack);
    for (int32_t i = 0; i < graph->node_count; i++)
        if (!build->nodes[i].is_used)
            lb_warn(build->diag, graph->nodes[i].loc, "no output needs '%s'", graph->nodes[i].name);
}
