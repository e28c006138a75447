/* lang/schema.c: the language as JSON Schema: a graph file, its sections, its operators. */
#include "lang/schema.h"

#include <string.h>

#include "engine/graph/param.h"
#include "lang/output_table.h"
#include "lang/schema_value.h"

#define NAME "[A-Za-z_][A-Za-z0-9_-]{0,63}"

static void member(lb_json *json, const char *key, const char *text)
{
    lb_json_key(json, key);
    lb_json_text(json, text);
}

static void put_pattern(lb_json *json, const char *name, const char *pattern,
                        const char *description)
{
    lb_json_key(json, name);
    lb_json_open(json, '{', true);
    member(json, "description", description);
    member(json, "type", "string");
    member(json, "pattern", pattern);
    lb_json_close(json, '}');
}

/* One operator: its own keys and `op`. */
static void put_op(lb_json *json, const lb_op *op)
{
    char key[160];
    lb_text text = {0};

    lb_text_printf(&text, "%s.%s%s", op->summary, op->doc ? " " : "", op->doc ? op->doc : "");
    snprintf(key, sizeof key, "op-%.150s", op->name);
    lb_json_key(json, key);
    lb_json_open(json, '{', false);
    member(json, "description", text.failed ? "" : text.bytes);
    member(json, "type", "object");
    lb_schema_table(json, op->inputs, op->params, "op");
    lb_json_close(json, '}');
    json->text->failed = json->text->failed || text.failed;
    lb_text_clear(&text);
}

/* A node is checked by its operator's definition alone, so that a fault is told once. */
static void put_node(lb_json *json, const lb_op *const *ops)
{
    lb_json_key(json, "node");
    lb_json_open(json, '{', false);
    member(json, "description", "An operator, what goes into it, and its parameters.");
    member(json, "type", "object");
    lb_json_raw(json, "\"required\": [\"op\"]");
    lb_json_key(json, "properties");
    lb_json_open(json, '{', false);
    lb_json_key(json, "op");
    lb_json_open(json, '{', false);
    lb_json_key(json, "anyOf");
    lb_json_open(json, '[', false);
    lb_json_open(json, '{', true);
    lb_json_key(json, "enum");
    lb_json_open(json, '[', true);
    for (const lb_op *const *op = ops; *op; op++)
        lb_json_text(json, (*op)->name);
    lb_json_close(json, ']');
    lb_json_close(json, '}');
    lb_json_open(json, '{', true);
    member(json, "type", "string");
    member(json, "pattern", "^part/" NAME "(/" NAME ")*$");
    lb_json_close(json, '}');
    lb_json_close(json, ']');
    lb_json_close(json, '}');
    lb_json_close(json, '}');
    lb_json_key(json, "allOf");
    lb_json_open(json, '[', false);
    for (const lb_op *const *op = ops; *op; op++) {
        char key[160];

        snprintf(key, sizeof key, "op-%.150s", (*op)->name);
        lb_json_open(json, '{', true);
        lb_json_key(json, "if");
        lb_json_open(json, '{', true);
        lb_json_key(json, "properties");
        lb_json_open(json, '{', true);
        lb_json_key(json, "op");
        lb_json_open(json, '{', true);
        member(json, "const", (*op)->name);
        lb_json_close(json, '}');
        lb_json_close(json, '}');
        lb_json_raw(json, "\"required\": [\"op\"]");
        lb_json_close(json, '}');
        lb_json_key(json, "then");
        lb_schema_ref(json, key);
        lb_json_close(json, '}');
    }
    lb_json_close(json, ']');
    lb_json_close(json, '}');
}

