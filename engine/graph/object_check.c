/* engine/graph/object_check.c: an object's tables are looked at once, so that everybody after this
 * may rely on them as on those that are built in. */
#include "engine/graph/object_check.h"

#include <string.h>

#include "engine/graph/param.h"

#define ENTRIES_MOST 256 /* inputs, parameters, fields, names of a choice */
#define DEPTH_MOST 4     /* of records in records */
#define STRUCT_MOST ((size_t)1 << 20)

/* The table that is looked at. */
typedef struct table {
    lb_diag *diag;
    lb_loc loc;
    const char *path;
    const lb_op *op;
} table;

lb_status lb_object_check(lb_diag *diag, lb_loc loc, const char *path, const lb_object *object)
{
    static const lb_object own = {LB_OBJECT_SIZES};

    if (object->abi != own.abi)
        return lb_fail(diag, LB_UNSUPPORTED, loc,
                       "'%s' has operators of interface %u; this version has interface %u: build "
                       "it with this version's headers",
                       path, (unsigned)object->abi, (unsigned)own.abi);
    if (object->op_size != own.op_size || object->layout != own.layout ||
        object->host_size > own.host_size)
        return lb_fail(diag, LB_UNSUPPORTED, loc,
                       "'%s' has operators of interface %u with tables of %u bytes, layout %08x, "
                       "functions of %u; this version has interface %u with tables of %u bytes, "
                       "layout %08x, functions of %u: build it with this version's headers",
                       path, (unsigned)object->abi, (unsigned)object->op_size,
                       (unsigned)object->layout, (unsigned)object->host_size, (unsigned)own.abi,
                       (unsigned)own.op_size, (unsigned)own.layout, (unsigned)own.host_size);
    return LB_OK;
}

/* Lower-case letters, digits, dashes, and in keys underscores, as the language writes them. */
static bool is_name(const char *name, const char *more)
{
    size_t length = name ? strlen(name) : 0, good = 0;

    while (good < length && (strchr("abcdefghijklmnopqrstuvwxyz0123456789-", name[good]) ||
                             strchr(more, name[good])))
        good++;
    return length > 0 && length <= 64 && name[0] >= 'a' && name[0] <= 'z' && good == length;
}

/* What a scene, a material or a texture is made of may change without a word in the interface. */
static lb_status refuse_kind(const table *t, const char *what, lb_kind kind)
{
    return lb_fail(t->diag, LB_UNSUPPORTED, t->loc,
                   "'%s': %s of '%s' is %s; operators of objects take and make images, because "
                   "what the rest is made of is not part of interface %d",
                   t->path, what, t->op->name,
                   kind > LB_KIND_NONE && kind <= LB_KIND_TEXTURE ? lb_kind_text(kind) : "nothing",
                   LB_OBJECT_ABI);
}

static lb_status refuse(const table *t, const char *what, const char *name, const char *why)
{
    return lb_fail(t->diag, LB_INVALID, t->loc, "'%s': %s '%.64s' of '%s' %s", t->path, what, name,
                   t->op->name, why);
}

static lb_status check_inputs(const table *t)
{
    const lb_input *inputs = t->op->inputs;

    for (int32_t i = 0; inputs && inputs[i].name; i++) {
        char what[96];

        if (i == ENTRIES_MOST)
            return refuse(t, "input", inputs[i].name, "is one too many: is the list ended by {0}?");
        if (!is_name(inputs[i].name, "_"))
            return refuse(t, "input", inputs[i].name,
                          "is no name of small letters, digits, dashes and underscores");
        snprintf(what, sizeof what, "input '%s'", inputs[i].name);
        if (inputs[i].kind != LB_KIND_IMAGE)
            return refuse_kind(t, what, inputs[i].kind);
        if (inputs[i].list && inputs[i + 1].name)
            return refuse(t, "input", inputs[i].name, "is a list, and not the last input");
        for (int32_t k = 0; k < i; k++)
            if (!strcmp(inputs[k].name, inputs[i].name))
                return refuse(t, "input", inputs[i].name, "is there twice");
    }
    return LB_OK;
}

/* Bytes of a parameter's field; 0: of no known type. */
static size_t size_of(const lb_param *param)
{
    static const size_t sizes[] = {
        [LB_BOOL] = sizeof(bool),         [LB_INT] = sizeof(int32_t),
        [LB_NUMBER] = sizeof(double),     [LB_VEC2] = sizeof(double[2]),
        [LB_VEC3] = sizeof(double[3]),    [LB_VEC4] = sizeof(double[4]),
        [LB_COLOR] = sizeof(double[4]),   [LB_ROTATION] = sizeof(double[4]),
        [LB_TEXT] = sizeof(const char *), [LB_FILE] = sizeof(const char *),
        [LB_CHOICE] = sizeof(int),        [LB_REF] = sizeof(int32_t),
        [LB_RECORDS] = sizeof(lb_records)};

    if (param->type == LB_RECORD)
        return param->fields_size;
    return (size_t)param->type < sizeof sizes / sizeof *sizes ? sizes[param->type] : 0;
}

