/* engine/api/object.c: the graph object: made, filled, asked what is in it. */
#include "engine/api/object.h"

#include <stdlib.h>
#include <string.h>

#include "nodes/nodes.h"

#define USUAL_CACHE ((size_t)1 << 30)
#define STRUCT_MOST 65536 /* no struct will ever be so large: the size was not set */

#define SAME(ours, theirs) _Static_assert((int)(ours) == (int)(theirs), "one result type")
SAME(LB_OK, LAMPBLACK_OK);
SAME(LB_INVALID, LAMPBLACK_INVALID);
SAME(LB_NOT_FOUND, LAMPBLACK_NOT_FOUND);
SAME(LB_IO, LAMPBLACK_IO);
SAME(LB_FORMAT, LAMPBLACK_FORMAT);
SAME(LB_UNSUPPORTED, LAMPBLACK_UNSUPPORTED);
SAME(LB_LIMIT, LAMPBLACK_LIMIT);
SAME(LB_MEMORY, LAMPBLACK_MEMORY);
SAME(LB_CANCELLED, LAMPBLACK_CANCELLED);
SAME(LB_NOTE, LAMPBLACK_NOTE);
SAME(LB_WARNING, LAMPBLACK_WARNING);
SAME(LB_ERROR, LAMPBLACK_ERROR);
SAME(LB_MAX_CHANNELS, LAMPBLACK_MAX_CHANNELS);

const char *lampblack_version(void)
{
    return LAMPBLACK_VERSION;
}

int32_t lampblack_version_number(void)
{
    return LAMPBLACK_VERSION_NUMBER;
}

lampblack_status lb_api_status(lb_status status)
{
    return (lampblack_status)status;
}

const char *lampblack_status_text(lampblack_status status)
{
    return lb_status_text((lb_status)status);
}

bool lb_api_take(void *own, size_t own_size, const void *given)
{
    size_t size;

    memset(own, 0, own_size);
    if (!given)
        return false;
    memcpy(&size, given, sizeof size);
    if (size < sizeof size || size > STRUCT_MOST)
        return false;
    for (size_t i = own_size; i < size; i++)
        if (((const char *)given)[i])
            return false;
    memcpy(own, given, size < own_size ? size : own_size);
    return true;
}

bool lb_api_give(void *given, const void *own, size_t own_size)
{
    size_t size, known;

    if (!given)
        return false;
    memcpy(&size, given, sizeof size);
    if (size < sizeof size || size > STRUCT_MOST)
        return false;
    known = size < own_size ? size : own_size;
    memcpy((char *)given + sizeof size, (const char *)own + sizeof size, known - sizeof size);
    memset((char *)given + known, 0, size - known);
    return true;
}

/* --- life --- */

static lb_status make(lampblack_graph *graph, const lampblack_options *options)
{
    lb_status status;

    if (!(graph->diag = lb_diag_new()))
        return LB_MEMORY;
    graph->cache_bytes = options->keeps_nothing ? 0
                         : options->cache_bytes ? options->cache_bytes
                                                : USUAL_CACHE;
    if (options->cache_folder && !(graph->cache_folder = lb_strdup(options->cache_folder)))
        return LB_MEMORY;
    if ((status = lb_operators_new(lb_nodes_registry, &graph->operators)) != LB_OK)
        return status;
    return lb_pool_new(options->threads, &graph->pool);
}

lampblack_status lampblack_graph_new(const lampblack_options *options, lampblack_graph **out)
{
    lampblack_options own = {.size = sizeof own};
    lampblack_graph *graph;
    lb_status status;

    if (!out)
        return LAMPBLACK_INVALID;
    *out = NULL;
    if (options && (!lb_api_take(&own, sizeof own, options) || own.threads < 0))
        return LAMPBLACK_INVALID;
    if (!(graph = lb_alloc(1, sizeof *graph)))
        return LAMPBLACK_MEMORY;
    if (pthread_mutex_init(&graph->turn_lock, NULL) != 0)
        goto no_turn;
    if (pthread_mutex_init(&graph->word_lock, NULL) != 0)
        goto no_words;
    if (!lb_api_condition(&graph->turn_over))
        goto no_condition;
    if ((status = make(graph, &own)) == LB_OK)
        *out = graph;
    else
        lampblack_graph_free(&graph);
    return lb_api_status(status);
no_condition:
    pthread_mutex_destroy(&graph->word_lock);
no_words:
    pthread_mutex_destroy(&graph->turn_lock);
no_turn:
    lb_free(graph);
    return LAMPBLACK_MEMORY;
}

