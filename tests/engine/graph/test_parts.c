/* tests/engine/graph/test_parts.c: frames for which there is little memory: the same pixels, or a
 * message that says what was missing. */
#include <criterion/criterion.h>

#include "engine/graph/parts.h"
#include "tests/support/random_graph.h"

#define MOST 4

#define HEAD                                                                                       \
    "lampblack: 1\n"                                                                               \
    "frame: {size: [60, 384], rate: 25, range: [1, 9]}\n"                                          \
    "nodes:\n"                                                                                     \
    "  a: {op: noise, seed: 1, window: [-4, -3, 62, 386], channels: A B G R depth.Z}\n"            \
    "  b: {op: noise, seed: 2, window: [10, 100, 50, 300]}\n"

/* Filters whose regions reach over the edge of a part: some pixels, a lot, everywhere. */
#define FILTERS                                                                                    \
    HEAD "  soft: {op: blur, image: a, sigma: 3, edge: clamp}\n"                                   \
         "  lit: {op: glow, image: soft, radius: 12, threshold: 0.1}\n"                            \
         "  over: {op: composite, source: b, backdrop: lit, opacity: 0.5}\n"                       \
         "  far: {op: defocus, image: over, depth: a.depth, focus: 1, f-number: 0.5, "             \
         "max-radius: 4}\n"                                                                        \
         "  turned: {op: transform, image: far, rotate: 33, scale: 0.9}\n"                         \
         "  last: {op: cdl, image: turned, slope: 1.5}\n"

typedef struct targets {
    text_graph g;
    lb_want wants[MOST];
    int32_t count;
} targets;

static targets targets_of(const char *text, const char *names)
{
    targets t = {.g = text_graph_of(text, NULL)};
    char list[256], *save = NULL;

    snprintf(list, sizeof list, "%s", names);
    for (char *name = strtok_r(list, " ", &save); name; name = strtok_r(NULL, " ", &save))
        t.wants[t.count++].ref.node = text_graph_node(&t.g, name);
    return t;
}

/* A frame with `room` bytes beside what is in use; 0: as many as it likes. */
static lb_status frame_within(targets *t, size_t room, lb_pool *pool, lb_value *out)
{
    lb_run *run = text_graph_run(&t->g, pool, 0);
    lb_status status;

    lb_memory_trim();
    lb_memory_set_budget(room ? lb_memory_used() + room : 0);
    status = lb_run_frame(run, 1, t->wants, t->count, out, NULL);
    lb_memory_set_budget(0);
    lb_run_free(&run);
    return status;
}

static void drop(lb_value *values, int32_t count)
{
    for (int32_t i = 0; i < count; i++)
        lb_value_unref(&values[i]);
}

static size_t most_of(targets *t, lb_value *out)
{
    size_t before = lb_memory_used();

    lb_memory_reset_peak();
    cr_assert_eq(frame_within(t, 0, NULL, out), LB_OK);
    return lb_memory_peak() - before;
}

static bool is_same(const targets *t, const lb_value *right, const lb_value *got)
{
    bool same = true;

    for (int32_t i = 0; i < t->count && same; i++)
        same = same_pixels(right[i].image, got[i].image,
                           t->wants[i].window ? *t->wants[i].window : (lb_box){0, 0, 60, 384});
    return same;
}

/* Less and less memory until it is too little: as long as there is a picture it is the right one.
 * How many budgets smaller than what the frame takes in one piece were enough. */
static int shrink(targets *t, lb_pool *pool)
{
    lb_value right[MOST], got[MOST];
    size_t most = most_of(t, right);
    int enough = 0;

    for (int percent = 90; percent > 0; percent = percent * 3 / 5) {
        size_t room = most / 100 * (size_t)percent;
        lb_status status = frame_within(t, room, pool, got);

        if (status == LB_MEMORY)
            break;
        cr_assert_eq(status, LB_OK, "%d %%", percent);
        cr_assert(is_same(t, right, got), "%d %%", percent);
        drop(got, t->count);
        enough++;
    }
    drop(right, t->count);
    return enough;
}

Test(parts, filters_reach_over_their_edges)
{
    targets t = targets_of(FILTERS, "last");
    lb_pool *pool = NULL;

    cr_expect(shrink(&t, NULL) >= 2);
    cr_assert_eq(lb_pool_new(3, &pool), LB_OK);
    shrink(&t, pool);
    lb_pool_free(&pool);
    text_graph_free(&t.g);
}

