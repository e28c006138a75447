/* lang/build_value.c: a literal, {param: NAME}, {expr: "..."}, {keys: ...}, or a vector of them. */
#include <string.h>

#include "lang/build.h"

static const char *const value_forms[] = {"param", "expr", "keys", NULL};

/* CSS hex to working-linear, by the code that stores colours. */
static int32_t read_color(lb_build *build, const char *text, double out[4])
{
    static const lb_param color = {.name = "", .type = LB_COLOR};
    const lb_store quiet = {.arena = build->arena, .working = build->graph->format.working};
    const lb_datum value = {.kind = LB_DATUM_TEXT, .count = 1, .text = text};
    size_t length = strnlen(text, 10);

    if (text[0] != '#' || length == 10 ||
        lb_param_store(&quiet, &color, LB_NOWHERE, &value, out) != LB_OK)
        return 0;
    return length == 5 || length == 9 ? 4 : 3;
}

lb_formula *lb_build_constant(lb_build *build, lb_loc loc, const lb_datum *value)
{
    lb_formula *formula = lb_build_alloc(build, 1, sizeof *formula);

    if (!formula)
        return NULL;
    formula->kind = LB_FORMULA_CONSTANT;
    formula->value = *value;
    formula->loc = loc;
    formula->set = build->set;
    formula->folder = build->store.folder;
    if (value->kind == LB_DATUM_TEXT)
        formula->color_count = read_color(build, value->text, formula->color);
    return formula;
}

bool lb_formula_numbers(const lb_formula *formula, lb_datum *out)
{
    if (formula->value.kind == LB_DATUM_NUMBERS) {
        *out = formula->value;
        return true;
    }
    if (formula->color_count == 0)
        return false;
    *out = (lb_datum){.kind = LB_DATUM_NUMBERS, .count = formula->color_count};
    memcpy(out->numbers, formula->color, sizeof out->numbers);
    return true;
}

/* What a value is for, in words. */
static const char *takes(const lb_param *param)
{
    return param ? lb_type_text(param->type) : "a number, text, true, false or [numbers]";
}

static const lb_formula *build_literal(lb_build *build, const lb_yaml_node *node, const char *name,
                                       const lb_param *param)
{
    lb_datum value = {.kind = LB_DATUM_TEXT, .count = 1, .text = node->text};
    bool wants_text =
        param && (param->type == LB_TEXT || param->type == LB_FILE || param->type == LB_CHOICE);

    if (node->type == LB_SCALAR_NULL) {
        lb_build_fail(build, LB_INVALID, node->loc, "'%.60s' is empty; it takes %s%s", name,
                      takes(param),
                      param && param->type == LB_COLOR ? " (# begins a comment: quote it)" : "");
        return NULL;
    }
    if (!wants_text && node->type != LB_SCALAR_TEXT) {
        value.kind = node->type == LB_SCALAR_BOOL ? LB_DATUM_BOOL : LB_DATUM_NUMBERS;
        value.numbers[0] = node->number;
        value.text = NULL;
    }
    return lb_build_constant(build, node->loc, &value);
}

/* One component of a vector. */
static const lb_formula *build_part(lb_build *build, const lb_yaml_node *node, const char *name)
{
    const lb_formula *part;
    char found[LB_FOUND];

    if (node->kind == LB_YAML_BROKEN) {
        lb_build_ok(build, LB_INVALID);
        return NULL;
    }
    if (node->kind == LB_YAML_LIST ||
        (node->kind == LB_YAML_SCALAR && node->type != LB_SCALAR_NUMBER)) {
        lb_build_fail(build, LB_INVALID, node->loc, "'%.60s' holds %s; it takes numbers there",
                      name, lb_build_found(node, found));
        return NULL;
    }
    part = lb_build_value(build, node, name, NULL);
    if (part && (part->value.kind != LB_DATUM_NUMBERS || part->value.count != 1)) {
        lb_build_fail(build, LB_INVALID, node->loc, "a component of '%.60s' is one number", name);
        return NULL;
    }
    return part;
}

static const lb_formula *build_vector(lb_build *build, const lb_yaml_node *node, const char *name,
                                      const lb_param *param)
{
    lb_datum value = {.kind = LB_DATUM_NUMBERS, .count = node->count};
    lb_formula *parts, *formula;
    bool is_good = true, timed = false;

    if (param && (param->type < LB_VEC2 || param->type > LB_ROTATION)) {
        lb_build_fail(build, LB_INVALID, node->loc, "'%.60s' is a list; it takes %s", name,
                      takes(param));
        return NULL;
    }
    if (node->count < 1 || node->count > 4) {
        lb_build_fail(build, LB_INVALID, node->loc, "'%.60s' is a list of %d; it takes %s", name,
                      (int)node->count, takes(param));
        return NULL;
    }
    if (!(parts = lb_build_alloc(build, (size_t)node->count, sizeof *parts)))
        return NULL;
    for (int32_t i = 0; i < node->count && !build->is_over; i++) {
        const lb_formula *part = build_part(build, node->items[i], name);

        is_good = is_good && part;
        if (!part)
            continue;
        parts[i] = *part;
        timed = timed || part->timed;
        value.numbers[i] = part->value.numbers[0];
    }
    if (!is_good || !(formula = lb_build_constant(build, node->loc, &value)))
        return NULL;
    if (timed) {
        formula->kind = LB_FORMULA_VECTOR;
        formula->timed = true;
        formula->parts = parts;
    }
    return formula;
}

