/* tests/lang/test_diff.c: what two graphs differ in by meaning: cases by hand, and laws on all
 * graphs of the tree: a graph has nothing otherwise than itself however it is laid out, and what is
 * added one way is removed the other. */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "engine/base/text.h"
#include "lang/diff.h"
#include "lang/format.h"
#include "nodes/nodes.h"

#define HEAD "lampblack: 1\nframe: {size: [64, 36], rate: 25, range: [1, 10]}\n"

static lb_status diff_of(const char *a, const char *b, lb_diff *out)
{
    const lb_diff_side x = {"a.yaml", a, strlen(a)}, y = {"b.yaml", b, strlen(b)};
    lb_diag *diag = lb_diag_new();
    lb_status status = lb_lang_diff(diag, &x, &y, lb_nodes_registry, out);

    for (int32_t i = 0; i < out->count; i++) /* places name files that the diag holds */
        out->items[i].old_loc.file = out->items[i].new_loc.file = NULL;
    lb_diag_free(&diag);
    return status;
}

/* "changed nodes blur sigma: 4 -> 6 pixels; ..." */
static char *told(const lb_diff *diff)
{
    lb_text text = {0};

    for (int32_t i = 0; i < diff->count; i++) {
        const lb_change *c = &diff->items[i];

        lb_text_printf(&text, "%s%s%s%s %s", i ? "; " : "", c->part ? c->part : "",
                       c->part ? ": " : "", lb_change_names[c->kind], c->section);
        if (c->name)
            lb_text_printf(&text, " %s", c->name);
        if (c->path)
            lb_text_printf(&text, " %s", c->path);
        lb_text_printf(&text, ": %s -> %s", c->old_text ? c->old_text : "none",
                       c->new_text ? c->new_text : "none");
        if (c->unit)
            lb_text_printf(&text, " %s", c->unit);
    }
    cr_assert(!text.failed);
    return text.bytes ? text.bytes : lb_strdup("");
}

static void expect(const char *a, const char *b, const char *want)
{
    lb_diff diff;
    char *text;

    cr_assert_eq(diff_of(a, b, &diff), LB_OK, "%s\n%s", a, b);
    text = told(&diff);
    cr_expect_str_eq(text, want, "\n%s\n%s\ntold:   %s\nwanted: %s", a, b, text, want);
    lb_free(text);
    lb_diff_clear(&diff);
}

#define NODES(text) HEAD "nodes:\n" text

/* The same in other words. */
Test(diff, spelling_does_not_show)
{
    static const char *const same[][2] = {
        {NODES("  a: {op: solid, color: '#fff'}\n"),
         "# a comment\nframe:\n  range: [1, 10]\n  rate: 25.0\n  size: [64, 36]\n\nlampblack: 1\n"
         "nodes:\n  a:\n    color: \"#FFFFFF\"\n    op: solid\n"},
        {NODES("  a: {op: solid}\n  b: {op: blur, image: a, sigma: 4}\n"),
         NODES("  b: {sigma: [4, 4.0], image: a, op: blur}\n  a: {op: solid}\n")},
        {NODES("  b: {op: blur, image: a}\n"), NODES("  b: {op: blur, image: a, sigma: 4}\n")},
        {NODES("  a: {op: solid, color: [1, 1, 1]}\n"), NODES("  a: {op: solid, color: '#fff'}\n")},
        {NODES("  a: {op: exposure, image: x, stops: {expr: t * 2.0 + sin( t )}}\n"),
         NODES("  a: {op: exposure, image: x, stops: {expr: \"t*2+sin(t)\"}}\n")},
        {NODES("  a: {op: exposure, image: x, stops: {keys: {1: 0, 5: 2}}}\n"),
         NODES("  a: {op: exposure, image: x, stops: {keys: [{at: 5.0, value: 2}, {at: 1, value: "
               "0}], before: hold, ease: linear}}\n")},
        {NODES("  a: &x {op: solid}\n  b: *x\n"), NODES("  a: {op: solid}\n  b: {op: solid}\n")},
        {NODES("  a: {op: light, type: point, rotation: [0, 90, 0]}\n"),
         NODES("  a: {op: light, type: point, rotation: [0.0, 90, 0]}\n")},
    };

    for (size_t i = 0; i < sizeof same / sizeof same[0]; i++) {
        expect(same[i][0], same[i][1], "");
        expect(same[i][1], same[i][0], "");
    }
}

