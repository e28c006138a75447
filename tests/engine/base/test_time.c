/* tests/engine/base/test_time.c: rates and timecode. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "engine/base/time.h"

/* SMPTE ST 12-1's drop-frame count: two numbers are left out of every minute not divisible by ten,
 * so 17982 frames in ten minutes, 107892 in an hour. That 12:38:59;29 is followed by 12:39:00;02 is
 * the standard's own example (read second-hand); the rest was computed from the rule. */
static const struct {
    int64_t frame;
    const char *drop, *plain;
    double seconds; /* at 30000/1001, to nine digits */
} rows[] = {
    {0, "00:00:00;00", "00:00:00:00", 0},
    {1, "00:00:00;01", "00:00:00:01", 0.0333666667},
    {29, "00:00:00;29", "00:00:00:29", 0.967633333},
    {30, "00:00:01;00", "00:00:01:00", 1.001},
    {1799, "00:00:59;29", "00:00:59:29", 60.0266333},
    {1800, "00:01:00;02", "00:01:00:00", 60.06},
    {1801, "00:01:00;03", "00:01:00:01", 60.0933667},
    {3597, "00:01:59;29", "00:01:59:27", 120.0199},
    {3598, "00:02:00;02", "00:01:59:28", 120.053267},
    {17981, "00:09:59;29", "00:09:59:11", 599.966033},
    {17982, "00:10:00;00", "00:09:59:12", 599.9994},
    {17983, "00:10:00;01", "00:09:59:13", 600.032767},
    {107891, "00:59:59;29", "00:59:56:11", 3599.96303},
    {107892, "01:00:00;00", "00:59:56:12", 3599.9964},
    {215783, "01:59:59;29", "01:59:52:23", 7199.95943},
    {215784, "02:00:00;00", "01:59:52:24", 7199.9928},
    {1294704, "12:00:00;00", "11:59:16:24", 43199.9568},
    {2589407, "23:59:59;29", "23:58:33:17", 86399.8802},
};

static const lb_rate ntsc = {30000, 1001};

Test(time, timecode_meets_the_table)
{
    char text[16];

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        cr_expect_str_eq(lb_timecode_text(rows[i].frame, ntsc, true, text), rows[i].drop);
        cr_expect_str_eq(lb_timecode_text(rows[i].frame, ntsc, false, text), rows[i].plain);
        cr_expect(fabs(lb_frame_time((double)rows[i].frame, 0, ntsc) - rows[i].seconds) <=
                      1e-8 * fmax(rows[i].seconds, 1),
                  "frame %d", (int)rows[i].frame);
    }
}

/* The standard's example, found by counting: what follows 12:38:59;29. */
Test(time, drop_frame_skips_two_numbers)
{
    char text[16];
    int64_t frame = 12 * 107892 + 3 * 17982 + 1800 + 8 * 1798 - 1;

    cr_expect_str_eq(lb_timecode_text(frame, ntsc, true, text), "12:38:59;29");
    cr_expect_str_eq(lb_timecode_text(frame + 1, ntsc, true, text), "12:39:00;02");
}

/* Every number of a day but the dropped ones appears once, in order. */
Test(time, drop_frame_counts_without_gap)
{
    char text[16], want[64];
    int64_t frame = 0;
    int wrong = 0;

    for (int second = 0; second < 86400; second++)
        for (int f = 0; f < 30; f++) {
            if (second % 60 == 0 && second / 60 % 10 != 0 && f < 2)
                continue;
            snprintf(want, sizeof want, "%02d:%02d:%02d;%02d", second / 3600, second / 60 % 60,
                     second % 60, f);
            wrong += strcmp(lb_timecode_text(frame++, ntsc, true, text), want) != 0;
        }
    cr_expect(wrong == 0, "%d frames differ", wrong);
    cr_expect(frame == 2589408);
    cr_expect_str_eq(lb_timecode_text(frame, ntsc, true, text), "00:00:00;00");
    cr_expect_str_eq(lb_timecode_text(-1, ntsc, true, text), "23:59:59;29");
}

