/* engine/cli/cli.c: what the commands share. */
#include "engine/cli/cli.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

int lb_exit_of(lb_status status)
{
    switch (status) {
    case LB_OK:
        return LB_EXIT_GOOD;
    case LB_INVALID:
    case LB_FORMAT:
    case LB_UNSUPPORTED:
    case LB_LIMIT:
        return LB_EXIT_NO;
    default:
        return LB_EXIT_TROUBLE;
    }
}

#define MOST_MESSAGES 100 /* errors, and warnings, that are shown at once */

/* no-color.org: any value that is not empty. A dumb terminal would show what makes colours. */
bool lb_wants_color(int descriptor)
{
    const char *no_color = getenv("NO_COLOR"), *term = getenv("TERM");

    return isatty(descriptor) && !(no_color && *no_color) && !(term && !strcmp(term, "dumb"));
}

void lb_print_messages(lb_diag *diag)
{
    bool color = lb_wants_color(STDERR_FILENO);
    char *text = NULL;
    size_t size = 0;
    FILE *memory = open_memstream(&text, &size); /* standard error writes every byte by itself */

    lb_diag_set_limit(diag, MOST_MESSAGES);
    lb_diag_print(diag, memory ? memory : stderr, color);
    if (memory && fclose(memory) == 0)
        fwrite(text, 1, size, stderr);
    free(text);
}
