/* tests/engine/base/test_file.c: whole files in and out, on a temporary folder. */
#include <criterion/criterion.h>
#include <dirent.h>
#include <fcntl.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>

#include "engine/base/file.h"

static char folder[256];

static void make_folder(void)
{
    const char *base = getenv("TMPDIR");

    snprintf(folder, sizeof folder, "%s/lampblack-test-XXXXXX", base && *base ? base : "/tmp");
    cr_assert(mkdtemp(folder) != NULL);
}

static void remove_folder(void)
{
    char command[300];

    snprintf(command, sizeof command, "rm -rf '%s'", folder);
    cr_expect(system(command) == 0);
}

TestSuite(file, .init = make_folder, .fini = remove_folder);

static char *in_folder(const char *name)
{
    char *path = lb_path_join(folder, name);

    cr_assert(path != NULL);
    return path;
}

/* How many names the folder has, hidden ones too: no temporary may stay. */
static int count_names(const char *path)
{
    DIR *dir = opendir(path);
    int count = 0;

    cr_assert(dir != NULL);
    for (struct dirent *entry; (entry = readdir(dir));)
        count += strcmp(entry->d_name, ".") != 0 && strcmp(entry->d_name, "..") != 0;
    closedir(dir);
    return count;
}

static void expect_content(const char *path, const char *content)
{
    void *bytes;
    size_t count;

    cr_assert(lb_file_read(NULL, LB_NOWHERE, path, 1 << 20, &bytes, &count) == LB_OK);
    cr_expect(count == strlen(content) && strcmp(bytes, content) == 0, "'%s'", (char *)bytes);
    lb_free(bytes);
}

/* The status, and the last message's words contain `words`. */
static void expect_failure(lb_status got, lb_status want, lb_diag *diag, const char *words)
{
    char *text = NULL;
    size_t bytes = 0;
    FILE *out = open_memstream(&text, &bytes);

    lb_diag_print(diag, out, false);
    fclose(out);
    cr_expect(got == want, "%s", lb_status_text(got));
    cr_expect(strstr(text, words) != NULL, "%s", text);
    free(text);
}

Test(file, written_and_read_back)
{
    char *path = in_folder("frame.0001.exr");
    char big[100001];
    void *bytes;
    size_t count;

    memset(big, 'x', sizeof big);
    cr_expect(lb_file_write(NULL, LB_NOWHERE, path, "one", 3) == LB_OK);
    expect_content(path, "one");
    cr_expect(lb_file_write(NULL, LB_NOWHERE, path, big, sizeof big) == LB_OK);
    cr_expect(lb_file_read(NULL, LB_NOWHERE, path, sizeof big, &bytes, &count) == LB_OK);
    cr_expect(count == sizeof big && memcmp(bytes, big, count) == 0);
    cr_expect(((char *)bytes)[count] == 0);
    lb_free(bytes);
    cr_expect(lb_file_write(NULL, LB_NOWHERE, path, NULL, 0) == LB_OK);
    expect_content(path, "");
    cr_expect(count_names(folder) == 1);
    lb_free(path);
}

Test(file, rights_are_kept)
{
    char *path = in_folder("private");
    struct stat info;

    cr_expect(lb_file_write(NULL, LB_NOWHERE, path, "1", 1) == LB_OK);
    cr_assert(chmod(path, 0640) == 0);
    cr_expect(lb_file_write(NULL, LB_NOWHERE, path, "2", 1) == LB_OK);
    cr_assert(stat(path, &info) == 0);
    cr_expect((info.st_mode & 0777) == 0640);
    lb_free(path);
}

/* A file size limit stands in for the full disk: the write fails half-way, what was there stays and
 * no temporary is left. */
Test(file, a_failed_write_changes_nothing)
{
    lb_diag *diag = lb_diag_new();
    char *path = in_folder("frame");
    size_t bytes = 200000;
    void *content = lb_alloc(bytes, 1);
    struct rlimit limit;

    cr_assert(diag && content);
    cr_expect(lb_file_write(diag, LB_NOWHERE, path, "old", 3) == LB_OK);
    signal(SIGXFSZ, SIG_IGN);
    cr_assert(getrlimit(RLIMIT_FSIZE, &limit) == 0);
    limit.rlim_cur = 100000;
    cr_assert(setrlimit(RLIMIT_FSIZE, &limit) == 0);
    expect_failure(lb_file_write(diag, LB_NOWHERE, path, content, bytes), LB_IO, diag,
                   "File too large");
    expect_content(path, "old");
    cr_expect(count_names(folder) == 1);
    lb_free(content);
    lb_free(path);
    lb_diag_free(&diag);
}

