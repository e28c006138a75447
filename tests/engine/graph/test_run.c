/* tests/engine/graph/test_run.c: what a run makes, of what regions, how often. */
#include <criterion/criterion.h>

#include "tests/support/fake_ops.h"

static lb_run *start(const lb_graph *graph, lb_diag *diag, double scale, size_t cache)
{
    lb_run_options options = {.diag = diag, .scale = scale, .cache_bytes = cache};
    lb_run *run = NULL;

    cr_assert_eq(lb_run_new(graph, &options, &run), LB_OK);
    return run;
}

static lb_image *frame_of(lb_run *run, int32_t node, int32_t frame, const char *const *channels,
                          const lb_box *window)
{
    lb_want want = {.ref = {.node = node}, .channels = channels, .window = window};
    lb_value value = {0};

    cr_assert_eq(lb_run_frame(run, frame, &want, 1, &value, NULL), LB_OK);
    cr_assert_eq(value.kind, LB_KIND_IMAGE);
    return value.image;
}

/* A small window of a chain asks its source for that window and the margin only. */
Test(run, regions_go_backwards)
{
    lb_diag *diag = lb_diag_new();
    lb_graph *graph = fake_graph(100, 80, 3);
    int32_t ramp = fake_node(graph, "ramp", &fake_ramp, NULL, 0);
    int32_t spread = fake_node(graph, "spread", &fake_spread, &ramp, 1);
    int32_t sum = fake_node(graph, "sum", &fake_sum, &spread, 1);
    lb_run *run = start(graph, diag, 1, 0);
    lb_box window = {40, 5, 44, 9};
    static const char *const red[] = {"R", NULL};
    lb_image *image = frame_of(run, sum, 1, red, &window);

    cr_expect(lb_box_equal(lb_image_box(image), window));
    cr_expect(lb_box_equal(seen.ramp_box, (lb_box){30, 0, 54, 19}), "cut at the frame's top");
    for (int32_t y = 5; y < 9; y++)
        for (int32_t x = 40; x < 44; x++)
            cr_expect(lb_plane_at(lb_image_find(image, "R"), x, y) == (float)(x + y + 3));
    cr_expect_null(lb_image_find(image, "depth.Z"), "a channel that nobody wants is not made");
    lb_image_unref(&image);
    lb_run_free(&run);
    lb_graph_free(&graph);
    lb_diag_free(&diag);
}

/* Channels that nothing downstream uses are not asked for; `node.layer` asks for that layer. */
Test(run, channels_go_backwards)
{
    lb_diag *diag = lb_diag_new();
    lb_graph *graph = fake_graph(8, 8, 2);
    int32_t ramp = fake_node(graph, "ramp", &fake_ramp, NULL, 0);
    lb_run *run = start(graph, diag, 1, 0);
    lb_want want = {.ref = {.node = ramp, .layer = "depth"}};
    lb_value value = {0};
    lb_image *image = frame_of(run, ramp, 1, (const char *const[]){"depth", NULL}, NULL);

    cr_expect_eq(lb_image_count(image), 1);
    cr_expect_not_null(lb_image_find(image, "depth.Z"));
    lb_image_unref(&image);
    cr_assert_eq(lb_run_frame(run, 1, &want, 1, &value, NULL), LB_OK);
    cr_expect_not_null(lb_image_find(value.image, "Z"), "the layer's name is taken off");
    cr_expect_eq(seen.ramp_channels, (uint64_t)1 << 4, "A B G R depth.Z: only the fifth");
    lb_value_unref(&value);
    want.ref.layer = "dept";
    cr_expect_eq(lb_run_frame(run, 1, &want, 1, &value, NULL), LB_INVALID);
    cr_expect_eq(lb_diag_count(diag, LB_ERROR), 1);
    lb_run_free(&run);
    lb_graph_free(&graph);
    lb_diag_free(&diag);
}

/* Two targets on one node: each gets its own channels, made together. */
Test(run, targets_keep_their_channels)
{
    lb_diag *diag = lb_diag_new();
    lb_graph *graph = fake_graph(8, 8, 1);
    int32_t ramp = fake_node(graph, "ramp", &fake_ramp, NULL, 0);
    lb_run *run = start(graph, diag, 1, 0);
    static const char *const first[] = {"R", "depth", NULL}, *const second[] = {"G", NULL};
    lb_want wants[] = {{.ref = {.node = ramp}, .channels = first},
                       {.ref = {.node = ramp}, .channels = second}};
    lb_value values[2];

    cr_assert_eq(lb_run_frame(run, 1, wants, 2, values, NULL), LB_OK);
    cr_expect_eq(seen.ramps, 1);
    cr_expect_eq(lb_image_count(values[0].image), 2);
    cr_expect_not_null(lb_image_find(values[0].image, "depth.Z"));
    cr_expect_eq(lb_image_count(values[1].image), 1);
    cr_expect_not_null(lb_image_find(values[1].image, "G"));
    lb_value_unref(&values[0]);
    lb_value_unref(&values[1]);
    lb_run_free(&run);
    lb_graph_free(&graph);
    lb_diag_free(&diag);
}

