/* engine/cli/op_pages.h: the reference of the operators as Markdown pages with pictures. */
#ifndef LB_CLI_OP_PAGES_H
#define LB_CLI_OP_PAGES_H

#include "engine/cli/session.h"

/* Writes into `folder`, which is there: README.md, and of each of the session's operators NAME.md
 * and, if it has an example, NAME.png: the picture that the example makes, whose files are looked
 * for in the folder. Reports what fails. */
LB_MUST_CHECK lb_status lb_op_pages_write(lb_session *session, const char *folder);

#endif
