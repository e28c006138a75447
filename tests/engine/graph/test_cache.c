/* tests/engine/graph/test_cache.c: what the cache in memory keeps, against a model that does the
 * same by looking at everything; who goes first; claims. Threads are in thread_cache.c. */
#include <criterion/criterion.h>

#include "engine/graph/cache.h"
#include "tests/support/cache_images.h"

#define ALL UINT64_C(15) /* A B G R */

static const lb_box small = {0, 0, 16, 16};

static lb_cache *cache_of(size_t budget)
{
    lb_cache *cache = NULL;

    cr_assert_eq(cache_new(budget, NULL, &cache), LB_OK);
    return cache;
}

static void put_box(lb_cache *cache, uint64_t number, lb_box box, double seconds, lb_keep keep)
{
    lb_key key = image_key(number);
    lb_desc desc = image_desc(box);
    lb_value value = {.kind = LB_KIND_IMAGE, .image = image_new(key, box)};

    cr_assert_not_null(value.image);
    lb_cache_put(cache, key, &desc, box, ALL, value, seconds, keep, false);
    lb_value_unref(&value);
}

static void put(lb_cache *cache, uint64_t number, double seconds)
{
    put_box(cache, number, small, seconds, LB_KEEP_RUN);
}

static bool has_box(lb_cache *cache, uint64_t number, lb_box box, uint64_t channels)
{
    lb_desc desc = image_desc(small);
    lb_value value = {0};
    bool hit = lb_cache_fetch(cache, image_key(number), &desc, box, channels, LB_KEEP_NOT, &value);

    if (hit)
        cr_expect(image_is_right(value.image, image_key(number), box, channels));
    lb_value_unref(&value);
    return hit;
}

static bool has(lb_cache *cache, uint64_t number)
{
    return has_box(cache, number, small, ALL);
}

/* Bytes that one entry with those pixels takes. */
static size_t entry_bytes(lb_box box)
{
    lb_cache *cache = cache_of((size_t)1 << 30);
    size_t bytes;

    put_box(cache, 1, box, 1, LB_KEEP_RUN);
    bytes = lb_cache_stats_of(cache).bytes;
    lb_cache_free(&cache);
    return bytes;
}

Test(cache, finds_what_covers)
{
    lb_cache *cache = cache_of(1 << 20);
    lb_desc desc = image_desc(small);
    lb_key key = image_key(1);
    lb_value value = {.kind = LB_KIND_IMAGE, .image = image_new(key, small)};
    lb_box part = {2, 3, 5, 9}, more = {0, 0, 17, 16};
    lb_cache_stats stats;

    cr_expect(!has(cache, 1));
    cr_expect_eq(lb_cache_has(cache, key, &desc, small, ALL), LB_CACHE_NONE);
    lb_cache_put(cache, key, &desc, small, 7, value, 1, LB_KEEP_RUN, false);
    cr_expect(has_box(cache, 1, small, 7) && has_box(cache, 1, part, 4));
    cr_expect(!has_box(cache, 1, more, 7), "more pixels");
    cr_expect(!has_box(cache, 1, small, 8), "another channel");
    cr_expect(!has_box(cache, 2, small, 7), "another key");
    cr_expect_eq(lb_cache_has(cache, key, &desc, part, 3), LB_CACHE_MEMORY);
    cr_expect_eq(lb_cache_has(cache, key, &desc, part, 8), LB_CACHE_NONE);
    cr_expect(lb_cache_knows(cache, key) && !lb_cache_knows(cache, image_key(2)));
    stats = lb_cache_stats_of(cache);
    cr_expect_eq(stats.hits, 2);
    cr_expect_eq(stats.misses, 4, "peeking counts nothing");
    cr_expect_eq(stats.entries, 1);
    lb_cache_put(cache, key, &desc, part, 15, value, 1, LB_KEEP_RUN, false);
    cr_expect(has_box(cache, 1, part, 15) && !has_box(cache, 1, small, 7), "replaced");
    lb_cache_put(cache, key, &desc, part, 1, value, 1, LB_KEEP_RUN, false);
    cr_expect(has_box(cache, 1, part, 15), "not replaced by less");
    cr_expect_eq(lb_cache_stats_of(cache).entries, 1);
    lb_value_unref(&value);
    lb_cache_free(&cache);
    cr_expect(!lb_cache_fetch(NULL, key, &desc, small, 1, LB_KEEP_RUN, &value));
    lb_cache_put(NULL, key, &desc, small, 1, value, 1, LB_KEEP_RUN, false);
    cr_expect_eq(lb_cache_shrink(NULL, 1), 0);
}

