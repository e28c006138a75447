/* engine/cli/help.h: pages of help, from the tables. */
#ifndef LB_CLI_HELP_H
#define LB_CLI_HELP_H

#include "engine/cli/options.h"

#define LB_HELP_COLUMNS 80

/* "usage: lampblack NAME ...", with a line feed at its end; brief: options are not spelt out. */
void lb_help_usage(lb_text *out, const lb_command *command, bool is_brief);
/* The page of a command, and of the program. */
void lb_help_command(lb_text *out, const lb_command *command);
void lb_help_program(lb_text *out);

/* The three exit statuses in a sentence each; NULL: `command` never ends so. NULL: of all. */
const char *lb_help_exit(const lb_command *command, int status);

#endif
