/* tests/lang/test_expr.c: lang/expr.h against values that Python, numpy and mpmath computed
 * (tests/data/expressions/SOURCE.md), and what is said about faults. */
#include <criterion/criterion.h>
#include <math.h>

#include "engine/base/file.h"
#include "engine/base/math.h"
#include "engine/base/random.h"
#include "engine/base/text.h"
#include "lang/expr.h"
#include "tests/lang/messages.h"

/* The names of make.py. `wave` differs from frame to frame, in slot 0. */
static const struct known {
    const char *name;
    lb_meaning meaning;
} names[] = {
    {"frame", {.what = LB_MEANS_FRAME}},
    {"t", {.what = LB_MEANS_TIME}},
    {"rate", {LB_MEANS_CONSTANT, {LB_DATUM_NUMBERS, 1, {24}, NULL}, 0}},
    {"width", {LB_MEANS_CONSTANT, {LB_DATUM_NUMBERS, 1, {1920}, NULL}, 0}},
    {"height", {LB_MEANS_CONSTANT, {LB_DATUM_NUMBERS, 1, {1080}, NULL}, 0}},
    {"pi", {LB_MEANS_CONSTANT, {LB_DATUM_NUMBERS, 1, {3.14159265358979323846}, NULL}, 0}},
    {"gain", {LB_MEANS_CONSTANT, {LB_DATUM_NUMBERS, 1, {2.5}, NULL}, 0}},
    {"hot-gain", {LB_MEANS_CONSTANT, {LB_DATUM_NUMBERS, 1, {0.5}, NULL}, 0}},
    {"on", {LB_MEANS_CONSTANT, {LB_DATUM_BOOL, 1, {1}, NULL}, 0}},
    {"name", {LB_MEANS_CONSTANT, {LB_DATUM_TEXT, 1, {0}, "kiln"}, 0}},
    {"v2", {LB_MEANS_CONSTANT, {LB_DATUM_NUMBERS, 2, {0.25, -0.5}, NULL}, 0}},
    {"v3", {LB_MEANS_CONSTANT, {LB_DATUM_NUMBERS, 3, {1, 2, 3}, NULL}, 0}},
    {"v4", {LB_MEANS_CONSTANT, {LB_DATUM_NUMBERS, 4, {0.1, 0.2, 0.3, 0.4}, NULL}, 0}},
    {"wave", {LB_MEANS_PARAM, {LB_DATUM_NUMBERS, 1, {0}, NULL}, 0}},
};
#define NAME_COUNT (sizeof names / sizeof names[0])

static const struct known *find_known(const char *name, size_t length)
{
    for (size_t i = 0; i < NAME_COUNT; i++)
        if (strlen(names[i].name) == length && memcmp(names[i].name, name, length) == 0)
            return &names[i];
    return NULL;
}

static bool has(void *context, const char *name, size_t length)
{
    (void)context;
    return find_known(name, length) != NULL;
}

static lb_status find(void *context, const char *name, size_t length, lb_loc loc, lb_meaning *out)
{
    const struct known *known = find_known(name, length);

    (void)context, (void)loc;
    if (known)
        *out = known->meaning;
    return LB_OK;
}

static const char *nearest(void *context, const char *name)
{
    const char *all[NAME_COUNT];

    (void)context;
    for (size_t i = 0; i < NAME_COUNT; i++)
        all[i] = names[i].name;
    return lb_text_nearest(name, all, NAME_COUNT);
}

static lb_status wave(void *context, int32_t slot, lb_datum *out)
{
    cr_assert(slot == 0);
    *out = (lb_datum){LB_DATUM_NUMBERS, 1, {2 * *(double *)context}, NULL};
    return LB_OK;
}

static const lb_scope scope = {NULL, has, find, nearest};

typedef struct result {
    lb_arena *arena;
    lb_diag *diag;
    lb_status status;
    lb_datum value;
    bool timed;
    char *messages;
} result;

/* The scalar stands in the file's first column as it is. */
static result evaluate(const char *text, double frame)
{
    result r = {.arena = lb_arena_new(), .diag = lb_diag_new()};
    lb_yaml_node scalar = {
        .kind = LB_YAML_SCALAR, .text = text, .length = strlen(text), .is_exact = true};
    lb_expr_env env = {.frame = frame,
                       .time_s = (frame - 1) / 24,
                       .arena = r.arena,
                       .diag = r.diag,
                       .context = &frame,
                       .param = wave};
    lb_expr expr;

    scalar.inner = scalar.loc = (lb_loc){"f", 1, 1, (int32_t)scalar.length};
    r.status = lb_expr_compile(r.diag, &scope, &scalar, r.arena, &expr);
    if (r.status == LB_OK) {
        r.timed = expr.timed;
        r.status = lb_expr_run(&expr, &env, &r.value);
        if (r.status == LB_OK)
            cr_expect(r.value.kind == expr.kind && r.value.count == expr.count, "'%s'", text);
    }
    r.messages = messages_of(r.diag);
    return r;
}

