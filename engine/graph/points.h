/* engine/graph/points.h: operators that make a pixel from the same pixel of their inputs.
 *
 * Neighbours of that kind are run together, a piece of a row at a time, so that what passes between
 * them stays in the cache and never becomes a frame. */
#ifndef LB_GRAPH_POINTS_H
#define LB_GRAPH_POINTS_H

#include "engine/graph/op.h"

#define LB_SPAN_MOST 1024 /* pixels of a span */
#define LB_MAX_TAPS LB_MAX_CHANNELS
#define LB_MAX_MADE LB_MAX_CHANNELS

/* One channel of one slot, read at the pixel that is made. */
typedef struct lb_tap {
    int32_t slot;
    int32_t channel; /* of call->inputs[slot].channels, or one of these: */
} lb_tap;
enum {
    LB_TAP_NONE = -1,   /* 0 everywhere */
    LB_TAP_INSIDE = -2, /* 1 in the data window of the slot's input, 0 outside: the alpha of a
                         * picture that has none */
};

/* What an operator reads and makes for the channels that are wanted of it. */
typedef struct lb_points_use {
    int32_t tap_count;
    lb_tap taps[LB_MAX_TAPS];
    int32_t made_count;
    int32_t made[LB_MAX_MADE];      /* of own->channels; -1: made and thrown away */
    lb_tap passed[LB_MAX_CHANNELS]; /* of own->channels: where those come from that are wanted and
                                     * not made; nothing is copied for them */
    const void *state;              /* in call->arena */
} lb_points_use;

/* Pixels [x, x + count) of row y. Rows start at x and do not overlap. */
typedef struct lb_span {
    int32_t x, y, count;
    const float *const *taps; /* in the order of the use's */
    float *const *made;       /* likewise; every pixel is to be written */
    int32_t made_count;
} lb_span;

typedef struct lb_points {
    /* Fills `out`, which is zero. Reports its failures. */
    lb_status (*use)(const lb_call *call, const lb_desc *own, uint64_t wanted, lb_points_use *out);
    /* NULL: nothing is made, channels only pass. */
    void (*span)(const lb_call *call, const void *state, const lb_span *span);
} lb_points;

/* For `use` of operators on colour: taps are R, G, B, A of slot 0 (A inside its data window where
 * it has none), made are R, G, B if any of them is wanted, everything else passes. */
void lb_points_use_color(const lb_call *call, const lb_desc *own, uint64_t wanted,
                         lb_points_use *out);
/* For the same: everything wanted passes from `slot` by name. */
void lb_points_pass(const lb_call *call, const lb_desc *own, uint64_t wanted, int32_t slot,
                    lb_points_use *out);
/* Adds a tap; `name` NULL or not there: LB_TAP_NONE. */
void lb_points_tap(const lb_call *call, int32_t slot, const char *name, lb_points_use *out);

/* The channels (bits of call->inputs[slot].channels) that a use reads. */
uint64_t lb_points_bits(const lb_points_use *use, const lb_desc *own, uint64_t wanted,
                        int32_t slot);

/* Where a member gets a slot's picture from. */
typedef struct lb_points_input {
    int32_t member;        /* an earlier member; -1: `image` */
    const char *layer;     /* of that member's channels; NULL: all */
    const lb_image *image; /* NULL: nothing is connected, 0 everywhere */
} lb_points_input;

/* One operator of a run of them. */
typedef struct lb_points_member {
    const lb_call *call;
    const lb_desc *desc;
    lb_box box;        /* what is asked of it: outside, its readers see 0 */
    uint64_t channels; /* likewise */
    const lb_points_use *use;
    const lb_points_input *inputs; /* one a slot */
    bool kept;                     /* somebody else reads it: make an image */
    lb_image *image;               /* out: if kept, the caller's */
    double share;                  /* out: of the time that all took */
} lb_points_member;

/* Runs members, each after those it reads. LB_MEMORY, LB_CANCELLED; nothing is handed over then. */
LB_MUST_CHECK lb_status lb_points_run(lb_pool *pool, lb_points_member *members, int32_t count);

/* The lb_op.evaluate of an operator with `points`. */
LB_MUST_CHECK lb_status lb_points_evaluate(const lb_task *task, lb_value *out);

#endif
