/* engine/graph/disk_folder.h: results on disk: the folder.
 *
 * An entry is FOLDER/ab/cdef….plane, its key in hexadecimal with a slash after two digits; while it
 * is being written its name is .cdef….plane.PID-N.part. Nothing else in the folder is ever touched.
 * Any number of processes on any number of machines may use a folder at once, also over a network
 * file system: there are no locks, entries appear by renaming, and what somebody else removed first
 * is no failure. */
#ifndef LB_GRAPH_DISK_FOLDER_H
#define LB_GRAPH_DISK_FOLDER_H

#include "engine/base/hash.h"
#include "engine/base/memory.h"

#define LB_DISK_PATH 4096 /* bytes of the longest path with its NUL */

/* Paths of entries; false: too long. */
LB_MUST_CHECK bool lb_disk_path(const char *folder, lb_key key, char path[LB_DISK_PATH]);
/* A name for writing an entry, `n` told apart from others of this process. */
LB_MUST_CHECK bool lb_disk_temporary(const char *folder, lb_key key, unsigned n,
                                     char path[LB_DISK_PATH]);

/* One file that is ours. Lent to the visitor. */
typedef struct lb_disk_found {
    const char *place; /* "ab/cdef….plane" */
    bool is_temporary;
    lb_key key;
    uint64_t bytes;
    double used_s; /* last use or last write, seconds since 1970 */
    int folder;    /* open on FOLDER/ab */
    const char *name;
} lb_disk_found;

/* Calls visit for every entry and temporary, in no order; it answers false to stop. LB_IO with
 * errno: the folder cannot be read; one that is not there has nothing in it. */
typedef bool (*lb_disk_visit)(void *context, const lb_disk_found *found);
LB_MUST_CHECK lb_status lb_disk_walk(const char *folder, lb_disk_visit visit, void *context);
/* Opens it for reading; -1 with errno. */
int lb_disk_found_open(const lb_disk_found *found);

/* What is in a folder, or what was removed from it. */
typedef struct lb_disk_count {
    int64_t entries, temporaries;
    uint64_t bytes, temporary_bytes;
    double oldest_s, newest_s; /* uses of entries; 0 when there is none */
} lb_disk_count;

/* Until when a walk may go on, in seconds of lb_clock_s; 0: as long as it takes. Read now and then,
 * so that another thread can set it. NULL: as long as it takes. */
typedef const _Atomic double lb_disk_deadline;

/* Counts; removes temporaries that nobody has written to for a day. LB_IO; LB_CANCELLED: the
 * deadline came first. */
LB_MUST_CHECK lb_status lb_disk_survey(const char *folder, lb_disk_deadline *deadline,
                                       lb_disk_count *out);
/* Removes entries until at most `limit` bytes of entries are left, those first that are worth
 * least: seconds to make, per byte, per second since the last use, times 1 to 64 as the key draws.
 * The lot is for sequences that are rendered again and again and do not fit: whatever was longest
 * unused is what is needed next, and with nothing else to go by every frame would go just before it
 * is asked for. Damaged entries are worth nothing. */
LB_MUST_CHECK lb_status lb_disk_shrink(const char *folder, uint64_t limit,
                                       lb_disk_deadline *deadline, lb_disk_count *removed);
/* Removes all entries and temporaries, and the folders ab that are empty then and were not before.
 * LB_IO when some could not be removed. */
LB_MUST_CHECK lb_status lb_disk_clear(const char *folder, lb_disk_count *removed);

#endif
