/* engine/media/prefix_code.c: prefix codes of limited length by package-merge: L. Larmore and
 * D. Hirschberg, "A Fast Algorithm for Optimal Length-Limited Huffman Codes", Journal of the ACM
 * 37(3), 1990. */
#include "engine/media/prefix_code.h"

#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

/* A leaf for sorting: its count above its symbol, so that no two are equal. */
#define SYMBOL_BITS 9

static int compare_leaves(const void *a, const void *b)
{
    uint64_t x = *(const uint64_t *)a, y = *(const uint64_t *)b;

    return (x > y) - (x < y);
}

/* One step: the leaves and pairs of what the last step has, in order of weight. Answers how many
 * there are; is_leaf says of each which it is. Behind the leaves stands what is heavier than all.
 */
static int32_t merge(const uint64_t *leaves, int32_t leaf_count, const uint64_t *last,
                     int32_t last_count, uint64_t *out, bool *is_leaf)
{
    int32_t pair_count = last_count / 2, total = leaf_count + pair_count, leaf = 0, pair = 0;
    uint64_t pairs[LB_PREFIX_SYMBOLS + 1];

    for (int32_t i = 0; i < pair_count; i++)
        pairs[i] = last[2 * i] + last[2 * i + 1];
    pairs[pair_count] = UINT64_MAX;
    for (int32_t i = 0; i < total; i++) {
        uint64_t lone = leaves[leaf] >> SYMBOL_BITS, both = pairs[pair];
        bool lone_first = lone <= both;

        is_leaf[i] = lone_first;
        out[i] = lone_first ? lone : both;
        leaf += lone_first;
        pair += !lone_first;
    }
    return total;
}

void lb_prefix_lengths(const uint32_t *counts, int32_t symbols, int32_t most, uint8_t *lengths)
{
    uint64_t leaves[LB_PREFIX_SYMBOLS + 1], weights[2][2 * LB_PREFIX_SYMBOLS];
    bool is_leaf[LB_PREFIX_BITS][2 * LB_PREFIX_SYMBOLS];
    int32_t leaf_count = 0, taken, count = 0;

    memset(lengths, 0, (size_t)symbols);
    for (int32_t i = 0; i < symbols; i++)
        if (counts[i] > 0)
            leaves[leaf_count++] = (uint64_t)counts[i] << SYMBOL_BITS | (uint64_t)i;
    qsort(leaves, (size_t)leaf_count, sizeof *leaves, compare_leaves);
    leaves[leaf_count] = UINT64_MAX;
    if (leaf_count == 1)
        lengths[leaves[0] & ((1 << SYMBOL_BITS) - 1)] = 1;
    if (leaf_count < 2)
        return;
    for (int32_t step = 0; step < most; step++)
        count = merge(leaves, leaf_count, weights[(step & 1) ^ 1], count, weights[step & 1],
                      is_leaf[step]);
    /* The lightest 2n - 2 of the last step; a pair stands for two of the step before. A leaf that
     * is taken is one bit of its symbol, and the lightest are taken first. */
    taken = 2 * leaf_count - 2;
    for (int32_t step = most - 1; step >= 0; step--) {
        int32_t lone = 0;

        for (int32_t i = 0; i < taken; i++)
            lone += is_leaf[step][i];
        for (int32_t i = 0; i < lone; i++)
            lengths[leaves[i] & ((1 << SYMBOL_BITS) - 1)]++;
        taken = 2 * (taken - lone);
    }
}

void lb_prefix_words(const uint8_t *lengths, int32_t symbols, uint32_t *words)
{
    uint32_t next[LB_PREFIX_BITS + 1] = {0}, of_length[LB_PREFIX_BITS + 1] = {0};

    for (int32_t i = 0; i < symbols; i++)
        of_length[lengths[i]]++;
    of_length[0] = 0;
    for (int32_t bits = 1; bits <= LB_PREFIX_BITS; bits++)
        next[bits] = (next[bits - 1] + of_length[bits - 1]) << 1;
    for (int32_t i = 0; i < symbols; i++) {
        uint32_t word = lengths[i] ? next[lengths[i]]++ : 0, turned = 0;

        for (int32_t bit = 0; bit < lengths[i]; bit++)
            turned |= (word >> bit & 1) << (lengths[i] - 1 - bit);
        words[i] = turned | (uint32_t)lengths[i] << 16;
    }
}
