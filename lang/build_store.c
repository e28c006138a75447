/* lang/build_store.c: from formulas to fields and bindings. */
#include <string.h>

#include "engine/base/text.h"
#include "lang/build.h"

#define MAX_SAMPLES 4096           /* frames looked at, for one value */
#define MAX_CHECKED_OPS 20000000LL /* for all values of a graph */
#define ARENA_SAMPLES 64           /* frames whose texts are kept at a time */

static bool is_text(lb_type type)
{
    return type == LB_TEXT || type == LB_FILE || type == LB_CHOICE;
}

/* A hex colour is text for text, and numbers for vectors. Colours read it themselves. */
static lb_datum constant_for(const lb_formula *formula, lb_type type)
{
    lb_datum value = formula->value;

    if (!is_text(type) && type != LB_COLOR && formula->color_count > 0)
        lb_formula_numbers(formula, &value);
    return value;
}

/* How many numbers the field of a parameter holds; 0: none. */
static int32_t numbers_of(lb_type type)
{
    switch (type) {
    case LB_INT:
    case LB_NUMBER:
        return 1;
    case LB_VEC2:
        return 2;
    case LB_VEC3:
    case LB_COLOR:
        return 3;
    case LB_VEC4:
        return 4;
    default:
        return 0;
    }
}

/* A value that is allowed, but that hardly anybody means. Once for each value: `frame` is the first
 * at which it is seen, NULL when there is no difference. */
static void warn_unusual(lb_build *build, const lb_formula *formula, const lb_target *target,
                         const double *frame)
{
    const lb_param *param = target->param;
    const char *field = (const char *)target->base + param->offset;
    char is[32], low[32], high[32];

    if ((param->usual_min == 0 && param->usual_max == 0) || build->unusual == formula)
        return;
    for (int32_t i = 0; i < numbers_of(param->type); i++) {
        double number = param->type == LB_INT ? *(const int32_t *)(const void *)field
                                              : ((const double *)(const void *)field)[i];

        if (!(number < param->usual_min || number > param->usual_max))
            continue;
        build->unusual = formula;
        lb_text_from_number(param->usual_min, low);
        lb_text_from_number(param->usual_max, high);
        if (frame)
            lb_warn(build->diag, formula->loc, "'%s' is %s at frame %g; usual is %s to %s",
                    param->name, lb_text_from_number(number, is), *frame, low, high);
        else
            lb_warn(build->diag, formula->loc, "'%s' is %s; usual is %s to %s", param->name,
                    lb_text_from_number(number, is), low, high);
        return;
    }
}

/* One look at the value at a frame, in the struct at target->base. */
static bool store_at(lb_build *build, const lb_formula *formula, const lb_target *target,
                     const lb_store *store, lb_formula_run *run, lb_moment *moment, double frame)
{
    const lb_format *format = &build->graph->format;
    lb_datum value = {0};
    lb_status status;

    moment->frame = frame;
    moment->time_s = lb_frame_time(frame, format->first, format->rate);
    lb_formula_run_reset(run);
    status = lb_formula_at(formula, run, &value);
    if (status == LB_OK)
        status = lb_param_store(store, target->param, formula->loc, &value, target->base);
    if (status != LB_OK)
        lb_formula_note(formula, run, &value);
    else
        warn_unusual(build, formula, target, &frame);
    return lb_build_ok(build, status);
}

/* The frames after the first, until one is wrong. The step between them grows with the range, and
 * with the work that was done for other values; the last one is always among them. */
static bool look_ahead(lb_build *build, const lb_formula *formula, const lb_target *target)
{
    const lb_format *format = &build->graph->format;
    int32_t frame = format->first, step = (format->last - format->first) / MAX_SAMPLES + 1;
    bool is_good = true;

    while (is_good && frame < format->last) {
        lb_arena *arena = lb_arena_new();
        lb_store store = build->store;
        lb_moment moment = {.format = format, .arena = arena, .diag = build->diag};
        lb_formula_run run = {.moment = &moment};

        if (!arena) {
            lb_build_fail(build, LB_MEMORY, formula->loc, "no memory");
            return false;
        }
        store.arena = arena;
        if (build->checked_ops > MAX_CHECKED_OPS)
            step = format->last - frame;
        for (int32_t i = 0; i < ARENA_SAMPLES && is_good && frame < format->last; i++) {
            frame = format->last - frame < step ? format->last : frame + step;
            is_good = store_at(build, formula, target, &store, &run, &moment, frame);
        }
        build->checked_ops += run.ops;
        lb_arena_free(&arena);
    }
    return is_good;
}

/* A value that is the same at every frame. */
static void store_constant(lb_build *build, const lb_formula *formula, const lb_target *target)
{
    lb_moment moment = {
        .format = &build->graph->format, .arena = build->arena, .diag = build->diag};
    lb_formula_run run = {.moment = &moment};
    lb_datum value = constant_for(formula, target->param->type);
    lb_store store = build->store;
    lb_status status;

    store.folder = formula->folder;
    if (value.kind == LB_DATUM_TEXT &&
        !lb_build_spend(build, 0, (int64_t)strlen(value.text), formula->loc))
        return;
    status = lb_param_store(&store, target->param, formula->loc, &value, target->base);
    if (status != LB_OK)
        lb_formula_note(formula, &run, &value);
    else
        warn_unusual(build, formula, target, NULL);
    lb_build_ok(build, status);
}

/* What all values take at one frame is bounded, since every frame that is rendered takes it. */
static bool count_ops(lb_build *build, const lb_formula *formula, int64_t ops)
{
    build->frame_ops += ops;
    if (build->frame_ops <= LB_MAX_FRAME_OPS)
        return true;
    lb_build_fail(build, LB_LIMIT, formula->loc,
                  "the values of the graph take more than %d operations at one frame",
                  LB_MAX_FRAME_OPS);
    build->is_over = true;
    return false;
}

static bool store_timed(lb_build *build, const lb_formula *formula, const lb_target *target)
{
    lb_arena *arena = lb_arena_new();
    lb_moment moment = {.format = &build->graph->format, .arena = arena, .diag = build->diag};
    lb_formula_run run = {.moment = &moment};
    double first = build->graph->format.first;
    bool is_good;

    if (!arena) {
        lb_build_fail(build, LB_MEMORY, formula->loc, "no memory");
        return false;
    }
    is_good = store_at(build, formula, target, &build->store, &run, &moment, first) &&
              count_ops(build, formula, run.ops);
    if (is_good) {
        is_good = look_ahead(build, formula, target);
        if (!build->is_over) /* the field holds the last frame's value, or a text that is gone */
            is_good =
                store_at(build, formula, target, &build->store, &run, &moment, first) && is_good;
    }
    lb_arena_free(&arena);
    return is_good && !build->is_over;
}

void lb_build_store(lb_build *build, const lb_formula *formula, const lb_target *target,
                    lb_binding *binding, bool *binding_made)
{
    const lb_param *param = target->param;

    *binding_made = false;
    if (!formula->timed) {
        store_constant(build, formula, target);
        return;
    }
    if (param->fixed || target->is_constant) {
        lb_build_fail(build, LB_INVALID, formula->loc, "'%s' cannot change from frame to frame",
                      param->name);
        return;
    }
    if (!store_timed(build, formula, target))
        return;
    *binding = (lb_binding){.param = param,
                            .records_offset = target->records_offset,
                            .record = target->record,
                            .base_offset = target->base_offset,
                            .source = {lb_formula_source, formula, true},
                            .loc = formula->loc};
    *binding_made = true;
}
