/* tests/support/op_run.h: runs one operator on images made by hand, as the engine does: parameters
 * through their table, check, describe, region, channels, and inputs cut to exactly what region
 * asked for, so that an operator that asks for too little is found out.
 *
 * Header-only, for tests: what goes wrong ends the test. */
#ifndef LB_TESTS_SUPPORT_OP_RUN_H
#define LB_TESTS_SUPPORT_OP_RUN_H

#include <stdlib.h>
#include <string.h>

#include "engine/base/random.h"
#include "engine/graph/files.h"
#include "engine/graph/param.h"
#include "engine/graph/points.h"

#define OP_SLOTS 8

typedef struct op_run {
    const lb_op *op;
    lb_format format; /* may be changed before anything is set */
    double frame;
    lb_arena *arena;
    lb_diag *diag;
    lb_files *files;
    lb_pool *pool;
    void *params;
    lb_image *inputs[OP_SLOTS];
    lb_desc descs[OP_SLOTS];
    lb_loc locs[64];
    lb_desc desc;     /* after op_describe */
    lb_status status; /* of the last step that failed */
} op_run;

static inline void op_die(const char *why, const char *what)
{
    fprintf(stderr, "op_run: %s: %s\n", what, why);
    abort();
}

static inline lb_store op_store(const op_run *r)
{
    return (lb_store){r->diag, r->arena, r->format.working, ""};
}

/* 64 x 48 frames at 24 a second, working in linear Rec. 709. */
static inline op_run op_new(const lb_op *op, int32_t threads)
{
    op_run r = {.op = op,
                .format = {64, 48, 1, 1, {24, 1}, 1, 100, LB_SPACE_LINEAR_REC709},
                .frame = 1,
                .arena = lb_arena_new(),
                .diag = lb_diag_new()};
    lb_store store = op_store(&r);

    r.params = lb_arena_alloc(r.arena, 1, op->params_size + 1); /* some have none */
    if (!r.params || lb_files_new(&r.files) != LB_OK || lb_pool_new(threads, &r.pool) != LB_OK ||
        lb_params_init(&store, op->params, r.params) != LB_OK)
        op_die("cannot be set up", op->name);
    return r;
}

static inline void op_free(op_run *r)
{
    for (int i = 0; i < OP_SLOTS; i++)
        if (r->inputs[i])
            lb_image_unref(&r->inputs[i]);
    lb_files_free(&r->files);
    lb_pool_free(&r->pool);
    lb_arena_free(&r->arena);
    lb_diag_free(&r->diag);
}

static inline void op_store_datum(op_run *r, const lb_param *table, void *base, const char *name,
                                  const lb_datum *value)
{
    const lb_param *param = lb_params_find(table, name);
    lb_store store = op_store(r);

    if (!param)
        op_die("has no such parameter", name);
    if (lb_param_store(&store, param, LB_NOWHERE, value, base) != LB_OK) {
        lb_diag_print(r->diag, stderr, false);
        op_die("refuses the value", name);
    }
}

static inline void op_set4(op_run *r, const char *name, int32_t count, double a, double b, double c,
                           double d)
{
    lb_datum value = {.kind = LB_DATUM_NUMBERS, .count = count, .numbers = {a, b, c, d}};

    op_store_datum(r, r->op->params, r->params, name, &value);
}
static inline void op_set(op_run *r, const char *name, double value)
{
    op_set4(r, name, 1, value, 0, 0, 0);
}
static inline void op_set2(op_run *r, const char *name, double a, double b)
{
    op_set4(r, name, 2, a, b, 0, 0);
}
static inline void op_set3(op_run *r, const char *name, double a, double b, double c)
{
    op_set4(r, name, 3, a, b, c, 0);
}
static inline void op_text(op_run *r, const char *name, const char *text)
{
    lb_datum value = {.kind = LB_DATUM_TEXT, .text = text};

    op_store_datum(r, r->op->params, r->params, name, &value);
}
static inline void op_bool(op_run *r, const char *name, bool on)
{
    lb_datum value = {.kind = LB_DATUM_BOOL, .count = 1, .numbers = {on}};

    op_store_datum(r, r->op->params, r->params, name, &value);
}
/* Appends a record to the list `name`; its fields are then set with op_store_datum. */
static inline void *op_record(op_run *r, const char *name)
{
    const lb_param *param = lb_params_find(r->op->params, name);
    lb_records *records = (lb_records *)((char *)r->params + param->offset);
    size_t size = param->fields_size, count = (size_t)records->count;
    char *items = lb_arena_alloc(r->arena, count + 1, size);
    lb_store store = op_store(r);

    if (!items)
        op_die("no memory", name);
    if (count)
        memcpy(items, records->items, count * size);
    records->items = items;
    records->count++;
    if (lb_params_init(&store, param->fields, items + count * size) != LB_OK)
        op_die("cannot be set up", name);
    return items + count * size;
}

