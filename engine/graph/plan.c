/* engine/graph/plan.c: what has to be made for one frame, before anything is made. */
#include "engine/graph/plan.h"

#include <string.h>

#include "engine/base/text.h"

static lb_status no_memory(const lb_plan *plan, lb_loc loc)
{
    return lb_fail(plan->diag, LB_MEMORY, loc, "no memory");
}

/* The step of that node, frame and scale, made if it is new; NULL: no memory. */
static lb_step *step_at(lb_plan *plan, int32_t node, double frame, bool native)
{
    lb_step *step;

    native = native && plan->format->scale != 1;
    for (step = plan->first_of_node[node]; step; step = step->next_of_node)
        if (step->frame == frame && step->native == native)
            return step;
    step = lb_arena_alloc(plan->arena, 1, sizeof *step);
    if (!step)
        return NULL;
    step->node = node;
    step->frame = frame;
    step->native = native;
    step->next_of_node = plan->first_of_node[node];
    plan->first_of_node[node] = step;
    plan->step_count++;
    return step;
}

static lb_status begin_call(lb_plan *plan, lb_step *step)
{
    const lb_node *node = &plan->graph->nodes[step->node];
    const lb_format *format = step->native ? plan->native_format : plan->format;
    double time_s = lb_frame_time(step->frame, format->first, format->rate);
    lb_moment moment = {step->frame, time_s, plan->native_format, plan->arena, plan->diag};
    void *params = NULL;
    bool timed = false;
    lb_status status = lb_node_resolve(plan->graph, node, &moment, format, &params, &timed);

    step->name = node->name;
    step->varies = timed || node->op->timed;
    step->call = (lb_call){.op = node->op,
                           .node = lb_node_local(node),
                           .params = params,
                           .format = format,
                           .frame = step->frame,
                           .time_s = time_s,
                           .input_count = node->slot_count,
                           .loc = node->loc,
                           .locs = node->locs,
                           .diag = plan->diag,
                           .pool = plan->pool,
                           .files = plan->files,
                           .arena = plan->arena};
    return status;
}

/* The input of the table that slot `slot` belongs to; NULL for references in records. */
static const lb_input *input_of_slot(const lb_op *op, int32_t slot)
{
    int32_t count = lb_inputs_count(op->inputs);

    if (slot < count)
        return &op->inputs[slot];
    return count > 0 && op->inputs[count - 1].list ? &op->inputs[count - 1] : NULL;
}

/* Resolves one step and finds the steps that it reads. */
static lb_status expand(lb_plan *plan, lb_step *step)
{
    const lb_node *node = &plan->graph->nodes[step->node];
    double times[LB_MAX_TIMES];
    lb_status status = begin_call(plan, step);

    if (status != LB_OK)
        return status;
    step->feeds = lb_arena_alloc(plan->arena, (size_t)node->slot_count + 1, sizeof *step->feeds);
    if (!step->feeds)
        return no_memory(plan, node->loc);
    for (int32_t i = 0; i < node->slot_count; i++) {
        const lb_input *input = input_of_slot(node->op, i);
        lb_feed *feed = &step->feeds[i];

        if (node->slots[i].node < 0)
            continue;
        times[0] = step->frame;
        feed->count = node->op->times ? node->op->times(&step->call, i, times) : 1;
        feed->layer = node->slots[i].layer;
        feed->steps = lb_arena_alloc(plan->arena, (size_t)feed->count, sizeof(lb_step *));
        feed->frames = lb_arena_alloc(plan->arena, (size_t)feed->count, sizeof(double));
        if (!feed->steps || !feed->frames)
            return no_memory(plan, node->loc);
        for (int32_t k = 0; k < feed->count; k++) {
            feed->frames[k] = times[k];
            feed->steps[k] = step_at(plan, node->slots[i].node, times[k],
                                     step->native || (input && input->native));
            if (!feed->steps[k])
                return no_memory(plan, node->loc);
        }
    }
    return LB_OK;
}

/* True when channel `name` belongs to `layer`; *rest is its name within the layer. */
static bool in_layer(const char *name, const char *layer, const char **rest)
{
    size_t length = strlen(layer);

    if (strncmp(name, layer, length) != 0 || name[length] != '.')
        return false;
    *rest = name + length + 1;
    return true;
}

