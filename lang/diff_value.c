/* lang/diff_value.c: values of two files, compared by meaning. */
#include "lang/diff_value.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "engine/graph/param.h"

/* ---- Names ---- */

const char *lb_renames_find(const lb_renames *renames, const char *name, size_t length,
                            size_t *out_length)
{
    int32_t at = renames ? lb_name_map_find(&renames->map, name, length) : -1;

    *out_length = at >= 0 ? strlen(renames->to[at]) : length;
    return at >= 0 ? renames->to[at] : name;
}

bool lb_renames_add(lb_renames *renames, const char *from, const char *to)
{
    if (!lb_grow((void **)&renames->to, &renames->capacity, (size_t)renames->count,
                 sizeof *renames->to) ||
        !lb_name_map_add(&renames->map, from, strlen(from), renames->count, NULL))
        return false;
    renames->to[renames->count++] = to;
    return true;
}

void lb_renames_clear(lb_renames *renames)
{
    lb_name_map_clear(&renames->map);
    lb_free(renames->to);
    *renames = (lb_renames){0};
}

/* ---- Text ---- */

static bool is_letter(char c)
{
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '_';
}

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

/* An expression without blanks, with numbers by their value and the params' new names. A name may
 * have dashes in it only if it is a param's. */
static void put_expression(lb_text *out, const char *text, const lb_spelling *spelling)
{
    const lb_renames *params = spelling ? spelling->params : NULL;

    while (*text) {
        const char *begin = text;

        if (*text == '"' || *text == '\'') {
            char quote = *text++;

            while (*text && *text != quote)
                text += *text == '\\' && text[1] ? 2 : 1;
            text += *text != 0;
            lb_text_add(out, begin, (size_t)(text - begin));
        } else if (is_letter(*text)) {
            size_t length = 0, longest, new_length;
            const char *name;

            while (is_letter(text[length]) || is_digit(text[length]))
                length++;
            for (longest = length;
                 is_letter(text[longest]) || is_digit(text[longest]) || text[longest] == '-';)
                longest++;
            if (params && lb_name_map_find(&params->map, text, longest) >= 0)
                length = longest;
            name = lb_renames_find(params, text, length, &new_length);
            lb_text_add(out, name, new_length);
            text += length;
        } else if (is_digit(*text) || (*text == '.' && is_digit(text[1]))) {
            char number[32];
            double value;
            size_t length = 0;

            while (is_digit(text[length]) || text[length] == '.')
                length++;
            if ((text[length] | 32) == 'e' &&
                (is_digit(text[length + 1]) ||
                 ((text[length + 1] == '-' || text[length + 1] == '+') &&
                  is_digit(text[length + 2]))))
                for (length += 2; is_digit(text[length]);)
                    length++;
            if (lb_text_number(text, length, &value))
                lb_text_put(out, lb_text_from_number(value, number));
            else
                lb_text_add(out, text, length);
            text += length;
        } else {
            if (*text != ' ' && *text != '\t' && *text != '\n' && *text != '\r')
                lb_text_add(out, text, 1);
            text++;
        }
    }
}

/* Can a text stand without quotes, and is it no number or word of YAML's? */
static bool is_plain_word(const char *text, size_t length)
{
    double number;

    if (length == 0 || lb_scalar_resolve(text, length, &number) != LB_SCALAR_TEXT)
        return false;
    for (size_t i = 0; i < length; i++)
        if (!is_letter(text[i]) && !is_digit(text[i]) && (i == 0 || !strchr("-./", text[i])))
            return false;
    return true;
}

static void put_text(lb_text *out, const char *text, size_t length)
{
    if (is_plain_word(text, length))
        lb_text_add(out, text, length);
    else
        lb_text_json(out, text);
}

static bool wants_text(const lb_param *param)
{
    return param && (param->type == LB_TEXT || param->type == LB_FILE || param->type == LB_CHOICE);
}

