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

typedef struct arguments {
    const char *folder;
    size_t limit;
    bool limits, clears, verifies, json;
} arguments;

typedef struct report {
    lb_disk_count now, removed;
    int64_t damaged, unreadable;
} report;

static int parse_arguments(int argc, char **argv, arguments *args)
{
    static const char *const options[] = {"--limit", "--clear", "--verify", "--json"};

    *args = (arguments){0};
    for (int i = 1; i < argc; i++) {
        const char *value = NULL;

        if (lb_option(argc, argv, &i, "--limit", &value)) {
            if (!value || !lb_bytes_parse(value, &args->limit))
                return lb_usage(&lb_command_cache, "--limit takes bytes, such as 5G");
            args->limits = true;
        } else if (!strcmp(argv[i], "--clear")) {
            args->clears = true;
        } else if (!strcmp(argv[i], "--verify")) {
            args->verifies = true;
        } else if (!strcmp(argv[i], "--json")) {
            args->json = true;
        } else if (argv[i][0] == '-') {
            const char *nearest = lb_text_nearest(argv[i], options, 4);

            return lb_usage(&lb_command_cache, "there is no option '%s'%s%s%s", argv[i],
                            nearest ? "; did you mean '" : "", nearest ? nearest : "",
                            nearest ? "'?" : "");
        } else if (args->folder) {
            return lb_usage(&lb_command_cache, "'%s' is one word too many", argv[i]);
        } else {
            args->folder = argv[i];
        }
    }
    if (!args->folder)
        return lb_usage(&lb_command_cache, "which folder?");
    if (args->clears && (args->limits || args->verifies))
        return lb_usage(&lb_command_cache, "--clear leaves nothing to limit or to verify");
    return LB_EXIT_GOOD;
}

static lb_status fail(lb_diag *diag, const arguments *args, lb_status status, const char *what)
{
    char words[128];

    if (status == LB_MEMORY)
        return lb_fail(diag, status, LB_NOWHERE, "no memory");
    return lb_fail(diag, status, LB_NOWHERE, "'%s' %s: %s", args->folder, what,
                   strerror_r(errno, words, sizeof words));
}

static lb_status check_folder(lb_diag *diag, const arguments *args)
{
    struct stat info;

    if (stat(args->folder, &info) != 0)
        return fail(diag, args, LB_IO, "cannot be read");
    if (!S_ISDIR(info.st_mode))
        return lb_fail(diag, LB_IO, LB_NOWHERE, "'%s' is not a folder", args->folder);
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

static lb_status run(lb_diag *diag, const arguments *args, report *r)
{
    verification v = {.report = r, .tells = !args->json};
    lb_status status = check_folder(diag, args);

    if (status != LB_OK)
        return status;
    if (args->clears && (status = lb_disk_clear(args->folder, &r->removed)) != LB_OK)
        return fail(diag, args, status, "cannot be cleared");
    if (args->limits &&
        (status = lb_disk_shrink(args->folder, args->limit, NULL, &r->removed)) != LB_OK)
        return fail(diag, args, status, "cannot be shrunk");
    if (args->verifies) {
        if ((status = lb_disk_walk(args->folder, visit_to_check, &v)) == LB_OK)
            status = v.status;
        if (status != LB_OK)
            return fail(diag, args, status, "cannot be read");
    }
    if ((status = lb_disk_survey(args->folder, NULL, &r->now)) != LB_OK)
        return fail(diag, args, status, "cannot be read");
    if (r->unreadable > 0)
        return lb_fail(diag, LB_IO, LB_NOWHERE, "'%s': %lld of its entries cannot be read",
                       args->folder, (long long)r->unreadable);
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

static void print_text(const arguments *args, const report *r)
{
    char bytes[32], oldest[32], newest[32];

    if (args->clears || args->limits)
        printf("removed %lld %s, %s\n", (long long)r->removed.entries,
               entries_text(r->removed.entries), bytes_text(r->removed.bytes, bytes, sizeof bytes));
    printf("%s: %lld %s, %s\n", args->folder, (long long)r->now.entries,
           entries_text(r->now.entries), bytes_text(r->now.bytes, bytes, sizeof bytes));
    if (r->now.entries > 0)
        printf("  last used from %s to %s\n", time_text(r->now.oldest_s, oldest, sizeof oldest),
               time_text(r->now.newest_s, newest, sizeof newest));
    if (r->now.temporaries > 0)
        printf("  unfinished: %lld, %s\n", (long long)r->now.temporaries,
               bytes_text(r->now.temporary_bytes, bytes, sizeof bytes));
    if (args->verifies)
        printf("  damaged: %lld\n", (long long)r->damaged);
}

static void print_json(const arguments *args, const report *r)
{
    char oldest[32], newest[32];
    lb_text folder = {0};

    lb_text_json(&folder, args->folder);
    printf("{\"folder\":%s,\"entries\":%lld,\"bytes\":%llu", folder.bytes ? folder.bytes : "null",
           (long long)r->now.entries, (unsigned long long)r->now.bytes);
    if (r->now.entries > 0)
        printf(",\"oldest_use\":\"%s\",\"newest_use\":\"%s\"",
               time_text(r->now.oldest_s, oldest, sizeof oldest),
               time_text(r->now.newest_s, newest, sizeof newest));
    printf(",\"unfinished\":%lld,\"unfinished_bytes\":%llu", (long long)r->now.temporaries,
           (unsigned long long)r->now.temporary_bytes);
    if (args->verifies)
        printf(",\"damaged\":%lld", (long long)r->damaged);
    if (args->clears || args->limits)
        printf(",\"removed\":%lld,\"removed_bytes\":%llu", (long long)r->removed.entries,
               (unsigned long long)r->removed.bytes);
    printf("}\n");
    lb_text_clear(&folder);
}

static int run_cache(int argc, char **argv)
{
    arguments args;
    report r = {0};
    lb_diag *diag;
    lb_status status;
    int result = parse_arguments(argc, argv, &args);

    if (result != LB_EXIT_GOOD)
        return result;
    if (!(diag = lb_diag_new())) {
        fputs("lampblack cache: no memory\n", stderr);
        return LB_EXIT_TROUBLE;
    }
    status = run(diag, &args, &r);
    if (status == LB_OK || status == LB_FORMAT)
        args.json ? print_json(&args, &r) : print_text(&args, &r);
    fflush(stdout);
    lb_print_messages(diag);
    lb_diag_free(&diag);
    return lb_exit_of(status);
}

const lb_command lb_command_cache = {
    .name = "cache",
    .usage = "cache DIR [--verify] [--limit 5G | --clear] [--json]",
    .summary = "what a folder of kept results holds; less of it",
    .run = run_cache,
};
