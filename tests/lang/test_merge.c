/* tests/lang/test_merge.c: the three-way merge by meaning. A table of cases with the text that must
 * come out; and random graphs, edited on both sides and written in random styles, against a merge
 * of plain tables that is done here. What a three-way merge is to do with one value is common
 * practice: what one side changed is taken, what both changed alike too, and else it is a conflict.
 */
#include <criterion/criterion.h>

#include "engine/base/random.h"
#include "lang/format.h"
#include "lang/layout.h"
#include "lang/merge.h"
#include "lang/yaml.h"
#include "tests/lang/messages.h"
#include "tests/lang/random_yaml.h"

typedef struct merged {
    lb_status status;
    int32_t conflicts;
    lb_text text;
    char *messages;
} merged;

static merged merge(const char *base, const char *ours, const char *theirs)
{
    lb_diag *diag = lb_diag_new();
    lb_merge_side b = {"base", base, strlen(base)}, o = {"ours", ours, strlen(ours)},
                  t = {"theirs", theirs, strlen(theirs)};
    merged m = {0};

    m.status = lb_lang_merge(diag, &b, &o, &t, &m.text, &m.conflicts);
    cr_expect((m.status == LB_OK) == (m.text.bytes != NULL));
    m.messages = messages_of(diag);
    lb_diag_free(&diag);
    return m;
}

static void drop(merged *m)
{
    lb_text_clear(&m->text);
    free(m->messages);
}

static const char graph[] = "# Titles.\n"
                            "lampblack:   1\n"
                            "\n"
                            "params:\n"
                            "  glow: 2     # bright\n"
                            "\n"
                            "nodes:\n"
                            "  # The sky.\n"
                            "  sky:   {op: solid, color: red}\n"
                            "\n"
                            "  soft:\n"
                            "    op: blur\n"
                            "    image:   sky # from above\n"
                            "    sigma:   4\n"
                            "  last: {op: blur, image: soft, sigma: [1, 2]}\n";

/* `graph` with every `from` made `to`. */
static char *with(const char *text, const char *from, const char *to)
{
    lb_text made = {0};
    const char *found;

    cr_assert(!*from || strstr(text, from), "'%s' is not in the text", from);
    while (*from && (found = strstr(text, from))) {
        lb_text_add(&made, text, (size_t)(found - text));
        lb_text_put(&made, to);
        text = found + strlen(from);
    }
    lb_text_put(&made, text);
    return made.bytes;
}

