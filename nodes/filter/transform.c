/* nodes/filter/transform.c: a picture moved, turned and scaled.
 *
 * Where the picture gets smaller the kernel grows, so nothing aliases; no pixel goes beyond those
 * it lies among, so nothing rings (overshoot leaves that to the kernel). Depth, normals and ids
 * take the nearest pixel. A picture without alpha gets one, so that what it uncovers is
 * transparent. */
#include <string.h>

#include "engine/base/math.h"
#include "engine/graph/operand.h"
#include "engine/image/sample.h"

typedef struct {
    double translate[2], rotate, scale[2], pivot[2];
    int filter;
    bool overshoot;
} transform_params;

static const lb_input inputs[] = {{"image", LB_KIND_IMAGE, .doc = "What is moved."}, {0}};

static const lb_param params[] = {
    LB_PARAM(transform_params, translate, LB_VEC2, .initial = {0, 0}, .min = -1e6, .max = 1e6,
             .unit = LB_PIXELS, .doc = "To the right and down, after the rest."),
    LB_PARAM(transform_params, rotate, LB_NUMBER, .initial = {0}, .min = -1e6, .max = 1e6,
             .unit = LB_DEGREES, .usual_min = -36000, .usual_max = 36000,
             .doc = "Clockwise around the pivot, after scaling."),
    LB_PARAM(transform_params, scale, LB_VEC2, .initial = {1, 1}, .min = -10000, .max = 10000,
             .spread = true, .usual_min = -100, .usual_max = 100,
             .doc = "Along x and y from the pivot; one number sets both; below 0 it mirrors."),
    LB_PARAM(transform_params, pivot, LB_VEC2, .initial = {LB_UNSET, LB_UNSET}, .min = -1e6,
             .max = 1e6, .unit = LB_PIXELS,
             .doc = "The point that scaling and turning leave where it is; by itself the middle of "
                    "the picture's frame."),
    LB_PARAM(transform_params, filter, LB_CHOICE, .names = lb_filter_names,
             .initial = {LB_FILTER_CUBIC}, .doc = "The kernel that reads between pixels."),
    LB_PARAM(transform_params, overshoot, LB_BOOL, .initial = {false},
             .doc = "Lets cubic, lanczos3 and mitchell go beyond the pixels that they read, as "
                    "their formulas do: crisper, with dark seams around what is bright."),
    {0},
};

/* p' = forward p: where a point of the input goes; backward: where an output point comes from. Both
 * 2 x 3 by rows. `flat`: everything is on one line, so there is nothing to see. */
typedef struct map {
    double forward[6], backward[6];
    bool flat, shift; /* shift: by whole pixels and nothing else, with a kernel that keeps them */
} map;

/* Sine and cosine, exact at right angles. */
static void turn(double degrees, double *sine, double *cosine)
{
    static const double exact[4][2] = {{0, 1}, {1, 0}, {0, -1}, {-1, 0}};
    double rest = degrees - 360 * floor(degrees / 360), quarter = rest / 90;

    if (quarter == floor(quarter)) {
        *sine = exact[(int)quarter % 4][0];
        *cosine = exact[(int)quarter % 4][1];
        return;
    }
    *sine = lb_sin(rest * LB_PI / 180);
    *cosine = lb_cos(rest * LB_PI / 180);
}

/* Whole numbers stay whole through scaled pixel lengths (a third of 3 is 1). */
static double tidy(double value)
{
    double whole = rint(value);

    return fabs(value - whole) < 1e-9 ? whole : value;
}

