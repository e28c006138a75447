/* engine/graph/files.c: file contents and hashes, remembered until a file changes. */
#include "engine/graph/files.h"

#include <pthread.h>
#include <string.h>

#include "engine/base/file.h"
#include "engine/media/media.h"

/* Contents that were replaced stay until the end, since somebody may hold them. */
typedef struct entry {
    char *path;
    lb_file_stamp stamp;
    lb_key key;
    char sha256[LB_SHA256_TEXT]; /* "" until asked for */
    void *bytes;                 /* NULL: let go */
    size_t count;
} entry;

struct lb_files {
    pthread_mutex_t lock;
    entry **entries;
    size_t count, capacity;
};

lb_status lb_files_new(lb_files **out)
{
    *out = lb_alloc(1, sizeof **out);
    if (!*out)
        return LB_MEMORY;
    pthread_mutex_init(&(*out)->lock, NULL);
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
    pthread_mutex_destroy(&(*files)->lock);
    lb_free(*files);
    *files = NULL;
}

static bool stamp_equal(const lb_file_stamp *a, const lb_file_stamp *b)
{
    return a->device == b->device && a->inode == b->inode && a->size == b->size &&
           a->mtime_ns == b->mtime_ns;
}

/* The newest entry of that path in its present state; NULL: none. Locked. */
static entry *find(lb_files *files, const char *path, const lb_file_stamp *stamp)
{
    for (size_t i = files->count; i-- > 0;)
        if (strcmp(files->entries[i]->path, path) == 0)
            return stamp_equal(&files->entries[i]->stamp, stamp) ? files->entries[i] : NULL;
    return NULL;
}

static entry *add(lb_files *files, const char *path)
{
    entry *made;

    if (!lb_grow((void **)&files->entries, &files->capacity, files->count, sizeof(entry *)))
        return NULL;
    made = lb_alloc(1, sizeof *made);
    if (made && !(made->path = lb_strdup(path))) {
        lb_free(made);
        made = NULL;
    }
    if (made)
        files->entries[files->count++] = made;
    return made;
}

/* Finds or reads a file; locked. The entry has its bytes when it was just read or kept. */
static lb_status look(lb_files *files, lb_diag *diag, lb_loc loc, const char *path, bool need_bytes,
                      entry **out)
{
    lb_file_stamp stamp = {0};
    lb_status status;
    void *bytes;
    size_t count;
    entry *at;

    *out = NULL;
    at = lb_file_stamp_of(path, &stamp) ? find(files, path, &stamp) : NULL;
    if (at && (at->bytes || !need_bytes)) {
        *out = at;
        return LB_OK;
    }
    if ((status = lb_file_read(diag, loc, path, LB_MEDIA_MAX_BYTES, &bytes, &count)) != LB_OK)
        return status;
    if (!at && !(at = add(files, path))) {
        lb_free(bytes);
        return lb_fail(diag, LB_MEMORY, loc, "'%s': no memory", path);
    }
    at->stamp = stamp;
    at->bytes = bytes;
    at->count = count;
    at->key = lb_key_of(bytes, count);
    *out = at;
    return LB_OK;
}

lb_status lb_files_load(lb_files *files, lb_diag *diag, lb_loc loc, const char *path,
                        lb_file_content *out)
{
    lb_status status;
    entry *at;

    pthread_mutex_lock(&files->lock);
    if ((status = look(files, diag, loc, path, true, &at)) == LB_OK)
        *out = (lb_file_content){at->bytes, at->count, at->key};
    pthread_mutex_unlock(&files->lock);
    return status;
}

lb_status lb_files_key(lb_files *files, lb_diag *diag, lb_loc loc, const char *path, lb_key *out)
{
    lb_status status;
    entry *at;
    size_t known;

    pthread_mutex_lock(&files->lock);
    known = files->count;
    if ((status = look(files, diag, loc, path, false, &at)) == LB_OK) {
        *out = at->key;
        if (files->count > known) { /* just read for its hash: nobody holds the bytes */
            lb_free(at->bytes);
            at->bytes = NULL;
        }
    }
    pthread_mutex_unlock(&files->lock);
    return status;
}

lb_status lb_files_sha256(lb_files *files, lb_diag *diag, lb_loc loc, const char *path,
                          char out[LB_SHA256_TEXT])
{
    lb_file_stamp stamp;
    lb_status status = LB_OK;
    entry *at = NULL;

    pthread_mutex_lock(&files->lock);
    if (lb_file_stamp_of(path, &stamp))
        at = find(files, path, &stamp);
    if (!at || !at->sha256[0]) {
        if ((status = look(files, diag, loc, path, true, &at)) == LB_OK)
            lb_sha256_text(at->bytes, at->count, at->sha256);
    }
    if (status == LB_OK)
        memcpy(out, at->sha256, LB_SHA256_TEXT);
    pthread_mutex_unlock(&files->lock);
    return status;
}
