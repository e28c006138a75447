/* lang/build_params.c: the values of params in every unit, and the names of expressions. */
#include <math.h>
#include <string.h>

#include "engine/base/text.h"
#include "lang/build.h"

#define MAX_TIMED 16384 /* values that change from frame to frame, in all units */

/* --- names in expressions --- */

static const char *const variables[] = {"frame", "t", "rate", "width", "height", "pi", NULL};
#define VARIABLE_COUNT 6

static bool is_name(const char *name, size_t length, const char *text)
{
    return strlen(text) == length && memcmp(name, text, length) == 0;
}

static bool has_param(void *context, const char *name, size_t length)
{
    lb_build *build = context;

    return lb_name_map_find(&build->unit->body->param_names, name, length) >= 0;
}

/* The variables that do not depend on the frame are numbers like any other. */
static bool find_variable(const lb_format *format, const char *name, size_t length, lb_meaning *out)
{
    const double values[VARIABLE_COUNT] = {0,
                                           0,
                                           (double)format->rate.num / format->rate.den,
                                           format->width,
                                           format->height,
                                           3.14159265358979323846};

    for (int i = 0; i < VARIABLE_COUNT; i++)
        if (is_name(name, length, variables[i])) {
            out->what = i == 0 ? LB_MEANS_FRAME : i == 1 ? LB_MEANS_TIME : LB_MEANS_CONSTANT;
            out->value = (lb_datum){.kind = LB_DATUM_NUMBERS, .count = 1, .numbers = {values[i]}};
            return true;
        }
    return false;
}

/* Remembers a param of the file that the part at hand cannot see, for the message to come. */
static void look_outside(lb_build *build, const char *name, size_t length)
{
    const lb_body *file = &build->unit->body->document->body;
    int32_t index =
        build->unit->body->part ? lb_name_map_find(&file->param_names, name, length) : -1;

    build->outer = index >= 0 ? &file->params[index] : NULL;
}

static lb_status find_name(void *context, const char *name, size_t length, lb_loc loc,
                           lb_meaning *out)
{
    lb_build *build = context;
    int32_t index = lb_name_map_find(&build->unit->body->param_names, name, length);
    lb_named_value *param = index >= 0 ? &build->unit->params[index] : NULL;
    const lb_formula *formula;

    if (!param) {
        if (!find_variable(&build->graph->format, name, length, out))
            look_outside(build, name, length);
        return LB_OK;
    }
    if (!(formula = lb_build_param(build, param, loc))) {
        out->what = LB_MEANS_BROKEN;
        return build->is_over ? LB_MEMORY : LB_OK;
    }
    out->what = formula->timed ? LB_MEANS_PARAM : LB_MEANS_CONSTANT;
    out->slot = param->slot;
    out->value = formula->value;
    if (formula->color_count > 0)
        lb_formula_numbers(formula, &out->value);
    return LB_OK;
}

static const char *nearest_name(void *context, const char *name)
{
    lb_build *build = context;
    const lb_body *body = build->unit->body;
    const char *names[VARIABLE_COUNT + LB_MAX_PARAMS];
    size_t count = 0;

    for (int32_t i = 0; i < body->param_count; i++)
        if (strlen(body->params[i].name) <= LB_NAME_MAX)
            names[count++] = body->params[i].name;
    for (int i = 0; variables[i]; i++)
        names[count++] = variables[i];
    if (!name[0] || !name[1] || build->compared + count > LB_MAX_COMPARED)
        return NULL; /* one letter is near to any other */
    build->compared += count;
    return lb_text_nearest(name, names, count);
}

/* --- types --- */

static const char *kind_text(lb_datum_kind kind, int32_t count, int32_t color_count)
{
    static const char *const numbers[] = {"a number", "2 numbers", "3 numbers", "4 numbers"};

    if (color_count > 0)
        return "a colour";
    switch (kind) {
    case LB_DATUM_BOOL:
        return "true or false";
    case LB_DATUM_TEXT:
        return "text";
    case LB_DATUM_NUMBERS:
        break;
    }
    return numbers[count - 1];
}

/* Can a value of this type stand where the default is of that one? Colours are hex or 3 or 4
 * numbers. */
