/* engine/base/memory_account.h: what memory.c and block.c share; for these two only. */
#ifndef LB_BASE_MEMORY_ACCOUNT_H
#define LB_BASE_MEMORY_ACCOUNT_H

#include "engine/base/memory.h"

/* Counts one allocation of this thread for lb_memory_fail_at; false: this is the one to fail. */
LB_MUST_CHECK bool lb_account_may_allocate(void);

/* Enters `bytes` as handed out, giving pooled blocks back if the budget needs them; false: the
 * budget has no room, and nothing is entered. */
LB_MUST_CHECK bool lb_account_take(size_t bytes);
void lb_account_give(size_t bytes);

/* Bytes of blocks that wait in the pool. */
size_t lb_blocks_pooled(void);

#endif
