/* engine/cli/writer.c: encodes frames and writes them beside the computation.
 *
 * Encoding is work for processors and is done where the frame was made. Writing is waiting, for a
 * disk or a network: that has a thread of its own. */
#include "engine/cli/writer.h"

#include <pthread.h>
#include <stdatomic.h>

#include "engine/base/file.h"

typedef struct job {
    struct job *next;
    const lb_output *output;
    int32_t frame;
    char *path;
    void *bytes;
    size_t count;
} job;

struct lb_writer {
    lb_writer_options options;
    pthread_t thread;
    pthread_mutex_t lock;
    pthread_cond_t changed;
    job *first, **last; /* under the lock, as what follows */
    bool closing;
    lb_status status;
    double seconds;
    atomic_int waiting; /* jobs in hand */
    atomic_int failed;
};

static void free_job(job *j)
{
    lb_free(j->path);
    lb_free(j->bytes);
    lb_free(j);
}

static void record(const lb_writer *writer, const char *category, const job *j, double begin)
{
    lb_profile_event event = {.name = j->output->name,
                              .category = category,
                              .detail = j->path,
                              .frame = j->frame,
                              .begin = begin,
                              .end = lb_clock_s(),
                              .read_bytes = -1,
                              .made_bytes = (int64_t)j->count,
                              .peak_bytes = -1};

    lb_profile_add(writer->options.profile, &event);
}

static lb_status write_job(lb_writer *writer, const job *j)
{
    double start = lb_clock_s();
    lb_status status =
        lb_file_write(writer->options.diag, j->output->file_loc, j->path, j->bytes, j->count);

    if (status == LB_OK) {
        record(writer, "write", j, start);
        lb_progress_written(writer->options.progress, j->frame, j->output->name, j->path,
                            lb_clock_s() - start);
    }
    return status;
}

static void *work(void *context)
{
    lb_writer *writer = context;

    pthread_mutex_lock(&writer->lock);
    for (;;) {
        job *j = writer->first;
        lb_status status = writer->status;
        double start = lb_clock_s();

        if (!j && writer->closing)
            break;
        if (!j) {
            pthread_cond_wait(&writer->changed, &writer->lock);
            continue;
        }
        writer->first = j->next;
        if (!writer->first)
            writer->last = &writer->first;
        pthread_mutex_unlock(&writer->lock);
        if (status == LB_OK)
            status = write_job(writer, j);
        free_job(j);
        pthread_mutex_lock(&writer->lock);
        writer->seconds += lb_clock_s() - start;
        if (writer->status == LB_OK)
            writer->status = status;
        atomic_store(&writer->failed, writer->status != LB_OK);
        atomic_fetch_sub(&writer->waiting, 1);
        pthread_cond_broadcast(&writer->changed);
        pthread_mutex_unlock(&writer->lock);
        lb_pool_notify(writer->options.pool);
        pthread_mutex_lock(&writer->lock);
    }
    pthread_mutex_unlock(&writer->lock);
    return NULL;
}

lb_status lb_writer_new(const lb_writer_options *options, lb_writer **out)
{
    lb_writer *writer = lb_alloc(1, sizeof *writer);

    *out = NULL;
    if (!writer)
        return lb_fail(options->diag, LB_MEMORY, LB_NOWHERE, "no memory");
    writer->options = *options;
    writer->last = &writer->first;
    pthread_mutex_init(&writer->lock, NULL);
    pthread_cond_init(&writer->changed, NULL);
    if (pthread_create(&writer->thread, NULL, work, writer) != 0) {
        pthread_cond_destroy(&writer->changed);
        pthread_mutex_destroy(&writer->lock);
        lb_free(writer);
        return lb_fail(options->diag, LB_IO, LB_NOWHERE, "no thread could be made");
    }
    *out = writer;
    return LB_OK;
}

/* Is there room for one more, or no use in it? */
static bool has_room(const void *context)
{
    lb_writer *writer = (lb_writer *)context;

    return atomic_load(&writer->waiting) < writer->options.waiting ||
           atomic_load(&writer->failed) || lb_pool_is_cancelled(writer->options.pool);
}

/* Takes the job over. */
static lb_status enter(lb_writer *writer, job *j)
{
    lb_status status;

    lb_pool_wait(writer->options.pool, has_room, writer);
    pthread_mutex_lock(&writer->lock);
    while (!has_room(writer)) /* there was nobody to help meanwhile, or others came first */
        pthread_cond_wait(&writer->changed, &writer->lock);
    status = writer->status;
    if (status == LB_OK) {
        *writer->last = j;
        writer->last = &j->next;
        atomic_fetch_add(&writer->waiting, 1);
        pthread_cond_broadcast(&writer->changed);
        j = NULL;
    }
    pthread_mutex_unlock(&writer->lock);
    if (j)
        free_job(j);
    return status;
}

lb_status lb_writer_put(lb_writer *writer, const lb_output *output, int32_t frame,
                        const lb_write_options *options, lb_key key, const lb_image *image)
{
    lb_write_options with = *options;
    char text[LB_KEY_TEXT];
    double start = lb_clock_s();
    job *j = lb_alloc(1, sizeof *j);
    lb_status status;

    if (!j || !(j->path = lb_sequence_name(output->file, frame))) {
        lb_free(j);
        return lb_fail(writer->options.diag, LB_MEMORY, output->file_loc, "no memory");
    }
    j->output = output;
    j->frame = frame;
    lb_key_text(key, text);
    with.graph_key = text;
    status = lb_media_encode(writer->options.pool, writer->options.diag, output->file_loc, j->path,
                             image, &with, &j->bytes, &j->count);
    if (status != LB_OK) {
        free_job(j);
        return status;
    }
    record(writer, "encode", j, start);
    pthread_mutex_lock(&writer->lock);
    writer->seconds += lb_clock_s() - start;
    pthread_mutex_unlock(&writer->lock);
    return enter(writer, j);
}

lb_status lb_writer_finish(lb_writer **writer, double *seconds)
{
    lb_writer *w = *writer;
    lb_status status;

    if (!w)
        return LB_OK;
    pthread_mutex_lock(&w->lock);
    w->closing = true;
    pthread_cond_broadcast(&w->changed);
    pthread_mutex_unlock(&w->lock);
    pthread_join(w->thread, NULL);
    status = w->status;
    *seconds = w->seconds;
    pthread_cond_destroy(&w->changed);
    pthread_mutex_destroy(&w->lock);
    lb_free(w);
    *writer = NULL;
    return status;
}
