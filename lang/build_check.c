/* lang/build_check.c: the checks of the whole graph. */
#include <string.h>

#include "lang/build.h"

const lb_op lb_stand_in_ops[LB_STAND_IN_COUNT] = {
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

static void mend_edge(lb_build *build, lb_edge_ref *edge, lb_kind kind)
{
    if (!is_broken(build, edge))
        return;
    edge->layer = NULL;
    edge->node = -1;
    for (int32_t i = 0; i < LB_STAND_IN_COUNT; i++)
        if (lb_stand_in_ops[i].result == kind)
            edge->node = build->stand_ins + i;
}

static void mend_slots(lb_build *build, lb_node *node)
{
    int32_t count = lb_inputs_count(node->op->inputs);

    for (int32_t i = 0; i < node->slot_count; i++) {
        const lb_input *input = count > 0 ? &node->op->inputs[i < count ? i : count - 1] : NULL;

        mend_edge(build, &node->slots[i],
                  input && (i < count || input->list) ? input->kind : LB_KIND_NONE);
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

    for (int32_t i = 0; i < build->stand_ins; i++)
        if (graph->nodes[i].op)
            mend_slots(build, &graph->nodes[i]);
    for (int32_t i = 0; i < graph->output_count; i++)
        mend_edge(build, &graph->outputs[i].image, LB_KIND_IMAGE);
    for (int32_t i = 0; i < build->stand_ins; i++) {
        if (!graph->nodes[i].op)
            graph->nodes[i].op = &lb_stand_in_ops[0];
        else if (build->nodes[i].is_faulty)
            silence(build, &graph->nodes[i]);
    }
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

void lb_build_trim(lb_build *build)
{
    build->graph->node_count = build->own_nodes;
    build->graph->unit_count = build->own_units;
}
