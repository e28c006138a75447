/* tests/lang/test_expr_random.c: lang/expr.h against a plain evaluator of its own: random trees are
 * worked out node by node here, and written as text for the program. Only what IEEE 754 or GLSL
 * defines to the bit is in them (The OpenGL Shading Language 4.60, chapter 8), so the answers are
 * the same to the bit. */
#include <criterion/criterion.h>
#include <math.h>

#include "engine/base/random.h"
#include "engine/base/text.h"
#include "lang/expr.h"
#include "tests/lang/messages.h"

#define FRAME 37.25

/* Numbers have 1 to 4 components; a truth is 0. */
typedef struct worth {
    int size;
    double c[4];
} worth;

typedef struct maker {
    uint32_t seed, next;
    bool is_literal; /* writes the frame as the number that it is: then all is constant */
    lb_text text;
} maker;

static uint32_t dice(maker *m, uint32_t sides)
{
    return lb_random_u32(m->seed, m->next++, 0, 0) % sides;
}

/* --- GLSL's formulas --- */

static double do_abs(double x)
{
    return x < 0 ? -x : x == 0 ? 0 : x;
}

static double do_fract(double x)
{
    return x - floor(x);
}

static double do_sign(double x)
{
    return isnan(x) ? x : (double)((x > 0) - (x < 0));
}

static double do_sqrt(double x)
{
    return sqrt(x);
}

static double do_floor(double x)
{
    return floor(x);
}

static double do_ceil(double x)
{
    return ceil(x);
}

static double do_mod(double x, double y)
{
    return x - y * floor(x / y);
}

static double do_min(double x, double y)
{
    return y < x ? y : x;
}

static double do_max(double x, double y)
{
    return x < y ? y : x;
}

static double do_step(double x, double y)
{
    return y < x ? 0 : 1;
}

static double do_clamp(double x, double y, double z)
{
    return do_min(do_max(x, y), z);
}

static double do_mix(double x, double y, double z)
{
    return x * (1 - z) + y * z;
}

static double do_smooth(double x, double y, double z)
{
    double t = do_clamp((z - x) / (y - x), 0, 1);

    return t * t * (3 - 2 * t);
}

static const struct function {
    const char *name;
    double (*of1)(double);
    double (*of2)(double, double);
    double (*of3)(double, double, double);
} functions[] = {
    {"abs", do_abs, NULL, NULL},           {"fract", do_fract, NULL, NULL},
    {"sign", do_sign, NULL, NULL},         {"sqrt", do_sqrt, NULL, NULL},
    {"floor", do_floor, NULL, NULL},       {"ceil", do_ceil, NULL, NULL},
    {"mod", NULL, do_mod, NULL},           {"min", NULL, do_min, NULL},
    {"max", NULL, do_max, NULL},           {"step", NULL, do_step, NULL},
    {"clamp", NULL, NULL, do_clamp},       {"mix", NULL, NULL, do_mix},
    {"smoothstep", NULL, NULL, do_smooth},
};
#define FUNCTION_COUNT (sizeof functions / sizeof functions[0])

/* --- trees: worked out while they are written --- */

/* How tight what stands around holds: 0 ?:, 1 ||, 2 &&, 3 ==, 4 <, 5 +, 6 *, 7 sign, 8 value. */
static worth number(maker *m, int size, int depth, int around);
static worth truth(maker *m, int depth, int around);

/* A bracket if one is needed, and sometimes if not. */
static bool open(maker *m, int own, int around)
{
    bool is_needed = own < around || dice(m, 6) == 0;

    if (dice(m, 4) == 0)
        lb_text_put(&m->text, " ");
    if (is_needed)
        lb_text_put(&m->text, "(");
    return is_needed;
}

static void shut(maker *m, bool is_open)
{
    if (is_open)
        lb_text_put(&m->text, ")");
}

static void put(maker *m, const char *word)
{
    bool is_wide = dice(m, 2) == 0;

    lb_text_printf(&m->text, "%s%s%s", is_wide ? " " : "", word, is_wide ? "\n " : "");
}

static double part(const worth *w, int i)
{
    return w->c[w->size == 1 ? 0 : i];
}

static worth leaf(maker *m, int size)
{
    static const char *const numbers[] = {"0",    "1",     "2",   "0.5", "3.25",
                                          "1e-3", "1e300", "100", "7"};
    char buffer[32];
    worth w = {.size = size};

    if (size > 1) {
        lb_text_printf(&m->text, "vec%d(", size);
        for (int i = 0; i < size; i++) {
            w.c[i] = number(m, 1, 0, 0).c[0];
            lb_text_put(&m->text, i + 1 < size ? "," : ")");
        }
        return w;
    }
    if (dice(m, 3) == 0) {
        w.c[0] = FRAME;
        lb_text_put(&m->text, m->is_literal ? lb_text_from_number(FRAME, buffer) : "frame");
    } else {
        const char *text = numbers[dice(m, sizeof numbers / sizeof numbers[0])];

        lb_text_number(text, strlen(text), &w.c[0]);
        lb_text_put(&m->text, text);
    }
    return w;
}

