/* examples/kiln-hours/generator/chamber.c: the inside of the kiln, red to yellow hot.
 *
 * Its material takes the emission from a picture whose rows are temperatures; the texture
 * coordinate v of each vertex says how hot it is there. */
#include "place.h"

#include <math.h>

double chamber_heat(v3 at)
{
    double heat = 0.17;

    heat += 0.58 * bell((at.y - 0.46) / 0.36) * bell((at.x - 0.03) / 0.46);
    heat +=
        0.36 * bell((at.y - 0.98) / 0.30) * bell((at.x - 0.06) / 0.36); /* where the fire goes up */
    heat -= 0.26 * smooth(-0.85, -0.3, at.z);
    heat += 0.10 * cloud(at.x * 4, at.y * 4, at.z * 4, 3, 0, 300);
    return clamp01(heat);
}

static void lay_heat(v3 at, double heat, vertex *out)
{
    out->u = 0.5 + 0.35 * noise(at.x * 2, at.y * 2, at.z * 2, 0, 301);
    out->v = 0.01 + 0.98 * clamp01(heat);
    for (int i = 0; i < 3; i++)
        out->color[i] = 0.8;
}

static void paint_hot_brick(const void *context, v3 at, v3 normal, vertex *out)
{
    uint32_t seed = *(const uint32_t *)context;

    (void)normal;
    lay_heat(at, chamber_heat(at) + chance_between(-0.05, 0.05, seed, 1, 0), out);
}

/* Bricks over a patch: from `origin`, along `right` and `up`, facing right x up. */
static void hot_patch(soup *s, v3 origin, v3 right, v3 up, int across, int rows, uint32_t patch)
{
    v3 face = v3_normal(v3_cross(right, up));

    for (int j = 0; j < rows; j++) {
        for (int i = 0; i <= across; i++) {
            double shift = j % 2 ? 0.5 : 0, a0 = i - shift, a1 = i + 1 - shift;
            uint32_t seed = patch + (uint32_t)(j * 32 + i);
            block b = {.wear = 0.006,
                       .without = SIDE_BACK,
                       .seed = seed,
                       .paint = paint_hot_brick,
                       .context = &seed};

            a0 = (a0 < 0 ? 0 : a0) + 0.02;
            a1 = (a1 > across ? across : a1) - 0.02;
            if (a1 - a0 < 0.1)
                continue;
            for (uint32_t k = 0; k < 8; k++) {
                v3 at = v3_add(origin, v3_scale(right, (k & 1 ? a1 : a0) / across));

                at = v3_add(at, v3_scale(up, (j + (k & 2 ? 0.95 : 0.05)) / rows));
                at = v3_add(
                    at, v3_scale(face, k & 4 ? chance_between(-0.004, 0.004, seed, 9, k) : -0.03));
                b.corners[k] = at;
            }
            soup_block(s, &b);
        }
    }
}

/* What shows in the joints, behind the bricks: a little hotter than their faces. */
static void paint_lining(const void *context, double u, double v, vertex *out)
{
    double half = CHAMBER_HALF + 0.03, angle = LB_PI * (1 - u);

    (void)context;
    out->position =
        (v3){half * lb_cos(angle), 0.95 + half * lb_sin(angle), mix(CHAMBER_BACK - 0.03, -0.37, v)};
    if (u < 0.2 || u > 0.8) {
        double side = u < 0.2 ? -1 : 1, t = u < 0.2 ? u / 0.2 : (1 - u) / 0.2;

        out->position.x = side * half;
        out->position.y = mix(0.2, 0.95, t);
    } else {
        angle = LB_PI * (1 - (u - 0.2) / 0.6);
        out->position.x = half * lb_cos(angle);
        out->position.y = 0.95 + half * lb_sin(angle);
    }
    lay_heat(out->position, chamber_heat(out->position) * 0.72, out);
}

static void paint_back_lining(const void *context, double u, double v, vertex *out)
{
    (void)context;
    out->position = (v3){mix(-0.7, 0.7, u), mix(0.2, 1.65, v), CHAMBER_BACK - 0.018};
    lay_heat(out->position, chamber_heat(out->position) * 0.7, out);
}

static void make_vault(soup *s)
{
    enum { AROUND = 13 };

    for (int i = 0; i < AROUND; i++) {
        double a0 = LB_PI * (1 - (double)i / AROUND), a1 = LB_PI * (1 - (i + 1.0) / AROUND);
        v3 p = {CHAMBER_HALF * lb_cos(a0), 0.95 + CHAMBER_HALF * lb_sin(a0), -0.37};
        v3 q = {CHAMBER_HALF * lb_cos(a1), 0.95 + CHAMBER_HALF * lb_sin(a1), -0.37};
        v3 deep = {0, 0, CHAMBER_BACK + 0.37};

        hot_patch(s, p, deep, v3_sub(q, p), 4, 1, 7000 + (uint32_t)i * 40); /* faces down */
    }
}

static void paint_hot_pot(const void *context, double u, double v, vertex *out)
{
    const v3 *foot = context;
    v3 n = v3_sub(out->position, *foot);
    double facing = v3_normal((v3){n.x, 0, n.z}).z; /* the side to the mouth is cooler */
    double heat = 0.60 * chamber_heat(out->position) - 0.10 * facing - 0.04;

    (void)u;
    (void)v;
    heat += 0.16 * bell((out->position.y - foot->y) / 0.08); /* light from the shelf */
    lay_heat(out->position, heat, out);
}

