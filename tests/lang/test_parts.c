/* tests/lang/test_parts.c: sub-graphs of one's own. */
#include "tests/lang/folder.h"

#define OUT "outputs: {o: {image: out, file: '#.exr'}}\n"

/* Shortest part, on line 6 as all in these tests. */
#define SOFT                                                                                       \
    "parts: {soft: {inputs: {image: image}, params: {sigma: 4}, nodes: {b: {op: blur, image: "     \
    "image, sigma: {param: sigma}}}, result: b}}\n"

/* Inputs, params, nodes; uses within parts; the use's name is the result. */
Test(parts, what_a_use_is)
{
    static const char text[] =
        HEAD "params: {strong: 9, label: NIGHT}\n"
             "parts:\n"
             "  halo:\n"
             "    inputs: {image: image, mask: optional image}\n"
             "    params: {gain: 1, twice: {expr: gain * 2}, label: ''}\n"
             "    nodes:\n"
             "      hot: {op: glow, image: image, mask: mask, gain: {param: gain}}\n"
             "      soft: {op: part/soft, image: hot, sigma: {expr: twice + frame}}\n"
             "      words: {op: text, text: {param: label}}\n"
             "      out: {op: composite, source: words, backdrop: soft, mask: image.depth}\n"
             "    result: out\n"
             "  soft:\n"
             "    inputs: {image: image}\n"
             "    params: {sigma: 4}\n"
             "    nodes: {out: {op: blur, image: image, sigma: {param: sigma}}}\n"
             "    result: out\n"
             "nodes:\n"
             "  s: {op: solid}\n"
             "  a: {op: part/halo, image: s, gain: {param: strong}, label: 1984}\n"
             "  b: {op: part/halo, image: a, mask: s, gain: {keys: {1: 1, 11: 2}}, label: {param: "
             "label}}\n"
             "  out: {op: composite, source: a, backdrop: b, mask: b.depth}\n" OUT;
    loaded l = load(text);
    lb_arena *arena = lb_arena_new();
    const lb_node *out;

    cr_assert(l.graph, "%s", l.messages);
    cr_expect_str_eq(l.messages, "");
    cr_expect(l.graph->node_count == 10 && l.graph->unit_count == 5);
    out = node_of(&l, "out");
    cr_expect_str_eq(l.graph->nodes[out->slots[0].node].name, "a/out");
    cr_expect_str_eq(l.graph->nodes[out->slots[2].node].name, "b/out");
    cr_expect_str_eq(out->slots[2].layer, "depth");
    cr_expect_str_eq(l.graph->nodes[node_of(&l, "b/hot")->slots[0].node].name, "a/out");
    cr_expect_str_eq(l.graph->nodes[node_of(&l, "b/out")->slots[2].node].name, "a/out");
    cr_expect_str_eq(l.graph->nodes[node_of(&l, "b/out")->slots[1].node].name, "b/soft/out");
    cr_expect(node_of(&l, "a/hot")->slots[1].node == -1, "an optional input that is not given");
    cr_expect_str_eq(l.graph->nodes[node_of(&l, "b/hot")->slots[1].node].name, "s");
    cr_expect(params_at(&l, "a/hot", 1, arena).gain == 9);
    cr_expect(params_at(&l, "b/hot", 6, arena).gain == 1.5);
    cr_expect(params_at(&l, "a/soft/out", 5, arena).sigma[0] == 23);
    cr_expect(params_at(&l, "b/soft/out", 6, arena).sigma[0] == 9);
    cr_expect_str_eq(params_at(&l, "a/words", 1, arena).text, "1984");
    cr_expect_str_eq(params_at(&l, "b/words", 1, arena).text, "NIGHT");
    cr_expect_str_eq(l.graph->units[1].name, "a");
    cr_expect_str_eq(l.graph->units[1].part, "halo");
    cr_expect(l.graph->units[1].result == lb_graph_find(l.graph, "a/out"));
    cr_expect(l.graph->units[node_of(&l, "b/soft/out")->unit].parent == node_of(&l, "b/hot")->unit);
    cr_expect(l.graph->param_count == 2, "those of parts are not set from outside");
    lb_arena_free(&arena);
    drop(&l);
}

