/* examples/kiln-hours/generator/place.h: the pottery: where things are, and who makes them.
 *
 * Metres. The kiln's front is the plane z = 0, its mouth is in the middle of it, the floor y = 0.
 */
#ifndef KILN_PLACE_H
#define KILN_PLACE_H

#include "glb.h"

#define COURSE 0.085 /* height of a brick with its joint */
#define BRICK 0.244  /* length with the joint */
#define JOINT 0.009
#define MOUTH_HALF 0.42
#define SILL (4 * COURSE)
#define SPRING (10 * COURSE) /* where the arch begins */
#define RING 0.21            /* thickness of the arch */
#define WALL_HALF 1.55
#define COURSES 27
#define CHAMBER_HALF 0.62
#define CHAMBER_BACK (-1.2)

#define PLAQUE_WIDTH 0.46
#define PLAQUE_HEIGHT 0.1278
#define PLAQUE_DEPTH 0.024
#define CORD 0.8 /* from the nail to the plaque's middle */

/* Tables left and right of the way that the camera takes: x0, x1, z0, z1 of the tops. */
#define TABLE_TOP 0.60
extern const double tables[2][4];

/* What a wheel carries and where it stands. */
typedef struct turning {
    double x, z;
    double turns_per_s;
    double start; /* turns */
} turning;
#define WHEELS 4
extern const turning wheels[WHEELS];
#define WHEEL_TOP (TABLE_TOP + 0.14)

typedef struct materials {
    int brick, mortar, hot, coal, ground, wood, wheel, pot, plaque, cord, ember;
} materials;

/* How hot a place in the chamber is, 0 to 1: the row of the heat picture. */
double chamber_heat(v3 at);

void make_kiln(glb *g, const materials *m);
void make_chamber(glb *g, const materials *m);
void make_room(glb *g, const materials *m);
void make_pots(glb *g, const materials *m);
void make_plaque(glb *g, const materials *m);
void make_embers(glb *g, const materials *m);
void make_camera_and_lights(glb *g);

/* Pots, for the shelves and the chamber too. kind: 0 bottle, 1 bowl, 2 jug, 3 jar. */
#define POT_KINDS 4
typedef void (*pot_paint_fn)(const void *context, double u, double v, vertex *at);
void soup_pot(soup *s, int kind, v3 foot, double scale, int around, int along, pot_paint_fn paint,
              const void *context);

#endif
