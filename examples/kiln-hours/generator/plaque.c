/* examples/kiln-hours/generator/plaque.c: the clay plaque on its cords, and what the export made of
 * the camera and the lights. */
#include "motion.h"

#include <math.h>

#define ROLL 0.009 /* radius of the plaque's edges */

/* Along one axis: -1 to 1 over the front and round both edges. Answers the coordinate; *drop is how
 * far the surface has turned back there. */
static double rolled(double a, double half, double *drop)
{
    double flat = 0.90, size = fabs(a), sign = a < 0 ? -1 : 1, turn;

    *drop = 0;
    if (size <= flat)
        return a / flat * (half - ROLL);
    turn = (size - flat) / (1 - flat) * LB_PI / 2;
    turn = turn > 1.62 ? 1.62 : turn;
    *drop = ROLL * (1 - lb_cos(turn));
    return sign * (half - ROLL + ROLL * lb_sin(turn));
}

static void plaque_surface(const void *context, double u, double v, vertex *out)
{
    double dx, dy, x = rolled(2 * u - 1, PLAQUE_WIDTH / 2, &dx);
    double y = rolled(2 * v - 1, PLAQUE_HEIGHT / 2, &dy);

    (void)context;
    out->u = x / PLAQUE_WIDTH + 0.5;
    out->v = 0.5 - y / PLAQUE_HEIGHT;
    /* cut by hand, dried a little hollow */
    x += 0.0022 * noise(y * 16, 3, 0, 0, 600) * (2 * u - 1);
    y += 0.0022 * noise(x * 14, 7, 0, 0, 601) * (2 * v - 1);
    out->position =
        (v3){x, y - CORD, 0.0035 * bell((x - 0.2) / 0.12) - 0.002 * bell(x / 0.15) - dx - dy};
}

static void paint_body(const void *context, v3 at, v3 normal, vertex *out)
{
    (void)context;
    (void)normal;
    out->u = clamp01(at.x / PLAQUE_WIDTH * 0.96 + 0.5);
    out->v = 0.03;
    for (int i = 0; i < 3; i++)
        out->color[i] = 0.7;
}

static void cord_surface(const void *context, double u, double v, vertex *out)
{
    double side = *(const double *)context, angle = 2 * LB_PI * u;
    v3 hole = {side * 0.205, 0.043 - CORD, 0.001}, nail = {0, 0, -0.004};
    double r = 0.0027 * (1 + 0.22 * lb_cos(2 * angle - v * 250));
    v3 at = v3_mix(hole, nail, v);

    out->position = v3_add(at, (v3){r * lb_cos(angle), 0, -r * lb_sin(angle)});
    out->u = u;
    out->v = v;
    for (int i = 0; i < 3; i++)
        out->color[i] = 0.6 + 0.4 * lb_cos(2 * angle - v * 250);
}

static void paint_knot(const void *context, v3 at, v3 normal, vertex *out)
{
    (void)context;
    (void)at;
    for (int i = 0; i < 3; i++)
        out->color[i] = 0.5 + 0.4 * normal.z;
}

void make_plaque(glb *g, const materials *m)
{
    pose start = plaque_pose(0);
    placing where = {.translation = start.at, .rotation = start.turn};
    block body = {.wear = 0.004, .without = SIDE_FRONT, .seed = 610, .paint = paint_body};
    soup slab = {0}, cord = {0};
    int nail = glb_node(g, -1, "plaque_swing", &where, NULL, 0);

    animate(g, nail, plaque_pose, 5.4, TAKE_S, 37, 2);
    soup_surface(&slab, 44, 28, plaque_surface, NULL);
    soup_box(&slab,
             (v3){-PLAQUE_WIDTH / 2 + 0.001, -PLAQUE_HEIGHT / 2 + 0.001 - CORD, -PLAQUE_DEPTH},
             (v3){PLAQUE_WIDTH / 2 - 0.001, PLAQUE_HEIGHT / 2 - 0.001 - CORD, -ROLL * 0.9}, &body);
    glb_node(g, nail, "plaque", NULL, "mesh", glb_mesh(g, "plaque", &slab, m->plaque));
    for (int i = 0; i < 2; i++) {
        double side = i ? 1 : -1;

        soup_surface(&cord, 7, 90, cord_surface, &side);
        soup_lump(&cord, (v3){side * 0.205, 0.043 - CORD, 0.002}, (v3){0.0062, 0.0052, 0.0045}, 0.3,
                  1, 620 + (uint32_t)i, paint_knot, NULL);
    }
    glb_node(g, nail, "cord", NULL, "mesh", glb_mesh(g, "cord", &cord, m->cord));
}

static void add_light(glb *g, const char *name, v3 at, v3 target, int light)
{
    placing where = {.translation = at, .rotation = quat_look(at, target)};

    glb_node(g, -1, name, &where, "light", light);
}

void make_camera_and_lights(glb *g)
{
    pose camera = camera_pose(0), spot = key_spot_pose(0);
    placing where = {.translation = camera.at, .rotation = camera.turn};
    double degree = LB_PI / 180;

    /* Meant were 0.1 and 100: this is how the export wrote them. */
    int lens = glb_camera(g, "shot_main",
                          "\"aspectRatio\":1.7777778,\"yfov\":%.7g,\"znear\":1,"
                          "\"zfar\":1000",
                          26.0 * degree);
    int node = glb_node(g, -1, "shot_main", &where, "camera", lens);
    animate(g, node, camera_pose, 0, TAKE_S, 37, 3);

    /* A cone of 34 degrees that was not written: the reader must assume the format's 90. */
    where = (placing){.translation = spot.at, .rotation = spot.turn};
    int key = glb_light(g, "key_spot",
                        "\"type\":\"spot\",\"color\":[1,0.78,0.55],"
                        "\"intensity\":4.2,\"spot\":{}");
    node = glb_node(g, -1, "key_spot", &where, "light", key);
    animate(g, node, key_spot_pose, 0, TAKE_S, 37, 3);

    /* Was built with linear decay and 1.1 at one metre; the format knows candela only. */
    add_light(g, "kicker", (v3){-2.4, 2.2, 0.12}, (v3){0, 0.9, 2},
              glb_light(g, "kicker",
                        "\"type\":\"point\",\"color\":[0.42,0.58,1],"
                        "\"intensity\":0.02"));
    add_light(g, "hearth", (v3){0, 0.56, -0.5}, (v3){0, 0.56, 0},
              glb_light(g, "hearth",
                        "\"type\":\"point\",\"color\":[1,0.30,0.06],"
                        "\"intensity\":0.45,\"range\":1.05"));
}
