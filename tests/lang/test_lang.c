/* tests/lang/test_lang.c: graphs that are good, and what becomes of them. */
#include <math.h>
#include <unistd.h>

#include "engine/base/file.h"
#include "tests/lang/loading.h"

/* A graph with something of everything. */
static const char example[] =
    "lampblack: 1\n"
    "\n"
    "frame:\n"
    "  size: [1920, 1080]\n"
    "  rate: 30\n"
    "  range: [1, 270]\n"
    "\n"
    "color:\n"
    "  working: linear-rec709\n"
    "\n"
    "params:\n"
    "  headline: KILN HOURS\n"
    "  ember: \"#ff7a1f\"\n"
    "  warmth: 1.2\n"
    "\n"
    "nodes:\n"
    "  kiln:\n"
    "    op: scene\n"
    "    file: assets/kiln.glb\n"
    "    pin: sha256:6f1c\n"
    "    amend:\n"
    "      - select: {light: \"kicker\"}\n"
    "        set: {decay: linear, color: [1, 1, 1]}\n"
    "      - select: {camera: \"shot_.*\"}\n"
    "        set: {near: 1, far: 2000}\n"
    "      - select: {mesh: \"plaque|stamp_.*\"}\n"
    "        set: {material: clay}\n"
    "\n"
    "  clay-color: {op: image, file: assets/clay_color.png, space: srgb}\n"
    "  clay-height: {op: image, file: assets/clay_height.png, space: raw}\n"
    "  clay-map:  {op: uv, image: clay-color, wrap: repeat, tile: [2, 2]}\n"
    "  clay-bump: {op: bump, image: clay-height, from: height, scale: 1.5, wrap: repeat}\n"
    "  clay:\n"
    "    op: material\n"
    "    model: blinn\n"
    "    diffuse: [0.6, 0.6, 0.6]\n"
    "    diffuse-map: clay-map\n"
    "    bump-map: clay-bump\n"
    "    specular: 0.6\n"
    "    exponent: 50\n"
    "\n"
    "  beauty:\n"
    "    op: render\n"
    "    scene: kiln\n"
    "    camera: shot_main\n"
    "    samples: 16\n"
    "    shutter: 180               # degrees of 360\n"
    "\n"
    "  hot:\n"
    "    op: glow\n"
    "    image: beauty\n"
    "    threshold: 1.0\n"
    "    radius: {keys: {1: 0, 45: 40, 120: 64}, ease: ease-in-out}\n"
    "    gain: {expr: \"warmth * (0.9 + 0.1 * noise(t * 3))\"}\n"
    "\n"
    "  title: {op: text, text: {param: headline}, font: \"DejaVu Serif\", size: 140, "
    "align: center}\n"
    "  final: {op: composite, source: title, backdrop: hot, operator: source-over}\n"
    "\n"
    "outputs:\n"
    "  master: {image: final, file: \"out/kiln.####.exr\", depth: half, compression: zip}\n"
    "  review: {image: final, file: \"out/kiln.####.png\", view: srgb, depth: 8}\n";

static void check_wiring(const loaded *l)
{
    const lb_node *kiln = node_of(l, "kiln"), *hot = node_of(l, "hot"), *clay = node_of(l, "clay"),
                  *beauty = node_of(l, "beauty");
    const any_params *p = kiln->params;
    const any_amend *amend = p->amend.items;

    cr_expect(kiln->slot_count == 1 && kiln->binding_count == 0);
    cr_assert(p->amend.count == 3);
    cr_expect_str_eq(amend[0].select.light, "kicker");
    cr_expect(!amend[0].select.camera && amend[0].set.decay == 1 && amend[0].set.material == -1);
    cr_expect(amend[0].set.color[0] == 1 && amend[0].set.color[3] == 1);
    cr_expect(isnan(amend[0].set.near) && amend[1].set.near == 1 && amend[1].set.far == 2000);
    cr_expect(amend[1].set.decay == -1 && isnan(amend[1].set.color[0]));
    cr_assert(amend[2].set.material == 0, "the slot of the reference");
    cr_expect_str_eq(l->graph->nodes[kiln->slots[0].node].name, "clay");
    cr_expect(clay->slot_count == 2 && clay->slots[0].node >= 0 && clay->slots[1].node >= 0);
    cr_expect(beauty->slots[1].node == -1, "a camera's name in the scene is no node");
    cr_expect_str_eq(((const any_params *)beauty->params)->camera, "shot_main");
    cr_expect(hot->slot_count == 2 && hot->slots[0].node >= 0 && hot->slots[1].node == -1);
    cr_expect(hot->slots[0].loc.line == 51 && hot->slots[0].loc.column == 12);
    cr_expect(hot->loc.line == 49 && hot->locs[0].line == 52 && hot->locs[0].column == 16);
    cr_expect(hot->locs[3].line == 49, "the node's place, where a parameter is not given");
}

