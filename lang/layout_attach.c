/* lang/layout_attach.c: which comment belongs to what. One pass over values and comments, both in
 * the order of the text. */
#include "lang/layout.h"

typedef struct walk {
    lb_layout_comment *at, *end; /* comments that nobody has yet */
} walk;

static void add_lead(lb_layout_entry *entry, lb_layout_comment *comment)
{
    comment->next = NULL;
    if (entry->lead)
        entry->lead_last->next = comment;
    else
        entry->lead = comment;
    entry->lead_last = comment;
}

/* To the lines above an entry, when it stood within: directly above, without a blank line. */
static void raise(lb_layout_entry *entry, lb_layout_comment *comment)
{
    comment->is_after_blank = entry->is_after_blank;
    entry->is_after_blank = false;
    add_lead(entry, comment);
}

static void add_tail(lb_layout_entry *entry, lb_layout_comment *comment)
{
    if (entry->head) {
        raise(entry, entry->head);
        entry->head = NULL;
    }
    entry->tail = comment;
    comment->next = NULL;
}

static void attach_members(walk *w, lb_layout_node *node, int32_t outer_column, size_t limit);

/* Comments between the key or dash and the value, in it and behind it on its last line. `limit` is
 * where what follows begins. */
static void attach_value(walk *w, lb_layout_entry *entry, int32_t outer_column, size_t limit)
{
    lb_layout_node *node = entry->value;
    bool is_inside = node->count > 0;
    size_t until = is_inside ? node->entries[0].begin : node->end;

    for (; w->at < w->end && w->at->begin < until; w->at++) {
        lb_layout_comment *comment = w->at;

        if (!comment->is_own_line && !entry->head) {
            entry->head = comment;
            comment->next = NULL;
        } else if (is_inside) {
            break; /* of the first member */
        } else {
            raise(entry, comment);
        }
    }
    if (is_inside)
        attach_members(w, node, outer_column, node->is_flow ? node->end : limit);
    if (w->at < w->end && !w->at->is_own_line && w->at->begin >= node->end && w->at->begin < limit)
        add_tail(entry, w->at++);
    if (!is_inside && entry->head && !entry->tail) {
        entry->tail = entry->head;
        entry->head = NULL;
    }
}

/* What stands alone between a dash and the first of several lines goes above the dash. */
static void raise_from_first(lb_layout_entry *item)
{
    const lb_layout_node *node = item->value;
    lb_layout_comment *next;

    if (node->count == 0 || node->anchor || node->tag || item->head || item->tail)
        return;
    for (lb_layout_comment *comment = node->entries[0].lead; comment; comment = next) {
        next = comment->next;
        raise(item, comment);
    }
    node->entries[0].lead = node->entries[0].lead_last = NULL;
}

/* A comment behind a block belongs to it if it stands as deep as its entries, which must be deeper
 * than those of the block around it. */
static bool is_foot(const lb_layout_node *node, const lb_layout_comment *comment,
                    int32_t outer_column)
{
    return node->is_flow ||
           (comment->is_own_line && node->column > outer_column && comment->column >= node->column);
}

static void attach_members(walk *w, lb_layout_node *node, int32_t outer_column, size_t limit)
{
    lb_layout_comment **foot = &node->foot;
    int32_t column = node->is_flow ? outer_column : node->column;

    for (int32_t i = 0; i < node->count; i++) {
        lb_layout_entry *entry = &node->entries[i];

        for (; w->at < w->end && w->at->begin < entry->begin; w->at++)
            add_lead(entry, w->at);
        attach_value(w, entry, column, i + 1 < node->count ? node->entries[i + 1].begin : limit);
        if (!entry->key)
            raise_from_first(entry);
    }
    for (; w->at < w->end && w->at->begin < limit && is_foot(node, w->at, outer_column); w->at++) {
        *foot = w->at;
        foot = &w->at->next;
    }
}

void lb_layout_attach(lb_layout *layout, const lb_layout_marks *marks)
{
    walk w = {marks->comments, marks->comments + marks->comment_count};
    lb_layout_entry *root = &layout->root;
    const lb_layout_node *node = root->value;
    lb_layout_comment **foot = &layout->foot;
    bool is_bare = !node->is_flow && node->count > 0 && !node->anchor && !node->tag;

    /* Above a bare block they are its first entry's. */
    for (; !is_bare && w.at < w.end && w.at->begin < node->begin; w.at++)
        add_lead(root, w.at);
    attach_value(&w, root, -1, SIZE_MAX);
    for (; w.at < w.end; w.at++) {
        *foot = w.at;
        foot = &w.at->next;
    }
}
