/* engine/scene/gltf_json.c: typed looks into the JSON, with the path in every message. */
#include <math.h>
#include <stdarg.h>
#include <string.h>

#include "engine/scene/gltf_read.h"

lb_status gltf_fail(gltf *g, lb_status status, const char *where, const char *format, ...)
{
    char what[512];
    va_list args;

    va_start(args, format);
    vsnprintf(what, sizeof what, format, args);
    va_end(args);
    return lb_fail(g->diag, status, g->loc, "'%s': %s%s%s", g->path, where, *where ? ": " : "",
                   what);
}

lb_status gltf_no_memory(gltf *g)
{
    return lb_fail(g->diag, LB_MEMORY, g->loc, "'%s': no room for this scene", g->path);
}

lb_status gltf_told(gltf *g, lb_status status)
{
    return status ? gltf_no_memory(g) : LB_OK;
}

#define LOOK_BACK 256 /* facts; what is told again is told soon after */

lb_status gltf_fact(gltf *g, lb_fact_kind kind, const char *where, const char *format, ...)
{
    const lb_scene *scene = g->scene;
    char what[512];
    va_list args;

    va_start(args, format);
    vsnprintf(what, sizeof what, format, args);
    va_end(args);
    for (size_t i = scene->fact_count; i > 0 && scene->fact_count - i < LOOK_BACK; i--)
        if (strcmp(scene->facts[i - 1].where, where) == 0 &&
            strcmp(scene->facts[i - 1].what, what) == 0)
            return LB_OK;
    return gltf_told(g, lb_scene_add_fact(g->scene, kind, where, "%s", what));
}

const char *gltf_where(char out[GLTF_WHERE], const char *list, size_t index)
{
    snprintf(out, GLTF_WHERE, "/%s/%zu", list, index);
    return out;
}

const char *gltf_below(char out[GLTF_WHERE], const char *above, const char *key)
{
    snprintf(out, GLTF_WHERE, "%.150s/%.40s", above, key); /* 191 at most */
    return out;
}

static const char *kind_text(const json_t *value)
{
    switch (json_typeof(value)) {
    case JSON_OBJECT:
        return "an object";
    case JSON_ARRAY:
        return "an array";
    case JSON_STRING:
        return "a string";
    case JSON_INTEGER:
    case JSON_REAL:
        return "a number";
    case JSON_NULL:
        return "null";
    default:
        return "true or false";
    }
}

static lb_status wrong_kind(gltf *g, const char *where, const char *key, const json_t *value,
                            const char *wanted)
{
    char path[GLTF_WHERE];

    return gltf_fail(g, LB_FORMAT, gltf_below(path, where, key), "this is %s; it has to be %s",
                     kind_text(value), wanted);
}

lb_status gltf_object(gltf *g, const json_t *object, const char *where, const char *key,
                      const json_t **out)
{
    *out = json_object_get(object, key);
    if (*out && !json_is_object(*out))
        return wrong_kind(g, where, key, *out, "an object");
    return LB_OK;
}

lb_status gltf_array(gltf *g, const json_t *object, const char *where, const char *key,
                     const json_t **out)
{
    *out = json_object_get(object, key);
    if (*out && !json_is_array(*out))
        return wrong_kind(g, where, key, *out, "an array");
    return LB_OK;
}

lb_status gltf_text(gltf *g, const json_t *object, const char *where, const char *key,
                    const char **out)
{
    const json_t *value = json_object_get(object, key);

    *out = NULL;
    if (value && !json_is_string(value))
        return wrong_kind(g, where, key, value, "a string");
    if (value)
        *out = json_string_value(value);
    return LB_OK;
}

lb_status gltf_bool(gltf *g, const json_t *object, const char *where, const char *key,
                    bool fallback, bool *out)
{
    const json_t *value = json_object_get(object, key);

    *out = fallback;
    if (value && !json_is_boolean(value))
        return wrong_kind(g, where, key, value, "true or false");
    if (value)
        *out = json_is_true(value);
    return LB_OK;
}

lb_status gltf_number(gltf *g, const json_t *object, const char *where, const char *key,
                      double fallback, double *out)
{
    const json_t *value = json_object_get(object, key);

    *out = fallback;
    if (value && !json_is_number(value))
        return wrong_kind(g, where, key, value, "a number");
    if (value)
        *out = json_number_value(value);
    return LB_OK;
}

