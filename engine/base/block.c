/* engine/base/block.c: big aligned blocks for pixels and the pool they wait in.
 *
 * A frame needs the same sizes as the frame before it, so a block that is given back waits in a
 * list of its size class for the next request. Classes are eighths of powers of two: at most 12.5 %
 * is lost to rounding, and planes that differ by a few rows share blocks. */
#include "engine/base/memory.h"

#include <pthread.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>

#include "engine/base/memory_account.h"

#define ALIGNMENT ((size_t)64)
#define POOLED_MIN ((size_t)32 << 10)  /* below, the C library's own lists are as good */
#define MAPPED_MIN ((size_t)256 << 10) /* from here on, pages of our own */
#define HUGE_PAGE ((size_t)2 << 20)
#define POOL_FLOOR ((size_t)64 << 20) /* this much may always wait */
#define CLASS_COUNT (8 * 64)

#if defined(__has_feature)
#if __has_feature(address_sanitizer)
#define LB_PLAIN_BLOCKS 1
#endif
#endif
#if defined(__SANITIZE_ADDRESS__)
#define LB_PLAIN_BLOCKS 1
#endif
/* With AddressSanitizer every block is the allocator's own, so that it sees writes outside and
 * leaks; and blocks come filled with NaN, so that nobody relies on fresh pages being zero. */
#ifndef LB_PLAIN_BLOCKS
#define LB_PLAIN_BLOCKS 0
#endif

/* The 64 bytes before a block. */
typedef struct block_header {
    struct block_header *next; /* in the pool */
    size_t bytes;              /* of the whole, this header with it; a size class if pooled */
} block_header;

static pthread_mutex_t pool_lock = PTHREAD_MUTEX_INITIALIZER;
static block_header *pool_lists[CLASS_COUNT];
static atomic_size_t pooled_bytes;
static atomic_size_t highest_used; /* the most that was ever handed out: what the pool may hold */

/* Rounds up to the next class: (8 + i) / 8 * 2^k. False: beyond what size_t can count. */
static bool class_of(size_t bytes, size_t *rounded, int *index)
{
    int k;
    size_t step;

    if (bytes > PTRDIFF_MAX / 2)
        return false;
    k = 63 - __builtin_clzll((unsigned long long)bytes);
    step = (size_t)1 << (k - 3);
    *rounded = (bytes + step - 1) & ~(step - 1);
    k = 63 - __builtin_clzll((unsigned long long)*rounded);
    *index = 8 * k + (int)((*rounded >> (k - 3)) & 7);
    return true;
}

static void *map_pages(size_t bytes)
{
    size_t extra = bytes >= HUGE_PAGE ? HUGE_PAGE : 0;
    char *start, *aligned;

    start = mmap(NULL, bytes + extra, PROT_READ | PROT_WRITE, MAP_PRIVATE | MAP_ANONYMOUS, -1, 0);
    if (start == MAP_FAILED)
        return NULL;
    if (!extra)
        return start;
    aligned = (char *)(((uintptr_t)start + HUGE_PAGE - 1) & ~(uintptr_t)(HUGE_PAGE - 1));
    if (aligned > start)
        munmap(start, (size_t)(aligned - start));
    if (aligned + bytes < start + bytes + extra)
        munmap(aligned + bytes, (size_t)(start + extra - aligned));
    madvise(aligned, bytes, MADV_HUGEPAGE); /* a wish: no matter if it is refused */
    return aligned;
}

static block_header *system_take(size_t bytes)
{
    if (LB_PLAIN_BLOCKS || bytes < MAPPED_MIN)
        return aligned_alloc(ALIGNMENT, bytes);
    return map_pages(bytes);
}

static void system_give(block_header *block)
{
    if (LB_PLAIN_BLOCKS || block->bytes < MAPPED_MIN)
        free(block);
    else
        munmap(block, block->bytes);
}

size_t lb_blocks_pooled(void)
{
    return atomic_load_explicit(&pooled_bytes, memory_order_relaxed);
}

