/* engine/cli/render.c: lampblack render GRAPH. */
#include <signal.h>
#include <string.h>
#include <unistd.h>

#include "engine/base/file.h"
#include "engine/base/text.h"
#include "engine/cli/cli.h"
#include "engine/cli/writer.h"

#define DEFAULT_CACHE ((size_t)1 << 30)

typedef struct render_options {
    const char *graph, *outputs, *version, *cache, *profile;
    lb_frames frames;
    lb_settings settings;
    lb_texts objects;
    double scale;
    int32_t size[2];
    int32_t threads;
    size_t memory, cache_size;
    int32_t shard[2];
    int progress; /* an lb_progress_mode */
    bool explain;
} render_options;

static lb_pool *volatile pool_to_cancel; /* what a signal stops: handlers get nothing handed in */

static void on_signal(int number)
{
    (void)number;
    if (pool_to_cancel)
        lb_pool_cancel(pool_to_cancel);
}

static void watch_signals(lb_pool *pool)
{
    struct sigaction action = {.sa_handler = on_signal, .sa_flags = (int)SA_RESETHAND};

    pool_to_cancel = pool;
    sigaction(SIGINT, &action, NULL);
    sigaction(SIGTERM, &action, NULL);
    signal(SIGPIPE, SIG_IGN);
#ifdef SIGXFSZ
    signal(SIGXFSZ, SIG_IGN); /* a file over the limit is then a failed write, with a message */
#endif
}

typedef struct job {
    lb_session *session;
    const render_options *options;
    lb_diag *diag; /* the session's, as what follows */
    lb_pool *pool;
    lb_graph *graph;
    lb_run *run;
    const lb_output **outputs; /* chosen */
    int32_t output_count;
    int32_t *frames;
    int32_t frame_count;
    lb_progress *progress;
    lb_profile *profile; /* lent */
    lb_writer *writer;
} job;

/* Which outputs: all, or those that --outputs names. */
static lb_status choose_outputs(job *s)
{
    const lb_graph *graph = s->graph;
    char *names, *save = NULL;
    lb_status status = LB_OK;

    s->outputs = lb_alloc((size_t)graph->output_count + 1, sizeof(lb_output *));
    if (!s->outputs)
        return lb_fail(s->diag, LB_MEMORY, LB_NOWHERE, "no memory");
    if (!s->options->outputs) {
        for (int32_t i = 0; i < graph->output_count; i++)
            s->outputs[s->output_count++] = &graph->outputs[i];
        if (s->output_count == 0)
            return lb_fail(s->diag, LB_INVALID, (lb_loc){.file = graph->file},
                           "the graph has no outputs, so there is nothing to render");
        return LB_OK;
    }
    if (!(names = lb_strdup(s->options->outputs)))
        return lb_fail(s->diag, LB_MEMORY, LB_NOWHERE, "no memory");
    for (char *name = strtok_r(names, ",", &save); name; name = strtok_r(NULL, ",", &save)) {
        int32_t at = 0, chosen = 0;

        while (at < graph->output_count && strcmp(graph->outputs[at].name, name))
            at++;
        while (chosen < s->output_count && strcmp(s->outputs[chosen]->name, name))
            chosen++;
        if (at == graph->output_count)
            status = lb_fail(s->diag, LB_INVALID, LB_NOWHERE, "the graph has no output '%s'", name);
        else if (chosen == s->output_count)
            s->outputs[s->output_count++] = &graph->outputs[at];
    }
    lb_free(names);
    return status;
}

static bool is_due(const lb_output *output, int32_t frame)
{
    return frame >= output->first && frame <= output->last;
}

/* How many of the chosen frames an output is written at. */
static int32_t count_due(const job *s, const lb_output *output)
{
    int32_t count = 0;

    for (int32_t i = 0; i < s->frame_count; i++)
        count += is_due(output, s->frames[i]);
    return count;
}

/* Leaves out the frames at which none of the chosen outputs is written. */
static void drop_idle_frames(job *s)
{
    int32_t kept = 0;

    for (int32_t i = 0; i < s->frame_count; i++) {
        bool due = false;

        for (int32_t o = 0; o < s->output_count; o++)
            due = due || is_due(s->outputs[o], s->frames[i]);
        if (due)
            s->frames[kept++] = s->frames[i];
    }
    s->frame_count = kept;
}

