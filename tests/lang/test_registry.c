/* tests/lang/test_registry.c: the language with the operators that are built in. */
#include <criterion/criterion.h>
#include <fontconfig/fontconfig.h>

#include "engine/base/file.h"
#include "engine/base/text.h"
#include "lang/lang.h"
#include "nodes/nodes.h"
#include "tests/lang/messages.h"

static lb_status read_text(const char *text, char **messages)
{
    lb_diag *diag = lb_diag_new();
    lb_graph *graph;
    lb_status status =
        lb_lang_parse(diag, "g.yaml", text, strlen(text), lb_nodes_registry, NULL, 0, &graph);

    *messages = messages_of(diag);
    lb_graph_free(&graph);
    lb_diag_free(&diag);
    return status;
}

/* What the font library keeps for the whole process looks like a leak to the leak checker. */
static void forget_fonts(void)
{
    FcFini();
}

/* The keys that docs/language.md promises for the first operators. */
Test(registry, keys_of_the_first_operators, .fini = forget_fonts)
{
    static const char text[] =
        "lampblack: 1\n"
        "frame: {size: [64, 36], rate: 24, range: [1, 10]}\n"
        "params: {ember: '#ff7a1f'}\n"
        "nodes:\n"
        "  paper: {op: solid, color: {param: ember}}\n"
        "  sky: {op: gradient, type: linear, from: [0, 0], to: [0, 36],\n"
        "        stops: [{at: 0, color: '#000'}, {at: 1, color: '#fff'}]}\n"
        "  title: {op: text, text: KILN, font: DejaVu Serif, size: 12, position: [5, 5],\n"
        "          align: center, color: [1, 1, 1]}\n"
        "  moved: {op: transform, image: title, translate: [1, 2], rotate: 5, scale: [1, 1],\n"
        "          pivot: [0, 0], filter: lanczos3}\n"
        "  cut: {op: crop, image: moved, box: [0, 0, 32, 18]}\n"
        "  over: {op: composite, source: cut, backdrop: sky, mask: paper, opacity: 0.5,\n"
        "         operator: source-over, blend: multiply}\n"
        "  graded: {op: cdl, image: over, slope: [1, 1, 1], offset: [0, 0, 0], power: [1, 1, 1],\n"
        "           saturation: 0.9}\n"
        "  lit: {op: exposure, image: graded, stops: {keys: {1: 0, 10: 1}}}\n"
        "  other: {op: colorspace, image: lit, from: linear-rec709, to: acescg}\n"
        "  soft: {op: blur, image: other, sigma: [1, 2]}\n"
        "  glowing: {op: glow, image: soft, mask: paper, threshold: 1, radius: 4, gain: 1,\n"
        "            tint: '#fff'}\n"
        "  hot: {op: shimmer, image: glowing, mask: paper, strength: 1, scale: 4, speed: 1,\n"
        "        rise: 2, seed: 3}\n"
        "  out: {op: defocus, image: hot, depth: rendered.depth, focus: 2, f-number: 2.8,\n"
        "        focal-length: 50, film-back: 36}\n"
        "  clay-map: {op: uv, image: sky, wrap: mirror, tile: [2, 2], offset: [0, 0], rotate: 3}\n"
        "  clay-bump: {op: bump, image: sky, from: height, scale: 1.5, wrap: repeat}\n"
        "  clay: {op: material, model: blinn, diffuse: '#888', specular: 0.6, exponent: 50,\n"
        "         diffuse-map: clay-map, bump-map: clay-bump}\n"
        "  metal: {op: material, model: metal-rough, base-color: '#888', metallic: 1,\n"
        "          roughness: 0.3, emission: '#000'}\n"
        "  pot: {op: sphere, radius: 1, segments: 16, position: [0, 0, 0], rotation: [0, 5, 0],\n"
        "        scale: [1, 1, 1], material: clay}\n"
        "  floor: {op: plane, size: [5, 5], material: metal}\n"
        "  brick: {op: box, size: [1, 1, 1], material: clay}\n"
        "  rod: {op: cylinder, radius: 1, height: 2, material: clay}\n"
        "  ring: {op: torus, radius: 1, tube: 0.2, material: clay}\n"
        "  key: {op: light, type: spot, color: '#fff', intensity: 5, decay: linear, cone: 40,\n"
        "        cone-inner: 30, position: [0, 3, 0], target: [0, 0, 0]}\n"
        "  shot: {op: camera, position: [0, 0, 5], target: [0, 0, 0], fov: 40, near: 0.1, far: "
        "90}\n"
        "  all: {op: group, items: [pot, floor, brick, rod, ring, key], position: [0, 0, 0]}\n"
        "  rendered: {op: render, scene: all, camera: shot, samples: 4, shutter: 180,\n"
        "             lighting: true}\n"
        "outputs:\n"
        "  o: {image: out, file: 'o.##.exr'}\n";
    char *messages;
    lb_status status = read_text(text, &messages);

    cr_expect(status == LB_OK, "%s", messages);
    cr_expect_str_eq(messages, "", "%s", messages);
    free(messages);
}

/* Every operator is found by its name, and its table can be read: every key that is wrong is told
 * with the operator's name. */
