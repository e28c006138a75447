/* engine/graph/ask.c: what is wanted of each step of a plan. */
#include "engine/graph/ask.h"

/* The step's request goes to the one that is made instead. */
static void ask_same(const lb_step *step)
{
    lb_step *same = step->same;

    same->wanted = true;
    same->box = lb_box_unite(same->box, step->box);
    same->channels |= step->channels;
}

static bool look(lb_cache *cache, lb_step *step, lb_ask how)
{
    lb_keep keep = step->varies ? LB_KEEP_NOT : LB_KEEP_RUN;

    if (how == LB_ASK_LOOK)
        return lb_cache_has(cache, step->key, &step->desc, step->box, step->channels) !=
               LB_CACHE_NONE;
    return lb_cache_fetch(cache, step->key, &step->desc, step->box, step->channels, keep,
                          &step->value);
}

static void count_readers(const lb_step *step)
{
    for (int32_t s = 0; s < step->call.input_count; s++)
        for (int32_t k = 0; step->feeds[s].asked && k < step->feeds[s].count; k++)
            lb_step_made(step->feeds[s].steps[k])->readers++;
}

lb_status lb_plan_ask(lb_plan *plan, const lb_want *wants, lb_cache *cache, lb_ask how)
{
    lb_status status = LB_OK;

    for (int32_t i = 0; i < plan->target_count; i++) {
        lb_plan_ask_target(plan, i, &wants[i]);
        lb_step_made(plan->targets[i].steps[0])->readers++;
    }
    for (int32_t i = plan->step_count; i-- > 0 && status == LB_OK;) {
        lb_step *step = plan->steps[i];

        if (!step->wanted)
            continue;
        if (step->same) {
            ask_same(step);
            continue;
        }
        if (lb_step_is_empty(step))
            continue; /* nothing to be made, so nothing to be read */
        if (look(cache, step, how)) {
            step->from_cache = true;
            continue;
        }
        if (step->desc.kind == LB_KIND_IMAGE && !step->varies && how != LB_ASK_PART &&
            lb_cache_knows(cache, step->key))
            step->box = step->desc.data_window; /* asked for other pixels at another frame: make
                                                 * all, once */
        if ((status = lb_plan_ask_inputs(plan, step)) == LB_OK)
            count_readers(step);
    }
    return status;
}
