/* tests/lang/test_limits.c: small files that ask for much. Each ends with a message that names the
 * limit, or is done with little: bounded are the memory, the blocks asked for (arenas take 64 KiB
 * or more at a time) and the messages; time is only watched for a hang. */
#include "lang/format.h"
#include "lang/lang.h"
#include "lang/merge.h"
#include "nodes/nodes.h"
#include "tests/lang/folder.h"

#define FRAME "lampblack: 1\nframe: {size: [64, 64], rate: 24, range: [1, 100]}\n"
#define OUTPUT "outputs: {o: {image: n0, file: a.png}}\n"

/* `count` times, where %d counts from 0. */
static void times(lb_text *out, int count, const char *format)
{
    for (int i = 0; i < count; i++)
        for (const char *at = format; *at; at++) {
            if (at[0] == '%' && at[1] == 'd') {
                lb_text_printf(out, "%d", i);
                at++;
            } else if (at[0] == '%' && at[1] == 'n') {
                lb_text_printf(out, "%d", i + 1);
                at++;
            } else {
                lb_text_add(out, at, 1);
            }
        }
}

/* Parts within each other, ten to a part: p4 has 10^4 times what p0 has. */
static void put_parts(lb_text *out, const char *params, const char *nodes)
{
    lb_text_printf(out, "%sparts:\n  p0: {params: {%s}, nodes: {", FRAME, params);
    lb_text_put(out, nodes);
    lb_text_put(out, "b: {op: solid}}, result: b}\n");
    for (int i = 1; i < 5; i++) {
        lb_text_printf(out, "  p%d: {nodes: {", i);
        for (int k = 0; k < 10; k++)
            lb_text_printf(out, "n%d: {op: part/p%d}, ", k, i - 1);
        lb_text_put(out, "}, result: n0}\n");
    }
    lb_text_put(out, "nodes: {n0: {op: part/p4}}\n" OUTPUT);
}

static void nested_parts(lb_text *out)
{
    lb_text_put(out, FRAME "parts:\n  p0: {nodes: {n: {op: solid}}, result: n}\n");
    times(out, 31, "  p%n: {nodes: {n: {op: part/p%d}, m: {op: part/p%d}}, result: n}\n");
    lb_text_put(out, "nodes: {n0: {op: part/p30}}\n" OUTPUT);
}

static void keys_in_parts(lb_text *out)
{
    lb_text keys = {0}, node = {0};

    times(&keys, 30000, "%d: 1, ");
    lb_text_put(&node, "a: {op: exposure, image: b, stops: {keys: {");
    lb_text_add(&node, keys.bytes, keys.length);
    lb_text_put(&node, "}}}, ");
    put_parts(out, "", node.bytes);
    lb_text_clear(&keys);
    lb_text_clear(&node);
}

static void expressions_in_parts(lb_text *out)
{
    lb_text node = {0};

    lb_text_put(&node, "a: {op: exposure, image: b, stops: {expr: \"0 * (0");
    times(&node, 1000, "+ frame");
    lb_text_put(&node, ")\"}}, ");
    put_parts(out, "", node.bytes);
    lb_text_clear(&node);
}

static void texts_in_parts(lb_text *out)
{
    lb_text param = {0};

    lb_text_put(&param, "q: \"");
    times(&param, 60000, "x");
    lb_text_put(&param, "\"");
    put_parts(out, param.bytes, "a: {op: text, text: {param: q}}, ");
    lb_text_clear(&param);
}

static void unknown_keys_in_parts(lb_text *out)
{
    lb_text node = {0};

    lb_text_put(&node, "a: {op: exposure, ");
    times(&node, 30000, "k%d: 1, ");
    lb_text_put(&node, "}, ");
    put_parts(out, "", node.bytes);
    lb_text_clear(&node);
}

/* Every use has its own param that differs from frame to frame. */
static void timed_params(lb_text *out)
{
    lb_text_put(out, FRAME "parts:\n  p: {params: {q: {expr: frame}}, nodes: {a: {op: solid},\n"
                           "    b: {op: exposure, image: a, stops: {expr: q / 100}}}, result: b}\n"
                           "nodes:\n");
    times(out, 5000, "  n%d: {op: part/p}\n");
    lb_text_put(out, OUTPUT);
}

