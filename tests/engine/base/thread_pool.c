/* tests/engine/base/thread_pool.c: the thread pool. A plain program, so that ThreadSanitizer can
 * run it; every answer is a sum or an order that arithmetic gives. */
#include <pthread.h>
#include <sched.h>
#include <signal.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "engine/base/memory.h"
#include "tests/support/plain.h"

static void nap(long ns)
{
    struct timespec pause = {0, ns};

    nanosleep(&pause, NULL);
}

/* ---- Sums, and who has which number ---- */

typedef struct sums {
    int32_t threads, count, grain;
    int64_t *of_piece;      /* each written by one piece, so without a lock */
    atomic_int *is_running; /* by worker number */
    atomic_int wrong;
} sums;

static lb_status add_range(void *context, int32_t begin, int32_t end, int32_t worker)
{
    sums *s = context;
    int64_t sum = 0;

    if (worker < 0 || worker >= s->threads || atomic_exchange(&s->is_running[worker], 1))
        atomic_fetch_add(&s->wrong, 1);
    if (begin % s->grain || end > s->count || (end - begin != s->grain && end != s->count))
        atomic_fetch_add(&s->wrong, 1);
    for (int32_t i = begin; i < end; i++)
        sum += i;
    if (begin / s->grain % 16 == 3)
        sched_yield(); /* others get their turn while this one has its number */
    s->of_piece[begin / s->grain] = sum;
    atomic_store(&s->is_running[worker], 0);
    return LB_OK;
}

/* Runs one loop of its own and compares with n (n - 1) / 2. */
static int run_sum(lb_pool *pool, int32_t count, int32_t grain)
{
    int32_t pieces = (count - 1) / grain + 1;
    sums s = {.threads = lb_pool_threads(pool), .count = count, .grain = grain};
    int64_t total = 0;
    int wrong;

    s.of_piece = calloc((size_t)pieces, sizeof *s.of_piece);
    s.is_running = calloc((size_t)s.threads, sizeof *s.is_running);
    if (!s.of_piece || !s.is_running)
        abort();
    wrong = lb_pool_for(pool, count, grain, add_range, &s) != LB_OK;
    for (int32_t i = 0; i < pieces; i++)
        total += s.of_piece[i];
    wrong += total != (int64_t)count * (count - 1) / 2;
    wrong += atomic_load(&s.wrong);
    free(s.of_piece);
    free(s.is_running);
    return wrong;
}

static void test_sums(lb_pool *pool)
{
    static const int32_t counts[] = {1, 2, 99, 1000, 12345}, grains[] = {1, 7, 100, 100000};

    for (int round = 0; round < 20; round++)
        for (size_t i = 0; i < sizeof counts / sizeof counts[0]; i++)
            for (size_t k = 0; k < sizeof grains / sizeof grains[0]; k++)
                EXPECT(run_sum(pool, counts[i], grains[k]) == 0, "%d by %d on %d", counts[i],
                       grains[k], lb_pool_threads(pool));
}

/* ---- All threads work, and each has its own number ---- */

typedef struct meeting {
    int32_t threads;
    atomic_int here, by_worker[64];
} meeting;

/* A piece for each thread that ends only when all have begun: with a thread fewer at work the last
 * would never come, so each gives up after ten seconds. */
static lb_status meet(void *context, int32_t begin, int32_t end, int32_t worker)
{
    meeting *m = context;

    (void)begin;
    (void)end;
    atomic_fetch_add(&m->by_worker[worker], 1);
    atomic_fetch_add(&m->here, 1);
    for (int i = 0; i < 100000 && atomic_load(&m->here) < m->threads; i++)
        nap(100000);
    return atomic_load(&m->here) < m->threads ? LB_LIMIT : LB_OK;
}

static lb_status meet_inside(void *context, int32_t begin, int32_t end, int32_t worker)
{
    meeting inner = {.threads = 2};

    (void)end;
    (void)worker;
    return begin == 0 ? lb_pool_for(context, 2, 1, meet, &inner) : LB_OK;
}

static void test_meeting(lb_pool *pool)
{
    for (int round = 0; round < 20 && !failures; round++) {
        meeting m = {.threads = lb_pool_threads(pool)};

        EXPECT(lb_pool_for(pool, m.threads, 1, meet, &m) == LB_OK, "%d threads", m.threads);
        for (int32_t i = 0; i < m.threads; i++)
            EXPECT(atomic_load(&m.by_worker[i]) == 1, "worker %d of %d: %d times", i, m.threads,
                   atomic_load(&m.by_worker[i]));
        if (m.threads > 1)
            EXPECT(lb_pool_for(pool, 2, 1, meet_inside, pool) == LB_OK, "inner loop gets help");
    }
}

/* ---- Loops inside loops ---- */

typedef struct nest {
    lb_pool *pool;
    atomic_int wrong;
} nest;

