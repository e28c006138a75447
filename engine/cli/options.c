/* engine/cli/options.c: the words of a command line, by a command's tables. */
#include "engine/cli/options.h"

#include <assert.h>
#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include "engine/cli/help.h"

#define MAX_OPTIONS 64
#define MAX_FRAMES 10000000
#define MAX_PIXELS 65536

/* ---- The tables ---- */

static const struct {
    size_t size;         /* of the field */
    const char *expects; /* a value that would do */
    const char *argument;
} types[] = {
    [LB_OPTION_FLAG] = {sizeof(bool), NULL, NULL},
    [LB_OPTION_TEXT] = {sizeof(const char *), "a value", "VALUE"},
    [LB_OPTION_TEXTS] = {sizeof(lb_texts), "a value", "VALUE"},
    [LB_OPTION_SETTINGS] = {sizeof(lb_settings), "NAME=VALUE", "NAME=VALUE"},
    [LB_OPTION_WORD] = {sizeof(int), NULL, NULL},
    [LB_OPTION_COUNT] = {sizeof(int32_t), "a whole number", "N"},
    [LB_OPTION_BYTES] = {sizeof(size_t), "bytes, such as 20G", "BYTES"},
    [LB_OPTION_SCALE] = {sizeof(double), "1/64 to 64", "SCALE"},
    [LB_OPTION_SIZE] = {sizeof(int32_t[2]), "WIDTHxHEIGHT in pixels", "WxH"},
    [LB_OPTION_SHARE] = {sizeof(int32_t[2]), "K/N with K from 1 to N", "K/N"},
    [LB_OPTION_FRAMES] = {sizeof(lb_frames), "a list such as 1-270,300", "LIST"},
};

static void join(const char *const *words, const char *between, char *buffer, size_t room)
{
    size_t at = 0;

    buffer[0] = 0;
    for (size_t i = 0; words[i] && at < room; i++)
        at += (size_t)snprintf(buffer + at, room - at, "%s%s", i ? between : "", words[i]);
}

const char *lb_option_argument(const lb_option *option, char *buffer, size_t room)
{
    if (option->argument || option->type != LB_OPTION_WORD)
        return option->argument ? option->argument : types[option->type].argument;
    join(option->words, "|", buffer, room);
    return buffer;
}

bool lb_option_repeats(const lb_option *option)
{
    return option->type == LB_OPTION_TEXTS || option->type == LB_OPTION_SETTINGS;
}

/* ---- One value ---- */

static bool parse_whole(const char *text, int32_t min, int32_t max, char ends, int32_t *out,
                        const char **end)
{
    char *after;
    long value;

    if (!(*text == '-' || (*text >= '0' && *text <= '9')))
        return false;
    value = strtol(text, &after, 10);
    if (after == text || *after != ends || value < min || value > max)
        return false;
    *out = (int32_t)value;
    *end = after;
    return true;
}

static bool parse_pair(const char *text, char between, int32_t max, int32_t out[2])
{
    const char *end;

    return parse_whole(text, 1, max, between, &out[0], &end) &&
           parse_whole(end + 1, 1, max, 0, &out[1], &end);
}

