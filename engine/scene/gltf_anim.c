/* engine/scene/gltf_anim.c: animations of nodes. glTF 2.0, 3.11. */
#include <string.h>

#include "engine/base/memory.h"
#include "engine/scene/gltf_read.h"

/* A channel as the file has it. */
typedef struct {
    char where[GLTF_WHERE];
    int64_t sampler, node; /* node -1: not in the scene, or none */
    const char *path;
} channel;

static lb_status read_channel(gltf *g, const json_t *object, size_t samplers, channel *out)
{
    char path[GLTF_WHERE];
    const json_t *target;
    lb_status status;

    if ((status = gltf_index(g, object, out->where, "sampler", samplers, &out->sampler)) ||
        (status = gltf_object(g, object, out->where, "target", &target)))
        return status;
    if (!target || out->sampler < 0)
        return gltf_fail(g, LB_FORMAT, out->where, "%s is missing", target ? "sampler" : "target");
    gltf_below(path, out->where, "target");
    if ((status = gltf_index(g, target, path, "node", g->node_count, &out->node)) ||
        (status = gltf_text(g, target, path, "path", &out->path)))
        return status;
    if (!out->path)
        return gltf_fail(g, LB_FORMAT, path, "path is missing");
    return LB_OK;
}

static lb_status check_times(gltf *g, const char *where, const float *times, int64_t count)
{
    bool is_double = false;

    for (int64_t i = 0; i < count; i++) {
        if (times[i] < 0)
            return gltf_fail(g, LB_FORMAT, where, "time %lld is %g; it has to be 0 or more",
                             (long long)i, (double)times[i]);
        if (i > 0 && !(times[i] >= times[i - 1]))
            return gltf_fail(g, LB_FORMAT, where, "time %lld is %g, before %g", (long long)i,
                             (double)times[i], (double)times[i - 1]);
        is_double |= i > 0 && times[i] == times[i - 1];
    }
    return is_double ? gltf_fact(g, LB_FACT_CONVERTED, where,
                                 "Two keys have the same time: the value jumps there.")
                     : LB_OK;
}

/* Times and values into `curve`; key_count 0: there are none. */
static lb_status read_keys(gltf *g, const json_t *sampler, const char *where, lb_curve *curve)
{
    int32_t width = curve->target == LB_CURVE_ROTATION ? 4 : 3;
    int32_t each = curve->interpolation == LB_CUBICSPLINE ? 3 : 1;
    gltf_accessor input, output;
    int64_t in, out;
    lb_status status;

    if ((status = gltf_index(g, sampler, where, "input", g->accessor_count, &in)) ||
        (status = gltf_index(g, sampler, where, "output", g->accessor_count, &out)))
        return status;
    if (in < 0 || out < 0)
        return gltf_fail(g, LB_FORMAT, where, "%s is missing", in < 0 ? "input" : "output");
    if ((status = gltf_accessor_open(g, (size_t)in, &input)) ||
        (status = gltf_accessor_open(g, (size_t)out, &output)))
        return status;
    if (input.components != 1)
        return gltf_fail(g, LB_FORMAT, input.where, "times have one component, not %d",
                         input.components);
    if (output.components != width)
        return gltf_fail(g, LB_FORMAT, output.where,
                         "values of this path have %d components, not %d", width,
                         output.components);
    if (output.count != input.count * each)
        return gltf_fail(g, LB_FORMAT, where, "%lld values for %lld times; it has to be %lld",
                         (long long)output.count, (long long)input.count,
                         (long long)input.count * each);
    curve->key_count = (int32_t)input.count;
    if ((status = gltf_accessor_floats(g, &input, 1, &curve->times)) ||
        (status = gltf_accessor_floats(g, &output, width, &curve->values)))
        return status;
    return check_times(g, input.where, curve->times, input.count);
}

static lb_status read_sampler(gltf *g, const json_t *sampler, const char *where, lb_curve *curve)
{
    char path[GLTF_WHERE];
    const char *name;
    lb_status status = gltf_text(g, sampler, where, "interpolation", &name);

    if (status)
        return status;
    curve->interpolation = LB_LINEAR;
    if (name && strcmp(name, "STEP") == 0)
        curve->interpolation = LB_STEP;
    else if (name && strcmp(name, "CUBICSPLINE") == 0)
        curve->interpolation = LB_CUBICSPLINE;
    else if (name && strcmp(name, "LINEAR") != 0 &&
             (status = gltf_fact(g, LB_FACT_ASSUMED, gltf_below(path, where, "interpolation"),
                                 "There is no interpolation '%.40s': LINEAR.", name)))
        return status;
    return read_keys(g, sampler, where, curve);
}