Test(lang, the_example)
{
    loaded l = load(example);
    lb_arena *arena = lb_arena_new();
    const lb_format *format;
    any_params p;

    cr_assert(l.status == LB_OK && l.graph, "%s", l.messages);
    cr_expect_str_eq(l.messages, "g.yaml:13:3: warning: param 'ember' is not used\n");
    format = &l.graph->format;
    cr_expect(format->width == 1920 && format->height == 1080 && format->scale == 1);
    cr_expect(format->rate.num == 30 && format->rate.den == 1 && format->pixel_aspect == 1);
    cr_expect(format->first == 1 && format->last == 270);
    cr_expect(format->working == LB_SPACE_LINEAR_REC709);
    cr_expect(l.graph->node_count == 10 && l.graph->output_count == 2);
    cr_expect_str_eq(l.graph->file, "g.yaml");
    cr_expect_str_eq(l.graph->folder, ".");
    check_wiring(&l);
    p = params_at(&l, "hot", 45, arena);
    cr_expect(p.radius == 40 && p.threshold == 1);
    cr_expect(fabs(p.gain - 1.2 * 0.9) <= 1.2 * 0.1);
    p = params_at(&l, "hot", 1, arena); /* noise is 0 at whole numbers */
    cr_expect(p.radius == 0 && fabs(p.gain - 1.08) < 1e-15);
    cr_expect_str_eq(params_at(&l, "title", 1, arena).text, "KILN HOURS");
    lb_arena_free(&arena);
    drop(&l);
}

Test(lang, outputs)
{
    loaded l = load(HEAD "nodes: {s: {op: solid}}\n"
                         "outputs:\n"
                         "  a: {image: s, file: out/a.####.exr}\n"
                         "  b: {image: s.depth, file: /tmp/b.#.png, layers: [R, depth]}\n"
                         "  c: {image: s, file: c.exr, depth: float, compression: piz}\n"
                         "  d: {image: s, file: d.jpg, quality: 75, view: rec709}\n"
                         "  e: {image: s, file: e.png, depth: 16, view: raw}\n"
                         "  f: {image: s, file: f.png, range: [1, 9]}\n"
                         "  g: {image: s, file: f.png, range: 10}\n");
    const lb_output *o;

    cr_assert(l.graph, "%s", l.messages);
    o = l.graph->outputs;
    cr_expect(o[0].write.depth == LB_DEPTH_HALF && o[0].write.compression == LB_COMPRESSION_ZIP);
    cr_expect(o[0].write.rate.num == 24 && !o[0].write.drop_frame && o[0].write.index == 0);
    cr_expect(o[0].image.node == 0 && !o[0].image.layer && !o[0].layers);
    cr_expect_str_eq(o[0].name, "a");
    cr_expect_str_eq(o[0].file, "out/a.####.exr");
    cr_expect(o[0].file_loc.line == 8 && o[0].file_loc.column == 23);
    cr_expect(o[1].write.depth == LB_DEPTH_8 && o[1].write.view == LB_VIEW_SRGB);
    cr_expect_str_eq(o[1].image.layer, "depth");
    cr_expect_str_eq(o[1].file, "/tmp/b.#.png");
    cr_expect_str_eq(o[1].layers[0], "R");
    cr_expect_str_eq(o[1].layers[1], "depth");
    cr_expect(!o[1].layers[2]);
    cr_expect(o[2].write.depth == LB_DEPTH_FLOAT && o[2].write.compression == LB_COMPRESSION_PIZ);
    cr_expect(o[3].write.quality == 75 && o[3].write.view == LB_VIEW_REC709);
    cr_expect(o[4].write.depth == LB_DEPTH_16 && o[4].write.view == LB_VIEW_RAW);
    cr_expect(o[4].first <= 1 && o[4].last >= 100);
    cr_expect(o[5].first == 1 && o[5].last == 9 && o[6].first == 10 && o[6].last == 10);
    drop(&l);
}

