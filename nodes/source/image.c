/* nodes/source/image.c: a picture, or a sequence of them, from files.
 *
 * The file's display window is put at the frame's top left corner. When the frame is rendered at
 * another scale, or the picture is fitted to the frame, it is resampled with a kernel that grows
 * where the picture gets smaller and never beyond the pixels it lies among; depth, normals and ids
 * take the nearest pixel instead. */
#include <string.h>

#include "engine/base/file.h"
#include "engine/graph/operand.h"
#include "engine/image/limit.h"
#include "engine/media/media.h"

enum { MISSING_ERROR, MISSING_HOLD, MISSING_BLACK };
static const char *const missing_names[] = {"error", "hold", "black", NULL};

/* CSS Images 3, section 5.5, object-fit. */
enum { FIT_NONE, FIT_CONTAIN, FIT_COVER, FIT_FILL, FIT_SCALE_DOWN };
static const char *const fit_names[] = {"none", "contain", "cover", "fill", "scale-down", NULL};

typedef struct {
    const char *file;
    int space;
    int missing;
    int32_t offset;
    int fit;
    int filter;
} image_params;

static const lb_param params[] = {
    LB_PARAM(image_params, file, LB_FILE, .required = true,
             .doc = "The picture; #### stands for the frame's number, with as many digits."),
    LB_PARAM(image_params, space, LB_CHOICE, .names = lb_space_names, .initial = {LB_UNSET},
             .doc = "What the file's numbers mean; raw: they are not colour and stay as they are. "
                    "By itself srgb for files of 8 or 16 bit integers, and linear light for "
                    "floats: with the primaries that an EXR file names, else Rec. 709's."),
    LB_PARAM(image_params, missing, LB_CHOICE, .names = missing_names, .initial = {MISSING_ERROR},
             .doc = "When the file is not there: stop, show the last frame of the sequence before "
                    "it, or show transparent black."),
    LB_PARAM(image_params, offset, LB_INT, .initial = {0}, .min = -1000000, .max = 1000000,
             .unit = LB_FRAMES, .doc = "Added to the frame's number to find the sequence's."),
    LB_PARAM(image_params, fit, LB_CHOICE, .names = fit_names, .initial = {FIT_NONE},
             .doc = "How the picture is fitted into the frame: not at all, as large as it can be "
                    "seen whole, as small as it covers the frame, stretched, or as contain but "
                    "never enlarged."),
    LB_PARAM(image_params, filter, LB_CHOICE, .names = lb_filter_names,
             .initial = {LB_FILTER_MITCHELL}, .doc = "The kernel where it has to be resampled."),
    {0},
};

static int32_t sequence_frame(const lb_call *call)
{
    const image_params *p = call->params;
    double frame = floor(call->frame) + p->offset;

    return frame < INT32_MIN ? INT32_MIN : frame > INT32_MAX ? INT32_MAX : (int32_t)frame;
}

/* The file for this frame, by lb_free; *out NULL and LB_OK: there is none and black is shown. */
static lb_status find_file(const lb_call *call, char **out)
{
    const image_params *p = call->params;
    int32_t frame = sequence_frame(call), held;
    lb_loc loc = lb_call_loc(call, "file");

    if (!(*out = lb_sequence_name(p->file, frame)))
        return lb_fail(call->diag, LB_MEMORY, loc, "no memory");
    if (lb_file_exists(*out))
        return LB_OK;
    if (p->missing == MISSING_BLACK) {
        lb_free(*out);
        *out = NULL;
        return LB_OK;
    }
    if (p->missing == MISSING_HOLD && lb_sequence_is_pattern(p->file) &&
        lb_sequence_hold(p->file, frame, &held)) {
        lb_free(*out);
        if (!(*out = lb_sequence_name(p->file, held)))
            return lb_fail(call->diag, LB_MEMORY, loc, "no memory");
        return LB_OK;
    }
    if (p->missing == MISSING_HOLD)
        lb_fail(call->diag, LB_NOT_FOUND, loc,
                "'%s' is not there, and no earlier frame of it to hold", *out);
    else
        lb_fail(call->diag, LB_NOT_FOUND, loc, "'%s' is not there", *out);
    lb_free(*out);
    *out = NULL;
    return LB_NOT_FOUND;
}

/* A file's bytes: kept over the run for one picture, borrowed for the moment of a sequence. */
typedef struct content {
    char *path;
    lb_file_content borrowed;
    const void *bytes;
    size_t count;
} content;

