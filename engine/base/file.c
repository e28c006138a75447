/* engine/base/file.c: whole files in, whole files out. Paths are in path.c. */
#include "engine/base/file.h"

#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define TEMPORARY_TRIES 1000

/* The system's words for errno. `buffer` may stay unused. */
static const char *reason(int error, char *buffer, size_t bytes)
{
    return strerror_r(error, buffer, bytes);
}

static lb_status fail_errno(lb_diag *diag, lb_loc loc, const char *verb, const char *path)
{
    char words[128];
    int error = errno;
    lb_status status = error == ENOENT || error == ENOTDIR ? LB_NOT_FOUND : LB_IO;

    if (error == ENOMEM)
        status = LB_MEMORY;
    return lb_fail(diag, status, loc, "cannot %s '%s': %s", verb, path,
                   reason(error, words, sizeof words));
}

/* As fail_errno, for writing: a missing folder is no missing file. */
static lb_status fail_write(lb_diag *diag, lb_loc loc, const char *verb, const char *path)
{
    char words[128];

    return lb_fail(diag, LB_IO, loc, "cannot %s '%s': %s", verb, path,
                   reason(errno, words, sizeof words));
}

static const char *kind_of(mode_t mode)
{
    if (S_ISDIR(mode))
        return "a folder";
    if (S_ISFIFO(mode))
        return "a pipe";
    if (S_ISSOCK(mode))
        return "a socket";
    return "a device";
}

/* Reads until `bytes` are there or the file ends. */
static bool read_all(int fd, char *into, size_t bytes, size_t *got)
{
    *got = 0;
    while (*got < bytes) {
        ssize_t count = read(fd, into + *got, bytes - *got);
        if (count < 0 && errno == EINTR)
            continue;
        if (count < 0)
            return false;
        if (count == 0)
            break;
        *got += (size_t)count;
    }
    return true;
}

static lb_status read_open(lb_diag *diag, lb_loc loc, const char *path, int fd, size_t limit,
                           void **out, size_t *bytes)
{
    struct stat info;
    size_t size;
    char *content;

    if (fstat(fd, &info) != 0)
        return fail_errno(diag, loc, "read", path);
    if (!S_ISREG(info.st_mode))
        return lb_fail(diag, LB_IO, loc, "cannot read '%s': it is %s, not a file", path,
                       kind_of(info.st_mode));
    if ((uintmax_t)info.st_size > limit)
        return lb_fail(diag, LB_LIMIT, loc, "'%s' has %jd bytes; at most %zu are read", path,
                       (intmax_t)info.st_size, limit);
    size = (size_t)info.st_size;
    content = size < SIZE_MAX ? lb_alloc(size + 1, 1) : NULL;
    if (!content)
        return lb_fail(diag, LB_MEMORY, loc, "'%s': no room for its %zu bytes", path, size);
    if (!read_all(fd, content, size, bytes)) {
        lb_free(content);
        *bytes = 0;
        return fail_errno(diag, loc, "read", path);
    }
    content[*bytes] = 0;
    *out = content;
    return LB_OK;
}

lb_status lb_file_read(lb_diag *diag, lb_loc loc, const char *path, size_t limit, void **out,
                       size_t *bytes)
{
    lb_status status;
    int fd;

    *out = NULL;
    *bytes = 0;
    /* Without O_NONBLOCK the opening of a pipe would wait for its writer. */
    do
        fd = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK | O_NOCTTY);
    while (fd < 0 && errno == EINTR);
    if (fd < 0)
        return fail_errno(diag, loc, "open", path);
    status = read_open(diag, loc, path, fd, limit, out, bytes);
    close(fd);
    return status;
}

static bool write_all(int fd, const char *bytes, size_t count)
{
    while (count > 0) {
        ssize_t written = write(fd, bytes, count);
        if (written < 0 && errno == EINTR)
            continue;
        if (written < 0)
            return false;
        if (written == 0) {
            errno = ENOSPC;
            return false;
        }
        bytes += written;
        count -= (size_t)written;
    }
    return true;
}

/* fsync; a file system that knows no such thing is no failure. */
static bool sync_file(int fd)
{
    int result;

    do
        result = fsync(fd);
    while (result != 0 && errno == EINTR);
    return result == 0 || errno == EINVAL || errno == ENOTSUP;
}

/* Puts the change of names on the disk too; not every system can, so nothing is said. */
static void sync_folder(const char *path)
{
    char *folder = lb_path_folder(path);
    int fd = folder ? open(folder, O_RDONLY | O_CLOEXEC | O_DIRECTORY) : -1;

    if (fd >= 0) {
        sync_file(fd);
        close(fd);
    }
    lb_free(folder);
}

