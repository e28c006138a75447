/* engine/graph/profile.c: events of a run, and the file that shows them. */
#include "engine/graph/profile.h"

#include <pthread.h>
#include <string.h>

#include "engine/base/file.h"
#include "engine/base/memory.h"
#include "engine/base/text.h"
#include "engine/base/time.h"

typedef struct record {
    lb_profile_event event; /* its texts are the record's own */
    bool is_count;
    double value;
    int32_t thread;
} record;

struct lb_profile {
    pthread_mutex_t lock;
    double begin;
    lb_arena *texts;
    record *records;
    size_t count, capacity;
    pthread_t *threads;
    size_t thread_count, thread_capacity;
    int64_t lost;
};

lb_status lb_profile_new(lb_profile **out)
{
    lb_profile *profile = lb_alloc(1, sizeof *profile);

    *out = NULL;
    if (!profile)
        return LB_MEMORY;
    if (!(profile->texts = lb_arena_new())) {
        lb_free(profile);
        return LB_MEMORY;
    }
    pthread_mutex_init(&profile->lock, NULL);
    profile->begin = lb_clock_s();
    *out = profile;
    return LB_OK;
}

void lb_profile_free(lb_profile **profile)
{
    if (!*profile)
        return;
    pthread_mutex_destroy(&(*profile)->lock);
    lb_arena_free(&(*profile)->texts);
    lb_free((*profile)->records);
    lb_free((*profile)->threads);
    lb_free(*profile);
    *profile = NULL;
}

/* Threads are numbered in the order in which they come. */
static int32_t number_of_thread(lb_profile *profile)
{
    pthread_t self = pthread_self();

    for (size_t i = 0; i < profile->thread_count; i++)
        if (pthread_equal(profile->threads[i], self))
            return (int32_t)i + 1;
    if (!lb_grow((void **)&profile->threads, &profile->thread_capacity, profile->thread_count,
                 sizeof self))
        return 0;
    profile->threads[profile->thread_count++] = self;
    return (int32_t)profile->thread_count;
}

static bool keep_text(lb_profile *profile, const char **text)
{
    if (!*text)
        return true;
    *text = lb_arena_strdup(profile->texts, *text);
    return *text != NULL;
}

static void add(lb_profile *profile, record made)
{
    if (!profile)
        return;
    pthread_mutex_lock(&profile->lock);
    made.thread = number_of_thread(profile);
    if (keep_text(profile, &made.event.name) && keep_text(profile, &made.event.category) &&
        keep_text(profile, &made.event.detail) && keep_text(profile, &made.event.members) &&
        lb_grow((void **)&profile->records, &profile->capacity, profile->count, sizeof made))
        profile->records[profile->count++] = made;
    else
        profile->lost++;
    pthread_mutex_unlock(&profile->lock);
}

void lb_profile_add(lb_profile *profile, const lb_profile_event *event)
{
    add(profile, (record){.event = *event});
}

void lb_profile_count(lb_profile *profile, const char *name, double value)
{
    add(profile,
        (record){.event = {.name = name, .begin = lb_clock_s()}, .is_count = true, .value = value});
}

static double microseconds(const lb_profile *profile, double clock)
{
    return (clock - profile->begin) * 1e6;
}

static void put_bytes(lb_text *out, const char *name, int64_t bytes)
{
    if (bytes >= 0)
        lb_text_printf(out, ",\"%s\":%lld", name, (long long)bytes);
}

static void put_record(const lb_profile *profile, const record *r, lb_text *out)
{
    const lb_profile_event *e = &r->event;
    double seconds = e->end - e->begin;

    lb_text_put(out, ",\n{\"name\":");
    lb_text_json(out, e->name);
    if (r->is_count) {
        lb_text_printf(out, ",\"ph\":\"C\",\"pid\":1,\"ts\":%.3f,\"args\":{\"value\":%.0f}}",
                       microseconds(profile, e->begin), r->value);
        return;
    }
    lb_text_put(out, ",\"cat\":");
    lb_text_json(out, e->category);
    lb_text_printf(out,
                   ",\"ph\":\"X\",\"pid\":1,\"tid\":%d,\"ts\":%.3f,\"dur\":%.3f,"
                   "\"args\":{\"frame\":%d",
                   (int)r->thread, microseconds(profile, e->begin), seconds * 1e6, (int)e->frame);
    if (e->detail) {
        lb_text_put(out, strcmp(e->category, "node") == 0 ? ",\"op\":" : ",\"file\":");
        lb_text_json(out, e->detail);
    }
    put_bytes(out, "read_bytes", e->read_bytes);
    put_bytes(out, "made_bytes", e->made_bytes);
    put_bytes(out, "peak_bytes", e->peak_bytes);
    if (e->read_bytes >= 0 && e->made_bytes >= 0 && seconds > 0)
        lb_text_printf(out, ",\"bytes_per_second\":%.0f",
                       (double)(e->read_bytes + e->made_bytes) / seconds);
    if (e->fused > 1)
        lb_text_printf(out, ",\"fused\":%d", (int)e->fused);
    if (e->members) {
        lb_text_put(out, ",\"members\":");
        lb_text_json(out, e->members);
    }
    lb_text_put(out, "}}");
}

lb_status lb_profile_write(lb_profile *profile, lb_diag *diag, const char *path)
{
    lb_text out = {0};
    lb_status status;

    pthread_mutex_lock(&profile->lock);
    lb_text_put(&out, "{\"displayTimeUnit\":\"ms\",\"traceEvents\":[\n"
                      "{\"name\":\"process_name\",\"ph\":\"M\",\"pid\":1,"
                      "\"args\":{\"name\":\"lampblack\"}}");
    for (size_t i = 0; i < profile->thread_count; i++)
        lb_text_printf(&out,
                       ",\n{\"name\":\"thread_name\",\"ph\":\"M\",\"pid\":1,\"tid\":%zu,"
                       "\"args\":{\"name\":\"thread %zu\"}}",
                       i + 1, i + 1);
    for (size_t i = 0; i < profile->count; i++)
        put_record(profile, &profile->records[i], &out);
    lb_text_printf(&out, "\n],\"otherData\":{\"lost_events\":%lld}}\n", (long long)profile->lost);
    pthread_mutex_unlock(&profile->lock);
    if (out.failed)
        status = lb_fail(diag, LB_MEMORY, LB_NOWHERE, "'%s': no memory", path);
    else
        status = lb_file_write(diag, LB_NOWHERE, path, out.bytes, out.length);
    lb_text_clear(&out);
    return status;
}