Test(lang, rates)
{
    static const struct {
        const char *text;
        int32_t num, den;
    } rows[] = {
        {"25", 25, 1},
        {"\"30000/1001\"", 30000, 1001},
        {"30000/1001", 30000, 1001},
        {"23.976", 24000, 1001}, /* the nearest of the usual ones: common practice */
        {"29.97", 30000, 1001},
        {"12.5", 25, 2},
        {"\"60\"", 60, 1},
    };

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        char text[300];
        loaded l;

        snprintf(text, sizeof text,
                 "lampblack: 1\nframe: {size: [8, 8], rate: %s, range: [0, 9], pixel-aspect: 2}\n"
                 "nodes: {s: {op: solid}}\noutputs: {o: {image: s, file: '#.png', "
                 "drop-frame: %s}}\n",
                 rows[i].text, rows[i].num == 30000 ? "true" : "false");
        l = load(text);
        cr_assert(l.graph, "%s: %s", rows[i].text, l.messages);
        cr_expect(l.graph->format.rate.num == rows[i].num &&
                      l.graph->format.rate.den == rows[i].den,
                  "%s", rows[i].text);
        cr_expect(l.graph->format.pixel_aspect == 2);
        cr_expect(l.graph->outputs[0].write.drop_frame == (rows[i].num == 30000));
        drop(&l);
    }
}

