/* engine/media/prefix_code.h: the prefix codes of DEFLATE (RFC 1951); for this layer only. */
#ifndef LB_MEDIA_PREFIX_CODE_H
#define LB_MEDIA_PREFIX_CODE_H

#include <stdint.h>

#define LB_PREFIX_SYMBOLS 286 /* most that an alphabet has */
#define LB_PREFIX_BITS 15     /* most that a codeword has */

/* The lengths of the codewords that make a text with these counts of symbols shortest, none longer
 * than `most` bits. A symbol that is not there has length 0, one that is alone 1. The counts sum up
 * to less than 2^27, and 2^most is not less than `symbols`. */
void lb_prefix_lengths(const uint32_t *counts, int32_t symbols, int32_t most, uint8_t *lengths);

/* The codewords that 3.2.2 assigns to lengths, first bit lowest as 3.1.1 packs them, with the
 * length above: word | length << 16. */
void lb_prefix_words(const uint8_t *lengths, int32_t symbols, uint32_t *words);

#endif
