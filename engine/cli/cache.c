/* engine/cli/cache.c: lampblack cache DIR: what a folder of kept results holds, and less of it. */
#include <errno.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "engine/base/text.h"
#include "engine/cli/cli.h"
#include "engine/graph/disk_file.h"
#include "engine/graph/disk_folder.h"

typedef struct cache_options {
    const char *folder;
    size_t limit;
    bool clears, verifies, json;
} cache_options;

/* No folder can be asked to keep so much, so --limit 0 is told from none. */
#define NO_LIMIT SIZE_MAX

typedef struct report {
    lb_disk_count now, removed;
    int64_t damaged, unreadable;
} report;

static lb_status fail(lb_diag *diag, const cache_options *options, lb_status status,
                      const char *what)
{
    char words[128];

    if (status == LB_MEMORY)
        return lb_fail(diag, status, LB_NOWHERE, "no memory");
    return lb_fail(diag, status, LB_NOWHERE, "'%s' %s: %s", options->folder, what,
                   strerror_r(errno, words, sizeof words));
}

static lb_status check_folder(lb_diag *diag, const cache_options *options)
{
    struct stat info;

    if (stat(options->folder, &info) != 0)
        return fail(diag, options, LB_IO, "cannot be read");
    if (!S_ISDIR(info.st_mode))
        return lb_fail(diag, LB_IO, LB_NOWHERE, "'%s' is not a folder", options->folder);
    return LB_OK;
}

/* ---- Checking every entry ---- */

typedef struct verification {
    report *report;
    bool tells;
    lb_status status;
} verification;

static lb_status check_entry(const lb_disk_found *found)
{
    int fd = lb_disk_found_open(found);
    lb_disk_head head;
    lb_status status;

    if (fd < 0)
        return errno == ENOENT ? LB_OK : LB_IO; /* gone meanwhile */
    if ((status = lb_disk_file_head(fd, &head)) == LB_OK)
        status = lb_key_equal(head.key, found->key) ? lb_disk_file_check(fd, &head) : LB_FORMAT;
    close(fd);
    return status;
}

static bool visit_to_check(void *context, const lb_disk_found *found)
{
    verification *v = context;
    lb_status status = found->is_temporary ? LB_OK : check_entry(found);

    v->report->damaged += status == LB_FORMAT;
    v->report->unreadable += status == LB_IO;
    if (status == LB_MEMORY)
        v->status = status;
    else if (status != LB_OK && v->tells)
        printf("%s: %s\n", found->place,
               status == LB_IO ? "cannot be read" : "damaged, or of another version");
    return status != LB_MEMORY;
}

static lb_status run(lb_diag *diag, const cache_options *options, report *r)
{
    verification v = {.report = r, .tells = !options->json};
    lb_status status = check_folder(diag, options);

    if (status != LB_OK)
        return status;
    if (options->clears && (status = lb_disk_clear(options->folder, &r->removed)) != LB_OK)
        return fail(diag, options, status, "cannot be cleared");
    if (options->limit != NO_LIMIT &&
        (status = lb_disk_shrink(options->folder, options->limit, NULL, &r->removed)) != LB_OK)
        return fail(diag, options, status, "cannot be shrunk");
    if (options->verifies) {
        if ((status = lb_disk_walk(options->folder, visit_to_check, &v)) == LB_OK)
            status = v.status;
        if (status != LB_OK)
            return fail(diag, options, status, "cannot be read");
    }
    if ((status = lb_disk_survey(options->folder, NULL, &r->now)) != LB_OK)
        return fail(diag, options, status, "cannot be read");
    if (r->unreadable > 0)
        return lb_fail(diag, LB_IO, LB_NOWHERE, "'%s': %lld of its entries cannot be read",
                       options->folder, (long long)r->unreadable);
    return r->damaged > 0 ? LB_FORMAT : LB_OK;
}

/* ---- Telling ---- */

/* ISO 8601, UTC. */
static const char *time_text(double seconds, char *buffer, size_t room)
{
    time_t whole = (time_t)seconds;
    struct tm parts;

    if (!gmtime_r(&whole, &parts) || !strftime(buffer, room, "%Y-%m-%dT%H:%M:%SZ", &parts))
        snprintf(buffer, room, "?");
    return buffer;
}

