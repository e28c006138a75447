/* engine/base/thread.c: a pool of threads that splits loops.
 *
 * A loop is a job on its caller's stack. The caller enters it into the pool's list and takes pieces
 * from its counter like everybody else; idle threads join the newest job that has pieces left, so
 * that an inner loop, which holds up an outer one, is helped first. When the counter has run out
 * the caller takes the job off the list and waits for those who are still inside. A caller helps
 * nobody else meanwhile: a thread is then never inside the same job twice, and waiting ends because
 * whoever is inside a piece depends only on jobs that are further in.
 *
 * Worker numbers: the caller is 0 in its own job, thread i of the pool is i + 1 in every job that
 * it joins. It may also be the caller, 0, of a job further in. So within one job no two threads
 * have the same number; across jobs they may. */
#include "engine/base/thread.h"

#include <errno.h>
#include <pthread.h>
#include <sched.h>
#include <signal.h>
#include <stdatomic.h>
#include <time.h>
#include <unistd.h>

#include "engine/base/memory.h"

#define THREADS_MOST 1024
#define SPIN_NS 20000 /* about what it costs to wake a thread */

typedef struct job {
    struct job *newer, *older;
    lb_range_fn fn;
    void *context;
    int32_t count, grain, pieces;
    atomic_int_least64_t next;    /* the piece to be taken; `pieces` or more: none left */
    atomic_int_least32_t failed;  /* the lowest piece that failed so far; `pieces`: none */
    atomic_int_least32_t skipped; /* pieces left out because of a cancel */
    atomic_int_least32_t inside;  /* pool threads that joined and have not left; under the lock */
    lb_status status;             /* of piece `failed`; under the lock */
    pthread_cond_t left;          /* `inside` became 0 */
} job;

struct lb_pool {
    pthread_mutex_t lock;
    pthread_cond_t work;         /* a job was entered, or the end has come */
    job *newest;                 /* under the lock */
    atomic_uint entered;         /* jobs entered so far: what idle threads watch */
    atomic_int cancelled;        /* the only thing that a signal handler touches */
    bool is_ending;              /* under the lock */
    bool may_spin;               /* there are as many processors as threads */
    int32_t sleeping;            /* under the lock */
    int32_t threads;             /* with the caller */
    int32_t started;             /* pool threads that exist */
    struct pool_thread *members; /* threads - 1 */
};

typedef struct pool_thread {
    lb_pool *pool;
    pthread_t id;
    int32_t worker;
} pool_thread;

static int64_t now_ns(void)
{
    struct timespec now;

    clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t)now.tv_sec * 1000000000 + now.tv_nsec;
}

static void relax(void)
{
#if defined(__x86_64__)
    __builtin_ia32_pause();
#endif
}

static int32_t count_processors(void)
{
    cpu_set_t set;
    long online;

    if (sched_getaffinity(0, sizeof set, &set) == 0 && CPU_COUNT(&set) > 0)
        return CPU_COUNT(&set);
    online = sysconf(_SC_NPROCESSORS_ONLN);
    return online > 0 && online <= THREADS_MOST ? (int32_t)online : 1;
}

static bool has_pieces(job *j)
{
    return atomic_load_explicit(&j->next, memory_order_relaxed) < j->pieces;
}

/* Leaves out the pieces that nobody has taken. */
static void drop_rest(job *j)
{
    atomic_store_explicit(&j->next, j->pieces, memory_order_relaxed);
}

/* Notes that a piece failed; the lowest one counts. Pieces are taken in rising order and one that
 * was taken is left out only if a lower one failed, so every piece below the lowest failure runs
 * and the answer does not depend on the threads. */
static void note_failure(lb_pool *pool, job *j, int32_t piece, lb_status status)
{
    pthread_mutex_lock(&pool->lock);
    if (piece < atomic_load(&j->failed)) {
        atomic_store(&j->failed, piece);
        j->status = status;
    }
    pthread_mutex_unlock(&pool->lock);
    drop_rest(j);
}

/* Does pieces of a job until none is left. */
static void work_on(lb_pool *pool, job *j, int32_t worker)
{
    while (has_pieces(j)) { /* looked at first, so that the counter stays near `pieces` */
        int64_t taken = atomic_fetch_add_explicit(&j->next, 1, memory_order_relaxed);
        int32_t piece, begin, end;
        lb_status status;

        if (taken >= j->pieces || taken > atomic_load_explicit(&j->failed, memory_order_relaxed))
            return;
        if (lb_pool_is_cancelled(pool)) {
            atomic_store_explicit(&j->skipped, 1, memory_order_relaxed);
            drop_rest(j);
            return;
        }
        piece = (int32_t)taken;
        begin = piece * j->grain;
        end = j->count - begin > j->grain ? begin + j->grain : j->count;
        status = j->fn(j->context, begin, end, worker);
        if (status)
            note_failure(pool, j, piece, status);
    }
}

