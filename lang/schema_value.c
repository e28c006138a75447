/* lang/schema_value.c: values: literals by their type, params, expressions, keys. */
#include <math.h>
#include <string.h>

#include "engine/graph/param.h"
#include "lang/easing.h"
#include "lang/keys.h"
#include "lang/schema_value.h"

#define HEX_COLOR "^#([0-9A-Fa-f]{3,4}|[0-9A-Fa-f]{6}|[0-9A-Fa-f]{8})$"
#define NUMBER_KEY "^[-+]?([0-9]+\\.?[0-9]*|\\.[0-9]+)([eE][-+]?[0-9]+)?$"

/* What a type's literals are called among the definitions of keys. */
static const char *const kinds[] = {
    [LB_BOOL] = "boolean", [LB_INT] = "number",  [LB_NUMBER] = "number", [LB_VEC2] = "vector",
    [LB_VEC3] = "vector",  [LB_VEC4] = "vector", [LB_COLOR] = "color",   [LB_ROTATION] = "vector",
    [LB_TEXT] = "text",    [LB_FILE] = "text",   [LB_CHOICE] = "text",
};

void lb_schema_ref(lb_json *json, const char *name)
{
    char text[128];

    snprintf(text, sizeof text, "#/$defs/%.100s", name);
    lb_json_open(json, '{', true);
    lb_json_key(json, "$ref");
    lb_json_text(json, text);
    lb_json_close(json, '}');
}

static void put_type(lb_json *json, const char *type)
{
    lb_json_key(json, "type");
    lb_json_text(json, type);
}

static void put_range(lb_json *json, const lb_param *param)
{
    if (param->min == 0 && param->max == 0)
        return;
    if (isfinite(param->min)) {
        lb_json_key(json, "minimum");
        lb_json_number(json, param->min);
    }
    if (isfinite(param->max)) {
        lb_json_key(json, "maximum");
        lb_json_number(json, param->max);
    }
}

static void put_number(lb_json *json, const lb_param *param)
{
    lb_json_open(json, '{', true);
    put_type(json, param->type == LB_INT ? "integer" : "number");
    put_range(json, param);
    lb_json_close(json, '}');
}

/* [a, b, ...] of `least` to `most` numbers, each of which may be worked out. */
static void put_vector(lb_json *json, const lb_param *param, int32_t least, int32_t most)
{
    lb_json_open(json, '{', true);
    put_type(json, "array");
    lb_json_key(json, "minItems");
    lb_json_number(json, least);
    lb_json_key(json, "maxItems");
    lb_json_number(json, most);
    lb_json_key(json, "items");
    lb_json_open(json, '{', true);
    lb_json_key(json, "anyOf");
    lb_json_open(json, '[', true);
    put_number(json, param);
    lb_schema_ref(json, param->fixed ? "fixed" : "worked-out-number");
    lb_json_close(json, ']');
    lb_json_close(json, '}');
    lb_json_close(json, '}');
}

static void put_words(lb_json *json, const char *const *names)
{
    lb_json_open(json, '{', true);
    lb_json_key(json, "enum");
    lb_json_open(json, '[', true);
    for (; *names; names++) {
        double number;

        lb_json_text(json, *names);
        if (lb_text_number(*names, strlen(*names), &number)) /* as YAML reads the word */
            lb_json_number(json, number);
    }
    lb_json_close(json, ']');
    lb_json_close(json, '}');
}

static void put_hex(lb_json *json)
{
    lb_json_open(json, '{', true);
    put_type(json, "string");
    lb_json_key(json, "pattern");
    lb_json_text(json, HEX_COLOR);
    lb_json_close(json, '}');
}

/* The literals that a type takes, as members of the open list. Text may look like a number or a
 * word of YAML's. */
