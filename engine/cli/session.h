/* engine/cli/session.h: what a command works with, opened and closed in one place. */
#ifndef LB_CLI_SESSION_H
#define LB_CLI_SESSION_H

#include "engine/cli/options.h"
#include "engine/graph/operators.h"
#include "engine/graph/run.h"

typedef struct lb_session {
    const lb_command *command;
    lb_diag *diag;           /* its messages are printed when the command ends, if not before */
    lb_operators *operators; /* NULL until asked for, as is the rest */
    lb_pool *pool;
    lb_graph **graphs;
    int32_t graph_count;
    size_t graph_capacity;
    bool in_trouble; /* the exit status is LB_EXIT_TROUBLE whatever the command answers */
} lb_session;

/* Runs a command with the words from its own name on; the program's exit status. */
int lb_session_run(const lb_command *command, int argc, char **argv);

/* The built-in operators and those of the shared objects that --operators named. A failure is
 * trouble: it says nothing about a graph. */
LB_MUST_CHECK lb_status lb_session_operators(lb_session *session, const lb_texts *objects);

/* So many threads, 0: all processors. */
LB_MUST_CHECK lb_status lb_session_threads(lb_session *session, int32_t count);

/* Reads a graph with the session's operators, the built-in ones when none were asked for.
 * `settings` may be NULL. *out is lent until the session ends. */
LB_MUST_CHECK lb_status lb_session_graph(lb_session *session, const char *path,
                                         const lb_settings *settings, lb_graph **out);
/* One of its versions (NULL: none); with `all_versions` the others are checked too. */
LB_MUST_CHECK lb_status lb_session_version(lb_session *session, const char *path,
                                           const lb_settings *settings, const char *version,
                                           bool all_versions, lb_graph **out);

/* --memory is for the whole process: what it has already, its libraries with it, is taken off the
 * budget, and the heap gives back what is free. 0: nothing is done. */
void lb_session_keep_memory(size_t bytes);

/* A command's answer to standard output; a text that failed is LB_MEMORY, reported. Clears it. */
lb_status lb_session_print(lb_session *session, lb_text *text);

/* Wrong usage that the tables cannot tell: what, then the usage line. LB_INVALID, and trouble. */
lb_status lb_session_usage(lb_session *session, const char *format, ...) LB_PRINTF(2, 3);

#endif
