/* engine/image/gaussian_axis.h: how a Gaussian is made along one axis.
 *
 * A small sigma is convolved directly. A larger one goes down a pyramid: the row is smoothed with a
 * binomial and every second sample kept, again and again, the short rest of the kernel is
 * convolved there, and binomials interpolate the way back. The core's weights are what is left of
 * the Gaussian's spectrum after both binomials of every level, so that the passband is exact;
 * what a level aliases is kept below 2e-5 of the peak by the order of its binomial: with n factors
 * cos(pi f) the alias of frequency f is weaker by (pi f)^n, and a Gaussian has hardly anything
 * above 1 / (2 sigma). All weights are positive. */
#ifndef LB_IMAGE_GAUSSIAN_AXIS_H
#define LB_IMAGE_GAUSSIAN_AXIS_H

#include "engine/base/status.h"

#define LB_GAUSSIAN_LEVELS 16

typedef struct lb_gaussian_axis {
    int32_t levels;                     /* halvings; 0: direct */
    int32_t orders[LB_GAUSSIAN_LEVELS]; /* of each level's binomial: odd, 3 to 9 */
    int32_t radius;                     /* of the core, in samples of the last level */
    float *weights; /* radius + 1 of the core, for lb_pairs_sum: the middle one halved */
} lb_gaussian_axis;

/* The way for `sigma` pixels, without weights. */
lb_gaussian_axis lb_gaussian_axis_plan(double sigma);
/* Gives it weights; LB_MEMORY. Free with lb_gaussian_axis_clear. */
LB_MUST_CHECK lb_status lb_gaussian_axis_fill(lb_gaussian_axis *axis, double sigma);
void lb_gaussian_axis_clear(lb_gaussian_axis *axis);
/* How many pixels away the farthest pixel is that counts. */
int32_t lb_gaussian_axis_reach(const lb_gaussian_axis *axis);

#endif