Test(cache, keeps_as_long_as_told)
{
    lb_cache *cache = cache_of(1 << 20);

    put_box(cache, 1, small, 1, LB_KEEP_RUN);
    put_box(cache, 2, small, 1, LB_KEEP_NOT);
    cr_expect(has(cache, 1) && !has(cache, 2));
    cr_expect_eq(lb_cache_stats_of(cache).evictions, 0);
    lb_cache_free(&cache);
    cache = cache_of(0);
    put(cache, 1, 1);
    cr_expect(!has(cache, 1));
    lb_cache_free(&cache);
}

/* Entries that share planes count once, and letting one go frees only what was its own. */
Test(cache, shared_planes)
{
    lb_cache *cache = cache_of(1 << 20);
    lb_desc desc = image_desc(small);
    lb_value value = {.kind = LB_KIND_IMAGE, .image = image_new(image_key(1), small)};
    size_t planes = lb_image_bytes(value.image), one = 0, ten;

    for (uint64_t i = 0; i < 10; i++) {
        lb_cache_put(cache, image_key(i), &desc, small, ALL, value, (double)(1 + i), LB_KEEP_RUN,
                     false);
        if (i == 0)
            one = lb_cache_stats_of(cache).bytes;
    }
    ten = lb_cache_stats_of(cache).bytes;
    cr_expect_eq(ten, planes + 10 * (one - planes));
    cr_expect_eq(lb_cache_shrink(cache, 1), one - planes);
    cr_expect_eq(lb_cache_shrink(cache, SIZE_MAX), ten - (one - planes));
    cr_expect_eq(lb_cache_stats_of(cache).bytes, 0);
    lb_value_unref(&value);
    lb_cache_free(&cache);
}

Test(cache, shrinks_least_worth_first)
{
    lb_cache *cache = cache_of(1 << 20);
    static const double seconds[] = {3, 1, 5, 2, 4};
    size_t each = entry_bytes(small);

    for (uint64_t i = 0; i < 5; i++)
        put(cache, i, seconds[i]);
    cr_expect_eq(lb_cache_shrink(cache, 0), 0);
    cr_expect_eq(lb_cache_shrink(cache, each + 1), 2 * each);
    cr_expect(has(cache, 0) && !has(cache, 1) && has(cache, 2) && !has(cache, 3) && has(cache, 4));
    cr_expect_eq(lb_cache_shrink(cache, SIZE_MAX), 3 * each);
    cr_expect_eq(lb_cache_shrink(cache, 1), 0);
    cr_expect_eq(lb_cache_stats_of(cache).evictions, 5);
    lb_cache_free(&cache);
}

/* ---- The policy ---- */

#define THINGS 200
#define ACCESSES 6000

typedef struct thing {
    lb_box box;
    double seconds;
    size_t bytes;
    bool is_kept;
    double worth;
    int64_t used;
} thing;

typedef enum policy { GREEDY_DUAL, LRU } policy;
typedef struct outcome {
    int64_t hits;
    double saved_s;
} outcome;

static uint32_t next_random(uint64_t *state)
{
    *state = *state * UINT64_C(6364136223846793005) + 1442695040888963407u; /* Knuth's MMIX */
    return (uint32_t)(*state >> 33);
}

/* Few things are asked for often: number n about in proportion to 1 / n, as page requests are
 * (Breslau et al., "Web caching and Zipf-like distributions", INFOCOM 1999). Which are popular
 * changes halfway. */
static uint32_t next_number(uint64_t *state, int access)
{
    uint32_t range = 1 + next_random(state) % THINGS, number = next_random(state) % range;

    return access < ACCESSES / 2 ? number : THINGS - 1 - number;
}

