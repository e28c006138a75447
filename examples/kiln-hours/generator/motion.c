/* examples/kiln-hours/generator/motion.c: the camera's way, the spot's, and the plaque's swing. */
#include "motion.h"

#include <stdlib.h>

/* A point on a way that goes through all stops, its speed at each from the stops beside it. */
typedef struct stop {
    double t;
    v3 eye, target;
} stop;

static v3 hermite(v3 a, v3 da, v3 b, v3 db, double t, double d)
{
    double t2 = t * t, t3 = t2 * t;
    v3 sum = v3_add(v3_scale(a, 2 * t3 - 3 * t2 + 1), v3_scale(b, 3 * t2 - 2 * t3));

    return v3_add(sum, v3_add(v3_scale(da, d * (t3 - 2 * t2 + t)), v3_scale(db, d * (t3 - t2))));
}

static v3 speed(const stop *stops, int count, int i, int eye)
{
    if (i == 0 || i == count - 1) /* rests at both ends */
        return (v3){0, 0, 0};
    const stop *a = &stops[i - 1], *b = &stops[i + 1];
    return v3_scale(v3_sub(eye ? b->eye : b->target, eye ? a->eye : a->target), 1 / (b->t - a->t));
}

static pose along(const stop *stops, int count, double t)
{
    int i = 0;

    while (i < count - 2 && t >= stops[i + 1].t)
        i++;
    const stop *a = &stops[i], *b = &stops[i + 1];
    double d = b->t - a->t, x = clamp01((t - a->t) / d);
    v3 eye =
        hermite(a->eye, speed(stops, count, i, 1), b->eye, speed(stops, count, i + 1, 1), x, d);
    v3 target = hermite(a->target, speed(stops, count, i, 0), b->target,
                        speed(stops, count, i + 1, 0), x, d);
    return (pose){eye, quat_look(eye, target)};
}

pose camera_pose(double t)
{
    static const stop stops[] = {
        {0.0, {-0.34, 0.60, 0.92}, {0.04, 0.58, -0.5}},
        {1.7, {-0.28, 0.70, 1.16}, {0.03, 0.68, -0.5}},
        {2.8, {0.02, 0.95, 2.02}, {-0.02, 0.80, -0.3}},
        {3.8, {0.44, 1.03, 2.86}, {-0.22, 0.83, 1.5}},
        {4.6, {0.32, 1.07, 3.22}, {-0.20, 0.84, 1.3}},
        {5.4, {-0.02, 1.09, 3.54}, {0.07, 0.83, 1.0}},
        {6.3, {-0.02, 1.06, 3.72}, {0.01, 0.82, 0.3}},
        {9.0, {0.05, 1.03, 3.62}, {0.00, 0.82, 0.0}},
    };

    return along(stops, sizeof stops / sizeof stops[0], t);
}

/* The nail is where the plaque, at rest, hangs right in the last frame's picture. */
static pose plaque_rest(void)
{
    pose camera = camera_pose(TAKE_S);
    v3 forward = quat_turn(camera.turn, (v3){0, 0, -1}), up = quat_turn(camera.turn, (v3){0, 1, 0});
    v3 centre = v3_add(camera.at, v3_add(v3_scale(forward, 0.80), v3_scale(up, -0.066)));
    double yaw = lb_atan2(camera.at.x - centre.x, camera.at.z - centre.z) + 0.10;

    return (pose){v3_add(centre, (v3){0, CORD, 0}), quat_axis((v3){0, 1, 0}, yaw)};
}

pose key_spot_pose(double t)
{
    v3 plaque = v3_sub(plaque_rest().at, (v3){0, CORD, 0});
    const stop stops[] = {
        {0.0, {-1.5, 2.3, 2.9}, {-0.8, 0.9, 1.8}},    {2.6, {-1.5, 2.3, 2.9}, {-0.6, 0.9, 1.85}},
        {4.2, {-1.4, 2.2, 3.0}, {-0.53, 0.93, 1.86}}, {5.3, {-1.0, 2.0, 3.3}, {0.45, 0.93, 1.9}},
        {6.3, {-0.62, 1.72, 3.38}, plaque},           {9.0, {-0.52, 1.74, 3.40}, plaque},
    };

    return along(stops, sizeof stops / sizeof stops[0], t);
}

/* A pendulum let go at the side, with the twist of its two cords, dying away. */
pose plaque_pose(double t)
{
    pose rest = plaque_rest();
    double s = t - 5.45, degree = LB_PI / 180;
    double side = 84, nod = 0, twist = 38;

    if (s > 0) {
        side *= lb_exp(-2.3 * s) * lb_cos(3.7 * s);
        nod = 13 * lb_exp(-1.9 * s) * lb_sin(3.9 * s);
        twist *= lb_exp(-1.7 * s) * lb_cos(2.9 * s);
    }
    quat q = quat_mul(
        quat_axis((v3){0, 0, 1}, side * degree),
        quat_mul(quat_axis((v3){1, 0, 0}, nod * degree), quat_axis((v3){0, 1, 0}, twist * degree)));
    return (pose){rest.at, quat_mul(rest.turn, q)};
}

static void components(pose p, int what, double out[4])
{
    if (what == 1) {
        out[0] = p.at.x, out[1] = p.at.y, out[2] = p.at.z, out[3] = 0;
        return;
    }
    out[0] = p.turn.x, out[1] = p.turn.y, out[2] = p.turn.z, out[3] = p.turn.w;
}

/* Nothing here turns through half a circle, so quaternions never change sign on the way. */
static void animate_one(glb *g, int node, pose_fn fn, double t0, double t1, int keys, int what)
{
    int width = what == 1 ? 3 : 4;
    float *times = grab(NULL, (size_t)keys, sizeof *times);
    float *values = grab(NULL, (size_t)keys * 3 * (size_t)width, sizeof *values);
    double step = 1e-4;

    for (int i = 0; i < keys; i++) {
        double t = t0 + (t1 - t0) * i / (keys - 1), here[4], before[4], after[4];
        float *at = values + (size_t)i * 3 * (size_t)width;

        components(fn(t), what, here);
        components(fn(t - step), what, before);
        components(fn(t + step), what, after);
        times[i] = (float)t;
        for (int k = 0; k < width; k++) {
            at[k] = (float)((here[k] - before[k]) / step);
            at[width + k] = (float)here[k];
            at[2 * width + k] = (float)((after[k] - here[k]) / step);
        }
    }
    glb_curve(g, node, what == 1 ? "translation" : "rotation", "CUBICSPLINE", keys, width, times,
              values);
    free(times);
    free(values);
}

void animate(glb *g, int node, pose_fn fn, double t0, double t1, int keys, int what)
{
    for (int part = 1; part <= 2; part++)
        if (what & part)
            animate_one(g, node, fn, t0, t1, keys, part);
}
