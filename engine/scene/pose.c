/* engine/scene/pose.c: where everything is at a time. */
#include <math.h>

#include "engine/base/math.h"
#include "engine/base/memory.h"
#include "engine/scene/scene.h"

/* The key at or before `time`; -1 before the first. */
static int32_t key_before(const lb_curve *curve, double time)
{
    int32_t low = -1, high = curve->key_count;

    while (high - low > 1) {
        int32_t middle = low + (high - low) / 2;

        if ((double)curve->times[middle] <= time)
            low = middle;
        else
            high = middle;
    }
    return low;
}

/* glTF 2.0, appendix C.5. `from` points at the triple of a key, `to` at the next one's. */
static void spline(const float *from, const float *to, int32_t width, double t, double duration,
                   double *out)
{
    double t2 = t * t, t3 = t2 * t;

    for (int32_t i = 0; i < width; i++)
        out[i] = (2 * t3 - 3 * t2 + 1) * (double)from[width + i] +
                 duration * (t3 - 2 * t2 + t) * (double)from[2 * width + i] +
                 (-2 * t3 + 3 * t2) * (double)to[width + i] + duration * (t3 - t2) * (double)to[i];
}

static void between(const lb_curve *curve, int32_t key, double time, int32_t width, double *out)
{
    double start = curve->times[key], duration = (double)curve->times[key + 1] - start;
    double t = duration > 0 ? (time - start) / duration : 0;
    int32_t stride = curve->interpolation == LB_CUBICSPLINE ? 3 * width : width;
    const float *from = curve->values + (size_t)key * (size_t)stride, *to = from + stride;

    if (curve->interpolation == LB_CUBICSPLINE) {
        spline(from, to, width, t, duration, out);
    } else if (width == 4) {
        lb_quat q = lb_quat_slerp((lb_quat){from[0], from[1], from[2], from[3]},
                                  (lb_quat){to[0], to[1], to[2], to[3]}, t);
        out[0] = q.x;
        out[1] = q.y;
        out[2] = q.z;
        out[3] = q.w;
    } else {
        for (int32_t i = 0; i < width; i++)
            out[i] = (double)from[i] + ((double)to[i] - (double)from[i]) * t;
    }
}

void lb_curve_at(const lb_curve *curve, double time_s, double out[4])
{
    int32_t width = curve->target == LB_CURVE_ROTATION ? 4 : 3;
    int32_t key = key_before(curve, time_s), last = curve->key_count - 1;

    out[3] = 0;
    if (key >= 0 && key < last && curve->interpolation != LB_STEP) {
        between(curve, key, time_s, width, out);
    } else {
        bool cubic = curve->interpolation == LB_CUBICSPLINE;
        size_t at = (size_t)(key < 0 ? 0 : key) * (size_t)width * (cubic ? 3 : 1);

        for (int32_t i = 0; i < width; i++)
            out[i] = curve->values[at + (size_t)(cubic ? width : 0) + (size_t)i];
    }
    if (width == 4) {
        lb_quat q = lb_quat_normalize((lb_quat){out[0], out[1], out[2], out[3]});

        out[0] = q.x;
        out[1] = q.y;
        out[2] = q.z;
        out[3] = q.w;
    }
}

static void apply(const lb_curve *curve, double time_s, lb_trs *trs)
{
    double v[4];

    lb_curve_at(curve, time_s, v);
    if (curve->target == LB_CURVE_TRANSLATION)
        trs->translation = (lb_vec3d){v[0], v[1], v[2]};
    else if (curve->target == LB_CURVE_ROTATION)
        trs->rotation = (lb_quat){v[0], v[1], v[2], v[3]};
    else
        trs->scale = (lb_vec3d){v[0], v[1], v[2]};
}