/* "1.5 GiB". */
static const char *bytes_text(uint64_t bytes, char *buffer, size_t room)
{
    static const char *const units[] = {"bytes", "KiB", "MiB", "GiB", "TiB"};
    double value = (double)bytes;
    int unit = 0;

    for (; value >= 1024 && unit < 4; unit++)
        value /= 1024;
    snprintf(buffer, room, "%.*f %s", unit > 0 ? 1 : 0, value, units[unit]);
    return buffer;
}

static const char *entries_text(int64_t count)
{
    return count == 1 ? "entry" : "entries";
}

static void print_text(const cache_options *options, const report *r)
{
    char bytes[32], oldest[32], newest[32];

    if (options->clears || options->limit != NO_LIMIT)
        printf("removed %lld %s, %s\n", (long long)r->removed.entries,
               entries_text(r->removed.entries), bytes_text(r->removed.bytes, bytes, sizeof bytes));
    printf("%s: %lld %s, %s\n", options->folder, (long long)r->now.entries,
           entries_text(r->now.entries), bytes_text(r->now.bytes, bytes, sizeof bytes));
    if (r->now.entries > 0)
        printf("  last used from %s to %s\n", time_text(r->now.oldest_s, oldest, sizeof oldest),
               time_text(r->now.newest_s, newest, sizeof newest));
    if (r->now.temporaries > 0)
        printf("  unfinished: %lld, %s\n", (long long)r->now.temporaries,
               bytes_text(r->now.temporary_bytes, bytes, sizeof bytes));
    if (options->verifies)
        printf("  damaged: %lld\n", (long long)r->damaged);
}

static void print_json(const cache_options *options, const report *r)
{
    char oldest[32], newest[32];
    lb_text folder = {0};

    lb_text_json(&folder, options->folder);
    printf("{\"folder\":%s,\"entries\":%lld,\"bytes\":%llu", folder.bytes ? folder.bytes : "null",
           (long long)r->now.entries, (unsigned long long)r->now.bytes);
    if (r->now.entries > 0)
        printf(",\"oldest_use\":\"%s\",\"newest_use\":\"%s\"",
               time_text(r->now.oldest_s, oldest, sizeof oldest),
               time_text(r->now.newest_s, newest, sizeof newest));
    printf(",\"unfinished\":%lld,\"unfinished_bytes\":%llu", (long long)r->now.temporaries,
           (unsigned long long)r->now.temporary_bytes);
    if (options->verifies)
        printf(",\"damaged\":%lld", (long long)r->damaged);
    if (options->clears || options->limit != NO_LIMIT)
        printf(",\"removed\":%lld,\"removed_bytes\":%llu", (long long)r->removed.entries,
               (unsigned long long)r->removed.bytes);
    printf("}\n");
    lb_text_clear(&folder);
}

static lb_status run_cache(lb_session *session, const void *words)
{
    const cache_options *options = words;
    report r = {0};
    lb_status status;

    if (options->clears && (options->limit != NO_LIMIT || options->verifies))
        return lb_session_usage(session, "--clear leaves nothing to limit or to verify");
    status = run(session->diag, options, &r);
    if (status == LB_OK || status == LB_FORMAT)
        options->json ? print_json(options, &r) : print_text(options, &r);
    return status;
}

static const lb_operand operands[] = {
    LB_OPERAND(cache_options, folder, "DIR", .min = 1, .max = 1, .offer = LB_OFFER_FOLDER,
               .doc = "The folder that 'render --cache' was given."),
    {0},
};

static const lb_option options[] = {
    LB_OPTION(cache_options, verifies, "--verify", LB_OPTION_FLAG,
              .doc = "Reads every entry and tells those that are damaged."),
    LB_OPTION(cache_options, limit, "--limit", LB_OPTION_BYTES, .argument = "BYTES",
              .expects = "bytes, such as 5G",
              .doc = "Removes what was used longest ago until no more than that is left."),
    LB_OPTION(cache_options, clears, "--clear", LB_OPTION_FLAG, .doc = "Removes all entries."),
    LB_OPTION_JSON(cache_options),
    {0},
};

static const lb_example examples[] = {
    {"lampblack cache kept", NULL},
    {"lampblack cache kept --limit 5G", NULL},
    {0},
};

const lb_command lb_command_cache = {
    .name = "cache",
    .summary = "what a folder of kept results holds; less of it",
    .no = "an entry is damaged",
    .operands = operands,
    .options = options,
    .examples = examples,
    .options_size = sizeof(cache_options),
    .initial = &(const cache_options){.limit = NO_LIMIT},
    .run = run_cache,
};
