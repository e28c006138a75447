/* examples/kiln-hours/generator/kiln.c: the brick front with its arched mouth. */
#include "place.h"

#include <math.h>
#include <stdio.h>

/* One brick's own look. */
typedef struct brick_look {
    uint32_t seed;
    v3 centre;
    double scorch; /* 0: as the wall; 1: as the mouth */
    int deep;      /* inside the mouth: no dark joints by depth */
} brick_look;

/* Texture coordinates: the picture lies over four metres, each brick at a place of its own. */
static void lay_picture(v3 at, v3 normal, v3 centre, uint32_t seed, vertex *out)
{
    v3 d = v3_sub(at, centre);
    double a = fabs(normal.x) > 0.6 ? d.z : d.x, b = fabs(normal.y) > 0.6 ? -d.z : -d.y;

    out->u = chance_between(0.1, 0.9, seed, 11, 0) + a / 4;
    out->v = chance_between(0.1, 0.9, seed, 12, 0) + b / 4;
}

/* Smoke has blackened the wall above the mouth, the floor's dirt its foot. */
static double soot(v3 at)
{
    double rise = at.y - 1.15, width = 0.34 + 0.35 * (rise > 0 ? rise : 0);
    double plume = bell(at.x / width) * smooth(-0.1, 0.45, rise) * bell(rise / 1.5);
    double ragged = 0.75 + 0.6 * cloud(at.x * 4, at.y * 2.5, 3, 3, 0, 71);
    double foot = 0.55 * (1 - smooth(0, 0.4, at.y + 0.1 * noise(at.x * 3, 0, 0, 0, 72)));

    return clamp01(0.92 * clamp01(plume * ragged) + foot);
}

static void paint_brick(const void *context, v3 at, v3 normal, vertex *out)
{
    const brick_look *look = context;
    double bright = chance_between(0.62, 1.0, look->seed, 1, 0);
    double red = chance_between(-0.08, 0.08, look->seed, 2, 0);
    double light = bright * (1 - 0.93 * soot(at));

    if (chance(look->seed, 3, 0) < 0.07)
        light *= 0.5; /* an overburnt one */
    if (!look->deep)
        light *= mix(0.2, 1, smooth(-0.04, -0.002, at.z));
    light *= mix(1, 0.62, look->scorch);
    out->color[0] = light * (0.94 + red);
    out->color[1] = light * (0.90 - red * 0.5 - 0.08 * look->scorch);
    out->color[2] = light * (0.88 - red - 0.12 * look->scorch);
    lay_picture(at, normal, look->centre, look->seed, out);
}

static void paint_mortar(const void *context, double u, double v, vertex *out)
{
    const double *strip = context; /* x of both ends at the bottom, at the top; y0, y1 */
    double x0 = mix(strip[0], strip[2], v), x1 = mix(strip[1], strip[3], v);
    v3 at = {mix(x0, x1, u), mix(strip[4], strip[5], v), -0.011};
    double light = 0.42 * (1 - 0.9 * soot(at));

    out->position = at;
    out->color[0] = light;
    out->color[1] = light * 0.92;
    out->color[2] = light * 0.82;
    out->u = 0.5 + at.x / 4;
    out->v = 0.9 - at.y / 4;
}

/* Half the width that the arch with its ring takes at height y. */
static double ring_half(double y)
{
    double outer = MOUTH_HALF + RING, rise = y - SPRING;

    if (y < SILL - COURSE * 0.9)
        return 0;
    if (rise <= 0)
        return outer;
    return rise < outer ? sqrt(outer * outer - rise * rise) : 0;
}

