/* tests/engine/base/test_text.c: strings, names, numbers, UTF-8. */
#include <criterion/criterion.h>
#include <locale.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "engine/base/text.h"

static bool number(const char *text, double *out)
{
    return lb_text_number(text, strlen(text), out);
}

/* The forms of YAML 1.2.2, section 10.3.2 (core schema), with its own examples. */
static const struct {
    const char *text;
    double value;
} numbers[] = {
    {"0", 0},
    {"-19", -19},
    {"+12", 12},
    {"0o7", 7},
    {"0x3A", 58},
    {"0.", 0},
    {"-0.0", -0.0},
    {".5", 0.5},
    {"+12e03", 12000},
    {"-2E+05", -200000},
    {"685.230_", NAN}, /* NAN here: not a number */
    {".inf", INFINITY},
    {"-.Inf", -INFINITY},
    {"+.INF", INFINITY},
    {"007", 7}, /* decimal in YAML 1.2 */
    {"1e400", INFINITY},
    {"1e-400", 0},
    {"4.9e-324", 0x1p-1074},
    {"2.4e-324", 0},
    {"1.7976931348623157e308", 0x1.fffffffffffffp1023},
    /* Halfway cases of IEEE 754 round to nearest, ties to even. */
    {"9007199254740993", 9007199254740992},
    {"9007199254740993.0000000000000000000000000000000000000000001", 9007199254740994},
    {"9007199254740995", 9007199254740996},
    {"0x20000000000001", 9007199254740992},
    {"0x20000000000003", 9007199254740996},
    {"0x20000000000001000000000000000000000000000000001", 0x20000000000002p132},
    {"0o400000000000000001", 9007199254740992},
    {"0o400000000000000003", 9007199254740996},
    {"0xffffffffffffffffffffffff", 0x1p96},
    {"", NAN},
    {"-", NAN},
    {".", NAN},
    {"+.", NAN},
    {"e5", NAN},
    {"1e", NAN},
    {"1e+", NAN},
    {"1.5.2", NAN},
    {"1,5", NAN},
    {" 1", NAN},
    {"1 ", NAN},
    {"0x", NAN},
    {"0xg", NAN},
    {"0o8", NAN},
    {"-0x1", NAN}, /* no sign before 0x in the schema */
    {"0x1p3", NAN},
    {"inf", NAN},
    {"nan", NAN},
    {"-.nan", NAN},
    {".INf", NAN},
    {"1f", NAN},
    {"infinity", NAN},
};

static void check_numbers(void)
{
    for (size_t i = 0; i < sizeof numbers / sizeof numbers[0]; i++) {
        double value = -77;
        bool good = number(numbers[i].text, &value);

        if (isnan(numbers[i].value))
            cr_expect(!good && value == -77, "'%s'", numbers[i].text);
        else
            cr_expect(good && value == numbers[i].value &&
                          signbit(value) == signbit(numbers[i].value),
                      "'%s': %a", numbers[i].text, value);
    }
}

Test(text, numbers_of_the_core_schema)
{
    double value;

    check_numbers();
    cr_expect(number(".nan", &value) && isnan(value));
    cr_expect(number(".NaN", &value) && isnan(value));
    cr_expect(lb_text_number("12345", 3, &value) && value == 123);
    cr_expect(!lb_text_number("1\0002", 3, &value));
    cr_expect(!lb_text_number(NULL, 0, &value));
}

/* A decimal comma must change nothing. Skipped in words when no such locale is installed. */
Test(text, numbers_do_not_know_the_locale)
{
    static const char *const commas[] = {"de_DE.UTF-8", "fr_FR.UTF-8", "cs_CZ.UTF-8", "de_DE"};
    char text[32];
    bool found = false;

    for (size_t i = 0; i < sizeof commas / sizeof commas[0] && !found; i++)
        found = setlocale(LC_ALL, commas[i]) != NULL;
    if (!found)
        fputs("no locale with a decimal comma: only the C locale was tried\n", stderr);
    check_numbers();
    cr_expect_str_eq(lb_text_from_number(-1.5, text), "-1.5");
    setlocale(LC_ALL, "C");
}

Test(text, a_number_has_an_end)
{
    char long_text[1200];
    double value;

    memset(long_text, '1', sizeof long_text);
    long_text[0] = '0';
    long_text[1] = '.';
    cr_expect(lb_text_number(long_text, 1100, &value) && value == 1.0 / 9);
    cr_expect(!lb_text_number(long_text, 1101, &value));
}

