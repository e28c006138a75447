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

/* Fa and Fb of section 9.1 for one pixel. Alpha is coverage: outside 0..1 it counts as the nearer
 * end, so that no factor is negative. */
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
 * Colour is not clamped. Alpha of the result is at most 1, which only `lighter` could exceed: two
 * opaque layers of light add up to an opaque one. A result too large for a float is the largest
 * float, so that finite rows give finite rows.
 *
 * With a blend mode other than normal, section 5's formula, Cs' = (1 - ab) Cs + ab B(Cb, Cs).
 * The standard defines B for colours within 0..1; beyond, where light is brighter than white:
 *
 *   multiply, darken, lighten, difference   the formula as it stands
 *   screen        the formula, but at least the larger of Cs and Cb: their product would make two
 *                 bright colours dark; within 0..1 the formula is never less
 *   exclusion     the formula, but at least the difference, for the same reason
 *   hard-light,   by these multiply and screen
 *   overlay
 *   color-dodge, color-burn, soft-light, hue, saturation, color, luminosity
 *                 Cs and Cb are clamped to 0..1: the formulas measure against white
 *
 * All are the standard's within 0..1, and all but dodge and burn, which jump there too, are
 * continuous. Light without coverage (alpha 0, colour not 0) is taken as the limit of the
 * premultiplied formula. With a blend mode, colours beyond +-2^60 count as that. */
typedef struct lb_rgba_row {
    const float *r, *g, *b, *a;
} lb_rgba_row;
typedef struct lb_rgba_out {
    float *r, *g, *b, *a;
} lb_rgba_out;
void lb_composite_row(lb_porter_duff op, lb_blend blend, lb_rgba_out out, lb_rgba_row source,
                      lb_rgba_row backdrop, const float *amount, int32_t count);

#endif
