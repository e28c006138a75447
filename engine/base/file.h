/* engine/base/file.h: whole files in, whole files out. */
#ifndef LB_BASE_FILE_H
#define LB_BASE_FILE_H

#include "engine/base/memory.h"

/* Reads all of a regular file. `limit` bytes at most (LB_LIMIT). *out has one NUL byte more than
 * *bytes and is the caller's (lb_free). LB_NOT_FOUND, LB_IO, LB_MEMORY; reported with `loc`. */
LB_MUST_CHECK lb_status lb_file_read(lb_diag *diag, lb_loc loc, const char *path, size_t limit,
                                     void **out, size_t *bytes);

/* Makes `path` hold exactly these bytes or leaves it as it was: writes a temporary file beside it
 * (".NAME.PID-N.part"), syncs it, renames it. LB_IO with the system's reason; the temporary is
 * removed. */
LB_MUST_CHECK lb_status lb_file_write(lb_diag *diag, lb_loc loc, const char *path,
                                      const void *bytes, size_t count);

bool lb_file_exists(const char *path);

/* Tells the system that a file will be read soon; nothing happens if it is not there. */
void lb_file_expect(const char *path);

/* Identity of a file's state, to notice a change cheaply; never part of a key. */
typedef struct lb_file_stamp {
    uint64_t device, inode, size, mtime_ns;
} lb_file_stamp;
bool lb_file_stamp_of(const char *path, lb_file_stamp *out);

/* Makes the folder and those above it. */
LB_MUST_CHECK lb_status lb_folder_make(lb_diag *diag, lb_loc loc, const char *path);

/* "base/name", or `name` alone if it is absolute or base is "" or "."; in memory of the caller
 * (lb_free); NULL: no memory. */
char *lb_path_join(const char *base, const char *name);
/* The folder part of a path ("." if it has none); lb_free. */
char *lb_path_folder(const char *path);
const char *lb_path_extension(const char *path); /* "png", lent; "" if none */

#endif
