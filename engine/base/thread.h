/* engine/base/thread.h: a pool of threads that splits loops. */
#ifndef LB_BASE_THREAD_H
#define LB_BASE_THREAD_H

#include "engine/base/status.h"

typedef struct lb_pool lb_pool;

/* `threads` counts the caller: 1 makes no thread, 0 asks the system how many processors this
 * process may use. LB_MEMORY or LB_IO on failure. */
LB_MUST_CHECK lb_status lb_pool_new(int32_t threads, lb_pool **out);
void lb_pool_free(lb_pool **pool);
int32_t lb_pool_threads(const lb_pool *pool);

/* Does [begin, end) of a loop. `worker` is 0 .. lb_pool_threads - 1, for scratch memory that
 * belongs to one call of lb_pool_for: no two threads have the same number in the same loop at the
 * same time. A loop started inside a piece, or by another thread, counts from 0 again. */
typedef lb_status (*lb_range_fn)(void *context, int32_t begin, int32_t end, int32_t worker);

/* Runs fn over [0, count) in pieces of `grain` (the last may be shorter), on the caller and on idle
 * threads; returns when all is done. Pieces are cut the same way for any number of threads. The
 * answer is the status of the lowest piece that failed; pieces not begun after a failure or a
 * cancel are left out. May be called from several threads at once and from inside a piece. `pool`
 * NULL: runs here, worker 0. */
LB_MUST_CHECK lb_status lb_pool_for(lb_pool *pool, int32_t count, int32_t grain, lb_range_fn fn,
                                    void *context);

/* The same for pieces of 1 that may wait for what lower pieces do, with lb_pool_wait. */
LB_MUST_CHECK lb_status lb_pool_for_waiting(lb_pool *pool, int32_t count, lb_range_fn fn,
                                            void *context);
/* Returns when is_done(context) is true and helps with loops of the pool meanwhile. is_done is
 * asked often and with the pool's lock held: it only looks at atomic variables. Whoever makes it
 * true calls lb_pool_notify afterwards. It must become true also when the loop fails or is
 * cancelled, for then pieces are left out. Returns at once on a pool without threads. Never from
 * inside a piece of lb_pool_for. */
void lb_pool_wait(lb_pool *pool, bool (*is_done)(const void *context), const void *context);
void lb_pool_notify(lb_pool *pool);

/* Asks every loop of this pool, also those begun later, to end soon with LB_CANCELLED. A loop whose
 * pieces were all done is not touched by it. Safe in a signal handler. */
void lb_pool_cancel(lb_pool *pool);
/* True also inside what an lb_stop was set for. */
bool lb_pool_is_cancelled(const lb_pool *pool);

/* Ends what one caller asked for, where others use the same pool. Loops that are begun while a
 * thread uses it, and all inside their pieces on whatever thread, end as after lb_pool_cancel once
 * it is set; no others do. Zero is unset; it must outlive its use. */
typedef struct lb_stop {
    int32_t is_set; /* touched through the functions only */
} lb_stop;
lb_stop *lb_stop_use(lb_stop *stop); /* on this thread, NULL: none; answers the one before */
/* From any thread. `pool`, which may be NULL, is where it is used: who waits there looks again. */
void lb_stop_set(lb_stop *stop, lb_pool *pool);

/* A reference count. */
typedef struct lb_refs {
    int32_t count; /* touched through the functions only */
} lb_refs;
void lb_refs_init(lb_refs *refs); /* 1 */
void lb_refs_take(lb_refs *refs); /* one more */
bool lb_refs_drop(lb_refs *refs); /* one less; true: that was the last */

#endif
