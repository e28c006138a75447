/* examples/kiln-hours/generator/pottery.c: pots on turning wheels, tables, shelves, the floor. */
#include "place.h"

#include <math.h>
#include <stdio.h>

const double tables[2][4] = {{-2.0, -0.30, 1.50, 2.35}, {0.28, 1.9, 1.45, 2.30}};

const turning wheels[WHEELS] = {
    {-0.53, 1.86, 0.55, 0.0},
    {0.53, 1.90, -0.42, 0.3},
    {1.36, 1.78, 0.36, 0.6},
    {-1.45, 1.86, -0.50, 0.1},
};

/* Half sections, foot to lip and in again: radius and height. */
typedef struct section {
    int count;
    double at[20][2];
} section;

static const section sections[POT_KINDS] = {
    {17,
     {{0, 0},
      {0.050, 0},
      {0.056, 0.004},
      {0.066, 0.03},
      {0.082, 0.07},
      {0.098, 0.115},
      {0.104, 0.16},
      {0.096, 0.205},
      {0.070, 0.24},
      {0.042, 0.265},
      {0.031, 0.29},
      {0.029, 0.315},
      {0.033, 0.338},
      {0.043, 0.352},
      {0.039, 0.356},
      {0.025, 0.33},
      {0.022, 0.27}}},
    {16,
     {{0, 0.002},
      {0.050, 0},
      {0.056, 0.003},
      {0.056, 0.013},
      {0.074, 0.020},
      {0.104, 0.04},
      {0.134, 0.07},
      {0.156, 0.105},
      {0.169, 0.14},
      {0.175, 0.163},
      {0.172, 0.169},
      {0.165, 0.162},
      {0.148, 0.11},
      {0.112, 0.06},
      {0.06, 0.03},
      {0, 0.024}}},
    {17,
     {{0, 0},
      {0.058, 0},
      {0.064, 0.005},
      {0.074, 0.03},
      {0.088, 0.07},
      {0.098, 0.11},
      {0.098, 0.15},
      {0.088, 0.19},
      {0.072, 0.22},
      {0.063, 0.245},
      {0.062, 0.265},
      {0.067, 0.285},
      {0.076, 0.3},
      {0.072, 0.304},
      {0.060, 0.28},
      {0.054, 0.25},
      {0.075, 0.18}}},
    {16,
     {{0, 0},
      {0.064, 0},
      {0.070, 0.005},
      {0.090, 0.028},
      {0.120, 0.065},
      {0.142, 0.11},
      {0.149, 0.155},
      {0.142, 0.2},
      {0.120, 0.24},
      {0.092, 0.268},
      {0.075, 0.284},
      {0.074, 0.296},
      {0.081, 0.307},
      {0.076, 0.311},
      {0.064, 0.29},
      {0.085, 0.25}}},
};

static double spline(double a, double b, double c, double d, double t)
{
    return b + 0.5 * t * (c - a + t * (2 * a - 5 * b + 4 * c - d + t * (3 * (b - c) + d - a)));
}

static void section_at(const section *s, double t, double *r, double *y)
{
    double x = clamp01(t) * (s->count - 1);
    int i = (int)x;
    double out[2];

    i = i > s->count - 2 ? s->count - 2 : i;
    for (int k = 0; k < 2; k++) {
        double a = s->at[i > 0 ? i - 1 : 0][k], d = s->at[i + 2 < s->count ? i + 2 : i + 1][k];

        out[k] = spline(a, s->at[i][k], s->at[i + 1][k], d, x - i);
    }
    *r = out[0] > 0 ? out[0] : 0;
    *y = out[1];
}

typedef struct pot {
    int kind;
    v3 foot;
    double scale;
    pot_paint_fn paint;
    const void *context;
} pot;

