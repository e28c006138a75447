/* engine/graph/order.c: inputs before their readers. */
#include "engine/graph/order.h"

#include <string.h>

#include "engine/base/text.h"

/* Kahn's algorithm by number of open inputs; nodes that never become ready are on a cycle or behind
 * one. */
static int32_t peel(const lb_graph *graph, int32_t *order, int32_t *open, const int32_t *first,
                    const int32_t *readers)
{
    int32_t done = 0, count = 0;

    for (int32_t i = 0; i < graph->node_count; i++)
        if (open[i] == 0)
            order[count++] = i;
    for (; done < count; done++)
        for (int32_t k = first[order[done]]; k < first[order[done] + 1]; k++)
            if (--open[readers[k]] == 0)
                order[count++] = readers[k];
    return count;
}

/* The first slot of `node` that reads a node which was never ready. */
static const lb_edge_ref *open_slot(const lb_node *node, const int32_t *open)
{
    for (int32_t i = 0; i < node->slot_count; i++)
        if (node->slots[i].node >= 0 && open[node->slots[i].node] > 0)
            return &node->slots[i];
    return NULL;
}

/* Follows open slots from a node that was never ready until it is on a cycle; tells the cycle from
 * its first node in the file on. */
static lb_status report_cycle(const lb_graph *graph, lb_diag *diag, const int32_t *open)
{
    lb_text path = {0};
    int32_t at = 0, first, end;
    const lb_edge_ref *slot;

    while (open[at] == 0)
        at++;
    for (int32_t step = 0; step < graph->node_count; step++)
        at = open_slot(&graph->nodes[at], open)->node;
    first = end = at;
    do {
        at = open_slot(&graph->nodes[at], open)->node;
        first = at < first ? at : first;
    } while (at != end);
    at = first;
    lb_text_put(&path, graph->nodes[at].name);
    do {
        slot = open_slot(&graph->nodes[at], open);
        at = slot->node;
        lb_text_printf(&path, " -> %s", graph->nodes[at].name);
    } while (at != first);
    lb_fail(diag, LB_INVALID, slot->loc, "these nodes read each other in a cycle: %s",
            path.bytes ? path.bytes : "?");
    lb_text_clear(&path);
    return LB_INVALID;
}

lb_status lb_graph_order(const lb_graph *graph, lb_diag *diag, int32_t **out)
{
    size_t count = (size_t)graph->node_count;
    int32_t *order = lb_alloc(count + 1, sizeof *order);
    int32_t *open = lb_alloc(count + 1, sizeof *open);
    int32_t *first = lb_alloc(count + 2, sizeof *first);
    int32_t *readers = NULL;
    size_t edges = 0;
    lb_status status = LB_OK;

    *out = NULL;
    for (size_t n = 0; n < count; n++)
        edges += (size_t)graph->nodes[n].slot_count;
    readers = lb_alloc(edges + 1, sizeof *readers);
    if (!order || !open || !first || !readers) {
        status = lb_fail(diag, LB_MEMORY, LB_NOWHERE, "no memory");
        goto done;
    }
    for (size_t n = 0; n < count; n++)
        for (int32_t i = 0; i < graph->nodes[n].slot_count; i++)
            if (graph->nodes[n].slots[i].node >= 0) {
                first[graph->nodes[n].slots[i].node + 2]++;
                open[n]++;
            }
    for (size_t n = 2; n <= count; n++)
        first[n] += first[n - 1];
    for (size_t n = 0; n < count; n++)
        for (int32_t i = 0; i < graph->nodes[n].slot_count; i++)
            if (graph->nodes[n].slots[i].node >= 0)
                readers[first[graph->nodes[n].slots[i].node + 1]++] = (int32_t)n;
    if (peel(graph, order, open, first, readers) < graph->node_count)
        status = report_cycle(graph, diag, open);
done:
    lb_free(open);
    lb_free(first);
    lb_free(readers);
    if (status != LB_OK)
        lb_free(order);
    else
        *out = order;
    return status;
}
