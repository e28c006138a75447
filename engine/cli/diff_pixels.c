/* engine/cli/diff_pixels.c */
#include "engine/cli/diff_pixels.h"

#include <math.h>
#include <string.h>
#include <unistd.h>

#include "engine/base/file.h"
#include "engine/cli/diff_picture.h"
#include "engine/cli/diff_words.h"

#define DEFAULT_CACHE ((size_t)512 << 20) /* of each graph, for what frames have in common */

/* An output that both graphs have. */
typedef struct pair {
    const lb_output *outputs[2];
    lb_want wants[2];
    lb_image *images[2];
    lb_picture_diff diff;
} pair;

typedef struct job {
    lb_session *session;
    const lb_diff_pixels_options *options;
    lb_graph *graphs[2];
    lb_run *runs[2];
    pair *pairs;
    int32_t pair_count;
    lb_write_options write;
    int32_t differing_frames;
    double worst_psnr_db;
    int32_t worst_frame;
    bool differ;
} job;

static lb_status no_memory(const job *j)
{
    return lb_fail(j->session->diag, LB_MEMORY, LB_NOWHERE, "no memory");
}

/* Prints what was gathered, and forgets it. */
static lb_status say(const job *j, lb_text *text)
{
    lb_status status = text->failed ? no_memory(j) : LB_OK;

    if (j->options->text && text->bytes && status == LB_OK) {
        fwrite(text->bytes, 1, text->length, j->options->text);
        fflush(j->options->text);
    }
    lb_text_clear(text);
    return status;
}

/* ---- What is compared ---- */

/* Whether "NAME,..." has the name; everything when it is NULL. */
static bool is_chosen(const char *list, const char *name)
{
    size_t length = strlen(name);

    if (!list)
        return true;
    for (; *list; list += *list == ',') {
        size_t word = strcspn(list, ",");

        if (word == length && memcmp(list, name, length) == 0)
            return true;
        list += word;
    }
    return false;
}

static const lb_output *find_output(const lb_graph *graph, const char *name, size_t length)
{
    for (int32_t i = 0; i < graph->output_count; i++)
        if (strlen(graph->outputs[i].name) == length &&
            memcmp(graph->outputs[i].name, name, length) == 0)
            return &graph->outputs[i];
    return NULL;
}

/* Every name of the list is an output of one graph at least. */
static lb_status check_names(const job *j)
{
    lb_status status = LB_OK;

    for (const char *list = j->options->outputs; list && *list; list += *list == ',') {
        size_t length = strcspn(list, ",");

        if (length > 0 && !find_output(j->graphs[0], list, length) &&
            !find_output(j->graphs[1], list, length))
            status = lb_fail(j->session->diag, LB_INVALID, LB_NOWHERE,
                             "neither graph has an output '%.*s'", (int)length, list);
        list += length;
    }
    return status;
}

/* Both graphs make the frame. */
static lb_status check_frames(const job *j)
{
    const lb_frames *frames = &j->options->frames;
    lb_status status = LB_OK;

    for (int side = 0; side < 2; side++) {
        const lb_format *format = &j->graphs[side]->format;

        for (int32_t i = 0; i < frames->count; i++)
            if (frames->list[i] < format->first || frames->list[i] > format->last)
                status =
                    lb_fail(j->session->diag, LB_INVALID, (lb_loc){.file = j->graphs[side]->file},
                            "there is no frame %d; the graph's frames are %d to %d",
                            (int)frames->list[i], (int)format->first, (int)format->last);
    }
    return status;
}

/* The channels that both files can hold, or those that an output names. */
static void set_wants(pair *p)
{
    static const char *const display_channels[] = {"R", "G", "B", "A", NULL};
    bool is_exr = true;

    for (int side = 0; side < 2; side++)
        is_exr = is_exr && strcmp(lb_path_extension(p->outputs[side]->file), "exr") == 0;
    for (int side = 0; side < 2; side++) {
        const lb_output *output = p->outputs[side];

        p->wants[side] = (lb_want){.ref = output->image,
                                   .channels = output->layers ? output->layers
                                               : is_exr       ? NULL
                                                              : display_channels};
    }
}

/* Outputs of one graph only are told; they are a difference. */
static lb_status tell_lone(job *j, int side)
{
    const lb_graph *graph = j->graphs[side], *other = j->graphs[!side];
    lb_json *json = j->options->json;
    lb_text text = {0};

    if (json) {
        lb_json_key(json, side ? "outputs_only_in_b" : "outputs_only_in_a");
        lb_json_open(json, '[', true);
    }
    for (int32_t i = 0; i < graph->output_count; i++) {
        const char *name = graph->outputs[i].name;

        if (!is_chosen(j->options->outputs, name) || find_output(other, name, strlen(name)))
            continue;
        j->differ = true;
        lb_text_printf(&text, "output %s is only in %s\n", name, j->options->graphs[side]);
        if (json)
            lb_json_text(json, name);
    }
    if (json)
        lb_json_close(json, ']');
    return say(j, &text);
}

