/* tests/lang/test_yaml.c: trees, places, limits and faults of lang/yaml.h. What YAML means is
 * checked in test_yaml_suite.c; here are the things that the suite leaves to the program. */
#include <criterion/criterion.h>
#include <math.h>

#include "engine/base/text.h"
#include "lang/yaml.h"
#include "tests/lang/messages.h"

typedef struct reading {
    lb_diag *diag;
    lb_arena *arena;
    lb_yaml_node *root;
    lb_status status;
    char *messages;
} reading;

static reading read_bytes(const char *text, size_t bytes)
{
    reading r = {.diag = lb_diag_new(), .arena = lb_arena_new()};
    const char *file = lb_diag_add_source(r.diag, "f", text, bytes);

    r.status = lb_yaml_read(r.diag, file, text, bytes, r.arena, &r.root);
    r.messages = messages_of(r.diag);
    return r;
}

static reading read_text(const char *text)
{
    return read_bytes(text, strlen(text));
}

static void drop(reading *r)
{
    free(r->messages);
    lb_arena_free(&r->arena);
    lb_diag_free(&r->diag);
}

/* YAML 1.2.2, section 10.3.2, the table of the core schema and example 10.9. */
Test(yaml, core_schema)
{
    static const struct {
        const char *text;
        lb_scalar_type type;
        double number;
    } rows[] = {
        {"null", LB_SCALAR_NULL, 0},
        {"Null", LB_SCALAR_NULL, 0},
        {"NULL", LB_SCALAR_NULL, 0},
        {"~", LB_SCALAR_NULL, 0},
        {"", LB_SCALAR_NULL, 0},
        {"true", LB_SCALAR_BOOL, 1},
        {"True", LB_SCALAR_BOOL, 1},
        {"TRUE", LB_SCALAR_BOOL, 1},
        {"false", LB_SCALAR_BOOL, 0},
        {"False", LB_SCALAR_BOOL, 0},
        {"FALSE", LB_SCALAR_BOOL, 0},
        {"0", LB_SCALAR_NUMBER, 0},
        {"0o7", LB_SCALAR_NUMBER, 7},
        {"0x3A", LB_SCALAR_NUMBER, 58},
        {"-19", LB_SCALAR_NUMBER, -19},
        {"0.", LB_SCALAR_NUMBER, 0},
        {"-0.0", LB_SCALAR_NUMBER, -0.0},
        {".5", LB_SCALAR_NUMBER, 0.5},
        {"+12e03", LB_SCALAR_NUMBER, 12000},
        {"-2E+05", LB_SCALAR_NUMBER, -200000},
        {".inf", LB_SCALAR_NUMBER, INFINITY},
        {"-.Inf", LB_SCALAR_NUMBER, -INFINITY},
        {"+.INF", LB_SCALAR_NUMBER, INFINITY},
        {"yes", LB_SCALAR_TEXT, 0}, /* YAML 1.1 had these as true and false */
        {"no", LB_SCALAR_TEXT, 0},
        {"on", LB_SCALAR_TEXT, 0},
        {"tRUE", LB_SCALAR_TEXT, 0},
        {"nULL", LB_SCALAR_TEXT, 0},
        {"12:30", LB_SCALAR_TEXT, 0},
        {"1_000", LB_SCALAR_TEXT, 0},
        {"0b1", LB_SCALAR_TEXT, 0},
        {"1 2", LB_SCALAR_TEXT, 0},
        {".", LB_SCALAR_TEXT, 0},
        {"-", LB_SCALAR_TEXT, 0},
        {"e5", LB_SCALAR_TEXT, 0},
        {"inf", LB_SCALAR_TEXT, 0},
        {"nan", LB_SCALAR_TEXT, 0},
        {"#ff7a1f", LB_SCALAR_TEXT, 0},
    };
    double number;

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        lb_scalar_type type = lb_scalar_resolve(rows[i].text, strlen(rows[i].text), &number);

        cr_expect(type == rows[i].type && number == rows[i].number, "'%s': %d %g", rows[i].text,
                  type, number);
    }
    cr_expect(lb_scalar_resolve(".NAN", 4, &number) == LB_SCALAR_NUMBER && isnan(number));
}

static void expect_loc(const char *what, lb_loc loc, int32_t line, int32_t column, int32_t length)
{
    cr_expect(loc.line == line && loc.column == column && loc.length == length,
              "%s: %d:%d, %d long, not %d:%d, %d", what, loc.line, loc.column, loc.length, line,
              column, length);
}

