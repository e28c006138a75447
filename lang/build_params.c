/* lang/build_params.c: `params`, what the command line sets, and the names of expressions. */
#include <math.h>
#include <string.h>

#include "engine/base/text.h"
#include "lang/build.h"

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

    return lb_name_map_find(&build->param_names, name, length) >= 0;
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

static lb_status find_name(void *context, const char *name, size_t length, lb_loc loc,
                           lb_meaning *out)
{
    lb_build *build = context;
    int32_t index = lb_name_map_find(&build->param_names, name, length);
    const lb_formula *formula;

    if (index < 0) {
        find_variable(&build->graph->format, name, length, out);
        return LB_OK;
    }
    if (!(formula = lb_build_param(build, index, loc))) {
        out->what = LB_MEANS_BROKEN;
        return build->is_over ? LB_MEMORY : LB_OK;
    }
    out->what = formula->timed ? LB_MEANS_PARAM : LB_MEANS_CONSTANT;
    out->slot = build->params[index].slot;
    out->value = formula->value;
    if (formula->color_count > 0)
        lb_formula_numbers(formula, &out->value);
    return LB_OK;
}

static const char *nearest_name(void *context, const char *name)
{
    lb_build *build = context;
    const char *names[VARIABLE_COUNT + LB_MAX_PARAMS];
    size_t count = 0;

    for (int32_t i = 0; i < build->param_count; i++)
        if (strlen(build->params[i].name) <= LB_NAME_MAX)
            names[count++] = build->params[i].name;
    for (int i = 0; variables[i]; i++)
        names[count++] = variables[i];
    if (!name[0] || !name[1] || build->compared + count > LB_MAX_COMPARED)
        return NULL; /* one letter is near to any other */
    build->compared += count;
    return lb_text_nearest(name, names, count);
}

/* --- the command line --- */

/* A flow scalar or list of numbers; false: it is none of them, or there is no memory (reported). */
static bool read_setting(lb_build *build, const char *text, lb_datum *out)
{
    lb_yaml_node *node = NULL;
    lb_status status = lb_yaml_read(NULL, NULL, text, strlen(text), build->arena, &node);

    if (status == LB_MEMORY)
        lb_build_fail(build, LB_MEMORY, LB_NOWHERE, "no memory");
    if (status != LB_OK || !node || node->kind == LB_YAML_MAPPING)
        return false;
    if (node->kind == LB_YAML_SCALAR) {
        out->kind = node->type == LB_SCALAR_NUMBER ? LB_DATUM_NUMBERS
                    : node->type == LB_SCALAR_BOOL ? LB_DATUM_BOOL
                                                   : LB_DATUM_TEXT;
        out->count = 1;
        out->numbers[0] = node->number;
        out->text = node->text;
        return node->type != LB_SCALAR_NULL;
    }
    out->kind = LB_DATUM_NUMBERS;
    out->count = node->count;
    if (node->count < 1 || node->count > 4)
        return false;
    for (int32_t i = 0; i < node->count; i++) {
        if (node->items[i]->kind != LB_YAML_SCALAR || node->items[i]->type != LB_SCALAR_NUMBER)
            return false;
        out->numbers[i] = node->items[i]->number;
    }
    return true;
}

static const char *kind_text(const lb_formula *formula)
{
    static const char *const numbers[] = {"a number", "2 numbers", "3 numbers", "4 numbers"};

    if (formula->color_count > 0)
        return "a colour";
    switch (formula->value.kind) {
    case LB_DATUM_BOOL:
        return "true or false";
    case LB_DATUM_TEXT:
        return "text";
    case LB_DATUM_NUMBERS:
        break;
    }
    return numbers[formula->value.count - 1];
}

/* Can a value of this type stand where the graph has that one? Colours are hex or 3 or 4 numbers.
 */