/* ---- Images ---- */

/* Always another number for another place, name and picture, within -0.25 .. 1.75. */
static inline float op_noise(uint32_t picture, const char *name, int32_t x, int32_t y)
{
    return lb_random_float(picture, (uint32_t)name[0], (uint32_t)x, (uint32_t)y) * 2 - 0.25f;
}

typedef float (*op_pixel_fn)(void *context, const char *name, int32_t x, int32_t y);

/* An image with the named channels ("R G B A"), pixels from fn. */
static inline lb_image *op_image(lb_box display, lb_box data, const char *names, op_pixel_fn fn,
                                 void *context)
{
    lb_image *image;
    char list[256], *save = NULL;

    if (lb_image_new(display, data, &image) != LB_OK)
        op_die("no memory", names);
    snprintf(list, sizeof list, "%s", names);
    for (char *name = strtok_r(list, " ", &save); name; name = strtok_r(NULL, " ", &save)) {
        lb_plane *plane;

        if (lb_plane_new(data, &plane) != LB_OK)
            op_die("no memory", name);
        for (int32_t y = data.y0; y < data.y1; y++)
            for (int32_t x = data.x0; x < data.x1; x++)
                lb_plane_row_to_fill(plane, y)[x - data.x0] = fn(context, name, x, y);
        if (lb_image_add(image, name, plane) != LB_OK)
            op_die("no memory", name);
        lb_plane_unref(&plane);
    }
    return image;
}

/* Premultiplied noise: alpha 0..1 with some pixels empty and some full; depth 1..11 with holes. */
static inline float op_noise_pixel(void *context, const char *name, int32_t x, int32_t y)
{
    uint32_t picture = *(uint32_t *)context;
    float alpha = op_noise(picture, "A", x, y);
    const char *dot = strrchr(name, '.');
    const char *last = dot ? dot + 1 : name;

    alpha = alpha < 0 ? 0 : alpha > 1 ? 1 : alpha;
    if (strcmp(last, "A") == 0)
        return alpha;
    if (strcmp(last, "Z") == 0)
        return alpha == 0 ? INFINITY : 1 + 5 * (op_noise(picture, "Z", x, y) + 0.25f);
    return op_noise(picture, name, x, y) * alpha;
}
static inline lb_image *op_noise_image(lb_box display, lb_box data, const char *names,
                                       uint32_t picture)
{
    return op_image(display, data, names, op_noise_pixel, &picture);
}

static inline float op_constant_pixel(void *context, const char *name, int32_t x, int32_t y)
{
    (void)name, (void)x, (void)y;
    return *(const float *)context;
}
static inline lb_image *op_constant_image(lb_box box, const char *names, float value)
{
    return op_image(box, box, names, op_constant_pixel, &value);
}

/* Connects slot `slot`; the run takes the image over. */
static inline void op_connect(op_run *r, int32_t slot, lb_image *image)
{
    const char *names[LB_MAX_CHANNELS + 1] = {NULL};

    for (int32_t i = 0; i < lb_image_count(image); i++)
        names[i] = lb_image_name(image, i);
    if (r->inputs[slot])
        lb_image_unref(&r->inputs[slot]);
    r->inputs[slot] = image;
    r->descs[slot] = (lb_desc){LB_KIND_IMAGE, lb_image_display(image), lb_image_data(image),
                               lb_image_pixel_aspect(image), lb_channels_make(r->arena, names)};
}

/* ---- Running ---- */

static inline lb_call op_call(op_run *r)
{
    return (lb_call){.op = r->op,
                     .node = "node",
                     .params = r->params,
                     .format = &r->format,
                     .frame = r->frame,
                     .time_s = lb_frame_time(r->frame, r->format.first, r->format.rate),
                     .input_count = lb_inputs_count(r->op->inputs),
                     .inputs = r->descs,
                     .locs = r->locs,
                     .diag = r->diag,
                     .pool = r->pool,
                     .files = r->files,
                     .arena = r->arena};
}

/* check and describe. */
static inline lb_status op_describe(op_run *r)
{
    lb_call call = op_call(r);

    r->status = r->op->check ? r->op->check(&call) : LB_OK;
    r->desc = r->descs[0];
    if (r->status == LB_OK && r->op->describe)
        r->status = r->op->describe(&call, &r->desc);
    else if (call.input_count == 0)
        r->desc = lb_desc_frame(&call, lb_channels_rgba());
    r->desc.kind = LB_KIND_IMAGE;
    return r->status;
}

static inline uint64_t op_all(const lb_channels *channels)
{
    return channels->count >= 64 ? UINT64_MAX : ((uint64_t)1 << channels->count) - 1;
}

