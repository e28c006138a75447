/* lang/merge.h: a three-way merge of graph texts by meaning. */
#ifndef LB_LANG_MERGE_H
#define LB_LANG_MERGE_H

#include "engine/base/text.h"

/* A text and its name in messages. */
typedef struct lb_merge_side {
    const char *path;
    const char *text;
    size_t bytes;
} lb_merge_side;

/* Puts what `theirs` changed since `base` into the text of `ours`. Mappings are merged key by key,
 * lists and single values are one thing each; a node, or a mapping in a section, whose key changed
 * and nothing else is a renamed one. Lines of ours that theirs did not change stay byte for byte;
 * comments that only theirs changed come along. An empty base is a graph without anything.
 *
 * Where both changed the same thing differently, that is an error with the places of all sides, and
 * the entry's lines stand in the result twice, between the lines <<<<<<<, ======= and >>>>>>> that
 * git writes, so that it is no YAML any more. *conflicts counts them.
 *
 * The result has been read again and is what the merge of the trees says: without conflicts, and
 * with either side of all of them chosen.
 *
 * out   zero-initialised, lb_text_clear; holds nothing after a failure
 *
 * LB_OK, with conflicts or without; LB_INVALID, LB_LIMIT: a side is no good YAML; LB_UNSUPPORTED:
 * the result would not be; LB_MEMORY. */
LB_MUST_CHECK lb_status lb_lang_merge(lb_diag *diag, const lb_merge_side *base,
                                      const lb_merge_side *ours, const lb_merge_side *theirs,
                                      lb_text *out, int32_t *conflicts);

#endif
