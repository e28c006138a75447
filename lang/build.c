/* lang/build.c: faults, hints and checks that all parts of the build share. */
#include "lang/build.h"

#include <stdarg.h>
#include <string.h>

#include "engine/base/text.h"

void lb_build_fail(lb_build *build, lb_status status, lb_loc loc, const char *format, ...)
{
    lb_text text = {0};
    char spare[256];
    va_list args, again;
    int length;

    va_start(args, format);
    va_copy(again, args);
    length = vsnprintf(spare, sizeof spare, format, args);
    if (length >= (int)sizeof spare && (text.bytes = lb_alloc((size_t)length + 1, 1)))
        vsnprintf(text.bytes, (size_t)length + 1, format, again);
    va_end(again);
    va_end(args);
    lb_fail(build->diag, status, loc, "%s", text.bytes ? text.bytes : spare);
    lb_text_clear(&text);
    lb_build_ok(build, status);
}

/* Notes below what was just reported: where the part is used or the file included that it is in. A
 * fault that was told before, for another use, has its notes already. */
static void note_place(lb_build *build)
{
    int32_t told = lb_diag_count(build->diag, LB_ERROR);
    const lb_body *body = build->body;

    if (told > build->told) {
        if (build->outer)
            lb_note(build->diag, build->outer->loc,
                    "the file has a param of that name; a part sees only its own, so pass it in");
        if (build->unit)
            lb_graph_note(build->graph, build->unit->index, build->diag);
        else if (body && body->part && body->part->used.line > 0)
            lb_note(build->diag, body->part->used, "part '%s' is used here", body->part->used_as);
        else if (body && body->document->includer)
            lb_note(build->diag, body->document->included, "the file is included here");
        else if (!body)
            lb_graph_note(build->graph, 0, build->diag);
    }
    build->told = told;
    build->outer = NULL;
}

bool lb_build_ok(lb_build *build, lb_status status)
{
    if (status == LB_OK)
        return true;
    if (build->status == LB_OK)
        build->status = status;
    if (status == LB_MEMORY)
        build->is_over = true;
    note_place(build);
    return false;
}

void *lb_build_alloc(lb_build *build, size_t count, size_t size)
{
    void *memory = lb_arena_alloc(build->arena, count ? count : 1, size);

    if (!memory)
        lb_build_fail(build, LB_MEMORY, (lb_loc){.file = build->file}, "no memory");
    return memory;
}

bool lb_build_spend(lb_build *build, int64_t values, int64_t bytes, lb_loc loc)
{
    build->grown += values + bytes / 32;
    if (build->grown > LB_MAX_GROWN && !build->is_over) {
        lb_build_fail(build, LB_LIMIT, loc,
                      "the graph grows over %d values here, what is in parts and files counted as "
                      "often as they are used",
                      LB_MAX_GROWN);
        build->is_over = true;
    }
    return !build->is_over;
}

bool lb_build_grow(lb_build *build, void **items, size_t *capacity, size_t count, size_t size)
{
    size_t wanted = *capacity ? *capacity * 2 : 64;
    void *grown;

    if (count < *capacity)
        return true;
    if (!(grown = lb_build_alloc(build, wanted, size)))
        return false;
    if (count > 0)
        memcpy(grown, *items, count * size);
    *items = grown;
    *capacity = wanted;
    return true;
}

char *lb_build_join(lb_build *build, const char *a, const char *b)
{
    size_t first = strlen(a), second = strlen(b);
    char *joined = lb_build_alloc(build, first + second + 1, 1);

    if (!joined)
        return NULL;
    memcpy(joined, a, first);
    memcpy(joined + first, b, second);
    return joined;
}

/* One letter is near to any other. */
static bool is_worth_a_hint(const char *name)
{
    size_t length = strnlen(name, LB_NAME_MAX + 1);

    return length > 1 && length <= LB_NAME_MAX;
}

const char *lb_build_hint(lb_build *build, const char *name, const char *const *candidates,
                          size_t count, char buffer[LB_HINT])
{
    const char *nearest = NULL;

    buffer[0] = 0;
    if (!is_worth_a_hint(name) || build->compared + count > LB_MAX_COMPARED)
        return buffer;
    build->compared += count;
    nearest = lb_text_nearest(name, candidates, count);
    if (nearest && strlen(nearest) <= LB_NAME_MAX)
        snprintf(buffer, LB_HINT, "; did you mean '%s'?", nearest);
    return buffer;
}

