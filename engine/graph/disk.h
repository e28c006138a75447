/* engine/graph/disk.h: images on disk, known by what they are made from.
 *
 * A folder that any number of processes on any number of machines may share (disk_folder.h):
 * entries appear whole, a damaged one counts as absent and is removed, and the folder is kept
 * within a bound. Nothing here ever fails a render: what cannot be kept is made again. Thread-safe.
 */
#ifndef LB_GRAPH_DISK_H
#define LB_GRAPH_DISK_H

#include "engine/base/hash.h"
#include "engine/graph/value.h"

#define LB_DISK_BYTES ((uint64_t)20 << 30) /* the usual bound */

typedef struct lb_disk lb_disk;
/* `limit` for all entries in the folder, 0: LB_DISK_BYTES; it is made if it is not there. Others
 * may write beside this process, each a sixteenth of the bound before it looks again, and a folder
 * is brought down to nine tenths, worth least first (lb_disk_shrink). LB_IO, LB_MEMORY; reported.
 */
LB_MUST_CHECK lb_status lb_disk_open(lb_diag *diag, const char *folder, uint64_t limit,
                                     lb_disk **out);
/* Takes up to some seconds when the folder's bound has to be seen to. */
void lb_disk_free(lb_disk **disk);

/* The wanted channels (and no others) of at least `box`; notes the use. What could not be read for
 * other reasons than damage stays and counts as absent. */
bool lb_disk_find(lb_disk *disk, lb_key key, const lb_desc *desc, lb_box box, uint64_t channels,
                  lb_value *out);
/* Is it there, by the header alone? Nothing is noted or removed. */
bool lb_disk_has(lb_disk *disk, lb_key key, const lb_desc *desc, lb_box box, uint64_t channels);
/* Written only if making it took longer than writing it and reading it back once are likely to
 * take, or `always`, and only if it is not there. A folder that cannot be written to is a warning,
 * once. */
void lb_disk_put(lb_disk *disk, lb_key key, const lb_desc *desc, lb_box box, uint64_t channels,
                 const lb_image *image, double seconds, bool always);

typedef struct lb_disk_stats {
    int64_t hits, misses, damaged; /* looked for; damaged ones are misses too */
    int64_t writes, evictions;     /* by this process */
    uint64_t bytes_read, bytes_written;
    double read_s, write_s; /* that took, added up over threads */
    bool is_counted;        /* the folder was counted, which happens after the first write */
    uint64_t bytes;         /* of entries in it when it was last counted, and written since */
    uint64_t limit;         /* 0: there is no folder */
} lb_disk_stats;
lb_disk_stats lb_disk_stats_of(lb_disk *disk);

#endif
