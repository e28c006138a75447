/* engine/api/object.h: what lampblack.h calls a graph, from inside. */
#ifndef LB_API_OBJECT_H
#define LB_API_OBJECT_H

#include <pthread.h>

#include "engine/api/lampblack.h"
#include "engine/base/text.h"
#include "engine/graph/operators.h"
#include "engine/graph/run.h"
#include "lang/lang.h"

/* A run is for one scale; those of the scales last asked for are kept, with what they know. */
#define LB_API_RUNS 2

typedef struct lb_api_run {
    lb_run *run; /* NULL: none */
    double scale;
    int32_t users; /* requests that are computed by it now */
    uint64_t used; /* the turn that used it last */
} lb_api_run;

struct lampblack_graph {
    lb_diag *diag;
    lb_pool *pool;
    lb_operators *operators;
    size_t cache_bytes;
    char *cache_folder;
    lb_setting *settings; /* copies */
    size_t setting_count, setting_capacity;
    char *version; /* NULL: the graph as it stands */
    bool was_loaded;
    lb_graph *graph; /* NULL: not loaded, or faulty; nobody changes it afterwards */

    /* Requests are computed side by side, as far as there are runs for their scales. */
    pthread_mutex_t turn_lock; /* of all of this */
    pthread_cond_t turn_over;
    bool has_first; /* somebody is first in line; all others wait until he has begun */
    uint64_t turns;
    lb_api_run runs[LB_API_RUNS];

    pthread_mutex_t word_lock; /* of what was said, as it was handed out */
    char **texts;
    lampblack_message *messages;
    size_t message_count, message_capacity;
    lb_text report;
};

/* Fills a struct of ours from the caller's, which may be shorter or longer; false: it says a size
 * that cannot be, or wants what this library does not know. Sizes come first in both. */
bool lb_api_take(void *own, size_t own_size, const void *given);
/* The other way; beyond what we know the caller's is zeroed. */
bool lb_api_give(void *given, const void *own, size_t own_size);

lampblack_status lb_api_status(lb_status status);

/* --- follow.c --- */

/* Does the work of a request, `watch` (NULL: nobody asks) being told of it. */
typedef lb_status (*lb_errand)(void *context, const lb_watch *watch);
/* The same with the request's callbacks called from this thread meanwhile. */
LB_MUST_CHECK lb_status lb_api_follow(const lampblack_graph *graph,
                                      const lampblack_request *request, lb_errand errand,
                                      void *context);

/* Sleeps on `changed` for a hundredth of a second at most; it is from lb_api_condition. */
void lb_api_sleep(pthread_cond_t *changed, pthread_mutex_t *lock);
bool lb_api_condition(pthread_cond_t *out);

#endif