static void put_scalar(lb_text *out, const lb_yaml_node *node, const lb_param *param)
{
    char number[32];

    if (node->type == LB_SCALAR_NUMBER && !wants_text(param))
        lb_text_put(out, lb_text_from_number(node->number, number));
    else if (node->type == LB_SCALAR_BOOL && !wants_text(param))
        lb_text_put(out, node->number != 0 ? "true" : "false");
    else if (node->type == LB_SCALAR_NULL)
        lb_text_put(out, "null");
    else
        put_text(out, node->text, node->length);
}

void lb_diff_put_reference(lb_text *out, const lb_yaml_node *node, const lb_spelling *spelling)
{
    size_t length, new_length;
    const char *name;

    if (node->kind != LB_YAML_SCALAR) {
        lb_diff_put(out, node, NULL, spelling);
        return;
    }
    length = strcspn(node->text, ".");
    name = lb_renames_find(spelling ? spelling->nodes : NULL, node->text, length, &new_length);
    lb_text_add(out, name, new_length);
    lb_text_put(out, node->text + length);
}

/* ---- Curves ---- */

bool lb_diff_is_curve(const lb_yaml_node *node)
{
    return node && node->kind == LB_YAML_MAPPING && lb_yaml_find(node, "keys");
}

/* ---- Values ---- */

static int by_key(const void *left, const void *right)
{
    const lb_yaml_entry *const *a = left, *const *b = right;
    double x, y;

    if (lb_text_number((*a)->key->text, (*a)->key->length, &x) &&
        lb_text_number((*b)->key->text, (*b)->key->length, &y) && x != y)
        return x < y ? -1 : 1;
    return strcmp((*a)->key->text, (*b)->key->text);
}

static int by_frame(const void *left, const void *right)
{
    const lb_yaml_node *a = lb_yaml_find(*(lb_yaml_node *const *)left, "at");
    const lb_yaml_node *b = lb_yaml_find(*(lb_yaml_node *const *)right, "at");

    return a->number < b->number ? -1 : a->number > b->number;
}

static void put_ease(lb_text *out, const lb_yaml_node *ease)
{
    if (ease && ease->kind == LB_YAML_SCALAR && strcmp(ease->text, "linear") != 0)
        lb_text_printf(out, " %s", ease->text);
}

/* The long form of a curve's keys as the short one. False: it is not well-formed. */
static bool put_long_keys(lb_text *out, const lb_yaml_node *list, const lb_yaml_node *common,
                          const lb_param *param, const lb_spelling *spelling)
{
    lb_yaml_node **sorted = lb_alloc((size_t)list->count + 1, sizeof(lb_yaml_node *));
    bool is_good = sorted != NULL;

    for (int32_t i = 0; is_good && i < list->count; i++) {
        const lb_yaml_node *at =
            list->items[i]->kind == LB_YAML_MAPPING ? lb_yaml_find(list->items[i], "at") : NULL;

        sorted[i] = list->items[i];
        is_good = at && at->kind == LB_YAML_SCALAR && at->type == LB_SCALAR_NUMBER &&
                  lb_yaml_find(list->items[i], "value");
    }
    if (is_good) {
        qsort(sorted, (size_t)list->count, sizeof *sorted, by_frame);
        lb_text_put(out, "{");
        for (int32_t i = 0; i < list->count; i++) {
            const lb_yaml_node *ease = lb_yaml_find(sorted[i], "ease");
            char number[32];

            lb_text_printf(out, "%s%s: ", i ? ", " : "",
                           lb_text_from_number(lb_yaml_find(sorted[i], "at")->number, number));
            lb_diff_put(out, lb_yaml_find(sorted[i], "value"), param, spelling);
            put_ease(out, ease ? ease : common);
        }
        lb_text_put(out, "}");
    }
    lb_free(sorted);
    return is_good;
}

