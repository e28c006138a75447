/* lang/build_names.c: what names the files of a graph and the parts in them declare. Faults found
 * here are told once, however often a file is included or a part used. */
#include <string.h>

#include "lang/build.h"

static const char *const kinds[] = {"a node", "a node", "an input", "an included file"};

lb_named *lb_build_add_name(lb_build *build, lb_body *body, lb_name_kind what,
                            const lb_yaml_entry *entry)
{
    lb_named *named = &body->named[body->named_count];
    int32_t other = -1;

    *named = (lb_named){
        .what = what, .name = entry->key->text, .loc = entry->key->loc, .node = entry->value};
    lb_build_check_name(build, entry->key);
    if (!lb_name_map_add(&body->names, named->name, entry->key->length, body->named_count,
                         &other)) {
        lb_build_fail(build, LB_MEMORY, named->loc, "no memory");
        return NULL;
    }
    if (other >= 0) {
        lb_build_fail(build, LB_INVALID, named->loc, "'%.60s' is the name of %s already",
                      named->name, kinds[body->named[other].what]);
        lb_note(build->diag, body->named[other].loc, "which is here");
    }
    body->named_count++;
    return named;
}

static void declare_param(lb_build *build, lb_body *body, const lb_yaml_entry *entry)
{
    static const char *const taken[] = {"frame",  "t",  "rate", "width",
                                        "height", "pi", "true", "false"};
    const lb_yaml_node *key = entry->key;
    lb_declared *param = &body->params[body->param_count];

    *param = (lb_declared){.name = key->text, .loc = key->loc, .node = entry->value};
    if (lb_build_check_name(build, key))
        for (size_t i = 0; i < sizeof taken / sizeof taken[0]; i++)
            if (strcmp(key->text, taken[i]) == 0)
                lb_build_fail(build, LB_INVALID, key->loc,
                              "'%s' has a meaning of its own in expressions; name the param "
                              "otherwise",
                              key->text);
    if (!lb_name_map_add(&body->param_names, param->name, key->length, body->param_count, NULL))
        lb_build_fail(build, LB_MEMORY, param->loc, "no memory");
    body->param_count++;
}

void lb_build_declare_params(lb_build *build, lb_body *body, const lb_yaml_node *params)
{
    int32_t count;

    if (!params || !lb_build_expect(build, params, LB_YAML_MAPPING, "params"))
        return;
    count = params->count;
    if (count > LB_MAX_PARAMS) {
        lb_build_fail(build, LB_LIMIT, params->loc, "%d params; a %s has at most %d", (int)count,
                      body->part ? "part" : "graph", LB_MAX_PARAMS);
        count = LB_MAX_PARAMS;
    }
    if (!(body->params = lb_build_alloc(build, (size_t)count, sizeof *body->params)))
        return;
    for (int32_t i = 0; i < count && !build->is_over; i++)
        declare_param(build, body, &params->entries[i]);
}

/* --- operators --- */

static const char part_mark[] = "part/";

static bool is_part(const lb_yaml_node *word)
{
    return word->kind == LB_YAML_SCALAR && strncmp(word->text, part_mark, strlen(part_mark)) == 0;
}

static const lb_op *find_op(lb_build *build, const lb_yaml_node *word)
{
    const char *names[256];
    size_t count = 0;
    char hint[LB_HINT];

    for (const lb_op *const *op = build->ops; *op; op++) {
        if (strcmp((*op)->name, word->text) == 0)
            return *op;
        if (count < sizeof names / sizeof names[0])
            names[count++] = (*op)->name;
    }
    lb_build_fail(build, LB_INVALID, word->loc, "unknown operator '%.60s'%s", word->text,
                  lb_build_hint(build, word->text, names, count, hint));
    return NULL;
}

/* What a node's `op` means. */
static void find_meaning(lb_build *build, const lb_body *body, lb_named *named)
{
    const lb_yaml_node *word;

    if (!lb_build_expect(build, named->node, LB_YAML_MAPPING, named->name))
        return;
    word = lb_yaml_find(named->node, "op");
    if (!word) {
        lb_build_fail(build, LB_INVALID, named->loc, "'%.60s' needs 'op', the name of an operator",
                      named->name);
    } else if (lb_build_expect(build, word, LB_YAML_SCALAR, "op")) {
        if (named->what == LB_NAMES_USE)
            named->part = lb_build_find_part(build, body->document, word, false);
        else
            named->op = find_op(build, word);
    }
}