static lb_status inner_sum(void *context, int32_t begin, int32_t end, int32_t worker)
{
    nest *n = context;

    (void)worker;
    for (int32_t i = begin; i < end; i++)
        atomic_fetch_add(&n->wrong, run_sum(n->pool, 500 + i, 9));
    return LB_OK;
}

static lb_status middle(void *context, int32_t begin, int32_t end, int32_t worker)
{
    nest *n = context;

    (void)worker;
    return lb_pool_for(n->pool, end - begin + 3, 1, inner_sum, n);
}

static void test_nested(lb_pool *pool)
{
    nest n = {.pool = pool};

    for (int round = 0; round < 10; round++)
        EXPECT(lb_pool_for(pool, 12, 2, middle, &n) == LB_OK, "nested");
    EXPECT(atomic_load(&n.wrong) == 0, "%d inner loops", atomic_load(&n.wrong));
}

/* ---- Several callers ---- */

static void *call_often(void *argument)
{
    nest *n = argument;

    for (int round = 0; round < 100; round++)
        atomic_fetch_add(&n->wrong, run_sum(n->pool, 300 + round, 5));
    if (lb_pool_for(n->pool, 6, 1, middle, n) != LB_OK)
        atomic_fetch_add(&n->wrong, 1);
    return NULL;
}

static void test_callers(lb_pool *pool)
{
    nest n = {.pool = pool};
    pthread_t callers[4];

    for (int i = 0; i < 4; i++)
        if (pthread_create(&callers[i], NULL, call_often, &n) != 0)
            abort();
    for (int i = 0; i < 4; i++)
        pthread_join(callers[i], NULL);
    EXPECT(atomic_load(&n.wrong) == 0, "%d loops", atomic_load(&n.wrong));
}

/* ---- Failure: the lowest piece answers, and those below it have all run ---- */

typedef struct failing {
    int32_t fail_from, step; /* pieces fail_from, fail_from + step, ... fail */
    atomic_int ran[200];
} failing;

static lb_status fail_some(void *context, int32_t begin, int32_t end, int32_t worker)
{
    failing *f = context;

    (void)end;
    (void)worker;
    if (begin % 3 == 0) /* where the lowest failure is: let those behind it fail first */
        nap(begin == f->fail_from ? 300000 : 20000);
    atomic_fetch_add(&f->ran[begin], 1);
    if (begin < f->fail_from || (begin - f->fail_from) % f->step)
        return LB_OK;
    return begin == f->fail_from ? LB_FORMAT : LB_IO;
}

static void test_failure(lb_pool *pool)
{
    for (int32_t from = 0; from < 200; from += 3) {
        failing f = {.fail_from = from, .step = 1 + from % 4};

        EXPECT(lb_pool_for(pool, 200, 1, fail_some, &f) == LB_FORMAT, "first failure %d", from);
        for (int i = 0; i < 200; i++)
            EXPECT(atomic_load(&f.ran[i]) <= 1 && (i > from || atomic_load(&f.ran[i]) == 1),
                   "piece %d ran %d times, first failure %d", i, atomic_load(&f.ran[i]), from);
    }
}

/* ---- Cancelling ---- */

static lb_pool *to_cancel; /* a signal handler is handed nothing */

static void on_signal(int number)
{
    (void)number;
    lb_pool_cancel(to_cancel);
}

/* The tenth piece sends the signal once those before it have begun, and sees it arrive: the system
 * may hand it to another thread. */
static lb_status raise_at_ten(void *context, int32_t begin, int32_t end, int32_t worker)
{
    atomic_int *ran = context;

    (void)end;
    (void)worker;
    while (begin == 10 && atomic_load(ran) < 10 && !lb_pool_is_cancelled(to_cancel))
        nap(1000);
    atomic_fetch_add(ran, 1);
    if (begin == 10)
        kill(getpid(), SIGUSR1);
    while (begin == 10 && !lb_pool_is_cancelled(to_cancel))
        nap(1000);
    return LB_OK;
}

static lb_status cancel_inside(void *context, int32_t begin, int32_t end, int32_t worker)
{
    atomic_int ran;

    (void)begin;
    (void)end;
    (void)worker;
    atomic_init(&ran, 0);
    return lb_pool_for(context, 1000000000, 1, raise_at_ten, &ran);
}

static void test_cancel(int32_t threads)
{
    atomic_int ran;

    atomic_init(&ran, 0);
    to_cancel = new_pool(threads);
    EXPECT(!lb_pool_is_cancelled(to_cancel), "new");
    EXPECT(lb_pool_for(to_cancel, 11, 1, raise_at_ten, &ran) == LB_OK,
           "all pieces done before the cancel");
    EXPECT(lb_pool_is_cancelled(to_cancel), "after the signal");
    EXPECT(lb_pool_for(to_cancel, 5, 1, raise_at_ten, &ran) == LB_CANCELLED, "a later loop");
    EXPECT(lb_pool_for(to_cancel, 1, 1, raise_at_ten, &ran) == LB_CANCELLED, "one piece");
    EXPECT(lb_pool_for(to_cancel, 0, 1, raise_at_ten, &ran) == LB_OK, "nothing to do");
    EXPECT(atomic_load(&ran) == 11, "%d ran", atomic_load(&ran));
    lb_pool_free(&to_cancel);

    to_cancel = new_pool(threads);
    atomic_store(&ran, 0);
    EXPECT(lb_pool_for(to_cancel, 1000000000, 1, raise_at_ten, &ran) == LB_CANCELLED, "long loop");
    lb_pool_free(&to_cancel);

    to_cancel = new_pool(threads);
    EXPECT(lb_pool_for(to_cancel, 4, 1, cancel_inside, to_cancel) == LB_CANCELLED, "inner loop");
    lb_pool_free(&to_cancel);
}

