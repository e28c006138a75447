/* engine/base/memory.c: the heap with its account, growing arrays. Big blocks are in block.c,
 * arenas in arena.c. */
#include "engine/base/memory.h"

#include <pthread.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>

#include "engine/base/memory_account.h"

/* More than this is a mistake in a file and not a need; the system is not asked. */
#define USED_MOST ((size_t)1 << 40)

/* The account (see memory.h for why it is the process's). */
static atomic_size_t used_bytes, peak_bytes, budget_bytes;

/* Who can be asked to give memory back. */
#define RECLAIM_MOST 64
static struct {
    lb_reclaim_fn fn;
    void *context;
} reclaimers[RECLAIM_MOST];
static pthread_rwlock_t reclaim_lock = PTHREAD_RWLOCK_INITIALIZER; /* read: while they are asked */
static _Thread_local bool is_reclaiming;

static atomic_size_t refused_bytes, refused_used;
static _Thread_local lb_meter *meter_in_use;

/* Allocations until the one that fails, counted down on the thread that asked for it. */
static _Thread_local int64_t fail_countdown;

/* Before every block of lb_alloc; aligned as strictly as anything, so that what follows is too. */
typedef struct header {
    _Alignas(max_align_t) size_t bytes; /* with the header */
} header;

bool lb_size_mul(size_t a, size_t b, size_t *out)
{
    size_t product;

    if (__builtin_mul_overflow(a, b, &product))
        return false;
    *out = product;
    return true;
}

bool lb_size_add(size_t a, size_t b, size_t *out)
{
    size_t sum;

    if (__builtin_add_overflow(a, b, &sum))
        return false;
    *out = sum;
    return true;
}

bool lb_account_may_allocate(void)
{
    if (fail_countdown <= 0)
        return true;
    return --fail_countdown > 0;
}

void lb_memory_fail_at(int64_t n)
{
    fail_countdown = n > 0 ? n : 0;
}

int64_t lb_memory_fail_left(void)
{
    return fail_countdown;
}

bool lb_memory_add_reclaim(lb_reclaim_fn fn, void *context)
{
    bool added = false;

    pthread_rwlock_wrlock(&reclaim_lock);
    for (int i = 0; i < RECLAIM_MOST && !added; i++)
        if (!reclaimers[i].fn) {
            reclaimers[i].fn = fn;
            reclaimers[i].context = context;
            added = true;
        }
    pthread_rwlock_unlock(&reclaim_lock);
    return added;
}

void lb_memory_drop_reclaim(void *context)
{
    pthread_rwlock_wrlock(&reclaim_lock);
    for (int i = 0; i < RECLAIM_MOST; i++)
        if (reclaimers[i].context == context)
            reclaimers[i].fn = NULL;
    pthread_rwlock_unlock(&reclaim_lock);
}

static size_t reclaim(size_t bytes)
{
    size_t gave = 0;

    if (is_reclaiming)
        return 0;
    is_reclaiming = true;
    pthread_rwlock_rdlock(&reclaim_lock);
    for (int i = 0; i < RECLAIM_MOST && gave < bytes; i++)
        if (reclaimers[i].fn)
            gave += reclaimers[i].fn(reclaimers[i].context, bytes - gave);
    pthread_rwlock_unlock(&reclaim_lock);
    is_reclaiming = false;
    return gave;
}

lb_meter *lb_meter_use(lb_meter *meter)
{
    lb_meter *before = meter_in_use;

    meter_in_use = meter;
    return before;
}

lb_meter *lb_meter_in_use(void)
{
    return meter_in_use;
}

static void meter_add(int64_t bytes)
{
    lb_meter *meter = meter_in_use;
    int64_t now, most;

    if (!meter)
        return;
    now = atomic_fetch_add_explicit(&meter->now, bytes, memory_order_relaxed) + bytes;
    most = atomic_load_explicit(&meter->most, memory_order_relaxed);
    while (now > most && !atomic_compare_exchange_weak_explicit(
                             &meter->most, &most, now, memory_order_relaxed, memory_order_relaxed))
        ;
}

size_t lb_memory_refused(size_t *used)
{
    *used = atomic_load(&refused_used);
    return atomic_load(&refused_bytes);
}

