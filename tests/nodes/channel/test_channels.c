/* tests/nodes/channel/test_channels.c: every channel of the result is the one that the graph names,
 * pixel for pixel; channels that move are the same planes. */
#include <criterion/criterion.h>

#include "tests/support/op_run.h"
#include "tests/support/random_graph.h"

extern const lb_op lb_op_channels;

/* Two pictures of other windows, with other channels. */
static op_run start(void)
{
    op_run r = op_new(&lb_op_channels, 1);

    op_connect(
        &r, 0,
        op_noise_image((lb_box){0, 0, 20, 10}, (lb_box){-2, 0, 20, 12}, "A B G R depth.Z", 3));
    op_connect(&r, 1, op_noise_image((lb_box){0, 0, 20, 10}, (lb_box){5, -3, 30, 8}, "R id", 4));
    return r;
}

static void set_text(op_run *r, void *record, const char *name, const char *text)
{
    lb_datum value = {.kind = LB_DATUM_TEXT, .text = text};

    op_store_datum(r, lb_params_find(r->op->params, "set")->fields, record, name, &value);
}

static void set_from(op_run *r, const char *channel, const char *of, const char *from)
{
    void *record = op_record(r, "set");

    set_text(r, record, "channel", channel);
    if (of)
        set_text(r, record, "of", of);
    if (from)
        set_text(r, record, "from", from);
}

static void set_value(op_run *r, const char *channel, double number)
{
    lb_datum value = {.kind = LB_DATUM_NUMBERS, .count = 1, .numbers = {number}};
    void *record = op_record(r, "set");

    set_text(r, record, "channel", channel);
    op_store_datum(r, lb_params_find(r->op->params, "set")->fields, record, "value", &value);
}

static void expect_same(const lb_image *out, const char *name, const lb_image *in, const char *from)
{
    lb_box box = lb_image_box(out);

    for (int32_t y = box.y0; y < box.y1; y++)
        for (int32_t x = box.x0; x < box.x1; x++)
            cr_assert(op_at(out, name, x, y) == op_at(in, from, x, y), "%s at (%d, %d)", name,
                      (int)x, (int)y);
}

Test(channels, each_comes_from_where_it_is_said)
{
    op_run r = start();
    lb_image *image;

    set_from(&r, "R", "image", "G"); /* these two change places */
    set_from(&r, "G", NULL, "R");
    set_from(&r, "id", "other", NULL);
    set_from(&r, "mask.A", "other", "R");
    set_value(&r, "A", 0.5);
    image = op_run_all(&r);
    cr_expect(lb_box_equal(lb_image_data(image), (lb_box){-2, -3, 30, 12}),
              "around both, for there are pixels of both");
    cr_expect_eq(lb_image_count(image), 7, "A B G R depth.Z id mask.A");
    expect_same(image, "R", r.inputs[0], "G");
    expect_same(image, "G", r.inputs[0], "R");
    expect_same(image, "B", r.inputs[0], "B");
    expect_same(image, "depth.Z", r.inputs[0], "depth.Z");
    expect_same(image, "id", r.inputs[1], "id");
    expect_same(image, "mask.A", r.inputs[1], "R");
    for (int32_t y = -3; y < 12; y++)
        for (int32_t x = -2; x < 30; x++)
            cr_assert(op_at(image, "A", x, y) == 0.5);
    lb_image_unref(&image);
    cr_expect(op_is_consistent(&r));
    op_free(&r);
}

Test(channels, the_others_go)
{
    op_run r = start();
    lb_image *image;

    op_bool(&r, "keep", false);
    set_from(&r, "Y", NULL, "depth.Z");
    image = op_run_all(&r);
    cr_expect_eq(lb_image_count(image), 1);
    cr_expect(lb_box_equal(lb_image_data(image), (lb_box){-2, 0, 20, 12}));
    expect_same(image, "Y", r.inputs[0], "depth.Z");
    lb_image_unref(&image);
    cr_expect(op_survives_no_memory(&r));
    op_free(&r);
}

