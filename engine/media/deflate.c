/* engine/media/deflate.c: DEFLATE by literals and runs alone.
 *
 * What a filter leaves of a picture with grain has no strings worth a search, only values that are
 * more or less frequent; looking for strings, and keeping what is found until a code is made, is
 * most of what general compressors do. Here a block is read twice: once to count, once to write.
 * Sections are those of RFC 1951. */
#include "engine/media/deflate.h"

#include <string.h>

#include "engine/base/clones.h"
#include "engine/media/prefix_code.h"

#define BLOCK_MOST 65472 /* bytes; a stored block (3.2.4) has at most 65535 */
#define RUN_LEAST 8      /* shorter ones are fewer bits as literals where they are frequent */
#define RUN_MOST 258
#define STEP 64 /* bytes that are looked at together for runs; BLOCK_MOST is a multiple */

#define LITERALS 256
#define END_OF_BLOCK 256
#define SYMBOLS 286
#define WORD_MOST 14 /* bits of a codeword: four, and 7 that wait, fit into 64 */
#define LENGTH_SYMBOLS 19
#define LENGTH_WORD_MOST 7

/* Bits on their way; after a flush fewer than 8 wait. */
typedef struct writer {
    uint8_t *at;
    uint64_t waiting;
    int32_t count;
} writer;

/* What a block's header says (3.2.7): the lengths of its codewords, themselves coded. */
typedef struct header {
    uint8_t symbols[SYMBOLS + 1], values[SYMBOLS + 1]; /* with the value of the extra bits */
    uint8_t lengths[LENGTH_SYMBOLS];
    int32_t count, symbol_count, length_count; /* the last two: of each alphabet what is sent */
    uint64_t bits;
} header;

static const uint8_t length_extra[LENGTH_SYMBOLS] = {[16] = 2, [17] = 3, [18] = 7};
static const uint8_t length_order[LENGTH_SYMBOLS] = {16, 17, 18, 0, 8,  7, 9,  6, 10, 5,
                                                     11, 4,  12, 3, 13, 2, 14, 1, 15};

static uint64_t load_64(const uint8_t *at)
{
    uint64_t value;

    memcpy(&value, at, sizeof value);
    return value;
}

static uint64_t load_64_low_first(const uint8_t *at)
{
    uint64_t value = 0;

    for (int i = 0; i < 8; i++)
        value |= (uint64_t)at[i] << 8 * i;
    return value;
}

/* ------------------------------------------------------------------- bits */

/* At most 56 bits between flushes. */
static void add(writer *w, uint64_t value, int32_t bits)
{
    w->waiting |= value << w->count;
    w->count += bits;
}

static void add_word(writer *w, uint32_t word)
{
    add(w, word & 0xffff, (int32_t)(word >> 16));
}

static void flush(writer *w)
{
    for (int i = 0; i < 8; i++) /* one store where the machine's order is this one */
        w->at[i] = (uint8_t)(w->waiting >> 8 * i);
    w->at += w->count >> 3;
    w->waiting >>= w->count & ~7;
    w->count &= 7;
}

static void put(writer *w, uint64_t value, int32_t bits)
{
    add(w, value, bits);
    flush(w);
}

/* 3.2.4: a block of bytes as they are. */
static void put_stored(writer *w, const uint8_t *bytes, size_t count, bool is_last)
{
    put(w, is_last, 3);
    put(w, 0, -w->count & 7);
    put(w, count | (~(uint64_t)count & 0xffff) << 16, 32);
    memcpy(w->at, bytes, count);
    w->at += count;
}

/* ------------------------------------------------------------------- runs */

/* A block, and a bit for each of its bytes where a run may begin: it and the next, RUN_LEAST of
 * them, are all equal to the one before it. */
typedef struct block {
    const uint8_t *bytes; /* of the whole piece */
    size_t begin, end;
    uint64_t runs[BLOCK_MOST / STEP + 1]; /* the last is 0 */
} block;

/* flags[i]: whether here[i] is equal to the byte before it. */
LB_CLONES
static void flag_repeats(uint8_t *restrict flags, const uint8_t *restrict here)
{
    for (int i = 0; i < STEP; i++)
        flags[i] = here[i] == here[i - 1];
}

/* The same for STEP bytes as bits; none of those that are not there. */
static uint64_t repeats_at(const uint8_t *bytes, size_t at, size_t end)
{
    uint8_t flags[STEP] = {0};
    uint64_t bits = 0;

    if (at > 0 && at + STEP <= end)
        flag_repeats(flags, bytes + at);
    else
        for (size_t i = at > 0 ? 0 : 1; at + i < end && i < STEP; i++)
            flags[i] = bytes[at + i] == bytes[at + i - 1];
    for (int i = 0; i < STEP; i += 8) /* the factor moves bit 8 k to bit 56 + k */
        bits |= (load_64_low_first(flags + i) * 0x0102040810204080U >> 56) << i;
    return bits;
}