Test(registry, every_operator)
{
    int count = 0;

    for (const lb_op *const *op = lb_nodes_registry; *op; op++, count++) {
        char text[300], wanted[120], *messages;

        snprintf(text, sizeof text,
                 "lampblack: 1\nframe: {size: [8, 8], rate: 24, range: [1, 2]}\n"
                 "nodes: {n: {op: %s, no-such-key: 1}}\n",
                 (*op)->name);
        snprintf(wanted, sizeof wanted, "error: '%s' has no key 'no-such-key'\n", (*op)->name);
        cr_expect(read_text(text, &messages) == LB_INVALID);
        cr_expect(strstr(messages, wanted), "%s", messages);
        cr_expect(!strstr(messages, "unknown operator"), "%s", messages);
        free(messages);
    }
    cr_expect(count >= 27, "%d operators", count);
}

/* The example graph is good, and says all that it means. */
Test(registry, the_example, .fini = forget_fonts)
{
    lb_diag *diag = lb_diag_new();
    lb_graph *graph;
    lb_status status = lb_lang_load(diag, LB_SOURCE_DIR "/examples/kiln-hours/kiln-hours.yaml",
                                    lb_nodes_registry, NULL, 0, &graph);
    char *messages = messages_of(diag);

    cr_expect(status == LB_OK, "%s", messages);
    cr_expect_str_eq(messages, "");
    free(messages);
    lb_graph_free(&graph);
    lb_diag_free(&diag);
}

/* What is allowed but hardly meant gets a warning, once a value, at the frame where it is first
 * seen.
 */
Test(registry, usual_values, .fini = forget_fonts)
{
    static const char text[] = "lampblack: 1\n"
                               "frame: {size: [64, 36], rate: 24, range: [1, 40]}\n"
                               "nodes:\n"
                               "  a: {op: solid}\n"
                               "  b: {op: cdl, image: a, slope: [1, 1, 20], saturation: 4}\n"
                               "  c: {op: exposure, image: b, stops: {expr: frame - 10}}\n"
                               "  d: {op: blur, image: c, sigma: 501}\n"
                               "outputs: {o: {image: d, file: 'o.##.exr'}}\n";
    char *messages;

    cr_expect(read_text(text, &messages) == LB_OK);
    cr_expect_str_eq(messages,
                     "g.yaml:5:33: warning: 'slope' is 20; usual is 0 to 10\n"
                     "g.yaml:6:45: warning: 'stops' is 13 at frame 23; usual is -12 to 12\n"
                     "g.yaml:7:34: warning: 'sigma' is 501; usual is 0 to 500\n",
                     "%s", messages);
    free(messages);
}

/* Slips of the kind that people make: 255 for 1, radians for degrees, percent for a fraction, a
 * point that is missing. */
Test(registry, slips, .fini = forget_fonts)
{
    static const char text[] =
        "lampblack: 1\n"
        "frame: {size: [64, 36], rate: 24, range: [1, 40]}\n"
        "nodes:\n"
        "  a: {op: solid, color: [255, 128, 0]}\n"
        "  b: {op: gradient, from: [0, 0], to: [1, 1], stops: [{at: 0, color: '#000'},\n"
        "      {at: 100, color: '#fff'}]}\n"
        "  c: {op: text, text: a, line-height: 12, weight: 7}\n"
        "  d: {op: composite, source: a, backdrop: b}\n"
        "  e: {op: composite, source: c, backdrop: d}\n"
        "  f: {op: light, type: spot, cone: 0.7, color: [255, 255, 255]}\n"
        "  g: {op: camera, fov: 0.9}\n"
        "  h: {op: group, items: [f, g]}\n"
        "  i: {op: render, scene: h, camera: g}\n"
        "  j: {op: composite, source: i, backdrop: e}\n"
        "outputs: {o: {image: j, file: 'o.##.exr'}}\n";
    static const char *const wanted[] = {
        ":4:25: warning: 'color' is 255;",      ":6:12: warning: 'at' is 100;",
        ":7:39: warning: 'line-height' is 12;", ":7:51: warning: 'weight' is 7;",
        ":10:36: warning: 'cone' is 0.7;",      ":10:48: warning: 'color' is 255;",
        ":11:24: warning: 'fov' is 0.9;"};
    char *messages;

    cr_expect(read_text(text, &messages) == LB_OK, "%s", messages);
    for (size_t i = 0; i < sizeof wanted / sizeof wanted[0]; i++)
        cr_expect(strstr(messages, wanted[i]), "no '%s' in:\n%s", wanted[i], messages);
    free(messages);
}

/* Every graph that is shown or tested with pictures is a sensible one. */
Test(registry, no_unusual_values_in_good_graphs, .fini = forget_fonts)
{
    static const char find[] =
        "find '" LB_SOURCE_DIR "/examples' '" LB_SOURCE_DIR "/tests' -name '*.yaml' "
        "-not -path '*/data/yaml/*'";
    FILE *list = popen(find, "r");
    char path[1024];
    int graphs = 0;

    cr_assert(list);
    while (fgets(path, sizeof path, list)) {
        lb_diag *diag = lb_diag_new();
        lb_graph *graph;
        lb_status status;
        char *messages;

        path[strcspn(path, "\n")] = 0;
        status = lb_lang_load(diag, path, lb_nodes_registry, NULL, 0, &graph);
        messages = messages_of(diag);
        graphs += status == LB_OK;
        cr_expect(!strstr(messages, "; usual is "), "%s: %.100s", path,
                  strstr(messages, "; usual is "));
        free(messages);
        lb_graph_free(&graph);
        lb_diag_free(&diag);
    }
    pclose(list);
    cr_expect(graphs >= 10, "%d graphs", graphs);
}