static void put_literals(lb_json *json, const lb_param *param)
{
    if (param->spread)
        put_number(json, param);
    switch (param->type) {
    case LB_BOOL:
        lb_json_open(json, '{', true);
        put_type(json, "boolean");
        lb_json_close(json, '}');
        break;
    case LB_INT:
    case LB_NUMBER:
        put_number(json, param);
        break;
    case LB_VEC2:
    case LB_VEC3:
    case LB_VEC4:
        put_vector(json, param, param->type - LB_VEC2 + 2, param->type - LB_VEC2 + 2);
        break;
    case LB_COLOR:
        put_hex(json);
        put_vector(json, param, 3, 4);
        break;
    case LB_ROTATION:
        put_vector(json, param, 3, 4);
        break;
    case LB_CHOICE:
        put_words(json, param->names);
        break;
    default:
        lb_json_open(json, '{', true);
        lb_json_key(json, "type");
        lb_json_open(json, '[', true);
        lb_json_text(json, "string");
        lb_json_text(json, "number");
        lb_json_text(json, "boolean");
        lb_json_close(json, ']');
        lb_json_close(json, '}');
    }
}

/* The sentence of the table, then unit and default in words. */
static void put_description(lb_json *json, const lb_param *param)
{
    const char *unit = lb_unit_text(param->unit);
    lb_text text = {0};

    lb_text_put(&text, param->doc ? param->doc : "");
    if (param->unit != LB_UNITLESS && unit && unit[0])
        lb_text_printf(&text, " In %s.", unit);
    if (param->fixed)
        lb_text_put(&text, " Cannot change from frame to frame.");
    if (text.failed)
        json->text->failed = true;
    else if (text.length > 0) {
        lb_json_key(json, "description");
        lb_json_text(json, text.bytes);
    }
    lb_text_clear(&text);
}

static void put_default(lb_json *json, const lb_param *param)
{
    static const int32_t counts[] = {
        [LB_INT] = 1, [LB_NUMBER] = 1, [LB_VEC2] = 2, [LB_VEC3] = 3, [LB_VEC4] = 4, [LB_COLOR] = 3};
    int32_t count = param->type >= LB_INT && param->type <= LB_COLOR ? counts[param->type] : 0;

    if (param->required || (count > 0 && !lb_is_set(param->initial[0])) ||
        (param->type == LB_CHOICE && !lb_is_set(param->initial[0])))
        return;
    if ((param->type == LB_TEXT || param->type == LB_FILE) ? !param->initial_text
                                                           : param->type > LB_CHOICE)
        return;
    if (param->type == LB_ROTATION)
        return;
    lb_json_key(json, "default");
    if (param->type == LB_BOOL)
        lb_json_bool(json, param->initial[0] != 0);
    else if (param->type == LB_CHOICE)
        lb_json_text(json, param->names[(int)param->initial[0]]);
    else if (count == 0)
        lb_json_text(json, param->initial_text);
    else if (count == 1)
        lb_json_number(json, param->initial[0]);
    if (count < 2)
        return;
    lb_json_open(json, '[', true);
    for (int32_t i = 0; i < count; i++)
        lb_json_number(json, param->initial[i]);
    lb_json_close(json, ']');
}

static void put_fields(lb_json *json, const lb_param *param)
{
    lb_json_open(json, '{', false);
    put_type(json, "object");
    lb_schema_table(json, NULL, param->fields, NULL);
    lb_json_close(json, '}');
}

void lb_schema_param(lb_json *json, const lb_param *param)
{
    char keys[64];

    lb_json_open(json, '{', false);
    put_description(json, param);
    put_default(json, param);
    if (param->type == LB_RECORD) {
        put_type(json, "object");
        lb_schema_table(json, NULL, param->fields, NULL);
    } else if (param->type == LB_RECORDS) {
        put_type(json, "array");
        lb_json_key(json, "items");
        put_fields(json, param);
    } else if (param->type == LB_REF) {
        lb_json_key(json, "$ref");
        lb_json_text(json, "#/$defs/reference");
    } else {
        lb_json_key(json, "anyOf");
        lb_json_open(json, '[', false);
        put_literals(json, param);
        lb_schema_ref(json, "fixed");
        snprintf(keys, sizeof keys, "keys-of-%s", kinds[param->type]);
        if (!param->fixed)
            lb_schema_ref(json, keys);
        lb_json_close(json, ']');
    }
    lb_json_close(json, '}');
}

