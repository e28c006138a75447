/* engine/api/request.c: pixels out of a graph object. */
#include <limits.h>
#include <math.h>
#include <string.h>

#include "engine/api/object.h"
#include "engine/base/file.h"

/* A request as it is worked on. */
typedef struct job {
    lampblack_graph *graph;
    lampblack_request request;
    const lb_output *output; /* NULL: a node */
    lb_want want;
    char *node;    /* of "NODE.LAYER": a copy, cut in two */
    lb_box window; /* asked for */
    bool has_window;
    lb_api_run *place; /* for the time of the turn */
    lb_run *run;
    lb_value value; /* what was made */
    lb_key key;
    lampblack_pixels pixels;
    const char *names[LB_MAX_CHANNELS + 1]; /* wanted of it, NULL-ended */
} job;

/* --- what is asked --- */

static lb_status find_output(job *j)
{
    const lb_graph *graph = j->graph->graph;

    for (int32_t i = 0; i < graph->output_count; i++)
        if (!strcmp(graph->outputs[i].name, j->request.output)) {
            j->output = &graph->outputs[i];
            j->want.ref = j->output->image;
            return LB_OK;
        }
    return lb_fail(j->graph->diag, LB_NOT_FOUND, LB_NOWHERE, "the graph has no output '%s'",
                   j->request.output);
}

static lb_status find_node(job *j)
{
    const lb_graph *graph = j->graph->graph;
    char *dot;

    if (!(j->node = lb_strdup(j->request.node)))
        return lb_fail(j->graph->diag, LB_MEMORY, LB_NOWHERE, "no memory");
    if ((dot = strchr(j->node, '.')))
        *dot = 0;
    j->want.ref =
        (lb_edge_ref){.node = lb_graph_find(graph, j->node), .layer = dot ? dot + 1 : NULL};
    if (j->want.ref.node < 0)
        return lb_fail(j->graph->diag, LB_NOT_FOUND, LB_NOWHERE, "the graph has no node '%s'",
                       j->node);
    j->want.ref.loc = graph->nodes[j->want.ref.node].loc;
    if (graph->nodes[j->want.ref.node].op->result != LB_KIND_IMAGE)
        return lb_fail(j->graph->diag, LB_INVALID, j->want.ref.loc,
                       "'%s' makes %s, which has no pixels", j->node,
                       lb_kind_text(graph->nodes[j->want.ref.node].op->result));
    return LB_OK;
}

static lb_status begin(job *j, lampblack_graph *graph, const lampblack_request *request)
{
    lampblack_request *own = &j->request;

    *j = (job){.graph = graph};
    if (!graph)
        return LB_INVALID;
    if (!graph->graph)
        return lb_fail(graph->diag, LB_INVALID, LB_NOWHERE, "no graph was loaded");
    if (!lb_api_take(own, sizeof *own, request))
        return lb_fail(graph->diag, LB_INVALID, LB_NOWHERE,
                       "the request is NULL, or its size is not set, or it has what version %s "
                       "does not know",
                       LAMPBLACK_VERSION);
    if (!own->output == !own->node)
        return lb_fail(graph->diag, LB_INVALID, LB_NOWHERE,
                       "a request names an output or a node, and not both");
    if (own->scale == 0)
        own->scale = 1;
    if (!(own->scale >= 1.0 / 64 && own->scale <= 64))
        return lb_fail(graph->diag, LB_INVALID, LB_NOWHERE, "'scale' goes from 1/64 to 64");
    if (own->window) {
        j->window = (lb_box){own->window->x0, own->window->y0, own->window->x1, own->window->y1};
        j->has_window = true;
        if (lb_box_is_empty(j->window) || !lb_box_contains(LB_BOX_EVERYTHING, j->window))
            return lb_fail(graph->diag, LB_INVALID, LB_NOWHERE,
                           "the window is empty or goes beyond %d pixels", LB_BOX_LIMIT);
    }
    return own->output ? find_output(j) : find_node(j);
}

static lampblack_status end(job *j, lb_status status)
{
    lb_value_unref(&j->value);
    lb_free(j->node);
    return lb_api_status(status);
}

/* --- turns --- */

/* The place of the run for the request's scale: its own, or that of an idle one, the one that was
 * used longest ago. NULL: both are busy with other scales. */