/* Hands leave a pot a little out of true; the bottle is fluted, the jug's lip has a spout. */
static void pot_surface(const void *context, double u, double v, vertex *out)
{
    const pot *p = context;
    double angle = 2 * LB_PI * u, r, y;

    section_at(&sections[p->kind], v, &r, &y);
    if (p->kind == 0)
        r *= 1 + 0.016 * lb_cos(10 * angle) * bell((y - 0.15) / 0.075);
    if (p->kind == 1)
        r *= 1 + 0.010 * lb_sin(3 * angle + 1) * smooth(0.05, 0.15, y);
    if (p->kind == 2)
        r *= 1 + 0.40 * bell((u - 0.5) / 0.045) * smooth(0.27, 0.30, y);
    if (p->kind == 3)
        r *= 1 + 0.012 * lb_sin(2 * angle);
    out->u = u;
    out->v = v;
    out->position =
        v3_add(p->foot, v3_scale((v3){r * lb_cos(angle), y, -r * lb_sin(angle)}, p->scale));
    if (p->paint != NULL)
        p->paint(p->context, u, v, out);
}

/* The jug's handle: a tube from the neck out and down to the belly. */
static void handle_surface(const void *context, double u, double v, vertex *out)
{
    const pot *p = context;
    static const section path = {7,
                                 {{0.058, 0.278},
                                  {0.085, 0.290},
                                  {0.122, 0.283},
                                  {0.140, 0.245},
                                  {0.132, 0.200},
                                  {0.112, 0.165},
                                  {0.090, 0.145}}};
    double r0, y0, r1, y1, angle = 2 * LB_PI * u, thick = 0.0105 - 0.002 * lb_sin(LB_PI * v);

    section_at(&path, v * 0.98, &r0, &y0);
    section_at(&path, v * 0.98 + 0.02, &r1, &y1);
    v3 along = v3_normal((v3){r1 - r0, y1 - y0, 0});
    v3 side = {0, 0, 1}, up = v3_cross(side, along);
    v3 at = {r0, y0, 0};

    at = v3_add(at, v3_scale(up, -thick * 0.8 * lb_sin(angle)));
    at = v3_add(at, v3_scale(side, thick * 1.35 * lb_cos(angle)));
    out->position = v3_add(p->foot, v3_scale(at, p->scale));
    out->u = 0.02 + 0.1 * u;
    out->v = 0.55 - 0.25 * v;
    if (p->paint != NULL)
        p->paint(p->context, u, v, out);
}

void soup_pot(soup *s, int kind, v3 foot, double scale, int around, int along, pot_paint_fn paint,
              const void *context)
{
    pot p = {kind, foot, scale, paint, context};

    soup_surface(s, around, along, pot_surface, &p);
    if (kind == 2)
        soup_surface(s, around / 4, along / 2, handle_surface, &p);
}

/* Darker where little light gets: under the belly, inside the neck. */
static void paint_pot(const void *context, double u, double v, vertex *out)
{
    const double *tint = context;
    double open = smooth(-0.02, 0.07, out->position.y) * 0.6 + 0.4;

    (void)u;
    open *= v > 0.87 ? mix(1, 0.12, smooth(0.87, 1.0, v)) : 1;
    for (int i = 0; i < 3; i++)
        out->color[i] = tint[i] * open;
}

/* Wood: dark, streaked along one axis. */
static void paint_wood(const void *context, v3 at, v3 normal, vertex *out)
{
    uint32_t seed = *(const uint32_t *)context;
    double streak = 0.75 + 0.3 * noise(at.x * 1.5, at.y * 14, at.z * 14, 0, seed);
    double light = 0.34 * streak * mix(0.25, 1, smooth(0, 0.3, at.y));

    if (normal.y < -0.5)
        light *= 0.3;
    out->color[0] = light;
    out->color[1] = light * 0.80;
    out->color[2] = light * 0.62;
    out->u = clamp01(0.5 + at.x / 8 + 0.02 * at.y);
    out->v = clamp01(0.5 + at.z / 8 + at.y / 8);
}

/* Shade that the pedestals throw on the table, painted on. */
static double table_shade(double x, double z)
{
    double light = 1;

    for (int i = 0; i < WHEELS; i++) {
        double dx = x - wheels[i].x, dz = z - wheels[i].z, d = sqrt(dx * dx + dz * dz);

        light *= mix(0.12, 1, smooth(0.10, 0.34, d));
    }
    return light;
}

