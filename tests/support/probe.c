/* tests/support/probe.c: operators for a shared object, one for each thing that operators can be
 * asked; tests/engine/graph/test_objects.c loads them. */
#include <string.h>

#include "engine/graph/object.h"

static const lb_input one_image[] = {{"image", LB_KIND_IMAGE, .doc = "An image."}, {0}};

/* ---- Inputs at several times: the mean of three frames ---- */

static int32_t three_times(const lb_call *call, int32_t slot, double *frames)
{
    (void)slot;
    for (int i = 0; i < 3; i++)
        frames[i] = call->frame - 1 + i;
    return 3;
}

static lb_status mean_plane(const lb_task *task, const lb_plane *in, const char *name,
                            lb_plane **out)
{
    const lb_series *series = &task->series[0];
    lb_status status = lb_plane_copy(in, task->box, out);

    for (int32_t y = task->box.y0; status == LB_OK && y < task->box.y1; y++) {
        float *row = lb_plane_row_to_fill(*out, y);

        for (int32_t x = task->box.x0; x < task->box.x1; x++) {
            float sum = 0;

            for (int32_t k = 0; k < series->count; k++)
                sum += lb_plane_at(lb_image_find(series->values[k].image, name), x, y);
            row[x - task->box.x0] = sum / (float)series->count;
        }
    }
    return status;
}

static lb_status mean_evaluate(const lb_task *task, lb_value *out)
{
    const lb_channels *channels = task->desc->channels;
    lb_status status = lb_task_image(task, &out->image);

    for (int32_t i = 0; status == LB_OK && i < channels->count; i++) {
        lb_plane *made = NULL;

        if (!lb_task_wants(task, channels->names[i]))
            continue;
        status =
            mean_plane(task, lb_task_plane(task, 0, channels->names[i]), channels->names[i], &made);
        if (status == LB_OK)
            status = lb_image_add(out->image, channels->names[i], made);
        lb_plane_unref(&made);
    }
    if (status != LB_OK)
        lb_image_unref(&out->image);
    return status;
}

static const lb_op mean = {.name = "probe-mean",
                           .summary = "The mean of three frames",
                           .group = "probe",
                           .version = 1,
                           .inputs = one_image,
                           .result = LB_KIND_IMAGE,
                           .times = three_times,
                           .evaluate = mean_evaluate};

/* ---- A list of images, a data window of its own: the sum of R, doubled where a mask is ---- */

static const lb_input sum_inputs[] = {
    {"mask", LB_KIND_IMAGE, .optional = true, .doc = "Where it counts twice."},
    {"images", LB_KIND_IMAGE, .list = true, .doc = "What is added up."},
    {0}};

static lb_status sum_check(const lb_call *call)
{
    return lb_mask_check(call, 0, "mask");
}

/* The union of the images, and a column to the right of it. */
static lb_status sum_describe(const lb_call *call, lb_desc *out)
{
    static const char *const names[] = {"R", NULL};

    *out = lb_desc_frame(call, lb_channels_make(call->arena, names));
    if (!out->channels)
        return lb_fail(call->diag, LB_MEMORY, call->loc, "no memory");
    out->data_window = (lb_box){0, 0, 0, 0};
    for (int32_t s = 1; s < call->input_count; s++)
        out->data_window = lb_box_unite(out->data_window, call->inputs[s].data_window);
    out->data_window.x1++;
    return LB_OK;
}

static uint64_t sum_channels(const lb_call *call, const lb_desc *own, int32_t slot, uint64_t wanted)
{
    const lb_channels *channels = call->inputs[slot].channels;

    (void)own, (void)wanted;
    return lb_channels_bit(channels, slot == 0 ? lb_mask_channel(channels) : "R");
}

