/* nodes/filter/shimmer.c: heat shimmer, a picture displaced by moving turbulence.
 *
 * Hot air bends light by the gradient of its density: small, slow lenses that rise. Here three
 * octaves of gradient noise over (x, y + rise t, t) displace each pixel along x and along y. The
 * mean displacement is 0 and flat areas stay as they are; no pixel goes beyond those it lies among,
 * so there are no dark seams around what is hot. */
#include "engine/base/clones.h"
#include "engine/base/random.h"
#include "engine/graph/operand.h"
#include "engine/image/sample.h"

enum { IMAGE, MASK };

enum { AUTO, TRANSPARENT, CLAMP, REPEAT, MIRROR };
static const char *const edge_names[] = {"auto", "transparent", "clamp", "repeat", "mirror", NULL};

typedef struct {
    double strength, scale, speed, rise;
    int32_t seed;
    int filter, edge;
} shimmer_params;

static const lb_input inputs[] = {
    {"image", LB_KIND_IMAGE, .doc = "What is seen through the hot air."},
    {"mask", LB_KIND_IMAGE, .optional = true,
     .doc = "How strongly, from 0 to 1: its alpha, its only channel, or its red."},
    {0}};

static const lb_param params[] = {
    LB_PARAM(shimmer_params, strength, LB_NUMBER, .initial = {4}, .min = 0, .max = 1000,
             .unit = LB_PIXELS, .usual_max = 200,
             .doc = "The largest displacement that can be; most of it is a quarter of that."),
    LB_PARAM(shimmer_params, scale, LB_NUMBER, .initial = {60}, .min = 0.5, .max = 100000,
             .unit = LB_PIXELS, .doc = "Size of the largest eddies."),
    LB_PARAM(shimmer_params, speed, LB_NUMBER, .initial = {1}, .min = -1000, .max = 1000,
             .usual_min = -50, .usual_max = 50, .doc = "How often a second the eddies change."),
    LB_PARAM(shimmer_params, rise, LB_NUMBER, .initial = {60}, .min = -100000, .max = 100000,
             .unit = LB_PIXELS_PER_SECOND, .doc = "How fast they go up."),
    LB_PARAM(shimmer_params, seed, LB_INT, .initial = {1}, .min = 0, .max = INT32_MAX,
             .doc = "Another number gives other eddies."),
    LB_PARAM(shimmer_params, filter, LB_CHOICE, .names = lb_filter_names,
             .initial = {LB_FILTER_CUBIC}, .doc = "The kernel that reads between pixels."),
    LB_PARAM(shimmer_params, edge, LB_CHOICE, .names = edge_names, .initial = {AUTO},
             .doc = "What is beyond the picture's edge; auto: the edge's pixel where the picture "
                    "fills the frame or has no alpha, else nothing."),
    {0},
};

static lb_edge edge_of(const lb_call *call)
{
    const shimmer_params *p = call->params;
    const lb_desc *in = &call->inputs[IMAGE];

    if (p->edge != AUTO)
        return (lb_edge)(p->edge - TRANSPARENT);
    return lb_box_contains(in->data_window, in->display_window) ||
                   lb_channels_find(in->channels, "A") < 0
               ? LB_EDGE_CLAMP
               : LB_EDGE_TRANSPARENT;
}

static lb_box spread(const shimmer_params *p, lb_box box)
{
    int32_t reach = (int32_t)ceil(p->strength + lb_filter_radius((lb_filter)p->filter)) + 1;

    return p->strength > 0 ? lb_box_grow(box, reach, reach) : box;
}

static lb_status describe(const lb_call *call, lb_desc *out)
{
    *out = call->inputs[IMAGE];
    if (edge_of(call) == LB_EDGE_TRANSPARENT && !lb_box_is_empty(out->data_window))
        out->data_window = spread(call->params, out->data_window);
    return lb_mask_check(call, MASK, "mask");
}

static lb_box region(const lb_call *call, int32_t slot, lb_box wanted)
{
    lb_box window = call->inputs[slot].data_window, box = wanted;

    if (slot == MASK)
        return wanted;
    box = spread(call->params, wanted);
    if (edge_of(call) <= LB_EDGE_CLAMP || lb_box_contains(window, box))
        return box;
    return window;
}

