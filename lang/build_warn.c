/* lang/build_warn.c: warnings of what nothing needs, and of names that hide others. */
#include <string.h>

#include "lang/build.h"

/* Marks what a node needs. `stack` has room for every node. */
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

/* Nodes and parts of the graph file, and nodes in parts. What an included file has for others is
 * its own affair. */
static void warn_nodes(lb_build *build)
{
    const lb_graph *graph = build->graph;

    for (int32_t i = 0; i < build->stand_ins; i++) {
        const lb_unit_build *unit = build->nodes[i].unit;
        const lb_part *part = unit->body->part;
        int32_t result = unit->parent ? graph->units[unit->index].result : -1;

        if (build->nodes[i].is_used || unit->body->document != build->documents)
            continue;
        if (!part && !unit->parent)
            lb_warn(build->diag, graph->nodes[i].loc, "no output needs '%s'", graph->nodes[i].name);
        else if (part && result >= 0 && build->nodes[result].is_used)
            lb_warn(build->diag, graph->nodes[i].loc, "the result of part '%s' does not need '%s'",
                    part->name, lb_node_local(&graph->nodes[i]));
    }
}

static void warn_names(lb_build *build, const lb_unit_build *unit)
{
    for (int32_t i = 0; i < unit->body->named_count; i++) {
        const lb_named *named = &unit->body->named[i];
        const lb_edge_ref *edge = &unit->meant[i].edge;

        if (named->what == LB_NAMES_INCLUDE && !named->is_used)
            lb_warn(build->diag, named->loc, "nothing of '%s' is used", named->name);
        if (named->what == LB_NAMES_INPUT && !named->is_used)
            lb_warn(build->diag, named->loc, "part '%s' does not use its input '%s'",
                    unit->body->part->name, named->name);
        if (named->what == LB_NAMES_USE && !unit->body->part && edge->node >= 0 &&
            !build->nodes[edge->node].is_used)
            lb_warn(build->diag, named->loc, "no output needs '%s'", named->name);
    }
}

/* "hot-gain" where there are "hot" and "gain": in an expression it is the first. */
static void warn_dashes(lb_build *build, const lb_body *body, const lb_declared *param)
{
    for (const char *dash = strchr(param->name, '-'); dash; dash = strchr(dash + 1, '-')) {
        size_t before = (size_t)(dash - param->name);

        if (lb_name_map_find(&body->param_names, param->name, before) >= 0 &&
            lb_name_map_find(&body->param_names, dash + 1, strlen(dash + 1)) >= 0)
            lb_warn(build->diag, param->loc,
                    "in expressions '%s' is this param, and not '%.*s' minus '%s'", param->name,
                    (int)before, param->name, dash + 1);
    }
}

static void warn_params(lb_build *build, const lb_body *body)
{
    for (int32_t i = 0; i < body->param_count; i++) {
        const lb_declared *param = &body->params[i];

        if (!param->is_used && body->part)
            lb_warn(build->diag, param->loc, "part '%s' does not use its param '%s'",
                    body->part->name, param->name);
        else if (!param->is_used)
            lb_warn(build->diag, param->loc, "param '%s' is not used", param->name);
        warn_dashes(build, body, param);
    }
}

/* A file without outputs is there for others: what is not used in it may be used by them. */
void lb_build_warn(lb_build *build)
{
    const lb_graph *graph = build->graph;
    const lb_document *file = build->documents;
    int32_t *stack;

    for (int32_t i = 0; i < file->part_count; i++) {
        warn_params(build, &file->parts[i].body);
        if (file->parts[i].used.line == 0 && graph->output_count > 0)
            lb_warn(build->diag, file->parts[i].loc, "part '%s' is not used", file->parts[i].name);
    }
    if (file->part_count == 0 || graph->output_count > 0)
        warn_params(build, &file->body);
    if (graph->output_count == 0 && build->own_nodes > 0)
        lb_warn(build->diag, (lb_loc){.file = build->file},
                "there are no outputs: nothing will be written");
    if (graph->output_count == 0 ||
        !(stack = lb_build_alloc(build, (size_t)graph->node_count, sizeof *stack)))
        return;
    for (int32_t i = 0; i < graph->output_count; i++)
        mark(build, graph->outputs[i].image.node, stack);
    for (const lb_unit_build *unit = build->units; unit; unit = unit->next)
        if (unit->is_hidden)
            mark(build, graph->units[unit->index].result, stack);
    warn_nodes(build);
    for (const lb_unit_build *unit = build->units; unit; unit = unit->next)
        if (unit->body->document == file)
            warn_names(build, unit);
}