static lb_status choose_frames(job *s)
{
    const lb_format *format = &s->graph->format;
    const lb_frames *given = &s->options->frames;
    const int32_t *shard = s->options->shard;
    int32_t first, last;

    s->frame_count = given->list ? given->count : format->last - format->first + 1;
    if (!(s->frames = lb_alloc((size_t)s->frame_count, sizeof *s->frames)))
        return lb_fail(s->diag, LB_MEMORY, LB_NOWHERE, "no memory");
    for (int32_t i = 0; i < s->frame_count; i++)
        s->frames[i] = given->list ? given->list[i] : format->first + i;
    drop_idle_frames(s);
    /* Shard K of N: a run of neighbouring frames, so that what stays between frames is of use. */
    first = (int32_t)((int64_t)s->frame_count * (shard[0] - 1) / shard[1]);
    last = (int32_t)((int64_t)s->frame_count * shard[0] / shard[1]);
    memmove(s->frames, s->frames + first, (size_t)(last - first) * sizeof *s->frames);
    s->frame_count = last - first;
    return LB_OK;
}

/* Folders are made and tried now, not after the first frame. */
static lb_status prepare_outputs(job *s)
{
    lb_status status = LB_OK;

    for (int32_t i = 0; i < s->output_count; i++) {
        const lb_output *output = s->outputs[i];
        char *folder = lb_path_folder(output->file);
        lb_status one;

        if (!lb_sequence_is_pattern(output->file) && count_due(s, output) > 1)
            one = lb_fail(s->diag, LB_INVALID, output->file_loc,
                          "'%s' has no #### for the frame's number, so %d frames would be written "
                          "over each other; 'range' chooses one",
                          output->file, (int)count_due(s, output));
        else if (!folder)
            one = lb_fail(s->diag, LB_MEMORY, output->file_loc, "no memory");
        else if ((one = lb_folder_make(s->diag, output->file_loc, folder)) == LB_OK &&
                 access(folder, W_OK) != 0)
            one = lb_fail(s->diag, LB_IO, output->file_loc, "'%s' cannot be written to", folder);
        lb_free(folder);
        if (status == LB_OK)
            status = one;
    }
    return status;
}

static lb_status begin_run(job *s)
{
    const render_options *given = s->options;
    lb_run_options options = {.scale = given->scale,
                              .width = given->size[0],
                              .height = given->size[1],
                              .cache_bytes = given->memory ? given->memory / 4 : DEFAULT_CACHE,
                              .cache_folder = given->cache,
                              .cache_disk_bytes = given->cache_size,
                              .pool = s->pool,
                              .profile = s->profile,
                              .diag = s->diag};

    if (given->size[0] > 0) /* pixel lengths follow the width */
        options.scale = (double)given->size[0] / s->graph->format.width;
    return lb_run_new(s->graph, &options, &s->run);
}

/* What is written, and at which frames. */
static lb_status choose(job *s)
{
    lb_status status = choose_outputs(s);

    return status == LB_OK ? choose_frames(s) : status;
}

static lb_status prepare(job *s)
{
    const render_options *options = s->options;
    lb_status status;

    if ((!options->explain && (status = prepare_outputs(s)) != LB_OK) ||
        (status = begin_run(s)) != LB_OK)
        return status;
    if ((status = lb_progress_new((lb_progress_mode)options->progress, s->frame_count,
                                  &s->progress)) != LB_OK)
        return lb_fail(s->diag, status, LB_NOWHERE, "no memory");
    return lb_writer_new(&(lb_writer_options){.pool = s->pool,
                                              .diag = s->diag,
                                              .progress = s->progress,
                                              .profile = s->profile,
                                              .waiting = 2 * s->output_count},
                         &s->writer);
}

static const char *const display_channels[] = {"R", "G", "B", "A", NULL};