void lb_schema_input(lb_json *json, const lb_input *input, const lb_param *or_param)
{
    lb_text text = {0};

    lb_json_open(json, '{', false);
    lb_text_printf(&text, "%s Takes %s.", input->doc ? input->doc : "",
                   input->list ? "a list of nodes" : lb_kind_text(input->kind));
    lb_json_key(json, "description");
    lb_json_text(json, text.failed ? "" : text.bytes);
    json->text->failed = json->text->failed || text.failed;
    lb_text_clear(&text);
    if (input->list) {
        put_type(json, "array");
        lb_json_key(json, "items");
        lb_schema_ref(json, "reference");
    } else if (or_param) { /* a word that names no node is a value */
        lb_json_key(json, "anyOf");
        lb_json_open(json, '[', false);
        lb_schema_ref(json, "reference");
        lb_schema_param(json, or_param);
        lb_json_close(json, ']');
    } else {
        lb_json_key(json, "$ref");
        lb_json_text(json, "#/$defs/reference");
    }
    lb_json_close(json, '}');
}

void lb_schema_table(lb_json *json, const lb_input *inputs, const lb_param *params,
                     const char *required)
{
    lb_json_key(json, "properties");
    lb_json_open(json, '{', false);
    for (const lb_input *i = inputs; i && i->name; i++) {
        lb_json_key(json, i->name);
        lb_schema_input(json, i, i->or_param ? lb_params_find(params, i->name) : NULL);
    }
    for (const lb_param *p = params; p && p->name; p++)
        if (lb_inputs_find(inputs, p->name) < 0) {
            lb_json_key(json, p->name);
            lb_schema_param(json, p);
        }
    if (required) {
        lb_json_key(json, required);
        lb_json_raw(json, "true");
    }
    lb_json_close(json, '}');
    lb_json_key(json, "required");
    lb_json_open(json, '[', true);
    if (required)
        lb_json_text(json, required);
    for (const lb_input *i = inputs; i && i->name; i++)
        if (!i->optional && !i->list)
            lb_json_text(json, i->name);
    for (const lb_param *p = params; p && p->name; p++)
        if (p->required && lb_inputs_find(inputs, p->name) < 0)
            lb_json_text(json, p->name);
    lb_json_close(json, ']');
    lb_json_key(json, "additionalProperties");
    lb_json_bool(json, false);
}

/* ---- Definitions ---- */

static const char literal_text[] = "{\"type\": [\"string\", \"number\", \"boolean\"]}";