static void drop(result *r)
{
    free(r->messages);
    lb_arena_free(&r->arena);
    lb_diag_free(&r->diag);
}

static double number(const char *text)
{
    result r = evaluate(text, 1);
    double value = r.value.numbers[0];

    cr_expect(r.status == LB_OK && r.value.kind == LB_DATUM_NUMBERS, "'%s': %s", text, r.messages);
    drop(&r);
    return value;
}

/* How many doubles lie between two. */
static double ulps_between(double a, double b)
{
    int64_t x, y;

    if (isnan(a) || isnan(b))
        return isnan(a) && isnan(b) ? 0 : INFINITY;
    memcpy(&x, &a, sizeof x);
    memcpy(&y, &b, sizeof y);
    x = x < 0 ? INT64_MIN - x : x;
    y = y < 0 ? INT64_MIN - y : y;
    return fabs((double)x - (double)y);
}

static void check_row(const char *text, double frame, const char *type, char *value, double ulps)
{
    result r = evaluate(text, frame);

    if (r.status != LB_OK) {
        cr_expect(false, "'%s': %s", text, r.messages);
    } else if (strcmp(type, "text") == 0) {
        cr_expect(r.value.kind == LB_DATUM_TEXT && strcmp(r.value.text, value) == 0,
                  "'%s': '%s', not '%s'", text, r.value.text, value);
    } else if (strcmp(type, "bool") == 0) {
        cr_expect(r.value.kind == LB_DATUM_BOOL && r.value.numbers[0] == atoi(value), "'%s'", text);
    } else {
        cr_expect(r.value.kind == LB_DATUM_NUMBERS && r.value.count == atoi(type), "'%s'", text);
        for (int32_t i = 0; i < r.value.count; i++) {
            double wanted = strtod(value, &value);

            cr_expect(ulps_between(r.value.numbers[i], wanted) <= ulps,
                      "'%s' at %g: %.17g, not %.17g: %g ulps, not %g", text, frame,
                      r.value.numbers[i], wanted, ulps_between(r.value.numbers[i], wanted), ulps);
        }
    }
    drop(&r);
}

Test(expr, table)
{
    void *bytes;
    size_t count;
    int rows = 0;

    cr_assert(lb_file_read(NULL, LB_NOWHERE, LB_TEST_DATA "/expressions/values.tsv", 1 << 20,
                           &bytes, &count) == LB_OK);
    for (char *line = bytes, *end; *line; line = end) {
        char *cells[5] = {line};

        end = line + strcspn(line, "\n");
        if (*end)
            *end++ = 0;
        if (*line == '#')
            continue;
        for (int i = 1; i < 5; i++) {
            cells[i] = cells[i - 1] + strcspn(cells[i - 1], "\t");
            cr_assert(*cells[i], "%s", line);
            *cells[i]++ = 0;
        }
        check_row(cells[0], atof(cells[1]), cells[2], cells[3], atof(cells[4]));
        rows++;
    }
    cr_expect(rows > 700, "%d rows", rows);
    lb_free(bytes);
}

/* noise and random are engine/base/random.h's (tested there): here that they are reached, with
 * field 0, and do what a designer expects of them. */
Test(expr, noise_and_random)
{
    double sum = 0;

    cr_expect(number("noise(0.3)") == lb_noise1(0.3, 0));
    cr_expect(number("noise(0.3, 1.7)") == lb_noise2(0.3, 1.7, 0));
    cr_expect(number("noise(0.3, 1.7, -2.1)") == lb_noise3(0.3, 1.7, -2.1, 0));
    cr_expect(number("noise(1e300)") == 0 && isnan(number("noise(1 / 0)")));
    cr_expect(number("random(1)") == number("random(1)") && number("random(1)") >= 0);
    cr_expect(number("random(1)") != number("random(2)"));
    cr_expect(number("random(0)") == number("random(-0.0)"));
    for (int i = 0; i < 1000; i++) {
        char text[32];

        snprintf(text, sizeof text, "random(%d)", i);
        sum += number(text);
    }
    /* the mean of 1000 such numbers has a deviation of 1 / sqrt(12 * 1000) = 0.0091 */
    cr_expect(fabs(sum / 1000 - 0.5) < 0.046, "%g", sum / 1000);
}

