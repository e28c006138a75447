/* engine/api/watch.c: progress and cancelling.
 *
 * A caller that wants either gets its request computed on a thread of its own and sleeps; so its
 * callbacks run on its own thread, however many threads compute, and a long node can be stopped.
 * That a node begins is noticed by standing between the graph's nodes and their operators' tables.
 */
#include <signal.h>
#include <string.h>
#include <time.h>

#include "engine/api/object.h"

#define PERIOD_NS 10000000

/* A node's operator, but for its evaluate and its fingerprint. */
typedef struct watched {
    lb_op op; /* first: call->op is this */
    const lb_op *own;
    lb_watch *watch;
    int32_t node;
} watched;

struct lb_watch {
    const lb_graph *graph;
    watched *nodes;
    pthread_mutex_t lock;
    pthread_cond_t changed;
    bool *is_begun; /* a node; under the lock, as all that follows */
    int32_t *begun; /* nodes in the order they began */
    int32_t begun_count;
    bool is_told; /* somebody wants to know; changes only while nothing is computed */
    bool is_done;
    /* Of the request: */
    lb_errand errand;
    void *context;
    lb_status status;
};

bool lb_watch_condition(pthread_cond_t *out)
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

void lb_watch_sleep(pthread_cond_t *changed, pthread_mutex_t *lock)
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

static void note(const watched *w)
{
    lb_watch *watch = w->watch;

    pthread_mutex_lock(&watch->lock);
    if (watch->is_told && !watch->is_begun[w->node]) {
        watch->is_begun[w->node] = true;
        watch->begun[watch->begun_count++] = w->node;
        pthread_cond_signal(&watch->changed);
    }
    pthread_mutex_unlock(&watch->lock);
}

static lb_status evaluate(const lb_task *task, lb_value *out)
{
    const watched *w = (const watched *)(const void *)task->call.op;
    lb_task own = *task;

    note(w);
    own.call.op = w->own;
    return w->own->evaluate(&own, out);
}

static lb_status fingerprint(const lb_call *call, lb_hasher *hasher)
{
    const watched *w = (const watched *)(const void *)call->op;
    lb_call own = *call;

    own.op = w->own;
    return w->own->fingerprint(&own, hasher);
}

lb_status lb_watch_new(lb_graph *graph, lb_watch **out)
{
    size_t count = (size_t)graph->node_count + 1;
    lb_watch *watch = lb_alloc(1, sizeof *watch);

    *out = NULL;
    if (!watch)
        return LB_MEMORY;
    watch->graph = graph;
    watch->nodes = lb_alloc(count, sizeof *watch->nodes);
    watch->is_begun = lb_alloc(count, sizeof *watch->is_begun);
    watch->begun = lb_alloc(count, sizeof *watch->begun);
    if (!watch->nodes || !watch->is_begun || !watch->begun ||
        pthread_mutex_init(&watch->lock, NULL) != 0)
        goto no_lock;
    if (!lb_watch_condition(&watch->changed))
        goto no_condition;
    for (int32_t i = 0; i < graph->node_count; i++) {
        watched *w = &watch->nodes[i];

        *w = (watched){.op = *graph->nodes[i].op, .own = graph->nodes[i].op, watch, i};
        w->op.evaluate = evaluate;
        w->op.fingerprint = w->own->fingerprint ? fingerprint : NULL;
        graph->nodes[i].op = &w->op;
    }
    *out = watch;
    return LB_OK;
no_condition:
    pthread_mutex_destroy(&watch->lock);
no_lock:
    lb_free(watch->nodes);
    lb_free(watch->is_begun);
    lb_free(watch->begun);
    lb_free(watch);
    return LB_MEMORY;
}

void lb_watch_free(lb_watch **watch)
{
    lb_watch *old = *watch;

    if (!old)
        return;
    pthread_cond_destroy(&old->changed);
    pthread_mutex_destroy(&old->lock);
    lb_free(old->nodes);
    lb_free(old->is_begun);
    lb_free(old->begun);
    lb_free(old);
    *watch = NULL;
}

/* How many nodes `target` needs, with itself. is_begun serves to mark them. */
static int32_t count_needed(lb_watch *watch, int32_t target)
{
    const lb_graph *graph = watch->graph;
    int32_t count = 0;

    watch->begun[count++] = target;
    watch->is_begun[target] = true;
    for (int32_t i = 0; i < count; i++) {
        const lb_node *node = &graph->nodes[watch->begun[i]];

        for (int32_t s = 0; s < node->slot_count; s++) {
            int32_t input = node->slots[s].node;

            if (input >= 0 && !watch->is_begun[input]) {
                watch->is_begun[input] = true;
                watch->begun[count++] = input;
            }
        }
    }
    return count;
}

static void *work(void *argument)
{
    lb_watch *watch = argument;
    lb_status status = watch->errand(watch->context);

    pthread_mutex_lock(&watch->lock);
    watch->status = status;
    watch->is_done = true;
    pthread_cond_signal(&watch->changed);
    pthread_mutex_unlock(&watch->lock);
    return NULL;
}

/* A thread with every signal blocked, so that handlers run where the program expects them. */
static bool start(lb_watch *watch, pthread_t *thread)
{
    sigset_t all, before;
    bool good;

    sigfillset(&all);
    pthread_sigmask(SIG_SETMASK, &all, &before);
    good = pthread_create(thread, NULL, work, watch) == 0;
    pthread_sigmask(SIG_SETMASK, &before, NULL);
    return good;
}

/* Calls back until the work is done. */
static void attend(lb_watch *watch, const lampblack_graph *graph, const lampblack_request *request,
                   int32_t total)
{
    int32_t told = 0;
    bool is_done = false, is_cancelled = false;

    while (!is_done) {
        int32_t count;

        pthread_mutex_lock(&watch->lock);
        if (!watch->is_done && watch->begun_count == told)
            lb_watch_sleep(&watch->changed, &watch->lock);
        count = watch->begun_count;
        is_done = watch->is_done;
        pthread_mutex_unlock(&watch->lock);
        for (; told < count; told++) /* entries that were made do not change */
            if (request->progress)
                request->progress(request->progress_user,
                                  watch->graph->nodes[watch->begun[told]].name, told, total);
        if (!is_done && !is_cancelled && request->cancel && request->cancel(request->cancel_user)) {
            is_cancelled = true;
            lb_pool_cancel(graph->pool);
        }
    }
}

lb_status lb_watch_run(lb_watch *watch, const lampblack_graph *graph,
                       const lampblack_request *request, int32_t target, lb_errand errand,
                       void *context)
{
    pthread_t thread;
    int32_t total;

    if (request->cancel && request->cancel(request->cancel_user))
        return LB_CANCELLED;
    if (!request->progress && !request->cancel)
        return errand(context);
    memset(watch->is_begun, 0, (size_t)watch->graph->node_count * sizeof *watch->is_begun);
    total = count_needed(watch, target);
    memset(watch->is_begun, 0, (size_t)watch->graph->node_count * sizeof *watch->is_begun);
    watch->begun_count = 0;
    watch->is_done = false;
    watch->errand = errand;
    watch->context = context;
    watch->is_told = true;
    if (!start(watch, &thread)) {
        watch->is_told = false;
        return lb_fail(graph->diag, LB_IO, LB_NOWHERE, "no thread could be made");
    }
    attend(watch, graph, request, total);
    pthread_join(thread, NULL);
    watch->is_told = false;
    lb_pool_resume(graph->pool);
    if (watch->status == LB_OK && request->progress)
        request->progress(request->progress_user, NULL, total, total);
    return watch->status;
}
