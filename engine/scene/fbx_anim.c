/* engine/scene/fbx_anim.c: curves of models to the scene's.
 *
 * Translation and scaling become cubic splines through all keys, which say the same as the file's
 * curves; where a pivot joins them to a rotation, or a tangent has a weight, and for rotations
 * always, values are taken at all keys and at every frame of the file's rate, and joined by lines
 * (rotations: by arcs). Where a curve jumps, a key stands on either side. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "engine/scene/fbx_read.h"

#define MAX_SAMPLES 1000000 /* of one property */

enum { TRANSLATION, ROTATION, SCALING };

/* ---- Which curves ---- */

static const char *const lcl_names[3] = {"Lcl Translation", "Lcl Rotation", "Lcl Scaling"};

static lb_status keep_curve(fbx *g, const fbx_object *object, fbx_curve **out)
{
    fbx_curve *curve = lb_alloc(1, sizeof *curve);
    lb_status status;

    *out = NULL;
    if (!curve ||
        !lb_grow((void **)&g->curves, &g->curve_capacity, g->curve_count, sizeof *g->curves)) {
        lb_free(curve);
        return fbx_no_memory(g);
    }
    g->curves[g->curve_count++] = curve;
    if ((status = fbx_curve_read(g, object, curve)))
        return status;
    *out = curve->count ? curve : NULL;
    return LB_OK;
}

/* The curves of a node, by "d|X", "d|Y", "d|Z". */
static lb_status read_axes(fbx *g, const fbx_object *node, fbx_curve *out[3])
{
    static const char *const names[3] = {"d|X", "d|Y", "d|Z"};
    lb_status status;

    for (int axis = 0; axis < 3; axis++) {
        const fbx_object *curve = fbx_below(g, node, "AnimationCurve", names[axis]);

        if (curve && (status = keep_curve(g, curve, &out[axis])))
            return status;
    }
    return LB_OK;
}

/* What a node moves: a model's transform, or something that is told of. */
static lb_status read_node(fbx *g, fbx_object *node)
{
    char where[FBX_WHERE];

    node->used = true;
    for (size_t i = 0; i < node->up_count; i++) {
        const fbx_link *link = fbx_up(g, node, i);
        const fbx_object *target = link->parent == FBX_NONE ? NULL : &g->objects[link->parent];
        size_t model = target ? g->model_of[link->parent] : FBX_NONE;
        int which = 0;
        lb_status status;

        if (!link->property || !target)
            continue;
        while (which < 3 && strcmp(link->property, lcl_names[which]) != 0)
            which++;
        fbx_where(where, target, link->property);
        if (which == 3 || model == FBX_NONE)
            fbx_fact(g, LB_FACT_DROPPED, where, "Its animation is not used.");
        else if ((status = read_axes(g, node, g->models[model].curves[which])))
            return status;
    }
    /* Curves of what is not read are no surprise either. */
    for (size_t i = 0; i < node->down_count; i++)
        g->objects[fbx_down(g, node, i)->child].used = true;
    return LB_OK;
}

/* The stack that the file shows, else the first. */
static const fbx_object *find_stack(fbx *g)
{
    const fbx_node *document = fbx_child(fbx_named(g->document.first, "Documents"), "Document");
    const char *active = "", *name;
    const fbx_object *stack = NULL;
    size_t count = 0;

    for (const fbx_node *p = fbx_child(fbx_child(document, "Properties70"), "P"); p; p = p->next)
        if (fbx_text(p, 0, &name) && strcmp(name, "ActiveAnimStackName") == 0)
            (void)fbx_text(p, 4, &active);
    for (size_t i = 0; i < g->object_count; i++) {
        fbx_object *object = &g->objects[i];

        if (!fbx_is_class(object, "AnimationStack"))
            continue;
        count++;
        object->used = true;
        if (!stack ||
            (active[0] && strcmp(object->name, active) == 0 && strcmp(stack->name, active) != 0))
            stack = object;
    }
    if (count > 1)
        fbx_fact(g, LB_FACT_DROPPED, "/AnimationStack",
                 "'%.60s' of %zu stacks is read, %s; the others are not.", stack->name, count,
                 strcmp(stack->name, active) == 0 ? "the one that is shown" : "the first");
    return stack;
}

static lb_status read_layer(fbx *g, const fbx_object *layer)
{
    lb_status status = LB_OK;

    for (size_t i = 0; i < layer->down_count && status == LB_OK; i++) {
        fbx_object *node = &g->objects[fbx_down(g, layer, i)->child];

        if (fbx_is_class(node, "AnimationCurveNode"))
            status = read_node(g, node);
    }
    return status;
}

static lb_status read_stack(fbx *g, const fbx_object *stack)
{
    const fbx_object *first = NULL;
    char where[FBX_WHERE];

    for (size_t i = 0; i < stack->down_count; i++) {
        fbx_object *layer = &g->objects[fbx_down(g, stack, i)->child];

        if (!fbx_is_class(layer, "AnimationLayer"))
            continue;
        layer->used = true;
        if (!first)
            first = layer;
        else
            fbx_fact(g, LB_FACT_DROPPED, fbx_where(where, layer, NULL),
                     "Only the first layer, '%.60s', is read.", first->name);
    }
    return first ? read_layer(g, first) : LB_OK;
}

