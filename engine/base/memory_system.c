/* engine/base/memory_system.c: how much memory there is. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "engine/base/memory.h"

#define UNKNOWN ((size_t)4 << 30)

/* The number behind `key` in a file of lines; without a key the file's first number. False: not
 * there, or "max". */
static bool read_number(const char *path, const char *key, size_t *out)
{
    FILE *file = fopen(path, "re");
    char line[256];
    bool found = false;

    while (file && !found && fgets(line, sizeof line, file)) {
        const char *at = line;
        char *end;
        unsigned long long value;

        if (key && strncmp(line, key, strlen(key)) != 0)
            continue;
        at += key ? strlen(key) : 0;
        value = strtoull(at, &end, 10);
        found = end != at;
        *out = (size_t)value;
    }
    if (file)
        fclose(file);
    return found;
}

/* What a limit leaves, if that is less. */
static size_t least(size_t room, size_t most, size_t now)
{
    size_t left = most > now ? most - now : 0;

    return left < room ? left : room;
}

size_t lb_memory_of_system(void)
{
    size_t room = UNKNOWN, most, now;

    if (read_number("/proc/meminfo", "MemAvailable:", &room))
        room *= 1024;
    /* Control groups, version 2 and 1, as a container sees its own. */
    if (read_number("/sys/fs/cgroup/memory.max", NULL, &most) &&
        read_number("/sys/fs/cgroup/memory.current", NULL, &now) && most > now && most - now < room)
        room = most - now;
    if (read_number("/sys/fs/cgroup/memory/memory.limit_in_bytes", NULL, &most) &&
        read_number("/sys/fs/cgroup/memory/memory.usage_in_bytes", NULL, &now))
        room = least(room, most, now);
    return room;
}

size_t lb_memory_resident(void)
{
    size_t kibibytes = 0;

    return read_number("/proc/self/status", "VmRSS:", &kibibytes) ? kibibytes * 1024 : 0;
}