Test(file, what_is_in_the_way)
{
    lb_diag *diag = lb_diag_new();
    char *sub = in_folder("sub"), *fifo = in_folder("fifo"), *deep = in_folder("none/frame");
    char *under = in_folder("plain/frame"), *plain = in_folder("plain");
    void *bytes;
    size_t count;

    cr_assert(diag != NULL);
    cr_assert(mkdir(sub, 0777) == 0 && mkfifo(fifo, 0666) == 0);
    cr_expect(lb_file_write(diag, LB_NOWHERE, plain, "x", 1) == LB_OK);
    expect_failure(lb_file_write(diag, LB_NOWHERE, sub, "x", 1), LB_IO, diag, "it is a folder");
    expect_failure(lb_file_write(diag, LB_NOWHERE, fifo, "x", 1), LB_IO, diag, "it is a pipe");
    expect_failure(lb_file_write(diag, LB_NOWHERE, "/dev/full", "x", 1), LB_IO, diag, "a device");
    expect_failure(lb_file_write(diag, LB_NOWHERE, deep, "x", 1), LB_IO, diag,
                   "No such file or directory");
    expect_failure(lb_file_write(diag, LB_NOWHERE, under, "x", 1), LB_IO, diag, "Not a directory");
    expect_failure(lb_file_write(diag, LB_NOWHERE, "", "x", 1), LB_IO, diag, "cannot write ''");
    expect_failure(lb_file_read(diag, LB_NOWHERE, sub, 9, &bytes, &count), LB_IO, diag,
                   "it is a folder");
    cr_expect(bytes == NULL && count == 0);
    /* Nobody writes to the pipe: opening it must not wait. */
    expect_failure(lb_file_read(diag, LB_NOWHERE, fifo, 9, &bytes, &count), LB_IO, diag,
                   "it is a pipe, not a file");
    expect_failure(lb_file_read(diag, LB_NOWHERE, "/dev/zero", 9, &bytes, &count), LB_IO, diag,
                   "it is a device");
    expect_failure(lb_file_read(diag, LB_NOWHERE, deep, 9, &bytes, &count), LB_NOT_FOUND, diag,
                   "none/frame': No such file or directory");
    expect_failure(lb_file_read(diag, LB_NOWHERE, under, 9, &bytes, &count), LB_NOT_FOUND, diag,
                   "Not a directory");
    cr_expect(count_names(folder) == 3);
    lb_free(sub);
    lb_free(fifo);
    lb_free(deep);
    lb_free(under);
    lb_free(plain);
    lb_diag_free(&diag);
}

Test(file, limits)
{
    lb_diag *diag = lb_diag_new();
    char *path = in_folder("ten");
    void *bytes;
    size_t count;

    cr_expect(lb_file_write(diag, LB_NOWHERE, path, "0123456789", 10) == LB_OK);
    cr_expect(lb_file_read(diag, LB_NOWHERE, path, 10, &bytes, &count) == LB_OK && count == 10);
    lb_free(bytes);
    expect_failure(lb_file_read(diag, LB_NOWHERE, path, 9, &bytes, &count), LB_LIMIT, diag,
                   "has 10 bytes; at most 9 are read");
    cr_expect(bytes == NULL);
    lb_free(path);
    lb_diag_free(&diag);
}

/* A name as long as names may be leaves no room for the temporary's; it is cut. */
Test(file, the_longest_name)
{
    char name[256], *path;

    memset(name, 'n', 255);
    name[255] = 0;
    path = in_folder(name);
    cr_expect(lb_file_write(NULL, LB_NOWHERE, path, "x", 1) == LB_OK);
    expect_content(path, "x");
    lb_free(path);
}

/* A stale temporary of the same number is stepped over, never written to. */
Test(file, a_temporary_in_the_way)
{
    char *path = in_folder("frame"), name[64], *stale;

    snprintf(name, sizeof name, ".frame.%ld-0.part", (long)getpid());
    stale = in_folder(name);
    cr_assert(symlink("/dev/full", stale) == 0);
    cr_expect(lb_file_write(NULL, LB_NOWHERE, path, "x", 1) == LB_OK);
    expect_content(path, "x");
    cr_expect(count_names(folder) == 2);
    lb_free(path);
    lb_free(stale);
}