void lampblack_graph_free(lampblack_graph **graph)
{
    lampblack_graph *old;

    if (!graph || !*graph)
        return;
    old = *graph;
    *graph = NULL;
    for (int i = 0; i < LB_API_RUNS; i++)
        lb_run_free(&old->runs[i].run);
    lb_pool_free(&old->pool);
    if (old->graph)
        lb_graph_free(&old->graph);
    lb_operators_free(&old->operators);
    for (size_t i = 0; i < old->setting_count; i++) {
        lb_free((char *)old->settings[i].name);
        lb_free((char *)old->settings[i].value);
    }
    lb_free(old->settings);
    lb_free(old->version);
    for (size_t i = 0; i < old->message_count; i++)
        lb_free((char *)old->messages[i].text);
    lb_free(old->messages);
    lb_text_clear(&old->report);
    lb_free(old->cache_folder);
    lb_diag_free(&old->diag);
    pthread_cond_destroy(&old->turn_over);
    pthread_mutex_destroy(&old->word_lock);
    pthread_mutex_destroy(&old->turn_lock);
    lb_free(old);
}

/* --- filling --- */

static lb_status check_unloaded(const lampblack_graph *graph, const void *argument)
{
    if (!argument)
        return lb_fail(graph->diag, LB_INVALID, LB_NOWHERE, "an argument is NULL");
    if (graph->was_loaded)
        return lb_fail(graph->diag, LB_INVALID, LB_NOWHERE,
                       "this object was loaded before; make another");
    return LB_OK;
}

lampblack_status lampblack_load_operators(lampblack_graph *graph, const char *path)
{
    lb_status status;

    if (!graph)
        return LAMPBLACK_INVALID;
    if ((status = check_unloaded(graph, path)) == LB_OK)
        status = lb_operators_load(graph->operators, graph->diag, LB_NOWHERE, path);
    return lb_api_status(status);
}

lampblack_status lampblack_set(lampblack_graph *graph, const char *name, const char *value)
{
    lb_setting setting;
    lb_status status;

    if (!graph)
        return LAMPBLACK_INVALID;
    if ((status = check_unloaded(graph, name && value ? name : NULL)) != LB_OK)
        return lb_api_status(status);
    setting = (lb_setting){lb_strdup(name), lb_strdup(value)};
    if (!setting.name || !setting.value || graph->setting_count == INT32_MAX ||
        !lb_grow((void **)&graph->settings, &graph->setting_capacity, graph->setting_count,
                 sizeof *graph->settings)) {
        lb_free((char *)setting.name);
        lb_free((char *)setting.value);
        return lb_api_status(lb_fail(graph->diag, LB_MEMORY, LB_NOWHERE, "no memory"));
    }
    graph->settings[graph->setting_count++] = setting;
    return LAMPBLACK_OK;
}

lampblack_status lampblack_choose_version(lampblack_graph *graph, const char *name)
{
    char *version;
    lb_status status;

    if (!graph)
        return LAMPBLACK_INVALID;
    if ((status = check_unloaded(graph, name)) != LB_OK)
        return lb_api_status(status);
    if (!(version = lb_strdup(name)))
        return lb_api_status(lb_fail(graph->diag, LB_MEMORY, LB_NOWHERE, "no memory"));
    lb_free(graph->version);
    graph->version = version;
    return LAMPBLACK_OK;
}

