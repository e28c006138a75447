/* lang/output_table.h: what an output takes beside `image` and `layers`. */
#ifndef LB_LANG_OUTPUT_TABLE_H
#define LB_LANG_OUTPUT_TABLE_H

#include "engine/graph/op.h"

/* Ended by {0}. */
const lb_param *lb_output_table(void);

#endif
