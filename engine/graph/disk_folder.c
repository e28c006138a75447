/* engine/graph/disk_folder.c: results on disk: the folder. */
#include "engine/graph/disk_folder.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <math.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "engine/base/time.h"
#include "engine/graph/disk_file.h"

#define STALE_S (24 * 60 * 60.0)
#define IDLE_LEAST_S 60 /* uses are noted no oftener, and clocks differ */
#define DIGITS 30       /* of a key in a name; two more name the folder */
#define SUFFIX ".plane"

/* ---- Names ---- */

bool lb_disk_path(const char *folder, lb_key key, char path[LB_DISK_PATH])
{
    char text[LB_KEY_TEXT];

    lb_key_text(key, text);
    return snprintf(path, LB_DISK_PATH, "%s/%.2s/%s" SUFFIX, folder, text, text + 2) < LB_DISK_PATH;
}

bool lb_disk_temporary(const char *folder, lb_key key, unsigned n, char path[LB_DISK_PATH])
{
    char text[LB_KEY_TEXT];

    lb_key_text(key, text);
    return snprintf(path, LB_DISK_PATH, "%s/%.2s/.%s" SUFFIX ".%ld-%u.part", folder, text, text + 2,
                    (long)getpid(), n) < LB_DISK_PATH;
}

static int digit(char c)
{
    return c >= '0' && c <= '9' ? c - '0' : c >= 'a' && c <= 'f' ? c - 'a' + 10 : -1;
}

/* Reads lower-case hexadecimal digits into the key from its digit `from` on. */
static bool read_digits(const char *text, int count, int from, lb_key *key)
{
    for (int i = 0; i < count; i++) {
        int value = digit(text[i]), at = from + i;

        if (value < 0)
            return false;
        *(at < 16 ? &key->high : &key->low) |= (uint64_t)value << (60 - 4 * (at % 16));
    }
    return true;
}

/* "PID-N.part" to the end. */
static bool is_temporary_end(const char *text)
{
    size_t pid = strspn(text, "0123456789"), n;

    if (pid == 0 || text[pid] != '-')
        return false;
    text += pid + 1;
    n = strspn(text, "0123456789");
    return n > 0 && strcmp(text + n, ".part") == 0;
}

/* Is this the name of an entry or of its temporary? */
static bool read_name(const char *folder, const char *name, lb_key *key, bool *is_temporary)
{
    const size_t suffix = strlen(SUFFIX);

    *key = (lb_key){0};
    *is_temporary = name[0] == '.';
    name += *is_temporary;
    if (!read_digits(folder, 2, 0, key) || folder[2] || !read_digits(name, DIGITS, 2, key) ||
        strncmp(name + DIGITS, SUFFIX, suffix) != 0)
        return false;
    name += DIGITS + suffix;
    return *is_temporary ? name[0] == '.' && is_temporary_end(name + 1) : name[0] == 0;
}

/* ---- Walking ---- */

/* Visits what is ours in FOLDER/ab, which is open as `in`. False: the visitor wants no more. */
static bool walk_one(DIR *in, const char *folder, lb_disk_visit visit, void *context)
{
    struct dirent *at;

    while ((at = readdir(in))) {
        char place[NAME_MAX + 8];
        lb_disk_found found = {.folder = dirfd(in), .name = at->d_name, .place = place};
        struct stat info;

        if (!read_name(folder, at->d_name, &found.key, &found.is_temporary) ||
            fstatat(found.folder, at->d_name, &info, AT_SYMLINK_NOFOLLOW) != 0 ||
            !S_ISREG(info.st_mode))
            continue;
        snprintf(place, sizeof place, "%s/%s", folder, at->d_name);
        found.bytes = (uint64_t)info.st_size;
        found.used_s = (double)info.st_mtim.tv_sec + 1e-9 * (double)info.st_mtim.tv_nsec;
        if (!visit(context, &found))
            return false;
    }
    return true;
}

lb_status lb_disk_walk(const char *folder, lb_disk_visit visit, void *context)
{
    DIR *all = opendir(folder);
    struct dirent *at;
    bool goes_on = true;

    if (!all)
        return errno == ENOENT ? LB_OK : LB_IO;
    while (goes_on && (at = readdir(all))) {
        lb_key key = {0};
        DIR *in;
        int fd;

        if (!read_digits(at->d_name, 2, 0, &key) || at->d_name[2])
            continue;
        fd = openat(dirfd(all), at->d_name, O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC);
        if (fd < 0)
            continue; /* not a folder, or gone */
        if (!(in = fdopendir(fd))) {
            close(fd);
            continue;
        }
        goes_on = walk_one(in, at->d_name, visit, context);
        closedir(in);
    }
    closedir(all);
    return LB_OK;
}

int lb_disk_found_open(const lb_disk_found *found)
{
    return openat(found->folder, found->name, O_RDONLY | O_CLOEXEC | O_NOFOLLOW | O_NONBLOCK);
}

/* True when it is gone, whoever removed it. */
static bool remove_found(const lb_disk_found *found)
{
    return unlinkat(found->folder, found->name, 0) == 0 || errno == ENOENT;
}

static bool is_past(lb_disk_deadline *deadline)
{
    double until = deadline ? atomic_load(deadline) : 0;

    return until != 0 && lb_clock_s() > until;
}