/* The part of a brick from xa to xb that is left of the ring (sign -1) or right of it (1). */
static void wall_brick(soup *s, double xa, double xb, double y, int sign, uint32_t seed)
{
    double top = y + COURSE - JOINT, low = ring_half(y), high = ring_half(top);
    double x[2][2] = {{xa, xb}, {xa, xb}};
    double cut[2] = {low > 0 ? low + 0.006 : 0, high > 0 ? high + 0.006 : 0};
    brick_look look = {.seed = seed, .centre = {(xa + xb) / 2, y, 0}};
    block b = {
        .wear = 0.005, .without = SIDE_BACK, .seed = seed, .paint = paint_brick, .context = &look};

    for (int i = 0; i < 2; i++) {
        if (sign < 0 && cut[i] > 0 && x[i][1] > -cut[i])
            x[i][1] = -cut[i];
        if (sign > 0 && cut[i] > 0 && x[i][0] < cut[i])
            x[i][0] = cut[i];
    }
    if (x[0][1] - x[0][0] < 0.03 && x[1][1] - x[1][0] < 0.03)
        return;
    for (int i = 0; i < 2; i++)
        if (x[i][1] - x[i][0] < 0.012)
            x[i][sign < 0 ? 1 : 0] = x[i][sign < 0 ? 0 : 1] - sign * 0.012;
    double out = chance_between(-0.005, 0.006, seed, 20, 0);
    for (uint32_t i = 0; i < 8; i++) {
        double jitter = 0.0022;

        b.corners[i] = (v3){x[i >> 1 & 1][i & 1] + chance_between(-jitter, jitter, seed, i, 21),
                            (i & 2 ? top : y) + chance_between(-jitter, jitter, seed, i, 22),
                            i & 4 ? out + chance_between(-jitter, jitter, seed, i, 23) : -0.055};
    }
    soup_block(s, &b);
}

static void mortar_strip(soup *s, double x0, double x1, double x2, double x3, double y0, double y1)
{
    const double strip[6] = {x0, x1, x2, x3, y0, y1};

    soup_surface(s, 6, 1, paint_mortar, strip);
}

static void make_course(glb *g, const materials *m, int row, soup *mortar)
{
    soup s = {0};
    char name[32];
    double y = row * COURSE, shift = row % 2 ? BRICK / 2 : 0;
    int count = (int)(2 * WALL_HALF / BRICK) + 2;
    double low = ring_half(y), high = ring_half(y + COURSE);

    for (int i = 0; i < count; i++) {
        uint32_t seed = (uint32_t)(row * 64 + i);
        double xa = -WALL_HALF + i * BRICK - shift, xb = xa + BRICK - JOINT;

        xa = xa < -WALL_HALF ? -WALL_HALF : xa;
        xb = xb > WALL_HALF ? WALL_HALF : xb;
        if (xb - xa < 0.04)
            continue;
        if (low == 0 && high == 0) {
            wall_brick(&s, xa, xb, y, -1, seed);
            continue;
        }
        if (xa < 0)
            wall_brick(&s, xa, xb, y, -1, seed);
        if (xb > 0)
            wall_brick(&s, xa, xb, y, 1, seed + 32);
    }
    snprintf(name, sizeof name, "brick_row_%02d", row + 1);
    glb_node(g, -1, name, NULL, "mesh", glb_mesh(g, name, &s, m->brick));
    low = low > 0.08 && high > 0 ? low - 0.08 : 0; /* the rest is behind the ring */
    high = high > 0.08 ? high - 0.08 : 0;
    mortar_strip(mortar, -WALL_HALF, -low, -WALL_HALF, -high, y, y + COURSE);
    mortar_strip(mortar, low, WALL_HALF, high, WALL_HALF, y, y + COURSE);
}

/* A brick of the ring: between two angles (or two heights of a jamb) and two depths. */
static void ring_brick(soup *s, const v3 front[4], double z0, double z1, int without, uint32_t seed)
{
    brick_look look = {.seed = seed, .scorch = 1, .deep = 1};
    block b = {
        .wear = 0.006, .without = without, .seed = seed, .paint = paint_brick, .context = &look};

    look.centre = v3_scale(v3_add(v3_add(front[0], front[1]), v3_add(front[2], front[3])), 0.25);
    for (uint32_t i = 0; i < 8; i++) {
        v3 jitter = {chance_between(-0.002, 0.002, seed, i, 31),
                     chance_between(-0.002, 0.002, seed, i, 32),
                     chance_between(-0.003, 0.003, seed, i, 33)};

        b.corners[i] = v3_add(front[i & 3], jitter);
        b.corners[i].z += i & 4 ? z1 : z0;
    }
    soup_block(s, &b);
}

static void ring_both_deep(soup *s, const v3 front[4], uint32_t seed)
{
    double out = chance_between(0.012, 0.03, seed, 5, 5);

    ring_brick(s, front, -0.17, out, 0, seed);
    ring_brick(s, front, -0.37, -0.18, SIDE_BACK, seed + 1000);
}

