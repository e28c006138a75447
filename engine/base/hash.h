/* engine/base/hash.h: keys (XXH3, 128 bits) and pins (SHA-256). */
#ifndef LB_BASE_HASH_H
#define LB_BASE_HASH_H

#include "engine/base/status.h"

typedef struct lb_key {
    uint64_t high, low;
} lb_key;

/* A running XXH3-128. Numbers go in by value in little-endian order, strings with their length,
 * floats by their bits with -0 made +0 and every NaN one NaN, so that equal things hash alike. */
typedef struct lb_hasher lb_hasher;
lb_hasher *lb_hasher_new(void); /* NULL: no memory */
void lb_hasher_free(lb_hasher **hasher);
void lb_hasher_reset(lb_hasher *hasher);
void lb_hash_bytes(lb_hasher *hasher, const void *bytes, size_t count);
void lb_hash_string(lb_hasher *hasher, const char *string); /* NULL differs from "" */
void lb_hash_u64(lb_hasher *hasher, uint64_t value);
void lb_hash_f64(lb_hasher *hasher, double value);
void lb_hash_key(lb_hasher *hasher, lb_key key);
lb_key lb_hasher_key(const lb_hasher *hasher);

lb_key lb_key_of(const void *bytes, size_t count);
bool lb_key_equal(lb_key a, lb_key b);
/* 32 hexadecimal digits and a NUL into `out`, which it answers. */
#define LB_KEY_TEXT 33
const char *lb_key_text(lb_key key, char out[LB_KEY_TEXT]);

/* SHA-256 of `bytes` (FIPS 180-4), 64 hexadecimal digits and a NUL. */
#define LB_SHA256_TEXT 65
void lb_sha256_text(const void *bytes, size_t count, char out[LB_SHA256_TEXT]);

#endif
