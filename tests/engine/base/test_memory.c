/* tests/engine/base/test_memory.c: the account, the budget, blocks, arenas. */
#include <criterion/criterion.h>
#include <pthread.h>
#include <string.h>

#include "engine/base/memory.h"

Test(memory, sizes_are_checked)
{
    size_t out = 7;

    cr_expect(lb_size_mul(3, 5, &out) && out == 15);
    cr_expect(lb_size_mul(0, SIZE_MAX, &out) && out == 0);
    cr_expect(lb_size_mul(SIZE_MAX, 1, &out) && out == SIZE_MAX);
    out = 7;
    cr_expect(!lb_size_mul(SIZE_MAX / 2 + 1, 2, &out) && out == 7);
    cr_expect(!lb_size_mul((size_t)1 << 32, (size_t)1 << 32, &out) && out == 7);
    cr_expect(lb_size_add(SIZE_MAX - 1, 1, &out) && out == SIZE_MAX);
    out = 7;
    cr_expect(!lb_size_add(SIZE_MAX, 1, &out) && out == 7);
}

static bool is_filled(const void *block, size_t bytes, unsigned char value)
{
    const unsigned char *at = block;

    for (size_t i = 0; i < bytes; i++)
        if (at[i] != value)
            return false;
    return true;
}

Test(memory, alloc_gives_zeros_and_counts)
{
    size_t before = lb_memory_used();
    char *block = lb_alloc(100, 7), *grown;

    cr_assert(block != NULL);
    cr_expect((uintptr_t)block % _Alignof(max_align_t) == 0);
    cr_expect(is_filled(block, 700, 0));
    cr_expect(lb_memory_used() >= before + 700 && lb_memory_used() <= before + 700 + 64);
    memset(block, 1, 700);
    grown = lb_realloc(block, 2000, 7);
    cr_assert(grown != NULL);
    cr_expect(is_filled(grown, 700, 1) && is_filled(grown + 700, 14000 - 700, 0));
    grown = lb_realloc(grown, 10, 1);
    cr_assert(grown != NULL);
    cr_expect(is_filled(grown, 10, 1));
    cr_expect(lb_memory_used() <= before + 10 + 64);
    lb_free(grown);
    lb_free(NULL);
    cr_expect(lb_memory_used() == before);
    block = lb_realloc(NULL, 3, 1);
    cr_assert(block != NULL);
    cr_expect(is_filled(block, 3, 0));
    lb_free(block);
}

Test(memory, what_cannot_be_is_refused)
{
    size_t before = lb_memory_used();
    char *block = lb_alloc(8, 1);

    cr_assert(block != NULL);
    cr_expect(lb_alloc(0, 1) == NULL && lb_alloc(1, 0) == NULL);
    cr_expect(lb_alloc(SIZE_MAX, 2) == NULL && lb_alloc(SIZE_MAX, 1) == NULL);
    cr_expect(lb_alloc(SIZE_MAX - 8, 1) == NULL && lb_alloc(PTRDIFF_MAX, 1) == NULL);
    cr_expect(lb_realloc(block, SIZE_MAX, 2) == NULL && lb_realloc(block, 0, 1) == NULL);
    cr_expect(lb_realloc(block, SIZE_MAX - 20, 1) == NULL);
    cr_expect(lb_block_new(0) == NULL && lb_block_new(SIZE_MAX) == NULL);
    cr_expect(lb_block_new(SIZE_MAX / 2) == NULL && lb_block_new(PTRDIFF_MAX) == NULL);
    cr_expect(lb_block_new((size_t)1 << 60) == NULL);
    cr_expect(lb_strdup(NULL) == NULL && lb_strndup(NULL, 3) == NULL);
    lb_free(block);
    cr_expect(lb_memory_used() == before);
}

Test(memory, strings_are_copied)
{
    char *whole = lb_strdup("night"), *part = lb_strndup("night firing", 5);
    char *shorter = lb_strndup("night", SIZE_MAX - 1);

    cr_expect_str_eq(whole, "night");
    cr_expect_str_eq(part, "night");
    cr_expect_str_eq(shorter, "night");
    lb_free(whole);
    lb_free(part);
    lb_free(shorter);
}