static lb_status sum_evaluate(const lb_task *task, lb_value *out)
{
    lb_box box = task->box;
    const lb_desc *mask_desc = &task->call.inputs[0];
    const lb_plane *mask = NULL;
    float *scratch = lb_alloc((size_t)(box.x1 - box.x0), sizeof *scratch);
    lb_plane *plane = NULL;
    lb_status status = scratch ? lb_plane_new(box, &plane) : LB_MEMORY;

    if (mask_desc->kind == LB_KIND_IMAGE)
        mask = lb_task_plane(task, 0, lb_mask_channel(mask_desc->channels));
    for (int32_t y = box.y0; status == LB_OK && y < box.y1; y++) {
        float *row = lb_plane_row_to_fill(plane, y);

        for (int32_t s = 1; s < task->call.input_count; s++) {
            const lb_plane *in = lb_task_plane(task, s, "R");
            const float *from = lb_plane_row_over(in, box.x0, box.x1, y, scratch);

            for (int32_t x = 0; x < box.x1 - box.x0; x++)
                row[x] += from[x];
        }
        if (mask) {
            const float *by = lb_plane_mask_over(mask, 1, box.x0, box.x1, y, scratch);

            for (int32_t x = 0; x < box.x1 - box.x0; x++)
                row[x] += row[x] * by[x];
        }
    }
    if (status == LB_OK)
        status = lb_task_image(task, &out->image);
    if (status == LB_OK)
        status = lb_image_add(out->image, "R", plane);
    if (status != LB_OK)
        lb_image_unref(&out->image);
    lb_plane_unref(&plane);
    lb_free(scratch);
    return status;
}

static const lb_op sum = {.name = "probe-sum",
                          .summary = "A sum",
                          .group = "probe",
                          .version = 1,
                          .inputs = sum_inputs,
                          .result = LB_KIND_IMAGE,
                          .check = sum_check,
                          .describe = sum_describe,
                          .channels = sum_channels,
                          .evaluate = sum_evaluate};

/* ---- A list of records with references: columns out of other images ---- */

typedef struct band_record {
    double from, to;
    int32_t image; /* slot */
    int mode;
} band_record;
typedef struct bands_params {
    lb_records bands;
} bands_params;

static const char *const mode_names[] = {"put", "add", NULL};
static const lb_param band_fields[] = {
    LB_PARAM(band_record, from, LB_NUMBER, .required = true, .min = -100000, .max = 100000,
             .unit = LB_PIXELS, .doc = "The first column."),
    LB_PARAM(band_record, to, LB_NUMBER, .required = true, .min = -100000, .max = 100000,
             .unit = LB_PIXELS, .doc = "The column behind the last."),
    LB_PARAM(band_record, image, LB_REF, .kind = LB_KIND_IMAGE, .doc = "What stands there."),
    LB_PARAM(band_record, mode, LB_CHOICE, .names = mode_names, .doc = "How it comes in."),
    {0}};
static const lb_param bands_params_table[] = {
    LB_PARAM(bands_params, bands, LB_RECORDS, .fields = band_fields,
             .fields_size = sizeof(band_record), .doc = "Columns, the later over the earlier."),
    {0}};

static lb_status bands_plane(const lb_task *task, const lb_plane *in, const char *name,
                             lb_plane **out)
{
    const bands_params *p = task->call.params;
    const band_record *bands = p->bands.items;
    lb_box box = task->box;
    lb_status status = lb_plane_copy(in, box, out);

    for (int32_t i = 0; status == LB_OK && i < p->bands.count; i++) {
        const lb_plane *from =
            bands[i].image < 0 ? NULL : lb_task_plane(task, bands[i].image, name);

        for (int32_t y = box.y0; y < box.y1; y++)
            for (int32_t x = box.x0; x < box.x1; x++) {
                float *pixel = &lb_plane_row_to_fill(*out, y)[x - box.x0];

                if (x >= bands[i].from && x < bands[i].to)
                    *pixel = (bands[i].mode ? *pixel : 0) + (from ? lb_plane_at(from, x, y) : 0);
            }
    }
    return status;
}

