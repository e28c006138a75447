/* engine/graph/make.c: makes the batches of a plan.
 *
 * Batches are the pieces of one loop of the pool, taken in their order. A thread that has taken one
 * waits until those before it that it needs are done, and meanwhile helps with the loops inside
 * them; so branches of a graph go side by side where there are threads for them, and all threads
 * work on one operator where there are not. */
#include "engine/graph/make.h"

#include <string.h>

#include "engine/base/text.h"

/* Where nothing was wanted: black, one pixel of it. */
static lb_status make_empty(lb_step *step)
{
    lb_box data = step->desc.data_window;
    lb_box at = lb_box_is_empty(data) ? (lb_box){0, 0, 1, 1}
                                      : (lb_box){data.x0, data.y0, data.x0 + 1, data.y0 + 1};
    lb_plane *zero = NULL;
    lb_image *image = NULL;
    lb_status status = lb_image_new(step->desc.display_window, data, &image);

    if (status == LB_OK)
        status = lb_plane_new_constant(at, 0, &zero);
    for (int32_t i = 0; status == LB_OK && i < step->desc.channels->count; i++)
        if (step->channels >> i & 1)
            status = lb_image_add(image, step->desc.channels->names[i], zero);
    lb_plane_unref(&zero);
    if (status != LB_OK)
        lb_image_unref(&image);
    else
        step->value = (lb_value){.kind = LB_KIND_IMAGE, .image = image};
    return status;
}

lb_status lb_feed_value(const lb_feed *feed, int32_t index, lb_value *out)
{
    const lb_step *step = lb_step_made(feed->steps[index]);

    if (feed->layer && step->desc.kind == LB_KIND_IMAGE && step->value.kind == LB_KIND_IMAGE) {
        out->kind = LB_KIND_IMAGE;
        return lb_image_layer(step->value.image, feed->layer, &out->image);
    }
    *out = lb_value_ref(step->value);
    return LB_OK;
}

/* Gives back what a step read outside its batch. */
static void release_inputs(const lb_step *step)
{
    if (lb_step_is_empty(step))
        return;
    for (int32_t s = 0; s < step->call.input_count; s++)
        for (int32_t k = 0; step->feeds[s].asked && k < step->feeds[s].count; k++) {
            lb_step *input = lb_step_made(step->feeds[s].steps[k]);

            if (input->batch != step->batch && atomic_fetch_sub(&input->readers, 1) == 1)
                lb_value_unref(&input->value);
        }
}

/* Bytes of the pixels that a step asks of its inputs: an upper bound of what it reads. */
static int64_t asked_bytes(const lb_step *step)
{
    int64_t bytes = 0;

    for (int32_t s = 0; s < step->call.input_count; s++)
        for (int32_t k = 0; step->feeds[s].asked && k < step->feeds[s].count; k++) {
            const lb_step *input = lb_step_made(step->feeds[s].steps[k]);

            if (input->batch != step->batch)
                bytes += (int64_t)lb_value_bytes(input->value);
        }
    return bytes;
}

/* ---- One step by itself ---- */

/* Collects the values of a step's slots. */
static lb_status gather(const lb_step *step, lb_arena *arena, lb_value *inputs, lb_series *series)
{
    lb_status status = LB_OK;

    for (int32_t s = 0; s < step->call.input_count && status == LB_OK; s++) {
        const lb_feed *feed = &step->feeds[s];
        lb_value *values;

        if (!feed->asked) /* somebody else may be making it, or letting go of it */
            continue;
        values = lb_arena_alloc(arena, (size_t)feed->count, sizeof *values);
        if (!values)
            return LB_MEMORY;
        series[s] = (lb_series){feed->count, feed->frames, values};
        for (int32_t k = 0; k < feed->count && status == LB_OK; k++)
            status = lb_feed_value(feed, k, &values[k]);
        inputs[s] = values[0];
    }
    return status;
}

/* Has it what was asked for? */
static bool is_complete(const lb_step *step)
{
    if (step->desc.kind != LB_KIND_IMAGE)
        return true;
    if (!lb_box_contains(lb_image_box(step->value.image), step->box))
        return false;
    for (int32_t i = 0; i < step->desc.channels->count; i++)
        if ((step->channels >> i & 1) &&
            !lb_image_find(step->value.image, step->desc.channels->names[i]))
            return false;
    return true;
}