/* Enters `bytes` if there is room for them; *missing is how many there is no room for. */
static bool take(size_t bytes, size_t *missing)
{
    size_t budget = atomic_load_explicit(&budget_bytes, memory_order_relaxed);
    size_t used = atomic_load_explicit(&used_bytes, memory_order_relaxed);
    size_t now, peak;

    /* Entered only when there is room: a request that is refused must not look, for a moment, like
     * a full budget to other threads. */
    do {
        *missing = 0;
        if (!lb_size_add(used, bytes, &now) || now > USED_MOST)
            return false;
        if (budget && now > budget) {
            *missing = now - budget;
            return false;
        }
    } while (!atomic_compare_exchange_weak_explicit(&used_bytes, &used, now, memory_order_relaxed,
                                                    memory_order_relaxed));
    if (budget && lb_blocks_pooled() > budget - now)
        lb_memory_trim();
    peak = atomic_load_explicit(&peak_bytes, memory_order_relaxed);
    while (now > peak && !atomic_compare_exchange_weak_explicit(
                             &peak_bytes, &peak, now, memory_order_relaxed, memory_order_relaxed))
        ;
    return true;
}

bool lb_account_take(size_t bytes)
{
    size_t missing;
    bool taken = take(bytes, &missing);

    while (!taken && missing > 0 && reclaim(missing) > 0)
        taken = take(bytes, &missing);
    if (taken) {
        meter_add((int64_t)bytes);
    } else {
        atomic_store(&refused_bytes, bytes);
        atomic_store(&refused_used, lb_memory_used());
    }
    return taken;
}

void lb_account_give(size_t bytes)
{
    meter_add(-(int64_t)bytes);
    atomic_fetch_sub_explicit(&used_bytes, bytes, memory_order_relaxed);
}

void lb_memory_set_budget(size_t bytes)
{
    atomic_store(&budget_bytes, bytes);
}

size_t lb_memory_budget(void)
{
    return atomic_load(&budget_bytes);
}

size_t lb_memory_used(void)
{
    return atomic_load(&used_bytes);
}

size_t lb_memory_peak(void)
{
    return atomic_load(&peak_bytes);
}

void lb_memory_reset_peak(void)
{
    atomic_store(&peak_bytes, atomic_load(&used_bytes));
}

void *lb_alloc(size_t count, size_t size)
{
    size_t bytes;
    header *block;

    if (!count || !size || !lb_size_mul(count, size, &bytes) ||
        !lb_size_add(bytes, sizeof(header), &bytes) || !lb_account_may_allocate() ||
        !lb_account_take(bytes))
        return NULL;
    block = calloc(1, bytes);
    if (!block) {
        lb_memory_trim();
        block = calloc(1, bytes);
    }
    if (!block) {
        lb_account_give(bytes);
        return NULL;
    }
    block->bytes = bytes;
    return block + 1;
}

void *lb_realloc(void *block, size_t count, size_t size)
{
    size_t bytes, before;
    header *old, *grown;

    if (!block)
        return lb_alloc(count, size);
    if (!count || !size || !lb_size_mul(count, size, &bytes) ||
        !lb_size_add(bytes, sizeof(header), &bytes) || !lb_account_may_allocate())
        return NULL;
    old = (header *)block - 1;
    before = old->bytes;
    if (bytes > before && !lb_account_take(bytes - before))
        return NULL;
    grown = realloc(old, bytes);
    if (!grown) {
        lb_memory_trim();
        grown = realloc(old, bytes);
    }
    if (!grown) {
        if (bytes > before)
            lb_account_give(bytes - before);
        return NULL;
    }
    if (bytes < before)
        lb_account_give(before - bytes);
    else
        memset((char *)grown + before, 0, bytes - before);
    grown->bytes = bytes;
    return grown + 1;
}

void lb_free(void *block)
{
    header *old;

    if (!block)
        return;
    old = (header *)block - 1;
    lb_account_give(old->bytes);
    free(old);
}

char *lb_strdup(const char *text)
{
    return text ? lb_strndup(text, strlen(text)) : NULL;
}

char *lb_strndup(const char *text, size_t bytes)
{
    size_t room;
    char *copy;

    if (!text || !lb_size_add(bytes, 1, &room))
        return NULL;
    bytes = strnlen(text, bytes);
    copy = lb_alloc(bytes + 1, 1);
    if (copy)
        memcpy(copy, text, bytes);
    return copy;
}

bool lb_grow(void **items, size_t *capacity, size_t count, size_t size)
{
    size_t wanted;
    void *grown;

    if (count < *capacity)
        return true;
    if (!lb_size_mul(*capacity, 2, &wanted))
        return false;
    if (wanted < 8)
        wanted = 8;
    if (wanted <= count && !lb_size_add(count, 1, &wanted))
        return false;
    grown = lb_realloc(*items, wanted, size);
    if (!grown)
        return false;
    *items = grown;
    *capacity = wanted;
    return true;
}
