/* lang/diff_compare.c: what two values differ in, and how it is told. */
#include <string.h>

#include "engine/graph/param.h"
#include "lang/diff_work.h"

#define MOST_TEXT 4000 /* bytes of a value that are told */

/* ---- Telling ---- */

static const char *keep(lb_differ *d, lb_text *text)
{
    const char *kept = NULL;

    if (text->failed)
        d->failed = true;
    else if (text->bytes) {
        if (text->length > MOST_TEXT) { /* whole characters */
            size_t end = MOST_TEXT;

            while (end > 0 && (text->bytes[end] & 0xC0) == 0x80)
                end--;
            text->length = end;
            text->bytes[end] = 0;
            lb_text_put(text, "…");
        }
        kept = text->failed ? NULL : lb_arena_strdup(d->diff->arena, text->bytes);
        d->failed = d->failed || !kept;
    }
    lb_text_clear(text);
    return kept;
}

static const char *join(lb_differ *d, const char *path, const char *format, const char *key)
{
    lb_text text = {0};

    lb_text_put(&text, path ? path : "");
    lb_text_printf(&text, format, path ? "." : "", key);
    return keep(d, &text);
}

lb_change *lb_diff_tell(lb_differ *d, lb_change_kind kind, const lb_diff_place *at)
{
    lb_change *change;

    if (!lb_grow((void **)&d->diff->items, &d->diff->capacity, (size_t)d->diff->count,
                 sizeof *d->diff->items)) {
        d->failed = true;
        return NULL;
    }
    change = &d->diff->items[d->diff->count++];
    *change = (lb_change){.kind = kind,
                          .part = d->part,
                          .section = at->section,
                          .name = at->name,
                          .path = at->path,
                          .old_loc = at->old_loc,
                          .new_loc = at->new_loc};
    return change;
}

const char *lb_diff_shown(lb_differ *d, const lb_yaml_node *node, const lb_param *param)
{
    lb_text text = {0};

    if (!node)
        return NULL;
    lb_diff_put(&text, node, param, NULL);
    return keep(d, &text);
}

/* A value that differs as a whole. What is not given has its initial value, if that can be told. */
void lb_diff_tell_value(lb_differ *d, const lb_diff_place *at, const lb_yaml_node *a,
                        const lb_yaml_node *b, const lb_param *param, lb_change_kind kind)
{
    lb_change *change = lb_diff_tell(d, kind, at);

    if (!change)
        return;
    change->old_text = lb_diff_shown(d, a, param);
    change->new_text = lb_diff_shown(d, b, param);
    if (param && param->unit != LB_UNITLESS)
        change->unit = lb_unit_text(param->unit);
    if (a)
        change->old_loc = a->loc;
    if (b)
        change->new_loc = b->loc;
}

/* ---- Values ---- */

/* A key of a curve in its short form. */
static const lb_yaml_node *key_at(const lb_yaml_node *keys, const char *frame)
{
    double x, y;

    if (!lb_text_number(frame, strlen(frame), &x))
        return lb_yaml_find(keys, frame);
    for (int32_t i = 0; i < keys->count; i++)
        if (lb_text_number(keys->entries[i].key->text, keys->entries[i].key->length, &y) && x == y)
            return keys->entries[i].value;
    return NULL;
}

static bool is_short_curve(const lb_yaml_node *node)
{
    return lb_diff_is_curve(node) && lb_yaml_find(node, "keys")->kind == LB_YAML_MAPPING;
}

static void compare_keys(lb_differ *d, const lb_diff_place *at, const lb_yaml_node *a,
                         const lb_yaml_node *b, const lb_param *param)
{
    const lb_spelling spelling = {&d->nodes, &d->params};

    for (int32_t i = 0; i < a->count + b->count; i++) {
        bool is_old = i < a->count;
        const lb_yaml_entry *entry = is_old ? &a->entries[i] : &b->entries[i - a->count];
        const lb_yaml_node *old = is_old ? entry->value : key_at(a, entry->key->text);
        const lb_yaml_node *new = is_old ? key_at(b, entry->key->text) : entry->value;
        lb_diff_place inner = *at;

        if ((!is_old && old) || (old && new &&lb_diff_same(old, new, param, &spelling)))
            continue;
        inner.path = join(d, at->path, "%.0s at frame %s", entry->key->text);
        lb_diff_tell_value(d, &inner, old, new, param, LB_CHANGE_VALUE);
    }
}

