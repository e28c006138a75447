/* engine/graph/run.c: makes the steps of a plan. */
#include "engine/graph/run.h"

#include <string.h>

#include "engine/graph/cache.h"
#include "engine/graph/order.h"

struct lb_run {
    const lb_graph *graph;
    lb_pool *pool;
    lb_diag *diag;
    lb_format format;
    int32_t *order;
    lb_files *files;
    lb_cache *cache;
    lb_node_stats *stats;
};

static lb_format scaled_format(const lb_graph *graph, const lb_run_options *options)
{
    lb_format format = graph->format;
    double scale = options->scale > 0 ? options->scale : 1;

    format.scale = scale;
    format.width = options->width > 0 ? options->width : (int32_t)rint(format.width * scale);
    format.height = options->height > 0 ? options->height : (int32_t)rint(format.height * scale);
    if (format.width < 1)
        format.width = 1;
    if (format.height < 1)
        format.height = 1;
    return format;
}

lb_status lb_run_new(const lb_graph *graph, const lb_run_options *options, lb_run **out)
{
    lb_run *run = lb_alloc(1, sizeof *run);
    lb_status status;

    *out = NULL;
    if (!run)
        return lb_fail(options->diag, LB_MEMORY, LB_NOWHERE, "no memory");
    run->graph = graph;
    run->pool = options->pool;
    run->diag = options->diag;
    run->format = scaled_format(graph, options);
    run->stats = lb_alloc((size_t)graph->node_count + 1, sizeof *run->stats);
    if (!run->stats || lb_files_new(&run->files) != LB_OK) {
        status = lb_fail(options->diag, LB_MEMORY, LB_NOWHERE, "no memory");
        goto failed;
    }
    for (int32_t i = 0; i < graph->node_count; i++)
        run->stats[i] =
            (lb_node_stats){.node = graph->nodes[i].name, .op = graph->nodes[i].op->name};
    if ((status = lb_graph_order(graph, options->diag, &run->order)) != LB_OK)
        goto failed;
    if ((options->cache_bytes > 0 || options->cache_folder) &&
        (status = lb_cache_new(options->cache_bytes, options->cache_folder, options->diag,
                               &run->cache)) != LB_OK)
        goto failed;
    *out = run;
    return LB_OK;
failed:
    lb_run_free(&run);
    return status;
}

void lb_run_free(lb_run **run)
{
    if (!*run)
        return;
    lb_cache_free(&(*run)->cache);
    lb_files_free(&(*run)->files);
    lb_free((*run)->order);
    lb_free((*run)->stats);
    lb_free(*run);
    *run = NULL;
}

const lb_format *lb_run_format(const lb_run *run)
{
    return &run->format;
}

const lb_node_stats *lb_run_stats(const lb_run *run, int32_t *count)
{
    *count = run->graph->node_count;
    return run->stats;
}

/* From readers to inputs: what is wanted of each step, and what a cache has of it. Counts for each
 * step how often it will be read. */
static void ask_all(lb_run *run, lb_plan *plan, const lb_want *wants)
{
    for (int32_t i = 0; i < plan->target_count; i++) {
        lb_plan_ask_target(plan, i, &wants[i]);
        plan->targets[i].steps[0]->readers++;
    }
    for (int32_t i = plan->step_count; i-- > 0;) {
        lb_step *step = plan->steps[i];

        if (!step->wanted)
            continue;
        if (step->same) {
            lb_step *same = step->same;

            same->wanted = true;
            same->box = lb_box_unite(same->box, step->box);
            same->channels |= step->channels;
            same->readers++;
            continue;
        }
        if (lb_cache_find(run->cache, step->key, &step->desc, step->box, step->channels,
                          &step->value)) {
            step->from_cache = true;
            continue;
        }
        if (step->desc.kind == LB_KIND_IMAGE && !step->varies &&
            lb_cache_knows(run->cache, step->key))
            step->box = step->desc.data_window; /* asked for other pixels at another frame: make
                                                 * all, once */
        if (step->desc.kind == LB_KIND_IMAGE && lb_box_is_empty(step->box))
            continue; /* nothing to be made, so nothing to be read */
        lb_plan_ask_inputs(step);
        for (int32_t s = 0; s < step->call.input_count; s++)
            for (int32_t k = 0; k < step->feeds[s].count; k++)
                step->feeds[s].steps[k]->readers++;
    }
}

/* Where nothing was wanted: black, one pixel of it. */
static lb_status empty_image(const lb_step *step, lb_image **out)
{
    lb_box data = step->desc.data_window;
    lb_box at = lb_box_is_empty(data) ? (lb_box){0, 0, 1, 1}
                                      : (lb_box){data.x0, data.y0, data.x0 + 1, data.y0 + 1};
    lb_plane *zero = NULL;
    lb_status status = lb_image_new(step->desc.display_window, data, out);

    if (status == LB_OK)
        status = lb_plane_new_constant(at, 0, &zero);
    for (int32_t i = 0; status == LB_OK && i < step->desc.channels->count; i++)
        if (step->channels >> i & 1)
            status = lb_image_add(*out, step->desc.channels->names[i], zero);
    lb_plane_unref(&zero);
    if (status != LB_OK)
        lb_image_unref(out);
    return status;
}

