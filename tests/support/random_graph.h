/* tests/support/random_graph.h: graphs from text over the real operators and two of our own, and
 * random ones of operators that work pixel by pixel. Header-only, for tests: what goes wrong ends
 * the test. */
#ifndef LB_TESTS_SUPPORT_RANDOM_GRAPH_H
#define LB_TESTS_SUPPORT_RANDOM_GRAPH_H

#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include "engine/base/random.h"
#include "engine/graph/run.h"
#include "engine/image/composite.h"
#include "lang/lang.h"
#include "nodes/nodes.h"

/* ---- Two operators ---- */

typedef struct noise_params {
    int32_t seed;
    double window[4];
    const char *channels;
} noise_params;

static const lb_param noise_table[] = {
    LB_PARAM(noise_params, seed, LB_INT, .initial = {0}, .min = 0, .max = 1e9),
    LB_PARAM(noise_params, window, LB_VEC4, .initial = {0, 0, 16, 16}, .min = -1e4, .max = 1e4),
    LB_PARAM(noise_params, channels, LB_TEXT, .initial_text = "A B G R"),
    {0}};

static inline lb_status noise_describe(const lb_call *call, lb_desc *out)
{
    const noise_params *p = call->params;
    char *list = lb_arena_strdup(call->arena, p->channels), *save = NULL;
    const char *names[LB_MAX_CHANNELS + 1];
    int32_t count = 0;

    for (char *name = list ? strtok_r(list, " ", &save) : NULL; name;
         name = strtok_r(NULL, " ", &save))
        names[count++] = name;
    names[count] = NULL;
    *out = lb_desc_frame(call, lb_channels_make(call->arena, names));
    out->data_window = lb_box_normal((lb_box){(int32_t)p->window[0], (int32_t)p->window[1],
                                              (int32_t)p->window[2], (int32_t)p->window[3]});
    return out->channels ? LB_OK : LB_MEMORY;
}

/* Alpha from 0 to 1, a quarter of it 0; the rest from -0.25 to 1.75. */
static inline float noise_value(int32_t seed, const char *name, int32_t x, int32_t y)
{
    float value =
        lb_random_float((uint32_t)seed, (uint32_t)(name[0] + 256 * name[strlen(name) - 1]),
                        (uint32_t)x, (uint32_t)y);

    if (strcmp(name, "A") == 0)
        return value < 0.25f ? 0 : value;
    return value * 2 - 0.25f;
}

static inline lb_status noise_evaluate(const lb_task *task, lb_value *out)
{
    const noise_params *p = task->call.params;
    lb_status status = lb_task_image(task, &out->image);

    for (int32_t i = 0; status == LB_OK && i < task->desc->channels->count; i++) {
        const char *name = task->desc->channels->names[i];
        lb_plane *plane = NULL;

        if (!(task->channels >> i & 1))
            continue;
        if ((status = lb_plane_new_raw(task->box, &plane)) != LB_OK)
            break;
        for (int32_t y = task->box.y0; y < task->box.y1; y++)
            for (int32_t x = task->box.x0; x < task->box.x1; x++)
                lb_plane_row_to_fill(plane, y)[x - task->box.x0] = noise_value(p->seed, name, x, y);
        status = lb_image_add(out->image, name, plane);
        lb_plane_unref(&plane);
    }
    if (status != LB_OK)
        lb_image_unref(&out->image);
    return status;
}

static const lb_op noise_op = {.name = "noise",
                               .summary = "other numbers everywhere",
                               .version = 1,
                               .params = noise_table,
                               .params_size = sizeof(noise_params),
                               .result = LB_KIND_IMAGE,
                               .describe = noise_describe,
                               .evaluate = noise_evaluate};

/* Changes nothing, but asks for pixels around, as a filter does: nothing is run as one across it.
 */
static inline lb_box barrier_region(const lb_call *call, int32_t slot, lb_box wanted)
{
    (void)call, (void)slot;
    return lb_box_grow(wanted, 3, 2);
}
static inline lb_status barrier_plane(const lb_task *task, const lb_plane *in, lb_plane **out)
{
    return lb_plane_cut(in, task->box, out);
}
static inline lb_status barrier_evaluate(const lb_task *task, lb_value *out)
{
    return lb_image_map(task, task->inputs[0].image, barrier_plane, &out->image);
}
static const lb_input barrier_inputs[] = {{.name = "image", .kind = LB_KIND_IMAGE}, {0}};
static const lb_op barrier_op = {.name = "barrier",
                                 .summary = "the same",
                                 .version = 1,
                                 .inputs = barrier_inputs,
                                 .result = LB_KIND_IMAGE,
                                 .region = barrier_region,
                                 .evaluate = barrier_evaluate};

