/* engine/cli/writer.h: encodes frames and writes them beside the computation. */
#ifndef LB_CLI_WRITER_H
#define LB_CLI_WRITER_H

#include "engine/cli/progress.h"

typedef struct lb_writer lb_writer;

typedef struct lb_writer_options {
    lb_pool *pool;
    lb_diag *diag;
    lb_progress *progress;
    lb_profile *profile; /* NULL: nobody asks */
    int32_t waiting;     /* encoded files that may wait for the disk */
} lb_writer_options;

/* Everything in the options is lent. */
LB_MUST_CHECK lb_status lb_writer_new(const lb_writer_options *options, lb_writer **out);

/* Encodes an image on the calling thread and the pool, then leaves the file to the writer's thread.
 * From any thread. The answer is that of encoding, or the first failure of writing so far; both
 * reported. */
LB_MUST_CHECK lb_status lb_writer_put(lb_writer *writer, const lb_output *output, int32_t frame,
                                      const lb_write_options *options, lb_key key,
                                      const lb_image *image);

/* Waits until all is written; the first failure, and the seconds that encoding and writing took. */
LB_MUST_CHECK lb_status lb_writer_finish(lb_writer **writer, double *seconds);

#endif
