/* lang/name_map.h: from names to numbers. */
#ifndef LB_LANG_NAME_MAP_H
#define LB_LANG_NAME_MAP_H

#include "engine/base/memory.h"

/* Keys are lent and must outlive the map. Zero-initialise; free with lb_name_map_clear. */
typedef struct lb_name_map {
    struct lb_name_slot {
        const char *name;
        size_t length;
        int32_t value;
    } * slots;
    size_t capacity, count; /* capacity is 0 or a power of two, at most half full */
} lb_name_map;

/* Adds a name, or leaves the one that is there. *existing is what the name stood for before, -1 if
 * it is new; may be NULL. Values are >= 0. False: no memory. */
LB_MUST_CHECK bool lb_name_map_add(lb_name_map *map, const char *name, size_t length, int32_t value,
                                   int32_t *existing);
/* Gives a name another value, or adds it. */
LB_MUST_CHECK bool lb_name_map_set(lb_name_map *map, const char *name, size_t length,
                                   int32_t value);
int32_t lb_name_map_find(const lb_name_map *map, const char *name, size_t length); /* -1: none */
void lb_name_map_clear(lb_name_map *map);

#endif
