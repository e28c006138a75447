/* engine/base/text.h: strings that grow, names that are near, numbers in text. */
#ifndef LB_BASE_TEXT_H
#define LB_BASE_TEXT_H

#include "engine/base/memory.h"

/* A growing string, always NUL-terminated once something was added. Zero-initialise; free with
 * lb_text_clear. After a failed allocation `failed` is set and additions are ignored, so that a
 * long build is checked once at its end. */
typedef struct lb_text {
    char *bytes;
    size_t length, capacity;
    bool failed;
} lb_text;

void lb_text_add(lb_text *text, const char *bytes, size_t count);
void lb_text_put(lb_text *text, const char *string);
void lb_text_printf(lb_text *text, const char *format, ...) LB_PRINTF(2, 3);
void lb_text_json(lb_text *text, const char *string); /* quoted and escaped as JSON */
void lb_text_clear(lb_text *text);

/* The candidate nearest to `name` by edit distance (insert, delete, replace, swap neighbours), or
 * NULL if none is near enough to suggest (more than a third of the longer name's length, at least
 * 1). Ties go to the first. Bytes are compared; names longer than 512 are far from all others. */
const char *lb_text_nearest(const char *name, const char *const *candidates, size_t count);
size_t lb_text_distance(const char *a, const char *b);

/* Parses all of `text` as a number by YAML 1.2's core schema (decimal integers, floats with
 * exponent, .inf, .nan, 0x, 0o); independent of the locale; correctly rounded, so too large becomes
 * infinity. False: no number, or longer than 1100 bytes; *out is then untouched. */
bool lb_text_number(const char *text, size_t bytes, double *out);
/* The shortest of 15, 16 and 17 significant digits that lb_text_number reads back as the same
 * double
 * (.nan, .inf and -.inf for what has no digits); `buffer` at least 32 bytes, which it answers. */
const char *lb_text_from_number(double value, char *buffer);

/* Next code point of UTF-8 at *at (< bytes), moving *at on; 0xFFFD for a broken sequence. */
uint32_t lb_utf8_next(const char *text, size_t bytes, size_t *at);
bool lb_utf8_is_valid(const char *text, size_t bytes);

#endif
