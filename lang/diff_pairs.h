/* lang/diff_pairs.h: which things of two sections are the same thing. Not a public header. */
#ifndef LB_LANG_DIFF_PAIRS_H
#define LB_LANG_DIFF_PAIRS_H

#include "lang/diff_value.h"

typedef struct lb_pair {
    const lb_yaml_entry *a, *b; /* NULL: not in that file */
} lb_pair;

/* In the order of the new file, after those that only the old one has. */
typedef struct lb_pairs {
    int32_t count;
    lb_pair *items;
} lb_pairs;

/* How alike two things of different names are, from 0 to 1; 1: they are the same. `nodes` are the
 * names that are known to be others so far. */
typedef double (*lb_likeness_fn)(const lb_yaml_entry *a, const lb_yaml_entry *b,
                                 const lb_op *const *ops, const lb_spelling *spelling);

/* Pairs what has the same name; then, with a `likeness`, what is the same under another name. A
 * NULL section is empty. False: no memory. */
LB_MUST_CHECK bool lb_pairs_make(const lb_yaml_node *a, const lb_yaml_node *b,
                                 lb_likeness_fn likeness, const lb_op *const *ops,
                                 const lb_renames *params, lb_pairs *out);
void lb_pairs_clear(lb_pairs *pairs);

/* Values of params: the same or not. */
double lb_pairs_values(const lb_yaml_entry *a, const lb_yaml_entry *b, const lb_op *const *ops,
                       const lb_spelling *spelling);
/* Nodes: of one operator, by the share of keys that mean the same. */
double lb_pairs_nodes(const lb_yaml_entry *a, const lb_yaml_entry *b, const lb_op *const *ops,
                      const lb_spelling *spelling);

/* The operator of a node's mapping; NULL: none that is known. */
const lb_op *lb_diff_op(const lb_op *const *ops, const lb_yaml_node *node);

#endif
