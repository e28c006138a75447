/* lang/formula.c: formulas worked out at a moment. */
#include "lang/formula.h"

#include <math.h>
#include <string.h>

#include "engine/base/text.h"
#include "lang/expr_code.h"

/* A param's value. Most values hang on few of the graph's params, so only these have a place. */
struct lb_known_value {
    int32_t slot; /* + 1; 0: free */
    lb_datum value;
};

void lb_formula_run_reset(lb_formula_run *run)
{
    if (run->known_count > 0)
        memset(run->known, 0, run->known_capacity * sizeof *run->known);
    run->known_count = 0;
}

/* Where the value of a slot is, or where it goes. */
static struct lb_known_value *find_known(struct lb_known_value *known, size_t capacity,
                                         int32_t slot)
{
    size_t at = (uint32_t)slot * 2654435769u & (capacity - 1); /* Knuth's multiplicative hash */

    while (known[at].slot != 0 && known[at].slot != slot + 1)
        at = (at + 1) & (capacity - 1);
    return &known[at];
}

static bool remember(lb_formula_run *run, int32_t slot, const lb_datum *value)
{
    size_t capacity = run->known_capacity ? run->known_capacity * 2 : 8;

    if (run->known_capacity < 2 * (run->known_count + 1)) {
        struct lb_known_value *grown = lb_arena_alloc(run->moment->arena, capacity, sizeof *grown);

        if (!grown)
            return false;
        for (size_t i = 0; i < run->known_capacity; i++)
            if (run->known[i].slot != 0)
                *find_known(grown, capacity, run->known[i].slot - 1) = run->known[i];
        run->known = grown;
        run->known_capacity = capacity;
    }
    *find_known(run->known, run->known_capacity, slot) = (struct lb_known_value){slot + 1, *value};
    run->known_count++;
    return true;
}

typedef struct param_context {
    const lb_formula *formula;
    lb_formula_run *run;
} param_context;

/* A param's value: computed when first asked for. lang bounds how deep they hang together. */
static lb_status param_at(const lb_formula *asker, lb_formula_run *run, int32_t slot, lb_datum *out)
{
    lb_status status;

    if (run->known_count > 0) {
        const struct lb_known_value *known = find_known(run->known, run->known_capacity, slot);

        if (known->slot != 0) {
            *out = known->value;
            return LB_OK;
        }
    }
    if ((status = lb_formula_at(asker->set->items[slot], run, out)) != LB_OK)
        return status;
    return remember(run, slot, out)
               ? LB_OK
               : lb_fail(run->moment->diag, LB_MEMORY, asker->loc, "no memory");
}

static lb_status expr_param(void *context, int32_t slot, lb_datum *out)
{
    param_context *c = context;

    return param_at(c->formula, c->run, slot, out);
}

static lb_status expr_at(const lb_formula *formula, lb_formula_run *run, const lb_expr_op **blamed,
                         lb_datum *out)
{
    param_context context = {formula, run};
    int64_t text_bytes = 0;
    lb_status status;
    lb_expr_env env = {.frame = run->moment->frame,
                       .time_s = run->moment->time_s,
                       .arena = run->moment->arena,
                       .diag = run->moment->diag,
                       .context = &context,
                       .param = expr_param,
                       .text_bytes = &text_bytes,
                       .blamed = blamed};

    status = lb_expr_run(&formula->expr, &env, out);
    run->ops += formula->expr.op_count + text_bytes / 8;
    return status;
}

static lb_status vector_at(const lb_formula *formula, lb_formula_run *run, lb_datum *out)
{
    lb_datum result = {.kind = LB_DATUM_NUMBERS, .count = formula->value.count};

    for (int32_t i = 0; i < result.count; i++) {
        lb_datum part = {0};
        lb_status status = lb_formula_at(&formula->parts[i], run, &part);

        if (status != LB_OK)
            return status;
        result.numbers[i] = part.numbers[0];
    }
    *out = result;
    return LB_OK;
}

lb_status lb_formula_at(const lb_formula *formula, lb_formula_run *run, lb_datum *out)
{
    run->ops++;
    switch (formula->kind) {
    case LB_FORMULA_CONSTANT:
        *out = formula->value;
        return LB_OK;
    case LB_FORMULA_EXPR:
        return expr_at(formula, run, NULL, out);
    case LB_FORMULA_KEYS:
        lb_keys_at(&formula->keys, run->moment->frame, out);
        return LB_OK;
    case LB_FORMULA_PARAM:
        return param_at(formula, run, formula->slot, out);
    case LB_FORMULA_VECTOR:
        return vector_at(formula, run, out);
    }
    return LB_OK;
}

/* Where a value that is infinite or not a number became so: in its own text, in one of its parts or
 * in a param's. No file: it is not known. */
static lb_loc find_origin(const lb_formula *formula, lb_formula_run *run)
{
    const lb_expr_op *blamed = NULL;
    lb_loc loc = LB_NOWHERE;
    lb_datum value;

    for (;;) {
        for (int32_t i = 0; formula->kind == LB_FORMULA_VECTOR && i < formula->value.count; i++)
            if (!loc.file)
                loc = find_origin(&formula->parts[i], run);
        if (formula->kind == LB_FORMULA_PARAM) {
            formula = formula->set->items[formula->slot];
            continue;
        }
        if (formula->expr.op_count == 0 || expr_at(formula, run, &blamed, &value) != LB_OK ||
            !blamed)
            return loc;
        loc = lb_expr_place(&formula->expr, blamed);
        if (blamed->code != LB_EXPR_PARAM)
            return loc;
        formula = formula->set->items[blamed->argument]; /* params do not go in circles */
    }
}

static const char *first_odd(const lb_datum *value, char *buffer)
{
    for (int32_t i = 0; value->kind == LB_DATUM_NUMBERS && i < value->count; i++)
        if (!isfinite(value->numbers[i]))
            return lb_text_from_number(value->numbers[i], buffer);
    return NULL;
}

void lb_formula_note(const lb_formula *formula, lb_formula_run *run, const lb_datum *value)
{
    char buffer[32];
    const char *odd = first_odd(value, buffer);
    lb_loc origin = odd ? find_origin(formula, run) : LB_NOWHERE;
    double frame = run->moment->frame;

    if (origin.file && formula->timed)
        lb_note(run->moment->diag, origin, "it becomes %s here at frame %g", odd, frame);
    else if (origin.file)
        lb_note(run->moment->diag, origin, "it becomes %s here", odd);
    else if (formula->timed)
        lb_note(run->moment->diag, formula->loc, "at frame %g", frame);
}

lb_status lb_formula_source(const void *context, const lb_moment *moment, lb_datum *out)
{
    lb_formula_run run = {.moment = moment};

    return lb_formula_at(context, &run, out);
}
