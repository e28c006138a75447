/* tests/determinism/ledger.h: lines of hashes, and how they differ from those that are expected. */
#ifndef LB_TESTS_DETERMINISM_LEDGER_H
#define LB_TESTS_DETERMINISM_LEDGER_H

#include "engine/graph/graph.h"

/* One line: GRAPH FRAME WHAT OPERATOR.VERSION HASH. WHAT is a node, or @ and an output. */
typedef struct ledger_line {
    char graph[64], what[72], op[72];
    int32_t frame, version;
    char hash[LB_KEY_TEXT];
} ledger_line;

typedef struct ledger {
    ledger_line *lines;
    size_t count, capacity;
} ledger;

bool ledger_add(ledger *book, const ledger_line *line);
void ledger_sort(ledger *book); /* by graph, frame, what */
void ledger_print(const ledger *book, FILE *out);
bool ledger_read(ledger *book, const char *path);
const ledger_line *ledger_find(const ledger *book, const char *graph, int32_t frame,
                               const char *what); /* of a sorted one; NULL */
void ledger_clear(ledger *book);

/* Says which operators make other pixels than expected though nothing that they read has changed,
 * and what to do about it. Answers how many lines of `got` that concerns. Both are sorted. */
size_t ledger_explain(const ledger *got, const ledger *want, const lb_graph *const *graphs,
                      const char *const *names, int32_t graph_count, FILE *out);

#endif
