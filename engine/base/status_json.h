/* engine/base/status_json.h: messages for programs. */
#ifndef LB_BASE_STATUS_JSON_H
#define LB_BASE_STATUS_JSON_H

#include "engine/base/text.h"

/* Appends all messages that were not written before, in the order of lb_diag_print, as a JSON array
 * of
 *   {"severity": "error", "message": "...", "file": "kiln.yaml",
 *    "begin": {"byte": 812, "line": 41, "column": 16},
 *    "end": {"byte": 816, "line": 41, "column": 20},
 *    "notes": [the same without severity and notes, ...]}
 * Bytes count from 0 in the file, lines and columns (code points) from 1; the end is behind the
 * last character. `file` is null for what has none, `begin` and `end` for files as a whole, `byte`
 * where the text is not known. No limit applies. */
void lb_diag_json(lb_diag *diag, lb_text *out);

#endif