static lb_status evaluate(lb_step *step)
{
    size_t slots = (size_t)step->call.input_count;
    lb_arena *arena = lb_arena_new();
    lb_value *inputs = arena ? lb_arena_alloc(arena, slots + 1, sizeof *inputs) : NULL;
    lb_series *series = arena ? lb_arena_alloc(arena, slots + 1, sizeof *series) : NULL;
    lb_task task = {step->call,  step->call.pool, step->box, step->channels,
                    &step->desc, inputs,          series};
    lb_status status = inputs && series ? gather(step, arena, inputs, series) : LB_MEMORY;

    task.call.arena = arena;
    if (status == LB_OK)
        status = step->call.op->evaluate(&task, &step->value);
    step->value.kind = status == LB_OK ? step->desc.kind : LB_KIND_NONE;
    for (size_t s = 0; series && s < slots; s++)
        for (int32_t k = 0; k < series[s].count; k++)
            lb_value_unref((lb_value *)&series[s].values[k]);
    lb_arena_free(&arena);
    if (status == LB_OK && !is_complete(step))
        status = lb_fail(step->call.diag, LB_INVALID, step->call.loc,
                         "'%s' (%s) did not make all that was asked of it; this is a bug",
                         step->name, step->call.op->name);
    return status;
}

/* ---- Several as one ---- */

static lb_status bind_inputs(const lb_step *step, lb_points_input *inputs)
{
    for (int32_t s = 0; s < step->call.input_count; s++) {
        const lb_feed *feed = &step->feeds[s];
        lb_step *from = feed->asked ? lb_step_made(feed->steps[0]) : NULL;
        lb_value value = {0};
        lb_status status;

        inputs[s].member = -1;
        if (!from || feed->desc.kind != LB_KIND_IMAGE)
            continue;
        if (from->batch == step->batch) {
            inputs[s].member = from->member;
            inputs[s].layer = feed->layer;
            continue;
        }
        if ((status = lb_feed_value(feed, 0, &value)) != LB_OK)
            return status;
        inputs[s].image = value.image;
    }
    return LB_OK;
}

static lb_status fill_members(const lb_batch *batch, lb_arena *arena, lb_points_member *members)
{
    lb_status status = LB_OK;

    for (int32_t i = 0; i < batch->step_count && status == LB_OK; i++) {
        lb_step *step = batch->steps[i];
        lb_points_input *inputs =
            lb_arena_alloc(arena, (size_t)step->call.input_count + 1, sizeof *inputs);

        step->member = i;
        members[i] = (lb_points_member){.call = &step->call,
                                        .desc = &step->desc,
                                        .box = step->box,
                                        .channels = step->channels,
                                        .use = step->use,
                                        .inputs = inputs,
                                        .kept = step->readers > 0};
        status = inputs ? bind_inputs(step, inputs) : LB_MEMORY;
    }
    return status;
}

static lb_status evaluate_fused(lb_batch *batch)
{
    int32_t count = batch->step_count;
    lb_arena *arena = lb_arena_new();
    lb_points_member *members =
        arena ? lb_arena_alloc(arena, (size_t)count, sizeof *members) : NULL;
    lb_status status = members ? fill_members(batch, arena, members) : LB_MEMORY;

    if (status == LB_OK)
        status = lb_points_run(batch->steps[0]->call.pool, members, count);
    for (int32_t i = 0; members && i < count; i++) {
        lb_step *step = batch->steps[i];

        for (int32_t s = 0; members[i].inputs && s < step->call.input_count; s++) {
            lb_image *image = (lb_image *)members[i].inputs[s].image;

            if (image)
                lb_image_unref(&image);
        }
        step->seconds = members[i].share; /* the share for now */
        if (status == LB_OK && members[i].image)
            step->value = (lb_value){.kind = LB_KIND_IMAGE, .image = members[i].image};
    }
    lb_arena_free(&arena);
    return status;
}

/* ---- Batches ---- */

static double cost_of_inputs(const lb_make *make, const lb_step *step)
{
    double seconds = 0;

    for (int32_t s = 0; s < step->call.input_count; s++)
        for (int32_t k = 0; step->feeds[s].asked && k < step->feeds[s].count; k++) {
            const lb_step *input = lb_step_made(step->feeds[s].steps[k]);

            if (input->batch != step->batch && input->evaluated &&
                lb_cache_has(make->cache, input->key, &input->desc, input->box, input->channels) ==
                    LB_CACHE_NONE)
                seconds += input->cost;
        }
    return seconds;
}

