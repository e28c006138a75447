/* engine/graph/cache.c: results kept from frame to frame.
 *
 * In memory: entries lie in shards by their key, each with a lock, a hash table and a heap by
 * worth. A lock is held for some pointers only: an entry is made before and let go after it.
 *
 * GreedyDual-Size: an entry's worth is `floor + seconds / bytes` as of its last use. The entry of
 * least worth goes first, and the floor rises to its worth, so that old entries lose against new
 * ones; of equal ones the longest unused goes. Every shard shows the worth of its least outside its
 * lock; the least of all shards is exact as long as one thread changes the cache, and else off by
 * what changed while looking.
 *
 * `bytes` in the worth are the entry's as if it were alone, though the budget counts shared pieces
 * once (ledger.h): worth by what letting go would free would make two entries that share all they
 * have priceless, and both would stay. */
#include "engine/graph/cache.h"

#include <math.h>
#include <pthread.h>
#include <stdatomic.h>
#include <string.h>

#include "engine/graph/heap.h"
#include "engine/graph/ledger.h"

#define SHARDS 16
#define BUCKETS 512 /* a shard; an entry is some kilobytes at least, so lists stay short */
#define SECONDS_MOST 1e9

typedef struct entry {
    lb_heap_node node; /* first: a heap's node is its entry */
    struct entry *next;
    lb_key key;
    lb_box box;
    uint64_t channels;
    lb_value value;
    lb_parts parts;
    size_t overhead; /* bytes of the entry itself */
    double gain;
} entry;

typedef struct shard {
    pthread_mutex_t lock;
    _Atomic double least_worth; /* of the heap's least; INFINITY: empty. Written under the lock */
    atomic_uint_least64_t least_turn;
    lb_heap_node *heap;
    int64_t count; /* entries */
    int64_t hits, misses, evictions;
    entry *buckets[BUCKETS];
} shard;

struct lb_cache {
    size_t budget;
    atomic_size_t used;
    _Atomic double floor;
    atomic_uint_least64_t turn; /* counts uses */
    lb_ledger *ledger;
    lb_claims *claims;
    lb_disk *disk;
    shard shards[SHARDS];
};

lb_status lb_cache_open(const lb_cache_options *options, lb_diag *diag, lb_cache **out)
{
    lb_status status = LB_OK;

    *out = lb_alloc(1, sizeof **out);
    if (!*out)
        return lb_fail(diag, LB_MEMORY, LB_NOWHERE, "no memory");
    (*out)->budget = options->memory_bytes;
    for (int i = 0; i < SHARDS; i++) {
        pthread_mutex_init(&(*out)->shards[i].lock, NULL);
        atomic_init(&(*out)->shards[i].least_worth, INFINITY);
    }
    if (lb_ledger_new(&(*out)->ledger) != LB_OK || lb_claims_new(&(*out)->claims) != LB_OK)
        status = lb_fail(diag, LB_MEMORY, LB_NOWHERE, "no memory");
    if (status == LB_OK && options->folder)
        status = lb_disk_open(diag, options->folder, options->disk_bytes, &(*out)->disk);
    if (status != LB_OK)
        lb_cache_free(out);
    return status;
}

/* ---- Under a shard's lock ---- */

static shard *shard_of(lb_cache *cache, lb_key key)
{
    return &cache->shards[key.low % SHARDS];
}

/* Where the entry of that key hangs, or would; *place is NULL then. */
static entry **place_of(shard *s, lb_key key)
{
    entry **at = &s->buckets[key.low / SHARDS % BUCKETS];

    while (*at && !lb_key_equal((*at)->key, key))
        at = &(*at)->next;
    return at;
}

static void show_least(shard *s)
{
    atomic_store_explicit(&s->least_turn, s->heap ? s->heap->turn : 0, memory_order_relaxed);
    atomic_store_explicit(&s->least_worth, s->heap ? s->heap->worth : (double)INFINITY,
                          memory_order_relaxed);
}

static void rate(lb_cache *cache, shard *s, entry *e)
{
    e->node.worth = atomic_load_explicit(&cache->floor, memory_order_relaxed) + e->gain;
    e->node.turn = atomic_fetch_add_explicit(&cache->turn, 1, memory_order_relaxed);
    lb_heap_insert(&s->heap, &e->node);
    show_least(s);
}

static void note_use(lb_cache *cache, shard *s, entry *e)
{
    lb_heap_remove(&s->heap, &e->node);
    rate(cache, s, e);
}

static entry *unlink_entry(shard *s, entry **at)
{
    entry *e = *at;

    *at = e->next;
    e->next = NULL;
    lb_heap_remove(&s->heap, &e->node);
    s->count--;
    show_least(s);
    return e;
}

static bool covers(const entry *e, lb_box box, uint64_t channels)
{
    return lb_box_contains(e->box, box) && (channels & ~e->channels) == 0;
}

