/* tests/engine/graph/thread_frames.c: several frames at once, by lb_run_frames and by callers of
 * their own: the pixels and calls of one after the other. A plain program, so that ThreadSanitizer
 * can run it. What hangs is ended by an alarm. */
#include <pthread.h>
#include <stdatomic.h>
#include <time.h>
#include <unistd.h>

#include "tests/support/plain.h"
#include "tests/support/random_graph.h"

#define FRAMES 12
#define WANTS 3

/* ---- An operator that counts, and fails where it is told ---- */

typedef struct count_params {
    double fail;
} count_params;
static const lb_param count_table[] = {
    LB_PARAM(count_params, fail, LB_NUMBER, .initial = {0}, .min = 0, .max = 9), {0}};

static atomic_int counted;

static lb_status count_evaluate(const lb_task *task, lb_value *out)
{
    const count_params *p = task->call.params;

    atomic_fetch_add(&counted, 1);
    if (p->fail > 0)
        return lb_fail(task->call.diag, p->fail > 1 ? LB_IO : LB_FORMAT, task->call.loc,
                       "frame %g fails", task->call.frame);
    return barrier_evaluate(task, out);
}

static const lb_op count_op = {.name = "count",
                               .summary = "the same, counted",
                               .version = 1,
                               .inputs = barrier_inputs,
                               .params = count_table,
                               .params_size = sizeof(count_params),
                               .result = LB_KIND_IMAGE,
                               .evaluate = count_evaluate};

/* Branches, a still part that all frames need, a picture that one reader does not look at. */
#define GRAPH(fail)                                                                                \
    "lampblack: 1\n"                                                                               \
    "frame: {size: [70, 50], rate: 25, range: [1, 12]}\n"                                          \
    "nodes:\n"                                                                                     \
    "  a: {op: noise, seed: 1, window: [0, 0, 70, 50], channels: A B G R depth.Z}\n"               \
    "  still: {op: count, image: a}\n"                                                             \
    "  soft: {op: blur, image: still, sigma: 3}\n"                                                 \
    "  b: {op: noise, seed: {expr: frame}, window: [0, 0, 70, 50]}\n"                              \
    "  c: {op: exposure, image: b, stops: {expr: frame * 0.1}}\n"                                  \
    "  d: {op: blur, image: c, sigma: 2}\n"                                                        \
    "  over: {op: composite, source: d, backdrop: soft}\n"                                         \
    "  unseen: {op: composite, source: d, backdrop: c, opacity: 0}\n"                              \
    "  e: {op: cdl, image: unseen, slope: 2}\n"                                                    \
    "  f: {op: barrier, image: over}\n"                                                            \
    "  last: {op: composite, source: e, backdrop: f, blend: screen, mask: soft.depth}\n"           \
    "  sure: {op: blur, image: last, sigma: 1}\n"                                                  \
    "  tried: {op: count, image: sure, fail: {expr: \"" fail "\"}}\n"

/* ---- What is asked and told ---- */

typedef struct frames {
    const text_graph *g;
    lb_pool *pool;
    lb_value values[FRAMES][WANTS];
    atomic_int asked[FRAMES], told[FRAMES];
    atomic_int wrong;
    int32_t refuse, cancel; /* the frame whose `made` fails, or cancels; 0: none */
} frames;

static int32_t list_wants(void *context, int32_t frame, lb_want *wants, int32_t most)
{
    static const char *const names[WANTS] = {"tried", "d", "still"};
    frames *f = context;
    int32_t count = 1 + frame % WANTS;

    if (most != WANTS)
        atomic_fetch_add(&f->wrong, 1);
    atomic_fetch_add(&f->asked[frame - 1], 1);
    for (int32_t i = 0; i < count; i++)
        wants[i] = (lb_want){.ref = {.node = text_graph_node(f->g, names[i])}};
    return count;
}

static lb_status take(void *context, int32_t frame, double seconds, const lb_value *values,
                      const lb_key *keys, int32_t count)
{
    frames *f = context;

    if (count != 1 + frame % WANTS || seconds < 0 || !keys)
        atomic_fetch_add(&f->wrong, 1);
    atomic_fetch_add(&f->told[frame - 1], 1);
    if (frame == f->cancel)
        lb_pool_cancel(f->pool);
    if (frame == f->refuse)
        return LB_LIMIT;
    for (int32_t i = 0; i < count; i++)
        f->values[frame - 1][i] = lb_value_ref(values[i]);
    return LB_OK;
}

