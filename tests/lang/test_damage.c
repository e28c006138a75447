/* tests/lang/test_damage.c: graphs of three files with random damage, always the same, and the YAML
 * Test Suite, through everything that reads text. Whatever stands there, there is an answer: a
 * graph without an error or errors without a graph, the same ones in the same order on each run,
 * also as JSON that an independent reader takes (jansson); a layout that stays as it is; a merge
 * that takes the one side that changed. */
#include <criterion/criterion.h>
#include <dirent.h>
#include <fontconfig/fontconfig.h>
#include <jansson.h>
#include <sys/wait.h>

#include "engine/base/status_json.h"
#include "lang/easing.h"
#include "lang/format.h"
#include "lang/merge.h"
#include "nodes/nodes.h"
#include "tests/lang/damage.h"
#include "tests/lang/folder.h"

static const char graph_text[] =
    "lampblack: 1\n"
    "frame: {size: [64, 36], rate: 24, range: [1, 40]}\n"
    "color: {working: acescg}\n"
    "include:\n"
    "  kit: {file: kit.yaml, params: {warmth: 2}} # comment\n"
    "  more: kit.yaml\n"
    "params:\n"
    "  hue: \"#ff7a1f\"\n"
    "  name: KILN\n"
    "  half: {expr: \"0.5 + 0.25 * sin(t * pi) * noise(frame, 2)\"}\n"
    "  ramp: {keys: {1: 0, 20: 1, 40: 0.5}, ease: 'cubic-bezier(0.4, 0, 0.2, 1)', after: mirror}\n"
    "parts:\n"
    "  soft:\n"
    "    inputs: {in: image, mask: optional image}\n"
    "    params: {sigma: 4, gain: {expr: 1 / 2}}\n"
    "    nodes:\n"
    "      a: {op: blur, image: in, sigma: {param: sigma}}\n"
    "      b: {op: glow, image: a, mask: mask, gain: {expr: gain * 2}, radius: 9}\n"
    "    result: b\n"
    "  twice:\n"
    "    inputs: {in: image}\n"
    "    nodes:\n"
    "      one: {op: part/soft, in: in}\n"
    "      two: {op: part/soft, in: one, sigma: 9, mask: in}\n"
    "    result: two\n"
    "nodes:\n"
    "  sky: &a {op: gradient, from: [0, 0], to: [0, 36],\n"
    "           stops: [{at: 0, color: '#000'}, {at: 1, color: {param: hue}}]}\n"
    "  again: {<<: *a, to: [0, 18]}\n"
    "  soft: {op: part/twice, in: sky}\n"
    "  warm: {op: part/kit/warm, in: soft, by: {param: ramp}}\n"
    "  title: {op: text, text: {expr: \"name + ' ' + text(frame, 2)\"}, font: DejaVu Serif, size: "
    "8}\n"
    "  over: {op: composite, source: title, backdrop: warm, opacity: {param: half}}\n"
    "  lit: {op: exposure, image: kit/paper, stops: {param: kit/warmth}}\n"
    "  all: {op: composite, source: over, backdrop: lit, mask: more/paper.A, operator: xor}\n"
    "versions:\n"
    "  wide: {frame: {size: [80, 20]}, params: {name: BREIT}}\n"
    "  short: {frame: {range: [1, 10]}, params: {kit/warmth: 1, ramp: {expr: frame / 9}}}\n"
    "outputs:\n"
    "  master: {image: all, file: \"out/k-{version}.##.exr\", layers: [R, G, B]}\n";
static const char kit_text[] = "lampblack: 1\n"
                               "include: {deep: deep.yaml}\n"
                               "params: {warmth: 1}\n"
                               "parts:\n"
                               "  warm:\n"
                               "    inputs: {in: image}\n"
                               "    params: {by: 0}\n"
                               "    nodes:\n"
                               "      x: {op: part/deep/grade, in: in, stops: {param: by}}\n"
                               "    result: x\n"
                               "nodes:\n"
                               "  paper: {op: solid, color: [1, 1, {expr: warmth / 4}]}\n";
static const char deep_text[] = "lampblack: 1\n"
                                "parts:\n"
                                "  grade:\n"
                                "    inputs: {in: image}\n"
                                "    params: {stops: 1}\n"
                                "    nodes: {e: {op: exposure, image: in, stops: {param: stops}}}\n"
                                "    result: e\n";