static void alias_bomb(lb_text *out)
{
    lb_text_put(out, FRAME "a0: &a0 [1, 1, 1, 1, 1, 1, 1, 1, 1, 1]\n");
    times(out, 12, "a%n: &a%n [*a%d, *a%d, *a%d, *a%d, *a%d, *a%d, *a%d, *a%d, *a%d, *a%d]\n");
}

static void merge_bomb(lb_text *out)
{
    lb_text_put(out, FRAME "a0: &a0 {");
    times(out, 100, "k%d: 1, ");
    lb_text_put(out, "}\n");
    times(out, 12, "a%n: &a%n {<<: [*a%d, *a%d, *a%d, *a%d, *a%d, *a%d, *a%d, *a%d]}\n");
}

static void aliased_text(lb_text *out)
{
    lb_text_put(out, FRAME "params: {a: &a \"");
    times(out, 200000, "x");
    lb_text_put(out, "\"}\nnodes:\n");
    times(out, 10000, "  t%d: {op: text, text: *a}\n");
}

static void long_key(lb_text *out)
{
    lb_text_put(out, FRAME "? ");
    times(out, 1000000, "x");
    lb_text_put(out, "\n: 1\n");
}

static void deep_lists(lb_text *out)
{
    lb_text_put(out, FRAME "nodes: ");
    times(out, 128, "[");
    times(out, 128, "]");
}

static void same_keys(lb_text *out)
{
    lb_text_put(out, FRAME "nodes:\n");
    times(out, 50000, "  a: {op: x}\n");
}

static void many_keys(lb_text *out)
{
    lb_text_put(out, "{lampblack: 1, nodes: {");
    times(out, 100000, "a%d: 1, ");
    lb_text_put(out, "}}");
}

/* 15 MiB of spaces behind what is not closed. */
static void blank_end(lb_text *out)
{
    lb_text_put(out, "{a: [1");
    times(out, 1 << 20, "         \n    ");
}

/* Runs of spaces in quotes, whose places are looked for. */
static void blank_texts(lb_text *out)
{
    lb_text_put(out, FRAME "nodes:\n");
    for (int i = 0; i < 40; i++) {
        lb_text_printf(out, "  a%d: \"\\n", i);
        times(out, 60000, " ");
        lb_text_put(out, "x\"\n");
    }
}

static void comments(lb_text *out)
{
    lb_text_put(out, FRAME);
    times(out, 1000001, "#\n");
    lb_text_put(out, "nodes: {n0: {op: solid}}\n" OUTPUT);
}

static void nested_expression(lb_text *out)
{
    lb_text_put(out, FRAME "nodes: {n0: {op: exposure, image: n0, stops: {expr: \"");
    times(out, 4000, "(");
    lb_text_put(out, "1\"}}}\n");
}

static void long_expression(lb_text *out)
{
    lb_text_put(out, FRAME "nodes: {n0: {op: exposure, image: n0, stops: {expr: \"");
    times(out, 4500, "1+");
    lb_text_put(out, "1\"}}}\n");
}

static void doubled_text(lb_text *out)
{
    lb_text_put(out, FRAME "params:\n  p0: xxxxxxxxxx\n");
    times(out, 50, "  p%n: {expr: p%d + p%d}\n");
    lb_text_put(out, "nodes: {n0: {op: text, text: {param: p50}}}\n" OUTPUT);
}

static void compared_text(lb_text *out)
{
    lb_text_put(out, FRAME "params:\n  a: \"");
    times(out, 100000, "x");
    lb_text_put(out, "\"\n  b: \"");
    times(out, 100000, "x");
    lb_text_put(out, "\"\nnodes:\n  n0: {op: text, text: {expr: \"a == b ? 'y' : 'n'\"}}\n" OUTPUT);
}

static void chained_params(lb_text *out)
{
    lb_text_put(out, FRAME "params:\n");
    times(out, 999, "  p%d: {expr: p%n + 1}\n");
    lb_text_put(out, "  p999: 1\nnodes: {n0: {op: solid}}\n" OUTPUT);
}

/* 500 params of 1000 operations, and 200 values that need all of them at each frame. */
static void costly_params(lb_text *out)
{
    lb_text sum = {0};

    times(&sum, 500, "+ frame");
    lb_text_put(out, FRAME "params:\n");
    for (int i = 0; i < 500; i++) {
        lb_text_printf(out, "  p%d: {expr: \"0", i);
        lb_text_add(out, sum.bytes, sum.length);
        lb_text_put(out, "\"}\n");
    }
    lb_text_put(out, "  q: {expr: \"0");
    times(out, 500, "+ p%d");
    lb_text_put(out, "\"}\nnodes:\n  n0: {op: solid}\n");
    times(out, 200, "  n%n: {op: exposure, image: n%d, stops: {expr: q * 0}}\n");
    lb_text_put(out, OUTPUT);
    lb_text_clear(&sum);
}

