/* lang/formula.c: formulas worked out at a moment. */
#include "lang/formula.h"

#include <math.h>
#include <string.h>

#include "engine/base/text.h"
#include "lang/expr_code.h"

void lb_formula_run_reset(lb_formula_run *run, const lb_formula_set *set)
{
    if (run->is_known)
        memset(run->is_known, 0, (size_t)set->count * sizeof *run->is_known);
}

typedef struct param_context {
    const lb_formula *formula;
    lb_formula_run *run;
} param_context;

/* A param's value: computed when first asked for. lang bounds how deep they hang together. */
static lb_status param_at(const lb_formula *asker, lb_formula_run *run, int32_t slot, lb_datum *out)
{
    const lb_formula_set *set = asker->set;
    lb_arena *arena = run->moment->arena;
    lb_status status;

    if (!run->known) {
        lb_datum *known = lb_arena_alloc(arena, (size_t)set->count, sizeof *known);
        bool *is_known = lb_arena_alloc(arena, (size_t)set->count, sizeof *is_known);

        if (!known || !is_known)
            return lb_fail(run->moment->diag, LB_MEMORY, asker->loc, "no memory");
        run->known = known;
        run->is_known = is_known;
    }
    if (!run->is_known[slot]) {
        status = lb_formula_at(set->items[slot], run, &run->known[slot]);
        if (status != LB_OK)
            return status;
        run->is_known[slot] = true;
    }
    *out = run->known[slot];
    return LB_OK;
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
    lb_expr_env env = {.frame = run->moment->frame,
                       .time_s = run->moment->time_s,
                       .arena = run->moment->arena,
                       .diag = run->moment->diag,
                       .context = &context,
                       .param = expr_param,
                       .blamed = blamed};

    run->ops += formula->expr.op_count;
    return lb_expr_run(&formula->expr, &env, out);
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
