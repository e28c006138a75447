/* engine/base/path.c: taking paths apart and putting them together. */
#include <string.h>

#include "engine/base/file.h"

char *lb_path_join(const char *base, const char *name)
{
    size_t base_length, name_length, room;
    bool needs_slash;
    char *path;

    if (name[0] == '/' || !base || !*base || strcmp(base, ".") == 0)
        return lb_strdup(name);
    base_length = strlen(base);
    name_length = strlen(name);
    needs_slash = base[base_length - 1] != '/';
    if (!lb_size_add(base_length, name_length, &room) || !lb_size_add(room, 2, &room) ||
        !(path = lb_alloc(room, 1)))
        return NULL;
    memcpy(path, base, base_length);
    if (needs_slash)
        path[base_length++] = '/';
    memcpy(path + base_length, name, name_length);
    return path;
}

char *lb_path_folder(const char *path)
{
    const char *slash = strrchr(path, '/');

    if (!slash)
        return lb_strdup(".");
    while (slash > path && slash[-1] == '/')
        slash--;
    if (slash == path)
        return lb_strdup("/");
    return lb_strndup(path, (size_t)(slash - path));
}

const char *lb_path_extension(const char *path)
{
    const char *slash = strrchr(path, '/');
    const char *name = slash ? slash + 1 : path;
    const char *dot = strrchr(name, '.');

    return dot && dot > name ? dot + 1 : "";
}