Test(diff, what_changed_is_told)
{
    static const char *const cases[][3] = {
        {NODES("  b: {op: blur, image: a, sigma: 4}\n"),
         NODES("  b: {op: blur, image: a, sigma: 6.50}\n"),
         "changed nodes b sigma: 4 -> 6.5 pixels"},
        {NODES("  b: {op: blur, image: a}\n"), NODES("  b: {op: blur, image: a, sigma: 2}\n"),
         "changed nodes b sigma: none -> 2 pixels"},
        {NODES("  b: {op: blur, image: a}\n"), NODES("  b: {op: blur, image: c}\n"),
         "rewired nodes b image: a -> c"},
        {NODES("  b: {op: defocus, image: a, focus: 3}\n"),
         NODES("  b: {op: defocus, image: a, depth: z, focus: 3}\n"),
         "rewired nodes b depth: none -> z"},
        {NODES("  g: {op: group, items: [a, b]}\n"), NODES("  g: {op: group, items: [b, a]}\n"),
         "rewired nodes g items: [a, b] -> [b, a]"},
        {NODES("  a: {op: solid}\n"),
         NODES("  a: {op: solid}\n  b: {op: blur, sigma: 2, image: a}\n"),
         "added nodes b: none -> {image: a, op: blur, sigma: 2}"},
        {NODES("  a: {op: solid}\n  b: {op: blur, sigma: 2, image: a}\n"),
         NODES("  a: {op: solid}\n"), "removed nodes b: {image: a, op: blur, sigma: 2} -> none"},
        {NODES("  a: {op: solid}\n"), NODES("  a: {op: gradient, stops: [{color: '#000'}]}\n"),
         "changed nodes a op: solid -> gradient; changed nodes a stops: none -> [{color: "
         "\"#000\"}]"},
        {NODES("  a: {op: exposure, image: x, stops: {keys: {1: 0, 5: 2}}}\n"),
         NODES("  a: {op: exposure, image: x, stops: {keys: {1: 0, 5: 3, 9: 0}, ease: ease-in}}\n"),
         "changed nodes a stops at frame 5: 2 -> 3 stops; changed nodes a stops at frame 9: none "
         "-> "
         "0 stops; changed nodes a stops.ease: linear -> ease-in"},
        {NODES("  a: {op: exposure, image: x, stops: 1}\n"),
         NODES("  a: {op: exposure, image: x, stops: {expr: t / 2}}\n"),
         "changed nodes a stops: 1 -> {expr: t/2} stops"},
        {NODES("  a: {op: gradient, stops: [{color: '#000'}, {at: 0.5, color: '#fff'}]}\n"),
         NODES("  a: {op: gradient, stops: [{color: '#000'}, {at: 0.6, color: '#fff'}]}\n"),
         "changed nodes a stops[2].at: 0.5 -> 0.6"},
        {HEAD "params: {x: 1, gone: 2}\nnodes: {}\n", HEAD "params: {x: 1.5, new: 3}\nnodes: {}\n",
         "removed params gone: 2 -> none; changed params x: 1 -> 1.5; added params new: none -> 3"},
        {NODES("  a: {op: solid}\n") "outputs: {o: {image: a, file: a.exr}}\n",
         NODES("  a: {op: solid}\n") "outputs: {o: {image: a, file: a.exr, depth: float}}\n",
         "changed outputs o depth: none -> float"},
        {"lampblack: 1\nframe: {size: [64, 36], rate: 25, range: [1, 10]}\n",
         "lampblack: 1\nframe: {size: [64, 36], rate: 30, range: [1, 10]}\n",
         "changed frame rate: 25 -> 30"},
        {HEAD "versions: {de: {headline: A}}\n", HEAD "versions: {de: {headline: B}}\n",
         "changed versions de headline: A -> B"},
        {HEAD "parts:\n  p: {inputs: {image: image}, nodes: {b: {op: blur, image: image}}, result: "
              "b}\n",
         HEAD "parts:\n  p: {inputs: {image: image}, nodes: {b: {op: blur, image: image, sigma: "
              "9}}, result: b}\n",
         "p: changed nodes b sigma: none -> 9 pixels"},
        {HEAD "parts:\n  p: {inputs: {image: image}, nodes: {}, result: image}\n"
              "nodes:\n  a: {op: part/p, image: x}\n",
         HEAD "parts:\n  p: {inputs: {image: image}, nodes: {}, result: image}\n"
              "nodes:\n  a: {op: part/p, image: y}\n",
         "rewired nodes a image: x -> y"},
        {"", NODES("  a: {op: solid}\n"),
         "added lampblack: none -> 1; added frame: none -> {range: [1, 10], rate: 25, size: "
         "[64, 36]}; added nodes a: none -> {op: solid}"},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++)
        expect(cases[i][0], cases[i][1], cases[i][2]);
}

