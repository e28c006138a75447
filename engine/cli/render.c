/* engine/cli/render.c: lampblack render GRAPH. */
#include <limits.h>
#include <malloc.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "engine/base/file.h"
#include "engine/base/text.h"
#include "engine/cli/cli.h"
#include "engine/cli/writer.h"

#define DEFAULT_CACHE ((size_t)1 << 30)

typedef struct arguments {
    const char *graph, *frames, *outputs, *cache, *profile;
    size_t cache_size;
    bool explain;
    lb_setting settings[LB_MAX_SETTINGS];
    int32_t setting_count;
    const char *objects[LB_MAX_OBJECTS];
    int32_t object_count;
    double scale;
    int32_t width, height;
    int32_t threads;
    size_t memory;
    int32_t shard, shards;
    lb_progress_mode progress;
} arguments;

static const char *const progress_names[] = {"auto", "bar", "lines", "json", "none", NULL};

static bool parse_pair(const char *text, char between, int32_t *a, int32_t *b)
{
    char *end;
    long first = strtol(text, &end, 10), second;

    if (end == text || *end != between || first < 1 || first > INT32_MAX)
        return false;
    text = end + 1;
    second = strtol(text, &end, 10);
    if (end == text || *end || second < 1 || second > INT32_MAX)
        return false;
    *a = (int32_t)first;
    *b = (int32_t)second;
    return true;
}

/* NULL, or what is wrong with the value of that option. */
static const char *parse_value(arguments *args, const char *name, char *value)
{
    char *end;
    long number;

    if (!strcmp(name, "--set"))
        return lb_setting_add(args->settings, &args->setting_count, value);
    if (!strcmp(name, "--operators"))
        return lb_object_add(args->objects, &args->object_count, value);
    if (!strcmp(name, "--frames"))
        args->frames = value;
    else if (!strcmp(name, "--outputs"))
        args->outputs = value;
    else if (!strcmp(name, "--cache"))
        args->cache = value;
    else if (!strcmp(name, "--profile"))
        args->profile = value;
    else if (!strcmp(name, "--cache-size"))
        return lb_bytes_parse(value, &args->cache_size) && args->cache_size > 0
                   ? NULL
                   : "--cache-size takes bytes, such as 20G";
    else if (!strcmp(name, "--scale"))
        return lb_scale_parse(value, &args->scale) ? NULL : "--scale takes 1/64 to 64";
    else if (!strcmp(name, "--size"))
        return parse_pair(value, 'x', &args->width, &args->height) && args->width <= 65536 &&
                       args->height <= 65536
                   ? NULL
                   : "--size takes WIDTHxHEIGHT in pixels";
    else if (!strcmp(name, "--memory"))
        return lb_bytes_parse(value, &args->memory) ? NULL : "--memory takes bytes, such as 4G";
    else if (!strcmp(name, "--shard"))
        return parse_pair(value, '/', &args->shard, &args->shards) && args->shard <= args->shards
                   ? NULL
                   : "--shard takes K/N with K from 1 to N";
    else if (!strcmp(name, "--threads")) {
        number = strtol(value, &end, 10);
        if (end == value || *end || number < 0 || number > 1024)
            return "--threads takes a count, 0 for all processors";
        args->threads = (int32_t)number;
    } else if (!strcmp(name, "--progress")) {
        for (int i = 0; progress_names[i]; i++)
            if (!strcmp(progress_names[i], value)) {
                args->progress = (lb_progress_mode)i;
                return NULL;
            }
        return "--progress is one of auto, bar, lines, json, none";
    }
    return NULL;
}