static lb_status match_outputs(job *j)
{
    const lb_graph *graph = j->graphs[1];
    lb_status status = check_names(j);

    if (status == LB_OK && !(j->pairs = lb_alloc((size_t)graph->output_count + 1, sizeof(pair))))
        status = no_memory(j);
    for (int32_t i = 0; i < graph->output_count && status == LB_OK; i++) {
        const char *name = graph->outputs[i].name;
        const lb_output *old = find_output(j->graphs[0], name, strlen(name));
        pair *p = &j->pairs[j->pair_count];

        if (!old || !is_chosen(j->options->outputs, name))
            continue;
        p->outputs[0] = old;
        p->outputs[1] = &graph->outputs[i];
        set_wants(p);
        j->pair_count++;
    }
    for (int side = 0; side < 2 && status == LB_OK; side++)
        status = tell_lone(j, side);
    return status;
}

/* ---- Before the first frame ---- */

static lb_status check_image(job *j)
{
    const char *path = j->options->image, *extension;
    lb_diag *diag = j->session->diag;
    lb_status status = LB_OK;
    char *folder;

    if (!path)
        return LB_OK;
    extension = lb_path_extension(path);
    j->write = (lb_write_options){
        .depth = strcmp(extension, "exr") == 0 || strcmp(extension, "hdr") == 0 ? LB_DEPTH_HALF
                                                                                : LB_DEPTH_8,
        .compression = LB_COMPRESSION_ZIP,
        .view = LB_VIEW_SRGB,
        .working = j->graphs[0]->format.working,
        .rate = j->graphs[0]->format.rate};
    if (j->options->frames.count > 1 && !lb_sequence_is_pattern(path))
        return lb_fail(diag, LB_INVALID, LB_NOWHERE,
                       "'%s' has no #### for the frame's number, so %d frames would be written "
                       "over each other",
                       path, (int)j->options->frames.count);
    if ((status = lb_media_check_write(diag, LB_NOWHERE, path, &j->write)) != LB_OK)
        return status;
    if (!(folder = lb_path_folder(path)))
        return no_memory(j);
    status = lb_folder_make(diag, LB_NOWHERE, folder);
    if (status == LB_OK && access(folder, W_OK) != 0)
        status = lb_fail(diag, LB_IO, LB_NOWHERE, "'%s' cannot be written to", folder);
    lb_free(folder);
    return status;
}

static lb_status begin_runs(job *j)
{
    const lb_diff_pixels_options *given = j->options;
    lb_status status = LB_OK;

    if (!j->session->pool)
        status = lb_session_threads(j->session, given->threads);
    for (int side = 0; side < 2 && status == LB_OK; side++) {
        lb_run_options options = {.pool = j->session->pool,
                                  .diag = j->session->diag,
                                  .width = given->size[0],
                                  .height = given->size[1],
                                  .scale = given->scale};

        if (given->size[0] > 0) /* pixel lengths follow the width */
            options.scale = (double)given->size[0] / j->graphs[side]->format.width;
        if (given->frames.count > 1)
            options.cache_bytes = given->memory ? given->memory / 8 : DEFAULT_CACHE;
        status = lb_run_new(j->graphs[side], &options, &j->runs[side]);
    }
    return status;
}

static lb_status prepare(job *j)
{
    lb_status status = LB_OK;

    lb_session_keep_memory(j->options->memory);
    for (int side = 0; side < 2 && status == LB_OK; side++)
        status = lb_session_version(j->session, j->options->graphs[side], j->options->settings,
                                    j->options->version, false, &j->graphs[side]);
    if (status != LB_OK || (status = check_frames(j)) != LB_OK ||
        (status = check_image(j)) != LB_OK)
        return status;
    return begin_runs(j);
}

/* ---- One frame ---- */

static bool is_due(const pair *p, int32_t frame)
{
    for (int side = 0; side < 2; side++)
        if (frame < p->outputs[side]->first || frame > p->outputs[side]->last)
            return false;
    return true;
}

static bool same_texts(const char *const *a, const char *const *b)
{
    for (; a && b && *a && *b; a++, b++)
        if (strcmp(*a, *b) != 0)
            return false;
    return a == b || (a && b && !*a && !*b);
}

