/* tests/lang/test_errors.c: broken graphs, and every word that is said about them: the rules of
 * docs/language.md from the other side. Places are LINE:COLUMN; HEAD has five lines, so what
 * follows it begins at line 6. */
#include "engine/base/text.h"
#include "tests/lang/loading.h"

typedef struct row {
    const char *text, *messages;
} row;

static void check_text(const char *text, const char *wanted)
{
    loaded l = load(text);
    char *shown = l.messages, *from;

    while ((from = strstr(shown, "g.yaml:"))) /* places without the file's name */
        memmove(from, from + 7, strlen(from + 7) + 1);
    cr_expect(!l.graph && l.status != LB_OK, "accepted:\n%s", text);
    cr_expect(strcmp(shown, wanted) == 0, "%s\nsays:\n%snot:\n%s", text, shown, wanted);
    drop(&l);
}

static void check_rows(const char *before, const row *rows, size_t count, const char *after)
{
    for (size_t i = 0; i < count; i++) {
        lb_text text = {0};

        lb_text_put(&text, before);
        lb_text_put(&text, rows[i].text);
        lb_text_put(&text, after);
        check_text(text.bytes, rows[i].messages);
        lb_text_clear(&text);
    }
}

#define CHECK(before, rows, after) check_rows(before, rows, sizeof(rows) / sizeof(rows)[0], after)

#define TAIL "nodes: {s: {op: solid}}\noutputs: {o: {image: s, file: '#.exr'}}\n"
#define OUT "outputs: {o: {image: out, file: '#.exr'}}\n"

Test(errors, version)
{
    static const row rows[] = {
        {"lampblack: 2\nfame: 3\n",
         "1:12: error: 'lampblack' is 2; this program reads version 1\n"},
        {"lampblack: one\n", "1:12: error: 'lampblack' is 'one'; it takes 1\n"},
        {"lampblack:\n", "1:1: error: 'lampblack' is empty; it takes 1\n"},
        {"frame: {}\n", " error: no 'lampblack: 1', the version of the language\n"},
        {"- a\n", "1:1: error: a graph is a mapping that begins with 'lampblack: 1'\n"},
        {"text\n", "1:1: error: a graph is a mapping that begins with 'lampblack: 1'\n"},
        {"", " error: the file is empty; a graph begins with 'lampblack: 1'\n"},
    };

    CHECK("", rows, "");
}

