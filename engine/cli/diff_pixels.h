/* engine/cli/diff_pixels.h: what the pictures of two graphs differ in. */
#ifndef LB_CLI_DIFF_PIXELS_H
#define LB_CLI_DIFF_PIXELS_H

#include "engine/base/json.h"
#include "engine/cli/session.h"

typedef struct lb_diff_pixels_options {
    const char *graphs[2];       /* the old one's file and the new one's */
    lb_frames frames;            /* at least one */
    const char *outputs;         /* "NAME,..."; NULL: all */
    const char *version;         /* of both graphs; NULL: none */
    const lb_settings *settings; /* of both graphs; NULL: none */
    double scale;                /* as render has it; 0: 1 */
    int32_t size[2];             /* likewise; 0: the graphs' own */
    int32_t threads;
    size_t memory;     /* 0: no bound */
    const char *image; /* file to show each frame in, with #### if there are several; NULL: none */
    FILE *text;        /* what is found, frame by frame; NULL: nothing is written */
    lb_json *json;     /* gets one object; NULL: none */
} lb_diff_pixels_options;

/* Renders the outputs of both graphs that have the same name, at frames at which both are written,
 * and compares them: numbers by lb_compare, the nodes at which it begins by lb_changes_find. An
 * output is not rendered where its key says that both are the same, unless `image` wants it. EXR
 * outputs are compared in all their channels, others in R, G, B and A; frames of different sizes
 * where both have pixels.
 *
 * `image` gets both pictures and their difference side by side, outputs below each other: |A - B|
 * of R, G and B over all of the frame's largest, so that this is white. Where only other channels
 * differ, the largest of those as grey.
 *
 * differ   an output is in one graph only, sizes are different, or a pixel is
 *
 * The session's operators are used, and its pool, which is made if there is none. Reports its
 * failures. */
LB_MUST_CHECK lb_status lb_diff_pixels(lb_session *session, const lb_diff_pixels_options *options,
                                       bool *differ);

#endif
