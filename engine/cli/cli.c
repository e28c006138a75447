/* engine/cli/cli.c: what the commands share. */
#include "engine/cli/cli.h"

#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "engine/base/text.h"
#include "nodes/nodes.h"

#define MAX_FRAMES 10000000

int lb_exit_of(lb_status status)
{
    switch (status) {
    case LB_OK:
        return LB_EXIT_GOOD;
    case LB_INVALID:
    case LB_FORMAT:
    case LB_UNSUPPORTED:
    case LB_LIMIT:
        return LB_EXIT_NO;
    default:
        return LB_EXIT_TROUBLE;
    }
}

int lb_usage(const lb_command *command, const char *format, ...)
{
    va_list args;

    fprintf(stderr, "lampblack %s: ", command->name);
    va_start(args, format);
    vfprintf(stderr, format, args);
    va_end(args);
    fprintf(stderr, "\nusage: lampblack %s\n", command->usage);
    return LB_EXIT_TROUBLE;
}

void lb_print_messages(lb_diag *diag)
{
    const char *no_color = getenv("NO_COLOR");
    bool color = isatty(STDERR_FILENO) && !(no_color && *no_color);
    char *text = NULL;
    size_t size = 0;
    FILE *memory = open_memstream(&text, &size); /* standard error writes every byte by itself */

    lb_diag_print(diag, memory ? memory : stderr, color);
    if (memory && fclose(memory) == 0)
        fwrite(text, 1, size, stderr);
    free(text);
}

bool lb_option(int argc, char **argv, int *at, const char *name, const char **value)
{
    size_t length = strlen(name);

    if (strncmp(argv[*at], name, length) != 0)
        return false;
    if (argv[*at][length] == '=') {
        *value = argv[*at] + length + 1;
        return true;
    }
    if (argv[*at][length] != 0)
        return false;
    *value = *at + 1 < argc ? argv[++*at] : NULL;
    return true;
}

const char *lb_setting_add(lb_setting *settings, int32_t *count, char *text)
{
    char *equals = strchr(text, '=');

    if (!equals || equals == text)
        return "--set takes NAME=VALUE";
    if (*count == LB_MAX_SETTINGS)
        return "too many --set";
    *equals = 0;
    settings[(*count)++] = (lb_setting){text, equals + 1};
    return NULL;
}

const char *lb_object_add(const char **paths, int32_t *count, const char *path)
{
    if (!path || !*path)
        return "--operators takes a shared object";
    if (*count == LB_MAX_OBJECTS)
        return "too many --operators";
    paths[(*count)++] = path;
    return NULL;
}

lb_status lb_operators_open(lb_diag *diag, const char *const *paths, int32_t count,
                            lb_operators **out)
{
    lb_status status = lb_operators_new(lb_nodes_registry, out);

    if (status != LB_OK)
        return lb_fail(diag, status, LB_NOWHERE, "no memory");
    for (int32_t i = 0; i < count && status == LB_OK; i++)
        status = lb_operators_load(*out, diag, LB_NOWHERE, paths[i]);
    if (status != LB_OK)
        lb_operators_free(out);
    return status;
}

static bool parse_int(const char **text, int32_t *out)
{
    char *end;
    long value;

    if (!(**text == '-' || (**text >= '0' && **text <= '9')))
        return false;
    value = strtol(*text, &end, 10);
    if (end == *text || value < -MAX_FRAMES || value > MAX_FRAMES)
        return false;
    *text = end;
    *out = (int32_t)value;
    return true;
}

bool lb_frames_parse(const char *text, int32_t **out, int32_t *count)
{
    size_t capacity = 0;

    *out = NULL;
    *count = 0;
    for (;;) {
        int32_t first, last;

        if (!parse_int(&text, &first))
            goto bad;
        last = first;
        if (*text == '-') {
            text++;
            if (!parse_int(&text, &last) || last < first)
                goto bad;
        }
        for (int32_t frame = first; frame <= last; frame++) {
            if (*count >= MAX_FRAMES ||
                !lb_grow((void **)out, &capacity, (size_t)*count, sizeof **out))
                goto bad;
            (*out)[(*count)++] = frame;
        }
        if (!*text)
            return true;
        if (*text++ != ',')
            goto bad;
    }
bad:
    lb_free(*out);
    *out = NULL;
    *count = 0;
    return false;
}

bool lb_bytes_parse(const char *text, size_t *out)
{
    static const char units[] = "KMGT";
    const char *unit;
    char *end;
    double value = strtod(text, &end);

    if (end == text || !(value >= 0))
        return false;
    if (*end && (unit = strchr(units, *end >= 'a' ? *end - 32 : *end))) {
        value *= ldexp(1, 10 * (int)(unit - units + 1));
        end++;
        if (*end == 'i')
            end++;
        if (*end == 'B')
            end++;
    }
    if (*end || value > ldexp(1, 50))
        return false;
    *out = (size_t)value;
    return true;
}

bool lb_scale_parse(const char *text, double *out)
{
    char *end;
    double value = strtod(text, &end), below = 1;

    if (end == text)
        return false;
    if (*end == '/') {
        const char *from = end + 1;

        below = strtod(from, &end);
        if (end == from)
            return false;
    }
    *out = value / below;
    return *end == 0 && *out >= 1.0 / 64 && *out <= 64;
}