/* Columns count code points: é is one, the kiln two lines down too. */
Test(yaml, places)
{
    reading r = read_text("é: &a 'wörter'\n"
                          "b: !!str {}\n"
                          "c: \"t\\x41b\"\n"
                          "d: |\n"
                          "  text\n"
                          "e: [1, 窯, *a]\n"
                          "f:\n"
                          "  g: two\n"
                          "    lines\n");
    lb_yaml_node *root = r.root;

    cr_assert(root, "%s", r.messages);
    expect_loc("key", root->entries[0].key->loc, 1, 1, 1);
    expect_loc("quoted with an anchor", lb_yaml_find(root, "é")->loc, 1, 7, 8);
    expect_loc("its inside", lb_yaml_find(root, "é")->inner, 1, 8, 6);
    expect_loc("part of it", lb_yaml_place(lb_yaml_find(root, "é"), 1, 3), 1, 9, 1);
    cr_expect(!lb_yaml_find(root, "c")->is_exact);
    expect_loc("escaped", lb_yaml_place(lb_yaml_find(root, "c"), 1, 2), 3, 6, 4);
    expect_loc("block", lb_yaml_find(root, "d")->loc, 4, 4, 1);
    expect_loc("part of it", lb_yaml_place(lb_yaml_find(root, "d"), 1, 3), 5, 4, 2);
    cr_expect_str_eq(lb_yaml_find(root, "d")->text, "text\n");
    expect_loc("flow list", lb_yaml_find(root, "e")->loc, 6, 4, 10);
    expect_loc("in it", lb_yaml_find(root, "e")->items[1]->loc, 6, 8, 1);
    cr_expect(lb_yaml_find(root, "e")->items[2] == lb_yaml_find(root, "é"));
    expect_loc("block mapping", lb_yaml_find(root, "f")->loc, 8, 3, 1);
    expect_loc("two lines", lb_yaml_find(lb_yaml_find(root, "f"), "g")->loc, 8, 6, 3);
    cr_expect_str_eq(lb_yaml_find(lb_yaml_find(root, "f"), "g")->text, "two lines");
    drop(&r);
}

/* yaml.org/type/merge.html: own keys win, then earlier mappings of the list. */
Test(yaml, merge_keys)
{
    reading r = read_text("base: &base {a: 1, b: 2}\n"
                          "more: &more {b: 20, c: 30}\n"
                          "one: {<<: *base, a: 9}\n"
                          "two: {<<: [*base, *more]}\n"
                          "quoted: {\"<<\": 5}\n");
    lb_yaml_node *one, *two;

    cr_assert(r.status == LB_OK && r.root, "%s", r.messages);
    one = lb_yaml_find(r.root, "one");
    two = lb_yaml_find(r.root, "two");
    cr_expect(one->count == 2 && lb_yaml_find(one, "a")->number == 9 &&
              lb_yaml_find(one, "b")->number == 2);
    cr_expect(two->count == 3 && lb_yaml_find(two, "a")->number == 1 &&
              lb_yaml_find(two, "b")->number == 2 && lb_yaml_find(two, "c")->number == 30);
    cr_expect(lb_yaml_find(lb_yaml_find(r.root, "quoted"), "<<")->number == 5);
    drop(&r);
}

/* YAML 1.2.2, section 7.1: an anchor may be given again; an alias means the latest before it. */
Test(yaml, anchor_again)
{
    reading r = read_text("[&a 1, *a, &a 2, *a]");

    cr_assert(r.root && r.root->count == 4, "%s", r.messages);
    cr_expect(r.root->items[1]->number == 1 && r.root->items[3]->number == 2);
    drop(&r);
}

Test(yaml, faults)
{
    static const struct {
        const char *text, *messages;
        bool has_tree;
    } rows[] = {
        {"a: 1\n\"a\": 2\n", "f:2:1: error: 'a' is given twice\nf:1:1: note: first here\n", true},
        {"a: *b\n", "f:1:4: error: no anchor '&b' before this alias\n", true},
        {"a: &x [*x]\n", "f:1:8: error: alias '*x' stands inside its anchor\n", true},
        {"a: 1\n---\nb: 2\n",
         "f:2:1: error: a second document begins here; a graph is one document\n", false},
        {"", "f: error: the file is empty; a graph begins with 'lampblack: 1'\n", false},
        {"# nothing\n", "f: error: the file is empty; a graph begins with 'lampblack: 1'\n", false},
        {"? [a]\n: 1\n", "f:1:3: error: a key is one word, not a list\n", true},
        {"a: !own 1\n", "f:1:4: error: the tag '!own' has no meaning here\n", true},
        {"a: {<<: 1}\n", "f:1:9: error: '<<' takes a mapping or a list of mappings\n", true},
        {"a:\n\tb: 1\n", "f:2:1: error: not YAML: a tab cannot indent; use spaces\n", false},
        {"a: [1, 2\nb: 3\n",
         "f:2:2: error: not YAML: did not find expected ',' or ']'\n"
         "f:1:4: note: while parsing a flow sequence that begins here\n",
         false},
        {"a: \"open\n\n",
         "f:1:9: error: not YAML: found unexpected end of stream at the end of the file\n"
         "f:1:4: note: while scanning a quoted scalar that begins here\n",
         false},
        {"a: b\nc\n",
         "f:2:2: error: not YAML: could not find expected ':' at the end of the file\n"
         "f:2:1: note: while scanning a simple key that begins here\n",
         false},
        {"a: b\n  c: \xff\n", "f:2:6: error: this is not UTF-8 text\n", false},
        {"\xff\xfe"
         "a",
         "f:1:1: error: this is not UTF-8 text\n", false},
        {"a: \"\\0\"\n", "f:1:4: error: text holds a NUL character\n", true},
        {"a: b\n\nc: \x07\n", "f:3:4: error: character U+0007 is not allowed in YAML\n", false},
    };

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        reading r = read_text(rows[i].text);

        cr_expect_str_eq(r.messages, rows[i].messages, "row %zu says:\n%s", i, r.messages);
        cr_expect(r.status != LB_OK && !r.root == !rows[i].has_tree, "row %zu", i);
        drop(&r);
    }
}