/* What slot `feed` hands over from one of its steps; a reference. */
static lb_status feed_value(const lb_feed *feed, int32_t index, lb_value *out)
{
    const lb_step *step = feed->steps[index];

    if (step->same)
        step = step->same;
    if (feed->layer && step->desc.kind == LB_KIND_IMAGE) {
        out->kind = LB_KIND_IMAGE;
        return lb_image_layer(step->value.image, feed->layer, &out->image);
    }
    *out = lb_value_ref(step->value);
    return LB_OK;
}

static void release(lb_step *step)
{
    if (--step->readers > 0)
        return;
    if (step->same)
        release(step->same);
    else
        lb_value_unref(&step->value);
}

/* Collects the values of a step's slots. */
static lb_status gather(const lb_plan *plan, lb_step *step, lb_value *inputs, lb_series *series)
{
    lb_status status = LB_OK;

    for (int32_t s = 0; s < step->call.input_count && status == LB_OK; s++) {
        const lb_feed *feed = &step->feeds[s];
        lb_value *values;

        if (feed->count == 0)
            continue;
        values = lb_arena_alloc(plan->arena, (size_t)feed->count, sizeof *values);
        if (!values)
            return LB_MEMORY;
        series[s] = (lb_series){feed->count, feed->frames, values};
        for (int32_t k = 0; k < feed->count && status == LB_OK; k++)
            status = feed_value(feed, k, &values[k]);
        inputs[s] = values[0];
    }
    return status;
}

static lb_status check_made(const lb_step *step, const lb_value *value)
{
    if (step->desc.kind != LB_KIND_IMAGE)
        return LB_OK;
    if (!lb_box_contains(lb_image_box(value->image), step->box))
        return LB_INVALID;
    for (int32_t i = 0; i < step->desc.channels->count; i++)
        if ((step->channels >> i & 1) &&
            !lb_image_find(value->image, step->desc.channels->names[i]))
            return LB_INVALID;
    return LB_OK;
}

/* What is the same for every frame stays; what varies only as long as an output may ask again. */
static void keep(lb_run *run, const lb_plan *plan, const lb_step *step, double seconds)
{
    lb_keep how = step->varies ? LB_KEEP_NOT : LB_KEEP_RUN;
    bool is_target = false;

    for (int32_t i = 0; i < plan->target_count; i++)
        is_target = is_target || plan->targets[i].steps[0] == step ||
                    plan->targets[i].steps[0]->same == step;
    if (is_target && step->varies)
        how = LB_KEEP_FRAME;
    lb_cache_put(run->cache, step->key, &step->desc, step->box, step->channels, step->value,
                 seconds, how, is_target);
}

static lb_status evaluate(lb_run *run, const lb_plan *plan, lb_step *step)
{
    int32_t slots = step->call.input_count;
    lb_value *inputs = lb_arena_alloc(plan->arena, (size_t)slots + 1, sizeof *inputs);
    lb_series *series = lb_arena_alloc(plan->arena, (size_t)slots + 1, sizeof *series);
    lb_node_stats *stats = &run->stats[step->node];
    lb_task task = {step->call, run->pool, step->box, step->channels, &step->desc, inputs, series};
    int32_t before = lb_diag_count(plan->diag, LB_ERROR);
    double start = lb_clock_s(), seconds;
    lb_status status;

    lb_memory_reset_peak();
    status = inputs && series ? gather(plan, step, inputs, series) : LB_MEMORY;
    if (status == LB_OK)
        status = step->call.op->evaluate(&task, &step->value);
    step->value.kind = status == LB_OK ? step->desc.kind : LB_KIND_NONE;
    for (int32_t s = 0; series && s < slots; s++)
        for (int32_t k = 0; k < series[s].count; k++)
            lb_value_unref((lb_value *)&series[s].values[k]);
    seconds = lb_clock_s() - start;
    stats->evaluated++;
    stats->seconds += seconds;
    if (lb_memory_peak() > stats->peak_bytes)
        stats->peak_bytes = lb_memory_peak();
    if (status == LB_OK && (status = check_made(step, &step->value)) != LB_OK)
        return lb_fail(plan->diag, status, step->call.loc,
                       "'%s' (%s) did not make all that was asked of it; this is a bug",
                       step->call.node, step->call.op->name);
    if (status != LB_OK) {
        if (status != LB_CANCELLED && lb_diag_count(plan->diag, LB_ERROR) == before)
            lb_fail(plan->diag, status, step->call.loc, "'%s' (%s), frame %g: %s", step->call.node,
                    step->call.op->name, step->frame, lb_status_text(status));
        return status;
    }
    keep(run, plan, step, seconds);
    return LB_OK;
}