static bool same_formats(const job *j)
{
    const lb_format *a = lb_run_format(j->runs[0]), *b = lb_run_format(j->runs[1]);

    return a->width == b->width && a->height == b->height && a->scale == b->scale &&
           a->pixel_aspect == b->pixel_aspect && a->working == b->working;
}

/* Equal keys are equal pixels, in the same layer and the same channels. */
static bool is_known_to_be_same(const pair *p)
{
    const char *a = p->wants[0].ref.layer, *b = p->wants[1].ref.layer;

    return p->diff.changes.same && (a && b ? strcmp(a, b) == 0 : a == b) &&
           same_texts(p->wants[0].channels, p->wants[1].channels);
}

/* What keys tell; no pixel yet. */
static lb_status look_at_keys(job *j, pair *p, int32_t frame)
{
    const lb_changes_side sides[2] = {{j->runs[0], p->wants[0].ref}, {j->runs[1], p->wants[1].ref}};
    lb_status status = LB_OK;

    p->diff = (lb_picture_diff){.frame = frame,
                                .outputs = {p->outputs[0], p->outputs[1]},
                                .graphs = {j->graphs[0], j->graphs[1]},
                                .has_formats = same_formats(j)};
    for (int side = 0; side < 2; side++)
        p->diff.windows[side] = lb_format_window(lb_run_format(j->runs[side]));
    if (p->diff.has_formats)
        status = lb_changes_find(&sides[0], &sides[1], frame, j->session->diag, &p->diff.changes);
    p->diff.is_rendered = j->options->image || !is_known_to_be_same(p);
    return status;
}

/* The pictures of one graph that are needed, together. */
static lb_status render(job *j, int side, int32_t frame)
{
    lb_want *wants = lb_alloc((size_t)j->pair_count + 1, sizeof *wants);
    lb_value *values = lb_alloc((size_t)j->pair_count + 1, sizeof *values);
    int32_t count = 0, made = 0;
    lb_status status = wants && values ? LB_OK : no_memory(j);

    for (int32_t i = 0; i < j->pair_count && status == LB_OK; i++)
        if (j->pairs[i].diff.is_rendered)
            wants[count++] = j->pairs[i].wants[side];
    if (status == LB_OK && count > 0)
        status = lb_run_frame(j->runs[side], frame, wants, count, values, NULL);
    for (int32_t i = 0; i < j->pair_count && status == LB_OK && made < count; i++)
        if (j->pairs[i].diff.is_rendered)
            j->pairs[i].images[side] = values[made++].image;
    lb_free(wants);
    lb_free(values);
    return status;
}

/* lb_compare_options.encode */
static void encode(const void *context, float *r, float *g, float *b, int32_t count)
{
    lb_view_row(LB_VIEW_SRGB, *(const lb_space *)context, r, g, b, count);
}

static lb_status compare(job *j, pair *p)
{
    const lb_space *spaces[2] = {&j->graphs[0]->format.working, &j->graphs[1]->format.working};
    lb_compare_options options = {.encode = encode};
    lb_box window;
    lb_status status;

    if (!p->diff.is_rendered)
        return LB_OK;
    for (int side = 0; side < 2; side++) {
        p->diff.windows[side] = lb_image_display(p->images[side]);
        options.contexts[side] = *spaces[0] == *spaces[1] ? spaces[0] : spaces[side];
    }
    window = lb_box_intersect(p->diff.windows[0], p->diff.windows[1]);
    options.window = &window;
    status =
        lb_compare(j->session->pool, p->images[0], p->images[1], &options, &p->diff.comparison);
    return status == LB_MEMORY ? no_memory(j) : status;
}

/* The file of --image for this frame. */
static lb_status write_image(job *j, int32_t frame, char **out)
{
    lb_beside *rows = lb_alloc((size_t)j->pair_count + 1, sizeof *rows);
    lb_image *image = NULL;
    int32_t count = 0;
    lb_status status = LB_OK;

    *out = lb_sequence_name(j->options->image, frame);
    for (int32_t i = 0; rows && i < j->pair_count; i++) {
        const pair *p = &j->pairs[i];

        if (p->images[0] && p->images[1])
            rows[count++] =
                (lb_beside){.images = {p->images[0], p->images[1]},
                            .working = {j->graphs[0]->format.working, j->graphs[1]->format.working},
                            .comparison = &p->diff.comparison};
    }
    if (!rows || !*out)
        status = no_memory(j);
    else if (count > 0 && (status = lb_beside_image(rows, count, &image)) != LB_OK)
        status = lb_fail(j->session->diag, status, LB_NOWHERE, "'%s' could not be made: %s", *out,
                         lb_status_text(status));
    if (image) {
        j->write.index = (int64_t)frame - j->graphs[0]->format.first;
        status =
            lb_media_write(j->session->pool, j->session->diag, LB_NOWHERE, *out, image, &j->write);
        lb_image_unref(&image);
    }
    for (int32_t i = 0, row = 0; i < j->pair_count && status == LB_OK; i++)
        if (j->pairs[i].images[0] && j->pairs[i].images[1]) {
            j->pairs[i].diff.file = *out;
            j->pairs[i].diff.factor = rows[row++].factor;
        }
    lb_free(rows);
    return status;
}

