/* engine/image/gather_wide.h: sixteen samples at once, for processors with AVX-512. The bits are
 * those of the plain loops in gather.c. */
#ifndef LB_IMAGE_GATHER_WIDE_H
#define LB_IMAGE_GATHER_WIDE_H

#include "engine/image/gather.h"

/* Planes of one size: `origin` is pixel (0, 0), rows have `width` pixels. */
typedef struct lb_gather_source {
    int32_t count; /* 1 .. LB_GATHER_PLANES */
    const float *origin[LB_GATHER_PLANES];
    ptrdiff_t stride[LB_GATHER_PLANES];
    int32_t width;
} lb_gather_source;

/* True: this processor can, and the samples of that group look at so few pixels that it is quicker
 * so. All taps of the group are inside the planes. */
bool lb_gather_is_wide(const lb_gather *gather, int32_t group, const lb_gather_source *source);
/* The samples of one group: LB_GATHER_GROUP of them, fewer at the end; out[p] of each plane. */
void lb_gather_wide(const lb_gather *gather, int32_t group, const lb_gather_source *source,
                    float *const *out);

#endif
