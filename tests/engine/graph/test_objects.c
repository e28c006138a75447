/* tests/engine/graph/test_objects.c: what an operator of a shared object can do, each thing by an
 * operator of tests/support/probe.c, and what is refused, each by tests/support/variant.c with one
 * thing changed. Pixels follow from what the operators say that they do; all are dyadic, so they
 * are exact. */
#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "engine/base/text.h"
#include "engine/graph/operators.h"
#include "engine/graph/run.h"
#include "lang/lang.h"
#include "nodes/nodes.h"

#define PROBE LB_OBJECTS "/probe.so"

typedef struct loaded {
    lb_operators *operators;
    lb_diag *diag;
    lb_pool *pool;
    lb_graph *graph;
    lb_run *run;
} loaded;

static char *messages_of(lb_diag *diag)
{
    char *text = NULL;
    size_t length;
    FILE *memory = open_memstream(&text, &length);

    lb_diag_print(diag, memory, false);
    fclose(memory);
    return text;
}

#define HEAD(width)                                                                                \
    "lampblack: 1\n"                                                                               \
    "frame: {size: [" width ", 4], rate: 24, range: [1, 9]}\n"                                     \
    "nodes:\n"
#define TAIL(node) "outputs: {o: {image: " node ", file: o.exr}}\n"

static loaded load(const char *text, const char *path, double scale)
{
    loaded l = {.diag = lb_diag_new()};
    lb_run_options options = {.diag = l.diag, .scale = scale, .cache_bytes = 1 << 20};

    cr_assert_eq(lb_pool_new(2, &l.pool), LB_OK);
    options.pool = l.pool;
    cr_assert_eq(lb_operators_new(lb_nodes_registry, &l.operators), LB_OK);
    if (lb_operators_load(l.operators, l.diag, LB_NOWHERE, PROBE) != LB_OK ||
        lb_lang_parse(l.diag, path, text, strlen(text), lb_operators_list(l.operators), NULL, 0,
                      &l.graph) != LB_OK ||
        lb_run_new(l.graph, &options, &l.run) != LB_OK)
        cr_assert_fail("%s", messages_of(l.diag));
    return l;
}

static void unload(loaded *l)
{
    lb_run_free(&l->run);
    lb_graph_free(&l->graph);
    lb_operators_free(&l->operators);
    lb_pool_free(&l->pool);
    lb_diag_free(&l->diag);
    cr_expect_eq(lb_memory_used(), 0);
}

/* The output's picture at a frame; the caller's. */
static lb_image *picture_of(const loaded *l, int32_t frame, const lb_box *window, lb_key *key)
{
    lb_want want = {.ref = l->graph->outputs[0].image, .window = window};
    lb_value value = {0};

    if (lb_run_frame(l->run, frame, &want, 1, &value, key) != LB_OK)
        cr_assert_fail("%s", messages_of(l->diag));
    return value.image;
}

/* One row of channel R, whose plane begins at x0. */
static void expect_row(const lb_image *image, int32_t y, int32_t x0, int32_t count,
                       const float *wanted)
{
    const lb_plane *plane = lb_image_find(image, "R");

    cr_assert_not_null(plane);
    for (int32_t i = 0; i < count; i++)
        cr_expect(lb_plane_at(plane, x0 + i, y) == wanted[i], "x %d: %g, not %g", x0 + i,
                  (double)lb_plane_at(plane, x0 + i, y), (double)wanted[i]);
}

/* A colour that is frame / 8: the mean of frames 3, 4, 5 is that of 4; and of it at 4, 5, 6 that of
 * 5, from five different frames. */
Test(objects, read_inputs_at_several_times)
{
    loaded l = load(HEAD("2") "  a: {op: solid, color: [{expr: frame / 8}, 0, 0]}\n"
                              "  b: {op: probe-mean, image: a}\n"
                              "  c: {op: probe-mean, image: b}\n" TAIL("c"),
                    "a.yaml", 1);
    lb_image *image = picture_of(&l, 5, NULL, NULL);
    const lb_node_stats *stats;
    int32_t count;

    expect_row(image, 1, 0, 2, (float[]){0.625f, 0.625f});
    stats = lb_run_stats(l.run, &count);
    cr_expect(stats[0].evaluated == 5 && stats[1].evaluated == 3 && stats[2].evaluated == 1);
    lb_image_unref(&image);
    unload(&l);
}

