/* engine/scene/fbx_light.c: lights. Properties and defaults are common practice, from memory:
 * Intensity is in percent, cone angles are full angles in degrees. */
#include <math.h>

#include "engine/base/math.h"
#include "engine/scene/fbx_read.h"

enum { POINT, DIRECTIONAL, SPOT, AREA, VOLUME }; /* LightType */
enum { NONE, LINEAR, QUADRATIC, CUBIC };         /* DecayType */

#define HALF_DEGREE (LB_PI / 360)

static void read_type(fbx *g, const fbx_object *object, lb_light *out)
{
    static const char *const names[] = {"point", "directional", "spot", "area", "volume"};
    int64_t type = POINT;
    fbx_origin origin = fbx_integer(g, object, "LightType", &type);
    char where[FBX_WHERE];

    out->type = type == DIRECTIONAL ? LB_LIGHT_DIRECTIONAL
                : type == SPOT      ? LB_LIGHT_SPOT
                                    : LB_LIGHT_POINT;
    if (type < POINT || type > VOLUME) {
        fbx_fact(g, LB_FACT_ASSUMED, fbx_where(where, object, "LightType"),
                 "There is no type %lld: point.", (long long)type);
        return;
    }
    fbx_origin_fact(g, object, "LightType", origin, "%s", names[type]);
    if (type >= AREA)
        fbx_fact(g, LB_FACT_CONVERTED, fbx_where(where, object, "LightType"),
                 "A light with an %s is drawn as a point.", type == AREA ? "area" : "inside");
}

static void read_color(fbx *g, const fbx_object *object, lb_light *out)
{
    double color[3] = {1, 1, 1};
    fbx_origin origin = fbx_numbers(g, object, "Color", 3, color);
    char where[FBX_WHERE];

    for (int i = 0; i < 3; i++)
        if (color[i] < 0) {
            fbx_fact(g, LB_FACT_CONVERTED, fbx_where(where, object, "Color"), "%g is below 0: 0.",
                     color[i]);
            color[i] = 0;
        }
    fbx_origin_fact(g, object, "Color", origin, "%g %g %g", color[0], color[1], color[2]);
    out->color = fbx_color(g, color);
}

static void read_cone(fbx *g, const fbx_object *object, lb_light *out)
{
    double inner = 0, outer = 45;
    fbx_origin origin = fbx_numbers(g, object, "OuterAngle", 1, &outer);
    char where[FBX_WHERE];

    fbx_origin_fact(g, object, "OuterAngle", origin, "a full cone of %g degrees", outer);
    origin = fbx_numbers(g, object, "InnerAngle", 1, &inner);
    fbx_origin_fact(g, object, "InnerAngle", origin, "a full inner cone of %g degrees", inner);
    if (!(outer > 0 && outer <= 180 && inner >= 0 && inner <= outer)) {
        double given[2] = {inner, outer};

        outer = outer > 180 ? 180 : outer > 0 ? outer : 45;
        inner = inner > outer ? outer : inner > 0 ? inner : 0;
        fbx_fact(g, LB_FACT_CONVERTED, fbx_where(where, object, "OuterAngle"),
                 "Cones of %g and %g degrees are not 0 <= inner <= outer <= 180: %g and %g.",
                 given[0], given[1], inner, outer);
    }
    out->inner_half_rad = (float)(inner * HALF_DEGREE);
    out->outer_half_rad = (float)(outer * HALF_DEGREE);
}

/* A white surface that faces the light returns (start / distance)^n of the intensity; with a start
 * of 0 the start is one unit of the file. lb_light has 1 / d and 1 / (pi d^2). */
static void read_decay(fbx *g, const fbx_object *object, lb_light *out)
{
    static const char *const names[] = {"none", "linear", "quadratic", "cubic"};
    int64_t type = NONE;
    double start = 0, reference;
    fbx_origin origin = fbx_integer(g, object, "DecayType", &type), from;
    char where[FBX_WHERE];

    from = fbx_numbers(g, object, "DecayStart", 1, &start);
    fbx_where(where, object, "DecayType");
    if (type < NONE || type > CUBIC) {
        fbx_fact(g, LB_FACT_ASSUMED, where, "There is no decay %lld: none.", (long long)type);
        type = NONE;
    } else {
        fbx_origin_fact(g, object, "DecayType", origin, "%s", names[type]);
    }
    fbx_origin_fact(g, object, "DecayStart", from, "%g units", start);
    out->decay = type == NONE     ? LB_DECAY_NONE
                 : type == LINEAR ? LB_DECAY_LINEAR
                                  : LB_DECAY_QUADRATIC;
    if (out->type == LB_LIGHT_DIRECTIONAL) {
        out->decay = LB_DECAY_NONE;
        if (type != NONE)
            fbx_fact(g, LB_FACT_DROPPED, where, "A directional light has no decay.");
    }
    if (out->decay == LB_DECAY_NONE)
        return;
    reference = (start > 0 ? start : 1) * g->unit;
    out->intensity *=
        (float)(out->decay == LB_DECAY_LINEAR ? reference : LB_PI * reference * reference);
    fbx_fact(g, LB_FACT_CONVERTED, where,
             "The intensity is that at %g m, %s: %g. Nearer than that it goes on growing.",
             reference,
             out->decay == LB_DECAY_LINEAR ? "times the distance" : "times pi distance^2",
             (double)out->intensity);
    if (type == CUBIC)
        fbx_fact(g, LB_FACT_CONVERTED, where,
                 "Cubic decay is drawn as quadratic, the same at %g m.", reference);
}

void fbx_light_read(fbx *g, const fbx_object *object, lb_light *out)
{
    static const char *const unused[] = {"EnableNearAttenuation", "EnableFarAttenuation"};
    double intensity = 100;
    fbx_origin origin = fbx_numbers(g, object, "Intensity", 1, &intensity);
    int64_t shadows = 1;
    char where[FBX_WHERE];

    *out = (lb_light){.range = INFINITY};
    read_type(g, object, out);
    read_color(g, object, out);
    fbx_origin_fact(g, object, "Intensity", origin, "%g percent", intensity);
    if (intensity < 0) {
        fbx_fact(g, LB_FACT_CONVERTED, fbx_where(where, object, "Intensity"), "Below 0: 0.");
        intensity = 0;
    }
    out->intensity = (float)(intensity / 100);
    if (out->type == LB_LIGHT_SPOT)
        read_cone(g, object, out);
    read_decay(g, object, out);
    if (fbx_integer(g, object, "CastShadows", &shadows) == FBX_AUTHORED && shadows)
        fbx_fact(g, LB_FACT_DROPPED, fbx_where(where, object, "CastShadows"),
                 "Shadows are not drawn.");
    for (size_t i = 0; i < sizeof unused / sizeof unused[0]; i++) {
        int64_t value = 0;

        if (fbx_integer(g, object, unused[i], &value) == FBX_AUTHORED && value)
            fbx_fact(g, LB_FACT_DROPPED, fbx_where(where, object, unused[i]), "It is not used.");
    }
}
