/* tests/engine/graph/test_batches.c: what is made together, in which order, with what memory. */
#include <criterion/criterion.h>

#include "engine/graph/ask.h"
#include "engine/graph/batches.h"
#include "engine/graph/order.h"
#include "tests/support/random_graph.h"

/* A plan of the nodes named in `targets`, asked for and put into batches. */
typedef struct planned {
    text_graph g;
    lb_files *files;
    int32_t *order;
    lb_plan plan;
    lb_want wants[8];
    int32_t *readers; /* of each step, before the batches were made */
    lb_batches batches;
} planned;

static planned *plan_of(const char *text, const char *targets)
{
    planned *p = calloc(1, sizeof *p);
    char list[256], *save = NULL;
    int32_t count = 0;

    if (!p)
        abort();
    p->g = text_graph_of(text, NULL);
    snprintf(list, sizeof list, "%s", targets);
    for (char *name = strtok_r(list, " ", &save); name; name = strtok_r(NULL, " ", &save))
        p->wants[count++].ref.node = text_graph_node(&p->g, name);
    cr_assert_eq(lb_files_new(&p->files), LB_OK);
    cr_assert_eq(lb_graph_order(p->g.graph, p->g.diag, &p->order), LB_OK);
    p->plan = (lb_plan){.arena = lb_arena_new(),
                        .graph = p->g.graph,
                        .format = &p->g.graph->format,
                        .native_format = &p->g.graph->format,
                        .frame = 1,
                        .diag = p->g.diag,
                        .files = p->files,
                        .order = p->order};
    cr_assert_eq(lb_plan_make(&p->plan, p->wants, count), LB_OK);
    cr_assert_eq(lb_plan_ask(&p->plan, p->wants, NULL, LB_ASK_ALL), LB_OK);
    p->readers = calloc((size_t)p->plan.step_count + 1, sizeof *p->readers);
    for (int32_t i = 0; i < p->plan.step_count; i++)
        p->readers[i] = p->plan.steps[i]->readers;
    cr_assert_eq(lb_batches_make(&p->plan, &p->batches), LB_OK);
    return p;
}

static void plan_free(planned *p)
{
    lb_arena_free(&p->plan.arena);
    lb_free(p->order);
    lb_files_free(&p->files);
    text_graph_free(&p->g);
    free(p->readers);
    free(p);
}

static const lb_step *step_of(const planned *p, const char *node)
{
    return p->plan.first_of_node[text_graph_node(&p->g, node)];
}
static int32_t batch_of(const planned *p, const char *node)
{
    return step_of(p, node)->batch;
}

#define HEAD                                                                                       \
    "lampblack: 1\n"                                                                               \
    "frame: {size: [512, 512], rate: 25, range: [1, 9]}\n"                                         \
    "nodes:\n"                                                                                     \
    "  a: {op: noise, seed: 1, window: [0, 0, 512, 512], channels: A B G R depth.Z}\n"             \
    "  b: {op: noise, seed: 2, window: [0, 0, 512, 512]}\n"

#define CHAIN                                                                                      \
    HEAD "  c1: {op: exposure, image: b, stops: 0.1}\n"                                            \
         "  c2: {op: cdl, image: c1, slope: 1.1}\n"                                                \
         "  c3: {op: exposure, image: c2, stops: 0.2}\n"                                           \
         "  c4: {op: colorspace, image: c3, to: srgb}\n"                                           \
         "  c5: {op: exposure, image: c4, stops: 0.3}\n"                                           \
         "  c6: {op: unpremultiply, image: c5}\n"                                                  \
         "  c7: {op: premultiply, image: c6}\n"                                                    \
         "  c8: {op: cdl, image: c7, power: 1.1}\n"

Test(batches, a_chain_of_eight_is_one)
{
    planned *p = plan_of(CHAIN, "c8");

    cr_assert_eq(p->batches.count, 2);
    cr_expect_eq(p->batches.items[0].step_count, 1);
    cr_expect_eq(p->batches.items[1].step_count, 8);
    cr_expect_eq(p->batches.items[1].need_count, 1);
    cr_expect_null(step_of(p, "a"), "nobody wants it");
    for (int i = 0; i < 8; i++)
        cr_expect_eq(p->batches.items[1].steps[i]->readers, i == 7, "step %d", i);
    plan_free(p);
}