static lb_api_run *find_place(const job *j)
{
    lb_api_run *found = NULL;

    for (int i = 0; i < LB_API_RUNS; i++) {
        lb_api_run *r = &j->graph->runs[i];

        if (r->run && r->scale == j->request.scale)
            return r;
        if (r->users == 0 && (!found || r->used < found->used))
            found = r;
    }
    return found;
}

/* Waits until there is a place, in line, so that the scales in use do not keep out another; false:
 * cancelled. Under the lock. */
static bool wait_turn(const job *j)
{
    lampblack_graph *graph = j->graph;
    bool is_first = false, is_cancelled = false;

    for (;;) {
        if (!graph->has_first)
            graph->has_first = is_first = true;
        if (is_cancelled || (is_first && find_place(j)))
            break;
        lb_api_sleep(&graph->turn_over, &graph->turn_lock);
        if (j->request.cancel) {
            pthread_mutex_unlock(&graph->turn_lock);
            is_cancelled = j->request.cancel(j->request.cancel_user);
            pthread_mutex_lock(&graph->turn_lock);
        }
    }
    if (is_first) {
        graph->has_first = false;
        pthread_cond_broadcast(&graph->turn_over);
    }
    return !is_cancelled;
}

/* Begins with a run for the request's scale. After LB_OK comes end_turn. */
static lb_status take_turn(job *j)
{
    lampblack_graph *graph = j->graph;
    lb_run_options options = {.pool = graph->pool,
                              .diag = graph->diag,
                              .scale = j->request.scale,
                              .cache_bytes = graph->cache_bytes,
                              .cache_folder = graph->cache_folder};
    lb_status status = LB_CANCELLED;
    lb_api_run *place;

    pthread_mutex_lock(&graph->turn_lock);
    if (wait_turn(j)) {
        place = find_place(j);
        status = LB_OK;
        if (!place->run || place->scale != j->request.scale) {
            lb_run_free(&place->run);
            status = lb_run_new(graph->graph, &options, &place->run);
            place->scale = j->request.scale;
        }
        if (status == LB_OK) {
            place->users++;
            place->used = ++graph->turns;
            j->place = place;
            j->run = place->run;
        }
    }
    pthread_mutex_unlock(&graph->turn_lock);
    return status;
}

static void end_turn(job *j)
{
    lampblack_graph *graph = j->graph;

    pthread_mutex_lock(&graph->turn_lock);
    j->place->users--;
    pthread_cond_broadcast(&graph->turn_over);
    pthread_mutex_unlock(&graph->turn_lock);
}

/* --- what it will be --- */

/* An empty window asks for no pixel, so the picture comes back with its windows and channels'
 * names alone. */
static lb_status describe(job *j, lb_value *out)
{
    static const lb_box nothing = {0, 0, 0, 0};
    lb_want want = j->want;

    want.channels = NULL;
    want.window = &nothing;
    return lb_run_frame(j->run, j->request.frame, &want, 1, out, NULL);
}

static lampblack_box public_box(lb_box box)
{
    return (lampblack_box){box.x0, box.y0, box.x1, box.y1};
}

lampblack_status lampblack_describe(lampblack_graph *graph, const lampblack_request *request,
                                    lampblack_picture *out)
{
    lampblack_picture own = {.size = sizeof own};
    job j;
    lb_status status = begin(&j, graph, request);

    j.request.progress = NULL; /* planning is over before anybody could ask */
    j.request.cancel = NULL;
    if (status != LB_OK || (status = take_turn(&j)) != LB_OK)
        return end(&j, status);
    status = describe(&j, &j.value);
    end_turn(&j);
    if (status != LB_OK)
        return end(&j, status);
    own.display = public_box(lb_image_display(j.value.image));
    own.data = public_box(lb_image_data(j.value.image));
    own.window = j.has_window ? public_box(j.window) : own.display;
    own.width = own.window.x1 - own.window.x0;
    own.height = own.window.y1 - own.window.y0;
    own.pixel_aspect = lb_image_pixel_aspect(j.value.image);
    for (int32_t i = 0; i < lb_image_count(j.value.image); i++) {
        const char *name = lb_diag_intern(graph->diag, lb_image_name(j.value.image, i));

        if (!name)
            return end(&j, lb_fail(graph->diag, LB_MEMORY, LB_NOWHERE, "no memory"));
        own.channels[own.channel_count++] = name;
    }
    if (!lb_api_give(out, &own, sizeof own))
        status = lb_fail(graph->diag, LB_INVALID, LB_NOWHERE, "the size of 'out' is not set");
    return end(&j, status);
}

