/* tests/lang/test_include.c: graphs of several files. */
#include "tests/lang/folder.h"

#define ONE "lampblack: 1\n"
#define OUT "outputs: {o: {image: out, file: '#.exr'}}\n"

/* Names by prefix, paths by file, params from outside. */
Test(include, what_a_name_means)
{
    static const file_text files[] = {
        {"g.yaml",
         HEAD "include:\n"
              "  kit: looks/looks.yaml\n"
              "  hot: {file: looks/looks.yaml, params: {warmth: {expr: heat * 2}}}\n"
              "params: {heat: 3}\n"
              "nodes:\n"
              "  warm: {op: blur, image: kit/warm, sigma: 1}\n"
              "  mask: {op: glow, image: hot/deep/base.depth, gain: {param: hot/warmth}}\n"
              "  out: {op: composite, source: warm, backdrop: hot/warm, mask: mask}\n" OUT},
        {"looks/looks.yaml", ONE "include: {deep: ../base.yaml}\n"
                                 "params: {warmth: 1, half: {expr: warmth / 2}}\n"
                                 "nodes:\n"
                                 "  map: {op: image, file: maps/a.png}\n"
                                 "  warm: {op: glow, image: map, mask: deep/base, gain: {param: "
                                 "half}}\n"
                                 "outputs: {ignored: {image: nothing}}\n"},
        {"base.yaml", ONE "frame: {size: [1, 1], rate: 1, range: [1, 1]}\n"
                          "nodes: {base: {op: solid}}\n"},
        {NULL, NULL},
    };
    folder f = make_folder(files);
    loaded l = load_folder(&f);
    lb_arena *arena = lb_arena_new();
    char wanted[100];
    int32_t warm;

    cr_assert(l.graph, "%s", l.messages);
    cr_expect_str_eq(l.messages, "");
    cr_expect(l.graph->format.width == 1920, "the frame is that of the graph");
    cr_expect(l.graph->node_count == 9 && l.graph->unit_count == 5 && l.graph->output_count == 1);
    cr_expect(params_at(&l, "kit/warm", 1, arena).gain == 0.5);
    cr_expect(params_at(&l, "hot/warm", 1, arena).gain == 3);
    cr_expect(params_at(&l, "mask", 1, arena).gain == 6);
    snprintf(wanted, sizeof wanted, "%s/looks/maps/a.png", f.path);
    cr_expect_str_eq(params_at(&l, "hot/map", 1, arena).file, wanted);
    warm = lb_graph_find(l.graph, "kit/warm");
    cr_expect(node_of(&l, "warm")->slots[0].node == warm);
    cr_expect_str_eq(l.graph->nodes[l.graph->nodes[warm].slots[1].node].name, "kit/deep/base");
    cr_expect_str_eq(node_of(&l, "mask")->slots[0].layer, "depth");
    cr_expect_str_eq(l.graph->units[l.graph->nodes[warm].unit].name, "kit");
    cr_expect(l.graph->units[l.graph->nodes[warm].unit].loc.line == 7);
    cr_expect_str_eq(lb_node_local(&l.graph->nodes[warm]), "warm");
    cr_assert(l.graph->param_count == 5);
    cr_expect_str_eq(l.graph->params[1].name, "kit/warmth");
    cr_expect_str_eq(l.graph->params[4].value, "3");
    lb_arena_free(&arena);
    drop(&l);
    drop_folder(&f);
}

/* --set reaches into included files and wins over what the graph sets there. A path that is handed
 * in stays relative to the file that names it. */
Test(include, values_from_outside)
{
    static const file_text files[] = {
        {"g.yaml",
         HEAD "include: {kit: {file: sub/kit.yaml, params: {tex: own/b.png, a: [4, 5]}}}\n"
              "nodes: {out: {op: blur, image: kit/map, sigma: {param: kit/a}}}\n" OUT},
        {"sub/kit.yaml", ONE "params: {tex: a.png, a: [1, 2], b: 1}\n"
                             "nodes: {map: {op: image, file: {param: tex}, space: raw}}\n"},
        {NULL, NULL},
    };
    static const lb_setting set[] = {{"kit/a", "[7, 8]"}}, bad[] = {{"kit/aa", "1"}};
    folder f = make_folder(files);
    lb_lang_options options = {.ops = any_ops, .settings = set, .setting_count = 1};
    loaded l = load_folder_with(&f, &options);
    lb_arena *arena = lb_arena_new();
    char wanted[100];

    cr_assert(l.graph, "%s", l.messages);
    snprintf(wanted, sizeof wanted, "%s/own/b.png", f.path);
    cr_expect_str_eq(params_at(&l, "kit/map", 1, arena).file, wanted);
    cr_expect(params_at(&l, "out", 1, arena).sigma[1] == 8);
    drop(&l);
    options.settings = bad;
    l = load_folder_with(&f, &options);
    cr_expect_str_eq(l.messages, "lampblack: error: setting kit/aa: the graph has no such param\n");
    drop(&l);
    lb_arena_free(&arena);
    drop_folder(&f);
}