/* ---- Graphs from text ---- */

typedef struct text_graph {
    lb_diag *diag;
    lb_graph *graph;
} text_graph;

static inline text_graph text_graph_of(const char *text, const lb_op *extra)
{
    const lb_op *ops[256];
    text_graph g = {.diag = lb_diag_new()};
    int32_t count = 0;

    for (int32_t i = 0; lb_nodes_registry[i] && count < 250; i++)
        ops[count++] = lb_nodes_registry[i];
    ops[count++] = &barrier_op;
    ops[count++] = &noise_op;
    if (extra)
        ops[count++] = extra;
    ops[count] = NULL;
    if (lb_lang_parse(g.diag, "g.yaml", text, strlen(text), ops, NULL, 0, &g.graph) != LB_OK) {
        lb_diag_print(g.diag, stderr, false);
        fprintf(stderr, "%s\n", text);
        abort();
    }
    return g;
}

static inline void text_graph_free(text_graph *g)
{
    lb_graph_free(&g->graph);
    lb_diag_free(&g->diag);
}

static inline int32_t text_graph_node(const text_graph *g, const char *name)
{
    int32_t node = lb_graph_find(g->graph, name);

    if (node < 0) {
        fprintf(stderr, "no node '%s'\n", name);
        abort();
    }
    return node;
}

static inline lb_run *text_graph_run(const text_graph *g, lb_pool *pool, size_t cache)
{
    lb_run_options options = {.diag = g->diag, .pool = pool, .cache_bytes = cache};
    lb_run *run = NULL;

    if (lb_run_new(g->graph, &options, &run) != LB_OK)
        abort();
    return run;
}

/* Numbers that follow from the seed. */
static inline uint32_t next_number(uint64_t *state)
{
    *state = *state * UINT64_C(6364136223846793005) + 1442695040888963407u; /* Knuth's MMIX */
    return (uint32_t)(*state >> 33);
}
static inline int32_t next_below(uint64_t *state, int32_t count)
{
    return (int32_t)(next_number(state) % (uint32_t)count);
}

/* True if `b` has all pixels of `a` in `window`, to the bit (any NaN for any other). */
static inline bool same_pixels(const lb_image *a, const lb_image *b, lb_box window)
{
    lb_box box = lb_box_intersect(window, lb_image_data(a));

    if (lb_image_count(a) != lb_image_count(b) ||
        !lb_box_equal(lb_image_data(a), lb_image_data(b)) ||
        !lb_box_equal(lb_image_display(a), lb_image_display(b)) ||
        (!lb_box_is_empty(box) &&
         (!lb_box_contains(lb_image_box(a), box) || !lb_box_contains(lb_image_box(b), box)))) {
        fprintf(stderr, "other channels or windows\n");
        return false;
    }
    for (int32_t i = 0; i < lb_image_count(a); i++) {
        const lb_plane *p = lb_image_plane(a, i), *q = lb_image_find(b, lb_image_name(a, i));

        for (int32_t y = box.y0; q && y < box.y1; y++)
            for (int32_t x = box.x0; x < box.x1; x++) {
                float u = lb_plane_row(p, y)[x - lb_plane_box(p).x0];
                float v = lb_plane_row(q, y)[x - lb_plane_box(q).x0];

                if (memcmp(&u, &v, sizeof u) != 0 && !(u != u && v != v)) {
                    fprintf(stderr, "%s at (%d, %d): %a and %a\n", lb_image_name(a, i), (int)x,
                            (int)y, (double)u, (double)v);
                    return false;
                }
            }
        if (!q)
            return false;
    }
    return true;
}

/* ---- Random graphs ---- */

#define RANDOM_NODES 12
#define RANDOM_TEXT 16384

/* Which channels a node has, by bits of these. */
static const char *const random_names[] = {"R", "G", "B", "A", "Y", "depth.Z", "depth.A", "Z"};
enum { HAS_RGB = 7, HAS_A = 8, HAS_Y = 16, HAS_DEPTH = 32 | 64, HAS_Z = 128 };

