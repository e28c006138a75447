/* tests/engine/media/test_deflate.c: our DEFLATE, read by zlib's inflate and by libdeflate, which
 * both follow RFC 1951; sizes beside zlib's with the same means. */
#include <criterion/criterion.h>
#include <libdeflate.h>
#include <string.h>
#include <zlib.h>

#include "engine/base/random.h"
#include "engine/media/deflate.h"
#include "engine/media/prefix_code.h"

#define MOST ((size_t)300000)
#define GUARD 16 /* bytes behind the bound that must stay as they are */

typedef void (*filling)(uint8_t *bytes, size_t count);

static void constant(uint8_t *bytes, size_t count)
{
    memset(bytes, 77, count);
}

/* All values are as frequent: nothing can be gained, blocks are stored. */
static void white(uint8_t *bytes, size_t count)
{
    for (size_t i = 0; i < count; i++)
        bytes[i] = (uint8_t)(lb_random_float((uint32_t)i, 1, 2, 3) * 256);
}

/* Small values, most of them 0, as a filter leaves them. */
static void filtered(uint8_t *bytes, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        float v = lb_random_float((uint32_t)i, 5, 6, 7) - 0.5f;

        bytes[i] = (uint8_t)(int)(v * v * v * 100);
    }
}

/* Runs of every length up to 700, of bytes that change. */
static void runs(uint8_t *bytes, size_t count)
{
    size_t at = 0;

    for (size_t length = 1; at < count; length = length % 700 + 1)
        for (size_t i = 0; i < length && at < count; i++)
            bytes[at++] = (uint8_t)length;
}

/* Each value is 0.618 times as frequent as the one before it: the best code without a limit has
 * words of 23 bits. */
static void golden(uint8_t *bytes, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        float left = lb_random_float((uint32_t)i, 8, 9, 10);

        for (bytes[i] = 0; bytes[i] < 23 && left < 0.618f; bytes[i]++)
            left /= 0.618f;
    }
}

/* One value alone but for the first, and all values once. */
static void nearly_constant(uint8_t *bytes, size_t count)
{
    for (size_t i = 0; i < count; i++)
        bytes[i] = (uint8_t)(i < 256 ? i : 9);
}

static const struct {
    char name[16];
    filling fill;
} fillings[] = {
    {"constant", constant}, {"white", white},   {"filtered", filtered},
    {"runs", runs},         {"golden", golden}, {"nearly constant", nearly_constant},
};

static uint8_t bytes[MOST], back[MOST], packed[MOST + MOST / 8 + 1000], joined[2 * MOST + 1000];

/* Packs, looks whether what is beyond the bound was left alone. */
static size_t pack(size_t count, bool is_last)
{
    size_t room = lb_deflate_bound(count), size;

    cr_assert_leq(room + GUARD, sizeof packed);
    memset(packed + room, 0xa5, GUARD);
    size = lb_deflate_runs(bytes, count, is_last, packed);
    cr_assert_leq(size, room);
    for (size_t i = 0; i < GUARD; i++)
        cr_assert_eq(packed[room + i], 0xa5);
    return size;
}

static void expect_zlib_reads(const uint8_t *from, size_t size, size_t count, const char *name)
{
    z_stream stream = {.next_in = (uint8_t *)from, .avail_in = (uInt)size};

    stream.next_out = back;
    stream.avail_out = (uInt)MOST;
    cr_assert_eq(inflateInit2(&stream, -15), Z_OK);
    cr_expect_eq(inflate(&stream, Z_FINISH), Z_STREAM_END, "%s, %zu bytes", name, count);
    cr_expect_eq(stream.total_out, count, "%s, %zu bytes", name, count);
    cr_expect_eq(stream.avail_in, 0, "%s, %zu bytes", name, count);
    cr_expect_eq(memcmp(back, bytes, count), 0, "%s, %zu bytes", name, count);
    inflateEnd(&stream);
}

static void expect_libdeflate_reads(size_t size, size_t count, const char *name)
{
    struct libdeflate_decompressor *d = libdeflate_alloc_decompressor();
    size_t got = 0;

    cr_expect_eq(libdeflate_deflate_decompress(d, packed, size, back, MOST, &got),
                 LIBDEFLATE_SUCCESS, "%s, %zu bytes", name, count);
    cr_expect(got == count && memcmp(back, bytes, count) == 0, "%s, %zu bytes", name, count);
    libdeflate_free_decompressor(d);
}

/* Around the steps of runs and the ends of blocks (65472 bytes). */
Test(deflate, comes_back)
{
    static const size_t sizes[] = {65471, 65472, 65473, 65480, 130944, 130945, 200001, MOST};

    for (size_t f = 0; f < sizeof fillings / sizeof *fillings; f++) {
        const char *name = fillings[f].name;

        for (size_t count = 0; count < 300; count++) {
            fillings[f].fill(bytes, count);
            expect_zlib_reads(packed, pack(count, true), count, name);
        }
        for (size_t i = 0; i < sizeof sizes / sizeof *sizes; i++) {
            size_t size;

            fillings[f].fill(bytes, sizes[i]);
            size = pack(sizes[i], true);
            expect_zlib_reads(packed, size, sizes[i], name);
            expect_libdeflate_reads(size, sizes[i], name);
        }
    }
}

