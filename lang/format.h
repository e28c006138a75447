/* lang/format.h: the canonical layout of a graph's text. */
#ifndef LB_LANG_FORMAT_H
#define LB_LANG_FORMAT_H

#include "engine/base/text.h"
#include "lang/yaml.h"

/* Writes the text anew: order, comments and blank lines between entries stay, spacing, quotes and
 * line breaks become canonical. `path` names the text in messages. What comes out has been read
 * again and means the same, value by value, or LB_UNSUPPORTED is reported. A text that is not good
 * YAML is reported as lb_yaml_read has it; whether it is a good graph is not looked at.
 *
 * out   zero-initialised, lb_text_clear; holds nothing after a failure
 *
 * LB_INVALID, LB_LIMIT, LB_MEMORY, LB_UNSUPPORTED. */
LB_MUST_CHECK lb_status lb_lang_format(lb_diag *diag, const char *path, const char *text,
                                       size_t bytes, lb_text *out);

/* Do two trees hold the same values under the same keys, in the same order? */
bool lb_lang_same_tree(const lb_yaml_node *a, const lb_yaml_node *b);

#endif