static lb_lang_options reading(const lampblack_graph *graph)
{
    return (lb_lang_options){.ops = lb_operators_list(graph->operators),
                             .settings = graph->settings,
                             .setting_count = (int32_t)graph->setting_count,
                             .version = graph->version};
}

/* What a file or a text left: takes its place, or goes. */
static lampblack_status settle(lampblack_graph *graph, lb_status status, lb_graph *loaded)
{
    graph->was_loaded = true;
    if (status == LB_OK)
        graph->graph = loaded;
    else if (loaded)
        lb_graph_free(&loaded);
    return lb_api_status(status);
}

lampblack_status lampblack_load(lampblack_graph *graph, const char *path)
{
    lb_graph *loaded = NULL;
    lb_lang_options options;
    lb_status status;

    if (!graph)
        return LAMPBLACK_INVALID;
    if ((status = check_unloaded(graph, path)) != LB_OK)
        return lb_api_status(status);
    options = reading(graph);
    status = lb_lang_read(graph->diag, path, &options, &loaded);
    return settle(graph, status, loaded);
}

lampblack_status lampblack_parse(lampblack_graph *graph, const char *name, const char *text,
                                 size_t bytes)
{
    lb_graph *loaded = NULL;
    lb_lang_options options;
    lb_status status;

    if (!graph)
        return LAMPBLACK_INVALID;
    if ((status = check_unloaded(graph, name && (text || !bytes) ? name : NULL)) != LB_OK)
        return lb_api_status(status);
    options = reading(graph);
    status = lb_lang_read_text(graph->diag, name, text, bytes, &options, &loaded);
    return settle(graph, status, loaded);
}

/* --- messages --- */

/* Takes over what was said since the last time; messages stay where they are once handed out. */
static void listen(lampblack_graph *graph)
{
    lb_message said;

    while (graph->message_count < INT32_MAX &&
           lb_diag_message(graph->diag, (int32_t)graph->message_count, &said)) {
        if (!said.text || !lb_grow((void **)&graph->messages, &graph->message_capacity,
                                   graph->message_count, sizeof *graph->messages)) {
            lb_free(said.text);
            return; /* perhaps there is room the next time */
        }
        graph->messages[graph->message_count++] =
            (lampblack_message){.size = sizeof(lampblack_message),
                                .severity = (lampblack_severity)said.severity,
                                .file = said.loc.file,
                                .line = said.loc.line,
                                .column = said.loc.column,
                                .length = said.loc.length,
                                .text = said.text};
    }
}

int32_t lampblack_message_count(lampblack_graph *graph)
{
    int32_t count;

    if (!graph)
        return 0;
    pthread_mutex_lock(&graph->word_lock);
    listen(graph);
    count = (int32_t)graph->message_count;
    pthread_mutex_unlock(&graph->word_lock);
    return count;
}

lampblack_status lampblack_message_at(lampblack_graph *graph, int32_t index, lampblack_message *out)
{
    lampblack_status status = LAMPBLACK_NOT_FOUND;

    if (!graph)
        return LAMPBLACK_INVALID;
    pthread_mutex_lock(&graph->word_lock);
    if (index >= 0 && (size_t)index < graph->message_count)
        status = lb_api_give(out, &graph->messages[index], sizeof *graph->messages)
                     ? LAMPBLACK_OK
                     : LAMPBLACK_INVALID;
    pthread_mutex_unlock(&graph->word_lock);
    return status;
}

/* As much of `text` as `buffer` holds. */
static size_t hand_over(const char *text, size_t length, char *buffer, size_t bytes)
{
    if (buffer && bytes > 0) {
        size_t count = length < bytes ? length : bytes - 1;

        memcpy(buffer, text, count);
        buffer[count] = 0;
    }
    return length;
}

size_t lampblack_report(lampblack_graph *graph, char *buffer, size_t bytes)
{
    char *text = NULL;
    size_t length = 0;
    FILE *memory;

    if (!graph)
        return 0;
    pthread_mutex_lock(&graph->word_lock);
    if ((memory = open_memstream(&text, &length))) {
        lb_diag_print(graph->diag, memory, false);
        if (fclose(memory) == 0)
            lb_text_add(&graph->report, text, length);
        free(text);
    }
    length = hand_over(graph->report.bytes ? graph->report.bytes : "", graph->report.length, buffer,
                       bytes);
    pthread_mutex_unlock(&graph->word_lock);
    return length;
}