static void many_versions(lb_text *out)
{
    lb_text_put(out, FRAME "nodes: {n0: {op: solid}}\n" OUTPUT "versions: {");
    times(out, 2000, "v%d: {}, ");
    lb_text_put(out, "}\n");
}

static void versions_of_parts(lb_text *out)
{
    put_parts(out, "", "a: {op: exposure, image: b, stops: {keys: {1: 1, 2: 2, 3: 3}}}, ");
    lb_text_put(out, "versions: {");
    times(out, 250, "v%d: {}, ");
    lb_text_put(out, "}\n");
}

static void unknown_names(lb_text *out)
{
    lb_text_put(out, FRAME "nodes:\n");
    times(out, 20000, "  n%d: {op: exposure, image: n%dx}\n");
}

static void cycle_of_nodes(lb_text *out)
{
    lb_text_put(out, FRAME "nodes:\n");
    times(out, 20000, "  n%d: {op: exposure, image: n%n}\n");
    lb_text_put(out, "  n20000: {op: exposure, image: n0}\n");
}

static void many_nodes(lb_text *out)
{
    lb_text_put(out, FRAME "nodes:\n  n0: {op: solid}\n");
    times(out, 10000, "  n%n: {op: exposure, image: n%d, stops: 0.5}\n");
    lb_text_put(out, "outputs: {o: {image: n10000, file: a.png}}\n");
}

/* What a check may take: MiB at the highest, blocks, messages. */
static const struct row {
    const char *name;
    void (*make)(lb_text *out);
    const char *says; /* among its messages; NULL: it is good */
    int memory, blocks, messages;
} rows[] = {
    {"nested parts", nested_parts, "grows over 200000 nodes, inputs and params", 100, 20000, 10},
    {"keys in parts", keys_in_parts, "grows over 2000000 values here", 700, 30000, 10},
    {"expressions in parts", expressions_in_parts, "more than 8 MiB of expressions", 500, 60000,
     10},
    {"texts in parts", texts_in_parts, "grows over 2000000 values here", 200, 30000, 10},
    {"unknown keys in parts", unknown_keys_in_parts, "grows over 2000000 values here", 200, 200000,
     250000},
    {"timed params", timed_params, NULL, 150, 200000, 5010},
    {"alias bomb", alias_bomb, "more than 250000 values, aliases followed", 20, 1000, 1},
    {"merge bomb", merge_bomb, "more than 250000 values, aliases followed", 50, 5000, 1},
    {"aliased text", aliased_text, "more than 32 MiB of text, aliases followed", 50, 1000, 1},
    {"long key", long_key, "a key has at most 1024 bytes", 50, 1000, 4},
    {"deep lists", deep_lists, "nested more than 128 levels deep", 20, 1000, 1},
    {"same keys", same_keys, "'a' is given twice", 150, 250000, 100010},
    {"many keys", many_keys, "'a99999' is 1; it takes a mapping", 250, 300000, 100010},
    {"blank end", blank_end, "at the end of the file", 100, 1000, 3},
    {"blank texts", blank_texts, "it takes a mapping", 50, 2000, 50},
    {"nested expression", nested_expression, "nested too deep", 20, 1000, 2},
    {"long expression", long_expression, "longer than 8192 bytes", 20, 1000, 2},
    {"doubled text", doubled_text, "makes over 65536 bytes of text", 20, 1000, 2},
    {"compared text", compared_text, "compares over 65536 bytes of text", 20, 1000, 2},
    {"chained params", chained_params, "hangs on a chain of more than 63 others", 20, 10000, 20},
    {"costly params", costly_params, "take more than 20000000 operations at one frame", 100, 10000,
     10},
    {"many versions", many_versions, "2000 versions; a graph has at most 256", 50, 10000, 3},
    {"versions of parts", versions_of_parts, "are not checked: that is too much for one run", 300,
     2000000, 10},
    {"unknown names", unknown_names, "unknown node 'n19999x'", 100, 300000, 20010},
    {"cycle of nodes", cycle_of_nodes, "read each other in a cycle", 100, 300000, 2},
    {"many nodes", many_nodes, NULL, 100, 150000, 2},
};