/* Targets of one node, with other channels and windows, and of nodes whose picture is nowhere, or
 * only in some parts. */
Test(parts, several_targets)
{
    static const char *const red[] = {"R", NULL}, *const some[] = {"R", "A", NULL};
    targets t =
        targets_of(FILTERS "  none: {op: composite, source: a, backdrop: b, operator: clear}\n",
                   "last last none b");
    lb_box window = {20, 200, 50, 370};

    t.wants[0].channels = some;
    t.wants[1].channels = red;
    t.wants[3].window = &window;
    cr_expect(shrink(&t, NULL) >= 2);
    text_graph_free(&t.g);
}

/* Two targets that show the same share their planes in parts too. */
Test(parts, twins_share_planes)
{
    targets t = targets_of(FILTERS, "last last");
    lb_value right[MOST], got[MOST];
    size_t most = most_of(&t, right);

    cr_assert_eq(frame_within(&t, most / 10 * 7, NULL, got), LB_OK);
    cr_expect(is_same(&t, right, got));
    for (int32_t i = 0; i < lb_image_count(got[0].image); i++)
        cr_expect_eq(lb_image_plane(got[0].image, i), lb_image_plane(got[1].image, i), "%s",
                     lb_image_name(got[0].image, i));
    drop(right, 2);
    drop(got, 2);
    text_graph_free(&t.g);
}

/* Rows of a part cover a window that is not the frame's, row for row; fewer rows than 32 make no
 * sense. */
Test(parts, rows)
{
    cr_expect_eq(lb_parts_rows((lb_box){0, 0, 10, 512}, 1), 512);
    cr_expect_eq(lb_parts_rows((lb_box){0, 0, 10, 512}, 2), 256);
    cr_expect_eq(lb_parts_rows((lb_box){0, -7, 10, 93}, 3), 34);
    cr_expect_eq(lb_parts_rows((lb_box){0, 0, 10, 512}, 16), 32);
    cr_expect_eq(lb_parts_rows((lb_box){0, 0, 10, 512}, 32), 0);
    cr_expect_eq(lb_parts_rows((lb_box){0, 0, 10, 5}, 1), 5);
    cr_expect_eq(lb_parts_rows((lb_box){0, 0, 10, 5}, 2), 0);
}

static char *messages_of(lb_diag *diag)
{
    char *text = NULL;
    size_t size = 0;
    FILE *file = open_memstream(&text, &size);

    lb_diag_print(diag, file, false);
    fclose(file);
    return text;
}

/* Too little for any part: one message, with the node and what was asked for. */
Test(parts, too_little_is_told)
{
    targets t = targets_of(FILTERS, "last");
    lb_value got[MOST];
    char *text;

    free(messages_of(t.g.diag)); /* no outputs */
    cr_assert_eq(frame_within(&t, 200000, NULL, got), LB_MEMORY);
    cr_expect_eq(got[0].kind, LB_KIND_NONE);
    text = messages_of(t.g.diag);
    cr_expect_eq(lb_diag_count(t.g.diag, LB_ERROR), 1, "%s", text);
    cr_expect(strstr(text, "no memory"), "%s", text);
    cr_expect(strstr(text, "'a' (noise), frame 1"), "%s", text);
    cr_expect(strstr(text, "MiB more were asked for"), "%s", text);
    cr_expect(strstr(text, "the memory budget is"), "%s", text);
    cr_expect(strstr(text, "in 8 parts"), "%s", text);
    cr_expect(strstr(text, "g.yaml:4:"), "the node's place: %s", text);
    free(text);
    text_graph_free(&t.g);
}