/* ---- Letting go: without a lock ---- */

/* Frees an entry that is in no shard any more; the bytes that left the cache. */
static size_t let_go(lb_cache *cache, entry *e)
{
    size_t left;

    if (!e)
        return 0;
    left = lb_ledger_leave(cache->ledger, &e->parts) + e->overhead;
    atomic_fetch_sub_explicit(&cache->used, left, memory_order_relaxed);
    lb_parts_clear(&e->parts);
    lb_value_unref(&e->value);
    lb_free(e);
    return left;
}

static void let_go_list(lb_cache *cache, entry *list)
{
    while (list) {
        entry *next = list->next;

        let_go(cache, list);
        list = next;
    }
}

/* The shard with the least entry of all; NULL: all are empty. */
static shard *least_shard(lb_cache *cache)
{
    lb_heap_node least = {.worth = INFINITY};
    shard *found = NULL;

    for (int i = 0; i < SHARDS; i++) {
        shard *s = &cache->shards[i];
        lb_heap_node node = {.worth = atomic_load_explicit(&s->least_worth, memory_order_relaxed),
                             .turn = atomic_load_explicit(&s->least_turn, memory_order_relaxed)};

        if (node.worth < (double)INFINITY && (!found || lb_heap_is_less(&node, &least))) {
            least = node;
            found = s;
        }
    }
    return found;
}

static void raise_floor(lb_cache *cache, double worth)
{
    double floor = atomic_load_explicit(&cache->floor, memory_order_relaxed);

    while (floor < worth &&
           !atomic_compare_exchange_weak_explicit(&cache->floor, &floor, worth,
                                                  memory_order_relaxed, memory_order_relaxed))
        ;
}

/* Takes the entry of least worth out of its shard; NULL: there is none. */
static entry *take_least(lb_cache *cache)
{
    entry *e = NULL;
    shard *s;

    while (!e && (s = least_shard(cache))) {
        pthread_mutex_lock(&s->lock);
        if (s->heap) {
            e = unlink_entry(s, place_of(s, ((entry *)(void *)s->heap)->key));
            s->evictions++;
        }
        pthread_mutex_unlock(&s->lock);
    }
    if (e)
        raise_floor(cache, e->node.worth);
    return e;
}

size_t lb_cache_shrink(lb_cache *cache, size_t bytes)
{
    size_t left = 0;
    entry *e;

    while (cache && left < bytes && (e = take_least(cache)))
        left += let_go(cache, e);
    return left;
}

void lb_cache_free(lb_cache **cache)
{
    if (!*cache)
        return;
    for (int i = 0; i < SHARDS; i++) {
        for (int b = 0; b < BUCKETS; b++)
            let_go_list(*cache, (*cache)->shards[i].buckets[b]);
        pthread_mutex_destroy(&(*cache)->shards[i].lock);
    }
    lb_disk_free(&(*cache)->disk);
    lb_claims_free(&(*cache)->claims);
    lb_ledger_free(&(*cache)->ledger);
    lb_free(*cache);
    *cache = NULL;
}

/* ---- Keeping ---- */

/* An entry that no shard knows yet, entered into the account; NULL: no memory, or more than the
 * whole budget. */
static entry *entry_new(lb_cache *cache, lb_key key, lb_box box, uint64_t channels, lb_value value,
                        double seconds)
{
    entry *e = lb_alloc(1, sizeof *e);

    if (!e)
        return NULL;
    if (lb_parts_of(value, &e->parts) != LB_OK || e->parts.bytes > cache->budget) {
        lb_parts_clear(&e->parts);
        lb_free(e);
        return NULL;
    }
    e->key = key;
    e->box = box;
    e->channels = channels;
    e->value = lb_value_ref(value);
    e->overhead = sizeof *e + e->parts.capacity * sizeof *e->parts.items;
    seconds = seconds > 0 ? fmin(seconds, SECONDS_MOST) : 0; /* NaN too */
    e->gain = seconds / (double)(e->parts.bytes + e->overhead);
    atomic_fetch_add_explicit(&cache->used, lb_ledger_enter(cache->ledger, &e->parts) + e->overhead,
                              memory_order_relaxed);
    return e;
}

/* Hangs an entry into its shard. Answers the entry to be let go: the one it replaces, itself if
 * that one has all that it has, or NULL. */
static entry *link_entry(lb_cache *cache, entry *e)
{
    shard *s = shard_of(cache, e->key);
    entry *gone = NULL, **at;

    pthread_mutex_lock(&s->lock);
    at = place_of(s, e->key);
    if (*at && covers(*at, e->box, e->channels)) {
        gone = e;
        note_use(cache, s, *at);
    } else {
        if (*at)
            gone = unlink_entry(s, at);
        e->next = *at;
        *at = e;
        s->count++;
        rate(cache, s, e);
    }
    pthread_mutex_unlock(&s->lock);
    return gone;
}

