/* lang/yaml_mapping.c: keys, and what merge keys bring. */
#include <string.h>

#include "engine/base/hash.h"
#include "lang/yaml_reader.h"

#define FEW 8 /* entries that are looked through one by one */

static bool is_merge_key(const lb_yaml_node *key)
{
    return key->kind == LB_YAML_SCALAR && key->is_plain && strcmp(key->text, "<<") == 0;
}

/* Entries of `from` that `map` does not have yet go behind the mapping's own. */
static void merge_mapping(lb_yaml_reader *r, lb_yaml_node *node, lb_name_map *names,
                          const lb_yaml_node *from, size_t *capacity)
{
    if (from->kind == LB_YAML_BROKEN)
        return;
    if (from->kind != LB_YAML_MAPPING) {
        lb_yaml_note(r, lb_fail(r->diag, LB_INVALID, from->loc,
                                "'<<' takes a mapping or a list of mappings"));
        return;
    }
    for (int32_t i = 0; i < from->count && !r->is_over; i++) {
        const lb_yaml_entry *entry = &from->entries[i];
        int32_t existing = -1;

        if (!lb_name_map_add(names, entry->key->text, entry->key->length, node->count, &existing) ||
            !lb_grow((void **)&node->entries, capacity, (size_t)node->count,
                     sizeof *node->entries)) {
            lb_yaml_no_memory(r);
            return;
        }
        if (existing < 0)
            node->entries[node->count++] = (lb_yaml_entry){entry->key, entry->value, true};
    }
}

static void add_entry(lb_yaml_reader *r, lb_yaml_node *node, lb_name_map *names, lb_yaml_node *key,
                      lb_yaml_node *value)
{
    int32_t existing = -1;

    if (key->kind == LB_YAML_BROKEN)
        return;
    if (key->kind != LB_YAML_SCALAR) {
        lb_yaml_note(r, lb_fail(r->diag, LB_INVALID, key->loc, "a key is one word, not a %s",
                                key->kind == LB_YAML_LIST ? "list" : "mapping"));
        return;
    }
    if (key->length > LB_YAML_MAX_KEY) {
        lb_yaml_note(
            r, lb_fail(r->diag, LB_LIMIT, key->loc, "a key has at most %d bytes", LB_YAML_MAX_KEY));
        return;
    }
    if (!lb_name_map_add(names, key->text, key->length, node->count, &existing)) {
        lb_yaml_no_memory(r);
        return;
    }
    if (value->kind == LB_YAML_SCALAR && value->is_plain && value->length == 0)
        value->loc = value->inner = key->loc; /* nothing has no place of its own */
    if (existing < 0) {
        node->entries[node->count++] = (lb_yaml_entry){key, value, false};
        return;
    }
    lb_yaml_note(r, lb_fail(r->diag, LB_INVALID, key->loc, "'%.60s' is given twice", key->text));
    lb_note(r->diag, node->entries[existing].key->loc, "first here");
}

static size_t slot_count(const lb_yaml_node *node)
{
    size_t count = 16;

    while (count < 2 * (size_t)node->count)
        count *= 2;
    return count;
}

/* The slot of the entry with that key, or an empty one (0); others hold an entry's index + 1. */
static int32_t *find_slot(const lb_yaml_node *node, const char *key, size_t length)
{
    size_t mask = slot_count(node) - 1, at = (size_t)lb_key_of(key, length).low & mask;

    for (; node->slots[at] != 0; at = (at + 1) & mask) {
        const lb_yaml_node *other = node->entries[node->slots[at] - 1].key;

        if (other->length == length && memcmp(other->text, key, length) == 0)
            break;
    }
    return &node->slots[at];
}

static void index_entries(lb_yaml_reader *r, lb_yaml_node *node)
{
    if (node->count <= FEW || r->is_over)
        return;
    if (!(node->slots = lb_arena_alloc(r->arena, slot_count(node), sizeof *node->slots))) {
        lb_yaml_no_memory(r);
        return;
    }
    for (int32_t i = 0; i < node->count; i++)
        *find_slot(node, node->entries[i].key->text, node->entries[i].key->length) = i + 1;
}

/* Own entries first, then what merge keys bring (yaml.org/type/merge.html: own keys win, then
 * earlier mappings of a list). */
void lb_yaml_end_mapping(lb_yaml_reader *r, lb_yaml_level *top)
{
    lb_yaml_node *node = top->node;
    lb_name_map names = {0};
    size_t capacity = top->count / 2;
    lb_yaml_entry *kept = NULL;

    if (capacity > 0 && !(node->entries = lb_alloc(capacity, sizeof *node->entries)))
        lb_yaml_no_memory(r);
    for (size_t i = 0; i + 1 < top->count && !r->is_over; i += 2)
        if (!is_merge_key(top->children[i]))
            add_entry(r, node, &names, top->children[i], top->children[i + 1]);
    for (size_t i = 0; i + 1 < top->count && !r->is_over; i += 2) {
        const lb_yaml_node *from = top->children[i + 1];

        if (!is_merge_key(top->children[i]))
            continue;
        if (from->kind != LB_YAML_LIST)
            merge_mapping(r, node, &names, from, &capacity);
        for (int32_t k = 0; from->kind == LB_YAML_LIST && k < from->count; k++)
            merge_mapping(r, node, &names, from->items[k], &capacity);
    }
    if (node->count > 0 && !r->is_over) {
        kept = lb_arena_alloc(r->arena, (size_t)node->count, sizeof *kept);
        if (kept)
            memcpy(kept, node->entries, (size_t)node->count * sizeof *kept);
        else
            lb_yaml_no_memory(r);
    }
    lb_free(node->entries);
    node->entries = kept;
    index_entries(r, node);
    lb_name_map_clear(&names);
}

lb_yaml_node *lb_yaml_find(const lb_yaml_node *mapping, const char *key)
{
    if (mapping->slots) {
        int32_t at = *find_slot(mapping, key, strlen(key));

        return at > 0 ? mapping->entries[at - 1].value : NULL;
    }
    for (int32_t i = 0; i < mapping->count; i++)
        if (strcmp(mapping->entries[i].key->text, key) == 0)
            return mapping->entries[i].value;
    return NULL;
}