static const char frame_schema[] =
    "{\"type\": \"object\", \"description\": \"Size, rate and range of the pictures.\",\n"
    "  \"properties\": {\n"
    "   \"size\": {\"description\": \"Width and height in pixels.\", \"type\": \"array\", "
    "\"minItems\": 2, \"maxItems\": 2, \"items\": {\"type\": \"integer\", \"minimum\": 1, "
    "\"maximum\": 65536}},\n"
    "   \"rate\": {\"description\": \"Frames per second: 25, 23.976, \\\"30000/1001\\\".\", "
    "\"anyOf\": [{\"type\": \"number\", \"exclusiveMinimum\": 0}, {\"type\": \"string\", "
    "\"pattern\": \"^[0-9]+(\\\\.[0-9]+)?(/[0-9]+)?$\"}]},\n"
    "   \"range\": {\"description\": \"First and last frame, both included.\", \"type\": "
    "\"array\", \"minItems\": 2, \"maxItems\": 2, \"items\": {\"type\": \"integer\", "
    "\"minimum\": -1000000, \"maximum\": 1000000}},\n"
    "   \"pixel-aspect\": {\"description\": \"Width of a pixel over its height.\", \"type\": "
    "\"number\", \"minimum\": 0.1, \"maximum\": 10, \"default\": 1}},\n"
    "  \"additionalProperties\": false}";

/* Named things: "NAME": the schema that follows. */
static void open_names(lb_json *json, const char *key, const char *description)
{
    lb_json_key(json, key);
    lb_json_open(json, '{', false);
    member(json, "description", description);
    member(json, "type", "object");
    lb_json_key(json, "propertyNames");
    lb_schema_ref(json, "name");
    lb_json_key(json, "additionalProperties");
}

static void put_names(lb_json *json, const char *key, const char *description, const char *of)
{
    open_names(json, key, description);
    lb_schema_ref(json, of);
    lb_json_close(json, '}');
}

static void put_color(lb_json *json)
{
    lb_json_key(json, "color");
    lb_json_raw(json, "{\"type\": \"object\", \"description\": \"In which space pixels are "
                      "computed.\",\n"
                      "  \"properties\": {\"working\": {\"enum\": [\"linear-rec709\", "
                      "\"linear-rec2020\", \"acescg\"], \"default\": \"linear-rec709\"}},\n"
                      "  \"additionalProperties\": false}");
}

static void put_include(lb_json *json)
{
    open_names(json, "include", "Other graph files, each under a name of its own.");
    lb_json_raw(json,
                "{\"anyOf\": [{\"type\": \"string\"},\n"
                "   {\"type\": \"object\", \"properties\": {\"file\": {\"type\": \"string\"}, "
                "\"params\": {\"$ref\": \"#/$defs/params\"}}, \"required\": [\"file\"], "
                "\"additionalProperties\": false}]}");
    lb_json_close(json, '}');
}

/* Sections of a graph and of a part that have the same meaning in both. */
static void put_part(lb_json *json)
{
    lb_json_key(json, "part");
    lb_json_open(json, '{', false);
    member(json, "type", "object");
    lb_json_key(json, "properties");
    lb_json_open(json, '{', false);
    open_names(json, "inputs", "What a use connects, and what kind each is.");
    lb_json_raw(json, "{\"type\": \"string\", \"pattern\": \"^(optional )?(image|scene|material|"
                      "texture)$\"}");
    lb_json_close(json, '}');
    lb_json_key(json, "params");
    lb_schema_ref(json, "params");
    lb_json_key(json, "nodes");
    lb_schema_ref(json, "nodes");
    lb_json_key(json, "result");
    lb_schema_ref(json, "reference");
    lb_json_close(json, '}');
    lb_json_raw(json, "\"required\": [\"nodes\", \"result\"]");
    lb_json_raw(json, "\"additionalProperties\": false");
    lb_json_close(json, '}');
}

static void put_version(lb_json *json)
{
    lb_json_key(json, "version");
    lb_json_open(json, '{', false);
    member(json, "description", "Other values of params, and another frame.");
    member(json, "type", "object");
    lb_json_key(json, "properties");
    lb_json_open(json, '{', false);
    lb_json_key(json, "params");
    lb_json_raw(json,
                "{\"type\": \"object\", \"propertyNames\": {\"$ref\": \"#/$defs/reference\"}, "
                "\"additionalProperties\": {\"$ref\": \"#/$defs/any-value\"}}");
    lb_json_key(json, "frame");
    lb_schema_ref(json, "frame");
    lb_json_close(json, '}');
    lb_json_raw(json, "\"additionalProperties\": false");
    lb_json_close(json, '}');
}