static void keep_in_memory(lb_cache *cache, lb_key key, lb_box box, uint64_t channels,
                           lb_value value, double seconds, lb_keep keep)
{
    entry *e;

    if (keep == LB_KEEP_NOT || cache->budget == 0 ||
        !(e = entry_new(cache, key, box, channels, value, seconds)))
        return;
    let_go(cache, link_entry(cache, e));
    while (atomic_load_explicit(&cache->used, memory_order_relaxed) > cache->budget &&
           (e = take_least(cache)))
        let_go(cache, e);
}

void lb_cache_put(lb_cache *cache, lb_key key, const lb_desc *desc, lb_box box, uint64_t channels,
                  lb_value value, double seconds, lb_keep keep, bool always)
{
    if (!cache)
        return;
    if (cache->disk && value.kind == LB_KIND_IMAGE)
        lb_disk_put(cache->disk, key, desc, box, channels, value.image, seconds, always);
    keep_in_memory(cache, key, box, channels, value, seconds, keep);
}

/* ---- Finding ---- */

static bool find_in_memory(lb_cache *cache, lb_key key, lb_box box, uint64_t channels,
                           lb_value *out)
{
    shard *s = shard_of(cache, key);
    entry *e;
    bool hit;

    pthread_mutex_lock(&s->lock);
    e = *place_of(s, key);
    hit = e && covers(e, box, channels);
    if (hit) {
        note_use(cache, s, e);
        *out = lb_value_ref(e->value);
        s->hits++;
    } else {
        s->misses++;
    }
    pthread_mutex_unlock(&s->lock);
    return hit;
}

bool lb_cache_fetch(lb_cache *cache, lb_key key, const lb_desc *desc, lb_box box, uint64_t channels,
                    lb_keep keep, lb_value *out)
{
    double start;

    if (!cache)
        return false;
    if (find_in_memory(cache, key, box, channels, out))
        return true;
    if (!cache->disk || desc->kind != LB_KIND_IMAGE)
        return false;
    start = lb_clock_s();
    if (!lb_disk_find(cache->disk, key, desc, box, channels, out))
        return false;
    /* What letting go of it would cost is reading it again. */
    keep_in_memory(cache, key, lb_image_box(out->image), channels, *out, lb_clock_s() - start,
                   keep);
    return true;
}

lb_cache_place lb_cache_has(lb_cache *cache, lb_key key, const lb_desc *desc, lb_box box,
                            uint64_t channels)
{
    shard *s;
    entry *e;
    bool hit;

    if (!cache)
        return LB_CACHE_NONE;
    s = shard_of(cache, key);
    pthread_mutex_lock(&s->lock);
    e = *place_of(s, key);
    hit = e && covers(e, box, channels);
    pthread_mutex_unlock(&s->lock);
    if (hit)
        return LB_CACHE_MEMORY;
    return cache->disk && desc->kind == LB_KIND_IMAGE &&
                   lb_disk_has(cache->disk, key, desc, box, channels)
               ? LB_CACHE_DISK
               : LB_CACHE_NONE;
}

bool lb_cache_knows(lb_cache *cache, lb_key key)
{
    shard *s;
    bool known;

    if (!cache)
        return false;
    s = shard_of(cache, key);
    pthread_mutex_lock(&s->lock);
    known = *place_of(s, key) != NULL;
    pthread_mutex_unlock(&s->lock);
    return known;
}

/* ---- Claims and figures ---- */

bool lb_cache_claim(lb_cache *cache, lb_key key, lb_claim *claim)
{
    return !cache || lb_claims_begin(cache->claims, key, claim);
}

void lb_cache_unclaim(lb_cache *cache, lb_claim *claim)
{
    if (cache)
        lb_claims_end(cache->claims, claim);
}

uint32_t lb_cache_unclaimed(const lb_cache *cache)
{
    return cache ? lb_claims_ended(cache->claims) : 0;
}

bool lb_cache_wait(lb_cache *cache, uint32_t seen, double seconds)
{
    return !cache || lb_claims_wait(cache->claims, seen, seconds);
}

lb_cache_stats lb_cache_stats_of(lb_cache *cache)
{
    lb_cache_stats stats = {0};

    if (!cache)
        return stats;
    for (int i = 0; i < SHARDS; i++) {
        shard *s = &cache->shards[i];

        pthread_mutex_lock(&s->lock);
        stats.hits += s->hits;
        stats.misses += s->misses;
        stats.evictions += s->evictions;
        stats.entries += s->count;
        pthread_mutex_unlock(&s->lock);
    }
    stats.bytes = atomic_load(&cache->used);
    stats.budget = cache->budget;
    if (cache->disk)
        stats.disk = lb_disk_stats_of(cache->disk);
    return stats;
}
