/* tests/lang/loading.h: graphs from text, with the operators of graph_ops.h. */
#ifndef LB_TESTS_LANG_LOADING_H
#define LB_TESTS_LANG_LOADING_H

#include <criterion/criterion.h>

#include "lang/lang.h"
#include "tests/lang/graph_ops.h"
#include "tests/lang/messages.h"

/* Five lines that a graph begins with, so that what follows is line 6. */
#define HEAD                                                                                       \
    "lampblack: 1\n"                                                                               \
    "frame:\n"                                                                                     \
    "  size: [1920, 1080]\n"                                                                       \
    "  rate: 24\n"                                                                                 \
    "  range: [1, 100]\n"

typedef struct loaded {
    lb_diag *diag;
    lb_graph *graph;
    lb_status status;
    char *messages;
} loaded;

static inline loaded load_with(const char *text, const lb_setting *settings, int32_t count)
{
    loaded l = {.diag = lb_diag_new()};

    l.status =
        lb_lang_parse(l.diag, "g.yaml", text, strlen(text), any_ops, settings, count, &l.graph);
    l.messages = messages_of(l.diag);
    return l;
}

static inline loaded load(const char *text)
{
    return load_with(text, NULL, 0);
}

static inline void drop(loaded *l)
{
    free(l->messages);
    lb_graph_free(&l->graph);
    lb_diag_free(&l->diag);
}

static inline const lb_node *node_of(const loaded *l, const char *name)
{
    int32_t index;

    cr_assert(l->graph, "%s", l->messages);
    index = lb_graph_find(l->graph, name);
    cr_assert(index >= 0, "no node '%s'", name);
    return &l->graph->nodes[index];
}

/* A node's parameters at a frame; `arena` keeps them. */
static inline any_params params_at(const loaded *l, const char *name, double frame, lb_arena *arena)
{
    const lb_node *node = node_of(l, name);
    lb_moment moment = {frame, lb_frame_time(frame, l->graph->format.first, l->graph->format.rate),
                        &l->graph->format, arena, l->diag};
    void *params;
    bool timed;

    cr_assert(lb_node_resolve(l->graph, node, &moment, &l->graph->format, &params, &timed) ==
              LB_OK);
    cr_expect(timed == (node->binding_count > 0));
    return *(any_params *)params;
}

#endif
