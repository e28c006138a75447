/* engine/cli/writer.c: encodes and writes frames beside the computation. */
#include "engine/cli/writer.h"

#include <pthread.h>

typedef struct job {
    struct job *next;
    lb_image *image;
    const lb_output *output;
    int32_t frame;
    lb_write_options options;
    char key[LB_KEY_TEXT];
} job;

struct lb_writer {
    pthread_t thread;
    pthread_mutex_t lock;
    pthread_cond_t changed;
    lb_pool *pool;
    lb_diag *diag;
    lb_progress *progress;
    job *first, **last;
    int32_t count, waiting; /* jobs in hand, and how many may be */
    bool closing;
    lb_status status;
    double seconds;
};

static void free_job(job *j)
{
    lb_image_unref(&j->image);
    lb_free(j);
}

static lb_status write_job(lb_writer *writer, job *j)
{
    char *path = lb_sequence_name(j->output->file, j->frame);
    double start = lb_clock_s();
    lb_status status;

    if (!path)
        return lb_fail(writer->diag, LB_MEMORY, j->output->file_loc, "no memory");
    j->options.graph_key = j->key;
    status = lb_media_write(writer->pool, writer->diag, j->output->file_loc, path, j->image,
                            &j->options);
    if (status == LB_OK)
        lb_progress_written(writer->progress, j->frame, j->output->name, path,
                            lb_clock_s() - start);
    lb_free(path);
    return status;
}

static void *work(void *context)
{
    lb_writer *writer = context;

    pthread_mutex_lock(&writer->lock);
    for (;;) {
        job *j = writer->first;
        lb_status status = writer->status;

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
        if (status == LB_OK) {
            double start = lb_clock_s();

            status = write_job(writer, j);
            writer->seconds += lb_clock_s() - start;
        }
        free_job(j);
        pthread_mutex_lock(&writer->lock);
        writer->count--;
        if (writer->status == LB_OK)
            writer->status = status;
        pthread_cond_broadcast(&writer->changed);
    }
    pthread_mutex_unlock(&writer->lock);
    return NULL;
}

lb_status lb_writer_new(lb_pool *pool, lb_diag *diag, lb_progress *progress, int32_t waiting,
                        lb_writer **out)
{
    lb_writer *writer = lb_alloc(1, sizeof *writer);

    *out = NULL;
    if (!writer)
        return lb_fail(diag, LB_MEMORY, LB_NOWHERE, "no memory");
    writer->pool = pool;
    writer->diag = diag;
    writer->progress = progress;
    writer->waiting = waiting;
    writer->last = &writer->first;
    pthread_mutex_init(&writer->lock, NULL);
    pthread_cond_init(&writer->changed, NULL);
    if (pthread_create(&writer->thread, NULL, work, writer) != 0) {
        pthread_cond_destroy(&writer->changed);
        pthread_mutex_destroy(&writer->lock);
        lb_free(writer);
        return lb_fail(diag, LB_IO, LB_NOWHERE, "no thread could be made");
    }
    *out = writer;
    return LB_OK;
}

lb_status lb_writer_put(lb_writer *writer, const lb_output *output, int32_t frame,
                        const lb_write_options *options, lb_key key, const lb_image *image)
{
    job *j = lb_alloc(1, sizeof *j);
    lb_status status;

    if (!j)
        return lb_fail(writer->diag, LB_MEMORY, output->loc, "no memory");
    *j = (job){.image = lb_image_ref(image), .output = output, .frame = frame, .options = *options};
    lb_key_text(key, j->key);
    pthread_mutex_lock(&writer->lock);
    while (writer->count >= writer->waiting && writer->status == LB_OK)
        pthread_cond_wait(&writer->changed, &writer->lock);
    status = writer->status;
    if (status == LB_OK) {
        *writer->last = j;
        writer->last = &j->next;
        writer->count++;
        pthread_cond_broadcast(&writer->changed);
    }
    pthread_mutex_unlock(&writer->lock);
    if (status != LB_OK)
        free_job(j);
    return status;
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