static int parse_arguments(int argc, char **argv, arguments *args)
{
    static const char *const options[] = {"--frames",     "--outputs",  "--set",       "--scale",
                                          "--size",       "--threads",  "--memory",    "--shard",
                                          "--cache",      "--progress", "--operators", "--profile",
                                          "--cache-size", "--explain"};
    const size_t all = sizeof options / sizeof options[0], count = all - 1; /* with a value */

    *args = (arguments){.scale = 1, .shard = 1, .shards = 1};
    for (int i = 1; i < argc; i++) {
        const char *value = NULL, *wrong;
        size_t o = 0;

        while (o < count && !lb_option(argc, argv, &i, options[o], &value))
            o++;
        if (o < count) {
            if (!value)
                return lb_usage(&lb_command_render, "%s takes a value", options[o]);
            if ((wrong = parse_value(args, options[o], (char *)value)))
                return lb_usage(&lb_command_render, "%s: '%s'", wrong, value);
        } else if (!strcmp(argv[i], "--explain")) {
            args->explain = true;
        } else if (argv[i][0] == '-') {
            const char *nearest = lb_text_nearest(argv[i], options, all);

            return lb_usage(&lb_command_render, "there is no option '%s'%s%s%s", argv[i],
                            nearest ? "; did you mean '" : "", nearest ? nearest : "",
                            nearest ? "'?" : "");
        } else if (args->graph) {
            return lb_usage(&lb_command_render, "'%s' is one word too many", argv[i]);
        } else {
            args->graph = argv[i];
        }
    }
    return args->graph ? LB_EXIT_GOOD : lb_usage(&lb_command_render, "which graph?");
}

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
    const arguments *args;
    lb_diag *diag;
    lb_pool *pool;
    lb_operators *operators;
    lb_graph *graph;
    lb_run *run;
    const lb_output **outputs; /* chosen */
    int32_t output_count;
    int32_t *frames;
    int32_t frame_count;
    lb_progress *progress;
    lb_profile *profile;
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
    if (!s->args->outputs) {
        for (int32_t i = 0; i < graph->output_count; i++)
            s->outputs[s->output_count++] = &graph->outputs[i];
        if (s->output_count == 0)
            return lb_fail(s->diag, LB_INVALID, (lb_loc){.file = graph->file},
                           "the graph has no outputs, so there is nothing to render");
        return LB_OK;
    }
    if (!(names = lb_strdup(s->args->outputs)))
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
    int32_t first, last;

    if (s->args->frames) {
        if (!lb_frames_parse(s->args->frames, &s->frames, &s->frame_count))
            return lb_fail(s->diag, LB_INVALID, LB_NOWHERE,
                           "--frames '%s' is not a list such as 1-270,300", s->args->frames);
    } else {
        s->frame_count = format->last - format->first + 1;
        if (!(s->frames = lb_alloc((size_t)s->frame_count, sizeof *s->frames)))
            return lb_fail(s->diag, LB_MEMORY, LB_NOWHERE, "no memory");
        for (int32_t i = 0; i < s->frame_count; i++)
            s->frames[i] = format->first + i;
    }
    drop_idle_frames(s);
    /* Shard K of N: a run of neighbouring frames, so that what stays between frames is of use. */
    first = (int32_t)((int64_t)s->frame_count * (s->args->shard - 1) / s->args->shards);
    last = (int32_t)((int64_t)s->frame_count * s->args->shard / s->args->shards);
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

/* The file is tried now, not after the last frame. */
static lb_status begin_profile(job *s)
{
    lb_status status = lb_profile_new(&s->profile);

    if (status != LB_OK)
        return lb_fail(s->diag, status, LB_NOWHERE, "no memory");
    if ((status = lb_profile_write(s->profile, s->diag, s->args->profile)) != LB_OK)
        lb_profile_free(&s->profile);
    return status;
}

