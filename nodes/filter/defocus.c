/* nodes/filter/defocus.c: what a lens does to what is out of focus.
 *
 * Each pixel is spread over its circle of confusion: a thin lens's, from the depth and the camera's
 * figures, or the same everywhere. One scene unit is a metre, as glTF has it. */
#include <math.h>
#include <string.h>

#include "engine/base/clones.h"
#include "engine/graph/operand.h"
#include "engine/image/convolve.h"
#include "engine/image/defocus.h"
#include "engine/image/extend.h"
#include "engine/image/lens.h"

#define BAND_PIXELS ((int64_t)16 << 20) /* with what a band needs around it */
#define LEAST_BAND 256

enum { IMAGE, DEPTH };

enum { AUTO, TRANSPARENT, CLAMP, MIRROR };
static const char *const edge_names[] = {"auto", "transparent", "clamp", "mirror", NULL};

typedef struct {
    double focus, f_number, focal_length, film_back, radius, max_radius;
    int edge;
} defocus_params;

static const lb_input inputs[] = {
    {"image", LB_KIND_IMAGE, .doc = "What is put out of focus."},
    {"depth", LB_KIND_IMAGE, .optional = true,
     .doc = "Distance along the camera's axis in scene units; by itself the image's own depth "
            "layer."},
    {0}};

static const lb_param params[] = {
    LB_PARAM(defocus_params, focus, LB_NUMBER, .initial = {LB_UNSET}, .min = 1e-6, .max = 1e9,
             .unit = LB_SCENE_UNITS, .doc = "The distance that is sharp; a scene unit is a metre."),
    LB_PARAM_AS(defocus_params, f_number, "f-number", LB_NUMBER, .initial = {2.8}, .min = 0.01,
                .max = 1000, .usual_min = 0.1, .usual_max = 128,
                .doc = "Focal length over the aperture's diameter."),
    LB_PARAM_AS(defocus_params, focal_length, "focal-length", LB_NUMBER, .initial = {50},
                .min = 0.1, .max = 10000, .unit = LB_MILLIMETRES, .usual_min = 4, .usual_max = 2000,
                .doc = "Of the lens."),
    LB_PARAM_AS(defocus_params, film_back, "film-back", LB_NUMBER, .initial = {36}, .min = 0.1,
                .max = 10000, .unit = LB_MILLIMETRES, .usual_min = 3, .usual_max = 300,
                .doc = "Width of the film or sensor that the frame's width is on."),
    LB_PARAM(defocus_params, radius, LB_NUMBER, .initial = {LB_UNSET}, .min = 0, .max = 512,
             .unit = LB_PIXELS,
             .doc = "In place of the camera's figures: the radius of the circle of confusion, the "
                    "same everywhere."),
    LB_PARAM_AS(defocus_params, max_radius, "max-radius", LB_NUMBER, .initial = {100}, .min = 0,
                .max = 512, .unit = LB_PIXELS, .doc = "Larger circles are cut to this radius."),
    LB_PARAM(defocus_params, edge, LB_CHOICE, .names = edge_names, .initial = {AUTO},
             .doc =
                 "What is beyond the picture's edge; auto: the picture turned over where it fills "
                 "the frame or has no alpha, else nothing."),
    {0},
};

static bool is_even(const defocus_params *p)
{
    return lb_is_set(p->radius);
}

/* The channel of `channels` that is a distance; NULL: none. */
static const char *depth_channel(const lb_channels *channels)
{
    static const char *const names[] = {"Z", "depth.Z", "Y", "R"};

    if (channels->count == 1)
        return channels->names[0];
    for (int i = 0; i < 4; i++)
        if (lb_channels_find(channels, names[i]) >= 0)
            return names[i];
    return NULL;
}

/* Which slot has the depth, and where in it. */
static const char *find_depth(const lb_call *call, int32_t *slot)
{
    *slot = call->inputs[DEPTH].kind == LB_KIND_IMAGE ? DEPTH : IMAGE;
    if (*slot == DEPTH)
        return depth_channel(call->inputs[DEPTH].channels);
    return lb_channels_find(call->inputs[IMAGE].channels, "depth.Z") >= 0 ? "depth.Z" : NULL;
}

