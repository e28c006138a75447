/* engine/media/deflate.h: DEFLATE (RFC 1951) for what has little to find; for this layer only. */
#ifndef LB_MEDIA_DEFLATE_H
#define LB_MEDIA_DEFLATE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* The most that lb_deflate_runs writes, and writes over, for so many bytes. */
size_t lb_deflate_bound(size_t count);

/* Packs bytes as literals and runs of one byte, each block with the best code of its own; no other
 * repeats are looked for. What it writes begins and ends at whole bytes and refers to nothing
 * before it, so that pieces join into one stream; the last piece ends it. Answers the bytes. */
size_t lb_deflate_runs(const uint8_t *bytes, size_t count, bool is_last, uint8_t *out);

#endif
