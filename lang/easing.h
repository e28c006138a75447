/* lang/easing.h: CSS easing functions. */
#ifndef LB_LANG_EASING_H
#define LB_LANG_EASING_H

#include "lang/yaml.h"

typedef enum lb_easing_kind { LB_EASING_LINEAR, LB_EASING_BEZIER, LB_EASING_STEPS } lb_easing_kind;

typedef enum lb_jump { LB_JUMP_START, LB_JUMP_END, LB_JUMP_NONE, LB_JUMP_BOTH } lb_jump;

/* A stop of linear(). */
typedef struct lb_easing_stop {
    double input, output;
} lb_easing_stop;

/* From progress to progress. All zeros is `linear`. */
typedef struct lb_easing {
    lb_easing_kind kind;
    double x1, y1, x2, y2; /* cubic-bezier(): x1, x2 in 0 .. 1 */
    int32_t steps;
    lb_jump jump;
    int32_t stop_count; /* linear(): 0 for the identity, else at least 2 */
    const lb_easing_stop *stops;
} lb_easing;

/* Reads an easing function as CSS writes it: linear, linear(...), ease, ease-in, ease-out,
 * ease-in-out, cubic-bezier(...), step-start, step-end, steps(...). Reports what is wrong where it
 * stands in the scalar. Stops live in the arena. */
LB_MUST_CHECK lb_status lb_easing_read(lb_diag *diag, const lb_yaml_node *scalar, lb_arena *arena,
                                       lb_easing *out);

/* Output progress. Below 0 and above 1 the end tangents go on. */
double lb_easing_at(const lb_easing *easing, double progress);

#endif
