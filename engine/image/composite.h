/* engine/image/composite.h: W3C Compositing and Blending Level 1 on rows of premultiplied floats.
 */
#ifndef LB_IMAGE_COMPOSITE_H
#define LB_IMAGE_COMPOSITE_H

#include <stdint.h>

typedef enum lb_porter_duff {
    LB_CLEAR,
    LB_COPY,
    LB_DESTINATION,
    LB_SOURCE_OVER,
    LB_DESTINATION_OVER,
    LB_SOURCE_IN,
    LB_DESTINATION_IN,
    LB_SOURCE_OUT,
    LB_DESTINATION_OUT,
    LB_SOURCE_ATOP,
    LB_DESTINATION_ATOP,
    LB_XOR,
    LB_LIGHTER,
} lb_porter_duff;
extern const char *const lb_porter_duff_names[]; /* W3C's, in the enum's order, NULL at the end */

typedef enum lb_blend {
    LB_BLEND_NORMAL,
    LB_BLEND_MULTIPLY,
    LB_BLEND_SCREEN,
    LB_BLEND_OVERLAY,
    LB_BLEND_DARKEN,
    LB_BLEND_LIGHTEN,
    LB_BLEND_COLOR_DODGE,
    LB_BLEND_COLOR_BURN,
    LB_BLEND_HARD_LIGHT,
    LB_BLEND_SOFT_LIGHT,
    LB_BLEND_DIFFERENCE,
    LB_BLEND_EXCLUSION,
    LB_BLEND_HUE,
    LB_BLEND_SATURATION,
    LB_BLEND_COLOR,
    LB_BLEND_LUMINOSITY,
} lb_blend;
extern const char *const lb_blend_names[];

/* Fa and Fb of section 9.1 for one pixel. */
void lb_porter_duff_factors(lb_porter_duff op, float source_alpha, float backdrop_alpha, float *fa,
                            float *fb);
/* co of one component, for tests and single values. */
float lb_porter_duff_pixel(lb_porter_duff op, float source, float source_alpha, float backdrop,
                           float backdrop_alpha);

/* Rows of one composition. source, backdrop, out: r, g, b, a rows of `count` floats; out may not
 * overlap the others. `amount` scales the source (colour and alpha) before compositing: mask times
 * opacity, a row, or NULL for 1. A NULL row of source or backdrop is 0 everywhere (alpha NULL in
 * `source`: 1 everywhere, an opaque picture, likewise `backdrop`).
 *
 * With a blend mode other than normal, section 5's formula, Cs' = (1 - ab) Cs + ab B(Cb, Cs).
 * The standard defines B on 0..1; beyond it: see docs/methods.md (values above 1 are kept by the
 * modes whose formula is sound there, clamped for the others). */
typedef struct lb_rgba_row {
    const float *r, *g, *b, *a;
} lb_rgba_row;
typedef struct lb_rgba_out {
    float *r, *g, *b, *a;
} lb_rgba_out;
void lb_composite_row(lb_porter_duff op, lb_blend blend, lb_rgba_out out, lb_rgba_row source,
                      lb_rgba_row backdrop, const float *amount, int32_t count);

#endif
