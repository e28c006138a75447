/* engine/base/status.h: what a function answers, and where messages go. */
#ifndef LB_BASE_STATUS_H
#define LB_BASE_STATUS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#define LB_MUST_CHECK __attribute__((warn_unused_result))
#define LB_PRINTF(text, first) __attribute__((__format__(__printf__, text, first)))

/* The one result type. LB_OK is 0, so `if ((status = f()))` reads as "if it failed". */
typedef enum lb_status {
    LB_OK = 0,
    LB_INVALID,     /* the graph or a file says something that has no meaning */
    LB_NOT_FOUND,   /* a file or a name that is not there */
    LB_IO,          /* the system could not read or write */
    LB_FORMAT,      /* a file is damaged or not what it claims to be */
    LB_UNSUPPORTED, /* well-formed, but beyond what this program does */
    LB_LIMIT,       /* larger than a stated limit */
    LB_MEMORY,      /* no room, by the budget or by the system */
    LB_CANCELLED,   /* someone asked to stop */
} lb_status;

/* A short English phrase for `status`, lent. */
const char *lb_status_text(lb_status status);

/* A place in a text file. `file` is lent by the lb_diag it was registered with, or is a constant;
 * NULL means no place. Lines and columns count from 1, columns in code points; `length` is how many
 * code points the caret underlines (0: one). line 0: the file as a whole. */
typedef struct lb_loc {
    const char *file;
    int32_t line, column, length;
} lb_loc;

#define LB_NOWHERE ((lb_loc){0})

typedef enum lb_severity { LB_NOTE, LB_WARNING, LB_ERROR } lb_severity;

/* Collects messages. Safe from any thread. */
typedef struct lb_diag lb_diag;

/* NULL when there is no memory. */
lb_diag *lb_diag_new(void);
void lb_diag_free(lb_diag **diag);

/* Registers a text so that messages can show its lines; copies both. Answers the diag's own copy of
 * the name, which lives as long as the diag and is what lb_loc.file wants. NULL: no memory. A byte
 * order mark at the beginning belongs to no line. */
const char *lb_diag_add_source(lb_diag *diag, const char *name, const char *text, size_t bytes);

/* A copy of `name` that lives as long as the diag (the same pointer for the same name). */
const char *lb_diag_intern(lb_diag *diag, const char *name);

/* Reports an error and answers `status`, so that a failure is told and returned in one line. A
 * message already reported for the same place with the same words is not repeated. `diag` may be
 * NULL: then nothing is kept. */
lb_status lb_fail(lb_diag *diag, lb_status status, lb_loc loc, const char *format, ...)
    LB_PRINTF(4, 5);
void lb_warn(lb_diag *diag, lb_loc loc, const char *format, ...) LB_PRINTF(3, 4);
/* A note belongs to the message before it from the same thread and is printed below it. */
void lb_note(lb_diag *diag, lb_loc loc, const char *format, ...) LB_PRINTF(3, 4);

int32_t lb_diag_count(const lb_diag *diag, lb_severity severity);
/* True if there is a message that lb_diag_print has not written yet. */
bool lb_diag_unprinted(const lb_diag *diag);

/* The worst status that lb_fail was given: LB_OK when there was none. I/O, memory and cancelling
 * are worse than answers about the graph, so that an exit status can be chosen. */
lb_status lb_diag_worst(const lb_diag *diag);

/* Ends `*from`: its names live on in `diag`, and so do its messages, in their order, if `keep`. */
void lb_diag_take(lb_diag *diag, lb_diag **from, bool keep);

/* Message `index`, from 0 in the order they came; equal ones are one. `text` is the caller's
 * (lb_free), NULL when there is no memory. False: there is no such message. */
typedef struct lb_message {
    lb_severity severity;
    lb_loc loc;
    char *text;
} lb_message;
LB_MUST_CHECK bool lb_diag_message(const lb_diag *diag, int32_t index, lb_message *out);

/* How many errors, and how many warnings, lb_diag_print writes at once; the rest of them is only
 * counted. 0, as it is at first: all. */
void lb_diag_set_limit(lb_diag *diag, int32_t limit);

/* Writes all messages that were not written before as
 *   file:line:column: error: message
 *      41 |     threshold: -0.5
 *         |                ^~~~
 * with colour when `color`. They are sorted by place: texts in the order they were registered,
 * other files by name, then what has no place. Tabs are shown as spaces; the caret stands right
 * where a terminal gives a character two cells or none. */
void lb_diag_print(lb_diag *diag, FILE *out, bool color);

#endif
