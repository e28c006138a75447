/* engine/graph/disk.c: images on disk.
 *
 * Files and folder are in disk_file.c and disk_folder.c. How full the folder is, one thread finds
 * out (the keeper): it counts after the first write, and again whenever this process has written
 * what there was room for, or a sixteenth of the bound, since others write too. It keeps no list:
 * what is in the folder, its use and its cost are read from the folder when something has to go. */
#include "engine/graph/disk.h"

#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <pthread.h>
#include <signal.h>
#include <stdatomic.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "engine/base/file.h"
#include "engine/graph/disk_file.h"
#include "engine/graph/disk_folder.h"

/* What a disk is taken to move in a second until this process has moved some hundred megabytes
 * itself, for deciding what is worth keeping. */
#define BYTES_PER_S 400e6
#define BYTES_BEFORE 256e6 /* the guess counts as much as so many moved */
#define USE_S 60           /* uses are noted no oftener */
#define RETRY_S 10         /* after a failed write: the disk may be full for all of a render */
#define LAST_PASS_S 5      /* at the end the keeper gets this long */
#define NAME_TRIES 1000
#define FOLDER_TRIES 3

struct lb_disk {
    lb_diag *diag;
    char *folder;
    uint64_t limit;
    atomic_bool complained;
    _Atomic double retry_at; /* no writing before, by lb_clock_s */
    atomic_uint temporaries; /* so many names were used */
    atomic_int_least64_t hits, misses, damaged, writes, evictions;
    atomic_uint_least64_t bytes_read, written;
    atomic_uint_least64_t read_ns, write_ns;   /* that moving those took */
    atomic_uint_least64_t due_at;              /* the keeper looks when `written` is more */
    atomic_uint_least64_t counted, counted_at; /* bytes in the folder when `written` was that */
    atomic_bool is_counted;
    pthread_mutex_t lock; /* of what follows */
    pthread_cond_t wake;
    pthread_t keeper;
    bool has_keeper, closing;
    _Atomic double deadline;
};

/* ---- The keeper ---- */

static bool is_due(lb_disk *disk)
{
    return atomic_load(&disk->written) > atomic_load(&disk->due_at);
}

/* Counts the folder and makes room. */
static void make_pass(lb_disk *disk)
{
    uint64_t at = atomic_load(&disk->written), slice = disk->limit / 16, room;
    lb_disk_count all, removed = {0};
    lb_status status = lb_disk_survey(disk->folder, &disk->deadline, &all);

    if (status == LB_OK && all.bytes > disk->limit) {
        status = lb_disk_shrink(disk->folder, disk->limit / 10 * 9, &disk->deadline, &removed);
        atomic_fetch_add(&disk->evictions, removed.entries);
        all.bytes -= removed.bytes < all.bytes ? removed.bytes : all.bytes;
    }
    room = all.bytes < disk->limit ? disk->limit - all.bytes : 0;
    if (status != LB_OK || room > slice)
        room = slice;
    atomic_store(&disk->counted, all.bytes);
    atomic_store(&disk->counted_at, at);
    atomic_store(&disk->is_counted, status == LB_OK);
    atomic_store(&disk->due_at, at + room);
}

static void *keep(void *context)
{
    lb_disk *disk = context;

    pthread_mutex_lock(&disk->lock);
    for (;;) {
        if (is_due(disk)) {
            bool last = disk->closing;

            pthread_mutex_unlock(&disk->lock);
            make_pass(disk);
            pthread_mutex_lock(&disk->lock);
            if (last)
                break;
        } else if (disk->closing) {
            break;
        } else {
            pthread_cond_wait(&disk->wake, &disk->lock);
        }
    }
    pthread_mutex_unlock(&disk->lock);
    return NULL;
}

/* Signals are for other threads. */
static bool start_keeper(lb_disk *disk)
{
    sigset_t all, before;
    bool started;

    sigfillset(&all);
    pthread_sigmask(SIG_SETMASK, &all, &before);
    started = pthread_create(&disk->keeper, NULL, keep, disk) == 0;
    pthread_sigmask(SIG_SETMASK, &before, NULL);
    return started;
}

static void note_written(lb_disk *disk, uint64_t bytes)
{
    atomic_fetch_add(&disk->written, bytes);
    atomic_fetch_add(&disk->writes, 1);
    if (!is_due(disk))
        return;
    pthread_mutex_lock(&disk->lock);
    if (!disk->has_keeper)
        disk->has_keeper = start_keeper(disk);
    pthread_cond_signal(&disk->wake);
    pthread_mutex_unlock(&disk->lock);
}

/* ---- Life ---- */