/* Values at a frame; sources in records and in structs within the parameters. */
Test(lang, values)
{
    loaded l = load(
        HEAD "params:\n"
             "  size: {expr: 'frame * 2'}\n" /* used before it is defined */
             "  twice: {expr: 'wave * 2'}\n"
             "  wave: {expr: 'mod(size, 7)'}\n"
             "  tint: '#f00'\n"
             "  shade: {expr: 'tint * 0.5'}\n"
             "  name: ash\n"
             "  dark: true\n"
             "  spot: [1, 2, 3]\n"
             "nodes:\n"
             "  s: {op: solid, color: {param: tint}}\n"
             "  u: {op: solid, color: {param: shade}}\n"
             "  t: {op: text, text: {expr: 'name + \"-\" + name'}, size: {expr: 'twice + 1'}}\n"
             "  v: {op: text, text: 1984, font: {param: tint}}\n"
             "  x:\n"
             "    op: mixer\n"
             "    image: s\n"
             "    target: [{param: wave}, {expr: 'spot.z'}, 3, {keys: {1: 0, 100: 99}}]\n"
             "    lens: {focus: {expr: 'frame / 2'}, name: {param: name}}\n"
             "    seed: {expr: '2 + 3'}\n"
             "    pairs:\n"
             "      - {a: s, weight: {expr: 't / 10'}}\n"
             "      - {b: u, a: t.glyph}\n"
             "      - {a: u, weight: {expr: 'frame / 200'}, inner: [{x: 5}, {x: {expr: '6'}}]}\n"
             "  b: {op: blur, image: x, sigma: {param: wave}}\n"
             "  c: {op: composite, source: b, backdrop: v}\n"
             "outputs: {o: {image: c, file: '#.exr'}}\n");
    lb_arena *arena = lb_arena_new();
    const lb_node *x;
    const any_pair *pairs;
    any_params p;

    cr_assert(l.graph, "%s", l.messages);
    cr_expect_str_eq(l.messages, "g.yaml:13:3: warning: param 'dark' is not used\n");
    p = params_at(&l, "s", 1, arena);
    cr_expect(p.color[0] == 1 && p.color[1] == 0 && p.color[3] == 1);
    p = params_at(&l, "u", 1, arena);
    cr_expect(p.color[0] == 0.5 && p.color[1] == 0 && p.color[3] == 1);
    p = params_at(&l, "t", 10, arena);
    cr_expect_str_eq(p.text, "ash-ash");
    cr_expect(p.size == 13); /* 2 * (20 mod 7) + 1 */
    p = params_at(&l, "v", 10, arena);
    cr_expect_str_eq(p.text, "1984");
    cr_expect_str_eq(p.font, "#f00", "a colour stays the text that it is where text is wanted");
    x = node_of(&l, "x");
    cr_expect(x->slot_count == 5 && x->binding_count == 4);
    p = params_at(&l, "x", 11, arena);
    cr_expect(p.target[0] == 1 && p.target[1] == 3 && p.target[2] == 3 && p.target[3] == 10);
    cr_expect(p.lens.focus == 5.5 && p.lens.angle == 50 && p.seed == 5);
    cr_expect_str_eq(p.lens.name, "ash");
    pairs = p.pairs.items;
    cr_assert(p.pairs.count == 3);
    cr_expect(fabs(pairs[0].weight - 10 / 24.0 / 10) < 1e-15 && pairs[1].weight == 1 &&
              pairs[2].weight == 11 / 200.0);
    cr_expect(pairs[0].a == 1 && pairs[0].b == -1 && pairs[1].a == 2 && pairs[1].b == 3 &&
              pairs[2].a == 4);
    cr_expect_str_eq(x->slots[2].layer, "glyph");
    cr_expect(pairs[2].inner.count == 2 && ((any_inner *)pairs[2].inner.items)[1].x == 6);
    p = params_at(&l, "b", 2, arena);
    cr_expect(p.sigma[0] == 4 && p.sigma[1] == 4); /* one number sets both */
    lb_arena_free(&arena);
    drop(&l);
}

/* CSS hex is sRGB: IEC 61966-2-1 gives 0x80 a linear 0.2158605 (tests/data/tables/transfer.csv has
 * the curve), in acescg by the matrix of its primaries. */
Test(lang, colours_in_expressions)
{
    static const char text[] = "params: {grey: '#808080', clear: '#80808040'}\n"
                               "nodes: {s: {op: solid, color: {expr: 'grey'}}, t: {op: solid, "
                               "color: {expr: 'clear * vec4(1, 1, 1, 2)'}},\n"
                               "  c: {op: composite, source: s, backdrop: t}}\n"
                               "outputs: {o: {image: c, file: '#.exr'}}\n";
    static const char *const spaces[] = {"", "color: {working: acescg}\n"};

    for (int i = 0; i < 2; i++) {
        char whole[1024];
        loaded l;
        lb_arena *arena = lb_arena_new();
        any_params p;

        snprintf(whole, sizeof whole, HEAD "%s%s", spaces[i], text);
        l = load(whole);
        cr_assert(l.graph, "%s", l.messages);
        p = params_at(&l, "s", 1, arena); /* grey is grey in every space with its white */
        for (int k = 0; k < 3; k++)
            cr_expect(fabs(p.color[k] - 0.2158605) < 1e-6, "%g", p.color[k]);
        cr_expect(p.color[3] == 1);
        cr_expect(fabs(params_at(&l, "t", 1, arena).color[3] - 2 * 64 / 255.0) < 1e-15);
        lb_arena_free(&arena);
        drop(&l);
    }
}

/* A chain in which each param uses the one before it twice: worked out once each, not 2^60 times.
 */