static void content_free(const lb_call *call, content *c)
{
    lb_free(c->path);
    lb_files_return(call->files, &c->borrowed);
    *c = (content){0};
}

/* Asks the system to read the sequence's next frame meanwhile. */
static void read_ahead(const lb_call *call)
{
    const image_params *p = call->params;
    char *next = lb_sequence_name(p->file, sequence_frame(call) + 1);

    if (next)
        lb_file_expect(next);
    lb_free(next);
}

/* c->path NULL: black. */
static lb_status content_load(const lb_call *call, content *c)
{
    const image_params *p = call->params;
    lb_loc loc = lb_call_loc(call, "file");
    lb_file_content kept;
    lb_status status;

    *c = (content){0};
    if ((status = find_file(call, &c->path)) != LB_OK || !c->path)
        return status;
    if (lb_sequence_is_pattern(p->file)) {
        status = lb_files_borrow(call->files, call->diag, loc, c->path, &c->borrowed);
        c->bytes = c->borrowed.bytes;
        c->count = c->borrowed.count;
        read_ahead(call);
    } else if ((status = lb_files_load(call->files, call->diag, loc, c->path, &kept)) == LB_OK) {
        c->bytes = kept.bytes;
        c->count = kept.count;
    }
    if (status != LB_OK)
        content_free(call, c);
    return status;
}

_Static_assert(sizeof(lb_primaries) == 8 * sizeof(double), "eight numbers");

static bool primaries_near(const lb_primaries *a, const lb_primaries *b)
{
    double x[8], y[8];

    memcpy(x, a, sizeof x);
    memcpy(y, b, sizeof y);
    for (int i = 0; i < 8; i++)
        if (!(fabs(x[i] - y[i]) <= 1e-3)) /* files hold 32-bit floats of 3 to 5 digits */
            return false;
    return true;
}

/* What the file holds, if the graph does not say. */
static lb_space file_space(const lb_call *call, const lb_media_info *info)
{
    static const lb_space linear[] = {LB_SPACE_LINEAR_REC709, LB_SPACE_LINEAR_REC2020,
                                      LB_SPACE_ACESCG, LB_SPACE_LINEAR_DISPLAY_P3};
    const image_params *p = call->params;

    if (p->space >= 0)
        return (lb_space)p->space;
    if (!info->is_float)
        return LB_SPACE_SRGB;
    for (int i = 0; info->has_primaries && i < 4; i++) {
        lb_primaries known = lb_space_primaries(linear[i]);

        if (primaries_near(&known, &info->primaries))
            return linear[i];
    }
    return info->space;
}

/* Where the picture goes: pixel (x, y) of the file, counted from its display window's corner, is
 * at (x scale[0] + move[0], y scale[1] + move[1]). */
typedef struct placing {
    double scale[2], move[2];
    lb_box display, data; /* of the result */
    lb_box file_data;     /* counted from the file's display window */
    double pixel_aspect;
} placing;

static void fit_picture(const lb_format *format, int fit, const double size[2], placing *out)
{
    double x = format->width / size[0], y = format->height / size[1];
    double least = x < y ? x : y, most = x < y ? y : x;
    double frame[2] = {format->width, format->height};

    if (fit == FIT_CONTAIN || (fit == FIT_SCALE_DOWN && least < format->scale))
        x = y = least;
    else if (fit == FIT_COVER)
        x = y = most;
    else if (fit == FIT_SCALE_DOWN)
        x = y = format->scale;
    out->scale[0] = x, out->scale[1] = y;
    for (int i = 0; i < 2; i++) {
        out->move[i] = (frame[i] - size[i] * out->scale[i]) / 2;
        if (out->scale[i] == 1)
            out->move[i] = floor(out->move[i]); /* pixels stay whole */
    }
}

static int32_t scaled_size(int32_t size, double scale)
{
    double scaled = rint(size * scale);

    return scaled < 1 ? 1 : scaled > LB_BOX_LIMIT ? LB_BOX_LIMIT : (int32_t)scaled;
}