static map map_of(const lb_call *call)
{
    const transform_params *p = call->params;
    lb_box frame = call->inputs[0].display_window;
    double px = (frame.x0 + frame.x1) / 2.0, py = (frame.y0 + frame.y1) / 2.0, sine, cosine;
    double sx = p->scale[0], sy = p->scale[1], tx, ty;
    map m = {.flat = sx == 0 || sy == 0};

    if (lb_is_set(p->pivot[0]))
        px = p->pivot[0], py = p->pivot[1];
    turn(p->rotate, &sine, &cosine);
    m.forward[0] = cosine * sx, m.forward[1] = -sine * sy;
    m.forward[3] = sine * sx, m.forward[4] = cosine * sy;
    tx = tidy(px + p->translate[0] - m.forward[0] * px - m.forward[1] * py);
    ty = tidy(py + p->translate[1] - m.forward[3] * px - m.forward[4] * py);
    m.forward[2] = tx, m.forward[5] = ty;
    if (m.flat)
        return m;
    m.backward[0] = cosine / sx, m.backward[1] = sine / sx;
    m.backward[3] = -sine / sy, m.backward[4] = cosine / sy;
    m.backward[2] = -(m.backward[0] * tx + m.backward[1] * ty);
    m.backward[5] = -(m.backward[3] * tx + m.backward[4] * ty);
    m.shift = p->filter != LB_FILTER_MITCHELL && m.forward[0] == 1 && m.forward[1] == 0 &&
              m.forward[3] == 0 && m.forward[4] == 1 && tx == floor(tx) && ty == floor(ty);
    return m;
}

/* The box around `box`, grown by (gx, gy), under a 2 x 3 matrix. */
static lb_box mapped(const double m[6], lb_box box, double gx, double gy)
{
    double x[2] = {box.x0 - gx, box.x1 + gx}, y[2] = {box.y0 - gy, box.y1 + gy};
    double low[2] = {INFINITY, INFINITY}, high[2] = {-INFINITY, -INFINITY};

    if (lb_box_is_empty(box))
        return (lb_box){0};
    for (int corner = 0; corner < 4; corner++) {
        double u = x[corner & 1], v = y[corner >> 1];
        double at[2] = {m[0] * u + m[1] * v + m[2], m[3] * u + m[4] * v + m[5]};

        for (int i = 0; i < 2; i++) {
            low[i] = fmin(low[i], at[i]);
            high[i] = fmax(high[i], at[i]);
        }
    }
    return lb_box_around(low[0], low[1], high[0], high[1]);
}

/* How far the kernel reaches along the input's axes, in its pixels. */
static void reach_of(const map *m, lb_filter filter, double reach[2])
{
    for (int i = 0; i < 2; i++) {
        const double *row = m->backward + 3 * i;
        double step = sqrt(row[0] * row[0] + row[1] * row[1]);

        reach[i] = lb_filter_radius(filter) * (step > 1 ? step : 1);
    }
}

static lb_status describe(const lb_call *call, lb_desc *out)
{
    const transform_params *p = call->params;
    map m = map_of(call);
    double reach[2];

    *out = call->inputs[0];
    if (m.flat) {
        out->data_window = (lb_box){0};
    } else if (m.shift) {
        out->data_window =
            lb_box_shift(out->data_window, (int32_t)m.forward[2], (int32_t)m.forward[5]);
    } else {
        reach_of(&m, (lb_filter)p->filter, reach);
        out->data_window = mapped(m.forward, out->data_window, reach[0], reach[1]);
    }
    if (lb_channels_find(out->channels, "R") >= 0)
        out->channels = lb_channels_with(call->arena, out->channels, "A");
    return out->channels ? LB_OK : lb_fail(call->diag, LB_MEMORY, call->loc, "no memory");
}

static lb_box region(const lb_call *call, int32_t slot, lb_box wanted)
{
    const transform_params *p = call->params;
    map m = map_of(call);
    double reach[2];
    lb_box box;

    (void)slot;
    if (m.flat)
        return (lb_box){0};
    if (m.shift)
        return lb_box_shift(wanted, -(int32_t)m.forward[2], -(int32_t)m.forward[5]);
    reach_of(&m, (lb_filter)p->filter, reach);
    box = mapped(m.backward, wanted, 0, 0);
    return lb_box_grow(box, (int32_t)fmin(ceil(reach[0]) + 1, LB_BOX_LIMIT),
                       (int32_t)fmin(ceil(reach[1]) + 1, LB_BOX_LIMIT));
}

