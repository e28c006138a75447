/* examples/kiln-hours/generator/motion.h: where the camera, the lights and the plaque are, when. */
#ifndef KILN_MOTION_H
#define KILN_MOTION_H

#include "place.h"

#define TAKE_S 9.0 /* 270 frames at 30 a second */

typedef struct pose {
    v3 at;
    quat turn;
} pose;

/* At second `t` of the take. */
pose camera_pose(double t);
pose key_spot_pose(double t);
pose plaque_pose(double t); /* of the nail that it hangs from */

/* Writes `fn` from t0 to t1 as `keys` cubic spline keys; what: bit 1 translation, bit 2 rotation.
 */
typedef pose (*pose_fn)(double t);
void animate(glb *g, int node, pose_fn fn, double t0, double t1, int keys, int what);

#endif
