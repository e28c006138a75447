/* lang/build_keys.c: {keys: {1: 0, 45: 40}, ease: ease-in-out} and
 * {keys: [{at: 1, value: 0, ease: linear}]}. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "lang/build.h"

/* A key as it is read; `order` keeps the file's order among equal frames. */
typedef struct raw_key {
    lb_key_frame frame;
    const lb_formula *value;
    lb_loc loc; /* of the frame's number */
    int32_t order;
} raw_key;

typedef struct key_list {
    lb_build *build;
    const char *name;
    const lb_param *param;
    const lb_easing *ease;          /* of all keys without one of their own */
    const lb_yaml_node *first_ease; /* the first that the graph gives; NULL: none */
    raw_key *items;
    int32_t count;
    bool is_faulty;
} key_list;

static bool read_ease(lb_build *build, const lb_yaml_node *node, lb_easing *out)
{
    return lb_build_expect(build, node, LB_YAML_SCALAR, "ease") &&
           lb_build_ok(build, lb_easing_read(build->diag, node, build->arena, out));
}

static bool read_frame(lb_build *build, const lb_yaml_node *node, double *out)
{
    char found[LB_FOUND];

    if (node->kind == LB_YAML_BROKEN)
        return lb_build_ok(build, LB_INVALID);
    if (node->kind == LB_YAML_SCALAR &&
        lb_scalar_resolve(node->text, node->length, out) == LB_SCALAR_NUMBER && isfinite(*out))
        return true;
    lb_build_fail(build, LB_INVALID, node->loc, "a key's frame is %s; it is a number",
                  lb_build_found(node, found));
    return false;
}

static void add_key(key_list *list, const lb_yaml_node *at, const lb_yaml_node *value,
                    const lb_yaml_node *ease)
{
    raw_key *key = &list->items[list->count];
    bool is_good = true;

    *key = (raw_key){.frame.easing = *list->ease, .loc = at->loc, .order = list->count};
    list->first_ease = list->first_ease ? list->first_ease : ease;
    is_good = read_frame(list->build, at, &key->frame.frame);
    if (ease && !read_ease(list->build, ease, &key->frame.easing))
        is_good = false;
    key->value = lb_build_value(list->build, value, list->name, list->param);
    if (key->value && key->value->timed) {
        lb_build_fail(list->build, LB_INVALID, key->value->loc,
                      "a key's value cannot depend on the frame");
        is_good = false;
    }
    if (!key->value || !is_good)
        list->is_faulty = true;
    else
        list->count++;
}

static void add_short(key_list *list, const lb_yaml_node *mapping)
{
    for (int32_t i = 0; i < mapping->count && !list->build->is_over; i++)
        add_key(list, mapping->entries[i].key, mapping->entries[i].value, NULL);
}

static void add_long(key_list *list, const lb_yaml_node *items)
{
    static const char *const keys[] = {"at", "value", "ease", NULL};

    for (int32_t i = 0; i < items->count && !list->build->is_over; i++) {
        const lb_yaml_node *item = items->items[i], *at, *value;

        if (!lb_build_expect(list->build, item, LB_YAML_MAPPING, "keys")) {
            list->is_faulty = true;
            continue;
        }
        lb_build_check_keys(list->build, item, keys, "keys");
        at = lb_yaml_find(item, "at");
        value = lb_yaml_find(item, "value");
        if (at && value) {
            add_key(list, at, value, lb_yaml_find(item, "ease"));
        } else {
            lb_build_fail(list->build, LB_INVALID, item->loc, "a key needs '%s'",
                          at ? "value" : "at");
            list->is_faulty = true;
        }
    }
}

static int by_frame(const void *left, const void *right)
{
    const raw_key *a = left, *b = right;

    if (a->frame.frame != b->frame.frame)
        return a->frame.frame < b->frame.frame ? -1 : 1;
    return a->order - b->order;
}

static bool is_text(const lb_param *param)
{
    return param && (param->type == LB_TEXT || param->type == LB_FILE || param->type == LB_CHOICE);
}

/* Hex colours become numbers, and if one has an alpha all have. */
static void convert_colors(key_list *list)
{
    int32_t numbers = 0, most = 0;

    for (int32_t i = 0; i < list->count; i++) {
        lb_datum value;

        if (!lb_formula_numbers(list->items[i].value, &value))
            return;
        numbers +=
            list->items[i].value->color_count > 0 || (list->param && list->param->type == LB_COLOR);
        most = value.count > most ? value.count : most;
    }
    if (numbers == 0)
        return;
    for (int32_t i = 0; i < list->count; i++) {
        lb_datum *value = &list->items[i].frame.value;

        lb_formula_numbers(list->items[i].value, value);
        if (value->count == 3 && most == 4) {
            value->count = 4;
            value->numbers[3] = 1;
        }
    }
}