static lb_status bands_evaluate(const lb_task *task, lb_value *out)
{
    const lb_channels *channels = task->desc->channels;
    lb_status status = lb_task_image(task, &out->image);

    for (int32_t i = 0; status == LB_OK && i < channels->count; i++) {
        lb_plane *made = NULL;

        if (!lb_task_wants(task, channels->names[i]))
            continue;
        status = bands_plane(task, lb_task_plane(task, 0, channels->names[i]), channels->names[i],
                             &made);
        if (status == LB_OK)
            status = lb_image_add(out->image, channels->names[i], made);
        lb_plane_unref(&made);
    }
    if (status != LB_OK)
        lb_image_unref(&out->image);
    return status;
}

static const lb_op bands = {.name = "probe-bands",
                            .summary = "Columns of other images",
                            .group = "probe",
                            .version = 1,
                            .inputs = one_image,
                            .params = bands_params_table,
                            .params_size = sizeof(bands_params),
                            .result = LB_KIND_IMAGE,
                            .evaluate = bands_evaluate};

/* ---- A file: its first byte, in 256ths, everywhere in R ---- */

typedef struct byte_params {
    const char *file;
} byte_params;

static const lb_param byte_params_table[] = {
    LB_PARAM(byte_params, file, LB_FILE, .required = true, .doc = "Whose first byte."), {0}};

static lb_status byte_fingerprint(const lb_call *call, lb_hasher *hasher)
{
    const byte_params *p = call->params;
    lb_key key;
    lb_status status =
        lb_files_key(call->files, call->diag, lb_call_loc(call, "file"), p->file, &key);

    if (status == LB_OK)
        lb_hash_key(hasher, key);
    return status;
}

static lb_status byte_describe(const lb_call *call, lb_desc *out)
{
    static const char *const names[] = {"R", NULL};

    *out = lb_desc_frame(call, lb_channels_make(call->arena, names));
    return out->channels ? LB_OK : lb_fail(call->diag, LB_MEMORY, call->loc, "no memory");
}

static lb_status byte_evaluate(const lb_task *task, lb_value *out)
{
    const byte_params *p = task->call.params;
    lb_file_content content;
    lb_plane *plane = NULL;
    lb_status status = lb_files_load(task->call.files, task->call.diag,
                                     lb_call_loc(&task->call, "file"), p->file, &content);

    if (status == LB_OK && content.count == 0)
        status = lb_fail(task->call.diag, LB_FORMAT, lb_call_loc(&task->call, "file"),
                         "'%s' is empty", p->file);
    if (status == LB_OK)
        status = lb_plane_new_constant(task->box,
                                       (float)*(const unsigned char *)content.bytes / 256, &plane);
    if (status == LB_OK)
        status = lb_task_image(task, &out->image);
    if (status == LB_OK)
        status = lb_image_add(out->image, "R", plane);
    if (status != LB_OK)
        lb_image_unref(&out->image);
    lb_plane_unref(&plane);
    return status;
}

static const lb_op byte_op = {.name = "probe-byte",
                              .summary = "A file's first byte",
                              .group = "probe",
                              .version = 1,
                              .params = byte_params_table,
                              .params_size = sizeof(byte_params),
                              .result = LB_KIND_IMAGE,
                              .fingerprint = byte_fingerprint,
                              .describe = byte_describe,
                              .evaluate = byte_evaluate};

/* ---- Pixel by pixel: colour times a factor that a mask gives ---- */

typedef struct gain_params {
    double by;
} gain_params;

static const lb_input gain_inputs[] = {{"image", LB_KIND_IMAGE, .doc = "An image."},
                                       {"mask", LB_KIND_IMAGE, .optional = true, .doc = "Where."},
                                       {0}};
static const lb_param gain_params_table[] = {
    LB_PARAM(gain_params, by, LB_NUMBER, .initial = {1}, .min = 0, .max = 1000, .doc = "A factor."),
    {0}};

static lb_status gain_use(const lb_call *call, const lb_desc *own, uint64_t wanted,
                          lb_points_use *out)
{
    const lb_desc *mask = &call->inputs[1];

    lb_points_use_color(call, own, wanted, out);
    if (mask->kind == LB_KIND_IMAGE)
        lb_points_tap(call, 1, lb_mask_channel(mask->channels), out);
    return LB_OK;
}