Test(errors, frame_and_color)
{
    static const row rows[] = {
        {"", " error: no 'frame': a graph says frame: {size: [1920, 1080], rate: 25, range: [1, "
             "100]}\n"},
        {"frame: {}\n", "2:8: error: 'frame' needs 'range'\n2:8: error: 'frame' needs 'rate'\n"
                        "2:8: error: 'frame' needs 'size'\n"},
        {"frame: 25\n", "2:8: error: 'frame' is 25; it takes a mapping\n"},
        {"frame: {size: [0, 1080], rate: 24, range: [1, 2]}\n",
         "2:16: error: 'size' is 0; it goes from 1 to 65536\n"},
        {"frame: {size: [1920, 1080.5], rate: 24, range: [1, 2]}\n",
         "2:22: error: 'size' is 1080.5; it takes whole numbers\n"},
        {"frame: {size: 1920x1080, rate: 24, range: [1, 2]}\n",
         "2:15: error: 'size' is '1920x1080'; it takes a list\n"},
        {"frame: {size: [1, 2, 3], rate: 24, range: [1, 2]}\n",
         "2:15: error: 'size' has 3 values; it takes two\n"},
        {"frame: {size: [8, 8], rate: fast, range: [1, 2]}\n",
         "2:29: error: 'rate' is 'fast'; it takes frames per second, as 25, 23.976 or "
         "\"30000/1001\"\n"},
        {"frame: {size: [8, 8], rate: -1, range: [1, 2]}\n",
         "2:29: error: 'rate' is -1; it takes frames per second, as 25, 23.976 or "
         "\"30000/1001\"\n"},
        {"frame: {size: [8, 8], rate: 24, range: [3, 2]}\n",
         "2:40: error: 'range' ends before it begins\n"},
        {"frame: {size: [8, 8], rate: 24, range: [1, 2000000]}\n",
         "2:44: error: 'range' is 2000000; it goes from -1000000 to 1000000\n"},
        {"frame: {size: [8, 8], rate: 24, range: [1, 2], pixel-aspect: 0}\n",
         "2:62: error: 'pixel-aspect' is 0; it goes from 0.1 to 10\n"},
        {"frame: {sise: [8, 8], size: [8, 8], rate: 24, range: [1, 2]}\n",
         "2:9: error: 'frame' has no key 'sise'; did you mean 'size'?\n"},
        {"frame: {size: [8, 8], rate: 24, range: [1, 2]}\ncolor: {working: srgb}\n",
         "3:18: error: 'working' is 'srgb'; it is one of linear-rec709, linear-rec2020, acescg\n"},
        {"frame: {size: [8, 8], rate: 24, range: [1, 2]}\ncolor: {working: acescq}\n",
         "3:18: error: 'working' is 'acescq'; it is one of linear-rec709, linear-rec2020, acescg; "
         "did you mean 'acescg'?\n"},
        {"frame: {size: [8, 8], rate: 24, range: [1, 2]}\ncolor: {space: acescg}\n",
         "3:9: error: 'color' has no key 'space'\n"},
    };

    CHECK("lampblack: 1\n", rows, TAIL);
}

Test(errors, top_level)
{
    static const row rows[] = {
        {"node: {}\n", "6:1: error: 'the graph' has no key 'node'; did you mean 'nodes'?\n"},
        {"color: {working: acescg}\ncolor: {}\n",
         "7:1: error: 'color' is given twice\n6:1: note: first here\n"},
    };

    CHECK(HEAD, rows, TAIL);
    check_text(HEAD "outputs: {}\n", " error: no 'nodes'\n");
    check_text(HEAD "nodes: [a]\noutputs: {}\n", "6:8: error: 'nodes' is a list; it takes a "
                                                 "mapping\n");
}

Test(errors, params)
{
    static const row rows[] = {
        {"a: {expr: 'b'}, b: {expr: 'c'}, c: {expr: 'a'}",
         "6:53: error: param 'a' depends on itself: a -> b -> c -> a\n"},
        {"a: {param: a}", "6:21: error: param 'a' depends on itself: a -> a\n"},
        {"a: {expr: 'x y'}, b: {param: a}, c: {expr: 'a + b'}", "6:21: error: unknown name 'x'\n"},
        {"a: {param: bb}, bbb: 1", "6:21: error: unknown param 'bb'; did you mean 'bbb'?\n"},
        {"a: ", "6:10: error: 'a' is empty; it takes a number, text, true, false or [numbers]\n"},
        {"a: []", "6:13: error: 'a' is a list of 0; it takes a number, text, true, false or "
                  "[numbers]\n"},
        {"a: [1, b]", "6:17: error: 'a' holds 'b'; it takes numbers there\n"},
        {"a: {value: 1}",
         "6:13: error: 'a' is a mapping; it takes a number, text, true, false or [numbers], or a "
         "mapping with param, expr or keys\n"},
        {"a: {exp: 1}",
         "6:13: error: 'a' is a mapping; it takes a number, text, true, false or [numbers], or a "
         "mapping with param, expr or keys; did you mean 'expr'?\n"},
        {"a: {expr: '1', keys: {}}", "6:25: error: 'keys' cannot stand beside 'expr'\n"},
        {"a: {expr: [1]}", "6:20: error: 'expr' is a list; it takes one word\n"},
        {"a: {param: }", "6:14: error: 'param' is empty; it takes one word\n"},
        {"1st: 5", "6:10: error: '1st' is not a name: letters, digits, _ and -, a letter or _ "
                   "first\n"},
        {"frame: 5", "6:10: error: 'frame' has a meaning of its own in expressions; name the param "
                     "otherwise\n"},
        {"true: 5", "6:10: error: 'true' has a meaning of its own in expressions; name the param "
                    "otherwise\n"},
    };

    CHECK(HEAD "params: {", rows, "}\n" TAIL);
}