static void drop(frames *f)
{
    for (int i = 0; i < FRAMES; i++)
        for (int k = 0; k < WANTS; k++)
            lb_value_unref(&f->values[i][k]);
}

static const lb_run_frames_calls calls = {list_wants, take};
/* Not in order, and those to come first in the list are not the lowest. */
static const int32_t list[FRAMES] = {3, 1, 2, 7, 4, 12, 5, 6, 11, 8, 9, 10};

static lb_status run_frames(frames *f, lb_pool *pool, size_t cache, lb_profile *profile)
{
    lb_run_options options = {
        .diag = f->g->diag, .pool = pool, .cache_bytes = cache, .profile = profile};
    lb_run *run = NULL;
    lb_status status;

    f->pool = pool;
    if (lb_run_new(f->g->graph, &options, &run) != LB_OK)
        abort();
    atomic_store(&counted, 0);
    status = lb_run_frames(run, list, FRAMES, WANTS, &calls, f);
    lb_run_free(&run);
    return status;
}

static bool is_same(const frames *right, const frames *got)
{
    for (int i = 0; i < FRAMES; i++)
        for (int k = 0; k < WANTS; k++)
            if (right->values[i][k].kind != got->values[i][k].kind ||
                (right->values[i][k].image &&
                 !same_pixels(right->values[i][k].image, got->values[i][k].image,
                              (lb_box){0, 0, 70, 50})))
                return false;
    return true;
}

static const int32_t threads[] = {1, 2, 3, 7};
#define COUNT_OF(array) (sizeof(array) / sizeof(array)[0])

static void test_bits(void)
{
    text_graph g = text_graph_of(GRAPH("0"), &count_op);
    frames right = {.g = &g};

    EXPECT(run_frames(&right, NULL, 0, NULL) == LB_OK, "without threads");
    for (size_t i = 0; i < COUNT_OF(threads); i++)
        for (int cached = 0; cached < 2; cached++) {
            lb_pool *pool = new_pool(threads[i]);
            frames got = {.g = &g};
            lb_profile *profile = NULL;

            if (cached && lb_profile_new(&profile) != LB_OK)
                abort();
            EXPECT(run_frames(&got, pool, cached ? (size_t)1 << 26 : 0, profile) == LB_OK,
                   "%d threads", threads[i]);
            EXPECT(is_same(&right, &got) && got.wrong == 0, "%d threads", threads[i]);
            for (int f = 0; f < FRAMES; f++)
                EXPECT(got.asked[f] == 1 && got.told[f] == 1, "frame %d", f + 1);
            if (cached) /* the still one once, 'tried' once a frame */
                EXPECT(counted == FRAMES + 1, "%d times on %d threads", counted, threads[i]);
            drop(&got);
            lb_profile_free(&profile);
            lb_pool_free(&pool);
        }
    drop(&right);
    text_graph_free(&g);
}

/* Frames 12 (LB_IO) and 5 (LB_FORMAT) fail, 12 is before 5 in the list; or `made` of 7 does, which
 * is before both. Those before the first failure are all made. */
static void test_failures(void)
{
    text_graph g = text_graph_of(GRAPH("frame == 12 ? 2 : frame == 5 ? 1 : 0"), &count_op);

    for (size_t i = 0; i < COUNT_OF(threads); i++)
        for (int refused = 0; refused < 2; refused++) {
            lb_pool *pool = new_pool(threads[i]);
            frames got = {.g = &g, .refuse = refused ? 7 : 0};
            lb_status status = run_frames(&got, pool, 0, NULL);

            EXPECT(status == (refused ? LB_LIMIT : LB_IO), "%s on %d threads",
                   lb_status_text(status), threads[i]);
            for (int k = 0; list[k] != (refused ? 7 : 12); k++)
                EXPECT(got.told[list[k] - 1] == 1, "frame %d", list[k]);
            EXPECT(got.told[11] == 0, "a frame that failed is not told of");
            drop(&got);
            lb_pool_free(&pool);
        }
    EXPECT(lb_diag_count(g.diag, LB_ERROR) > 0, "reported");
    text_graph_free(&g);
}

