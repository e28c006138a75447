/* lang/schema.h: the language as JSON Schema, for editors and other checkers. */
#ifndef LB_LANG_SCHEMA_H
#define LB_LANG_SCHEMA_H

#include "engine/base/text.h"
#include "engine/graph/op.h"

/* Appends a JSON Schema (draft 2020-12) of a graph file with the operators `ops` (a NULL-ended
 * registry), written from their tables: names, types, ranges, units, defaults, words. A graph that
 * lb_lang_load takes is valid by it; not every faulty one is invalid, for a schema cannot follow
 * references, evaluate expressions or look into files. out->failed tells of missing memory. */
void lb_schema_write(const lb_op *const *ops, lb_text *out);

#endif
