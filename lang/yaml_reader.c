/* lang/yaml_reader.c: nodes, places and faults of the YAML reader. */
#include "lang/yaml_reader.h"

#include <string.h>

void lb_yaml_note(lb_yaml_reader *r, lb_status status)
{
    if (r->status == LB_OK)
        r->status = status;
}

void lb_yaml_give_up(lb_yaml_reader *r, lb_status status)
{
    lb_yaml_note(r, status);
    r->is_over = true;
}

void lb_yaml_no_memory(lb_yaml_reader *r)
{
    lb_yaml_give_up(r, lb_fail(r->diag, LB_MEMORY, (lb_loc){.file = r->file}, "no memory"));
}

lb_loc lb_yaml_loc(const lb_yaml_reader *r, size_t start, size_t end)
{
    lb_place from = lb_place_of(&r->places, start), to = lb_place_of(&r->places, end);
    lb_loc loc = {r->file, from.line, from.column, 0};

    if (from.line == to.line) {
        loc.length = to.column - from.column;
    } else {
        const char *line = r->places.text + from.byte;
        const char *stop = memchr(line, '\n', r->places.bytes - from.byte);
        size_t bytes = stop ? (size_t)(stop - line) : r->places.bytes - from.byte;

        while (bytes > 0 && (line[bytes - 1] == ' ' || line[bytes - 1] == '\r'))
            bytes--;
        loc.length = (int32_t)lb_place_points(line, bytes);
    }
    return loc;
}

lb_yaml_node *lb_yaml_new(lb_yaml_reader *r, lb_yaml_kind kind, lb_loc loc)
{
    lb_yaml_node *node = lb_arena_alloc(r->arena, 1, sizeof *node);

    if (!node) {
        lb_yaml_no_memory(r);
        return NULL;
    }
    *node = (lb_yaml_node){.kind = kind, .loc = loc, .inner = loc, .size = 1, .height = 1};
    return node;
}

void lb_yaml_visit(lb_yaml_reader *r, const lb_yaml_node *node, lb_loc loc)
{
    r->visited += node->size;
    r->visited_bytes += node->bytes;
    if (r->visited > LB_YAML_MAX_NODES && !r->is_over)
        lb_yaml_give_up(r, lb_fail(r->diag, LB_LIMIT, loc, "more than %d values, aliases followed",
                                   LB_YAML_MAX_NODES));
    if (r->visited_bytes > LB_YAML_MAX_TEXT && !r->is_over)
        lb_yaml_give_up(r, lb_fail(r->diag, LB_LIMIT, loc,
                                   "more than %d MiB of text, aliases followed",
                                   (int)(LB_YAML_MAX_TEXT >> 20)));
}

void lb_yaml_attach(lb_yaml_reader *r, lb_yaml_node *node)
{
    lb_yaml_level *parent;

    if (r->depth == 0) {
        r->root = node;
        return;
    }
    parent = &r->levels[r->depth - 1];
    if (!lb_grow((void **)&parent->children, &parent->capacity, parent->count,
                 sizeof(lb_yaml_node *))) {
        lb_yaml_no_memory(r);
        return;
    }
    parent->children[parent->count++] = node;
}

void lb_yaml_check_tag(lb_yaml_reader *r, const char *tag, const char *const *allowed, lb_loc loc)
{
    static const char prefix[] = "tag:yaml.org,2002:";

    if (!tag || strcmp(tag, "!") == 0)
        return;
    if (strncmp(tag, prefix, sizeof prefix - 1) == 0)
        for (; *allowed; allowed++)
            if (strcmp(tag + sizeof prefix - 1, *allowed) == 0)
                return;
    lb_yaml_note(r, lb_fail(r->diag, LB_INVALID, loc, "the tag '%.60s' has no meaning here", tag));
}
