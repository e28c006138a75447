/* engine/cli/writer.h: encodes and writes frames beside the computation. */
#ifndef LB_CLI_WRITER_H
#define LB_CLI_WRITER_H

#include "engine/cli/progress.h"

typedef struct lb_writer lb_writer;

/* At most `waiting` images wait to be written; then lb_writer_put waits. */
LB_MUST_CHECK lb_status lb_writer_new(lb_pool *pool, lb_diag *diag, lb_progress *progress,
                                      int32_t waiting, lb_writer **out);

/* Hands over a reference to an image that goes to output->file with the frame's number. `options`
 * is the output's with what the frame adds; its graph_key is copied. Fails with the status of an
 * earlier image that could not be written (and was reported then). */
LB_MUST_CHECK lb_status lb_writer_put(lb_writer *writer, const lb_output *output, int32_t frame,
                                      const lb_write_options *options, lb_key key,
                                      const lb_image *image);

/* Waits until all is written (or dropped, after a failure); the status of the first failure.
 * *seconds: time spent encoding and writing. */
lb_status lb_writer_finish(lb_writer **writer, double *seconds);

#endif