/* 0.5 in columns 0 to 3 and 0.25 in 2 to 5; where the mask is 1, columns 0 to 2, twice. One column
 * more than the images have. */
Test(objects, take_lists_and_masks_and_tell_their_windows)
{
    static const float wanted[] = {1, 1, 1.5f, 0.75f, 0.25f, 0.25f, 0};
    loaded l = load(HEAD("8") "  half: {op: solid, color: [0.5, 0, 0]}\n"
                              "  left: {op: crop, image: half, box: [0, 0, 4, 4]}\n"
                              "  quarter: {op: solid, color: [0.25, 0, 0]}\n"
                              "  right: {op: crop, image: quarter, box: [2, 0, 6, 4]}\n"
                              "  white: {op: solid, color: [1, 1, 1]}\n"
                              "  mask: {op: crop, image: white, box: [0, 0, 3, 4]}\n"
                              "  all: {op: probe-sum, images: [left, right], mask: mask}\n"
                              "  some: {op: probe-sum, images: [right]}\n" TAIL("all"),
                    "a.yaml", 1);
    lb_image *image = picture_of(&l, 1, NULL, NULL);

    cr_expect(lb_box_equal(lb_image_data(image), (lb_box){0, 0, 7, 4}));
    cr_expect_eq(lb_image_count(image), 1);
    expect_row(image, 2, 0, 7, wanted);
    lb_image_unref(&image);
    unload(&l);
}

/* At half size, where columns are half as far. */
Test(objects, take_records_with_references)
{
    loaded l = load(HEAD("8") "  half: {op: solid, color: [0.5, 0, 0]}\n"
                              "  quarter: {op: solid, color: [0.25, 0, 0]}\n"
                              "  bands:\n"
                              "    op: probe-bands\n"
                              "    image: half\n"
                              "    bands:\n"
                              "      - {from: 2, to: 6, image: quarter}\n"
                              "      - {from: 4, to: 8, image: half, mode: add}\n"
                              "      - {from: 6, to: 8}\n" TAIL("bands"),
                    "a.yaml", 0.5);
    lb_image *image = picture_of(&l, 1, NULL, NULL);

    expect_row(image, 0, 0, 4, (float[]){0.5f, 0.25f, 0.75f, 0});
    lb_image_unref(&image);
    unload(&l);
}

static void write_text(const char *path, const char *text)
{
    FILE *file = fopen(path, "w");

    cr_assert_not_null(file);
    fputs(text, file);
    fclose(file);
}

/* Found beside the graph; what it holds is part of the key, and what it held before is forgotten.
 * ASCII: '@' is 64, ' ' is 32. */
Test(objects, read_files)
{
    char folder[] = "/tmp/lampblack-objects-XXXXXX", graph[64], file[64];
    lb_key first, again, other;
    lb_image *image;
    loaded l;

    cr_assert_not_null(mkdtemp(folder));
    snprintf(graph, sizeof graph, "%s/g.yaml", folder);
    snprintf(file, sizeof file, "%s/byte.txt", folder);
    l = load(HEAD("2") "  b: {op: probe-byte, file: byte.txt}\n" TAIL("b"), graph, 1);
    write_text(file, "@");
    image = picture_of(&l, 1, NULL, &first);
    expect_row(image, 0, 0, 2, (float[]){0.25f, 0.25f});
    lb_image_unref(&image);
    image = picture_of(&l, 2, NULL, &again);
    cr_expect(lb_key_equal(first, again));
    lb_image_unref(&image);
    write_text(file, " longer than before");
    image = picture_of(&l, 1, NULL, &other);
    cr_expect(!lb_key_equal(first, other));
    expect_row(image, 0, 0, 2, (float[]){0.125f, 0.125f});
    lb_image_unref(&image);
    cr_expect_eq(unlink(file), 0);
    {
        lb_want want = {.ref = l.graph->outputs[0].image};
        lb_value value = {0};
        char *text;

        cr_expect_eq(lb_run_frame(l.run, 1, &want, 1, &value, NULL), LB_NOT_FOUND);
        text = messages_of(l.diag);
        cr_expect_not_null(strstr(text, "g.yaml:4:"), "%s", text);
        cr_expect_not_null(strstr(text, "byte.txt"), "%s", text);
        free(text);
    }
    unload(&l);
    cr_expect_eq(rmdir(folder), 0);
}