const char *lb_build_map_hint(lb_build *build, const char *name, const lb_name_map *map,
                              char buffer[LB_HINT])
{
    const char **names;

    buffer[0] = 0;
    if (map->count == 0 || !is_worth_a_hint(name) ||
        build->compared + map->count > LB_MAX_COMPARED ||
        !(names = lb_alloc(map->count, sizeof *names)))
        return buffer;
    for (size_t i = 0; i < map->capacity; i++)
        if (map->slots[i].name && (size_t)map->slots[i].value < map->count)
            names[map->slots[i].value] = map->slots[i].name; /* in the order of the file */
    lb_build_hint(build, name, names, map->count, buffer);
    lb_free(names);
    return buffer;
}

const char *lb_build_found(const lb_yaml_node *node, char buffer[LB_FOUND])
{
    switch (node->kind) {
    case LB_YAML_LIST:
        return "a list";
    case LB_YAML_MAPPING:
        return "a mapping";
    case LB_YAML_BROKEN:
        return "nothing";
    case LB_YAML_SCALAR:
        break;
    }
    if (node->type == LB_SCALAR_NULL)
        return "empty";
    snprintf(buffer, LB_FOUND, node->type == LB_SCALAR_TEXT ? "'%.60s'" : "%.60s", node->text);
    return buffer;
}

bool lb_build_expect(lb_build *build, const lb_yaml_node *node, lb_yaml_kind kind,
                     const char *owner)
{
    static const char *const takes[] = {"one word", "a list", "a mapping", ""};
    char buffer[LB_FOUND];

    if (node->kind == kind && (kind != LB_YAML_SCALAR || node->type != LB_SCALAR_NULL))
        return true;
    if (node->kind == LB_YAML_BROKEN)
        lb_build_ok(build, LB_INVALID);
    else
        lb_build_fail(build, LB_INVALID, node->loc, "'%.60s' is %s; it takes %s", owner,
                      lb_build_found(node, buffer), takes[kind]);
    return false;
}

void lb_build_check_keys(lb_build *build, const lb_yaml_node *mapping, const char *const *keys,
                         const char *owner)
{
    lb_name_map map = {0};
    size_t count = 0;
    char hint[LB_HINT];

    for (; keys[count]; count++)
        if (!lb_name_map_add(&map, keys[count], strlen(keys[count]), 0, NULL)) {
            lb_build_fail(build, LB_MEMORY, mapping->loc, "no memory");
            break;
        }
    for (int32_t i = 0; i < mapping->count && !build->is_over; i++) {
        const lb_yaml_node *key = mapping->entries[i].key;

        if (lb_name_map_find(&map, key->text, key->length) < 0)
            lb_build_fail(build, LB_INVALID, key->loc, "'%.60s' has no key '%.60s'%s", owner,
                          key->text, lb_build_hint(build, key->text, keys, count, hint));
    }
    lb_name_map_clear(&map);
}

void lb_build_check_table(lb_build *build, const lb_yaml_node *mapping, const lb_input *inputs,
                          const lb_param *params, const char *owner, bool is_node)
{
    size_t count = (size_t)lb_inputs_count(inputs) + (size_t)lb_params_count(params), used = 0;
    const char **names = lb_alloc(count + 2, sizeof *names);

    if (!names) {
        lb_build_fail(build, LB_MEMORY, mapping->loc, "no memory");
        return;
    }
    for (; inputs && inputs->name; inputs++)
        names[used++] = inputs->name;
    for (; params && params->name; params++)
        names[used++] = params->name;
    if (is_node)
        names[used] = "op";
    lb_build_check_keys(build, mapping, names, owner);
    lb_free(names);
}

bool lb_build_check_name(lb_build *build, const lb_yaml_node *key)
{
    const char *text = key->text;
    size_t length = 0;

    for (; text[length]; length++) {
        char c = text[length];
        bool is_letter = (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '_';

        if (!is_letter && (length == 0 || (c != '-' && (c < '0' || c > '9'))))
            break;
    }
    if (text[length] || length == 0) {
        lb_build_fail(build, LB_INVALID, key->loc,
                      "'%.60s' is not a name: letters, digits, _ and -, a letter or _ first", text);
        return false;
    }
    if (length > LB_NAME_MAX) {
        lb_build_fail(build, LB_LIMIT, key->loc, "a name has at most %d characters", LB_NAME_MAX);
        return false;
    }
    return true;
}