/* Kinds other than images, references in records, and a part that hands on what it is given. */
Test(parts, kinds)
{
    static const char text[] = HEAD "parts:\n"
                                    "  pot:\n"
                                    "    inputs: {look: material, eye: optional scene}\n"
                                    "    nodes:\n"
                                    "      ball: {op: sphere, material: look}\n"
                                    "      file: {op: scene, file: a.glb, amend: [{select: {mesh: "
                                    "x}, set: {material: look}}]}\n"
                                    "      all: {op: group, items: [ball, eye, file]}\n"
                                    "    result: all\n"
                                    "  same: {inputs: {image: image}, nodes: {}, result: image}\n"
                                    "nodes:\n"
                                    "  clay: {op: material}\n"
                                    "  cam: {op: camera}\n"
                                    "  one: {op: part/pot, look: clay}\n"
                                    "  two: {op: part/pot, look: clay, eye: cam}\n"
                                    "  g: {op: group, items: [one, two]}\n"
                                    "  r: {op: render, scene: g, camera: cam}\n"
                                    "  as-is: {op: part/same, image: r.depth}\n"
                                    "  again: {op: part/same, image: as-is}\n"
                                    "  out: {op: blur, image: again}\n" OUT;
    loaded l = load(text);
    const lb_node *all;

    cr_assert(l.graph, "%s", l.messages);
    cr_expect_str_eq(l.messages, "");
    cr_expect_str_eq(l.graph->nodes[node_of(&l, "out")->slots[0].node].name, "r");
    cr_expect_str_eq(node_of(&l, "out")->slots[0].layer, "depth");
    all = node_of(&l, "one/all");
    cr_expect(all->slot_count == 2, "what is not given is not in the list");
    all = node_of(&l, "two/all");
    cr_expect(all->slot_count == 3);
    cr_expect_str_eq(l.graph->nodes[all->slots[1].node].name, "cam");
    cr_expect_str_eq(l.graph->nodes[node_of(&l, "two/file")->slots[0].node].name, "clay");
    drop(&l);
}

/* A part of another file: its paths are its file's, what is handed in keeps the user's. */
Test(parts, of_included_files)
{
    static const file_text files[] = {
        {"g.yaml", HEAD "include: {kit: sub/kit.yaml}\n"
                        "nodes:\n"
                        "  out: {op: part/kit/card, tex: own.png}\n"
                        "  other: {op: part/kit/more/tile}\n"
                        "  both: {op: composite, source: out, backdrop: other}\n"
                        "outputs: {o: {image: both, file: '#.exr'}}\n"},
        {"sub/kit.yaml", "lampblack: 1\n"
                         "include: {more: more.yaml}\n"
                         "parts:\n"
                         "  card:\n"
                         "    params: {tex: card.png}\n"
                         "    nodes:\n"
                         "      a: {op: image, file: {param: tex}}\n"
                         "      b: {op: image, file: back.png}\n"
                         "      c: {op: part/more/tile}\n"
                         "      d: {op: composite, source: a, backdrop: b, mask: c}\n"
                         "    result: d\n"},
        {"sub/more.yaml", "lampblack: 1\n"
                          "parts: {tile: {nodes: {n: {op: image, file: n.png}}, result: n}}\n"},
        {NULL, NULL},
    };
    folder f = make_folder(files);
    loaded l = load_folder(&f);
    char wanted[100];

    cr_assert(l.graph, "%s", l.messages);
    cr_expect_str_eq(l.messages, "");
    snprintf(wanted, sizeof wanted, "%s/own.png", f.path);
    cr_expect_str_eq(((const any_params *)node_of(&l, "out/a")->params)->file, wanted);
    snprintf(wanted, sizeof wanted, "%s/sub/back.png", f.path);
    cr_expect_str_eq(((const any_params *)node_of(&l, "out/b")->params)->file, wanted);
    cr_expect(node_of(&l, "out/c/n") && node_of(&l, "other/n"));
    drop(&l);
    drop_folder(&f);
}

typedef struct row {
    const char *text, *messages;
} row;

static void check_rows(const row *rows, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        lb_text text = {0};
        loaded l;

        lb_text_put(&text, HEAD);
        lb_text_put(&text, rows[i].text);
        l = load(text.bytes);
        for (char *at = l.messages; (at = strstr(at, "g.yaml:"));) /* only line and column */
            memmove(at, at + 7, strlen(at + 7) + 1);
        cr_expect(strcmp(l.messages, rows[i].messages) == 0, "%s\nsays:\n%snot:\n%s", text.bytes,
                  l.messages, rows[i].messages);
        drop(&l);
        lb_text_clear(&text);
    }
}

