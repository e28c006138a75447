/* engine/graph/param.c: values of parameters, checked and stored by their table. */
#include "engine/graph/param.h"

#include <string.h>

#include "engine/base/file.h"
#include "engine/base/text.h"
#include "engine/base/vec.h"

const char *lb_unit_text(lb_unit unit)
{
    static const char *const texts[] = {"",   "pixels",      "pixels/second", "degrees", "seconds",
                                        "mm", "scene units", "stops",         "frames"};

    return texts[unit];
}

const char *lb_type_text(lb_type type)
{
    switch (type) {
    case LB_BOOL:
        return "true or false";
    case LB_INT:
        return "a whole number";
    case LB_NUMBER:
        return "a number";
    case LB_VEC2:
        return "[x, y]";
    case LB_VEC3:
        return "[x, y, z]";
    case LB_VEC4:
        return "[x, y, z, w]";
    case LB_COLOR:
        return "a colour (CSS hex or [r, g, b])";
    case LB_ROTATION:
        return "a rotation ([x, y, z] in degrees or a quaternion [x, y, z, w])";
    case LB_TEXT:
        return "text";
    case LB_FILE:
        return "a file's path";
    case LB_CHOICE:
        return "one of its names";
    case LB_REF:
        return "a node's name";
    case LB_RECORD:
        return "a mapping";
    case LB_RECORDS:
        return "a list of mappings";
    }
    return "";
}

int32_t lb_params_count(const lb_param *params)
{
    int32_t count = 0;

    while (params && params[count].name)
        count++;
    return count;
}

const lb_param *lb_params_find(const lb_param *params, const char *name)
{
    for (; params && params->name; params++)
        if (strcmp(params->name, name) == 0)
            return params;
    return NULL;
}

int32_t lb_inputs_count(const lb_input *inputs)
{
    int32_t count = 0;

    while (inputs && inputs[count].name)
        count++;
    return count;
}

int32_t lb_inputs_find(const lb_input *inputs, const char *name)
{
    for (int32_t i = 0; inputs && inputs[i].name; i++)
        if (strcmp(inputs[i].name, name) == 0)
            return i;
    return -1;
}

/* What was found, for messages. */
static const char *found(const lb_datum *value, char *buffer, size_t size)
{
    char number[32];

    switch (value->kind) {
    case LB_DATUM_BOOL:
        return value->numbers[0] != 0 ? "true" : "false";
    case LB_DATUM_TEXT:
        snprintf(buffer, size, "'%.60s'", value->text ? value->text : "");
        return buffer;
    case LB_DATUM_NUMBERS:
        if (value->count == 1)
            return snprintf(buffer, size, "%s", lb_text_from_number(value->numbers[0], number)),
                   buffer;
        snprintf(buffer, size, "%d numbers", (int)value->count);
        return buffer;
    }
    return "something else";
}

static lb_status wrong_type(const lb_store *store, const lb_param *param, lb_loc loc,
                            const lb_datum *value)
{
    char buffer[80];

    return lb_fail(store->diag, LB_INVALID, loc, "'%s' is %s; it takes %s%s", param->name,
                   found(value, buffer, sizeof buffer), param->spread ? "a number or " : "",
                   lb_type_text(param->type));
}

static lb_status check_range(const lb_store *store, const lb_param *param, lb_loc loc, double value)
{
    char is[32], low[32], high[32];
    bool bounded = param->min != 0 || param->max != 0;

    if (isfinite(value) && (!bounded || (value >= param->min && value <= param->max)))
        return LB_OK;
    lb_text_from_number(value, is);
    if (!bounded)
        return lb_fail(store->diag, LB_INVALID, loc, "'%s' is %s; it takes finite numbers",
                       param->name, is);
    if (isinf(param->max))
        return lb_fail(store->diag, LB_INVALID, loc, "'%s' is %s; it must be at least %s",
                       param->name, is, lb_text_from_number(param->min, low));
    return lb_fail(store->diag, LB_INVALID, loc, "'%s' is %s; it goes from %s to %s", param->name,
                   is, lb_text_from_number(param->min, low), lb_text_from_number(param->max, high));
}