/* What theirs does to the graph, done to a graph that ours has written otherwise. */
Test(merge, changes_come_in)
{
    static const struct {
        const char *name, *from, *to;        /* in theirs */
        const char *result_from, *result_to; /* and in the result */
    } rows[] = {
        {"a value", "sigma:   4", "sigma: 5", "sigma:   4", "sigma:   5"},
        {"a value with a comment", "glow: 2     # bright", "glow: 3     # bright",
         "glow: 2     # bright", "glow: 3     # bright"},
        {"a value in brackets", "color: red", "color: blue", "sky:   {op: solid, color: red}",
         "sky:   {op: solid, color: blue}"},
        {"a longer value", "glow: 2  ", "glow: {expr: \"sin(t)\"}  ", "glow: 2  ",
         "glow: {expr: \"sin(t)\"}  "},
        {"a list", "[1, 2]", "[1, 3]", "[1, 2]", "[1, 3]"},
        {"a key in brackets", "color: red}", "color: red, size: 4}", "color: red}",
         "color: red, size: 4}"},
        {"a key out of brackets", "op: solid, color: red", "op: solid", "op: solid, color: red",
         "op: solid"},
        {"a key in a block", "    op: blur\n", "    op: blur\n    edge: clamp # so\n",
         "    op: blur\n", "    op: blur\n    edge: clamp  # so\n"},
        {"a key out of a block", "    image:   sky # from above\n", "",
         "    image:   sky # from above\n", ""},
        {"a node", "  last:", "  # New.\n  new: {op: text,text: a}\n\n  last:", "  last:",
         "  # New.\n  new: {op: text, text: a}\n  last:"},
        {"a node at the end", "sigma: [1, 2]}\n",
         "sigma: [1, 2]}\n\n  # New.\n  new:\n      op: text\n", "sigma: [1, 2]}\n",
         "sigma: [1, 2]}\n\n  # New.\n  new:\n    op: text\n"},
        {"a node gone", "  # The sky.\n  sky:   {op: solid, color: red}\n\n", "",
         "  # The sky.\n  sky:   {op: solid, color: red}\n\n", ""},
        {"the only param gone", "params:\n  glow: 2     # bright\n", "params: {}\n",
         "params:\n  glow: 2     # bright\n", "params: {}\n"},
        {"a section gone", "params:\n  glow: 2     # bright\n\n", "",
         "params:\n  glow: 2     # bright\n\n", ""},
        {"a section", "nodes:", "outputs: {o: {image: last, file: a.png}}\nnodes:", "nodes:",
         "outputs: {o: {image: last, file: a.png}}\n\nnodes:"},
        {"a node renamed", "  last:", "  final:", "  last:", "  final:"},
        {"a comment above", "# The sky.", "# The night sky.\n  # Red.", "# The sky.",
         "# The night sky.\n  # Red."},
        {"a comment beside", "# from above", "# from there", "# from above", "# from there"},
        {"no comment above", "  # The sky.\n", "", "  # The sky.\n", ""},
        {"no comment beside", "glow: 2     # bright", "glow: 2", "glow: 2     # bright", "glow: 2"},
        {"a comment beside, where none was", "sigma:   4", "sigma: 4 # four", "sigma:   4",
         "sigma:   4  # four"},
        {"a comment behind a colon", "  soft:\n", "  soft: # it is\n", "  soft:\n",
         "  soft:  # it is\n"},
        {"a comment at the end", "[1, 2]}\n", "[1, 2]}\n  # The end.\n", "[1, 2]}\n",
         "[1, 2]}\n  # The end.\n"},
        {"a block of text", "sigma:   4", "sigma: |\n      four\n      five", "    sigma:   4",
         "    sigma: |\n      four\n      five"},
        {"layout alone", "sigma:   4", "sigma: 4\n\n", "", ""},
        {"order alone", "    image:   sky # from above\n    sigma:   4\n",
         "    sigma:   4\n    image:   sky # from above\n", "", ""},
    };

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        /* Ours differs in a way that no row touches, so that it is not the base. */
        char *ours = with(graph, "lampblack:   1", "lampblack:   1 # ours");
        char *theirs = with(graph, rows[i].from, rows[i].to);
        char *expected = with(ours, rows[i].result_from, rows[i].result_to);
        merged m = merge(graph, ours, theirs);

        cr_expect(m.status == LB_OK && m.conflicts == 0, "%s: %s", rows[i].name, m.messages);
        cr_expect(m.text.bytes && strcmp(m.text.bytes, expected) == 0, "%s:\n%s\nnot\n%s",
                  rows[i].name, m.text.bytes, expected);
        drop(&m);
        /* With Windows' line breaks in ours, all of them are. */
        {
            char *returns = with(ours, "\n", "\r\n"), *wanted = with(expected, "\n", "\r\n");

            m = merge(graph, returns, theirs);
            cr_expect(m.text.bytes && strcmp(m.text.bytes, wanted) == 0, "%s:\n%s%s", rows[i].name,
                      m.text.bytes, m.messages);
            drop(&m);
            lb_free(returns);
            lb_free(wanted);
        }
        lb_free(ours);
        lb_free(theirs);
        lb_free(expected);
    }
}