Test(file, every_allocation_fails_once)
{
    char *path = in_folder("frame"), *deep = in_folder("a/b/c");
    size_t before = lb_memory_used(), count;
    bool failed = true;
    void *bytes;

    for (int64_t n = 1; failed; n++) {
        lb_memory_fail_at(n);
        if (lb_file_write(NULL, LB_NOWHERE, path, "content", 7) == LB_OK &&
            lb_file_read(NULL, LB_NOWHERE, path, 99, &bytes, &count) == LB_OK)
            lb_free(bytes);
        if (lb_folder_make(NULL, LB_NOWHERE, deep) == LB_OK)
            cr_expect(lb_file_exists(deep));
        failed = lb_memory_fail_left() == 0;
        lb_memory_fail_at(0);
        cr_expect(lb_memory_used() == before);
    }
    cr_expect(count_names(folder) == 2);
    lb_free(path);
    lb_free(deep);
}

Test(file, stamps_tell_a_change)
{
    char *path = in_folder("frame");
    lb_file_stamp first, second;

    cr_expect(!lb_file_stamp_of(path, &first) && !lb_file_exists(path));
    cr_expect(lb_file_write(NULL, LB_NOWHERE, path, "one", 3) == LB_OK);
    cr_expect(lb_file_stamp_of(path, &first) && lb_file_exists(path) && first.size == 3);
    cr_expect(lb_file_stamp_of(path, &second) && memcmp(&first, &second, sizeof first) == 0);
    cr_expect(lb_file_write(NULL, LB_NOWHERE, path, "two", 3) == LB_OK);
    cr_expect(lb_file_stamp_of(path, &second) && memcmp(&first, &second, sizeof first) != 0);
    lb_free(path);
}

Test(file, folders_with_those_above)
{
    lb_diag *diag = lb_diag_new();
    char *deep = in_folder("out//a/b/"), *again = in_folder("out/a/b"), *plain = in_folder("plain");
    char *under = in_folder("plain/c");

    cr_expect(lb_folder_make(diag, LB_NOWHERE, deep) == LB_OK);
    cr_expect(lb_folder_make(diag, LB_NOWHERE, again) == LB_OK);
    cr_expect(lb_folder_make(diag, LB_NOWHERE, "") == LB_OK);
    cr_expect(lb_folder_make(diag, LB_NOWHERE, "/") == LB_OK);
    cr_expect(lb_folder_make(diag, LB_NOWHERE, ".") == LB_OK);
    cr_expect(lb_file_write(diag, LB_NOWHERE, plain, "x", 1) == LB_OK);
    expect_failure(lb_folder_make(diag, LB_NOWHERE, under), LB_IO, diag, "a file is in its place");
    cr_expect(lb_folder_make(diag, LB_NOWHERE, plain) == LB_IO);
    lb_free(deep);
    lb_free(again);
    lb_free(plain);
    lb_free(under);
    lb_diag_free(&diag);
}

Test(file, paths)
{
    static const struct {
        const char *base, *name, *joined;
    } joins[] = {
        {"a", "b", "a/b"}, {"a/", "b", "a/b"}, {"/", "b", "/b"},  {"", "b", "b"},
        {".", "b", "b"},   {NULL, "b", "b"},   {"a", "/b", "/b"}, {"..", "b/c", "../b/c"},
    };
    static const struct {
        const char *path, *folder, *extension;
    } parts[] = {
        {"a/b.png", "a", "png"}, {"b.png", ".", "png"}, {"/b.tar.gz", "/", "gz"},
        {"//b", "/", ""},        {"/a/b", "/a", ""},    {"a//b", "a", ""},
        {"a.d/b", "a.d", ""},    {".hidden", ".", ""},  {"a/.hidden.png", "a", "png"},
        {"end.", ".", ""},       {"", ".", ""},
    };

    for (size_t i = 0; i < sizeof joins / sizeof joins[0]; i++) {
        char *joined = lb_path_join(joins[i].base, joins[i].name);
        cr_expect_str_eq(joined, joins[i].joined);
        lb_free(joined);
    }
    for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++) {
        char *above = lb_path_folder(parts[i].path);
        cr_expect_str_eq(above, parts[i].folder);
        cr_expect_str_eq(lb_path_extension(parts[i].path), parts[i].extension);
        lb_free(above);
    }
}
