/* lang/diff.c: what two graph files differ in by meaning: section by section, thing by thing. */
#include "lang/diff.h"

#include <string.h>

#include "engine/graph/param.h"
#include "lang/diff_pairs.h"
#include "lang/diff_value.h"
#include "lang/output_table.h"

const char *const lb_change_names[] = {"added", "removed", "renamed", "changed", "rewired", NULL};

#define MOST_TEXT 4000 /* bytes of a value that are told */

/* Where a difference is. */
typedef struct place {
    const char *section, *name, *path;
    lb_loc old_loc, new_loc; /* of what holds it */
} place;

typedef struct differ {
    lb_diag *diag;
    const lb_op *const *ops;
    lb_diff *diff;
    const char *part; /* being compared; NULL: the graph itself */
    lb_renames nodes, params;
    const lb_yaml_node *parts[2]; /* of both files, for what a use takes */
    bool failed;                  /* no memory */
} differ;

static void compare_body(differ *d, const lb_yaml_node *a, const lb_yaml_node *b, bool is_part);

/* ---- Telling ---- */

static const char *keep(differ *d, lb_text *text)
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

static const char *join(differ *d, const char *path, const char *format, const char *key)
{
    lb_text text = {0};

    lb_text_put(&text, path ? path : "");
    lb_text_printf(&text, format, path ? "." : "", key);
    return keep(d, &text);
}

static lb_change *tell(differ *d, lb_change_kind kind, const place *at)
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

static const char *shown(differ *d, const lb_yaml_node *node, const lb_param *param)
{
    lb_text text = {0};

    if (!node)
        return NULL;
    lb_diff_put(&text, node, param, NULL);
    return keep(d, &text);
}

/* A value that differs as a whole. What is not given has its initial value, if that can be told. */
static void tell_value(differ *d, const place *at, const lb_yaml_node *a, const lb_yaml_node *b,
                       const lb_param *param, lb_change_kind kind)
{
    lb_change *change = tell(d, kind, at);

    if (!change)
        return;
    change->old_text = shown(d, a, param);
    change->new_text = shown(d, b, param);
    if (param && param->unit != LB_UNITLESS)
        change->unit = lb_unit_text(param->unit);
    if (a)
        change->old_loc = a->loc;
    if (b)
        change->new_loc = b->loc;
}

/* ---- Values ---- */

static void compare_value(differ *d, const place *at, const lb_yaml_node *a, const lb_yaml_node *b,
                          const lb_param *param);

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

static void compare_keys(differ *d, const place *at, const lb_yaml_node *a, const lb_yaml_node *b,
                         const lb_param *param)
{
    const lb_spelling spelling = {&d->nodes, &d->params};

    for (int32_t i = 0; i < a->count + b->count; i++) {
        bool is_old = i < a->count;
        const lb_yaml_entry *entry = is_old ? &a->entries[i] : &b->entries[i - a->count];
        const lb_yaml_node *old = is_old ? entry->value : key_at(a, entry->key->text);
        const lb_yaml_node *new = is_old ? key_at(b, entry->key->text) : entry->value;
        place inner = *at;

        if ((!is_old && old) || (old && new &&lb_diff_same(old, new, param, &spelling)))
            continue;
        inner.path = join(d, at->path, "%.0s at frame %s", entry->key->text);
        tell_value(d, &inner, old, new, param, LB_CHANGE_VALUE);
    }
}