/* The part of an input that was asked for, and not a pixel more; one black pixel if that is none of
 * it, as the engine gives. */
static inline lb_image *op_cut(const lb_image *image, const lb_channels *channels, lb_box box,
                               uint64_t bits)
{
    lb_box data = lb_image_data(image);
    bool none = lb_box_is_empty(lb_box_intersect(box, data));
    lb_image *cut;

    box = none ? (lb_box){data.x0, data.y0, data.x0 + 1, data.y0 + 1} : lb_box_intersect(box, data);
    if (lb_image_new(lb_image_display(image), data, &cut) != LB_OK)
        op_die("no memory", "cut");
    for (int32_t i = 0; i < channels->count; i++) {
        lb_plane *plane = NULL;

        if (!(bits >> i & 1))
            continue;
        if ((none ? lb_plane_new_constant(box, 0, &plane)
                  : lb_plane_cut(lb_image_find(image, channels->names[i]), box, &plane)) != LB_OK ||
            lb_image_add(cut, channels->names[i], plane) != LB_OK)
            op_die("no memory", "cut");
        lb_plane_unref(&plane);
    }
    return cut;
}

/* The pixels of `box` (cut to the data window, which must be met) and the wanted channels; NULL and
 * r->status: it failed. The caller's. op_describe has been called. */
static inline lb_image *op_part(op_run *r, lb_box box, uint64_t wanted)
{
    lb_call call = op_call(r);
    lb_value inputs[OP_SLOTS] = {{0}}, out = {0};
    lb_task task = {call,   r->pool, lb_box_intersect(box, r->desc.data_window), wanted, &r->desc,
                    inputs, NULL};
    lb_points_use use = {0};

    if (r->op->points && (r->status = r->op->points->use(&call, &r->desc, wanted, &use)) != LB_OK)
        return NULL;
    for (int32_t i = 0; i < call.input_count; i++) {
        const lb_channels *has = r->descs[i].channels;
        uint64_t bits = 0;

        if (!r->inputs[i])
            continue;
        if (r->op->points)
            bits = lb_points_bits(&use, &r->desc, wanted, i);
        else if (r->op->channels)
            bits = r->op->channels(&call, &r->desc, i, wanted);
        for (int32_t c = 0; !r->op->points && !r->op->channels && c < has->count; c++) {
            int32_t own = lb_channels_find(r->desc.channels, has->names[c]);

            if (i > 0 || (own >= 0 && (wanted >> own & 1)) ||
                lb_channels_find(lb_channels_rgba(), has->names[c]) >= 0)
                bits |= (uint64_t)1 << c;
        }
        inputs[i].kind = LB_KIND_IMAGE;
        inputs[i].image = op_cut(
            r->inputs[i], has, r->op->region ? r->op->region(&call, i, task.box) : task.box, bits);
    }
    r->status = r->op->evaluate(&task, &out);
    for (int32_t i = 0; i < call.input_count; i++)
        if (inputs[i].kind == LB_KIND_IMAGE)
            lb_image_unref(&inputs[i].image);
    if (r->status != LB_OK)
        return NULL;
    if (!lb_box_equal(lb_image_data(out.image), r->desc.data_window) ||
        !lb_box_equal(lb_image_display(out.image), r->desc.display_window))
        op_die("made other windows than it described", r->op->name);
    for (int32_t i = 0; i < r->desc.channels->count; i++)
        if ((wanted >> i & 1) && !lb_image_find(out.image, r->desc.channels->names[i]))
            op_die("did not make a wanted channel", r->desc.channels->names[i]);
    if (wanted && !lb_box_equal(lb_image_box(out.image), task.box))
        op_die("made another box than was asked for", r->op->name);
    return out.image;
}

/* Everything: check, describe, and all pixels of the data window. */
static inline lb_image *op_run_all(op_run *r)
{
    if (op_describe(r) != LB_OK)
        return NULL;
    return op_part(r, r->desc.data_window, op_all(r->desc.channels));
}

/* True if every pixel of `part` has the same bits in `whole`; tells the first that has not. */
static inline bool op_same(const lb_image *whole, const lb_image *part)
{
    lb_box box = lb_image_box(part);

    for (int32_t i = 0; i < lb_image_count(part); i++) {
        const char *name = lb_image_name(part, i);
        const lb_plane *a = lb_image_find(whole, name), *b = lb_image_plane(part, i);

        for (int32_t y = box.y0; y < box.y1; y++)
            for (int32_t x = box.x0; x < box.x1; x++) {
                float u = a ? lb_plane_at(a, x, y) : NAN, v = lb_plane_at(b, x, y);

                if (memcmp(&u, &v, sizeof u) != 0) {
                    fprintf(stderr, "%s at (%d, %d): %a in the whole, %a in the part\n", name,
                            (int)x, (int)y, (double)u, (double)v);
                    return false;
                }
            }
    }
    return true;
}

