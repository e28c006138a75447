/* engine/graph/estimate.c: how much memory a plan's pictures will take. */
#include "engine/graph/estimate.h"

/* A channel of a step: where its plane was made. */
typedef struct origin {
    int32_t step; /* -1: it takes no memory, or a cache holds it */
    int32_t channel;
} origin;

typedef struct estimator {
    lb_plan *plan;
    int32_t *first;   /* by step: where its channels begin in the two below */
    origin *origins;  /* of steps that are kept */
    int32_t *holders; /* of planes: steps that hold them */
    int32_t *readers; /* of steps: batches' steps that have not read yet */
    size_t live;
} estimator;

static bool makes(const lb_step *step, int32_t channel)
{
    for (int32_t i = 0; step->use && i < step->use->made_count; i++)
        if (step->use->made[i] == channel)
            return true;
    return !step->use;
}

/* A channel that a step passes on shares the plane that it comes from, if that has the same pixels
 * and is kept; else it is copied into one of its own. */
static origin find_origin(const estimator *e, const lb_step *step, int32_t channel)
{
    const origin nothing = {-1, 0}, own = {step->index, channel};
    const lb_step *at = step;

    if (makes(step, channel))
        return own;
    do {
        lb_tap tap = at->use->passed[channel];
        const lb_feed *feed = &at->feeds[tap.slot];
        uint64_t bits;

        if (tap.channel < 0 || !feed->asked)
            return nothing; /* the same everywhere */
        at = lb_step_made(feed->steps[0]);
        bits = lb_feed_bits(feed, at, (uint64_t)1 << tap.channel);
        if (lb_step_is_empty(at) || bits == 0)
            return nothing;
        channel = __builtin_ctzll(bits);
    } while (at->batch == step->batch && !makes(at, channel));
    if (!lb_box_equal(at->box, step->box) || (at->batch == step->batch && at->readers == 0))
        return own;
    if (at->batch == step->batch)
        return (origin){at->index, channel};
    return at->batch < 0 ? nothing : e->origins[e->first[at->index] + channel];
}

static size_t plane_bytes(const lb_step *step)
{
    return (size_t)lb_box_width(step->box) * (size_t)lb_box_height(step->box) * sizeof(float);
}

static bool has_planes(const lb_step *step)
{
    return step->desc.kind == LB_KIND_IMAGE && !lb_step_is_empty(step);
}

/* Calls for each wanted channel's plane that takes memory: +1 holds it, -1 lets it go. Answers the
 * bytes that came or went. */
static size_t hold(estimator *e, const lb_step *step, int32_t change)
{
    size_t bytes = 0;

    for (int32_t c = 0; has_planes(step) && c < step->desc.channels->count; c++) {
        origin from = {-1, 0};
        int32_t *holders;

        if (step->channels >> c & 1)
            from = e->origins[e->first[step->index] + c];
        if (from.step < 0)
            continue;
        holders = &e->holders[e->first[from.step] + from.channel];
        if (*holders == (change > 0 ? 0 : 1))
            bytes += plane_bytes(e->plan->steps[from.step]);
        *holders += change;
    }
    return bytes;
}

static void let_go_of_inputs(estimator *e, const lb_step *step)
{
    if (lb_step_is_empty(step))
        return;
    for (int32_t i = 0; i < step->call.input_count; i++)
        for (int32_t k = 0; step->feeds[i].asked && k < step->feeds[i].count; k++) {
            const lb_step *input = lb_step_made(step->feeds[i].steps[k]);

            if (input->batch >= 0 && input->batch != step->batch && --e->readers[input->index] == 0)
                e->live -= hold(e, input, -1);
        }
}

static void count_batch(estimator *e, lb_batches *batches, int32_t index)
{
    lb_batch *batch = &batches->items[index];

    for (int32_t k = 0; k < batch->step_count; k++) {
        const lb_step *step = batch->steps[k];
        const lb_op *op = step->call.op;
        size_t bytes;

        for (int32_t c = 0; has_planes(step) && c < step->desc.channels->count; c++)
            if (step->channels >> c & 1)
                e->origins[e->first[step->index] + c] = find_origin(e, step, c);
        if (step->readers > 0) {
            bytes = hold(e, step, 1);
            batch->result_bytes += bytes;
            batches->shared_bytes += step->varies ? 0 : bytes;
        }
        if (op->scratch && !step->use && !lb_step_is_empty(step))
            batch->scratch_bytes +=
                op->scratch(&step->call, &step->desc, step->box, step->channels);
    }
    e->live += batch->result_bytes;
    if (e->live + batch->scratch_bytes > batches->peak_bytes) {
        batches->peak_bytes = e->live + batch->scratch_bytes;
        batches->peak_batch = index;
    }
    for (int32_t k = 0; k < batch->step_count; k++)
        let_go_of_inputs(e, batch->steps[k]);
}

lb_status lb_estimate(lb_plan *plan, lb_batches *batches)
{
    size_t steps = (size_t)plan->step_count + 1, channels = 1;
    estimator e = {.plan = plan,
                   .first = lb_arena_alloc(plan->arena, steps, sizeof *e.first),
                   .readers = lb_arena_alloc(plan->arena, steps, sizeof *e.readers)};

    if (!e.first || !e.readers)
        return LB_MEMORY;
    for (int32_t i = 0; i < plan->step_count; i++) {
        const lb_step *step = plan->steps[i];

        e.first[i] = (int32_t)channels;
        e.readers[i] = step->readers;
        if (step->batch >= 0 && has_planes(step))
            channels += (size_t)step->desc.channels->count;
    }
    e.origins = lb_arena_alloc(plan->arena, channels, sizeof *e.origins);
    e.holders = lb_arena_alloc(plan->arena, channels, sizeof *e.holders);
    if (!e.origins || !e.holders)
        return LB_MEMORY;
    batches->peak_batch = -1;
    for (int32_t i = 0; i < batches->count; i++)
        count_batch(&e, batches, i);
    return LB_OK;
}
