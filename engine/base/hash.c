/* engine/base/hash.c: XXH3-128 through libxxhash, and SHA-256. */
#include "engine/base/hash.h"

#include <string.h>

#define XXH_STATIC_LINKING_ONLY /* for the size of the state, which is part of ours */
#include <xxhash.h>

#include "engine/base/memory.h"

struct lb_hasher {
    XXH3_state_t state; /* wants 64-byte alignment: a block, not lb_alloc */
};

lb_hasher *lb_hasher_new(void)
{
    lb_hasher *hasher = lb_block_new(sizeof *hasher);

    if (!hasher)
        return NULL;
    memset(hasher, 0, sizeof *hasher);
    lb_hasher_reset(hasher);
    return hasher;
}

void lb_hasher_free(lb_hasher **hasher)
{
    if (!hasher)
        return;
    lb_block_free(*hasher);
    *hasher = NULL;
}

void lb_hasher_reset(lb_hasher *hasher)
{
    XXH3_128bits_reset(&hasher->state);
}

void lb_hash_bytes(lb_hasher *hasher, const void *bytes, size_t count)
{
    if (count)
        XXH3_128bits_update(&hasher->state, bytes, count);
}

void lb_hash_string(lb_hasher *hasher, const char *string)
{
    size_t length = string ? strlen(string) : 0;

    lb_hash_u64(hasher, string ? length : UINT64_MAX);
    lb_hash_bytes(hasher, string, length);
}

void lb_hash_u64(lb_hasher *hasher, uint64_t value)
{
    unsigned char bytes[8];

    for (int i = 0; i < 8; i++)
        bytes[i] = (unsigned char)(value >> (8 * i));
    lb_hash_bytes(hasher, bytes, sizeof bytes);
}

void lb_hash_f64(lb_hasher *hasher, double value)
{
    uint64_t bits;

    if (value == 0)
        value = 0; /* -0 too */
    memcpy(&bits, &value, sizeof bits);
    if (value != value)
        bits = UINT64_C(0x7ff8000000000000);
    lb_hash_u64(hasher, bits);
}

void lb_hash_key(lb_hasher *hasher, lb_key key)
{
    lb_hash_u64(hasher, key.low);
    lb_hash_u64(hasher, key.high);
}

lb_key lb_hasher_key(const lb_hasher *hasher)
{
    XXH128_hash_t hash = XXH3_128bits_digest(&hasher->state);

    return (lb_key){hash.high64, hash.low64};
}

lb_key lb_key_of(const void *bytes, size_t count)
{
    XXH128_hash_t hash = XXH3_128bits(count ? bytes : "", count);

    return (lb_key){hash.high64, hash.low64};
}

bool lb_key_equal(lb_key a, lb_key b)
{
    return a.high == b.high && a.low == b.low;
}

static void put_hex(char *out, uint64_t value, int digits)
{
    for (int i = digits - 1; i >= 0; i--, value >>= 4)
        out[i] = "0123456789abcdef"[value & 15];
}

const char *lb_key_text(lb_key key, char out[LB_KEY_TEXT])
{
    put_hex(out, key.high, 16);
    put_hex(out + 16, key.low, 16);
    out[32] = 0;
    return out;
}

/* FIPS 180-4, section 4.2.2: the first 32 bits of the fractions of the cube roots of the first 64
 * primes. */
