/* engine/scene/scan.h: lines, words and numbers of text formats; private to their readers.
 *
 * Lines end with LF, CR or both, words with a blank. Where `joins` is set, a backslash before the
 * end of a line makes the next one go on with it. Nothing here reads at `end` or allocates. */
#ifndef LB_SCENE_SCAN_H
#define LB_SCENE_SCAN_H

#include "engine/base/status.h"

typedef struct lb_scan {
    const char *at, *end;
    int64_t line; /* of `at`, from 1 */
    bool joins;
} lb_scan;

typedef struct lb_word {
    const char *at;
    size_t count;
} lb_word;

/* At the first line; a byte order mark is passed over. */
lb_scan lb_scan_of(const void *bytes, size_t count, bool joins);
/* To the beginning of the next line. */
void lb_scan_next_line(lb_scan *scan);
/* Passes blanks; true if the line goes on after them. */
bool lb_scan_more(lb_scan *scan);
/* The next word of the line; of count 0 where it has no more. */
lb_word lb_scan_word(lb_scan *scan);
/* The next word wherever it is; of count 0 at the end of the text. */
lb_word lb_scan_word_anywhere(lb_scan *scan);
/* The rest of the line without blanks around it; of count 0 if there is nothing. Lines that are
 * joined are not put together: it ends with the first. */
lb_word lb_scan_rest(lb_scan *scan);

bool lb_word_is(lb_word word, const char *text);
/* The same whatever the case of ASCII letters. */
bool lb_word_is_like(lb_word word, const char *text);

typedef enum lb_numeral {
    LB_NUMERAL_NONE,       /* no number */
    LB_NUMERAL_FINITE,     /* rounded to the nearest double */
    LB_NUMERAL_NOT_FINITE, /* nan, inf, infinity, in any case and with a sign, or too large */
} lb_numeral;
/* All of `word` as a decimal number, whatever the locale: digits with or without a point (at either
 * end too), an exponent with e or E. *out is set unless the answer is NONE. */
lb_numeral lb_word_number(lb_word word, double *out);
/* All of `word` as a decimal integer that fits; false if it is none. */
bool lb_word_whole(lb_word word, int64_t *out);

#endif