static bool target_of(const char *path, lb_curve_target *out)
{
    static const char *const names[] = {"translation", "rotation", "scale"};

    for (int32_t i = 0; i < 3; i++)
        if (strcmp(path, names[i]) == 0) {
            *out = (lb_curve_target)i;
            return true;
        }
    return false;
}

/* All animations play at once, so the last one that moves a property has it. */
static lb_status report_rival(gltf *g, const channel *c, const lb_curve *curve)
{
    for (size_t i = 0; i < g->scene->curve_count; i++)
        if (g->scene->curves[i].item == curve->item &&
            g->scene->curves[i].target == curve->target) {
            lb_warn(g->diag, g->loc,
                    "'%s': %s: the %s of node %lld is animated already; this one counts", g->path,
                    c->where, c->path, (long long)c->node);
            return gltf_fact(g, LB_FACT_DROPPED, c->where,
                             "The %s of node %lld is animated twice: this one counts, the earlier "
                             "one does not.",
                             c->path, (long long)c->node);
        }
    return LB_OK;
}

static lb_status add_curve(gltf *g, const channel *c, const json_t *sampler, const char *where)
{
    lb_curve curve = {0};
    int32_t item = c->node < 0 ? -1 : g->node_items[c->node];
    lb_status status;

    if (strcmp(c->path, "weights") == 0)
        return gltf_fact(g, LB_FACT_DROPPED, c->where, "Weights of morph targets are not used.");
    if (!target_of(c->path, &curve.target))
        return gltf_fact(g, LB_FACT_DROPPED, c->where, "There is no path '%.40s'.", c->path);
    if (item < 0)
        return gltf_fact(g, LB_FACT_DROPPED, c->where, "It moves no node of the scene.");
    if (g->scene->items[item].has_matrix)
        return gltf_fact(g, LB_FACT_DROPPED, c->where,
                         "Node %lld has a matrix, which cannot be animated.", (long long)c->node);
    curve.item = item;
    status = read_sampler(g, sampler, where, &curve);
    if (status == LB_OK && curve.key_count == 0)
        status = gltf_fact(g, LB_FACT_DROPPED, c->where, "It has no keys.");
    else if (status == LB_OK && (status = report_rival(g, c, &curve)) == LB_OK)
        return gltf_told(g, lb_scene_add_curve(g->scene, &curve));
    lb_free(curve.times);
    lb_free(curve.values);
    return status;
}

static lb_status read_animation(gltf *g, const json_t *object, const char *above)
{
    char list[GLTF_WHERE], below[GLTF_WHERE], where[GLTF_WHERE], number[32];
    const json_t *channels, *samplers, *element, *sampler;
    lb_status status;

    if ((status = gltf_array(g, object, above, "channels", &channels)) ||
        (status = gltf_array(g, object, above, "samplers", &samplers)))
        return status;
    gltf_below(list, above, "channels");
    gltf_below(below, above, "samplers");
    for (size_t i = 0; i < json_array_size(channels); i++) {
        channel c = {.node = -1};

        snprintf(number, sizeof number, "%zu", i);
        gltf_below(c.where, list, number);
        if ((status = gltf_element(g, channels, list, i, &element)) ||
            (status = read_channel(g, element, json_array_size(samplers), &c)) ||
            (status = gltf_element(g, samplers, below, (size_t)c.sampler, &sampler)))
            return status;
        snprintf(number, sizeof number, "%lld", (long long)c.sampler);
        if ((status = add_curve(g, &c, sampler, gltf_below(where, below, number))))
            return status;
    }
    return LB_OK;
}

lb_status gltf_animations_read(gltf *g)
{
    char where[GLTF_WHERE];
    const json_t *object;
    size_t count;
    lb_status status = gltf_root_count(g, "animations", &count);

    for (size_t i = 0; i < count && status == LB_OK; i++)
        if ((status = gltf_root_element(g, "animations", i, where, &object)) == LB_OK)
            status = read_animation(g, object, where);
    if (status == LB_OK && count > 1)
        status =
            gltf_fact(g, LB_FACT_ASSUMED, "/animations", "All %zu animations play at once.", count);
    return status;
}