static placing place(const lb_call *call, const lb_media_info *info)
{
    const image_params *p = call->params;
    const lb_format *format = call->format;
    lb_box d = info->display;
    int32_t width = lb_box_width(d), height = lb_box_height(d);
    placing at = {.scale = {format->scale, format->scale}, .pixel_aspect = info->pixel_aspect};

    at.file_data = lb_box_shift(info->data, -d.x0, -d.y0);
    if (p->fit == FIT_NONE) {
        at.display =
            (lb_box){0, 0, scaled_size(width, format->scale), scaled_size(height, format->scale)};
    } else {
        double wider = info->pixel_aspect / format->pixel_aspect;
        double size[2] = {width * wider, height};

        fit_picture(format, p->fit, size, &at);
        at.scale[0] *= wider;
        at.display = lb_format_window(format);
        at.pixel_aspect = format->pixel_aspect;
    }
    at.data = lb_box_around(
        at.file_data.x0 * at.scale[0] + at.move[0], at.file_data.y0 * at.scale[1] + at.move[1],
        at.file_data.x1 * at.scale[0] + at.move[0], at.file_data.y1 * at.scale[1] + at.move[1]);
    return at;
}

static bool has_channel(const lb_media_info *info, const char *name)
{
    for (int32_t i = 0; i < info->channel_count; i++)
        if (strcmp(info->channels[i], name) == 0)
            return true;
    return false;
}

/* True for the Y of a layer without R, G and B, which becomes those three. */
static bool is_grey(const lb_media_info *info, const char *name)
{
    static const char colors[] = "RGB";
    size_t last = strlen(name) - 1;
    char other[LB_CHANNEL_NAME];

    if (name[last] != 'Y' || (last > 0 && name[last - 1] != '.'))
        return false;
    memcpy(other, name, last + 2);
    for (int c = 0; c < 3; c++) {
        other[last] = colors[c];
        if (has_channel(info, other))
            return false;
    }
    return true;
}

/* The names of the channels that lb_media_read_memory gives for this file. */
static const lb_channels *channels_of(const lb_call *call, const lb_media_info *info)
{
    const char *names[LB_MAX_CHANNELS + 4];
    bool spread = file_space(call, info) != LB_SPACE_RAW;
    int32_t count = 0;

    for (int32_t i = 0; i < info->channel_count && count < LB_MAX_CHANNELS; i++) {
        const char *name = info->channels[i];

        if (!spread || !is_grey(info, name)) {
            names[count++] = name;
            continue;
        }
        for (int c = 0; c < 3; c++)
            if (!(names[count++] = lb_arena_printf(call->arena, "%.*s%c", (int)strlen(name) - 1,
                                                   name, "RGB"[c])))
                return NULL;
    }
    names[count] = NULL;
    return lb_channels_make(call->arena, names);
}

static lb_status check(const lb_call *call)
{
    char *path;
    lb_status status = find_file(call, &path);

    lb_free(path);
    return status;
}

static lb_status fingerprint(const lb_call *call, lb_hasher *hasher)
{
    lb_key key;
    char *path;
    lb_status status = find_file(call, &path);

    if (status != LB_OK)
        return status;
    if (!path) {
        lb_hash_string(hasher, NULL);
        return LB_OK;
    }
    status = lb_files_key(call->files, call->diag, lb_call_loc(call, "file"), path, &key);
    if (status == LB_OK)
        lb_hash_key(hasher, key);
    lb_free(path);
    return status;
}

static lb_status describe(const lb_call *call, lb_desc *out)
{
    lb_loc loc = lb_call_loc(call, "file");
    lb_media_info info = {0};
    content c;
    lb_status status = content_load(call, &c);

    if (status != LB_OK)
        return status;
    *out = lb_desc_frame(call, lb_channels_rgba());
    if (!c.path)
        return LB_OK;
    if ((status = lb_media_probe(call->diag, loc, c.path, c.bytes, c.count, &info)) == LB_OK) {
        placing at = place(call, &info);

        out->display_window = at.display;
        out->data_window = at.data;
        out->pixel_aspect = at.pixel_aspect;
        if (!(out->channels = channels_of(call, &info)))
            status = lb_fail(call->diag, LB_MEMORY, loc, "no memory");
    }
    lb_media_info_clear(&info);
    content_free(call, &c);
    return status;
}

static lb_status black(const lb_task *task, lb_image *out)
{
    lb_plane *zero = NULL;
    lb_status status = lb_plane_new_constant(task->box, 0, &zero);

    for (int32_t i = 0; i < task->desc->channels->count && status == LB_OK; i++)
        if (task->channels >> i & 1)
            status = lb_image_add(out, task->desc->channels->names[i], zero);
    lb_plane_unref(&zero);
    return status;
}

