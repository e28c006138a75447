/* tests/lang/folder.h: graphs of several files, in a folder that goes with them. */
#ifndef LB_TESTS_LANG_FOLDER_H
#define LB_TESTS_LANG_FOLDER_H

#include <sys/stat.h>
#include <unistd.h>

#include "engine/base/file.h"
#include "engine/base/text.h"
#include "tests/lang/loading.h"

typedef struct file_text {
    const char *name, *text;
} file_text;

typedef struct folder {
    char path[40];
    const file_text *files; /* ended by a NULL name; one folder deep at most */
} folder;

static inline void join(char *out, size_t size, const char *a, const char *b)
{
    snprintf(out, size, "%s/%s", a, b);
}

static inline folder make_folder(const file_text *files)
{
    folder f = {"/tmp/lampblack-lang-XXXXXX", files};
    char path[200];

    cr_assert(mkdtemp(f.path));
    for (; files->name; files++) {
        char *above;

        join(path, sizeof path, f.path, files->name);
        above = lb_path_folder(path);
        cr_assert(lb_folder_make(NULL, LB_NOWHERE, above) == LB_OK);
        lb_free(above);
        cr_assert(lb_file_write(NULL, LB_NOWHERE, path, files->text, strlen(files->text)) == LB_OK);
    }
    return f;
}

static inline void drop_folder(const folder *f)
{
    char path[200];

    for (int pass = 0; pass < 2; pass++)
        for (const file_text *file = f->files; file->name; file++) {
            join(path, sizeof path, f->path, file->name);
            if (pass == 0)
                unlink(path);
            else if (strrchr(file->name, '/'))
                *strrchr(path, '/') = 0, rmdir(path);
        }
    rmdir(f->path);
}

/* Without "FOLDER/" wherever it stands. */
static inline void strip(char *text, const char *path)
{
    size_t length = strlen(path) + 1;

    for (char *at = text; (at = strstr(at, path));)
        memmove(at, at + length, strlen(at + length) + 1);
}

static inline loaded load_folder_with(const folder *f, const lb_lang_options *options)
{
    char path[200];
    loaded l = {.diag = lb_diag_new()};

    join(path, sizeof path, f->path, f->files[0].name);
    l.status = lb_lang_read(l.diag, path, options, &l.graph);
    l.messages = messages_of(l.diag);
    strip(l.messages, f->path);
    return l;
}

static inline loaded load_folder(const folder *f)
{
    const lb_lang_options options = {.ops = any_ops};

    return load_folder_with(f, &options);
}

/* Files, the first of them the graph, and every word that is said about them. */
static inline void check_files(const file_text *files, const char *wanted)
{
    folder f = make_folder(files);
    loaded l = load_folder(&f);

    cr_expect(strcmp(l.messages, wanted) == 0, "%s\nsays:\n%snot:\n%s", files[0].text, l.messages,
              wanted);
    cr_expect((l.graph == NULL) == (lb_diag_count(l.diag, LB_ERROR) > 0));
    drop(&l);
    drop_folder(&f);
}

#endif
