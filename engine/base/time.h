/* engine/base/time.h: rates, frame times, timecode, the clock. */
#ifndef LB_BASE_TIME_H
#define LB_BASE_TIME_H

#include "engine/base/status.h"

/* Frames per second as a fraction, both > 0. 29.97 is 30000/1001. */
typedef struct lb_rate {
    int32_t num, den;
} lb_rate;

/* "30", "30000/1001", "23.976" (made the nearest of the usual n*1000/1001 when within 1e-3, else an
 * exact decimal fraction). False: not a rate, or outside 1/1000 .. 100000. */
bool lb_rate_parse(const char *text, lb_rate *out);

/* (frame - first) / rate in seconds; frames may be fractions. */
double lb_frame_time(double frame, int32_t first, lb_rate rate);

/* SMPTE ST 12-1 timecode of frame number `index` counted from 0. Drop frame applies to 30000/1001
 * and 60000/1001. hh:mm:ss:ff, ';' before ff when frames are dropped. buffer: 16 bytes. */
const char *lb_timecode_text(int64_t index, lb_rate rate, bool drop, char *buffer);
/* The same as OpenEXR's time_and_flags word (BCD, bit 6 drop frame). */
uint32_t lb_timecode_bcd(int64_t index, lb_rate rate, bool drop);

/* Seconds of a clock that never goes back. For progress and benchmarks, never for pixels. */
double lb_clock_s(void);

#endif