static lb_edge edge_of(const lb_call *call)
{
    const defocus_params *p = call->params;
    const lb_desc *in = &call->inputs[IMAGE];

    if (p->edge != AUTO)
        return p->edge == CLAMP    ? LB_EDGE_CLAMP
               : p->edge == MIRROR ? LB_EDGE_MIRROR
                                   : LB_EDGE_TRANSPARENT;
    return lb_box_contains(in->data_window, in->display_window) ||
                   lb_channels_find(in->channels, "A") < 0
               ? LB_EDGE_MIRROR
               : LB_EDGE_TRANSPARENT;
}

/* What pixels of `box` need. */
static lb_box needs(const defocus_params *p, lb_box box)
{
    int32_t reach = is_even(p) ? lb_disc_reach(p->radius) : lb_defocus_reach(p->max_radius);

    return lb_box_grow(box, reach, reach);
}

/* What pixels of `box` reach. */
static lb_box spread(const defocus_params *p, lb_box box)
{
    int32_t reach = is_even(p) ? lb_disc_reach(p->radius) : lb_defocus_spread(p->max_radius);

    return lb_box_grow(box, reach, reach);
}

static lb_status check(const lb_call *call)
{
    const defocus_params *p = call->params;

    if (is_even(p) && lb_is_set(p->focus))
        return lb_fail(call->diag, LB_INVALID, lb_call_loc(call, "radius"),
                       "'radius' is the same everywhere and 'focus' goes by depth; give one of "
                       "them");
    if (is_even(p))
        return LB_OK;
    if (!lb_is_set(p->focus))
        return lb_fail(call->diag, LB_INVALID, call->loc,
                       "'%s' needs 'focus', the distance that is sharp, or 'radius'", call->node);
    if (p->focus * 1000 <= p->focal_length)
        return lb_fail(call->diag, LB_INVALID, lb_call_loc(call, "focus"),
                       "'focus' is %g, not beyond the focal length (%g mm); a scene unit is a "
                       "metre",
                       p->focus, p->focal_length);
    return LB_OK;
}

static lb_status describe(const lb_call *call, lb_desc *out)
{
    const defocus_params *p = call->params;
    int32_t slot;

    *out = call->inputs[IMAGE];
    if (!is_even(p) && !find_depth(call, &slot))
        return lb_fail(call->diag, LB_INVALID, call->loc,
                       slot == DEPTH ? "'depth' of '%s' has no channel Z, Y or R"
                                     : "the image of '%s' has no layer depth; connect 'depth'",
                       call->node);
    if (edge_of(call) == LB_EDGE_TRANSPARENT && !lb_box_is_empty(out->data_window))
        out->data_window = spread(p, out->data_window);
    return LB_OK;
}

static lb_box region(const lb_call *call, int32_t slot, lb_box wanted)
{
    (void)slot;
    return needs(call->params, wanted);
}

static uint64_t channels(const lb_call *call, const lb_desc *own, int32_t slot, uint64_t wanted)
{
    const lb_channels *has = call->inputs[slot].channels;
    int32_t depth_slot;
    const char *depth = is_even(call->params) ? NULL : find_depth(call, &depth_slot);
    uint64_t bits = depth && depth_slot == slot ? lb_channels_bit(has, depth) : 0;

    (void)own; /* its channels are the image's */
    return slot == IMAGE ? bits | wanted | lb_channels_rgba_bits(has) : bits;
}

/* Half the circle's diameter in pixels, signed. */
static double radius_at(const lb_call *call, float depth)
{
    const defocus_params *p = call->params;

    return call->format->width / p->film_back / 2 *
           lb_lens_confusion(p->focal_length, p->f_number, p->focus * 1000, (double)depth * 1000);
}

typedef struct radii {
    const lb_task *task;
    const lb_plane *depth;
    lb_edge edge;
    lb_plane *out;
} radii;