static void *cancel_later(void *context)
{
    struct timespec pause = {0, 3000000};

    nanosleep(&pause, NULL);
    lb_pool_cancel(context);
    return NULL;
}

static bool are_all_told(const frames *f)
{
    for (int i = 0; i < FRAMES; i++)
        if (f->told[i] != 1)
            return false;
    return true;
}

/* From inside at a frame, and from outside at any time: all ends. */
static void test_cancel(void)
{
    text_graph g = text_graph_of(GRAPH("0"), &count_op);

    for (int round = 0; round < 12; round++) {
        lb_pool *pool = new_pool(threads[round % 4]);
        frames got = {.g = &g, .cancel = round % 3 == 0 ? 4 : 0};
        pthread_t other;
        lb_status status;

        if (round % 3 && pthread_create(&other, NULL, cancel_later, pool) != 0)
            abort();
        status = run_frames(&got, pool, round % 2 ? (size_t)1 << 26 : 0, NULL);
        EXPECT(status == LB_CANCELLED || (status == LB_OK && are_all_told(&got)), "%s",
               lb_status_text(status)); /* a cancel when all is done comes too late */
        if (round % 3)
            pthread_join(other, NULL);
        drop(&got);
        lb_pool_free(&pool);
    }
    text_graph_free(&g);
}

/* ---- Callers of their own, all in one run ---- */

typedef struct caller {
    lb_run *run;
    const frames *right;
    int32_t begin;
    atomic_int *wrong;
} caller;

static void *call(void *context)
{
    const caller *c = context;

    for (int32_t i = 0; i < FRAMES; i++) {
        int32_t frame = 1 + (c->begin + i) % FRAMES, count;
        lb_want wants[WANTS];
        lb_value values[WANTS];
        frames asking = {.g = c->right->g};

        count = list_wants(&asking, frame, wants, WANTS);
        if (lb_run_frame(c->run, frame, wants, count, values, NULL) != LB_OK) {
            atomic_fetch_add(c->wrong, 1);
            continue;
        }
        for (int32_t k = 0; k < count; k++) {
            if (!same_pixels(c->right->values[frame - 1][k].image, values[k].image,
                             (lb_box){0, 0, 70, 50}))
                atomic_fetch_add(c->wrong, 1);
            lb_value_unref(&values[k]);
        }
    }
    return NULL;
}

static void test_callers(void)
{
    static const int32_t pools[] = {0, 1, 3};
    text_graph g = text_graph_of(GRAPH("0"), &count_op);
    frames right = {.g = &g};

    EXPECT(run_frames(&right, NULL, 0, NULL) == LB_OK, "without threads");
    for (size_t p = 0; p < COUNT_OF(pools); p++)
        for (int cached = 0; cached < 2; cached++) {
            lb_pool *pool = pools[p] ? new_pool(pools[p]) : NULL;
            lb_run *run = text_graph_run(&g, pool, cached ? (size_t)1 << 26 : 0);
            pthread_t ids[4];
            caller callers[4];
            atomic_int wrong = 0;
            int64_t evaluated, reused;

            for (int i = 0; i < 4; i++) {
                callers[i] = (caller){run, &right, i * 3, &wrong};
                if (pthread_create(&ids[i], NULL, call, &callers[i]) != 0)
                    abort();
            }
            for (int i = 0; i < 4; i++) {
                lb_run_totals(run, &evaluated, &reused);
                pthread_join(ids[i], NULL);
            }
            EXPECT(wrong == 0, "%d wrong, %d threads, cache %d", wrong, pools[p], cached);
            lb_run_free(&run);
            lb_pool_free(&pool);
        }
    drop(&right);
    text_graph_free(&g);
}

int main(void)
{
    alarm(250);
    test_bits();
    test_failures();
    test_cancel();
    test_callers();
    if (failures)
        fprintf(stderr, "%d failures\n", failures);
    return failures != 0;
}
