/* tests/engine/graph/test_heap.c: against sorting: what comes out is in order, whatever was put in
 * and taken out before. */
#include <criterion/criterion.h>
#include <stdlib.h>

#include "engine/graph/heap.h"

#define NODES 300

static int by_worth(const void *a, const void *b)
{
    const lb_heap_node *x = *(lb_heap_node *const *)a, *y = *(lb_heap_node *const *)b;

    return lb_heap_is_less(y, x) - lb_heap_is_less(x, y);
}

Test(heap, order)
{
    static lb_heap_node nodes[NODES];
    lb_heap_node *heap = NULL, *inside[NODES];
    uint64_t random = 1;
    int count = 0, steps = 0;

    for (int i = 0; i < NODES; i++) {
        nodes[i] = (lb_heap_node){.worth = (i * 7) % 50, .turn = (uint64_t)i};
        lb_heap_insert(&heap, &nodes[i]);
        inside[count++] = &nodes[i];
    }
    for (; count > 0; steps++) {
        int at;

        random = random * UINT64_C(6364136223846793005) + 1442695040888963407u; /* Knuth's MMIX */
        at = (int)((random >> 33) % (uint64_t)count);
        if (steps % 3 == 0) { /* any one gets another worth */
            lb_heap_remove(&heap, inside[at]);
            inside[at]->worth += (double)(random >> 60);
            lb_heap_insert(&heap, inside[at]);
        } else if (steps % 3 == 1) { /* any one goes */
            lb_heap_remove(&heap, inside[at]);
            inside[at] = inside[--count];
        } else { /* the least goes */
            qsort(inside, (size_t)count, sizeof *inside, by_worth);
            cr_assert_eq(heap, inside[0], "step %d", steps);
            lb_heap_remove(&heap, heap);
            inside[0] = inside[--count];
        }
    }
    cr_expect_null(heap);
    cr_expect_geq(steps, NODES);
}
