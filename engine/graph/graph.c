/* engine/graph/graph.c: a graph's parameters at a moment, and its checks. */
#include "engine/graph/graph.h"

#include <string.h>

#include "engine/graph/files.h"
#include "engine/graph/order.h"

lb_status lb_graph_new(lb_graph **out)
{
    lb_arena *arena = lb_arena_new();

    *out = arena ? lb_arena_alloc(arena, 1, sizeof **out) : NULL;
    if (!*out) {
        lb_arena_free(&arena);
        return LB_MEMORY;
    }
    (*out)->arena = arena;
    (*out)->folder = ".";
    (*out)->format = (lb_format){.width = 1920,
                                 .height = 1080,
                                 .scale = 1,
                                 .pixel_aspect = 1,
                                 .rate = {24, 1},
                                 .first = 1,
                                 .last = 1,
                                 .working = LB_SPACE_LINEAR_REC709};
    return LB_OK;
}

void lb_graph_free(lb_graph **graph)
{
    lb_arena *arena;

    if (!*graph)
        return;
    arena = (*graph)->arena; /* the graph lies in it */
    *graph = NULL;
    lb_arena_free(&arena);
}

int32_t lb_graph_find(const lb_graph *graph, const char *name)
{
    for (int32_t i = 0; i < graph->node_count; i++)
        if (strcmp(graph->nodes[i].name, name) == 0)
            return i;
    return -1;
}

const char *lb_node_local(const lb_node *node)
{
    const char *slash = strrchr(node->name, '/');

    return slash ? slash + 1 : node->name;
}

#define MAX_NOTES 6

void lb_graph_note(const lb_graph *graph, int32_t unit, lb_diag *diag)
{
    int32_t told = 0;

    for (; unit > 0 && unit < graph->unit_count && told < MAX_NOTES;
         unit = graph->units[unit].parent) {
        const lb_graph_unit *u = &graph->units[unit];

        if (u->loc.line == 0)
            continue; /* a part that nothing uses */
        if (u->part)
            lb_note(diag, u->loc, "part '%s' is used here", u->part);
        else
            lb_note(diag, u->loc, "the file is included here");
        told++;
    }
    if (graph->version)
        lb_note(diag, graph->version->loc, "in version '%s'", graph->version->name);
}

/* Notes below a fault of `node`, unless it was told for another unit already. */
static void note_node(const lb_graph *graph, const lb_node *node, lb_diag *diag, int32_t before)
{
    if (lb_diag_count(diag, LB_ERROR) > before)
        lb_graph_note(graph, node->unit, diag);
}

/* A copy of the params whose records are copied too, so that bindings and scaling may write. */
static void *copy_params(const lb_param *params, const void *from, size_t size, lb_arena *arena)
{
    void *copy = lb_arena_alloc(arena, 1, size ? size : 1);

    if (!copy)
        return NULL;
    if (size)
        memcpy(copy, from, size);
    for (; params && params->name; params++) {
        lb_records *records = (lb_records *)((char *)copy + params->offset);

        if (params->type != LB_RECORDS || records->count == 0)
            continue;
        records->items =
            copy_params(NULL, records->items, (size_t)records->count * params->fields_size, arena);
        if (!records->items)
            return NULL;
    }
    return copy;
}

/* The struct that a binding writes into. */
static void *binding_base(const lb_binding *binding, const lb_node *node, void *params)
{
    char *base = params;

    if (binding->records_offset >= 0) {
        const lb_param *table = node->op->params;
        lb_records *records = (lb_records *)(base + binding->records_offset);

        while (table->offset != (size_t)binding->records_offset || table->type != LB_RECORDS)
            table++;
        base = (char *)records->items + (size_t)binding->record * table->fields_size;
    }
    return base + binding->base_offset;
}

lb_status lb_node_resolve(const lb_graph *graph, const lb_node *node, const lb_moment *moment,
                          const lb_format *format, void **out, bool *timed)
{
    const char *folder =
        node->unit < graph->unit_count ? graph->units[node->unit].folder : graph->folder;
    lb_store store = {moment->diag, moment->arena, graph->format.working, folder};
    lb_status status = LB_OK;

    *timed = false;
    *out = copy_params(node->op->params, node->params, node->op->params_size, moment->arena);
    if (!*out)
        return lb_fail(moment->diag, LB_MEMORY, node->loc, "no memory");
    for (int32_t i = 0; i < node->binding_count; i++) {
        const lb_binding *binding = &node->bindings[i];
        lb_datum value = {0};
        lb_status one = binding->source.at(binding->source.context, moment, &value);

        if (one == LB_OK)
            one = lb_param_store(&store, binding->param, binding->loc, &value,
                                 binding_base(binding, node, *out));
        if (status == LB_OK)
            status = one;
        *timed = *timed || binding->source.timed;
    }
    if (status == LB_OK && format->scale != 1)
        lb_params_scale(node->op->params, *out, format->scale);
    return status;
}

/* Is what a slot is connected to of the kind that its input wants? Nodes are called what their own
 * file calls them, so that a fault of an included file is told once however often it is included.
 */