/* The newest job that has pieces left, entered as one more inside; NULL: none. Under the lock. */
static job *join(lb_pool *pool)
{
    for (job *j = pool->newest; j; j = j->older) {
        if (has_pieces(j)) {
            atomic_fetch_add_explicit(&j->inside, 1, memory_order_relaxed);
            return j;
        }
    }
    return NULL;
}

/* The caller may return, and the job's memory be gone, as soon as the lock is free again. */
static void leave(job *j)
{
    if (atomic_fetch_sub_explicit(&j->inside, 1, memory_order_relaxed) == 1)
        pthread_cond_signal(&j->left);
}

/* Watches for a new job for a moment, without the lock. */
static void spin_for_work(lb_pool *pool, unsigned seen)
{
    int64_t until = now_ns() + SPIN_NS;

    do {
        for (int i = 0; i < 32; i++) {
            if (atomic_load_explicit(&pool->entered, memory_order_relaxed) != seen)
                return;
            relax();
        }
    } while (now_ns() < until);
}

static void *run_thread(void *argument)
{
    pool_thread *self = argument;
    lb_pool *pool = self->pool;
    bool has_spun = false;

    pthread_mutex_lock(&pool->lock);
    while (!pool->is_ending) {
        job *j = join(pool);
        if (j) {
            pthread_mutex_unlock(&pool->lock);
            work_on(pool, j, self->worker);
            pthread_mutex_lock(&pool->lock);
            leave(j);
            has_spun = false;
        } else if (pool->may_spin && !has_spun) {
            unsigned seen = atomic_load(&pool->entered);
            pthread_mutex_unlock(&pool->lock);
            spin_for_work(pool, seen);
            pthread_mutex_lock(&pool->lock);
            has_spun = true;
        } else {
            pool->sleeping++;
            pthread_cond_wait(&pool->work, &pool->lock);
            pool->sleeping--;
            has_spun = false;
        }
    }
    pthread_mutex_unlock(&pool->lock);
    return NULL;
}

static void enter(lb_pool *pool, job *j)
{
    int32_t wanted = j->pieces - 1;

    pthread_mutex_lock(&pool->lock);
    j->older = pool->newest;
    if (pool->newest)
        pool->newest->newer = j;
    pool->newest = j;
    atomic_fetch_add_explicit(&pool->entered, 1, memory_order_relaxed);
    if (pool->sleeping > 0 && wanted >= pool->sleeping)
        pthread_cond_broadcast(&pool->work);
    else
        for (int32_t i = 0; i < wanted && i < pool->sleeping; i++)
            pthread_cond_signal(&pool->work);
    pthread_mutex_unlock(&pool->lock);
}

/* Takes the job off the list and waits until nobody is inside. */
static void finish(lb_pool *pool, job *j)
{
    pthread_mutex_lock(&pool->lock);
    if (j->newer)
        j->newer->older = j->older;
    else
        pool->newest = j->older;
    if (j->older)
        j->older->newer = j->newer;
    if (atomic_load(&j->inside) > 0 && pool->may_spin) {
        int64_t until = now_ns() + SPIN_NS;
        pthread_mutex_unlock(&pool->lock);
        while (atomic_load_explicit(&j->inside, memory_order_relaxed) > 0 && now_ns() < until)
            relax();
        pthread_mutex_lock(&pool->lock); /* whoever left last has let go of the job now */
    }
    while (atomic_load(&j->inside) > 0)
        pthread_cond_wait(&j->left, &pool->lock);
    pthread_mutex_unlock(&pool->lock);
}

/* The whole loop on this thread. */
static lb_status run_alone(const lb_pool *pool, int32_t count, int32_t grain, lb_range_fn fn,
                           void *context)
{
    for (int32_t begin = 0; begin < count;) {
        int32_t end = count - begin > grain ? begin + grain : count;
        lb_status status;

        if (pool && lb_pool_is_cancelled(pool))
            return LB_CANCELLED;
        if ((status = fn(context, begin, end, 0)))
            return status;
        begin = end;
    }
    return LB_OK;
}