Test(errors, nodes)
{
    static const row rows[] = {
        {"out: {op: glwo}", "6:19: error: unknown operator 'glwo'; did you mean 'glow'?\n"},
        {"out: {image: s}", "6:9: error: 'out' needs 'op', the name of an operator\n"},
        {"out: solid", "6:14: error: 'out' is 'solid'; it takes a mapping\n"},
        {"out: {op: [solid]}", "6:19: error: 'op' is a list; it takes one word\n"},
        {"out: {op: glow}", "6:9: error: 'out' needs its input 'image' (an image)\n"},
        {"out: {op: glow, image: }", "6:25: error: 'image' is empty; it takes a node's name\n"},
        {"out: {op: glow, image: [s]}", "6:32: error: 'image' is a list; it takes a node's name\n"},
        {"out: {op: glow, image: ss}", "6:32: error: unknown node 'ss'\n"},
        {"out: {op: glow, image: other}, othr: {op: solid}",
         "6:32: error: unknown node 'other'; did you mean 'othr'?\n"},
        {"out: {op: glow, image: c}, c: {op: camera}",
         "6:32: error: 'image' takes an image; 'c' (camera) makes a scene\n"},
        {"out: {op: render, scene: c.left}, c: {op: camera}",
         "6:34: error: 'c' is a scene and has no layers; only images have\n"},
        {"out: {op: glow, image: 's.'}, s: {op: solid}", "6:32: error: 's.' names no layer\n"},
        {"out: {op: glow, image: out}",
         "6:32: error: these nodes read each other in a cycle: out -> out\n"},
        {"out: {op: solid, colour: '#fff'}",
         "6:26: error: 'solid' has no key 'colour'; did you mean 'color'?\n"},
        {"out: {op: text}", "6:9: error: 'out' needs 'text' (text)\n"},
        {"out: {op: text, text: [a, b]}", "6:31: error: 'text' is a list; it takes text\n"},
        {"out: {op: text, text: }", "6:25: error: 'text' is empty; it takes text\n"},
        {"out: {op: text, text: {param: a}}", "6:39: error: unknown param 'a'\n"},
        {"out: {op: solid, color: #fff\n}",
         "6:26: error: 'color' is empty; it takes a colour (CSS hex or [r, g, b]) (# begins a "
         "comment: quote it)\n"},
        {"out: {op: solid, color: '#ggg'}",
         "6:33: error: 'color' is '#ggg'; it takes a colour (CSS hex or [r, g, b])\n"},
        {"out: {op: solid, color: [1, 2]}",
         "6:33: error: 'color' is 2 numbers; it takes a colour (CSS hex or [r, g, b])\n"},
        {"out: {op: solid, color: [1, 2, 3, 4, 5]}",
         "6:33: error: 'color' is a list of 5; it takes a colour (CSS hex or [r, g, b])\n"},
        {"out: {op: glow, image: s, gain: -1}, s: {op: solid}",
         "6:41: error: 'gain' is -1; it goes from 0 to 10\n"},
        {"out: {op: glow, image: s, gain: high}, s: {op: solid}",
         "6:41: error: 'gain' is 'high'; it takes a number\n"},
        {"out: {op: glow, image: s, gain: true}, s: {op: solid}",
         "6:41: error: 'gain' is true; it takes a number\n"},
        {"out: {op: glow, image: s, gain: .nan}, s: {op: solid}",
         "6:41: error: 'gain' is .nan; it goes from 0 to 10\n"},
        {"out: {op: glow, image: s, gain: {expr: '1 / 0'}}, s: {op: solid}",
         "6:48: error: 'gain' is .inf; it goes from 0 to 10\n"
         "6:51: note: it becomes .inf here\n"},
        {"out: {op: glow, image: s, gain: {expr: 'vec2(1)'}}, s: {op: solid}",
         "6:48: error: 'gain' is 2 numbers; it takes a number\n"},
        {"out: {op: glow, image: s, gain: {expr: \"1 + gian\"}}, s: {op: solid}",
         "6:53: error: unknown name 'gian'\n"},
        {"out: {op: glow, image: s, gain: {expr: 1 + wdth}}, s: {op: solid}",
         "6:52: error: unknown name 'wdth'; did you mean 'width'?\n"},
        {"out: {op: glow, image: s, gain: {expr: \"1 \\u002b gian\"}}, s: {op: solid}",
         "6:58: error: unknown name 'gian'\n"},
        {"out: {op: glow, image: s, gain: {expr: 'frame / 5'}}, s: {op: solid}",
         "6:48: error: 'gain' is 10.2; it goes from 0 to 10\n6:48: note: at frame 51\n"},
        {"out: {op: render, scene: c, samples: 2.5}, c: {op: camera}",
         "6:46: error: 'samples' is 2.5; it takes a whole number\n"},
        {"out: {op: render, scene: c, lighting: yes}, c: {op: camera}",
         "6:47: error: 'lighting' is 'yes'; it takes true or false\n"},
        {"out: {op: composite, source: s, backdrop: s, operator: xnor}, s: {op: solid}",
         "6:64: error: 'operator' is 'xnor'; it is one of source-over, destination-out, xor, "
         "lighter; did you mean 'xor'?\n"},
        {"out: {op: image}", "6:9: error: 'out' needs 'file' (a file's path)\n"},
        {"out: {op: image, file: {expr: \"frame > 5 ? 'a' : 'b'\"}}",
         "6:39: error: 'file' cannot change from frame to frame\n"},
        {"out: {op: blur, image: s, sigma: [1, -2]}, s: {op: solid}",
         "6:42: error: 'sigma' is -2; it goes from 0 to 1000\n"},
        {"out: {op: blur, image: s, sigma: [1, {expr: 'vec2(1)'}]}, s: {op: solid}",
         "6:46: error: a component of 'sigma' is one number\n"},
        {"out: {op: render, scene: c}, c: {op: camera, rotation: [0, 0, 0, 0]}",
         "6:64: error: 'rotation': a quaternion cannot be all zeros\n"},
        {"out: {op: render, scene: g}, g: {op: group, items: c}, c: {op: camera}",
         "6:60: error: 'items' is 'c'; it takes a list of nodes' names\n"},
        {"out: {op: render, scene: g}, g: {op: group, items: [c, d]}, c: {op: camera}",
         "6:64: error: unknown node 'd'\n"},
        {"a b: {op: solid}, out: {op: solid}",
         "6:9: error: 'a b' is not a name: letters, digits, _ and -, a letter or _ first\n"},
        {"out: *gone", "6:14: error: no anchor '&gone' before this alias\n"},
        {"out: {op: glow, image: *gone}", "6:32: error: no anchor '&gone' before this alias\n"},
        {"out: {op: solid, color: [1, *gone, 3]}",
         "6:37: error: no anchor '&gone' before this alias\n"},
    };

    CHECK(HEAD "nodes: {", rows, "}\n" OUT);
}

