/* engine/base/memory.h: checked sizes, one account of the bytes in use, arenas.
 *
 * The process has one heap, so the account is the process's: this is the one piece of state that
 * is not handed in. It is a pair of atomic counters. */
#ifndef LB_BASE_MEMORY_H
#define LB_BASE_MEMORY_H

#include "engine/base/status.h"

/* a * b and a + b; false when it does not fit into size_t (out is then untouched). */
LB_MUST_CHECK bool lb_size_mul(size_t a, size_t b, size_t *out);
LB_MUST_CHECK bool lb_size_add(size_t a, size_t b, size_t *out);

/* Zeroed memory for `count` things of `size` bytes, aligned for any type; NULL when there is no
 * room, when the product overflows, or when count or size is 0. Free with lb_free. */
void *lb_alloc(size_t count, size_t size);
/* Grows or shrinks; new bytes are zero. On failure NULL, and `block` stays valid. */
void *lb_realloc(void *block, size_t count, size_t size);
void lb_free(void *block);
char *lb_strdup(const char *text);
char *lb_strndup(const char *text, size_t bytes);

/* Big blocks for pixels: 64-byte aligned, NOT zeroed, from a pool of blocks that were given back
 * (fresh pages cost ten times the fill). NULL: no room by the budget or the system. */
void *lb_block_new(size_t bytes);
void lb_block_free(void *block);

/* The budget for everything allocated here; 0: none but a terabyte. Blocks waiting in the pool are
 * given back to the system before an allocation is refused. */
void lb_memory_set_budget(size_t bytes);
size_t lb_memory_budget(void);
size_t lb_memory_used(void); /* handed out now, pooled blocks not counted */
size_t lb_memory_peak(void); /* highest lb_memory_used since lb_memory_reset_peak */
void lb_memory_reset_peak(void);
/* Bytes that the system could hand out without swapping, as far as it says so: the least of what
 * is available and of what the control groups leave. 4 GiB where it does not say. */
size_t lb_memory_of_system(void);
size_t lb_memory_resident(void); /* of this process, as the system counts; 0: it does not say */
void lb_memory_trim(void);       /* gives pooled blocks back to the system */

/* What a piece of work takes for itself: bytes allocated less bytes freed while the meter is in use
 * on a thread, and the most of it. A loop of a pool counts for its caller's meter on every thread.
 * Zero-initialise. */
typedef struct lb_meter {
    _Atomic int64_t now, most;
} lb_meter;
lb_meter *lb_meter_use(lb_meter *meter); /* on this thread, NULL: none; answers the one before */
lb_meter *lb_meter_in_use(void);

/* Asked to give back at least `bytes` of what it keeps before an allocation is refused; answers
 * what it gave. Called from any thread at any allocation: it must not allocate. */
typedef size_t (*lb_reclaim_fn)(void *context, size_t bytes);
/* Several may be there at once; false: too many. `drop` returns when it is not being asked. */
bool lb_memory_add_reclaim(lb_reclaim_fn fn, void *context);
void lb_memory_drop_reclaim(void *context);
/* The size of the last allocation that was refused on any thread (0: none was), and what was in use
 * then. */
size_t lb_memory_refused(size_t *used);

/* For tests: the n-th allocation from now on this thread fails (0: none does). The count left,
 * so that a loop can tell when nothing failed any more. */
void lb_memory_fail_at(int64_t n);
int64_t lb_memory_fail_left(void);

/* Many small things with one life. Not thread-safe. Allocations are zeroed; NULL: no room. */
typedef struct lb_arena lb_arena;
lb_arena *lb_arena_new(void);
void lb_arena_free(lb_arena **arena);
void *lb_arena_alloc(lb_arena *arena, size_t count, size_t size);
char *lb_arena_strdup(lb_arena *arena, const char *text);
char *lb_arena_strndup(lb_arena *arena, const char *text, size_t bytes);
char *lb_arena_printf(lb_arena *arena, const char *format, ...) LB_PRINTF(2, 3);

/* Makes room for one more in a growing array: *items has `count` used of *capacity. False: no
 * room, nothing changed. Usage: if (!lb_grow((void **)&a, &cap, n, sizeof *a)) ... */
LB_MUST_CHECK bool lb_grow(void **items, size_t *capacity, size_t count, size_t size);

#endif