/* Both sides changed something, each another thing. */
Test(merge, both_sides)
{
    static const struct {
        const char *base, *ours, *theirs, *result;
    } rows[] = {
        {"n:\n  a: {x: 1, y: 2}\n", "n:\n  a: {x: 3, y: 2}\n", "n:\n  a: {x: 1, y: 4}\n",
         "n:\n  a: {x: 3, y: 4}\n"},
        {"n:\n  a: {x: 1}\n", "n:\n  a: {x: 1}\n  b: {x: 2}\n", "n:\n  a: {x: 1}\n  c: {x: 3}\n",
         "n:\n  a: {x: 1}\n  c: {x: 3}\n  b: {x: 2}\n"},
        {"n:\n  a: {x: 1}\n", "n:\n  a: {x: 2}\n", "n:\n  z: {x: 1}\n", "n:\n  z: {x: 2}\n"},
        {"n:\n  a: {x: 1}\n", "n:\n  z: {x: 1}\n", "n:\n  a: {x: 2}\n", "n:\n  z: {x: 2}\n"},
        {"p:\n  q:\n    n:\n      a: {op: x, y: 1}\n", "p:\n  q:\n    n:\n      a: {op: x, y: 2}\n",
         "p:\n  q:\n    n:\n      z: {op: x, y: 1}\n",
         "p:\n  q:\n    n:\n      z: {op: x, y: 2}\n"},
        {"n:\n  a: 1\n", "n:\n  a: 2\n", "n:\n  a: 2 # same\n", "n:\n  a: 2  # same\n"},
        {"n:\n  a: 1\n", "n: {}\n", "n:\n  a: 1\n  b: 2\n", "n: {b: 2}\n"},
        {"", "p: {a: 1}\n", "p: {b: 2}\nq: 1\n", "p: {b: 2, a: 1}\nq: 1\n"},
        {"{a: 1}", "{a: 1, b: 2}", "{a: 3}", "{a: 3, b: 2}\n"},
        {"- 1\n", "- 1\n", "- 2\n", "- 2\n"},
        {"- 1\n", "- 2 # mine\n", "- 1 # x\n", "- 2 # mine\n"},
        {"n:\n  a: &x {y: 1}\n  b: *x\n", "n:\n  a:   &x {y: 1}\n  b: *x\n  c: 1\n",
         "n:\n  a: &x {y: 2}\n  b: *x\n", "n:\n  a:   &x {y: 2}\n  b: *x\n  c: 1\n"},
        {"n:\n  a: 1", "n:\n  a: 1\n  c: 3", "n:\n  a: 1\n  b: 2", "n:\n  a: 1\n  b: 2\n  c: 3"},
        {"n:\n  a: 1", "n: # c\n  a: 1", "n:\n  a: 1\n  b: 2", "n: # c\n  a: 1\n  b: 2\n"},
    };

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        merged m = merge(rows[i].base, rows[i].ours, rows[i].theirs);

        cr_expect(m.status == LB_OK && m.conflicts == 0, "%zu: %s", i, m.messages);
        cr_expect(m.text.bytes && strcmp(m.text.bytes, rows[i].result) == 0, "%zu:\n%s\nnot\n%s", i,
                  m.text.bytes, rows[i].result);
        drop(&m);
    }
}