typedef struct random_graph {
    uint64_t state;
    int32_t width, height, count;
    uint32_t has[RANDOM_NODES];
    bool barriers; /* between every two nodes */
    bool filters;  /* with some crops and barriers among the operators */
    bool moving;   /* with parameters that differ from frame to frame */
    bool large;    /* frames of 500 x 400, no solids */
    char *text;
    size_t length;
} random_graph;

__attribute__((format(printf, 2, 3))) static inline void random_put(random_graph *g,
                                                                    const char *format, ...)
{
    va_list list;

    va_start(list, format);
    g->length += (size_t)vsnprintf(g->text + g->length, RANDOM_TEXT - g->length, format, list);
    va_end(list);
    if (g->length >= RANDOM_TEXT)
        abort();
}

/* Writes "key: nK" or a layer of it; what that has. Masks are pictures that say how much. */
static inline uint32_t random_input(random_graph *g, const char *key, bool is_mask)
{
    int32_t from = g->count > 3 && next_below(&g->state, 3)
                       ? g->count - 1 - next_below(&g->state, 3)
                       : next_below(&g->state, g->count);
    uint32_t has = g->has[from];
    bool layer = (has & HAS_DEPTH) && next_below(&g->state, 6) == 0;

    if (layer)
        has = (has & 32 ? HAS_Z : 0) | (has & 64 ? HAS_A : 0);
    if (is_mask && !(has & (HAS_A | 1)) && (has & (has - 1)))
        return 0;
    random_put(g, ", %s: %s%d%s", key, g->barriers ? "b" : "n", (int)from, layer ? ".depth" : "");
    return has;
}

static inline double random_number(random_graph *g, double low, double high)
{
    return low + (high - low) * (next_below(&g->state, 17) / 16.0);
}

static inline uint32_t random_noise(random_graph *g)
{
    static const uint32_t kinds[] = {15, 15, 15 | 32 | 64, 7, 16, 15 | 32, 8, 16 | 32};
    uint32_t has = kinds[next_below(&g->state, 8)];
    int32_t dx = next_below(&g->state, 3) ? 0 : next_below(&g->state, 9) - 4;
    int32_t dy = next_below(&g->state, 3) ? 0 : next_below(&g->state, 5) - 2;

    random_put(g, "op: noise, seed: %d, window: [%d, %d, %d, %d], channels: \"",
               (int)next_below(&g->state, 1000), (int)dx, (int)dy, (int)(g->width + dx),
               (int)(g->height + dy));
    for (int c = 0; c < 8; c++)
        if (has >> c & 1)
            random_put(g, "%s ", random_names[c]);
    random_put(g, "\"");
    return has;
}

static inline const char *random_channel(random_graph *g, uint32_t has)
{
    int c;

    do
        c = next_below(&g->state, 8);
    while (!(has >> c & 1));
    return random_names[c];
}

static inline uint32_t random_channels(random_graph *g)
{
    uint32_t image, other = 0, made = 0;
    bool keep = next_below(&g->state, 3) != 0;

    random_put(g, "op: channels, keep: %s", keep ? "true" : "false");
    image = random_input(g, "image", false);
    if (next_below(&g->state, 2))
        other = random_input(g, "other", false);
    random_put(g, ", set: [");
    for (int i = 0, count = 1 + next_below(&g->state, 4); i < count; i++) {
        int c = next_below(&g->state, 8);
        bool of_other = other && next_below(&g->state, 2);

        if (made >> c & 1)
            continue;
        random_put(g, "%s{channel: %s, ", made ? ", " : "", random_names[c]);
        if (next_below(&g->state, 4) == 0)
            random_put(g, "value: %g}", random_number(g, -1, 2));
        else
            random_put(g, "of: %s, from: %s}", of_other ? "other" : "image",
                       random_channel(g, of_other ? other : image));
        made |= 1u << c;
    }
    random_put(g, "]");
    return keep ? image | made : made;
}

