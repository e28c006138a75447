/* engine/graph/cache.c: results kept from frame to frame.
 *
 * GreedyDual-Size: every entry has a worth of `floor + seconds / bytes`; the entry of least worth
 * goes first, and the floor rises to its worth, so that old entries lose against new ones. */
#include "engine/graph/cache.h"

#include <pthread.h>

#include "engine/graph/disk.h"

typedef struct entry {
    lb_key key;
    lb_box box;
    uint64_t channels;
    lb_value value;
    size_t bytes;
    double gain, worth;
    lb_keep keep;
} entry;

struct lb_cache {
    pthread_mutex_t lock;
    size_t budget, used;
    double floor;
    entry *entries;
    size_t count, capacity;
    lb_disk *disk;
};

lb_status lb_cache_new(size_t budget, const char *folder, lb_diag *diag, lb_cache **out)
{
    lb_status status = LB_OK;

    *out = lb_alloc(1, sizeof **out);
    if (!*out)
        return lb_fail(diag, LB_MEMORY, LB_NOWHERE, "no memory");
    (*out)->budget = budget;
    pthread_mutex_init(&(*out)->lock, NULL);
    if (folder && (status = lb_disk_new(diag, folder, &(*out)->disk)) != LB_OK)
        lb_cache_free(out);
    return status;
}

void lb_cache_free(lb_cache **cache)
{
    if (!*cache)
        return;
    for (size_t i = 0; i < (*cache)->count; i++)
        lb_value_unref(&(*cache)->entries[i].value);
    lb_free((*cache)->entries);
    lb_disk_free(&(*cache)->disk);
    pthread_mutex_destroy(&(*cache)->lock);
    lb_free(*cache);
    *cache = NULL;
}

static void drop(lb_cache *cache, size_t at)
{
    cache->used -= cache->entries[at].bytes;
    lb_value_unref(&cache->entries[at].value);
    cache->entries[at] = cache->entries[--cache->count];
}

static bool covers(const entry *e, lb_key key, lb_box box, uint64_t channels)
{
    return lb_key_equal(e->key, key) && lb_box_contains(e->box, box) &&
           (channels & ~e->channels) == 0;
}

bool lb_cache_find(lb_cache *cache, lb_key key, const lb_desc *desc, lb_box box, uint64_t channels,
                   lb_value *out)
{
    bool hit = false;

    if (!cache)
        return false;
    pthread_mutex_lock(&cache->lock);
    for (size_t i = 0; i < cache->count && !hit; i++)
        if (covers(&cache->entries[i], key, box, channels)) {
            entry *e = &cache->entries[i];

            e->worth = cache->floor + e->gain;
            *out = lb_value_ref(e->value);
            hit = true;
        }
    pthread_mutex_unlock(&cache->lock);
    if (!hit && cache->disk && desc->kind == LB_KIND_IMAGE)
        hit = lb_disk_find(cache->disk, key, desc, box, channels, out);
    return hit;
}

bool lb_cache_knows(lb_cache *cache, lb_key key)
{
    bool known = false;

    if (!cache)
        return false;
    pthread_mutex_lock(&cache->lock);
    for (size_t i = 0; i < cache->count && !known; i++)
        known = lb_key_equal(cache->entries[i].key, key);
    pthread_mutex_unlock(&cache->lock);
    return known;
}

/* Makes room for `bytes`; false: what is here is worth more, or frame results fill the budget. */
static bool make_room(lb_cache *cache, size_t bytes, double worth)
{
    while (cache->used + bytes > cache->budget) {
        size_t least = cache->count;

        for (size_t i = 0; i < cache->count; i++)
            if (least == cache->count || cache->entries[i].worth < cache->entries[least].worth)
                least = i;
        if (least == cache->count || cache->entries[least].worth > worth)
            return false;
        cache->floor = cache->entries[least].worth;
        drop(cache, least);
    }
    return true;
}

void lb_cache_put(lb_cache *cache, lb_key key, const lb_desc *desc, lb_box box, uint64_t channels,
                  lb_value value, double seconds, lb_keep keep, bool always)
{
    size_t bytes = lb_value_bytes(value);
    double gain = seconds / (double)(bytes > 0 ? bytes : 1);

    if (!cache)
        return;
    if (cache->disk && value.kind == LB_KIND_IMAGE)
        lb_disk_put(cache->disk, key, desc, box, channels, value.image, seconds, always);
    if (keep == LB_KEEP_NOT)
        return;
    pthread_mutex_lock(&cache->lock);
    for (size_t i = cache->count; i-- > 0;)
        if (lb_key_equal(cache->entries[i].key, key)) /* what it had too little of, or the same */
            drop(cache, i);
    if (bytes <= cache->budget && make_room(cache, bytes, cache->floor + gain) &&
        lb_grow((void **)&cache->entries, &cache->capacity, cache->count, sizeof(entry))) {
        cache->entries[cache->count++] = (entry){
            key, box, channels, lb_value_ref(value), bytes, gain, cache->floor + gain, keep};
        cache->used += bytes;
    }
    pthread_mutex_unlock(&cache->lock);
}

void lb_cache_end_frame(lb_cache *cache)
{
    if (!cache)
        return;
    pthread_mutex_lock(&cache->lock);
    for (size_t i = cache->count; i-- > 0;)
        if (cache->entries[i].keep == LB_KEEP_FRAME)
            drop(cache, i);
    pthread_mutex_unlock(&cache->lock);
}
