/* engine/graph/heap.h: a heap whose nodes lie in what is kept, so that nothing is ever allocated.
 *
 * A pairing heap: Fredman, Sedgewick, Sleator and Tarjan, "The pairing heap: a new form of
 * self-adjusting heap", Algorithmica 1 (1986). Inserting takes constant time, removing O(log n)
 * amortised, finding the least none. Not thread-safe. */
#ifndef LB_GRAPH_HEAP_H
#define LB_GRAPH_HEAP_H

#include <stdbool.h>
#include <stdint.h>

typedef struct lb_heap_node {
    double worth;  /* not NaN; set by the owner before inserting, and not changed while inside */
    uint64_t turn; /* of two of equal worth the one with the lower turn is less */
    struct lb_heap_node *child, *next, *before; /* the heap's own */
} lb_heap_node;

bool lb_heap_is_less(const lb_heap_node *a, const lb_heap_node *b);
/* *heap is the least node; NULL: empty. */
void lb_heap_insert(lb_heap_node **heap, lb_heap_node *node);
/* Any node that is inside. */
void lb_heap_remove(lb_heap_node **heap, lb_heap_node *node);

#endif