/* Moves planes of one box: names[i] are their channels' numbers. */
static lb_status moved(const lb_task *task, const map *m, lb_filter filter, int32_t count,
                       const lb_plane *const *in, const int32_t *names, lb_image *out)
{
    const transform_params *p = task->call.params;
    lb_plane *made[LB_MAX_CHANNELS];
    lb_status status = lb_transform_planes(task->pool, count, in, m->backward, filter,
                                           LB_EDGE_TRANSPARENT, !p->overshoot, task->box, made);

    for (int32_t i = 0; i < count; i++) {
        if (status == LB_OK)
            status = lb_image_add(out, task->desc->channels->names[names[i]], made[i]);
        lb_plane_unref(&made[i]);
    }
    return status;
}

/* Coverage of an image that has none: 1 where it has pixels. */
static lb_status coverage_new(const lb_task *task, lb_plane **out)
{
    lb_box has = lb_image_box(task->inputs[0].image);
    bool none = lb_box_is_empty(has);

    return lb_plane_new_constant(none ? task->box : has, none ? 0.0f : 1.0f, out);
}

/* The wanted channels of light and coverage, or the others, which must not be mixed. */
static lb_status moved_channels(const lb_task *task, const map *m, bool color, lb_image *out)
{
    const transform_params *p = task->call.params;
    const lb_channels *own = task->desc->channels;
    lb_filter filter = m->shift || !color ? LB_FILTER_NEAREST : (lb_filter)p->filter;
    const lb_plane *in[LB_MAX_CHANNELS] = {NULL};
    lb_plane *ones = NULL;
    int32_t count = 0, names[LB_MAX_CHANNELS];
    lb_status status = LB_OK;

    for (int32_t i = 0; i < own->count && status == LB_OK; i++) {
        const lb_plane *plane = lb_task_plane(task, 0, own->names[i]);

        if (!(task->channels >> i & 1) || lb_channel_is_color(own->names[i]) != color)
            continue;
        if (!plane && strcmp(own->names[i], "A") == 0) {
            status = coverage_new(task, &ones);
            plane = ones;
        }
        if (plane) {
            names[count] = i;
            in[count++] = plane;
        }
    }
    if (status == LB_OK)
        status = moved(task, m, filter, count, in, names, out);
    lb_plane_unref(&ones);
    return status;
}

static size_t scratch(const lb_call *call, const lb_desc *own, lb_box box, uint64_t wanted)
{
    const transform_params *p = call->params;
    map m = map_of(call);
    lb_box in = lb_box_intersect(region(call, 0, box), call->inputs[0].data_window);

    (void)own;
    (void)wanted;
    /* Threads are not known here; rows are small beside planes. */
    return m.flat ? 0 : lb_transform_scratch(in, m.backward, (lb_filter)p->filter, box, 16);
}

static lb_status evaluate(const lb_task *task, lb_value *out)
{
    map m = map_of(&task->call);
    lb_status status = lb_task_image(task, &out->image);

    if (status == LB_OK && (status = moved_channels(task, &m, true, out->image)) == LB_OK)
        status = moved_channels(task, &m, false, out->image);
    if (status != LB_OK)
        lb_image_unref(&out->image);
    return status;
}

const lb_op lb_op_transform = {
    .name = "transform",
    .summary = "A picture moved, turned and scaled",
    .doc = "Scaled from the pivot, turned around it, then moved. What is moved out of the frame "
           "is kept for what may bring it back.",
    .group = "filter",
    .example = "  dusk: {op: gradient, stops: [{color: \"#2b1d2e\"}, {color: \"#7a3b1d\"}]}\n"
               "  type: {op: text, text: KILN, size: 110, weight: 700, color: [3, 1.2, 0.3]}\n"
               "  leaning: {op: transform, image: type, rotate: -18, scale: [0.9, 1.2]}\n"
               "  last: {op: composite, source: leaning, backdrop: dusk}\n",
    .version = 2,
    .inputs = inputs,
    .params = params,
    .params_size = sizeof(transform_params),
    .result = LB_KIND_IMAGE,
    .describe = describe,
    .region = region,
    .evaluate = evaluate,
    .scratch = scratch,
};
