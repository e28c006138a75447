/* engine/graph/points_find.h: where the members of a run find their pixels; for points_run.c. */
#ifndef LB_GRAPH_POINTS_FIND_H
#define LB_GRAPH_POINTS_FIND_H

#include "engine/graph/points.h"

typedef enum lb_source_kind {
    LB_SOURCE_ZERO,
    LB_SOURCE_ONE,
    LB_SOURCE_ROW,   /* a row of scratch memory that a member makes */
    LB_SOURCE_PLANE, /* given from outside, or a member's result */
} lb_source_kind;

/* Where the pixels of a tap or of a channel are read. Outside `clip` they are 0. */
typedef struct lb_source_of {
    lb_source_kind kind;
    lb_box clip;
    int32_t maker, made; /* which member makes them, as which of its channels; -1: none */
    const lb_plane *plane;
} lb_source_of;

/* A member with everything found. */
typedef struct lb_found {
    const lb_points_member *of;
    lb_source_of *taps;
    lb_source_of *channels; /* of the description: as readers see those that are wanted */
    int32_t *rows;          /* of each made channel: its scratch row; -1: it goes into `planes` */
    lb_plane **planes;      /* of the result */
    int32_t *last_use;      /* the last member that reads it; -1: none */
} lb_found;

/* Rows of scratch that are always there. */
enum { LB_ROW_ONES, LB_ROW_ZEROS, LB_ROW_FIRST };

/* Finds every source of `count` members, whose `planes` are made, and gives out scratch rows;
 * *row_count is how many there are, the two above with them. Memory is the arena's; LB_MEMORY. */
LB_MUST_CHECK lb_status lb_points_find(lb_arena *arena, lb_found *found, int32_t count,
                                       int32_t *row_count);

int32_t lb_points_made(const lb_points_use *use, int32_t channel); /* -1: it is not made */

#endif
