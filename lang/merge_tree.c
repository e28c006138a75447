/* lang/merge_tree.c: the merged tree, made of nodes of both sides. */
#include <string.h>

#include "lang/merge_plan.h"

static lb_layout_entry *copy_entry(lb_merge *merge, const lb_layout_entry *entry)
{
    lb_layout_entry *copy = lb_arena_alloc(merge->arena, 1, sizeof *copy);

    if (copy)
        *copy = *entry;
    else
        merge->failed = true;
    return copy;
}

bool lb_merge_tree_entry(lb_merge *merge, const lb_merge_entry *e, bool prefers_ours,
                         lb_layout_entry **out, bool *emptied)
{
    const lb_layout_entry *from = e->ours;

    *out = NULL;
    if (e->action == LB_MERGE_ADD || (e->action == LB_MERGE_CONFLICT && !prefers_ours))
        from = e->theirs;
    if (e->action == LB_MERGE_DROP || !from)
        return true;
    if (!(*out = copy_entry(merge, from)))
        return false;
    if (e->takes_key)
        (*out)->key = e->theirs->key;
    if (e->takes_lead) {
        (*out)->lead = e->theirs->lead;
        if (!e->ours->lead || !e->theirs->lead)
            (*out)->is_after_blank = e->theirs->is_after_blank;
    }
    if (e->takes_remark) {
        (*out)->head = e->theirs->head;
        (*out)->tail = e->theirs->tail;
    }
    if (e->action == LB_MERGE_REPLACE)
        (*out)->value = e->theirs->value;
    if (e->action == LB_MERGE_INTO)
        (*out)->value = lb_merge_tree(merge, e->into, prefers_ours, emptied);
    return (*out)->value != NULL;
}

lb_layout_node *lb_merge_tree(lb_merge *merge, const lb_merge_mapping *mapping, bool prefers_ours,
                              bool *emptied)
{
    lb_layout_node *node = lb_arena_alloc(merge->arena, 1, sizeof *node);
    int32_t count = 0;

    for (const lb_merge_entry *e = mapping->first; e; e = e->next)
        count++;
    if (node)
        *node = *mapping->ours;
    if (!node ||
        !(node->entries = lb_arena_alloc(merge->arena, (size_t)count + 1, sizeof *node->entries))) {
        merge->failed = true;
        return NULL;
    }
    node->count = 0;
    for (const lb_merge_entry *e = mapping->first; e; e = e->next) {
        lb_layout_entry *entry;

        if (!lb_merge_tree_entry(merge, e, prefers_ours, &entry, emptied))
            return NULL;
        if (entry)
            node->entries[node->count++] = *entry;
    }
    if (mapping->takes_foot)
        node->foot = mapping->theirs->foot;
    if (node->count == 0) {
        *emptied |= !node->is_flow;
        node->is_flow = true;
        node->foot = NULL;
    }
    if (!lb_layout_sum(node)) {
        merge->failed = true;
        return NULL;
    }
    return node;
}
