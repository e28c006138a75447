/* lang/diff.c: what two graph files differ in by meaning: section by section, thing by thing. */
#include "lang/diff.h"

#include <string.h>

#include "engine/graph/param.h"
#include "lang/diff_pairs.h"
#include "lang/diff_work.h"
#include "lang/output_table.h"

const char *const lb_change_names[] = {"added", "removed", "renamed", "changed", "rewired", NULL};

static void compare_body(lb_differ *d, const lb_yaml_node *a, const lb_yaml_node *b, bool is_part);

/* ---- Things of a section ---- */

static void tell_whole(lb_differ *d, lb_change_kind kind, const char *section,
                       const lb_yaml_entry *entry)
{
    const lb_diff_place at = {.section = section, .name = entry->key->text};
    lb_change *change = lb_diff_tell(d, kind, &at);

    if (!change)
        return;
    if (kind == LB_CHANGE_ADDED) {
        change->new_text = lb_diff_shown(d, entry->value, NULL);
        change->new_loc = entry->key->loc;
    } else {
        change->old_text = lb_diff_shown(d, entry->value, NULL);
        change->old_loc = entry->key->loc;
    }
}

static void tell_renamed(lb_differ *d, const char *section, const lb_pair *pair)
{
    const lb_diff_place at = {.section = section,
                              .name = pair->b->key->text,
                              .old_loc = pair->a->key->loc,
                              .new_loc = pair->b->key->loc};
    lb_change *change = lb_diff_tell(d, LB_CHANGE_RENAMED, &at);

    if (!change)
        return;
    change->old_text = pair->a->key->text;
    change->new_text = pair->b->key->text;
}

typedef void (*compare_fn)(lb_differ *d, const lb_diff_place *at, const lb_yaml_node *a,
                           const lb_yaml_node *b);

/* What is gone, what has another name, then what is new or otherwise, in the new file's order. */
static void compare_pairs(lb_differ *d, const char *section, const lb_pairs *pairs,
                          compare_fn compare)
{
    for (int32_t i = 0; i < pairs->count && !d->failed; i++)
        if (!pairs->items[i].b)
            tell_whole(d, LB_CHANGE_REMOVED, section, pairs->items[i].a);
    for (int32_t i = 0; i < pairs->count && !d->failed; i++) {
        const lb_pair *pair = &pairs->items[i];
        lb_diff_place at = {.section = section};

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

static void compare_plainly(lb_differ *d, const lb_diff_place *at, const lb_yaml_node *a,
                            const lb_yaml_node *b)
{
    lb_diff_compare(d, at, a, b, NULL);
}

/* ---- Nodes ---- */

/* Is it an input of what a use of a part takes? */
static bool is_part_input(const lb_differ *d, const char *op, const char *key)
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

static bool is_node_name(const lb_differ *d, const lb_yaml_node *node)
{
    size_t length;

    return node && node->kind == LB_YAML_SCALAR &&
           lb_renames_find(&d->nodes, node->text, strcspn(node->text, "."), &length) != node->text;
}

static void compare_nodes(lb_differ *d, const lb_diff_place *at, const lb_yaml_node *a,
                          const lb_yaml_node *b)
{
    const lb_yaml_node *word;
    const lb_op *op;

    if (a->kind != LB_YAML_MAPPING || b->kind != LB_YAML_MAPPING) {
        lb_diff_compare(d, at, a, b, NULL);
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
        lb_diff_place inner = *at;

        if (!is_old && old)
            continue;
        inner.path = key;
        if ((op && lb_inputs_find(op->inputs, key) >= 0 &&
             !(param && old && new && !is_node_name(d, old))) ||
            (word && word->kind == LB_YAML_SCALAR && is_part_input(d, word->text, key)))
            lb_diff_compare_input(d, &inner, old, new);
        else
            lb_diff_compare(d, &inner, old, new, param);
    }
}

static void compare_outputs(lb_differ *d, const lb_diff_place *at, const lb_yaml_node *a,
                            const lb_yaml_node *b)
{
    if (a->kind != LB_YAML_MAPPING || b->kind != LB_YAML_MAPPING) {
        lb_diff_compare(d, at, a, b, NULL);
        return;
    }
    for (int32_t i = 0; i < a->count + b->count && !d->failed; i++) {
        bool is_old = i < a->count;
        const lb_yaml_entry *entry = is_old ? &a->entries[i] : &b->entries[i - a->count];
        const char *key = entry->key->text;
        const lb_yaml_node *old = is_old ? entry->value : lb_yaml_find(a, key);
        const lb_yaml_node *new = is_old ? lb_yaml_find(b, key) : entry->value;
        lb_diff_place inner = *at;

        if (!is_old && old)
            continue;
        inner.path = key;
        if (strcmp(key, "image") == 0)
            lb_diff_compare_input(d, &inner, old, new);
        else
            lb_diff_compare(d, &inner, old, new, lb_params_find(lb_output_table(), key));
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
static void compare_parts(lb_differ *d, const lb_diff_place *at, const lb_yaml_node *a,
                          const lb_yaml_node *b)
{
    lb_renames nodes = d->nodes, params = d->params;
    const char *around = d->part;

    if (a->kind != LB_YAML_MAPPING || b->kind != LB_YAML_MAPPING) {
        lb_diff_compare(d, at, a, b, NULL);
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

static void compare_section(lb_differ *d, const char *name, const lb_yaml_node *a,
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
static void compare_whole(lb_differ *d, const char *name, const lb_yaml_node *a,
                          const lb_yaml_node *b)
{
    const lb_yaml_node *x = lb_yaml_find(a, name), *y = lb_yaml_find(b, name);
    const lb_diff_place at = {.section = name};

    if (!x && !y)
        return;
    if (!x || !y) {
        lb_diff_tell_value(d, &at, x, y, NULL, x ? LB_CHANGE_REMOVED : LB_CHANGE_ADDED);
        return;
    }
    if (lb_diff_is_mapping(x) && lb_diff_is_mapping(y))
        lb_diff_compare_keys(d, &at, x, y, NULL);
    else
        lb_diff_compare(d, &at, x, y, NULL);
}

static void compare_body(lb_differ *d, const lb_yaml_node *a, const lb_yaml_node *b, bool is_part)
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
        const lb_diff_place at = {.section = "result"};

        compare_section(d, "inputs", a, b, compare_plainly);
        compare_pairs(d, "params", &params, compare_plainly);
        compare_pairs(d, "nodes", &nodes, compare_nodes);
        lb_diff_compare_input(d, &at, lb_yaml_find(a, "result"), lb_yaml_find(b, "result"));
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
    lb_differ d = {.ops = ops, .diff = out};
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
