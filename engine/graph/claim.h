/* engine/graph/claim.h: who is making what, so that frames in flight do not make the same twice. */
#ifndef LB_GRAPH_CLAIM_H
#define LB_GRAPH_CLAIM_H

#include "engine/base/hash.h"

/* The claimant's memory, lent from a successful claim to its end. */
typedef struct lb_claim {
    lb_key key;
    struct lb_claim *next;
} lb_claim;

/* Thread-safe; claiming allocates nothing. */
typedef struct lb_claims lb_claims;
LB_MUST_CHECK lb_status lb_claims_new(lb_claims **out); /* LB_MEMORY */
void lb_claims_free(lb_claims **claims);

/* True: nobody is making `key`, and from now on the caller is, until lb_claims_end. False: somebody
 * is. Never waits. */
LB_MUST_CHECK bool lb_claims_begin(lb_claims *claims, lb_key key, lb_claim *claim);
/* By any thread; `claim` may go after it. */
void lb_claims_end(lb_claims *claims, lb_claim *claim);

/* How many claims have ended so far: an atomic load, to be polled. It wraps around. */
uint32_t lb_claims_ended(const lb_claims *claims);
/* Sleeps until lb_claims_ended is not `seen` any more, at most `seconds`; true: it is not. */
bool lb_claims_wait(lb_claims *claims, uint32_t seen, double seconds);

#endif