/* "FOLDER/.NAME.PID-N.part" with the name cut so that the whole stays a legal name. */
static void name_temporary(char *into, size_t room, const char *path, int n)
{
    const char *slash = strrchr(path, '/');
    const char *name = slash ? slash + 1 : path;

    snprintf(into, room, "%.*s.%.200s.%ld-%d.part", (int)(name - path), path, name, (long)getpid(),
             n);
}

/* Opens a file that was not there before, with the rights of the one it will replace. */
static int open_temporary(char *temporary, size_t room, const char *path)
{
    struct stat old;
    int fd = -1;

    for (int n = 0; n < TEMPORARY_TRIES; n++) {
        name_temporary(temporary, room, path, n);
        fd = open(temporary, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC | O_NOFOLLOW, 0666);
        if (fd >= 0 || (errno != EEXIST && errno != EINTR))
            break;
    }
    if (fd >= 0 && stat(path, &old) == 0 && fchmod(fd, old.st_mode & 0777) != 0)
        errno = 0; /* a file system without rights: the usual ones are good */
    return fd;
}

static lb_status write_temporary(lb_diag *diag, lb_loc loc, const char *path, char *temporary,
                                 size_t room, const void *bytes, size_t count)
{
    int fd = open_temporary(temporary, room, path);
    int error = 0;

    if (fd < 0)
        return fail_write(diag, loc, "write", path);
    if (!write_all(fd, bytes, count) || !sync_file(fd))
        error = errno;
    if (close(fd) != 0 && !error && errno != EINTR)
        error = errno; /* network file systems tell of a full disk here */
    if (!error && rename(temporary, path) != 0)
        error = errno;
    if (!error) {
        sync_folder(path);
        return LB_OK;
    }
    unlink(temporary);
    errno = error;
    return fail_write(diag, loc, "write", path);
}

lb_status lb_file_write(lb_diag *diag, lb_loc loc, const char *path, const void *bytes,
                        size_t count)
{
    struct stat info;
    size_t room;
    char *temporary;
    lb_status status;

    if (stat(path, &info) == 0 && !S_ISREG(info.st_mode))
        return lb_fail(diag, LB_IO, loc, "cannot write '%s': it is %s, not a file", path,
                       kind_of(info.st_mode));
    if (!lb_size_add(strlen(path), 64, &room) || room > INT32_MAX ||
        !(temporary = lb_alloc(room, 1)))
        return lb_fail(diag, LB_MEMORY, loc, "cannot write '%s': no memory", path);
    status = write_temporary(diag, loc, path, temporary, room, bytes, count);
    lb_free(temporary);
    return status;
}

void lb_file_expect(const char *path)
{
    int fd = open(path, O_RDONLY | O_CLOEXEC | O_NOCTTY | O_NONBLOCK);

    if (fd < 0)
        return;
    posix_fadvise(fd, 0, 0, POSIX_FADV_WILLNEED);
    close(fd);
}

bool lb_file_exists(const char *path)
{
    struct stat info;

    return stat(path, &info) == 0;
}

bool lb_file_stamp_of(const char *path, lb_file_stamp *out)
{
    struct stat info;

    if (stat(path, &info) != 0)
        return false;
    out->device = (uint64_t)info.st_dev;
    out->inode = (uint64_t)info.st_ino;
    out->size = (uint64_t)info.st_size;
    out->mtime_ns =
        (uint64_t)info.st_mtim.tv_sec * UINT64_C(1000000000) + (uint64_t)info.st_mtim.tv_nsec;
    return true;
}

/* Makes one folder; that it is there already is good. */
static lb_status make_one(lb_diag *diag, lb_loc loc, const char *path)
{
    struct stat info;

    if (mkdir(path, 0777) == 0)
        return LB_OK;
    if (errno == EEXIST || errno == EISDIR || errno == EROFS || errno == EACCES) {
        int error = errno;
        if (stat(path, &info) == 0) {
            if (S_ISDIR(info.st_mode))
                return LB_OK;
            return lb_fail(diag, LB_IO, loc, "cannot make the folder '%s': a file is in its place",
                           path);
        }
        errno = error;
    }
    return fail_write(diag, loc, "make the folder", path);
}

lb_status lb_folder_make(lb_diag *diag, lb_loc loc, const char *path)
{
    lb_status status = LB_OK;
    char *part;

    if (!*path)
        return LB_OK;
    part = lb_strdup(path);
    if (!part)
        return lb_fail(diag, LB_MEMORY, loc, "cannot make the folder '%s': no memory", path);
    for (char *slash = strchr(part + 1, '/'); slash && !status; slash = strchr(slash + 1, '/')) {
        if (slash[-1] == '/')
            continue;
        *slash = 0;
        status = make_one(diag, loc, part);
        *slash = '/';
    }
    if (!status && part[strlen(part) - 1] != '/')
        status = make_one(diag, loc, part);
    lb_free(part);
    return status;
}