/* Two curves: key by key, then how they go on. */
static void compare_curves(differ *d, const place *at, const lb_yaml_node *a, const lb_yaml_node *b,
                           const lb_param *param)
{
    static const char *const words[] = {"ease", "before", "after"};
    static const char *const usual[] = {"linear", "hold", "hold"};

    compare_keys(d, at, lb_yaml_find(a, "keys"), lb_yaml_find(b, "keys"), param);
    for (int i = 0; i < 3; i++) {
        const lb_yaml_node *x = lb_yaml_find(a, words[i]), *y = lb_yaml_find(b, words[i]);
        const char *old = x && x->kind == LB_YAML_SCALAR ? x->text : x ? "" : usual[i];
        const char *new = y && y->kind == LB_YAML_SCALAR ? y->text : y ? "" : usual[i];
        place inner = *at;
        lb_change *change;

        if (strcmp(old, new) == 0)
            continue;
        inner.path = join(d, at->path, "%s%s", words[i]);
        if (!(change = tell(d, LB_CHANGE_VALUE, &inner)))
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
static void compare_mappings(differ *d, const place *at, const lb_yaml_node *a,
                             const lb_yaml_node *b, const lb_param *param)
{
    for (int32_t i = 0; i < a->count + b->count && !d->failed; i++) {
        bool is_old = i < a->count;
        const lb_yaml_entry *entry = is_old ? &a->entries[i] : &b->entries[i - a->count];
        const char *key = entry->key->text;
        const lb_yaml_node *old = is_old ? entry->value : lb_yaml_find(a, key);
        const lb_yaml_node *new = is_old ? lb_yaml_find(b, key) : entry->value;
        place inner = *at;

        if (!is_old && old)
            continue;
        inner.path = join(d, at->path, "%s%s", key);
        compare_value(d, &inner, old, new, field_of(param, key));
    }
}

static bool is_plain_mapping(const lb_yaml_node *node)
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
        if (!is_plain_mapping(a->items[i]) || !is_plain_mapping(b->items[i]))
            return false;
    return true;
}

static void compare_value(differ *d, const place *at, const lb_yaml_node *a, const lb_yaml_node *b,
                          const lb_param *param)
{
    const lb_spelling spelling = {&d->nodes, &d->params};

    if (param && param->type == LB_REF && a && b) {
        lb_text x = {0}, y = {0};
        bool same;

        lb_diff_put_reference(&x, a, &spelling);
        lb_diff_put_reference(&y, b, NULL);
        same = !x.failed && !y.failed && strcmp(x.bytes, y.bytes) == 0;
        lb_text_clear(&x);
        lb_text_clear(&y);
        if (same)
            return;
        tell_value(d, at, a, b, NULL, LB_CHANGE_INPUT);
        return;
    }
    if (lb_diff_same(a, b, param, &spelling))
        return;
    if (a && b && is_short_curve(a) && is_short_curve(b)) {
        compare_curves(d, at, a, b, param);
    } else if (a && b && is_plain_mapping(a) && is_plain_mapping(b)) {
        compare_mappings(d, at, a, b, param);
    } else if (a && b && are_records(a, b)) {
        for (int32_t i = 0; i < a->count && !d->failed; i++) {
            char number[24];
            place inner = *at;

            snprintf(number, sizeof number, "[%d]", (int)i + 1);
            inner.path = join(d, at->path, "%.0s%s", number);
            compare_mappings(d, &inner, a->items[i], b->items[i], param);
        }
    } else {
        tell_value(d, at, a, b, param, LB_CHANGE_VALUE);
    }
}

/* ---- Things of a section ---- */

static void tell_whole(differ *d, lb_change_kind kind, const char *section,
                       const lb_yaml_entry *entry)
{
    const place at = {.section = section, .name = entry->key->text};
    lb_change *change = tell(d, kind, &at);

    if (!change)
        return;
    if (kind == LB_CHANGE_ADDED) {
        change->new_text = shown(d, entry->value, NULL);
        change->new_loc = entry->key->loc;
    } else {
        change->old_text = shown(d, entry->value, NULL);
        change->old_loc = entry->key->loc;
    }
}

static void tell_renamed(differ *d, const char *section, const lb_pair *pair)
{
    const place at = {.section = section,
                      .name = pair->b->key->text,
                      .old_loc = pair->a->key->loc,
                      .new_loc = pair->b->key->loc};
    lb_change *change = tell(d, LB_CHANGE_RENAMED, &at);

    if (!change)
        return;
    change->old_text = pair->a->key->text;
    change->new_text = pair->b->key->text;
}

typedef void (*compare_fn)(differ *d, const place *at, const lb_yaml_node *a,
                           const lb_yaml_node *b);

/* What is gone, what has another name, then what is new or otherwise, in the new file's order. */
static void compare_pairs(differ *d, const char *section, const lb_pairs *pairs, compare_fn compare)
{
    for (int32_t i = 0; i < pairs->count && !d->failed; i++)
        if (!pairs->items[i].b)
            tell_whole(d, LB_CHANGE_REMOVED, section, pairs->items[i].a);
    for (int32_t i = 0; i < pairs->count && !d->failed; i++) {
        const lb_pair *pair = &pairs->items[i];
        place at = {.section = section};

        if (!pair->b)
            continue;
        at.name = pair->b->key->text;
        if (!pair->a) {
            tell_whole(d, LB_CHANGE_ADDED, section, pair->b);
            continue;
        }
        at.old_loc = pair->a->key->loc;
        at.new_loc = pair->b->key->loc;
        if (strcmp(pair->a->key->text, pair->b->key->text) != 0)
            tell_renamed(d, section, pair);
        compare(d, &at, pair->a->value, pair->b->value);
    }
}

static void compare_plainly(differ *d, const place *at, const lb_yaml_node *a,
                            const lb_yaml_node *b)
{
    compare_value(d, at, a, b, NULL);
}

/* ---- Nodes ---- */

/* Is it an input of what a use of a part takes? */
static bool is_part_input(const differ *d, const char *op, const char *key)
{
    for (int side = 0; side < 2 && strncmp(op, "part/", 5) == 0; side++) {
        const lb_yaml_node *part = d->parts[side] && d->parts[side]->kind == LB_YAML_MAPPING
                                       ? lb_yaml_find(d->parts[side], op + 5)
                                       : NULL;
        const lb_yaml_node *inputs =
            part && part->kind == LB_YAML_MAPPING ? lb_yaml_find(part, "inputs") : NULL;

        if (inputs && inputs->kind == LB_YAML_MAPPING && lb_yaml_find(inputs, key))
            return true;
    }
    return false;
}

static bool is_node_name(const differ *d, const lb_yaml_node *node)
{
    size_t length;

    return node && node->kind == LB_YAML_SCALAR &&
           lb_renames_find(&d->nodes, node->text, strcspn(node->text, "."), &length) != node->text;
}

static void compare_input(differ *d, const place *at, const lb_yaml_node *a, const lb_yaml_node *b)
{
    const lb_spelling spelling = {&d->nodes, &d->params};
    lb_text x = {0}, y = {0};
    bool same;

    if (a && b && a->kind == LB_YAML_LIST && b->kind == LB_YAML_LIST && a->count == b->count) {
        same = true;
        for (int32_t i = 0; i < a->count && same; i++) {
            lb_diff_put_reference(&x, a->items[i], &spelling);
            lb_diff_put_reference(&y, b->items[i], NULL);
            same = !x.failed && !y.failed && strcmp(x.bytes, y.bytes) == 0;
            lb_text_clear(&x);
            lb_text_clear(&y);
        }
    } else {
        if (a)
            lb_diff_put_reference(&x, a, &spelling);
        if (b)
            lb_diff_put_reference(&y, b, NULL);
        same = a && b && !x.failed && !y.failed && strcmp(x.bytes, y.bytes) == 0;
    }
    lb_text_clear(&x);
    lb_text_clear(&y);
    if (!same)
        tell_value(d, at, a, b, NULL, LB_CHANGE_INPUT);
}

static void compare_nodes(differ *d, const place *at, const lb_yaml_node *a, const lb_yaml_node *b)
{
    const lb_yaml_node *word;
    const lb_op *op;

    if (a->kind != LB_YAML_MAPPING || b->kind != LB_YAML_MAPPING) {
        compare_value(d, at, a, b, NULL);
        return;
    }
    word = lb_yaml_find(b, "op");
    op = lb_diff_op(d->ops, b);
    for (int32_t i = 0; i < a->count + b->count && !d->failed; i++) {
        bool is_old = i < a->count;
        const lb_yaml_entry *entry = is_old ? &a->entries[i] : &b->entries[i - a->count];
        const char *key = entry->key->text;
        const lb_yaml_node *old = is_old ? entry->value : lb_yaml_find(a, key);
        const lb_yaml_node *new = is_old ? lb_yaml_find(b, key) : entry->value;
        const lb_param *param = op ? lb_params_find(op->params, key) : NULL;
        place inner = *at;

        if (!is_old && old)
            continue;
        inner.path = key;
        if ((op && lb_inputs_find(op->inputs, key) >= 0 &&
             !(param && old && new && !is_node_name(d, old))) ||
            (word && word->kind == LB_YAML_SCALAR && is_part_input(d, word->text, key)))
            compare_input(d, &inner, old, new);
        else
            compare_value(d, &inner, old, new, param);
    }
}

static void compare_outputs(differ *d, const place *at, const lb_yaml_node *a,
                            const lb_yaml_node *b)
{
    if (a->kind != LB_YAML_MAPPING || b->kind != LB_YAML_MAPPING) {
        compare_value(d, at, a, b, NULL);
        return;
    }
    for (int32_t i = 0; i < a->count + b->count && !d->failed; i++) {
        bool is_old = i < a->count;
        const lb_yaml_entry *entry = is_old ? &a->entries[i] : &b->entries[i - a->count];
        const char *key = entry->key->text;
        const lb_yaml_node *old = is_old ? entry->value : lb_yaml_find(a, key);
        const lb_yaml_node *new = is_old ? lb_yaml_find(b, key) : entry->value;
        place inner = *at;

        if (!is_old && old)
            continue;
        inner.path = key;
        if (strcmp(key, "image") == 0)
            compare_input(d, &inner, old, new);
        else
            compare_value(d, &inner, old, new, lb_params_find(lb_output_table(), key));
    }
}

/* ---- The whole ---- */

static const lb_yaml_node *section(const lb_yaml_node *body, const char *name)
{
    const lb_yaml_node *node = body ? lb_yaml_find(body, name) : NULL;

    return node && node->kind == LB_YAML_MAPPING ? node : NULL;
}

static bool note_renames(const lb_pairs *pairs, lb_renames *renames)
{
    for (int32_t i = 0; i < pairs->count; i++) {
        const lb_pair *pair = &pairs->items[i];

        if (pair->a && pair->b && strcmp(pair->a->key->text, pair->b->key->text) != 0 &&
            !lb_renames_add(renames, pair->a->key->text, pair->b->key->text))
            return false;
    }
    return true;
}

/* Parts are compared as graphs of their own; their names stay those of the file. */
static void compare_parts(differ *d, const place *at, const lb_yaml_node *a, const lb_yaml_node *b)
{
    lb_renames nodes = d->nodes, params = d->params;
    const char *around = d->part;

    if (a->kind != LB_YAML_MAPPING || b->kind != LB_YAML_MAPPING) {
        compare_value(d, at, a, b, NULL);
        return;
    }
    d->nodes = d->params = (lb_renames){0};
    d->part = at->name;
    compare_body(d, a, b, true);
    lb_renames_clear(&d->nodes);
    lb_renames_clear(&d->params);
    d->nodes = nodes;
    d->params = params;
    d->part = around;
}

static void compare_section(differ *d, const char *name, const lb_yaml_node *a,
                            const lb_yaml_node *b, compare_fn compare)
{
    lb_pairs pairs = {0};

    if (!lb_pairs_make(section(a, name), section(b, name), NULL, d->ops, NULL, &pairs))
        d->failed = true;
    else
        compare_pairs(d, name, &pairs, compare);
    lb_pairs_clear(&pairs);
}

/* Sections that are one setting each. */
static void compare_whole(differ *d, const char *name, const lb_yaml_node *a, const lb_yaml_node *b)
{
    const lb_yaml_node *x = lb_yaml_find(a, name), *y = lb_yaml_find(b, name);
    const place at = {.section = name};

    if (!x && !y)
        return;
    if (!x || !y) {
        tell_value(d, &at, x, y, NULL, x ? LB_CHANGE_REMOVED : LB_CHANGE_ADDED);
        return;
    }
    if (is_plain_mapping(x) && is_plain_mapping(y))
        compare_mappings(d, &at, x, y, NULL);
    else
        compare_value(d, &at, x, y, NULL);
}

static void compare_body(differ *d, const lb_yaml_node *a, const lb_yaml_node *b, bool is_part)
{
    lb_pairs params = {0}, nodes = {0};

    if (!lb_pairs_make(section(a, "params"), section(b, "params"), lb_pairs_values, d->ops, NULL,
                       &params) ||
        !note_renames(&params, &d->params) ||
        !lb_pairs_make(section(a, "nodes"), section(b, "nodes"), lb_pairs_nodes, d->ops, &d->params,
                       &nodes) ||
        !note_renames(&nodes, &d->nodes)) {
        d->failed = true;
    } else if (is_part) {
        const place at = {.section = "result"};

        compare_section(d, "inputs", a, b, compare_plainly);
        compare_pairs(d, "params", &params, compare_plainly);
        compare_pairs(d, "nodes", &nodes, compare_nodes);
        compare_input(d, &at, lb_yaml_find(a, "result"), lb_yaml_find(b, "result"));
    } else {
        compare_whole(d, "lampblack", a, b);
        compare_whole(d, "frame", a, b);
        compare_whole(d, "color", a, b);
        compare_section(d, "include", a, b, compare_plainly);
        compare_pairs(d, "params", &params, compare_plainly);
        compare_section(d, "parts", a, b, compare_parts);
        compare_section(d, "versions", a, b, compare_plainly);
        compare_pairs(d, "nodes", &nodes, compare_nodes);
        compare_section(d, "outputs", a, b, compare_outputs);
    }
    lb_pairs_clear(&params);
    lb_pairs_clear(&nodes);
}

static lb_status read_side(lb_diag *diag, const lb_diff_side *side, lb_arena *arena,
                           lb_yaml_node **out)
{
    static const char mark[] = "\xEF\xBB\xBF";
    const char *text = side->text ? side->text : "";
    size_t bytes = side->bytes, blank = 0;
    const char *file;
    lb_status status;

    if (bytes >= 3 && memcmp(text, mark, 3) == 0)
        text += 3, bytes -= 3;
    while (blank < bytes && strchr(" \t\r\n", text[blank]) && text[blank])
        blank++;
    if (blank == bytes) {
        text = "{}";
        bytes = 2;
    }
    if (!(file = lb_diag_add_source(diag, side->path, text, bytes)))
        return lb_fail(diag, LB_MEMORY, LB_NOWHERE, "no memory");
    if ((status = lb_yaml_read(diag, file, text, bytes, arena, out)) != LB_OK)
        return status;
    if ((*out)->kind != LB_YAML_MAPPING)
        return lb_fail(diag, LB_INVALID, (*out)->loc, "a graph is a mapping");
    return LB_OK;
}

lb_status lb_lang_diff(lb_diag *diag, const lb_diff_side *a, const lb_diff_side *b,
                       const lb_op *const *ops, lb_diff *out)
{
    differ d = {.diag = diag, .ops = ops, .diff = out};
    lb_yaml_node *x = NULL, *y = NULL;
    lb_status status;

    *out = (lb_diff){.arena = lb_arena_new()};
    if (!out->arena)
        return lb_fail(diag, LB_MEMORY, LB_NOWHERE, "no memory");
    if ((status = read_side(diag, a, out->arena, &x)) != LB_OK ||
        (status = read_side(diag, b, out->arena, &y)) != LB_OK)
        return status;
    d.parts[0] = section(x, "parts");
    d.parts[1] = section(y, "parts");
    compare_body(&d, x, y, false);
    lb_renames_clear(&d.nodes);
    lb_renames_clear(&d.params);
    return d.failed ? lb_fail(diag, LB_MEMORY, LB_NOWHERE, "no memory") : LB_OK;
}

void lb_diff_clear(lb_diff *diff)
{
    lb_free(diff->items);
    lb_arena_free(&diff->arena);
    *diff = (lb_diff){0};
}