Test(memory, budget_is_kept)
{
    size_t used = lb_memory_used();
    void *a, *b;

    lb_memory_set_budget(used + 3000000);
    cr_expect(lb_memory_budget() == used + 3000000);
    a = lb_block_new(2000000);
    cr_assert(a != NULL);
    cr_expect(lb_block_new(2000000) == NULL);
    cr_expect(lb_alloc(1, 2000000) == NULL);
    b = lb_alloc(1, 500000);
    cr_expect(b != NULL);
    cr_expect(lb_realloc(b, 1, 2000000) == NULL);
    lb_free(b);
    lb_block_free(a);
    /* The freed block may wait in the pool, but gives way to what is asked for now. */
    b = lb_alloc(1, 2900000);
    cr_expect(b != NULL);
    lb_free(b);
    lb_memory_set_budget(0);
    cr_expect(lb_memory_used() == used);
}

Test(memory, peak_is_the_highest)
{
    void *a, *b;
    size_t used = lb_memory_used();

    a = lb_block_new(1 << 20);
    b = lb_alloc(1, 1 << 20);
    cr_assert(a && b);
    cr_expect(lb_memory_peak() >= used + (2 << 20));
    lb_free(b);
    lb_block_free(a);
    cr_expect(lb_memory_peak() >= used + (2 << 20));
    lb_memory_reset_peak();
    cr_expect(lb_memory_peak() == used);
}

Test(memory, blocks_are_aligned_and_whole)
{
    static const size_t sizes[] = {1,      64,     1000,    32767,   32768,    65536,   65537,
                                   262143, 262144, 2097088, 2097152, 20000000, 33177600};
    void *blocks[sizeof sizes / sizeof sizes[0]];
    const size_t count = sizeof sizes / sizeof sizes[0];
    size_t before = lb_memory_used();

    for (int round = 0; round < 2; round++) {
        for (size_t i = 0; i < count; i++) {
            blocks[i] = lb_block_new(sizes[i]);
            cr_assert(blocks[i] != NULL);
            cr_expect((uintptr_t)blocks[i] % 64 == 0, "%zu bytes", sizes[i]);
            memset(blocks[i], (int)i + 1, sizes[i]);
        }
        for (size_t i = 0; i < count; i++) {
            cr_expect(is_filled(blocks[i], sizes[i], (unsigned char)(i + 1)), "%zu bytes",
                      sizes[i]);
            lb_block_free(blocks[i]);
        }
        cr_expect(lb_memory_used() == before);
    }
    lb_block_free(NULL);
    lb_memory_trim();
}

#ifndef __SANITIZE_ADDRESS__ /* there every block is fresh */
Test(memory, blocks_wait_for_the_next)
{
    void *first = lb_block_new(8294400), *second;

    cr_assert(first != NULL);
    lb_block_free(first);
    second = lb_block_new(8294400 - 5000); /* a few rows fewer */
    cr_expect(second == first);
    lb_block_free(second);
}
#endif

static void *churn(void *argument)
{
    uint32_t state = *(uint32_t *)argument;
    unsigned char *held[8] = {0};
    size_t sizes[8] = {0};
    intptr_t wrong = 0;

    for (int i = 0; i < 4000; i++) {
        int k;
        state = state * 1664525u + 1013904223u;
        k = (int)(state >> 29);
        if (held[k])
            wrong += held[k][0] != k || held[k][sizes[k] - 1] != k;
        lb_block_free(held[k]);
        sizes[k] = (state >> 8 & 0xfffff) + 1;
        held[k] = lb_block_new(sizes[k]);
        if (held[k])
            held[k][0] = held[k][sizes[k] - 1] = (unsigned char)k;
        if (i % 500 == 0)
            lb_memory_trim();
    }
    for (int k = 0; k < 8; k++)
        lb_block_free(held[k]);
    return (void *)wrong;
}

Test(memory, blocks_from_many_threads)
{
    pthread_t threads[4];
    uint32_t seeds[4] = {1, 2, 3, 4};
    size_t before = lb_memory_used();

    for (int i = 0; i < 4; i++)
        cr_assert(pthread_create(&threads[i], NULL, churn, &seeds[i]) == 0);
    for (int i = 0; i < 4; i++) {
        void *wrong;
        pthread_join(threads[i], &wrong);
        cr_expect(wrong == NULL);
    }
    cr_expect(lb_memory_used() == before);
}