static lb_status make_all(lb_run *run, lb_plan *plan)
{
    lb_status status = LB_OK;

    for (int32_t i = 0; i < plan->step_count && status == LB_OK; i++) {
        lb_step *step = plan->steps[i];

        if (!step->wanted || step->same)
            continue;
        if (run->pool && lb_pool_is_cancelled(run->pool))
            return LB_CANCELLED;
        if (step->from_cache) {
            run->stats[step->node].reused++;
            continue;
        }
        if (step->desc.kind == LB_KIND_IMAGE && lb_box_is_empty(step->box)) {
            if ((status = empty_image(step, &step->value.image)) == LB_OK)
                step->value.kind = LB_KIND_IMAGE;
            else
                lb_fail(plan->diag, status, step->call.loc, "no memory");
            continue;
        }
        status = evaluate(run, plan, step);
        for (int32_t s = 0; s < step->call.input_count; s++)
            for (int32_t k = 0; k < step->feeds[s].count; k++)
                release(step->feeds[s].steps[k]);
    }
    return status;
}

static lb_plan begin_plan(lb_run *run, double frame)
{
    return (lb_plan){.arena = lb_arena_new(),
                     .graph = run->graph,
                     .format = &run->format,
                     .native_format = &run->graph->format,
                     .frame = frame,
                     .diag = run->diag,
                     .pool = run->pool,
                     .files = run->files,
                     .order = run->order};
}

lb_status lb_run_check(lb_run *run, int32_t frame)
{
    lb_plan plan = begin_plan(run, frame);
    size_t count = (size_t)run->graph->output_count;
    lb_want *wants = plan.arena ? lb_arena_alloc(plan.arena, count + 1, sizeof *wants) : NULL;
    lb_status status;

    if (!wants) {
        lb_arena_free(&plan.arena);
        return lb_fail(run->diag, LB_MEMORY, LB_NOWHERE, "no memory");
    }
    for (size_t i = 0; i < count; i++)
        wants[i].ref = run->graph->outputs[i].image;
    status = count > 0 ? lb_plan_make(&plan, wants, (int32_t)count) : LB_OK;
    lb_arena_free(&plan.arena);
    return status;
}

/* Takes the channels away that were made for another target of the same step. */
static lb_status only_wanted(const lb_plan *plan, int32_t index, const lb_want *want,
                             lb_value *value)
{
    const lb_channels *channels = plan->targets[index].desc.channels;
    uint64_t bits = lb_plan_target_bits(plan, index, want);
    lb_image *from = value->image, *kept = NULL;
    lb_status status;

    if (lb_image_count(from) <= __builtin_popcountll(bits))
        return LB_OK;
    status = lb_image_new(lb_image_display(from), lb_image_data(from), &kept);
    if (status == LB_OK)
        lb_image_set_pixel_aspect(kept, lb_image_pixel_aspect(from));
    for (int32_t i = 0; i < channels->count && status == LB_OK; i++) {
        const lb_plane *plane = lb_image_find(from, channels->names[i]);

        if ((bits >> i & 1) && plane)
            status = lb_image_add(kept, channels->names[i], plane);
    }
    if (status == LB_OK) {
        lb_image_unref(&value->image);
        value->image = kept;
    } else {
        lb_image_unref(&kept);
    }
    return status;
}

lb_status lb_run_frame(lb_run *run, int32_t frame, const lb_want *wants, int32_t count,
                       lb_value *out, lb_key *keys)
{
    lb_plan plan = begin_plan(run, frame);
    lb_status status;

    memset(out, 0, (size_t)count * sizeof *out);
    if (!plan.arena)
        return lb_fail(run->diag, LB_MEMORY, LB_NOWHERE, "no memory");
    lb_cache_end_frame(run->cache);
    if ((status = lb_plan_make(&plan, wants, count)) == LB_OK) {
        ask_all(run, &plan, wants);
        status = make_all(run, &plan);
    }
    for (int32_t i = 0; i < count && status == LB_OK; i++) {
        status = feed_value(&plan.targets[i], 0, &out[i]);
        if (status == LB_OK && out[i].kind == LB_KIND_IMAGE)
            status = only_wanted(&plan, i, &wants[i], &out[i]);
        if (status != LB_OK)
            lb_fail(run->diag, status, wants[i].ref.loc, "%s", lb_status_text(status));
        if (keys)
            keys[i] = plan.targets[i].steps[0]->key;
    }
    for (int32_t i = 0; i < count && status != LB_OK; i++)
        lb_value_unref(&out[i]);
    for (int32_t i = 0; plan.steps && i < plan.step_count && plan.steps[i]; i++)
        lb_value_unref(&plan.steps[i]->value);
    lb_arena_free(&plan.arena);
    return status;
}
