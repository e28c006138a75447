/* lang/merge_plan.h: what the files of the merge share. */
#ifndef LB_LANG_MERGE_PLAN_H
#define LB_LANG_MERGE_PLAN_H

#include "lang/layout.h"
#include "lang/merge.h"

/* One of the three texts, read. */
typedef struct lb_merge_source {
    lb_layout layout;
    const char *file; /* for messages */
    lb_place_index places;
} lb_merge_source;

typedef enum lb_merge_action {
    LB_MERGE_KEEP,    /* ours as it is, or without the value being touched */
    LB_MERGE_REPLACE, /* ours gets the value of theirs */
    LB_MERGE_INTO,    /* ours gets changes inside its value */
    LB_MERGE_DROP,
    LB_MERGE_ADD,
    LB_MERGE_CONFLICT,
} lb_merge_action;

typedef struct lb_merge_mapping lb_merge_mapping;

/* What becomes of one key. */
typedef struct lb_merge_entry {
    lb_merge_action action;
    const lb_layout_entry *base, *ours, *theirs; /* NULL: not there */
    lb_merge_mapping *into;
    bool takes_key;    /* theirs renamed it */
    bool takes_lead;   /* the comments above it are those of theirs */
    bool takes_remark; /* and the one beside it */
    struct lb_merge_entry *next;
} lb_merge_entry;

struct lb_merge_mapping {
    const lb_layout_node *base, *ours, *theirs; /* base may be NULL */
    lb_merge_entry *first; /* in the order of ours, with what theirs adds where it stood */
    bool is_changed;
    bool has_conflict;
    bool takes_foot;
};

typedef struct lb_merge {
    lb_diag *diag;
    lb_arena *arena;
    lb_merge_source base, ours, theirs;
    int32_t conflicts;
    bool failed; /* no memory */
} lb_merge;

/* merge_plan.c: decides about every key of three mappings; `base` may be NULL. Conflicts are
 * reported. NULL: no memory. */
lb_merge_mapping *lb_merge_plan(lb_merge *merge, const lb_layout_node *base,
                                const lb_layout_node *ours, const lb_layout_node *theirs,
                                int32_t depth, const char *path);
/* Is it a mapping whose keys differ? False too, with merge->failed, if there is no memory. */
bool lb_merge_can_enter(lb_merge *merge, const lb_layout_node *node);

/* merge_say.c: conflicts as messages. */
void lb_merge_say(lb_merge *merge, const lb_merge_entry *entry, const char *path);
void lb_merge_say_comment(lb_merge *merge, const lb_merge_entry *entry, const char *path);

/* merge_tree.c: the merged tree, as nodes that can be measured, printed and compared; where there
 * is a conflict, one side of it. NULL: no memory. *emptied: a block has lost all its entries. */
lb_layout_node *lb_merge_tree(lb_merge *merge, const lb_merge_mapping *mapping, bool prefers_ours,
                              bool *emptied);
/* The same for one entry, NULL in *out if it is not there on that side. */
LB_MUST_CHECK bool lb_merge_tree_entry(lb_merge *merge, const lb_merge_entry *entry,
                                       bool prefers_ours, lb_layout_entry **out, bool *emptied);

/* merge_write.c: the text of ours with all that changes. */
typedef enum lb_merge_mode {
    LB_MERGE_MARKED, /* both sides of a conflict between markers */
    LB_MERGE_OURS,   /* one side of it */
    LB_MERGE_THEIRS,
} lb_merge_mode;
LB_MUST_CHECK bool lb_merge_write(lb_merge *merge, const lb_merge_mapping *mapping,
                                  lb_merge_mode mode, lb_text *out);
#define LB_MERGE_BEGIN "<<<<<<< ours\n"
#define LB_MERGE_MIDDLE "=======\n"
#define LB_MERGE_END ">>>>>>> theirs\n"

#endif