static void make_things(thing *things)
{
    static const double seconds[] = {0.001, 0.01, 0.01, 0.1, 2};
    static const int32_t widths[] = {16, 16, 32, 64, 96};
    uint64_t random = 3;

    for (int i = 0; i < THINGS; i++) {
        things[i] = (thing){.box = {0, 0, widths[next_random(&random) % 5], 16},
                            .seconds = seconds[next_random(&random) % 5]};
        things[i].bytes = entry_bytes(things[i].box);
    }
}

/* One access by the policy as the paper writes it: H(p) = L + cost / size, looking at everything;
 * what comes in last is among those that may go. */
static bool model_access(thing *things, uint32_t number, int64_t now, policy how, size_t budget,
                         size_t *used, double *floor)
{
    thing *t = &things[number];
    bool hit = t->is_kept;

    t->worth = how == LRU ? 0 : *floor + t->seconds / (double)t->bytes;
    t->used = now;
    *used += hit ? 0 : t->bytes;
    t->is_kept = true;
    while (*used > budget) {
        thing *least = NULL;

        for (int i = 0; i < THINGS; i++)
            if (things[i].is_kept &&
                (!least || things[i].worth < least->worth ||
                 (things[i].worth == least->worth && things[i].used < least->used)))
                least = &things[i];
        least->is_kept = false;
        *used -= least->bytes;
        *floor = least->worth;
    }
    return hit;
}

static outcome model_run(thing *things, policy how, size_t budget)
{
    uint64_t random = 11;
    size_t used = 0;
    double floor = 0;
    outcome out = {0};

    for (int i = 0; i < THINGS; i++)
        things[i].is_kept = false;
    for (int i = 0; i < ACCESSES; i++) {
        uint32_t number = next_number(&random, i);

        if (model_access(things, number, i, how, budget, &used, &floor)) {
            out.hits++;
            out.saved_s += things[number].seconds;
        }
    }
    return out;
}

/* The cache does at every access what the model does, and saves more seconds than keeping what was
 * used last. */
Test(cache, policy, .timeout = 60)
{
    static thing things[THINGS], model[THINGS];
    size_t all = 0, budget, used = 0;
    double floor = 0;
    uint64_t random = 11;
    outcome cached = {0}, lru, greedy;
    lb_cache *cache;

    make_things(things);
    for (int i = 0; i < THINGS; i++)
        all += things[i].bytes;
    budget = all / 8;
    cache = cache_of(budget);
    memcpy(model, things, sizeof model);
    for (int i = 0; i < ACCESSES; i++) {
        uint32_t number = next_number(&random, i);
        const thing *t = &things[number];
        bool hit = has_box(cache, number, t->box, ALL);
        bool expected = model_access(model, number, i, GREEDY_DUAL, budget, &used, &floor);

        cr_assert_eq(hit, expected, "access %d, thing %u", i, number);
        if (hit) {
            cached.hits++;
            cached.saved_s += t->seconds;
        } else {
            put_box(cache, number, t->box, t->seconds, LB_KEEP_RUN);
        }
        cr_assert_eq(lb_cache_stats_of(cache).bytes, used);
    }
    greedy = model_run(things, GREEDY_DUAL, budget);
    lru = model_run(things, LRU, budget);
    cr_expect_eq(cached.hits, greedy.hits);
    cr_expect_float_eq(cached.saved_s, greedy.saved_s, 1e-6);
    cr_expect_gt(cached.saved_s, 1.2 * lru.saved_s, "%g s against %g s", cached.saved_s,
                 lru.saved_s);
    lb_cache_free(&cache);
}

/* ---- Claims ---- */

