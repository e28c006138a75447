/* tests/engine/api/thread_api.c: one graph object used from several threads at once, beside others:
 * the pixels are those that one thread gets alone. */
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

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

static void tell(void *user, const char *node, int32_t done, int32_t total)
{
    *(int *)user += node != NULL || done == total;
}

static bool ask(void *user)
{
    return *(int *)user > 1000000;
}

static bool at_once(void *user)
{
    (void)user;
    return true;
}

static int get(lampblack_graph *graph, int half, int frame, int calls_back, float *out)
{
    lampblack_request request;
    lampblack_pixels into;
    int told = 0;

    memset(&request, 0, sizeof request);
    memset(&into, 0, sizeof into);
    request.size = sizeof request;
    request.output = "o";
    request.frame = frame;
    request.scale = half ? 0.5 : 1;
    if (calls_back) {
        request.progress = tell;
        request.progress_user = request.cancel_user = &told;
        request.cancel = calls_back == 2 ? at_once : ask;
    }
    into.size = sizeof into;
    into.data = out;
    into.floats = FLOATS;
    if (calls_back == 2)
        return lampblack_evaluate(graph, &request, &into) != LAMPBLACK_CANCELLED;
    return lampblack_evaluate(graph, &request, &into) != LAMPBLACK_OK || (calls_back && told < 1);
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
            t->wrong += get(t->shared, half, frame + 1, t->number % 2, pixels);
            t->wrong += memcmp(pixels, wanted[half][frame], bytes) != 0;
            t->wrong += get(t->shared, half, frame + 1, 2, pixels);
            t->wrong += get(own, half, frame + 1, 0, pixels);
            t->wrong += memcmp(pixels, wanted[half][frame], bytes) != 0;
            for (int32_t k = 0; k < lampblack_message_count(t->shared); k++)
                t->wrong += lampblack_message_at(t->shared, k, &message) != LAMPBLACK_OK;
            lampblack_report(t->shared, NULL, 0);
        }
    free(pixels);
    lampblack_graph_free(&own);
    return NULL;
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
    lampblack_graph_free(&shared);
    lampblack_graph_free(&alone);
    if (lampblack_memory_used() != 0)
        wrong++;
    printf("%d wrong\n", wrong);
    return wrong != 0;
}
