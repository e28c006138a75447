/* engine/scene/scan.c: lines, words and numbers of text formats. */
#include "engine/scene/scan.h"

#include <math.h>
#include <string.h>

#include "engine/base/text.h"

lb_scan lb_scan_of(const void *bytes, size_t count, bool joins)
{
    const char *at = bytes;

    if (count >= 3 && memcmp(at, "\xEF\xBB\xBF", 3) == 0)
        return (lb_scan){at + 3, at + count, 1, joins};
    return (lb_scan){at, at + count, 1, joins};
}

static bool is_break(char c)
{
    return c == '\n' || c == '\r';
}

static bool is_blank(char c)
{
    return c == ' ' || c == '\t' || c == '\v' || c == '\f';
}

/* How long the end of a line at `at` is: 0, 1 or 2. */
static size_t break_length(const char *at, const char *end)
{
    if (at == end || !is_break(*at))
        return 0;
    return *at == '\r' && end - at > 1 && at[1] == '\n' ? 2 : 1;
}

/* Passes a backslash and the end of the line behind it. */
static bool pass_join(lb_scan *scan)
{
    size_t length;

    if (!scan->joins || scan->at == scan->end || *scan->at != '\\')
        return false;
    if ((length = break_length(scan->at + 1, scan->end)) == 0)
        return false;
    scan->at += 1 + length;
    scan->line++;
    return true;
}

void lb_scan_next_line(lb_scan *scan)
{
    while (scan->at < scan->end && !is_break(*scan->at))
        if (!pass_join(scan))
            scan->at++;
    if (scan->at < scan->end) {
        scan->at += break_length(scan->at, scan->end);
        scan->line++;
    }
}

bool lb_scan_more(lb_scan *scan)
{
    while (scan->at < scan->end && (is_blank(*scan->at) || *scan->at == '\\')) {
        if (*scan->at == '\\' && !pass_join(scan))
            return true;
        else if (scan->at < scan->end && is_blank(*scan->at))
            scan->at++;
    }
    return scan->at < scan->end && !is_break(*scan->at);
}

static bool ends_word(const lb_scan *scan)
{
    char c = *scan->at;

    return is_blank(c) || is_break(c) ||
           (c == '\\' && scan->joins && break_length(scan->at + 1, scan->end) > 0);
}

lb_word lb_scan_word(lb_scan *scan)
{
    lb_word word = {scan->at, 0};

    if (!lb_scan_more(scan))
        return word;
    word.at = scan->at;
    while (scan->at < scan->end && !ends_word(scan))
        scan->at++;
    word.count = (size_t)(scan->at - word.at);
    return word;
}

lb_word lb_scan_word_anywhere(lb_scan *scan)
{
    while (scan->at < scan->end && !lb_scan_more(scan))
        lb_scan_next_line(scan);
    return lb_scan_word(scan);
}

lb_word lb_scan_rest(lb_scan *scan)
{
    lb_word word = {scan->at, 0};

    if (!lb_scan_more(scan))
        return word;
    word.at = scan->at;
    while (scan->at < scan->end && !is_break(*scan->at) && !(*scan->at == '\\' && ends_word(scan)))
        scan->at++;
    word.count = (size_t)(scan->at - word.at);
    while (word.count > 0 && is_blank(word.at[word.count - 1]))
        word.count--;
    return word;
}

bool lb_word_is(lb_word word, const char *text)
{
    return strlen(text) == word.count && memcmp(text, word.at, word.count) == 0;
}

static char small(char c)
{
    return c >= 'A' && c <= 'Z' ? (char)(c - 'A' + 'a') : c;
}

bool lb_word_is_like(lb_word word, const char *text)
{
    if (strlen(text) != word.count)
        return false;
    for (size_t i = 0; i < word.count; i++)
        if (small(text[i]) != small(word.at[i]))
            return false;
    return true;
}

/* ---- Numbers ---- */

__extension__ typedef unsigned __int128 wide;

#define MOST_DIGITS 19 /* of decimal: always below 2^64 */

static const uint64_t tens[MOST_DIGITS + 1] = {
    1,
    10,
    100,
    1000,
    10000,
    100000,
    1000000,
    10000000,
    100000000,
    1000000000,
    10000000000,
    100000000000,
    1000000000000,
    10000000000000,
    100000000000000,
    1000000000000000,
    10000000000000000,
    100000000000000000,
    1000000000000000000,
    10000000000000000000u,
};

