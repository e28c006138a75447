/* engine/graph/param.h: values of parameters, checked and stored by their table. */
#ifndef LB_GRAPH_PARAM_H
#define LB_GRAPH_PARAM_H

#include "engine/graph/op.h"

/* What a literal or an expression gives. */
typedef enum lb_datum_kind { LB_DATUM_NUMBERS, LB_DATUM_BOOL, LB_DATUM_TEXT } lb_datum_kind;
typedef struct lb_datum {
    lb_datum_kind kind;
    int32_t count;     /* numbers: 1 .. 4 */
    double numbers[4]; /* bool: numbers[0] */
    const char *text;
} lb_datum;

/* What storing needs to know. */
typedef struct lb_store {
    lb_diag *diag;
    lb_arena *arena;    /* where texts are kept */
    lb_space working;   /* colours are converted to it */
    const char *folder; /* of the graph file, for LB_FILE */
} lb_store;

/* Writes `value` into the field of `param` in the struct at `base`: type, range and choice checked,
 * colours and rotations converted, pixel lengths NOT yet scaled. LB_INVALID is reported with what
 * would do. Not for LB_REF and records. */
LB_MUST_CHECK lb_status lb_param_store(const lb_store *store, const lb_param *param, lb_loc loc,
                                       const lb_datum *value, void *base);
/* Writes the initial values of all of a table into the zeroed struct at `base`. */
LB_MUST_CHECK lb_status lb_params_init(const lb_store *store, const lb_param *params, void *base);
/* Multiplies pixel lengths by `scale`, in records too (records must be the caller's own copy). */
void lb_params_scale(const lb_param *params, void *base, double scale);
/* Hashes all of a table's values; LB_FILE by what `fingerprint` adds, so not here. LB_REF by the
 * slot's number. */
void lb_params_hash(const lb_param *params, const void *base, lb_hasher *hasher);

int32_t lb_params_count(const lb_param *params);
const lb_param *lb_params_find(const lb_param *params, const char *name);
int32_t lb_inputs_count(const lb_input *inputs);
int32_t lb_inputs_find(const lb_input *inputs, const char *name); /* -1: none */
/* "a number", "a colour (CSS hex or [r, g, b])", ... */
const char *lb_type_text(lb_type type);

#endif
