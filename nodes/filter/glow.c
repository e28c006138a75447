/* nodes/filter/glow.c: light that spills around what is bright.
 *
 * image + gain tint (w_k summed over Gaussians of max(image - threshold, 0)), common practice. The
 * weights add up to 1, so the light added is gain times that above the threshold. A lens scatters
 * light with a sharp core and a long tail, not like one Gaussian: four of them, each half as wide
 * as the one before and with as much light, fall off about as the square of the distance between
 * the narrowest and the widest. */
#include <string.h>

#include "engine/base/clones.h"
#include "engine/graph/operand.h"
#include "engine/image/convolve.h"

enum { IMAGE, MASK };
enum { NATURAL, GAUSSIAN };
static const char *const falloff_names[] = {"natural", "gaussian", NULL};

typedef struct {
    double threshold, radius, gain, tint[4];
    int falloff;
} glow_params;

static const lb_input inputs[] = {
    {"image", LB_KIND_IMAGE, .doc = "What glows."},
    {"mask", LB_KIND_IMAGE, .optional = true,
     .doc = "How much of the light above the threshold is spilled, from 0 to 1: its alpha, its "
            "only channel, or its red."},
    {0}};

static const lb_param params[] = {
    LB_PARAM(glow_params, threshold, LB_NUMBER, .initial = {1}, .min = 0, .max = 65504,
             .usual_max = 1000,
             .doc = "Light above it is spilled, in each of red, green and blue."),
    LB_PARAM(glow_params, radius, LB_NUMBER, .initial = {32}, .min = 0, .max = 10000,
             .unit = LB_PIXELS, .usual_max = 2000,
             .doc = "How far it visibly reaches: twice the standard deviation of the widest "
                    "Gaussian."),
    LB_PARAM(glow_params, gain, LB_NUMBER, .initial = {1}, .min = 0, .max = 65504, .usual_max = 20,
             .doc = "How much of it is added."),
    LB_PARAM(glow_params, tint, LB_COLOR, .initial = {1, 1, 1, 1}, .usual_max = 100,
             .doc = "Multiplies the light that is added; its alpha does nothing."),
    LB_PARAM(glow_params, falloff, LB_CHOICE, .names = falloff_names, .initial = {NATURAL},
             .doc = "natural: a sharp core with a long tail; gaussian: one even bell."),
    {0},
};

#define WIDTHS 4
/* Fractions of the widest sigma, and of the light. */
static const double widths[WIDTHS] = {1, 0.5, 0.25, 0.125};
static const double shares[WIDTHS] = {0.25, 0.25, 0.25, 0.25};

static lb_box spread(const glow_params *p, lb_box box)
{
    int32_t reach = lb_gaussian_reach(p->radius / 2);

    return lb_box_grow(box, reach, reach);
}

static lb_status describe(const lb_call *call, lb_desc *out)
{
    const glow_params *p = call->params;

    *out = call->inputs[IMAGE];
    if (p->gain > 0 && !lb_box_is_empty(out->data_window))
        out->data_window = spread(p, out->data_window);
    return lb_mask_check(call, MASK, "mask");
}

static lb_box region(const lb_call *call, int32_t slot, lb_box wanted)
{
    (void)slot;
    return spread(call->params, wanted);
}

static uint64_t channels(const lb_call *call, const lb_desc *own, int32_t slot, uint64_t wanted)
{
    const lb_channels *has = call->inputs[slot].channels;

    (void)own; /* its channels are the image's */
    return slot == IMAGE ? wanted : lb_channels_bit(has, lb_mask_channel(has));
}

/* max(image - threshold, 0), NaN gives 0. */
LB_CLONES
static void bright_row(float *restrict out, const float *restrict in, float threshold,
                       int32_t count)
{
    for (int32_t x = 0; x < count; x++) {
        float above = in[x] - threshold;

        out[x] = above > 0.0f ? above : 0.0f;
    }
}

LB_CLONES
static void multiply_row(float *restrict out, const float *restrict by, int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        out[x] *= by[x];
}

LB_CLONES
static void add_row(float *restrict out, const float *restrict in, float by, int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        out[x] += in[x] * by;
}

typedef struct job {
    const glow_params *params;
    const lb_plane *in, *mask;
    bool masked;
    lb_plane *bright;
    const lb_plane *blurred;
    float by;
    lb_plane *out;
} job;

static lb_status bright_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const job *j = context;
    lb_box box = lb_plane_box(j->bright), in = lb_plane_box(j->in);
    int32_t width = lb_box_width(box);
    float *scratch = j->masked ? lb_block_new((size_t)width * sizeof *scratch) : NULL;

    (void)worker;
    if (j->masked && !scratch)
        return LB_MEMORY;
    for (int32_t y = box.y0 + begin; y < box.y0 + end; y++) {
        float *row = lb_plane_row_to_fill(j->bright, y);

        bright_row(row, lb_plane_row(j->in, y) + (box.x0 - in.x0), (float)j->params->threshold,
                   width);
        if (j->masked)
            multiply_row(row, lb_plane_mask_over(j->mask, 1, box.x0, box.x1, y, scratch), width);
    }
    lb_block_free(scratch);
    return LB_OK;
}

