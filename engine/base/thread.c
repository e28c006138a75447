/* engine/base/thread.c: a pool of threads that splits loops.
 *
 * A loop is a job on its caller's stack. The caller enters it into the pool's
 * list and takes pieces from its counter like everybody else; idle threads join
 * the newest job that has pieces left, so that an inner loop, which holds up an
 * outer one, is helped first. When the counter has run out the caller waits for
 * those who are still inside a piece and helps with the loops that were begun
 * inside its own, and with no others: what it helps with it would have to wait
 * for anyway. A thread so only ever goes further in, is never inside the same
 * job twice, and waiting ends.
 *
 * Worker numbers: the caller of a job is 0 in it, thread i of the pool is i + 1
 * in the jobs that it joins, and a thread that is not the pool's takes, in a
 * job that it helps with, the number that the caller of that job leaves free by
 * being 0. There is only one such thread for a job: the caller of the outermost
 * loop. So within one job no two threads have the same number; across jobs they
 * may.
 *
 * Pieces that wait for each other (lb_pool_for_waiting) take no part in that
 * help while they wait: a waiting thread does pieces of loops that only
 * compute, which come to an end whatever others do. */
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
    struct job *outer; /* whose piece began this one; NULL: none of this pool's */
    lb_pool *pool;
    int32_t caller; /* the number its caller has in other jobs; 0: not a thread of
                       the pool */
    int32_t waited; /* 1: its caller sleeps until `left`; under the lock */
    bool may_wait;  /* its pieces may call lb_pool_wait */
    lb_range_fn fn;
    void *context;
    int32_t count, grain, pieces;
    atomic_int_least64_t next;    /* the piece to be taken; `pieces` or more: none left */
    atomic_int_least32_t failed;  /* the lowest piece that failed so far; `pieces`: none */
    atomic_int_least32_t skipped; /* pieces left out because of a cancel */
    atomic_int_least32_t inside;  /* pool threads that joined and have not left; under the lock */
    lb_meter *meter;              /* the caller's: pieces count for it */
    lb_stop *stop;                /* the caller's */
    lb_status status;             /* of piece `failed`; under the lock */
    pthread_cond_t left; /* `inside` became 0, or there is a loop further in to help with */
} job;