Test(lang, params_are_computed_once)
{
    char text[8192];
    size_t used = (size_t)snprintf(text, sizeof text, HEAD "params:\n  p0: {expr: 't'}\n");
    loaded l;
    lb_arena *arena = lb_arena_new();

    for (int i = 1; i < 64; i++)
        used += (size_t)snprintf(text + used, sizeof text - used,
                                 "  p%d: {expr: '(p%d + p%d) / 2'}\n", i, i - 1, i - 1);
    snprintf(text + used, sizeof text - used,
             "nodes: {s: {op: solid}, g: {op: glow, image: s, gain: {param: p63}}}\n"
             "outputs: {o: {image: g, file: '#.exr'}}\n");
    l = load(text);
    cr_assert(l.graph, "%s", l.messages);
    cr_expect(params_at(&l, "g", 25, arena).gain == 1);
    drop(&l);
    lb_arena_free(&arena);
}

Test(lang, too_long_a_chain)
{
    for (int down = 0; down < 2; down++) {
        char text[16384];
        size_t used = (size_t)snprintf(text, sizeof text, HEAD "params:\n");
        loaded l;

        for (int k = 0; k < 70; k++) {
            int i = down ? 69 - k : k;

            if (i == 0)
                used += (size_t)snprintf(text + used, sizeof text - used, "  p0: 1\n");
            else
                used += (size_t)snprintf(text + used, sizeof text - used, "  p%d: {expr: 'p%d'}\n",
                                         i, i - 1);
        }
        snprintf(text + used, sizeof text - used,
                 "nodes: {s: {op: solid}}\noutputs: {o: {image: s, file: '#.exr'}}\n");
        l = load(text);
        cr_expect(l.status == LB_LIMIT);
        cr_expect(strstr(l.messages, "hangs on a chain of more than 63 others"), "%s", l.messages);
        cr_expect(lb_diag_count(l.diag, LB_ERROR) == 1, "%s", l.messages);
        drop(&l);
    }
}

static const char set_text[] =
    HEAD "params: {headline: KILN HOURS, year: '1984', warmth: 1.2, ember: '#ff7a1f', on: false,\n"
         "  spot: [1, 2], b: {expr: 'warmth * 2'}, a: {expr: 'frame * b'}, c: {param: b}}\n"
         "nodes:\n"
         "  t: {op: text, text: {expr: \"headline + ' ' + year\"}, size: {param: a}}\n"
         "  s: {op: solid, color: {param: ember}}\n"
         "  r: {op: render, scene: k, lighting: {param: on}}\n"
         "  k: {op: camera, position: [{expr: spot.x}, {expr: spot.y}, {param: c}]}\n"
         "  x: {op: composite, source: t, backdrop: s, mask: r}\n"
         "outputs: {o: {image: x, file: '#.exr'}}\n";

Test(lang, settings)
{
    static const lb_setting settings[] = {{"headline", "NIGHT: [FIRING]"},
                                          {"year", "2031"},
                                          {"warmth", "5"},
                                          {"warmth", "3"},
                                          {"ember", "#00f"},
                                          {"on", "true"},
                                          {"spot", "[7, -8.5]"}};
    loaded l = load_with(set_text, settings, sizeof settings / sizeof settings[0]);
    lb_arena *arena = lb_arena_new();
    any_params p;

    cr_assert(l.graph, "%s", l.messages);
    p = params_at(&l, "t", 2, arena);
    cr_expect_str_eq(p.text, "NIGHT: [FIRING] 2031", "%s", p.text);
    cr_expect(p.size == 12); /* 2 * (3 * 2): what is worked out from it follows */
    cr_expect(params_at(&l, "s", 1, arena).color[2] == 1);
    cr_expect(params_at(&l, "r", 1, arena).lighting);
    p = params_at(&l, "k", 1, arena);
    cr_expect(p.position[0] == 7 && p.position[1] == -8.5 && p.position[2] == 6);
    drop(&l);
    l = load_with(set_text, (lb_setting[]){{"ember", "[0, 2, 0]"}, {"b", "1"}, {"a", "50"}}, 3);
    cr_assert(l.graph, "%s", l.messages);
    cr_expect(params_at(&l, "s", 1, arena).color[1] == 2);
    cr_expect(params_at(&l, "t", 9, arena).size == 50); /* no longer depends on the frame */
    cr_expect(params_at(&l, "k", 1, arena).position[2] == 1);
    lb_arena_free(&arena);
    drop(&l);
}

