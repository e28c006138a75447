/* tests/engine/base/test_hash.c: XXH3-128 against the vectors of the xxHash repository, SHA-256
 * against FIPS 180-4's examples. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "engine/base/hash.h"
#include "engine/base/memory.h"

/* The bytes that the xxHash repository's sanity check (cli/xsum_sanity_check.c) hashes: the high
 * byte of 2654435761 times 11400714785074694797^i. */
static void fill_sanity(unsigned char *buffer, size_t count)
{
    uint64_t state = 2654435761u;

    for (size_t i = 0; i < count; i++) {
        buffer[i] = (unsigned char)(state >> 56);
        state *= UINT64_C(11400714785074694797);
    }
}

static const struct {
    size_t length;
    uint64_t low, high;
} sanity[] = {
    /* xxHash repository, sanity check of XXH3 128 bits, seed 0: one length from each code path */
    {0, 0x6001C324468D497F, 0x99AA06D3014798D8},   {1, 0xC44BDFF4074EECDB, 0xA6CD5E9392000F6A},
    {3, 0x54247382A8D6B94D, 0x20EFC49FF02422EA},   {4, 0x2E7D8D6876A39FE9, 0x970D585AC632BF8E},
    {8, 0x64C69CAB4BB21DC5, 0x47A7F080D82BB456},   {9, 0xED7CCBC501EB7501, 0x564EF6078950D457},
    {16, 0x562980258A998629, 0xC68C368ECF8A9C05},  {17, 0xABBC12D11973D7DB, 0x955FA78643ED3669},
    {128, 0xEBB15E34A7FB5AB1, 0x39992220E045260A}, {129, 0x86C9E3BC8F0A3B5C, 0x03815FC91F1B30B6},
    {240, 0x5C9AAE94C8EBE5A0, 0xAA4202DAA2769DC8}, {241, 0xC5A639ECD2030E5E, 0x99A80ECF0ECFC647},
    {256, 0x55DE574AD89D0AC5, 0x8B1C66091423D288}, {512, 0x617E49599013CB6B, 0x18D2D110DCC9BCA1},
};

Test(hash, xxh3_meets_the_published_vectors)
{
    unsigned char bytes[512];

    fill_sanity(bytes, sizeof bytes);
    for (size_t i = 0; i < sizeof sanity / sizeof sanity[0]; i++) {
        lb_key want = {sanity[i].high, sanity[i].low};
        lb_key got = lb_key_of(bytes, sanity[i].length);
        lb_hasher *hasher = lb_hasher_new();

        cr_assert(hasher != NULL);
        cr_expect(lb_key_equal(got, want), "%zu bytes", sanity[i].length);
        for (size_t at = 0; at < sanity[i].length; at += 7)
            lb_hash_bytes(hasher, bytes + at,
                          sanity[i].length - at < 7 ? sanity[i].length - at : 7);
        cr_expect(lb_key_equal(lb_hasher_key(hasher), want), "%zu bytes by sevens",
                  sanity[i].length);
        lb_hasher_free(&hasher);
        cr_expect(hasher == NULL);
    }
}

/* The canonical form of the xxHash repository (doc/xxhash_spec.md): big-endian, high half first. */
Test(hash, key_text_is_canonical)
{
    char text[LB_KEY_TEXT];

    cr_expect_str_eq(lb_key_text(lb_key_of(NULL, 0), text), "99aa06d3014798d86001c324468d497f");
}

static lb_key key_of_two(const char *a, const char *b)
{
    lb_hasher *hasher = lb_hasher_new();
    lb_key key;

    cr_assert(hasher != NULL);
    lb_hash_string(hasher, a);
    lb_hash_string(hasher, b);
    key = lb_hasher_key(hasher);
    lb_hasher_free(&hasher);
    return key;
}

Test(hash, strings_cannot_run_together)
{
    cr_expect(!lb_key_equal(key_of_two("ab", "c"), key_of_two("a", "bc")));
    cr_expect(!lb_key_equal(key_of_two("", NULL), key_of_two(NULL, "")));
    cr_expect(!lb_key_equal(key_of_two("", ""), key_of_two(NULL, NULL)));
    cr_expect(lb_key_equal(key_of_two("ab", "c"), key_of_two("ab", "c")));
}

