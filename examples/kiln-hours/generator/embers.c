/* examples/kiln-hours/generator/embers.c: sparks that the draught carries out of the mouth. */
#include "motion.h"

#include <stdio.h>

#define EMBERS 56
#define FLIGHTS 3
#define STEPS 9 /* keys a flight */

/* The draught: out of the mouth and up, in eddies. Metres a second. */
static v3 draught(v3 at, double t, uint32_t ember)
{
    double near = 1 - smooth(0.2, 2.2, at.z);
    double out = chance_between(0.35, 1.0, ember, 1, 700),
           up = chance_between(0.22, 0.62, ember, 2, 700);
    double eddy = chance_between(0.25, 0.75, ember, 3, 700);
    v3 p = v3_scale(at, 2.2);

    return (v3){eddy * noise(p.x, p.y, p.z + t * 0.4, 0, 701) + 0.10 * at.x,
                up * mix(1, 0.55, near) + eddy * 0.5 * noise(p.x, p.y, p.z + t * 0.4, 0, 702),
                out * mix(0.55, 1.1, near) + eddy * 0.6 * noise(p.x, p.y, p.z + t * 0.4, 0, 703)};
}

static void put3(float *to, v3 v)
{
    to[0] = (float)v.x;
    to[1] = (float)v.y;
    to[2] = (float)v.z;
}

static v3 birth(uint32_t seed)
{
    return (v3){chance_between(-0.33, 0.33, seed, 10, 700),
                chance_between(SILL + 0.06, 0.85, seed, 11, 700),
                chance_between(-0.5, -0.05, seed, 12, 700)};
}

/* One life, from `birth_s` on or from the take's start: it begins and ends with no size, so that
 * the jump to the next one is not seen. */
static double fly(float *times, float *path, float *size, float *spin, double birth_s,
                  uint32_t seed)
{
    v3 at = birth(seed),
       axis = v3_normal((v3){chance(seed, 20, 700) - 0.5, chance(seed, 21, 700) - 0.5,
                             chance(seed, 22, 700) - 0.4});
    double rate = chance_between(2, 7, seed, 23, 700),
           life = chance_between(2.3, 3.4, seed, 24, 700);
    double start = birth_s < 0 ? 0 : birth_s, step = (birth_s + life - start) / (STEPS - 1);

    for (int k = 0; k < 32 && birth_s < 0; k++)
        at = v3_add(at, v3_scale(draught(at, birth_s * (1 - k / 32.0), seed), -birth_s / 32));
    for (int i = 0; i < STEPS; i++) {
        double t = start + step * i, age = (t - birth_s) / life;
        v3 velocity = draught(at, t, seed);
        double s = smooth(0, 0.12, age) * (1 - smooth(0.7, 1, age)) *
                   chance_between(0.65, 1.25, seed, 30 + (uint32_t)i, 700);
        quat q = quat_axis(axis, rate * (t - start));

        times[i] = (float)t;
        put3(path + 9 * i, velocity);
        put3(path + 9 * i + 3, at);
        put3(path + 9 * i + 6, velocity);
        put3(size + 3 * i, (v3){s, s, s});
        spin[4 * i] = (float)q.x;
        spin[4 * i + 1] = (float)q.y;
        spin[4 * i + 2] = (float)q.z;
        spin[4 * i + 3] = (float)q.w;
        for (int k = 0; k < 8; k++)
            at = v3_add(at, v3_scale(draught(at, t + step * k / 8, seed), step / 8));
    }
    return birth_s + life;
}

static void animate_ember(glb *g, int node, uint32_t ember)
{
    enum { KEYS = FLIGHTS * STEPS };
    float times[KEYS], path[KEYS * 9], size[KEYS * 3], spin[KEYS * 4];
    double t = 0.9 - 2.9 * chance(ember, 40, 700); /* most are on their way already */

    for (int f = 0; f < FLIGHTS; f++) {
        int k = f * STEPS;

        t = fly(times + k, path + 9 * k, size + 3 * k, spin + 4 * k, t,
                ember * FLIGHTS + (uint32_t)f);
        t += chance_between(0.05, 0.6, ember, 45 + (uint32_t)f, 700);
    }
    glb_curve(g, node, "translation", "CUBICSPLINE", KEYS, 3, times, path);
    glb_curve(g, node, "scale", "LINEAR", KEYS, 3, times, size);
    glb_curve(g, node, "rotation", "LINEAR", KEYS, 4, times, spin);
}

static int ember_mesh(glb *g, const materials *m, const char *name, v3 radius)
{
    static const v3 tips[6] = {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}, {-1, 0, 0}, {0, -1, 0}, {0, 0, -1}};
    static const int faces[8][3] = {{0, 1, 2}, {1, 3, 2}, {3, 4, 2}, {4, 0, 2},
                                    {1, 0, 5}, {3, 1, 5}, {4, 3, 5}, {0, 4, 5}};
    soup s = {0};

    for (int i = 0; i < 6; i++) {
        vertex v = {.normal = tips[i], .color = {1, 1, 1}};

        v.position = (v3){tips[i].x * radius.x, tips[i].y * radius.y, tips[i].z * radius.z};
        soup_vertex(&s, &v);
    }
    for (int i = 0; i < 8; i++)
        soup_triangle(&s, (uint32_t)faces[i][0], (uint32_t)faces[i][1], (uint32_t)faces[i][2]);
    return glb_mesh(g, name, &s, m->ember);
}

void make_embers(glb *g, const materials *m)
{
    int flake = ember_mesh(g, m, "ember_flake", (v3){0.0042, 0.0012, 0.0030});
    int grain = ember_mesh(g, m, "ember_grain", (v3){0.0022, 0.0026, 0.0020});

    for (uint32_t i = 0; i < EMBERS; i++) {
        placing where = {.translation = birth(i * FLIGHTS)};
        char name[32];

        snprintf(name, sizeof name, "ember_%03u", i + 1);
        animate_ember(g, glb_node(g, -1, name, &where, "mesh", i % 3 ? grain : flake), i);
    }
}