static uint64_t next_random(uint64_t *state)
{
    *state ^= *state << 13; /* Marsaglia (2003), "Xorshift RNGs" */
    *state ^= *state >> 7;
    return *state ^= *state << 17;
}

/* Any double, read back: the bits are the same, and fewer digits would not do (checked with the C
 * library's own conversions). */
Test(text, numbers_come_back)
{
    uint64_t state = 88172645463325252u, bits;
    int wrong = 0, longer = 0;

    for (int i = 0; i < 200000; i++) {
        double value, back;
        char text[32], shorter[64];
        int digits = 0;

        bits = next_random(&state);
        memcpy(&value, &bits, sizeof value);
        if (!isfinite(value))
            continue;
        if (i % 2)
            value = (double)(int)(bits >> 44) / 1000;
        lb_text_from_number(value, text);
        wrong += !number(text, &back) || back != value || signbit(back) != signbit(value);
        while (++digits < 17) {
            snprintf(shorter, sizeof shorter, "%.*g", digits, value);
            if (strtod(shorter, NULL) == value)
                break;
        }
        snprintf(shorter, sizeof shorter, "%.*g", digits < 15 ? 15 : digits, value);
        longer += strcmp(shorter, text) != 0;
    }
    cr_expect(wrong == 0, "%d did not come back", wrong);
    cr_expect(longer == 0, "%d were not the shortest", longer);
}

Test(text, number_words)
{
    static const struct {
        double value;
        const char *text;
    } rows[] = {
        {0, "0"},
        {-0.0, "-0"},
        {0.1, "0.1"},
        {1.0 / 3, "0.3333333333333333"},
        {1e300, "1e+300"},
        {INFINITY, ".inf"},
        {-INFINITY, "-.inf"},
        {NAN, ".nan"},
        {30, "30"},
    };
    char text[32];

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        cr_expect_str_eq(lb_text_from_number(rows[i].value, text), rows[i].text);
}

/* Wagner and Fischer's distance with Damerau's swap. kitten -> sitting is 3 and Saturday -> Sunday
 * is 3 in every textbook; "ca" -> "abc" is 3 for optimal string alignment (2 if a swapped pair
 * could be edited again). */
Test(text, distances)
{
    static const struct {
        const char *a, *b;
        size_t distance;
    } rows[] = {
        {"kitten", "sitting", 3},
        {"Saturday", "Sunday", 3},
        {"ca", "abc", 3},
        {"ab", "ba", 1},
        {"", "", 0},
        {"", "abc", 3},
        {"glow", "glwo", 1},
        {"radius", "radus", 1},
        {"sigma", "sigma", 0},
    };

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        cr_expect(lb_text_distance(rows[i].a, rows[i].b) == rows[i].distance, "%s %s", rows[i].a,
                  rows[i].b);
        cr_expect(lb_text_distance(rows[i].b, rows[i].a) == rows[i].distance, "%s %s", rows[i].b,
                  rows[i].a);
    }
}

Test(text, nearest_name)
{
    static const char *const names[] = {"threshold", "radius", "gain", "tint", "grain"};
    const size_t count = sizeof names / sizeof names[0];
    char huge[5000];

    cr_expect(lb_text_nearest("treshold", names, count) == names[0]);
    cr_expect(lb_text_nearest("radios", names, count) == names[1]);
    cr_expect(lb_text_nearest("grains", names, count) == names[4]);
    cr_expect(lb_text_nearest("grin", names, count) == names[2]); /* grain is as near, but later */
    cr_expect(lb_text_nearest("gin", names, count) == names[2]);
    cr_expect(lb_text_nearest("sigma", names, count) == NULL);
    cr_expect(lb_text_nearest("", names, count) == NULL);
    cr_expect(lb_text_nearest("x", (const char *const[]){"y", "x"}, 2)[0] == 'x');
    cr_expect(lb_text_nearest("a", NULL, 0) == NULL);
    memset(huge, 'a', sizeof huge);
    huge[sizeof huge - 1] = 0;
    cr_expect(lb_text_nearest(huge, names, count) == NULL);
    cr_expect(lb_text_distance(huge, huge) == 0);
    cr_expect(lb_text_distance(huge, "a") == sizeof huge - 1);
}