struct lb_pool {
    pthread_mutex_t lock;
    pthread_cond_t work;         /* a job was entered, or the end has come */
    pthread_cond_t progress;     /* for lb_pool_wait: something was notified, or a job entered */
    int32_t waiting;             /* threads that sleep on `progress`; under the lock */
    job *newest;                 /* under the lock */
    atomic_uint entered;         /* jobs entered and things notified: what idle threads watch */
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

/* What the running thread is to a pool: known to the thread only, since a loop
 * can be begun from deep inside a piece that was handed nothing but a pool. */
static _Thread_local struct {
    const lb_pool *pool; /* whose thread this is; NULL: no pool's */
    int32_t number;      /* in that pool, from 1 */
    job *inside;         /* the innermost job that it does a piece of */
    lb_stop *stop;       /* of what it does */
} self;

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

/* Notes that a piece failed; the lowest one counts. Pieces are taken in rising
 * order and one that was taken is left out only if a lower one failed, so every
 * piece below the lowest failure runs and the answer does not depend on the
 * threads. */
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

static bool is_set(const lb_stop *stop)
{
    return stop && __atomic_load_n(&stop->is_set, __ATOMIC_RELAXED) != 0;
}

static bool is_cancelled(const lb_pool *pool, const lb_stop *stop)
{
    return atomic_load_explicit(&pool->cancelled, memory_order_relaxed) != 0 || is_set(stop);
}

/* Does pieces of a job until none is left. */
static void work_on(lb_pool *pool, job *j, int32_t worker)
{
    lb_stop *stop = lb_stop_use(j->stop);

    while (has_pieces(j)) { /* looked at first, so that the counter stays near `pieces` */
        int64_t taken = atomic_fetch_add_explicit(&j->next, 1, memory_order_relaxed);
        job *around = self.inside;
        int32_t piece, begin, end;
        lb_meter *meter;
        lb_status status;

        if (taken >= j->pieces || taken > atomic_load_explicit(&j->failed, memory_order_relaxed))
            break;
        if (is_cancelled(pool, j->stop)) {
            atomic_store_explicit(&j->skipped, 1, memory_order_relaxed);
            drop_rest(j);
            break;
        }
        piece = (int32_t)taken;
        begin = piece * j->grain;
        end = j->count - begin > j->grain ? begin + j->grain : j->count;
        self.inside = j;
        meter = lb_meter_use(j->meter);
        status = j->fn(j->context, begin, end, worker);
        lb_meter_use(meter);
        self.inside = around;
        if (status)
            note_failure(pool, j, piece, status);
    }
    lb_stop_use(stop);
    if (j->may_wait &&
        is_cancelled(pool, j->stop)) /* who waits for what was left out looks again */
        lb_pool_notify(pool);
}

static bool is_within(const job *j, const job *outer)
{
    while (j && j != outer)
        j = j->outer;
    return j == outer;
}

/* The newest job that has pieces left, entered as one more inside; only those
 * within `outer`, if that is not NULL, and none whose pieces may wait, if
 * `brief`. NULL: none. Under the lock. */
static job *join(lb_pool *pool, const job *outer, bool brief)
{
    for (job *j = pool->newest; j && j != outer; j = j->older) {
        if (has_pieces(j) && !(brief && j->may_wait) && (!outer || is_within(j, outer))) {
            atomic_fetch_add_explicit(&j->inside, 1, memory_order_relaxed);
            return j;
        }
    }
    return NULL;
}

/* The caller may return, and the job's memory be gone, as soon as the lock is
 * free again. */
static void leave(job *j)
{
    if (atomic_fetch_sub_explicit(&j->inside, 1, memory_order_relaxed) == 1)
        pthread_cond_signal(&j->left);
}

/* How a thread passes the time until others have done something. */
typedef struct pastime {
    const job *outer;       /* helps with loops within this one; NULL: with all */
    int32_t number;         /* its worker number there; 0: the one that a loop's caller
                               leaves free */
    bool brief;             /* with none whose pieces may wait */
    bool is_idle;           /* with none at all */
    const job *ends;        /* what it watches for when it does not help: that nobody is
                             * inside this any  more; NULL: new work */
    pthread_cond_t *signal; /* what wakes it */
    int32_t *sleepers;      /* how many wait for that; under the lock */
    bool has_spun;
} pastime;

/* Watches for a moment, without the lock. */
static void spin(lb_pool *pool, const job *ends)
{
    unsigned seen = atomic_load(&pool->entered);
    int64_t until = now_ns() + SPIN_NS;
    bool is_over = false;

    pthread_mutex_unlock(&pool->lock);
    do {
        for (int i = 0; i < 32 && !is_over; i++) {
            relax();
            is_over = atomic_load_explicit(&pool->entered, memory_order_relaxed) != seen ||
                      (ends && atomic_load_explicit(&ends->inside, memory_order_relaxed) == 0);
        }
    } while (!is_over && now_ns() < until);
    pthread_mutex_lock(&pool->lock); /* whoever left last has let go of the job now */
}

/* Helps, watches for a moment, or sleeps, whichever comes first. With the lock
 * held, which is let go of meanwhile. */
static void pass_time(lb_pool *pool, pastime *p)
{
    job *j = p->is_idle ? NULL : join(pool, p->outer, p->brief);

    if (j) {
        pthread_mutex_unlock(&pool->lock);
        work_on(pool, j, p->number ? p->number : j->caller);
        pthread_mutex_lock(&pool->lock);
        leave(j);
        p->has_spun = false;
    } else if (pool->may_spin && !p->has_spun) {
        spin(pool, p->ends);
        p->has_spun = true;
    } else {
        ++*p->sleepers;
        pthread_cond_wait(p->signal, &pool->lock);
        --*p->sleepers;
        p->has_spun = false;
    }
}

static void *run_thread(void *argument)
{
    const pool_thread *member = argument;
    lb_pool *pool = member->pool;
    pastime work = {.number = member->worker, .signal = &pool->work, .sleepers = &pool->sleeping};

    self.pool = pool;
    self.number = member->worker;
    pthread_mutex_lock(&pool->lock);
    while (!pool->is_ending)
        pass_time(pool, &work);
    pthread_mutex_unlock(&pool->lock);
    return NULL;
}

/* Puts the job on the list and wakes as many as it has pieces for: idle threads
 * first, then those who wait for a loop around it. */
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
    wanted -= pool->sleeping;
    for (job *outer = j->outer; outer && wanted > 0; outer = outer->outer) {
        if (outer->waited) {
            pthread_cond_signal(&outer->left);
            wanted--;
        }
    }
    if (pool->waiting > 0 && wanted > 0)
        pthread_cond_broadcast(&pool->progress);
    pthread_mutex_unlock(&pool->lock);
}

/* Waits until nobody is inside, helping with loops further in, and takes the
 * job off the list. */