static char *repeat(const char *before, const char *text, int times, const char *after)
{
    lb_text made = {0};

    lb_text_put(&made, before);
    for (int i = 0; i < times; i++)
        lb_text_put(&made, text);
    lb_text_put(&made, after);
    cr_assert(!made.failed);
    return made.bytes;
}

static void expect_limit(char *text, lb_status status, const char *message)
{
    reading r = read_text(text);

    cr_expect(r.status == status, "%d: %s", r.status, r.messages);
    cr_expect(strstr(r.messages, message), "%s", r.messages);
    cr_expect((r.root != NULL) == (status == LB_OK));
    drop(&r);
    lb_free(text);
}

Test(yaml, limits)
{
    lb_text bomb = {0};

    expect_limit(repeat("", "[", 128, ""), LB_INVALID, "not YAML");
    expect_limit(repeat("", "[", 200000, ""), LB_LIMIT, "nested more than 128 levels deep");
    expect_limit(repeat("", "- ", 129, "x"), LB_LIMIT, "nested more than 128 levels deep");
    expect_limit(repeat("[", "x, ", 249998, "x]"), LB_OK, "");
    expect_limit(repeat("[", "x, ", 249999, "x]"), LB_LIMIT, "more than 250000 values");
    expect_limit(repeat("", "%TAG !a! b\n", 100, "--- a"), LB_LIMIT, "tag directives");
    lb_text_put(&bomb, "- &a0 [x]\n");
    for (int i = 1; i <= 20; i++) {
        lb_text_printf(&bomb, "- &a%d [", i);
        for (int k = 0; k < 10; k++)
            lb_text_printf(&bomb, "*a%d, ", i - 1);
        lb_text_put(&bomb, "]\n");
    }
    expect_limit(bomb.bytes, LB_LIMIT, "more than 250000 values, aliases followed");
    bomb = (lb_text){0};
    lb_text_put(&bomb, "- &a0 [x]\n"); /* each alias one level deeper than the one before */
    for (int i = 1; i <= 200; i++)
        lb_text_printf(&bomb, "- &a%d [*a%d]\n", i, i - 1);
    expect_limit(bomb.bytes, LB_LIMIT, "nested more than 128 levels deep");
}

/* Many keys, names that differ in one letter: a mapping is read in good time. */
Test(yaml, many_keys, .timeout = 60)
{
    lb_text text = {0};
    reading r;

    for (int i = 0; i < 49000; i++)
        lb_text_printf(&text, "k%d: 1\n", i);
    r = read_text(text.bytes);
    cr_expect(r.status == LB_OK && r.root->count == 49000, "%s", r.messages);
    lb_text_clear(&text);
    drop(&r);
}

Test(yaml, no_memory)
{
    static const char text[] = "a: &x {b: [1, 2], c: 'd'}\ne: {<<: *x, f: g}\nh: *x\n";
    int64_t failed = 0;

    for (int64_t n = 1; n < 1000; n++) {
        lb_diag *diag = lb_diag_new();
        lb_arena *arena = lb_arena_new();
        lb_yaml_node *root;
        lb_status status;

        lb_memory_fail_at(n);
        status = lb_yaml_read(diag, "f", text, sizeof text - 1, arena, &root);
        if (lb_memory_fail_left() > 0) {
            lb_memory_fail_at(0);
            cr_expect(status == LB_OK && root);
            n = 1000;
        } else {
            lb_memory_fail_at(0);
            cr_expect(status == LB_MEMORY && !root, "%d at %d", status, (int)n);
            failed++;
        }
        lb_arena_free(&arena);
        lb_diag_free(&diag);
    }
    cr_expect(failed > 5, "%d", (int)failed);
}
