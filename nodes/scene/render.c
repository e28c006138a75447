/* nodes/scene/render.c: a picture of a scene. */
#include <string.h>

#include "engine/base/text.h"
#include "engine/graph/op.h"
#include "engine/raster/raster.h"

enum { SCENE, CAMERA };

#define MOST_INSTANTS 16 /* times in a shutter at which the scene is looked at */

typedef struct {
    const char *camera;
    int32_t samples;
    double shutter, phase;
    bool lighting;
} render_params;

static const lb_input inputs[] = {
    {.name = "scene", .kind = LB_KIND_SCENE, .doc = "What is rendered, with its lights."},
    {.name = "camera",
     .kind = LB_KIND_SCENE,
     .optional = true,
     .or_param = true,
     .doc = "The camera: a `camera` node, or the name of a camera in the scene; the scene's first "
            "one when not given."},
    {0},
};

static const lb_param params[] = {
    LB_PARAM(render_params, camera, LB_TEXT, .doc = "Name of a camera in the scene."),
    LB_PARAM(render_params, samples, LB_INT, .initial = {16}, .min = 1, .max = 64,
             .doc = "Points of each pixel at which the scene is looked at: how smooth edges and "
                    "motion blur are."),
    LB_PARAM(render_params, shutter, LB_NUMBER, .initial = {0}, .min = 0, .max = 360,
             .unit = LB_DEGREES,
             .doc = "How long the shutter is open: 360 is a whole frame, 0 takes an instant "
                    "without motion blur."),
    LB_PARAM(render_params, phase, LB_NUMBER, .initial = {0}, .min = -360, .max = 360,
             .unit = LB_DEGREES,
             .doc = "When the shutter opens, after the frame's time; minus half the shutter "
                    "centres it on the frame."),
    LB_PARAM(render_params, lighting, LB_BOOL, .initial = {1},
             .doc = "Whether lights count; else surfaces show their diffuse or base colour."),
    {0},
};

/* Middles of equal parts of the shutter, in ascending order. */
static int32_t times(const lb_call *call, int32_t slot, double *frames)
{
    const render_params *p = call->params;
    int32_t count = p->samples < MOST_INSTANTS ? p->samples : MOST_INSTANTS;

    (void)slot;
    if (p->shutter == 0)
        count = 1;
    for (int32_t i = 0; i < count; i++)
        frames[i] = call->frame + (p->phase + p->shutter * (i + 0.5) / count) / 360;
    return count;
}

static lb_status describe(const lb_call *call, lb_desc *out)
{
    static const char *const names[] = {
        "R", "G", "B", "A", "depth.Z", "normal.X", "normal.Y", "normal.Z", "uv.U", "uv.V", NULL};
    const lb_channels *channels = lb_channels_make(call->arena, names);

    if (!channels)
        return LB_MEMORY;
    *out = lb_desc_frame(call, channels);
    return LB_OK;
}

static uint32_t wanted_layers(const lb_task *task)
{
    static const struct {
        const char *name;
        uint32_t layer;
    } channels[] = {
        {"R", LB_LAYER_COLOR},         {"G", LB_LAYER_COLOR},         {"B", LB_LAYER_COLOR},
        {"A", LB_LAYER_COLOR},         {"depth.Z", LB_LAYER_DEPTH},   {"normal.X", LB_LAYER_NORMAL},
        {"normal.Y", LB_LAYER_NORMAL}, {"normal.Z", LB_LAYER_NORMAL}, {"uv.U", LB_LAYER_UV},
        {"uv.V", LB_LAYER_UV},
    };
    uint32_t layers = 0;

    for (size_t i = 0; i < sizeof channels / sizeof channels[0]; i++)
        if (lb_task_wants(task, channels[i].name))
            layers |= channels[i].layer;
    return layers;
}

/* Says which cameras there are. Names that files give to the item and to its data both count. */
static lb_status no_camera(const lb_task *task, const lb_scene *scene, const char *name)
{
    lb_loc loc = name ? lb_call_loc(&task->call, "camera") : task->call.loc;
    const char **names = lb_arena_alloc(task->call.arena, 2 * scene->item_count + 1, sizeof *names);
    const char *near;
    lb_text list = {0};
    size_t count = 0;

    for (size_t i = 0; names && i < scene->item_count; i++) {
        const lb_item *item = &scene->items[i];
        const char *shown = item->name[0] ? item->name : item->data_name;

        if (item->kind != LB_ITEM_CAMERA || !shown[0])
            continue;
        if (count < 8)
            lb_text_printf(&list, "%s'%s'", count ? ", " : "", shown);
        names[count++] = shown;
    }
    if (!names || list.failed) {
        lb_text_clear(&list);
        return lb_fail(task->call.diag, LB_MEMORY, loc, "no memory");
    }
    near = name ? lb_text_nearest(name, names, count) : NULL;
    if (!name)
        lb_fail(task->call.diag, LB_NOT_FOUND, loc,
                "there is no camera in the scene; give '%s' a 'camera'", task->call.node);
    else if (near)
        lb_fail(task->call.diag, LB_NOT_FOUND, loc,
                "the scene has no camera '%s'; did you mean '%s'?", name, near);
    else if (count)
        lb_fail(task->call.diag, LB_NOT_FOUND, loc, "the scene has no camera '%s'; it has %s%s",
                name, list.bytes, count > 8 ? " and more" : "");
    else
        lb_fail(task->call.diag, LB_NOT_FOUND, loc, "the scene has no camera '%s', nor any other",
                name);
    lb_text_clear(&list);
    return LB_NOT_FOUND;
}