/* ---- Times ---- */

typedef struct {
    double *at;
    size_t count, capacity;
} time_list;

static int by_time(const void *a, const void *b)
{
    double left = *(const double *)a, right = *(const double *)b;

    return left < right ? -1 : left > right;
}

static lb_status add_time(fbx *g, time_list *list, double time_s)
{
    if (!lb_grow((void **)&list->at, &list->capacity, list->count, sizeof *list->at))
        return fbx_no_memory(g);
    list->at[list->count++] = time_s;
    return LB_OK;
}

/* All keys of the curves, and the frames between the first and the last one; each time once. */
static lb_status list_times(fbx *g, fbx_curve *const curves[9], bool frames, time_list *out)
{
    double low = INFINITY, high = -INFINITY, rate = g->rate;
    size_t kept = 0;
    lb_status status = LB_OK;

    for (int i = 0; i < 9; i++)
        for (size_t k = 0; curves[i] && k < curves[i]->count && status == LB_OK; k++) {
            low = fmin(low, curves[i]->times[k]);
            high = fmax(high, curves[i]->times[k]);
            status = add_time(g, out, curves[i]->times[k]);
        }
    if (frames && (high - low) * rate > MAX_SAMPLES) {
        rate = MAX_SAMPLES / (high - low);
        fbx_fact(g, LB_FACT_CONVERTED, "/AnimationCurve",
                 "%g s are too long for every frame: %d values are taken.", high - low,
                 MAX_SAMPLES);
    }
    for (double frame = ceil(low * rate); frames && frame <= high * rate && status == LB_OK;
         frame++)
        status = add_time(g, out, frame / rate);
    if (status || out->count == 0)
        return status;
    qsort(out->at, out->count, sizeof *out->at, by_time);
    for (size_t i = 1; i < out->count; i++)
        if (out->at[i] > out->at[kept] + 1e-9)
            out->at[++kept] = out->at[i];
    out->count = kept + 1;
    return LB_OK;
}

/* ---- Values ---- */

/* What a model's three properties are at a time, and how fast they change. */
static void values_at(const fbx_model *m, double time_s, bool before, lb_vec3d value[3],
                      lb_vec3d slope[3])
{
    for (int which = 0; which < 3; which++) {
        double v[3] = {m->lcl[which].x, m->lcl[which].y, m->lcl[which].z}, s[3] = {0, 0, 0};

        for (int axis = 0; axis < 3; axis++)
            if (m->curves[which][axis])
                v[axis] = fbx_curve_value(m->curves[which][axis], time_s, before, &s[axis]);
        value[which] = (lb_vec3d){v[0], v[1], v[2]};
        slope[which] = (lb_vec3d){s[0], s[1], s[2]};
    }
}

static void put_vector(float *out, lb_vec3d v)
{
    out[0] = (float)v.x;
    out[1] = (float)v.y;
    out[2] = (float)v.z;
}

/* Inherit type 2 divides the parent's scale out, as it is at rest. */
static double shrink_of(const fbx *g, const fbx_model *m)
{
    const fbx_model *above = m->parent == FBX_NONE ? NULL : &g->models[m->parent];

    return above && m->inherit == 2 && above->lcl[2].x != 0 ? 1 / above->lcl[2].x : 1;
}

static void put_key(const fbx *g, const fbx_model *m, lb_curve *curve, double time_s, bool before)
{
    size_t at = (size_t)curve->key_count++;
    bool is_cubic = curve->interpolation == LB_CUBICSPLINE;
    double shrink = shrink_of(g, m);
    lb_vec3d value[3], slope[3], rate;
    lb_trs trs;

    curve->times[at] = (float)time_s;
    values_at(m, time_s, before, value, slope);
    trs = fbx_model_trs(g, m, value);
    if (curve->target == LB_CURVE_ROTATION) {
        float *out = curve->values + 4 * at;

        out[0] = (float)trs.rotation.x;
        out[1] = (float)trs.rotation.y;
        out[2] = (float)trs.rotation.z;
        out[3] = (float)trs.rotation.w;
        return;
    }
    trs.scale = (lb_vec3d){trs.scale.x * shrink, trs.scale.y * shrink, trs.scale.z * shrink};
    put_vector(curve->values + 3 * (is_cubic ? 3 * at + 1 : at),
               curve->target == LB_CURVE_TRANSLATION ? trs.translation : trs.scale);
    if (!is_cubic)
        return;
    /* In-tangent as the curve comes, out-tangent as it leaves. */
    for (int side = 0; side < 2; side++) {
        values_at(m, time_s, side == 0, value, slope);
        if (curve->target == LB_CURVE_TRANSLATION)
            rate = fbx_point(g, slope[TRANSLATION]);
        else
            rate = fbx_size(g, (lb_vec3d){slope[SCALING].x * shrink, slope[SCALING].y * shrink,
                                          slope[SCALING].z * shrink});
        put_vector(curve->values + 3 * (3 * at + (side ? 2 : 0)), rate);
    }
}

