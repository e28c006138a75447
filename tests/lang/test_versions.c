/* tests/lang/test_versions.c: one graph, many deliverables. */
#include "tests/lang/folder.h"

static const char text[] =
    HEAD "params: {headline: KILN HOURS, warmth: 1, double: {expr: warmth * 2}}\n"
         "versions:\n"
         "  de: {params: {headline: OFENSTUNDEN}}\n"
         "  square:\n"
         "    frame: {size: [1080, 1080]}\n"
         "    params: {warmth: {expr: width / 100}}\n"
         "  short: {frame: {range: [11, 20], rate: 25}}\n"
         "nodes:\n"
         "  words: {op: text, text: {param: headline}}\n"
         "  out: {op: glow, image: words, radius: {param: double}}\n"
         "outputs: {o: {image: out, file: \"{version}/k-{version}.#.exr\"}}\n";

static loaded load_version(const char *graph, const char *version, const lb_setting *set,
                           int32_t count)
{
    const lb_lang_options options = {
        .ops = any_ops, .settings = set, .setting_count = count, .version = version};
    loaded l = {.diag = lb_diag_new()};

    l.status = lb_lang_read_text(l.diag, "g.yaml", graph, strlen(graph), &options, &l.graph);
    l.messages = messages_of(l.diag);
    return l;
}

Test(versions, what_they_change)
{
    static const lb_setting set[] = {{"headline", "NUIT"}};
    lb_arena *arena = lb_arena_new();
    loaded l = load_version(text, NULL, NULL, 0);

    cr_assert(l.graph, "%s", l.messages);
    cr_expect_str_eq(l.messages, "");
    cr_expect(l.graph->version_count == 3 && !l.graph->version);
    cr_expect_str_eq(l.graph->versions[1].name, "square");
    cr_expect_str_eq(l.graph->outputs[0].file, "base/k-base.#.exr");
    cr_expect(params_at(&l, "out", 1, arena).radius == 2);
    drop(&l);
    l = load_version(text, "de", NULL, 0);
    cr_assert(l.graph, "%s", l.messages);
    cr_expect_str_eq(l.graph->version->name, "de");
    cr_expect_str_eq(params_at(&l, "words", 1, arena).text, "OFENSTUNDEN");
    cr_expect_str_eq(l.graph->outputs[0].file, "de/k-de.#.exr");
    cr_expect(l.graph->format.width == 1920);
    drop(&l);
    l = load_version(text, "de", set, 1);
    cr_expect_str_eq(params_at(&l, "words", 1, arena).text, "NUIT", "a setting counts more");
    drop(&l);
    l = load_version(text, "square", NULL, 0);
    cr_assert(l.graph, "%s", l.messages);
    cr_expect(l.graph->format.width == 1080 && l.graph->format.height == 1080);
    cr_expect(l.graph->format.first == 1 && l.graph->format.last == 100);
    cr_expect(params_at(&l, "out", 1, arena).radius == 21.6);
    drop(&l);
    l = load_version(text, "short", NULL, 0);
    cr_assert(l.graph, "%s", l.messages);
    cr_expect(l.graph->format.first == 11 && l.graph->format.rate.num == 25);
    cr_expect(l.graph->format.width == 1920);
    drop(&l);
    l = load_version(text, "sqaure", NULL, 0);
    cr_expect(!l.graph && l.status == LB_INVALID);
    cr_expect_str_eq(l.messages, "lampblack: error: version sqaure: the graph has no such version; "
                                 "did you mean 'square'?\n");
    drop(&l);
    lb_arena_free(&arena);
}