static const file_text files[] = {
    {"g.yaml", graph_text}, {"kit.yaml", kit_text}, {"deep.yaml", deep_text}, {0}};

/* What the font library keeps for the whole process looks like a leak to the leak checker. */
static void forget_fonts(void)
{
    FcFini();
}

static void write_in(const folder *f, const char *name, const char *text, size_t bytes)
{
    char path[200];

    join(path, sizeof path, f->path, name);
    cr_assert(lb_file_write(NULL, LB_NOWHERE, path, bytes ? text : "", bytes) == LB_OK);
}

/* --- check --- */

static void resolve_all(const lb_graph *graph, lb_diag *diag)
{
    lb_arena *arena = lb_arena_new();
    lb_moment moment = {3.5, 0.1, &graph->format, arena, diag};

    for (int32_t i = 0; i < graph->node_count; i++) {
        void *params;
        bool timed;

        if (lb_node_resolve(graph, &graph->nodes[i], &moment, &graph->format, &params, &timed) !=
            LB_OK)
            cr_expect(lb_diag_count(diag, LB_ERROR) > 0);
    }
    lb_arena_free(&arena);
}

static int good, bad;

/* Everything that is said, in its order. */
static lb_text check_once(const folder *f, const lb_lang_options *options)
{
    lb_diag *diag = lb_diag_new();
    lb_graph *graph;
    lb_text json = {0};
    char path[200];
    lb_status status;

    join(path, sizeof path, f->path, "g.yaml");
    status = lb_lang_read(diag, path, options, &graph);
    cr_expect((status == LB_OK) == (graph != NULL));
    cr_expect((status == LB_OK) == (lb_diag_count(diag, LB_ERROR) == 0));
    good += graph != NULL;
    bad += graph == NULL;
    if (graph)
        resolve_all(graph, diag);
    lb_diag_json(diag, &json);
    lb_graph_free(&graph);
    lb_diag_free(&diag);
    return json;
}

static void check_place(const json_t *message, const char *key)
{
    const json_t *place = json_object_get(message, key);

    cr_assert(place);
    if (json_is_null(place))
        return;
    cr_expect(json_integer_value(json_object_get(place, "line")) >= 1);
    cr_expect(json_integer_value(json_object_get(place, "column")) >= 1);
}

/* Valid, and of the form that is promised. Strings are checked as UTF-8 by the reader. */
static void check_json(const char *text, uint32_t seed)
{
    json_error_t error;
    json_t *list = json_loads(text, 0, &error), *message, *note;
    size_t i, k;

    cr_assert(json_is_array(list), "seed %u: %s:\n%s", seed, error.text, text);
    json_array_foreach(list, i, message)
    {
        cr_assert(json_is_string(json_object_get(message, "severity")));
        cr_assert(json_is_string(json_object_get(message, "message")));
        check_place(message, "begin");
        check_place(message, "end");
        json_array_foreach(json_object_get(message, "notes"), k, note) check_place(note, "begin");
    }
    json_decref(list);
}

static void check_folder(const folder *f, const lb_setting *setting, uint32_t seed)
{
    const lb_lang_options options = {.ops = lb_nodes_registry,
                                     .settings = setting,
                                     .setting_count = setting ? 1 : 0,
                                     .all_versions = true};
    lb_text first = check_once(f, &options), second = check_once(f, &options);

    cr_expect_str_eq(first.bytes, second.bytes, "seed %u", seed);
    check_json(first.bytes, seed);
    lb_text_clear(&first);
    lb_text_clear(&second);
}

/* --- fmt and merge --- */

/* Is it laid out, and does the layout stay? */
static bool check_format(const char *name, const char *text, size_t bytes)
{
    lb_text once = {0}, twice = {0};
    lb_status status = lb_lang_format(NULL, "f", text, bytes, &once);

    cr_expect(status != LB_UNSUPPORTED, "%s: its layout would change what it means", name);
    if (status == LB_OK) {
        cr_expect(lb_lang_format(NULL, "f", once.bytes, once.length, &twice) == LB_OK, "%s", name);
        cr_expect(once.length == twice.length && !memcmp(once.bytes, twice.bytes, once.length),
                  "%s", name);
    }
    lb_text_clear(&once);
    lb_text_clear(&twice);
    return status == LB_OK;
}

