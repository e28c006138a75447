/* engine/graph/ledger.h: what kept values hold, counted once.
 *
 * Values share: a grade passes its depth on, a scene holds the materials that were made before it,
 * textures that differ in their mapping have the same texels. */
#ifndef LB_GRAPH_LEDGER_H
#define LB_GRAPH_LEDGER_H

#include "engine/graph/value.h"

/* A piece of memory that several values may hold. */
typedef struct lb_part {
    const void *at; /* what tells it from others */
    size_t bytes;
    struct lb_part *next; /* the ledger's */
} lb_part;

/* The parts of one value, none twice. */
typedef struct lb_parts {
    lb_part *items;
    size_t count, capacity;
    size_t bytes; /* of all */
} lb_parts;
LB_MUST_CHECK lb_status lb_parts_of(lb_value value, lb_parts *out); /* LB_MEMORY */
void lb_parts_clear(lb_parts *parts);

/* Thread-safe. Entering and leaving allocate nothing; the parts stay where they are until they
 * leave, and the value holds them as long. */
typedef struct lb_ledger lb_ledger;
LB_MUST_CHECK lb_status lb_ledger_new(lb_ledger **out);
void lb_ledger_free(lb_ledger **ledger);
size_t lb_ledger_enter(lb_ledger *ledger, lb_parts *parts); /* bytes that were not held before */
size_t lb_ledger_leave(lb_ledger *ledger, lb_parts *parts); /* bytes that are held no more */

#endif