static bool is_like(const lb_formula *was, const lb_formula *is)
{
    bool is_vector = is->value.kind == LB_DATUM_NUMBERS && is->value.count >= 3;
    bool was_vector = was->value.kind == LB_DATUM_NUMBERS && was->value.count >= 3;

    if (was->color_count > 0)
        return is->color_count > 0 || is_vector;
    if (is->color_count > 0 && was_vector)
        return true;
    return was->value.kind == is->value.kind &&
           (was->value.kind != LB_DATUM_NUMBERS || was->value.count == is->value.count);
}

/* What the command line says instead of `was`; NULL: reported. Text stays text where the graph has
 * text. */
static const lb_formula *apply_setting(lb_build *build, const lb_named_value *param,
                                       const lb_formula *was)
{
    const lb_setting *setting = param->setting;
    lb_datum value = {.kind = LB_DATUM_TEXT, .count = 1, .text = setting->value};
    const lb_formula *is;

    if ((was->value.kind != LB_DATUM_TEXT || was->color_count > 0) && setting->value[0] != '#' &&
        !read_setting(build, setting->value, &value)) {
        if (!build->is_over)
            lb_build_fail(build, LB_INVALID, LB_NOWHERE,
                          "setting %s=%.60s: this is no value; '%s' takes %s", param->name,
                          setting->value, param->name, kind_text(was));
        return NULL;
    }
    if (value.text && !(value.text = lb_arena_strdup(build->arena, value.text))) {
        lb_build_fail(build, LB_MEMORY, LB_NOWHERE, "no memory");
        return NULL;
    }
    if (!(is = lb_build_constant(build, param->node->loc, &value)))
        return NULL;
    if (!is_like(was, is)) {
        lb_build_fail(build, LB_INVALID, LB_NOWHERE, "setting %s=%.60s: this is %s; '%s' takes %s",
                      param->name, setting->value, kind_text(is), param->name, kind_text(was));
        return NULL;
    }
    return is;
}

/* The last setting of a name counts. */
static void declare_settings(lb_build *build)
{
    char hint[LB_HINT];

    for (int32_t i = 0; i < build->setting_count; i++) {
        const lb_setting *setting = &build->settings[i];
        int32_t index = lb_name_map_find(&build->param_names, setting->name, strlen(setting->name));

        if (index >= 0)
            build->params[index].setting = setting;
        else
            lb_build_fail(build, LB_INVALID, LB_NOWHERE,
                          "setting %.60s: the graph has no such param%s", setting->name,
                          lb_build_map_hint(build, setting->name, &build->param_names, hint));
    }
}

/* --- params --- */

/* "a -> b -> a", for a param that depends on itself. */
static void report_cycle(lb_build *build, int32_t index, lb_loc loc)
{
    lb_text path = {0};
    int32_t from = build->open_count - 1;

    while (from > 0 && build->open[from] != index)
        from--;
    for (int32_t i = from; i < build->open_count && i < from + 10; i++)
        lb_text_printf(&path, "%s -> ", build->params[build->open[i]].name);
    if (build->open_count - from > 10)
        lb_text_put(&path, "... -> ");
    lb_text_put(&path, build->params[index].name);
    lb_build_fail(build, LB_INVALID, loc, "param '%s' depends on itself: %s",
                  build->params[index].name, path.bytes ? path.bytes : "");
    lb_text_clear(&path);
}

static void report_chain(lb_build *build, int32_t index, lb_loc loc)
{
    lb_build_fail(build, LB_LIMIT, loc, "param '%s' hangs on a chain of more than %d others",
                  build->params[index].name, LB_MAX_PARAM_CHAIN - 1);
}

/* Gives a formula that depends on the frame its slot. */
static void settle(lb_build *build, lb_named_value *param, const lb_formula *formula)
{
    param->formula = formula;
    param->state = LB_PARAM_DONE;
    if (formula && formula->timed) {
        param->slot = build->set->count++;
        build->set->items[param->slot] = formula;
    }
}

