/* tests/engine/scene/test_scan.c: words and numbers of text formats. Numbers are held against the C
 * library's strtod, which rounds to nearest (ISO/IEC 9899:2011, 7.22.1.3, recommended practice). */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "engine/base/random.h"
#include "engine/scene/scan.h"

static lb_word word(const char *text)
{
    return (lb_word){text, strlen(text)};
}

Test(scan, number_is_the_nearest_double)
{
    static const char *const rows[] = {
        "0",
        "-0",
        "1",
        "+1",
        "1.",
        ".5",
        "-.5",
        "007",
        "1e3",
        "1E+3",
        "1e-3",
        "0.1",
        "3.4028235e38",
        "123456789012345678901234567890",
        "0.000000000000000000000000000001",
        "1e22",
        "1e23",
        "9007199254740993",
        "9007199254740992.999",
        "9007199254740993.0000000000000000000001",
        "179769313486231570000e288",
        "4.9e-324",
        "2.2250738585072014e-308",
        "1e-400",
        "0e999999",
        "17976931348623157081452742373170435679807e268",
        "1.00000000000000011102230246251565",
        "1.000000000000000111022302462515654042363166809082031250000000000001",
        "8.5e-19",
        "12345678901234567e-19",
        "9223372036854775807",
        "18446744073709551615",
        "0.30000000000000004",
        "1e19",
        "10000000000000000001e19",
        "9007199254740995e19",
        "9007199254740995e-19",
    };

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        double value = 7, wanted = strtod(rows[i], NULL);

        cr_expect(lb_word_number(word(rows[i]), &value) == LB_NUMERAL_FINITE, "%s", rows[i]);
        cr_expect(memcmp(&value, &wanted, sizeof value) == 0, "%s: %a, not %a", rows[i], value,
                  wanted);
    }
}

Test(scan, random_numbers_are_the_nearest_double)
{
    uint64_t state = 1;

    for (int i = 0; i < 200000; i++) {
        char text[64];
        double value = 7, wanted;
        uint64_t bits, digits;
        int exponent;

        state = state * 6364136223846793005u + 1442695040888963407u;
        bits = state ^ state >> 33;
        exponent = (int)(bits % 50) - 25;
        digits = bits >> (i % 60);
        if (i % 3 == 0)
            snprintf(text, sizeof text, "%llue%d", (unsigned long long)digits, exponent);
        else
            snprintf(text, sizeof text, "%.*g", i % 20 + 1, (double)digits * pow(10, exponent));
        wanted = strtod(text, NULL);
        cr_assert(lb_word_number(word(text), &value) == LB_NUMERAL_FINITE, "%s", text);
        cr_assert(value == wanted, "%s: %a, not %a", text, value, wanted);
    }
}

Test(scan, what_is_no_number)
{
    static const char *const none[] = {"",    "-",    "+",  ".",   "e3",   "1e",     "1e+", "1.2.3",
                                       "1,5", "0x10", "1a", "--1", "nano", "1.#IND", "."};
    static const char *const endless[] = {"nan", "-nan", "NaN", "inf", "-INF", "Infinity", "1e400"};
    double value = 7;

    for (size_t i = 0; i < sizeof none / sizeof none[0]; i++)
        cr_expect(lb_word_number(word(none[i]), &value) == LB_NUMERAL_NONE && value == 7, "'%s'",
                  none[i]);
    for (size_t i = 0; i < sizeof endless / sizeof endless[0]; i++)
        cr_expect(lb_word_number(word(endless[i]), &value) == LB_NUMERAL_NOT_FINITE &&
                      !isfinite(value),
                  "'%s'", endless[i]);
}

Test(scan, whole_numbers)
{
    static const struct {
        const char *text;
        bool is_whole;
        int64_t value;
    } rows[] = {{"0", true, 0},
                {"-12", true, -12},
                {"+7", true, 7},
                {"1.0", false, 0},
                {"", false, 0},
                {"-", false, 0},
                {"99999999999999999999", false, 0},
                {"922337203685477580", true, 922337203685477580}};

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        int64_t value = 0;

        cr_expect(lb_word_whole(word(rows[i].text), &value) == rows[i].is_whole, "%s",
                  rows[i].text);
        cr_expect(value == rows[i].value, "%s", rows[i].text);
    }
}

static bool next_is(lb_scan *scan, const char *text)
{
    return lb_word_is(lb_scan_word(scan), text);
}

Test(scan, words_and_lines)
{
    static const char text[] = "\xEF\xBB\xBF"
                               "v  1\t2 \r\nf \\\n3 4\\\r\n 5\rg a b  \n\\x\n\nend";
    lb_scan scan = lb_scan_of(text, sizeof text - 1, true);

    cr_expect(next_is(&scan, "v") && next_is(&scan, "1") && next_is(&scan, "2"));
    cr_expect(!lb_scan_more(&scan) && scan.line == 1 && next_is(&scan, ""));
    lb_scan_next_line(&scan);
    cr_expect(next_is(&scan, "f") && next_is(&scan, "3") && next_is(&scan, "4"));
    cr_expect(next_is(&scan, "5") && next_is(&scan, "") && scan.line == 4);
    lb_scan_next_line(&scan);
    cr_expect(next_is(&scan, "g") && lb_word_is(lb_scan_rest(&scan), "a b") && scan.line == 5);
    lb_scan_next_line(&scan);
    cr_expect(next_is(&scan, "\\x") && scan.line == 6);
    cr_expect(lb_word_is(lb_scan_word_anywhere(&scan), "end") && scan.line == 8);
    cr_expect(lb_scan_word_anywhere(&scan).count == 0 && scan.at == scan.end);
}

Test(scan, a_backslash_joins_only_where_it_may)
{
    lb_scan scan = lb_scan_of("a\\\nb", 4, false);

    cr_expect(next_is(&scan, "a\\") && next_is(&scan, "") && scan.line == 1);
    scan = lb_scan_of("\\", 1, true);
    cr_expect(next_is(&scan, "\\") && scan.at == scan.end);
    cr_expect(lb_word_is_like(word("SoLiD"), "solid") && !lb_word_is_like(word("sol"), "solid"));
}
