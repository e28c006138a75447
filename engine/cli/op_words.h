/* engine/cli/op_words.h: what an operator's table says, in words. */
#ifndef LB_CLI_OP_WORDS_H
#define LB_CLI_OP_WORDS_H

#include "engine/base/text.h"
#include "engine/graph/op.h"

/* A parameter's initial value as a graph would write it; nothing when there is none to show. */
void lb_op_put_initial(lb_text *out, const lb_param *param);
/* "0 to 1000, usually 0 to 10", "at least 0", or nothing. */
void lb_op_put_range(lb_text *out, const lb_param *param);
/* The operator's example as a whole graph that can be run; nothing if it has none. */
void lb_op_put_example(lb_text *out, const lb_op *op);

/* The operators in the order of their groups, then of their names; NULL-ended, the caller's
 * (lb_free). NULL: no memory. */
LB_MUST_CHECK const lb_op **lb_ops_by_group(const lb_op *const *list);
/* What the operators of a group are for: "pictures from files, type and formulas". */
const char *lb_op_group_text(const char *group);

#endif