static lb_status store_numbers(const lb_store *store, const lb_param *param, lb_loc loc,
                               const lb_datum *value, int32_t count, double *out)
{
    lb_status status = LB_OK;
    bool spread = param->spread && value->count == 1;

    if (value->kind != LB_DATUM_NUMBERS || (value->count != count && !spread))
        return wrong_type(store, param, loc, value);
    for (int32_t i = 0; i < count; i++) {
        double number = value->numbers[spread ? 0 : i];

        if ((status = check_range(store, param, loc, number)) != LB_OK)
            return status;
        out[i] = number;
    }
    return LB_OK;
}

static int hex_digit(char c)
{
    if (c >= '0' && c <= '9')
        return c - '0';
    c = (char)(c | 32);
    return c >= 'a' && c <= 'f' ? c - 'a' + 10 : -1;
}

/* CSS Color 4, section 5.2: #rgb, #rgba, #rrggbb, #rrggbbaa. */
static bool parse_hex(const char *text, double out[4])
{
    size_t length = strlen(text);
    size_t digits = length - 1;

    if (text[0] != '#' || (digits != 3 && digits != 4 && digits != 6 && digits != 8))
        return false;
    for (size_t i = 1; i < length; i++)
        if (hex_digit(text[i]) < 0)
            return false;
    out[3] = 1;
    for (size_t i = 0; digits < 6 && i < digits; i++)
        out[i] = hex_digit(text[1 + i]) * 17 / 255.0;
    for (size_t i = 0; digits >= 6 && i < digits / 2; i++)
        out[i] = (hex_digit(text[1 + 2 * i]) * 16 + hex_digit(text[2 + 2 * i])) / 255.0;
    return true;
}

static lb_status store_color(const lb_store *store, const lb_param *param, lb_loc loc,
                             const lb_datum *value, double *out)
{
    double color[4] = {0, 0, 0, 1}, m[9], linear[3];
    lb_status status;

    if (value->kind == LB_DATUM_TEXT && value->text && parse_hex(value->text, color)) {
        lb_space_matrix(LB_SPACE_LINEAR_REC709, store->working, m);
        for (int i = 0; i < 3; i++)
            linear[i] = lb_transfer_decode(LB_TRANSFER_SRGB, color[i]);
        for (int i = 0; i < 3; i++)
            out[i] = m[3 * i] * linear[0] + m[3 * i + 1] * linear[1] + m[3 * i + 2] * linear[2];
        out[3] = color[3];
        return LB_OK;
    }
    if (value->kind == LB_DATUM_NUMBERS && value->count == 1 && param->spread) {
        if ((status = check_range(store, param, loc, value->numbers[0])) != LB_OK)
            return status;
        out[0] = out[1] = out[2] = value->numbers[0];
        out[3] = 1;
        return LB_OK;
    }
    if (value->kind == LB_DATUM_NUMBERS && (value->count == 3 || value->count == 4)) {
        for (int32_t i = 0; i < value->count; i++) {
            if ((status = check_range(store, param, loc, value->numbers[i])) != LB_OK)
                return status;
            color[i] = value->numbers[i];
        }
        memcpy(out, color, sizeof color);
        return LB_OK;
    }
    return wrong_type(store, param, loc, value);
}

static lb_status store_rotation(const lb_store *store, const lb_param *param, lb_loc loc,
                                const lb_datum *value, double *out)
{
    const double *n = value->numbers;
    lb_quat q;

    if (value->kind != LB_DATUM_NUMBERS || (value->count != 3 && value->count != 4))
        return wrong_type(store, param, loc, value);
    for (int32_t i = 0; i < value->count; i++)
        if (!isfinite(n[i]))
            return lb_fail(store->diag, LB_INVALID, loc, "'%s' takes finite numbers", param->name);
    if (value->count == 4 && n[0] == 0 && n[1] == 0 && n[2] == 0 && n[3] == 0)
        return lb_fail(store->diag, LB_INVALID, loc, "'%s': a quaternion cannot be all zeros",
                       param->name);
    q = value->count == 3 ? lb_quat_from_euler_deg(n[0], n[1], n[2])
                          : lb_quat_normalize((lb_quat){n[0], n[1], n[2], n[3]});
    out[0] = q.x, out[1] = q.y, out[2] = q.z, out[3] = q.w;
    return LB_OK;
}