/* By more than rounding. */
static bool differ(double a, double b)
{
    return fabs(a - b) > 1e-9 * (1 + fabs(a) + fabs(b));
}

/* Does any of them jump there? */
static bool jumps(const fbx_model *m, double time_s, bool used[3])
{
    lb_vec3d a[3], b[3], slope[3];

    values_at(m, time_s, true, a, slope);
    values_at(m, time_s, false, b, slope);
    for (int i = 0; i < 3; i++)
        if (used[i] && (differ(a[i].x, b[i].x) || differ(a[i].y, b[i].y) || differ(a[i].z, b[i].z)))
            return true;
    return false;
}

static bool has_curves(const fbx_model *m, int which)
{
    return m->curves[which][0] || m->curves[which][1] || m->curves[which][2];
}

static bool is_zero(lb_vec3d v)
{
    return v.x == 0 && v.y == 0 && v.z == 0;
}

/* What the item's property follows: of a translation also the turns and sizes that go round a
 * pivot. */
static void sources_of(const fbx_model *m, int which, bool used[3])
{
    bool has_pivot =
        !is_zero(m->rotation_pivot) || !is_zero(m->scaling_pivot) || !is_zero(m->scaling_offset);

    for (int i = 0; i < 3; i++)
        used[i] = has_curves(m, i) && (i == which || (which == TRANSLATION && has_pivot));
}

static lb_status animate(fbx *g, const fbx_model *m, int which)
{
    static const lb_curve_target targets[3] = {LB_CURVE_TRANSLATION, LB_CURVE_ROTATION,
                                               LB_CURVE_SCALE};
    lb_curve curve = {.item = m->item, .target = targets[which], .interpolation = LB_CUBICSPLINE};
    size_t width = which == ROTATION ? 4 : 3;
    fbx_curve *curves[9] = {NULL};
    bool used[3], sampled = which == ROTATION;
    time_list times = {0};
    lb_status status;

    sources_of(m, which, used);
    if (!used[0] && !used[1] && !used[2])
        return LB_OK;
    for (int i = 0; i < 9; i++)
        if (used[i / 3] && (curves[i] = m->curves[i / 3][i % 3]))
            sampled |= i / 3 != which || curves[i]->is_weighted;
    if (sampled)
        curve.interpolation = LB_LINEAR;
    else
        width *= 3;
    if ((status = list_times(g, curves, sampled, &times)) == LB_OK) {
        curve.times = lb_alloc(times.count, 2 * sizeof *curve.times);
        curve.values = lb_alloc(times.count, 2 * width * sizeof *curve.values);
        if (!curve.times || !curve.values)
            status = fbx_no_memory(g);
    }
    for (size_t i = 0; i < times.count && status == LB_OK; i++) {
        if (i > 0 && jumps(m, times.at[i], used))
            put_key(g, m, &curve, times.at[i], true);
        put_key(g, m, &curve, times.at[i], false);
    }
    lb_free(times.at);
    if (status == LB_OK)
        return fbx_told(g, lb_scene_add_curve(g->scene, &curve));
    lb_free(curve.times);
    lb_free(curve.values);
    return status;
}

static lb_status animate_model(fbx *g, const fbx_model *m)
{
    lb_status status = LB_OK;

    if (!has_curves(m, 0) && !has_curves(m, 1) && !has_curves(m, 2))
        return LB_OK;
    if (g->scene->items[m->item].has_matrix) {
        char where[FBX_WHERE];

        fbx_fact(g, LB_FACT_DROPPED, fbx_where(where, &g->objects[m->object], NULL),
                 "Its animation is not used: it has a matrix, which cannot be animated.");
        return LB_OK;
    }
    for (int which = 0; which < 3 && status == LB_OK; which++)
        status = animate(g, m, which);
    return status;
}

lb_status fbx_animations_read(fbx *g)
{
    const fbx_object *stack = g->object_count ? find_stack(g) : NULL;
    lb_status status = LB_OK;

    if (stack && (status = read_stack(g, stack)))
        return status;
    for (size_t i = 0; i < g->model_count && status == LB_OK; i++)
        status = animate_model(g, &g->models[i]);
    if (g->scene->curve_count) {
        char where[FBX_WHERE];

        fbx_fact(g, LB_FACT_CONVERTED, "/AnimationCurve",
                 "Translations and scales are cubic splines through the same keys; rotations, and "
                 "what turns about a pivot or has weighted tangents, are values at every frame.");
        fbx_fact(g, LB_FACT_CONVERTED, fbx_where(where, &g->settings, "TimeSpanStart"),
                 "Time 0 is %.6g s of the file.", (double)g->start / g->ticks);
    }
    return status;
}
