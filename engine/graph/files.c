/* engine/graph/files.c: file contents and hashes, remembered until a file changes.
 *
 * No lock is held while a file is read: whoever wants the same file waits for the one who reads it.
 * Contents that nobody holds stay as long as there is room, the latest used longest. */
#include "engine/graph/files.h"

#include <pthread.h>
#include <string.h>

#include "engine/base/file.h"
#include "engine/media/media.h"

#define IDLE_BYTES ((size_t)64 << 20) /* of contents that nobody holds */

/* Of one state of one file. Contents that were replaced stay until they are given back. */
typedef struct entry {
    char *path;
    lb_file_stamp stamp;
    lb_key key;
    char sha256[LB_SHA256_TEXT]; /* "" until asked for */
    void *bytes;                 /* NULL: let go */
    size_t count;
    int32_t holders;
    bool is_kept; /* to the end: somebody loaded it */
    bool is_busy; /* being read */
    uint64_t last_use;
} entry;

struct lb_files {
    pthread_mutex_t lock;
    pthread_cond_t ready; /* an entry is not busy any more */
    entry **entries;
    size_t count, capacity;
    size_t idle_bytes;
    uint64_t uses;
};

lb_status lb_files_new(lb_files **out)
{
    *out = lb_alloc(1, sizeof **out);
    if (!*out)
        return LB_MEMORY;
    pthread_mutex_init(&(*out)->lock, NULL);
    pthread_cond_init(&(*out)->ready, NULL);
    return LB_OK;
}

void lb_files_free(lb_files **files)
{
    if (!*files)
        return;
    for (size_t i = 0; i < (*files)->count; i++) {
        lb_free((*files)->entries[i]->path);
        lb_free((*files)->entries[i]->bytes);
        lb_free((*files)->entries[i]);
    }
    lb_free((*files)->entries);
    pthread_cond_destroy(&(*files)->ready);
    pthread_mutex_destroy(&(*files)->lock);
    lb_free(*files);
    *files = NULL;
}

static bool stamp_equal(const lb_file_stamp *a, const lb_file_stamp *b)
{
    return a->device == b->device && a->inode == b->inode && a->size == b->size &&
           a->mtime_ns == b->mtime_ns;
}

/* The newest entry of that path if it is of that state; NULL: none. Locked. */
static entry *find(lb_files *files, const char *path, const lb_file_stamp *stamp)
{
    for (size_t i = files->count; i-- > 0;)
        if (strcmp(files->entries[i]->path, path) == 0)
            return stamp_equal(&files->entries[i]->stamp, stamp) ? files->entries[i] : NULL;
    return NULL;
}

static entry *add(lb_files *files, const char *path, const lb_file_stamp *stamp)
{
    entry *made;

    if (!lb_grow((void **)&files->entries, &files->capacity, files->count, sizeof(entry *)))
        return NULL;
    made = lb_alloc(1, sizeof *made);
    if (made && !(made->path = lb_strdup(path))) {
        lb_free(made);
        made = NULL;
    }
    if (made) {
        made->stamp = *stamp;
        files->entries[files->count++] = made;
    }
    return made;
}

/* Takes an entry out whose file could not be read. Locked, and nobody else has found it: those who
 * waited for it look again. */
static void forget(lb_files *files, entry *old)
{
    for (size_t i = 0; i < files->count; i++)
        if (files->entries[i] == old) {
            memmove(&files->entries[i], &files->entries[i + 1],
                    (files->count - i - 1) * sizeof(entry *));
            files->count--;
            break;
        }
    lb_free(old->path);
    lb_free(old);
}

static bool is_idle(const entry *e)
{
    return e->bytes && e->holders == 0 && !e->is_kept;
}

/* Lets go of idle contents until they fit, those not used for the longest time first. Locked. */
static void trim(lb_files *files)
{
    while (files->idle_bytes > IDLE_BYTES) {
        entry *oldest = NULL;

        for (size_t i = 0; i < files->count; i++)
            if (is_idle(files->entries[i]) &&
                (!oldest || files->entries[i]->last_use < oldest->last_use))
                oldest = files->entries[i];
        if (!oldest)
            return;
        files->idle_bytes -= oldest->count;
        lb_free(oldest->bytes);
        oldest->bytes = NULL;
    }
}

/* One more holder. Locked. */
static void hold(lb_files *files, entry *e)
{
    if (is_idle(e))
        files->idle_bytes -= e->count;
    e->holders++;
    e->last_use = ++files->uses;
}

static void let_go(lb_files *files, entry *e)
{
    e->holders--;
    if (is_idle(e))
        files->idle_bytes += e->count;
    trim(files);
}