/* True if parts of the picture, single channels, and other numbers of threads all give the bits of
 * the whole. Ends with a pool of 7 threads. */
static inline bool op_is_consistent(op_run *r)
{
    lb_image *whole = op_run_all(r);
    lb_box w = r->desc.data_window;
    int32_t mx = (w.x0 + w.x1) / 2, my = (w.y0 + w.y1) / 2;
    lb_box parts[] = {{w.x0, w.y0, mx, my},
                      {mx, my, w.x1, w.y1},
                      {w.x0 + 3, w.y0 + 5, w.x1 - 2, my + 1},
                      {mx, w.y0, mx + 1, w.y1},
                      {w.x0, my, w.x1, my + 1},
                      {w.x1 - 1, w.y1 - 1, w.x1, w.y1},
                      {mx - 7, my - 3, mx + 10, my + 14}};
    static const int32_t threads[] = {1, 2, 3, 7};
    bool same = true;

    if (!whole) {
        lb_diag_print(r->diag, stderr, false);
        op_die("failed", r->op->name);
    }
    for (size_t i = 0; same && i < sizeof parts / sizeof parts[0]; i++) {
        uint64_t bits =
            i % 2 ? (uint64_t)1 << (i % (size_t)r->desc.channels->count) : op_all(r->desc.channels);
        lb_image *part;

        if (lb_box_is_empty(lb_box_intersect(parts[i], w)))
            continue;
        part = op_part(r, parts[i], bits);
        same = part && op_same(whole, part);
        if (part)
            lb_image_unref(&part);
        if (!same)
            fprintf(stderr, "part %zu: [%d, %d) x [%d, %d)\n", i, (int)parts[i].x0,
                    (int)parts[i].x1, (int)parts[i].y0, (int)parts[i].y1);
    }
    for (int i = 0; same && i < 4; i++) {
        lb_image *again;

        lb_pool_free(&r->pool);
        if (lb_pool_new(threads[i], &r->pool) != LB_OK)
            op_die("no threads", r->op->name);
        again = op_run_all(r);
        same = again && op_same(whole, again);
        if (again)
            lb_image_unref(&again);
        if (!same)
            fprintf(stderr, "with %d threads\n", (int)threads[i]);
    }
    lb_image_unref(&whole);
    return same;
}

/* How many warnings the run has given. */
static inline int32_t op_warnings(const op_run *r)
{
    return lb_diag_count(r->diag, LB_WARNING);
}

/* Pixel of a channel; 0 outside. */
static inline double op_at(const lb_image *image, const char *name, int32_t x, int32_t y)
{
    const lb_plane *plane = lb_image_find(image, name);

    return plane ? (double)lb_plane_at(plane, x, y) : 0;
}

/* Sum of a channel. */
static inline double op_sum(const lb_image *image, const char *name)
{
    lb_box box = lb_image_box(image);
    double sum = 0;

    for (int32_t y = box.y0; y < box.y1; y++)
        for (int32_t x = box.x0; x < box.x1; x++)
            sum += op_at(image, name, x, y);
    return sum;
}

/* Everything, with the inputs as they are: allocates nothing but what the operator does. */
static inline lb_image *op_run_bare(op_run *r)
{
    lb_value inputs[OP_SLOTS] = {{0}}, out = {0};
    lb_task task = {.pool = r->pool, .desc = &r->desc, .inputs = inputs};

    for (int i = 0; i < OP_SLOTS; i++)
        if (r->inputs[i])
            inputs[i] = (lb_value){.kind = LB_KIND_IMAGE, .image = r->inputs[i]};
    if (op_describe(r) != LB_OK)
        return NULL;
    task.call = op_call(r);
    task.box = r->desc.data_window;
    task.channels = op_all(r->desc.channels);
    r->status = r->op->evaluate(&task, &out);
    return r->status == LB_OK ? out.image : NULL;
}

/* Makes each allocation of a run fail once, one after the other: nothing may be answered but
 * LB_MEMORY or a picture (or LB_FORMAT, where a decoder that was refused memory cannot tell that
 * from a bad file), and under a sanitizer nothing may leak. For runs of one thread. */
static inline bool op_survives_no_memory(op_run *r)
{
    for (int64_t n = 1; n < 20000; n++) {
        lb_image *image;
        bool failed;

        lb_memory_fail_at(n);
        image = op_run_bare(r);
        failed = lb_memory_fail_left() == 0;
        lb_memory_fail_at(0);
        if (image)
            lb_image_unref(&image);
        else if (r->status != LB_MEMORY && r->status != LB_FORMAT) {
            fprintf(stderr, "allocation %d failed: status %d\n", (int)n, (int)r->status);
            return false;
        }
        if (!failed)
            return true;
    }
    return false;
}

#endif