/* The connected camera, where it is at the instant's time. */
static lb_status place_camera(const lb_task *task, const lb_scene *from, lb_instant *instant)
{
    int32_t item = lb_scene_find(from, LB_ITEM_CAMERA, NULL);
    lb_mat4 *world;

    if (item < 0)
        return lb_fail(task->call.diag, LB_NOT_FOUND, lb_call_loc(&task->call, "camera"),
                       "what is given as 'camera' holds no camera");
    if (!(world = lb_alloc(from->item_count, sizeof *world)))
        return LB_MEMORY;
    lb_scene_pose(from, instant->time_s, world, NULL);
    instant->camera = -1;
    instant->camera_settings = from->items[item].camera;
    instant->camera_world = world[item];
    lb_free(world);
    return LB_OK;
}

static lb_status make_instant(const lb_task *task, int32_t index, lb_instant *out)
{
    const render_params *p = task->call.params;
    const lb_format *format = task->call.format;
    const lb_series *scenes = &task->series[SCENE];
    const lb_series *cameras = &task->series[CAMERA];

    *out = (lb_instant){.scene = scenes->values[index].scene};
    out->time_s = lb_frame_time(scenes->frames[index], format->first, format->rate);
    if (task->call.inputs[CAMERA].kind != LB_KIND_NONE)
        return place_camera(task, cameras->values[index].scene, out);
    out->camera = lb_scene_find(out->scene, LB_ITEM_CAMERA, p->camera);
    return out->camera < 0 ? no_camera(task, out->scene, p->camera) : LB_OK;
}

/* Is everything the same at all instants? */
static bool is_still(const lb_task *task, int32_t count)
{
    for (int32_t slot = 0; slot < task->call.input_count; slot++) {
        const lb_series *s = &task->series[slot];

        if (task->call.inputs[slot].kind == LB_KIND_NONE)
            continue;
        for (int32_t i = 0; i < count; i++)
            if (s->values[i].scene != s->values[0].scene)
                return false;
        if (lb_scene_is_animated(s->values[0].scene))
            return false;
    }
    return true;
}

static lb_status render(const lb_task *task, lb_image **out)
{
    const render_params *p = task->call.params;
    lb_instant instants[MOST_INSTANTS];
    int32_t count = task->series[SCENE].count;
    lb_raster_options options = {
        .width = task->call.format->width,
        .height = task->call.format->height,
        .pixel_aspect = task->call.format->pixel_aspect,
        .region = task->box,
        .samples = p->samples,
        .layers = wanted_layers(task),
        .lighting = p->lighting,
    };
    lb_status status;

    if (is_still(task, count))
        count = 1;
    for (int32_t i = 0; i < count; i++)
        if ((status = make_instant(task, i, &instants[i])))
            return status;
    status = lb_raster_render(task->pool, instants, count, &options, out);
    if (status == LB_INVALID)
        lb_fail(task->call.diag, status, task->call.loc,
                "the camera cannot be used (its field of view is not between 0 and 180 degrees, "
                "nor its size above 0), or the scene's items change while the shutter is open");
    return status;
}

static lb_status evaluate(const lb_task *task, lb_value *out)
{
    lb_image *made = NULL;
    lb_status status = render(task, &made);

    if (status == LB_OK)
        status = lb_task_image(task, &out->image);
    for (int32_t i = 0; status == LB_OK && i < task->desc->channels->count; i++) {
        const char *name = task->desc->channels->names[i];

        if (task->channels >> i & 1)
            status = lb_image_add(out->image, name, lb_image_find(made, name));
    }
    lb_image_unref(&made);
    if (status != LB_OK)
        lb_image_unref(&out->image);
    return status;
}

const lb_op lb_op_render = {
    .name = "render",
    .summary = "A picture of a scene, with depth, normals and texture coordinates",
    .doc = "Surfaces are seen by `samples` points of each pixel, spread over the pixel and over "
           "the time that the shutter is open; what moves is looked at at up to 16 times of it. "
           "Each surface in a pixel is shaded once, and a moving one anew whenever it has gone a "
           "pixel "
           "and a half. Masked and blended surfaces are in depth order for every sample. A scene "
           "without lights is lit from the camera. Layers: `depth.Z`, the distance along the "
           "camera's axis of the nearest sample, infinite where there is nothing; `normal.X`, "
           "`normal.Y`, `normal.Z` in the world; `uv.U`, `uv.V`.",
    .group = "scene",
    .example =
        "  clay: {op: material, diffuse: \"#b3541e\", specular: 0.4, exponent: 40}\n"
        "  wheel: {op: box, size: [3, 0.3, 0.6], rotation: [0, 0, {expr: frame * 12}], "
        "material: clay}\n"
        "  lamp: {op: light, type: point, decay: none, intensity: 2.2, position: [3, 4, 5]}\n"
        "  sky: {op: light, type: ambient, intensity: 0.12}\n"
        "  eye: {op: camera, position: [0, 1.6, 5], target: [0, 0, 0], fov: 40}\n"
        "  stage: {op: group, items: [wheel, lamp, sky]}\n"
        "  last: {op: render, scene: stage, camera: eye, samples: 64, shutter: 360}\n",
    .version = 1,
    .inputs = inputs,
    .params = params,
    .params_size = sizeof(render_params),
    .result = LB_KIND_IMAGE,
    .timed = true,
    .describe = describe,
    .times = times,
    .evaluate = evaluate,
};
