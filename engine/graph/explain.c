/* engine/graph/explain.c: a plan in words. */
#include "engine/graph/explain.h"

#define MIB (1.0 / 1048576)

static void put_box(lb_text *out, const lb_step *step)
{
    char text[48] = "";

    if (step->desc.kind == LB_KIND_IMAGE && lb_step_is_empty(step))
        snprintf(text, sizeof text, "none");
    else if (step->desc.kind == LB_KIND_IMAGE)
        snprintf(text, sizeof text, "%dx%d%+d%+d", (int)lb_box_width(step->box),
                 (int)lb_box_height(step->box), (int)step->box.x0, (int)step->box.y0);
    lb_text_printf(out, "%-20s", text);
}

/* "A B G R depth.Z": the wanted ones; "+" before those that only pass. */
static void put_channels(lb_text *out, const lb_step *step)
{
    if (step->desc.kind != LB_KIND_IMAGE) {
        lb_text_put(out, lb_kind_text(step->desc.kind));
        return;
    }
    for (int32_t i = 0, shown = 0; i < step->desc.channels->count; i++) {
        bool made = !step->use;

        if (!(step->channels >> i & 1))
            continue;
        for (int32_t k = 0; step->use && k < step->use->made_count; k++)
            made = made || step->use->made[k] == i;
        lb_text_printf(out, "%s%s%s", shown++ ? " " : "", made ? "" : "=",
                       step->desc.channels->names[i]);
    }
}

static void put_step(lb_text *out, const char *number, const lb_step *step)
{
    char key[LB_KEY_TEXT];

    lb_key_text(step->key, key);
    lb_text_printf(out, "%6s  %-20s %-14s %-9g ", number, step->name, step->call.op->name,
                   step->frame);
    put_box(out, step);
    lb_text_printf(out, "  %.12s  ", key);
    put_channels(out, step);
    if (step->native)
        lb_text_put(out, " (at scale 1)");
    lb_text_put(out, "\n");
}

static void put_needs(lb_text *out, const lb_batch *batch)
{
    lb_text_put(out, "        ");
    if (batch->step_count > 1)
        lb_text_printf(out, "%d run as one; ", (int)batch->step_count);
    if (batch->need_count > 0)
        lb_text_put(out, "after ");
    for (int32_t i = 0; i < batch->need_count; i++)
        lb_text_printf(out, "%s%d", i ? ", " : "", (int)batch->needs[i] + 1);
    if (batch->need_count > 0)
        lb_text_put(out, "; ");
    lb_text_printf(out, "keeps %.1f MiB", (double)batch->result_bytes * MIB);
    if (batch->scratch_bytes > 0)
        lb_text_printf(out, ", needs %.1f MiB beside it", (double)batch->scratch_bytes * MIB);
    lb_text_put(out, "\n");
}

/* Of a node that is made for many times the first is shown, with how many there are. */
static bool is_shown_already(const lb_plan *plan, const lb_step *step)
{
    for (const lb_step *s = plan->first_of_node[step->node]; s; s = s->next_of_node)
        if (s != step && s->batch >= 0 && s->batch < step->batch)
            return true;
    return false;
}

static void put_times(lb_text *out, const lb_plan *plan, const lb_step *step)
{
    double last = step->frame;
    int32_t count = 0;

    for (const lb_step *s = plan->first_of_node[step->node]; s; s = s->next_of_node) {
        if (s->batch < 0)
            continue;
        count++;
        last = s->frame > last ? s->frame : last;
    }
    if (count > 1)
        lb_text_printf(out, "        at %d times, to %g\n", (int)count, last);
}

static void put_batches(lb_text *out, const lb_plan *plan, const lb_batches *batches)
{
    lb_text_printf(out, "%6s  %-20s %-14s %-9s %-20s  %-12s  %s\n", "order", "node", "operator",
                   "frame", "pixels", "key", "channels (= passed on as they are)");
    for (int32_t i = 0; i < batches->count; i++) {
        const lb_batch *batch = &batches->items[i];
        char number[16];

        if (batch->steps[0]->desc.kind != LB_KIND_IMAGE) {
            if (is_shown_already(plan, batch->steps[0]))
                continue;
            snprintf(number, sizeof number, "%d", (int)i + 1);
            put_step(out, number, batch->steps[0]);
            put_times(out, plan, batch->steps[0]);
            continue;
        }
        for (int32_t k = 0; k < batch->step_count; k++) {
            snprintf(number, sizeof number, k == 0 ? "%d" : "+", (int)i + 1);
            put_step(out, number, batch->steps[k]);
        }
        put_needs(out, batch);
    }
}

static void put_cached(lb_text *out, const lb_plan *plan, lb_cache *cache)
{
    bool any = false;

    for (int32_t i = 0; i < plan->step_count; i++) {
        const lb_step *step = plan->steps[i];
        lb_cache_place place;

        if (!step->from_cache)
            continue;
        lb_text_put(out, any ? "" : "from the cache:\n");
        any = true;
        place = lb_cache_has(cache, step->key, &step->desc, step->box, step->channels);
        put_step(out, place == LB_CACHE_DISK ? "disk" : "memory", step);
    }
}

/* Nodes of which no step is needed at this frame, though something is connected to them. */
static void put_idle(lb_text *out, const lb_plan *plan)
{
    int32_t count = 0;

    for (int32_t n = 0; n < plan->graph->node_count; n++) {
        bool wanted = false;

        for (const lb_step *s = plan->first_of_node[n]; s; s = s->next_of_node)
            wanted = wanted || s->wanted;
        if (!wanted)
            lb_text_printf(out, "%s%s",
                           count++ ? ", " : "not needed: ", plan->graph->nodes[n].name);
    }
    if (count)
        lb_text_put(out, "\n");
}

void lb_explain(const lb_plan *plan, const lb_batches *batches, lb_cache *cache, lb_text *out)
{
    int32_t steps = 0, fused = 0;

    for (int32_t i = 0; i < batches->count; i++) {
        steps += batches->items[i].step_count;
        fused += batches->items[i].step_count > 1 ? batches->items[i].step_count : 0;
    }
    lb_text_printf(out, "frame %g: %d x %d; %d steps in %d batches, %d of them run with others; ",
                   plan->frame, (int)plan->format->width, (int)plan->format->height, (int)steps,
                   (int)batches->count, (int)fused);
    lb_text_printf(out, "pictures take %.0f MiB at most", (double)batches->peak_bytes * MIB);
    if (batches->peak_batch >= 0) {
        const lb_batch *batch = &batches->items[batches->peak_batch];

        lb_text_printf(out, ", while '%s' is made", batch->steps[batch->step_count - 1]->name);
    }
    if (batches->shared_bytes > 0)
        lb_text_printf(out, "; %.0f MiB are the same for all frames and stay as long as they may",
                       (double)batches->shared_bytes * MIB);
    lb_text_put(out, "\n");
    if (batches->count > 0)
        put_batches(out, plan, batches);
    put_cached(out, plan, cache);
    put_idle(out, plan);
}