/* --- what is in it --- */

lampblack_status lampblack_frame_of(lampblack_graph *graph, lampblack_frame *out)
{
    lampblack_frame own = {.size = sizeof own};
    const lb_format *format;

    if (!graph || !graph->graph)
        return LAMPBLACK_INVALID;
    format = &graph->graph->format;
    own.width = format->width;
    own.height = format->height;
    own.rate_num = format->rate.num;
    own.rate_den = format->rate.den;
    own.first = format->first;
    own.last = format->last;
    own.pixel_aspect = format->pixel_aspect;
    own.space = lb_space_names[format->working];
    return lb_api_give(out, &own, sizeof own) ? LAMPBLACK_OK : LAMPBLACK_INVALID;
}

int32_t lampblack_output_count(lampblack_graph *graph)
{
    return graph && graph->graph ? graph->graph->output_count : 0;
}

lampblack_status lampblack_output_at(lampblack_graph *graph, int32_t index, lampblack_output *out)
{
    lampblack_output own = {.size = sizeof own};
    lampblack_picture picture = {.size = sizeof picture};
    lampblack_request request = {.size = sizeof request};
    const lb_format *format;
    const lb_output *output;
    lampblack_status status;

    if (!graph || !graph->graph)
        return LAMPBLACK_INVALID;
    if (index < 0 || index >= graph->graph->output_count)
        return LAMPBLACK_NOT_FOUND;
    format = &graph->graph->format;
    output = &graph->graph->outputs[index];
    own.first = output->first > format->first ? output->first : format->first;
    own.last = output->last < format->last ? output->last : format->last;
    request.output = output->name;
    request.frame = own.first;
    if ((status = lampblack_describe(graph, &request, &picture)) != LAMPBLACK_OK)
        return status;
    own.name = output->name;
    own.file = output->file;
    own.width = picture.width;
    own.height = picture.height;
    return lb_api_give(out, &own, sizeof own) ? LAMPBLACK_OK : LAMPBLACK_INVALID;
}

size_t lampblack_output_path(lampblack_graph *graph, const char *output, int32_t frame,
                             char *buffer, size_t bytes)
{
    size_t length = 0;

    for (int32_t i = 0; output && i < lampblack_output_count(graph); i++) {
        char *path;

        if (strcmp(graph->graph->outputs[i].name, output) != 0)
            continue;
        path = lb_sequence_name(graph->graph->outputs[i].file, frame);
        length = path ? strlen(path) : 0;
        hand_over(path ? path : "", length, buffer, bytes);
        lb_free(path);
        return length;
    }
    hand_over("", 0, buffer, bytes);
    return 0;
}

int32_t lampblack_param_count(lampblack_graph *graph)
{
    return graph && graph->graph ? graph->graph->param_count : 0;
}

lampblack_status lampblack_param_at(lampblack_graph *graph, int32_t index, lampblack_param *out)
{
    lampblack_param own = {.size = sizeof own};
    const lb_graph_param *param;

    if (!graph || !graph->graph)
        return LAMPBLACK_INVALID;
    if (index < 0 || index >= graph->graph->param_count)
        return LAMPBLACK_NOT_FOUND;
    param = &graph->graph->params[index];
    own.name = param->name;
    own.type = param->type;
    own.value = param->value;
    return lb_api_give(out, &own, sizeof own) ? LAMPBLACK_OK : LAMPBLACK_INVALID;
}

/* --- memory --- */

void lampblack_memory_limit(size_t bytes)
{
    lb_memory_set_budget(bytes);
}

size_t lampblack_memory_used(void)
{
    return lb_memory_used();
}

void lampblack_memory_trim(void)
{
    lb_memory_trim();
}