/* What is the same for every frame is kept; on disk what is dear to make. */
static void keep(const lb_make *make, const lb_step *step)
{
    const lb_plan *plan = make->plan;
    bool is_target = false;

    if (step->value.kind == LB_KIND_NONE || (make->is_part && step->varies))
        return;
    for (int32_t i = 0; i < plan->target_count && !make->is_part; i++)
        is_target = is_target || lb_step_made(plan->targets[i].steps[0]) == step;
    lb_cache_put(make->cache, step->key, &step->desc, step->box, step->channels, step->value,
                 step->cost, step->varies ? LB_KEEP_NOT : LB_KEEP_RUN, is_target);
}

/* What making a batch again would take counts the inputs that no cache has. */
static void keep_all(const lb_make *make, lb_batch *batch, double seconds)
{
    for (int32_t i = 0; i < batch->step_count; i++)
        seconds += cost_of_inputs(make, batch->steps[i]);
    for (int32_t i = 0; i < batch->step_count; i++) {
        batch->steps[i]->cost = seconds;
        keep(make, batch->steps[i]);
    }
}

/* Whether somebody has made all of a batch in the meantime. */
static bool fetch(const lb_make *make, const lb_batch *batch)
{
    for (int32_t i = 0; i < batch->step_count; i++) {
        lb_step *step = batch->steps[i];

        if (step->readers > 0 && !lb_cache_fetch(make->cache, step->key, &step->desc, step->box,
                                                 step->channels, LB_KEEP_RUN, &step->value)) {
            for (int32_t k = 0; k < i; k++)
                lb_value_unref(&batch->steps[k]->value);
            return false;
        }
    }
    for (int32_t i = 0; i < batch->step_count; i++)
        batch->steps[i]->from_cache = true;
    return true;
}

static void record(const lb_make *make, lb_batch *batch, double begin, double seconds, int64_t read,
                   int64_t peak)
{
    const lb_step *last = batch->steps[batch->step_count - 1];
    lb_profile_event event = {.name = last->name,
                              .category = "node",
                              .detail = last->call.op->name,
                              .frame = (int32_t)make->plan->frame,
                              .begin = begin,
                              .end = begin + seconds,
                              .read_bytes = read,
                              .peak_bytes = peak,
                              .fused = batch->step_count};
    lb_text members = {0};

    for (int32_t i = 0; i < batch->step_count; i++) {
        lb_step *step = batch->steps[i];

        step->evaluated = true;
        step->seconds = seconds * (batch->step_count > 1 ? step->seconds : 1);
        step->peak_bytes = peak;
        step->made_bytes = (int64_t)lb_value_bytes(step->value);
        event.made_bytes += step->made_bytes;
    }
    batch->steps[0]->read_bytes = read;
    for (int32_t i = 0; make->profile && batch->step_count > 1 && i < batch->step_count; i++)
        lb_text_printf(&members, "%s%s", i ? ", " : "", batch->steps[i]->name);
    event.members = members.failed ? NULL : members.bytes;
    lb_profile_add(make->profile, &event);
    lb_text_clear(&members);
    if (make->profile)
        lb_profile_count(make->profile, "bytes in use", (double)lb_memory_used());
}

/* The first failure for want of memory is kept, others are its consequence. */
static void note_short(lb_make *make, const lb_step *step)
{
    int none = 0;

    if (!atomic_compare_exchange_strong(&make->stopped, &none, 1))
        return;
    make->short_step = step;
    make->short_bytes = lb_memory_refused(&make->short_used);
}

