/* engine/graph/batches.c: what is made together, and in which order. */
#include "engine/graph/batches.h"

#include "engine/graph/estimate.h"

/* Something has to be done for it. */
static bool is_active(const lb_step *step)
{
    return step->wanted && !step->same && !step->from_cache;
}

static bool is_pointwise(const lb_step *step)
{
    return is_active(step) && step->use && !lb_step_is_empty(step);
}

/* May reader and input be run as one? What never changes is not put together with what does: it is
 * kept from frame to frame. */
static bool may_fuse(const lb_step *reader, const lb_step *input)
{
    return is_pointwise(reader) && is_pointwise(input) && reader->varies == input->varies;
}

/* Calls fn for every step that `step` reads and that has to be made. */
static void each_input(lb_step *step, void (*fn)(void *context, lb_step *reader, lb_step *input),
                       void *context)
{
    if (lb_step_is_empty(step))
        return;
    for (int32_t i = 0; i < step->call.input_count; i++)
        for (int32_t k = 0; step->feeds[i].asked && k < step->feeds[i].count; k++) {
            lb_step *input = lb_step_made(step->feeds[i].steps[k]);

            if (is_active(input))
                fn(context, step, input);
        }
}

static void raise_level(void *context, lb_step *reader, lb_step *input)
{
    int32_t level = input->level + !may_fuse(reader, input);

    (void)context;
    if (level > reader->level)
        reader->level = level;
}

/* The highest level at which the readers of a step still come after it. */
static void lower_ceiling(void *context, lb_step *reader, lb_step *input)
{
    int32_t *ceilings = context;
    int32_t level = reader->level - !may_fuse(reader, input);

    if (level < ceilings[input->index])
        ceilings[input->index] = level;
}

/* From inputs to readers as early, then from readers to inputs as late as possible, so that a
 * gradient, say, comes to those that use it. */
static lb_status find_levels(lb_plan *plan)
{
    int32_t *ceilings = lb_arena_alloc(plan->arena, (size_t)plan->step_count + 1, sizeof *ceilings);

    if (!ceilings)
        return LB_MEMORY;
    for (int32_t i = 0; i < plan->step_count; i++) {
        ceilings[i] = INT32_MAX;
        plan->steps[i]->level = 0;
        if (is_active(plan->steps[i]))
            each_input(plan->steps[i], raise_level, NULL);
    }
    for (int32_t i = plan->step_count; i-- > 0;) {
        lb_step *step = plan->steps[i];

        if (!is_active(step))
            continue;
        if (is_pointwise(step) && ceilings[i] != INT32_MAX && ceilings[i] > step->level)
            step->level = ceilings[i];
        each_input(step, lower_ceiling, ceilings);
    }
    return LB_OK;
}

/* The root of a step's set, with the path halved on the way. */
static int32_t find_root(int32_t *parents, int32_t i)
{
    while (parents[i] != i) {
        parents[i] = parents[parents[i]];
        i = parents[i];
    }
    return i;
}

static void join(void *context, lb_step *reader, lb_step *input)
{
    int32_t *parents = context, a, b;

    if (!may_fuse(reader, input) || reader->level != input->level)
        return;
    a = find_root(parents, reader->index);
    b = find_root(parents, input->index);
    parents[a > b ? a : b] = a > b ? b : a;
}

typedef struct maker {
    lb_plan *plan;
    lb_batch *raw; /* in no order */
    int32_t raw_count;
    int32_t *position;  /* of a raw batch among the ordered ones; -1: not yet */
    int32_t *needed_by; /* the raw batch that noted last that it needs this one */
} maker;

static void count_need(void *context, lb_step *reader, lb_step *input)
{
    maker *m = context;

    if (input->batch == reader->batch)
        input->readers--;
    else
        m->raw[reader->batch].need_count++;
}

static void add_need(void *context, lb_step *reader, lb_step *input)
{
    maker *m = context;
    lb_batch *batch = &m->raw[reader->batch];

    if (input->batch == reader->batch)
        return;
    if (m->needed_by[input->batch] == reader->batch)
        return;
    m->needed_by[input->batch] = reader->batch;
    batch->needs[batch->need_count++] = input->batch;
}