Test(batches, a_diamond_is_one)
{
    planned *p = plan_of(HEAD "  c: {op: exposure, image: a, stops: 1}\n"
                              "  left: {op: exposure, image: c, stops: 1}\n"
                              "  right: {op: cdl, image: c, slope: 2}\n"
                              "  both: {op: composite, source: left, backdrop: right}\n"
                              "  g: {op: gradient, stops: [{color: \"#000\"}, {color: \"#fff\"}]}\n"
                              "  all: {op: composite, source: both, backdrop: c, mask: g}\n",
                         "all");

    cr_expect_eq(p->batches.count, 2, "the noise, and the rest with the gradient");
    cr_expect_eq(p->batches.items[1].step_count, 6);
    cr_expect_eq(step_of(p, "c")->readers, 0);
    cr_expect_eq(step_of(p, "a")->readers, 1, "one reader, that needs all its channels");
    plan_free(p);
}

/* c is read by a pixel by pixel operator and by a blur, and both meet again: were c and `both` made
 * together, the blur would have to come before and after that. */
Test(batches, a_filter_between_keeps_apart)
{
    planned *p = plan_of(HEAD "  c: {op: exposure, image: a, stops: 1}\n"
                              "  soft: {op: blur, image: c, sigma: 2}\n"
                              "  hard: {op: cdl, image: c, slope: 2}\n"
                              "  both: {op: composite, source: soft, backdrop: hard}\n",
                         "both");

    cr_expect_eq(p->batches.count, 4);
    cr_expect(batch_of(p, "c") != batch_of(p, "both"));
    cr_expect_eq(batch_of(p, "hard"), batch_of(p, "both"), "as late as it can be");
    cr_expect(batch_of(p, "c") < batch_of(p, "soft") && batch_of(p, "soft") < batch_of(p, "both"));
    cr_expect_eq(step_of(p, "c")->readers, 2);
    plan_free(p);
}

/* What never changes is kept from frame to frame, so it is not put together with what does. */
Test(batches, what_never_changes_is_apart)
{
    planned *p = plan_of(HEAD "  still: {op: exposure, image: a, stops: 1}\n"
                              "  grade: {op: cdl, image: still, slope: 2}\n"
                              "  moving: {op: exposure, image: grade, stops: {expr: frame * 0.1}}\n"
                              "  last: {op: cdl, image: moving, slope: 2}\n",
                         "last");

    cr_expect_eq(batch_of(p, "still"), batch_of(p, "grade"));
    cr_expect_eq(batch_of(p, "moving"), batch_of(p, "last"));
    cr_expect(batch_of(p, "grade") != batch_of(p, "moving"));
    cr_expect_eq(step_of(p, "grade")->readers, 1);
    plan_free(p);
}

/* What is in no batch: nobody wants it, or another step is made in its place. */
Test(batches, the_same_thing_twice_is_made_once)
{
    planned *p = plan_of(HEAD "  moving: {op: exposure, image: b, stops: {expr: frame * 0}}\n"
                              "  twice: {op: composite, source: moving, backdrop: moving}\n",
                         "twice moving");

    cr_expect_eq(batch_of(p, "twice"), batch_of(p, "moving"));
    cr_expect_eq(step_of(p, "moving")->readers, 1, "the target; the reader is in its batch, twice");
    cr_expect_eq(step_of(p, "twice")->readers, 1);
    plan_free(p);
}

static bool is_active(const lb_step *step)
{
    return step->wanted && !step->same && !step->from_cache;
}

/* How often a step of another batch reads `step`, and targets do. */
static int32_t count_outside(const planned *p, const lb_step *step)
{
    int32_t count = 0;

    for (int32_t t = 0; t < p->plan.target_count; t++)
        count += lb_step_made(p->plan.targets[t].steps[0]) == step;
    for (int32_t i = 0; i < p->plan.step_count; i++) {
        const lb_step *reader = p->plan.steps[i];

        for (int32_t s = 0;
             is_active(reader) && !lb_step_is_empty(reader) && s < reader->call.input_count; s++)
            for (int32_t k = 0; reader->feeds[s].asked && k < reader->feeds[s].count; k++)
                count +=
                    lb_step_made(reader->feeds[s].steps[k]) == step && reader->batch != step->batch;
    }
    return count;
}

static bool needs(const lb_batch *batch, int32_t other)
{
    int32_t count = 0;

    for (int32_t i = 0; i < batch->need_count; i++)
        count += batch->needs[i] == other;
    return count == 1;
}

