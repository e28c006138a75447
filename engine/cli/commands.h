/* engine/cli/commands.h: the commands, in the order in which a person meets them. */
#ifndef LB_CLI_COMMANDS_H
#define LB_CLI_COMMANDS_H

#include "engine/cli/options.h"

/* One row a command, which lb_command_NAME describes. */
/* clang-format off */
#define LB_COMMANDS(row) \
    row(check) \
    row(render) \
    row(audit) \
    row(info) \
    row(graph) \
    row(ops) \
    row(fmt) \
    row(diff) \
    row(merge) \
    row(schema) \
    row(cache) \
    row(names) \
    row(completion) \
    row(manual)
/* clang-format on */

#define LB_COMMAND_DECLARED(name) extern const lb_command lb_command_##name;
LB_COMMANDS(LB_COMMAND_DECLARED)

extern const lb_command *const lb_commands[]; /* NULL-ended */
const lb_command *lb_command_find(const char *name);

#endif