/* A block of that class or one up to half as large again: regions change by some pixels from frame
 * to frame, and a page that is there is better than a fitting one that is not. */
static block_header *pool_take(int index)
{
    block_header *block = NULL;

    pthread_mutex_lock(&pool_lock);
    for (int i = index; i <= index + 4 && i < CLASS_COUNT && !block; i++) {
        block = pool_lists[i];
        if (block) {
            pool_lists[i] = block->next;
            atomic_fetch_sub_explicit(&pooled_bytes, block->bytes, memory_order_relaxed);
        }
    }
    pthread_mutex_unlock(&pool_lock);
    return block;
}

void *lb_block_new(size_t bytes)
{
    block_header *block = NULL;
    size_t whole, used, highest;
    int index = 0;
    bool pooled;

    if (!bytes || !lb_size_add(bytes, 2 * ALIGNMENT - 1, &whole) || !lb_account_may_allocate())
        return NULL;
    whole &= ~(ALIGNMENT - 1);
    pooled = !LB_PLAIN_BLOCKS && whole >= POOLED_MIN;
    if (pooled && !class_of(whole, &whole, &index))
        return NULL;
    if (pooled)
        block = pool_take(index); /* before the account, which may empty the pool */
    if (block && !lb_account_take(block->bytes)) {
        system_give(block); /* a little too large may be too much where the right size is not */
        block = NULL;
    } else if (block) {
        whole = block->bytes;
    }
    if (!block && !lb_account_take(whole))
        return NULL;
    if (!block)
        block = system_take(whole);
    if (!block) {
        lb_memory_trim();
        block = system_take(whole);
    }
    if (!block) {
        lb_account_give(whole);
        return NULL;
    }
    block->next = NULL;
    block->bytes = whole;
    used = lb_memory_used();
    highest = atomic_load_explicit(&highest_used, memory_order_relaxed);
    while (used > highest &&
           !atomic_compare_exchange_weak_explicit(&highest_used, &highest, used,
                                                  memory_order_relaxed, memory_order_relaxed))
        ;
    if (LB_PLAIN_BLOCKS)
        memset((char *)block + ALIGNMENT, 0xff, whole - ALIGNMENT);
    return (char *)block + ALIGNMENT;
}

/* Whether one more may wait: never more than half as much again as was ever in use at once, so
 * that sizes nobody asks for any more do not pile up, and never beyond the budget. */
static bool pool_has_room(size_t bytes)
{
    size_t total = lb_memory_used() + lb_blocks_pooled() + bytes;
    size_t highest = atomic_load_explicit(&highest_used, memory_order_relaxed);
    size_t budget = lb_memory_budget();

    return total <= highest + highest / 2 + POOL_FLOOR && (!budget || total <= budget);
}

void lb_block_free(void *block)
{
    block_header *old;
    size_t whole;
    int index;

    if (!block)
        return;
    old = (block_header *)(void *)((char *)block - ALIGNMENT);
    lb_account_give(old->bytes);
    if (LB_PLAIN_BLOCKS || old->bytes < POOLED_MIN || !class_of(old->bytes, &whole, &index) ||
        !pool_has_room(old->bytes)) {
        system_give(old);
        return;
    }
    pthread_mutex_lock(&pool_lock);
    old->next = pool_lists[index];
    pool_lists[index] = old;
    atomic_fetch_add_explicit(&pooled_bytes, old->bytes, memory_order_relaxed);
    pthread_mutex_unlock(&pool_lock);
}

void lb_memory_trim(void)
{
    block_header *all = NULL;

    pthread_mutex_lock(&pool_lock);
    for (int i = 0; i < CLASS_COUNT; i++) {
        while (pool_lists[i]) {
            block_header *block = pool_lists[i];
            pool_lists[i] = block->next;
            block->next = all;
            all = block;
        }
    }
    atomic_store_explicit(&pooled_bytes, 0, memory_order_relaxed);
    pthread_mutex_unlock(&pool_lock);
    while (all) {
        block_header *next = all->next;
        system_give(all);
        all = next;
    }
}