lb_status gltf_numbers(gltf *g, const json_t *object, const char *where, const char *key,
                       int32_t count, double *out)
{
    char path[GLTF_WHERE];
    const json_t *array;
    lb_status status = gltf_array(g, object, where, key, &array);

    if (status || !array)
        return status;
    if (json_array_size(array) != (size_t)count)
        return gltf_fail(g, LB_FORMAT, gltf_below(path, where, key),
                         "there are %zu numbers; it has to be %d", json_array_size(array), count);
    for (int32_t i = 0; i < count; i++) {
        const json_t *value = json_array_get(array, (size_t)i);

        if (!json_is_number(value))
            return wrong_kind(g, where, key, value, "numbers only");
        out[i] = json_number_value(value);
    }
    return LB_OK;
}

/* glTF 2.0, 2.7.1: whole numbers may be written with a fraction of zero. */
bool gltf_is_whole(const json_t *value, int64_t *out)
{
    double number;

    if (json_is_integer(value)) {
        *out = json_integer_value(value);
        return true;
    }
    if (!json_is_real(value))
        return false;
    number = json_real_value(value);
    if (!(fabs(number) < 9e15) || number != floor(number))
        return false;
    *out = (int64_t)number;
    return true;
}

lb_status gltf_whole(gltf *g, const json_t *object, const char *where, const char *key,
                     int64_t fallback, int64_t low, int64_t high, int64_t *out)
{
    char path[GLTF_WHERE];
    const json_t *value = json_object_get(object, key);

    *out = fallback;
    if (!value)
        return LB_OK;
    if (!gltf_is_whole(value, out))
        return wrong_kind(g, where, key, value, "a whole number");
    if (*out < low && high == INT64_MAX)
        return gltf_fail(g, LB_FORMAT, gltf_below(path, where, key),
                         "this is %lld; it has to be at least %lld", (long long)*out,
                         (long long)low);
    if (*out < low || *out > high)
        return gltf_fail(g, LB_FORMAT, gltf_below(path, where, key),
                         "this is %lld; it goes from %lld to %lld", (long long)*out, (long long)low,
                         (long long)high);
    return LB_OK;
}

lb_status gltf_index(gltf *g, const json_t *object, const char *where, const char *key,
                     size_t count, int64_t *out)
{
    char path[GLTF_WHERE];
    const json_t *value = json_object_get(object, key);

    *out = -1;
    if (!value)
        return LB_OK;
    if (!gltf_is_whole(value, out))
        return wrong_kind(g, where, key, value, "an index");
    if (*out < 0 || (uint64_t)*out >= count)
        return gltf_fail(g, LB_FORMAT, gltf_below(path, where, key),
                         "there is no element %lld; the file has %zu", (long long)*out, count);
    return LB_OK;
}

lb_status gltf_element(gltf *g, const json_t *array, const char *where, size_t index,
                       const json_t **out)
{
    char number[32];

    *out = json_array_get(array, index);
    if (*out && json_is_object(*out))
        return LB_OK;
    snprintf(number, sizeof number, "%zu", index);
    if (*out)
        return wrong_kind(g, where, number, *out, "an object");
    return gltf_fail(g, LB_FORMAT, where, "there is no element %zu", index);
}

lb_status gltf_root_element(gltf *g, const char *list, size_t index, char where[GLTF_WHERE],
                            const json_t **out)
{
    char above[GLTF_WHERE];
    const json_t *array;
    lb_status status = gltf_array(g, g->root, "", list, &array);

    *out = NULL;
    gltf_where(where, list, index);
    if (status)
        return status;
    if (!array)
        return gltf_fail(g, LB_FORMAT, where, "the file has no %s", list);
    return gltf_element(g, array, gltf_below(above, "", list), index, out);
}

lb_status gltf_root_count(gltf *g, const char *list, size_t *out)
{
    const json_t *array;
    lb_status status = gltf_array(g, g->root, "", list, &array);

    *out = status || !array ? 0 : json_array_size(array);
    return status;
}

lb_status gltf_extension(gltf *g, const json_t *object, const char *above, const char *name,
                         char where[GLTF_WHERE], const json_t **out)
{
    char path[GLTF_WHERE];
    const json_t *extensions;
    lb_status status = gltf_object(g, object, above, "extensions", &extensions);

    *out = NULL;
    gltf_below(path, above, "extensions");
    gltf_below(where, path, name);
    return status || !extensions ? status : gltf_object(g, extensions, path, name, out);
}

lb_status gltf_keep_within(gltf *g, const char *where, const char *key, double low, double high,
                           double *value)
{
    double given = *value;
    char path[GLTF_WHERE];

    if (given >= low && given <= high)
        return LB_OK;
    *value = given < low ? low : high;
    return gltf_fact(g, LB_FACT_CONVERTED, gltf_below(path, where, key),
                     "%g is outside %g to %g: %g is used.", given, low, high, *value);
}
