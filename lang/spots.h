/* lang/spots.h: where the characters of a scalar stand in the file, when the text of the scalar is
 * not there as it is: quoted with escapes, on several lines, or in a block. */
#ifndef LB_LANG_SPOTS_H
#define LB_LANG_SPOTS_H

#include "engine/base/memory.h"
#include "lang/place.h"

/* From byte `begin` of the scalar's text to the next spot, the characters stand side by side on
 * `line` from `column` on. `width` is 1; of an escape, which is one character, its columns. */
typedef struct lb_spot {
    uint32_t begin;
    int32_t line, column, width;
} lb_spot;

/* Finds the spots of a scalar that begins at `from` in the source, behind which its anchor and tag
 * may come first. The answer lies in the arena; NULL when the two do not fit together, or without
 * memory: nobody depends on spots. */
const lb_spot *lb_spots_find(const char *source, size_t bytes, lb_place from, const char *text,
                             size_t length, lb_arena *arena, int32_t *count);

/* Line and column of the character at byte `at`, or behind the one that ends there. `count` is at
 * least 1. */
void lb_spots_place(const lb_spot *spots, int32_t count, const char *text, size_t at, bool is_end,
                    int32_t *line, int32_t *column);

#endif
