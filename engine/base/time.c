/* engine/base/time.c: rates, timecode, the clock. */
#include "engine/base/time.h"

#include <math.h>
#include <string.h>
#include <time.h>

/* Digits at *text, moved on; false: none, or too many to count. */
static bool read_digits(const char **text, int64_t *value, int *digits)
{
    *digits = 0;
    for (; **text >= '0' && **text <= '9'; ++*text, ++*digits) {
        if (*value > INT64_C(1000000000000))
            return false;
        *value = *value * 10 + (**text - '0');
    }
    return true;
}

static int64_t common_divisor(int64_t a, int64_t b)
{
    while (b) {
        int64_t rest = a % b;
        a = b;
        b = rest;
    }
    return a;
}

/* In lowest terms, if it is in range. */
static bool make_rate(int64_t num, int64_t den, lb_rate *out)
{
    int64_t divisor;

    if (num <= 0 || den <= 0)
        return false;
    divisor = common_divisor(num, den);
    num /= divisor;
    den /= divisor;
    if (num > INT32_MAX || den > INT32_MAX || (double)num / (double)den > 100000.0 ||
        (double)num / (double)den < 1.0 / 1000.0)
        return false;
    *out = (lb_rate){(int32_t)num, (int32_t)den};
    return true;
}

bool lb_rate_parse(const char *text, lb_rate *out)
{
    static const int64_t usual[] = {24, 30, 48, 60, 72, 96, 120, 240};
    int64_t num = 0, den = 1;
    int whole, more = 0;

    if (!text || !read_digits(&text, &num, &whole))
        return false;
    if (whole && *text == '/') {
        text++;
        den = 0;
        return read_digits(&text, &den, &more) && more && !*text && make_rate(num, den, out);
    }
    if (*text == '.') {
        text++;
        if (!read_digits(&text, &num, &more) || more > 9)
            return false;
    }
    if (*text || whole + more == 0)
        return false;
    for (int i = 0; i < more; i++)
        den *= 10;
    for (size_t i = 0; i < sizeof usual / sizeof usual[0] && num % den; i++)
        if (fabs((double)num / (double)den - (double)(usual[i] * 1000) / 1001.0) <= 1e-3)
            return make_rate(usual[i] * 1000, 1001, out);
    return make_rate(num, den, out);
}

double lb_frame_time(double frame, int32_t first, lb_rate rate)
{
    return (frame - first) * rate.den / rate.num;
}

typedef struct timecode {
    int hours, minutes, seconds, frames;
    int per_second; /* frames counted in a second: the rate rounded */
    bool drop;
} timecode;

/* SMPTE ST 12-1: with drop frame the first two numbers (four at 60000/1001) of every minute that
 * is not a multiple of ten are left out. After 24 hours the count begins again. */
static timecode timecode_of(int64_t index, lb_rate rate, bool drop)
{
    int64_t per_second = ((int64_t)2 * rate.num + rate.den) / ((int64_t)2 * rate.den);
    int64_t dropped, per_ten, per_minute, day;
    timecode code;

    if (per_second < 1)
        per_second = 1;
    drop = drop && rate.den == 1001 && (rate.num == 30000 || rate.num == 60000);
    dropped = drop ? per_second / 15 : 0;
    per_minute = 60 * per_second - dropped;
    per_ten = 600 * per_second - 9 * dropped;
    day = 144 * per_ten;
    index = ((index % day) + day) % day;
    if (drop) {
        int64_t tens = index / per_ten, within = index % per_ten;
        index += 9 * dropped * tens;
        if (within >= per_minute + dropped) /* past the first minute, which leaves nothing out */
            index += dropped * ((within - dropped) / per_minute);
    }
    code.per_second = (int)per_second;
    code.drop = drop;
    code.frames = (int)(index % per_second);
    index /= per_second;
    code.seconds = (int)(index % 60);
    code.minutes = (int)(index / 60 % 60);
    code.hours = (int)(index / 3600);
    return code;
}

const char *lb_timecode_text(int64_t index, lb_rate rate, bool drop, char *buffer)
{
    timecode code = timecode_of(index, rate, drop);
    char text[64];

    snprintf(text, sizeof text, "%02d:%02d:%02d%c%02d", code.hours, code.minutes, code.seconds,
             code.drop ? ';' : ':', code.frames);
    text[15] = 0;
    return strcpy(buffer, text);
}

static uint32_t bcd(int value)
{
    return (uint32_t)(value / 10 % 10 << 4 | value % 10);
}

uint32_t lb_timecode_bcd(int64_t index, lb_rate rate, bool drop)
{
    timecode code = timecode_of(index, rate, drop);
    int share = (code.per_second + 29) / 30; /* the word has two bits for tens of frames */
    uint32_t field = share == 2 ? (uint32_t)(code.frames % 2) << 15 : 0;

    return bcd(code.frames / share) | (code.drop ? 1u << 6 : 0) | bcd(code.seconds) << 8 | field |
           bcd(code.minutes) << 16 | bcd(code.hours) << 24;
}

double lb_clock_s(void)
{
    struct timespec now;

    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}