#define NODES "nodes:\n  s: {op: solid}\n"

/* What is wrong with a part by itself is told once, with its first use; used or not. */
Test(parts, declarations)
{
    static const row rows[] = {
        {"parts: {p: {nodes: {n: {op: sloid}}, result: n}, q: {nodes: {n: {op: glow}}, result: "
         "m}}\n"
         "nodes: {out: {op: part/p}, b: {op: part/p}}\n" OUT,
         "6:29: error: unknown operator 'sloid'; did you mean 'solid'?\n"
         "7:9: note: part 'p' is used here\n"
         "6:62: error: 'n' needs its input 'image' (an image)\n"
         "6:86: error: unknown node 'm'\n"},
        {"parts:\n"
         "  p: {}\n"
         "  q: {input: {}, nodes: [a], result: }\n"
         "  r: {inputs: {image: picture, op: image, p: optional scene}, params: {p: 1, op: 2, t: "
         "3},\n"
         "      nodes: {p: {op: solid}}, result: p}\n"
         "  1: {nodes: {}, result: x}\n"
         "  v: text\n" NODES,
         "7:3: error: part 'p' needs 'nodes'\n"
         "7:3: error: part 'p' needs 'result', the name of one of its nodes\n"
         "8:7: error: 'q' has no key 'input'; did you mean 'inputs'?\n"
         "8:25: error: 'nodes' is a list; it takes a mapping\n"
         "9:23: error: 'image' is 'picture'; an input is an image, scene, material or texture, or "
         "an optional image ...\n"
         "9:32: error: 'op' names the operator at a use; name the input otherwise\n"
         "9:72: error: 'p' is the name of an input already\n"
         "9:43: note: which is here\n"
         "9:78: error: 'op' is the name of an input already\n"
         "9:32: note: which is here\n"
         "9:78: error: 'op' names the operator at a use; name the param otherwise\n"
         "9:85: error: 't' has a meaning of its own in expressions; name the param otherwise\n"
         "10:15: error: 'p' is the name of an input already\n"
         "9:43: note: which is here\n"
         "11:3: error: '1' is not a name: letters, digits, _ and -, a letter or _ first\n"
         "11:26: error: unknown node 'x'\n"
         "12:6: error: 'v' is 'text'; it takes a mapping\n"},
        /* What an input is decides what it fits, whatever is passed. */
        {"parts:\n"
         "  p:\n"
         "    inputs: {look: material, mask: optional image}\n"
         "    nodes:\n"
         "      a: {op: glow, image: look}\n"
         "      b: {op: glow, image: mask}\n"
         "      c: {op: glow, image: a, mask: look.x}\n"
         "      d: {op: composite, source: b, backdrop: c}\n"
         "    result: mask\n" NODES "  m: {op: material}\n"
         "  u: {op: part/p, look: m}\n"
         "  v: {op: part/p, look: m, mask: s}\n",
         "10:28: error: 'image' takes an image; the input 'look' is a material\n"
         "18:3: note: part 'p' is used here\n"
         "8:14: note: the part declares it here\n"
         "11:28: error: 'b' needs its input 'image', and 'mask' may be missing\n"
         "18:3: note: part 'p' is used here\n"
         "8:30: note: the part declares it here\n"
         "12:37: error: 'mask' takes an image; the input 'look' is a material\n"
         "18:3: note: part 'p' is used here\n"
         "8:14: note: the part declares it here\n"
         "14:13: error: the result is an input that may be missing\n"
         "18:3: note: part 'p' is used here\n"},
        /* A part sees only what is its own. */
        {"params: {warmth: 2}\n"
         "parts:\n"
         "  p:\n"
         "    params: {gain: 1}\n"
         "    nodes:\n"
         "      a: {op: glow, image: s, gain: {expr: warmth * gain}}\n"
         "      b: {op: glow, image: a, gain: {param: warmth}}\n"
         "      c: {op: blur, image: kit/x}\n"
         "    result: c\n" NODES,
         "11:28: error: 's' is outside of part 'p', which sees only its inputs and its own nodes; "
         "pass it in\n"
         "11:44: error: unknown name 'warmth'\n"
         "6:10: note: the file has a param of that name; a part sees only its own, so pass it in\n"
         "12:45: error: unknown param 'warmth'\n"
         "6:10: note: the file has a param of that name; a part sees only its own, so pass it in\n"
         "13:28: error: unknown node 'kit/x'\n"},
        {"parts:\n"
         "  a: {nodes: {x: {op: part/b}}, result: x}\n"
         "  b: {nodes: {x: {op: part/c}}, result: x}\n"
         "  c: {nodes: {x: {op: part/b}}, result: x}\n"
         "  d: {nodes: {x: {op: part/d}}, result: x}\n" NODES "  out: {op: part/a}\n" OUT,
         "9:23: error: part 'b' uses itself: b -> c -> b\n"
         "8:15: note: part 'c' is used here\n"
         "10:23: error: part 'd' uses itself: d -> d\n"
         "10:15: note: part 'd' is used here\n"},
    };

    check_rows(rows, sizeof rows / sizeof rows[0]);
}

