/* tests/lang/messages.h: what a diag has to say, as text. */
#ifndef LB_TESTS_LANG_MESSAGES_H
#define LB_TESTS_LANG_MESSAGES_H

#include <stdlib.h>
#include <string.h>

#include "engine/base/status.h"

/* All messages, one a line, without the source lines; free(). */
static inline char *messages_of(lb_diag *diag)
{
    char *printed = NULL, *kept = NULL;
    size_t size = 0, used = 0;
    FILE *out = open_memstream(&printed, &size);

    if (!out)
        abort();
    lb_diag_print(diag, out, false);
    fclose(out);
    kept = calloc(size + 1, 1);
    if (!kept)
        abort();
    for (char *line = printed, *end; *line; line = end) {
        end = line + strcspn(line, "\n");
        end += *end != 0;
        if (strstr(line, " | ") && line[0] == ' ' && strstr(line, " | ") < end)
            continue; /* "   12 | text" and the caret's line */
        memcpy(kept + used, line, (size_t)(end - line));
        used += (size_t)(end - line);
    }
    free(printed);
    return kept;
}

#endif
