/* engine/image/defocus_discs.h: discs of many radii as the differences along their rows.
 *
 * A row of a disc is 0, rises over the pixels that the edge crosses, is 1, and falls again. Its
 * steps, added up from the left, give the row; so a disc costs by its edge, not by its area. */
#ifndef LB_IMAGE_DEFOCUS_DISCS_H
#define LB_IMAGE_DEFOCUS_DISCS_H

#include "engine/base/status.h"

/* Radii go in steps of 0.2 per cent from half a pixel on. 0: within a pixel. */
#define LB_DISC_STEPS_PER_OCTAVE 347
#define LB_DISC_SMALLEST 0.5f

/* What is spread: one pixel, or a square of 2 x 2 or 4 x 4. A square's disc is the mean of its
 * pixels' discs, so that equal pixels give the same together as one by one. */
typedef enum lb_disc_kind { LB_DISC_ONE, LB_DISC_PAIR, LB_DISC_QUAD, LB_DISC_KINDS } lb_disc_kind;

/* Coverage rises by `delta` at column middle - dx and falls by it behind column middle + dx. */
typedef struct lb_disc_step {
    double delta;
    int64_t dx;
} lb_disc_step;

/* The same for a whole disc whose rows lie `stride` apart: distances from the middle. */
typedef struct lb_disc_place {
    double delta;
    int32_t rises, falls;
} lb_disc_place;

/* Row j of a disc: steps first[row + j] .. first[row + j + 1] - 1, the outermost first. The middle
 * of one pixel is that pixel, its row is 0. The middle of a square is the corner in its middle: row
 * 0 is the one below the corner and the one above alike, column 0 the one to its right. */
typedef struct lb_disc_shape {
    int32_t row;              /* of row 0 */
    int32_t height;           /* rows 0 .. height - 1, up and down alike */
    int32_t place, place_end; /* the whole disc, if it is small; none otherwise */
    float scale;              /* 1 / area */
} lb_disc_shape;

typedef struct lb_discs {
    lb_disc_shape *shapes[LB_DISC_KINDS]; /* by code */
    int32_t *first;
    lb_disc_step *steps;
    lb_disc_place *places;
} lb_discs;

#define LB_DISC_WHOLE_RADIUS 12.0

/* The discs whose codes (least .. count - 1) are marked in used[kind]; places for rows `stride`
 * apart. LB_MEMORY. */
LB_MUST_CHECK lb_status lb_discs_new(const uint8_t *const used[LB_DISC_KINDS], int32_t least,
                                     int32_t count, int32_t stride, lb_discs *out);
void lb_discs_clear(lb_discs *discs);
/* The radius that a code stands for; the code of the nearest radius (0 up to half a pixel, and for
 * NaN); the codes of a row of radii, their signs and what they have beyond `most` left out. */
double lb_disc_code_radius(int32_t code);
int32_t lb_disc_code(float radius);
void lb_disc_code_row(const float *radius, float most, int32_t *codes, int32_t count);

#endif