/* Two curves: key by key, then how they go on. */
static void compare_curves(lb_differ *d, const lb_diff_place *at, const lb_yaml_node *a,
                           const lb_yaml_node *b, const lb_param *param)
{
    static const char *const words[] = {"ease", "before", "after"};
    static const char *const usual[] = {"linear", "hold", "hold"};

    compare_keys(d, at, lb_yaml_find(a, "keys"), lb_yaml_find(b, "keys"), param);
    for (int i = 0; i < 3; i++) {
        const lb_yaml_node *x = lb_yaml_find(a, words[i]), *y = lb_yaml_find(b, words[i]);
        const char *old = x && x->kind == LB_YAML_SCALAR ? x->text : x ? "" : usual[i];
        const char *new = y && y->kind == LB_YAML_SCALAR ? y->text : y ? "" : usual[i];
        lb_diff_place inner = *at;
        lb_change *change;

        if (strcmp(old, new) == 0)
            continue;
        inner.path = join(d, at->path, "%s%s", words[i]);
        if (!(change = lb_diff_tell(d, LB_CHANGE_VALUE, &inner)))
            return;
        change->old_text = old;
        change->new_text = new;
    }
}

static const lb_param *field_of(const lb_param *param, const char *key)
{
    return param && param->fields ? lb_params_find(param->fields, key) : NULL;
}

/* Keys of two mappings by the fields of a record, or as they stand. */
void lb_diff_compare_keys(lb_differ *d, const lb_diff_place *at, const lb_yaml_node *a,
                          const lb_yaml_node *b, const lb_param *param)
{
    for (int32_t i = 0; i < a->count + b->count && !d->failed; i++) {
        bool is_old = i < a->count;
        const lb_yaml_entry *entry = is_old ? &a->entries[i] : &b->entries[i - a->count];
        const char *key = entry->key->text;
        const lb_yaml_node *old = is_old ? entry->value : lb_yaml_find(a, key);
        const lb_yaml_node *new = is_old ? lb_yaml_find(b, key) : entry->value;
        lb_diff_place inner = *at;

        if (!is_old && old)
            continue;
        inner.path = join(d, at->path, "%s%s", key);
        lb_diff_compare(d, &inner, old, new, field_of(param, key));
    }
}

bool lb_diff_is_mapping(const lb_yaml_node *node)
{
    return node->kind == LB_YAML_MAPPING && !lb_diff_is_curve(node) &&
           !lb_yaml_find(node, "param") && !lb_yaml_find(node, "expr");
}

/* Two lists of as many mappings. */
static bool are_records(const lb_yaml_node *a, const lb_yaml_node *b)
{
    if (a->kind != LB_YAML_LIST || b->kind != LB_YAML_LIST || a->count != b->count)
        return false;
    for (int32_t i = 0; i < a->count; i++)
        if (!lb_diff_is_mapping(a->items[i]) || !lb_diff_is_mapping(b->items[i]))
            return false;
    return true;
}

void lb_diff_compare(lb_differ *d, const lb_diff_place *at, const lb_yaml_node *a,
                     const lb_yaml_node *b, const lb_param *param)
{
    const lb_spelling spelling = {&d->nodes, &d->params};

    if (param && param->type == LB_REF && a && b) {
        lb_diff_compare_input(d, at, a, b);
        return;
    }
    if (lb_diff_same(a, b, param, &spelling))
        return;
    if (a && b && is_short_curve(a) && is_short_curve(b)) {
        compare_curves(d, at, a, b, param);
    } else if (a && b && lb_diff_is_mapping(a) && lb_diff_is_mapping(b)) {
        lb_diff_compare_keys(d, at, a, b, param);
    } else if (a && b && are_records(a, b)) {
        for (int32_t i = 0; i < a->count && !d->failed; i++) {
            char number[24];
            lb_diff_place inner = *at;

            snprintf(number, sizeof number, "[%d]", (int)i + 1);
            inner.path = join(d, at->path, "%.0s%s", number);
            lb_diff_compare_keys(d, &inner, a->items[i], b->items[i], param);
        }
    } else {
        lb_diff_tell_value(d, at, a, b, param, LB_CHANGE_VALUE);
    }
}

void lb_diff_compare_input(lb_differ *d, const lb_diff_place *at, const lb_yaml_node *a,
                           const lb_yaml_node *b)
{
    const lb_spelling spelling = {&d->nodes, &d->params};

    if (!lb_diff_same_reference(a, b, &spelling))
        lb_diff_tell_value(d, at, a, b, NULL, LB_CHANGE_INPUT);
}
