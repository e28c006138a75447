/* lang/schema_value.h: the schema of one value of a table. Not a public header. */
#ifndef LB_LANG_SCHEMA_VALUE_H
#define LB_LANG_SCHEMA_VALUE_H

#include "engine/base/json.h"
#include "engine/graph/op.h"

/* As the value of the key that was just written. */
void lb_schema_param(lb_json *json, const lb_param *param);
void lb_schema_input(lb_json *json, const lb_input *input, const lb_param *or_param);
/* The rows of a table as properties, then what is required, and nothing else allowed. `inputs` and
 * `params` may be NULL. The object is open; `required` goes in front of the required ones. */
void lb_schema_table(lb_json *json, const lb_input *inputs, const lb_param *params,
                     const char *required);
/* The definitions that those refer to, as members of the open object. */
void lb_schema_value_defs(lb_json *json);

/* {"$ref": "#/$defs/NAME"}. */
void lb_schema_ref(lb_json *json, const char *name);

#endif
