/* lang/place.h: from a code point's number to its byte, line and column. */
#ifndef LB_LANG_PLACE_H
#define LB_LANG_PLACE_H

#include "engine/base/memory.h"

/* A position in a text. Lines end with \n alone, as messages show them, whatever else the YAML
 * reader counts as a line break. */
typedef struct lb_place {
    size_t byte;
    int32_t line, column; /* from 1 */
} lb_place;

/* Remembers every 256th position, so that any other is at most 255 steps away. */
typedef struct lb_place_index {
    const char *text; /* lent; UTF-8, though broken text is survived */
    size_t bytes;
    size_t points;
    lb_place *marks;
} lb_place_index;

/* False: no memory. Free with lb_place_index_clear. */
LB_MUST_CHECK bool lb_place_index_make(const char *text, size_t bytes, lb_place_index *out);
void lb_place_index_clear(lb_place_index *index);
/* Of code point `point`; the end of the text if it is beyond. */
lb_place lb_place_of(const lb_place_index *index, size_t point);
/* Of a byte, likewise. */
lb_place lb_place_of_byte(const lb_place_index *index, size_t byte);

/* Code points in UTF-8. */
size_t lb_place_points(const char *text, size_t bytes);

#endif