/* At 60000/1001 four numbers are dropped (SMPTE ST 12-1); other rates have no drop frame. */
Test(time, other_rates)
{
    char text[16];

    cr_expect_str_eq(lb_timecode_text(3599, (lb_rate){60000, 1001}, true, text), "00:00:59;59");
    cr_expect_str_eq(lb_timecode_text(3600, (lb_rate){60000, 1001}, true, text), "00:01:00;04");
    cr_expect_str_eq(lb_timecode_text(35964, (lb_rate){60000, 1001}, true, text), "00:10:00;00");
    cr_expect_str_eq(lb_timecode_text(1440, (lb_rate){24, 1}, true, text), "00:01:00:00");
    cr_expect_str_eq(lb_timecode_text(1440, (lb_rate){24000, 1001}, true, text), "00:01:00:00");
    cr_expect_str_eq(lb_timecode_text(90001, (lb_rate){25, 1}, false, text), "01:00:00:01");
    cr_expect_str_eq(lb_timecode_text(3, (lb_rate){1, 1000}, false, text), "00:00:03:00");
    /* Nonsense stays inside the buffer. */
    cr_expect(strlen(lb_timecode_text(INT64_MIN, (lb_rate){INT32_MAX, 1}, true, text)) <= 15);
}

/* SMPTE ST 12-1's binary groups as OpenEXR's time_and_flags packs them for 60-field television:
 * frame units and tens from bit 0, drop frame bit 6, seconds from 8, minutes from 16, hours from
 * 24 (OpenEXR, ImfTimeCode.h). */
Test(time, binary_coded)
{
    cr_expect(lb_timecode_bcd(2589407, ntsc, true) == (0x23595929u | 1u << 6));
    cr_expect(lb_timecode_bcd(1800, ntsc, true) == (0x00010002u | 1u << 6));
    cr_expect(lb_timecode_bcd(1800, ntsc, false) == 0x00010000u);
    cr_expect(lb_timecode_bcd(12 * 90000 + 34 * 1500 + 56 * 25 + 7, (lb_rate){25, 1}, false) ==
              0x12345607u);
    /* Above 30 a number stands for two frames, told apart by the field bit (ST 12-1). */
    cr_expect(lb_timecode_bcd(59, (lb_rate){60, 1}, false) == (0x29u | 1u << 15));
    cr_expect(lb_timecode_bcd(58, (lb_rate){60, 1}, false) == 0x29u);
}

static const struct {
    const char *text;
    lb_rate rate; /* num 0: refused */
} rates[] = {
    {"30", {30, 1}},
    {"30000/1001", {30000, 1001}},
    {"60/2", {30, 1}},
    {"23.976", {24000, 1001}},
    {"29.97", {30000, 1001}},
    {"59.94", {60000, 1001}},
    {"119.88", {120000, 1001}},
    {"25.0", {25, 1}},
    {"24.", {24, 1}},
    {"12.5", {25, 2}},
    {"23.98", {1199, 50}},
    {"24.000001", {24000001, 1000000}},
    {".5", {1, 2}},
    {"0.001", {1, 1000}},
    {"100000", {100000, 1}},
    {"100001", {0, 0}},
    {"0.0009", {0, 0}},
    {"0", {0, 0}},
    {"30/0", {0, 0}},
    {"0/1", {0, 0}},
    {"-30", {0, 0}},
    {"30 ", {0, 0}},
    {"", {0, 0}},
    {".", {0, 0}},
    {"/", {0, 0}},
    {"30/", {0, 0}},
    {"/30", {0, 0}},
    {"30/1/1", {0, 0}},
    {"3e1", {0, 0}},
    {"nan", {0, 0}},
    {"99999999999999999999999/1", {0, 0}},
    {"1.00000000000000000000001", {0, 0}},
    {"4294967297/4294967296", {0, 0}},
};

Test(time, rate_parse)
{
    for (size_t i = 0; i < sizeof rates / sizeof rates[0]; i++) {
        lb_rate got = {-1, -1};
        bool good = lb_rate_parse(rates[i].text, &got);

        cr_expect(good == (rates[i].rate.num != 0), "'%s'", rates[i].text);
        if (good)
            cr_expect(got.num == rates[i].rate.num && got.den == rates[i].rate.den, "'%s': %d/%d",
                      rates[i].text, got.num, got.den);
    }
}

Test(time, frame_times)
{
    /* 250 frames at 30 fps last 8 1/3 s (common practice). */
    cr_expect(fabs(lb_frame_time(251, 1, (lb_rate){30, 1}) - 25.0 / 3) < 1e-15);
    cr_expect(lb_frame_time(1.5, 1, (lb_rate){25, 1}) == 0.02);
    cr_expect(lb_frame_time(0, 1, (lb_rate){25, 1}) == -0.04);
}

Test(time, clock_goes_on)
{
    double before = lb_clock_s(), after = lb_clock_s();

    cr_expect(after >= before);
}
