/* engine/graph/cache.h: results kept from frame to frame, in memory and on disk. */
#ifndef LB_GRAPH_CACHE_H
#define LB_GRAPH_CACHE_H

#include "engine/base/hash.h"
#include "engine/graph/value.h"

typedef struct lb_cache lb_cache;

/* `budget` bytes in memory; `folder` for results on disk, NULL: none. LB_MEMORY, LB_IO. */
LB_MUST_CHECK lb_status lb_cache_new(size_t budget, const char *folder, lb_diag *diag,
                                     lb_cache **out);
void lb_cache_free(lb_cache **cache);

/* The result known by `key` with at least the pixels of `box` and those channels (bits of
 * desc->channels); a reference for the caller. False: not here. Looks in memory, then on disk
 * (images only). */
bool lb_cache_find(lb_cache *cache, lb_key key, const lb_desc *desc, lb_box box, uint64_t channels,
                   lb_value *out);

/* Is something known by `key` in memory, whatever its pixels? */
bool lb_cache_knows(lb_cache *cache, lb_key key);

/* How long a result may be of use. */
typedef enum lb_keep {
    LB_KEEP_RUN,   /* the same for every frame */
    LB_KEEP_FRAME, /* until lb_cache_end_frame: several outputs of one frame */
    LB_KEEP_NOT,   /* not in memory; perhaps on disk */
} lb_keep;

/* Keeps a result if there is room, taking its own reference; what is cheap to make for its size
 * goes first (GreedyDual-Size: Cao and Irani, USENIX ITS 1997). On disk, an image that took longer
 * to make than reading it back is likely to take, or `always`, is written as well. */
void lb_cache_put(lb_cache *cache, lb_key key, const lb_desc *desc, lb_box box, uint64_t channels,
                  lb_value value, double seconds, lb_keep keep, bool always);
void lb_cache_end_frame(lb_cache *cache);

#endif