static void make_ring(soup *s)
{
    enum { STONES = 21 };
    double outer = MOUTH_HALF + RING;

    for (int i = 0; i < STONES; i++) {
        double gap = 0.010, a0 = LB_PI * (1 - (double)i / STONES) - gap,
               a1 = LB_PI * (1 - (i + 1.0) / STONES) + gap;
        double r0 = MOUTH_HALF + chance_between(-0.004, 0.004, (uint32_t)i, 40, 0);
        v3 front[4] = {{r0 * lb_cos(a0), SPRING + r0 * lb_sin(a0), 0},
                       {r0 * lb_cos(a1), SPRING + r0 * lb_sin(a1), 0},
                       {outer * lb_cos(a0), SPRING + outer * lb_sin(a0), 0},
                       {outer * lb_cos(a1), SPRING + outer * lb_sin(a1), 0}};

        ring_both_deep(s, front, 5000 + (uint32_t)i);
    }
    for (int i = 0; i < 6; i++) {
        double y0 = SILL + i / 2 * 2 * COURSE, y1 = y0 + 2 * COURSE - JOINT;
        double sign = i % 2 ? 1 : -1, xa = sign * MOUTH_HALF, xb = sign * outer;
        double x0 = xa < xb ? xa : xb, x1 = xa < xb ? xb : xa;
        v3 front[4] = {{x0, y0, 0}, {x1, y0, 0}, {x0, y1, 0}, {x1, y1, 0}};

        ring_both_deep(s, front, 5100 + (uint32_t)i);
    }
    for (int i = 0; i < 9; i++) {
        double x0 = -outer + i * 2 * outer / 9 + 0.004, x1 = x0 + 2 * outer / 9 - 0.009;
        v3 front[4] = {{x0, SILL - COURSE, 0},
                       {x1, SILL - COURSE, 0},
                       {x0, SILL - JOINT, 0},
                       {x1, SILL - JOINT, 0}};

        ring_brick(s, front, -0.37, 0.045 + chance_between(-0.006, 0.006, (uint32_t)i, 41, 0),
                   SIDE_BACK | SIDE_DOWN, 5200 + (uint32_t)i);
    }
}

/* Mortar behind the stones of the ring, seen in the joints: the front, then the way in. */
static void paint_joint(const void *context, double u, double v, vertex *out)
{
    int inside = *(const int *)context;
    double outer = MOUTH_HALF + RING, length = LB_PI + 2 * (SPRING - SILL) / outer;
    double jamb = (SPRING - SILL) / outer / length, r = inside ? MOUTH_HALF + 0.012 : 0;
    double angle, drop = 0;

    r = inside ? r : mix(MOUTH_HALF + 0.008, outer + 0.01, v);
    if (u < jamb)
        angle = LB_PI, drop = (1 - u / jamb) * (SPRING - SILL);
    else if (u > 1 - jamb)
        angle = 0, drop = (1 - (1 - u) / jamb) * (SPRING - SILL);
    else
        angle = LB_PI * (1 - (u - jamb) / (1 - 2 * jamb));
    out->position = (v3){r * lb_cos(angle), SPRING + r * lb_sin(angle) - drop,
                         inside ? mix(-0.38, 0.005, v) : 0.002};
    for (int i = 0; i < 3; i++)
        out->color[i] = inside ? 0.16 : 0.10;
    out->u = 0.1 + 0.5 * u;
    out->v = 0.5 + 0.05 * v;
}

void make_kiln(glb *g, const materials *m)
{
    soup mortar = {0}, ring = {0};
    int front = 0, inside = 1;

    for (int row = 0; row < COURSES; row++)
        make_course(g, m, row, &mortar);
    mortar_strip(&mortar, -MOUTH_HALF - RING, MOUTH_HALF + RING, -MOUTH_HALF - RING,
                 MOUTH_HALF + RING, SILL - COURSE, SILL - JOINT);
    soup_surface(&mortar, 60, 2, paint_joint, &front);
    soup_surface(&mortar, 60, 2, paint_joint, &inside);
    glb_node(g, -1, "mortar", NULL, "mesh", glb_mesh(g, "mortar", &mortar, m->mortar));
    make_ring(&ring);
    glb_node(g, -1, "brick_arch", NULL, "mesh", glb_mesh(g, "brick_arch", &ring, m->brick));
}
