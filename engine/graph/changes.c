/* engine/graph/changes.c */
#include "engine/graph/changes.h"

#include <stdlib.h>

typedef struct key_list {
    lb_key *items;
    int32_t count;
    size_t capacity;
    bool is_sorted;
} key_list;

/* A step of the new graph's plan. */
typedef struct new_step {
    int32_t node;
    double frame;
    lb_key key;
    int32_t first_input, input_count; /* in `inputs` */
    bool is_asked;                    /* the old graph was planned for the likes of it */
} new_step;

typedef struct search {
    lb_diag *diag;
    const lb_changes_side *old, *new;
    key_list known; /* of the old graph */
    key_list inputs;
    new_step *steps;
    int32_t step_count;
    size_t step_capacity;
    bool *is_needed; /* nodes of the old graph that its result needs */
} search;

static lb_status no_memory(const search *s)
{
    return lb_fail(s->diag, LB_MEMORY, LB_NOWHERE, "no memory");
}

/* ---- Keys ---- */

static bool add_key(key_list *list, lb_key key)
{
    if (!lb_grow((void **)&list->items, &list->capacity, (size_t)list->count, sizeof *list->items))
        return false;
    list->items[list->count++] = key;
    list->is_sorted = false;
    return true;
}

static int by_value(const void *a, const void *b)
{
    const lb_key *x = a, *y = b;

    if (x->high != y->high)
        return x->high < y->high ? -1 : 1;
    return x->low < y->low ? -1 : x->low > y->low;
}

static bool has_key(key_list *list, lb_key key)
{
    if (list->count == 0)
        return false;
    if (!list->is_sorted)
        qsort(list->items, (size_t)list->count, sizeof *list->items, by_value);
    list->is_sorted = true;
    return bsearch(&key, list->items, (size_t)list->count, sizeof key, by_value) != NULL;
}

/* lb_step_fn: a step of the old graph. */
static lb_status note_known(void *context, const lb_step *from)
{
    search *s = context;

    return add_key(&s->known, from->key) ? LB_OK : no_memory(s);
}

/* lb_step_fn: a step of the new graph. */
static lb_status note_step(void *context, const lb_step *from)
{
    search *s = context;
    new_step to = {
        .node = from->node, .frame = from->frame, .key = from->key, .first_input = s->inputs.count};

    for (int32_t i = 0; i < from->call.input_count; i++)
        for (int32_t k = 0; k < from->feeds[i].count; k++)
            if (!add_key(&s->inputs, from->feeds[i].steps[k]->key))
                return no_memory(s);
    to.input_count = s->inputs.count - to.first_input;
    if (!lb_grow((void **)&s->steps, &s->step_capacity, (size_t)s->step_count, sizeof *s->steps))
        return no_memory(s);
    s->steps[s->step_count++] = to;
    return LB_OK;
}

/* ---- The old graph at other times ---- */

/* Marks what the old result needs. */
static lb_status find_needed(search *s)
{
    const lb_graph *graph = lb_run_graph(s->old->run);
    int32_t *open = lb_alloc((size_t)graph->node_count, sizeof *open), count = 0;

    s->is_needed = lb_alloc((size_t)graph->node_count, sizeof *s->is_needed);
    if (!open || !s->is_needed) {
        lb_free(open);
        return no_memory(s);
    }
    open[count++] = s->old->ref.node;
    s->is_needed[s->old->ref.node] = true;
    while (count > 0) {
        const lb_node *node = &graph->nodes[open[--count]];

        for (int32_t i = 0; i < node->slot_count; i++) {
            int32_t input = node->slots[i].node;

            if (input < 0 || s->is_needed[input])
                continue;
            s->is_needed[input] = true;
            open[count++] = input;
        }
    }
    lb_free(open);
    return LB_OK;
}

static bool is_in(const lb_op *op, const lb_op *const *list, int32_t count)
{
    for (int32_t i = 0; i < count; i++)
        if (list[i] == op)
            return true;
    return false;
}

/* The operators of the steps at the first one's frame whose keys are not known, once each; marks
 * all steps at that frame. */
static int32_t list_operators(search *s, new_step *steps, int32_t count, const lb_op **out)
{
    const lb_graph *graph = lb_run_graph(s->new->run);
    int32_t found = 0;

    for (int32_t i = 0; i < count; i++) {
        const lb_op *op = graph->nodes[steps[i].node].op;

        if (steps[i].frame != steps[0].frame)
            continue;
        steps[i].is_asked = true;
        if (!is_in(op, out, found) && !has_key(&s->known, steps[i].key))
            out[found++] = op;
    }
    return found;
}

