/* lang/build_parts.c: `parts`: what they take, and whether they are used rightly. */
#include <string.h>

#include "engine/base/text.h"
#include "lang/build.h"

/* The words that say what an input takes; behind them the same that may be left out. */
static const struct {
    const char *word;
    lb_kind kind;
    bool is_optional;
} kinds[] = {
    {"image", LB_KIND_IMAGE, false},
    {"scene", LB_KIND_SCENE, false},
    {"material", LB_KIND_MATERIAL, false},
    {"texture", LB_KIND_TEXTURE, false},
    {"optional image", LB_KIND_IMAGE, true},
    {"optional scene", LB_KIND_SCENE, true},
    {"optional material", LB_KIND_MATERIAL, true},
    {"optional texture", LB_KIND_TEXTURE, true},
};
#define KINDS (sizeof kinds / sizeof kinds[0])

static void read_kind(lb_build *build, lb_named *named)
{
    const char *words[KINDS];
    const lb_yaml_node *node = named->node;
    char found[LB_FOUND], hint[LB_HINT];

    if (!lb_build_expect(build, node, LB_YAML_SCALAR, named->name))
        return;
    for (size_t i = 0; i < KINDS; i++) {
        words[i] = kinds[i].word;
        if (strcmp(words[i], node->text) == 0) {
            named->kind = kinds[i].kind;
            named->is_optional = kinds[i].is_optional;
            return;
        }
    }
    lb_build_fail(build, LB_INVALID, node->loc,
                  "'%.60s' is %s; an input is an image, scene, material or texture, or an optional "
                  "image ...%s",
                  named->name, lb_build_found(node, found),
                  lb_build_hint(build, node->text, words, KINDS, hint));
}

static void declare_inputs(lb_build *build, lb_part *part, const lb_yaml_node *inputs)
{
    if (!inputs || !lb_build_expect(build, inputs, LB_YAML_MAPPING, "inputs"))
        return;
    for (int32_t i = 0; i < inputs->count && !build->is_over; i++) {
        lb_named *named =
            lb_build_add_name(build, &part->body, LB_NAMES_INPUT, &inputs->entries[i]);

        if (!named)
            return;
        if (strcmp(named->name, "op") == 0)
            lb_build_fail(build, LB_INVALID, named->loc,
                          "'op' names the operator at a use; name the input otherwise");
        read_kind(build, named);
    }
}

/* At a use inputs and params stand side by side, so none may be called like another. */
static void check_params(lb_build *build, const lb_part *part)
{
    const lb_body *body = &part->body;

    for (int32_t i = 0; i < body->param_count; i++) {
        const lb_declared *param = &body->params[i];
        int32_t at = lb_name_map_find(&body->names, param->name, strlen(param->name));

        if (strcmp(param->name, "op") == 0)
            lb_build_fail(build, LB_INVALID, param->loc,
                          "'op' names the operator at a use; name the param otherwise");
        if (at >= 0 && body->named[at].what == LB_NAMES_INPUT) {
            lb_build_fail(build, LB_INVALID, param->loc, "'%.60s' is the name of an input already",
                          param->name);
            lb_note(build->diag, body->named[at].loc, "which is here");
        }
    }
}

static void declare_part(lb_build *build, lb_document *document, const lb_yaml_entry *entry)
{
    static const char *const keys[] = {"inputs", "params", "nodes", "result", NULL};
    lb_part *part = &document->parts[document->part_count];
    const lb_yaml_node *node = entry->value, *inputs, *nodes;
    size_t count = 0;

    *part = (lb_part){.name = entry->key->text,
                      .loc = entry->key->loc,
                      .node = node,
                      .body = {.document = document, .part = part},
                      .is_faulty = true};
    build->body = &part->body;
    lb_build_check_name(build, entry->key);
    if (!lb_name_map_add(&document->part_names, part->name, entry->key->length,
                         document->part_count++, NULL))
        lb_build_fail(build, LB_MEMORY, part->loc, "no memory");
    if (!lb_build_expect(build, node, LB_YAML_MAPPING, part->name))
        return;
    lb_build_check_keys(build, node, keys, part->name);
    inputs = lb_yaml_find(node, "inputs");
    nodes = lb_yaml_find(node, "nodes");
    if (!nodes)
        lb_build_fail(build, LB_INVALID, part->loc, "part '%.60s' needs 'nodes'", part->name);
    if (!(part->result = lb_yaml_find(node, "result")))
        lb_build_fail(build, LB_INVALID, part->loc,
                      "part '%.60s' needs 'result', the name of one of its nodes", part->name);
    count += inputs && inputs->kind == LB_YAML_MAPPING ? (size_t)inputs->count : 0;
    count += nodes && nodes->kind == LB_YAML_MAPPING ? (size_t)nodes->count : 0;
    if (!(part->body.named = lb_build_alloc(build, count, sizeof *part->body.named)))
        return;
    declare_inputs(build, part, inputs);
    lb_build_declare_params(build, &part->body, lb_yaml_find(node, "params"));
    check_params(build, part);
    if (!nodes || !lb_build_expect(build, nodes, LB_YAML_MAPPING, "nodes"))
        return;
    for (int32_t i = 0; i < nodes->count && !build->is_over; i++)
        lb_build_add_name(build, &part->body, LB_NAMES_NODE, &nodes->entries[i]);
    part->is_faulty = false;
}