static const uint32_t sha_k[64] = {
    0x428a2f98, 0x71374491, 0xb5c0fbcf, 0xe9b5dba5, 0x3956c25b, 0x59f111f1, 0x923f82a4, 0xab1c5ed5,
    0xd807aa98, 0x12835b01, 0x243185be, 0x550c7dc3, 0x72be5d74, 0x80deb1fe, 0x9bdc06a7, 0xc19bf174,
    0xe49b69c1, 0xefbe4786, 0x0fc19dc6, 0x240ca1cc, 0x2de92c6f, 0x4a7484aa, 0x5cb0a9dc, 0x76f988da,
    0x983e5152, 0xa831c66d, 0xb00327c8, 0xbf597fc7, 0xc6e00bf3, 0xd5a79147, 0x06ca6351, 0x14292967,
    0x27b70a85, 0x2e1b2138, 0x4d2c6dfc, 0x53380d13, 0x650a7354, 0x766a0abb, 0x81c2c92e, 0x92722c85,
    0xa2bfe8a1, 0xa81a664b, 0xc24b8b70, 0xc76c51a3, 0xd192e819, 0xd6990624, 0xf40e3585, 0x106aa070,
    0x19a4c116, 0x1e376c08, 0x2748774c, 0x34b0bcb5, 0x391c0cb3, 0x4ed8aa4a, 0x5b9cca4f, 0x682e6ff3,
    0x748f82ee, 0x78a5636f, 0x84c87814, 0x8cc70208, 0x90befffa, 0xa4506ceb, 0xbef9a3f7, 0xc67178f2,
};

static uint32_t turn(uint32_t x, int bits)
{
    return x >> bits | x << (32 - bits);
}

/* One 64-byte block. FIPS 180-4, section 6.2.2. */
static void sha_block(uint32_t state[8], const unsigned char *block)
{
    uint32_t w[64], s[8];

    for (int t = 0; t < 16; t++)
        w[t] = (uint32_t)block[4 * t] << 24 | (uint32_t)block[4 * t + 1] << 16 |
               (uint32_t)block[4 * t + 2] << 8 | block[4 * t + 3];
    for (int t = 16; t < 64; t++) {
        uint32_t a = w[t - 15], b = w[t - 2];
        w[t] = (turn(b, 17) ^ turn(b, 19) ^ b >> 10) + w[t - 7] +
               (turn(a, 7) ^ turn(a, 18) ^ a >> 3) + w[t - 16];
    }
    memcpy(s, state, sizeof s);
    for (int t = 0; t < 64; t++) {
        uint32_t a = s[0], e = s[4];
        uint32_t choice = (e & s[5]) ^ (~e & s[6]);
        uint32_t majority = (a & s[1]) ^ (a & s[2]) ^ (s[1] & s[2]);
        uint32_t t1 = s[7] + (turn(e, 6) ^ turn(e, 11) ^ turn(e, 25)) + choice + sha_k[t] + w[t];
        uint32_t t2 = (turn(a, 2) ^ turn(a, 13) ^ turn(a, 22)) + majority;
        s[7] = s[6];
        s[6] = s[5];
        s[5] = s[4];
        s[4] = s[3] + t1;
        s[3] = s[2];
        s[2] = s[1];
        s[1] = s[0];
        s[0] = t1 + t2;
    }
    for (int i = 0; i < 8; i++)
        state[i] += s[i];
}

void lb_sha256_text(const void *bytes, size_t count, char out[LB_SHA256_TEXT])
{
    /* Section 5.3.3: fractions of the square roots of the first eight primes. */
    uint32_t state[8] = {0x6a09e667, 0xbb67ae85, 0x3c6ef372, 0xa54ff53a,
                         0x510e527f, 0x9b05688c, 0x1f83d9ab, 0x5be0cd19};
    const unsigned char *at = bytes;
    unsigned char last[128] = {0};
    size_t rest = count % 64, padded = rest < 56 ? 64 : 128;
    uint64_t bits = (uint64_t)count * 8;

    for (size_t done = 0; done + 64 <= count; done += 64)
        sha_block(state, at + done);
    if (rest)
        memcpy(last, at + count - rest, rest);
    last[rest] = 0x80;
    for (size_t i = 0; i < 8; i++)
        last[padded - 1 - i] = (unsigned char)(bits >> (8 * i));
    sha_block(state, last);
    if (padded == 128)
        sha_block(state, last + 64);
    for (int i = 0; i < 8; i++)
        put_hex(out + 8 * i, state[i], 8);
    out[64] = 0;
}
