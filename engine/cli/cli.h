/* engine/cli/cli.h: the program: what its commands share. */
#ifndef LB_CLI_CLI_H
#define LB_CLI_CLI_H

#include "engine/graph/operators.h"
#include "engine/graph/run.h"
#include "lang/lang.h"

/* Exit status, as diff and grep have it. */
enum {
    LB_EXIT_GOOD = 0,
    LB_EXIT_NO = 1,      /* errors in the graph, files differ, a check failed */
    LB_EXIT_TROUBLE = 2, /* usage, cannot read or write, out of memory, stopped */
};
int lb_exit_of(lb_status status);

typedef struct lb_command {
    const char *name, *usage, *summary;
    int (*run)(int argc, char **argv); /* argv[0] is the command's name */
} lb_command;
extern const lb_command lb_command_render, lb_command_check, lb_command_audit, lb_command_ops,
    lb_command_info, lb_command_cache;

/* Reports wrong usage: what, then the command's usage line, to standard error. LB_EXIT_TROUBLE. */
int lb_usage(const lb_command *command, const char *format, ...) LB_PRINTF(2, 3);

/* Prints the messages collected so far to standard error, coloured on a terminal unless NO_COLOR
 * is set. */
void lb_print_messages(lb_diag *diag);

/* An option's value: "--name value" or "--name=value". Answers true when argv[*at] is that option,
 * *value its value (NULL: it is missing) and *at the last word used. */
bool lb_option(int argc, char **argv, int *at, const char *name, const char **value);

#define LB_MAX_SETTINGS 256
/* "NAME=VALUE" onto the end of a list with room for LB_MAX_SETTINGS; the text is cut in two where
 * it lies. NULL, or what is wrong with it. */
const char *lb_setting_add(lb_setting *settings, int32_t *count, char *text);

/* The built-in operators and those of the shared objects that --operators named. */
#define LB_MAX_OBJECTS 64
LB_MUST_CHECK lb_status lb_operators_open(lb_diag *diag, const char *const *paths, int32_t count,
                                          lb_operators **out);
/* One more such path; NULL, or what is wrong. */
const char *lb_object_add(const char **paths, int32_t *count, const char *path);

/* "1-270,300" into frames, in the order given; the caller's (lb_free). False: not a range. */
bool lb_frames_parse(const char *text, int32_t **out, int32_t *count);
/* "4G", "512M", "1000000" bytes. */
bool lb_bytes_parse(const char *text, size_t *out);
/* "1/2", "0.5". */
bool lb_scale_parse(const char *text, double *out);

#endif