static lb_status prepare(job *s)
{
    const arguments *args = s->args;
    lb_run_options options = {.scale = args->scale,
                              .width = args->width,
                              .height = args->height,
                              .cache_bytes = args->memory ? args->memory / 4 : DEFAULT_CACHE,
                              .cache_folder = args->cache,
                              .cache_disk_bytes = args->cache_size,
                              .diag = s->diag};
    lb_status status;

    if ((status = lb_lang_load(s->diag, args->graph, lb_operators_list(s->operators),
                               args->settings, args->setting_count, &s->graph)) != LB_OK ||
        (status = choose_outputs(s)) != LB_OK || (status = choose_frames(s)) != LB_OK ||
        (!args->explain && (status = prepare_outputs(s)) != LB_OK))
        return status;
    if (args->width > 0) /* pixel lengths follow the width */
        options.scale = (double)args->width / s->graph->format.width;
    if ((status = lb_pool_new(args->threads, &s->pool)) != LB_OK)
        return lb_fail(s->diag, status, LB_NOWHERE, "the threads could not be made");
    options.pool = s->pool;
    if (args->profile && !args->explain && (status = begin_profile(s)) != LB_OK)
        return status;
    options.profile = s->profile;
    if ((status = lb_run_new(s->graph, &options, &s->run)) != LB_OK)
        return status;
    if ((status = lb_progress_new(args->progress, s->frame_count, &s->progress)) != LB_OK)
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

static void end_job(job *s)
{
    pool_to_cancel = NULL;
    lb_progress_free(&s->progress);
    lb_run_free(&s->run);
    lb_profile_free(&s->profile);
    lb_pool_free(&s->pool);
    lb_graph_free(&s->graph);
    lb_operators_free(&s->operators);
    lb_free(s->outputs);
    lb_free(s->frames);
    lb_diag_free(&s->diag);
}

/* --memory is for the whole process: what it has already, its libraries with it, is taken off the
 * budget, and the heap gives back what is free. */
static void keep_memory(size_t bytes)
{
    size_t there = lb_memory_resident();

    mallopt(M_MMAP_THRESHOLD, 1 << 20);
    mallopt(M_TRIM_THRESHOLD, 4 << 20);
    lb_memory_set_budget(bytes > 2 * there ? bytes - there : bytes);
}

static int run_render(int argc, char **argv)
{
    arguments args;
    job s = {.args = &args};
    lb_status status, written;
    double write_seconds = 0;
    int32_t count;
    int result = parse_arguments(argc, argv, &args);

    if (result != LB_EXIT_GOOD)
        return result;
    if (!(s.diag = lb_diag_new())) {
        fputs("lampblack: no memory\n", stderr);
        return LB_EXIT_TROUBLE;
    }
    if (args.memory)
        keep_memory(args.memory);
    if (lb_operators_open(s.diag, args.objects, args.object_count, &s.operators) != LB_OK) {
        lb_print_messages(s.diag);
        end_job(&s);
        return LB_EXIT_TROUBLE;
    }
    if ((status = prepare(&s)) == LB_OK) {
        watch_signals(s.pool);
        lb_print_messages(s.diag);
        status = args.explain ? explain_all(&s) : render_all(&s);
    }
    written = lb_writer_finish(&s.writer, &write_seconds);
    if (status == LB_OK)
        status = written;
    if (s.profile) { /* of what there was, also when it failed */
        written = lb_profile_write(s.profile, s.diag, args.profile);
        if (status == LB_OK)
            status = written;
    }
    if (s.progress) {
        lb_progress_clear(s.progress);
        if (status == LB_OK && !args.explain) {
            const lb_node_stats *stats = lb_run_stats(s.run, &count);
            lb_cache_stats cache = lb_run_cache_stats(s.run);

            lb_progress_done(s.progress, stats, count, &cache, write_seconds);
        }
    }
    lb_print_messages(s.diag);
    if (status == LB_CANCELLED)
        fputs("lampblack: stopped; what was written is whole\n", stderr);
    result = lb_exit_of(status);
    end_job(&s);
    return result;
}

const lb_command lb_command_render = {
    .name = "render",
    .usage = "render GRAPH [--frames 1-270,300] [--outputs NAME,...] [--set NAME=VALUE]...\n"
             "                 [--scale 1/2] [--size WxH] [--threads N] [--memory 4G] "
             "[--shard K/N]\n"
             "                 [--cache DIR] [--cache-size 20G] [--progress "
             "auto|bar|lines|json|none]\n"
             "                 [--explain] [--profile FILE.json] [--operators FILE.so]...",
    .summary = "make the outputs' frames",
    .run = run_render,
};
