/* tests/engine/scene/files.h: scenes from files and from JSON, for the tests of this folder. What
 * goes wrong in these functions themselves ends the test. */
#ifndef LB_TESTS_SCENE_FILES_H
#define LB_TESTS_SCENE_FILES_H

#include <dirent.h>
#include <jansson.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "engine/base/file.h"
#include "engine/scene/gltf.h"

#define FILES_PATH 4096

static inline void files_die(const char *why, const char *name)
{
    fprintf(stderr, "'%s': %s\n", name, why);
    abort();
}

static inline void *files_load(const char *path, size_t *count)
{
    lb_diag *diag = lb_diag_new();
    void *bytes = NULL;

    if (!diag || lb_file_read(diag, LB_NOWHERE, path, (size_t)1 << 30, &bytes, count))
        files_die("cannot be read", path);
    lb_diag_free(&diag);
    return bytes;
}

/* What the messages say, into a static buffer. */
static inline const char *files_messages(lb_diag *diag)
{
    static char text[8192];
    FILE *out = fmemopen(text, sizeof text, "w");

    text[0] = 0;
    if (out) {
        lb_diag_print(diag, out, false);
        fclose(out);
    }
    return text;
}

static inline lb_status files_read(lb_diag *diag, const char *path, const void *bytes, size_t count,
                                   lb_scene **out)
{
    lb_gltf_options options = {.working = LB_SPACE_LINEAR_REC709};

    return lb_gltf_read(NULL, diag, LB_NOWHERE, path, bytes, count, &options, out);
}

/* Has a fact of that kind with `text` in it, at a place that contains `where`? */
static inline bool files_has_fact(const lb_scene *scene, lb_fact_kind kind, const char *where,
                                  const char *text)
{
    for (size_t i = 0; i < scene->fact_count; i++)
        if (scene->facts[i].kind == kind && strstr(scene->facts[i].where, where) &&
            strstr(scene->facts[i].what, text))
            return true;
    return false;
}

static inline uint32_t files_word(const uint8_t *at)
{
    return at[0] | (uint32_t)at[1] << 8 | (uint32_t)at[2] << 16 | (uint32_t)at[3] << 24;
}

static inline void files_put_word(uint8_t *at, size_t value)
{
    for (int i = 0; i < 4; i++)
        at[i] = (uint8_t)(value >> 8 * i);
}

/* The JSON of a file's bytes; the binary chunk of a GLB in *bin. */
static inline json_t *files_json(const void *bytes, size_t count, const uint8_t **bin,
                                 size_t *bin_count)
{
    const uint8_t *at = bytes;
    size_t length;

    *bin = NULL;
    *bin_count = 0;
    if (count < 20 || memcmp(at, "glTF", 4) != 0)
        return json_loadb(bytes, count, 0, NULL);
    length = files_word(at + 12);
    if (20 + length + 8 <= count) {
        *bin_count = files_word(at + 20 + length);
        *bin = at + 28 + length;
    }
    return json_loadb((const char *)at + 20, length, 0, NULL);
}

/* Bytes of a file with that JSON: a GLB if there is a binary chunk. Free with free(). */
static inline void *files_pack(const json_t *root, const uint8_t *bin, size_t bin_count,
                               size_t *count)
{
    char *text = json_dumps(root, JSON_COMPACT);
    size_t length = strlen(text), padded = (length + 3) / 4 * 4;
    uint8_t *out;

    *count = length;
    if (!bin)
        return text;
    *count = 28 + padded + bin_count;
    if (!(out = calloc(1, *count)))
        files_die("no memory", "GLB");
    memcpy(out, "glTF\2\0\0\0", 8);
    files_put_word(out + 8, *count);
    files_put_word(out + 12, padded);
    memcpy(out + 16, "JSON", 4);
    memset(out + 20, ' ', padded);
    memcpy(out + 20, text, length);
    files_put_word(out + 20 + padded, bin_count);
    memcpy(out + 24 + padded, "BIN", 4);
    memcpy(out + 28 + padded, bin, bin_count);
    free(text);
    return out;
}

/* Calls fn for every .gltf and .glb below `folder`, in no order. How many there were. */
static inline int files_each(const char *folder, void (*fn)(const char *path, void *context),
                             void *context)
{
    char path[FILES_PATH];
    DIR *dir = opendir(folder);
    struct dirent *entry;
    struct stat info;
    int count = 0;

    if (!dir)
        files_die("cannot be listed", folder);
    while ((entry = readdir(dir))) {
        const char *end = strrchr(entry->d_name, '.');

        if (entry->d_name[0] == '.')
            continue;
        if ((size_t)snprintf(path, sizeof path, "%s/%s", folder, entry->d_name) >= sizeof path)
            files_die("too long", folder);
        if (stat(path, &info))
            files_die("cannot be looked at", path);
        if (S_ISDIR(info.st_mode)) {
            count += files_each(path, fn, context);
        } else if (end && (strcmp(end, ".gltf") == 0 || strcmp(end, ".glb") == 0)) {
            fn(path, context);
            count++;
        }
    }
    closedir(dir);
    return count;
}

#endif