static lb_status make_batch(lb_make *make, lb_batch *batch)
{
    lb_step *last = batch->steps[batch->step_count - 1];
    int32_t before = lb_diag_count(make->plan->diag, LB_ERROR);
    double begin = lb_clock_s(), seconds;
    int64_t read = 0;
    lb_meter meter = {0}, *around = lb_meter_use(&meter);
    lb_status status;

    if (make->watch)
        make->watch->begun(make->watch->context, last->name);
    for (int32_t i = 0; i < batch->step_count; i++)
        read += asked_bytes(batch->steps[i]);
    if (batch->step_count > 1)
        status = evaluate_fused(batch);
    else
        status = evaluate(last);
    lb_meter_use(around);
    seconds = lb_clock_s() - begin;
    if (status == LB_OK)
        record(make, batch, begin, seconds, read, meter.most);
    if (status == LB_OK && make->cache)
        keep_all(make, batch, seconds);
    if (status == LB_MEMORY)
        note_short(make, last);
    else if (status != LB_OK && status != LB_CANCELLED &&
             lb_diag_count(make->plan->diag, LB_ERROR) == before)
        lb_fail(make->plan->diag, status, last->call.loc, "'%s' (%s), frame %g: %s",
                last->name, last->call.op->name, last->frame, lb_status_text(status));
    return status;
}

/* What a batch waits for. */
typedef struct waiting {
    const lb_make *make;
    const lb_batch *batch;
    uint32_t seen;
} waiting;

static bool is_stopped(const lb_make *make)
{
    return atomic_load_explicit(&((lb_make *)make)->stopped, memory_order_acquire) ||
           lb_pool_is_cancelled(make->plan->pool);
}

static bool has_needs(const void *context)
{
    const waiting *w = context;

    if (is_stopped(w->make))
        return true;
    for (int32_t i = 0; i < w->batch->need_count; i++)
        if (!atomic_load_explicit(&w->make->batches.items[w->batch->needs[i]].done,
                                  memory_order_acquire))
            return false;
    return true;
}

static bool has_claim_ended(const void *context)
{
    const waiting *w = context;

    return is_stopped(w->make) || lb_cache_unclaimed(w->make->cache) != w->seen;
}

/* Makes what every frame needs once, though several frames ask for it at the same time. */
static lb_status make_shared(lb_make *make, lb_batch *batch)
{
    lb_key key = batch->steps[batch->step_count - 1]->key;
    waiting w = {.make = make, .batch = batch};
    lb_claim claim;
    lb_status status = LB_OK;

    for (;;) {
        w.seen = lb_cache_unclaimed(make->cache);
        if (lb_cache_claim(make->cache, key, &claim))
            break;
        if (lb_pool_threads(make->plan->pool) > 1)
            lb_pool_wait(make->plan->pool, has_claim_ended, &w);
        else /* somebody else's thread is making it, in a run of the same cache */
            lb_cache_wait(make->cache, w.seen, 0.1);
        if (is_stopped(make))
            return LB_OK; /* whoever stopped it answers for it */
    }
    if (!fetch(make, batch))
        status = make_batch(make, batch);
    lb_cache_unclaim(make->cache, &claim);
    lb_pool_notify(make->plan->pool);
    return status;
}

static lb_status make_one(lb_make *make, lb_batch *batch)
{
    lb_step *first = batch->steps[0];

    if (lb_step_is_empty(first)) {
        lb_status status = make_empty(first);

        if (status == LB_MEMORY)
            note_short(make, first);
        return status;
    }
    if (make->cache && !first->varies)
        return make_shared(make, batch);
    return make_batch(make, batch);
}

static lb_status make_pieces(void *context, int32_t begin, int32_t end, int32_t worker)
{
    lb_make *make = context;
    lb_status status = LB_OK;

    (void)worker;
    for (int32_t i = begin; i < end && status == LB_OK; i++) {
        lb_batch *batch = &make->batches.items[i];
        waiting w = {.make = make, .batch = batch};

        if (!has_needs(&w))
            lb_pool_wait(make->plan->pool, has_needs, &w);
        if (is_stopped(make))
            return lb_pool_is_cancelled(make->plan->pool) ? LB_CANCELLED : LB_OK;
        status = make_one(make, batch);
        for (int32_t k = 0; k < batch->step_count; k++)
            release_inputs(batch->steps[k]);
        if (status != LB_OK)
            atomic_store_explicit(&make->stopped, 1, memory_order_release);
        else if (make->watch)
            make->watch->ended(make->watch->context);
        atomic_store_explicit(&batch->done, true, memory_order_release);
        lb_pool_notify(make->plan->pool);
    }
    return status;
}

lb_status lb_make_all(lb_make *make)
{
    int32_t count = make->batches.count;

    if (make->in_order && count > 0) /* one piece: its loops are split, it is not */
        return make_pieces(make, 0, count, 0);
    return lb_pool_for_waiting(make->plan->pool, count, make_pieces, make);
}
