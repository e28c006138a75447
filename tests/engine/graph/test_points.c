/* tests/engine/graph/test_points.c: operators that are run as one give the bits that each of them
 * gives by itself. What each gives by itself is compared with arithmetic in tests/nodes. */
#include <criterion/criterion.h>

#include "engine/graph/points.h"
#include "tests/support/random_graph.h"

#define MOST_WANTS 4

/* What is asked of a graph: the whole, a window, some channels. */
typedef struct question {
    int32_t count;
    int32_t nodes[MOST_WANTS];
    lb_box windows[MOST_WANTS];
    const char *channels[MOST_WANTS][3];
    lb_want wants[MOST_WANTS];
} question;

static void ask(question *q, random_graph *g)
{
    *q = (question){.count = 1 + next_below(&g->state, MOST_WANTS)};
    for (int32_t i = 0; i < q->count; i++) {
        lb_box *w = &q->windows[i];

        q->nodes[i] = i == 0 ? g->count - 1 : next_below(&g->state, g->count);
        *w = (lb_box){0, 0, g->width, g->height};
        if (next_below(&g->state, 3) == 0) {
            w->x0 = next_below(&g->state, g->width) - 3;
            w->y0 = next_below(&g->state, g->height) - 1;
            w->x1 = w->x0 + 1 + next_below(&g->state, g->width);
            w->y1 = w->y0 + 1 + next_below(&g->state, g->height);
        }
        if (next_below(&g->state, 3) == 0)
            q->channels[i][0] = random_channel(g, g->has[q->nodes[i]]);
        if (q->channels[i][0] && next_below(&g->state, 2))
            q->channels[i][1] = random_channel(g, g->has[q->nodes[i]]);
    }
}

static lb_status answer(const text_graph *g, lb_pool *pool, question *q, const char *prefix,
                        lb_value *out)
{
    lb_run *run = text_graph_run(g, pool, 0);
    lb_status status;

    for (int32_t i = 0; i < q->count; i++) {
        char name[16];

        snprintf(name, sizeof name, "%s%d", prefix, (int)q->nodes[i]);
        q->wants[i] = (lb_want){.ref = {.node = text_graph_node(g, name)},
                                .channels = q->channels[i][0] ? q->channels[i] : NULL,
                                .window = &q->windows[i]};
    }
    status = lb_run_frame(run, 1, q->wants, q->count, out, NULL);
    lb_run_free(&run);
    return status;
}

static void drop_values(lb_value *values, int32_t count)
{
    for (int32_t i = 0; i < count; i++)
        lb_value_unref(&values[i]);
}

static void compare(uint64_t seed, bool wide, lb_pool *const pools[2])
{
    static char fused_text[RANDOM_TEXT], apart_text[RANDOM_TEXT];
    random_graph fused = {.text = fused_text, .filters = seed % 3 == 0};
    random_graph apart = {.text = apart_text, .filters = seed % 3 == 0, .barriers = true};
    text_graph f, a;

    random_graph_make(&fused, seed, wide);
    random_graph_make(&apart, seed, wide);
    f = text_graph_of(fused.text, NULL);
    a = text_graph_of(apart.text, NULL);
    for (int round = 0; round < 3; round++) {
        lb_value right[MOST_WANTS], got[MOST_WANTS];
        question q;

        ask(&q, &fused);
        if (answer(&a, NULL, &q, "b", right) != LB_OK) {
            lb_diag_print(a.diag, stderr, false);
            cr_assert_fail("seed %d\n%s", (int)seed, apart.text);
        }
        for (int p = 0; p < 2; p++) {
            bool same = answer(&f, pools[p], &q, "n", got) == LB_OK;

            for (int32_t i = 0; i < q.count && same; i++) {
                same = same_pixels(right[i].image, got[i].image, q.windows[i]);
                if (!same)
                    fprintf(stderr, "n%d, [%d, %d) x [%d, %d)\n", (int)q.nodes[i],
                            (int)q.windows[i].x0, (int)q.windows[i].x1, (int)q.windows[i].y0,
                            (int)q.windows[i].y1);
            }
            drop_values(got, q.count);
            if (!same)
                lb_diag_print(f.diag, stderr, false);
            cr_assert(same, "seed %d, question %d, %s threads\n%s", (int)seed, round,
                      p ? "three" : "no", fused.text);
        }
        drop_values(right, q.count);
    }
    text_graph_free(&f);
    text_graph_free(&a);
}

