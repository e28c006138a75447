/* lang/diff_work.h: what the files of the diff share. Not a public header. */
#ifndef LB_LANG_DIFF_WORK_H
#define LB_LANG_DIFF_WORK_H

#include "lang/diff_value.h"

typedef struct lb_differ {
    const lb_op *const *ops;
    lb_diff *diff;
    const char *part; /* being compared; NULL: the graph itself */
    lb_renames nodes, params;
    const lb_yaml_node *parts[2]; /* of both files, for what a use takes */
    bool failed;                  /* no memory */
} lb_differ;

/* Where a difference is. */
typedef struct lb_diff_place {
    const char *section, *name, *path;
    lb_loc old_loc, new_loc; /* of what holds it */
} lb_diff_place;

/* diff_compare.c. NULL: no memory, which d->failed tells. */
lb_change *lb_diff_tell(lb_differ *d, lb_change_kind kind, const lb_diff_place *at);
/* A value on one line, by its new names; NULL for NULL. */
const char *lb_diff_shown(lb_differ *d, const lb_yaml_node *node, const lb_param *param);
/* A value that differs as a whole; NULL is not given. */
void lb_diff_tell_value(lb_differ *d, const lb_diff_place *at, const lb_yaml_node *a,
                        const lb_yaml_node *b, const lb_param *param, lb_change_kind kind);
/* Tells what two values differ in, as deep as they are alike. NULL is not given. */
void lb_diff_compare(lb_differ *d, const lb_diff_place *at, const lb_yaml_node *a,
                     const lb_yaml_node *b, const lb_param *param);
/* The same key by key. `param` may have fields. */
void lb_diff_compare_keys(lb_differ *d, const lb_diff_place *at, const lb_yaml_node *a,
                          const lb_yaml_node *b, const lb_param *param);
/* The same of references to nodes. */
void lb_diff_compare_input(lb_differ *d, const lb_diff_place *at, const lb_yaml_node *a,
                           const lb_yaml_node *b);
/* A mapping that is no value of the forms {param}, {expr} and {keys}. */
bool lb_diff_is_mapping(const lb_yaml_node *node);

#endif
