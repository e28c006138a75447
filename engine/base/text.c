/* engine/base/text.c: growing strings, UTF-8, nearest names. Numbers are in text_number.c. */
#include "engine/base/text.h"

#include <stdarg.h>
#include <string.h>

/* Makes room for `count` more bytes and a NUL. */
static bool reserve(lb_text *text, size_t count)
{
    size_t needed, wanted;
    char *grown;

    if (text->failed)
        return false;
    if (!lb_size_add(text->length, count, &needed) || !lb_size_add(needed, 1, &needed)) {
        text->failed = true;
        return false;
    }
    if (needed <= text->capacity)
        return true;
    wanted = text->capacity + text->capacity / 2;
    if (wanted < 64)
        wanted = 64;
    if (wanted < needed)
        wanted = needed;
    grown = lb_realloc(text->bytes, wanted, 1);
    if (!grown) {
        text->failed = true;
        return false;
    }
    text->bytes = grown;
    text->capacity = wanted;
    return true;
}

void lb_text_add(lb_text *text, const char *bytes, size_t count)
{
    if (!reserve(text, count))
        return;
    if (count)
        memcpy(text->bytes + text->length, bytes, count);
    text->length += count;
    text->bytes[text->length] = 0;
}

void lb_text_put(lb_text *text, const char *string)
{
    lb_text_add(text, string, strlen(string));
}

void lb_text_printf(lb_text *text, const char *format, ...)
{
    va_list args;
    int length;

    va_start(args, format);
    length = vsnprintf(NULL, 0, format, args);
    va_end(args);
    if (length < 0) {
        text->failed = true;
        return;
    }
    if (!reserve(text, (size_t)length))
        return;
    va_start(args, format);
    vsnprintf(text->bytes + text->length, (size_t)length + 1, format, args);
    va_end(args);
    text->length += (size_t)length;
}

void lb_text_json(lb_text *text, const char *string)
{
    size_t bytes, at = 0;

    if (!string) {
        lb_text_put(text, "null");
        return;
    }
    bytes = strlen(string);
    lb_text_put(text, "\"");
    while (at < bytes && !text->failed) {
        size_t begin = at;
        uint32_t c = lb_utf8_next(string, bytes, &at);
        if (c == '"' || c == '\\')
            lb_text_printf(text, "\\%c", (int)c);
        else if (c == '\n')
            lb_text_put(text, "\\n");
        else if (c == '\t')
            lb_text_put(text, "\\t");
        else if (c < 0x20 || c == 0x7f)
            lb_text_printf(text, "\\u%04x", (unsigned)c);
        else if (c == 0xfffd)
            lb_text_put(text, "\xef\xbf\xbd"); /* also for what was broken */
        else
            lb_text_add(text, string + begin, at - begin);
    }
    lb_text_put(text, "\"");
}

void lb_text_clear(lb_text *text)
{
    lb_free(text->bytes);
    *text = (lb_text){0};
}

/* Longer names are too different to be a slip of the finger, and would cost their product. */
#define DISTANCE_MOST 512

static size_t least(size_t a, size_t b)
{
    return a < b ? a : b;
}

/* Optimal string alignment: Damerau (1964), "A technique for computer detection and correction of
 * spelling errors", by the table of Wagner and Fischer (1974), of which three rows are kept. */
size_t lb_text_distance(const char *a, const char *b)
{
    size_t rows[3][DISTANCE_MOST + 1];
    size_t length_a = strlen(a), length_b = strlen(b);

    if (length_a > DISTANCE_MOST || length_b > DISTANCE_MOST)
        return strcmp(a, b) == 0 ? 0 : (length_a > length_b ? length_a : length_b);
    for (size_t j = 0; j <= length_b; j++)
        rows[0][j] = j;
    for (size_t i = 1; i <= length_a; i++) {
        size_t *now = rows[i % 3], *before = rows[(i + 2) % 3], *swap = rows[(i + 1) % 3];
        now[0] = i;
        for (size_t j = 1; j <= length_b; j++) {
            size_t replaced = before[j - 1] + (a[i - 1] != b[j - 1]);
            now[j] = least(least(before[j], now[j - 1]) + 1, replaced);
            if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1])
                now[j] = least(now[j], swap[j - 2] + 1);
        }
    }
    return rows[length_a % 3][length_b];
}

const char *lb_text_nearest(const char *name, const char *const *candidates, size_t count)
{
    const char *nearest = NULL;
    size_t least_distance = SIZE_MAX, length = strlen(name);

    for (size_t i = 0; i < count; i++) {
        size_t other, longer, limit, distance;
        if (!candidates[i])
            continue;
        other = strlen(candidates[i]);
        longer = other > length ? other : length;
        limit = longer / 3 > 1 ? longer / 3 : 1;
        if (longer - least(other, length) > limit || longer > DISTANCE_MOST)
            continue;
        distance = lb_text_distance(name, candidates[i]);
        if (distance <= limit && distance < least_distance) {
            least_distance = distance;
            nearest = candidates[i];
        }
    }
    return nearest;
}

/* One sequence by table 3-7 of the Unicode Standard, section 3.9. False: ill-formed, and *at has
 * gone past the longest part that could have been the start of one (section 3.9, "U+FFFD
 * substitution of maximal subparts"). */
static bool decode(const char *text, size_t bytes, size_t *at, uint32_t *out)
{
    const unsigned char *p = (const unsigned char *)text;
    uint32_t first = p[(*at)++], code;
    uint32_t low = 0x80, high = 0xbf;
    int more;

    *out = first;
    if (first < 0x80)
        return true;
    if (first < 0xc2 || first > 0xf4)
        return false;
    more = first < 0xe0 ? 1 : first < 0xf0 ? 2 : 3;
    code = first & (0x3fu >> more);
    if (first == 0xe0)
        low = 0xa0; /* shorter forms exist */
    if (first == 0xed)
        high = 0x9f; /* surrogates */
    if (first == 0xf0)
        low = 0x90;
    if (first == 0xf4)
        high = 0x8f; /* above U+10FFFF */
    for (; more > 0; more--) {
        if (*at >= bytes || p[*at] < low || p[*at] > high)
            return false;
        code = code << 6 | (p[(*at)++] & 0x3fu);
        low = 0x80;
        high = 0xbf;
    }
    *out = code;
    return true;
}

uint32_t lb_utf8_next(const char *text, size_t bytes, size_t *at)
{
    uint32_t code;

    return decode(text, bytes, at, &code) ? code : 0xfffd;
}

bool lb_utf8_is_valid(const char *text, size_t bytes)
{
    size_t at = 0;
    uint32_t code;

    while (at < bytes)
        if (!decode(text, bytes, &at, &code))
            return false;
    return true;
}