/* radius_at for a row, in place. */
LB_CLONES
static void radius_row(const lb_call *call, float *row, int32_t count)
{
    const defocus_params *p = call->params;
    double scale = call->format->width / p->film_back / 2, focus = p->focus * 1000;
    double far = lb_lens_confusion(p->focal_length, p->f_number, focus, INFINITY);

    for (int32_t x = 0; x < count; x++) {
        double distance = (double)row[x] * 1000;
        bool has_end = distance > 0 && distance < INFINITY;

        row[x] = (float)(scale * (has_end ? far * ((distance - focus) / distance) : far));
    }
}

static lb_status radius_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const radii *r = context;
    lb_box box = lb_plane_box(r->out);

    (void)worker;
    for (int32_t y = box.y0 + begin; y < box.y0 + end; y++) {
        float *row = lb_plane_row_to_fill(r->out, y);

        lb_plane_copy_row(r->depth, r->edge, y, box.x0, box.x1, row);
        radius_row(&r->task->call, row, lb_box_width(box));
    }
    return LB_OK;
}

#define DEPTH_ROWS 32

/* The nearest and the farthest distance in rows of a part of the depth. */
typedef struct range {
    const lb_plane *depth;
    lb_box box;
    float *nearest, *farthest; /* for every DEPTH_ROWS rows */
} range;

static lb_status range_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const range *r = context;
    float nearest = INFINITY, farthest = 0;

    (void)worker;
    for (int32_t y = r->box.y0 + begin; y < r->box.y0 + end; y++) {
        const float *row = lb_plane_row(r->depth, y) + (r->box.x0 - lb_plane_box(r->depth).x0);

        for (int32_t x = 0; x < lb_box_width(r->box); x++) {
            float z = row[x] > 0 ? row[x] : INFINITY; /* NaN too: nothing is there */

            nearest = z < nearest ? z : nearest;
            farthest = z > farthest ? z : farthest;
        }
    }
    r->nearest[begin / DEPTH_ROWS] = nearest;
    r->farthest[begin / DEPTH_ROWS] = farthest;
    return LB_OK;
}

/* The widest circle in what `box` needs of the depth: radii grow with the distance, so it is the
 * nearest or the farthest pixel's. */
static lb_status find_widest(const lb_task *task, const lb_plane *depth, lb_box box, double *out)
{
    lb_edge edge = edge_of(&task->call);
    range r = {depth, lb_edge_needs(edge, lb_plane_box(depth), box), NULL, NULL};
    int32_t pieces = (lb_box_height(r.box) - 1) / DEPTH_ROWS + 1;
    lb_status status = LB_MEMORY;

    r.nearest = lb_alloc((size_t)pieces, 2 * sizeof *r.nearest);
    if (r.nearest) {
        r.farthest = r.nearest + pieces;
        status = lb_pool_for(task->pool, lb_box_height(r.box), DEPTH_ROWS, range_rows, &r);
    }
    *out = 0;
    for (int32_t i = 0; i < pieces && status == LB_OK; i++)
        *out = fmax(*out, fmax(fabs(radius_at(&task->call, r.nearest[i])),
                               fabs(radius_at(&task->call, r.farthest[i]))));
    if (edge == LB_EDGE_TRANSPARENT && !lb_box_contains(lb_plane_box(depth), box))
        *out = fmax(*out, fabs(radius_at(&task->call, INFINITY)));
    lb_free(r.nearest);
    return status;
}

static const char *const rgba[4] = {"R", "G", "B", "A"};

