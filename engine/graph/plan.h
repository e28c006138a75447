/* engine/graph/plan.h: what has to be made for one frame, before anything is made.
 *
 * A step is one node at one time and one scale. Steps are found from the targets backwards,
 * described and keyed from the inputs forwards, and asked for their regions from the targets
 * backwards; run.c then makes those that no cache has. */
#ifndef LB_GRAPH_PLAN_H
#define LB_GRAPH_PLAN_H

#include "engine/graph/files.h"
#include "engine/graph/graph.h"
#include "engine/graph/points.h"

/* The steps that feed one slot, one for each time that was asked for. */
typedef struct lb_feed {
    int32_t count; /* 0: nothing is connected */
    struct lb_step **steps;
    double *frames;
    const char *layer;
    lb_desc desc; /* of the first step, as the layer shows it */
    bool asked;   /* pixels of it are needed (or it is no image) */
} lb_feed;

typedef struct lb_step {
    int32_t node;
    const char *name; /* of the node, in full; call.node is the local one */
    double frame;
    bool native; /* at scale 1 */
    bool varies; /* may differ at another frame, because of this node or one above it */
    lb_call call;
    lb_feed *feeds;
    lb_desc desc;
    lb_key key;
    struct lb_step *same; /* an earlier step with the same key, of this node or of another, which
                           * is made instead; NULL: none */
    bool wanted;
    lb_box box; /* union of what readers want */
    uint64_t channels;
    lb_points_use *use; /* of an operator that works pixel by pixel, for those channels */
    bool from_cache;
    _Atomic int32_t readers; /* outside its own batch that have not read yet */
    int32_t index;           /* in plan->steps */
    int32_t level, batch;    /* see batches.h; -1: nothing is to be done for it */
    int32_t member;          /* which of its batch, when that is run as one */
    lb_value value;
    bool evaluated;
    double seconds; /* that it took */
    double cost;    /* that and what went before it, as far as no cache has it */
    int64_t read_bytes, made_bytes, peak_bytes;
    struct lb_step *next_of_node;
} lb_step;

/* What a feed's step is in the end: the one that is made for it. */
static inline lb_step *lb_step_made(lb_step *step)
{
    return step->same ? step->same : step;
}

/* True for a picture of which nothing is wanted. */
static inline bool lb_step_is_empty(const lb_step *step)
{
    return step->desc.kind == LB_KIND_IMAGE && lb_box_is_empty(step->box);
}

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
/* Channels that a feed shows (bits of feed->desc's) as bits of what its step makes. */
uint64_t lb_feed_bits(const lb_feed *feed, const lb_step *step, uint64_t bits);
/* Passes a step's own request on to its inputs. LB_MEMORY and what a `use` answers, reported. */
LB_MUST_CHECK lb_status lb_plan_ask_inputs(lb_plan *plan, lb_step *step);

#endif
