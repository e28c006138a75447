/* lang/yaml_alias.c: anchors and aliases. */
#include <string.h>

#include "lang/yaml_reader.h"

void lb_yaml_add_anchor(lb_yaml_reader *r, const char *anchor, lb_yaml_node *node)
{
    const char *name;

    if (!anchor)
        return;
    name = lb_arena_strdup(r->arena, anchor);
    if (!name ||
        !lb_grow((void **)&r->anchored, &r->anchored_capacity, r->anchored_count,
                 sizeof(lb_yaml_node *)) ||
        !lb_name_map_set(&r->anchors, name, strlen(name), (int32_t)r->anchored_count)) {
        lb_yaml_no_memory(r);
        return;
    }
    r->anchored[r->anchored_count++] = node;
}

void lb_yaml_read_alias(lb_yaml_reader *r, const yaml_event_t *event)
{
    const char *name = (const char *)event->data.alias.anchor;
    lb_loc loc = lb_yaml_loc(r, event->start_mark.index, event->end_mark.index);
    int32_t at = lb_name_map_find(&r->anchors, name, strlen(name));
    lb_yaml_node *node = at >= 0 ? r->anchored[at] : NULL;

    if (node && node->is_open) {
        lb_yaml_note(
            r, lb_fail(r->diag, LB_INVALID, loc, "alias '*%.60s' stands inside its anchor", name));
        node = NULL;
    } else if (!node) {
        lb_yaml_note(
            r, lb_fail(r->diag, LB_INVALID, loc, "no anchor '&%.60s' before this alias", name));
    } else if (r->depth + node->height > LB_YAML_MAX_DEPTH) {
        lb_yaml_give_up(r, lb_fail(r->diag, LB_LIMIT, loc, "nested more than %d levels deep",
                                   LB_YAML_MAX_DEPTH));
        return;
    }
    if (!node && !(node = lb_yaml_new(r, LB_YAML_BROKEN, loc)))
        return;
    lb_yaml_visit(r, node, loc);
    lb_yaml_attach(r, node);
}