Test(expr, what_depends_on_the_frame)
{
    static const struct {
        const char *text;
        bool timed;
    } rows[] = {{"1 + width", false}, {"t", true},     {"frame", true},
                {"wave", true},       {"gain", false}, {"random(3)", false}};

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        result r = evaluate(rows[i].text, 1);

        cr_expect(r.status == LB_OK && r.timed == rows[i].timed, "%s", rows[i].text);
        drop(&r);
    }
    cr_expect(isinf(number("1 / 0")) && isnan(number("sqrt(-1)")));
}

Test(expr, faults)
{
    static const struct {
        const char *text;
        int column;
        const char *message;
    } rows[] = {
        {"", 1, "the expression ends where a value should be"},
        {"1 +", 4, "the expression ends where a value should be"},
        {"1 + * 2", 5, "'*' is here where a value should be"},
        {"(1 + 2", 7, "the expression ends where ')' should be"},
        {"(1 2)", 4, "')' should be here"},
        {"1 2", 3, "the expression should end here"},
        {"1 = 2", 3, "'=' has no meaning in an expression; == compares"},
        {"1 & 2", 3, "'&' has no meaning in an expression; && is 'and'"},
        {"on | on", 4, "'|' has no meaning in an expression; || is 'or'"},
        {"2 ^ 3", 3, "'^' has no meaning in an expression; pow(x, y) is a power"},
        {"zz + § b", 1, "unknown name 'zz'"},
        {"1 § 2", 3, "'§' has no meaning in an expression"},
        {"2x", 1, "'2x' is not a number"},
        {"1e999", 1, "'1e999' is not a number"},
        {"1.2.3", 4, "the expression should end here"},
        {"gian * 2", 1, "unknown name 'gian'; did you mean 'gain'?"},
        {"hot-gian", 1, "unknown name 'hot-gian'; did you mean 'hot-gain'?"},
        {"hot - gain", 1, "unknown name 'hot'"},
        {"hut-go", 1, "unknown name 'hut'"},
        {"smothstep(0, 1, t)", 1, "unknown function 'smothstep'; did you mean 'smoothstep'?"},
        {"sin()", 1, "sin needs a value in its brackets"},
        {"sin(1, 2)", 1, "sin takes 1 value, not 2"},
        {"mix(1, 2)", 1, "mix takes 3 values, not 2"},
        {"atan(1, 2, 3)", 1, "atan takes 1 to 2 values, not 3"},
        {"noise(1, 2, 3, 4)", 1, "noise takes 1 to 3 values, not 4"},
        {"max(1, 2, 3, 4, 5)", 1, "max has more values than any function takes"},
        {"noise(v2)", 1, "noise takes single numbers, not a vec2"},
        {"sin(name)", 1, "sin takes numbers, not text"},
        {"sin(on)", 1, "sin takes numbers, not true or false"},
        {"max(v2, v3)", 1, "max cannot go with both a vec2 and a vec3"},
        {"dot(v3, 2)", 1, "dot takes two vectors of one size"},
        {"vec2(1, 2, 3)", 1, "vec2 takes 2 numbers, not 3"},
        {"vec3(v2)", 1, "vec3 takes 3 numbers, not 2"},
        {"vec2(name, 1)", 1, "vec2 takes numbers, not text"},
        {"v2 + v3", 4, "'+' cannot go with a vec2 and a vec3"},
        {"name + v2", 6, "'+' cannot go with text and a vec2"},
        {"name - 1", 6, "'-' cannot go with text and a number"},
        {"on + name", 4, "'+' cannot go with true or false and text"},
        {"text(v2)", 1, "text takes single numbers, not a vec2"},
        {"text(1, 2, 3, 4)", 1, "text takes 1 to 3 values, not 4"},
        {"text(1, 0)", 1, "text() is asked for 0 digits; it takes 1 to 30"},
        {"text(1, 2.5)", 1, "text() is asked for 2.5 digits; it takes 1 to 30"},
        {"text(1, 0/0)", 1, "text() is asked for .nan digits; it takes 1 to 30"},
        {"text(1, 1, 16)", 1, "text() is asked for 16 decimals; it takes 0 to 15"},
        {"'a' + 1 / 0", 5, "a number that goes into text here is .inf"},
        {"text(sqrt(-1), 4)", 1, "a number that goes into text here is .nan"},
        {"name * name", 6, "'*' cannot go with text and text"},
        {"on + 1", 4, "'+' cannot go with true or false and a number"},
        {"1 < v2", 3, "'<' cannot go with a number and a vec2"},
        {"1 == on", 3, "'==' cannot go with a number and true or false"},
        {"1 && on", 3, "'&&' cannot go with a number and true or false"},
        {"!gain", 1, "'!' takes true or false, not a number"},
        {"-name", 1, "'-' takes numbers, not text"},
        {"gain ? 1 : 2", 6, "'?' takes true or false before it, not a number"},
        {"on ? 1 : name", 4, "'?' chooses between a number and text; both must be of one type"},
        {"on ? 1", 7, "the expression ends where ':' should be"},
        {"gain.x", 6, "a number has no components"},
        {"v2.z", 4, "a vec2 has no component 'z'"},
        {"v4.xg", 4, "a vec4 has no component 'xg'"},
        {"v4.", 4, "x, y, z, w or r, g, b, a should be here"},
        {"v4.xyzwx", 4, "x, y, z, w or r, g, b, a should be here"},
        {"'open", 1, "this text has no closing '"},
        {"été + 1", 1, "'é' has no meaning in an expression"},
        {"'é' + gian", 7, "unknown name 'gian'; did you mean 'gain'?"},
    };

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        result r = evaluate(rows[i].text, 1);
        char wanted[160];

        snprintf(wanted, sizeof wanted, "f:1:%d: error: %s\n", rows[i].column, rows[i].message);
        cr_expect(r.status == LB_INVALID, "'%s'", rows[i].text);
        cr_expect_str_eq(r.messages, wanted, "'%s': %s", rows[i].text, r.messages);
        drop(&r);
    }
}