/* ---- The rest ---- */

static lb_status note_last(void *context, int32_t begin, int32_t end, int32_t worker)
{
    (void)begin;
    (void)worker;
    atomic_store((atomic_int *)context, end);
    return LB_OK;
}

static lb_status fail_always(void *context, int32_t begin, int32_t end, int32_t worker)
{
    (void)context;
    (void)begin;
    (void)end;
    (void)worker;
    return LB_LIMIT;
}

static void test_edges(void)
{
    lb_pool *pool = new_pool(3), *none = NULL;
    atomic_int last;
    size_t before = lb_memory_used();

    atomic_init(&last, 0);
    EXPECT(lb_pool_for(pool, INT32_MAX, INT32_MAX / 3, note_last, &last) == LB_OK, "large");
    EXPECT(lb_pool_for(pool, INT32_MAX, 1, fail_always, NULL) == LB_LIMIT, "fails at once");
    EXPECT(lb_pool_for(pool, -5, 1, fail_always, NULL) == LB_OK, "fewer than nothing");
    EXPECT(run_sum(NULL, 1000, 7) == 0, "without a pool");
    EXPECT(lb_pool_for(NULL, 9, 1, fail_always, NULL) == LB_LIMIT, "without a pool");
    EXPECT(lb_pool_for(pool, 9, 0, note_last, &last) == LB_OK, "grain 0 is 1");
    EXPECT(lb_pool_threads(NULL) == 1 && lb_pool_threads(pool) == 3, "threads");
    EXPECT(!lb_pool_is_cancelled(NULL), "NULL");
    lb_pool_cancel(NULL);
    lb_pool_free(&none);
    lb_pool_free(&pool);
    EXPECT(pool == NULL && lb_memory_used() < before, "memory is given back");
    pool = new_pool(0);
    EXPECT(lb_pool_threads(pool) >= 1, "threads of the system");
    lb_pool_free(&pool);
    for (int64_t n = 1; n <= 2; n++) {
        lb_memory_fail_at(n);
        EXPECT(lb_pool_new(4, &pool) == LB_MEMORY && pool == NULL, "allocation %d", (int)n);
        lb_memory_fail_at(0);
    }
}

/* Ends again and again while threads spin, sleep or have just been made. */
static void test_ending(void)
{
    for (int round = 0; round < 100; round++) {
        lb_pool *pool = new_pool(1 + round % 4);

        if (round % 3)
            EXPECT(run_sum(pool, 50, 3) == 0, "round %d", round);
        nap((round % 7) * 10000);
        lb_pool_free(&pool);
    }
}

static lb_refs shared;
static int payload;
static atomic_int freed;

static void *drop_often(void *argument)
{
    (void)argument;
    for (int i = 0; i < 10000; i++) {
        lb_refs_take(&shared);
        if (lb_refs_drop(&shared))
            atomic_fetch_add(&freed, 100);
    }
    if (lb_refs_drop(&shared)) {
        payload++; /* alone now: no race */
        atomic_fetch_add(&freed, 1);
    }
    return NULL;
}

static void test_refs(void)
{
    pthread_t threads[3];

    lb_refs_init(&shared);
    lb_refs_take(&shared);
    lb_refs_take(&shared);
    payload = 1;
    for (int i = 0; i < 3; i++)
        if (pthread_create(&threads[i], NULL, drop_often, NULL) != 0)
            abort();
    for (int i = 0; i < 3; i++)
        pthread_join(threads[i], NULL);
    EXPECT(atomic_load(&freed) == 1 && payload == 2, "freed %d times", atomic_load(&freed));
}

int main(void)
{
    static const int32_t counts[] = {1, 2, 3, 7};
    struct sigaction action;

    memset(&action, 0, sizeof action);
    action.sa_handler = on_signal;
    sigaction(SIGUSR1, &action, NULL);
    for (size_t i = 0; i < sizeof counts / sizeof counts[0]; i++) {
        lb_pool *pool = new_pool(counts[i]);
        test_meeting(pool);
        test_sums(pool);
        test_nested(pool);
        test_callers(pool);
        test_failure(pool);
        lb_pool_free(&pool);
        test_cancel(counts[i]);
    }
    test_edges();
    test_ending();
    test_refs();
    if (failures)
        fprintf(stderr, "%d failures\n", failures);
    return failures != 0;
}