/* Pieces that do not end the stream, one after the other. */
Test(deflate, pieces_join)
{
    static const size_t cuts[] = {0, 1, 1, 70, 65542, 65543, 200000};

    for (size_t f = 0; f < sizeof fillings / sizeof *fillings; f++) {
        size_t total = 0;

        for (size_t i = 1; i < sizeof cuts / sizeof *cuts; i++) {
            size_t count = cuts[i] - cuts[i - 1], size;

            fillings[f].fill(bytes, count);
            size = pack(count, i == sizeof cuts / sizeof *cuts - 1);
            memcpy(joined + total, packed, size);
            total += size;
        }
        for (size_t i = sizeof cuts / sizeof *cuts - 1; i > 0; i--) { /* what it must be */
            fillings[f].fill(back, cuts[i] - cuts[i - 1]);
            memcpy(bytes + cuts[i - 1], back, cuts[i] - cuts[i - 1]);
        }
        expect_zlib_reads(joined, total, 200000, fillings[f].name);
    }
}

static size_t zlib_size(size_t count, int strategy)
{
    z_stream stream = {.next_in = bytes, .avail_in = (uInt)count};

    stream.next_out = joined;
    stream.avail_out = (uInt)sizeof joined;
    cr_assert_eq(deflateInit2(&stream, 6, Z_DEFLATED, -15, 9, strategy), Z_OK);
    cr_assert_eq(deflate(&stream, Z_FINISH), Z_STREAM_END);
    deflateEnd(&stream);
    return stream.total_out;
}

/* Not larger than zlib with the same means, but for the headers of twice as many blocks. */
Test(deflate, size)
{
    for (size_t f = 0; f < sizeof fillings / sizeof *fillings; f++) {
        size_t size, zlib;

        fillings[f].fill(bytes, MOST);
        size = pack(MOST, true);
        zlib = zlib_size(MOST, Z_RLE);
        cr_expect_leq(size, zlib + zlib / 500 + 400, "%s: %zu, zlib %zu", fillings[f].name, size,
                      zlib);
    }
}

/* What any best code must have: Kraft's sum is 1, and never more bits for what is more frequent.
 * The total for Fibonacci's numbers with a limit that does not bind is that of Huffman's code, by
 * hand: 1, 1, 2, 3, 5, 8 take 5, 5, 4, 3, 2, 1 bits; and D. Huffman's own rule gives 1, 1, 1, 1
 * two bits each. With a limit of 3 the six take 4 of 3 bits and 2 of 2: the two heaviest. */
Test(deflate, prefix_lengths)
{
    static const struct {
        uint32_t counts[8];
        int32_t symbols, most;
        uint8_t lengths[8];
    } rows[] = {
        {{1, 1, 2, 3, 5, 8}, 6, 15, {5, 5, 4, 3, 2, 1}},
        {{1, 1, 2, 3, 5, 8}, 6, 3, {3, 3, 3, 3, 2, 2}},
        {{1, 1, 1, 1}, 4, 15, {2, 2, 2, 2}},
        {{0, 7, 0}, 3, 15, {0, 1, 0}},
        {{0, 0}, 2, 15, {0, 0}},
        {{3, 0, 100}, 3, 7, {1, 0, 1}},
    };
    uint32_t counts[LB_PREFIX_SYMBOLS];
    uint8_t lengths[LB_PREFIX_SYMBOLS];

    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        lb_prefix_lengths(rows[i].counts, rows[i].symbols, rows[i].most, lengths);
        cr_expect_eq(memcmp(lengths, rows[i].lengths, (size_t)rows[i].symbols), 0, "row %zu", i);
    }
    for (uint32_t seed = 0; seed < 50; seed++) {
        double kraft = 0;

        for (int i = 0; i < LB_PREFIX_SYMBOLS; i++) {
            float v = lb_random_float((uint32_t)i, seed, 0, 0);

            counts[i] = (uint32_t)(v * v * v * v * v * v * v * v * 60000);
        }
        lb_prefix_lengths(counts, LB_PREFIX_SYMBOLS, 9 + (int32_t)(seed % 7), lengths);
        for (int i = 0; i < LB_PREFIX_SYMBOLS; i++) {
            cr_expect_eq(lengths[i] > 0, counts[i] > 0);
            cr_expect_leq(lengths[i], 9 + (int)(seed % 7));
            kraft += lengths[i] ? 1.0 / (1 << lengths[i]) : 0;
            for (int k = 0; k < i; k++)
                cr_assert(!counts[i] || counts[k] <= counts[i] || lengths[k] <= lengths[i]);
        }
        cr_expect_eq(kraft, 1.0, "seed %u", seed);
    }
}