/* What a reader of one layer sees. */
static lb_status layer_desc(lb_plan *plan, const lb_step *from, const char *layer, lb_loc loc,
                            lb_desc *out)
{
    const char *names[LB_MAX_CHANNELS + 1];
    const lb_channels *all = from->desc.channels;
    int32_t count = 0;

    *out = from->desc;
    if (!layer || from->desc.kind != LB_KIND_IMAGE)
        return LB_OK;
    for (int32_t i = 0; i < all->count; i++)
        if (in_layer(all->names[i], layer, &names[count]))
            count++;
    names[count] = NULL;
    if (count == 0) {
        lb_text list = {0};

        for (int32_t i = 0; i < all->count; i++)
            lb_text_printf(&list, "%s%s", i ? ", " : "", all->names[i]);
        lb_fail(plan->diag, LB_INVALID, loc, "'%s' has no layer '%s'; its channels are %s",
                plan->graph->nodes[from->node].name, layer, list.bytes ? list.bytes : "none");
        lb_text_clear(&list);
        return LB_INVALID;
    }
    out->channels = lb_channels_make(plan->arena, names);
    return out->channels ? LB_OK : no_memory(plan, loc);
}

static lb_status describe(lb_plan *plan, lb_step *step)
{
    const lb_node *node = &plan->graph->nodes[step->node];
    const lb_op *op = node->op;
    lb_status status = LB_OK;
    lb_desc *inputs;

    inputs = lb_arena_alloc(plan->arena, (size_t)node->slot_count + 1, sizeof *inputs);
    if (!inputs)
        return no_memory(plan, node->loc);
    for (int32_t i = 0; i < node->slot_count && status == LB_OK; i++) {
        lb_feed *feed = &step->feeds[i];

        for (int32_t k = 0; k < feed->count; k++)
            step->varies = step->varies || feed->steps[k]->varies;
        if (feed->count > 0)
            status = layer_desc(plan, feed->steps[0], feed->layer, node->slots[i].loc, &feed->desc);
        inputs[i] = feed->desc;
    }
    if (status != LB_OK)
        return status;
    step->call.inputs = inputs;
    if (op->check && (status = op->check(&step->call)) != LB_OK)
        return status;
    if (op->describe)
        status = op->describe(&step->call, &step->desc);
    else if (op->result == LB_KIND_IMAGE)
        step->desc = node->slot_count > 0 && inputs[0].kind == LB_KIND_IMAGE
                         ? inputs[0]
                         : lb_desc_frame(&step->call, lb_channels_rgba());
    step->desc.kind = op->result;
    if (op->result == LB_KIND_IMAGE && !step->desc.channels)
        step->desc.channels = lb_channels_rgba();
    return status;
}

/* Steps by key, in the plan's arena: open addressing, at most half full. */
typedef struct key_table {
    lb_step **slots;
    size_t mask;
} key_table;

static lb_status make_table(lb_plan *plan, key_table *out)
{
    size_t capacity = 16;

    while (capacity < 2 * (size_t)plan->step_count)
        capacity *= 2;
    out->mask = capacity - 1;
    out->slots = lb_arena_alloc(plan->arena, capacity, sizeof *out->slots);
    return out->slots ? LB_OK : no_memory(plan, LB_NOWHERE);
}

/* Two uses of a part with the same inputs and params come out as the same steps. */
static void find_same(const key_table *table, lb_step *step)
{
    size_t at = (size_t)step->key.low & table->mask;

    while (table->slots[at] && !lb_key_equal(table->slots[at]->key, step->key))
        at = (at + 1) & table->mask;
    if (table->slots[at])
        step->same = table->slots[at];
    else
        table->slots[at] = step;
}