/* lb_run_frames_calls.wants: the images of the outputs that are due. */
static int32_t list_wants(void *context, int32_t frame, lb_want *wants, int32_t most)
{
    const job *s = context;
    int32_t count = 0;

    for (int32_t i = 0; i < s->output_count && count < most; i++) {
        const lb_output *output = s->outputs[i];
        bool is_exr = !strcmp(lb_path_extension(output->file), "exr");

        if (is_due(output, frame))
            wants[count++] = (lb_want){.ref = output->image,
                                       .channels = output->layers ? output->layers
                                                   : is_exr       ? NULL
                                                                  : display_channels};
    }
    return count;
}

/* lb_run_frames_calls.made: hands the images to the writer, in the same order. */
static lb_status write_frame(void *context, int32_t frame, double seconds, const lb_value *values,
                             const lb_key *keys, int32_t count)
{
    job *s = context;
    lb_status status = LB_OK;
    int64_t evaluated, reused;

    for (int32_t i = 0, made = 0; i < s->output_count && made < count && status == LB_OK; i++) {
        lb_write_options options = s->outputs[i]->write;

        if (!is_due(s->outputs[i], frame))
            continue;
        options.index = (int64_t)frame - s->graph->format.first;
        status = lb_writer_put(s->writer, s->outputs[i], frame, &options, keys[made],
                               values[made].image);
        made++;
    }
    if (status != LB_OK)
        return status;
    lb_run_totals(s->run, &evaluated, &reused);
    lb_progress_frame(s->progress, frame, seconds, evaluated, reused);
    if (lb_diag_unprinted(s->diag)) {
        lb_progress_clear(s->progress);
        lb_print_messages(s->diag);
    }
    return LB_OK;
}

static lb_status render_all(job *s)
{
    static const lb_run_frames_calls calls = {list_wants, write_frame};

    lb_progress_start(s->progress, lb_run_format(s->run), lb_pool_threads(s->pool));
    return lb_run_frames(s->run, s->frames, s->frame_count, s->output_count, &calls, s);
}

/* --explain: the plans of the frames, to standard output. */
static lb_status explain_all(job *s)
{
    lb_want *wants = lb_alloc((size_t)s->output_count, sizeof *wants);
    lb_status status = wants ? LB_OK : lb_fail(s->diag, LB_MEMORY, LB_NOWHERE, "no memory");

    for (int32_t i = 0; i < s->frame_count && status == LB_OK; i++) {
        lb_text text = {0};
        int32_t count = list_wants(s, s->frames[i], wants, s->output_count);

        status = lb_run_explain(s->run, s->frames[i], wants, count, &text);
        if (status == LB_OK && text.failed)
            status = lb_fail(s->diag, LB_MEMORY, LB_NOWHERE, "no memory");
        if (status == LB_OK)
            printf("%s%s", i ? "\n" : "", text.bytes);
        lb_text_clear(&text);
    }
    lb_free(wants);
    return status;
}

static void print_totals(job *s, double write_seconds)
{
    lb_cache_stats cache = lb_run_cache_stats(s->run);
    int32_t count;
    const lb_node_stats *stats = lb_run_stats(s->run, &count);

    lb_progress_done(s->progress, stats, count, &cache, write_seconds);
}

/* One graph, or one version of it, from its first frame to its last. */
static lb_status run_job(job *s)
{
    lb_status status, written;
    double write_seconds = 0;

    if ((status = prepare(s)) == LB_OK) {
        lb_print_messages(s->diag);
        status = s->options->explain ? explain_all(s) : render_all(s);
    }
    written = lb_writer_finish(&s->writer, &write_seconds);
    if (status == LB_OK)
        status = written;
    if (s->progress) {
        lb_progress_clear(s->progress);
        if (status == LB_OK && !s->options->explain)
            print_totals(s, write_seconds);
    }
    lb_progress_free(&s->progress);
    lb_run_free(&s->run);
    return status;
}

/* ---- Versions ---- */

/* Are there frames that both write under the same name? */
static bool meet(const job *a, const lb_output *x, const job *b, const lb_output *y)
{
    if (strcmp(x->file, y->file) != 0)
        return false;
    for (int32_t i = 0; i < a->frame_count; i++)
        for (int32_t k = 0; is_due(x, a->frames[i]) && k < b->frame_count; k++)
            if (a->frames[i] == b->frames[k] && is_due(y, b->frames[k]))
                return true;
    return false;
}