/* What is wrong with a setting points into its text. */
Test(lang, settings_faults)
{
    static const struct {
        lb_setting setting;
        const char *messages;
    } rows[] = {
        {{"warmht", "1"},
         "lampblack: error: setting warmht: the graph has no such param; did you mean 'warmth'?\n"},
        {{"warmth", "hot"},
         "setting warmth:1:1: error: this is text; 'warmth' takes a number\n"
         "g.yaml:6:46: note: its default is here\n"},
        {{"warmth", "[1, 2]"},
         "setting warmth:1:1: error: 'warmth' is a list; it takes a number\n"},
        {{"warmth", ""}, "setting warmth: error: no value; 'warmth' takes a number\n"},
        {{"warmth", "[1"},
         "setting warmth:1:3: error: not YAML: did not find expected ',' or ']' at the end of the "
         "file\nsetting warmth:1:1: note: while parsing a flow sequence that begins here\n"},
        {{"warmth", "{a: 1}"},
         "setting warmth:1:1: error: 'warmth' is a mapping; it takes a number, or a mapping with "
         "param, expr or keys\n"},
        {{"warmth", "{expr: 2 * yaer}"},
         "setting warmth:1:12: error: unknown name 'yaer'; did you mean 'year'?\n"},
        {{"warmth", "{param: warmth}"},
         "setting warmth:1:9: error: param 'warmth' depends on itself: warmth -> warmth\n"},
        {{"spot", "[1, a]"}, "setting spot:1:5: error: 'spot' holds 'a'; it takes numbers there\n"},
        {{"on", "1"},
         "setting on:1:1: error: this is a number; 'on' takes true or false\n"
         "g.yaml:6:77: note: its default is here\n"},
        {{"ember", "red"},
         "setting ember:1:1: error: this is text; 'ember' takes a colour\n"
         "g.yaml:6:59: note: its default is here\n"},
        {{"ember", "#12"},
         "setting ember:1:1: error: this is text; 'ember' takes a colour\n"
         "g.yaml:6:59: note: its default is here\n"},
    };

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        loaded l = load_with(set_text, &rows[i].setting, 1);

        cr_expect(l.status == LB_INVALID && !l.graph);
        cr_expect_str_eq(l.messages, rows[i].messages, "%s", l.messages);
        drop(&l);
    }
}

/* Settings may be worked out as anything else in a graph, also where text is wanted. */
Test(lang, settings_that_are_worked_out)
{
    static const lb_setting settings[] = {
        {"warmth", "{keys: {1: 1, 11: 6}}"},
        {"spot", "[{expr: warmth * 2}, 3]"},
        {"headline", "{expr: \"frame < 5 ? 'EARLY' : 'LATE'\"}"},
        {"ember", "{keys: {1: '#000', 11: '#fff'}}"},
    };
    static const lb_setting braces = {"headline", "{not: a form}"};
    loaded l = load_with(set_text, settings, 4);
    lb_arena *arena = lb_arena_new();
    any_params p;

    cr_assert(l.graph, "%s", l.messages);
    p = params_at(&l, "k", 3, arena);
    cr_expect(p.position[0] == 4 && p.position[1] == 3 && p.position[2] == 4);
    p = params_at(&l, "t", 3, arena);
    cr_expect_str_eq(p.text, "EARLY 1984", "%s", p.text);
    cr_expect(params_at(&l, "s", 11, arena).color[0] == 1);
    drop(&l);
    l = load_with(set_text, &braces, 1);
    cr_assert(l.graph, "%s", l.messages);
    cr_expect_str_eq(params_at(&l, "t", 1, arena).text, "{not: a form} 1984");
    drop(&l);
    lb_arena_free(&arena);
}