/* What does not change from frame to frame is made once; what does, each time; two targets share.
 */
Test(run, static_results_stay)
{
    lb_diag *diag = lb_diag_new();
    lb_graph *graph = fake_graph(16, 16, 4);
    int32_t still = fake_node(graph, "still", &fake_ramp, NULL, 0);
    int32_t sum = fake_node(graph, "sum", &fake_sum, &still, 1);
    int32_t moving = fake_node(graph, "moving", &fake_ramp, NULL, 0);
    lb_binding binding = bind_frame(&ramp_table[0]);
    lb_run *run;
    const lb_node_stats *stats;
    int32_t count;

    graph->nodes[moving].bindings = &binding;
    graph->nodes[moving].binding_count = 1;
    run = start(graph, diag, 1, (size_t)1 << 20);
    for (int32_t frame = 1; frame <= 5; frame++) {
        lb_want wants[] = {{.ref = {.node = sum}}, {.ref = {.node = moving}}};
        lb_value values[2];
        lb_key keys[2];

        cr_assert_eq(lb_run_frame(run, frame, wants, 2, values, keys), LB_OK);
        cr_expect(lb_plane_at(lb_image_find(values[1].image, "R"), 4, 1) == (float)(4 * frame + 1));
        lb_value_unref(&values[0]);
        lb_value_unref(&values[1]);
    }
    cr_expect_eq(seen.sums, 1);
    cr_expect_eq(seen.ramps, 1 + 4, "at the first frame both ramps are one");
    stats = lb_run_stats(run, &count);
    cr_expect_eq(count, 3);
    cr_expect_eq(stats[sum].evaluated, 1);
    cr_expect_eq(stats[sum].reused, 4);
    cr_expect_eq(stats[still].evaluated, 1);
    cr_expect_eq(stats[still].reused, 0, "nobody asked for it again");
    cr_expect_eq(stats[moving].evaluated, 4);
    lb_run_free(&run);
    lb_graph_free(&graph);
    lb_diag_free(&diag);
}

/* A moving window over a still picture makes it anew once, whole, and not each time. */
Test(run, a_still_picture_is_made_whole_the_second_time)
{
    lb_diag *diag = lb_diag_new();
    lb_graph *graph = fake_graph(64, 8, 1);
    int32_t still = fake_node(graph, "still", &fake_ramp, NULL, 0);
    lb_run *run = start(graph, diag, 1, (size_t)1 << 20);

    for (int32_t i = 0; i < 6; i++) {
        lb_box window = {i * 8, 0, i * 8 + 8, 8};
        lb_image *image = frame_of(run, still, 1 + i, NULL, &window);

        cr_expect(lb_plane_at(lb_image_find(image, "R"), i * 8 + 3, 2) == (float)(i * 8 + 3 + 2));
        lb_image_unref(&image);
    }
    cr_expect_eq(seen.ramps, 2);
    lb_run_free(&run);
    lb_graph_free(&graph);
    lb_diag_free(&diag);
}

/* An operator gets its input at the times it asks for; equal ones are made once. */
Test(run, other_times)
{
    lb_diag *diag = lb_diag_new();
    lb_graph *graph = fake_graph(8, 8, 2);
    int32_t ramp = fake_node(graph, "ramp", &fake_ramp, NULL, 0);
    int32_t blend = fake_node(graph, "blend", &fake_blend, &ramp, 1);
    lb_binding binding = bind_frame(&ramp_table[0]);
    lb_run *run = start(graph, diag, 1, 0);
    lb_image *image = frame_of(run, blend, 7, NULL, NULL);

    cr_expect_eq(seen.series, 3);
    cr_expect(seen.first_frame == 6 && seen.last_frame == 8);
    cr_expect_eq(seen.ramps, 1, "the same at every frame, so made once");
    lb_image_unref(&image);
    lb_run_free(&run);
    graph->nodes[ramp].bindings = &binding;
    graph->nodes[ramp].binding_count = 1;
    run = start(graph, diag, 1, 0);
    seen.ramps = 0;
    image = frame_of(run, blend, 7, NULL, NULL);
    cr_expect_eq(seen.ramps, 3);
    cr_expect_float_eq(lb_plane_at(lb_image_find(image, "R"), 2, 0), 2 * 7, 1e-5,
                       "the mean of gains 6, 7, 8 at x = 2");
    lb_image_unref(&image);
    lb_run_free(&run);
    lb_graph_free(&graph);
    lb_diag_free(&diag);
}

/* Keys: equal for equal graphs, other for any other parameter, operator, size or frame that counts.
 */
