/* lang/build_units.c: every life of a file and of a part, with all nodes declared, so that they
 * know each other before their insides are built. */
#include <string.h>

#include "lang/build.h"

lb_unit_build *lb_build_enter(lb_build *build, lb_unit_build *unit)
{
    lb_unit_build *before = build->unit;

    build->unit = unit;
    if (unit)
        build->store.folder = unit->body->document->folder;
    return before;
}

/* The unit as the graph tells it to others. */
static bool list_unit(lb_build *build, const lb_unit_build *unit, const char *part, lb_loc loc)
{
    lb_graph *graph = build->graph;
    size_t length = strlen(unit->prefix);
    char *name;

    if (!lb_build_grow(build, (void **)&graph->units, &build->unit_capacity,
                       (size_t)graph->unit_count, sizeof *graph->units) ||
        !(name = lb_build_join(build, unit->prefix, "")))
        return false;
    if (length > 0)
        name[length - 1] = 0; /* the slash */
    graph->units[graph->unit_count++] =
        (lb_graph_unit){.name = name,
                        .part = part,
                        .file = unit->body->document->file,
                        .folder = unit->body->document->folder,
                        .loc = loc,
                        .parent = unit->parent ? unit->parent->index : -1,
                        .result = -1};
    return true;
}

/* What is given to the params in place of their defaults. */
static void hand_in(lb_unit_build *unit, const lb_yaml_node *given)
{
    for (int32_t i = 0; i < unit->body->param_count; i++) {
        unit->params[i] = (lb_named_value){
            .unit = unit, .declared = &unit->body->params[i], .given_in = unit->parent, .slot = -1};
        if (given)
            unit->params[i].given = lb_yaml_find(given, unit->body->params[i].name);
    }
}

/* A new unit at the end of the list. `use` is what includes or uses it; NULL: nothing does. */
static lb_unit_build *add_unit(lb_build *build, lb_unit_build *parent, lb_body *body,
                               const lb_named *use)
{
    lb_unit_build *unit = lb_build_alloc(build, 1, sizeof *unit);
    const char *name = use ? use->name : "";
    const char *part = NULL;
    char *prefix;

    build->things += 1 + body->named_count + body->param_count;
    if (parent)
        lb_build_spend(
            build, 0, (1 + body->named_count + body->param_count) * (int64_t)strlen(parent->prefix),
            use ? use->loc : LB_NOWHERE);
    if (unit && build->things > LB_MAX_THINGS) {
        lb_build_fail(build, LB_LIMIT, use ? use->loc : LB_NOWHERE,
                      "the graph grows over %d nodes, inputs and params here", LB_MAX_THINGS);
        build->is_over = true;
    }
    if (build->is_over || !(prefix = lb_build_join(build, parent ? parent->prefix : "", name)))
        return NULL;
    unit->prefix = use ? lb_build_join(build, prefix, "/") : "";
    *unit = (lb_unit_build){.parent = parent,
                            .body = body,
                            .index = build->graph->unit_count,
                            .prefix = unit->prefix,
                            .uses = use && body->part ? use->node : NULL,
                            .is_hidden = (parent && parent->is_hidden) || (body->part && !use)};
    unit->params = lb_build_alloc(build, (size_t)body->param_count, sizeof *unit->params);
    unit->meant = lb_build_alloc(build, (size_t)body->named_count, sizeof *unit->meant);
    if (body->part && use)
        part = lb_yaml_find(use->node, "op")->text + strlen("part/");
    else if (body->part)
        part = body->part->name;
    if (build->is_over || !list_unit(build, unit, part, use ? use->loc : LB_NOWHERE))
        return NULL;
    hand_in(unit, !use ? NULL : body->part ? use->node : use->params);
    if (build->last_unit)
        build->last_unit->next = unit;
    else
        build->units = unit;
    build->last_unit = unit;
    return unit;
}

static int32_t add_node(lb_build *build, lb_unit_build *unit, lb_named *named)
{
    lb_graph *graph = build->graph;
    size_t count = (size_t)graph->node_count, capacity = build->node_capacity;
    lb_node *node;

    if (!lb_build_grow(build, (void **)&graph->nodes, &build->node_capacity, count,
                       sizeof *graph->nodes) ||
        !lb_build_grow(build, (void **)&build->nodes, &capacity, count, sizeof *build->nodes))
        return -1;
    node = &graph->nodes[count];
    *node = (lb_node){.op = named ? named->op : NULL, .unit = unit ? unit->index : 0, .name = ""};
    build->nodes[count] = (lb_node_build){.unit = unit, .named = named};
    if (named) {
        node->loc = named->loc;
        node->name =
            unit->prefix[0] ? lb_build_join(build, unit->prefix, named->name) : named->name;
        if (!node->name)
            node->name = "";
    }
    return graph->node_count++;
}

/* What the names of a unit stand for. */
static void expand(lb_build *build, lb_unit_build *unit)
{
    for (int32_t i = 0; i < unit->body->named_count && !build->is_over; i++) {
        lb_named *named = &unit->body->named[i];
        lb_meant *meant = &unit->meant[i];

        *meant = (lb_meant){.node = -1, .edge = {.node = LB_BROKEN_EDGE}};
        if (named->what == LB_NAMES_NODE)
            meant->node = add_node(build, unit, named);
        else if (named->what == LB_NAMES_USE && named->part && !named->part->is_faulty)
            meant->unit = add_unit(build, unit, &named->part->body, named);
        else if (named->what == LB_NAMES_INCLUDE && named->document)
            meant->unit = add_unit(build, unit, &named->document->body, named);
    }
}

/* The unit of the file that a part stands in, for notes. */
static lb_unit_build *file_unit(const lb_build *build, const lb_document *document)
{
    lb_unit_build *unit = build->units;

    while (unit && unit->body != &document->body)
        unit = unit->next;
    return unit;
}

void lb_build_units(lb_build *build)
{
    lb_unit_build *last;

    add_unit(build, NULL, &build->documents->body, NULL);
    for (lb_unit_build *unit = build->units; unit && !build->is_over; unit = unit->next)
        expand(build, unit);
    build->own_nodes = build->graph->node_count;
    build->own_units = build->graph->unit_count;
    last = build->last_unit;
    /* Parts that nothing uses are made as well, to be checked. */
    for (lb_document *d = build->documents; d; d = d->next) {
        lb_unit_build *file = d->part_count > 0 ? file_unit(build, d) : NULL;

        for (int32_t i = 0; i < d->part_count && !build->is_over; i++)
            if (d->parts[i].used.line == 0 && !d->parts[i].is_faulty)
                add_unit(build, file, &d->parts[i].body, NULL);
    }
    for (lb_unit_build *unit = last ? last->next : NULL; unit && !build->is_over; unit = unit->next)
        expand(build, unit);
    build->stand_ins = build->graph->node_count;
    for (int32_t i = 0; i < LB_STAND_IN_COUNT && !build->is_over; i++) {
        add_node(build, NULL, NULL);
        if (!build->is_over)
            build->graph->nodes[build->stand_ins + i].op = &lb_stand_in_ops[i];
    }
}
