/* lang/build_nodes.c: what is in nodes: references, parameters, records. */
#include <string.h>

#include "lang/build.h"

/* What grows while one node is built. */
typedef struct node_parts {
    lb_build *build;
    lb_node *node;
    const lb_yaml_node *mapping;
    lb_edge_ref *slots;
    size_t slot_count, slot_capacity;
    lb_binding *bindings;
    size_t binding_count, binding_capacity;
} node_parts;

/* A table's fields and where their values go. */
typedef struct fields {
    const lb_param *table;
    const lb_yaml_node *mapping;
    const char *owner; /* for messages */
    lb_loc loc;        /* of the owner */
    char *base;        /* the struct */
    int32_t records_offset, record;
    size_t base_offset; /* of `base` in its record or in the params */
    bool is_constant;   /* too deep for a binding */
    lb_loc *locs;       /* one a row of the table; NULL: not kept */
} fields;

static void build_fields(node_parts *parts, const fields *f);

/* --- references --- */

static void add_slot(node_parts *parts, const lb_edge_ref *slot)
{
    if (lb_grow((void **)&parts->slots, &parts->slot_capacity, parts->slot_count,
                sizeof *parts->slots))
        parts->slots[parts->slot_count++] = *slot;
    else
        lb_build_fail(parts->build, LB_MEMORY, parts->node->loc, "no memory");
}

/* Is it a word that names no node, where the operator has a parameter for such words? */
static bool is_for_param(const node_parts *parts, const lb_input *input, const lb_yaml_node *value)
{
    if (!input->or_param || !lb_params_find(parts->node->op->params, input->name))
        return false;
    return value->kind == LB_YAML_MAPPING ||
           (value->kind == LB_YAML_SCALAR && !lb_build_refers(parts->build, value));
}

static void build_list(node_parts *parts, const lb_input *input, const lb_yaml_node *value)
{
    char found[LB_FOUND];

    if (value->kind != LB_YAML_LIST) {
        if (value->kind == LB_YAML_BROKEN)
            lb_build_ok(parts->build, LB_INVALID);
        else
            lb_build_fail(parts->build, LB_INVALID, value->loc,
                          "'%s' is %s; it takes a list of nodes' names", input->name,
                          lb_build_found(value, found));
        return;
    }
    for (int32_t i = 0; i < value->count && !parts->build->is_over; i++) {
        lb_edge_ref slot;

        lb_build_input(parts->build, value->items[i], input, lb_node_local(parts->node), &slot);
        if (slot.node != -1) /* an optional input of the part that is not given */
            add_slot(parts, &slot);
    }
}

static void build_inputs(node_parts *parts)
{
    const lb_input *inputs = parts->node->op->inputs;

    for (; inputs && inputs->name && !parts->build->is_over; inputs++) {
        const lb_yaml_node *value = lb_yaml_find(parts->mapping, inputs->name);
        lb_edge_ref slot = {.node = -1, .loc = parts->node->loc};

        if (inputs->list) {
            if (value)
                build_list(parts, inputs, value);
            continue;
        }
        if (value && !is_for_param(parts, inputs, value))
            lb_build_input(parts->build, value, inputs, lb_node_local(parts->node), &slot);
        add_slot(parts, &slot);
    }
}

/* --- parameters --- */

/* A node that a record refers to; the kinds of inputs are checked with the whole graph. */
static void build_ref(node_parts *parts, const lb_param *param, const lb_yaml_node *value,
                      int32_t *out)
{
    const lb_input input = {.name = param->name, .kind = param->kind, .optional = !param->required};
    lb_edge_ref slot;
    const lb_node *target;
    lb_kind kind;

    if (!lb_build_input(parts->build, value, &input, lb_node_local(parts->node), &slot) ||
        slot.node == -1)
        return;
    target = &parts->build->graph->nodes[slot.node];
    kind = target->op ? target->op->result : param->kind;
    if (slot.layer && kind != LB_KIND_IMAGE)
        lb_build_fail(parts->build, LB_INVALID, slot.loc,
                      "'%s' is %s and has no layers; only images have", slot.name,
                      lb_kind_text(kind));
    else if (kind != param->kind)
        lb_build_fail(parts->build, LB_INVALID, slot.loc, "'%s' takes %s; '%s' (%s) makes %s",
                      param->name, lb_kind_text(param->kind), slot.name, target->op->name,
                      lb_kind_text(kind));
    else {
        *out = (int32_t)parts->slot_count;
        add_slot(parts, &slot);
    }
}

static void build_record(node_parts *parts, const fields *around, const lb_param *param,
                         const lb_yaml_node *value)
{
    fields f = *around;

    if (!lb_build_expect(parts->build, value, LB_YAML_MAPPING, param->name))
        return;
    f.table = param->fields;
    f.mapping = value;
    f.owner = param->name;
    f.loc = value->loc;
    f.base += param->offset;
    f.base_offset += param->offset;
    f.locs = NULL;
    build_fields(parts, &f);
}