static lb_yaml_node *tree_of(const char *text, size_t bytes, lb_arena *arena)
{
    lb_yaml_node *tree = NULL;

    if (lb_yaml_read(NULL, NULL, text, bytes, arena, &tree) != LB_OK)
        return NULL;
    return tree;
}

/* A side that did not change anything leaves the other as it is. */
static void check_merge(const char *name, const char *text, size_t bytes, const char *other,
                        size_t other_bytes)
{
    const lb_merge_side same = {"same", text, bytes}, changed = {"changed", other, other_bytes};
    lb_arena *arena = lb_arena_new();
    lb_yaml_node *wanted = tree_of(other, other_bytes, arena);
    bool is_good = wanted && tree_of(text, bytes, arena);

    for (int i = 0; i < 3; i++) { /* nobody, ours, theirs changed it */
        lb_text made = {0};
        int32_t conflicts = 0;
        lb_status status = lb_lang_merge(NULL, &same, i == 1 ? &changed : &same,
                                         i == 2 ? &changed : &same, &made, &conflicts);

        cr_expect((status == LB_OK) == (i == 0 ? tree_of(text, bytes, arena) != NULL : is_good),
                  "%s %d: status %d", name, i, status);
        cr_expect(conflicts == 0, "%s %d: %d conflicts", name, i, conflicts);
        if (status == LB_OK && i == 0)
            cr_expect(made.length == bytes && !memcmp(made.bytes, text, bytes), "%s", name);
        if (status == LB_OK && i > 0) {
            lb_yaml_node *tree = tree_of(made.bytes, made.length, arena);

            cr_expect(tree && lb_lang_same_tree(tree, wanted), "%s %d:\n%.*s", name, i,
                      (int)made.length, made.bytes);
        }
        lb_text_clear(&made);
    }
    lb_arena_free(&arena);
}

/* --- all of it --- */

Test(damage, files, .timeout = 250, .fini = forget_fonts)
{
    folder f = make_folder(files);
    int laid = 0;

    check_folder(&f, NULL, 0);
    cr_assert(good == 2 && bad == 0, "the graph is good before it is damaged");
    for (uint32_t seed = 1; seed <= 500; seed++) {
        const file_text *file = &files[seed % 8 < 6 ? 0 : seed % 8 - 5];
        lb_text made = damage_text(seed, file->text, strlen(file->text));
        const char *text = made.bytes ? made.bytes : "";
        char name[32];

        write_in(&f, file->name, text, made.length);
        check_folder(&f, NULL, seed);
        write_in(&f, file->name, file->text, strlen(file->text));
        snprintf(name, sizeof name, "seed %u", seed);
        laid += check_format(name, text, made.length);
        check_merge(name, file->text, strlen(file->text), text, made.length);
        lb_text_clear(&made);
    }
    cr_expect(good > 25 && bad > 400, "%d good, %d bad", good, bad);
    cr_expect(laid > 150, "%d laid out", laid);
    drop_folder(&f);
}

/* What --set gives. */
Test(damage, settings, .timeout = 250, .fini = forget_fonts)
{
    static const lb_setting settings[] = {{"half", "{expr: \"frame / 50 + noise(t)\"}"},
                                          {"half", "{keys: {1: 0, 9: 1}, ease: 'steps(2)'}"},
                                          {"hue", "#ff7a1f"},
                                          {"name", "NIGHT"},
                                          {"kit/warmth", "{param: ramp}"}};
    folder f = make_folder(files);

    for (uint32_t seed = 1; seed <= 150; seed++) {
        lb_setting setting = settings[seed % 5];
        lb_text made = damage_text(seed, setting.value, strlen(setting.value));

        setting.value = made.bytes ? made.bytes : "";
        check_folder(&f, &setting, seed);
        lb_text_clear(&made);
    }
    cr_expect(good > 30 && bad > 100, "%d good, %d bad", good, bad);
    drop_folder(&f);
}