static void compare_many(uint64_t first, int count, bool wide)
{
    lb_pool *pools[2] = {NULL, NULL};

    cr_assert_eq(lb_pool_new(3, &pools[1]), LB_OK);
    for (int i = 0; i < count; i++)
        compare(first + (uint64_t)i, wide, pools);
    lb_pool_free(&pools[1]);
}

Test(points, random_graphs_of_small_frames)
{
    compare_many(1, 400, false);
}

/* A picture of which nothing is wanted is not made, and not handed over half made or half gone,
 * though others read it. */
static bool had_source;
static lb_status note_source(const lb_task *task, lb_value *out)
{
    had_source = task->inputs[0].kind != LB_KIND_NONE || task->series[0].count > 0;
    return lb_points_evaluate(task, out);
}

Test(points, what_is_not_asked_for_is_not_handed_over)
{
    extern const lb_op lb_op_composite;
    static lb_op watched;
    text_graph g;
    lb_run *run;
    lb_value values[2];

    watched = lb_op_composite;
    watched.name = "watched";
    watched.evaluate = note_source;
    g = text_graph_of("lampblack: 1\n"
                      "frame: {size: [8, 8], rate: 25, range: [1, 9]}\n"
                      "nodes:\n"
                      "  shown: {op: noise, seed: 1}\n"
                      "  unseen: {op: noise, seed: 2}\n"
                      "  kept: {op: barrier, image: unseen}\n"
                      "  both: {op: watched, source: kept, backdrop: shown, opacity: 0}\n",
                      &watched);
    run = text_graph_run(&g, NULL, 0);
    cr_assert_eq(lb_run_frame(run, 1,
                              (lb_want[]){{.ref = {.node = text_graph_node(&g, "kept")}},
                                          {.ref = {.node = text_graph_node(&g, "both")}}},
                              2, values, NULL),
                 LB_OK);
    cr_expect(!had_source);
    cr_expect(lb_image_find(values[1].image, "R") != NULL);
    drop_values(values, 2);
    lb_run_free(&run);
    text_graph_free(&g);
}

/* Every allocation of a run of members fails once: no other answer than LB_MEMORY or the right
 * pixels. Nothing may leak (AddressSanitizer). */
Test(points, without_memory)
{
    text_graph g = text_graph_of(
        "lampblack: 1\n"
        "frame: {size: [33, 7], rate: 25, range: [1, 9]}\n"
        "nodes:\n"
        "  a: {op: noise, seed: 1, window: [0, 0, 33, 7], channels: A B G R depth.Z}\n"
        "  b: {op: noise, seed: 2, window: [2, 1, 30, 9]}\n"
        "  bright: {op: exposure, image: a, stops: 1}\n"
        "  over: {op: composite, source: b, backdrop: bright, mask: bright.depth}\n"
        "  moved: {op: channels, image: over, other: bright,\n"
        "          set: [{channel: R, from: G}, {channel: A, value: 0.5}, {channel: x.B, of: other,"
        " from: B}]}\n"
        "  last: {op: cdl, image: moved, slope: 2}\n",
        NULL);
    lb_want wants[] = {{.ref = {.node = text_graph_node(&g, "last")}},
                       {.ref = {.node = text_graph_node(&g, "over")}},
                       {.ref = {.node = text_graph_node(&g, "moved")}}};
    lb_box all = {0, 0, 33, 7};
    lb_run *run = text_graph_run(&g, NULL, 0);
    lb_value right[3], got[3];
    int64_t n = 0;
    bool failed = true;

    cr_assert_eq(lb_run_frame(run, 1, wants, 3, right, NULL), LB_OK);
    while (failed && ++n < 5000) {
        lb_status status;

        lb_memory_fail_at(n);
        status = lb_run_frame(run, 1, wants, 3, got, NULL);
        failed = lb_memory_fail_left() == 0;
        lb_memory_fail_at(0);
        cr_assert(status == LB_OK || status == LB_MEMORY, "allocation %d: %s", (int)n,
                  lb_status_text(status));
        for (int i = 0; i < 3 && status == LB_OK; i++)
            cr_assert(same_pixels(right[i].image, got[i].image, all), "allocation %d", (int)n);
        if (status == LB_OK)
            drop_values(got, 3);
        for (int i = 0; i < 3; i++)
            cr_assert_eq(got[i].kind, LB_KIND_NONE);
    }
    cr_expect(n > 50 && n < 5000, "%d allocations", (int)n);
    drop_values(right, 3);
    lb_run_free(&run);
    text_graph_free(&g);
}

/* Wider than a span, so that rows are gone through in pieces. */
Test(points, random_graphs_of_wide_frames)
{
    compare_many(10000, 60, true);
}