/* Pixels of `box` into the planes `out`, which contain it. */
static lb_status by_depth_in(const lb_task *task, const lb_plane *depth, double most, lb_box box,
                             lb_plane *out[4])
{
    lb_edge edge = edge_of(&task->call);
    int32_t reach = lb_defocus_reach(most);
    lb_box wide = lb_box_grow(box, reach, reach);
    lb_plane *in[4] = {NULL};
    radii r = {task, depth, edge, NULL};
    lb_status status = LB_OK;

    for (int c = 0; c < 4 && status == LB_OK; c++) {
        const lb_plane *plane = lb_task_plane(task, IMAGE, rgba[c]);

        if (plane && edge != LB_EDGE_TRANSPARENT)
            status = lb_plane_extend(task->pool, plane, edge, wide, &in[c]);
        else if (plane)
            in[c] = lb_plane_ref(plane);
    }
    if (status == LB_OK)
        status = lb_plane_new_raw(lb_box_intersect(lb_plane_box(in[0]), wide), &r.out);
    if (status == LB_OK)
        status = lb_pool_for(task->pool, lb_box_height(lb_plane_box(r.out)), 32, radius_rows, &r);
    if (status == LB_OK)
        status = lb_defocus(task->pool, (const lb_plane *const *)in, r.out, most, box, out);
    for (int c = 0; c < 4; c++)
        lb_plane_unref(&in[c]);
    lb_plane_unref(&r.out);
    return status;
}

/* Rows that are made at a time, so that what they need beside them stays within some hundred
 * megabytes. */
static int32_t band_rows(lb_box box, double most)
{
    int64_t reach = lb_defocus_reach(most);
    int64_t rows = BAND_PIXELS / (lb_box_width(box) + 2 * reach) - 2 * reach;

    rows = rows < LEAST_BAND ? LEAST_BAND : rows;
    return rows < lb_box_height(box) ? (int32_t)rows : lb_box_height(box);
}

static void copy_rows(lb_plane *const from[4], lb_plane *to[4])
{
    lb_box box = lb_plane_box(from[0]);

    for (int c = 0; c < 4; c++)
        for (int32_t y = box.y0; y < box.y1; y++)
            memcpy(lb_plane_row_to_fill(to[c], y), lb_plane_row(from[c], y),
                   (size_t)lb_box_width(box) * sizeof(float));
}

static lb_status by_bands(const lb_task *task, const lb_plane *depth, double most, lb_plane *out[4])
{
    int32_t rows = band_rows(task->box, most);
    lb_box band = task->box;
    lb_status status = LB_OK;

    if (rows == lb_box_height(task->box))
        return by_depth_in(task, depth, most, task->box, out);
    for (int c = 0; c < 4 && status == LB_OK; c++)
        status = lb_plane_new_raw(task->box, &out[c]);
    for (; band.y0 < task->box.y1 && status == LB_OK; band.y0 = band.y1) {
        lb_plane *part[4] = {NULL};

        band.y1 = task->box.y1 - band.y0 > rows ? band.y0 + rows : task->box.y1;
        status = by_depth_in(task, depth, most, band, part);
        if (status == LB_OK)
            copy_rows(part, out);
        for (int c = 0; c < 4; c++)
            lb_plane_unref(&part[c]);
    }
    return status;
}

/* R, G, B and A by depth. */
static lb_status by_depth(const lb_task *task, lb_plane *out[4])
{
    const defocus_params *p = task->call.params;
    int32_t slot;
    const char *name = find_depth(&task->call, &slot);
    const lb_plane *depth = lb_task_plane(task, slot, name);
    lb_status status;
    double most;

    for (int c = 0; c < 3; c++)
        if (!lb_task_plane(task, IMAGE, rgba[c]))
            return LB_OK;
    if (!depth)
        return LB_OK;
    if ((status = find_widest(task, depth, needs(p, task->box), &most)) != LB_OK)
        return status;
    return by_bands(task, depth, fmin(lb_defocus_max_radius(most), p->max_radius), out);
}

/* Of one band by depth, with the planes that it is put into. How wide circles are is not known
 * before the depth is; this is for those of what is infinitely far, or at half the distance that is
 * sharp.
 */
static size_t scratch(const lb_call *call, const lb_desc *own, lb_box box, uint64_t wanted)
{
    const defocus_params *p = call->params;
    lb_edge edge = edge_of(call);
    double most = is_even(p) ? 0 : fmin(radius_at(call, INFINITY), p->max_radius);
    int32_t rows = band_rows(box, most), reach = lb_defocus_reach(most);
    lb_box band = {box.x0, box.y0, box.x1, box.y0 + rows}, in;
    size_t pixels;

    if (is_even(p) || !(wanted & lb_channels_rgba_bits(own->channels)))
        return 0;
    in = lb_box_grow(band, reach, reach);
    if (edge == LB_EDGE_TRANSPARENT)
        in = lb_box_intersect(in, call->inputs[IMAGE].data_window);
    pixels = (size_t)lb_box_width(in) * (size_t)lb_box_height(in) *
             (edge == LB_EDGE_TRANSPARENT ? 1 : 5);
    if (rows < lb_box_height(box))
        pixels += (size_t)lb_box_width(band) * (size_t)rows * 4;
    return pixels * sizeof(float) + lb_defocus_scratch(most, in, band, lb_pool_threads(call->pool));
}