lb_status lb_disk_open(lb_diag *diag, const char *folder, uint64_t limit, lb_disk **out)
{
    lb_status status = lb_folder_make(diag, LB_NOWHERE, folder);
    char path[LB_DISK_PATH];

    *out = NULL;
    if (status != LB_OK)
        return status;
    if (!lb_disk_temporary(folder, (lb_key){0}, 0, path))
        return lb_fail(diag, LB_IO, LB_NOWHERE, "'%.100s…': the path is too long", folder);
    *out = lb_alloc(1, sizeof **out);
    if (!*out || !((*out)->folder = lb_strdup(folder))) {
        lb_free(*out);
        *out = NULL;
        return lb_fail(diag, LB_MEMORY, LB_NOWHERE, "no memory");
    }
    (*out)->diag = diag;
    (*out)->limit = limit ? limit : LB_DISK_BYTES;
    pthread_mutex_init(&(*out)->lock, NULL);
    pthread_cond_init(&(*out)->wake, NULL);
    return LB_OK;
}

void lb_disk_free(lb_disk **disk)
{
    lb_disk *own = *disk;

    *disk = NULL;
    if (!own)
        return;
    atomic_store(&own->deadline, lb_clock_s() + LAST_PASS_S);
    pthread_mutex_lock(&own->lock);
    own->closing = true;
    pthread_cond_signal(&own->wake);
    pthread_mutex_unlock(&own->lock);
    if (own->has_keeper)
        pthread_join(own->keeper, NULL);
    pthread_cond_destroy(&own->wake);
    pthread_mutex_destroy(&own->lock);
    lb_free(own->folder);
    lb_free(own);
}

lb_disk_stats lb_disk_stats_of(lb_disk *disk)
{
    uint64_t written = atomic_load(&disk->written);

    return (lb_disk_stats){.hits = atomic_load(&disk->hits),
                           .misses = atomic_load(&disk->misses),
                           .damaged = atomic_load(&disk->damaged),
                           .writes = atomic_load(&disk->writes),
                           .evictions = atomic_load(&disk->evictions),
                           .bytes_read = atomic_load(&disk->bytes_read),
                           .bytes_written = written,
                           .read_s = 1e-9 * (double)atomic_load(&disk->read_ns),
                           .write_s = 1e-9 * (double)atomic_load(&disk->write_ns),
                           .is_counted = atomic_load(&disk->is_counted),
                           .bytes = atomic_load(&disk->counted) + written -
                                    atomic_load(&disk->counted_at),
                           .limit = disk->limit};
}

static void note_time(atomic_uint_least64_t *ns, double start)
{
    double seconds = lb_clock_s() - start;

    if (seconds > 0)
        atomic_fetch_add_explicit(ns, (uint64_t)(1e9 * seconds), memory_order_relaxed);
}

/* How long moving `bytes` is likely to take, going by what was moved so far. */
static double likely_s(uint64_t bytes, const atomic_uint_least64_t *moved,
                       const atomic_uint_least64_t *ns)
{
    double so_far_s = 1e-9 * (double)atomic_load_explicit(ns, memory_order_relaxed);
    double so_far = (double)atomic_load_explicit(moved, memory_order_relaxed);

    return (double)bytes * (so_far_s + BYTES_BEFORE / BYTES_PER_S) / (so_far + BYTES_BEFORE);
}

/* Is writing it now and reading it once less work than making it again? */
static bool is_worth_it(const lb_disk *disk, uint64_t bytes, double seconds)
{
    return seconds >= likely_s(bytes, &disk->written, &disk->write_ns) +
                          likely_s(bytes, &disk->bytes_read, &disk->read_ns);
}

/* ---- Finding ---- */

static int open_entry(const char *path)
{
    return open(path, O_RDONLY | O_CLOEXEC | O_NOFOLLOW | O_NONBLOCK);
}

/* Reads the header of the entry of that key. */
static lb_status read_head(int fd, lb_key key, lb_disk_head *head)
{
    lb_status status = lb_disk_file_head(fd, head);

    return status == LB_OK && !lb_key_equal(head->key, key) ? LB_FORMAT : status;
}

/* The time of the file is that of its last use. Where that may not be changed, it stays. */
static void note_use(int fd)
{
    struct timespec now;
    struct stat info;

    clock_gettime(CLOCK_REALTIME, &now);
    if (fstat(fd, &info) == 0 && now.tv_sec - info.st_mtim.tv_sec > USE_S)
        futimens(fd, NULL);
}

static lb_status find(lb_disk *disk, int fd, lb_key key, const lb_desc *desc, lb_box box,
                      uint64_t channels, lb_value *out)
{
    lb_disk_head head;
    lb_image *image = NULL;
    lb_status status = read_head(fd, key, &head);

    if (status == LB_OK && !lb_disk_head_covers(&head, desc, box, channels))
        return LB_NOT_FOUND;
    if (status == LB_OK)
        status = lb_disk_file_read(fd, &head, desc, channels, &image);
    if (status != LB_OK)
        return status;
    note_use(fd);
    atomic_fetch_add_explicit(&disk->bytes_read, lb_image_bytes(image), memory_order_relaxed);
    *out = (lb_value){.kind = LB_KIND_IMAGE, .image = image};
    return LB_OK;
}

