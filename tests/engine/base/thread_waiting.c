/* tests/engine/base/thread_waiting.c: loops whose pieces wait for each other, and meters. A plain
 * program, so that ThreadSanitizer can run it. What hangs is ended by an alarm. */
#include <pthread.h>
#include <sched.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>
#include <unistd.h>

#include "engine/base/memory.h"
#include "tests/support/plain.h"

#define PIECES 40
#define NEEDS 3

static uint32_t next_random(uint64_t *state)
{
    *state = *state * UINT64_C(6364136223846793005) + 1442695040888963407u; /* Knuth's MMIX */
    return (uint32_t)(*state >> 33);
}

static void nap(long ns)
{
    struct timespec pause = {0, ns};

    nanosleep(&pause, NULL);
}

/* ---- Pieces that need others ---- */

typedef struct graph {
    lb_pool *pool;
    int32_t count, fails; /* piece `fails` fails; -1: none does */
    int32_t cancels;      /* piece `cancels` stops the graph; -1: none does */
    lb_stop stop;
    int32_t needs[PIECES][NEEDS], need_count[PIECES];
    int64_t values[PIECES]; /* written by its piece, read by those that need it: no lock */
    int32_t loops[PIECES];  /* passes of the loop inside each */
    atomic_int done[PIECES], ran[PIECES];
    atomic_int stopped, wrong;
} graph;

typedef struct waiting {
    const graph *g;
    int32_t piece;
} waiting;

static bool is_ready(const void *context)
{
    const waiting *w = context;
    graph *g = (graph *)w->g;

    if (atomic_load(&g->stopped) || lb_pool_is_cancelled(g->pool))
        return true;
    for (int32_t i = 0; i < g->need_count[w->piece]; i++)
        if (!atomic_load(&g->done[g->needs[w->piece][i]]))
            return false;
    return true;
}

typedef struct inner {
    graph *g;
    int32_t piece;
    atomic_int is_running[32]; /* by worker number */
    int64_t sums[64];
} inner;

static lb_status add_inside(void *context, int32_t begin, int32_t end, int32_t worker)
{
    inner *in = context;

    if (worker < 0 || worker >= lb_pool_threads(in->g->pool) ||
        atomic_exchange(&in->is_running[worker], 1))
        atomic_fetch_add(&in->g->wrong, 1);
    for (int32_t i = begin; i < end; i++)
        in->sums[i] = i;
    if (begin % 8 == 3)
        sched_yield(); /* others get their turn while this one has its number */
    atomic_store(&in->is_running[worker], 0);
    return LB_OK;
}

/* A loop inside a loop inside the piece. */
static lb_status nest_inside(void *context, int32_t begin, int32_t end, int32_t worker)
{
    inner *outer = context;

    (void)begin, (void)end, (void)worker;
    for (int round = 0; round < 2; round++) {
        inner in = {.g = outer->g};
        lb_status status = lb_pool_for(outer->g->pool, 12, 1, add_inside, &in);

        if (status != LB_OK)
            return status;
    }
    return LB_OK;
}

static lb_status run_piece(void *context, int32_t begin, int32_t end, int32_t worker)
{
    graph *g = context;
    waiting w = {g, begin};
    inner in = {.g = g, .piece = begin};
    int32_t loops = g->loops[begin];
    lb_status status = LB_OK;
    int64_t value = begin;

    (void)worker;
    if (end != begin + 1 || atomic_fetch_add(&g->ran[begin], 1))
        atomic_fetch_add(&g->wrong, 1);
    if (!is_ready(&w))
        lb_pool_wait(g->pool, is_ready, &w);
    if (lb_pool_threads(g->pool) > 1 && !is_ready(&w))
        atomic_fetch_add(&g->wrong, 1);
    if (atomic_load(&g->stopped) || lb_pool_is_cancelled(g->pool))
        return lb_pool_is_cancelled(g->pool) ? LB_CANCELLED : LB_OK;
    for (int32_t i = 0; i < g->need_count[begin]; i++)
        value += g->values[g->needs[begin][i]] % 1000003;
    if (begin == g->cancels)
        lb_stop_set(&g->stop, g->pool);
    status = lb_pool_for(g->pool, loops, 3, add_inside, &in);
    for (int32_t i = 0; i < loops && status == LB_OK; i++)
        value += in.sums[i];
    if (status == LB_OK && begin % 5 == 0)
        status = lb_pool_for(g->pool, 3, 1, nest_inside, &in);
    g->values[begin] = value;
    if (begin == g->fails)
        status = LB_FORMAT;
    if (status != LB_OK)
        atomic_store(&g->stopped, 1);
    atomic_store(&g->done[begin], 1);
    lb_pool_notify(g->pool);
    return status;
}