/* What is wrong with a use; and what is wrong with a part because of it. */
Test(parts, uses)
{
    static const row rows[] = {
        {SOFT NODES "  m: {op: material}\n"
                    "  a: {op: part/sotf, image: s}\n"
                    "  b: {op: part/soft}\n"
                    "  c: {op: part/soft, image: m, sgima: 2}\n"
                    "  d: {op: part/soft, image: s.}\n"
                    "  e: {op: part/soft, image: x, sigma: many}\n"
                    "  f: {op: part/soft, image: s, sigma: [1, 2, 3]}\n"
                    "  g: {op: glow, image: a, mask: b/b}\n"
                    "  h: {op: render, scene: f}\n",
         "10:16: error: unknown part 'sotf'; did you mean 'soft'?\n"
         "11:3: error: 'b' needs its input 'image' (an image)\n"
         "6:25: note: the part declares it here\n"
         "12:29: error: 'image' takes an image; 'm' (material) makes a material\n"
         "6:25: note: the part declares it here\n"
         "12:32: error: 'part/soft' has no key 'sgima'; did you mean 'sigma'?\n"
         "13:29: error: 's.' names no layer\n"
         "14:29: error: unknown node 'x'\n"
         "14:39: error: this is text; 'sigma' takes a number\n"
         "6:49: note: its default is here\n"
         "15:39: error: 'sigma' is a list; it takes a number\n"
         "16:33: error: 'b/b' is inside a part; of 'b' only the result can be used\n"
         "17:26: error: 'scene' takes a scene; 'f' (blur) makes an image\n"},
        /* A value that is too large for what the part does with it: told for each use. */
        {SOFT "nodes:\n"
              "  s: {op: solid}\n"
              "  a: {op: part/soft, image: s, sigma: 2000}\n"
              "  out: {op: part/soft, image: a, sigma: {expr: frame * 100}}\n" OUT,
         "6:111: error: 'sigma' is 1100; it goes from 0 to 1000\n"
         "6:111: note: at frame 11\n"
         "10:3: note: part 'soft' is used here\n"
         "6:111: error: 'sigma' is 2000; it goes from 0 to 1000\n"
         "9:3: note: part 'soft' is used here\n"},
        {"parts: {deep: {inputs: {i: image}, params: {g: 1}, nodes: {n: {op: glow, image: i, gain: "
         "{param: g}}}, result: n},\n"
         "  top: {inputs: {i: image}, nodes: {d: {op: part/deep, image: i, g: 50}}, result: d}}\n"
         "nodes: {s: {op: solid}, out: {op: part/top, i: s}}\n" OUT,
         "6:98: error: 'gain' is 50; it goes from 0 to 10\n"
         "7:37: note: part 'deep' is used here\n"
         "8:25: note: part 'top' is used here\n"
         "7:37: error: 'd' needs its input 'i' (an image)\n"
         "8:25: note: part 'top' is used here\n"
         "6:25: note: the part declares it here\n"
         "7:56: error: 'part/deep' has no key 'image'\n"
         "8:25: note: part 'top' is used here\n"},
        {"parts: {same: {inputs: {i: image}, nodes: {}, result: i}}\n"
         "nodes: {a: {op: part/same, i: b}, b: {op: part/same, i: a}, s: {op: part/same, i: s}, "
         "out: "
         "{op: blur, image: a}}\n" OUT,
         "7:57: error: 'a' stands for itself: its part hands on what it is given\n"
         "7:83: error: 's' stands for itself: its part hands on what it is given\n"},
        {SOFT "nodes: {a: {op: part/soft, image: out}, out: {op: blur, image: a}}\n" OUT,
         "6:89: error: these nodes read each other in a cycle: out -> a/b -> out\n"},
    };

    check_rows(rows, sizeof rows / sizeof rows[0]);
}