Test(cache, claims)
{
    lb_cache *cache = cache_of(1 << 20);
    lb_claim one, two, three;
    uint32_t seen = lb_cache_unclaimed(cache);

    cr_expect(lb_cache_claim(cache, image_key(1), &one));
    cr_expect(!lb_cache_claim(cache, image_key(1), &two), "busy");
    cr_expect(lb_cache_claim(cache, image_key(17), &three), "another key");
    cr_expect(!lb_cache_wait(cache, seen, 0.01), "nothing ended");
    lb_cache_unclaim(cache, &one);
    cr_expect_neq(lb_cache_unclaimed(cache), seen);
    cr_expect(lb_cache_wait(cache, seen, 10), "ended before: no waiting");
    cr_expect(lb_cache_claim(cache, image_key(1), &two));
    cr_expect(!lb_cache_claim(cache, image_key(17), &one));
    lb_cache_unclaim(cache, &two);
    lb_cache_unclaim(cache, &three);
    lb_cache_free(&cache);
    cr_expect(lb_cache_claim(NULL, image_key(1), &one) && lb_cache_claim(NULL, image_key(1), &two));
    lb_cache_unclaim(NULL, &one);
    cr_expect(lb_cache_wait(NULL, 0, 10));
}

/* ---- Memory ---- */

/* Whatever allocation fails: nothing leaks, nothing half-kept is found. */
Test(cache, no_memory)
{
    char folder[64];
    lb_box box = {0, 0, 64, 64};
    lb_desc desc = image_desc(box);
    lb_key key = image_key(1);
    lb_value value = {.kind = LB_KIND_IMAGE, .image = image_new(key, box)};
    int failures = 0;

    make_folder(folder);
    for (int64_t n = 1; n < 200; n++) {
        lb_cache *cache = NULL;
        lb_value found = {0};
        lb_status status;
        int64_t left;
        bool hit = false;

        lb_memory_fail_at(n);
        if ((status = cache_new(1 << 20, folder, &cache)) == LB_OK) {
            lb_cache_put(cache, key, &desc, box, ALL, value, 1, LB_KEEP_RUN, true);
            lb_cache_shrink(cache, SIZE_MAX);
            hit = lb_cache_fetch(cache, key, &desc, box, ALL, LB_KEEP_RUN, &found);
        }
        left = lb_memory_fail_left();
        lb_memory_fail_at(0);
        failures += !hit;
        cr_expect(hit || left <= 0, "%d", (int)n);
        if (hit)
            cr_expect(image_is_right(found.image, key, box, ALL));
        lb_value_unref(&found);
        lb_cache_free(&cache);
        if (left > 0)
            break;
        remove_folder(folder);
    }
    cr_expect_geq(failures, 8);
    lb_value_unref(&value);
    remove_folder(folder);
}

/* What comes from disk is kept in memory if the caller says so. */
Test(cache, memory_before_disk)
{
    char folder[64];
    lb_box box = {0, 0, 64, 64};
    lb_desc desc = image_desc(box);
    lb_key key = image_key(1);
    lb_cache *cache = NULL;
    lb_value value = {0};
    lb_cache_stats stats;
    size_t bytes;

    make_folder(folder);
    for (int i = 0; i < 2; i++) {
        cr_assert_eq(cache_new(1 << 20, folder, &cache), LB_OK);
        if (i == 0) {
            put_box(cache, 1, box, 1, LB_KEEP_RUN);
            lb_cache_free(&cache);
        }
    }
    cr_expect_eq(lb_cache_has(cache, key, &desc, box, ALL), LB_CACHE_DISK);
    cr_expect(lb_cache_fetch(cache, key, &desc, box, ALL, LB_KEEP_NOT, &value));
    lb_value_unref(&value);
    cr_expect_eq(lb_cache_has(cache, key, &desc, box, ALL), LB_CACHE_DISK);
    cr_expect(lb_cache_fetch(cache, key, &desc, box, ALL, LB_KEEP_RUN, &value));
    lb_value_unref(&value);
    cr_expect_eq(lb_cache_has(cache, key, &desc, box, ALL), LB_CACHE_MEMORY);
    cr_expect(lb_cache_fetch(cache, key, &desc, box, ALL, LB_KEEP_RUN, &value));
    cr_expect(image_is_right(value.image, key, box, ALL));
    bytes = lb_image_bytes(value.image);
    lb_value_unref(&value);
    stats = lb_cache_stats_of(cache);
    cr_expect_eq(stats.hits, 1);
    cr_expect_eq(stats.disk.hits, 2);
    cr_expect_eq(stats.disk.misses, 0);
    cr_expect_eq(stats.disk.bytes_read, 2 * bytes);
    lb_cache_free(&cache);
    remove_folder(folder);
}
