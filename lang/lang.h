/* lang/lang.h: a graph from text. The language is docs/language.md. */
#ifndef LB_LANG_LANG_H
#define LB_LANG_LANG_H

#include "engine/graph/graph.h"

#define LB_LANG_MAX_BYTES ((size_t)16 << 20)

/* One --set NAME=VALUE. */
typedef struct lb_setting {
    const char *name, *value;
} lb_setting;

/* Reads a graph file: `path` names it in messages and sets the folder that its paths are relative
 * to. `ops` is a NULL-ended registry. All errors are reported in one go; the answer is the first
 * one's status (LB_INVALID; LB_NOT_FOUND, LB_IO for the file itself) and *out is NULL. Ends with
 * lb_graph_check. Unknown settings are errors at the command line's place (LB_NOWHERE). */
LB_MUST_CHECK lb_status lb_lang_load(lb_diag *diag, const char *path, const lb_op *const *ops,
                                     const lb_setting *settings, int32_t setting_count,
                                     lb_graph **out);
/* The same from text in memory. */
LB_MUST_CHECK lb_status lb_lang_parse(lb_diag *diag, const char *path, const char *text,
                                      size_t bytes, const lb_op *const *ops,
                                      const lb_setting *settings, int32_t setting_count,
                                      lb_graph **out);

#endif