Test(parts, warnings)
{
    static const row rows[] = {
        {"params: {hot: 1, gain: 2, hot-gain: {expr: hot + gain}}\n"
         "parts:\n"
         "  p: {inputs: {i: image, j: image}, params: {k: 1}, nodes: {n: {op: solid}, m: {op: "
         "blur, "
         "image: i}}, result: n}\n"
         "  q: {nodes: {n: {op: solid}, o: {op: solid}}, result: n}\n"
         "nodes: {s: {op: solid}, out: {op: part/p, i: s, j: s}, t: {op: part/p, i: out, j: "
         "out}}\n" OUT,
         "6:27: warning: in expressions 'hot-gain' is this param, and not 'hot' minus 'gain'\n"
         "6:27: warning: param 'hot-gain' is not used\n"
         "8:26: warning: part 'p' does not use its input 'j'\n"
         "8:46: warning: part 'p' does not use its param 'k'\n"
         "8:77: warning: the result of part 'p' does not need 'm'\n"
         "9:3: warning: part 'q' is not used\n"
         "9:31: warning: the result of part 'q' does not need 'o'\n"
         "10:9: warning: no output needs 's'\n"
         "10:56: warning: no output needs 't'\n"},
    };

    check_rows(rows, sizeof rows / sizeof rows[0]);
    /* A file of parts alone is there for others. */
    {
        loaded l = load("lampblack: 1\nparams: {k: 1}\n"
                        "parts: {p: {nodes: {n: {op: solid}}, result: n}}\n");

        cr_expect(l.graph && l.graph->node_count == 0);
        cr_expect_str_eq(l.messages, "");
        drop(&l);
    }
}

/* Parts that use each other twice would be 2 to the power of their number. */
Test(parts, limits)
{
    lb_text text = {0};
    loaded l;

    lb_text_put(&text, HEAD "parts:\n  p0: {nodes: {n: {op: solid}}, result: n}\n");
    for (int i = 1; i < 31; i++)
        lb_text_printf(&text,
                       "  p%d: {nodes: {a: {op: part/p%d}, b: {op: part/p%d}, c: {op: composite, "
                       "source: a, backdrop: b}}, result: c}\n",
                       i, i - 1, i - 1);
    lb_text_put(&text, "nodes: {out: {op: part/p30}}\n" OUT);
    l = load(text.bytes);
    cr_expect(l.status == LB_LIMIT && !l.graph);
    cr_expect(
        strstr(l.messages, "error: the graph grows over 200000 nodes, inputs and params here"),
        "%s", l.messages);
    drop(&l);
    lb_text_clear(&text);
    lb_text_put(&text, HEAD "parts:\n  p0: {nodes: {n: {op: solid}}, result: n}\n");
    for (int i = 1; i < 3000; i++)
        lb_text_printf(&text, "  p%d: {nodes: {a: {op: part/p%d}}, result: a}\n", i, i - 1);
    lb_text_put(&text, "nodes: {out: {op: part/p2999}}\n" OUT);
    l = load(text.bytes);
    cr_expect(l.status == LB_LIMIT && !l.graph);
    cr_expect(strstr(l.messages, "error: parts use each other at most 32 deep"), "%s", l.messages);
    drop(&l);
    lb_text_clear(&text);
}

/* A graph of ten thousand uses is read in a moment. */
Test(parts, many, .timeout = 60)
{
    lb_text text = {0};
    loaded l;

    lb_text_put(&text, HEAD SOFT "nodes:\n  n0: {op: solid}\n");
    for (int i = 1; i <= 10000; i++)
        lb_text_printf(&text, "  n%d: {op: part/soft, image: n%d, sigma: %d}\n", i, i - 1, i % 9);
    lb_text_put(&text, "outputs: {o: {image: n10000, file: '#.exr'}}\n");
    l = load(text.bytes);
    cr_expect(l.graph && l.graph->node_count == 10001, "%s", l.messages);
    drop(&l);
    lb_text_clear(&text);
}