static bool is_like(const lb_declared *was, const lb_formula *is)
{
    bool is_vector = is->value.kind == LB_DATUM_NUMBERS && is->value.count >= 3;
    bool was_vector = was->kind == LB_DATUM_NUMBERS && was->count >= 3;

    if (was->color_count > 0)
        return is->color_count > 0 || is_vector;
    if (is->color_count > 0 && was_vector)
        return true;
    return was->kind == is->value.kind &&
           (was->kind != LB_DATUM_NUMBERS || was->count == is->value.count);
}

/* What is given to a param is read as if it were for a parameter of the default's type. */
static lb_param as_param(const lb_declared *declared)
{
    static const lb_type numbers[] = {LB_NUMBER, LB_VEC2, LB_VEC3, LB_VEC4};
    lb_param param = {.name = declared->name, .doc = ""};

    if (declared->color_count > 0)
        param.type = LB_COLOR;
    else if (declared->kind == LB_DATUM_TEXT)
        param.type = LB_TEXT;
    else if (declared->kind == LB_DATUM_BOOL)
        param.type = LB_BOOL;
    else
        param.type = numbers[declared->count - 1];
    return param;
}

/* --- the command line --- */

/* {param: ...}, {expr: ...} or {keys: ...}: what a text can be set to, beside text. */
static bool is_form(lb_build *build, const char *text)
{
    static const char *const forms[] = {"param", "expr", "keys"};
    lb_yaml_node *node = NULL;

    if (text[strspn(text, " ")] != '{' ||
        lb_yaml_read(NULL, NULL, text, strlen(text), build->arena, &node) != LB_OK || !node ||
        node->kind != LB_YAML_MAPPING)
        return false;
    for (size_t i = 0; i < sizeof forms / sizeof forms[0]; i++)
        if (lb_yaml_find(node, forms[i]))
            return true;
    return false;
}

/* The value of --set as a tree whose places are in the setting's text; NULL: reported. Text stays
 * text where the graph has text. */
static const lb_yaml_node *read_setting(lb_build *build, const lb_named_value *param)
{
    const lb_declared *declared = param->declared;
    const char *text = param->set;
    size_t length = strlen(text);
    bool is_text = declared->kind == LB_DATUM_TEXT && declared->color_count == 0;
    char label[LB_NAME_MAX * 2 + 8];
    const char *file = NULL;
    lb_yaml_node *node = NULL;

    snprintf(label, sizeof label, "setting %s%s", param->unit->prefix, declared->name);
    if (build->diag && !(file = lb_diag_add_source(build->diag, label, text, length))) {
        lb_build_fail(build, LB_MEMORY, LB_NOWHERE, "no memory");
        return NULL;
    }
    if ((is_text && !is_form(build, text)) || text[0] == '#') {
        if (!(node = lb_build_alloc(build, 1, sizeof *node)))
            return NULL;
        *node = (lb_yaml_node){.kind = LB_YAML_SCALAR,
                               .loc = {file, 1, 1, 0},
                               .size = 1,
                               .height = 1,
                               .type = LB_SCALAR_TEXT,
                               .text = lb_build_join(build, text, ""),
                               .length = length};
        return node->text ? node : NULL;
    }
    if (length == 0) {
        lb_build_fail(build, LB_INVALID, (lb_loc){.file = file}, "no value; '%s' takes %s",
                      declared->name,
                      kind_text(declared->kind, declared->count, declared->color_count));
        return NULL;
    }
    lb_build_ok(build, lb_yaml_read(build->diag, file, text, length, build->arena, &node));
    return node;
}

/* --- params --- */

/* "a -> b -> a", for a param that depends on itself. */
static void report_cycle(lb_build *build, const lb_named_value *param, lb_loc loc)
{
    lb_text path = {0};
    int32_t from = build->open_count - 1;

    while (from > 0 && build->open[from] != param)
        from--;
    for (int32_t i = from; i < build->open_count && i < from + 10; i++)
        lb_text_printf(&path, "%s%s -> ",
                       build->open[i]->unit == param->unit ? "" : build->open[i]->unit->prefix,
                       build->open[i]->declared->name);
    if (build->open_count - from > 10)
        lb_text_put(&path, "... -> ");
    lb_text_put(&path, param->declared->name);
    lb_build_fail(build, LB_INVALID, loc, "param '%s' depends on itself: %s", param->declared->name,
                  path.bytes ? path.bytes : "");
    lb_text_clear(&path);
}

