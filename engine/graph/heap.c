/* engine/graph/heap.c: a tree whose parents are less than their children.
 *
 * Children of a node are a list; `before` is the left neighbour, of the first child the parent. */
#include "engine/graph/heap.h"

#include <stddef.h>

bool lb_heap_is_less(const lb_heap_node *a, const lb_heap_node *b)
{
    return a->worth < b->worth || (a->worth == b->worth && a->turn < b->turn);
}

/* Of two trees one; either may be NULL. */
static lb_heap_node *meld(lb_heap_node *a, lb_heap_node *b)
{
    if (!a || !b)
        return a ? a : b;
    if (lb_heap_is_less(b, a)) {
        lb_heap_node *swap = a;

        a = b;
        b = swap;
    }
    b->before = a;
    b->next = a->child;
    if (b->next)
        b->next->before = b;
    a->child = b;
    return a;
}

/* Of a list of trees one: melds neighbours from the left, then the pairs from the right. */
static lb_heap_node *meld_list(lb_heap_node *first)
{
    lb_heap_node *pairs = NULL, *whole = NULL;

    while (first) {
        lb_heap_node *a = first, *b = a->next;

        first = b ? b->next : NULL;
        a->next = a->before = NULL;
        if (b)
            b->next = b->before = NULL;
        a = meld(a, b);
        a->next = pairs;
        pairs = a;
    }
    while (pairs) {
        lb_heap_node *rest = pairs->next;

        pairs->next = NULL;
        whole = meld(whole, pairs);
        pairs = rest;
    }
    return whole;
}

void lb_heap_insert(lb_heap_node **heap, lb_heap_node *node)
{
    node->child = node->next = node->before = NULL;
    *heap = meld(*heap, node);
}

void lb_heap_remove(lb_heap_node **heap, lb_heap_node *node)
{
    lb_heap_node *below = meld_list(node->child);

    if (node == *heap) {
        *heap = below;
    } else {
        if (node->before->child == node)
            node->before->child = node->next;
        else
            node->before->next = node->next;
        if (node->next)
            node->next->before = node->before;
        *heap = meld(*heap, below);
    }
    node->child = node->next = node->before = NULL;
}