static lb_status check_choice(const table *t, const lb_param *param)
{
    int count = 0;

    while (param->names && param->names[count] && count < ENTRIES_MOST)
        count++;
    if (count == 0 || count == ENTRIES_MOST)
        return refuse(t, "parameter", param->name, "is a choice without a list of names");
    if (lb_is_set(param->initial[0]) && !(param->initial[0] >= 0 && param->initial[0] < count))
        return refuse(t, "parameter", param->name, "begins with a choice that it has not");
    return LB_OK;
}

static lb_status check_params(const table *t, const lb_param *params, size_t size, int depth);

static lb_status check_param(const table *t, const lb_param *param, size_t size, int depth)
{
    size_t own = size_of(param);
    char what[96];

    if (!is_name(param->name, "_"))
        return refuse(t, "parameter", param->name,
                      "is no name of small letters, digits, dashes and underscores");
    if (own == 0)
        return refuse(t, "parameter", param->name,
                      param->type == LB_RECORD ? "is a record without a size"
                                               : "has a type that is not known");
    if (param->offset > size || own > size - param->offset)
        return refuse(t, "parameter", param->name, "lies outside its struct");
    if (!(param->min <= param->max))
        return refuse(t, "parameter", param->name, "has a range without numbers");
    if ((int)param->unit < LB_UNITLESS || param->unit > LB_FRAMES)
        return refuse(t, "parameter", param->name, "has a unit that is not known");
    if ((param->unit == LB_PIXELS || param->unit == LB_PIXELS_PER_SECOND) &&
        !(param->type >= LB_NUMBER && param->type <= LB_VEC4))
        return refuse(t, "parameter", param->name,
                      "is in pixels, which a frame's scale multiplies, and no number or vector");
    if (param->type == LB_FILE && !t->op->fingerprint)
        return refuse(t, "parameter", param->name,
                      "is a file, and there is no fingerprint to tell when it has changed");
    snprintf(what, sizeof what, "parameter '%s'", param->name);
    if (param->type == LB_REF && depth == 0)
        return refuse(t, "parameter", param->name, "refers to a node; outside records inputs do");
    if (param->type == LB_REF && param->kind != LB_KIND_IMAGE)
        return refuse_kind(t, what, param->kind);
    if (param->type == LB_CHOICE)
        return check_choice(t, param);
    if (param->type != LB_RECORD && param->type != LB_RECORDS)
        return LB_OK;
    if (!param->fields || !param->fields[0].name || param->fields_size == 0)
        return refuse(t, "parameter", param->name, "is a record without fields");
    return check_params(t, param->fields, param->fields_size, depth + 1);
}

static lb_status check_params(const table *t, const lb_param *params, size_t size, int depth)
{
    lb_status status = LB_OK;

    for (int32_t i = 0; params && params[i].name && status == LB_OK; i++) {
        if (i == ENTRIES_MOST)
            return refuse(t, "parameter", params[i].name,
                          "is one too many: is the list ended by {0}?");
        if (depth > DEPTH_MOST)
            return refuse(t, "parameter", params[i].name, "lies too deep in records");
        for (int32_t k = 0; k < i; k++)
            if (!strcmp(params[k].name, params[i].name))
                return refuse(t, "parameter", params[i].name, "is there twice");
        status = check_param(t, &params[i], size, depth);
    }
    return status;
}

lb_status lb_object_check_op(lb_diag *diag, lb_loc loc, const char *path, const lb_object *object,
                             uint32_t index)
{
    const lb_op *op = object->ops[index];
    table t = {diag, loc, path, op};
    lb_status status;

    if (!op || !is_name(op->name, ""))
        return lb_fail(diag, LB_INVALID, loc,
                       "'%s': operator %u has no name of small letters, digits and dashes", path,
                       (unsigned)index + 1);
    if (op->result != LB_KIND_IMAGE)
        return refuse_kind(&t, "the result", op->result);
    if (!op->summary || !op->evaluate)
        return lb_fail(diag, LB_INVALID, loc, "'%s': the table of '%s' needs %s", path, op->name,
                       op->summary ? "evaluate" : "a summary");
    if (op->points && !op->points->use)
        return lb_fail(diag, LB_INVALID, loc, "'%s': the points of '%s' need 'use'", path,
                       op->name);
    if (op->params_size > STRUCT_MOST)
        return lb_fail(diag, LB_INVALID, loc, "'%s': the parameters of '%s' take %zu bytes", path,
                       op->name, op->params_size);
    if ((status = check_inputs(&t)) == LB_OK)
        status = check_params(&t, op->params, op->params_size, 0);
    for (const lb_param *p = op->params; p && p->name && status == LB_OK; p++)
        if (lb_inputs_find(op->inputs, p->name) >= 0 &&
            !op->inputs[lb_inputs_find(op->inputs, p->name)].or_param)
            status = refuse(&t, "parameter", p->name, "is an input, too");
    for (uint32_t i = 0; i < index && status == LB_OK; i++)
        if (!strcmp(object->ops[i]->name, op->name))
            status = lb_fail(diag, LB_INVALID, loc, "'%s' has two operators '%s'", path, op->name);
    return status;
}