static inline uint32_t random_composite(random_graph *g)
{
    uint32_t backdrop;

    random_put(g, "op: composite, operator: %s, blend: %s",
               lb_porter_duff_names[next_below(&g->state, 13)],
               lb_blend_names[next_below(&g->state, 2) ? 0 : next_below(&g->state, 16)]);
    if (next_below(&g->state, 3) == 0)
        random_put(g, ", opacity: %g", random_number(g, 0, 1) * next_below(&g->state, 2));
    random_input(g, "source", false);
    backdrop = random_input(g, "backdrop", false);
    if (next_below(&g->state, 3) == 0)
        random_input(g, "mask", true);
    return HAS_RGB | HAS_A | (backdrop & ~(backdrop & 1 ? 0u : (uint32_t)HAS_Y));
}

/* One node that reads a picture. */
static inline uint32_t random_reader(random_graph *g)
{
    static const char *const spaces[] = {"srgb", "linear-rec2020", "acescg", "raw"};
    double x0, y0;
    uint32_t has;

    switch (next_below(&g->state, g->filters ? 13 : 11)) {
    case 0:
        if (g->moving && next_below(&g->state, 2))
            random_put(g, "op: exposure, stops: {expr: frame * %g}", random_number(g, -2, 2));
        else
            random_put(g, "op: exposure, stops: %g", random_number(g, -2, 2));
        return random_input(g, "image", false);
    case 1:
        random_put(g, "op: cdl, slope: [1.25, 0.5, %g], offset: %g, power: %g, saturation: %g",
                   random_number(g, 0, 2), random_number(g, -0.5, 0.5), random_number(g, 0.5, 2),
                   random_number(g, 0, 2));
        if (next_below(&g->state, 3) == 0)
            random_put(g, ", clamp: true");
        return random_input(g, "image", false);
    case 2:
        random_put(g, "op: colorspace, to: %s", spaces[next_below(&g->state, 4)]);
        return random_input(g, "image", false);
    case 3:
        random_put(g, "op: premultiply");
        return random_input(g, "image", false);
    case 4:
        random_put(g, "op: unpremultiply");
        return random_input(g, "image", false);
    case 5:
    case 6:
    case 7:
        return random_channels(g);
    case 11:
        random_put(g, "op: barrier");
        return random_input(g, "image", false);
    case 12:
        x0 = random_number(g, -2, g->width * 0.4);
        y0 = random_number(g, -2, g->height * 0.4);
        random_put(g, "op: crop, box: [%g, %g, %g, %g]", x0, y0, x0 + random_number(g, 0, g->width),
                   y0 + random_number(g, 0, g->height));
        has = random_input(g, "image", false);
        return has;
    default:
        return random_composite(g);
    }
}

/* The same seed gives the same graph, whatever `barriers`. Nodes are n0, n1, ... and with barriers
 * also b0, b1, ..., which show the same. */
static inline void random_graph_make(random_graph *g, uint64_t seed, bool wide)
{
    int32_t count;

    g->state = seed * 77 + 1;
    next_number(&g->state);
    g->length = 0;
    g->width = wide ? 1000 + next_below(&g->state, 1200) : 1 + next_below(&g->state, 40);
    g->height = wide ? 1 + next_below(&g->state, 4) : 1 + next_below(&g->state, 20);
    if (g->large)
        g->width = 500, g->height = 400;
    random_put(g, "lampblack: 1\nframe: {size: [%d, %d], rate: 25, range: [1, 9]}\nnodes:\n",
               (int)g->width, (int)g->height);
    count = 4 + next_below(&g->state, RANDOM_NODES - 3);
    for (g->count = 0; g->count < count; g->count++) {
        uint32_t has;

        random_put(g, "  n%d: {", (int)g->count);
        if (g->count < 2 || next_below(&g->state, 9) == 0) {
            if (next_below(&g->state, 3)) {
                has = random_noise(g);
            } else if (!g->large && next_below(&g->state, 2)) {
                random_put(g, "op: solid, color: [0.25, %g, 0.5, %g]", random_number(g, 0, 2),
                           random_number(g, 0, 1));
                has = HAS_RGB | HAS_A;
            } else {
                random_put(g, "op: gradient, stops: [{color: \"#f80\"}, {color: \"#08f8\"}]");
                has = HAS_RGB | HAS_A;
            }
        } else {
            has = random_reader(g);
        }
        random_put(g, "}\n");
        g->has[g->count] = has;
        if (g->barriers)
            random_put(g, "  b%d: {op: barrier, image: n%d}\n", (int)g->count, (int)g->count);
    }
}

#endif
