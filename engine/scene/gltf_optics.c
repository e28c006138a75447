/* engine/scene/gltf_optics.c: cameras (glTF 2.0, 3.10) and lights (KHR_lights_punctual). */
#include <math.h>
#include <string.h>

#include "engine/base/math.h"
#include "engine/scene/gltf_read.h"

/* A number that has to be there and above 0. */
static lb_status read_positive(gltf *g, const json_t *object, const char *where, const char *key,
                               double *out)
{
    char path[GLTF_WHERE];
    lb_status status = gltf_number(g, object, where, key, NAN, out);

    if (status)
        return status;
    if (!(*out > 0))
        return gltf_fail(
            g, LB_FORMAT, gltf_below(path, where, key),
            isnan(*out) ? "this number is missing" : "this is %g; it has to be above 0", *out);
    return LB_OK;
}

/* A far plane that is not behind the near one would hide everything. */
static lb_status check_far(gltf *g, const char *where, lb_camera *out)
{
    double far = out->far;

    if (far > out->near)
        return LB_OK;
    out->far = INFINITY;
    return gltf_fact(g, LB_FACT_CONVERTED, where,
                     "zfar %g is not beyond znear %g: nothing is cut off behind.", far, out->near);
}

static lb_status read_perspective(gltf *g, const json_t *object, const char *where, lb_camera *out)
{
    char path[GLTF_WHERE];
    lb_status status;

    if ((status = read_positive(g, object, where, "yfov", &out->yfov_rad)) ||
        (status = read_positive(g, object, where, "znear", &out->near)) ||
        (status = gltf_number(g, object, where, "zfar", INFINITY, &out->far)) ||
        (status = gltf_number(g, object, where, "aspectRatio", 0, &out->aspect)))
        return status;
    if (!(out->yfov_rad < LB_PI))
        return gltf_fail(g, LB_FORMAT, gltf_below(path, where, "yfov"),
                         "this is %g; it has to be below pi", out->yfov_rad);
    if (!(out->aspect >= 0))
        out->aspect = 0;
    if (out->far == INFINITY)
        return gltf_fact(g, LB_FACT_ASSUMED, gltf_below(path, where, "zfar"),
                         "Not given: there is no far plane.");
    return check_far(g, where, out);
}

static lb_status read_orthographic(gltf *g, const json_t *object, const char *where, lb_camera *out)
{
    char path[GLTF_WHERE];
    lb_status status;

    out->orthographic = true;
    if ((status = gltf_number(g, object, where, "xmag", 0, &out->xmag)) ||
        (status = gltf_number(g, object, where, "ymag", 0, &out->ymag)) ||
        (status = gltf_number(g, object, where, "znear", -1, &out->near)) ||
        (status = read_positive(g, object, where, "zfar", &out->far)))
        return status;
    if (out->xmag == 0 || out->ymag == 0)
        return gltf_fail(g, LB_FORMAT, where, "xmag and ymag have to be there and not 0");
    if (!(out->near >= 0))
        return gltf_fail(g, LB_FORMAT, gltf_below(path, where, "znear"),
                         "this has to be there and not below 0");
    if (out->xmag < 0 || out->ymag < 0) {
        out->xmag = fabs(out->xmag);
        out->ymag = fabs(out->ymag);
        if ((status = gltf_fact(g, LB_FACT_CONVERTED, where,
                                "A negative magnification is taken without its sign.")))
            return status;
    }
    out->aspect = out->xmag / out->ymag;
    return check_far(g, where, out);
}

static lb_status read_camera(gltf *g, size_t index, gltf_camera *out)
{
    char where[GLTF_WHERE], path[GLTF_WHERE];
    const json_t *object, *details;
    const char *type;
    lb_status status;

    if ((status = gltf_root_element(g, "cameras", index, where, &object)) ||
        (status = gltf_text(g, object, where, "name", &out->name)) ||
        (status = gltf_text(g, object, where, "type", &type)))
        return status;
    if (!type || (strcmp(type, "perspective") != 0 && strcmp(type, "orthographic") != 0))
        return gltf_fail(g, LB_FORMAT, where, "type has to be perspective or orthographic");
    if ((status = gltf_object(g, object, where, type, &details)))
        return status;
    gltf_below(path, where, type);
    if (!details)
        return gltf_fail(g, LB_FORMAT, path, "this is missing");
    return type[0] == 'p' ? read_perspective(g, details, path, &out->camera)
                          : read_orthographic(g, details, path, &out->camera);
}

lb_status gltf_camera_get(gltf *g, size_t index, const gltf_camera **out)
{
    lb_status status = LB_OK;

    if (!g->cameras[index].read)
        status = read_camera(g, index, &g->cameras[index]);
    g->cameras[index].read = status == LB_OK;
    *out = &g->cameras[index];
    return status;
}