#define MANY ((int64_t)1 << 40)

static bool says(const lb_diag *diag, const char *words)
{
    lb_message message;
    bool found = false;

    for (int32_t i = 0; !found && lb_diag_message(diag, i, &message); i++) {
        found = message.text && strstr(message.text, words);
        lb_free(message.text);
    }
    return found;
}

static void check_row(const struct row *row)
{
    const lb_lang_options options = {.ops = lb_nodes_registry, .all_versions = true};
    lb_diag *diag = lb_diag_new();
    lb_graph *graph;
    lb_text text = {0};
    int64_t blocks;
    size_t before, peak;
    lb_status status;

    row->make(&text);
    cr_assert(!text.failed);
    before = lb_memory_used();
    lb_memory_reset_peak();
    lb_memory_fail_at(MANY);
    status = lb_lang_read_text(diag, "g.yaml", text.bytes, text.length, &options, &graph);
    blocks = MANY - lb_memory_fail_left();
    lb_memory_fail_at(0);
    peak = (lb_memory_peak() - before) >> 20;
    cr_expect(peak <= (size_t)row->memory, "%s: %zu MiB", row->name, peak);
    cr_expect(blocks <= row->blocks, "%s: %lld blocks", row->name, (long long)blocks);
    cr_expect(lb_diag_count(diag, LB_ERROR) + lb_diag_count(diag, LB_WARNING) +
                      lb_diag_count(diag, LB_NOTE) <=
                  row->messages,
              "%s: %d errors, %d warnings", row->name, (int)lb_diag_count(diag, LB_ERROR),
              (int)lb_diag_count(diag, LB_WARNING));
    cr_expect((status == LB_OK) == (lb_diag_count(diag, LB_ERROR) == 0), "%s", row->name);
    if (row->says)
        cr_expect(says(diag, row->says), "%s does not say '%s'", row->name, row->says);
    else
        cr_expect(status == LB_OK, "%s has errors", row->name);
    lb_text_clear(&text);
    lb_graph_free(&graph);
    lb_diag_free(&diag);
}

Test(limits, checks, .timeout = 250)
{
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        check_row(&rows[i]);
}

/* Layout and merge have no graph to build: whatever the text asks for is in it. */
static void format_and_merge(const struct row *row)
{
    lb_text text = {0}, once = {0}, merged = {0};
    lb_merge_side side = {"f", NULL, 0}, none = {"none", "", 0};
    int32_t conflicts;
    lb_status status;
    size_t before, peak;

    row->make(&text);
    side.text = text.bytes;
    side.bytes = text.length;
    before = lb_memory_used();
    lb_memory_reset_peak();
    status = lb_lang_format(NULL, "f", text.bytes, text.length, &once);
    cr_expect(status == LB_OK || status == LB_INVALID || status == LB_LIMIT, "%s: %d", row->name,
              status);
    cr_expect(lb_lang_merge(NULL, &none, &side, &side, &merged, &conflicts) == status, "%s",
              row->name);
    cr_expect((status == LB_OK) == (merged.length >= text.length), "%s", row->name);
    peak = (lb_memory_peak() - before) >> 20;
    cr_expect(peak <= 600, "%s: %zu MiB", row->name, peak);
    lb_text_clear(&text);
    lb_text_clear(&once);
    lb_text_clear(&merged);
}

Test(limits, layouts_and_merges, .timeout = 250)
{
    static const struct row many_comments = {.name = "comments", .make = comments};

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        if (rows[i].make != versions_of_parts)
            format_and_merge(&rows[i]);
    format_and_merge(&many_comments);
}

/* A text of more bytes than a graph may have, and one of more comments than a layout may have. */
Test(limits, sizes)
{
    lb_diag *diag = lb_diag_new();
    lb_text text = {0}, out = {0};
    lb_graph *graph;
    char *messages;

    times(&text, (17 << 20) / 16, "################");
    cr_expect(lb_lang_parse(diag, "g.yaml", text.bytes, text.length, lb_nodes_registry, NULL, 0,
                            &graph) == LB_LIMIT);
    cr_expect(lb_lang_format(diag, "f.yaml", text.bytes, text.length, &out) == LB_LIMIT);
    lb_text_clear(&text);
    comments(&text);
    cr_expect(lb_lang_format(diag, "c.yaml", text.bytes, text.length, &out) == LB_LIMIT);
    messages = messages_of(diag);
    cr_expect_str_eq(messages, "g.yaml: error: a graph has at most 16 MiB\n"
                               "f.yaml: error: a graph has at most 16 MiB\n"
                               "c.yaml: error: more than 1000000 comments\n");
    free(messages);
    lb_text_clear(&text);
    lb_text_clear(&out);
    lb_diag_free(&diag);
}

