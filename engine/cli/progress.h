/* engine/cli/progress.h: how far a render is. lb_progress_frame and lb_progress_written may be
 * called from any thread. */
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
/* A frame is computed, which took so long; so many steps were made and reused so far. */
void lb_progress_frame(lb_progress *progress, int32_t frame, double seconds, int64_t evaluated,
                       int64_t reused);
/* A file is whole. From any thread. */
void lb_progress_written(lb_progress *progress, int32_t frame, const char *output, const char *path,
                         double seconds);
void lb_progress_done(lb_progress *progress, const lb_node_stats *stats, int32_t count,
                      const lb_cache_stats *cache, double write_seconds);
/* Takes the bar off the line, so that something else can be printed. */
void lb_progress_clear(lb_progress *progress);

#endif