/* Curves are in the order of the items (lb_scene_add_curve), so one walk meets all. */
void lb_scene_pose(const lb_scene *scene, double time_s, lb_mat4 *world, bool *visible)
{
    size_t curve = 0;

    for (size_t i = 0; i < scene->item_count; i++) {
        const lb_item *item = &scene->items[i];
        lb_trs trs = item->trs;
        lb_mat4 local;

        for (; curve < scene->curve_count && scene->curves[curve].item <= (int32_t)i; curve++)
            if (scene->curves[curve].item == (int32_t)i)
                apply(&scene->curves[curve], time_s, &trs);
        local = item->has_matrix ? item->matrix : lb_mat4_from_trs(&trs);
        world[i] = item->parent < 0 ? local : lb_mat4_mul(&world[item->parent], &local);
        if (visible)
            visible[i] = item->visible && (item->parent < 0 || visible[item->parent]);
    }
}

static void widen(const lb_mesh *mesh, const lb_mat4 *world, lb_vec3d *low, lb_vec3d *high)
{
    for (int32_t k = 0; k < mesh->primitive_count; k++) {
        const lb_primitive *p = &mesh->primitives[k];

        for (size_t i = 0; i < (size_t)p->triangle_count * 3; i++) {
            lb_vec3 v = p->positions[p->indices[i]];
            lb_vec3d at = lb_mat4_point(world, (lb_vec3d){v.x, v.y, v.z});

            low->x = fmin(low->x, at.x);
            low->y = fmin(low->y, at.y);
            low->z = fmin(low->z, at.z);
            high->x = fmax(high->x, at.x);
            high->y = fmax(high->y, at.y);
            high->z = fmax(high->z, at.z);
        }
    }
}

bool lb_scene_bounds(const lb_scene *scene, double time_s, lb_vec3d *low, lb_vec3d *high)
{
    lb_mat4 *world = lb_alloc(scene->item_count, sizeof *world);
    bool *visible = lb_alloc(scene->item_count, sizeof *visible);

    *low = (lb_vec3d){INFINITY, INFINITY, INFINITY};
    *high = (lb_vec3d){-INFINITY, -INFINITY, -INFINITY};
    if (world && visible) {
        lb_scene_pose(scene, time_s, world, visible);
        for (size_t i = 0; i < scene->item_count; i++)
            if (scene->items[i].kind == LB_ITEM_MESH && scene->items[i].mesh && visible[i])
                widen(scene->items[i].mesh, &world[i], low, high);
    }
    lb_free(world);
    lb_free(visible);
    return low->x <= high->x;
}

/* KHR_lights_punctual, Range Property: the factor on 1/d^2 that fades to 0 at `range`. */
static float range_window(float range, float distance)
{
    float ratio = distance / range, ratio2 = ratio * ratio, left = 1 - ratio2 * ratio2;

    return left < 0 ? 0 : left > 1 ? 1 : left;
}

/* KHR_lights_punctual, Inner and Outer Cone Angles. */
static float cone_factor(const lb_light *light, float angle_cos)
{
    float outer = lb_cosf(light->outer_half_rad), inner = lb_cosf(light->inner_half_rad);
    float width = inner - outer, f;

    f = (angle_cos - outer) / (width > 0.001f ? width : 0.001f);
    f = f < 0 ? 0 : f > 1 ? 1 : f;
    return f * f;
}

#define NEAREST 1e-4f /* nearer surfaces are lit as from here: nothing becomes infinite */

float lb_light_strength(const lb_light *light, float distance, float angle_cos)
{
    float strength = light->intensity;

    if (light->type == LB_LIGHT_DIRECTIONAL || light->type == LB_LIGHT_AMBIENT)
        return strength;
    distance = distance > NEAREST ? distance : NEAREST;
    if (light->decay == LB_DECAY_LINEAR)
        strength /= distance;
    else if (light->decay == LB_DECAY_QUADRATIC)
        strength /= (float)LB_PI * distance * distance;
    if (light->range < INFINITY)
        strength *= range_window(light->range, distance);
    if (light->type == LB_LIGHT_SPOT)
        strength *= cone_factor(light, angle_cos);
    return strength;
}