/* --- pixels --- */

static const char *const rgba[] = {"R", "G", "B", "A"};

static lb_status take_pixels(job *j, const lampblack_pixels *into)
{
    lampblack_pixels *own = &j->pixels;

    if (!lb_api_take(own, sizeof *own, into) || !own->data)
        return lb_fail(
            j->graph->diag, LB_INVALID, LB_NOWHERE,
            "where the pixels go is NULL, or its size is not set, or it has what version "
            "%s does not know",
            LAMPBLACK_VERSION);
    if (!own->channels) {
        own->channels = rgba;
        own->channel_count = 4;
    }
    if (own->channel_count < 1 || own->channel_count > LB_MAX_CHANNELS)
        return lb_fail(j->graph->diag, LB_INVALID, LB_NOWHERE, "from 1 to %d channels",
                       LB_MAX_CHANNELS);
    for (int32_t c = 0; c < own->channel_count; c++)
        if (!(j->names[c] = own->channels[c]))
            return lb_fail(j->graph->diag, LB_INVALID, LB_NOWHERE, "a channel's name is NULL");
    return LB_OK;
}

/* Strides that were not given, and whether the caller's memory holds what is asked. */
static lb_status fit(job *j)
{
    lampblack_pixels *p = &j->pixels;
    size_t width = (size_t)lb_box_width(j->window), height = (size_t)lb_box_height(j->window);
    size_t count = (size_t)p->channel_count, row = p->planar ? width : width * count;
    size_t rows, planes = 0, needed;

    if (!p->row_stride)
        p->row_stride = row;
    if (p->row_stride < row)
        return lb_fail(j->graph->diag, LB_INVALID, LB_NOWHERE,
                       "rows of %zu floats do not fit a row stride of %zu", row, p->row_stride);
    if (!lb_size_mul(p->row_stride, height - 1, &rows) || !lb_size_add(rows, row, &rows))
        return lb_fail(j->graph->diag, LB_LIMIT, LB_NOWHERE, "the strides are too large");
    if (p->planar && !p->plane_stride && !lb_size_mul(p->row_stride, height, &p->plane_stride))
        return lb_fail(j->graph->diag, LB_LIMIT, LB_NOWHERE, "the strides are too large");
    if (p->planar && p->plane_stride < rows)
        return lb_fail(j->graph->diag, LB_INVALID, LB_NOWHERE,
                       "planes of %zu floats do not fit a plane stride of %zu", rows,
                       p->plane_stride);
    if ((p->planar && !lb_size_mul(p->plane_stride, count - 1, &planes)) ||
        !lb_size_add(planes, rows, &needed))
        return lb_fail(j->graph->diag, LB_LIMIT, LB_NOWHERE, "the strides are too large");
    if (p->floats < needed)
        return lb_fail(j->graph->diag, LB_LIMIT, LB_NOWHERE,
                       "the pixels take %zu floats; there is room for %zu", needed, p->floats);
    return LB_OK;
}

/* The window, and whether the channels are there. */
static lb_status prepare(job *j)
{
    lb_value value = {0};
    lb_status status = describe(j, &value);

    if (status != LB_OK)
        return status;
    if (!j->has_window)
        j->window = lb_image_display(value.image);
    for (int32_t c = 0; j->names[c] && status == LB_OK; c++)
        if (!lb_image_find(value.image, j->names[c]) && strcmp(j->names[c], "A") != 0) {
            lb_text list = {0};

            for (int32_t i = 0; i < lb_image_count(value.image); i++)
                lb_text_printf(&list, "%s%s", i ? ", " : "", lb_image_name(value.image, i));
            status = lb_fail(j->graph->diag, LB_NOT_FOUND, j->want.ref.loc,
                             "the picture has no channel '%s'; it has %s", j->names[c],
                             list.bytes ? list.bytes : "none");
            lb_text_clear(&list);
        }
    lb_value_unref(&value);
    if (status == LB_OK)
        status = fit(j);
    return status;
}