static bool wants_rgba(const lb_task *task)
{
    for (int c = 0; c < 4; c++)
        if (lb_task_wants(task, rgba[c]))
            return true;
    return false;
}

/* One wanted channel: made by depth, spread evenly, or passed on. */
static lb_status add_channel(const lb_task *task, const char *name, lb_plane *const by[4],
                             lb_image *out)
{
    const defocus_params *p = task->call.params;
    const lb_plane *plane = lb_task_plane(task, IMAGE, name);
    lb_plane *made = NULL;
    lb_status status;

    for (int c = 0; c < 4; c++)
        if (by[c] && strcmp(name, rgba[c]) == 0)
            return lb_image_add(out, name, by[c]);
    if (!plane)
        return LB_OK;
    if (!is_even(p) || p->radius == 0 || !lb_channel_is_color(name))
        return lb_task_pass(task, out, name, plane);
    status = lb_convolve_disc(task->pool, plane, p->radius, edge_of(&task->call), task->box, &made);
    if (status == LB_OK)
        status = lb_image_add(out, name, made);
    lb_plane_unref(&made);
    return status;
}

static lb_status evaluate(const lb_task *task, lb_value *out)
{
    const lb_channels *own = task->desc->channels;
    lb_plane *made[4] = {NULL};
    lb_status status = lb_task_image(task, &out->image);

    if (status == LB_OK && !is_even(task->call.params) && wants_rgba(task))
        status = by_depth(task, made);
    for (int32_t i = 0; status == LB_OK && i < own->count; i++)
        if (task->channels >> i & 1)
            status = add_channel(task, own->names[i], made, out->image);
    for (int c = 0; c < 4; c++)
        lb_plane_unref(&made[c]);
    if (status != LB_OK)
        lb_image_unref(&out->image);
    return status;
}

const lb_op lb_op_defocus = {
    .name = "defocus",
    .summary = "Depth of field from a camera's figures, or an even defocus",
    .doc = "R, G, B and A are spread over each pixel's circle of confusion, (f / N) |d - s| / d "
           "f / (s - f) wide on the film. What is out of focus in front spreads over what is "
           "behind it; what is behind never spreads over something sharper in front.",
    .group = "filter",
    .example =
        "  clay: {op: material, diffuse: \"#b3541e\", specular: 0.8, exponent: 80}\n"
        "  near: {op: sphere, radius: 0.7, position: [-1.4, 0, 2.2], material: clay}\n"
        "  middle: {op: sphere, radius: 0.7, material: clay}\n"
        "  far: {op: sphere, radius: 0.7, position: [2.6, 0, -5], material: clay}\n"
        "  lamp: {op: light, type: point, decay: none, intensity: 2.2, position: [3, 4, 5]}\n"
        "  sky: {op: light, type: ambient, intensity: 0.12}\n"
        "  eye: {op: camera, position: [0, 1.6, 5], target: [0, 0, 0], fov: 40}\n"
        "  stage: {op: group, items: [near, middle, far, lamp, sky]}\n"
        "  shelf: {op: render, scene: stage, camera: eye, samples: 16}\n"
        "  last: {op: defocus, image: shelf, focus: 5.2, f-number: 1.4, focal-length: 135}\n",
    .version = 5,
    .inputs = inputs,
    .params = params,
    .params_size = sizeof(defocus_params),
    .result = LB_KIND_IMAGE,
    .check = check,
    .describe = describe,
    .region = region,
    .channels = channels,
    .evaluate = evaluate,
    .scratch = scratch,
};
