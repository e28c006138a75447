/* engine/graph/plan.h: what has to be made for one frame, before anything is made.
 *
 * A step is one node at one time and one scale. Steps are found from the targets backwards,
 * described and keyed from the inputs forwards, and asked for their regions from the targets
 * backwards; run.c then makes those that no cache has. */
#ifndef LB_GRAPH_PLAN_H
#define LB_GRAPH_PLAN_H

#include "engine/graph/files.h"
#include "engine/graph/graph.h"

/* The steps that feed one slot, one for each time that was asked for. */
typedef struct lb_feed {
    int32_t count; /* 0: nothing is connected */
    struct lb_step **steps;
    double *frames;
    const char *layer;
    lb_desc desc; /* of the first step, as the layer shows it */
} lb_feed;

typedef struct lb_step {
    int32_t node;
    double frame;
    bool native; /* at scale 1 */
    bool varies; /* may differ at another frame, because of this node or one above it */
    lb_call call;
    lb_feed *feeds;
    lb_desc desc;
    lb_key key;
    struct lb_step *same; /* another step with the same key, which is made instead; NULL: none */
    bool wanted;
    lb_box box; /* union of what readers want */
    uint64_t channels;
    bool from_cache;
    int32_t readers; /* that have not read yet */
    lb_value value;
    struct lb_step *next_of_node;
} lb_step;

/* What is asked of a graph for one frame. */
typedef struct lb_want {
    lb_edge_ref ref;
    const char *const
        *channels;        /* channels or layers, NULL-ended; NULL, or none that it has: all */
    const lb_box *window; /* NULL: the display window */
} lb_want;

typedef struct lb_plan {
    lb_arena *arena;
    const lb_graph *graph;
    const lb_format *format, *native_format;
    double frame;
    lb_diag *diag;
    lb_pool *pool;
    lb_files *files;
    const int32_t *order;    /* of lb_graph_order */
    lb_step **first_of_node; /* lists */
    int32_t step_count;
    lb_step **steps; /* inputs before readers */
    int32_t target_count;
    lb_feed *targets; /* one step each */
} lb_plan;

/* Finds, describes and keys all steps for `wants`. The plan's lent fields are filled in by the
 * caller; the rest is made here, in plan->arena. Reports what it finds wrong. */
LB_MUST_CHECK lb_status lb_plan_make(lb_plan *plan, const lb_want *wants, int32_t count);

/* Marks what target `index` wants; then lb_plan_ask for each step from readers to inputs. */
void lb_plan_ask_target(lb_plan *plan, int32_t index, const lb_want *want);
/* The channels of an image target (bits of its desc's) that `want` is for. */
uint64_t lb_plan_target_bits(const lb_plan *plan, int32_t index, const lb_want *want);
/* Passes a step's own request on to its inputs. */
void lb_plan_ask_inputs(lb_step *step);

#endif