static worth sum_or_product(maker *m, int size, int depth, int around)
{
    static const char signs[] = "+-*/%";
    uint32_t which = dice(m, 5), narrow = dice(m, 4);
    char word[2] = {signs[which], 0};
    int own = which < 2 ? 5 : 6;
    bool is_open = open(m, own, around);
    worth w = {.size = size}, a, b;

    a = number(m, narrow == 0 ? 1 : size, depth - 1, own);
    put(m, word);
    b = number(m, narrow == 1 ? 1 : size, depth - 1, own + 1);
    for (int i = 0; i < size; i++) {
        double x = part(&a, i), y = part(&b, i);

        w.c[i] = which == 0   ? x + y
                 : which == 1 ? x - y
                 : which == 2 ? x * y
                 : which == 3 ? x / y
                              : do_mod(x, y);
    }
    shut(m, is_open);
    return w;
}

static worth call(maker *m, int size, int depth)
{
    const struct function *f = &functions[dice(m, FUNCTION_COUNT)];
    int count = f->of1 ? 1 : f->of2 ? 2 : 3, full = (int)dice(m, (uint32_t)count);
    worth w = {.size = size}, args[3] = {{0}};

    lb_text_printf(&m->text, "%s(", f->name);
    for (int i = 0; i < count; i++) {
        args[i] = number(m, i == full || dice(m, 2) ? size : 1, depth - 1, 0);
        put(m, i + 1 < count ? "," : ")");
    }
    for (int i = 0; i < size; i++)
        w.c[i] = f->of1   ? f->of1(part(&args[0], i))
                 : f->of2 ? f->of2(part(&args[0], i), part(&args[1], i))
                          : f->of3(part(&args[0], i), part(&args[1], i), part(&args[2], i));
    return w;
}

/* dot, length, or a component of a vector. */
static worth from_vector(maker *m, int depth, int around)
{
    int size = 2 + (int)dice(m, 3);
    uint32_t which = dice(m, 3);
    worth w = {.size = 1}, a, b;

    if (which == 2) {
        uint32_t i = dice(m, (uint32_t)size);
        bool is_open = open(m, 8, around);

        a = number(m, size, depth - 1, 8);
        lb_text_printf(&m->text, ".%c", (dice(m, 2) ? "xyzw" : "rgba")[i]);
        w.c[0] = a.c[i];
        shut(m, is_open);
        return w;
    }
    lb_text_put(&m->text, which ? "dot(" : "length(");
    a = b = number(m, size, depth - 1, 0);
    if (which) {
        put(m, ",");
        b = number(m, size, depth - 1, 0);
    }
    put(m, ")");
    for (int i = 0; i < size; i++)
        w.c[0] += a.c[i] * b.c[i];
    w.c[0] = which ? w.c[0] : sqrt(w.c[0]);
    return w;
}

static worth choose(maker *m, int size, int depth, int around)
{
    bool is_open = open(m, 0, around);
    worth c = truth(m, depth - 1, 1), a, b;

    put(m, "?");
    a = size ? number(m, size, depth - 1, 0) : truth(m, depth - 1, 0);
    put(m, ":");
    b = size ? number(m, size, depth - 1, 0) : truth(m, depth - 1, 0);
    shut(m, is_open);
    return c.c[0] != 0 ? a : b;
}

static worth negative(maker *m, int size, int depth, int around)
{
    bool is_open = open(m, 7, around);
    worth w;

    lb_text_put(&m->text, dice(m, 4) ? "-" : "- ");
    w = number(m, size, depth - 1, 7);
    for (int i = 0; i < size; i++)
        w.c[i] = -w.c[i];
    shut(m, is_open);
    return w;
}

static worth number(maker *m, int size, int depth, int around)
{
    uint32_t which = depth > 0 ? dice(m, 9) : 99;

    if (which < 4)
        return sum_or_product(m, size, depth, around);
    if (which < 5)
        return choose(m, size, depth, around);
    if (which < 6)
        return negative(m, size, depth, around);
    if (which < 8)
        return size == 1 && which == 7 ? from_vector(m, depth, around) : call(m, size, depth);
    return leaf(m, size);
}

