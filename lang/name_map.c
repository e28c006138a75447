/* lang/name_map.c: open addressing with linear probing. The hash is XXH3, so that a file made to
 * collide does not slow the parser down. */
#include "lang/name_map.h"

#include <string.h>

#include "engine/base/hash.h"

static struct lb_name_slot *find_slot(const lb_name_map *map, const char *name, size_t length)
{
    size_t mask = map->capacity - 1;
    size_t at = (size_t)lb_key_of(name, length).low & mask;

    while (map->slots[at].name &&
           (map->slots[at].length != length || memcmp(map->slots[at].name, name, length) != 0))
        at = (at + 1) & mask;
    return &map->slots[at];
}

static bool grow(lb_name_map *map)
{
    lb_name_map larger = {.capacity = map->capacity ? map->capacity * 2 : 16, .count = map->count};

    if ((map->count + 1) * 2 <= map->capacity)
        return true;
    if (!(larger.slots = lb_alloc(larger.capacity, sizeof *larger.slots)))
        return false;
    for (size_t i = 0; i < map->capacity; i++)
        if (map->slots[i].name)
            *find_slot(&larger, map->slots[i].name, map->slots[i].length) = map->slots[i];
    lb_free(map->slots);
    *map = larger;
    return true;
}

bool lb_name_map_add(lb_name_map *map, const char *name, size_t length, int32_t value,
                     int32_t *existing)
{
    struct lb_name_slot *slot;

    if (!grow(map))
        return false;
    slot = find_slot(map, name, length);
    if (existing)
        *existing = slot->name ? slot->value : -1;
    if (!slot->name) {
        *slot = (struct lb_name_slot){name, length, value};
        map->count++;
    }
    return true;
}

bool lb_name_map_set(lb_name_map *map, const char *name, size_t length, int32_t value)
{
    if (!lb_name_map_add(map, name, length, value, NULL))
        return false;
    find_slot(map, name, length)->value = value;
    return true;
}

int32_t lb_name_map_find(const lb_name_map *map, const char *name, size_t length)
{
    const struct lb_name_slot *slot;

    if (map->count == 0)
        return -1;
    slot = find_slot(map, name, length);
    return slot->name ? slot->value : -1;
}

void lb_name_map_clear(lb_name_map *map)
{
    lb_free(map->slots);
    *map = (lb_name_map){0};
}
