/* engine/base/json.h: writes JSON, with its commas and line breaks. */
#ifndef LB_BASE_JSON_H
#define LB_BASE_JSON_H

#include "engine/base/text.h"

/* Zero-initialise but for `text`, which takes the bytes and remembers failures. Levels of
 * containers are not bounded; a container whose `is_flat` is set goes on one line. */
typedef struct lb_json {
    lb_text *text;
    int32_t depth;      /* containers that are open */
    int32_t flat_depth; /* from which on everything stays on one line; 0: none */
    bool has_items;     /* in the innermost one */
    bool has_key;       /* whose value comes next */
} lb_json;

/* '{' or '['. */
void lb_json_open(lb_json *json, char bracket, bool is_flat);
/* '}' or ']'. */
void lb_json_close(lb_json *json, char bracket);
/* In an object: the name of what comes next. */
void lb_json_key(lb_json *json, const char *key);
void lb_json_text(lb_json *json, const char *text);
void lb_json_number(lb_json *json, double number); /* null where it is not finite */
void lb_json_bool(lb_json *json, bool value);
/* A value that is JSON already. */
void lb_json_raw(lb_json *json, const char *value);

#endif
