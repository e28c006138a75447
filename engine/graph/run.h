/* engine/graph/run.h: frames out of a graph. */
#ifndef LB_GRAPH_RUN_H
#define LB_GRAPH_RUN_H

#include "engine/graph/cache.h"
#include "engine/graph/plan.h"
#include "engine/graph/profile.h"
#include "engine/graph/watch.h"

typedef struct lb_run lb_run;

typedef struct lb_run_options {
    lb_pool *pool;
    lb_diag *diag;
    int32_t width, height;     /* of the frame; 0: frame.size times `scale` */
    double scale;              /* pixels rendered per pixel of frame.size */
    size_t cache_bytes;        /* for results kept from frame to frame; 0: none is kept */
    const char *cache_folder;  /* results kept from run to run; NULL: none is */
    uint64_t cache_disk_bytes; /* for all of that folder; 0: LB_DISK_BYTES */
    lb_profile *profile;       /* what happened when; NULL: nobody asks */
} lb_run_options;

/* One node's share of the frames so far, for reports. */
typedef struct lb_node_stats {
    const char *node, *op;
    int64_t evaluated, reused;      /* times made, times taken from a cache */
    double seconds;                 /* making it; of operators run as one, its share */
    int64_t read_bytes, made_bytes; /* pixels; of operators run as one, at the first and the last */
    size_t peak_bytes;              /* most memory that it took for itself, its result with it */
} lb_node_stats;

/* The graph, the pool, the profile and the diag are lent and must outlive the run. */
LB_MUST_CHECK lb_status lb_run_new(const lb_graph *graph, const lb_run_options *options,
                                   lb_run **out);
void lb_run_free(lb_run **run);
const lb_format *lb_run_format(const lb_run *run); /* scaled */
const lb_graph *lb_run_graph(const lb_run *run);

/* The values of `wants` at `frame`, made together so that what they share is made once; out[i] are
 * the caller's (lb_value_unref), NONE on failure. An image's planes cover its part of the window.
 * keys[i], if keys is not NULL, is what it is known by: equal keys, equal pixels. Reports what goes
 * wrong.
 *
 * May be called from several threads at once. Where the memory budget does not hold a frame, it is
 * made when no other is, then in horizontal parts; LB_MEMORY, naming the node and the figure, when
 * that is not enough either. */
LB_MUST_CHECK lb_status lb_run_frame(lb_run *run, int32_t frame, const lb_want *wants,
                                     int32_t count, lb_value *out, lb_key *keys);
/* The same, followed by `watch`. Ends with LB_CANCELLED, like all that runs here, soon after an
 * lb_stop that the calling thread uses was set; other frames go on. */
LB_MUST_CHECK lb_status lb_run_frame_watched(lb_run *run, int32_t frame, const lb_want *wants,
                                             int32_t count, const lb_watch *watch, lb_value *out,
                                             lb_key *keys);

/* What lb_run_frames asks and tells; called from several threads at once. */
typedef struct lb_run_frames_calls {
    /* Fills in at most `most` wants; how many. */
    int32_t (*wants)(void *context, int32_t frame, lb_want *wants, int32_t most);
    /* A frame is made, which took so long. The values are the run's. An answer other than LB_OK
     * ends it all. */
    lb_status (*made)(void *context, int32_t frame, double seconds, const lb_value *values,
                      const lb_key *keys, int32_t count);
} lb_run_frames_calls;

/* All of `frames`, several at once when there are threads and memory for them; they are begun in
 * that order and may end in another. The answer is the first failure in the order of the list. */
LB_MUST_CHECK lb_status lb_run_frames(lb_run *run, const int32_t *frames, int32_t count,
                                      int32_t most_wants, const lb_run_frames_calls *calls,
                                      void *context);

/* Plans `frame` for all outputs of the graph and makes nothing: files, layers, parameters and kinds
 * are looked at. */
LB_MUST_CHECK lb_status lb_run_check(lb_run *run, int32_t frame);

/* Plans `frame` and describes what would be done, as text: order, keys, regions, times, what runs
 * as one, what the caches hold, memory. `out` is an lb_text. */
struct lb_text;
LB_MUST_CHECK lb_status lb_run_explain(lb_run *run, int32_t frame, const lb_want *wants,
                                       int32_t count, struct lb_text *out);

/* Plans `frame` for `wants`, makes nothing, and tells each step of the plan, inputs before readers;
 * step->key is what its result is known by. An answer other than LB_OK ends it. Failures are
 * reported to `diag`, which may be another than the run's. */
typedef lb_status (*lb_step_fn)(void *context, const lb_step *step);
LB_MUST_CHECK lb_status lb_run_keys(lb_run *run, double frame, const lb_want *wants, int32_t count,
                                    lb_diag *diag, lb_step_fn fn, void *context);

/* What each node did so far; lent, one a node of the graph, to be read while no frame is made. */
const lb_node_stats *lb_run_stats(const lb_run *run, int32_t *count);
/* How many steps were made and reused so far; at any time. */
void lb_run_totals(lb_run *run, int64_t *evaluated, int64_t *reused);
lb_cache_stats lb_run_cache_stats(lb_run *run);

#endif
