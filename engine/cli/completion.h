/* engine/cli/completion.h: scripts by which shells complete the program's command lines. */
#ifndef LB_CLI_COMPLETION_H
#define LB_CLI_COMPLETION_H

#include "engine/cli/options.h"

void lb_completion_bash(lb_text *out);
void lb_completion_zsh(lb_text *out);
void lb_completion_fish(lb_text *out);

/* What of the scripts does not depend on the tables: the files of engine/cli/shell. */
extern const char lb_shell_bash[], lb_shell_zsh[], lb_shell_fish[];

/* The first line of a script. */
void lb_completion_head(lb_text *out, const char *shell);
/* What `lampblack names` calls the names of that offer; NULL: they are not of its kinds. */
const char *lb_completion_kind(lb_offer offer);
/* The first clause of a row's doc, without its full stop, in single quotes of the shell: '\'' as
 * POSIX shells write a quote inside, \' as fish does. */
void lb_completion_quote(lb_text *out, const char *doc, bool is_fish);

#endif