/* The pixels of task->box that lie `dx`, `dy` further on in `in`. */
static lb_status moved_plane(const lb_task *task, const lb_plane *in, int32_t dx, int32_t dy,
                             lb_plane **out)
{
    int32_t width = lb_box_width(task->box);
    lb_status status = lb_plane_new_raw(task->box, out);

    for (int32_t y = task->box.y0; status == LB_OK && y < task->box.y1; y++) {
        float *row = lb_plane_row_to_fill(*out, y);
        const float *from =
            lb_plane_row_over(in, task->box.x0 + dx, task->box.x1 + dx, y + dy, row);

        if (from != row)
            memcpy(row, from, (size_t)width * sizeof *row);
    }
    return status;
}

/* One channel of the decoded file, whose windows start at `corner`. */
static lb_status place_plane(const lb_task *task, const lb_plane *in, const char *name,
                             const placing *at, const int32_t corner[2], lb_image *out)
{
    const image_params *p = task->call.params;
    lb_filter filter = lb_channel_is_color(name) ? (lb_filter)p->filter : LB_FILTER_NEAREST;
    bool whole = at->scale[0] == 1 && at->scale[1] == 1 && at->move[0] == floor(at->move[0]) &&
                 at->move[1] == floor(at->move[1]);
    lb_plane *made = NULL;
    lb_status status;

    if (whole) {
        int32_t dx = corner[0] - (int32_t)at->move[0], dy = corner[1] - (int32_t)at->move[1];

        if (dx == 0 && dy == 0)
            return lb_task_pass(task, out, name, in);
        status = moved_plane(task, in, dx, dy, &made);
    } else {
        double m[6] = {1 / at->scale[0],
                       0,
                       corner[0] - at->move[0] / at->scale[0],
                       0,
                       1 / at->scale[1],
                       corner[1] - at->move[1] / at->scale[1]};

        status = lb_transform_plane(task->pool, in, m, filter, LB_EDGE_CLAMP, task->box, &made);
        if (status == LB_OK && lb_filter_rings(filter))
            status = lb_limit_transform(task->pool, in, m, LB_EDGE_CLAMP, made);
    }
    if (status == LB_OK)
        status = lb_image_add(out, name, made);
    lb_plane_unref(&made);
    return status;
}

static lb_status place_all(const lb_task *task, const lb_image *in, const placing *at,
                           const int32_t corner[2], lb_image *out)
{
    const lb_channels *channels = task->desc->channels;
    lb_status status = LB_OK;

    for (int32_t i = 0; i < channels->count && status == LB_OK; i++) {
        const lb_plane *plane = lb_image_find(in, channels->names[i]);

        if (!(task->channels >> i & 1))
            continue;
        status = plane ? place_plane(task, plane, channels->names[i], at, corner, out)
                       : lb_fail(task->call.diag, LB_FORMAT, lb_call_loc(&task->call, "file"),
                                 "channel '%s' of the file cannot be read", channels->names[i]);
    }
    return status;
}

static lb_status evaluate(const lb_task *task, lb_value *out)
{
    const lb_call *call = &task->call;
    lb_loc loc = lb_call_loc(call, "file");
    lb_media_info info = {0};
    lb_image *decoded = NULL;
    content c;
    lb_status status = content_load(call, &c);

    if (status != LB_OK)
        return status;
    status = lb_task_image(task, &out->image);
    if (status == LB_OK && !c.path)
        status = black(task, out->image);
    else if (status == LB_OK)
        status = lb_media_probe(call->diag, loc, c.path, c.bytes, c.count, &info);
    if (status == LB_OK && c.path) {
        lb_media_wish wish = {file_space(call, &info), call->format->working};
        placing at = place(call, &info);
        int32_t corner[2] = {info.display.x0, info.display.y0};

        status = lb_media_read_memory(task->pool, call->diag, loc, c.path, c.bytes, c.count, &wish,
                                      &decoded);
        if (status == LB_OK)
            status = place_all(task, decoded, &at, corner, out->image);
    }
    lb_image_unref(&decoded);
    lb_media_info_clear(&info);
    content_free(call, &c);
    if (status != LB_OK)
        lb_image_unref(&out->image);
    return status;
}

const lb_op lb_op_image = {
    .name = "image",
    .summary = "A picture or a sequence of pictures from files",
    .group = "source",
    .example = "  last: {op: image, file: tile.png, space: srgb}\n",
    .version = 1,
    .params = params,
    .params_size = sizeof(image_params),
    .result = LB_KIND_IMAGE,
    .check = check,
    .fingerprint = fingerprint,
    .describe = describe,
    .evaluate = evaluate,
};