void lb_build_declare_parts(lb_build *build, lb_document *document)
{
    const lb_yaml_node *parts = lb_yaml_find(document->root, "parts");

    if (!parts || !lb_build_expect(build, parts, LB_YAML_MAPPING, "parts") ||
        !(document->parts = lb_build_alloc(build, (size_t)parts->count, sizeof(lb_part))))
        return;
    for (int32_t i = 0; i < parts->count && !build->is_over; i++)
        declare_part(build, document, &parts->entries[i]);
}

/* --- uses --- */

lb_part *lb_build_find_part(lb_build *build, const lb_document *document, const lb_yaml_node *word,
                            bool is_quiet)
{
    const char *at = word->text + strlen("part/"), *slash;
    char hint[LB_HINT];
    int32_t index;

    while ((slash = strchr(at, '/'))) {
        lb_named *named;

        index = lb_name_map_find(&document->body.names, at, (size_t)(slash - at));
        named = index >= 0 ? &document->body.named[index] : NULL;
        if (!named || named->what != LB_NAMES_INCLUDE) {
            if (!is_quiet)
                lb_build_fail(
                    build, LB_INVALID,
                    lb_yaml_place(word, (size_t)(at - word->text), (size_t)(slash - word->text)),
                    "'%.*s' is no included file", (int)(slash - at < 60 ? slash - at : 60), at);
            return NULL;
        }
        named->is_used = true;
        if (!(document = named->document)) {
            if (!is_quiet)
                lb_build_ok(build, LB_INVALID); /* told where it is included */
            return NULL;
        }
        at = slash + 1;
    }
    index = lb_name_map_find(&document->part_names, at, strlen(at));
    if (index >= 0)
        return &document->parts[index];
    if (!is_quiet)
        lb_build_fail(build, LB_INVALID,
                      lb_yaml_place(word, (size_t)(at - word->text), word->length),
                      "unknown part '%.60s'%s", at,
                      lb_build_map_hint(build, at, &document->part_names, hint));
    return NULL;
}

/* The keys of one use against what the part takes. */
static void check_use(lb_build *build, const lb_named *use)
{
    const lb_body *body = &use->part->body;
    size_t count = 1;
    const char **keys = lb_alloc((size_t)(body->named_count + body->param_count) + 2, sizeof *keys);

    if (!keys) {
        lb_build_fail(build, LB_MEMORY, use->loc, "no memory");
        return;
    }
    keys[0] = "op";
    for (int32_t i = 0; i < body->named_count; i++) {
        const lb_named *input = &body->named[i];

        if (input->what != LB_NAMES_INPUT)
            continue;
        keys[count++] = input->name;
        if (!input->is_optional && !lb_yaml_find(use->node, input->name)) {
            lb_build_fail(build, LB_INVALID, use->loc, "'%.60s' needs its input '%.60s' (%s)",
                          use->name, input->name, lb_kind_text(input->kind));
            lb_note(build->diag, input->loc, "the part declares it here");
        }
    }
    for (int32_t i = 0; i < body->param_count; i++)
        keys[count++] = body->params[i].name;
    lb_build_check_keys(build, use->node, keys, lb_yaml_find(use->node, "op")->text);
    lb_free(keys);
}

void lb_build_check_uses(lb_build *build, const lb_body *body)
{
    for (int32_t i = 0; i < body->named_count && !build->is_over; i++)
        if (body->named[i].what == LB_NAMES_USE && body->named[i].part)
            check_use(build, &body->named[i]);
}

/* --- recursion --- */

/* Looks for a part that is open already among those that `part` uses. `chain` is what is open; as
 * deep as parts may be used within each other. */
static void visit(lb_build *build, lb_part *part, lb_part **chain, int32_t depth)
{
    chain[depth++] = part;
    part->state = LB_PART_OPEN;
    part->height = 1;
    build->body = &part->body;
    for (int32_t i = 0; i < part->body.named_count && !build->is_over; i++) {
        lb_named *use = &part->body.named[i];
        lb_part *to = use->what == LB_NAMES_USE ? use->part : NULL;

        if (!to)
            continue;
        if (to->state == LB_PART_OPEN) {
            lb_text path = {0};
            int32_t at = 0;

            while (chain[at] != to)
                at++;
            for (; at < depth; at++)
                lb_text_printf(&path, "%.60s -> ", chain[at]->name);
            lb_build_fail(build, LB_INVALID, lb_yaml_find(use->node, "op")->loc,
                          "part '%.60s' uses itself: %s%.60s", to->name,
                          path.bytes ? path.bytes : "", to->name);
            lb_text_clear(&path);
            use->part = NULL;
            continue;
        }
        if (to->state == LB_PART_NEW && depth < LB_MAX_DEPTH) {
            visit(build, to, chain, depth);
            build->body = &part->body;
        }
        if (to->state == LB_PART_NEW || to->height >= LB_MAX_DEPTH) {
            lb_build_fail(build, LB_LIMIT, lb_yaml_find(use->node, "op")->loc,
                          "parts use each other at most %d deep", LB_MAX_DEPTH);
            use->part = NULL;
        } else if (part->height <= to->height) {
            part->height = to->height + 1;
        }
    }
    part->state = LB_PART_DONE;
}

void lb_build_check_recursion(lb_build *build)
{
    lb_part *chain[LB_MAX_DEPTH];

    for (lb_document *d = build->documents; d; d = d->next)
        for (int32_t i = 0; i < d->part_count && !build->is_over; i++)
            if (d->parts[i].state == LB_PART_NEW)
                visit(build, &d->parts[i], chain, 0);
}
