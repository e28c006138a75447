/* engine/graph/run.c: frames out of a graph. */
#include "engine/graph/run.h"

#include <pthread.h>
#include <string.h>

#include "engine/base/text.h"
#include "engine/graph/ask.h"
#include "engine/graph/explain.h"
#include "engine/graph/make.h"
#include "engine/graph/order.h"
#include "engine/graph/parts.h"

struct lb_run {
    const lb_graph *graph;
    lb_pool *pool;
    lb_diag *diag;
    lb_profile *profile;
    lb_format format;
    int32_t *order;
    lb_files *files;
    lb_cache *cache;
    pthread_mutex_t lock; /* of `stats` */
    lb_node_stats *stats;
    atomic_int in_flight; /* frames being made */
    atomic_int most;      /* of them, as memory has turned out to hold */
    atomic_int alone;     /* a frame that has to be made alone is waiting or being made */
    atomic_int parts;     /* how many parts a frame was made in last, when one was too much */
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

static size_t give_back(void *context, size_t bytes)
{
    return lb_cache_shrink(context, bytes);
}

lb_status lb_run_new(const lb_graph *graph, const lb_run_options *options, lb_run **out)
{
    lb_cache_options cache = {.memory_bytes = options->cache_bytes,
                              .folder = options->cache_folder,
                              .disk_bytes = options->cache_disk_bytes};
    lb_run *run = lb_alloc(1, sizeof *run);
    lb_status status;

    *out = NULL;
    if (!run)
        return lb_fail(options->diag, LB_MEMORY, LB_NOWHERE, "no memory");
    pthread_mutex_init(&run->lock, NULL);
    run->graph = graph;
    run->pool = options->pool;
    run->diag = options->diag;
    run->profile = options->profile;
    run->format = scaled_format(graph, options);
    run->parts = 1;
    run->most = INT32_MAX;
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
    if ((cache.memory_bytes > 0 || cache.folder) &&
        (status = lb_cache_open(&cache, options->diag, &run->cache)) != LB_OK)
        goto failed;
    if (run->cache)
        lb_memory_add_reclaim(give_back, run->cache);
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
    if ((*run)->cache)
        lb_memory_drop_reclaim((*run)->cache);
    lb_cache_free(&(*run)->cache);
    lb_files_free(&(*run)->files);
    pthread_mutex_destroy(&(*run)->lock);
    lb_free((*run)->order);
    lb_free((*run)->stats);
    lb_free(*run);
    *run = NULL;
}

const lb_format *lb_run_format(const lb_run *run)
{
    return &run->format;
}

const lb_graph *lb_run_graph(const lb_run *run)
{
    return run->graph;
}

const lb_node_stats *lb_run_stats(const lb_run *run, int32_t *count)
{
    *count = run->graph->node_count;
    return run->stats;
}

void lb_run_totals(lb_run *run, int64_t *evaluated, int64_t *reused)
{
    *evaluated = *reused = 0;
    pthread_mutex_lock(&run->lock);
    for (int32_t i = 0; i < run->graph->node_count; i++) {
        *evaluated += run->stats[i].evaluated;
        *reused += run->stats[i].reused;
    }
    pthread_mutex_unlock(&run->lock);
}

lb_cache_stats lb_run_cache_stats(lb_run *run)
{
    return lb_cache_stats_of(run->cache);
}

static lb_plan begin_plan(lb_run *run, double frame, lb_diag *diag)
{
    return (lb_plan){.arena = lb_arena_new(),
                     .graph = run->graph,
                     .format = &run->format,
                     .native_format = &run->graph->format,
                     .frame = frame,
                     .diag = diag,
                     .pool = run->pool,
                     .files = run->files,
                     .order = run->order};
}

static void end_plan(lb_plan *plan)
{
    for (int32_t i = 0; plan->steps && i < plan->step_count && plan->steps[i]; i++)
        lb_value_unref(&plan->steps[i]->value);
    lb_arena_free(&plan->arena);
}

/* Adds what a plan did to the totals. */
static void count_steps(lb_run *run, const lb_plan *plan)
{
    pthread_mutex_lock(&run->lock);
    for (int32_t i = 0; plan->steps && i < plan->step_count && plan->steps[i]; i++) {
        const lb_step *step = plan->steps[i];
        lb_node_stats *stats = &run->stats[step->node];

        stats->reused += step->from_cache && step->wanted && step->readers > 0;
        if (!step->evaluated)
            continue;
        stats->evaluated++;
        stats->seconds += step->seconds;
        stats->read_bytes += step->read_bytes;
        stats->made_bytes += step->made_bytes;
        if ((size_t)step->peak_bytes > stats->peak_bytes)
            stats->peak_bytes = (size_t)step->peak_bytes;
    }
    pthread_mutex_unlock(&run->lock);
}

lb_status lb_run_check(lb_run *run, int32_t frame)
{
    lb_plan plan = begin_plan(run, frame, run->diag);
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
    end_plan(&plan);
    return status;
}

lb_status lb_run_explain(lb_run *run, int32_t frame, const lb_want *wants, int32_t count,
                         struct lb_text *out)
{
    lb_plan plan = begin_plan(run, frame, run->diag);
    lb_batches batches;
    lb_status status;