/* As many as a picture can have, all of them made. */
Test(channels, sixty_four_values)
{
    op_run r = start();
    lb_image *image;
    char name[16];

    op_bool(&r, "keep", false);
    for (int i = 0; i < LB_MAX_CHANNELS; i++) {
        snprintf(name, sizeof name, "c%d", i);
        set_value(&r, lb_arena_strdup(r.arena, name), i);
    }
    image = op_run_all(&r);
    cr_assert_eq(lb_image_count(image), LB_MAX_CHANNELS);
    for (int i = 0; i < LB_MAX_CHANNELS; i++) {
        snprintf(name, sizeof name, "c%d", i);
        cr_expect(op_at(image, name, 19, 9) == i, "%s", name);
    }
    lb_image_unref(&image);
    op_free(&r);
}

/* A channel that only moves is not copied. */
Test(channels, planes_are_shared)
{
    text_graph g = text_graph_of(
        "lampblack: 1\n"
        "frame: {size: [16, 16], rate: 25, range: [1, 9]}\n"
        "nodes:\n"
        "  a: {op: noise, seed: 1}\n"
        "  b: {op: channels, image: a, set: [{channel: R, from: B}, {channel: x.Z, from: A}]}\n",
        NULL);
    lb_want wants[] = {{.ref = {.node = text_graph_node(&g, "a")}},
                       {.ref = {.node = text_graph_node(&g, "b")}}};
    lb_run *run = text_graph_run(&g, NULL, 0);
    static const char *const pairs[][2] = {
        {"R", "B"}, {"x.Z", "A"}, {"A", "A"}, {"B", "B"}, {"G", "G"}};
    lb_value values[2];

    cr_assert_eq(lb_run_frame(run, 1, wants, 2, values, NULL), LB_OK);
    for (int i = 0; i < 5; i++)
        cr_expect_eq(lb_image_find(values[1].image, pairs[i][0]),
                     lb_image_find(values[0].image, pairs[i][1]), "%s", pairs[i][0]);
    lb_value_unref(&values[0]);
    lb_value_unref(&values[1]);
    lb_run_free(&run);
    text_graph_free(&g);
}

/* What is wrong, and where it says so. */
Test(channels, errors)
{
    static const struct {
        const char *set, *says;
    } rows[] = {
        {"[{channel: A, from: X}]", "'image' has no channel 'X'"},
        {"[{channel: X}]", "'image' has no channel 'X'"},
        {"[{channel: A, of: other}]", "comes from 'other', and nothing is connected"},
        {"[{channel: A, value: 1}, {channel: A, from: R}]", "channel 'A' is set twice"},
        {"[{channel: A, value: 1, from: R}]", "has 'from' and 'value'"},
        {"[{channel: \"\", value: 1}]", "'' is no name for a channel"},
        {"[], keep: false", "would have no channels"},
    };

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        lb_diag *diag = lb_diag_new();
        lb_graph *graph = NULL;
        char text[512], *told = NULL;
        size_t size = 0;
        FILE *file = open_memstream(&told, &size);
        lb_status status;

        snprintf(text, sizeof text,
                 "lampblack: 1\n"
                 "frame: {size: [16, 16], rate: 25, range: [1, 9]}\n"
                 "nodes:\n"
                 "  a: {op: solid}\n"
                 "  b: {op: channels, image: a,\n"
                 "      set: %s}\n"
                 "outputs:\n"
                 "  o: {image: b, file: \"o.####.exr\"}\n",
                 rows[i].set);
        status =
            lb_lang_parse(diag, "g.yaml", text, strlen(text), lb_nodes_registry, NULL, 0, &graph);
        if (status == LB_OK) { /* what depends on the inputs is known when a frame is planned */
            text_graph g = {diag, graph};
            lb_run *run = text_graph_run(&g, NULL, 0);

            status = lb_run_check(run, 1);
            lb_run_free(&run);
        }
        lb_diag_print(diag, file, false);
        fclose(file);
        cr_expect_eq(status, LB_INVALID, "%s: %s", rows[i].set, told);
        cr_expect(strstr(told, rows[i].says), "%s: %s", rows[i].set, told);
        cr_expect(strstr(told, "g.yaml:6:12: error"), "%s: %s", rows[i].set, told);
        free(told);
        lb_graph_free(&graph);
        lb_diag_free(&diag);
    }
}