/* The first use of each part, so that its faults can say where it is used. */
static void mark_uses(lb_build *build, const lb_body *body)
{
    for (int32_t i = 0; i < body->named_count; i++) {
        lb_named *named = &body->named[i];
        const lb_yaml_node *word;
        lb_part *part;

        if (named->what != LB_NAMES_NODE || named->node->kind != LB_YAML_MAPPING ||
            !(word = lb_yaml_find(named->node, "op")) || !is_part(word))
            continue;
        named->what = LB_NAMES_USE;
        part = lb_build_find_part(build, body->document, word, true);
        if (part && part->used.line == 0) {
            part->used = named->loc;
            part->used_as = word->text + strlen(part_mark);
        }
    }
}

/* Does the file that is included have the params that are set? */
static void check_include(lb_build *build, const lb_named *include)
{
    char hint[LB_HINT];

    if (!include->document || !include->params)
        return;
    for (int32_t i = 0; i < include->params->count; i++) {
        const lb_yaml_node *key = include->params->entries[i].key;
        const lb_name_map *names = &include->document->body.param_names;

        if (lb_name_map_find(names, key->text, key->length) < 0)
            lb_build_fail(build, LB_INVALID, key->loc, "'%.60s' has no param '%.60s'%s",
                          include->document->file, key->text,
                          lb_build_map_hint(build, key->text, names, hint));
    }
}

static void find_meanings(lb_build *build, lb_body *body)
{
    build->body = body;
    for (int32_t i = 0; i < body->named_count && !build->is_over; i++)
        if (body->named[i].what == LB_NAMES_INCLUDE)
            check_include(build, &body->named[i]);
    for (int32_t i = 0; i < body->named_count && !build->is_over; i++)
        if (body->named[i].what == LB_NAMES_NODE || body->named[i].what == LB_NAMES_USE)
            find_meaning(build, body, &body->named[i]);
    lb_build_check_uses(build, body);
}

/* --- documents --- */

static void declare_document(lb_build *build, lb_document *document)
{
    static const char *const keys[] = {"lampblack", "frame", "color",   "params",   "include",
                                       "parts",     "nodes", "outputs", "versions", NULL};
    const lb_yaml_node *root = document->root, *nodes = lb_yaml_find(root, "nodes");

    build->body = &document->body;
    lb_build_check_keys(build, root, keys, "the graph");
    lb_build_declare_params(build, &document->body, lb_yaml_find(root, "params"));
    if (!nodes && !document->includer && !lb_yaml_find(root, "parts"))
        lb_build_fail(build, LB_INVALID, (lb_loc){.file = document->file}, "no 'nodes'");
    else if (nodes && lb_build_expect(build, nodes, LB_YAML_MAPPING, "nodes"))
        for (int32_t i = 0; i < nodes->count && !build->is_over; i++)
            lb_build_add_name(build, &document->body, LB_NAMES_NODE, &nodes->entries[i]);
    lb_build_declare_parts(build, document);
}

void lb_build_declare(lb_build *build)
{
    for (lb_document *d = build->documents; d && !build->is_over; d = d->next)
        if (d->root)
            declare_document(build, d);
    for (lb_document *d = build->documents; d && !build->is_over; d = d->next) {
        mark_uses(build, &d->body);
        for (int32_t i = 0; i < d->part_count; i++)
            mark_uses(build, &d->parts[i].body);
    }
    for (lb_document *d = build->documents; d && !build->is_over; d = d->next) {
        find_meanings(build, &d->body);
        for (int32_t i = 0; i < d->part_count && !build->is_over; i++)
            find_meanings(build, &d->parts[i].body);
    }
    lb_build_check_recursion(build);
    build->body = NULL;
}

static void forget(lb_body *body)
{
    lb_name_map_clear(&body->names);
    lb_name_map_clear(&body->param_names);
}

void lb_build_forget(lb_build *build)
{
    for (lb_document *d = build->documents; d; d = d->next) {
        forget(&d->body);
        lb_name_map_clear(&d->part_names);
        for (int32_t i = 0; i < d->part_count; i++)
            forget(&d->parts[i].body);
    }
}
