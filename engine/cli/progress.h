/* engine/cli/progress.h: how far a render is. Not thread-safe but for lb_progress_written. */
#ifndef LB_CLI_PROGRESS_H
#define LB_CLI_PROGRESS_H

#include "engine/graph/run.h"

typedef enum lb_progress_mode {
    LB_PROGRESS_AUTO, /* a bar on a terminal, else lines */
    LB_PROGRESS_BAR,
    LB_PROGRESS_LINES,
    LB_PROGRESS_JSON, /* one object a line on standard output */
    LB_PROGRESS_NONE,
} lb_progress_mode;

typedef struct lb_progress lb_progress;

LB_MUST_CHECK lb_status lb_progress_new(lb_progress_mode mode, int32_t frames, lb_progress **out);
void lb_progress_free(lb_progress **progress); /* ends the bar's line */

void lb_progress_start(lb_progress *progress, const lb_format *format, int32_t threads);
/* A frame is computed: what its nodes did since the last call, from `stats`. */
void lb_progress_frame(lb_progress *progress, int32_t frame, double seconds,
                       const lb_node_stats *stats, int32_t count);
/* A file is whole. From any thread. */
void lb_progress_written(lb_progress *progress, int32_t frame, const char *output, const char *path,
                         double seconds);
void lb_progress_done(lb_progress *progress, const lb_node_stats *stats, int32_t count,
                      double write_seconds);
/* Takes the bar off the line, so that something else can be printed. */
void lb_progress_clear(lb_progress *progress);

#endif
