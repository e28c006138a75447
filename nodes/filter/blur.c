/* nodes/filter/blur.c: Gaussian blur.
 *
 * Light and coverage are blurred. Depth, normals and ids beside them pass through: between two of
 * them is neither. An image of data alone (beauty.depth) is blurred as it is. */
#include "engine/graph/operand.h"
#include "engine/image/convolve.h"

typedef struct {
    double sigma[2];
    int edge;
} blur_params;

static const lb_input inputs[] = {{"image", LB_KIND_IMAGE, .doc = "What is blurred."}, {0}};

static const lb_param params[] = {
    LB_PARAM(blur_params, sigma, LB_VEC2, .initial = {4, 4}, .min = 0, .max = 10000,
             .unit = LB_PIXELS, .usual_max = 500, .spread = true,
             .doc = "Standard deviation along x and y; one number sets both."),
    LB_PARAM(blur_params, edge, LB_CHOICE, .names = lb_edge_names, .initial = {LB_EDGE_TRANSPARENT},
             .doc = "What the kernel finds outside the data window."),
    {0},
};

static lb_box spread(const blur_params *p, lb_box box)
{
    return lb_box_grow(box, lb_gaussian_reach(p->sigma[0]), lb_gaussian_reach(p->sigma[1]));
}

/* Only what goes out into nothing needs room; the other edges have no outside. */
static lb_status describe(const lb_call *call, lb_desc *out)
{
    const blur_params *p = call->params;

    *out = call->inputs[0];
    if (p->edge == LB_EDGE_TRANSPARENT && !lb_box_is_empty(out->data_window))
        out->data_window = spread(p, out->data_window);
    return LB_OK;
}

static lb_box region(const lb_call *call, int32_t slot, lb_box wanted)
{
    const blur_params *p = call->params;
    lb_box window = call->inputs[slot].data_window, box = spread(p, wanted);

    if (p->edge <= LB_EDGE_CLAMP || lb_box_contains(window, box))
        return box;
    return window; /* repeated or mirrored pixels may come from anywhere */
}

/* Threads are not known here; blocks of rows are small beside planes. */
#define MOST_THREADS 16

static size_t scratch(const lb_call *call, const lb_desc *own, lb_box box, uint64_t wanted)
{
    const blur_params *p = call->params;
    lb_box in = lb_box_intersect(region(call, 0, box), call->inputs[0].data_window);

    (void)own;
    (void)wanted; /* one channel after the other */
    if (p->sigma[0] == 0 && p->sigma[1] == 0)
        return 0;
    return lb_gaussian_scratch(p->sigma, in, (lb_edge)p->edge, box, MOST_THREADS);
}

static lb_status evaluate(const lb_task *task, lb_value *out)
{
    const blur_params *p = task->call.params;
    const lb_channels *channels = task->desc->channels;
    bool keep_data = lb_channels_have_color(channels);
    bool none = p->sigma[0] == 0 && p->sigma[1] == 0;
    lb_status status = lb_task_image(task, &out->image);

    for (int32_t i = 0; status == LB_OK && i < channels->count; i++) {
        const char *name = channels->names[i];
        const lb_plane *plane = lb_task_plane(task, 0, name);
        lb_plane *made = NULL;

        if (!(task->channels >> i & 1) || !plane)
            continue;
        if (none || (keep_data && !lb_channel_is_color(name))) {
            status = lb_task_pass(task, out->image, name, plane);
            continue;
        }
        status =
            lb_convolve_gaussian(task->pool, plane, p->sigma, (lb_edge)p->edge, task->box, &made);
        if (status == LB_OK)
            status = lb_image_add(out->image, name, made);
        lb_plane_unref(&made);
    }
    if (status != LB_OK)
        lb_image_unref(&out->image);
    return status;
}

const lb_op lb_op_blur = {
    .name = "blur",
    .summary = "Gaussian blur",
    .doc = "Every channel of light and coverage is blurred; depth, normals and ids beside them "
           "stay as they are.",
    .group = "filter",
    .example = "  dusk: {op: gradient, stops: [{color: \"#2b1d2e\"}, {color: \"#7a3b1d\"}]}\n"
               "  type: {op: text, text: KILN, size: 110, weight: 700, color: [3, 1.2, 0.3]}\n"
               "  lit: {op: composite, source: type, backdrop: dusk}\n"
               "  last: {op: blur, image: lit, sigma: {keys: {1: 6, 50: 0}, ease: ease-out}, edge: "
               "clamp}\n",
    .version = 2,
    .inputs = inputs,
    .params = params,
    .params_size = sizeof(blur_params),
    .result = LB_KIND_IMAGE,
    .describe = describe,
    .region = region,
    .evaluate = evaluate,
    .scratch = scratch,
};