/* All versions are looked at; what they share is told once, what is one's own with its name. */
Test(versions, faults)
{
    static const struct {
        const char *text, *messages;
    } rows[] = {
        {HEAD "params: {a: 1, b: 2}\n"
              "versions:\n"
              "  x: {params: {a: 20}}\n"
              "  y: {params: {a: {keys: {1: 1, 50: 12}}}, frame: {range: [1, 40]}}\n"
              "  z: {params: {a: {keys: {1: 1, 50: 12}}}}\n"
              "  w: {params: {b: red}}\n"
              "  v: {frame: {size: [0, 5], rat: 24}}\n"
              "nodes:\n"
              "  s: {op: solid, colour: 1}\n"
              "  out: {op: glow, image: s, gain: {param: a}, radius: {param: b}}\n"
              "outputs: {o: {image: out, file: '#.exr', range: [50, 60]}}\n",
         "11:19: error: this is text; 'b' takes a number\n"
         "11:3: note: in version 'w'\n"
         "6:16: note: its default is here\n"
         "12:22: error: 'size' is 0; it goes from 1 to 65536\n"
         "12:3: note: in version 'v'\n"
         "12:29: error: 'frame' has no key 'rat'; did you mean 'rate'?\n"
         "12:3: note: in version 'v'\n"
         "14:18: error: 'solid' has no key 'colour'; did you mean 'color'?\n"
         "15:43: error: 'gain' is 10.204081632653061; it goes from 0 to 10\n"
         "15:43: note: at frame 42\n"
         "10:3: note: in version 'z'\n"
         "15:43: error: 'gain' is 20; it goes from 0 to 10\n"
         "8:3: note: in version 'x'\n"
         "16:49: error: 'range' has none of the graph's frames, which are 1 to 40\n"
         "9:3: note: in version 'y'\n"},
        {HEAD
         "params: {a: 1}\n"
         "versions:\n"
         "  all: {}\n"
         "  base: {}\n"
         "  1: {}\n"
         "  x: {param: {}, params: {b: 1, aa: 2}}\n"
         "  y: text\n"
         "  z: {params: [1]}\n"
         "nodes: {out: {op: glow, image: out2, gain: {param: a}}}\n"
         "outputs: {o: {image: out, file: 'a{verison}.#.exr'}, p: {image: out, file: 'b{.exr'}}\n",
         "8:3: error: 'all' has a meaning of its own where versions are chosen; name this one "
         "otherwise\n"
         "9:3: error: 'base' has a meaning of its own where versions are chosen; name this one "
         "otherwise\n"
         "10:3: error: '1' is not a name: letters, digits, _ and -, a letter or _ first\n"
         "11:7: error: 'x' has no key 'param'; did you mean 'params'?\n"
         "11:27: error: the graph has no param 'b'\n"
         "11:33: error: the graph has no param 'aa'; did you mean 'a'?\n"
         "12:6: error: 'y' is 'text'; it takes a mapping\n"
         "13:15: error: 'params' is a list; it takes a mapping\n"
         "14:32: error: unknown node 'out2'; did you mean 'out'?\n"
         "15:33: error: '{verison}' means nothing here; {version} is the version's name\n"
         "15:76: error: '{.exr' means nothing here; {version} is the version's name\n"},
        {HEAD "versions: {x: {}, y: {frame: {size: [9, 9]}}}\n"
              "nodes: {out: {op: glow, image: s}, s: {op: sloid}}\n"
              "outputs: {o: {image: out, file: '{version}.#.exr'}}\n",
         "7:44: error: unknown operator 'sloid'; did you mean 'solid'?\n"},
    };

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const lb_lang_options options = {.ops = any_ops, .all_versions = true};
        loaded l = {.diag = lb_diag_new()};

        l.status = lb_lang_read_text(l.diag, "g.yaml", rows[i].text, strlen(rows[i].text), &options,
                                     &l.graph);
        l.messages = messages_of(l.diag);
        for (char *at = l.messages; (at = strstr(at, "g.yaml:"));) /* only line and column */
            memmove(at, at + 7, strlen(at + 7) + 1);
        cr_expect(strcmp(l.messages, rows[i].messages) == 0, "%s\nsays:\n%snot:\n%s", rows[i].text,
                  l.messages, rows[i].messages);
        cr_expect(!l.graph && l.status == LB_INVALID);
        drop(&l);
    }
}
