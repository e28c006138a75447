/* lang/diff_value.h: values of two files, compared by meaning. Not a public header. */
#ifndef LB_LANG_DIFF_VALUE_H
#define LB_LANG_DIFF_VALUE_H

#include "engine/base/text.h"
#include "lang/diff.h"
#include "lang/name_map.h"
#include "lang/yaml.h"

/* Names of the old file that the new one has under another: of nodes and of params. */
typedef struct lb_renames {
    lb_name_map map;
    const char **to;
    int32_t count;
    size_t capacity;
} lb_renames;
/* What a name of the old file is called in the new one: itself if nothing else is known. */
const char *lb_renames_find(const lb_renames *renames, const char *name, size_t length,
                            size_t *out_length);
LB_MUST_CHECK bool lb_renames_add(lb_renames *renames, const char *from, const char *to);
void lb_renames_clear(lb_renames *renames);

/* Whose names a value is written with. NULL maps: nothing was renamed. */
typedef struct lb_spelling {
    const lb_renames *nodes, *params;
} lb_spelling;

/* Appends a value in one line, the same for all spellings that mean the same: numbers by their
 * value, keys of mappings sorted, curves by their frames. `param` is what it is for; NULL: not
 * known. */
void lb_diff_put(lb_text *out, const lb_yaml_node *node, const lb_param *param,
                 const lb_spelling *spelling);
/* A reference, with the new name of its node. */
void lb_diff_put_reference(lb_text *out, const lb_yaml_node *node, const lb_spelling *spelling);

/* Do the two mean the same? NULL is a value that is not given. */
bool lb_diff_same(const lb_yaml_node *a, const lb_yaml_node *b, const lb_param *param,
                  const lb_spelling *spelling);

/* Do two references, or lists of them, lead to the same nodes? */
bool lb_diff_same_reference(const lb_yaml_node *a, const lb_yaml_node *b,
                            const lb_spelling *spelling);

/* A mapping with `keys`. */
bool lb_diff_is_curve(const lb_yaml_node *node);

#endif