/* Versions that would write over each other's files. */
static lb_status check_files(const job *jobs, int32_t count)
{
    lb_status status = LB_OK;

    for (int32_t b = 1; b < count; b++)
        for (int32_t a = 0; a < b; a++)
            for (int32_t i = 0; i < jobs[a].output_count; i++)
                for (int32_t k = 0; k < jobs[b].output_count; k++) {
                    const lb_output *x = jobs[a].outputs[i], *y = jobs[b].outputs[k];

                    if (meet(&jobs[a], x, &jobs[b], y))
                        status =
                            lb_fail(jobs[b].diag, LB_INVALID, y->file_loc,
                                    "versions '%s' and '%s' write the same files; put "
                                    "{version} into the pattern",
                                    jobs[a].graph->version->name, jobs[b].graph->version->name);
                }
    return status;
}

typedef struct jobs {
    job *items;
    int32_t count;
} jobs;

static lb_status add_job(lb_session *session, const render_options *options, const char *version,
                         jobs *all)
{
    job *s = &all->items[all->count];
    lb_status status;

    *s = (job){.session = session, .options = options, .diag = session->diag};
    status =
        lb_session_version(session, options->graph, &options->settings, version, false, &s->graph);
    if (status != LB_OK)
        return status;
    all->count++;
    return choose(s);
}

/* The graph, one version of it, or all. */
static lb_status add_jobs(lb_session *session, const render_options *options, jobs *all)
{
    bool is_all = options->version && !strcmp(options->version, "all");
    lb_graph *graph = NULL;
    lb_status status = LB_OK;

    if (is_all) {
        status =
            lb_session_version(session, options->graph, &options->settings, NULL, true, &graph);
        if (status == LB_OK && graph->version_count == 0)
            status = lb_fail(session->diag, LB_INVALID, (lb_loc){.file = graph->file},
                             "the graph has no versions");
    }
    if (status != LB_OK)
        return status;
    all->items = lb_alloc(is_all ? (size_t)graph->version_count : 1, sizeof *all->items);
    if (!all->items)
        return lb_fail(session->diag, LB_MEMORY, LB_NOWHERE, "no memory");
    if (!is_all)
        return add_job(session, options, options->version, all);
    for (int32_t i = 0; i < graph->version_count && status == LB_OK; i++)
        status = add_job(session, options, graph->versions[i].name, all);
    return status == LB_OK ? check_files(all->items, all->count) : status;
}

static void free_jobs(jobs *all)
{
    for (int32_t i = 0; i < all->count; i++) {
        lb_free(all->items[i].outputs);
        lb_free(all->items[i].frames);
    }
    lb_free(all->items);
}

/* ---- The command ---- */

/* The file is tried now, not after the last frame. */
static lb_status begin_profile(lb_diag *diag, const char *path, lb_profile **out)
{
    lb_status status = lb_profile_new(out);

    if (status != LB_OK)
        return lb_fail(diag, status, LB_NOWHERE, "no memory");
    if ((status = lb_profile_write(*out, diag, path)) != LB_OK)
        lb_profile_free(out);
    return status;
}

/* Before a version's progress, and before its plan, when there are several. */
static void say_version(const job *s)
{
    if (s->options->explain)
        printf("version %s\n", s->graph->version->name);
    else if (s->options->progress == LB_PROGRESS_AUTO || s->options->progress == LB_PROGRESS_BAR ||
             s->options->progress == LB_PROGRESS_LINES)
        fprintf(stderr, "version %s\n", s->graph->version->name);
}

static lb_status run_jobs(const jobs *all, lb_profile *profile)
{
    lb_status status = LB_OK;

    for (int32_t i = 0; i < all->count && status == LB_OK; i++) {
        job *s = &all->items[i];

        s->pool = s->session->pool;
        s->profile = profile;
        if (all->count > 1)
            say_version(s);
        status = run_job(s);
    }
    return status;
}

