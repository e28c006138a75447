/* engine/image/lens.h: the thin lens. */
#ifndef LB_IMAGE_LENS_H
#define LB_IMAGE_LENS_H

/* Diameter on the film of what a point at `distance` becomes when the lens is focused at `focus`:
 *
 *     c = (f / N) (d - s) / d  f / (s - f)
 *
 * f focal length, N f-number, s focus, d distance, all lengths in one unit (c too) and measured
 * from the lens; s > f. Negative in front of the focus, positive behind it; d may be INFINITY,
 * where c = f^2 / (N (s - f)). A distance that is not above 0 counts as INFINITY: nothing is there.
 * Potmesil and Chakravarty, SIGGRAPH 1981. */
double lb_lens_confusion(double focal_length, double f_number, double focus, double distance);

#endif