Test(errors, records)
{
    static const row rows[] = {
        {"amend: {}", "6:47: error: 'amend' is a mapping; it takes a list\n"},
        {"amend: [5]", "6:48: error: 'amend' is 5; it takes a mapping\n"},
        {"amend: [{}]", "6:48: error: 'amend' needs 'select' (a mapping)\n"},
        {"amend: [{select: {lihgt: a}}]",
         "6:58: error: 'select' has no key 'lihgt'; did you mean 'light'?\n"},
        {"amend: [{select: {light: a}, sett: {}}]",
         "6:69: error: 'amend' has no key 'sett'; did you mean 'set'?\n"},
        {"amend: [{select: {}, set: {decay: linar}}]",
         "6:74: error: 'decay' is 'linar'; it is one of none, linear, quadratic; did you mean "
         "'linear'?\n"},
        {"amend: [{select: {}, set: {near: a}}]",
         "6:73: error: 'near' is 'a'; it takes a number\n"},
        {"amend: [{select: {}, set: {material: clya}}]",
         "6:77: error: unknown node 'clya'; did you mean 'clay'?\n"},
        {"amend: [{select: {}, set: {material: k}}]",
         "6:77: error: 'material' takes a material; 'k' (scene) makes a scene\n"},
        {"amend: [{select: {}, set: {material: out.left}}]",
         "6:77: error: 'material' takes a material; 'out' (render) makes an image\n"},
        {"amend: [{select: {}, set: {material: k.left}}]",
         "6:77: error: 'k' is a scene and has no layers; only images have\n"},
    };

    CHECK(HEAD "nodes: {k: {op: scene, file: a.glb,    ", rows,
          "},\n clay: {op: material}, out: {op: render, scene: k}}\n" OUT);
    check_text(HEAD "nodes: {s: {op: solid}, out: {op: mixer, image: s, seed: {expr: t}}}\n" OUT,
               "6:65: error: 'seed' cannot change from frame to frame\n");
    check_text(HEAD "nodes: {s: {op: solid}, out: {op: mixer, image: s,\n"
                    " pairs: [{a: s, inner: [{x: 1}, {x: {expr: t}}]}]}}\n" OUT,
               "7:44: error: 'x' cannot change from frame to frame\n");
}

