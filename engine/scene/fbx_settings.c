/* engine/scene/fbx_settings.c: axes, unit and time line of a file. Names, modes and defaults are
 * common practice, from memory. */
#include <math.h>

#include "engine/scene/fbx_read.h"

#define TICKS 46186158000.0     /* a second: a multiple of the usual frame rates */
#define TICKS_LATER 141120000.0 /* where OtherFlags says TCDefinition 127 */

lb_vec3d fbx_direction(const fbx *g, lb_vec3d d)
{
    double in[3] = {d.x, d.y, d.z};

    return (lb_vec3d){g->sign[0] * in[g->axis[0]], g->sign[1] * in[g->axis[1]],
                      g->sign[2] * in[g->axis[2]]};
}

lb_vec3d fbx_point(const fbx *g, lb_vec3d p)
{
    lb_vec3d out = fbx_direction(g, p);

    return (lb_vec3d){out.x * g->unit, out.y * g->unit, out.z * g->unit};
}

lb_quat fbx_rotation(const fbx *g, lb_quat q)
{
    lb_vec3d axis = fbx_direction(g, (lb_vec3d){q.x, q.y, q.z});
    double sense = g->is_mirrored ? -1 : 1; /* an axis of rotation is a pseudovector */

    return (lb_quat){sense * axis.x, sense * axis.y, sense * axis.z, q.w};
}

lb_vec3d fbx_size(const fbx *g, lb_vec3d s)
{
    double in[3] = {s.x, s.y, s.z};

    return (lb_vec3d){in[g->axis[0]], in[g->axis[1]], in[g->axis[2]]};
}

/* Even permutations keep the hand, odd ones change it. */
static bool is_odd(const int axis[3])
{
    return axis[1] != (axis[0] + 1) % 3;
}

static void read_axes(fbx *g)
{
    static const char *const names[3][2] = {
        {"CoordAxis", "CoordAxisSign"}, {"UpAxis", "UpAxisSign"}, {"FrontAxis", "FrontAxisSign"}};
    const fbx_object *settings = &g->settings;
    fbx_origin origin = FBX_AUTHORED;
    char where[FBX_WHERE];
    int64_t axis[3] = {0, 1, 2}, sign[3] = {1, 1, 1};
    bool is_sound = true;

    for (int i = 0; i < 3; i++) {
        fbx_origin one = fbx_integer(g, settings, names[i][0], &axis[i]);

        (void)fbx_integer(g, settings, names[i][1], &sign[i]);
        origin = one > origin ? one : origin;
        is_sound &= axis[i] >= 0 && axis[i] <= 2 && (sign[i] == 1 || sign[i] == -1);
    }
    is_sound &= axis[0] != axis[1] && axis[1] != axis[2] && axis[0] != axis[2];
    fbx_where(where, settings, "UpAxis");
    for (int i = 0; i < 3; i++) {
        g->axis[i] = is_sound ? (int)axis[i] : i;
        g->sign[i] = is_sound ? (double)sign[i] : 1;
    }
    g->is_mirrored = is_odd(g->axis) != (g->sign[0] * g->sign[1] * g->sign[2] < 0);
    if (!is_sound) {
        fbx_fact(g, LB_FACT_ASSUMED, where,
                 "The three axes are not three axes with signs: y up, z to the front, x right.");
        return;
    }
    fbx_origin_fact(g, settings, "UpAxis", origin, "up is %c%c, front %c%c, right %c%c",
                    sign[1] < 0 ? '-' : '+', "xyz"[axis[1]], sign[2] < 0 ? '-' : '+',
                    "xyz"[axis[2]], sign[0] < 0 ? '-' : '+', "xyz"[axis[0]]);
    for (int i = 0; i < 3; i++)
        if (axis[i] != i || sign[i] != 1) {
            fbx_fact(g, LB_FACT_CONVERTED, where,
                     "x, y, z of the graph are the file's right, up, front%s.",
                     g->is_mirrored ? ", which mirrors: the file is left-handed" : "");
            return;
        }
}