static size_t names_count(const char *const *names)
{
    size_t count = 0;

    while (names[count])
        count++;
    return count;
}

static lb_status store_choice(const lb_store *store, const lb_param *param, lb_loc loc,
                              const lb_datum *value, int *out)
{
    lb_text list = {0};
    const char *nearest;
    char buffer[80];
    size_t count = names_count(param->names);

    if (value->kind == LB_DATUM_TEXT && value->text)
        for (size_t i = 0; i < count; i++)
            if (strcmp(param->names[i], value->text) == 0) {
                *out = (int)i;
                return LB_OK;
            }
    nearest = value->kind == LB_DATUM_TEXT && value->text
                  ? lb_text_nearest(value->text, param->names, count)
                  : NULL;
    for (size_t i = 0; i < count; i++)
        lb_text_printf(&list, "%s%s", i ? ", " : "", param->names[i]);
    lb_fail(store->diag, LB_INVALID, loc, "'%s' is %s; it is one of %s%s%s%s", param->name,
            found(value, buffer, sizeof buffer), list.bytes ? list.bytes : "its names",
            nearest ? "; did you mean '" : "", nearest ? nearest : "", nearest ? "'?" : "");
    lb_text_clear(&list);
    return LB_INVALID;
}

static lb_status store_text(const lb_store *store, const lb_param *param, lb_loc loc,
                            const lb_datum *value, const char **out)
{
    char number[32];
    const char *text = value->text;
    char *joined = NULL;

    if (value->kind == LB_DATUM_NUMBERS && value->count == 1 && param->type == LB_TEXT)
        text = lb_text_from_number(value->numbers[0], number);
    else if (value->kind != LB_DATUM_TEXT || !text)
        return wrong_type(store, param, loc, value);
    if (param->type == LB_FILE) {
        if (!*text)
            return lb_fail(store->diag, LB_INVALID, loc, "'%s' names no file", param->name);
        text = joined = lb_path_join(store->folder ? store->folder : "", text);
    }
    *out = text ? lb_arena_strdup(store->arena, text) : NULL;
    lb_free(joined);
    return *out ? LB_OK : lb_fail(store->diag, LB_MEMORY, loc, "no memory");
}

lb_status lb_param_store(const lb_store *store, const lb_param *param, lb_loc loc,
                         const lb_datum *value, void *base)
{
    void *field = (char *)base + param->offset;
    double number = 0;
    lb_status status;

    switch (param->type) {
    case LB_BOOL:
        if (value->kind != LB_DATUM_BOOL)
            return wrong_type(store, param, loc, value);
        *(bool *)field = value->numbers[0] != 0;
        return LB_OK;
    case LB_INT:
        if ((status = store_numbers(store, param, loc, value, 1, &number)) != LB_OK)
            return status;
        if (number != floor(number) || fabs(number) > INT32_MAX)
            return wrong_type(store, param, loc, value);
        *(int32_t *)field = (int32_t)number;
        return LB_OK;
    case LB_NUMBER:
        return store_numbers(store, param, loc, value, 1, field);
    case LB_VEC2:
        return store_numbers(store, param, loc, value, 2, field);
    case LB_VEC3:
        return store_numbers(store, param, loc, value, 3, field);
    case LB_VEC4:
        return store_numbers(store, param, loc, value, 4, field);
    case LB_COLOR:
        return store_color(store, param, loc, value, field);
    case LB_ROTATION:
        return store_rotation(store, param, loc, value, field);
    case LB_TEXT:
    case LB_FILE:
        return store_text(store, param, loc, value, field);
    case LB_CHOICE:
        return store_choice(store, param, loc, value, field);
    case LB_REF:
    case LB_RECORD:
    case LB_RECORDS:
        break;
    }
    return wrong_type(store, param, loc, value);
}

