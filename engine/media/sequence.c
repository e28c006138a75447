/* engine/media/sequence.c: frame numbers in file names. */
#include <dirent.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>

#include "engine/base/file.h"
#include "engine/media/media.h"

/* The last run of # in a path, for a folder may have one in its name. False: there is none. */
static bool find_run(const char *path, size_t *start, size_t *length)
{
    const char *end = strrchr(path, '#'), *begin = end;

    if (!end)
        return false;
    while (begin > path && begin[-1] == '#')
        begin--;
    *start = (size_t)(begin - path);
    *length = (size_t)(end - begin) + 1;
    return true;
}

bool lb_sequence_is_pattern(const char *path)
{
    return strchr(path, '#') != NULL;
}

char *lb_sequence_name(const char *pattern, int32_t frame)
{
    size_t start, run, digits, sign = frame < 0 ? 1 : 0, room;
    char number[16];
    char *name;

    if (!find_run(pattern, &start, &run))
        return lb_strdup(pattern);
    digits = (size_t)snprintf(number, sizeof number, "%lld", llabs((long long)frame));
    if (!lb_size_add(strlen(pattern), sizeof number + 1, &room) || !(name = lb_alloc(room, 1)))
        return NULL;
    memcpy(name, pattern, start);
    if (sign)
        name[start] = '-';
    for (size_t i = digits; i < run; i++)
        name[start + sign++] = '0';
    memcpy(name + start + sign, number, digits);
    strcpy(name + start + sign + digits, pattern + start + run);
    return name;
}

/* The frame in `name`, which is a `prefix`, a number and a `suffix`; false: it is not. */
static bool frame_of(const char *name, const char *prefix, size_t prefix_length, const char *suffix,
                     size_t suffix_length, int32_t *out)
{
    size_t length = strlen(name);
    const char *digit = name + prefix_length, *end;
    bool negative;
    int64_t frame = 0;

    if (length < prefix_length + suffix_length + 1 || memcmp(name, prefix, prefix_length) != 0 ||
        memcmp(name + length - suffix_length, suffix, suffix_length) != 0)
        return false;
    end = name + length - suffix_length;
    negative = *digit == '-';
    if (negative)
        digit++;
    if (digit == end)
        return false;
    for (; digit < end; digit++) {
        if (*digit < '0' || *digit > '9')
            return false;
        frame = frame * 10 + (*digit - '0');
        if (frame > INT32_MAX)
            return false;
    }
    *out = (int32_t)(negative ? -frame : frame);
    return true;
}

/* True if the pattern's name for that frame is there: "a.7.exr" is no frame of "a.####.exr". */
static bool is_there(const char *pattern, int32_t frame)
{
    char *name = lb_sequence_name(pattern, frame);
    bool there = name && lb_file_exists(name);

    lb_free(name);
    return there;
}

bool lb_sequence_hold(const char *pattern, int32_t frame, int32_t *out)
{
    size_t start, run, first, suffix_length;
    const char *slash, *suffix;
    bool found = false;
    char *folder;
    DIR *listing;

    if (!find_run(pattern, &start, &run)) {
        *out = frame;
        return lb_file_exists(pattern);
    }
    /* The component that has the run: from `first` to the end of `suffix`. */
    for (first = start; first > 0 && pattern[first - 1] != '/'; first--)
        ;
    suffix = pattern + start + run;
    slash = strchr(suffix, '/');
    suffix_length = slash ? (size_t)(slash - suffix) : strlen(suffix);
    folder = first ? lb_strndup(pattern, first) : lb_strdup(".");
    listing = folder ? opendir(folder) : NULL;
    lb_free(folder);
    if (!listing)
        return false;
    for (struct dirent *entry; (entry = readdir(listing)) != NULL;) {
        int32_t candidate;

        if (frame_of(entry->d_name, pattern + first, start - first, suffix, suffix_length,
                     &candidate) &&
            candidate <= frame && (!found || candidate > *out) && is_there(pattern, candidate)) {
            *out = candidate;
            found = true;
        }
    }
    closedir(listing);
    return found;
}
