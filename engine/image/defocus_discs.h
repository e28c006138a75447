/* engine/image/defocus_discs.h: discs of many radii as the differences along their rows.
 *
 * A row of a disc is 0, rises over the pixels that the edge crosses, is 1, and falls again. Its
 * steps, added up from the left, give the row; so a disc costs by its edge, not by its area. */
#ifndef LB_IMAGE_DEFOCUS_DISCS_H
#define LB_IMAGE_DEFOCUS_DISCS_H

#include "engine/base/thread.h"

/* Radii go in steps of 0.2 per cent from half a pixel on. 0: within a pixel. */
#define LB_DISC_STEPS_PER_OCTAVE 347
#define LB_DISC_SMALLEST 0.5f

/* Coverage rises by `delta` at `rises` and falls by it at `falls`: distances from the middle, rows
 * lie `stride` apart. */
typedef struct lb_disc_step {
    double delta;
    int32_t rises, falls;
} lb_disc_step;

/* From the topmost row down. Row j, from 1 - height to height - 1, has steps first[j + height - 1]
 * to first[j + height] - 1. */
typedef struct lb_disc {
    lb_disc_step *steps; /* NULL: not made */
    int32_t *first;
    int32_t height;
    float scale; /* 1 / area */
} lb_disc;

typedef struct lb_discs {
    lb_disc *discs; /* by code */
    int32_t count;
} lb_discs;

/* The discs whose codes (least .. count - 1) are marked. LB_MEMORY, LB_CANCELLED. */
LB_MUST_CHECK lb_status lb_discs_new(lb_pool *pool, const uint8_t *used, int32_t least,
                                     int32_t count, int32_t stride, lb_discs *out);
void lb_discs_clear(lb_discs *discs);
/* The most bytes that discs up to a radius take. */
size_t lb_discs_bytes(double radius);
/* The radius that a code stands for; the code of the nearest radius (0 up to half a pixel, and for
 * NaN); the codes of a row of radii, their signs and what they have beyond `most` left out. */
double lb_disc_code_radius(int32_t code);
int32_t lb_disc_code(float radius);
void lb_disc_code_row(const float *radius, float most, int32_t *codes, int32_t count);

#endif