static lb_status make_key(lb_step *step, lb_hasher *hasher, const key_table *table)
{
    const lb_op *op = step->call.op;
    const lb_format *format = step->call.format;
    lb_status status;

    lb_hasher_reset(hasher);
    lb_hash_string(hasher, op->name);
    lb_hash_u64(hasher, (uint64_t)op->version);
    if (op->result != LB_KIND_IMAGE)
        lb_hash_string(hasher, step->call.node); /* items are named after their node */
    lb_params_hash(op->params, step->call.params, hasher);
    lb_hash_u64(hasher, (uint64_t)format->width);
    lb_hash_u64(hasher, (uint64_t)format->height);
    lb_hash_f64(hasher, format->scale);
    lb_hash_f64(hasher, format->pixel_aspect);
    lb_hash_u64(hasher, (uint64_t)format->working);
    if (op->timed) {
        lb_hash_f64(hasher, step->frame);
        lb_hash_f64(hasher, step->call.time_s);
        lb_hash_f64(hasher, (double)format->rate.num / format->rate.den);
    }
    for (int32_t i = 0; i < step->call.input_count; i++) {
        const lb_feed *feed = &step->feeds[i];

        lb_hash_u64(hasher, (uint64_t)feed->count);
        lb_hash_string(hasher, feed->layer);
        for (int32_t k = 0; k < feed->count; k++)
            lb_hash_key(hasher, feed->steps[k]->key);
    }
    if (op->fingerprint && (status = op->fingerprint(&step->call, hasher)) != LB_OK)
        return status;
    step->key = lb_hasher_key(hasher);
    find_same(table, step);
    return LB_OK;
}

static lb_status find_targets(lb_plan *plan, const lb_want *wants, int32_t count)
{
    plan->target_count = count;
    plan->targets = lb_arena_alloc(plan->arena, (size_t)count, sizeof *plan->targets);
    plan->first_of_node =
        lb_arena_alloc(plan->arena, (size_t)plan->graph->node_count, sizeof *plan->first_of_node);
    if (!plan->targets || !plan->first_of_node)
        return no_memory(plan, LB_NOWHERE);
    for (int32_t i = 0; i < count; i++) {
        lb_feed *target = &plan->targets[i];

        *target = (lb_feed){.count = 1, .layer = wants[i].ref.layer};
        target->steps = lb_arena_alloc(plan->arena, 1, sizeof(lb_step *));
        if (!target->steps ||
            !(target->steps[0] = step_at(plan, wants[i].ref.node, plan->frame, false)))
            return no_memory(plan, LB_NOWHERE);
    }
    return LB_OK;
}

/* Everything that is known of a step before pixels: in the order of the steps. */
static lb_status settle(lb_plan *plan, lb_step *step, int32_t index, lb_hasher *hasher,
                        const key_table *table)
{
    lb_status status;

    step->index = index;
    step->batch = -1;
    plan->steps[index] = step;
    status = describe(plan, step);
    return status == LB_OK ? make_key(step, hasher, table) : status;
}

/* Every step, or why not: *failed is then the one that was at fault, if it was one. */
static lb_status make_steps(lb_plan *plan, lb_hasher *hasher, const lb_step **failed)
{
    const lb_graph *graph = plan->graph;
    lb_status status = LB_OK;
    key_table table;
    int32_t at = 0;

    for (int32_t i = graph->node_count; i-- > 0 && status == LB_OK;)
        for (lb_step *s = plan->first_of_node[plan->order[i]]; s && status == LB_OK;
             s = s->next_of_node) {
            *failed = s;
            status = expand(plan, s);
        }
    if (status != LB_OK)
        return status;
    *failed = NULL;
    plan->steps = lb_arena_alloc(plan->arena, (size_t)plan->step_count, sizeof(lb_step *));
    if (!plan->steps)
        return no_memory(plan, LB_NOWHERE);
    status = make_table(plan, &table);
    for (int32_t i = 0; i < graph->node_count && status == LB_OK; i++)
        for (lb_step *s = plan->first_of_node[plan->order[i]]; s && status == LB_OK;
             s = s->next_of_node) {
            *failed = s;
            status = settle(plan, s, at++, hasher, &table);
        }
    return status;
}

lb_status lb_plan_make(lb_plan *plan, const lb_want *wants, int32_t count)
{
    int32_t before = lb_diag_count(plan->diag, LB_ERROR);
    lb_status status = find_targets(plan, wants, count);
    lb_hasher *hasher = NULL;
    const lb_step *failed = NULL;

    if (status != LB_OK)
        return status;
    if (!(hasher = lb_hasher_new()))
        return no_memory(plan, LB_NOWHERE);
    status = make_steps(plan, hasher, &failed);
    lb_hasher_free(&hasher);
    if (status != LB_OK && failed && lb_diag_count(plan->diag, LB_ERROR) > before)
        lb_graph_note(plan->graph, plan->graph->nodes[failed->node].unit, plan->diag);
    for (int32_t i = 0; i < count && status == LB_OK; i++)
        status = layer_desc(plan, plan->targets[i].steps[0], wants[i].ref.layer, wants[i].ref.loc,
                            &plan->targets[i].desc);
    return status;
}