/* {keys: {...}, ease, before, after} and the long form, with literals or params as values. */
static void put_keys(lb_json *json, const char *kind, const char *literal)
{
    char name[64];
    lb_text value = {0};

    lb_text_printf(&value, "{\"anyOf\": [%s, {\"$ref\": \"#/$defs/fixed\"}]}", literal);
    snprintf(name, sizeof name, "keys-of-%s", kind);
    lb_json_key(json, name);
    lb_json_open(json, '{', false);
    put_type(json, "object");
    lb_json_key(json, "description");
    lb_json_text(json, "Values at frames, and how to come from one to the next.");
    lb_json_key(json, "properties");
    lb_json_open(json, '{', false);
    lb_json_key(json, "keys");
    lb_json_open(json, '{', false);
    lb_json_key(json, "anyOf");
    lb_json_open(json, '[', false);

    lb_json_open(json, '{', false);
    put_type(json, "object");
    lb_json_raw(json, "\"minProperties\": 1");
    lb_json_key(json, "propertyNames");
    lb_json_open(json, '{', true);
    lb_json_key(json, "pattern");
    lb_json_text(json, NUMBER_KEY);
    lb_json_close(json, '}');
    lb_json_key(json, "additionalProperties");
    lb_json_raw(json, value.failed ? "true" : value.bytes);
    lb_json_close(json, '}');

    lb_json_open(json, '{', false);
    put_type(json, "array");
    lb_json_raw(json, "\"minItems\": 1");
    lb_json_key(json, "items");
    lb_json_open(json, '{', false);
    put_type(json, "object");
    lb_json_key(json, "properties");
    lb_json_open(json, '{', false);
    lb_json_raw(json, "\"at\": {\"type\": \"number\", \"description\": \"The frame.\"}");
    lb_json_key(json, "value");
    lb_json_raw(json, value.failed ? "true" : value.bytes);
    lb_json_key(json, "ease");
    lb_schema_ref(json, "ease");
    lb_json_close(json, '}');
    lb_json_raw(json, "\"required\": [\"at\", \"value\"]");
    lb_json_raw(json, "\"additionalProperties\": false");
    lb_json_close(json, '}');
    lb_json_close(json, '}');

    lb_json_close(json, ']');
    lb_json_close(json, '}');
    lb_json_key(json, "ease");
    lb_schema_ref(json, "ease");
    for (int i = 0; i < 2; i++) {
        lb_json_key(json, i == 0 ? "before" : "after");
        put_words(json, lb_beyond_names);
    }
    lb_json_close(json, '}');
    lb_json_raw(json, "\"required\": [\"keys\"]");
    lb_json_raw(json, "\"additionalProperties\": false");
    lb_json_close(json, '}');
    json->text->failed = json->text->failed || value.failed;
    lb_text_clear(&value);
}

void lb_schema_value_defs(lb_json *json)
{
#define VECTOR                                                                                     \
    "{\"type\": \"array\", \"minItems\": 2, \"maxItems\": 4, \"items\": {\"anyOf\": "              \
    "[{\"type\": \"number\"}, {\"$ref\": \"#/$defs/fixed\"}]}}"

    lb_json_key(json, "fixed");
    lb_json_raw(json,
                "{\"description\": \"A param's value, or an expression.\", \"oneOf\": [\n"
                "   {\"type\": \"object\", \"properties\": {\"param\": {\"$ref\": "
                "\"#/$defs/param-name\"}}, \"required\": [\"param\"], \"additionalProperties\": "
                "false},\n"
                "   {\"type\": \"object\", \"properties\": {\"expr\": {\"type\": [\"string\", "
                "\"number\", \"boolean\"]}}, \"required\": [\"expr\"], \"additionalProperties\": "
                "false}]}");
    lb_json_key(json, "worked-out-number");
    lb_json_raw(json, "{\"anyOf\": [{\"$ref\": \"#/$defs/fixed\"}, {\"$ref\": "
                      "\"#/$defs/keys-of-number\"}]}");
    lb_json_key(json, "ease");
    lb_json_open(json, '{', false);
    lb_json_key(json, "description");
    lb_json_text(json, "An easing function of CSS: linear, ease, ease-in, ease-out, ease-in-out, "
                       "step-start, step-end, cubic-bezier(), steps(), linear().");
    put_type(json, "string");
    lb_json_close(json, '}');
    put_keys(json, "number", "{\"type\": \"number\"}");
    put_keys(json, "vector", "{\"anyOf\": [{\"type\": \"number\"}, " VECTOR "]}");
    put_keys(json, "boolean", "{\"type\": \"boolean\"}");
    put_keys(json, "text", literal_text);
    put_keys(json, "color",
             "{\"anyOf\": [{\"type\": \"number\"}, {\"type\": \"string\", \"pattern\": "
             "\"" HEX_COLOR "\"}, " VECTOR "]}");
#undef VECTOR
}
