/* tests/engine/graph/thread_cache.c: the cache under many threads, for ThreadSanitizer. Eight
 * threads find, keep and shrink; every result that is found is the right one; and what is
 * claimed is made once. */
#include <pthread.h>
#include <stdatomic.h>
#include <stdio.h>

#include "engine/graph/cache.h"
#include "tests/support/cache_images.h"

#define THREADS 8
#define ALL UINT64_C(15) /* A B G R */
#define THINGS 64

static const lb_box box = {0, 0, 32, 16};
static int failures;

static void check(bool good, const char *what)
{
    if (!good) {
        printf("failed: %s\n", what);
        failures++;
    }
}

static uint32_t next_random(uint64_t *state)
{
    *state = *state * UINT64_C(6364136223846793005) + 1442695040888963407u; /* Knuth's MMIX */
    return (uint32_t)(*state >> 33);
}

typedef struct job {
    lb_cache *cache;
    uint64_t seed;
    int steps;
    atomic_int *made; /* a thing */
    atomic_int *wrong;
} job;

static bool fetch(const job *j, uint64_t number, lb_value *value)
{
    lb_key key = image_key(number);
    lb_desc desc = image_desc(box);

    if (!lb_cache_fetch(j->cache, key, &desc, box, ALL, LB_KEEP_RUN, value))
        return false;
    if (!image_is_right(value->image, key, box, ALL))
        atomic_fetch_add(j->wrong, 1);
    return true;
}

static void make_and_put(const job *j, uint64_t number, lb_keep keep)
{
    lb_key key = image_key(number);
    lb_desc desc = image_desc(box);
    lb_value value = {.kind = LB_KIND_IMAGE, .image = image_new(key, box)};

    if (value.image) /* memory may be short */
        lb_cache_put(j->cache, key, &desc, box, ALL, value, 1e-3 * (double)(number % 7), keep,
                     number % 3 == 0);
    lb_value_unref(&value);
}

static void *everything(void *context)
{
    job *j = context;
    lb_desc desc = image_desc(box);

    for (int i = 0; i < j->steps; i++) {
        uint64_t number = next_random(&j->seed) % THINGS;
        uint32_t what = next_random(&j->seed) % 100;
        lb_value value = {0};

        if (what < 60) {
            if (!fetch(j, number, &value))
                make_and_put(j, number, number % 5 == 0 ? LB_KEEP_NOT : LB_KEEP_RUN);
            lb_value_unref(&value);
        } else if (what < 70) {
            make_and_put(j, number, LB_KEEP_RUN);
        } else if (what < 80) {
            lb_cache_shrink(j->cache, 20000);
        } else if (what < 90) {
            lb_cache_has(j->cache, image_key(number), &desc, box, ALL);
        } else if (what < 95) {
            lb_cache_knows(j->cache, image_key(number));
        } else {
            lb_cache_stats_of(j->cache);
        }
    }
    return NULL;
}

/* Every thread wants every thing, in an order of its own; those that find it claimed wait. */
static void *once(void *context)
{
    job *j = context;
    uint32_t start = next_random(&j->seed) % THINGS;

    for (uint32_t i = 0; i < THINGS; i++) {
        uint64_t number = (start + i * 5) % THINGS;
        lb_value value = {0};

        while (!value.image) {
            uint32_t seen = lb_cache_unclaimed(j->cache);
            lb_claim claim;

            if (lb_cache_claim(j->cache, image_key(number), &claim)) {
                if (!fetch(j, number, &value)) {
                    atomic_fetch_add(&j->made[number], 1);
                    make_and_put(j, number, LB_KEEP_RUN);
                    fetch(j, number, &value);
                }
                lb_cache_unclaim(j->cache, &claim);
            } else {
                lb_cache_wait(j->cache, seen, 60);
            }
        }
        lb_value_unref(&value);
    }
    return NULL;
}

static void run(lb_cache *cache, void *(*fn)(void *), int steps, atomic_int *made)
{
    pthread_t threads[THREADS];
    job jobs[THREADS];
    atomic_int wrong = 0;

    for (int i = 0; i < THREADS; i++) {
        jobs[i] = (job){cache, (uint64_t)i + 1, steps, made, &wrong};
        if (pthread_create(&threads[i], NULL, fn, &jobs[i]) != 0)
            abort();
    }
    for (int i = 0; i < THREADS; i++)
        pthread_join(threads[i], NULL);
    check(wrong == 0, "what is found is right");
}

static size_t give_back(void *context, size_t bytes)
{
    return lb_cache_shrink(context, bytes);
}

/* The whole process's memory is short, not the cache's: allocations, those of the cache itself with
 * them, take room from the cache in the middle of everything. */
static void run_short_of_memory(const char *folder)
{
    lb_cache *cache = NULL;
    lb_cache_stats stats;
    size_t budget = lb_memory_used() + 600000;

    check(cache_new((size_t)1 << 30, folder, &cache) == LB_OK, "cache");
    check(lb_memory_add_reclaim(give_back, cache), "reclaim");
    lb_memory_set_budget(budget);
    lb_memory_reset_peak();
    run(cache, everything, 600, NULL);
    stats = lb_cache_stats_of(cache);
    check(stats.hits > 0 && stats.evictions > 0, "hits, and room made");
    check(lb_memory_peak() <= budget, "the memory's budget is kept");
    lb_memory_set_budget(0);
    lb_memory_drop_reclaim(cache);
    lb_cache_free(&cache);
}

int main(void)
{
    char folder[64];
    lb_cache *cache = NULL;
    lb_cache_stats stats;
    atomic_int made[THINGS] = {0};
    size_t before = lb_memory_used();

    make_folder(folder);
    check(cache_new(150000, NULL, &cache) == LB_OK, "memory");
    run(cache, everything, 4000, NULL);
    stats = lb_cache_stats_of(cache);
    check(stats.bytes <= stats.budget, "within the budget");
    check(stats.hits > 0 && stats.evictions > 0, "hits and evictions");
    lb_cache_shrink(cache, SIZE_MAX);
    stats = lb_cache_stats_of(cache);
    check(stats.bytes == 0 && stats.entries == 0, "the account comes out at 0");
    lb_cache_free(&cache);

    check(lb_cache_open(
              &(lb_cache_options){.memory_bytes = 100000, .folder = folder, .disk_bytes = 200000},
              NULL, &cache) == LB_OK,
          "memory and disk");
    run(cache, everything, 600, NULL);
    stats = lb_cache_stats_of(cache);
    check(stats.disk.hits > 0 && stats.disk.writes > 0 && stats.disk.damaged == 0, "disk");
    lb_cache_free(&cache);

    check(cache_new((size_t)1 << 30, NULL, &cache) == LB_OK, "large");
    run(cache, once, 0, made);
    for (int i = 0; i < THINGS; i++)
        check(made[i] == 1, "made once");
    lb_cache_free(&cache);

    run_short_of_memory(folder);
    check(lb_memory_used() == before, "nothing is left");
    remove_folder(folder);
    printf("%d failures\n", failures);
    return failures > 0;
}
