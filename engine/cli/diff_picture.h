/* engine/cli/diff_picture.h: two pictures and their difference, side by side. */
#ifndef LB_CLI_DIFF_PICTURE_H
#define LB_CLI_DIFF_PICTURE_H

#include "engine/color/space.h"
#include "engine/image/compare.h"

/* A row of the picture. Everything is lent. */
typedef struct lb_beside {
    const lb_image *images[2];
    lb_space working[2];
    const lb_comparison *comparison; /* of both */
    double factor;                   /* answered: what the difference is multiplied by; 0: none */
} lb_beside;

/* The old pictures, the new ones and what they differ in, from left to right, a pair a row; R, G
 * and B in the working space of the first. The difference is that of the numbers, in the window of
 * the comparison, over the pair's largest, NaN beside a number and infinities white; where no
 * colour differs, the largest difference of any channel as grey. LB_MEMORY, LB_LIMIT. */
LB_MUST_CHECK lb_status lb_beside_image(lb_beside *pairs, int32_t count, lb_image **out);

#endif