static void report_chain(lb_build *build, const lb_named_value *param, lb_loc loc)
{
    lb_build_fail(build, LB_LIMIT, loc, "param '%s' hangs on a chain of more than %d others",
                  param->declared->name, LB_MAX_PARAM_CHAIN - 1);
}

/* Gives a formula that depends on the frame its slot. One that only passes a param on has that
 * one's. */
static void settle(lb_build *build, lb_named_value *param, const lb_formula *formula)
{
    lb_formula_set *set = build->set;

    param->formula = formula;
    param->state = LB_STATE_DONE;
    if (!formula || !formula->timed)
        return;
    if (formula->kind == LB_FORMULA_PARAM) {
        param->slot = formula->slot;
    } else if (set->count >= MAX_TIMED) {
        lb_build_fail(build, LB_LIMIT, formula->loc,
                      "more than %d values of params change from frame to frame", MAX_TIMED);
        param->formula = NULL;
    } else if (lb_build_grow(build, (void **)&set->items, &build->set_capacity, (size_t)set->count,
                             sizeof *set->items)) {
        param->slot = set->count++;
        set->items[param->slot] = formula;
    } else {
        param->formula = NULL;
    }
}

/* The default, which also says of which type the param is. */
static const lb_formula *build_default(lb_build *build, const lb_named_value *param)
{
    lb_declared *declared = param->declared;
    lb_unit_build *before = lb_build_enter(build, param->unit);
    const lb_yaml_node *node = declared->node;
    const lb_formula *formula = NULL;

    if (lb_build_spend(build, node->size, node->bytes, node->loc))
        formula = lb_build_value(build, node, declared->name, NULL);

    lb_build_enter(build, before);
    if (formula && !declared->has_type) {
        declared->has_type = true;
        declared->kind = formula->value.kind;
        declared->count = formula->value.count;
        declared->color_count = formula->color_count;
    }
    return formula;
}

/* What was given in place of the default, read with the names of who gave it. */
static const lb_formula *build_given(lb_build *build, const lb_named_value *param)
{
    const lb_declared *declared = param->declared;
    const lb_param as = as_param(declared);
    lb_unit_build *before = lb_build_enter(build, param->set ? build->units : param->given_in);
    const lb_yaml_node *given = param->set ? read_setting(build, param) : param->given;
    const lb_formula *formula = NULL;

    if (given && lb_build_spend(build, given->size, given->bytes, given->loc))
        formula = lb_build_value(build, given, declared->name, &as);

    if (formula && !is_like(declared, formula)) {
        lb_build_fail(build, LB_INVALID, given->loc, "this is %s; '%s' takes %s",
                      kind_text(formula->value.kind, formula->value.count, formula->color_count),
                      declared->name,
                      kind_text(declared->kind, declared->count, declared->color_count));
        lb_note(build->diag, declared->loc, "its default is here");
        formula = NULL;
    }
    lb_build_enter(build, before);
    return formula;
}

static const lb_formula *build_formula(lb_build *build, const lb_named_value *param)
{
    bool is_given = param->set || param->given;
    const lb_formula *formula = NULL;

    if (!is_given || !param->declared->has_type)
        formula = build_default(build, param);
    if (is_given)
        formula = param->declared->has_type ? build_given(build, param) : NULL;
    return formula;
}

const lb_formula *lb_build_param(lb_build *build, lb_named_value *param, lb_loc loc)
{
    lb_named_value *asker = build->open_count > 0 ? build->open[build->open_count - 1] : NULL;

    param->declared->is_used = param->declared->is_used || loc.line > 0;
    if (param->state == LB_STATE_OPEN) {
        report_cycle(build, param, loc);
        return NULL;
    }
    if (param->state == LB_STATE_NEW) {
        if (build->open_count == LB_MAX_PARAM_CHAIN) {
            report_chain(build, param, loc);
            return NULL;
        }
        build->open[build->open_count++] = param;
        param->state = LB_STATE_OPEN;
        settle(build, param, build_formula(build, param));
        build->open_count--;
    }
    if (!param->formula)
        return NULL;
    if (asker && asker->rank < param->rank + 1)
        asker->rank = param->rank + 1;
    if (asker && asker->rank >= LB_MAX_PARAM_CHAIN) {
        report_chain(build, param, loc);
        return NULL;
    }
    return param->formula;
}