const lb_formula *lb_build_param(lb_build *build, int32_t index, lb_loc loc)
{
    lb_named_value *param = &build->params[index];
    const lb_formula *formula;
    lb_named_value *asker =
        build->open_count > 0 ? &build->params[build->open[build->open_count - 1]] : NULL;

    param->is_used = param->is_used || loc.line > 0;
    if (param->state == LB_PARAM_OPEN) {
        report_cycle(build, index, loc);
        return NULL;
    }
    if (param->state == LB_PARAM_NEW) {
        if (build->open_count == LB_MAX_PARAM_CHAIN) {
            report_chain(build, index, loc);
            return NULL;
        }
        build->open[build->open_count++] = index;
        param->state = LB_PARAM_OPEN;
        formula = lb_build_value(build, param->node, param->name, NULL);
        if (formula && param->setting)
            formula = apply_setting(build, param, formula);
        settle(build, param, formula);
        build->open_count--;
    }
    if (!param->formula)
        return NULL;
    if (asker && asker->rank < param->rank + 1)
        asker->rank = param->rank + 1;
    if (asker && asker->rank >= LB_MAX_PARAM_CHAIN) {
        report_chain(build, index, loc);
        return NULL;
    }
    return param->formula;
}

static void declare(lb_build *build, const lb_yaml_entry *entry)
{
    lb_named_value *param = &build->params[build->param_count];
    lb_meaning meaning;

    if (lb_build_check_name(build, entry->key) &&
        (find_variable(&build->graph->format, entry->key->text, entry->key->length, &meaning) ||
         strcmp(entry->key->text, "true") == 0 || strcmp(entry->key->text, "false") == 0))
        lb_build_fail(build, LB_INVALID, entry->key->loc,
                      "'%s' has a meaning of its own in expressions; name the param otherwise",
                      entry->key->text);
    *param = (lb_named_value){
        .name = entry->key->text, .loc = entry->key->loc, .node = entry->value, .slot = -1};
    if (!lb_name_map_add(&build->param_names, param->name, entry->key->length, build->param_count,
                         NULL))
        lb_build_fail(build, LB_MEMORY, param->loc, "no memory");
    build->param_count++;
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

/* What the graph tells of its params to those who may set them. */
static void list_params(lb_build *build)
{
    lb_graph *graph = build->graph;

    graph->params = lb_build_alloc(build, (size_t)build->param_count, sizeof *graph->params);
    for (int32_t i = 0; i < build->param_count && !build->is_over; i++) {
        const lb_named_value *param = &build->params[i];

        if (param->formula)
            graph->params[graph->param_count++] = (lb_graph_param){
                .name = param->name,
                .type = kind_text(param->formula),
                .value = param->formula->timed ? NULL : value_text(build, &param->formula->value)};
    }
}

void lb_build_params(lb_build *build, const lb_yaml_node *params)
{
    int32_t count;

    build->scope = (lb_scope){build, has_param, find_name, nearest_name};
    build->set = lb_build_alloc(build, 1, sizeof *build->set);
    if (!build->set)
        return;
    if (params && !lb_build_expect(build, params, LB_YAML_MAPPING, "params"))
        params = NULL;
    count = params ? params->count : 0;
    if (count > LB_MAX_PARAMS) {
        lb_build_fail(build, LB_LIMIT, params->loc, "%d params; a graph has at most %d", (int)count,
                      LB_MAX_PARAMS);
        count = LB_MAX_PARAMS;
    }
    build->params = lb_build_alloc(build, (size_t)count, sizeof *build->params);
    build->set->items = lb_build_alloc(build, (size_t)count, sizeof *build->set->items);
    for (int32_t i = 0; i < count && !build->is_over; i++)
        declare(build, &params->entries[i]);
    declare_settings(build);
    for (int32_t i = 0; i < build->param_count && !build->is_over; i++)
        lb_build_param(build, i, LB_NOWHERE);
    list_params(build);
}
