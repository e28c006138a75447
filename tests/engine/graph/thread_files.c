/* tests/engine/graph/thread_files.c: file contents shared by threads. A plain program, so that
 * ThreadSanitizer can run it. */
#include <pthread.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "engine/base/file.h"
#include "engine/graph/files.h"

#define FILES 12
#define THREADS 8
#define ROUNDS 400
#define BYTES (3 << 20) /* several of them are more than what stays when nobody holds it */

static char folder[] = "/tmp/lampblack-files-XXXXXX";
static lb_files *files;
static atomic_int wrong;

static void path_of(int file, char *path, size_t size)
{
    snprintf(path, size, "%s/%d", folder, file);
}

static void *work(void *argument)
{
    unsigned state = (unsigned)(size_t)argument * 7919 + 1;
    char path[64];

    for (int i = 0; i < ROUNDS; i++) {
        int file = (int)((state = state * 1664525u + 1013904223u) >> 16) % FILES;
        lb_file_content content;
        lb_key key;

        path_of(file, path, sizeof path);
        if (lb_files_borrow(files, NULL, LB_NOWHERE, path, &content) != LB_OK) {
            wrong++;
            continue;
        }
        for (size_t at = 0; at < content.count; at += 65536)
            wrong += ((const char *)content.bytes)[at] != (char)file;
        wrong += content.count != BYTES;
        if (lb_files_key(files, NULL, LB_NOWHERE, path, &key) != LB_OK ||
            !lb_key_equal(key, content.key))
            wrong++;
        lb_files_return(files, &content);
        wrong += content.bytes != NULL;
        path_of(FILES + 1, path, sizeof path);
        wrong += lb_files_borrow(files, NULL, LB_NOWHERE, path, &content) != LB_NOT_FOUND;
    }
    return NULL;
}

int main(void)
{
    pthread_t threads[THREADS];
    char *bytes = malloc(BYTES), path[64];
    lb_file_content kept, borrowed;

    if (!bytes || !mkdtemp(folder) || lb_files_new(&files) != LB_OK)
        return 2;
    for (int i = 0; i < FILES; i++) {
        memset(bytes, i, BYTES);
        path_of(i, path, sizeof path);
        if (lb_file_write(NULL, LB_NOWHERE, path, bytes, BYTES) != LB_OK)
            return 2;
    }
    path_of(3, path, sizeof path);
    if (lb_files_load(files, NULL, LB_NOWHERE, path, &kept) != LB_OK)
        return 2;
    for (int i = 0; i < THREADS; i++)
        if (pthread_create(&threads[i], NULL, work, (void *)(size_t)i) != 0)
            return 2;
    for (int i = 0; i < THREADS; i++)
        pthread_join(threads[i], NULL);
    wrong += ((const char *)kept.bytes)[BYTES - 1] != 3; /* lives as long as `files` */

    /* Another content under the same name is another entry; the one that is held stays as it is. */
    path_of(5, path, sizeof path);
    if (lb_files_borrow(files, NULL, LB_NOWHERE, path, &borrowed) != LB_OK)
        return 2;
    memset(bytes, 77, BYTES);
    if (lb_file_write(NULL, LB_NOWHERE, path, bytes, BYTES - 1) != LB_OK ||
        lb_files_load(files, NULL, LB_NOWHERE, path, &kept) != LB_OK)
        return 2;
    wrong += ((const char *)borrowed.bytes)[0] != 5 || ((const char *)kept.bytes)[0] != 77 ||
             kept.count != BYTES - 1;
    lb_files_return(files, &borrowed);

    lb_files_free(&files);
    for (int i = 0; i < FILES; i++) {
        path_of(i, path, sizeof path);
        unlink(path);
    }
    rmdir(folder);
    free(bytes);
    if (wrong)
        fprintf(stderr, "%d wrong\n", (int)wrong);
    if (lb_memory_used() != 0)
        fprintf(stderr, "%zu bytes are left\n", lb_memory_used());
    return wrong || lb_memory_used() != 0;
}
