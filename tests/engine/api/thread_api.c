/* tests/engine/api/thread_api.c: one graph object used from several threads at once, beside others:
 * the pixels are those that one thread gets alone. */
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "engine/api/lampblack.h"

#define THREADS 4
#define FRAMES 3
#define ROUNDS 3
#define WIDTH 48
#define HEIGHT 27
#define FLOATS (WIDTH * HEIGHT * 4)

static const char text[] =
    "lampblack: 1\n"
    "frame: {size: [48, 27], rate: 24, range: [1, 3]}\n"
    "nodes:\n"
    "  a: {op: gradient, type: linear, from: [0, 0], to: [{expr: 10 * frame}, 20],\n"
    "      stops: [{at: 0, color: \"#102030\"}, {at: 1, color: \"#ff7a1f\"}]}\n"
    "  b: {op: blur, image: a, sigma: {expr: frame + 0.5}}\n"
    "  c: {op: exposure, image: b, stops: 1}\n"
    "outputs: {o: {image: c, file: o.####.exr}}\n";

/* By scale (1 and 1/2) and frame. */
static float wanted[2][FRAMES][FLOATS];

/* What a request was told: numbers never go down, and they fit. */
typedef struct told {
    int calls, wrong, stop_after; /* calls; 0: never */
    int32_t done, total;
    bool is_over;
} told;

static void tell(void *user, const char *node, int32_t done, int32_t total)
{
    told *t = user;

    t->wrong += t->is_over || done < t->done || done > total || total < 1 ||
                (t->calls > 0 && total != t->total);
    t->is_over = !node;
    t->wrong += t->is_over && done != total;
    t->done = done;
    t->total = total;
    t->calls++;
}

static bool ask(void *user)
{
    const told *t = user;

    return t->stop_after > 0 && t->calls >= t->stop_after;
}

static bool at_once(void *user)
{
    (void)user;
    return true;
}

enum { QUIETLY, TOLD, STOPPED_AT_ONCE, STOPPED_LATER };

/* How much is wrong with it. */
static int get(lampblack_graph *graph, int half, int frame, int how, float *out)
{
    lampblack_request request;
    lampblack_pixels into;
    lampblack_status status;
    told t = {.stop_after = how == STOPPED_LATER ? 1 + frame % 3 : 0};

    memset(&request, 0, sizeof request);
    memset(&into, 0, sizeof into);
    request.size = sizeof request;
    request.output = "o";
    request.frame = frame;
    request.scale = half ? 0.5 : 1;
    if (how != QUIETLY) {
        request.progress = tell;
        request.progress_user = request.cancel_user = &t;
        request.cancel = how == STOPPED_AT_ONCE ? at_once : ask;
    }
    into.size = sizeof into;
    into.data = out;
    into.floats = FLOATS;
    status = lampblack_evaluate(graph, &request, &into);
    if (how == STOPPED_AT_ONCE)
        return status != LAMPBLACK_CANCELLED;
    if (how == STOPPED_LATER && status == LAMPBLACK_CANCELLED)
        return t.wrong + t.is_over;
    return t.wrong + (status != LAMPBLACK_OK) + (how != QUIETLY && !t.is_over);
}

static lampblack_graph *make(int threads)
{
    lampblack_options options = {sizeof options, threads, false, 1 << 20, NULL};
    lampblack_graph *graph = NULL;

    if (lampblack_graph_new(&options, &graph) != LAMPBLACK_OK ||
        lampblack_parse(graph, "kiln.yaml", text, sizeof text - 1) != LAMPBLACK_OK)
        lampblack_graph_free(&graph);
    return graph;
}

typedef struct task {
    lampblack_graph *shared;
    int number, wrong;
} task;