static void put_mapping(lb_text *out, const lb_yaml_node *node, const lb_yaml_node *ease,
                        const lb_param *param, const lb_spelling *spelling, bool is_curve)
{
    const lb_yaml_entry **sorted = lb_alloc((size_t)node->count + 1, sizeof(lb_yaml_entry *));

    if (!sorted) {
        out->failed = true;
        return;
    }
    for (int32_t i = 0; i < node->count; i++)
        sorted[i] = &node->entries[i];
    qsort(sorted, (size_t)node->count, sizeof *sorted, by_key);
    lb_text_put(out, "{");
    for (int32_t i = 0; i < node->count; i++) {
        const lb_yaml_node *key = sorted[i]->key;
        char number[32];
        double value;

        lb_text_put(out, i ? ", " : "");
        if (lb_text_number(key->text, key->length, &value))
            lb_text_put(out, lb_text_from_number(value, number));
        else
            put_text(out, key->text, key->length);
        lb_text_put(out, ": ");
        lb_diff_put(out, sorted[i]->value, is_curve ? param : NULL, spelling);
        if (is_curve)
            put_ease(out, ease);
    }
    lb_text_put(out, "}");
    lb_free(sorted);
}

/* {keys: {1: 0, 45: 40 ease-in-out}}: of both forms, without what goes without saying. */
static void put_curve(lb_text *out, const lb_yaml_node *node, const lb_param *param,
                      const lb_spelling *spelling)
{
    static const char *const beyond[] = {"before", "after"};
    const lb_yaml_node *keys = lb_yaml_find(node, "keys"), *ease = lb_yaml_find(node, "ease");

    lb_text_put(out, "{keys: ");
    if (keys->kind == LB_YAML_MAPPING)
        put_mapping(out, keys, ease, param, spelling, true);
    else if (keys->kind != LB_YAML_LIST || !put_long_keys(out, keys, ease, param, spelling))
        lb_diff_put(out, keys, NULL, spelling);
    for (int i = 0; i < 2; i++) {
        const lb_yaml_node *value = lb_yaml_find(node, beyond[i]);

        if (value && (value->kind != LB_YAML_SCALAR || strcmp(value->text, "hold") != 0)) {
            lb_text_printf(out, ", %s: ", beyond[i]);
            lb_diff_put(out, value, NULL, spelling);
        }
    }
    lb_text_put(out, "}");
}

/* {param: NAME} and {expr: ...}. */
static bool put_form(lb_text *out, const lb_yaml_node *node, const lb_spelling *spelling)
{
    const lb_yaml_node *value;

    if (node->count != 1)
        return false;
    value = node->entries[0].value;
    if (value->kind != LB_YAML_SCALAR)
        return false;
    if (strcmp(node->entries[0].key->text, "param") == 0) {
        size_t length;
        const char *name = lb_renames_find(spelling ? spelling->params : NULL, value->text,
                                           value->length, &length);

        lb_text_put(out, "{param: ");
        lb_text_add(out, name, length);
    } else if (strcmp(node->entries[0].key->text, "expr") == 0) {
        lb_text_put(out, "{expr: ");
        put_expression(out, value->text, spelling);
    } else {
        return false;
    }
    lb_text_put(out, "}");
    return true;
}

void lb_diff_put(lb_text *out, const lb_yaml_node *node, const lb_param *param,
                 const lb_spelling *spelling)
{
    switch (node->kind) {
    case LB_YAML_SCALAR:
        put_scalar(out, node, param);
        break;
    case LB_YAML_LIST:
        lb_text_put(out, "[");
        for (int32_t i = 0; i < node->count; i++) {
            lb_text_put(out, i ? ", " : "");
            lb_diff_put(out, node->items[i], NULL, spelling);
        }
        lb_text_put(out, "]");
        break;
    case LB_YAML_MAPPING:
        if (lb_diff_is_curve(node))
            put_curve(out, node, param, spelling);
        else if (!put_form(out, node, spelling))
            put_mapping(out, node, NULL, NULL, spelling, false);
        break;
    case LB_YAML_BROKEN:
        lb_text_put(out, "*?");
        break;
    }
}

/* ---- Equality ---- */