static lb_status tell(job *j, int32_t frame)
{
    bool differs = false, any = false;
    lb_text text = {0};

    for (int32_t i = 0; i < j->pair_count; i++) {
        const pair *p = &j->pairs[i];
        double psnr_db = p->diff.comparison.psnr_db;

        if (!is_due(p, frame))
            continue;
        any = true;
        lb_picture_diff_text(&p->diff, j->options->graphs, &text);
        if (j->options->json)
            lb_picture_diff_json(&p->diff, j->options->json);
        differs = differs || !lb_picture_diff_is_same(&p->diff);
        if (p->diff.is_rendered && psnr_db < j->worst_psnr_db) {
            j->worst_psnr_db = psnr_db;
            j->worst_frame = frame;
        }
    }
    if (!any)
        lb_text_printf(&text, "frame %d: no output is written by both graphs\n", (int)frame);
    j->differing_frames += differs;
    j->differ = j->differ || differs;
    return say(j, &text);
}

static lb_status do_frame(job *j, int32_t frame)
{
    char *file = NULL;
    lb_status status = LB_OK;

    for (int32_t i = 0; i < j->pair_count && status == LB_OK; i++)
        if (is_due(&j->pairs[i], frame))
            status = look_at_keys(j, &j->pairs[i], frame);
    for (int side = 0; side < 2 && status == LB_OK; side++)
        status = render(j, side, frame);
    for (int32_t i = 0; i < j->pair_count && status == LB_OK; i++)
        status = compare(j, &j->pairs[i]);
    if (status == LB_OK && j->options->image)
        status = write_image(j, frame, &file);
    if (status == LB_OK)
        status = tell(j, frame);
    for (int32_t i = 0; i < j->pair_count; i++) {
        pair *p = &j->pairs[i];

        for (int side = 0; side < 2; side++)
            if (p->images[side])
                lb_image_unref(&p->images[side]);
        lb_comparison_clear(&p->diff.comparison);
        lb_changes_clear(&p->diff.changes);
        p->diff = (lb_picture_diff){0};
    }
    lb_free(file);
    return status;
}

/* ---- All of it ---- */

/* After several frames, what they come to. */
static lb_status sum_up(const job *j)
{
    int32_t count = j->options->frames.count;
    lb_text text = {0};

    if (count < 2)
        return LB_OK;
    if (j->differing_frames == 0)
        lb_text_printf(&text, "all %d frames are the same\n", (int)count);
    else
        lb_text_printf(&text, "%d of %d frames differ", (int)j->differing_frames, (int)count);
    if (j->differing_frames > 0 && !isinf(j->worst_psnr_db)) {
        lb_text_printf(&text, ", most frame %d with a PSNR of ", (int)j->worst_frame);
        lb_put_decibels(&text, j->worst_psnr_db);
    }
    if (j->differing_frames > 0)
        lb_text_put(&text, "\n");
    return say(j, &text);
}

static lb_status do_frames(job *j)
{
    const lb_frames *frames = &j->options->frames;
    lb_json *json = j->options->json;
    lb_status status;

    if (json)
        lb_json_open(json, '{', false);
    status = match_outputs(j);
    if (json) {
        lb_json_key(json, "pictures");
        lb_json_open(json, '[', false);
    }
    for (int32_t i = 0; i < frames->count && status == LB_OK; i++)
        status = do_frame(j, frames->list[i]);
    if (json) {
        lb_json_close(json, ']');
        lb_json_close(json, '}');
    }
    return status == LB_OK ? sum_up(j) : status;
}

lb_status lb_diff_pixels(lb_session *session, const lb_diff_pixels_options *options, bool *differ)
{
    job j = {.session = session, .options = options, .worst_psnr_db = (double)INFINITY};
    lb_status status = prepare(&j);

    if (status == LB_OK)
        status = do_frames(&j);
    *differ = j.differ;
    for (int side = 0; side < 2; side++)
        lb_run_free(&j.runs[side]);
    lb_free(j.pairs);
    return status;
}
