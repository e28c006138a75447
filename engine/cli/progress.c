/* engine/cli/progress.c: how far a render is. */
#include "engine/cli/progress.h"

#include <pthread.h>
#include <unistd.h>

#include "engine/base/text.h"

struct lb_progress {
    pthread_mutex_t lock;
    lb_progress_mode mode;
    int32_t frames, done;
    double begin;
    int64_t evaluated, reused; /* up to the last frame */
    bool bar_shown;
};

lb_status lb_progress_new(lb_progress_mode mode, int32_t frames, lb_progress **out)
{
    *out = lb_alloc(1, sizeof **out);
    if (!*out)
        return LB_MEMORY;
    if (mode == LB_PROGRESS_AUTO)
        mode = isatty(STDERR_FILENO) ? LB_PROGRESS_BAR : LB_PROGRESS_LINES;
    pthread_mutex_init(&(*out)->lock, NULL);
    (*out)->mode = mode;
    (*out)->frames = frames;
    (*out)->begin = lb_clock_s();
    return LB_OK;
}

static void clear_bar(lb_progress *progress)
{
    if (progress->bar_shown)
        fputs("\r\033[K", stderr);
    progress->bar_shown = false;
}

void lb_progress_clear(lb_progress *progress)
{
    pthread_mutex_lock(&progress->lock);
    clear_bar(progress);
    pthread_mutex_unlock(&progress->lock);
}

void lb_progress_free(lb_progress **progress)
{
    if (!*progress)
        return;
    clear_bar(*progress);
    pthread_mutex_destroy(&(*progress)->lock);
    lb_free(*progress);
    *progress = NULL;
}

static const char *clock_text(double seconds, char *buffer, size_t size)
{
    int64_t s = (int64_t)(seconds + 0.5);

    if (s >= 3600)
        snprintf(buffer, size, "%d:%02d:%02d", (int)(s / 3600), (int)(s / 60 % 60), (int)(s % 60));
    else
        snprintf(buffer, size, "%d:%02d", (int)(s / 60), (int)(s % 60));
    return buffer;
}

/* Prints a finished line of JSON and lets go of it. */
static void put_json(lb_text *line)
{
    if (!line->failed && line->bytes) {
        fputs(line->bytes, stdout);
        fputc('\n', stdout);
        fflush(stdout);
    }
    lb_text_clear(line);
}

void lb_progress_start(lb_progress *progress, const lb_format *format, int32_t threads)
{
    lb_text line = {0};

    if (progress->mode != LB_PROGRESS_JSON)
        return;
    lb_text_printf(&line,
                   "{\"event\":\"start\",\"frames\":%d,\"width\":%d,\"height\":%d,\"threads\":%d}",
                   (int)progress->frames, (int)format->width, (int)format->height, (int)threads);
    put_json(&line);
}

static void draw_bar(lb_progress *progress, int32_t frame, double seconds, double left)
{
    char text[32], bar[31];
    int full = progress->frames > 0 ? (int)((int64_t)progress->done * 30 / progress->frames) : 30;

    for (int i = 0; i < 30; i++)
        bar[i] = i < full ? '=' : ' ';
    bar[30] = 0;
    fprintf(stderr, "\r[%s] %d/%d  frame %d  %.2f s a frame  %s left\033[K", bar,
            (int)progress->done, (int)progress->frames, (int)frame, seconds,
            clock_text(left, text, sizeof text));
    fflush(stderr);
    progress->bar_shown = true;
}

void lb_progress_frame(lb_progress *progress, int32_t frame, double seconds, int64_t evaluated,
                       int64_t reused)
{
    double left;
    char text[32];
    lb_text line = {0};

    pthread_mutex_lock(&progress->lock);
    progress->done++;
    left = (lb_clock_s() - progress->begin) / progress->done * (progress->frames - progress->done);
    switch (progress->mode) {
    case LB_PROGRESS_BAR:
        draw_bar(progress, frame, seconds, left);
        break;
    case LB_PROGRESS_JSON:
        lb_text_printf(&line,
                       "{\"event\":\"frame\",\"frame\":%d,\"seconds\":%.6f,\"evaluated\":%lld,"
                       "\"reused\":%lld,\"done\":%d,\"left_seconds\":%.1f}",
                       (int)frame, seconds, (long long)(evaluated - progress->evaluated),
                       (long long)(reused - progress->reused), (int)progress->done, left);
        put_json(&line);
        break;
    case LB_PROGRESS_LINES:
        fprintf(stderr, "frame %d (%d of %d): %.2f s, %s left\n", (int)frame, (int)progress->done,
                (int)progress->frames, seconds, clock_text(left, text, sizeof text));
        break;
    default:
        break;
    }
    progress->evaluated = evaluated;
    progress->reused = reused;
    pthread_mutex_unlock(&progress->lock);
}

void lb_progress_written(lb_progress *progress, int32_t frame, const char *output, const char *path,
                         double seconds)
{
    lb_text line = {0};

    if (progress->mode != LB_PROGRESS_JSON)
        return;
    lb_text_printf(&line, "{\"event\":\"written\",\"frame\":%d,\"output\":", (int)frame);
    lb_text_json(&line, output);
    lb_text_put(&line, ",\"file\":");
    lb_text_json(&line, path);
    lb_text_printf(&line, ",\"seconds\":%.6f}", seconds);
    pthread_mutex_lock(&progress->lock);
    put_json(&line);
    pthread_mutex_unlock(&progress->lock);
}

void lb_progress_done(lb_progress *progress, const lb_node_stats *stats, int32_t count,
                      const lb_cache_stats *cache, double write_seconds)
{
    double seconds = lb_clock_s() - progress->begin;
    char text[32];
    lb_text line = {0};

    pthread_mutex_lock(&progress->lock);
    clear_bar(progress);
    if (progress->mode == LB_PROGRESS_JSON) {
        lb_text_printf(&line,
                       "{\"event\":\"done\",\"frames\":%d,\"seconds\":%.6f,"
                       "\"write_seconds\":%.6f,\"cache\":{\"memory_hits\":%lld,"
                       "\"disk_hits\":%lld,\"bytes\":%zu},\"nodes\":[",
                       (int)progress->done, seconds, write_seconds, (long long)cache->hits,
                       (long long)cache->disk.hits, cache->bytes);
        for (int32_t i = 0; i < count; i++) {
            lb_text_put(&line, i ? ",{\"node\":" : "{\"node\":");
            lb_text_json(&line, stats[i].node);
            lb_text_put(&line, ",\"op\":");
            lb_text_json(&line, stats[i].op);
            lb_text_printf(&line,
                           ",\"evaluated\":%lld,\"reused\":%lld,\"seconds\":%.6f,"
                           "\"read_bytes\":%lld,\"made_bytes\":%lld,\"peak_bytes\":%zu}",
                           (long long)stats[i].evaluated, (long long)stats[i].reused,
                           stats[i].seconds, (long long)stats[i].read_bytes,
                           (long long)stats[i].made_bytes, stats[i].peak_bytes);
        }
        lb_text_put(&line, "]}");
        put_json(&line);
    } else if (progress->mode != LB_PROGRESS_NONE) {
        fprintf(stderr, "%d frames in %s (%.2f s a frame)\n", (int)progress->done,
                clock_text(seconds, text, sizeof text),
                progress->done ? seconds / progress->done : 0);
    }
    pthread_mutex_unlock(&progress->lock);
}