static void read_unit(fbx *g)
{
    double factor = 1;
    fbx_origin origin = fbx_numbers(g, &g->settings, "UnitScaleFactor", 1, &factor);
    char where[FBX_WHERE];

    fbx_where(where, &g->settings, "UnitScaleFactor");
    if (!(factor > 0)) {
        fbx_fact(g, LB_FACT_ASSUMED, where, "%g is no size of a unit: 1 centimetre.", factor);
        factor = 1;
    } else {
        fbx_origin_fact(g, &g->settings, "UnitScaleFactor", origin, "a unit is %g cm", factor);
    }
    g->unit = factor / 100;
    if (g->unit != 1)
        fbx_fact(g, LB_FACT_CONVERTED, where,
                 "Lengths are multiplied by %g: a unit of the graph is a metre.", g->unit);
}

static void read_rate(fbx *g)
{
    /* By TimeMode; drop-frame counting names frames otherwise and has no other rate. */
    static const double rates[] = {30,
                                   120,
                                   100,
                                   60,
                                   50,
                                   48,
                                   30,
                                   30,
                                   30000 / 1001.0,
                                   30000 / 1001.0,
                                   25,
                                   24,
                                   1000,
                                   24000 / 1001.0,
                                   0,
                                   96,
                                   72,
                                   60000 / 1001.0,
                                   120000 / 1001.0};
    int64_t mode = 0;
    double custom = -1;
    fbx_origin origin = fbx_integer(g, &g->settings, "TimeMode", &mode);
    char where[FBX_WHERE];

    (void)fbx_numbers(g, &g->settings, "CustomFrameRate", 1, &custom);
    fbx_where(where, &g->settings, "TimeMode");
    g->rate = mode >= 0 && mode < (int64_t)(sizeof rates / sizeof *rates) ? rates[mode] : -1;
    if (mode == 14)
        g->rate = custom;
    if (!(g->rate > 0) || g->rate > 1e5) {
        g->rate = 30;
        fbx_fact(g, LB_FACT_ASSUMED, where,
                 "TimeMode %lld with CustomFrameRate %g is no frame rate: 30.", (long long)mode,
                 custom);
        return;
    }
    fbx_origin_fact(g, &g->settings, "TimeMode", origin, "TimeMode %lld: %.6g frames a second%s",
                    (long long)mode, g->rate, mode == 14 ? ", CustomFrameRate" : "");
}

static void read_ticks(fbx *g)
{
    const fbx_node *header = fbx_named(g->document.first, "FBXHeaderExtension");
    int64_t definition;

    g->ticks = TICKS;
    if (fbx_whole(fbx_child(fbx_child(header, "OtherFlags"), "TCDefinition"), 0, &definition) &&
        definition == 127)
        g->ticks = TICKS_LATER;
}

static void read_span(fbx *g)
{
    int64_t start = 0, stop = 0;
    fbx_origin origin = fbx_integer(g, &g->settings, "TimeSpanStart", &start);

    if (fbx_integer(g, &g->settings, "TimeSpanStop", &stop) > origin)
        origin = FBX_FORMAT;
    if (origin != FBX_AUTHORED) {
        g->start = 0;
        fbx_origin_fact(g, &g->settings, "TimeSpanStart", origin, "the time line begins at 0");
        return;
    }
    g->start = start;
    fbx_origin_fact(g, &g->settings, "TimeSpanStart", origin,
                    "%.6g s to %.6g s, frames %.6g to %.6g", (double)start / g->ticks,
                    (double)stop / g->ticks, (double)start / g->ticks * g->rate,
                    (double)stop / g->ticks * g->rate);
}

lb_status fbx_settings_read(fbx *g)
{
    const fbx_node *node = fbx_named(g->document.first, "GlobalSettings");
    double ambient[3] = {0, 0, 0};
    static const fbx_node missing = {.name = "GlobalSettings"};
    char where[FBX_WHERE];

    g->settings = (fbx_object){.node = node ? node : &missing, .name = "", .kind = ""};
    g->settings.own = fbx_child(fbx_child(node, "Properties70"), "P");
    read_axes(g);
    read_unit(g);
    read_ticks(g);
    read_rate(g);
    read_span(g);
    (void)fbx_numbers(g, &g->settings, "AmbientColor", 3, ambient);
    if (ambient[0] != 0 || ambient[1] != 0 || ambient[2] != 0)
        fbx_fact(g, LB_FACT_DROPPED, fbx_where(where, &g->settings, "AmbientColor"),
                 "Light from everywhere, %g %g %g, is not used; add an ambient light.", ambient[0],
                 ambient[1], ambient[2]);
    g->scene->frame_rate = g->rate;
    return LB_OK;
}