/* Are all keys of one type, each frame given once? */
static bool check_list(key_list *list)
{
    lb_build *build = list->build;
    bool is_good = !list->is_faulty;

    for (int32_t i = 1; i < list->count; i++) {
        const lb_datum *first = &list->items[0].frame.value, *value = &list->items[i].frame.value;

        if (list->items[i].frame.frame == list->items[i - 1].frame.frame) {
            lb_build_fail(build, LB_INVALID, list->items[i].loc, "two keys at frame %g",
                          list->items[i].frame.frame);
            lb_note(build->diag, list->items[i - 1].loc, "the other is here");
            is_good = false;
        }
        if (value->kind != first->kind ||
            (value->kind == LB_DATUM_NUMBERS && value->count != first->count)) {
            lb_build_fail(build, LB_INVALID, list->items[i].value->loc,
                          "the keys of '%.60s' have values of different types", list->name);
            lb_note(build->diag, list->items[0].value->loc, "the first is here");
            return false;
        }
    }
    return is_good;
}

static lb_beyond read_beyond(lb_build *build, const lb_yaml_node *mapping, const char *key)
{
    const lb_yaml_node *node = lb_yaml_find(mapping, key);
    char found[LB_FOUND], hint[LB_HINT];

    if (!node || !lb_build_expect(build, node, LB_YAML_SCALAR, key))
        return LB_BEYOND_HOLD;
    for (int i = 0; lb_beyond_names[i]; i++)
        if (strcmp(node->text, lb_beyond_names[i]) == 0)
            return (lb_beyond)i;
    lb_build_fail(build, LB_INVALID, node->loc,
                  "'%s' is %s; it is one of hold, linear, repeat, mirror%s", key,
                  lb_build_found(node, found),
                  lb_build_hint(build, node->text, lb_beyond_names, 4, hint));
    return LB_BEYOND_HOLD;
}

/* Each key's value by itself must do for the parameter. */
static bool check_values(key_list *list)
{
    lb_build *build = list->build;
    double field[4]; /* large enough for what keys are stored in */
    lb_param param;
    bool is_good = true;

    if (!list->param)
        return true;
    param = *list->param;
    param.offset = 0;
    for (int32_t i = 0; i < list->count; i++)
        is_good =
            lb_build_ok(build, lb_param_store(&build->store, &param, list->items[i].value->loc,
                                              &list->items[i].frame.value, field)) &&
            is_good;
    return is_good;
}

static const lb_formula *make_formula(key_list *list, const lb_yaml_node *node)
{
    lb_build *build = list->build;
    lb_formula *formula = lb_build_constant(build, node->loc, &list->items[0].frame.value);
    lb_keys *keys;

    if (!formula)
        return NULL;
    formula->color_count = 0;
    keys = &formula->keys;
    keys->before = read_beyond(build, node, "before");
    keys->after = read_beyond(build, node, "after");
    keys->count = list->count;
    if (!(keys->items = lb_build_alloc(build, (size_t)list->count, sizeof *keys->items)))
        return NULL;
    for (int32_t i = 0; i < list->count; i++)
        keys->items[i] = list->items[i].frame;
    if (formula->value.kind != LB_DATUM_NUMBERS)
        keys->between = LB_BETWEEN_HOLD;
    else if (list->param && list->param->type == LB_ROTATION && formula->value.count == 4)
        keys->between = LB_BETWEEN_SLERP;
    if (list->first_ease && keys->between == LB_BETWEEN_HOLD)
        lb_warn(build->diag, list->first_ease->loc,
                "'ease' does nothing here: %s holds until the next key",
                formula->value.kind == LB_DATUM_TEXT ? "text" : "true or false");
    keys->is_whole = list->param && list->param->type == LB_INT;
    if (list->count > 1) {
        formula->kind = LB_FORMULA_KEYS;
        formula->timed = true;
    }
    return formula;
}

static const lb_formula *finish(key_list *list, const lb_yaml_node *node)
{
    for (int32_t i = 0; i < list->count; i++)
        list->items[i].frame.value = list->items[i].value->value;
    if (!is_text(list->param))
        convert_colors(list);
    qsort(list->items, (size_t)list->count, sizeof *list->items, by_frame);
    if (!check_list(list) || !check_values(list))
        return NULL;
    return make_formula(list, node);
}

const lb_formula *lb_build_keys(lb_build *build, const lb_yaml_node *node, const char *name,
                                const lb_param *param)
{
    const lb_yaml_node *keys = lb_yaml_find(node, "keys"), *ease = lb_yaml_find(node, "ease");
    lb_easing common = {0};
    key_list list = {
        .build = build, .name = name, .param = param, .ease = &common, .first_ease = ease};
    const lb_formula *formula = NULL;

    if (ease && !read_ease(build, ease, &common))
        list.is_faulty = true;
    if (keys->kind != LB_YAML_LIST && !lb_build_expect(build, keys, LB_YAML_MAPPING, "keys"))
        return NULL;
    if (keys->count == 0) {
        lb_build_fail(build, LB_INVALID, keys->loc, "'keys' is empty; it takes {frame: value}");
        return NULL;
    }
    if (!(list.items = lb_alloc((size_t)keys->count, sizeof *list.items))) {
        lb_build_fail(build, LB_MEMORY, keys->loc, "no memory");
        return NULL;
    }
    if (keys->kind == LB_YAML_LIST)
        add_long(&list, keys);
    else
        add_short(&list, keys);
    if (list.count > 0 && !build->is_over)
        formula = finish(&list, node);
    lb_free(list.items);
    return formula;
}