Test(run, keys)
{
    lb_key keys[6];

    for (int i = 0; i < 6; i++) {
        lb_diag *diag = lb_diag_new();
        lb_graph *graph = fake_graph(8, 8, 2);
        int32_t ramp = fake_node(graph, i == 2 ? "other" : "ramp", &fake_ramp, NULL, 0);
        int32_t top = fake_node(graph, "top", i == 3 ? &fake_spread : &fake_sum, &ramp, 1);
        lb_want want = {.ref = {.node = top}};
        lb_value value = {0};
        lb_run *run;

        if (i == 1)
            ((ramp_params *)graph->nodes[ramp].params)->gain = 2;
        run = start(graph, diag, i == 4 ? 0.5 : 1, 0);
        cr_assert_eq(lb_run_frame(run, i == 5 ? 9 : 1, &want, 1, &value, &keys[i]), LB_OK);
        lb_value_unref(&value);
        lb_run_free(&run);
        lb_graph_free(&graph);
        lb_diag_free(&diag);
    }
    cr_expect(!lb_key_equal(keys[0], keys[1]), "a parameter upstream");
    cr_expect(lb_key_equal(keys[0], keys[2]), "an image node's name does not count");
    cr_expect(!lb_key_equal(keys[0], keys[3]), "another operator");
    cr_expect(!lb_key_equal(keys[0], keys[4]), "another size");
    cr_expect(lb_key_equal(keys[0], keys[5]), "another frame, on which nothing depends");
}

/* Results on disk serve another run; a damaged one is made anew and removed. */
Test(run, disk)
{
    char folder[] = "/tmp/lampblack-cache-XXXXXX";
    char command[128];
    lb_diag *diag = lb_diag_new();
    lb_graph *graph = fake_graph(16, 16, 2);
    int32_t ramp = fake_node(graph, "ramp", &fake_ramp, NULL, 0);
    int32_t sum = fake_node(graph, "sum", &fake_sum, &ramp, 1);
    int made[4] = {0};

    cr_assert_not_null(mkdtemp(folder));
    for (int i = 0; i < 4; i++) {
        lb_run_options options = {.diag = diag, .scale = 1, .cache_folder = folder};
        lb_run *run = NULL;
        lb_image *image;

        cr_assert_eq(lb_run_new(graph, &options, &run), LB_OK);
        image = frame_of(run, sum, 1, NULL, NULL);
        cr_expect(lb_plane_at(lb_image_find(image, "G"), 3, 4) == 10);
        lb_image_unref(&image);
        made[i] = seen.sums;
        lb_run_free(&run);
        if (i == 1) { /* overwrite a pixel in every entry */
            snprintf(
                command, sizeof command,
                "for f in %s/*/*; do printf x | dd of=$f bs=1 seek=300 conv=notrunc status=none; "
                "done",
                folder);
            cr_assert_eq(system(command), 0);
        }
    }
    cr_expect_eq(made[0], 1);
    cr_expect_eq(made[1], 1, "read back");
    cr_expect_eq(made[2], 2, "a damaged entry counts as absent");
    cr_expect_eq(made[3], 2, "and is replaced");
    snprintf(command, sizeof command, "rm -r %s", folder);
    cr_assert_eq(system(command), 0);
    lb_graph_free(&graph);
    lb_diag_free(&diag);
}

/* Every allocation may fail: a status and a message, nothing leaks, the next try succeeds. */
Test(run, no_memory)
{
    lb_diag *diag = lb_diag_new();
    lb_graph *graph = fake_graph(8, 8, 2);
    int32_t ramp = fake_node(graph, "ramp", &fake_ramp, NULL, 0);
    int32_t sum = fake_node(graph, "sum", &fake_sum, &ramp, 1);
    int failures = 0;

    for (int64_t n = 1; n < 1000; n++) {
        lb_run_options options = {.diag = diag, .scale = 1, .cache_bytes = 1 << 20};
        lb_want want = {.ref = {.node = sum}};
        lb_value value = {0};
        lb_run *run = NULL;
        lb_status status;
        int64_t left;

        lb_memory_fail_at(n);
        if ((status = lb_run_new(graph, &options, &run)) == LB_OK)
            status = lb_run_frame(run, 1, &want, 1, &value, NULL);
        left = lb_memory_fail_left();
        lb_memory_fail_at(0);
        if (status == LB_OK)
            cr_expect(lb_plane_at(lb_image_find(value.image, "R"), 1, 1) == 5);
        else
            cr_expect_eq(status, LB_MEMORY);
        failures += status != LB_OK;
        lb_value_unref(&value);
        lb_run_free(&run);
        if (left > 0)
            break;
    }
    cr_expect_geq(failures, 10);
    lb_graph_free(&graph);
    lb_diag_free(&diag);
}
