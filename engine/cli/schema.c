/* engine/cli/schema.c: lampblack schema. */
#include <stdio.h>

#include "engine/cli/cli.h"
#include "lang/schema.h"

typedef struct schema_options {
    lb_texts objects;
} schema_options;

static lb_status run_schema(lb_session *session, const void *words)
{
    const schema_options *options = words;
    lb_text text = {0};
    lb_status status = lb_session_operators(session, &options->objects);

    if (status != LB_OK)
        return status;
    lb_schema_write(lb_operators_list(session->operators), &text);
    return lb_session_print(session, &text);
}

static const lb_option options[] = {
    LB_OPTION_OPERATORS(schema_options),
    {0},
};

static const lb_example examples[] = {
    {"lampblack schema >lampblack.schema.json", "Writes the schema for an editor to read."},
    {0},
};

const lb_command lb_command_schema = {
    .name = "schema",
    .summary = "the language as JSON Schema, for editors",
    .doc =
        "The schema (draft 2020-12) is written from the tables of the operators: what they take, "
        "of which type, from where to where, in which unit, with which default.",
    .options = options,
    .examples = examples,
    .options_size = sizeof(schema_options),
    .run = run_schema,
};