static graph *new_graph(lb_pool *pool, uint64_t seed)
{
    graph *g = calloc(1, sizeof *g);

    if (!g)
        abort();
    g->pool = pool;
    g->fails = g->cancels = -1;
    g->count = 1 + (int32_t)(next_random(&seed) % PIECES);
    for (int32_t i = 0; i < g->count; i++) {
        g->need_count[i] = i ? (int32_t)(next_random(&seed) % (NEEDS + 1)) : 0;
        for (int32_t k = 0; k < g->need_count[i]; k++)
            g->needs[i][k] =
                next_random(&seed) % 2 ? i - 1 : (int32_t)(next_random(&seed) % (uint32_t)i);
        g->loops[i] = (int32_t)(next_random(&seed) % 64);
    }
    return g;
}

/* What piece `i` works out, in order. */
static bool is_right(const graph *g)
{
    int64_t values[PIECES];

    for (int32_t i = 0; i < g->count; i++) {
        values[i] = i + (int64_t)g->loops[i] * (g->loops[i] - 1) / 2;
        for (int32_t k = 0; k < g->need_count[i]; k++)
            values[i] += values[g->needs[i][k]] % 1000003;
        if (values[i] != g->values[i])
            return false;
    }
    return true;
}

static void test_graphs(lb_pool *pool, int rounds)
{
    for (int round = 0; round < rounds; round++) {
        graph *g = new_graph(pool, (uint64_t)round);

        EXPECT(lb_pool_for_waiting(pool, g->count, run_piece, g) == LB_OK, "graph %d", round);
        EXPECT(is_right(g) && g->wrong == 0, "graph %d on %d threads: %d", round,
               lb_pool_threads(pool), g->wrong);
        free(g);
    }
}

static void test_failures(lb_pool *pool, int rounds)
{
    for (int round = 0; round < rounds; round++) {
        graph *g = new_graph(pool, (uint64_t)round + 777);

        g->fails = round % g->count;
        EXPECT(lb_pool_for_waiting(pool, g->count, run_piece, g) == LB_FORMAT, "graph %d", round);
        EXPECT(g->wrong == 0, "graph %d", round);
        free(g);
    }
}

/* The pool goes on being used. */
static void test_stop(lb_pool *pool, int rounds)
{
    for (int round = 0; round < rounds; round++) {
        graph *g = new_graph(pool, (uint64_t)round + 999);
        lb_stop *around = lb_stop_use(&g->stop);
        lb_status status;

        g->cancels = round % g->count;
        status = lb_pool_for_waiting(pool, g->count, run_piece, g);
        EXPECT(status == LB_CANCELLED || (status == LB_OK && is_right(g)), "graph %d: %s", round,
               lb_status_text(status));
        EXPECT(lb_pool_is_cancelled(pool) && lb_pool_is_cancelled(NULL), "graph %d", round);
        EXPECT(lb_stop_use(around) == &g->stop, "the one that was used");
        EXPECT(!lb_pool_is_cancelled(pool) && !lb_pool_is_cancelled(NULL), "graph %d", round);
        free(g);
    }
}

typedef struct canceller {
    lb_pool *pool;
    lb_stop *stop; /* NULL: all of the pool */
} canceller;

static void *cancel_soon(void *context)
{
    const canceller *c = context;

    nap((long)(rand() % 300000));
    if (c->stop)
        lb_stop_set(c->stop, c->pool);
    else
        lb_pool_cancel(c->pool);
    return NULL;
}

/* From outside, whatever the pieces are doing: some wait, some have just been taken. */
static void run_cancelled(lb_pool *pool, uint64_t seed, bool is_all)
{
    graph *g = new_graph(pool, seed);
    canceller c = {pool, is_all ? NULL : &g->stop};
    lb_stop *around = lb_stop_use(&g->stop);
    pthread_t other;
    lb_status status;

    if (pthread_create(&other, NULL, cancel_soon, &c) != 0)
        abort();
    status = lb_pool_for_waiting(pool, g->count, run_piece, g);
    EXPECT(status == LB_CANCELLED || (status == LB_OK && is_right(g)), "graph %d: %s", (int)seed,
           lb_status_text(status));
    pthread_join(other, NULL);
    lb_stop_use(around);
    free(g);
}

static void test_cancel_from_outside(lb_pool *pool, int rounds)
{
    for (int round = 0; round < rounds; round++) {
        lb_pool *own = round % 4 ? NULL : new_pool(lb_pool_threads(pool));

        run_cancelled(own ? own : pool, (uint64_t)round + 31, own != NULL);
        lb_pool_free(&own);
    }
}

/* ---- Several graphs at once, and lanes of them ---- */

static lb_status run_lane(void *context, int32_t begin, int32_t end, int32_t worker)
{
    graph *g = new_graph(context, (uint64_t)begin + 4000);
    lb_status status = lb_pool_for_waiting(context, g->count, run_piece, g);

    (void)end, (void)worker;
    if (status == LB_OK && (!is_right(g) || g->wrong))
        status = LB_INVALID;
    free(g);
    return status;
}

