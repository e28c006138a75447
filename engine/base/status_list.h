/* engine/base/status_list.h: what status*.c share; for these only. */
#ifndef LB_BASE_STATUS_LIST_H
#define LB_BASE_STATUS_LIST_H

#include <pthread.h>

#include "engine/base/memory.h"

#define LB_DIAG_FIRST 16       /* messages that fit without an allocation */
#define LB_DIAG_MOST (1 << 20) /* messages kept; the rest are only counted */

typedef struct message {
    char *text; /* `spare`, or memory of its own */
    lb_severity severity;
    lb_loc loc;
    uint32_t hash;
    int32_t parent;               /* of a note: the message it belongs to, or -1 */
    int32_t next_note, last_note; /* notes of one message are chained in the order they came */
    bool is_printed;
    int32_t order;      /* scratch of lb_diag_sort: messages[i].order is the i-th to be printed */
    int32_t file_order; /* and the place of its file among all */
    char spare[240];
} message;

/* A place that others are counted from. */
typedef struct source_mark {
    size_t byte;
    int32_t line, column; /* from 1 */
} source_mark;

typedef struct source {
    struct source *next;
    char *text; /* NULL: only the name is known */
    size_t bytes;
    size_t skipped;     /* bytes before the text: a byte order mark */
    int32_t order;      /* among the texts, as they were first registered */
    source_mark *marks; /* every few hundred bytes, made when first asked for; NULL: not yet */
    size_t mark_count;
    uint32_t hash;
    char name[];
} source;

typedef struct speaker {
    pthread_t thread;
    int32_t message;
} speaker;

struct lb_diag {
    pthread_mutex_t lock;
    source *sources;
    message *messages; /* first_messages, then memory of its own */
    int32_t message_count;
    size_t message_capacity;
    int32_t *slots;
    size_t slot_count;
    speaker *speakers;
    size_t speaker_count, speaker_capacity;
    int32_t counts[3];
    int32_t lost;
    int32_t text_count; /* sources with a text */
    int32_t limit;      /* of messages of a severity that are printed at once; 0: none */
    lb_status worst;
    message first_messages[LB_DIAG_FIRST];
};

/* NULL: no such source. */
source *lb_diag_find_source(const lb_diag *diag, const char *name);
/* The bytes of line `line`, without its end; false: there is no such line. Takes as long wherever
 * the line is, and however long it is. */
bool lb_source_line(source *s, int32_t line, size_t *begin, size_t *end);
/* The byte of a column of the line at begin .. end. */
size_t lb_source_byte(source *s, int32_t line, size_t begin, size_t end, int64_t column);
/* Puts the messages that were not printed, but for notes of such, into their order; their count. */
int32_t lb_diag_sort(lb_diag *diag);

#endif