lb_named_value *lb_build_find_param(const lb_unit_build *unit, const char *name, size_t length)
{
    const char *slash;
    int32_t at;

    while ((slash = memchr(name, '/', length))) {
        at = lb_name_map_find(&unit->body->names, name, (size_t)(slash - name));
        if (at < 0 || unit->body->named[at].what != LB_NAMES_INCLUDE || !unit->meant[at].unit)
            return NULL;
        unit->body->named[at].is_used = true;
        unit = unit->meant[at].unit;
        length -= (size_t)(slash + 1 - name);
        name = slash + 1;
    }
    at = lb_name_map_find(&unit->body->param_names, name, length);
    return at < 0 ? NULL : &unit->params[at];
}

const lb_named_value *lb_build_param_named(lb_build *build, const lb_yaml_node *scalar)
{
    lb_named_value *param = lb_build_find_param(build->unit, scalar->text, scalar->length);
    char hint[LB_HINT];

    if (!param) {
        look_outside(build, scalar->text, scalar->length);
        lb_build_fail(
            build, LB_INVALID, scalar->loc, "unknown param '%.60s'%s", scalar->text,
            lb_build_map_hint(build, scalar->text, &build->unit->body->param_names, hint));
        return NULL;
    }
    return lb_build_param(build, param, scalar->loc) ? param : NULL;
}

/* A constant as a setting is written. */
static const char *value_text(lb_build *build, const lb_datum *value)
{
    lb_text text = {0};
    char number[32];
    const char *kept;

    if (value->kind == LB_DATUM_TEXT)
        return value->text;
    if (value->kind == LB_DATUM_BOOL)
        return value->numbers[0] != 0 ? "true" : "false";
    for (int32_t i = 0; i < value->count; i++)
        lb_text_printf(&text, "%s%s",
                       i                  ? ", "
                       : value->count > 1 ? "["
                                          : "",
                       lb_text_from_number(value->numbers[i], number));
    if (value->count > 1)
        lb_text_put(&text, "]");
    kept = text.failed ? NULL : lb_arena_strdup(build->arena, text.bytes);
    lb_text_clear(&text);
    if (!kept)
        lb_build_fail(build, LB_MEMORY, LB_NOWHERE, "no memory");
    return kept;
}

/* What the graph tells of its params to those who may set them: of its own and of included files',
 * not of parts'. */
static void list_params(lb_build *build)
{
    lb_graph *graph = build->graph;
    size_t count = 0;

    for (const lb_unit_build *unit = build->units; unit; unit = unit->next)
        count += unit->body->part ? 0 : (size_t)unit->body->param_count;
    graph->params = lb_build_alloc(build, count, sizeof *graph->params);
    for (const lb_unit_build *unit = build->units; unit; unit = unit->next)
        for (int32_t i = 0; i < unit->body->param_count && !build->is_over; i++) {
            const lb_named_value *param = &unit->params[i];
            const lb_formula *formula = param->formula;
            lb_graph_param *out = &graph->params[graph->param_count];

            if (!formula || unit->body->part)
                continue;
            out->name = lb_build_join(build, unit->prefix, param->declared->name);
            out->type = kind_text(formula->value.kind, formula->value.count, formula->color_count);
            out->value = formula->timed ? NULL : value_text(build, &formula->value);
            graph->param_count++;
        }
}

void lb_build_params(lb_build *build)
{
    build->scope = (lb_scope){build, has_param, find_name, nearest_name};
    for (lb_unit_build *unit = build->units; unit && !build->is_over; unit = unit->next)
        for (int32_t i = 0; i < unit->body->param_count && !build->is_over; i++)
            lb_build_param(build, &unit->params[i], LB_NOWHERE);
    list_params(build);
}
