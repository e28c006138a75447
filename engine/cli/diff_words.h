/* engine/cli/diff_words.h: the difference of two pictures in words and as JSON. */
#ifndef LB_CLI_DIFF_WORDS_H
#define LB_CLI_DIFF_WORDS_H

#include "engine/base/json.h"
#include "engine/graph/changes.h"
#include "engine/image/compare.h"

/* One output of both graphs at one frame. Everything is lent but what `comparison` and `changes`
 * own. */
typedef struct lb_picture_diff {
    int32_t frame;
    const lb_output *outputs[2]; /* of the old and the new graph */
    const lb_graph *graphs[2];
    lb_box windows[2]; /* the frames' */
    bool is_rendered;  /* false: equal by key, and `comparison` is empty */
    bool has_formats;  /* the graphs' frames are alike, so that `changes` was asked for */
    lb_changes changes;
    lb_comparison comparison;
    double factor;    /* by which the difference is shown larger; 0: it is not shown */
    const char *file; /* in which */
} lb_picture_diff;

/* True when nothing differs, sizes neither. */
bool lb_picture_diff_is_same(const lb_picture_diff *diff);

/* Some lines: a headline, and details below it when there are any. `names` are what the graphs are
 * called. */
void lb_picture_diff_text(const lb_picture_diff *diff, const char *const names[2], lb_text *out);
void lb_picture_diff_json(const lb_picture_diff *diff, lb_json *json);

/* "12.5 dB". */
void lb_put_decibels(lb_text *out, double psnr_db);

#endif