static uint64_t channels(const lb_call *call, const lb_desc *own, int32_t slot, uint64_t wanted)
{
    const lb_channels *has = call->inputs[slot].channels;

    (void)own; /* its channels are the image's */
    return slot == IMAGE ? wanted : lb_channels_bit(has, lb_mask_channel(has));
}

#define OCTAVES 3

/* One octave of one direction. Steps along x are whole multiples of 2^-20, so that a row gives the
 * same bits wherever it is cut (lb_noise3_row). */
typedef struct octave {
    uint32_t seed;
    float amplitude; /* pixels */
    double step;     /* cells a pixel along x */
    double x, y, z;  /* of frame point (0, 0) */
    double step_y;
} octave;

static double on_grid(double value)
{
    return rint(value * 0x1p20) / 0x1p20;
}

static octave octave_of(const lb_call *call, int direction, int k)
{
    const shimmer_params *p = call->params;
    uint32_t seed = (uint32_t)p->seed, id = (uint32_t)(direction * OCTAVES + k);
    double frequency = 1 << k, cell = frequency / p->scale;
    double all = 2 - 1.0 / (1 << (OCTAVES - 1)); /* 1 + 1/2 + 1/4 */
    octave o = {.seed = lb_random_u32(seed, id, 0, 0x5417),
                .amplitude = (float)(p->strength / frequency / all),
                .step_y = cell,
                .step = fmax(on_grid(cell), 0x1p-20)};

    /* Noise is 0 on the lattice: each octave stands elsewhere, or all would be 0 at once. */
    o.x = on_grid(o.step / 2 + 64 * (double)lb_random_float(seed, id, 1, 0x5417));
    o.y = (p->rise * call->time_s + 0.5) * cell + 64 * (double)lb_random_float(seed, id, 2, 0x5417);
    o.z = p->speed * frequency * call->time_s + 64 * (double)lb_random_float(seed, id, 3, 0x5417);
    return o;
}

LB_CLONES
static void scale_row(float *restrict out, float by, int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        out[x] *= by;
}

LB_CLONES
static void add_row(float *restrict out, const float *restrict in, float by, int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        out[x] += in[x] * by;
}

LB_CLONES
static void multiply_row(float *restrict out, const float *restrict by, int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        out[x] *= by[x];
}

typedef struct field {
    const lb_task *task;
    octave octaves[2][OCTAVES];
    bool masked;
    const lb_plane *mask;
    lb_plane *out[2]; /* dx, dy */
} field;

static lb_status field_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const field *f = context;
    lb_box box = f->task->box;
    int32_t width = lb_box_width(box);
    float *scratch = lb_block_new((size_t)width * sizeof *scratch);

    (void)worker;
    if (!scratch)
        return LB_MEMORY;
    for (int32_t y = box.y0 + begin; y < box.y0 + end; y++)
        for (int d = 0; d < 2; d++) {
            float *row = lb_plane_row_to_fill(f->out[d], y);

            for (int k = 0; k < OCTAVES; k++) {
                const octave *o = &f->octaves[d][k];

                lb_noise3_row(k ? scratch : row, width, o->x + box.x0 * o->step, o->step,
                              o->y + y * o->step_y, o->z, o->seed);
                if (k == 0)
                    scale_row(row, o->amplitude, width);
                else
                    add_row(row, scratch, o->amplitude, width);
            }
            if (f->masked)
                multiply_row(row, lb_plane_mask_over(f->mask, 1, box.x0, box.x1, y, scratch),
                             width);
        }
    lb_block_free(scratch);
    return LB_OK;
}

/* Displacements over task->box. */
static lb_status field_new(const lb_task *task, lb_plane *out[2])
{
    const lb_desc *mask = &task->call.inputs[MASK];
    field f = {.task = task, .masked = mask->kind == LB_KIND_IMAGE};
    lb_status status = LB_OK;

    if (f.masked)
        f.mask = lb_task_plane(task, MASK, lb_mask_channel(mask->channels));
    f.masked = f.mask != NULL;
    for (int d = 0; d < 2; d++) {
        for (int k = 0; k < OCTAVES; k++)
            f.octaves[d][k] = octave_of(&task->call, d, k);
        if (status == LB_OK)
            status = lb_plane_new_raw(task->box, &f.out[d]);
    }
    if (status == LB_OK)
        status = lb_pool_for(task->pool, lb_box_height(task->box), 16, field_rows, &f);
    out[0] = f.out[0];
    out[1] = f.out[1];
    return status;
}