/* Batches from sets of steps, with what they need, in no order. */
static lb_status collect(maker *m)
{
    lb_plan *plan = m->plan;
    size_t count = (size_t)plan->step_count + 1;
    int32_t *parents = lb_arena_alloc(plan->arena, count, sizeof *parents);

    m->raw = lb_arena_alloc(plan->arena, count, sizeof *m->raw);
    m->needed_by = lb_arena_alloc(plan->arena, count, sizeof *m->needed_by);
    if (!parents || !m->raw || !m->needed_by)
        return LB_MEMORY;
    for (int32_t i = 0; i < plan->step_count; i++)
        parents[i] = i, m->needed_by[i] = -1;
    for (int32_t i = 0; i < plan->step_count; i++)
        if (is_active(plan->steps[i]))
            each_input(plan->steps[i], join, parents);
    for (int32_t i = 0; i < plan->step_count; i++) {
        lb_step *step = plan->steps[i];
        int32_t root = find_root(parents, i);

        if (!is_active(step))
            continue;
        step->batch = root == i ? m->raw_count++ : plan->steps[root]->batch;
        m->raw[step->batch].step_count++;
    }
    for (int32_t i = 0; i < m->raw_count; i++) {
        m->raw[i].steps =
            lb_arena_alloc(plan->arena, (size_t)m->raw[i].step_count, sizeof(lb_step *));
        if (!m->raw[i].steps)
            return LB_MEMORY;
        m->raw[i].step_count = 0;
    }
    for (int32_t i = 0; i < plan->step_count; i++)
        if (is_active(plan->steps[i])) {
            lb_batch *batch = &m->raw[plan->steps[i]->batch];

            batch->steps[batch->step_count++] = plan->steps[i];
            each_input(plan->steps[i], count_need, m);
        }
    for (int32_t i = 0; i < m->raw_count; i++) {
        m->raw[i].needs =
            lb_arena_alloc(plan->arena, (size_t)m->raw[i].need_count + 1, sizeof(int32_t));
        if (!m->raw[i].needs)
            return LB_MEMORY;
        m->raw[i].need_count = 0;
        for (int32_t k = 0; k < m->raw[i].step_count; k++)
            each_input(m->raw[i].steps[k], add_need, m);
    }
    return LB_OK;
}

/* Puts the batches into order, depth first from the targets, so that a result is used soon after it
 * was made. */
static lb_status put_in_order(maker *m, lb_batches *out)
{
    lb_plan *plan = m->plan;
    size_t count = (size_t)m->raw_count + 1;
    int32_t *stack = lb_arena_alloc(plan->arena, count, sizeof *stack);
    int32_t *next = lb_arena_alloc(plan->arena, count, sizeof *next);

    m->position = lb_arena_alloc(plan->arena, count, sizeof *m->position);
    out->items = lb_arena_alloc(plan->arena, count, sizeof *out->items);
    if (!stack || !next || !m->position || !out->items)
        return LB_MEMORY;
    for (int32_t i = 0; i < m->raw_count; i++)
        m->position[i] = -1;
    for (int32_t t = 0; t < plan->target_count; t++) {
        const lb_step *target = lb_step_made(plan->targets[t].steps[0]);
        int32_t depth = 0;

        if (target->batch < 0 || m->position[target->batch] >= 0)
            continue;
        stack[depth++] = target->batch;
        while (depth > 0) {
            int32_t at = stack[depth - 1];
            const lb_batch *batch = &m->raw[at];

            while (next[at] < batch->need_count && m->position[batch->needs[next[at]]] >= 0)
                next[at]++;
            if (next[at] < batch->need_count) {
                stack[depth++] = batch->needs[next[at]];
                continue;
            }
            depth--;
            m->position[at] = out->count;
            out->items[out->count++] = *batch;
        }
    }
    for (int32_t i = 0; i < out->count; i++) {
        lb_batch *batch = &out->items[i];

        for (int32_t k = 0; k < batch->need_count; k++)
            batch->needs[k] = m->position[batch->needs[k]];
        for (int32_t k = 0; k < batch->step_count; k++)
            batch->steps[k]->batch = i;
    }
    return LB_OK;
}

lb_status lb_batches_make(lb_plan *plan, lb_batches *out)
{
    maker m = {.plan = plan};
    lb_status status = find_levels(plan);

    *out = (lb_batches){.peak_batch = -1};
    if (status == LB_OK)
        status = collect(&m);
    if (status == LB_OK)
        status = put_in_order(&m, out);
    if (status == LB_OK)
        status = lb_estimate(plan, out);
    return status == LB_OK ? LB_OK : lb_fail(plan->diag, status, LB_NOWHERE, "no memory");
}