static void table_surface(const void *context, double u, double v, vertex *out)
{
    const double *t = context;
    double x = mix(t[0], t[1], u), z = mix(t[3], t[2], v);
    double plank = (z - t[2]) / (t[3] - t[2]) * 5, seam = fabs(plank - rint(plank));
    double light = 0.40 * table_shade(x, z) * mix(0.25, 1, smooth(0, 0.07, seam));

    light *= 0.8 + 0.35 * noise(x * 2, z * 24, floor(plank) * 7, 0, 90);
    light *= 1 + 0.9 * smooth(0.25, 0.5, cloud(x * 5, z * 5, 1, 3, 0, 91)); /* dried slip */
    out->position = (v3){x, TABLE_TOP + 0.001 * noise(x * 6, z * 6, 0, 0, 92), z};
    out->color[0] = light;
    out->color[1] = light * 0.82;
    out->color[2] = light * 0.66;
    out->u = 0.5 + x / 8;
    out->v = 0.5 + z / 8;
}

static void floor_surface(const void *context, double u, double v, vertex *out)
{
    double x = mix(-4, 4, u), z = mix(5.6, -0.3, v), light = 0.55;

    (void)context;
    light *= mix(0.2, 1, smooth(0.0, 0.5, z)) *
             mix(0.5, 1, smooth(-0.1, 0.5, cloud(x * 2, z * 2, 0, 3, 0, 80) + 0.3));
    for (int i = 0; i < 2; i++) { /* under the tables */
        double dx = fmax(tables[i][0] - x, x - tables[i][1]);
        double dz = fmax(tables[i][2] - z, z - tables[i][3]);

        light *= mix(0.1, 1, smooth(-0.15, 0.35, fmax(dx, dz)));
    }
    light *= 1 + 0.8 * bell(x / 0.7) * bell((z - 0.3) / 0.7); /* swept ash before the mouth */
    out->position = (v3){x, 0.006 * cloud(x * 3, z * 3, 0, 2, 0, 81), z};
    out->color[0] = light;
    out->color[1] = light * 0.88;
    out->color[2] = light * 0.76;
    out->u = u;
    out->v = v;
}

static void make_tables(glb *g, const materials *m)
{
    for (int i = 0; i < 2; i++) {
        const double *t = tables[i];
        soup s = {0};
        uint32_t seed = 95 + (uint32_t)i;
        block wood = {
            .wear = 0.006, .without = SIDE_UP, .seed = seed, .paint = paint_wood, .context = &seed};
        char name[32];

        soup_surface(&s, 36, 20, table_surface, t);
        soup_box(&s, (v3){t[0], TABLE_TOP - 0.07, t[2]}, (v3){t[1], TABLE_TOP + 0.003, t[3]},
                 &wood);
        for (int leg = 0; leg < 4; leg++) {
            double x = leg % 2 ? t[1] - 0.1 : t[0] + 0.1, z = leg / 2 ? t[3] - 0.1 : t[2] + 0.1;

            soup_box(&s, (v3){x - 0.04, 0, z - 0.04}, (v3){x + 0.04, TABLE_TOP - 0.07, z + 0.04},
                     &wood);
        }
        snprintf(name, sizeof name, "table_%02d", i + 1);
        glb_node(g, -1, name, NULL, "mesh", glb_mesh(g, name, &s, m->wood));
    }
}

static const section wheel_section = {14,
                                      {{0, -0.135},
                                       {0.10, -0.135},
                                       {0.10, -0.13},
                                       {0.07, -0.09},
                                       {0.05, -0.04},
                                       {0.06, -0.028},
                                       {0.16, -0.027},
                                       {0.19, -0.024},
                                       {0.196, -0.014},
                                       {0.19, -0.004},
                                       {0.17, -0.001},
                                       {0.12, 0},
                                       {0.08, 0},
                                       {0, 0}}};