bool lb_frames_parse(const char *text, int32_t **out, int32_t *count)
{
    size_t capacity = 0;

    *out = NULL;
    *count = 0;
    for (;;) {
        char *end;
        long first, last;

        if (!(*text == '-' || (*text >= '0' && *text <= '9')))
            goto bad;
        first = last = strtol(text, &end, 10);
        if (end == text)
            goto bad;
        text = end;
        if (*text == '-') {
            last = strtol(text + 1, &end, 10);
            if (end == text + 1)
                goto bad;
            text = end;
        }
        if (last < first || first < -MAX_FRAMES || last > MAX_FRAMES)
            goto bad;
        for (long frame = first; frame <= last; frame++) {
            if (*count >= MAX_FRAMES ||
                !lb_grow((void **)out, &capacity, (size_t)*count, sizeof **out))
                goto bad;
            (*out)[(*count)++] = (int32_t)frame;
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

/* ---- Storing ---- */

static bool add_text(lb_texts *texts, const char *text)
{
    if (!lb_grow((void **)&texts->list, &texts->capacity, (size_t)texts->count,
                 sizeof *texts->list))
        return false;
    texts->list[texts->count++] = text;
    return true;
}

/* Cuts the text in two where it lies. */
static bool add_setting(lb_settings *settings, char *text)
{
    char *equals = strchr(text, '=');

    if (!equals || equals == text ||
        !lb_grow((void **)&settings->list, &settings->capacity, (size_t)settings->count,
                 sizeof *settings->list))
        return false;
    *equals = 0;
    settings->list[settings->count++] = (lb_setting){text, equals + 1};
    return true;
}

static bool find_word(const char *const *words, const char *text, int *out)
{
    for (int i = 0; words[i]; i++)
        if (!strcmp(words[i], text)) {
            *out = i;
            return true;
        }
    return false;
}

/* False: that value would not do. */
static bool store(const lb_option *option, char *value, void *options)
{
    void *field = (char *)options + option->offset;
    int32_t *pair = field;
    const char *end;
    size_t *bytes = field;

    assert(option->size == types[option->type].size);
    switch (option->type) {
    case LB_OPTION_FLAG:
        *(bool *)field = true;
        return true;
    case LB_OPTION_TEXT:
        *(const char **)field = value;
        return *value != 0;
    case LB_OPTION_TEXTS:
        return *value && add_text(field, value);
    case LB_OPTION_SETTINGS:
        return add_setting(field, value);
    case LB_OPTION_WORD:
        return find_word(option->words, value, field);
    case LB_OPTION_COUNT:
        return parse_whole(value, option->min, option->max ? option->max : INT32_MAX, 0, field,
                           &end);
    case LB_OPTION_BYTES:
        return lb_bytes_parse(value, bytes) && *bytes >= (size_t)option->min;
    case LB_OPTION_SCALE:
        return lb_scale_parse(value, field);
    case LB_OPTION_SIZE:
        return parse_pair(value, 'x', MAX_PIXELS, pair);
    case LB_OPTION_SHARE:
        return parse_pair(value, '/', INT32_MAX, pair) && pair[0] <= pair[1];
    case LB_OPTION_FRAMES:
        return lb_frames_parse(value, &((lb_frames *)field)->list, &((lb_frames *)field)->count);
    }
    return false;
}

void lb_options_clear(const lb_command *command, void *options)
{
    for (const lb_option *o = command->options; o && o->name; o++) {
        void *field = (char *)options + o->offset;

        if (o->type == LB_OPTION_TEXTS)
            lb_free(((lb_texts *)field)->list);
        else if (o->type == LB_OPTION_SETTINGS)
            lb_free(((lb_settings *)field)->list);
        else if (o->type == LB_OPTION_FRAMES)
            lb_free(((lb_frames *)field)->list);
    }
    for (const lb_operand *o = command->operands; o && o->name; o++)
        if (o->max != 1)
            lb_free(((lb_texts *)(void *)((char *)options + o->offset))->list);
    memset(options, 0, command->options_size);
}

/* ---- Messages ---- */

void lb_options_wrong(const lb_command *command, const char *format, va_list args)
{
    lb_text text = {0};

    fprintf(stderr, "lampblack %s: ", command->name);
    vfprintf(stderr, format, args);
    lb_help_usage(&text, command, true);
    fprintf(stderr, "\n%s'lampblack %s --help' tells more\n", text.bytes ? text.bytes : "",
            command->name);
    lb_text_clear(&text);
}

static bool wrong(const lb_command *command, const char *format, ...) LB_PRINTF(2, 3);

/* False, for whoever asked. */
static bool wrong(const lb_command *command, const char *format, ...)
{
    va_list args;

    va_start(args, format);
    lb_options_wrong(command, format, args);
    va_end(args);
    return false;
}

static bool wrong_name(const lb_command *command, const char *word)
{
    const char *names[MAX_OPTIONS + 1], *nearest;
    char given[128];
    size_t count = 0;

    snprintf(given, sizeof given, "%.*s", (int)strcspn(word, "="), word);
    for (const lb_option *o = command->options; o && o->name && count < MAX_OPTIONS; o++)
        names[count++] = o->name;
    names[count++] = "--help";
    nearest = lb_text_nearest(given, names, count);
    return wrong(command, "there is no option '%s'%s%s%s", given, nearest ? "; did you mean '" : "",
                 nearest ? nearest : "", nearest ? "'?" : "");
}

static bool wrong_word(const lb_command *command, const char *name, const char *const *words,
                       const char *value)
{
    char all[256];
    size_t count = 0;
    const char *nearest = NULL;

    while (words[count])
        count++;
    if (value)
        nearest = lb_text_nearest(value, words, count);
    join(words, ", ", all, sizeof all);
    return wrong(command, "%s is one of %s%s%s%s%s%s%s", name, all, value ? "; not '" : "",
                 value ? value : "", value ? "'" : "", nearest ? "; did you mean '" : "",
                 nearest ? nearest : "", nearest ? "'?" : "");
}

/* NULL: there is none. */
static bool wrong_value(const lb_command *command, const lb_option *option, const char *value)
{
    const char *expects = option->expects ? option->expects : types[option->type].expects;

    if (option->type == LB_OPTION_WORD)
        return wrong_word(command, option->name, option->words, value);
    return wrong(command, "%s takes %s%s%s%s", option->name, expects, value ? ", not '" : "",
                 value ? value : "", value ? "'" : "");
}

/* ---- All words ---- */

static const lb_option *find_option(const lb_command *command, const char *word)
{
    size_t bytes = strcspn(word, "=");

    for (const lb_option *o = command->options; o && o->name; o++)
        if (strlen(o->name) == bytes && !strncmp(o->name, word, bytes))
            return o;
    return NULL;
}

/* The option at argv[*at], and its value, which may be the next word. */
static bool take_option(const lb_command *command, int argc, char **argv, int *at, bool *seen,
                        void *options)
{
    const lb_option *option = find_option(command, argv[*at]);
    char *value = strchr(argv[*at], '=');
    size_t which = option ? (size_t)(option - command->options) : 0;

    if (!option)
        return wrong_name(command, argv[*at]);
    assert(which < MAX_OPTIONS);
    if (seen[which] && !lb_option_repeats(option))
        return wrong(command, "%s is given twice", option->name);
    seen[which] = true;
    if (value)
        value++;
    if (option->type == LB_OPTION_FLAG) {
        if (value)
            return wrong(command, "%s takes no value, and '%s' is one", option->name, value);
    } else if (!value) {
        /* The next option is no value: whoever means it so writes "--name=--value". */
        if (*at + 1 == argc || !strcmp(argv[*at + 1], "--") ||
            (argv[*at + 1][0] == '-' && find_option(command, argv[*at + 1])))
            return wrong_value(command, option, NULL);
        value = argv[++*at];
    }
    return store(option, value, options) || wrong_value(command, option, value);
}

static bool store_operand(const lb_command *command, const lb_operand *operand, const char *word,
                          void *options)
{
    void *field = (char *)options + operand->offset;
    int which;

    assert(operand->size == (operand->max == 1 ? sizeof(const char *) : sizeof(lb_texts)));
    if (operand->words && !find_word(operand->words, word, &which))
        return wrong_word(command, operand->name, operand->words, word);
    if (operand->max != 1)
        return add_text(field, word) || wrong(command, "no memory");
    *(const char **)field = word;
    return true;
}

/* Each operand takes what it may, and leaves the next ones what they must have. */
static bool take_operands(const lb_command *command, char *const *words, int32_t count,
                          void *options)
{
    int32_t at = 0;

    for (const lb_operand *o = command->operands; o && o->name; o++) {
        int32_t later = 0, taken = 0;

        for (const lb_operand *next = o + 1; next->name; next++)
            later += next->min;
        while (at < count &&
               (taken < o->min || ((!o->max || taken < o->max) && count - at > later)))
            if (!store_operand(command, o, words[taken++, at++], options))
                return false;
        if (taken < o->min)
            return wrong(command, "which %s?", o->name);
    }
    return at == count || wrong(command, "'%s' is one word too many", words[at]);
}

bool lb_options_parse(const lb_command *command, int argc, char **argv, void *options)
{
    bool seen[MAX_OPTIONS] = {false}, has_ended = false, good = true;
    char **operands = lb_alloc((size_t)argc, sizeof *operands);
    int32_t count = 0;

    if (command->initial)
        memcpy(options, command->initial, command->options_size);
    else
        memset(options, 0, command->options_size);
    if (!operands)
        return wrong(command, "no memory");
    for (int i = 1; i < argc && good; i++) {
        if (has_ended || argv[i][0] != '-' || !argv[i][1])
            operands[count++] = argv[i];
        else if (!strcmp(argv[i], "--"))
            has_ended = true;
        else
            good = take_option(command, argc, argv, &i, seen, options);
    }
    good = good && take_operands(command, operands, count, options);
    lb_free(operands);
    return good;
}
