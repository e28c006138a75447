/* tests/lang/test_mutations.c: graphs with random damage, always the same ones. Nothing is expected
 * but an answer: a graph without an error or an error without a graph, and no crash, hang or leak
 * (the sanitizer build looks). tests/fuzz/fuzz_lang.c searches further. */
#include "engine/base/random.h"
#include "engine/base/text.h"
#include "tests/lang/loading.h"

static const char *const seeds[] = {
    HEAD "color: {working: acescg}\n"
         "params:\n"
         "  headline: KILN HOURS\n"
         "  ember: \"#ff7a1f\"\n"
         "  wave: {expr: \"0.5 + 0.5 * sin(t * pi) * noise(frame, 2)\"}\n"
         "  ramp: {keys: {1: [0, 0], 45: [1, 2], 120: [3, 4]}, ease: ease-in-out}\n"
         "nodes:\n"
         "  kiln: {op: scene, file: a.glb, amend: [{select: {light: k}, set: {material: clay}}]}\n"
         "  clay: {op: material, diffuse: {param: ember}, specular: {param: wave}}\n"
         "  beauty: {op: render, scene: kiln, camera: shot, samples: 16}\n"
         "  hot: &h\n"
         "    op: glow\n"
         "    image: beauty.depth\n"
         "    radius: {keys: [{at: 1, value: 2, ease: 'steps(3)'}, {at: 9, value: 5}], after: "
         "mirror}\n"
         "    gain: {expr: 'wave > 0.5 ? ramp.x : 0.1'}\n"
         "  warm: {<<: *h, image: hot}\n"
         "  title: {op: text, text: {param: headline}, size: 140, align: center}\n"
         "  all: {op: composite, source: title, backdrop: warm}\n"
         "outputs:\n"
         "  o: {image: all, file: \"out/k.####.exr\", layers: [R, G], depth: half}\n",
    HEAD "nodes:\n"
         "  a: {op: sphere, position: [1, {expr: 't * 2'}, {keys: {1: 0, 9: 5}}]}\n"
         "  g: {op: group, items: [a, b], rotation: {keys: {1: [0, 0, 0, 1], 9: [0, 1, 0, 0]}}}\n"
         "  b: {op: camera, rotation: {keys: {1: [0, 0, 0], 9: [0, 90, 0]}}}\n"
         "  r: {op: render, scene: g, camera: b}\n"
         "  m: {op: mixer, image: r, pairs: [{a: r, weight: {expr: t % 1}}], lens: {focus: 3}}\n"
         "outputs: {o: {image: m, file: a.png}}\n",
    HEAD
    "params: {gain: 1, text: KILN}\n"
    "parts:\n"
    "  soft: {inputs: {image: image}, params: {sigma: 4}, nodes: {b: {op: blur, image: image,\n"
    "    sigma: {param: sigma}}}, result: b}\n"
    "  halo:\n"
    "    inputs: {image: image, mask: optional image}\n"
    "    params: {gain: 1, wide: {expr: gain * 2}}\n"
    "    nodes:\n"
    "      hot: {op: glow, image: image, mask: mask, gain: {param: gain}}\n"
    "      a: {op: part/soft, image: hot, sigma: {param: wide}}\n"
    "      b: {op: part/soft, image: a.depth}\n"
    "    result: b\n"
    "  same: {inputs: {i: image}, nodes: {}, result: i}\n"
    "versions:\n"
    "  de: {params: {text: OFEN}}\n"
    "  square: {frame: {size: [9, 9], range: [2, 5]}, params: {gain: {keys: {1: 1, 9: 2}}}}\n"
    "nodes:\n"
    "  t: {op: text, text: {param: text}}\n"
    "  u: {op: part/halo, image: t, gain: {expr: gain * (frame % 3)}}\n"
    "  v: {op: part/halo, image: w, mask: u}\n"
    "  w: {op: part/same, i: u}\n"
    "outputs: {o: {image: v, file: \"o-{version}.#.exr\"}}\n",
};

#define SEEDS (sizeof seeds / sizeof seeds[0])