Test(merge, conflicts)
{
    static const struct {
        const char *base, *ours, *theirs, *result, *messages;
    } rows[] = {
        {"n:\n  a:\n    x: 1\n", "n:\n  a:\n    x:   2 # mine\n    y: 0\n",
         "n:\n  a:\n    x: 3 # yours\n    z: 0\n",
         "n:\n  a:\n<<<<<<< ours\n    x:   2 # mine\n=======\n    x: 3  # yours\n>>>>>>> theirs\n"
         "    z: 0\n    y: 0\n",
         "ours:3:10: error: both sides change 'n.a.x', here to 2\n"
         "base:3:8: note: before it was 1\n"
         "theirs:3:8: note: changed there to 3\n"},
        {"n:\n  a: {x: 1, y: 1, z: 1}\n", "n:\n  a: {x: 2, y: 2, z: 1}\n",
         "n:\n  a: {x: 3, y: 1, z: 3}\n",
         "n:\n<<<<<<< ours\n  a: {x: 2, y: 2, z: 3}\n=======\n  a: {x: 3, y: 2, z: 3}\n"
         ">>>>>>> theirs\n",
         "ours:2:10: error: both sides change 'n.a.x', here to 2\n"
         "base:2:10: note: before it was 1\n"
         "theirs:2:10: note: changed there to 3\n"},
        {"n:\n  # c\n  a: 1\n  b: 1\n", "n:\n  # c\n  a: 2\n  b: 1\n", "n:\n  b: 1\n",
         "n:\n<<<<<<< ours\n  # c\n  a: 2\n=======\n>>>>>>> theirs\n  b: 1\n",
         "ours:3:6: error: 'n.a' is changed here and removed by theirs\n"
         "base:3:6: note: before the change\n"},
        {"n:\n  a: 1\n  b: 1\n", "n:\n  b: 1\n", "n:\n  a: 2\n  b: 1\n",
         "n:\n<<<<<<< ours\n=======\n  a: 2\n>>>>>>> theirs\n  b: 1\n",
         "theirs:2:6: error: 'n.a' is changed here and removed by ours\n"
         "base:2:6: note: before the change\n"},
        {"n:\n  b: 1\n", "n:\n  b: 1\n  a: {x: 1}\n", "n:\n  b: 1\n  a: {y: 1}\n",
         "n:\n  b: 1\n<<<<<<< ours\n  a: {x: 1}\n=======\n  a: {y: 1}\n>>>>>>> theirs\n",
         "ours:3:6: error: both sides add 'n.a', here as {x: 1}\n"
         "theirs:3:6: note: added there as {y: 1}\n"},
        {"n:\n  a: {x: 1}\n", "n:\n  y: {x: 1}\n", "n:\n  z: {x: 1}\n",
         "n:\n<<<<<<< ours\n  y: {x: 1}\n=======\n  z: {x: 1}\n>>>>>>> theirs\n",
         "ours:2:3: error: 'n.y' is a new name for 'a' here, and theirs has another\n"
         "base:2:3: note: its name before\n"
         "theirs:2:3: note: its name there\n"},
        {"n: [1, 2]\n", "n: [1, 3]\n", "n: [1, 2, 3]\n",
         "<<<<<<< ours\nn: [1, 3]\n=======\nn: [1, 2, 3]\n>>>>>>> theirs\n",
         "ours:1:4: error: both sides change 'n', here to [1, 3]\n"
         "base:1:4: note: before it was [1, 2]\n"
         "theirs:1:4: note: changed there to [1, 2, 3]\n"},
        {"- 1", "- 2", "- 3", "<<<<<<< ours\n- 2\n=======\n- 3\n>>>>>>> theirs\n",
         "ours: error: both sides change the whole file\ntheirs: note: theirs\n"},
        {"{a: 1}", "{a: 2}", "{a: 3}", "<<<<<<< ours\n{a: 2}\n=======\n{a: 3}\n>>>>>>> theirs\n",
         "ours:1:5: error: both sides change 'a', here to 2\n"
         "base:1:5: note: before it was 1\n"
         "theirs:1:5: note: changed there to 3\n"},
    };

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        merged m = merge(rows[i].base, rows[i].ours, rows[i].theirs);

        cr_expect(m.status == LB_OK && m.conflicts == 1, "%zu: %d %s", i, (int)m.conflicts,
                  m.messages);
        cr_expect(m.text.bytes && strcmp(m.text.bytes, rows[i].result) == 0, "%zu:\n%s\nnot\n%s", i,
                  m.text.bytes, rows[i].result);
        cr_expect_str_eq(m.messages, rows[i].messages, "%zu:\n%s", i, m.messages);
        drop(&m);
    }
}

/* What cannot be merged is refused; a comment that both changed is told of. */
Test(merge, refuses)
{
    static const struct {
        const char *base, *ours, *theirs, *message;
    } rows[] = {
        {"a: 1", "a: [", "a: 2", "ours:1:5: error: not YAML"},
        {"a: 1", "a: 1 # c", "a: 1\na: 2", "theirs:2:1: error: 'a' is given twice"},
        {"a: 1", "a: 1\nb: &x 1", "a: 1\nc: &x 2", "ours: error: both sides add an anchor"},
        {"a: &x 1\nb: 1", "b: 1", "a: &x 1\nb: *x", "the merged text:1:4: error: no anchor '&x'"},
    };
    merged m;

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        m = merge(rows[i].base, rows[i].ours, rows[i].theirs);
        cr_expect(m.status == LB_INVALID || m.status == LB_UNSUPPORTED, "%d", m.status);
        cr_expect(strstr(m.messages, rows[i].message), "%s", m.messages);
        drop(&m);
    }
    m = merge("a: 1 # x", "a: 1 # y", "a: 1 # z");
    cr_expect(m.status == LB_OK && m.conflicts == 0);
    cr_expect_str_eq(m.messages, "ours:1:1: warning: both sides change a comment at 'a'; ours is "
                                 "kept\ntheirs:1:1: note: theirs is here\n");
    drop(&m);
}

/* A graph as a table: nodes by keys, 0: not there. A node without keys of its own has `op` still.
 */
#define NODES 7
#define KEYS 5

typedef struct table {
    bool has_node[NODES];
    int32_t value[NODES][KEYS];
} table;

typedef struct chance {
    uint32_t seed, count;
} chance;

static uint32_t draw(chance *c, uint32_t below)
{
    return lb_random_u32(c->seed, c->count++, 23, 0) % below;
}