static void gain_span(const lb_call *call, const void *state, const lb_span *span)
{
    const gain_params *p = call->params;
    const float *mask = call->inputs[1].kind == LB_KIND_IMAGE ? span->taps[4] : NULL;

    (void)state;
    for (int c = 0; c < span->made_count; c++)
        for (int32_t x = 0; x < span->count; x++) {
            float by = mask ? mask[x] * ((float)p->by - 1) + 1 : (float)p->by;

            span->made[c][x] = span->taps[c][x] * by;
        }
}

static const lb_points gain_points = {gain_use, gain_span};

static const lb_op gain = {.name = "probe-gain",
                           .summary = "Colour times a factor",
                           .group = "probe",
                           .version = 1,
                           .inputs = gain_inputs,
                           .params = gain_params_table,
                           .params_size = sizeof(gain_params),
                           .result = LB_KIND_IMAGE,
                           .points = &gain_points,
                           .evaluate = lb_points_evaluate};

/* ---- A neighbourhood, in pieces and with memory of its own: the mean of a row's 2 n + 1 ---- */

typedef struct smear_params {
    double reach;
} smear_params;

static const lb_param smear_params_table[] = {
    LB_PARAM(smear_params, reach, LB_NUMBER, .initial = {1}, .min = 0, .max = 100,
             .unit = LB_PIXELS, .doc = "Pixels to each side."),
    {0}};

static int32_t reach_of(const lb_call *call)
{
    return (int32_t)((const smear_params *)call->params)->reach;
}

static lb_box smear_region(const lb_call *call, int32_t slot, lb_box wanted)
{
    (void)slot;
    return lb_box_grow(wanted, reach_of(call), 0);
}

static size_t smear_scratch(const lb_call *call, const lb_desc *own, lb_box box, uint64_t wanted)
{
    (void)call, (void)own, (void)box, (void)wanted;
    return (size_t)64 << 20; /* far more than it takes, so that it is seen in the plan */
}

typedef struct smear {
    int32_t reach;
    lb_box box;
    const lb_plane *in;
    lb_plane *out;
} smear;

static lb_status smear_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const smear *s = context;

    (void)worker;
    for (int32_t y = s->box.y0 + begin; y < s->box.y0 + end; y++)
        for (int32_t x = s->box.x0; x < s->box.x1; x++) {
            float total = 0;

            for (int32_t k = -s->reach; k <= s->reach; k++)
                total += lb_box_contains(lb_plane_box(s->in), (lb_box){x + k, y, x + k + 1, y + 1})
                             ? lb_plane_at(s->in, x + k, y)
                             : 0;
            lb_plane_row_to_fill(s->out, y)[x - s->box.x0] = total / (float)(2 * s->reach + 1);
        }
    return LB_OK;
}

static lb_status smear_plane(const lb_task *task, const lb_plane *in, lb_plane **out)
{
    smear s = {reach_of(&task->call), task->box, in, NULL};
    lb_status status = lb_plane_new_raw(task->box, &s.out);

    if (status == LB_OK)
        status = lb_pool_for(task->pool, task->box.y1 - task->box.y0, 2, smear_rows, &s);
    if (status != LB_OK)
        lb_plane_unref(&s.out);
    *out = s.out;
    return status;
}

static lb_status smear_evaluate(const lb_task *task, lb_value *out)
{
    return lb_image_map(task, task->inputs[0].image, smear_plane, &out->image);
}

static const lb_op smear_op = {.name = "probe-smear",
                               .summary = "The mean of a row's neighbours",
                               .group = "probe",
                               .version = 1,
                               .inputs = one_image,
                               .params = smear_params_table,
                               .params_size = sizeof(smear_params),
                               .result = LB_KIND_IMAGE,
                               .region = smear_region,
                               .scratch = smear_scratch,
                               .evaluate = smear_evaluate};

LB_OPERATORS(&mean, &sum, &bands, &byte_op, &gain, &smear_op)