static lb_status read_cone(gltf *g, const json_t *object, const char *above, lb_light *out)
{
    char where[GLTF_WHERE], path[GLTF_WHERE];
    const json_t *spot;
    double inner, outer;
    lb_status status;

    if ((status = gltf_object(g, object, above, "spot", &spot)))
        return status;
    gltf_below(where, above, "spot");
    if (!spot)
        return gltf_fail(g, LB_FORMAT, where, "this is missing");
    if ((status = gltf_number(g, spot, where, "innerConeAngle", 0, &inner)) ||
        (status = gltf_number(g, spot, where, "outerConeAngle", LB_PI / 4, &outer)))
        return status;
    if (!json_object_get(spot, "outerConeAngle") &&
        (status = gltf_fact(g, LB_FACT_ASSUMED, gltf_below(path, where, "outerConeAngle"),
                            "Not given: pi / 4 from the axis, a full cone of 90 degrees.")))
        return status;
    if (!(outer > 0 && outer <= LB_PI / 2 + 1e-6 && inner >= 0 && inner < outer)) {
        double given_inner = inner, given_outer = outer;

        outer = outer > 0 && outer <= LB_PI / 2 ? outer : outer > 0 ? LB_PI / 2 : LB_PI / 4;
        inner = inner >= 0 && inner < outer ? inner : inner < 0 ? 0 : outer;
        if ((status = gltf_fact(g, LB_FACT_CONVERTED, where,
                                "Cone angles %g and %g are not 0 <= inner < outer <= pi / 2: "
                                "%g and %g are used.",
                                given_inner, given_outer, inner, outer)))
            return status;
    }
    out->inner_half_rad = (float)inner;
    out->outer_half_rad = (float)outer;
    return LB_OK;
}

/* lux and candela to what lb_light means by intensity. */
static lb_status read_strength(gltf *g, const json_t *object, const char *where, lb_light *out)
{
    char path[GLTF_WHERE];
    double intensity, range;
    lb_status status;

    if ((status = gltf_number(g, object, where, "intensity", 1, &intensity)) ||
        (status = gltf_number(g, object, where, "range", INFINITY, &range)))
        return status;
    if (!json_object_get(object, "intensity") &&
        (status =
             gltf_fact(g, LB_FACT_ASSUMED, gltf_below(path, where, "intensity"), "Not given: 1.")))
        return status;
    out->intensity = (float)intensity;
    out->range = (float)range;
    if (!(intensity >= 0) || !(range > 0)) {
        out->intensity = intensity >= 0 ? (float)intensity : 0;
        out->range = range > 0 ? (float)range : INFINITY;
        if ((status = gltf_fact(g, LB_FACT_CONVERTED, where,
                                "Intensity %g, range %g: a negative intensity is 0, a range that "
                                "is not above 0 is none.",
                                intensity, range)))
            return status;
    }
    if (out->type != LB_LIGHT_DIRECTIONAL)
        return LB_OK;
    out->decay = LB_DECAY_NONE;
    out->range = INFINITY;
    out->intensity = (float)(out->intensity / LB_PI);
    return gltf_fact(g, LB_FACT_CONVERTED, gltf_below(path, where, "intensity"),
                     "%g lux is radiance %g of a white surface: divided by pi.", intensity,
                     (double)out->intensity);
}

static lb_status find_light(gltf *g, size_t index, char where[GLTF_WHERE], const json_t **out)
{
    char path[GLTF_WHERE], list[GLTF_WHERE], number[32];
    const json_t *extension, *lights = NULL;
    lb_status status;

    if ((status = gltf_extension(g, g->root, "", "KHR_lights_punctual", path, &extension)) ||
        (status = gltf_array(g, extension, path, "lights", &lights)))
        return status;
    snprintf(number, sizeof number, "%zu", index);
    gltf_below(where, gltf_below(list, path, "lights"), number);
    return gltf_element(g, lights, list, index, out);
}

static lb_status drop_light(gltf *g, const char *where, const char *type)
{
    lb_warn(g->diag, g->loc, "'%s': %s: a light of type '%.40s' is left out", g->path, where,
            type ? type : "");
    return gltf_fact(g, LB_FACT_DROPPED, where, "There is no type '%.40s': the light is left out.",
                     type ? type : "");
}

static lb_status read_light(gltf *g, size_t index, gltf_light *out)
{
    double color[3] = {1, 1, 1};
    lb_light *light = &out->light;
    char where[GLTF_WHERE];
    const json_t *object;
    const char *type;
    lb_status status;

    *light = (lb_light){.decay = LB_DECAY_QUADRATIC, .range = INFINITY};
    if ((status = find_light(g, index, where, &object)) ||
        (status = gltf_text(g, object, where, "name", &out->name)) ||
        (status = gltf_text(g, object, where, "type", &type)) ||
        (status = gltf_numbers(g, object, where, "color", 3, color)))
        return status;
    if (type && strcmp(type, "point") == 0)
        light->type = LB_LIGHT_POINT;
    else if (type && strcmp(type, "spot") == 0)
        light->type = LB_LIGHT_SPOT;
    else if (type && strcmp(type, "directional") == 0)
        light->type = LB_LIGHT_DIRECTIONAL;
    else
        return drop_light(g, where, type);
    out->is_known = true;
    for (int32_t i = 0; i < 3; i++)
        if ((status = gltf_keep_within(g, where, "color", 0, 1e6, &color[i])))
            return status;
    light->color = gltf_color(g, color);
    if (light->type == LB_LIGHT_SPOT && (status = read_cone(g, object, where, light)))
        return status;
    return read_strength(g, object, where, light);
}

lb_status gltf_light_get(gltf *g, size_t index, const gltf_light **out)
{
    lb_status status = LB_OK;

    if (!g->lights[index].read)
        status = read_light(g, index, &g->lights[index]);
    g->lights[index].read = status == LB_OK;
    *out = &g->lights[index];
    return status;
}