/* The shared object, and one of its own. */
static void *work(void *context)
{
    task *t = context;
    lampblack_graph *own = make(2);
    float *pixels = calloc(FLOATS, sizeof *pixels);

    t->wrong += !own || !pixels;
    for (int round = 0; round < ROUNDS && !t->wrong; round++)
        for (int i = 0; i < 2 * FRAMES; i++) {
            int at = (i + t->number) % (2 * FRAMES), half = at % 2, frame = at / 2;
            lampblack_message message = {.size = sizeof message};
            size_t bytes = half ? FLOATS / 4 * sizeof(float) : FLOATS * sizeof(float);

            if (half) /* 24 x 14: 13.5 is rounded */
                bytes = 24 * 14 * 4 * sizeof(float);
            t->wrong += get(t->shared, half, frame + 1, STOPPED_LATER, pixels);
            t->wrong += get(t->shared, half, frame + 1, t->number % 2 ? TOLD : QUIETLY, pixels);
            t->wrong += memcmp(pixels, wanted[half][frame], bytes) != 0;
            t->wrong += get(t->shared, half, frame + 1, STOPPED_AT_ONCE, pixels);
            t->wrong += get(own, half, frame + 1, QUIETLY, pixels);
            t->wrong += memcmp(pixels, wanted[half][frame], bytes) != 0;
            for (int32_t k = 0; k < lampblack_message_count(t->shared); k++)
                t->wrong += lampblack_message_at(t->shared, k, &message) != LAMPBLACK_OK;
            lampblack_report(t->shared, NULL, 0);
        }
    free(pixels);
    lampblack_graph_free(&own);
    return NULL;
}

/* Requests that each wait, in their first callback, until the others have begun. */
typedef struct meeting {
    lampblack_graph *graph;
    pthread_mutex_t lock;
    pthread_cond_t changed;
    int taken, there, missed;
} meeting;

static void meet(void *user, const char *node, int32_t done, int32_t total)
{
    meeting *m = user;
    struct timespec until;
    int late = 0;

    (void)total;
    if (!node || done > 0)
        return;
    clock_gettime(CLOCK_REALTIME, &until);
    until.tv_sec += 60;
    pthread_mutex_lock(&m->lock);
    m->there++;
    pthread_cond_broadcast(&m->changed);
    while (m->there < THREADS && !late)
        late = pthread_cond_timedwait(&m->changed, &m->lock, &until);
    m->missed += late != 0;
    pthread_mutex_unlock(&m->lock);
}

static void *attend(void *context)
{
    meeting *m = context;
    float *pixels = calloc(FLOATS, sizeof *pixels);
    lampblack_request request;
    lampblack_pixels into;
    int frame;

    pthread_mutex_lock(&m->lock);
    frame = 10 + m->taken++; /* none has what another makes */
    pthread_mutex_unlock(&m->lock);
    memset(&request, 0, sizeof request);
    memset(&into, 0, sizeof into);
    request.size = sizeof request;
    request.output = "o";
    request.frame = frame;
    request.progress = meet;
    request.progress_user = m;
    into.size = sizeof into;
    into.data = pixels;
    into.floats = FLOATS;
    if (lampblack_evaluate(m->graph, &request, &into) != LAMPBLACK_OK) {
        pthread_mutex_lock(&m->lock);
        m->missed++;
        pthread_mutex_unlock(&m->lock);
    }
    free(pixels);
    return NULL;
}

/* They are computed at the same time, or they would wait for ever. */
static int run_together(lampblack_graph *graph)
{
    meeting m = {.graph = graph};
    pthread_t threads[THREADS];

    pthread_mutex_init(&m.lock, NULL);
    pthread_cond_init(&m.changed, NULL);
    for (int i = 0; i < THREADS; i++)
        if (pthread_create(&threads[i], NULL, attend, &m) != 0)
            return 1;
    for (int i = 0; i < THREADS; i++)
        pthread_join(threads[i], NULL);
    pthread_cond_destroy(&m.changed);
    pthread_mutex_destroy(&m.lock);
    return m.missed + (m.there != THREADS);
}

int main(void)
{
    lampblack_graph *alone = make(1), *shared = make(2);
    pthread_t threads[THREADS];
    task tasks[THREADS];
    int wrong = !alone || !shared;

    for (int i = 0; i < 2 * FRAMES && !wrong; i++)
        wrong += get(alone, i % 2, i / 2 + 1, 0, wanted[i % 2][i / 2]);
    wrong += memcmp(wanted[0][0], wanted[0][1], sizeof wanted[0][0]) == 0; /* frames do differ */
    for (int i = 0; i < THREADS; i++)
        tasks[i] = (task){shared, i, 0};
    for (int i = 0; i < THREADS && !wrong; i++)
        if (pthread_create(&threads[i], NULL, work, &tasks[i]) != 0)
            return 1;
    for (int i = 0; i < THREADS && !wrong; i++)
        pthread_join(threads[i], NULL);
    for (int i = 0; i < THREADS; i++)
        wrong += tasks[i].wrong;
    wrong += shared ? run_together(shared) : 0;
    lampblack_graph_free(&shared);
    lampblack_graph_free(&alone);
    if (lampblack_memory_used() != 0)
        wrong++;
    printf("%d wrong\n", wrong);
    return wrong != 0;
}
