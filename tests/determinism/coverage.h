/* tests/determinism/coverage.h: which operators, and which of their ways, a set of graphs uses. */
#ifndef LB_TESTS_DETERMINISM_COVERAGE_H
#define LB_TESTS_DETERMINISM_COVERAGE_H

#include "engine/graph/graph.h"

typedef struct coverage coverage;

coverage *coverage_new(const lb_op *const *ops); /* the registry, lent; NULL: no memory */
void coverage_free(coverage **seen);

/* Looks at every node of the graph at its first frame. False: reported. */
bool coverage_add(coverage *seen, const lb_graph *graph, lb_diag *diag);

/* Prints what no graph has had: an operator, a name of a choice, a true or false, an optional input
 * that was never connected (or always). Answers how many things that is. */
int coverage_report(const coverage *seen, FILE *out);

#endif