/* A merge of blocks within each other, with a comment at the end of the innermost. */
Test(limits, deep_merge, .timeout = 60)
{
    lb_text base = {0}, ours = {0}, theirs = {0}, made = {0};
    lb_merge_side sides[3] = {{"b", NULL, 0}, {"o", NULL, 0}, {"t", NULL, 0}};
    lb_text *texts[3] = {&base, &ours, &theirs};
    int32_t conflicts;

    for (int side = 0; side < 3; side++) {
        lb_text *text = texts[side];

        for (int i = 0; i < 100; i++) {
            times(text, i, " ");
            lb_text_put(text, "a:\n");
        }
        times(text, 100, " ");
        lb_text_printf(text, "x: %d\n", side == 1 ? 2 : 1);
        times(text, 100, " ");
        lb_text_printf(text, "y: %d\n", side == 2 ? 2 : 1);
        times(text, 100, " ");
        lb_text_put(text, "# the end\nb: 1\n");
        sides[side].text = text->bytes;
        sides[side].bytes = text->length;
    }
    cr_expect(lb_lang_merge(NULL, &sides[0], &sides[1], &sides[2], &made, &conflicts) == LB_OK);
    cr_expect(conflicts == 0);
    cr_expect(made.bytes && strstr(made.bytes, "x: 2\n") && strstr(made.bytes, "y: 2\n"));
    for (int side = 0; side < 3; side++)
        lb_text_clear(texts[side]);
    lb_text_clear(&made);
}

/* --- files --- */

static char names[300][24], texts_of[300][64];

/* Every file includes the next one twice: 2^n lives of the last. */
static void check_chain(int count, bool is_cycle, const char *says)
{
    file_text list[301] = {{0}};
    const lb_lang_options options = {.ops = lb_nodes_registry};
    folder f;
    loaded l;
    char *deepest;

    for (int i = 0; i < count; i++) {
        int next = i + 1 < count ? i + 1 : 0;

        snprintf(names[i], sizeof names[i], "f%d.yaml", i);
        if (i + 1 < count || is_cycle)
            snprintf(texts_of[i], sizeof texts_of[i],
                     "lampblack: 1\ninclude: {a: f%d.yaml, b: f%d.yaml}\n", next, next);
        else
            snprintf(texts_of[i], sizeof texts_of[i], "lampblack: 1\nnodes: {x: {op: solid}}\n");
        list[i] = (file_text){names[i], texts_of[i]};
    }
    f = make_folder(list);
    l = load_folder_with(&f, &options);
    deepest = strstr(l.messages, says);
    cr_expect(deepest, "%d files say: %.300s", count, l.messages);
    cr_expect(lb_diag_count(l.diag, LB_ERROR) <= 4);
    drop(&l);
    drop_folder(&f);
}

Test(limits, includes, .timeout = 60)
{
    check_chain(10, false, "");
    check_chain(25, false, "grows over 200000 nodes, inputs and params here");
    check_chain(40, false, "files include each other at most 32 deep");
    check_chain(20, true, "this file includes itself");
}

/* The bytes of all files together. */
Test(limits, bytes_of_files, .timeout = 60)
{
    static file_text list[10] = {{"g.yaml", "lampblack: 1\ninclude: {a: f0.yaml, b: f1.yaml, "
                                            "c: f2.yaml, d: f3.yaml, e: f4.yaml}\n"}};
    lb_text text = {0};
    folder f;
    loaded l;

    lb_text_put(&text, "lampblack: 1\n#");
    times(&text, 15 << 16, "xxxxxxxxxxxxxxxx");
    for (int i = 0; i < 5; i++) {
        snprintf(names[i], sizeof names[i], "f%d.yaml", i);
        list[i + 1] = (file_text){names[i], text.bytes};
    }
    f = make_folder(list);
    l = load_folder(&f);
    cr_expect(strstr(l.messages,
                     "f4.yaml: error: a graph and the files that it includes have at most 64 MiB"),
              "%s", l.messages);
    drop(&l);
    drop_folder(&f);
    lb_text_clear(&text);
}
