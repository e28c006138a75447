/* lang/expr_call.c: functions, vectors and components: which types they take and give. */
#include <string.h>

#include "engine/base/text.h"
#include "lang/expr_compile.h"

static int shown_length(const lb_expr_token *t)
{
    return (int)(t->end - t->begin < 60 ? t->end - t->begin : 60);
}

const char *lb_expr_type_text(lb_expr_type type)
{
    static const char *const numbers[] = {"a number", "a vec2", "a vec3", "a vec4"};

    switch (type.kind) {
    case LB_DATUM_BOOL:
        return "true or false";
    case LB_DATUM_TEXT:
        return "text";
    case LB_DATUM_NUMBERS:
        break;
    }
    return numbers[type.count - 1];
}

/* --- names that are not known --- */

#define MAX_FUNCTIONS 64

static const char *nearest_function(const char *name)
{
    const char *names[MAX_FUNCTIONS];
    size_t count = 0;

    names[count++] = "vec2";
    names[count++] = "vec3";
    names[count++] = "vec4";
    for (const lb_expr_function *f = lb_expr_functions; f->name && count < MAX_FUNCTIONS; f++)
        names[count++] = f->name;
    return lb_text_nearest(name, names, count);
}

static const char *nearest(const lb_expr_compiler *c, const lb_expr_token *t, bool is_function)
{
    char name[LB_EXPR_MAX_NAME + 1];
    size_t length = t->end - t->begin;

    if (length >= sizeof name)
        return NULL;
    memcpy(name, c->text + t->begin, length);
    name[length] = 0;
    return is_function ? nearest_function(name) : c->scope->nearest(c->scope->context, name);
}

void lb_expr_unknown(lb_expr_compiler *c, const lb_expr_token *name, bool is_function)
{
    lb_expr_token whole = *name;
    const char *found = NULL;

    if (!is_function) { /* hot-gian is rather hot-gain than hot minus gian */
        whole.end = lb_expr_word_end(c, name->begin);
        if (whole.end > name->end)
            found = nearest(c, &whole, false);
    }
    if (!found) {
        whole = *name;
        found = nearest(c, &whole, is_function);
    }
    lb_expr_wrong(c, &whole, "unknown %s '%.*s'%s%s%s", is_function ? "function" : "name",
                  shown_length(&whole), c->text + whole.begin, found ? "; did you mean '" : "",
                  found ? found : "", found ? "'?" : "");
}

/* --- calls --- */

/* vec2(1, 2), vec3(v.xy, 1), vec4(0): components, or one number for all. */
static lb_expr_type call_vector(lb_expr_compiler *c, const lb_expr_token *name, int32_t size,
                                const lb_expr_type *args, int32_t count)
{
    int32_t components = 0;

    for (int32_t i = 0; i < count; i++) {
        if (args[i].kind != LB_DATUM_NUMBERS)
            lb_expr_wrong(c, name, "vec%d takes numbers, not %s", (int)size,
                          lb_expr_type_text(args[i]));
        components += args[i].count;
    }
    if (components != size && !(count == 1 && components == 1))
        lb_expr_wrong(c, name, "vec%d takes %d numbers, not %d", (int)size, (int)size,
                      (int)components);
    lb_expr_emit(c, name, LB_EXPR_VECTOR, count, size, 1 - count);
    return (lb_expr_type){LB_DATUM_NUMBERS, size};
}

/* Checks the arguments of a function; the result's type. */
static lb_expr_type apply_rule(lb_expr_compiler *c, const lb_expr_token *name,
                               const lb_expr_function *f, const lb_expr_type *args)
{
    bool is_single = f->rule == LB_RULE_NUMBERS || f->rule == LB_RULE_TEXT;
    lb_expr_type result = lb_expr_number_type;

    for (int32_t i = 0; i < f->count; i++) {
        if (args[i].kind != LB_DATUM_NUMBERS || (is_single && args[i].count > 1)) {
            lb_expr_wrong(c, name, "%s takes %s, not %s", f->name,
                          is_single ? "single numbers" : "numbers", lb_expr_type_text(args[i]));
            return result;
        }
        if (args[i].count > 1 && result.count > 1 && args[i].count != result.count)
            lb_expr_wrong(c, name, "%s cannot go with both a vec%d and a vec%d", f->name,
                          (int)result.count, (int)args[i].count);
        if (args[i].count > result.count)
            result = args[i];
    }
    if (f->rule == LB_RULE_DOT && args[0].count != args[1].count)
        lb_expr_wrong(c, name, "%s takes two vectors of one size", f->name);
    if (f->rule == LB_RULE_TEXT)
        return (lb_expr_type){LB_DATUM_TEXT, 1};
    return f->rule == LB_RULE_LENGTH || f->rule == LB_RULE_DOT ? lb_expr_number_type : result;
}