static void *alloc_here(void *argument)
{
    void *block = lb_alloc(1, 1);

    (void)argument;
    lb_free(block);
    return block ? argument : NULL;
}

Test(memory, the_nth_allocation_fails)
{
    pthread_t other;
    void *a, *b, *answer;

    lb_memory_fail_at(3);
    a = lb_alloc(1, 1);
    b = lb_block_new(1);
    cr_expect(a && b && lb_memory_fail_left() == 1);
    cr_assert(pthread_create(&other, NULL, alloc_here, &a) == 0);
    pthread_join(other, &answer);
    cr_expect(answer != NULL); /* only this thread's count */
    cr_expect(lb_realloc(a, 2, 1) == NULL);
    cr_expect(lb_memory_fail_left() == 0);
    a = lb_realloc(a, 2, 1);
    cr_expect(a != NULL);
    lb_free(a);
    lb_block_free(b);
    lb_memory_fail_at(5);
    lb_memory_fail_at(0);
    cr_expect(lb_memory_fail_left() == 0);
}

Test(memory, arena)
{
    size_t before = lb_memory_used();
    lb_arena *arena = lb_arena_new();
    unsigned char *blocks[300];

    cr_assert(arena != NULL);
    for (size_t i = 0; i < 300; i++) {
        size_t bytes = i * i % 5000 + 1;
        blocks[i] = lb_arena_alloc(arena, bytes, 1);
        cr_assert(blocks[i] != NULL);
        cr_expect((uintptr_t)blocks[i] % _Alignof(max_align_t) == 0);
        cr_expect(is_filled(blocks[i], bytes, 0));
        memset(blocks[i], (int)i & 255, bytes);
    }
    for (size_t i = 0; i < 300; i++)
        cr_expect(is_filled(blocks[i], i * i % 5000 + 1, (unsigned char)i));
    cr_expect(lb_arena_alloc(arena, 0, 1) == NULL);
    cr_expect(lb_arena_alloc(arena, SIZE_MAX, 1) == NULL);
    cr_expect(lb_arena_alloc(arena, SIZE_MAX / 2, 3) == NULL);
    cr_expect(lb_arena_alloc(arena, 1000000, 1) != NULL);
    cr_expect_str_eq(lb_arena_strdup(arena, "clay"), "clay");
    cr_expect_str_eq(lb_arena_strndup(arena, "clay-map", 4), "clay");
    cr_expect_str_eq(lb_arena_printf(arena, "%s-%03d", "kiln", 7), "kiln-007");
    cr_expect(lb_arena_strdup(arena, NULL) == NULL);
    lb_arena_free(&arena);
    cr_expect(arena == NULL && lb_memory_used() == before);
    lb_arena_free(&arena);
}

Test(memory, arena_without_memory)
{
    size_t before = lb_memory_used();
    bool failed = true;

    for (int64_t n = 1; failed; n++) {
        lb_arena *arena;
        lb_memory_fail_at(n);
        arena = lb_arena_new();
        for (int i = 0; i < 100 && arena; i++)
            if (!lb_arena_printf(arena, "%0*d", i * 50, i))
                break;
        failed = lb_memory_fail_left() == 0;
        lb_memory_fail_at(0);
        if (arena)
            cr_expect(lb_arena_strdup(arena, "still good") != NULL);
        lb_arena_free(&arena);
        cr_expect(lb_memory_used() == before);
    }
}

Test(memory, growing_arrays)
{
    int *items = NULL;
    size_t capacity = 0, count = 0, full = SIZE_MAX / 2 + 1;
    void *none = NULL;

    for (int i = 0; i < 1000; i++) {
        cr_assert(lb_grow((void **)&items, &capacity, count, sizeof *items));
        items[count++] = i;
    }
    cr_expect(items[999] == 999 && items[0] == 0 && capacity >= 1000);
    lb_memory_fail_at(1);
    count = capacity;
    cr_expect(!lb_grow((void **)&items, &capacity, count, sizeof *items));
    cr_expect(capacity == count && items[999] == 999);
    lb_memory_fail_at(0);
    cr_expect(!lb_grow(&none, &full, full, 1));
    lb_free(items);
}