/* Reads a file into its entry, which is busy for that time. Locked on the way in and out; on
 * failure the entry is gone. */
static lb_status fill(lb_files *files, lb_diag *diag, lb_loc loc, entry *e)
{
    void *bytes = NULL;
    size_t count = 0;
    lb_status status;
    lb_key key = {0};

    e->is_busy = true;
    pthread_mutex_unlock(&files->lock);
    status = lb_file_read(diag, loc, e->path, LB_MEDIA_MAX_BYTES, &bytes, &count);
    if (status == LB_OK)
        key = lb_key_of(bytes, count);
    pthread_mutex_lock(&files->lock);
    e->is_busy = false;
    pthread_cond_broadcast(&files->ready);
    if (status != LB_OK) {
        forget(files, e);
        return status;
    }
    e->bytes = bytes;
    e->count = count;
    e->key = key;
    if (is_idle(e))
        files->idle_bytes += count;
    return LB_OK;
}

/* Finds or reads a file and holds it: with its bytes, or only with its key. Takes the lock, and
 * keeps it when the answer is LB_OK. */
static lb_status look(lb_files *files, lb_diag *diag, lb_loc loc, const char *path, bool need_bytes,
                      entry **out)
{
    lb_file_stamp stamp = {0};
    bool is_there = lb_file_stamp_of(path, &stamp); /* asks the system: not under the lock */
    lb_status status = LB_OK;

    *out = NULL;
    pthread_mutex_lock(&files->lock);
    for (;;) {
        entry *at = is_there ? find(files, path, &stamp) : NULL;
        bool is_new = !at;

        if (at && at->is_busy) {
            pthread_cond_wait(&files->ready, &files->lock);
            continue;
        }
        if (!at && !(at = add(files, path, &stamp)))
            status = lb_fail(diag, LB_MEMORY, loc, "'%s': no memory", path);
        else if (is_new || (need_bytes && !at->bytes))
            status = fill(files, diag, loc, at);
        if (status != LB_OK) {
            pthread_mutex_unlock(&files->lock);
            return status;
        }
        if (need_bytes && !at->bytes) /* let go at once, for want of room: it is held now */
            continue;
        hold(files, at);
        *out = at;
        return LB_OK;
    }
}

lb_status lb_files_load(lb_files *files, lb_diag *diag, lb_loc loc, const char *path,
                        lb_file_content *out)
{
    entry *at;
    lb_status status = look(files, diag, loc, path, true, &at);

    if (status != LB_OK)
        return status;
    at->is_kept = true;
    let_go(files, at);
    *out = (lb_file_content){at->bytes, at->count, at->key};
    pthread_mutex_unlock(&files->lock);
    return LB_OK;
}

lb_status lb_files_borrow(lb_files *files, lb_diag *diag, lb_loc loc, const char *path,
                          lb_file_content *out)
{
    entry *at;
    lb_status status = look(files, diag, loc, path, true, &at);

    *out = (lb_file_content){0};
    if (status != LB_OK)
        return status;
    *out = (lb_file_content){at->bytes, at->count, at->key};
    pthread_mutex_unlock(&files->lock);
    return LB_OK;
}

void lb_files_return(lb_files *files, lb_file_content *content)
{
    if (!content->bytes)
        return;
    pthread_mutex_lock(&files->lock);
    for (size_t i = files->count; i-- > 0;)
        if (files->entries[i]->bytes == content->bytes) {
            let_go(files, files->entries[i]);
            break;
        }
    pthread_mutex_unlock(&files->lock);
    *content = (lb_file_content){0};
}

lb_status lb_files_key(lb_files *files, lb_diag *diag, lb_loc loc, const char *path, lb_key *out)
{
    entry *at;
    lb_status status = look(files, diag, loc, path, false, &at);

    if (status != LB_OK)
        return status;
    *out = at->key;
    let_go(files, at);
    pthread_mutex_unlock(&files->lock);
    return LB_OK;
}

lb_status lb_files_sha256(lb_files *files, lb_diag *diag, lb_loc loc, const char *path,
                          char out[LB_SHA256_TEXT])
{
    entry *at;
    lb_status status = look(files, diag, loc, path, false, &at);

    if (status == LB_OK && !at->sha256[0]) {
        let_go(files, at);
        pthread_mutex_unlock(&files->lock);
        if ((status = look(files, diag, loc, path, true, &at)) == LB_OK)
            lb_sha256_text(at->bytes, at->count, at->sha256);
    }
    if (status != LB_OK)
        return status;
    memcpy(out, at->sha256, LB_SHA256_TEXT);
    let_go(files, at);
    pthread_mutex_unlock(&files->lock);
    return LB_OK;
}