/* digits * 10^exponent, rounded once; false where that takes more than this. Up to 2^53 and 10^19
 * both are doubles, so that one IEEE 754 operation rounds rightly (Clinger, "How to read floating
 * point numbers accurately", PLDI 1990). Else a product of 128 bits is exact, and a quotient of 64
 * bits or more with what is left over in its last bit rounds as the exact one does. */
static bool compose(uint64_t digits, int64_t exponent, double *out)
{
    int shift;
    wide quotient;

    if (digits == 0) {
        *out = 0;
        return true;
    }
    if (exponent < -MOST_DIGITS || exponent > MOST_DIGITS)
        return false;
    if (digits <= (uint64_t)1 << 53) {
        *out = exponent < 0 ? (double)digits / (double)tens[-exponent]
                            : (double)digits * (double)tens[exponent];
        return true;
    }
    if (exponent >= 0) {
        *out = (double)((wide)digits * tens[exponent]);
        return true;
    }
    shift = __builtin_clzll(digits);
    quotient = (wide)(digits << shift) << 64;
    quotient = quotient / tens[-exponent] | (quotient % tens[-exponent] != 0);
    *out = ldexp((double)quotient, -64 - shift);
    return true;
}

typedef struct {
    uint64_t digits;
    int64_t exponent;
    bool is_exact; /* no digit but 0 had to be left out */
} decimal;

/* [0-9]* ( . [0-9]* )? ( [eE] [-+]? [0-9]+ )? with a digit before the exponent. */
static bool read_decimal(const char *at, const char *end, decimal *out)
{
    int64_t power = 0;
    int count = 0;
    bool has_digit = false, has_point = false, is_negative;

    *out = (decimal){0, 0, true};
    for (; at < end && ((*at >= '0' && *at <= '9') || (*at == '.' && !has_point)); at++) {
        if (*at == '.') {
            has_point = true;
            continue;
        }
        has_digit = true;
        if (count < MOST_DIGITS) {
            out->digits = out->digits * 10 + (uint64_t)(*at - '0');
            count += out->digits > 0;
            out->exponent -= has_point;
        } else {
            out->is_exact = out->is_exact && *at == '0';
            out->exponent += !has_point;
        }
    }
    if (!has_digit || at == end || (*at != 'e' && *at != 'E'))
        return has_digit && at == end;
    at++;
    is_negative = at < end && *at == '-';
    at += at < end && (*at == '-' || *at == '+');
    if (at == end)
        return false;
    for (; at < end && *at >= '0' && *at <= '9'; at++)
        power = power < 100000 ? power * 10 + (*at - '0') : power;
    out->exponent += is_negative ? -power : power;
    return at == end;
}

lb_numeral lb_word_number(lb_word word, double *out)
{
    const char *at = word.at, *end = word.at + word.count;
    bool is_negative = at < end && *at == '-';
    lb_word body;
    decimal d;

    at += at < end && (*at == '-' || *at == '+');
    if (read_decimal(at, end, &d)) {
        if (!d.is_exact || !compose(d.digits, d.exponent, out)) {
            /* Longer than anybody writes: by the general way, which has a limit of its own. */
            if (!lb_text_number(at, (size_t)(end - at), out))
                return LB_NUMERAL_NONE;
        }
        *out = is_negative ? -*out : *out;
        return isfinite(*out) ? LB_NUMERAL_FINITE : LB_NUMERAL_NOT_FINITE;
    }
    body = (lb_word){at, (size_t)(end - at)};
    if (lb_word_is_like(body, "nan") || lb_word_is_like(body, "inf") ||
        lb_word_is_like(body, "infinity")) {
        *out = NAN;
        return LB_NUMERAL_NOT_FINITE;
    }
    return LB_NUMERAL_NONE;
}

bool lb_word_whole(lb_word word, int64_t *out)
{
    const char *at = word.at, *end = word.at + word.count;
    bool is_negative = at < end && *at == '-';
    int64_t value = 0;

    at += at < end && (*at == '-' || *at == '+');
    if (at == end)
        return false;
    for (; at < end; at++) {
        if (*at < '0' || *at > '9' || value > (INT64_MAX - 9) / 10)
            return false;
        value = value * 10 + (*at - '0');
    }
    *out = is_negative ? -value : value;
    return true;
}