Test(errors, outputs)
{
    static const row rows[] = {
        {"o: {file: a.exr}", "7:11: error: 'o' needs 'image', a node's name\n"},
        {"o: {image: s}", "7:11: error: 'o' needs 'file' (a file's path)\n"},
        {"o: {image: x, file: a.exr}", "7:22: error: unknown node 'x'\n"},
        {"o: {image: c, file: a.exr}",
         "7:22: error: 'image' takes an image; 'c' (camera) makes a scene\n"},
        {"o: a.exr", "7:14: error: 'o' is 'a.exr'; it takes a mapping\n"},
        {"o: {image: s, file: a.exr, dept: half}",
         "7:38: error: 'o' has no key 'dept'; did you mean 'depth'?\n"},
        {"o: {image: s, file: a.exr, depth: 12}",
         "7:45: error: 'depth' is '12'; it is one of 8, 16, half, float; did you mean '16'?\n"},
        {"o: {image: s, file: a.exr, depth: 8}",
         "7:45: error: 'a.exr' cannot be written with depth 8: EXR holds half or float\n"},
        {"o: {image: s, file: a.png, depth: half}",
         "7:45: error: 'a.png' cannot be written with depth half: PNG holds 8 or 16\n"},
        {"o: {image: s, file: frame}",
         "7:31: error: 'frame' has no extension; it chooses the format: exr, png, hdr, jpg, tga\n"},
        {"o: {image: s, file: a.exr, compression: zap}",
         "7:51: error: 'compression' is 'zap'; it is one of none, rle, zips, zip, piz, pxr24, b44, "
         "b44a; did you mean 'zip'?\n"},
        {"o: {image: s, file: a.jpg, quality: 101}",
         "7:47: error: 'quality' is 101; it goes from 1 to 100\n"},
        {"o: {image: s, file: a.exr, drop-frame: true}",
         "7:50: error: drop-frame timecode is for rates of 30000/1001 and 60000/1001\n"},
        {"o: {image: s, file: a.exr, range: [5, 2]}",
         "7:45: error: 'range' takes the first and the last frame, whole numbers in this order\n"},
        {"o: {image: s, file: a.exr, range: 1.5}",
         "7:45: error: 'range' takes the first and the last frame, whole numbers in this order\n"},
        {"o: {image: s, file: a.exr, range: [101, 200]}",
         "7:45: error: 'range' has none of the graph's frames, which are 1 to 100\n"},
        {"o: {image: s, file: a.exr, range: [1, 9]}, p: {image: s, file: a.exr, range: [9, 20]}",
         "7:74: error: 'p' writes the same files as 'o'\n7:31: note: which is here\n"},
        {"o: {image: s, file: a.exr, layers: normal}",
         "7:46: error: 'layers' is 'normal'; it takes a list\n"},
        {"o: {image: s, file: a.exr, layers: []}",
         "7:46: error: 'layers' is empty; leave it out for all\n"},
        {"o: {image: s, file: a.exr, layers: [R, [G]]}",
         "7:50: error: 'layers' holds a list; it takes names of channels or layers\n"},
        {"o: {image: s, file: {expr: \"frame > 1 ? 'a' : 'b'\"}}",
         "7:38: error: 'file' cannot change from frame to frame\n"},
        {"o: {image: s, file: a.##.exr}, p: {image: s, file: ./a.##.exr}",
         "7:62: error: 'p' writes the same files as 'o'\n7:31: note: which is here\n"},
        {"o: {image: s, file: a.##.exr}, p: {image: s, file: a.#.exr}",
         "7:62: error: 'p' writes the same files as 'o'\n7:31: note: which is here\n"},
        {"9: {image: s, file: a.exr}", "7:11: error: '9' is not a name: letters, digits, _ and -, "
                                       "a letter or _ first\n"},
    };

    CHECK(HEAD "nodes: {s: {op: solid}, c: {op: camera}}\noutputs: {", rows, "}\n");
}

