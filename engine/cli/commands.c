/* engine/cli/commands.c: the list of commands. */
#include "engine/cli/commands.h"

#include <string.h>

#define LISTED(name) &lb_command_##name,
const lb_command *const lb_commands[] = {LB_COMMANDS(LISTED) NULL};

const lb_command *lb_command_find(const char *name)
{
    for (size_t i = 0; lb_commands[i]; i++)
        if (!strcmp(lb_commands[i]->name, name))
            return lb_commands[i];
    return NULL;
}