Test(diff, renamed_things_are_recognised)
{
    static const char *const cases[][3] = {
        /* A chain, in one go: each is the same but for names. */
        {NODES("  a: {op: solid}\n  b: {op: blur, image: a, sigma: 2}\n  c: {op: crop, image: b, "
               "box: [0, 0, 9, 9]}\n"),
         NODES(
             "  night: {op: solid}\n  soft: {op: blur, image: night, sigma: 2}\n  cut: {op: crop, "
             "image: soft, box: [0, 0, 9, 9]}\n"),
         "renamed nodes night: a -> night; renamed nodes soft: b -> soft; renamed nodes cut: c -> "
         "cut"},
        /* And changed: most of it is the same. */
        {NODES("  hot: {op: glow, image: a, threshold: 1.5, radius: 40, gain: 2}\n"),
         NODES("  ember: {op: glow, image: a, threshold: 1.5, radius: 64, gain: 2}\n"),
         "renamed nodes ember: hot -> ember; changed nodes ember radius: 40 -> 64 pixels"},
        /* Nothing in common but the operator. */
        {NODES("  a: {op: blur, image: x, sigma: 2}\n"),
         NODES("  b: {op: blur, image: y, sigma: 9}\n"),
         "removed nodes a: {image: x, op: blur, sigma: 2} -> none; added nodes b: none -> {image: "
         "y, op: blur, sigma: 9}"},
        {HEAD "params: {warm: 1.25}\nnodes:\n  a: {op: exposure, image: x, stops: {expr: warm * "
              "warmer}}\n",
         HEAD
         "params: {warmth: 1.25}\nnodes:\n  a: {op: exposure, image: x, stops: {expr: warmth * "
         "warmer}}\n",
         "renamed params warmth: warm -> warmth"},
        /* Names change places: they are changed, not renamed. */
        {NODES("  a: {op: blur, image: x, sigma: 2}\n  b: {op: blur, image: x, sigma: 9}\n"),
         NODES("  b: {op: blur, image: x, sigma: 2}\n  a: {op: blur, image: x, sigma: 9}\n"),
         "changed nodes b sigma: 9 -> 2 pixels; changed nodes a sigma: 2 -> 9 pixels"},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++)
        expect(cases[i][0], cases[i][1], cases[i][2]);
}

static char *read_text(const char *path)
{
    FILE *file = fopen(path, "rb");
    char *text = calloc(1, 1 << 20);

    cr_assert(file && text, "%s", path);
    cr_assert_lt(fread(text, 1, 1 << 20, file), (size_t)1 << 20);
    fclose(file);
    return text;
}

/* Every graph of the tree beside itself in the canonical layout, and beside an empty file. */
Test(diff, layout_never_shows)
{
    FILE *list = popen("find " LB_SOURCE_DIR "/examples " LB_SOURCE_DIR "/tests/determinism "
                       "-name '*.yaml' -not -path '*/out/*'",
                       "r");
    char path[512];
    int32_t seen = 0;

    cr_assert(list);
    while (fgets(path, sizeof path, list)) {
        lb_diag *diag = lb_diag_new();
        lb_text made = {0};
        lb_diff added, removed;
        char *text;

        path[strcspn(path, "\n")] = 0;
        text = read_text(path);
        cr_assert_eq(lb_lang_format(diag, path, text, strlen(text), &made), LB_OK);
        expect(text, made.bytes, "");
        cr_assert_eq(diff_of("", text, &added), LB_OK);
        cr_assert_eq(diff_of(text, "", &removed), LB_OK);
        cr_expect_eq(added.count, removed.count, "%s", path);
        cr_expect_gt(added.count, 3, "%s", path);
        lb_diff_clear(&added);
        lb_diff_clear(&removed);
        lb_text_clear(&made);
        lb_diag_free(&diag);
        free(text);
        seen++;
    }
    pclose(list);
    cr_expect_gt(seen, 10);
}

Test(diff, what_is_no_graph_is_told)
{
    static const char *const bad[] = {"- a\n", "a: [1\n", "a: {b: *c}\n", "just a word\n"};

    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        lb_diff diff;

        cr_expect_neq(diff_of(bad[i], HEAD, &diff), LB_OK, "%s", bad[i]);
        lb_diff_clear(&diff);
        cr_expect_neq(diff_of(HEAD, bad[i], &diff), LB_OK, "%s", bad[i]);
        lb_diff_clear(&diff);
    }
}

Test(diff, memory_may_run_out)
{
    static const char a[] = NODES("  a: {op: solid}\n  b: {op: blur, image: a, sigma: 2}\n");
    static const char b[] =
        NODES("  n: {op: solid}\n  b: {op: blur, image: n, sigma: {keys: {1: 0, "
              "3: 2}}}\n  c: {op: crop, image: b, box: [0, 0, 1, 1]}\n");
    int64_t n = 1;

    for (;; n++) {
        lb_diff diff;
        lb_status status;

        lb_memory_fail_at(n);
        status = diff_of(a, b, &diff);
        if (lb_memory_fail_left() > 0) {
            lb_memory_fail_at(0);
            cr_expect_eq(status, LB_OK);
            lb_diff_clear(&diff);
            break;
        }
        lb_memory_fail_at(0);
        lb_diff_clear(&diff);
        cr_assert_lt(n, 5000);
    }
    cr_expect_gt(n, 20);
}