/* Plans the old graph at the frame of the first of `steps` for the nodes whose operators the
 * unknown steps at that frame have: others cannot have their keys. A graph that cannot be planned
 * at that time makes nothing there. */
static lb_status ask_old(search *s, new_step *steps, int32_t count)
{
    const lb_graph *graph = lb_run_graph(s->old->run);
    lb_want *wants = lb_alloc((size_t)graph->node_count, sizeof *wants);
    const lb_op **ops = lb_alloc((size_t)count, sizeof *ops);
    lb_diag *unheard = lb_diag_new();
    int32_t want_count = 0, op_count;
    lb_status status = LB_OK;

    if (wants && ops && unheard) {
        op_count = list_operators(s, steps, count, ops);
        for (int32_t n = 0; n < graph->node_count; n++)
            if (s->is_needed[n] && is_in(graph->nodes[n].op, ops, op_count))
                wants[want_count++] = (lb_want){.ref = {.node = n}};
        if (want_count > 0)
            status =
                lb_run_keys(s->old->run, steps[0].frame, wants, want_count, unheard, note_known, s);
    } else {
        status = no_memory(s);
    }
    lb_diag_free(&unheard);
    lb_free(ops);
    lb_free(wants);
    if (status == LB_MEMORY)
        return no_memory(s);
    return status == LB_CANCELLED ? status : LB_OK;
}

static lb_status ask_old_at_all_times(search *s)
{
    lb_status status = LB_OK;

    for (int32_t i = 0; i < s->step_count && status == LB_OK; i++)
        if (!s->steps[i].is_asked && !has_key(&s->known, s->steps[i].key))
            status = ask_old(s, s->steps + i, s->step_count - i);
    return status;
}

/* ---- What is new ---- */

static bool is_first(search *s, const new_step *step)
{
    if (has_key(&s->known, step->key))
        return false;
    for (int32_t i = 0; i < step->input_count; i++)
        if (!has_key(&s->known, s->inputs.items[step->first_input + i]))
            return false;
    return true;
}

/* Each node once, though it may have steps at several times. */
static lb_status list_first(search *s, lb_changes *out)
{
    size_t count = (size_t)lb_run_graph(s->new->run)->node_count;
    bool *is_listed = lb_alloc(count, sizeof *is_listed);

    out->nodes = lb_alloc(count, sizeof *out->nodes);
    if (!is_listed || !out->nodes) {
        lb_free(is_listed);
        return no_memory(s);
    }
    for (int32_t i = 0; i < s->step_count; i++) {
        const new_step *step = &s->steps[i];

        if (is_listed[step->node] || !is_first(s, step))
            continue;
        is_listed[step->node] = true;
        out->nodes[out->count++] = step->node;
    }
    lb_free(is_listed);
    return LB_OK;
}

static lb_status find(search *s, int32_t frame, lb_changes *out)
{
    const lb_want old = {.ref = s->old->ref}, new = {.ref = s->new->ref};
    lb_key keys[2];
    lb_status status;

    if ((status = lb_run_keys(s->old->run, frame, &old, 1, s->diag, note_known, s)) != LB_OK ||
        (status = lb_run_keys(s->new->run, frame, &new, 1, s->diag, note_step, s)) != LB_OK)
        return status;
    /* The readers come last, and the result is the last of them. */
    keys[0] = s->known.items[s->known.count - 1];
    keys[1] = s->steps[s->step_count - 1].key;
    out->same = lb_key_equal(keys[0], keys[1]);
    if (out->same)
        return LB_OK;
    if ((status = find_needed(s)) == LB_OK && (status = ask_old_at_all_times(s)) == LB_OK)
        status = list_first(s, out);
    return status;
}

lb_status lb_changes_find(const lb_changes_side *old, const lb_changes_side *new, int32_t frame,
                          lb_diag *diag, lb_changes *out)
{
    search s = {.diag = diag, .old = old, .new = new};
    lb_status status;

    *out = (lb_changes){0};
    status = find(&s, frame, out);
    lb_free(s.known.items);
    lb_free(s.inputs.items);
    lb_free(s.steps);
    lb_free(s.is_needed);
    return status;
}

void lb_changes_clear(lb_changes *changes)
{
    lb_free(changes->nodes);
    *changes = (lb_changes){0};
}
