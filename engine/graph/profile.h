/* engine/graph/profile.h: what happened when, for `render --profile`. */
#ifndef LB_GRAPH_PROFILE_H
#define LB_GRAPH_PROFILE_H

#include "engine/base/status.h"

typedef struct lb_profile lb_profile;

/* One thing that took some time on one thread. Texts are copied. */
typedef struct lb_profile_event {
    const char *name, *category; /* a node's name and "node"; a file's and "write" */
    const char *detail;          /* a node's operator, else a file; NULL: none */
    int32_t frame;
    double begin, end;              /* lb_clock_s */
    int64_t read_bytes, made_bytes; /* pixels; -1: not known */
    int64_t peak_bytes;             /* the most that it took for itself; -1: not known */
    int32_t fused;                  /* how many operators ran as one; 1: it alone */
    const char *members;            /* their nodes, in order; NULL: it alone */
} lb_profile_event;

LB_MUST_CHECK lb_status lb_profile_new(lb_profile **out); /* LB_MEMORY */
void lb_profile_free(lb_profile **profile);
/* From any thread; `profile` may be NULL. An event for which there is no memory is only counted. */
void lb_profile_add(lb_profile *profile, const lb_profile_event *event);
/* A number at a time: memory in use, say. */
void lb_profile_count(lb_profile *profile, const char *name, double value);

/* Writes all as JSON in the trace-event format (its "JSON object format": complete events "X",
 * counters "C", thread names "M"; times in microseconds), which the profilers of browsers open.
 * Every event has the bandwidth that it reached, in bytes read and made a second. Reported. */
LB_MUST_CHECK lb_status lb_profile_write(lb_profile *profile, lb_diag *diag, const char *path);

#endif