Test(text, json_strings)
{
    lb_text text = {0};

    /* RFC 8259, section 7. */
    lb_text_json(&text, "a\"b\\c\n\t\x01\x7f\xc3\xa9");
    cr_expect_str_eq(text.bytes, "\"a\\\"b\\\\c\\n\\t\\u0001\\u007f\xc3\xa9\"");
    lb_text_clear(&text);
    lb_text_json(&text, "broken \xff end");
    cr_expect_str_eq(text.bytes, "\"broken \xef\xbf\xbd end\"");
    lb_text_clear(&text);
    cr_expect(text.bytes == NULL && text.length == 0);
    lb_text_json(&text, NULL);
    cr_expect_str_eq(text.bytes, "null");
    lb_text_clear(&text);
}

static void build(lb_text *text)
{
    for (int i = 0; i < 100; i++) {
        lb_text_put(text, "frame ");
        lb_text_printf(text, "%04d %s", i, "of the night firing");
        lb_text_add(text, ";", 1);
    }
}

Test(text, a_failed_build_is_told_at_its_end)
{
    lb_text text = {0};
    int64_t n = 0;
    size_t before = lb_memory_used();

    do {
        lb_text_clear(&text);
        lb_memory_fail_at(++n);
        build(&text);
        cr_expect(text.failed == (lb_memory_fail_left() == 0));
    } while (lb_memory_fail_left() == 0);
    lb_memory_fail_at(0);
    cr_expect(n > 3);
    cr_expect(text.length == 100 * (6 + 4 + 1 + 19 + 1) && strlen(text.bytes) == text.length);
    lb_text_clear(&text);
    cr_expect(lb_memory_used() == before);
}

/* The Unicode Standard, section 3.9: table 3-8 (maximal subparts) and the ill-formed sequences of
 * table 3-7's gaps. */
static const struct {
    const char *bytes;
    uint32_t codes[12]; /* ends with 0 */
} sequences[] = {
    {"\x61\xf1\x80\x80\xe1\x80\xc2\x62\x80\x63\x80\xbf\x64",
     {0x61, 0xfffd, 0xfffd, 0xfffd, 0x62, 0xfffd, 0x63, 0xfffd, 0xfffd, 0x64}},
    {"\xc0\xaf\xe0\x80\xbf", {0xfffd, 0xfffd, 0xfffd, 0xfffd, 0xfffd}},
    {"\xed\xa0\x80\xf4\x91\x92\x93\xff\x41",
     {0xfffd, 0xfffd, 0xfffd, 0xfffd, 0xfffd, 0xfffd, 0xfffd, 0xfffd, 0x41}},
    {"\xe1\x80\xe2\xf0\x91\x92\xf1\xbf\x41", {0xfffd, 0xfffd, 0xfffd, 0xfffd, 0x41}},
    {"\xf0\x9f\x94\xa5\xe2\x82\xac\xc3\xa9", {0x1f525, 0x20ac, 0xe9}},
    {"\xf4\x8f\xbf\xbf\xf0\x90\x80\x80\xee\x80\x80\xed\x9f\xbf\xe0\xa0\x80\xdf\xbf\xc2\x80",
     {0x10ffff, 0x10000, 0xe000, 0xd7ff, 0x800, 0x7ff, 0x80}},
};

Test(text, utf8)
{
    for (size_t i = 0; i < sizeof sequences / sizeof sequences[0]; i++) {
        size_t at = 0, bytes = strlen(sequences[i].bytes), n = 0;
        bool broken = false;

        while (at < bytes) {
            uint32_t code = lb_utf8_next(sequences[i].bytes, bytes, &at);
            cr_expect(code == sequences[i].codes[n], "row %zu, code %zu: %x", i, n, code);
            broken = broken || code == 0xfffd;
            n++;
        }
        cr_expect(sequences[i].codes[n] == 0, "row %zu ends early", i);
        cr_expect(lb_utf8_is_valid(sequences[i].bytes, bytes) == !broken, "row %zu", i);
    }
    cr_expect(lb_utf8_is_valid("\xef\xbf\xbd", 3));
    cr_expect(!lb_utf8_is_valid("\xef\xbf", 2));
    cr_expect(lb_utf8_is_valid("", 0));
}