bool lb_disk_find(lb_disk *disk, lb_key key, const lb_desc *desc, lb_box box, uint64_t channels,
                  lb_value *out)
{
    double start = lb_clock_s();
    lb_status status = LB_NOT_FOUND;
    char path[LB_DISK_PATH];
    int fd = lb_disk_path(disk->folder, key, path) ? open_entry(path) : -1;

    if (fd >= 0) {
        status = find(disk, fd, key, desc, box, channels, out);
        close(fd);
    }
    if (status == LB_OK)
        note_time(&disk->read_ns, start);
    if (status == LB_FORMAT) {
        unlink(path); /* perhaps somebody put a good one there just now: then that is lost too */
        atomic_fetch_add_explicit(&disk->damaged, 1, memory_order_relaxed);
    }
    atomic_fetch_add_explicit(status == LB_OK ? &disk->hits : &disk->misses, 1,
                              memory_order_relaxed);
    return status == LB_OK;
}

bool lb_disk_has(lb_disk *disk, lb_key key, const lb_desc *desc, lb_box box, uint64_t channels)
{
    char path[LB_DISK_PATH];
    int fd = lb_disk_path(disk->folder, key, path) ? open_entry(path) : -1;
    lb_disk_head head;
    bool has;

    if (fd < 0)
        return false;
    has = read_head(fd, key, &head) == LB_OK && lb_disk_head_covers(&head, desc, box, channels);
    close(fd);
    return has;
}

/* ---- Keeping ---- */

/* A new file beside where the entry will be; -1 with errno. Its folder is made when it is missing,
 * again if somebody cleared it in between. */
static int open_temporary(lb_disk *disk, lb_key key, char path[LB_DISK_PATH])
{
    int folders = 0, fd = -1;

    for (int n = 0; n < NAME_TRIES && fd < 0; n++) {
        unsigned number = atomic_fetch_add_explicit(&disk->temporaries, 1, memory_order_relaxed);
        char *folder;

        if (!lb_disk_temporary(disk->folder, key, number, path))
            errno = ENAMETOOLONG;
        else
            fd = open(path, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC | O_NOFOLLOW, 0666);
        if (fd >= 0 || errno == EEXIST || errno == EINTR)
            continue;
        if (errno != ENOENT || folders++ == FOLDER_TRIES || !(folder = lb_path_folder(path)))
            break;
        if (lb_folder_make(NULL, LB_NOWHERE, folder) != LB_OK)
            n = NAME_TRIES;
        lb_free(folder);
    }
    return fd;
}

/* Writes the entry and gives it its name. Nothing is synced: what a crash of the machine leaves
 * half-written does not match its hash. LB_IO with errno; LB_NOT_FOUND: somebody cleared the
 * folder. */
static lb_status write_entry(lb_disk *disk, const lb_disk_head *head, const lb_desc *desc,
                             const lb_image *image)
{
    char temporary[LB_DISK_PATH], path[LB_DISK_PATH];
    int fd = open_temporary(disk, head->key, temporary), error;
    lb_status status;

    if (fd < 0)
        return LB_IO;
    status = lb_disk_file_write(fd, head, desc, image);
    error = errno;
    if (close(fd) != 0 && errno != EINTR && status == LB_OK) {
        status = LB_IO; /* network file systems tell of a full disk here */
        error = errno;
    }
    if (status == LB_OK &&
        (!lb_disk_path(disk->folder, head->key, path) || rename(temporary, path) != 0)) {
        status = errno == ENOENT ? LB_NOT_FOUND : LB_IO;
        error = errno;
    }
    if (status != LB_OK)
        unlink(temporary);
    errno = error;
    return status;
}

void lb_disk_put(lb_disk *disk, lb_key key, const lb_desc *desc, lb_box box, uint64_t channels,
                 const lb_image *image, double seconds, bool always)
{
    lb_disk_head head;
    char words[128];
    uint64_t bytes;
    double start;
    lb_status status;

    if (lb_clock_s() < atomic_load_explicit(&disk->retry_at, memory_order_relaxed) ||
        lb_disk_head_make(key, desc, box, channels, image, seconds, &head) != LB_OK)
        return;
    bytes = lb_disk_head_bytes(&head);
    if (bytes > disk->limit || (!always && !is_worth_it(disk, bytes, seconds)) ||
        lb_disk_has(disk, key, desc, box, head.channels))
        return;
    start = lb_clock_s();
    status = write_entry(disk, &head, desc, image);
    if (status == LB_OK) {
        note_time(&disk->write_ns, start);
        note_written(disk, bytes);
    } else if (status == LB_IO) {
        int error = errno;

        atomic_store_explicit(&disk->retry_at, lb_clock_s() + RETRY_S, memory_order_relaxed);
        if (!atomic_exchange(&disk->complained, true))
            lb_warn(disk->diag, LB_NOWHERE, "'%s': results cannot be kept there: %s", disk->folder,
                    strerror_r(error, words, sizeof words));
    }
}