static worth compare(maker *m, int depth, int around)
{
    static const char *const signs[] = {"<", "<=", ">", ">=", "==", "!="};
    uint32_t which = dice(m, 6);
    int own = which < 4 ? 4 : 3, size = which < 4 ? 1 : 1 + (int)dice(m, 4);
    bool is_open = open(m, own, around), is_same = true;
    worth w = {0}, a, b;

    a = number(m, size, depth - 1, own);
    put(m, signs[which]);
    b = number(m, size, depth - 1, own + 1);
    for (int i = 0; i < size; i++)
        is_same = is_same && a.c[i] == b.c[i];
    w.c[0] = which == 0   ? a.c[0] < b.c[0]
             : which == 1 ? a.c[0] <= b.c[0]
             : which == 2 ? a.c[0] > b.c[0]
             : which == 3 ? a.c[0] >= b.c[0]
             : which == 4 ? is_same
                          : !is_same;
    shut(m, is_open);
    return w;
}

static worth truth(maker *m, int depth, int around)
{
    uint32_t which = depth > 0 ? dice(m, 8) : 99;
    worth w = {0}, a, b;
    bool is_open;

    if (which < 4)
        return compare(m, depth, around);
    if (which == 4)
        return choose(m, 0, depth, around);
    if (which == 5) {
        is_open = open(m, 7, around);
        lb_text_put(&m->text, "!");
        w.c[0] = truth(m, depth - 1, 7).c[0] == 0;
    } else if (which < 8) {
        int own = which == 6 ? 1 : 2;

        is_open = open(m, own, around);
        a = truth(m, depth - 1, own);
        put(m, own == 1 ? "||" : "&&");
        b = truth(m, depth - 1, own + 1);
        w.c[0] = own == 1 ? a.c[0] != 0 || b.c[0] != 0 : a.c[0] != 0 && b.c[0] != 0;
    } else {
        is_open = false;
        w.c[0] = dice(m, 2);
        lb_text_put(&m->text, w.c[0] != 0 ? "true" : "false");
    }
    shut(m, is_open);
    return w;
}

/* --- the program's side --- */

static bool has(void *context, const char *name, size_t length)
{
    (void)context;
    return length == 5 && memcmp(name, "frame", 5) == 0;
}

static lb_status find(void *context, const char *name, size_t length, lb_loc loc, lb_meaning *out)
{
    (void)loc;
    if (has(context, name, length))
        out->what = LB_MEANS_FRAME;
    return LB_OK;
}

static const char *nearest(void *context, const char *name)
{
    (void)context, (void)name;
    return NULL;
}

static bool is_same_number(double a, double b)
{
    return memcmp(&a, &b, sizeof a) == 0 || (isnan(a) && isnan(b));
}

static int check_one(uint32_t seed, bool is_literal, bool is_truth)
{
    static const lb_scope scope = {NULL, has, find, nearest};
    maker m = {.seed = seed, .is_literal = is_literal};
    int size = 1 + (int)dice(&m, 4), depth = 1 + (int)dice(&m, 6), bad = 0;
    worth want = is_truth ? truth(&m, depth, 0) : number(&m, size, depth, 0);
    lb_diag *diag = lb_diag_new();
    lb_arena *arena = lb_arena_new();
    lb_yaml_node scalar = {.text = m.text.bytes, .length = m.text.length};
    const lb_expr_op *blamed = NULL;
    lb_expr_env env = {.frame = FRAME, .arena = arena, .diag = diag, .blamed = &blamed};
    lb_expr expr;
    lb_datum got = {0};
    lb_status status = lb_expr_compile(diag, &scope, &scalar, arena, &expr);
    bool is_finite = true;

    cr_assert(!m.text.failed);
    if (status == LB_OK)
        status = lb_expr_run(&expr, &env, &got);
    if (status != LB_OK) {
        bad = status != LB_LIMIT;
    } else if (is_truth) {
        bad = got.kind != LB_DATUM_BOOL || got.numbers[0] != want.c[0];
    } else {
        bad = got.kind != LB_DATUM_NUMBERS || got.count != size;
        for (int i = 0; i < size; i++) {
            bad += !is_same_number(got.numbers[i], want.c[i]);
            is_finite = is_finite && isfinite(want.c[i]);
        }
        bad += is_finite != !blamed;
        bad += is_finite && is_literal && expr.op_count > 1 && !strpbrk(scalar.text, "?&|%/") &&
               !strstr(scalar.text, "1e300") && !strstr(scalar.text, "s") &&
               !strstr(scalar.text, "mo"); /* all is constant, so it was folded */
    }
    if (bad) {
        char *messages = messages_of(diag);

        cr_expect(false, "%s\n%.17g, not %.17g\n%s", m.text.bytes, got.numbers[0], want.c[0],
                  messages);
        free(messages);
    }
    lb_text_clear(&m.text);
    lb_arena_free(&arena);
    lb_diag_free(&diag);
    return bad != 0;
}

Test(expr_random, trees)
{
    int bad = 0;

    for (uint32_t seed = 0; seed < 20000 && bad < 5; seed++)
        bad += check_one(seed, seed & 1, seed & 2);
}