static const lb_formula *build_param_value(lb_build *build, const lb_yaml_node *node)
{
    const lb_named_value *param;
    lb_formula *formula;

    if (!lb_build_expect(build, node, LB_YAML_SCALAR, "param") ||
        !(param = lb_build_param_named(build, node)) ||
        !(formula = lb_build_constant(build, node->loc, &param->formula->value)))
        return NULL;
    formula->folder = param->formula->folder; /* paths stay relative to the file that names them */
    if (param->formula->timed) {
        formula->kind = LB_FORMULA_PARAM;
        formula->timed = true;
        formula->slot = param->slot;
    }
    return formula;
}

/* An expression that is the same at every frame is worked out once. */
static bool fold(lb_build *build, lb_formula *formula)
{
    lb_arena *arena = lb_arena_new();
    lb_moment moment = {.frame = build->graph->format.first,
                        .format = &build->graph->format,
                        .arena = arena,
                        .diag = build->diag};
    lb_formula_run run = {.moment = &moment};
    lb_datum value = {0};
    lb_status status = LB_MEMORY;

    if (arena)
        status = lb_formula_at(formula, &run, &value);
    if (status == LB_OK && value.kind == LB_DATUM_TEXT &&
        !(value.text = lb_arena_strdup(build->arena, value.text)))
        status = LB_MEMORY;
    if (status == LB_OK) {
        formula->kind = LB_FORMULA_CONSTANT;
        formula->value = value;
        if (value.kind == LB_DATUM_TEXT)
            lb_build_spend(build, 0, (int64_t)strlen(value.text), formula->loc);
    }
    lb_arena_free(&arena);
    if (status == LB_MEMORY)
        lb_build_fail(build, LB_MEMORY, formula->loc, "no memory");
    return lb_build_ok(build, status);
}

static const lb_formula *build_expr(lb_build *build, const lb_yaml_node *node)
{
    lb_formula *formula;

    if (!lb_build_expect(build, node, LB_YAML_SCALAR, "expr") ||
        !(formula = lb_build_alloc(build, 1, sizeof *formula)))
        return NULL;
    build->expr_bytes += (int64_t)node->length;
    if (build->expr_bytes > LB_MAX_EXPR_TEXT) {
        lb_build_fail(build, LB_LIMIT, node->loc,
                      "more than %d MiB of expressions, those in parts and files counted as often "
                      "as they are used",
                      (int)(LB_MAX_EXPR_TEXT >> 20));
        build->is_over = true;
        return NULL;
    }
    formula->kind = LB_FORMULA_EXPR;
    formula->loc = node->loc;
    formula->set = build->set;
    formula->folder = build->store.folder;
    if (!lb_build_ok(
            build, lb_expr_compile(build->diag, &build->scope, node, build->arena, &formula->expr)))
        return NULL;
    formula->value = (lb_datum){.kind = formula->expr.kind, .count = formula->expr.count};
    formula->timed = formula->expr.timed;
    return formula->timed || fold(build, formula) ? formula : NULL;
}

/* {param: ...}, {expr: ...}, {keys: ...}: exactly one of them, and nothing else but what keys have.
 */
static const lb_formula *build_form(lb_build *build, const lb_yaml_node *node, const char *name,
                                    const lb_param *param)
{
    static const char *const keys_keys[] = {"keys", "ease", "before", "after", NULL};
    const char *form = NULL;
    const lb_yaml_node *value = NULL;
    char hint[LB_HINT] = "";

    for (int i = 0; value_forms[i] && !form; i++)
        if ((value = lb_yaml_find(node, value_forms[i])))
            form = value_forms[i];
    if (!form) {
        if (node->count > 0)
            lb_build_hint(build, node->entries[0].key->text, value_forms, 3, hint);
        lb_build_fail(build, LB_INVALID, node->loc,
                      "'%.60s' is a mapping; it takes %s, or a mapping with param, expr or keys%s",
                      name, takes(param), hint);
        return NULL;
    }
    if (strcmp(form, "keys") == 0) {
        lb_build_check_keys(build, node, keys_keys, form);
        return lb_build_keys(build, node, name, param);
    }
    for (int32_t i = 0; i < node->count; i++)
        if (strcmp(node->entries[i].key->text, form) != 0)
            lb_build_fail(build, LB_INVALID, node->entries[i].key->loc,
                          "'%.60s' cannot stand beside '%s'", node->entries[i].key->text, form);
    return strcmp(form, "expr") == 0 ? build_expr(build, value) : build_param_value(build, value);
}

const lb_formula *lb_build_value(lb_build *build, const lb_yaml_node *node, const char *name,
                                 const lb_param *param)
{
    switch (node->kind) {
    case LB_YAML_SCALAR:
        return build_literal(build, node, name, param);
    case LB_YAML_LIST:
        return build_vector(build, node, name, param);
    case LB_YAML_MAPPING:
        return build_form(build, node, name, param);
    case LB_YAML_BROKEN:
        break;
    }
    lb_build_ok(build, LB_INVALID); /* reported with the alias */
    return NULL;
}