/* Easing functions: a curve or an error, and no progress that is not a number. */
Test(damage, easing)
{
    static const char *const texts[] = {"cubic-bezier(0.4, 0, 0.2, 1)", "steps(4, jump-both)",
                                        "linear(0, 0.25 25% 75%, 1.5, 1)", "ease-in-out"};
    int read = 0, refused = 0;

    for (uint32_t seed = 1; seed <= 4000; seed++) {
        const char *start = texts[seed % 4];
        lb_text made = damage_text(seed, start, strlen(start));
        lb_diag *diag = lb_diag_new();
        lb_arena *arena = lb_arena_new();
        lb_yaml_node scalar = {.is_exact = true, .text = made.bytes ? made.bytes : ""};
        lb_easing easing;

        scalar.length = strlen(scalar.text);
        if (lb_easing_read(diag, &scalar, arena, &easing) == LB_OK) {
            read++;
            for (int i = -4; i <= 8; i++)
                cr_expect(!isnan(lb_easing_at(&easing, i / 4.0)), "%s", scalar.text);
        } else {
            refused++;
            cr_expect(lb_diag_count(diag, LB_ERROR) == 1, "%s", scalar.text);
        }
        lb_arena_free(&arena);
        lb_diag_free(&diag);
        lb_text_clear(&made);
    }
    cr_expect(read > 150 && refused > 2000, "%d read, %d refused", read, refused);
}

/* --- the YAML Test Suite (tests/data/yaml/SOURCE.md) --- */

static int cases, laid_out;

static void run_case(const char *path, const char *id)
{
    const lb_lang_options options = {.ops = lb_nodes_registry, .all_versions = true};
    lb_diag *diag = lb_diag_new();
    lb_graph *graph;
    void *text;
    size_t bytes;
    lb_text json = {0};
    char command[1200];
    int status;

    cr_assert(lb_file_read(diag, LB_NOWHERE, path, 1 << 20, &text, &bytes) == LB_OK);
    cases++;
    cr_expect(lb_lang_read(diag, path, &options, &graph) != LB_OK && !graph, "%s is no graph", id);
    cr_expect(lb_diag_count(diag, LB_ERROR) > 0, "%s", id);
    lb_diag_json(diag, &json);
    check_json(json.bytes, 0);
    laid_out += check_format(id, text, bytes);
    for (uint32_t seed = 1; seed <= 12; seed++) {
        lb_text made = damage_text(seed, text, bytes);

        check_format(id, made.bytes ? made.bytes : "", made.length);
        if (bytes > 0)
            check_merge(id, text, bytes, made.bytes ? made.bytes : "", made.length);
        lb_text_clear(&made);
    }
    snprintf(command, sizeof command, "%s names nodes '%s' >/dev/null 2>&1", LB_PROGRAM, path);
    status = system(command);
    cr_expect(WIFEXITED(status) && WEXITSTATUS(status) <= 1, "%s: %d", id, status);
    lb_text_clear(&json);
    lb_free(text);
    lb_diag_free(&diag);
}

static void run_folder(const char *path, const char *id)
{
    DIR *dir = opendir(path);
    struct dirent *entry;

    cr_assert(dir, "%s", path);
    while ((entry = readdir(dir))) {
        char inner[1024];
        struct stat info;

        snprintf(inner, sizeof inner, "%s/%s", path, entry->d_name);
        if (strcmp(entry->d_name, "in.yaml") == 0)
            run_case(inner, id);
        else if (entry->d_name[0] != '.' && stat(inner, &info) == 0 && S_ISDIR(info.st_mode))
            run_folder(inner, entry->d_name);
    }
    closedir(dir);
}

Test(damage, yaml_suite, .timeout = 250)
{
    run_folder(LB_TEST_DATA "/yaml", "");
    cr_expect(cases == 93, "%d cases", cases);
    cr_expect(laid_out == 40, "%d laid out", laid_out);
}

/* A fault of a param is not one of the node or output that hangs on it, yet these have no value: an
 * operator's own check must not see them. */
Test(damage, faulty_params, .fini = forget_fonts)
{
    static const char text[] = "lampblack: 1\n"
                               "frame: {size: [64, 36], rate: 24, range: [1, 40]}\n"
                               "params: {a: {expr: '1 +'}}\n"
                               "nodes: {t: {op: text, text: {param: a}}}\n"
                               "outputs: {o: {image: t, file: {param: a}}}\n";
    lb_diag *diag = lb_diag_new();
    lb_graph *graph;
    char *messages;

    cr_expect(lb_lang_parse(diag, "g.yaml", text, strlen(text), lb_nodes_registry, NULL, 0,
                            &graph) == LB_INVALID);
    messages = messages_of(diag);
    cr_expect_str_eq(messages, "g.yaml:3:24: error: the expression ends where a value should be\n");
    free(messages);
    lb_diag_free(&diag);
}
