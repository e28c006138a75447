/* engine/image/compare.h: how two pictures differ, in numbers. */
#ifndef LB_IMAGE_COMPARE_H
#define LB_IMAGE_COMPARE_H

#include "engine/image/image.h"

typedef struct lb_compare_options {
    const lb_box *window; /* where they are compared; NULL: the smallest box around both display
                           * windows */
    /* Makes what a viewer is shown of a row of colour, in place, for figures about what is seen;
     * NULL: the numbers are that already. It has contexts[0] for the first picture's rows and
     * contexts[1] for the other's, and may be called by several threads at once. */
    void (*encode)(const void *context, float *r, float *g, float *b, int32_t count);
    const void *contexts[2];
} lb_compare_options;

/* One channel of either picture, or of both. */
typedef struct lb_channel_comparison {
    const char *name; /* lent by a picture that has it */
    bool has[2];
    int64_t count;      /* of pixels that differ in it */
    int64_t nans;       /* of those, NaN beside a number: they have no part in what follows */
    double largest;     /* absolute difference */
    double mean;        /* absolute difference, over all pixels of the window */
    int32_t at_x, at_y; /* the first pixel with the largest difference, row by row */
} lb_channel_comparison;

typedef struct lb_comparison {
    lb_box window;
    int64_t pixels; /* in the window */
    int64_t count;  /* of pixels that differ in any channel */
    int64_t nans;   /* of pixels with NaN beside a number in any channel */
    lb_box region;  /* the smallest around the pixels that differ */
    int32_t worst;  /* the channel with the largest difference, the first of several; -1: none */
    double mean;    /* absolute difference, over all channels */
    /* Of R, G, B as a viewer is shown them over black, clipped to 0..1, NaN as 0. NaN where neither
     * picture has colour. */
    double psnr_db; /* 10 log10 (1 / mean square); infinite where nothing differs */
    double ssim;    /* lb_similarity of the luma (Rec. ITU-R BT.709, item 3.2) */
    int32_t channel_count;
    lb_channel_comparison *channels; /* sorted by name */
} lb_comparison;

/* Compares two pictures in the numbers that they hold. Colour is looked at as it is, premultiplied.
 *
 * Channels of one picture only are 0 in the other, but "A", which is 1 everywhere in a picture
 * without it. Pixels outside a picture's box are 0 in all channels that it has. Values are equal as
 * numbers are, 0 and -0 too, and NaN equals NaN. An infinity beside a number differs from it by
 * infinity.
 *
 * What is shown is R, G and B, where none of them is there Y, and else the only channel there is.
 *
 * The same bits for any number of threads. *out ends with lb_comparison_clear, also after a
 * failure; the pictures outlive it. LB_MEMORY, LB_LIMIT, LB_CANCELLED. */
LB_MUST_CHECK lb_status lb_compare(lb_pool *pool, const lb_image *a, const lb_image *b,
                                   const lb_compare_options *options, lb_comparison *out);
void lb_comparison_clear(lb_comparison *comparison);

/* The channels that are shown as red, green and blue; false: there is no colour. Of a picture that
 * has some of R, G and B the others are 0. Lent by the picture or constants. */
bool lb_compare_shown(const lb_image *image, const char *out[3]);
/* Row y of a channel within `window`, as lb_compare takes it. */
void lb_compare_row(const lb_image *image, const char *channel, lb_box window, int32_t y,
                    float *out);

#endif