/* What graphs are made of, so that damage is not all nonsense. */
static const char *const pieces[] = {
    "{",       "}",         "[",         "]",
    ": ",      ", ",        "- ",        "\n",
    "  ",      "&x ",       "*x",        "<<: ",
    "!!str ",  "'",         "\"",        "#",
    "|\n",     "? ",        "null",      "true",
    "1e308",   "-1",        ".nan",      ".inf",
    "0x",      "{expr: ",   "{param: ",  "frame",
    "(",       ")",         "+",         "%",
    "? 1 : 2", ".xyzw",     "vec4(",     "noise(",
    "keys: ",  "ease: ",    "at: ",      "value: ",
    "op: ",    "image: ",   "\xff",      "\xe7\xaa\xaf",
    "\t",      "part/",     "/",         "u",
    "soft",    "optional ", "{version}", "image",
    "scene",   "result: ",  "\r",        "%TAG ",
    "---\n",   "...\n",     "kiln",      "hot.",
    "a/b",     "\\u0000",   "9999999",
};

typedef struct chance {
    uint32_t seed, count;
} chance;

static uint32_t draw(chance *c, uint32_t below)
{
    return below ? lb_random_u32(c->seed, c->count++, 7, 0) % below : 0;
}

/* One change: bytes flipped, cut out, doubled, or a piece put in. */
static char *damage(chance *c, const char *text, size_t length, size_t *new_length)
{
    size_t at = draw(c, (uint32_t)length), count = draw(c, 12);
    const char *piece = pieces[draw(c, sizeof pieces / sizeof pieces[0])];
    lb_text made = {0};

    if (at + count > length)
        count = length - at;
    lb_text_add(&made, text, at);
    switch (draw(c, 5)) {
    case 0:
        for (size_t i = 0; i < count; i++)
            lb_text_add(&made, (char[]){(char)(text[at + i] ^ (1 << draw(c, 8)))}, 1);
        break;
    case 1:
        break;
    case 2:
        lb_text_add(&made, text + at, count);
        lb_text_add(&made, text + at, count);
        break;
    case 3:
        count = 0;
        lb_text_put(&made, piece);
        break;
    default:
        lb_text_put(&made, piece);
    }
    lb_text_add(&made, text + at + count, length - at - count);
    cr_assert(!made.failed);
    *new_length = made.length;
    return made.bytes;
}

static int good, bad;

static void try(const char *text, size_t length)
{
    lb_diag *diag = lb_diag_new();
    lb_graph *graph;
    const lb_lang_options options = {.ops = any_ops, .all_versions = true};
    lb_status status = lb_lang_read_text(diag, "g.yaml", text, length, &options, &graph);

    cr_expect((status == LB_OK) == (graph != NULL));
    cr_expect((status == LB_OK) == (lb_diag_count(diag, LB_ERROR) == 0), "%d: %.*s", status,
              (int)length, text);
    good += graph != NULL;
    bad += graph == NULL;
    if (graph) { /* what was let through can be worked out */
        lb_arena *arena = lb_arena_new();
        lb_moment moment = {3.5, 0.1, &graph->format, arena, diag};

        for (int32_t i = 0; i < graph->node_count; i++) {
            void *params;
            bool timed;

            if (lb_node_resolve(graph, &graph->nodes[i], &moment, &graph->format, &params,
                                &timed) != LB_OK)
                cr_expect(lb_diag_count(diag, LB_ERROR) > 0);
        }
        lb_arena_free(&arena);
    }
    lb_graph_free(&graph);
    free(messages_of(diag));
    lb_diag_free(&diag);
}

Test(mutations, graphs)
{
    for (uint32_t seed = 0; seed < 4000; seed++) {
        chance c = {seed, 0};
        const char *start = seeds[seed % SEEDS];
        size_t length = strlen(start);
        char *text = NULL;

        if (seed < SEEDS) {
            try(start, length);
            cr_assert(good == (int)seed + 1, "the graph was good before it was damaged");
        }
        for (uint32_t i = 0, changes = 1 + draw(&c, 2); i < changes; i++) {
            char *next = damage(&c, text ? text : start, length, &length);

            lb_free(text);
            text = next;
            if (length == 0)
                break;
        }
        try(text ? text : "", text ? length : 0);
        lb_free(text);
    }
    cr_expect(good > 50 && bad > 1000, "%d good, %d bad", good, bad);
}

/* Every beginning of a graph, as if the disk had been full. */
Test(mutations, cut_short)
{
    for (size_t s = 0; s < SEEDS; s++)
        for (size_t length = 0; length < strlen(seeds[s]); length++)
            try(seeds[s], length);
}