/* Wet slip lies on the wheel in arcs, so that its turning shows; dark where the pot stands. */
static void wheel_surface(const void *context, double u, double v, vertex *out)
{
    double r, y, angle = 2 * LB_PI * u;

    (void)context;
    section_at(&wheel_section, v, &r, &y);
    out->position = (v3){r * lb_cos(angle), y, -r * lb_sin(angle)};
    double x = out->position.x, z = out->position.z;
    double slip =
        smooth(0.0, 0.25, cloud(r * 16, 1.5 * lb_cos(angle) + 4, 1.5 * lb_sin(angle), 3, 0, 85));
    double top = smooth(-0.008, -0.002, y), light = mix(0.16, 0.22 + 0.5 * slip, top);

    light *=
        top > 0.5 ? mix(0.12, 1, smooth(0.055, 0.135, r)) : mix(0.3, 1, smooth(-0.13, -0.02, y));
    out->color[0] = light;
    out->color[1] = light * mix(0.95, 0.82, slip);
    out->color[2] = light * mix(0.9, 0.66, slip);
    out->u = clamp01(0.5 + x);
    out->v = clamp01(0.5 + z);
}

static void turn_wheel(glb *g, int node, const turning *t)
{
    enum { MAX_KEYS = 64 };
    double duration = 9.0, turns = fabs(t->turns_per_s) * duration;
    int keys = (int)ceil(turns * 4) + 1;
    float times[MAX_KEYS], values[MAX_KEYS * 4];

    for (int i = 0; i < keys; i++) {
        double time = i * duration / (keys - 1);
        quat q = quat_axis((v3){0, 1, 0}, 2 * LB_PI * (t->start + time * t->turns_per_s));

        times[i] = (float)time;
        values[4 * i] = (float)q.x;
        values[4 * i + 1] = (float)q.y;
        values[4 * i + 2] = (float)q.z;
        values[4 * i + 3] = (float)q.w;
    }
    glb_curve(g, node, "rotation", "LINEAR", keys, 4, times, values);
}

static void make_wheels(glb *g, const materials *m)
{
    static const struct {
        int kind;
        double size, tint[3];
    } pots[WHEELS] = {{0, 1.12, {1.0, 0.94, 0.88}},
                      {3, 0.92, {1.0, 0.90, 0.80}},
                      {2, 1.05, {0.92, 0.88, 0.86}},
                      {1, 0.95, {1.0, 0.84, 0.70}}};
    soup s = {0};
    char name[32];

    soup_surface(&s, 44, 26, wheel_surface, NULL);
    int wheel_mesh = glb_mesh(g, "wheel", &s, m->wheel);
    for (int i = 0; i < WHEELS; i++) {
        placing at = {.translation = {wheels[i].x, WHEEL_TOP, wheels[i].z}};

        snprintf(name, sizeof name, "wheel_%02d", i + 1);
        int wheel = glb_node(g, -1, name, &at, "mesh", wheel_mesh);
        turn_wheel(g, wheel, &wheels[i]);
        snprintf(name, sizeof name, "pot_%02d", i + 1);
        soup_pot(&s, pots[i].kind, (v3){0, 0, 0}, pots[i].size, i == 0 ? 84 : 60, 46, paint_pot,
                 pots[i].tint);
        glb_node(g, wheel, name, NULL, "mesh", glb_mesh(g, name, &s, m->pot));
    }
}

static void paint_lump(const void *context, v3 at, v3 normal, vertex *out)
{
    (void)context;
    double light = 0.8 * mix(0.25, 1, smooth(TABLE_TOP, TABLE_TOP + 0.05, at.y));

    for (int i = 0; i < 3; i++)
        out->color[i] = light;
    out->u = clamp01(0.5 + at.x + 0.1 * normal.z);
    out->v = clamp01(0.1 + 0.08 * at.y);
}

