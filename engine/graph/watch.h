/* engine/graph/watch.h: who follows a frame while it is made. */
#ifndef LB_GRAPH_WATCH_H
#define LB_GRAPH_WATCH_H

#include <stdint.h>

/* Told from any thread, several at once. */
typedef struct lb_watch {
    void *context;
    /* So many pieces of work are to come, whatever was said before: said again when a frame turns
     * out to be too much for the memory and is made in parts. */
    void (*planned)(void *context, int64_t count);
    /* A piece of work begins: `node`, with the neighbours that are run as one with it. */
    void (*begun)(void *context, const char *node);
    /* A piece of work is done; also one that was not begun because nothing was left to compute. */
    void (*ended)(void *context);
} lb_watch;

#endif