static void build_records(node_parts *parts, const fields *around, const lb_param *param,
                          const lb_yaml_node *value)
{
    lb_records *records = (lb_records *)(around->base + param->offset);
    bool is_top = around->locs != NULL; /* bindings reach only these */
    fields f = {.table = param->fields,
                .owner = param->name,
                .records_offset = is_top ? (int32_t)param->offset : around->records_offset,
                .is_constant = !is_top};

    if (!lb_build_expect(parts->build, value, LB_YAML_LIST, param->name) || value->count == 0 ||
        !(records->items = lb_build_alloc(parts->build, (size_t)value->count, param->fields_size)))
        return;
    records->count = value->count;
    for (int32_t i = 0; i < value->count && !parts->build->is_over; i++) {
        f.base = (char *)records->items + (size_t)i * param->fields_size;
        f.record = i;
        f.mapping = value->items[i];
        f.loc = value->items[i]->loc;
        if (lb_build_ok(parts->build, lb_params_init(&parts->build->store, f.table, f.base)) &&
            lb_build_expect(parts->build, f.mapping, LB_YAML_MAPPING, param->name))
            build_fields(parts, &f);
    }
}

static void build_value(node_parts *parts, const fields *f, const lb_param *param,
                        const lb_yaml_node *value)
{
    lb_build *build = parts->build;
    const lb_formula *formula = lb_build_value(build, value, param->name, param);
    lb_target target = {param,     f->base,        f->records_offset,
                        f->record, f->base_offset, f->is_constant};
    lb_binding binding;
    bool is_binding = false;

    if (!formula) {
        lb_build_ok(build, LB_INVALID); /* also where a param is at fault, not the node */
        return;
    }
    lb_build_store(build, formula, &target, &binding, &is_binding);
    if (!is_binding)
        return;
    if (lb_grow((void **)&parts->bindings, &parts->binding_capacity, parts->binding_count,
                sizeof *parts->bindings))
        parts->bindings[parts->binding_count++] = binding;
    else
        lb_build_fail(build, LB_MEMORY, value->loc, "no memory");
}

/* All rows of a table that the mapping gives. Keys that the table does not have were reported for
 * nodes; for records here. */
static void build_fields(node_parts *parts, const fields *f)
{
    lb_build *build = parts->build;

    if (!f->locs)
        lb_build_check_table(build, f->mapping, NULL, f->table, f->owner, false);
    for (int32_t i = 0; f->table && f->table[i].name && !build->is_over; i++) {
        const lb_param *param = &f->table[i];
        const lb_yaml_node *value = lb_yaml_find(f->mapping, param->name);
        int32_t input = f->locs ? lb_inputs_find(parts->node->op->inputs, param->name) : -1;

        if (value && input >= 0 && !is_for_param(parts, &parts->node->op->inputs[input], value))
            continue; /* a reference */
        if (!value) {
            if (param->required && input < 0)
                lb_build_fail(build, LB_INVALID, f->loc, "'%.60s' needs '%s' (%s)", f->owner,
                              param->name, lb_type_text(param->type));
            continue;
        }
        if (f->locs)
            f->locs[i] = value->loc;
        if (param->type == LB_REF)
            build_ref(parts, param, value, (int32_t *)(f->base + param->offset));
        else if (param->type == LB_RECORD)
            build_record(parts, f, param, value);
        else if (param->type == LB_RECORDS)
            build_records(parts, f, param, value);
        else
            build_value(parts, f, param, value);
    }
}

/* --- nodes --- */

/* Copies what grew into the arena. */
static void keep_parts(node_parts *parts)
{
    lb_build *build = parts->build;
    lb_node *node = parts->node;

    node->slots = lb_build_alloc(build, parts->slot_count, sizeof *node->slots);
    node->bindings = lb_build_alloc(build, parts->binding_count, sizeof *node->bindings);
    if (build->is_over)
        return;
    if (parts->slot_count > 0)
        memcpy(node->slots, parts->slots, parts->slot_count * sizeof *node->slots);
    if (parts->binding_count > 0)
        memcpy(node->bindings, parts->bindings, parts->binding_count * sizeof *node->bindings);
    node->slot_count = (int32_t)parts->slot_count;
    node->binding_count = (int32_t)parts->binding_count;
}

static void build_node(lb_build *build, int32_t index)
{
    lb_node *node = &build->graph->nodes[index];
    lb_node_build *state = &build->nodes[index];
    const lb_yaml_node *mapping = state->named->node;
    int32_t param_count = lb_params_count(node->op->params);
    node_parts parts = {.build = build, .node = node, .mapping = mapping};
    lb_status before = build->status;
    fields f = {.table = node->op->params,
                .mapping = mapping,
                .owner = lb_node_local(node),
                .loc = node->loc,
                .records_offset = -1};

    lb_build_spend(build, mapping->size, mapping->bytes, node->loc);
    node->params = lb_build_alloc(build, 1, node->op->params_size ? node->op->params_size : 1);
    node->locs = lb_build_alloc(build, (size_t)param_count, sizeof *node->locs);
    if (build->is_over)
        return;
    build->status = LB_OK; /* to see whether this node is at fault */
    lb_build_check_table(build, mapping, node->op->inputs, node->op->params, node->op->name, true);
    for (int32_t i = 0; i < param_count; i++)
        node->locs[i] = node->loc;
    f.base = node->params;
    f.locs = node->locs;
    if (lb_build_ok(build, lb_params_init(&build->store, node->op->params, node->params))) {
        build_inputs(&parts);
        build_fields(&parts, &f);
        keep_parts(&parts);
    }
    lb_free(parts.slots);
    lb_free(parts.bindings);
    state->is_faulty = build->status != LB_OK;
    build->status = before != LB_OK ? before : build->status;
}

void lb_build_nodes(lb_build *build)
{
    for (int32_t i = 0; i < build->stand_ins && !build->is_over; i++)
        if (build->graph->nodes[i].op) {
            lb_build_enter(build, build->nodes[i].unit);
            build_node(build, i);
        }
    build->unit = NULL;
}
