/* engine/base/text_number.c: numbers to text and back, whatever the locale. */
#include <locale.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "engine/base/text.h"

#define NUMBER_MOST 1100 /* bytes: every digit of the smallest double fits; more is refused */

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static size_t skip_digits(const char *text, size_t bytes, size_t at)
{
    while (at < bytes && is_digit(text[at]))
        at++;
    return at;
}

/* [-+]? ( \. [0-9]+ | [0-9]+ ( \. [0-9]* )? ) ( [eE] [-+]? [0-9]+ )?
 * YAML 1.2.2, section 10.3.2; its decimal integers have this form too. */
static bool is_decimal(const char *text, size_t bytes)
{
    size_t at = 0, begin;

    if (at < bytes && (text[at] == '-' || text[at] == '+'))
        at++;
    begin = at;
    at = skip_digits(text, bytes, at);
    if (at < bytes && text[at] == '.') {
        bool has_whole = at > begin;
        size_t after = skip_digits(text, bytes, at + 1);
        if (!has_whole && after == at + 1)
            return false;
        at = after;
    } else if (at == begin) {
        return false;
    }
    if (at < bytes && (text[at] == 'e' || text[at] == 'E')) {
        at++;
        if (at < bytes && (text[at] == '-' || text[at] == '+'))
            at++;
        begin = at;
        at = skip_digits(text, bytes, at);
        if (at == begin)
            return false;
    }
    return at == bytes;
}

static bool read_decimal(const char *text, size_t bytes, double *out)
{
    char copy[NUMBER_MOST + 1];
    locale_t plain = newlocale(LC_ALL_MASK, "C", (locale_t)0);

    if (!plain)
        return false;
    memcpy(copy, text, bytes);
    copy[bytes] = 0;
    *out = strtod_l(copy, NULL, plain);
    freelocale(plain);
    return true;
}

static int digit_of(char c)
{
    if (is_digit(c))
        return c - '0';
    if (c >= 'a' && c <= 'f')
        return c - 'a' + 10;
    if (c >= 'A' && c <= 'F')
        return c - 'A' + 10;
    return 16;
}

/* Digits of `bits` bits each. Once the top of the word is reached, what is shifted out is kept as
 * one sticky bit far below the 53 that a double holds, so that the conversion rounds rightly. */
static bool read_binary(const char *text, size_t bytes, int bits, double *out)
{
    uint64_t value = 0;
    int exponent = 0;

    for (size_t i = 0; i < bytes; i++) {
        int digit = digit_of(text[i]);
        if (digit >= 1 << bits)
            return false;
        if (value >> (64 - bits)) {
            exponent += bits;
            value |= digit != 0;
        } else {
            value = value << bits | (uint64_t)digit;
        }
    }
    *out = ldexp((double)value, exponent);
    return bytes > 0;
}

static bool is_word(const char *text, size_t bytes, const char *word)
{
    return strlen(word) == bytes && memcmp(text, word, bytes) == 0;
}

static bool read_special(const char *text, size_t bytes, double *out)
{
    double sign = 1;

    if (is_word(text, bytes, ".nan") || is_word(text, bytes, ".NaN") ||
        is_word(text, bytes, ".NAN")) {
        *out = NAN;
        return true;
    }
    if (bytes && (text[0] == '-' || text[0] == '+')) {
        sign = text[0] == '-' ? -1 : 1;
        text++;
        bytes--;
    }
    if (!is_word(text, bytes, ".inf") && !is_word(text, bytes, ".Inf") &&
        !is_word(text, bytes, ".INF"))
        return false;
    *out = sign * INFINITY;
    return true;
}

bool lb_text_number(const char *text, size_t bytes, double *out)
{
    double value;
    bool is_number;

    if (!text || bytes == 0 || bytes > NUMBER_MOST)
        return false;
    if (is_decimal(text, bytes))
        is_number = read_decimal(text, bytes, &value);
    else if (bytes > 2 && text[0] == '0' && text[1] == 'x')
        is_number = read_binary(text + 2, bytes - 2, 4, &value);
    else if (bytes > 2 && text[0] == '0' && text[1] == 'o')
        is_number = read_binary(text + 2, bytes - 2, 3, &value);
    else
        is_number = read_special(text, bytes, &value);
    if (is_number)
        *out = value;
    return is_number;
}

/* Prints with `digits` digits and puts '.' for whatever the locale has between the digits. */
static void print_digits(double value, int digits, char *buffer)
{
    char raw[64];
    size_t length = 0;
    bool in_point = false;

    snprintf(raw, sizeof raw, "%.*g", digits, value);
    for (const char *c = raw; *c && length < 31; c++) {
        bool is_plain = is_digit(*c) || *c == '-' || *c == '+' || *c == 'e';
        if (is_plain)
            buffer[length++] = *c;
        else if (!in_point)
            buffer[length++] = '.';
        in_point = !is_plain;
    }
    buffer[length] = 0;
}

const char *lb_text_from_number(double value, char *buffer)
{
    if (isnan(value))
        return strcpy(buffer, ".nan");
    if (isinf(value))
        return strcpy(buffer, value < 0 ? "-.inf" : ".inf");
    for (int digits = 15; digits <= 17; digits++) {
        double back;
        print_digits(value, digits, buffer);
        if (lb_text_number(buffer, strlen(buffer), &back) && back == value)
            break;
    }
    return buffer;
}
