/* engine/color/space.h: colour spaces, transfer functions, conversion. */
#ifndef LB_COLOR_SPACE_H
#define LB_COLOR_SPACE_H

#include "engine/base/status.h"

typedef enum lb_space {
    LB_SPACE_RAW, /* not colour: never converted */
    LB_SPACE_LINEAR_REC709,
    LB_SPACE_LINEAR_REC2020,
    LB_SPACE_ACESCG,
    LB_SPACE_SRGB,   /* Rec. 709 primaries, sRGB transfer */
    LB_SPACE_REC709, /* Rec. 709 primaries, BT.709 OETF */
    LB_SPACE_LINEAR_DISPLAY_P3,
    LB_SPACE_DISPLAY_P3, /* P3 primaries, sRGB transfer */
    LB_SPACE_COUNT,
} lb_space;
extern const char *const lb_space_names[]; /* raw linear-rec709 linear-rec2020 acescg srgb rec709
                                            * linear-display-p3 display-p3, NULL */

typedef enum lb_transfer {
    LB_TRANSFER_LINEAR,
    LB_TRANSFER_SRGB,
    LB_TRANSFER_BT709,
    LB_TRANSFER_BT1886, /* gamma 2.4 display, black 0 */
} lb_transfer;

/* CIE 1931 xy of red, green, blue, white. */
typedef struct lb_primaries {
    double red[2], green[2], blue[2], white[2];
} lb_primaries;
lb_primaries lb_space_primaries(lb_space space);
lb_transfer lb_space_transfer(lb_space space);

/* Negative values continue by odd symmetry. decode: signal to linear; encode: linear to signal. */
void lb_transfer_decode_row(lb_transfer transfer, float *row, int32_t count);
void lb_transfer_encode_row(lb_transfer transfer, float *row, int32_t count);
double lb_transfer_decode(lb_transfer transfer, double value);
double lb_transfer_encode(lb_transfer transfer, double value);

/* Linear RGB to linear RGB, Bradford-adapted when the whites differ; row by row. SMPTE RP 177. */
void lb_space_matrix(lb_space from, lb_space to, double m[9]);
void lb_primaries_matrix(const lb_primaries *from, const lb_primaries *to, double m[9]);
/* Weights of linear R, G, B in luminance Y: the middle row of RGB to XYZ. */
void lb_space_luminance(lb_space space, double weights[3]);

/* Rows of premultiplied-or-opaque colour in place. Transfer functions apply to what they are given:
 * un-premultiply first where alpha is not 1. RAW on either side: nothing happens. */
void lb_space_convert_row(lb_space from, lb_space to, float *r, float *g, float *b, int32_t count);
void lb_matrix_row(const double m[9], float *r, float *g, float *b, int32_t count);

/* What a picture is shown on. */
typedef enum lb_view { LB_VIEW_SRGB, LB_VIEW_REC709, LB_VIEW_DISPLAY_P3, LB_VIEW_RAW } lb_view;
extern const char *const lb_view_names[]; /* srgb rec709 display-p3 raw, NULL */
/* From working-linear to the view's signal, clamped to 0..1 (raw: only clamped). In place. */
void lb_view_row(lb_view view, lb_space working, float *r, float *g, float *b, int32_t count);

#endif