typedef struct stored {
    double numbers[4]; /* or a bool or an int, in its first bytes */
    const char *text;
} stored;

/* What a literal, or nothing, comes to in the parameter's own terms. False: it is no literal, or
 * not one that the parameter takes. */
static bool store(const lb_yaml_node *node, const lb_param *param, lb_arena *arena, stored *out)
{
    const lb_store quiet = {.arena = arena, .working = LB_SPACE_LINEAR_REC709, .folder = ""};
    lb_param table[2] = {*param};
    lb_datum value = {.kind = LB_DATUM_NUMBERS};

    memset(out, 0, sizeof *out);
    table[0].offset = 0;
    if (param->type >= LB_REF || param->type == LB_TEXT || param->type == LB_FILE)
        return false;
    if (!node)
        return !param->required && lb_params_init(&quiet, table, out) == LB_OK;
    if (node->kind == LB_YAML_LIST && node->count >= 1 && node->count <= 4) {
        value.count = node->count;
        for (int32_t i = 0; i < node->count; i++) {
            if (node->items[i]->kind != LB_YAML_SCALAR || node->items[i]->type != LB_SCALAR_NUMBER)
                return false;
            value.numbers[i] = node->items[i]->number;
        }
    } else if (node->kind == LB_YAML_SCALAR) {
        value.count = 1;
        value.text = node->text;
        value.numbers[0] = node->number;
        value.kind = wants_text(param) || node->type == LB_SCALAR_TEXT ? LB_DATUM_TEXT
                     : node->type == LB_SCALAR_BOOL                    ? LB_DATUM_BOOL
                                                                       : LB_DATUM_NUMBERS;
        if (node->type == LB_SCALAR_NULL)
            return false;
    } else {
        return false;
    }
    return lb_param_store(&quiet, table, LB_NOWHERE, &value, out) == LB_OK;
}

static bool same_stored(const lb_yaml_node *a, const lb_yaml_node *b, const lb_param *param,
                        bool *is_known)
{
    lb_arena *arena = lb_arena_new();
    stored x, y;
    bool same = false;

    *is_known = arena && store(a, param, arena, &x) && store(b, param, arena, &y);
    if (*is_known)
        same = memcmp(&x, &y, sizeof x) == 0;
    lb_arena_free(&arena);
    return same;
}

bool lb_diff_same(const lb_yaml_node *a, const lb_yaml_node *b, const lb_param *param,
                  const lb_spelling *spelling)
{
    lb_text x = {0}, y = {0};
    bool same, is_known;

    if (param && (same = same_stored(a, b, param, &is_known), is_known))
        return same;
    if (!a || !b) {
        const lb_yaml_node *given = a ? a : b;

        return given && wants_text(param) && param->initial_text && given->kind == LB_YAML_SCALAR &&
               strcmp(given->text, param->initial_text) == 0;
    }
    lb_diff_put(&x, a, param, spelling);
    lb_diff_put(&y, b, param, NULL);
    same = !x.failed && !y.failed && strcmp(x.bytes, y.bytes) == 0;
    lb_text_clear(&x);
    lb_text_clear(&y);
    return same;
}

bool lb_diff_same_reference(const lb_yaml_node *a, const lb_yaml_node *b,
                            const lb_spelling *spelling)
{
    lb_text x = {0}, y = {0};
    bool same = true;

    if (!a || !b)
        return a == b;
    if (a->kind == LB_YAML_LIST && b->kind == LB_YAML_LIST) {
        if (a->count != b->count)
            return false;
        for (int32_t i = 0; i < a->count && same; i++)
            same = lb_diff_same_reference(a->items[i], b->items[i], spelling);
        return same;
    }
    lb_diff_put_reference(&x, a, spelling);
    lb_diff_put_reference(&y, b, NULL);
    same = !x.failed && !y.failed && strcmp(x.bytes, y.bytes) == 0;
    lb_text_clear(&x);
    lb_text_clear(&y);
    return same;
}