/* What lies about: wedged clay, bowls that wait. */
static void make_clutter(glb *g, const materials *m)
{
    static const double tint[3] = {0.8, 0.74, 0.68};
    soup s = {0};

    soup_lump(&s, (v3){-0.86, TABLE_TOP + 0.04, 1.70}, (v3){0.085, 0.055, 0.07}, 0.3, 2, 401,
              paint_lump, NULL);
    soup_lump(&s, (v3){-1.02, TABLE_TOP + 0.04, 2.18}, (v3){0.07, 0.05, 0.075}, 0.3, 2, 402,
              paint_lump, NULL);
    soup_lump(&s, (v3){1.02, TABLE_TOP + 0.045, 2.12}, (v3){0.08, 0.06, 0.08}, 0.3, 2, 403,
              paint_lump, NULL);
    soup_pot(&s, 1, (v3){0.46, TABLE_TOP, 1.62}, 0.5, 22, 18, paint_pot, tint);
    soup_pot(&s, 1, (v3){0.46, TABLE_TOP + 0.035, 1.62}, 0.5, 22, 18, paint_pot, tint);
    soup_pot(&s, 1, (v3){-1.78, TABLE_TOP, 2.14}, 0.6, 22, 18, paint_pot, tint);
    glb_node(g, -1, "clutter", NULL, "mesh", glb_mesh(g, "clutter", &s, m->pot));
}

/* Two racks beside the kiln, with pots that are only just there. */
static void make_shelves(glb *g, const materials *m)
{
    static const double tint[3] = {0.9, 0.84, 0.78};
    int kinds[POT_KINDS], count = 0;
    uint32_t seed = 97;
    block wood = {.wear = 0.004, .seed = 97, .paint = paint_wood, .context = &seed};
    soup s = {0};
    char name[32];

    for (int k = 0; k < POT_KINDS; k++) {
        snprintf(name, sizeof name, "shelf_pot_%c", 'a' + k);
        soup_pot(&s, k, (v3){0, 0, 0}, 0.85, 22, 17, paint_pot, tint);
        kinds[k] = glb_mesh(g, name, &s, m->pot);
    }
    for (int shelf = 0; shelf < 4; shelf++) {
        double y = 0.35 + 0.47 * shelf;

        soup_box(&s, (v3){-0.75, y - 0.03, -0.17}, (v3){0.75, y, 0.17}, &wood);
    }
    for (int post = 0; post < 4; post++) {
        double x = post % 2 ? 0.72 : -0.72, z = post / 2 ? 0.14 : -0.14;

        soup_box(&s, (v3){x - 0.03, 0, z - 0.03}, (v3){x + 0.03, 2.1, z + 0.03}, &wood);
    }
    int rack_mesh = glb_mesh(g, "rack", &s, m->wood);
    for (int side = 0; side < 2; side++) {
        double sign = side ? 1 : -1;
        placing at = {.translation = {sign * 2.05, 0, 0.42},
                      .rotation = quat_axis((v3){0, 1, 0}, -sign * 0.72)};

        snprintf(name, sizeof name, "rack_%02d", side + 1);
        int rack = glb_node(g, -1, name, &at, "mesh", rack_mesh);
        for (int i = 0; i < 16; i++) {
            uint32_t n = (uint32_t)(side * 16 + i);
            placing spot = {
                .translation = {-0.52 + 0.345 * (i % 4) + chance_between(-0.04, 0.04, n, 1, 500),
                                0.35 + 0.47 * (i / 4), chance_between(-0.03, 0.04, n, 2, 500)},
                .rotation = quat_axis((v3){0, 1, 0}, 6.28 * chance(n, 3, 500)),
                .scale = chance_between(0.8, 1.1, n, 4, 500)};

            if (chance(n, 5, 500) < 0.12)
                continue;
            snprintf(name, sizeof name, "shelf_pot_%02d", ++count);
            glb_node(g, rack, name, &spot, "mesh", kinds[(int)(chance(n, 6, 500) * 4)]);
        }
    }
}

void make_room(glb *g, const materials *m)
{
    soup s = {0};

    soup_surface(&s, 48, 34, floor_surface, NULL);
    glb_node(g, -1, "ground", NULL, "mesh", glb_mesh(g, "ground", &s, m->ground));
    make_tables(g, m);
    make_shelves(g, m);
}

void make_pots(glb *g, const materials *m)
{
    make_wheels(g, m);
    make_clutter(g, m);
}
