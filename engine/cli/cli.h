/* engine/cli/cli.h: the program: what its commands share. */
#ifndef LB_CLI_CLI_H
#define LB_CLI_CLI_H

#include "engine/cli/commands.h"
#include "engine/cli/session.h"

/* Exit status, as diff and grep have it. */
enum {
    LB_EXIT_GOOD = 0,
    LB_EXIT_NO = 1,      /* errors in the graph, files differ, a check failed */
    LB_EXIT_TROUBLE = 2, /* usage, cannot read or write, out of memory, stopped */
};
int lb_exit_of(lb_status status);

/* Prints the messages collected so far to standard error, the first hundred of each severity,
 * coloured on a terminal unless NO_COLOR is set or the terminal is dumb. */
void lb_print_messages(lb_diag *diag);
/* Is it a terminal that may have colours? */
bool lb_wants_color(int descriptor);

#endif