/* Results kept from frame to frame are given up before a frame is refused. */
Test(parts, the_cache_gives_way)
{
    targets t = targets_of(HEAD "  still: {op: blur, image: a, sigma: 2}\n"
                                "  moving: {op: exposure, image: b, stops: {expr: frame * 0.1}}\n"
                                "  soft: {op: blur, image: moving, sigma: {expr: 2 + frame}}\n",
                           "still");
    lb_want moving = {.ref = {.node = text_graph_node(&t.g, "soft")}};
    lb_run *run = text_graph_run(&t.g, NULL, (size_t)1 << 28);
    lb_value value;
    size_t free_of_all = lb_memory_used(), kept, most;
    int64_t evictions;

    cr_assert_eq(lb_run_frame(run, 1, t.wants, 1, &value, NULL), LB_OK);
    lb_value_unref(&value);
    cr_assert(lb_run_cache_stats(run).entries > 0);
    cr_assert_eq(lb_run_frame(run, 1, &moving, 1, &value, NULL), LB_OK); /* 'b' is kept as well */
    lb_value_unref(&value);
    kept = lb_memory_used() - free_of_all;
    lb_memory_reset_peak();
    cr_assert_eq(lb_run_frame(run, 2, &moving, 1, &value, NULL), LB_OK);
    lb_value_unref(&value);
    most = lb_memory_peak() - free_of_all - kept;
    evictions = lb_run_cache_stats(run).evictions;
    lb_memory_trim();
    lb_memory_set_budget(lb_memory_used() + most / 2 +
                         most / 4); /* too little beside what is kept */
    cr_assert(kept > most / 4, "%zu kept, %zu for a frame", kept, most);
    cr_expect_eq(lb_run_frame(run, 3, &moving, 1, &value, NULL), LB_OK);
    lb_memory_set_budget(0);
    lb_value_unref(&value);
    cr_expect(lb_run_cache_stats(run).evictions > evictions);
    lb_run_free(&run);
    text_graph_free(&t.g);
}

typedef struct frames {
    lb_value values[9]; /* by frame */
    const targets *t;
    int32_t made;
} frames;

static int32_t want_last(void *context, int32_t frame, lb_want *wants, int32_t most)
{
    const frames *f = context;

    (void)frame, (void)most;
    wants[0] = f->t->wants[0];
    return 1;
}

static lb_status take_frame(void *context, int32_t frame, double seconds, const lb_value *values,
                            const lb_key *keys, int32_t count)
{
    frames *f = context;

    (void)seconds, (void)keys, (void)count;
    f->values[frame - 1] = lb_value_ref(values[0]);
    __atomic_fetch_add(&f->made, 1, __ATOMIC_RELAXED);
    return LB_OK;
}

/* Eight frames on four threads, with memory for one of them and the results: the right pixels. */
Test(parts, frames_in_flight_with_memory_for_one)
{
    static const int32_t list[] = {1, 2, 3, 4, 5, 6, 7, 8};
    static const lb_run_frames_calls calls = {want_last, take_frame};
    targets t = targets_of(HEAD "  c: {op: exposure, image: a, stops: {expr: frame * 0.1}}\n"
                                "  soft: {op: blur, image: c, sigma: {expr: 2 + frame}}\n"
                                "  d: {op: exposure, image: soft, stops: 1}\n"
                                "  last: {op: glow, image: d, radius: 9, threshold: 0}\n",
                           "last");
    frames right = {.t = &t}, got = {.t = &t};
    lb_pool *pool = NULL;
    lb_run *run = text_graph_run(&t.g, NULL, 0);
    size_t before = lb_memory_used(), results, one;

    cr_assert_eq(lb_run_frames(run, list, 1, 1, &calls, &right), LB_OK);
    one = lb_memory_peak() - before;
    lb_value_unref(&right.values[0]);
    cr_assert_eq(lb_run_frames(run, list, 8, 1, &calls, &right), LB_OK);
    results = lb_memory_used() - before;
    lb_run_free(&run);
    cr_assert_eq(lb_pool_new(4, &pool), LB_OK);
    for (int tenth = 18; tenth >= 9; tenth -= 3) {
        lb_status status;

        got.made = 0;
        run = text_graph_run(&t.g, pool, 0);
        lb_memory_trim();
        lb_memory_set_budget(lb_memory_used() + results + one / 10 * (size_t)tenth);
        status = lb_run_frames(run, list, 8, 1, &calls, &got);
        lb_memory_set_budget(0);
        if (status != LB_OK)
            lb_diag_print(t.g.diag, stderr, false);
        cr_assert_eq(status, LB_OK, "%d tenths of a frame", tenth);
        cr_expect_eq(got.made, 8);
        for (int i = 0; i < 8; i++)
            cr_expect(
                same_pixels(right.values[i].image, got.values[i].image, (lb_box){0, 0, 60, 384}),
                "frame %d", i + 1);
        drop(got.values, 8);
        lb_run_free(&run);
    }
    drop(right.values, 8);
    lb_pool_free(&pool);
    text_graph_free(&t.g);
}