static void finish(lb_pool *pool, job *j)
{
    pastime help = {
        .outer = j, .number = j->caller, .ends = j, .signal = &j->left, .sleepers = &j->waited};

    pthread_mutex_lock(&pool->lock);
    while (atomic_load(&j->inside) > 0)
        pass_time(pool, &help);
    if (j->newer)
        j->newer->older = j->older;
    else
        pool->newest = j->older;
    if (j->older)
        j->older->newer = j->newer;
    pthread_mutex_unlock(&pool->lock);
}

/* The outermost loop that this thread is in. */
static const job *find_root(const lb_pool *pool)
{
    const job *root = self.inside && self.inside->pool == pool ? self.inside : NULL;

    while (root && root->outer)
        root = root->outer;
    return root;
}

/* A thread of the pool may help with every loop whose pieces only compute; one
 * that is not, with those of its own outermost loop, where it is the only such
 * thread (worker numbers: see above). */
void lb_pool_wait(lb_pool *pool, bool (*is_done)(const void *context), const void *context)
{
    bool is_member = self.pool == pool;
    const job *root = find_root(pool);
    pastime help = {.outer = is_member ? NULL : root,
                    .number = is_member ? self.number : 0,
                    .brief = true,
                    .is_idle = !is_member && !root};

    if (!pool || pool->started == 0 || is_done(context))
        return;
    help.signal = &pool->progress;
    help.sleepers = &pool->waiting;
    pthread_mutex_lock(&pool->lock);
    while (!is_done(context))
        pass_time(pool, &help);
    pthread_mutex_unlock(&pool->lock);
}

void lb_pool_notify(lb_pool *pool)
{
    if (!pool || pool->started == 0)
        return;
    pthread_mutex_lock(&pool->lock);
    atomic_fetch_add_explicit(&pool->entered, 1, memory_order_relaxed);
    if (pool->waiting > 0)
        pthread_cond_broadcast(&pool->progress);
    pthread_mutex_unlock(&pool->lock);
}

/* The whole loop on this thread. */
static lb_status run_alone(const lb_pool *pool, int32_t count, int32_t grain, lb_range_fn fn,
                           void *context)
{
    for (int32_t begin = 0; begin < count;) {
        int32_t end = count - begin > grain ? begin + grain : count;
        lb_status status;

        if (lb_pool_is_cancelled(pool))
            return LB_CANCELLED;
        if ((status = fn(context, begin, end, 0)))
            return status;
        begin = end;
    }
    return LB_OK;
}

static lb_status run_loop(lb_pool *pool, int32_t count, int32_t grain, lb_range_fn fn,
                          void *context, bool may_wait)
{
    job j = {.fn = fn,
             .context = context,
             .count = count,
             .grain = grain < 1 ? 1 : grain,
             .may_wait = may_wait};

    if (count <= 0)
        return LB_OK;
    j.pieces = (count - 1) / j.grain + 1;
    if (!pool || pool->started == 0 || j.pieces == 1 || pthread_cond_init(&j.left, NULL) != 0)
        return run_alone(pool, count, j.grain, fn, context);
    j.pool = pool;
    j.meter = lb_meter_in_use();
    j.stop = self.stop;
    j.caller = self.pool == pool ? self.number : 0;
    j.outer = self.inside && self.inside->pool == pool ? self.inside : NULL;
    atomic_init(&j.failed, j.pieces);
    enter(pool, &j);
    work_on(pool, &j, 0);
    finish(pool, &j);
    pthread_cond_destroy(&j.left);
    if (j.status)
        return j.status;
    return atomic_load(&j.skipped) ? LB_CANCELLED : LB_OK;
}

lb_status lb_pool_for(lb_pool *pool, int32_t count, int32_t grain, lb_range_fn fn, void *context)
{
    return run_loop(pool, count, grain, fn, context, false);
}

lb_status lb_pool_for_waiting(lb_pool *pool, int32_t count, lb_range_fn fn, void *context)
{
    return run_loop(pool, count, 1, fn, context, true);
}

/* Threads with every signal blocked, so that handlers run where the program
 * expects them. */
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
    if (pthread_cond_init(&pool->progress, NULL) != 0) {
        pthread_cond_destroy(&pool->work);
        goto no_signal;
    }
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
    pthread_cond_destroy(&old->progress);
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
    return pool ? is_cancelled(pool, self.stop) : is_set(self.stop);
}

lb_stop *lb_stop_use(lb_stop *stop)
{
    lb_stop *before = self.stop;

    self.stop = stop;
    return before;
}

void lb_stop_set(lb_stop *stop, lb_pool *pool)
{
    __atomic_store_n(&stop->is_set, 1, __ATOMIC_RELAXED);
    lb_pool_notify(pool);
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