/* Row y of one channel of the window. Where there is no plane it is alpha, 1 in the data window. */
static void copy_row(const job *j, const lb_plane *plane, lb_box from, int32_t y, float *out,
                     size_t step)
{
    lb_box window = j->window;
    int32_t x0 = from.x0 > window.x0 ? from.x0 : window.x0;
    int32_t x1 = from.x1 < window.x1 ? from.x1 : window.x1;
    const float *row;

    if (y < from.y0 || y >= from.y1 || x0 >= x1)
        x0 = x1 = window.x1;
    for (int32_t x = window.x0; x < x0; x++, out += step)
        *out = 0;
    row = plane && x0 < x1 ? lb_plane_row(plane, y) - from.x0 : NULL;
    for (int32_t x = x0; x < x1; x++, out += step)
        *out = row ? row[x] : 1;
    for (int32_t x = x1; x < window.x1; x++, out += step)
        *out = 0;
}

static lb_status copy_rows(void *context, int32_t first, int32_t last, int32_t worker)
{
    const job *j = context;
    const lampblack_pixels *p = &j->pixels;

    (void)worker;
    for (int32_t i = first; i < last; i++)
        for (int32_t c = 0; c < p->channel_count; c++) {
            const lb_plane *plane = lb_image_find(j->value.image, j->names[c]);
            lb_box from = plane ? lb_plane_box(plane) : lb_image_data(j->value.image);
            size_t at = (size_t)i * p->row_stride + (size_t)c * (p->planar ? p->plane_stride : 1);

            copy_row(j, plane, from, j->window.y0 + i, p->data + at,
                     p->planar ? 1 : (size_t)p->channel_count);
        }
    return LB_OK;
}

static lb_status evaluate(void *context, const lb_watch *watch)
{
    job *j = context;
    lb_status status = prepare(j);

    if (status != LB_OK)
        return status;
    j->want.channels = j->names;
    j->want.window = &j->window;
    status = lb_run_frame_watched(j->run, j->request.frame, &j->want, 1, watch, &j->value, NULL);
    if (status == LB_OK)
        status = lb_pool_for(j->graph->pool, lb_box_height(j->window), 16, copy_rows, j);
    return status;
}

/* Takes its turn and does the work. */
static lb_status run(job *j, lb_errand errand)
{
    lb_status status = take_turn(j);

    if (status != LB_OK)
        return status;
    status = lb_api_follow(j->graph, &j->request, errand, j);
    end_turn(j);
    return status;
}

lampblack_status lampblack_evaluate(lampblack_graph *graph, const lampblack_request *request,
                                    const lampblack_pixels *into)
{
    job j;
    lb_status status = begin(&j, graph, request);

    if (status == LB_OK)
        status = take_pixels(&j, into);
    if (status == LB_OK)
        status = run(&j, evaluate);
    return end(&j, status);
}

/* --- files --- */

static lb_status write_file(const job *j)
{
    const lb_output *output = j->output;
    lb_write_options options = output->write;
    lb_diag *diag = j->graph->diag;
    char *path = lb_sequence_name(output->file, j->request.frame);
    char *folder = path ? lb_path_folder(path) : NULL;
    char key[LB_KEY_TEXT];
    lb_status status;

    options.index = (int64_t)j->request.frame - j->graph->graph->format.first;
    options.graph_key = lb_key_text(j->key, key);
    if (!folder)
        status = lb_fail(diag, LB_MEMORY, output->file_loc, "no memory");
    else if ((status = lb_folder_make(diag, output->file_loc, folder)) == LB_OK)
        status =
            lb_media_write(j->graph->pool, diag, output->file_loc, path, j->value.image, &options);
    lb_free(folder);
    lb_free(path);
    return status;
}

static lb_status write_output(void *context, const lb_watch *watch)
{
    static const char *const shown[] = {"R", "G", "B", "A", NULL};
    job *j = context;
    bool is_exr = !strcmp(lb_path_extension(j->output->file), "exr");
    lb_status status;

    j->want.channels = j->output->layers ? j->output->layers : is_exr ? NULL : shown;
    status = lb_run_frame_watched(j->run, j->request.frame, &j->want, 1, watch, &j->value, &j->key);
    return status == LB_OK ? write_file(j) : status;
}

lampblack_status lampblack_write(lampblack_graph *graph, const lampblack_request *request)
{
    job j;
    lb_status status = begin(&j, graph, request);

    if (status == LB_OK && (!j.output || j.has_window))
        status = lb_fail(graph->diag, LB_INVALID, LB_NOWHERE,
                         "what is written is an output, and all of it");
    if (status == LB_OK)
        status = run(&j, write_output);
    return end(&j, status);
}