static void random_table(chance *c, table *t)
{
    for (int n = 0; n < NODES; n++) {
        t->has_node[n] = draw(c, 3) > 0;
        for (int k = 0; k < KEYS; k++)
            t->value[n][k] = t->has_node[n] && draw(c, 2) ? 1 + (int32_t)draw(c, 4) : 0;
    }
}

/* Up to `count` changes of nodes that `may` allows. */
static void edit_table(chance *c, table *t, uint32_t count, const bool *may)
{
    for (uint32_t i = draw(c, count + 1); i > 0; i--) {
        int n = (int)draw(c, NODES), k = (int)draw(c, KEYS);

        if (may && !may[n])
            continue;
        if (draw(c, 5) == 0) {
            t->has_node[n] = !t->has_node[n];
            memset(t->value[n], 0, sizeof t->value[n]);
        } else if (t->has_node[n]) {
            t->value[n][k] = draw(c, 3) == 0 ? 0 : 1 + (int32_t)draw(c, 4);
        }
    }
}

static bool is_same_node(const table *a, const table *b, int n)
{
    return a->has_node[n] == b->has_node[n] &&
           memcmp(a->value[n], b->value[n], sizeof a->value[n]) == 0;
}

/* Answers how many conflicts there are; *out is only right without any. */
static int32_t merge_tables(const table *b, const table *o, const table *t, table *out)
{
    int32_t conflicts = 0;

    *out = *o;
    for (int n = 0; n < NODES; n++) {
        if (is_same_node(o, t, n) || is_same_node(b, t, n))
            continue;
        if (is_same_node(b, o, n)) {
            out->has_node[n] = t->has_node[n];
            memcpy(out->value[n], t->value[n], sizeof t->value[n]);
            continue;
        }
        if (!b->has_node[n] || !o->has_node[n] || !t->has_node[n]) {
            conflicts++;
            continue;
        }
        for (int k = 0; k < KEYS; k++) {
            if (o->value[n][k] == t->value[n][k] || b->value[n][k] == t->value[n][k])
                continue;
            if (b->value[n][k] != o->value[n][k])
                conflicts++;
            else
                out->value[n][k] = t->value[n][k];
        }
    }
    return conflicts;
}

static void write_blank(chance *c, lb_text *out, const char *indent, bool comments)
{
    if (draw(c, 4) == 0)
        lb_text_put(out, "\n");
    if (comments && draw(c, 4) == 0)
        lb_text_printf(out, "%s# comment %u\n", indent, c->count);
}

static void write_value(chance *c, lb_text *out, int32_t value)
{
    static const char *const forms[] = {"%d", "[%d, 1]", "text %d", "{a: %d}", "\"%d\""};

    (void)c;
    lb_text_printf(out, forms[value % 5], (int)value);
}

/* A table as a text, in some style. */
static char *write_table(const table *t, uint32_t seed, bool comments)
{
    chance c = {seed, 1000};
    lb_text out = {0};
    int turn = (int)draw(&c, NODES);
    bool any = false;

    lb_text_put(&out, "lampblack: 1\nnodes:\n");
    for (int i = 0; i < NODES; i++) {
        int n = (i + turn) % NODES, key_turn = (int)draw(&c, KEYS);
        bool flow = draw(&c, 2);

        if (!t->has_node[n])
            continue;
        any = true;
        write_blank(&c, &out, "  ", comments);
        lb_text_printf(&out, flow ? "  n%d:  {op: o%d" : "  n%d:\n      op:  o%d\n", n, n);
        for (int j = 0; j < KEYS; j++) {
            int k = (j + key_turn) % KEYS;

            if (t->value[n][k] == 0)
                continue;
            if (!flow)
                write_blank(&c, &out, "      ", comments);
            lb_text_printf(&out, flow ? ", k%d: " : "      k%d:   ", k);
            write_value(&c, &out, t->value[n][k]);
            if (!flow)
                lb_text_put(&out, comments && draw(&c, 4) == 0 ? "   # beside\n" : "\n");
        }
        if (flow)
            lb_text_put(&out, "}\n");
    }
    if (!any)
        lb_text_put(&out, "  {}\n");
    lb_text_put(&out, "outputs: {}\n");
    cr_assert(!out.failed);
    return out.bytes;
}