/* Warps the wanted channels of light and coverage, or the others, which must not be mixed. */
static lb_status warp_channels(const lb_task *task, lb_plane *const moves[2], bool color,
                               lb_image *image)
{
    const shimmer_params *p = task->call.params;
    const lb_channels *own = task->desc->channels;
    const lb_plane *in[LB_MAX_CHANNELS] = {NULL};
    lb_plane *made[LB_MAX_CHANNELS];
    int32_t count = 0, names[LB_MAX_CHANNELS];
    lb_status status;

    for (int32_t i = 0; i < own->count; i++) {
        const lb_plane *plane = lb_task_plane(task, IMAGE, own->names[i]);

        if (!(task->channels >> i & 1) || !plane || lb_channel_is_color(own->names[i]) != color)
            continue;
        names[count] = i;
        in[count++] = plane;
    }
    status = lb_warp_planes_limited(task->pool, count, in, moves[0], moves[1],
                                    color ? (lb_filter)p->filter : LB_FILTER_NEAREST,
                                    edge_of(&task->call), task->box, made);
    for (int32_t i = 0; i < count; i++) {
        if (status == LB_OK)
            status = lb_image_add(image, own->names[names[i]], made[i]);
        lb_plane_unref(&made[i]);
    }
    return status;
}

static lb_status pass_channels(const lb_task *task, lb_image *image)
{
    const lb_channels *own = task->desc->channels;
    lb_status status = LB_OK;

    for (int32_t i = 0; status == LB_OK && i < own->count; i++) {
        const lb_plane *plane = lb_task_plane(task, IMAGE, own->names[i]);

        if ((task->channels >> i & 1) && plane)
            status = lb_task_pass(task, image, own->names[i], plane);
    }
    return status;
}

/* The displacements. */
static size_t scratch(const lb_call *call, const lb_desc *own, lb_box box, uint64_t wanted)
{
    const shimmer_params *p = call->params;

    (void)own;
    (void)wanted;
    return p->strength > 0 ? 2 * lb_plane_room(box) : 0;
}

static lb_status evaluate(const lb_task *task, lb_value *out)
{
    const shimmer_params *p = task->call.params;
    lb_plane *moves[2] = {NULL, NULL};
    lb_status status = lb_task_image(task, &out->image);

    if (status == LB_OK && p->strength == 0)
        status = pass_channels(task, out->image);
    if (status == LB_OK && p->strength > 0 && (status = field_new(task, moves)) == LB_OK &&
        (status = warp_channels(task, moves, true, out->image)) == LB_OK)
        status = warp_channels(task, moves, false, out->image);
    lb_plane_unref(&moves[0]);
    lb_plane_unref(&moves[1]);
    if (status != LB_OK)
        lb_image_unref(&out->image);
    return status;
}

const lb_op lb_op_shimmer = {
    .name = "shimmer",
    .summary = "Heat shimmer: a picture displaced by rising turbulence",
    .doc = "Light, coverage, depth and every other channel are displaced together. The same "
           "frame, seed and parameters always give the same picture.",
    .group = "filter",
    .example = "  dusk: {op: gradient, stops: [{color: \"#2b1d2e\"}, {color: \"#7a3b1d\"}]}\n"
               "  type: {op: text, text: KILN, size: 110, weight: 700, color: [3, 1.2, 0.3]}\n"
               "  lit: {op: composite, source: type, backdrop: dusk}\n"
               "  last: {op: shimmer, image: lit, strength: 14, scale: 40, rise: 80}\n",
    .version = 3,
    .inputs = inputs,
    .params = params,
    .params_size = sizeof(shimmer_params),
    .result = LB_KIND_IMAGE,
    .timed = true,
    .describe = describe,
    .region = region,
    .channels = channels,
    .evaluate = evaluate,
    .scratch = scratch,
};