static void expect_limit(const char *before, const char *repeated, int times, const char *after,
                         const char *message)
{
    lb_text text = {0};
    result r;

    lb_text_put(&text, before);
    for (int i = 0; i < times; i++)
        lb_text_put(&text, repeated);
    lb_text_put(&text, after);
    r = evaluate(text.bytes, 1);
    cr_expect((r.status == LB_OK) == !message, "%.20s...: %s", text.bytes, r.messages);
    if (message)
        cr_expect(r.status == LB_LIMIT && strstr(r.messages, message), "%s", r.messages);
    drop(&r);
    lb_text_clear(&text);
}

Test(expr, limits)
{
    expect_limit("", "(", 60, "1))))))))))))))))))))))))))))))))))))))))))))))))))))))))))))",
                 NULL);
    expect_limit("", "(", 4000, "", "nested too deep");
    expect_limit("", "-", 4000, "1", "nested too deep");
    expect_limit("", "!", 4000, "true", "nested too deep");
    expect_limit("", "on ? 1 : ", 60, "1", NULL);
    expect_limit("", "on ? 1 : ", 500, "1", "nested too deep");
    expect_limit("", "1 + ", 2000, "1", NULL);
    expect_limit("", "1 + ", 3000, "1", "longer than 8192 bytes");
    expect_limit("", "vec4(1, 2, 3, ", 44, "3", "more than 128 values at a time");
    expect_limit("", "name + ", 160, "''", NULL);
    expect_limit("", "name + ", 1000, "''", "over 65536 bytes of text");
    expect_limit("", "gain-", 1000, "1", NULL); /* many dashes: names are looked up in good time */
}

Test(expr, no_memory)
{
    lb_yaml_node scalar = {.kind = LB_YAML_SCALAR, .text = "name + 'a' + (on ? 'b' : name)"};
    int failed = 0;

    scalar.length = strlen(scalar.text);
    for (int64_t n = 1; n < 100; n++) {
        lb_arena *arena = lb_arena_new();
        lb_expr_env env = {.arena = arena};
        lb_expr expr;
        lb_datum value;
        lb_status status;

        lb_memory_fail_at(n);
        status = lb_expr_compile(NULL, &scope, &scalar, arena, &expr);
        if (status == LB_OK)
            status = lb_expr_run(&expr, &env, &value);
        if (lb_memory_fail_left() > 0)
            n = 100;
        else
            failed++;
        lb_memory_fail_at(0);
        cr_expect(status == (n == 100 ? LB_OK : LB_MEMORY), "%d", status);
        lb_arena_free(&arena);
    }
    cr_expect(failed > 0);
}