static const lb_yaml_node *must_find(const lb_yaml_node *mapping, const char *prefix, int number)
{
    char name[16];

    snprintf(name, sizeof name, "%s%d", prefix, number);
    return lb_yaml_find(mapping, name);
}

static bool is_value(const lb_yaml_node *node, int32_t value)
{
    switch (value % 5) {
    case 0:
        return node->type == LB_SCALAR_NUMBER && node->number == value;
    case 1:
        return node->kind == LB_YAML_LIST && node->items[0]->number == value;
    case 2:
        return node->type == LB_SCALAR_TEXT && atoi(node->text + 5) == value;
    case 3:
        return node->kind == LB_YAML_MAPPING && node->entries[0].value->number == value;
    default:
        return node->type == LB_SCALAR_TEXT && atoi(node->text) == value;
    }
}

static void expect_table(const char *text, const table *t, uint32_t seed)
{
    lb_arena *arena = lb_arena_new();
    lb_yaml_node *root, *nodes;
    int32_t count = 0;

    cr_assert(lb_yaml_read(NULL, NULL, text, strlen(text), arena, &root) == LB_OK, "%u:\n%s", seed,
              text);
    nodes = lb_yaml_find(root, "nodes");
    for (int n = 0; n < NODES; n++) {
        const lb_yaml_node *node = must_find(nodes, "n", n);
        int32_t keys = 1;

        cr_expect((node != NULL) == t->has_node[n], "%u: n%d\n%s", seed, n, text);
        count += node != NULL;
        for (int k = 0; node && k < KEYS; k++) {
            const lb_yaml_node *value = must_find(node, "k", k);

            keys += value != NULL;
            cr_expect((value != NULL) == (t->value[n][k] != 0), "%u: n%d.k%d\n%s", seed, n, k,
                      text);
            cr_expect(!value || is_value(value, t->value[n][k]), "%u: n%d.k%d\n%s", seed, n, k,
                      text);
        }
        cr_expect(!node || node->count == keys);
    }
    cr_expect_eq(nodes->count, count);
    lb_arena_free(&arena);
}

/* Both sides edit; the result is what the tables' merge says, or as many conflicts. */
Test(merge, random_edits)
{
    int clean = 0, conflicted = 0;

    for (uint32_t seed = 0; seed < 800; seed++) {
        chance c = {seed, 0};
        table b, o, t, expected;
        char *base, *ours, *theirs;
        int32_t conflicts;
        merged m;

        random_table(&c, &b);
        o = t = b;
        edit_table(&c, &o, 6, NULL);
        edit_table(&c, &t, 6, NULL);
        conflicts = merge_tables(&b, &o, &t, &expected);
        base = write_table(&b, seed, false);
        ours = write_table(&o, seed + 5000, true);
        theirs = write_table(&t, seed + 9000, false);
        m = merge(base, ours, theirs);
        cr_assert(m.status == LB_OK, "%u: %s\n%s---\n%s---\n%s", seed, m.messages, base, ours,
                  theirs);
        cr_expect_eq(m.conflicts, conflicts, "%u: %d conflicts, not %d\n%s", seed, (int)m.conflicts,
                     (int)conflicts, m.messages);
        if (conflicts == 0 && m.conflicts == 0) {
            expect_table(m.text.bytes, &expected, seed);
            clean++;
        } else {
            conflicted++;
        }
        drop(&m);
        lb_free(base);
        lb_free(ours);
        lb_free(theirs);
    }
    cr_expect(clean > 400 && conflicted > 100, "%d clean, %d not", clean, conflicted);
}

/* Where theirs changed nothing, ours comes back to the byte, whatever the styles; where ours
 * changed nothing, the result means theirs; and where both edit other nodes, who is ours does not
 * matter. */
