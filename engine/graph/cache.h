/* engine/graph/cache.h: results kept from frame to frame, in memory and on disk.
 *
 * Everything here may be called from any thread at any time, `cache` may be NULL (nothing is kept),
 * and no lock is held over anything slow: not over reading, writing, allocating or freeing. */
#ifndef LB_GRAPH_CACHE_H
#define LB_GRAPH_CACHE_H

#include "engine/base/hash.h"
#include "engine/graph/claim.h"
#include "engine/graph/disk.h"
#include "engine/graph/value.h"

typedef struct lb_cache lb_cache;

typedef struct lb_cache_options {
    size_t memory_bytes; /* for results in memory; 0: none is kept there */
    const char *folder;  /* for results on disk; NULL: none is kept there */
    uint64_t disk_bytes; /* for all of that folder; 0: LB_DISK_BYTES */
} lb_cache_options;

/* LB_MEMORY, LB_IO. The diag is lent and must outlive the cache. */
LB_MUST_CHECK lb_status lb_cache_open(const lb_cache_options *options, lb_diag *diag,
                                      lb_cache **out);
/* When no other thread uses it any more. May take some seconds to bring the folder within its
 * bound. */
void lb_cache_free(lb_cache **cache);

/* How long a result may be of use. */
typedef enum lb_keep {
    LB_KEEP_RUN, /* the same for every frame */
    LB_KEEP_NOT, /* not in memory; perhaps on disk */
} lb_keep;

/* The result known by `key` with at least the pixels of `box` and those channels (bits of
 * desc->channels); a reference for the caller. False: not here. Looks in memory, then on disk
 * (images only; these hold the wanted channels and no others). What comes from disk is kept in
 * memory as `keep` says. */
bool lb_cache_fetch(lb_cache *cache, lb_key key, const lb_desc *desc, lb_box box, uint64_t channels,
                    lb_keep keep, lb_value *out);
/* Where lb_cache_fetch would find it, without reading a pixel, counting a hit or noting a use. */
typedef enum lb_cache_place { LB_CACHE_NONE, LB_CACHE_MEMORY, LB_CACHE_DISK } lb_cache_place;
lb_cache_place lb_cache_has(lb_cache *cache, lb_key key, const lb_desc *desc, lb_box box,
                            uint64_t channels);

/* Is something known by `key` in memory, whatever its pixels? */
bool lb_cache_knows(lb_cache *cache, lb_key key);

/* Keeps a result, taking its own reference; `seconds` is what making it took. When memory is short,
 * what is cheap to make for its size goes first, which may be this very one (GreedyDual-Size: Cao
 * and Irani, "Cost-aware WWW proxy caching algorithms", USENIX ITS 1997). An entry of the same key
 * is replaced unless it has all that this one has. On disk, an image that took longer to make than
 * writing and reading it are likely to take, or `always`, is written as well, before this returns.
 */
void lb_cache_put(lb_cache *cache, lb_key key, const lb_desc *desc, lb_box box, uint64_t channels,
                  lb_value value, double seconds, lb_keep keep, bool always);

/* Lets go of results, least worth first, until `bytes` have left the cache or it is empty; how many
 * left. What left is free unless a frame that is being made holds it too, so whoever needs room
 * tries again and calls again until the answer is 0. Allocates nothing, and waits for nobody but
 * for the short time that another thread needs to link an entry; an allocator may call it. */
size_t lb_cache_shrink(lb_cache *cache, size_t bytes);

/* Frames in flight that need the same result: one makes it, the others wait.
 *
 *     if (lb_cache_claim(cache, key, &claim)) {       mine
 *         if (!lb_cache_fetch(...))                   somebody may just have finished
 *             make it, lb_cache_put(...)
 *         lb_cache_unclaim(cache, &claim);            also when making failed
 *     } else {
 *         busy: take `seen` before claiming, do something else, and claim again when
 *         lb_cache_unclaimed(cache) != seen, or sleep in lb_cache_wait(cache, seen, seconds)
 *     }
 *
 * A claim says nothing about pixels and channels, and what was made may have been too big to stay:
 * who gets the claim after another always looks first, and makes what is missing. Hold a claim only
 * while making that result, with its inputs at hand; who waits holding claims that others may wait
 * for can wait for ever. With cache NULL every claim is the caller's. */
LB_MUST_CHECK bool lb_cache_claim(lb_cache *cache, lb_key key, lb_claim *claim);
void lb_cache_unclaim(lb_cache *cache, lb_claim *claim);
uint32_t lb_cache_unclaimed(const lb_cache *cache);
bool lb_cache_wait(lb_cache *cache, uint32_t seen, double seconds);

/* Since the cache was made, but for what is in it now. */
typedef struct lb_cache_stats {
    int64_t hits, misses; /* in memory; what memory misses is looked for on disk */
    int64_t evictions;    /* for room, lb_cache_shrink's with them */
    int64_t entries;
    size_t bytes;  /* pieces that entries share counted once */
    size_t budget; /* for bytes */
    lb_disk_stats disk;
} lb_cache_stats;
lb_cache_stats lb_cache_stats_of(lb_cache *cache);

#endif