static void wrong_count(lb_expr_compiler *c, const lb_expr_token *name, const lb_expr_function *f,
                        int32_t count)
{
    int32_t least = f->count, most = least;

    while (f[1].name && strcmp(f[1].name, f->name) == 0)
        most = (++f)->count;
    if (least == most)
        lb_expr_wrong(c, name, "%s takes %d value%s, not %d", f->name, (int)least,
                      least == 1 ? "" : "s", (int)count);
    else
        lb_expr_wrong(c, name, "%s takes %d to %d values, not %d", f->name, (int)least, (int)most,
                      (int)count);
}

static lb_expr_type call_function(lb_expr_compiler *c, const lb_expr_token *name,
                                  const lb_expr_type *args, int32_t count)
{
    const char *text = c->text + name->begin;
    size_t length = name->end - name->begin;
    const lb_expr_function *known = NULL;

    if (length == 4 && memcmp(text, "vec", 3) == 0 && text[3] >= '2' && text[3] <= '4')
        return call_vector(c, name, text[3] - '0', args, count);
    for (const lb_expr_function *f = lb_expr_functions; f->name; f++) {
        if (strlen(f->name) != length || memcmp(f->name, text, length) != 0)
            continue;
        if (f->count == count) {
            lb_expr_type result = apply_rule(c, name, f, args);
            int32_t row = (int32_t)(f - lb_expr_functions);

            lb_expr_emit(c, name, f->rule == LB_RULE_TEXT ? LB_EXPR_TEXT : LB_EXPR_CALL, count, row,
                         1 - count);
            return result;
        }
        known = known ? known : f;
    }
    if (known)
        wrong_count(c, name, known, count);
    else
        lb_expr_unknown(c, name, true);
    return lb_expr_number_type;
}

lb_expr_type lb_expr_call(lb_expr_compiler *c, const lb_expr_token *name, const lb_expr_type *args,
                          int32_t count)
{
    if (count == 0)
        lb_expr_wrong(c, name, "%.*s needs a value in its brackets", shown_length(name),
                      c->text + name->begin);
    if (count > 4)
        lb_expr_wrong(c, name, "%.*s has more values than any function takes", shown_length(name),
                      c->text + name->begin);
    return c->status == LB_OK ? call_function(c, name, args, count) : lb_expr_number_type;
}

/* --- components --- */

/* .x .yz .rgb: components by position or colour, as GLSL 4.60, section 5.5, has them. */
lb_expr_type lb_expr_pick(lb_expr_compiler *c, lb_expr_type of)
{
    static const char sets[2][5] = {"xyzw", "rgba"};
    lb_expr_token t = c->next;
    int32_t picked = 0, count = (int32_t)(t.end - t.begin);

    if (c->status != LB_OK)
        return of;
    if (t.kind != LB_TOKEN_NAME || count > 4) {
        lb_expr_wrong(c, &t, "x, y, z, w or r, g, b, a should be here");
        return of;
    }
    if (of.kind != LB_DATUM_NUMBERS || of.count == 1) {
        lb_expr_wrong(c, &t, "%s has no components", lb_expr_type_text(of));
        return of;
    }
    for (int32_t i = 0; i < count; i++) {
        const char *set = sets[strchr(sets[0], c->text[t.begin]) ? 0 : 1];
        const char *found = strchr(set, c->text[t.begin + (size_t)i]);

        if (!found || found - set >= of.count) {
            lb_expr_wrong(c, &t, "%s has no component '%.*s'", lb_expr_type_text(of), (int)count,
                          c->text + t.begin);
            return of;
        }
        picked |= (int32_t)(found - set) << (2 * i);
    }
    lb_expr_advance(c);
    lb_expr_emit(c, &t, LB_EXPR_PICK, count, picked, 0);
    return (lb_expr_type){LB_DATUM_NUMBERS, count};
}
