/* nodes/scene/camera.c: one camera. */
#include "engine/base/math.h"
#include "nodes/scene/aim.h"

enum { PERSPECTIVE, ORTHOGRAPHIC };
static const char *const projection_names[] = {"perspective", "orthographic", NULL};

typedef struct {
    aim_params aim;
    int projection;
    double fov, focal_length, film_back[2], height, near, far;
} camera_params;

#define FOCAL_LENGTH 50 /* mm, when neither a field of view nor a focal length is given */

static const lb_param params[] = {
    AIM_PARAMS(camera_params, "How it is turned from looking along -z with y up.",
               "The point that it looks at, upright, instead of a rotation."),
    LB_PARAM(camera_params, projection, LB_CHOICE, .names = projection_names,
             .initial = {PERSPECTIVE}, .doc = "Whether what is farther away looks smaller."),
    LB_PARAM(camera_params, fov, LB_NUMBER, .initial = {LB_UNSET}, .min = 0.01, .max = 179,
             .unit = LB_DEGREES, .usual_min = 5, .usual_max = 120,
             .doc = "The vertical field of view."),
    LB_PARAM_AS(camera_params, focal_length, "focal-length", LB_NUMBER, .initial = {LB_UNSET},
                .min = 0.1, .max = 100000, .unit = LB_MILLIMETRES, .usual_min = 4,
                .usual_max = 2000, .doc = "Instead of a field of view; 50 if neither is given."),
    LB_PARAM_AS(camera_params, film_back, "film-back", LB_VEC2, .initial = {36, 36}, .min = 0.1,
                .max = 10000, .unit = LB_MILLIMETRES, .spread = true, .usual_min = 3,
                .usual_max = 300,
                .doc = "What the focal length is for: one number is the width that the frame's "
                       "width is on; of a width and a height that differ the height is what the "
                       "frame's height is on."),
    LB_PARAM(camera_params, height, LB_NUMBER, .initial = {10}, .min = 1e-6, .max = 1e9,
             .unit = LB_SCENE_UNITS, .doc = "Orthographic: how much fits into the frame's height."),
    LB_PARAM(camera_params, near, LB_NUMBER, .initial = {0.1}, .min = 1e-6, .max = 1e9,
             .unit = LB_SCENE_UNITS, .doc = "Nothing nearer than this is seen."),
    LB_PARAM(camera_params, far, LB_NUMBER, .initial = {LB_UNSET}, .min = 1e-6, .max = 1e12,
             .unit = LB_SCENE_UNITS,
             .doc = "Nothing beyond this is seen; if not given there is no such end."),
    {0},
};

static lb_status check(const lb_call *call)
{
    const camera_params *p = call->params;
    lb_status status = aim_check(call, &p->aim);

    if (lb_is_set(p->fov) && lb_is_set(p->focal_length))
        status =
            lb_fail(call->diag, LB_INVALID, lb_call_loc(call, "focal-length"),
                    "'%s' has a field of view and a focal length; give one of them", call->node);
    if (lb_is_set(p->far) && p->far <= p->near)
        status = lb_fail(call->diag, LB_INVALID, lb_call_loc(call, "far"),
                         "'far' is %g; it has to be beyond near, which is %g", p->far, p->near);
    return status;
}

/* Pinhole geometry: angle = 2 atan(b / 2f), b the film back's height. */
static double vertical_fov(const camera_params *p, double aspect)
{
    double focal = lb_is_set(p->focal_length) ? p->focal_length : FOCAL_LENGTH;
    double height = p->film_back[0] == p->film_back[1] ? p->film_back[0] / aspect : p->film_back[1];

    if (lb_is_set(p->fov))
        return p->fov * LB_PI / 180;
    return 2 * lb_atan(height / (2 * focal));
}

static lb_status evaluate(const lb_task *task, lb_value *out)
{
    const camera_params *p = task->call.params;
    const lb_format *format = task->call.format;
    double aspect = format->width * format->pixel_aspect / format->height;
    lb_item *item;
    lb_status status = lb_scene_of_item(task->call.node, NULL, LB_ITEM_CAMERA, &out->scene, &item);

    if (status)
        return status;
    aim_item(&p->aim, item);
    item->camera = (lb_camera){
        .orthographic = p->projection == ORTHOGRAPHIC,
        .yfov_rad = vertical_fov(p, aspect),
        .xmag = p->height / 2 * aspect,
        .ymag = p->height / 2,
        .near = p->near,
        .far = lb_is_set(p->far) ? p->far : INFINITY,
    };
    return LB_OK;
}

const lb_op lb_op_camera = {
    .name = "camera",
    .summary = "A camera",
    .group = "scene",
    .example =
        "  clay: {op: material, diffuse: \"#b3541e\"}\n"
        "  near: {op: box, size: 0.9, position: [-1, 0, 1.2], material: clay}\n"
        "  far: {op: box, size: 0.9, position: [1.3, 0, -2.5], material: clay}\n"
        "  lamp: {op: light, type: point, decay: none, intensity: 2.2, position: [3, 4, 5]}\n"
        "  eye: {op: camera, position: {keys: {1: [3, 2, 5], 50: [-3, 2, 5]}, ease: "
        "ease-in-out}, target: [0, 0, 0], focal-length: 28}\n"
        "  stage: {op: group, items: [near, far, lamp]}\n"
        "  last: {op: render, scene: stage, camera: eye, samples: 16}\n",
    .version = 1,
    .params = params,
    .params_size = sizeof(camera_params),
    .result = LB_KIND_SCENE,
    .check = check,
    .evaluate = evaluate,
};