static void put_output(lb_json *json)
{
    lb_json_key(json, "output");
    lb_json_open(json, '{', false);
    member(json, "type", "object");
    lb_json_key(json, "properties");
    lb_json_open(json, '{', false);
    lb_json_key(json, "image");
    lb_json_raw(json, "{\"description\": \"What is written.\", \"$ref\": \"#/$defs/reference\"}");
    lb_json_key(json, "layers");
    lb_json_raw(json, "{\"description\": \"Channels or layers of it; all if not given.\", "
                      "\"type\": \"array\", \"minItems\": 1, \"items\": {\"type\": \"string\"}}");
    for (const lb_param *p = lb_output_table(); p->name; p++) {
        lb_json_key(json, p->name);
        lb_schema_param(json, p);
    }
    lb_json_close(json, '}');
    lb_json_raw(json, "\"required\": [\"image\", \"file\"]");
    lb_json_raw(json, "\"additionalProperties\": false");
    lb_json_close(json, '}');
}

static void put_defs(lb_json *json, const lb_op *const *ops)
{
    lb_json_key(json, "$defs");
    lb_json_open(json, '{', false);
    put_pattern(json, "name", "^" NAME "$", "Letters, digits, _ and -, a letter or _ first.");
    put_pattern(json, "reference", "^" NAME "(/" NAME ")*(\\..+)?$",
                "A node's name, or node.layer for one layer of an image.");
    put_pattern(json, "param-name", "^" NAME "(/" NAME ")*$", "A param's name.");
    lb_schema_value_defs(json);
    lb_json_key(json, "any-value");
    lb_json_raw(
        json, "{\"anyOf\": [{\"type\": [\"string\", \"number\", \"boolean\"]}, {\"$ref\": "
              "\"#/$defs/fixed\"},\n"
              "   {\"type\": \"array\", \"minItems\": 1, \"maxItems\": 4, \"items\": {\"anyOf\": "
              "[{\"type\": \"number\"}, {\"$ref\": \"#/$defs/worked-out-number\"}]}},\n"
              "   {\"$ref\": \"#/$defs/keys-of-text\"}, {\"$ref\": \"#/$defs/keys-of-vector\"}]}");
    lb_json_key(json, "frame");
    lb_json_raw(json, frame_schema);
    put_names(json, "params", "Named values that the command line can replace.", "any-value");
    put_names(json, "nodes", "Operators, what goes into them, and their parameters.", "node");
    put_part(json);
    put_version(json);
    put_output(json);
    put_node(json, ops);
    for (const lb_op *const *op = ops; *op; op++)
        put_op(json, *op);
    lb_json_close(json, '}');
}

void lb_schema_write(const lb_op *const *ops, lb_text *out)
{
    lb_json json = {.text = out};

    lb_json_open(&json, '{', false);
    member(&json, "$schema", "https://json-schema.org/draft/2020-12/schema");
    member(&json, "title", "A Lampblack graph, version 1");
    member(&json, "type", "object");
    lb_json_key(&json, "properties");
    lb_json_open(&json, '{', false);
    lb_json_key(&json, "lampblack");
    lb_json_raw(&json, "{\"description\": \"The version of the language.\", \"const\": 1}");
    lb_json_key(&json, "frame");
    lb_json_raw(
        &json,
        "{\"$ref\": \"#/$defs/frame\", \"type\": \"object\", \"required\": [\"size\", \"rate\", "
        "\"range\"]}");
    put_color(&json);
    lb_json_key(&json, "params");
    lb_schema_ref(&json, "params");
    put_include(&json);
    put_names(&json, "parts", "Sub-graphs of one's own: op: part/NAME uses one.", "part");
    put_names(&json, "versions", "Deliverables: other params and frames for the same nodes.",
              "version");
    lb_json_key(&json, "nodes");
    lb_schema_ref(&json, "nodes");
    put_names(&json, "outputs", "What is written.", "output");
    lb_json_close(&json, '}');
    lb_json_raw(&json, "\"required\": [\"lampblack\"]");
    /* What writes nothing may be there to be included. */
    lb_json_raw(&json, "\"if\": {\"required\": [\"outputs\"]}, \"then\": {\"required\": "
                       "[\"frame\", \"nodes\"]}");
    lb_json_raw(&json, "\"additionalProperties\": false");
    put_defs(&json, ops);
    lb_json_close(&json, '}');
    lb_text_put(out, "\n");
}