static void paint_hot_slab(const void *context, v3 at, v3 normal, vertex *out)
{
    (void)context;
    lay_heat(at, 0.5 * chamber_heat(at) - 0.06 + (normal.y > 0.5 ? 0.14 : 0), out);
}

static void make_setting(soup *s)
{
    static const struct {
        int kind;
        double x, y, z, size;
    } pots[] = {
        {0, -0.27, 0.43, -0.90, 0.90}, {3, -0.02, 0.43, -0.95, 0.86}, {2, 0.27, 0.43, -0.88, 0.95},
        {1, -0.26, 0.84, -0.92, 0.80}, {0, 0.02, 0.84, -0.90, 0.80},  {3, 0.28, 0.84, -0.95, 0.68},
        {1, -0.26, 0.95, -0.92, 0.66},
    };
    block slab = {.wear = 0.006, .seed = 60, .paint = paint_hot_slab};

    for (size_t i = 0; i < sizeof pots / sizeof pots[0]; i++) {
        v3 foot = {pots[i].x, pots[i].y, pots[i].z};

        soup_pot(s, pots[i].kind, foot, pots[i].size, 24, 18, paint_hot_pot, &foot);
    }
    for (int i = 0; i < 2; i++) {
        double y = i ? 0.84 : 0.43;

        soup_box(s, (v3){-0.48, y - 0.028, -1.1}, (v3){0.48, y, -0.74}, &slab);
    }
    for (int i = 0; i < 4; i++) {
        double x = i % 2 ? 0.45 : -0.45, z = i / 2 ? -1.06 : -0.78;

        soup_box(s, (v3){x - 0.025, 0.43, z - 0.025}, (v3){x + 0.025, 0.815, z + 0.025}, &slab);
    }
}

/* Ash over a glowing bed: dark on top, bright in the gaps below. */
static void paint_coal(const void *context, v3 at, v3 normal, vertex *out)
{
    uint32_t seed = *(const uint32_t *)context;
    double crust =
        smooth(-0.45, 0.75, normal.y + 0.55 * noise(at.x * 34, at.y * 34, at.z * 34, 0, 310));
    double heat = mix(0.92, 0.10, crust);

    heat += chance_between(-0.16, 0.22, seed, 3, 0);
    heat -= 0.55 * smooth(-0.16, 0.0, at.z); /* the ones at the mouth have gone out */
    lay_heat(at, heat, out);
}

static void make_coals(soup *s)
{
    for (uint32_t i = 0; i < 74; i++) {
        double x = chance_between(-0.40, 0.40, i, 1, 320),
               z = chance_between(-0.66, -0.03, i, 2, 320);
        double pile = 0.085 * (1 - x * x / 0.2) * smooth(-0.02, -0.3, z);
        double size = chance_between(0.022, 0.05, i, 3, 320) * mix(0.7, 1, smooth(0, -0.2, z));
        v3 at = {x, SILL - 0.01 + size * 0.5 + pile * chance(i, 4, 320), z};
        v3 radius = {size * chance_between(0.8, 1.3, i, 5, 320),
                     size * chance_between(0.55, 0.95, i, 6, 320),
                     size * chance_between(0.8, 1.3, i, 7, 320)};

        soup_lump(s, at, radius, 0.35, z > -0.34 ? 2 : 1, i, paint_coal, &i);
    }
}

static void paint_bed(const void *context, double u, double v, vertex *out)
{
    (void)context;
    out->position = (v3){mix(-0.62, 0.62, u), SILL - 0.004, mix(-0.04, -1.2, v)};
    lay_heat(out->position,
             0.62 * smooth(0.02, 0.35, v) + 0.2 * cloud(u * 20, v * 20, 0, 2, 0, 330), out);
}

void make_chamber(glb *g, const materials *m)
{
    soup bricks = {0}, coals = {0}, pots = {0};

    hot_patch(&bricks, (v3){-0.66, 0.2, CHAMBER_BACK}, (v3){1.32, 0, 0}, (v3){0, 1.4, 0}, 6, 13,
              6000);
    hot_patch(&bricks, (v3){-CHAMBER_HALF, 0.2, -0.37}, (v3){0, 0, CHAMBER_BACK + 0.37},
              (v3){0, 0.75, 0}, 4, 7, 6500);
    hot_patch(&bricks, (v3){CHAMBER_HALF, 0.2, CHAMBER_BACK}, (v3){0, 0, -CHAMBER_BACK - 0.37},
              (v3){0, 0.75, 0}, 4, 7, 6800);
    make_vault(&bricks);
    soup_surface(&bricks, 40, 8, paint_lining, NULL);
    soup_surface(&bricks, 8, 10, paint_back_lining, NULL);
    glb_node(g, -1, "chamber", NULL, "mesh", glb_mesh(g, "chamber", &bricks, m->hot));
    make_setting(&pots);
    glb_node(g, -1, "setting", NULL, "mesh", glb_mesh(g, "setting", &pots, m->hot));
    soup_surface(&coals, 16, 16, paint_bed, NULL);
    make_coals(&coals);
    glb_node(g, -1, "coals", NULL, "mesh", glb_mesh(g, "coals", &coals, m->coal));
}