/* Everything that a batch must be. */
static void check_batches(const planned *p)
{
    int32_t *seen = calloc((size_t)p->plan.step_count + 1, sizeof *seen);

    for (int32_t i = 0; i < p->batches.count; i++) {
        const lb_batch *batch = &p->batches.items[i];

        cr_assert(batch->step_count > 0);
        for (int32_t k = 0; k < batch->need_count; k++)
            cr_assert(batch->needs[k] >= 0 && batch->needs[k] < i, "after what it needs");
        for (int32_t k = 0; k < batch->step_count; k++) {
            const lb_step *step = batch->steps[k];

            cr_assert_eq(step->batch, i);
            seen[step->index]++;
            cr_assert(k == 0 || batch->steps[k - 1]->index < step->index, "inputs before readers");
            if (batch->step_count > 1)
                cr_assert(step->use && !lb_step_is_empty(step) &&
                          step->varies == batch->steps[0]->varies);
            for (int32_t s = 0; !lb_step_is_empty(step) && s < step->call.input_count; s++)
                for (int32_t f = 0; step->feeds[s].asked && f < step->feeds[s].count; f++) {
                    const lb_step *input = lb_step_made(step->feeds[s].steps[f]);

                    cr_assert(is_active(input), "what is read is made");
                    cr_assert(input->batch == i || needs(batch, input->batch));
                }
        }
    }
    for (int32_t i = 0; i < p->plan.step_count; i++) {
        const lb_step *step = p->plan.steps[i];

        cr_assert_eq(seen[i], is_active(step), "'%s' is made %d times", step->call.node, seen[i]);
        if (is_active(step))
            cr_assert_eq(step->readers, count_outside(p, step), "readers of '%s'", step->call.node);
        cr_assert(step->readers <= p->readers[i]);
    }
    free(seen);
}

Test(batches, random_graphs)
{
    static char text[RANDOM_TEXT];
    int32_t fused = 0, apart = 0;

    for (uint64_t seed = 1; seed <= 400; seed++) {
        random_graph g = {.text = text, .filters = true, .moving = seed % 2};
        char targets[64];
        planned *p;

        random_graph_make(&g, seed + 5000, false);
        snprintf(targets, sizeof targets, "n%d n%d n%d", (int)g.count - 1,
                 (int)next_below(&g.state, g.count), (int)next_below(&g.state, g.count));
        p = plan_of(text, targets);
        check_batches(p);
        for (int32_t i = 0; i < p->batches.count; i++)
            *(p->batches.items[i].step_count > 1 ? &fused : &apart) +=
                p->batches.items[i].step_count;
        plan_free(p);
    }
    cr_expect(fused > 800 && apart > 800, "%d steps run with others, %d by themselves", (int)fused,
              (int)apart);
}

/* Bytes that a frame of those targets takes at most, made on this thread. */
static size_t measure(planned *p)
{
    lb_run *run = text_graph_run(&p->g, NULL, 0);
    lb_value values[8];
    size_t before, most;

    lb_memory_trim();
    before = lb_memory_used();
    lb_memory_reset_peak();
    cr_assert_eq(lb_run_frame(run, 1, p->wants, p->plan.target_count, values, NULL), LB_OK);
    most = lb_memory_peak() - before;
    for (int32_t i = 0; i < p->plan.target_count; i++)
        lb_value_unref(&values[i]);
    lb_run_free(&run);
    return most;
}

/* The source's four channels and the last one's three (alpha is the source's own): not 28. The
 * rows that operators hand over in, and the plan, are some 0.3 MiB. */
Test(batches, a_chain_of_eight_takes_one_picture)
{
    planned *p = plan_of(CHAIN, "c8");
    size_t plane = (size_t)512 * 512 * 4, most = measure(p);

    cr_expect_eq(p->batches.peak_bytes, 7 * plane);
    cr_expect(most > 7 * plane && most < 8 * plane + 400000, "%.2f planes",
              (double)most / (double)plane);
    plan_free(p);
}

/* What is expected is at least what is taken, but for rounding of blocks (an eighth), rows and what
 * a plan takes, and not more than twice that. */
Test(batches, memory_is_foreseen)
{
    static char text[RANDOM_TEXT];

    for (uint64_t seed = 1; seed <= 40; seed++) {
        random_graph g = {.text = text, .filters = true, .large = true};
        char targets[64];
        planned *p;
        size_t most, expected;

        random_graph_make(&g, seed + 900, false);
        snprintf(targets, sizeof targets, "n%d n%d", (int)g.count - 1,
                 (int)next_below(&g.state, g.count));
        p = plan_of(text, targets);
        most = measure(p);
        expected = p->batches.peak_bytes;
        cr_expect(expected + expected / 8 + 500000 > most,
                  "seed %d: %s: %zu expected, %zu taken\n%s", (int)seed, targets, expected, most,
                  text);
        cr_expect(expected < 2 * most + 500000, "seed %d: %s: %zu expected, %zu taken\n%s",
                  (int)seed, targets, expected, most, text);
        plan_free(p);
    }
}