static double now_s(void)
{
    struct timespec now;

    clock_gettime(CLOCK_REALTIME, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static void count(lb_disk_count *all, const lb_disk_found *found)
{
    if (found->is_temporary) {
        all->temporaries++;
        all->temporary_bytes += found->bytes;
        return;
    }
    if (all->entries == 0 || found->used_s < all->oldest_s)
        all->oldest_s = found->used_s;
    if (all->entries == 0 || found->used_s > all->newest_s)
        all->newest_s = found->used_s;
    all->entries++;
    all->bytes += found->bytes;
}

/* ---- Counting ---- */

typedef struct survey {
    lb_disk_count count;
    lb_disk_deadline *deadline;
    double stale_before_s;
    bool cancelled;
} survey;

static bool visit_to_count(void *context, const lb_disk_found *found)
{
    survey *s = context;

    if (!found->is_temporary || found->used_s >= s->stale_before_s || !remove_found(found))
        count(&s->count, found);
    s->cancelled = is_past(s->deadline);
    return !s->cancelled;
}

lb_status lb_disk_survey(const char *folder, lb_disk_deadline *deadline, lb_disk_count *out)
{
    survey s = {.deadline = deadline, .stale_before_s = now_s() - STALE_S};
    lb_status status = lb_disk_walk(folder, visit_to_count, &s);

    *out = s.count;
    return status == LB_OK && s.cancelled ? LB_CANCELLED : status;
}

/* ---- Shrinking ---- */

typedef struct candidate {
    lb_key key;
    uint64_t bytes;
    double used_s, seconds, worth;
} candidate;

typedef struct candidates {
    candidate *items;
    size_t count, capacity;
    uint64_t bytes;
    lb_disk_deadline *deadline;
    lb_status status;
} candidates;

static double seconds_of(const lb_disk_found *found)
{
    lb_disk_head head;
    int fd = lb_disk_found_open(found);
    double seconds = 0;

    if (fd >= 0 && lb_disk_file_head(fd, &head) == LB_OK && lb_key_equal(head.key, found->key))
        seconds = head.seconds;
    if (fd >= 0)
        close(fd);
    return seconds;
}

static bool visit_to_rank(void *context, const lb_disk_found *found)
{
    candidates *all = context;

    if (found->is_temporary)
        return true;
    if (is_past(all->deadline))
        all->status = LB_CANCELLED;
    else if (!lb_grow((void **)&all->items, &all->capacity, all->count, sizeof *all->items))
        all->status = LB_MEMORY;
    if (all->status != LB_OK)
        return false;
    all->items[all->count++] = (candidate){.key = found->key,
                                           .bytes = found->bytes,
                                           .used_s = found->used_s,
                                           .seconds = seconds_of(found)};
    all->bytes += found->bytes;
    return true;
}

/* Least worth first; no lot but the keys', so that processes that shrink a folder at the same time
 * remove the same entries. */
static int by_worth(const void *a, const void *b)
{
    const candidate *x = a, *y = b;

    if (x->worth != y->worth)
        return x->worth < y->worth ? -1 : 1;
    if (x->key.high != y->key.high)
        return x->key.high < y->key.high ? -1 : 1;
    return (x->key.low > y->key.low) - (x->key.low < y->key.low);
}

/* 1 to 64, about as often in each doubling. */
static double lot_of(lb_key key)
{
    return ldexp(1 + (double)(key.high & 0xffff) / 65536, (int)(key.low % 6));
}

static void rank(candidates *all)
{
    double now = now_s();

    /* The files' times are the file server's; an entry that is newer than now shows its clock. */
    for (size_t i = 0; i < all->count; i++)
        now = fmax(now, all->items[i].used_s);
    for (size_t i = 0; i < all->count; i++) {
        candidate *c = &all->items[i];

        c->worth = lot_of(c->key) * c->seconds / ((double)c->bytes + 1) /
                   fmax(now - c->used_s, IDLE_LEAST_S);
    }
    if (all->count > 0)
        qsort(all->items, all->count, sizeof *all->items, by_worth);
}

lb_status lb_disk_shrink(const char *folder, uint64_t limit, lb_disk_deadline *deadline,
                         lb_disk_count *removed)
{
    candidates all = {.deadline = deadline};
    lb_status status = lb_disk_walk(folder, visit_to_rank, &all);
    char path[LB_DISK_PATH];

    *removed = (lb_disk_count){0};
    rank(&all);
    for (size_t i = 0; i < all.count && all.bytes > limit; i++) {
        const candidate *c = &all.items[i];

        if (!lb_disk_path(folder, c->key, path) || (unlink(path) != 0 && errno != ENOENT)) {
            status = LB_IO;
            continue;
        }
        count(removed, &(lb_disk_found){.bytes = c->bytes, .used_s = c->used_s});
        all.bytes -= c->bytes;
    }
    lb_free(all.items);
    return status == LB_OK ? all.status : status;
}

/* ---- Clearing ---- */

typedef struct clearing {
    lb_disk_count removed;
    bool failed;
    bool visited[256]; /* folders that something was removed from */
} clearing;

static bool visit_to_clear(void *context, const lb_disk_found *found)
{
    clearing *c = context;

    if (remove_found(found)) {
        count(&c->removed, found);
        c->visited[found->key.high >> 56] = true;
    } else {
        c->failed = true;
    }
    return true;
}

lb_status lb_disk_clear(const char *folder, lb_disk_count *removed)
{
    clearing c = {0};
    lb_status status = lb_disk_walk(folder, visit_to_clear, &c);

    *removed = c.removed;
    for (unsigned i = 0; i < 256; i++) {
        char path[LB_DISK_PATH];

        if (c.visited[i] && snprintf(path, sizeof path, "%s/%02x", folder, i) < LB_DISK_PATH)
            rmdir(path); /* leaves alone what has anything in it */
    }
    return status == LB_OK && c.failed ? LB_IO : status;
}