Test(include, faults)
{
    static const file_text rows[][5] = {
        {{"g.yaml", HEAD "include: {a: h.yaml}\nnodes: {out: {op: solid}}\n" OUT},
         {"h.yaml", ONE "include: {b: i.yaml}\n"},
         {"i.yaml", ONE "include: {c: ./h.yaml}\n"},
         {NULL, "i.yaml:2:14: error: this file includes itself: h.yaml -> i.yaml -> h.yaml\n"
                "h.yaml:2:14: note: the file is included here\n"}},
        {{"g.yaml", HEAD "include: {g: g.yaml}\nnodes: {out: {op: solid}}\n" OUT},
         {NULL, "g.yaml:6:14: error: this file includes itself: g.yaml -> g.yaml\n"}},
        {{"g.yaml",
          HEAD "include: {a: no.yaml, b: h.yaml, out: h.yaml}\n"
               "nodes: {out: {op: composite, source: a/x, backdrop: b/y, mask: b}}\n" OUT},
         {"h.yaml", ONE "nodes: {x: {op: solid}}\n"},
         {NULL, "g.yaml:6:14: error: cannot open 'no.yaml': No such file or directory\n"
                "g.yaml:7:9: error: 'out' is the name of an included file already\n"
                "g.yaml:6:34: note: which is here\n"
                "g.yaml:7:53: error: unknown node 'b/y'\n"
                "g.yaml:7:64: error: 'b' is an included file; name one of its nodes, b/NODE\n"
                "g.yaml:8:22: error: 'out' is an included file; name one of its nodes, "
                "out/NODE\n"}},
        {{"g.yaml", HEAD "include: {a: [x], b: {fill: h.yaml}, c: {file: h.yaml, params: {gian: "
                         "1, gain: x}}}\nnodes: {out: {op: solid}}\n" OUT},
         {"h.yaml", ONE "params: {gain: 1}\n"},
         {NULL, "g.yaml:6:14: error: 'a' is a list; it takes one word\n"
                "g.yaml:6:19: error: 'b' needs 'file', a graph file\n"
                "g.yaml:6:23: error: 'b' has no key 'fill'; did you mean 'file'?\n"
                "g.yaml:6:65: error: 'h.yaml' has no param 'gian'; did you mean 'gain'?\n"
                "g.yaml:6:80: error: this is text; 'gain' takes a number\n"
                "h.yaml:2:10: note: its default is here\n"}},
        {{"g.yaml", HEAD "include: {a: h.yaml}\ncolor: {working: acescg}\n"
                         "nodes: {out: {op: glow, image: a/x}}\n" OUT},
         {"h.yaml", "lampblack: 2\n"},
         {NULL, "h.yaml:1:12: error: 'lampblack' is 2; this program reads version 1\n"
                "g.yaml:6:14: note: the file is included here\n"}},
        {{"g.yaml", HEAD "include: {a: h.yaml}\ncolor: {working: acescg}\n"
                         "nodes: {out: {op: glow, image: a/x}}\n" OUT},
         {"h.yaml", ONE "color: {working: linear-rec709}\nnodes: {x: {op: solid, colr: 1}}\n"},
         {NULL,
          "h.yaml:2:18: error: 'working' is 'linear-rec709'; the graph that includes the file "
          "works in acescg\n"
          "g.yaml:6:14: note: the file is included here\n"
          "h.yaml:3:24: error: 'solid' has no key 'colr'; did you mean 'color'?\n"
          "g.yaml:6:11: note: the file is included here\n"}},
    };

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        size_t count = 0;

        while (rows[i][count].name)
            count++;
        check_files(rows[i], rows[i][count].text);
    }
}

/* A fault of a file is told once, however often the file is included; what differs from one to the
 * other is told for each. */