static lb_status init_one(const lb_store *store, const lb_param *param, void *base)
{
    void *field = (char *)base + param->offset;
    static const int32_t numbers[] = {[LB_NUMBER] = 1, [LB_VEC2] = 2,  [LB_VEC3] = 3,
                                      [LB_VEC4] = 4,   [LB_COLOR] = 4, [LB_ROTATION] = 4};

    switch (param->type) {
    case LB_BOOL:
        *(bool *)field = param->initial[0] != 0;
        break;
    case LB_INT:
        *(int32_t *)field = (int32_t)param->initial[0];
        break;
    case LB_NUMBER:
    case LB_VEC2:
    case LB_VEC3:
    case LB_VEC4:
    case LB_COLOR:
    case LB_ROTATION:
        memcpy(field, param->initial, (size_t)numbers[param->type] * sizeof(double));
        if (param->type == LB_ROTATION && lb_is_set(param->initial[0])) {
            double *q = field;

            if (q[0] == 0 && q[1] == 0 && q[2] == 0 && q[3] == 0)
                q[3] = 1;
        }
        break;
    case LB_TEXT:
    case LB_FILE:
        if (param->initial_text &&
            !(*(const char **)field = lb_arena_strdup(store->arena, param->initial_text)))
            return LB_MEMORY;
        break;
    case LB_CHOICE:
        *(int *)field = lb_is_set(param->initial[0]) ? (int)param->initial[0] : -1;
        break;
    case LB_REF:
        *(int32_t *)field = -1;
        break;
    case LB_RECORD:
        return lb_params_init(store, param->fields, field);
    case LB_RECORDS:
        break;
    }
    return LB_OK;
}

lb_status lb_params_init(const lb_store *store, const lb_param *params, void *base)
{
    for (; params && params->name; params++)
        if (init_one(store, params, base) != LB_OK)
            return lb_fail(store->diag, LB_MEMORY, LB_NOWHERE, "no memory");
    return LB_OK;
}

void lb_params_scale(const lb_param *params, void *base, double scale)
{
    for (; params && params->name; params++) {
        void *field = (char *)base + params->offset;
        double *numbers = field;
        int32_t count = 0;

        if (params->type == LB_RECORD)
            lb_params_scale(params->fields, field, scale);
        if (params->type == LB_RECORDS) {
            lb_records *records = field;

            for (int32_t i = 0; i < records->count; i++)
                lb_params_scale(params->fields,
                                (char *)records->items + (size_t)i * params->fields_size, scale);
        }
        if (params->unit != LB_PIXELS && params->unit != LB_PIXELS_PER_SECOND)
            continue;
        if (params->type >= LB_NUMBER && params->type <= LB_VEC4)
            count = params->type == LB_NUMBER ? 1 : (int32_t)(params->type - LB_VEC2) + 2;
        for (int32_t i = 0; i < count; i++)
            numbers[i] *= scale;
    }
}

static void hash_one(const lb_param *param, const void *field, lb_hasher *hasher)
{
    const double *numbers = field;
    const lb_records *records = field;
    int32_t count = 0;

    switch (param->type) {
    case LB_BOOL:
        lb_hash_u64(hasher, *(const bool *)field);
        break;
    case LB_INT:
    case LB_REF:
        lb_hash_u64(hasher, (uint64_t)(int64_t) * (const int32_t *)field);
        break;
    case LB_CHOICE:
        lb_hash_u64(hasher, (uint64_t)(int64_t) * (const int *)field);
        break;
    case LB_NUMBER:
        count = 1;
        break;
    case LB_VEC2:
        count = 2;
        break;
    case LB_VEC3:
        count = 3;
        break;
    case LB_VEC4:
    case LB_COLOR:
    case LB_ROTATION:
        count = 4;
        break;
    case LB_TEXT:
        lb_hash_string(hasher, *(const char *const *)field);
        break;
    case LB_FILE:
        break;
    case LB_RECORD:
        lb_params_hash(param->fields, field, hasher);
        break;
    case LB_RECORDS:
        lb_hash_u64(hasher, (uint64_t)records->count);
        for (int32_t i = 0; i < records->count; i++)
            lb_params_hash(param->fields,
                           (const char *)records->items + (size_t)i * param->fields_size, hasher);
        break;
    }
    for (int32_t i = 0; i < count; i++)
        lb_hash_f64(hasher, numbers[i]);
}

void lb_params_hash(const lb_param *params, const void *base, lb_hasher *hasher)
{
    for (; params && params->name; params++)
        hash_one(params, (const char *)base + params->offset, hasher);
}