lb_status lb_pool_for(lb_pool *pool, int32_t count, int32_t grain, lb_range_fn fn, void *context)
{
    job j = {.fn = fn, .context = context, .count = count, .grain = grain < 1 ? 1 : grain};

    if (count <= 0)
        return LB_OK;
    j.pieces = (count - 1) / j.grain + 1;
    if (!pool || pool->started == 0 || j.pieces == 1 || pthread_cond_init(&j.left, NULL) != 0)
        return run_alone(pool, count, j.grain, fn, context);
    atomic_init(&j.failed, j.pieces);
    enter(pool, &j);
    work_on(pool, &j, 0);
    finish(pool, &j);
    pthread_cond_destroy(&j.left);
    if (j.status)
        return j.status;
    return atomic_load(&j.skipped) ? LB_CANCELLED : LB_OK;
}

/* Threads with every signal blocked, so that handlers run where the program expects them. */
static bool start_threads(lb_pool *pool)
{
    sigset_t all, before;
    bool good = true;

    sigfillset(&all);
    pthread_sigmask(SIG_SETMASK, &all, &before);
    for (int32_t i = 0; i < pool->threads - 1 && good; i++) {
        pool->members[i] = (pool_thread){.pool = pool, .worker = i + 1};
        good = pthread_create(&pool->members[i].id, NULL, run_thread, &pool->members[i]) == 0;
        pool->started += good;
    }
    pthread_sigmask(SIG_SETMASK, &before, NULL);
    return good;
}

lb_status lb_pool_new(int32_t threads, lb_pool **out)
{
    int32_t processors = count_processors();
    lb_pool *pool;

    *out = NULL;
    if (threads < 1)
        threads = processors;
    if (threads > THREADS_MOST)
        threads = THREADS_MOST;
    pool = lb_alloc(1, sizeof *pool);
    if (!pool)
        return LB_MEMORY;
    pool->threads = threads;
    pool->may_spin = threads <= processors;
    pool->members = threads > 1 ? lb_alloc((size_t)threads - 1, sizeof *pool->members) : NULL;
    if (threads > 1 && !pool->members) {
        lb_free(pool);
        return LB_MEMORY;
    }
    if (pthread_mutex_init(&pool->lock, NULL) != 0)
        goto no_lock;
    if (pthread_cond_init(&pool->work, NULL) != 0)
        goto no_signal;
    *out = pool;
    if (start_threads(pool))
        return LB_OK;
    lb_pool_free(out);
    return LB_IO;
no_signal:
    pthread_mutex_destroy(&pool->lock);
no_lock:
    lb_free(pool->members);
    lb_free(pool);
    return LB_IO;
}

void lb_pool_free(lb_pool **pool)
{
    lb_pool *old;

    if (!pool || !*pool)
        return;
    old = *pool;
    pthread_mutex_lock(&old->lock);
    old->is_ending = true;
    atomic_fetch_add(&old->entered, 1);
    pthread_cond_broadcast(&old->work);
    pthread_mutex_unlock(&old->lock);
    for (int32_t i = 0; i < old->started; i++)
        pthread_join(old->members[i].id, NULL);
    pthread_cond_destroy(&old->work);
    pthread_mutex_destroy(&old->lock);
    lb_free(old->members);
    lb_free(old);
    *pool = NULL;
}

int32_t lb_pool_threads(const lb_pool *pool)
{
    return pool ? pool->threads : 1;
}

void lb_pool_cancel(lb_pool *pool)
{
    if (pool)
        atomic_store_explicit(&pool->cancelled, 1, memory_order_relaxed);
}

bool lb_pool_is_cancelled(const lb_pool *pool)
{
    return pool && atomic_load_explicit(&pool->cancelled, memory_order_relaxed) != 0;
}

void lb_refs_init(lb_refs *refs)
{
    __atomic_store_n(&refs->count, 1, __ATOMIC_RELAXED);
}

void lb_refs_take(lb_refs *refs)
{
    __atomic_fetch_add(&refs->count, 1, __ATOMIC_RELAXED);
}

bool lb_refs_drop(lb_refs *refs)
{
    return __atomic_fetch_sub(&refs->count, 1, __ATOMIC_ACQ_REL) == 1;
}

bool lb_refs_is_sole(const lb_refs *refs)
{
    return __atomic_load_n(&refs->count, __ATOMIC_ACQUIRE) == 1;
}