Test(include, once)
{
    static const file_text files[] = {
        {"g.yaml",
         HEAD "include: {a: h.yaml, b: {file: h.yaml, params: {gain: 99}}, c: i.yaml}\n"
              "nodes: {out: {op: composite, source: a/x, backdrop: b/x, mask: c/a/x}}\n" OUT},
        {"h.yaml", ONE "params: {gain: 1}\n"
                       "nodes:\n"
                       "  x: {op: glow, image: y, gain: {param: gain}}\n"
                       "  z: {op: glow}\n"
                       "  s: {op: render, scene: x}\n"},
        {"i.yaml", ONE "include: {a: h.yaml}\n"},
        {NULL, NULL},
    };

    check_files(files, "h.yaml:4:24: error: unknown node 'y'\n"
                       "g.yaml:6:11: note: the file is included here\n"
                       "h.yaml:4:41: error: 'gain' is 99; it goes from 0 to 10\n"
                       "g.yaml:6:22: note: the file is included here\n"
                       "h.yaml:5:3: error: 'z' needs its input 'image' (an image)\n"
                       "g.yaml:6:11: note: the file is included here\n"
                       "h.yaml:6:26: error: 'scene' takes a scene; 'x' (glow) makes an image\n"
                       "g.yaml:6:11: note: the file is included here\n");
}

Test(include, warnings)
{
    static const file_text files[] = {
        {"g.yaml",
         HEAD "include: {a: h.yaml, b: h.yaml}\nnodes: {out: {op: glow, image: a/x}}\n" OUT},
        {"h.yaml", ONE "params: {p: 1}\nnodes: {x: {op: solid}, y: {op: solid}}\n"
                       "parts: {q: {nodes: {n: {op: solid}}, result: n}}\n"},
        {NULL, NULL},
    };

    check_files(files, "g.yaml:6:22: warning: nothing of 'b' is used\n");
}

/* Files that include each other twice would be 2 to the power of their number. */
Test(include, limits)
{
    enum { COUNT = 40 };
    char names[COUNT][16], texts[COUNT][120];
    file_text files[COUNT + 2] = {
        {"g.yaml", HEAD "include: {a: f0.yaml}\nnodes: {out: {op: solid}}\n" OUT}};

    for (int i = 0; i < COUNT; i++) {
        snprintf(names[i], sizeof names[i], "f%d.yaml", i);
        snprintf(texts[i], sizeof texts[i], ONE "nodes: {s: {op: solid}}\n%s", "");
        if (i + 1 < COUNT && i < 25)
            snprintf(texts[i], sizeof texts[i],
                     ONE "include: {a: f%d.yaml, b: f%d.yaml}\nnodes: {s: {op: solid}}\n", i + 1,
                     i + 1);
        files[i + 1] = (file_text){names[i], texts[i]};
    }
    {
        folder f = make_folder(files);
        loaded l = load_folder(&f);

        cr_expect(l.status == LB_LIMIT && !l.graph);
        cr_expect(strstr(l.messages, "error: the graph grows over 200000 nodes, inputs and params"),
                  "%s", l.messages);
        drop(&l);
        drop_folder(&f);
    }
    for (int i = 0; i + 1 < COUNT; i++)
        snprintf(texts[i], sizeof texts[i], ONE "include: {a: f%d.yaml}\n", i + 1);
    {
        folder f = make_folder(files);
        loaded l = load_folder(&f);

        cr_expect(l.status == LB_LIMIT && !l.graph);
        cr_expect(strstr(l.messages, "f31.yaml:2:14: error: files include each other at most 32"),
                  "%s", l.messages);
        drop(&l);
        drop_folder(&f);
    }
}

/* Every allocation fails once; what was made is given back (the leak checker looks). */
Test(include, no_memory)
{
    static const file_text files[] = {
        {"g.yaml", HEAD "include: {a: h.yaml, b: {file: h.yaml, params: {gain: 2}}}\n"
                        "nodes: {out: {op: part/a/soft, image: b/x}}\n" OUT},
        {"h.yaml",
         ONE "params: {gain: 1}\n"
             "nodes: {y: {op: solid}, x: {op: glow, image: y, gain: {param: gain}}}\n"
             "parts: {soft: {inputs: {image: image}, nodes: {n: {op: blur, image: image}},"
             " result: n}}\n"},
        {NULL, NULL},
    };
    const lb_lang_options options = {.ops = any_ops};
    folder f = make_folder(files);
    char path[200];
    int64_t failed = 0;

    join(path, sizeof path, f.path, files[0].name);
    for (bool is_last = false; !is_last; failed++) {
        lb_diag *diag = lb_diag_new();
        lb_graph *graph;
        lb_status status;

        lb_memory_fail_at(failed + 1);
        status = lb_lang_read(diag, path, &options, &graph);
        is_last = lb_memory_fail_left() > 0;
        lb_memory_fail_at(0);
        cr_expect((status == LB_OK) == (graph != NULL));
        cr_expect(status == LB_OK || (status == LB_MEMORY && !is_last), "%d at %d", status,
                  (int)failed);
        lb_graph_free(&graph);
        lb_diag_free(&diag);
    }
    cr_expect(failed > 50, "%d", (int)failed);
    drop_folder(&f);
}