static void count_begun(void *context, const char *node)
{
    (void)node;
    ++*(int *)context;
}

static void count_planned(void *context, int64_t count)
{
    (void)context;
    cr_expect_eq(count, 3);
}

static void count_ended(void *context)
{
    (void)context;
}

/* Among operators that are built in: `a` to `d` are one piece of work beside the two of the mask,
 * which covers the left half. */
Test(objects, run_as_one_with_their_neighbours)
{
    loaded l = load(HEAD("4") "  a: {op: solid, color: [0.5, 0.25, 0, 0.5]}\n"
                              "  white: {op: solid, color: [1, 1, 1]}\n"
                              "  m: {op: crop, image: white, box: [0, 0, 2, 4]}\n"
                              "  b: {op: probe-gain, image: a, by: 4, mask: m}\n"
                              "  c: {op: exposure, image: b, stops: 1}\n"
                              "  d: {op: probe-gain, image: c, by: 0.5}\n" TAIL("d"),
                    "a.yaml", 1);
    int begun = 0;
    lb_watch watch = {&begun, count_planned, count_begun, count_ended};
    lb_want want = {.ref = l.graph->outputs[0].image};
    lb_value value = {0};

    cr_assert_eq(lb_run_frame_watched(l.run, 1, &want, 1, &watch, &value, NULL), LB_OK);
    cr_expect_eq(begun, 3);
    expect_row(value.image, 3, 0, 4, (float[]){1, 1, 0.25f, 0.25f});
    cr_expect(lb_plane_at(lb_image_find(value.image, "A"), 0, 0) == 0.5f);
    lb_value_unref(&value);
    unload(&l);
}

/* A part is the same as in the whole, the plan counts the memory that is said to be needed, and a
 * pixel's reach is scaled: 4 pixels of 0 .. 63 where the picture is 1 from 32 on. */
Test(objects, read_neighbourhoods)
{
    loaded l = load(HEAD("64") "  a: {op: solid, color: [1, 0, 0]}\n"
                               "  b: {op: crop, image: a, box: [32, 0, 64, 4]}\n"
                               "  back: {op: solid, color: [0, 0, 0]}\n"
                               "  c: {op: composite, source: b, backdrop: back}\n"
                               "  d: {op: probe-smear, image: c, reach: 7}\n" TAIL("d"),
                    "a.yaml", 0.5);
    lb_box part = {14, 1, 17, 2};
    lb_want want = {0};
    lb_image *whole = picture_of(&l, 1, NULL, NULL), *cut = picture_of(&l, 1, &part, NULL);
    lb_text plan = {0};

    for (int32_t x = 14; x < 17; x++) { /* 16 is the first that is 1; 3 to each side */
        float wanted = (float)(x - 12) / 7;

        cr_expect(lb_plane_at(lb_image_find(whole, "R"), x, 1) == wanted, "%d", x);
        cr_expect(lb_plane_at(lb_image_find(cut, "R"), x, 1) == wanted, "%d", x);
    }
    lb_image_unref(&whole);
    lb_image_unref(&cut);
    unload(&l);
    l = load(HEAD("64") "  a: {op: solid, color: [1, 0, 0]}\n"
                        "  d: {op: probe-smear, image: a, reach: 7}\n" TAIL("d"),
             "a.yaml", 1);
    want.ref = l.graph->outputs[0].image;
    cr_assert_eq(lb_run_explain(l.run, 1, &want, 1, &plan), LB_OK);
    cr_expect_not_null(strstr(plan.bytes, "64.0 MiB beside it"), "%s", plan.bytes);
    lb_text_clear(&plan);
    unload(&l);
}

