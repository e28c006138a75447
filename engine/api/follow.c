/* engine/api/follow.c: progress and cancelling.
 *
 * A caller that wants either gets its request computed on a thread of its own and sleeps; so its
 * callbacks run on its own thread, however many threads compute, and a long node can be stopped. */
#include <signal.h>
#include <time.h>

#include "engine/api/object.h"

#define PERIOD_NS 10000000
#define EVENTS 256 /* that wait to be told; beyond, what begins is only counted */

typedef struct event {
    const char *node;
    int64_t done, total;
} event;

/* One request that is followed. */
typedef struct follow {
    lb_errand errand;
    void *context;
    lb_stop stop;
    pthread_mutex_t lock; /* of all of this: */
    pthread_cond_t changed;
    event events[EVENTS];
    int32_t first, count; /* those that wait, as a ring */
    int64_t done, total;
    bool is_over;
    lb_status status;
} follow;

bool lb_api_condition(pthread_cond_t *out)
{
    pthread_condattr_t attributes;
    bool good;

    if (pthread_condattr_init(&attributes) != 0)
        return false;
    good = pthread_condattr_setclock(&attributes, CLOCK_MONOTONIC) == 0 &&
           pthread_cond_init(out, &attributes) == 0;
    pthread_condattr_destroy(&attributes);
    return good;
}

void lb_api_sleep(pthread_cond_t *changed, pthread_mutex_t *lock)
{
    struct timespec until;

    clock_gettime(CLOCK_MONOTONIC, &until);
    until.tv_nsec += PERIOD_NS;
    if (until.tv_nsec >= 1000000000) {
        until.tv_nsec -= 1000000000;
        until.tv_sec++;
    }
    pthread_cond_timedwait(changed, lock, &until);
}

/* --- what the run tells, on its threads --- */

static void planned(void *context, int64_t count)
{
    follow *f = context;

    pthread_mutex_lock(&f->lock);
    f->total = f->done + count;
    pthread_mutex_unlock(&f->lock);
}

static void begun(void *context, const char *node)
{
    follow *f = context;

    pthread_mutex_lock(&f->lock);
    if (f->count < EVENTS) {
        f->events[(f->first + f->count++) % EVENTS] = (event){node, f->done, f->total};
        pthread_cond_signal(&f->changed);
    }
    pthread_mutex_unlock(&f->lock);
}

static void ended(void *context)
{
    follow *f = context;

    pthread_mutex_lock(&f->lock);
    f->done++;
    if (f->total < f->done)
        f->total = f->done;
    pthread_mutex_unlock(&f->lock);
}

static void *work(void *argument)
{
    follow *f = argument;
    lb_watch watch = {f, planned, begun, ended};
    lb_status status;

    lb_stop_use(&f->stop);
    status = f->errand(f->context, &watch);
    pthread_mutex_lock(&f->lock);
    f->status = status;
    f->is_over = true;
    pthread_cond_signal(&f->changed);
    pthread_mutex_unlock(&f->lock);
    return NULL;
}

/* --- what the caller is told, on its own --- */

static int32_t limited(int64_t count)
{
    return count < INT32_MAX ? (int32_t)count : INT32_MAX;
}

/* The next event; false: none waits. */
static bool take_event(follow *f, event *out)
{
    bool any;

    pthread_mutex_lock(&f->lock);
    if ((any = f->count > 0)) {
        *out = f->events[f->first];
        f->first = (f->first + 1) % EVENTS;
        f->count--;
    }
    pthread_mutex_unlock(&f->lock);
    return any;
}

/* Calls back until the work is over. */
static void attend(follow *f, lb_pool *pool, const lampblack_request *request)
{
    bool is_over = false, is_cancelled = false;

    while (!is_over) {
        event told;

        pthread_mutex_lock(&f->lock);
        if (!f->is_over && f->count == 0)
            lb_api_sleep(&f->changed, &f->lock);
        is_over = f->is_over;
        pthread_mutex_unlock(&f->lock);
        while (take_event(f, &told))
            if (request->progress)
                request->progress(request->progress_user, told.node, limited(told.done),
                                  limited(told.total));
        if (!is_over && !is_cancelled && request->cancel && request->cancel(request->cancel_user)) {
            is_cancelled = true;
            lb_stop_set(&f->stop, pool);
        }
    }
}

/* A thread with every signal blocked, so that handlers run where the program expects them. */
static bool start(follow *f, pthread_t *thread)
{
    sigset_t all, before;
    bool good;

    sigfillset(&all);
    pthread_sigmask(SIG_SETMASK, &all, &before);
    good = pthread_create(thread, NULL, work, f) == 0;
    pthread_sigmask(SIG_SETMASK, &before, NULL);
    return good;
}

/* On a thread of its own, followed from this one. */
static lb_status run_followed(follow *f, const lampblack_graph *graph,
                              const lampblack_request *request)
{
    int32_t total;
    pthread_t thread;

    if (!start(f, &thread))
        return lb_fail(graph->diag, LB_IO, LB_NOWHERE, "no thread could be made");
    attend(f, graph->pool, request);
    pthread_join(thread, NULL);
    total = f->total > 0 ? limited(f->total) : 1;
    if (f->status == LB_OK && request->progress)
        request->progress(request->progress_user, NULL, total, total);
    return f->status;
}

lb_status lb_api_follow(const lampblack_graph *graph, const lampblack_request *request,
                        lb_errand errand, void *context)
{
    follow f = {.errand = errand, .context = context};
    lb_status status = LB_MEMORY;

    if (request->cancel && request->cancel(request->cancel_user))
        return LB_CANCELLED;
    if (!request->progress && !request->cancel)
        return errand(context, NULL);
    if (pthread_mutex_init(&f.lock, NULL) == 0) {
        if (lb_api_condition(&f.changed)) {
            status = run_followed(&f, graph, request);
            pthread_cond_destroy(&f.changed);
        } else {
            lb_fail(graph->diag, LB_MEMORY, LB_NOWHERE, "no memory");
        }
        pthread_mutex_destroy(&f.lock);
    } else {
        lb_fail(graph->diag, LB_MEMORY, LB_NOWHERE, "no memory");
    }
    return status;
}