static void find_runs(block *b)
{
    uint64_t *runs = b->runs;

    for (size_t at = b->begin; at < b->end; at += STEP)
        *runs++ = repeats_at(b->bytes, at, b->end);
    *runs = 0;
    /* Two in a row, four in a row, eight in a row. */
    for (runs = b->runs; runs < b->runs + (b->end - b->begin + STEP - 1) / STEP; runs++) {
        uint64_t low = runs[0], high = runs[1];

        for (int shift = 1; shift < RUN_LEAST; shift *= 2) {
            low &= low >> shift | high << (STEP - shift);
            high &= high >> shift;
        }
        *runs = low;
    }
}

/* Where the next run from `at` on begins, and its length; the block's end and 0: no more. */
static size_t next_run(const block *b, size_t at, size_t *length)
{
    const uint8_t *bytes = b->bytes;
    size_t place = at - b->begin, steps = (b->end - b->begin + STEP - 1) / STEP, last;
    uint64_t rest;

    *length = 0;
    if (at >= b->end)
        return b->end;
    rest = b->runs[place / STEP] >> place % STEP << place % STEP;
    for (place /= STEP; rest == 0; rest = b->runs[place])
        if (++place == steps)
            return b->end;
    at = b->begin + place * STEP + (size_t)__builtin_ctzll(rest);
    last = at + RUN_LEAST;
    while (last + 8 <= b->end && load_64(bytes + last) == load_64(bytes + last - 1))
        last += 8;
    while (last < b->end && bytes[last] == bytes[last - 1])
        last++;
    *length = last - at;
    return at;
}

/* How many of the run's bytes one match takes; too few are left as literals: 0. */
static uint32_t match_of(size_t length)
{
    return length >= RUN_MOST ? RUN_MOST : length < RUN_LEAST ? 0 : (uint32_t)length;
}

/* 3.2.5: the symbol of a length from 3 to 258, its extra bits and their number. */
static int32_t length_symbol(uint32_t length, uint32_t *extra, int32_t *extra_bits)
{
    uint32_t over = length - 3;
    int32_t bits = 0;

    *extra = *extra_bits = 0;
    if (length == RUN_MOST)
        return 285;
    while (over >> bits >= 8)
        bits++;
    *extra_bits = bits;
    *extra = over & ((1U << bits) - 1);
    return 257 + 4 * bits + (int32_t)(over >> bits);
}

/* ----------------------------------------------------------------- blocks */

/* Four tables, so that equal bytes in a row do not wait for each other. */
static void count_literals(uint32_t counts[4][LITERALS], const uint8_t *bytes, size_t count)
{
    size_t i = 0;

    for (; i + 8 <= count; i += 8) {
        uint64_t eight = load_64(bytes + i);

        for (int k = 0; k < 8; k++)
            counts[k & 3][eight >> 8 * k & 0xff]++;
    }
    for (; i < count; i++)
        counts[0][bytes[i]]++;
}

/* What the block consists of; answers the extra bits of lengths and the bits of distances. */
static uint64_t count_block(const block *b, uint32_t *counts)
{
    uint32_t tables[4][LITERALS] = {{0}}, match, extra;
    uint64_t bits = 0;
    int32_t extra_bits;

    memset(counts, 0, SYMBOLS * sizeof *counts);
    for (size_t at = b->begin, length, run; at < b->end;) {
        run = next_run(b, at, &length);
        count_literals(tables, b->bytes + at, run - at);
        for (at = run; (match = match_of(length)) > 0; at += match, length -= match) {
            counts[length_symbol(match, &extra, &extra_bits)]++;
            bits += (uint64_t)extra_bits + 1;
        }
    }
    for (int i = 0; i < LITERALS; i++)
        counts[i] = tables[0][i] + tables[1][i] + tables[2][i] + tables[3][i];
    counts[END_OF_BLOCK] = 1;
    return bits;
}

static void put_literals(writer *w, const uint32_t *words, const uint8_t *bytes, size_t count)
{
    writer here = *w;
    size_t i = 0;

    for (; i + 4 <= count; i += 4) {
        for (int k = 0; k < 4; k++)
            add_word(&here, words[bytes[i + (size_t)k]]);
        flush(&here);
    }
    for (; i < count; i++) {
        add_word(&here, words[bytes[i]]);
        flush(&here);
    }
    *w = here;
}

static void put_block(writer *w, const uint32_t *words, const block *b)
{
    uint32_t match, extra;
    int32_t extra_bits;

    for (size_t at = b->begin, length, run; at < b->end;) {
        run = next_run(b, at, &length);
        put_literals(w, words, b->bytes + at, run - at);
        for (at = run; (match = match_of(length)) > 0; at += match, length -= match) {
            add_word(w, words[length_symbol(match, &extra, &extra_bits)]);
            put(w, extra, extra_bits + 1); /* and the codeword 0 of distance 1 */
        }
    }
    add_word(w, words[END_OF_BLOCK]);
    flush(w);
}