static void ask(lb_step *step, lb_box box, uint64_t channels)
{
    step->wanted = true;
    if (step->desc.kind != LB_KIND_IMAGE)
        return;
    step->box = lb_box_unite(step->box, lb_box_intersect(box, step->desc.data_window));
    step->channels |= channels;
}

uint64_t lb_feed_bits(const lb_feed *feed, const lb_step *step, uint64_t bits)
{
    uint64_t all = 0;
    const char *rest;

    if (!feed->layer)
        return bits;
    for (int32_t i = 0; i < step->desc.channels->count; i++)
        if (in_layer(step->desc.channels->names[i], feed->layer, &rest)) {
            int32_t k = lb_channels_find(feed->desc.channels, rest);

            if (k >= 0 && (bits >> k & 1))
                all |= (uint64_t)1 << i;
        }
    return all;
}

static uint64_t all_bits(const lb_channels *channels)
{
    return channels->count >= 64 ? UINT64_MAX : ((uint64_t)1 << channels->count) - 1;
}

/* Slot 0: the wanted names and R, G, B, A; other slots: all. */
static uint64_t default_channels(const lb_step *step, int32_t slot)
{
    const lb_channels *in = step->feeds[slot].desc.channels, *own = step->desc.channels;
    uint64_t bits = 0;

    if (slot > 0 || step->desc.kind != LB_KIND_IMAGE)
        return all_bits(in);
    for (int32_t i = 0; i < in->count; i++) {
        int32_t k = lb_channels_find(own, in->names[i]);

        if ((k >= 0 && (step->channels >> k & 1)) ||
            lb_channels_find(lb_channels_rgba(), in->names[i]) >= 0)
            bits |= (uint64_t)1 << i;
    }
    return bits ? bits : all_bits(in);
}

/* The channels of slot `slot` that a step needs. */
static uint64_t needed_channels(const lb_step *step, int32_t slot)
{
    const lb_op *op = step->call.op;

    if (step->use)
        return lb_points_bits(step->use, &step->desc, step->channels, slot);
    return op->channels ? op->channels(&step->call, &step->desc, slot, step->channels)
                        : default_channels(step, slot);
}

lb_status lb_plan_ask_inputs(lb_plan *plan, lb_step *step)
{
    const lb_op *op = step->call.op;
    lb_status status = LB_OK;

    if (op->points) {
        step->use = lb_arena_alloc(plan->arena, 1, sizeof *step->use);
        status = step->use ? op->points->use(&step->call, &step->desc, step->channels, step->use)
                           : no_memory(plan, step->call.loc);
    }
    for (int32_t i = 0; i < step->call.input_count && status == LB_OK; i++) {
        lb_feed *feed = &step->feeds[i];
        lb_box box = LB_BOX_EVERYTHING;
        uint64_t bits = 0;

        if (feed->count > 0 && feed->desc.kind == LB_KIND_IMAGE) {
            if (step->desc.kind == LB_KIND_IMAGE)
                box = op->region ? op->region(&step->call, i, step->box) : step->box;
            bits = needed_channels(step, i);
            if (step->use && bits == 0)
                continue;
        }
        feed->asked = feed->count > 0;
        for (int32_t k = 0; k < feed->count; k++)
            ask(feed->steps[k], box, lb_feed_bits(feed, feed->steps[k], bits));
    }
    return status;
}

uint64_t lb_plan_target_bits(const lb_plan *plan, int32_t index, const lb_want *want)
{
    const lb_channels *channels = plan->targets[index].desc.channels;
    uint64_t bits = 0;

    for (int32_t i = 0; want->channels && i < channels->count; i++)
        for (const char *const *name = want->channels; *name; name++) {
            const char *rest;

            if (strcmp(*name, channels->names[i]) == 0 ||
                in_layer(channels->names[i], *name, &rest))
                bits |= (uint64_t)1 << i;
        }
    return bits ? bits : all_bits(channels);
}

void lb_plan_ask_target(lb_plan *plan, int32_t index, const lb_want *want)
{
    const lb_feed *target = &plan->targets[index];
    lb_box box = want->window ? *want->window : target->desc.display_window;
    uint64_t bits = 0;

    if (target->desc.kind == LB_KIND_IMAGE)
        bits = lb_feed_bits(target, target->steps[0], lb_plan_target_bits(plan, index, want));
    ask(target->steps[0], box, bits);
}
