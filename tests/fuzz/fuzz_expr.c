/* tests/fuzz/fuzz_expr.c: random expressions and easing functions, by libFuzzer. Not part of the
 * build.
 *
 * In the repository's root, with clang-14, libfuzzer-14-dev and libclang-rt-14-dev:
 *
 *   flags="-std=c11 -D_GNU_SOURCE -DLB_NO_CLONES -I. -g -O1 -fsanitize=fuzzer,address,undefined"
 *   clang-14 $flags -o /tmp/fuzz_expr tests/fuzz/fuzz_expr.c engine/base/[a-z]*.c lang/expr*.c \
 *       lang/{easing,yaml*,spots,place,scalar,name_map}.c \
 *       $(pkg-config --cflags --libs yaml-0.1 libxxhash libutf8proc) -lm -lpthread
 *   mkdir -p /tmp/expressions && cd /tmp/expressions
 *   grep -v '^#' ROOT/tests/data/expressions/values.tsv | cut -f1 | split -l 1 -a 4
 *   /tmp/fuzz_expr -max_total_time=60 -rss_limit_mb=2000 -timeout=5 -max_len=2000 /tmp/expressions
 *
 * What it finds becomes a test in tests/lang. */
#include <math.h>
#include <string.h>

#include "lang/easing.h"
#include "lang/expr.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static const struct known {
    const char *name;
    lb_meaning meaning;
} names[] = {
    {"frame", {.what = LB_MEANS_FRAME}},
    {"t", {.what = LB_MEANS_TIME}},
    {"gain", {LB_MEANS_CONSTANT, {LB_DATUM_NUMBERS, 1, {2.5}, NULL}, 0}},
    {"hot-gain", {LB_MEANS_CONSTANT, {LB_DATUM_NUMBERS, 1, {0.5}, NULL}, 0}},
    {"on", {LB_MEANS_CONSTANT, {LB_DATUM_BOOL, 1, {1}, NULL}, 0}},
    {"name", {LB_MEANS_CONSTANT, {LB_DATUM_TEXT, 1, {0}, "kiln"}, 0}},
    {"v2", {LB_MEANS_CONSTANT, {LB_DATUM_NUMBERS, 2, {0.25, -0.5}, NULL}, 0}},
    {"v3", {LB_MEANS_CONSTANT, {LB_DATUM_NUMBERS, 3, {1, 2, 3}, NULL}, 0}},
    {"v4", {LB_MEANS_CONSTANT, {LB_DATUM_NUMBERS, 4, {0.1, 0.2, 0.3, 0.4}, NULL}, 0}},
    {"wave", {LB_MEANS_PARAM, {LB_DATUM_NUMBERS, 1, {0}, NULL}, 0}},
    {"broken", {.what = LB_MEANS_BROKEN}},
};
#define NAME_COUNT (sizeof names / sizeof names[0])

static lb_status find(void *context, const char *name, size_t length, lb_loc loc, lb_meaning *out)
{
    (void)context, (void)loc;
    for (size_t i = 0; i < NAME_COUNT; i++)
        if (strlen(names[i].name) == length && memcmp(names[i].name, name, length) == 0)
            *out = names[i].meaning;
    return LB_OK;
}

static bool has(void *context, const char *name, size_t length)
{
    lb_meaning meaning = {.what = LB_MEANS_NOTHING};

    return find(context, name, length, LB_NOWHERE, &meaning) == LB_OK &&
           meaning.what != LB_MEANS_NOTHING;
}

static const char *nearest(void *context, const char *name)
{
    (void)context;
    return name[0] == 'g' ? "gain" : NULL;
}

static lb_status wave(void *context, int32_t slot, lb_datum *out)
{
    (void)slot;
    *out = (lb_datum){LB_DATUM_NUMBERS, 1, {*(double *)context}, NULL};
    return LB_OK;
}

static void expect(bool is_true)
{
    if (!is_true)
        __builtin_trap();
}

/* The type is what was promised, and what is not finite has its origin. */
static void run(const lb_expr *expr, lb_arena *arena, double frame)
{
    const lb_expr_op *blamed = NULL;
    lb_expr_env env = {.frame = frame,
                       .time_s = (frame - 1) / 24,
                       .arena = arena,
                       .context = &frame,
                       .param = wave,
                       .blamed = &blamed};
    lb_datum value = {0}, again = {0};
    bool is_finite = true;
    lb_status status = lb_expr_run(expr, &env, &value);

    expect(status == LB_OK || status == LB_LIMIT || status == LB_INVALID);
    env.blamed = NULL;
    expect(lb_expr_run(expr, &env, &again) == status);
    if (status != LB_OK)
        return;
    expect(value.kind == expr->kind && value.count == expr->count);
    for (int32_t i = 0; value.kind == LB_DATUM_NUMBERS && i < value.count; i++) {
        is_finite = is_finite && isfinite(value.numbers[i]);
        expect(memcmp(&value.numbers[i], &again.numbers[i], sizeof(double)) == 0);
    }
    expect(is_finite == !blamed);
    if (blamed)
        expect(lb_expr_place(expr, blamed).line == 1);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static const lb_scope scope = {NULL, has, find, nearest};
    lb_diag *diag = lb_diag_new();
    lb_arena *arena = lb_arena_new();
    char *text = arena ? lb_arena_strndup(arena, (const char *)data, size) : NULL;
    lb_yaml_node scalar = {.is_exact = true};
    lb_easing easing;
    lb_expr expr;

    if (diag && text) {
        scalar.text = text;
        scalar.length = strlen(text);
        scalar.inner = scalar.loc = (lb_loc){"f", 1, 1, (int32_t)scalar.length};
        if (lb_expr_compile(diag, &scope, &scalar, arena, &expr) == LB_OK) {
            run(&expr, arena, 1);
            run(&expr, arena, 12.5);
            run(&expr, arena, -1e15);
        }
        if (lb_easing_read(diag, &scalar, arena, &easing) == LB_OK)
            for (int i = -4; i <= 8; i++)
                expect(!isnan(lb_easing_at(&easing, i / 4.0)));
    }
    lb_arena_free(&arena);
    lb_diag_free(&diag);
    return 0;
}