static lb_status run_render(lb_session *session, const void *words)
{
    const render_options *options = words;
    jobs all = {0};
    lb_profile *profile = NULL;
    lb_status status, written;

    lb_session_keep_memory(options->memory);
    if ((status = lb_session_operators(session, &options->objects)) == LB_OK &&
        (status = add_jobs(session, options, &all)) == LB_OK &&
        (status = lb_session_threads(session, options->threads)) == LB_OK &&
        (!options->profile || options->explain ||
         (status = begin_profile(session->diag, options->profile, &profile)) == LB_OK)) {
        watch_signals(session->pool);
        status = run_jobs(&all, profile);
    }
    if (profile) { /* of what there was, also when it failed */
        written = lb_profile_write(profile, session->diag, options->profile);
        if (status == LB_OK)
            status = written;
    }
    lb_print_messages(session->diag);
    if (status == LB_CANCELLED)
        fputs("lampblack: stopped; what was written is whole\n", stderr);
    pool_to_cancel = NULL;
    lb_profile_free(&profile);
    free_jobs(&all);
    return status;
}

/* ---- What it takes ---- */

static const char *const progress_names[] = {"auto", "bar", "lines", "json", "none", NULL};

static const lb_operand operands[] = {
    LB_OPERAND(render_options, graph, "GRAPH", .min = 1, .max = 1, .offer = LB_OFFER_GRAPH,
               .doc = "The graph file."),
    {0},
};

static const lb_option options[] = {
    LB_OPTION(render_options, frames, "--frames", LB_OPTION_FRAMES,
              .doc = "Only these frames, such as 1-270,300; all of the graph's range when not "
                     "given."),
    LB_OPTION(render_options, outputs, "--outputs", LB_OPTION_TEXT, .argument = "NAME,...",
              .expects = "names with commas between them", .offer = LB_OFFER_OUTPUTS, .comma = true,
              .doc = "Only these outputs."),
    LB_OPTION_SET(render_options),
    LB_OPTION_VERSION(render_options, "One of the graph's versions, or all of them, one after the "
                                      "other."),
    LB_OPTION(render_options, scale, "--scale", LB_OPTION_SCALE,
              .doc = "A smaller or larger picture, such as 1/2; lengths in pixels follow."),
    LB_OPTION(render_options, size, "--size", LB_OPTION_SIZE,
              .doc = "A picture of another size in pixels; lengths follow its width."),
    LB_OPTION(render_options, shard, "--shard", LB_OPTION_SHARE,
              .doc = "Only the K-th of N runs of neighbouring frames, for N machines."),
    LB_OPTION_THREADS(render_options),
    LB_OPTION_MEMORY(render_options),
    LB_OPTION(render_options, cache, "--cache", LB_OPTION_TEXT, .argument = "DIR",
              .expects = "a folder", .offer = LB_OFFER_FOLDER,
              .doc = "Keeps results in a folder and uses those that are there."),
    LB_OPTION(render_options, cache_size, "--cache-size", LB_OPTION_BYTES, .min = 1,
              .doc = "The most that the folder may hold, such as 20G."),
    LB_OPTION(render_options, progress, "--progress", LB_OPTION_WORD, .words = progress_names,
              .offer = LB_OFFER_WORDS,
              .doc =
                  "How far it is: a bar on a terminal and else lines, on standard error; or JSON "
                  "on standard output."),
    LB_OPTION(render_options, explain, "--explain", LB_OPTION_FLAG,
              .doc = "Prints the plan of each frame and renders nothing."),
    LB_OPTION(render_options, profile, "--profile", LB_OPTION_TEXT, .argument = "FILE.json",
              .expects = "a file", .offer = LB_OFFER_FILE,
              .doc = "Writes where the time went, in the Trace Event Format."),
    LB_OPTION_OPERATORS(render_options),
    {0},
};

static const lb_example examples[] = {
    {"lampblack render kiln.yaml --frames 1-3 --scale 1/2", "A draft of three frames:"},
    {"lampblack render kiln.yaml --outputs review --cache kept", NULL},
    {"lampblack render kiln.yaml --version all --outputs review --cache kept",
     "Every version; what they share is made once:"},
    {0},
};

const lb_command lb_command_render = {
    .name = "render",
    .summary = "make the outputs' frames",
    .doc = "Every file appears under its name when it is whole, so a render can be stopped at any "
           "moment.",
    .no = "the graph has errors",
    .operands = operands,
    .options = options,
    .examples = examples,
    .options_size = sizeof(render_options),
    .initial = &(const render_options){.scale = 1, .shard = {1, 1}},
    .run = run_render,
};