static void test_lanes(lb_pool *pool)
{
    for (int32_t lanes = 1; lanes < 9; lanes += 3)
        EXPECT(lb_pool_for_waiting(pool, lanes, run_lane, pool) == LB_OK, "%d lanes", lanes);
}

static void *call_often(void *context)
{
    test_graphs(context, 10);
    return NULL;
}

/* Stops its graphs beside the others', which are not touched by it. */
static void *stop_often(void *context)
{
    for (int i = 0; i < 10; i++)
        run_cancelled(context, (uint64_t)i + 5000, false);
    return NULL;
}

/* Threads that are not the pool's. */
static void test_callers(lb_pool *pool)
{
    pthread_t callers[4];

    for (int i = 0; i < 4; i++)
        if (pthread_create(&callers[i], NULL, i % 2 ? stop_often : call_often, pool) != 0)
            abort();
    for (int i = 0; i < 4; i++)
        pthread_join(callers[i], NULL);
}

/* ---- Waiting for somebody outside the pool ---- */

typedef struct outside {
    lb_pool *pool;
    atomic_int is_open;
} outside;

static bool is_open(const void *context)
{
    return atomic_load(&((outside *)context)->is_open) != 0;
}

static void *open_later(void *context)
{
    outside *o = context;

    nap(2000000);
    atomic_store(&o->is_open, 1);
    lb_pool_notify(o->pool);
    return NULL;
}

static void test_outside(lb_pool *pool)
{
    outside o = {.pool = pool};
    pthread_t other;

    if (pthread_create(&other, NULL, open_later, &o) != 0)
        abort();
    lb_pool_wait(pool, is_open, &o);
    EXPECT(lb_pool_threads(pool) == 1 || o.is_open, "waited");
    pthread_join(other, NULL);
    lb_pool_wait(pool, is_open, &o);
    lb_pool_wait(NULL, is_open, &o);
    lb_pool_notify(NULL);
}

/* ---- Meters ---- */

static lb_status take_some(void *context, int32_t begin, int32_t end, int32_t worker)
{
    void **blocks = context;

    (void)end, (void)worker;
    blocks[begin] = lb_block_new((size_t)(begin + 1) << 16);
    if (begin % 8 == 0)
        nap(20000); /* so that other threads get some */
    return blocks[begin] ? LB_OK : LB_MEMORY;
}

static lb_status give_back(void *context, int32_t begin, int32_t end, int32_t worker)
{
    void **blocks = context;

    (void)end, (void)worker;
    lb_block_free(blocks[begin]);
    return LB_OK;
}

/* All that the pieces took is on the caller's meter, whoever took it, and nothing on another. */
static void test_meter(lb_pool *pool)
{
    enum { COUNT = 64 };
    void *blocks[COUNT];
    lb_meter outer = {0}, meter = {0}, *before = lb_meter_use(&outer);
    size_t used = lb_memory_used();

    EXPECT(before == NULL && lb_meter_in_use() == &outer, "the one before");
    EXPECT(lb_meter_use(&meter) == &outer, "the one before");
    EXPECT(lb_pool_for(pool, COUNT, 1, take_some, blocks) == LB_OK, "taking");
    EXPECT(lb_meter_in_use() == &meter, "still");
    EXPECT((size_t)meter.now == lb_memory_used() - used, "%lld", (long long)meter.now);
    EXPECT(meter.now >= (int64_t)COUNT * (COUNT + 1) / 2 << 16 && meter.most == meter.now, "%lld",
           (long long)meter.most);
    EXPECT(lb_pool_for(pool, COUNT, 1, give_back, blocks) == LB_OK, "giving back");
    EXPECT(meter.now == 0 && lb_memory_used() == used, "%lld", (long long)meter.now);
    EXPECT(meter.most >= (int64_t)COUNT * (COUNT + 1) / 2 << 16, "the most stays");
    EXPECT(lb_meter_use(NULL) == &meter, "none");
    EXPECT(outer.now == 0 && outer.most == 0, "another one");
    EXPECT(lb_pool_for(pool, COUNT, 1, take_some, blocks) == LB_OK, "taking");
    EXPECT(lb_pool_for(pool, COUNT, 1, give_back, blocks) == LB_OK, "giving back");
    EXPECT(meter.now == 0, "not in use");
}

int main(void)
{
    static const int32_t counts[] = {1, 2, 3, 7, 16};

    alarm(200);
    for (size_t i = 0; i < sizeof counts / sizeof counts[0]; i++) {
        lb_pool *pool = new_pool(counts[i]);

        test_graphs(pool, 60);
        test_failures(pool, 60);
        test_stop(pool, 60);
        test_cancel_from_outside(pool, 60);
        test_lanes(pool);
        test_callers(pool);
        test_outside(pool);
        test_meter(pool);
        lb_pool_free(&pool);
    }
    if (failures)
        fprintf(stderr, "%d failures\n", failures);
    return failures != 0;
}