    if (!plan.arena)
        return lb_fail(run->diag, LB_MEMORY, LB_NOWHERE, "no memory");
    if ((status = lb_plan_make(&plan, wants, count)) == LB_OK &&
        (status = lb_plan_ask(&plan, wants, run->cache, LB_ASK_LOOK)) == LB_OK &&
        (status = lb_batches_make(&plan, &batches)) == LB_OK)
        lb_explain(&plan, &batches, run->cache, out);
    end_plan(&plan);
    return status;
}

lb_status lb_run_keys(lb_run *run, double frame, const lb_want *wants, int32_t count, lb_diag *diag,
                      lb_step_fn fn, void *context)
{
    lb_plan plan = begin_plan(run, frame, diag);
    lb_status status;

    if (!plan.arena)
        return lb_fail(diag, LB_MEMORY, LB_NOWHERE, "no memory");
    status = lb_plan_make(&plan, wants, count);
    for (int32_t i = 0; i < plan.step_count && status == LB_OK; i++)
        status = fn(context, plan.steps[i]);
    end_plan(&plan);
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

/* One try at a frame, or at one part of it. */
typedef struct attempt {
    lb_run *run;
    lb_diag *diag;
    double frame;
    const lb_watch *watch; /* NULL: none */
    int32_t to_come;       /* parts that are not begun; of a whole frame 1 */
    bool is_part, is_alone;
    char shortage[256]; /* what there was no memory for */
    lb_loc loc;
} attempt;

static void note_shortage(attempt *a, const lb_make *make)
{
    const lb_step *step = make->short_step;
    double mib = 1.0 / 1048576;

    if (!step)
        return;
    a->loc = step->call.loc;
    snprintf(a->shortage, sizeof a->shortage,
             "'%s' (%s), frame %g: %.1f MiB more were asked for where %.1f MiB are in use",
             step->name, step->call.op->name, step->frame, (double)make->short_bytes * mib,
             (double)make->short_used * mib);
}

static lb_status take_targets(const lb_plan *plan, const lb_want *wants, lb_value *out,
                              lb_key *keys)
{
    lb_status status = LB_OK;

    for (int32_t i = 0; i < plan->target_count && status == LB_OK; i++) {
        status = lb_feed_value(&plan->targets[i], 0, &out[i]);
        if (status == LB_OK && out[i].kind == LB_KIND_IMAGE)
            status = only_wanted(plan, i, &wants[i], &out[i]);
        if (status != LB_OK && status != LB_MEMORY)
            lb_fail(plan->diag, status, wants[i].ref.loc, "%s", lb_status_text(status));
        if (keys)
            keys[i] = plan->targets[i].steps[0]->key;
    }
    for (int32_t i = 0; i < plan->target_count && status != LB_OK; i++)
        lb_value_unref(&out[i]);
    return status;
}

/* lb_parts_fn: the values of `wants`, once; LB_MEMORY is not reported, but noted. */
static lb_status try_frame(void *context, const lb_want *wants, int32_t count, lb_value *out,
                           lb_key *keys)
{
    attempt *a = context;
    lb_run *run = a->run;
    lb_plan plan = begin_plan(run, a->frame, a->diag);
    lb_make make = {.plan = &plan, .cache = run->cache, .profile = run->profile, .watch = a->watch};
    size_t budget = lb_memory_budget();
    lb_status status;

    memset(out, 0, (size_t)count * sizeof *out);
    if (!plan.arena)
        return LB_MEMORY;
    if ((status = lb_plan_make(&plan, wants, count)) == LB_OK &&
        (status = lb_plan_ask(&plan, wants, run->cache, a->is_part ? LB_ASK_PART : LB_ASK_ALL)) ==
            LB_OK &&
        (status = lb_batches_make(&plan, &make.batches)) == LB_OK) {
        make.is_part = a->is_part;
        make.in_order =
            a->is_alone || (budget > 0 && lb_memory_used() + 2 * make.batches.peak_bytes > budget);
        if (a->watch)
            a->watch->planned(a->watch->context, (int64_t)make.batches.count * a->to_come--);
        status = lb_make_all(&make);
        note_shortage(a, &make);
    }
    if (status == LB_OK)
        status = take_targets(&plan, wants, out, keys);
    if (status == LB_OK)
        count_steps(run, &plan);
    end_plan(&plan);
    return status;
}

/* ---- Frames that are too much for the memory ---- */

static bool may_begin(const void *context)
{
    lb_run *run = (lb_run *)context;

    return (atomic_load(&run->alone) == 0 &&
            atomic_load(&run->in_flight) < atomic_load(&run->most)) ||
           lb_pool_is_cancelled(run->pool);
}

static bool nobody_is_alone(const void *context)
{
    lb_run *run = (lb_run *)context;

    return atomic_load(&run->alone) == 0 || lb_pool_is_cancelled(run->pool);
}

static bool is_alone(const void *context)
{
    lb_run *run = (lb_run *)context;

    return atomic_load(&run->in_flight) <= 1 || lb_pool_is_cancelled(run->pool);
}

/* Waits for something that other frames do, helping them; sleeps where there are no threads to
 * help. */
static void wait_for(lb_run *run, bool (*is_done)(const void *context))
{
    struct timespec nap = {.tv_nsec = 1000000};

    if (lb_pool_threads(run->pool) > 1)
        lb_pool_wait(run->pool, is_done, run);
    while (!is_done(run))
        nanosleep(&nap, NULL);
}

static void begin_frame(lb_run *run)
{
    for (;;) {
        wait_for(run, may_begin);
        if (atomic_fetch_add(&run->in_flight, 1) < atomic_load(&run->most) &&
            atomic_load(&run->alone) == 0)
            return;
        if (lb_pool_is_cancelled(run->pool))
            return;
        atomic_fetch_sub(&run->in_flight, 1); /* somebody else was quicker */
        lb_pool_notify(run->pool);
    }
}

static void end_frame(lb_run *run, bool was_alone)
{
    atomic_fetch_sub(&run->in_flight, 1);
    if (was_alone)
        atomic_store(&run->alone, 0);
    lb_pool_notify(run->pool);
}

/* Becomes the only frame; false: cancelled first. Of several that want to, one after the other
 * does. */
static bool become_alone(lb_run *run)
{
    int nobody = 0, others = atomic_load(&run->in_flight) - 1;

    if (others >= 1 && others < atomic_load(&run->most))
        atomic_store(&run->most, others); /* from now on fewer at a time */
    while (!atomic_compare_exchange_strong(&run->alone, &nobody, 1)) {
        /* Step aside for the one that came first. */
        atomic_fetch_sub(&run->in_flight, 1);
        lb_pool_notify(run->pool);
        wait_for(run, nobody_is_alone);
        atomic_fetch_add(&run->in_flight, 1);
        nobody = 0;
        if (lb_pool_is_cancelled(run->pool))
            return false;
    }
    wait_for(run, is_alone);
    return true;
}

static lb_status report_shortage(const attempt *a, int32_t parts)
{
    size_t budget = lb_memory_budget();
    char said[64] = "the system has no more", in_parts[64] = "";

    if (budget > 0)
        snprintf(said, sizeof said, "the memory budget is %.1f MiB", (double)budget / 1048576);
    if (parts > 1)
        snprintf(in_parts, sizeof in_parts, ", with the frame made in %d parts", (int)parts);
    return lb_fail(a->run->diag, LB_MEMORY, a->loc, "no memory: %s; %s%s",
                   a->shortage[0] ? a->shortage : "a frame could not be planned or put together",
                   said, in_parts);
}

/* Tries with the whole frame, then with ever smaller parts. */
static lb_status try_all(attempt *a, const lb_want *wants, int32_t count, lb_value *out,
                         lb_key *keys, bool *alone)
{
    lb_run *run = a->run;
    lb_box window = lb_format_window(&run->format);
    int32_t parts = atomic_load(&run->parts);
    lb_status status;

    for (;;) {
        lb_diag *diag = lb_diag_new();

        if (!diag)
            return lb_fail(run->diag, LB_MEMORY, LB_NOWHERE, "no memory");
        a->diag = diag;
        a->shortage[0] = 0;
        a->is_part = parts > 1;
        a->to_come = parts;
        a->is_alone = *alone;
        if (parts == 1)
            status = try_frame(a, wants, count, out, keys);
        else
            status = lb_parts_make(wants, count, window, parts, try_frame, a, out, keys);
        lb_diag_take(run->diag, &diag, status != LB_MEMORY);
        if (status != LB_MEMORY) {
            atomic_store(&run->parts, parts);
            return status;
        }
        lb_memory_trim();
        if (!*alone && !become_alone(run))
            return LB_CANCELLED;
        if (!*alone)
            *alone = true;
        else if (lb_parts_rows(window, 2 * parts) == 0)
            return report_shortage(a, parts);
        else
            parts *= 2;
    }
}

/* What the caches gave so far, into the profile. */
static void count_hits(lb_run *run)
{
    lb_cache_stats stats = lb_cache_stats_of(run->cache);

    lb_profile_count(run->profile, "results from memory", (double)stats.hits);
    lb_profile_count(run->profile, "results from disk", (double)stats.disk.hits);
    lb_profile_count(run->profile, "bytes of kept results", (double)stats.bytes);
}

lb_status lb_run_frame_watched(lb_run *run, int32_t frame, const lb_want *wants, int32_t count,
                               const lb_watch *watch, lb_value *out, lb_key *keys)
{
    attempt a = {.run = run, .frame = frame, .watch = watch};
    bool alone = false;
    lb_status status;

    if (count <= 0)
        return LB_OK;
    memset(out, 0, (size_t)count * sizeof *out);
    begin_frame(run);
    status = try_all(&a, wants, count, out, keys, &alone);
    end_frame(run, alone);
    if (run->profile && run->cache)
        count_hits(run);
    return status;
}

lb_status lb_run_frame(lb_run *run, int32_t frame, const lb_want *wants, int32_t count,
                       lb_value *out, lb_key *keys)
{
    return lb_run_frame_watched(run, frame, wants, count, NULL, out, keys);
}

/* ---- Many frames ---- */

typedef struct many {
    lb_run *run;
    const int32_t *frames;
    int32_t count, most_wants;
    const lb_run_frames_calls *calls;
    void *context;
    atomic_int next;   /* the frame to be begun */
    atomic_int failed; /* the earliest that failed; count: none */
    pthread_mutex_t lock;
    lb_status status; /* of `failed`; under the lock */
} many;

static void note_failure(many *m, int32_t index, lb_status status)
{
    pthread_mutex_lock(&m->lock);
    if (index < atomic_load(&m->failed)) {
        atomic_store(&m->failed, index);
        m->status = status;
    }
    pthread_mutex_unlock(&m->lock);
}

static lb_status one_frame(many *m, int32_t frame)
{
    size_t most = (size_t)m->most_wants;
    lb_want *wants = lb_alloc(most + 1, sizeof *wants);
    lb_value *values = lb_alloc(most + 1, sizeof *values);
    lb_key *keys = lb_alloc(most + 1, sizeof *keys);
    double begin = lb_clock_s();
    lb_status status;
    int32_t count = 0;

    if (wants && values && keys) {
        count = m->calls->wants(m->context, frame, wants, m->most_wants);
        status = lb_run_frame(m->run, frame, wants, count, values, keys);
        if (status == LB_OK)
            status = m->calls->made(m->context, frame, lb_clock_s() - begin, values, keys, count);
    } else {
        status = lb_fail(m->run->diag, LB_MEMORY, LB_NOWHERE, "no memory");
    }
    for (int32_t i = 0; values && i < count; i++)
        lb_value_unref(&values[i]);
    lb_free(wants);
    lb_free(values);
    lb_free(keys);
    return status;
}

/* A lane: one frame after the other until there are none left. */
static lb_status run_lane(void *context, int32_t begin, int32_t end, int32_t worker)
{
    many *m = context;

    (void)begin, (void)end, (void)worker;
    for (;;) {
        int32_t index = atomic_fetch_add(&m->next, 1);
        lb_status status;

        if (index >= m->count || index > atomic_load(&m->failed))
            return LB_OK;
        if (lb_pool_is_cancelled(m->run->pool))
            status = LB_CANCELLED;
        else
            status = one_frame(m, m->frames[index]);
        if (status != LB_OK)
            note_failure(m, index, status);
    }
}

/* How many frames to make at once: as many as there are threads, and memory for what the first one
 * took beside what stays. */
static int32_t count_lanes(const many *m, size_t before)
{
    size_t used = lb_memory_used(), peak = lb_memory_peak(), room = lb_memory_budget();
    size_t each = peak > before ? peak - before : 1;
    int32_t lanes = lb_pool_threads(m->run->pool), left = m->count - atomic_load(&m->next);

    if (room == 0)
        room = lb_memory_of_system() / 2;
    room = room > used ? room - used : 0;
    if ((size_t)lanes > room / each)
        lanes = room / each > 0 ? (int32_t)(room / each) : 1;
    return lanes < left ? lanes : left;
}

lb_status lb_run_frames(lb_run *run, const int32_t *frames, int32_t count, int32_t most_wants,
                        const lb_run_frames_calls *calls, void *context)
{
    many m = {.run = run,
              .frames = frames,
              .count = count,
              .most_wants = most_wants,
              .calls = calls,
              .context = context,
              .failed = count};
    size_t before = lb_memory_used();
    lb_status status;

    if (count <= 0)
        return LB_OK;
    pthread_mutex_init(&m.lock, NULL);
    lb_memory_reset_peak();
    m.next = 1;
    status = one_frame(&m, frames[0]); /* alone, to see what it takes */
    if (status != LB_OK)
        note_failure(&m, 0, status);
    else if (count > 1)
        status = lb_pool_for_waiting(run->pool, count_lanes(&m, before), run_lane, &m);
    pthread_mutex_destroy(&m.lock);
    if (m.failed < count)
        return m.status;
    return status;
}