/* ---------------------------------------------------------------- headers */

static void add_length(header *h, int32_t symbol, int32_t value)
{
    h->symbols[h->count] = (uint8_t)symbol;
    h->values[h->count++] = (uint8_t)value;
}

/* 3.2.7: `repeats` times the same length, by the symbols for repetition where they help. */
static void add_lengths(header *h, uint8_t length, int32_t repeats)
{
    if (length > 0 && repeats > 0) {
        add_length(h, length, 0);
        repeats--;
    }
    while (repeats > 0) {
        int32_t most = length > 0 ? 6 : 138, now = repeats < most ? repeats : most;

        if (now < 3) {
            add_length(h, length, 0);
            now = 1;
        } else if (length > 0) {
            add_length(h, 16, now - 3);
        } else {
            add_length(h, now < 11 ? 17 : 18, now < 11 ? now - 3 : now - 11);
        }
        repeats -= now;
    }
}

/* Distances have one codeword, of one bit, which is used for all of them. */
static void make_header(header *h, const uint8_t *lengths)
{
    uint8_t all[SYMBOLS + 1];
    uint32_t counts[LENGTH_SYMBOLS] = {0};
    int32_t total;

    *h = (header){.symbol_count = SYMBOLS, .length_count = LENGTH_SYMBOLS};
    while (lengths[h->symbol_count - 1] == 0)
        h->symbol_count--;
    total = h->symbol_count + 1;
    memcpy(all, lengths, (size_t)h->symbol_count);
    all[h->symbol_count] = 1;
    for (int32_t i = 0, next; i < total; i = next) {
        for (next = i + 1; next < total && all[next] == all[i];)
            next++;
        add_lengths(h, all[i], next - i);
    }
    for (int32_t i = 0; i < h->count; i++)
        counts[h->symbols[i]]++;
    lb_prefix_lengths(counts, LENGTH_SYMBOLS, LENGTH_WORD_MOST, h->lengths);
    while (h->lengths[length_order[h->length_count - 1]] == 0)
        h->length_count--;
    h->bits = 3 + 14 + 3 * (uint64_t)h->length_count;
    for (int32_t i = 0; i < LENGTH_SYMBOLS; i++)
        h->bits += (uint64_t)counts[i] * (uint64_t)(h->lengths[i] + length_extra[i]);
}

static void put_header(writer *w, const header *h, bool is_last)
{
    uint32_t words[LENGTH_SYMBOLS];

    put(w, (uint64_t)is_last | 2 << 1, 3);
    put(w, (uint64_t)(h->symbol_count - 257), 5);
    put(w, 0, 5); /* one distance */
    put(w, (uint64_t)(h->length_count - 4), 4);
    for (int32_t i = 0; i < h->length_count; i++)
        put(w, h->lengths[length_order[i]], 3);
    lb_prefix_words(h->lengths, LENGTH_SYMBOLS, words);
    for (int32_t i = 0; i < h->count; i++) {
        add_word(w, words[h->symbols[i]]);
        put(w, h->values[i], length_extra[h->symbols[i]]);
    }
}

/* Coded or as it is, whichever is smaller. */
static void make_block(writer *w, block *b, bool is_last)
{
    uint32_t counts[SYMBOLS], words[SYMBOLS];
    uint8_t lengths[SYMBOLS];
    uint64_t bits;
    header h;

    find_runs(b);
    bits = count_block(b, counts);
    lb_prefix_lengths(counts, SYMBOLS, WORD_MOST, lengths);
    make_header(&h, lengths);
    for (int i = 0; i < SYMBOLS; i++)
        bits += (uint64_t)counts[i] * lengths[i];
    if (h.bits + bits >= 8 * (uint64_t)(b->end - b->begin) + 3 + 7 + 32) {
        put_stored(w, b->bytes + b->begin, b->end - b->begin, is_last);
        return;
    }
    put_header(w, &h, is_last);
    lb_prefix_words(lengths, SYMBOLS, words);
    put_block(w, words, b);
}

size_t lb_deflate_bound(size_t count)
{
    /* Each block may have to be stored, one that is empty ends the piece; a flush writes 8 bytes.
     */
    return count + (count / BLOCK_MOST + 2) * 6 + 8;
}

size_t lb_deflate_runs(const uint8_t *bytes, size_t count, bool is_last, uint8_t *out)
{
    writer w = {.at = out};
    block b;

    b.bytes = bytes;
    for (b.begin = 0; b.begin < count; b.begin = b.end) {
        b.end = count - b.begin < BLOCK_MOST ? count : b.begin + BLOCK_MOST;
        make_block(&w, &b, is_last && b.end == count);
    }
    if (!is_last || count == 0)
        put_stored(&w, bytes, 0, is_last);
    put(&w, 0, -w.count & 7);
    return (size_t)(w.at - out);
}