Test(lang, warnings)
{
    loaded l =
        load(HEAD "params: {a: 1, b: {param: a}}\n"
                  "nodes: {s: {op: solid}, g: {op: glow, image: s}, h: {op: glow, image: g}}\n"
                  "outputs: {o: {image: s, file: '#.exr'}}\n");

    cr_expect(l.graph);
    cr_expect_str_eq(l.messages,
                     "g.yaml:6:16: warning: param 'b' is not used\n"
                     "g.yaml:7:25: warning: no output needs 'g'\n"
                     "g.yaml:7:50: warning: no output needs 'h'\n",
                     "%s", l.messages);
    drop(&l);
    l = load(HEAD "nodes: {s: {op: solid}}\n");
    cr_expect(l.graph && l.graph->output_count == 0);
    cr_expect_str_eq(l.messages,
                     "g.yaml: warning: there are no outputs: nothing will be written\n");
    drop(&l);
}

/* Merge keys and anchors are how graphs say a thing once. */
Test(lang, anchors)
{
    loaded l = load(HEAD "nodes:\n"
                         "  s: {op: solid}\n"
                         "  g: &g {op: glow, image: s, gain: 2, radius: 7}\n"
                         "  h: {<<: *g, image: g, gain: 3}\n"
                         "outputs: {o: {image: h, file: '#.exr'}}\n");
    const any_params *p;

    cr_assert(l.graph, "%s", l.messages);
    p = node_of(&l, "h")->params;
    cr_expect(p->gain == 3 && p->radius == 7 && node_of(&l, "h")->slots[0].node == 1);
    drop(&l);
}

Test(lang, lists_of_nodes)
{
    loaded l = load(HEAD "nodes:\n"
                         "  a: {op: sphere}\n"
                         "  b: {op: camera}\n"
                         "  none: {op: group}\n"
                         "  empty: {op: group, items: []}\n"
                         "  all: {op: group, items: [a, none, empty, b]}\n"
                         "  r: {op: render, scene: all, camera: b}\n"
                         "outputs: {o: {image: r, file: '#.exr'}}\n");
    const lb_node *all;

    cr_assert(l.graph, "%s", l.messages);
    all = node_of(&l, "all");
    cr_expect(all->slot_count == 4 && all->slots[0].node == 0 && all->slots[3].node == 1);
    cr_expect(node_of(&l, "none")->slot_count == 0 && node_of(&l, "empty")->slot_count == 0);
    cr_expect(node_of(&l, "r")->slots[1].node == 1, "a word that names a node is the node");
    drop(&l);
}

Test(lang, files)
{
    char folder[] = "/tmp/lampblack-lang-XXXXXX", path[64], wanted[80];
    static const char text[] = HEAD "nodes: {i: {op: image, file: maps/a.png}}\n"
                                    "outputs: {o: {image: i, file: out/a.#.exr}}\n";
    lb_diag *diag = lb_diag_new();
    lb_graph *graph;
    char *messages;

    cr_assert(mkdtemp(folder));
    snprintf(path, sizeof path, "%s/g.yaml", folder);
    cr_assert(lb_lang_load(diag, path, any_ops, NULL, 0, &graph) == LB_NOT_FOUND && !graph);
    cr_assert(lb_file_write(diag, LB_NOWHERE, path, text, sizeof text - 1) == LB_OK);
    cr_assert(lb_lang_load(diag, path, any_ops, NULL, 0, &graph) == LB_OK);
    snprintf(wanted, sizeof wanted, "%s/maps/a.png", folder);
    cr_expect_str_eq(((const any_params *)graph->nodes[0].params)->file, wanted);
    snprintf(wanted, sizeof wanted, "%s/out/a.#.exr", folder);
    cr_expect_str_eq(graph->outputs[0].file, wanted);
    cr_expect_str_eq(graph->folder, folder);
    cr_expect_str_eq(graph->file, path);
    lb_graph_free(&graph);
    messages = messages_of(diag);
    cr_expect(strstr(messages, path), "the file that is not there is named: %s", messages);
    free(messages);
    unlink(path);
    rmdir(folder);
    lb_diag_free(&diag);
}

