/* engine/base/arena.c: many small things with one life. */
#include "engine/base/memory.h"

#include <stdarg.h>
#include <string.h>

#define CHUNK_FIRST ((size_t)4 << 10)
#define CHUNK_MOST ((size_t)256 << 10)
#define ALIGNMENT _Alignof(max_align_t)

typedef struct chunk {
    struct chunk *next;
    size_t used, capacity;
    _Alignas(max_align_t) char bytes[];
} chunk;

struct lb_arena {
    chunk *chunks; /* the first is the one being filled */
    size_t next_capacity;
};

lb_arena *lb_arena_new(void)
{
    lb_arena *arena = lb_alloc(1, sizeof *arena);

    if (arena)
        arena->next_capacity = CHUNK_FIRST;
    return arena;
}

void lb_arena_free(lb_arena **arena)
{
    if (!arena || !*arena)
        return;
    while ((*arena)->chunks) {
        chunk *next = (*arena)->chunks->next;
        lb_free((*arena)->chunks);
        (*arena)->chunks = next;
    }
    lb_free(*arena);
    *arena = NULL;
}

/* A chunk with room for `bytes`. One made for a single big thing goes behind the first, whose rest
 * stays in use. */
static chunk *add_chunk(lb_arena *arena, size_t bytes)
{
    bool is_big = bytes > arena->next_capacity / 4;
    size_t capacity = is_big ? bytes : arena->next_capacity;
    size_t whole;
    chunk *added;

    if (!lb_size_add(sizeof(chunk), capacity, &whole))
        return NULL;
    added = lb_alloc(whole, 1);
    if (!added)
        return NULL;
    added->capacity = capacity;
    if (is_big && arena->chunks) {
        added->next = arena->chunks->next;
        arena->chunks->next = added;
    } else {
        added->next = arena->chunks;
        arena->chunks = added;
    }
    if (!is_big && arena->next_capacity < CHUNK_MOST)
        arena->next_capacity *= 2;
    return added;
}

void *lb_arena_alloc(lb_arena *arena, size_t count, size_t size)
{
    size_t bytes;
    chunk *from = arena->chunks;
    void *place;

    if (!count || !size || !lb_size_mul(count, size, &bytes) ||
        !lb_size_add(bytes, ALIGNMENT - 1, &bytes))
        return NULL;
    bytes &= ~(ALIGNMENT - 1);
    if (!from || from->capacity - from->used < bytes)
        from = add_chunk(arena, bytes);
    if (!from)
        return NULL;
    place = from->bytes + from->used;
    from->used += bytes;
    return place;
}

char *lb_arena_strdup(lb_arena *arena, const char *text)
{
    return text ? lb_arena_strndup(arena, text, strlen(text)) : NULL;
}

char *lb_arena_strndup(lb_arena *arena, const char *text, size_t bytes)
{
    char *copy;

    if (!text)
        return NULL;
    bytes = strnlen(text, bytes);
    copy = lb_arena_alloc(arena, bytes + 1, 1);
    if (copy)
        memcpy(copy, text, bytes);
    return copy;
}

char *lb_arena_printf(lb_arena *arena, const char *format, ...)
{
    va_list args;
    char *text;
    int length;

    va_start(args, format);
    length = vsnprintf(NULL, 0, format, args);
    va_end(args);
    if (length < 0)
        return NULL;
    text = lb_arena_alloc(arena, (size_t)length + 1, 1);
    if (!text)
        return NULL;
    va_start(args, format);
    vsnprintf(text, (size_t)length + 1, format, args);
    va_end(args);
    return text;
}