/* An operator's own complaint stands at the graph's line. */
Test(objects, complain_like_all_others)
{
    static const char text[] = HEAD("4") "  d: {op: probe-smear, image: e, reach: 700}\n"
                                         "  e: {op: probe-byte}\n" TAIL("d");
    lb_operators *operators = NULL;
    lb_diag *diag = lb_diag_new();
    lb_graph *graph = NULL;
    char *said;

    cr_assert_eq(lb_operators_new(lb_nodes_registry, &operators), LB_OK);
    cr_assert_eq(lb_operators_load(operators, diag, LB_NOWHERE, PROBE), LB_OK);
    cr_expect_eq(lb_lang_parse(diag, "g.yaml", text, sizeof text - 1, lb_operators_list(operators),
                               NULL, 0, &graph),
                 LB_INVALID);
    said = messages_of(diag);
    cr_expect_not_null(strstr(said, "g.yaml:4:"), "%s", said);
    cr_expect_not_null(strstr(said, "'reach' is 700; it goes from 0 to 100"), "%s", said);
    cr_expect_not_null(strstr(said, "'e' needs 'file'"), "%s", said);
    free(said);
    lb_operators_free(&operators);
    lb_diag_free(&diag);
}

/* Objects of other interfaces, and tables that could not be relied on: what they come to. */
Test(objects, are_taken_or_refused_in_words)
{
    static const struct {
        const char *name;
        lb_status status;
        const char *words;
    } rows[] = {
        {"older", LB_UNSUPPORTED, "has operators of interface 2; this version has interface 3"},
        {"newer", LB_UNSUPPORTED, "has operators of interface 77; this version has interface 3"},
        {"fewer", LB_OK, NULL},
        {"more", LB_UNSUPPORTED, "build it with this version's headers"},
        {"table", LB_UNSUPPORTED, "with tables of "},
        {"layout", LB_UNSUPPORTED, "layout 00000001"},
        {"takes_scene", LB_UNSUPPORTED, "input 'stage' of 'variant' is a scene; operators of "},
        {"takes_texture", LB_UNSUPPORTED, "input 'cloth' of 'variant' is a texture; "},
        {"makes_scene", LB_UNSUPPORTED, "the result of 'variant' is a scene; "},
        {"makes_nothing", LB_UNSUPPORTED, "the result of 'variant' is nothing; "},
        {"reference", LB_UNSUPPORTED, "parameter 'node' of 'variant' is a material; "},
        {"list_first", LB_INVALID, "input 'images' of 'variant' is a list, and not the last"},
        {"twice", LB_INVALID, "input 'image' of 'variant' is there twice"},
        {"input_name", LB_INVALID, "input 'Image' of 'variant' is no name of small letters"},
        {"both", LB_INVALID, "parameter 'by' of 'variant' is an input, too"},
        {"choice", LB_INVALID, "parameter 'how' of 'variant' is a choice without a list"},
        {"chosen", LB_INVALID, "parameter 'how' of 'variant' begins with a choice that it has no"},
        {"file", LB_INVALID, "parameter 'file' of 'variant' is a file, and there is no finger"},
        {"records", LB_INVALID, "parameter 'list' of 'variant' is a record without fields"},
        {"type", LB_INVALID, "parameter 'by' of 'variant' has a type that is not known"},
        {"outside", LB_INVALID, "parameter 'by' of 'variant' lies outside its struct"},
        {"pixels", LB_INVALID, "parameter 'how' of 'variant' is in pixels, which a frame's "},
        {"range", LB_INVALID, "parameter 'by' of 'variant' has a range without numbers"},
        {"points", LB_INVALID, "the points of 'variant' need 'use'"},
        {"same", LB_INVALID, "has two operators 'variant'"},
    };

    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        char path[1024];
        lb_operators *operators = NULL;
        lb_diag *diag = lb_diag_new();
        char *said;

        snprintf(path, sizeof path, "%s/%s.so", LB_OBJECTS, rows[i].name);
        cr_assert_eq(lb_operators_new(lb_nodes_registry, &operators), LB_OK);
        cr_expect_eq(lb_operators_load(operators, diag, LB_NOWHERE, path), rows[i].status, "%s",
                     rows[i].name);
        said = messages_of(diag);
        cr_expect_eq(lb_diag_count(diag, LB_ERROR), rows[i].words != NULL, "%s", said);
        if (rows[i].words)
            cr_expect_not_null(strstr(said, rows[i].words), "%s: %s", rows[i].name, said);
        free(said);
        lb_operators_free(&operators);
        lb_diag_free(&diag);
    }
    cr_expect_eq(lb_memory_used(), 0);
}