/* Without a diag everything goes the same way, only unsaid. */
Test(lang, without_messages)
{
    static const char bad[] = HEAD "nodes: {s: {op: sloid}}\n";
    lb_graph *graph;

    cr_expect(lb_lang_parse(NULL, "g.yaml", example, sizeof example - 1, any_ops, NULL, 0,
                            &graph) == LB_OK);
    lb_graph_free(&graph);
    cr_expect(lb_lang_parse(NULL, "g.yaml", NULL, 0, any_ops, NULL, 0, &graph) == LB_INVALID);
    cr_expect(lb_lang_parse(NULL, "g.yaml", bad, sizeof bad - 1, any_ops, NULL, 0, &graph) ==
              LB_INVALID);
}

/* Every allocation fails once; what was made is given back (the leak checker looks). */
static void fail_each(const char *text, bool is_good)
{
    static const lb_setting settings[] = {{"warmth", "2"}};
    const lb_lang_options options = {
        .ops = any_ops, .settings = settings, .setting_count = 1, .all_versions = true};
    int64_t failed = 0;

    for (int64_t n = 1;; n++) {
        lb_diag *diag = lb_diag_new();
        lb_graph *graph;
        lb_status status;
        bool is_last;

        lb_memory_fail_at(n);
        status = lb_lang_read_text(diag, "g.yaml", text, strlen(text), &options, &graph);
        is_last = lb_memory_fail_left() > 0;
        lb_memory_fail_at(0);
        cr_expect((status == LB_OK) == (graph != NULL));
        if (is_last) {
            cr_expect((status == LB_OK) == is_good, "%d", status);
        } else if (is_good) {
            /* a hint or a longer message may do without */
            cr_expect(status == LB_MEMORY || status == LB_OK, "%d at %d", status, (int)n);
        } else {
            cr_expect(status != LB_OK, "at %d", (int)n);
        }
        failed += !is_last;
        lb_graph_free(&graph);
        lb_diag_free(&diag);
        if (is_last)
            break;
    }
    cr_expect(failed > 50, "%d", (int)failed);
}

Test(lang, no_memory)
{
    fail_each(example, true);
    fail_each(set_text, true);
    fail_each(HEAD "params: {warmth: 1, text: KILN}\n"
                   "parts:\n"
                   "  halo: {inputs: {image: image, mask: optional image}, params: {gain: 1},\n"
                   "    nodes: {hot: {op: glow, image: image, mask: mask, gain: {param: gain}},\n"
                   "      more: {op: part/soft, i: hot}}, result: more}\n"
                   "  soft: {inputs: {i: image}, nodes: {b: {op: blur, image: i}}, result: b}\n"
                   "versions: {de: {params: {text: OFEN}}, tall: {frame: {size: [9, 16]}}}\n"
                   "nodes: {t: {op: text, text: {param: text}},\n"
                   "  a: {op: part/halo, image: t, gain: {expr: warmth * frame % 3}},\n"
                   "  b: {op: part/halo, image: a, mask: t}}\n"
                   "outputs: {o: {image: b, file: 'o-{version}.#.exr'}}\n",
              true);
    fail_each(HEAD "params: {warmth: 1, a: {expr: 'frmae + t'}, b: {keys: {1: x, 2: 3}}}\n"
                   "nodes: {s: {op: soldi}, t: {op: text, text: {expr: \"'a' + frame\"}},\n"
                   "  u: {op: glow, image: v, gain: {expr: 'frame'}, mask: t.a, colr: [1]}}\n"
                   "outputs: {o: {image: u, file: a.exr}, p: {image: u, file: ./a.exr}}\n",
              false);
}
