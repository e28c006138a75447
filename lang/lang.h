/* lang/lang.h: a graph from text. The language is docs/language.md. */
#ifndef LB_LANG_LANG_H
#define LB_LANG_LANG_H

#include "engine/graph/graph.h"

#define LB_LANG_MAX_BYTES ((size_t)16 << 20) /* of one file */

/* One --set NAME=VALUE. */
typedef struct lb_setting {
    const char *name, *value;
} lb_setting;

/* How a graph is read. Everything is lent for the time of the call. */
typedef struct lb_lang_options {
    const lb_op *const *ops; /* a NULL-ended registry */
    const lb_setting *settings;
    int32_t setting_count;
    const char *version; /* which of the graph's versions it becomes; NULL: none, as it stands */
    bool all_versions;   /* the others are checked too, though only one graph is made */
} lb_lang_options;

/* Reads a graph file and what it includes: `path` names it in messages and sets the folder that its
 * paths are relative to. All errors are reported in one go; the answer is the first one's status
 * (LB_INVALID; LB_NOT_FOUND, LB_IO for a file itself) and *out is NULL. Ends with lb_graph_check.
 * What is wrong with a setting points into the setting; unknown ones are errors at the command
 * line's place (LB_NOWHERE). */
LB_MUST_CHECK lb_status lb_lang_read(lb_diag *diag, const char *path,
                                     const lb_lang_options *options, lb_graph **out);
/* The same from text in memory. Files that it includes are read from beside `path`. */
LB_MUST_CHECK lb_status lb_lang_read_text(lb_diag *diag, const char *path, const char *text,
                                          size_t bytes, const lb_lang_options *options,
                                          lb_graph **out);

/* Without a version. */
LB_MUST_CHECK lb_status lb_lang_load(lb_diag *diag, const char *path, const lb_op *const *ops,
                                     const lb_setting *settings, int32_t setting_count,
                                     lb_graph **out);
LB_MUST_CHECK lb_status lb_lang_parse(lb_diag *diag, const char *path, const char *text,
                                      size_t bytes, const lb_op *const *ops,
                                      const lb_setting *settings, int32_t setting_count,
                                      lb_graph **out);

#endif