static lb_status add_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const job *j = context;
    lb_box box = lb_plane_box(j->out);

    (void)worker;
    for (int32_t y = box.y0 + begin; y < box.y0 + end; y++)
        add_row(lb_plane_row_to_fill(j->out, y), lb_plane_row(j->blurred, y), j->by,
                lb_box_width(box));
    return LB_OK;
}

/* Adds the light of j->bright to j->out, which holds the picture. */
static lb_status add_light(const lb_task *task, job *j, double by)
{
    const glow_params *p = j->params;
    int count = p->falloff == GAUSSIAN ? 1 : WIDTHS;
    lb_status status = LB_OK;

    for (int k = 0; k < count && status == LB_OK; k++) {
        double sigma = p->radius / 2 * widths[k];
        lb_plane *blurred = NULL;

        status = lb_convolve_gaussian(task->pool, j->bright, (double[2]){sigma, sigma},
                                      LB_EDGE_TRANSPARENT, task->box, &blurred);
        j->blurred = blurred;
        j->by = (float)(by * (count == 1 ? 1 : shares[k]));
        if (status == LB_OK)
            status = lb_pool_for(task->pool, lb_box_height(task->box), 32, add_rows, j);
        lb_plane_unref(&blurred);
    }
    return status;
}

static lb_status glow_plane(const lb_task *task, const lb_plane *in, double tint, lb_plane **out)
{
    const glow_params *p = task->call.params;
    const lb_desc *mask = &task->call.inputs[MASK];
    lb_box box = lb_box_intersect(spread(p, task->box), lb_plane_box(in));
    job j = {.params = p, .in = in, .masked = mask->kind == LB_KIND_IMAGE};
    lb_status status;

    if (j.masked)
        j.mask = lb_task_plane(task, MASK, lb_mask_channel(mask->channels));
    if ((status = lb_plane_copy(in, task->box, out)) != LB_OK || lb_box_is_empty(box) ||
        (j.masked && !j.mask))
        return status;
    j.out = *out;
    if ((status = lb_plane_new_raw(box, &j.bright)) == LB_OK &&
        (status = lb_pool_for(task->pool, lb_box_height(box), 32, bright_rows, &j)) == LB_OK)
        status = add_light(task, &j, p->gain * tint);
    lb_plane_unref(&j.bright);
    return status;
}

/* Threads are not known here; blocks of rows are small beside planes. */
#define MOST_THREADS 16

/* One channel after the other: what is bright, one blurred picture, and what blurring takes. */
static size_t scratch(const lb_call *call, const lb_desc *own, lb_box box, uint64_t wanted)
{
    const glow_params *p = call->params;
    lb_box in = lb_box_intersect(spread(p, box), call->inputs[IMAGE].data_window);
    int count = p->falloff == GAUSSIAN ? 1 : WIDTHS;
    size_t most = 0;

    (void)own;
    (void)wanted;
    if (p->gain == 0 || lb_box_is_empty(in))
        return 0;
    for (int k = 0; k < count; k++) {
        double sigma = p->radius / 2 * widths[k];
        size_t bytes = lb_gaussian_scratch((double[2]){sigma, sigma}, in, LB_EDGE_TRANSPARENT, box,
                                           MOST_THREADS);

        most = bytes > most ? bytes : most;
    }
    return most + lb_plane_room(in) + lb_plane_room(box);
}

static lb_status evaluate(const lb_task *task, lb_value *out)
{
    static const char *const names[3] = {"R", "G", "B"};
    const glow_params *p = task->call.params;
    const lb_channels *own = task->desc->channels;
    lb_status status = lb_task_image(task, &out->image);

    for (int32_t i = 0; status == LB_OK && i < own->count; i++) {
        const lb_plane *plane = lb_task_plane(task, IMAGE, own->names[i]);
        lb_plane *made = NULL;
        double tint = 0;

        if (!(task->channels >> i & 1) || !plane)
            continue;
        for (int c = 0; c < 3; c++)
            if (strcmp(names[c], own->names[i]) == 0)
                tint = p->tint[c];
        if (p->gain * tint == 0) {
            status = lb_task_pass(task, out->image, own->names[i], plane);
            continue;
        }
        if ((status = glow_plane(task, plane, tint, &made)) == LB_OK)
            status = lb_image_add(out->image, own->names[i], made);
        lb_plane_unref(&made);
    }
    if (status != LB_OK)
        lb_image_unref(&out->image);
    return status;
}

const lb_op lb_op_glow = {
    .name = "glow",
    .summary = "Light that spills around what is bright",
    .doc = "Adds light and covers nothing: alpha stays, so over a backdrop the glow brightens it.",
    .group = "filter",
    .example = "  dusk: {op: gradient, stops: [{color: \"#2b1d2e\"}, {color: \"#7a3b1d\"}]}\n"
               "  type: {op: text, text: KILN, size: 110, weight: 700, color: [3, 1.2, 0.3]}\n"
               "  lit: {op: composite, source: type, backdrop: dusk}\n"
               "  last: {op: glow, image: lit, threshold: 0.6, radius: 60, gain: 1.5, tint: "
               "\"#ff8c42\"}\n",
    .version = 2,
    .inputs = inputs,
    .params = params,
    .params_size = sizeof(glow_params),
    .result = LB_KIND_IMAGE,
    .describe = describe,
    .region = region,
    .channels = channels,
    .evaluate = evaluate,
    .scratch = scratch,
};