Test(merge, laws)
{
    for (uint32_t seed = 0; seed < 300; seed++) {
        chance c = {seed + 20000, 0};
        bool even[NODES], odd[NODES];
        table b, x, y, both;
        char *base, *same, *ours, *theirs;
        merged m;

        for (int n = 0; n < NODES; n++)
            odd[n] = !(even[n] = n % 2 == 0);
        random_table(&c, &b);
        x = y = b;
        edit_table(&c, &x, 6, even);
        edit_table(&c, &y, 6, odd);
        cr_assert(merge_tables(&b, &x, &y, &both) == 0);
        base = write_table(&b, seed, false);
        same = write_table(&b, seed + 1, false);
        ours = write_table(&x, seed + 2, true);
        theirs = write_table(&y, seed + 3, false);

        m = merge(base, ours, same);
        cr_expect(m.text.bytes && strcmp(m.text.bytes, ours) == 0, "%u:\n%s\n%s", seed, ours,
                  m.text.bytes);
        drop(&m);
        m = merge(base, same, theirs);
        expect_table(m.text.bytes, &y, seed);
        drop(&m);
        m = merge(base, ours, theirs);
        expect_table(m.text.bytes, &both, seed);
        drop(&m);
        m = merge(base, theirs, ours);
        expect_table(m.text.bytes, &both, seed);
        drop(&m);
        lb_free(base);
        lb_free(same);
        lb_free(ours);
        lb_free(theirs);
    }
}

static bool read_layout(const lb_text *text, lb_arena *arena, lb_layout *out)
{
    lb_yaml_node *tree;

    return lb_yaml_read(NULL, NULL, text->bytes, text->length, arena, &tree) == LB_OK &&
           lb_layout_read(text->bytes, text->length, arena, out) == LB_OK;
}

/* Any YAML: theirs has some bytes changed, ours is laid out anew; what comes out means theirs. */
Test(merge, random_texts)
{
    int tried = 0;

    for (uint32_t seed = 0; seed < 1200; seed++) {
        random_yaml base, theirs;
        lb_text ours = {0}, made = {0};
        lb_arena *arena = lb_arena_new();
        lb_layout wanted, got;
        int32_t conflicts;

        random_document(&base, seed);
        random_document(&theirs, seed);
        for (int i = 0; i < 3; i++)
            theirs.text.bytes[random_draw(&theirs, (uint32_t)theirs.text.length)] =
                "x1:\n 2"[random_draw(&theirs, 6)];
        if (lb_lang_format(NULL, "f", base.text.bytes, base.text.length, &ours) == LB_OK &&
            read_layout(&theirs.text, arena, &wanted)) {
            lb_merge_side b = {"b", base.text.bytes, base.text.length},
                          o = {"o", ours.bytes, ours.length},
                          t = {"t", theirs.text.bytes, theirs.text.length};

            cr_assert(lb_lang_merge(NULL, &b, &o, &t, &made, &conflicts) == LB_OK, "%u:\n%s\n%s",
                      seed, ours.bytes, theirs.text.bytes);
            cr_expect_eq(conflicts, 0);
            cr_assert(read_layout(&made, arena, &got), "%u:\n%s", seed, made.bytes);
            cr_expect(lb_layout_is_equal(wanted.root.value, got.root.value), "%u:\n%s\nnot\n%s",
                      seed, made.bytes, theirs.text.bytes);
            tried++;
        }
        lb_text_clear(&made);
        lb_text_clear(&ours);
        lb_text_clear(&base.text);
        lb_text_clear(&theirs.text);
        lb_arena_free(&arena);
    }
    cr_expect(tried > 100, "%d", tried);
}

Test(merge, survives_no_memory)
{
    static const char theirs[] = "n:\n  a: {x: 2, y: 1}\n  b: 1\n  c: 3 # c\n";
    static const char ours[] = "n:\n  # c\n  a: {x: 1, y: 2}\n  b: 2\n";
    static const char base[] = "n:\n  a: {x: 1, y: 1}\n  b: 1\n";
    lb_merge_side sides[] = {
        {"b", base, strlen(base)}, {"o", ours, strlen(ours)}, {"t", theirs, strlen(theirs)}};
    bool done = false;

    for (int64_t n = 1; !done; n++) {
        lb_diag *diag = lb_diag_new();
        lb_text made = {0};
        int32_t conflicts;
        lb_status status;

        cr_assert(n < 20000);
        lb_memory_fail_at(n);
        status = lb_lang_merge(diag, &sides[0], &sides[1], &sides[2], &made, &conflicts);
        done = lb_memory_fail_left() > 0;
        lb_memory_fail_at(0);
        cr_expect(status == LB_OK || (!done && status == LB_MEMORY), "%ld: %d", (long)n, status);
        if (status == LB_OK)
            cr_expect_str_eq(made.bytes, "n:\n  # c\n  a: {x: 2, y: 2}\n  b: 2\n  c: 3  # c\n");
        lb_text_clear(&made);
        lb_diag_free(&diag);
    }
}