static lb_key key_of_number(double value)
{
    lb_hasher *hasher = lb_hasher_new();
    lb_key key;

    cr_assert(hasher != NULL);
    lb_hash_u64(hasher, 1);
    lb_hasher_reset(hasher);
    lb_hash_f64(hasher, value);
    key = lb_hasher_key(hasher);
    lb_hasher_free(&hasher);
    return key;
}

Test(hash, equal_numbers_hash_alike)
{
    cr_expect(lb_key_equal(key_of_number(0.0), key_of_number(-0.0)));
    cr_expect(lb_key_equal(key_of_number(NAN), key_of_number(-NAN)));
    cr_expect(!lb_key_equal(key_of_number(1.0), key_of_number(nextafter(1.0, 2.0))));
}

/* XXH3's definition works on little-endian words, so a number's key is that of its eight bytes. */
Test(hash, numbers_go_in_little_endian)
{
    static const unsigned char bytes[8] = {8, 7, 6, 5, 4, 3, 2, 1};
    lb_hasher *hasher = lb_hasher_new();

    cr_assert(hasher != NULL);
    lb_hash_u64(hasher, UINT64_C(0x0102030405060708));
    cr_expect(lb_key_equal(lb_hasher_key(hasher), lb_key_of(bytes, sizeof bytes)));
    lb_hasher_free(&hasher);
}

/* NIST, "Cryptographic Standards and Guidelines: examples with intermediate values", SHA-256 (one
 * block, two blocks), and the empty and million-letter messages of its test vectors. */
Test(hash, sha256_meets_the_published_examples)
{
    char text[LB_SHA256_TEXT];
    const char *two = "abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq";
    char *million = lb_alloc(1000000, 1);

    lb_sha256_text("abc", 3, text);
    cr_expect_str_eq(text, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    lb_sha256_text(two, strlen(two), text);
    cr_expect_str_eq(text, "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
    lb_sha256_text(NULL, 0, text);
    cr_expect_str_eq(text, "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
    cr_assert(million != NULL);
    memset(million, 'a', 1000000);
    lb_sha256_text(million, 1000000, text);
    cr_expect_str_eq(text, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
    lb_free(million);
}

/* The lengths around the padding, as sha256sum of coreutils answers for that many letters 'x'. */
Test(hash, sha256_pads_every_length)
{
    static const struct {
        size_t length;
        const char *text;
    } rows[] = {
        {1, "2d711642b726b04401627ca9fbac32f5c8530fb1903cc4db02258717921a4881"},
        {55, "d5e285683cd4efc02d021a5c62014694958901005d6f71e89e0989fac77e4072"},
        {56, "04c26261370ee7541549d16dee320c723e3fd14671e66a099afe0a377c16888e"},
        {57, "ae14a2563ccf969d99aca69ce6bb74981f734bbf9f655f73b8f06db68cab5217"},
        {63, "75220b47218278e656f2013bb8f0c455a25eaf01e86c64924e9d48d89776d6f2"},
        {64, "7ce100971f64e7001e8fe5a51973ecdfe1ced42befe7ee8d5fd6219506b5393c"},
        {65, "9537c5fdf120482f7d58d25e9ed583f52c02b4e304ea814db1633ad565aed7e9"},
        {119, "000b48d4edf0fa7bee3c6236ecd2785baa5db4eeb8bb54341b029e0d9fa5fb0c"},
        {120, "13f05a0b594787f5ecd315edc96141bd3243203d1b7d4f0836f37308b276ba98"},
        {127, "70156a14adbabf98cff3a71c7084b417abf057a8efd27329ca36b7202c87d81f"},
        {128, "24da1b81d0b16df6428eee73c69fcb2a93c76bc6df706f0c6670fe6bfe800464"},
    };
    char bytes[128], text[LB_SHA256_TEXT];

    memset(bytes, 'x', sizeof bytes);
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        lb_sha256_text(bytes, rows[i].length, text);
        cr_expect_str_eq(text, rows[i].text, "%zu bytes", rows[i].length);
    }
}

Test(hash, no_memory_is_told)
{
    lb_memory_fail_at(1);
    cr_expect(lb_hasher_new() == NULL);
    lb_memory_fail_at(0);
}
