/* engine/scene/triple_table.c: three numbers to the order in which they first came. */
#include <string.h>

#include "engine/scene/polygons.h"

void lb_triple_table_clear(lb_triple_table *table)
{
    lb_free(table->slots);
    *table = (lb_triple_table){0};
}

/* Products by large odd numbers, folded: the multiplicative way of hashing. */
static size_t home_of(int32_t a, int32_t b, int32_t c, size_t capacity)
{
    uint64_t h = (uint64_t)(uint32_t)a * 0x9E3779B97F4A7C15u;

    h = (h ^ (h >> 32) ^ (uint32_t)b) * 0xC2B2AE3D27D4EB4Fu;
    h = (h ^ (h >> 29) ^ (uint32_t)c) * 0x165667B19E3779F9u;
    return (size_t)(h ^ (h >> 32)) & (capacity - 1);
}

static bool grow(lb_triple_table *table)
{
    lb_triple_table bigger = {.capacity = table->capacity ? table->capacity * 2 : 64,
                              .count = table->count};

    if (!(bigger.slots = lb_alloc(bigger.capacity, sizeof *bigger.slots)))
        return false;
    for (size_t i = 0; i < table->capacity; i++) {
        const struct lb_triple_slot *slot = &table->slots[i];
        size_t at;

        if (!slot->value)
            continue;
        at = home_of(slot->key[0], slot->key[1], slot->key[2], bigger.capacity);
        while (bigger.slots[at].value)
            at = (at + 1) & (bigger.capacity - 1);
        bigger.slots[at] = *slot;
    }
    lb_free(table->slots);
    *table = bigger;
    return true;
}

lb_status lb_triple_table_find(lb_triple_table *table, int32_t a, int32_t b, int32_t c,
                               int32_t *value)
{
    struct lb_triple_slot *slot;
    size_t at;

    if ((size_t)table->count * 2 >= table->capacity && !grow(table))
        return LB_MEMORY;
    at = home_of(a, b, c, table->capacity);
    for (; (slot = &table->slots[at])->value; at = (at + 1) & (table->capacity - 1))
        if (slot->key[0] == a && slot->key[1] == b && slot->key[2] == c) {
            *value = slot->value - 1;
            return LB_OK;
        }
    if (table->count == INT32_MAX)
        return LB_LIMIT;
    *slot = (struct lb_triple_slot){{a, b, c}, table->count + 1};
    *value = table->count++;
    return LB_OK;
}