/* What follows from a fault is not told, what does not follow from it is. */
Test(errors, all_at_once_and_no_cascades)
{
    check_text(HEAD "params:\n"
                    "  warm: {expr: 'hot +'}\n" /* its users are left alone */
                    "nodes:\n"
                    "  a: {op: nosuch, file: x, image: b, mesh: 3}\n" /* so are its keys */
                    "  b: {op: glow, image: a, gain: {param: warm}, radius: {expr: 'warm * 2'}}\n"
                    "  c: {op: render, scene: a, camera: a, samples: 99}\n"
                    "  d: {op: composite, source: b, backdrop: c, mask: m}\n"
                    "  e: {op: material, diffuse: d}\n"
                    "outputs:\n"
                    "  o: {image: a, file: o.exr}\n"
                    "  p: {image: e, file: p.exr}\n",
               "7:17: error: unknown name 'hot'\n"
               "9:11: error: unknown operator 'nosuch'\n"
               "11:49: error: 'samples' is 99; it goes from 1 to 64\n"
               "12:52: error: unknown node 'm'\n"
               "13:30: error: 'diffuse' is 'd'; it takes a colour (CSS hex or [r, g, b])\n"
               "16:14: error: 'image' takes an image; 'e' (material) makes a material\n");
}

/* Bytes of several to a code point before the place; a byte order mark; Windows line ends. */
Test(errors, columns_count_code_points)
{
    check_text(HEAD "nodes: {out: {op: text, text: 'Ofenglühen 窯', siz: 3}}\n" OUT,
               "6:47: error: 'text' has no key 'siz'; did you mean 'size'?\n");
    check_text("\xEF\xBB\xBFlampblack: 3\n",
               "1:12: error: 'lampblack' is 3; this program reads version 1\n");
    check_text("lampblack: 1\r\nframe: 3\r\nnodes: {a: {op: b}}\r\n",
               "2:8: error: 'frame' is 3; it takes a mapping\n3:17: error: unknown operator 'b'\n");
}