static lb_status check_slot(const lb_graph *graph, lb_diag *diag, const lb_node *node,
                            const lb_input *input, const lb_edge_ref *slot)
{
    const lb_node *from;
    const char *name;
    lb_kind kind;

    if (slot->node < 0) {
        if (input->optional || input->list)
            return LB_OK;
        return lb_fail(diag, LB_INVALID, node->loc, "'%s' needs its input '%s' (%s)",
                       lb_node_local(node), input->name, lb_kind_text(input->kind));
    }
    from = &graph->nodes[slot->node];
    name = slot->name ? slot->name : from->name;
    kind = from->op->result;
    if (slot->layer && kind != LB_KIND_IMAGE)
        return lb_fail(diag, LB_INVALID, slot->loc,
                       "'%s' is %s and has no layers; only images have", name, lb_kind_text(kind));
    if (kind != input->kind)
        return lb_fail(diag, LB_INVALID, slot->loc, "'%s' takes %s; '%s' (%s) makes %s",
                       input->name, lb_kind_text(input->kind), name, from->op->name,
                       lb_kind_text(kind));
    return LB_OK;
}

static lb_status check_slots(const lb_graph *graph, lb_diag *diag, const lb_node *node)
{
    const lb_input *inputs = node->op->inputs;
    int32_t count = lb_inputs_count(inputs);
    lb_status status = LB_OK;

    for (int32_t i = 0; i < node->slot_count && count > 0; i++) {
        int32_t at = i < count ? i : count - 1;
        int32_t before = lb_diag_count(diag, LB_ERROR);
        lb_status one;

        if (i >= count && !inputs[at].list)
            break; /* references in records, whose kind lang has checked against the table */
        if ((one = check_slot(graph, diag, node, &inputs[at], &node->slots[i])) != LB_OK)
            note_node(graph, node, diag, before);
        if (status == LB_OK)
            status = one;
    }
    return status;
}

static lb_status check_params(const lb_graph *graph, lb_diag *diag, const lb_node *node,
                              lb_files *files)
{
    lb_arena *arena = lb_arena_new();
    lb_moment moment = {graph->format.first, 0, &graph->format, arena, diag};
    lb_call call = {.op = node->op,
                    .node = lb_node_local(node),
                    .format = &graph->format,
                    .frame = graph->format.first,
                    .loc = node->loc,
                    .locs = node->locs,
                    .diag = diag,
                    .files = files,
                    .arena = arena};
    void *params = NULL;
    int32_t before = lb_diag_count(diag, LB_ERROR);
    lb_desc *inputs;
    bool timed;
    lb_status status;

    inputs = arena ? lb_arena_alloc(arena, (size_t)node->slot_count + 1, sizeof *inputs) : NULL;
    if (!inputs) {
        lb_arena_free(&arena);
        return lb_fail(diag, LB_MEMORY, node->loc, "no memory");
    }
    for (int32_t i = 0; i < node->slot_count; i++)
        if (node->slots[i].node >= 0)
            inputs[i].kind = graph->nodes[node->slots[i].node].op->result;
    call.inputs = inputs;
    call.input_count = node->slot_count;
    status = lb_node_resolve(graph, node, &moment, &graph->format, &params, &timed);
    call.params = params;
    if (status == LB_OK && node->op->check)
        status = node->op->check(&call);
    if (status != LB_OK)
        note_node(graph, node, diag, before);
    lb_arena_free(&arena);
    return status;
}

static lb_status check_outputs(const lb_graph *graph, lb_diag *diag)
{
    lb_status status = LB_OK;

    for (int32_t i = 0; i < graph->output_count; i++) {
        const lb_output *output = &graph->outputs[i];
        static const lb_input image = {.name = "image", .kind = LB_KIND_IMAGE};
        const lb_node as_node = {.name = output->name, .loc = output->loc};
        int32_t before = lb_diag_count(diag, LB_ERROR);
        lb_status one = check_slot(graph, diag, &as_node, &image, &output->image);

        if (one != LB_OK)
            note_node(graph, &as_node, diag, before);
        if (status == LB_OK)
            status = one;
    }
    return status;
}

lb_status lb_graph_check(const lb_graph *graph, lb_diag *diag)
{
    lb_files *files = NULL;
    int32_t *order = NULL;
    lb_status status = LB_OK;

    if (lb_files_new(&files) != LB_OK)
        return lb_fail(diag, LB_MEMORY, LB_NOWHERE, "no memory");
    for (int32_t i = 0; i < graph->node_count; i++) {
        lb_status one = check_slots(graph, diag, &graph->nodes[i]);
        lb_status two = check_params(graph, diag, &graph->nodes[i], files);

        if (status == LB_OK)
            status = one != LB_OK ? one : two;
    }
    {
        lb_status one = check_outputs(graph, diag);
        lb_status two = lb_graph_order(graph, diag, &order);

        if (status == LB_OK)
            status = one != LB_OK ? one : two;
    }
    lb_free(order);
    lb_files_free(&files);
    return status;
}
