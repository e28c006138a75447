/* engine/base/json.c */
#include "engine/base/json.h"

#include <math.h>

static void break_line(lb_json *json)
{
    if (json->flat_depth > 0)
        return;
    lb_text_put(json->text, "\n");
    for (int32_t i = 0; i < json->depth; i++)
        lb_text_put(json->text, " ");
}

/* What goes before a value or a key. */
static void begin(lb_json *json)
{
    if (json->has_key) {
        json->has_key = false;
        return;
    }
    if (json->has_items)
        lb_text_put(json->text, json->flat_depth > 0 ? ", " : ",");
    if (json->depth > 0)
        break_line(json);
    json->has_items = true;
}

void lb_json_open(lb_json *json, char bracket, bool is_flat)
{
    begin(json);
    lb_text_add(json->text, &bracket, 1);
    json->depth++;
    if (is_flat && json->flat_depth == 0)
        json->flat_depth = json->depth;
    json->has_items = false;
}

void lb_json_close(lb_json *json, char bracket)
{
    bool was_empty = !json->has_items;
    bool ends_flat = json->flat_depth == json->depth;

    json->depth--;
    if (!was_empty)
        break_line(json);
    if (ends_flat)
        json->flat_depth = 0;
    lb_text_add(json->text, &bracket, 1);
    json->has_items = true;
}

void lb_json_key(lb_json *json, const char *key)
{
    begin(json);
    lb_text_json(json->text, key);
    lb_text_put(json->text, ": ");
    json->has_key = true;
}

void lb_json_text(lb_json *json, const char *text)
{
    begin(json);
    lb_text_json(json->text, text);
}

void lb_json_number(lb_json *json, double number)
{
    char buffer[32];

    begin(json);
    lb_text_put(json->text, isfinite(number) ? lb_text_from_number(number, buffer) : "null");
}

void lb_json_bool(lb_json *json, bool value)
{
    begin(json);
    lb_text_put(json->text, value ? "true" : "false");
}

void lb_json_raw(lb_json *json, const char *value)
{
    begin(json);
    lb_text_put(json->text, value);
}
