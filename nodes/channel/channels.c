/* nodes/channel/channels.c: channels under other names, from another picture, or constant. Nothing
 * is copied: a channel that moves is the same plane. */
#include <string.h>

#include "engine/graph/operand.h"
#include "engine/graph/points.h"

enum { IMAGE, OTHER };

typedef struct {
    const char *channel;
    int of;
    const char *from;
    double value;
} set_params;

typedef struct {
    lb_records set;
    bool keep;
} channels_params;

static const char *const of_names[] = {"image", "other", NULL};

static const lb_input inputs[] = {
    {"image", LB_KIND_IMAGE, .doc = "The picture; its frame becomes the result's."},
    {"other", LB_KIND_IMAGE, .optional = true, .doc = "Where channels may be taken from as well."},
    {0}};

static const lb_param set_fields[] = {
    LB_PARAM(set_params, channel, LB_TEXT, .required = true,
             .doc = "The channel of the result, such as A or depth.Z."),
    LB_PARAM(set_params, of, LB_CHOICE, .names = of_names, .initial = {IMAGE},
             .doc = "The picture that it comes from."),
    LB_PARAM(set_params, from, LB_TEXT,
             .doc = "The channel there; by itself the one of the same name."),
    LB_PARAM(set_params, value, LB_NUMBER, .initial = {LB_UNSET}, .min = -65504, .max = 65504,
             .doc = "Instead of a channel: this everywhere."),
    {0},
};

static const lb_param params[] = {
    LB_PARAM(channels_params, set, LB_RECORDS, .fields = set_fields,
             .fields_size = sizeof(set_params), .doc = "Channels of the result, one each."),
    LB_PARAM(channels_params, keep, LB_BOOL, .initial = {true},
             .doc = "Keeps the picture's other channels; false: the result has only those that are "
                    "set."),
    {0},
};

static const set_params *find_set(const channels_params *p, const char *channel)
{
    const set_params *sets = p->set.items;

    for (int32_t i = 0; i < p->set.count; i++)
        if (strcmp(sets[i].channel, channel) == 0)
            return &sets[i];
    return NULL;
}

static lb_status check(const lb_call *call)
{
    const channels_params *p = call->params;
    const set_params *sets = p->set.items;
    lb_loc loc = lb_call_loc(call, "set");

    if (p->set.count == 0 && !p->keep)
        return lb_fail(call->diag, LB_INVALID, loc, "'%s' would have no channels", call->node);
    if (p->set.count > LB_MAX_CHANNELS)
        return lb_fail(call->diag, LB_LIMIT, loc, "%d channels are the most", LB_MAX_CHANNELS);
    for (int32_t i = 0; i < p->set.count; i++) {
        const char *from = sets[i].from ? sets[i].from : sets[i].channel;
        const lb_desc *input = &call->inputs[sets[i].of];

        if (!sets[i].channel[0] || strlen(sets[i].channel) >= LB_CHANNEL_NAME)
            return lb_fail(call->diag, LB_INVALID, loc, "'%s' is no name for a channel",
                           sets[i].channel);
        if (find_set(p, sets[i].channel) != &sets[i])
            return lb_fail(call->diag, LB_INVALID, loc, "channel '%s' is set twice",
                           sets[i].channel);
        if (lb_is_set(sets[i].value)) {
            if (sets[i].from)
                return lb_fail(call->diag, LB_INVALID, loc,
                               "channel '%s' has 'from' and 'value'; only one of them can be",
                               sets[i].channel);
            continue;
        }
        if (input->kind != LB_KIND_IMAGE)
            return lb_fail(call->diag, LB_INVALID, loc,
                           "channel '%s' comes from 'other', and nothing is connected there",
                           sets[i].channel);
        if (input->channels && lb_channels_find(input->channels, from) < 0)
            return lb_fail(call->diag, LB_INVALID, loc, "'%s' has no channel '%s'",
                           of_names[sets[i].of], from);
    }
    return LB_OK;
}

static lb_status describe(const lb_call *call, lb_desc *out)
{
    const channels_params *p = call->params;
    const set_params *sets = p->set.items;
    const lb_channels *has = call->inputs[IMAGE].channels;
    const char *names[2 * LB_MAX_CHANNELS + 1];
    int32_t count = 0;

    *out = call->inputs[IMAGE];
    for (int32_t i = 0; i < p->set.count; i++) {
        names[count++] = sets[i].channel;
        if (lb_is_set(sets[i].value))
            out->data_window = lb_box_unite(out->data_window, out->display_window);
        else
            out->data_window = lb_box_unite(out->data_window, call->inputs[sets[i].of].data_window);
    }
    for (int32_t i = 0; p->keep && i < has->count; i++)
        if (!find_set(p, has->names[i]))
            names[count++] = has->names[i];
    if (count > LB_MAX_CHANNELS)
        return lb_fail(call->diag, LB_LIMIT, lb_call_loc(call, "set"),
                       "that makes %d channels; %d are the most", (int)count, LB_MAX_CHANNELS);
    names[count] = NULL;
    out->channels = lb_channels_make(call->arena, names);
    return out->channels ? LB_OK : lb_fail(call->diag, LB_MEMORY, call->loc, "no memory");
}

static lb_status use(const lb_call *call, const lb_desc *own, uint64_t wanted, lb_points_use *out)
{
    const channels_params *p = call->params;
    float *values = lb_arena_alloc(call->arena, LB_MAX_MADE, sizeof *values);

    if (!values)
        return lb_fail(call->diag, LB_MEMORY, call->loc, "no memory");
    out->state = values;
    lb_points_pass(call, own, wanted, IMAGE, out);
    for (int32_t i = 0; i < own->channels->count; i++) {
        const set_params *set = find_set(p, own->channels->names[i]);
        const char *from = set ? set->from ? set->from : set->channel : NULL;

        if (!set || !(wanted >> i & 1))
            continue;
        if (!lb_is_set(set->value)) {
            out->passed[i] =
                (lb_tap){set->of, lb_channels_find(call->inputs[set->of].channels, from)};
            continue;
        }
        values[out->made_count] = (float)set->value;
        out->made[out->made_count++] = i;
    }
    return LB_OK;
}

static void fill(const lb_call *call, const void *state, const lb_span *span)
{
    const float *values = state;

    (void)call;
    for (int32_t i = 0; i < span->made_count; i++)
        for (int32_t x = 0; x < span->count; x++)
            span->made[i][x] = values[i];
}

static const lb_points points = {use, fill};

const lb_op lb_op_channels = {
    .name = "channels",
    .summary = "Channels under other names, from another picture, or constant",
    .doc = "`set: [{channel: A, from: depth.Z}]` gives the picture its depth as alpha; "
           "`{channel: depth.Z, of: other}` takes a layer from another picture; "
           "`{channel: A, value: 1}` makes it opaque. All are read before any is set, so two "
           "channels may change places.",
    .group = "channel",
    .example = "  dusk: {op: gradient, stops: [{color: \"#2b1d2e\"}, {color: \"#7a3b1d\"}]}\n"
               "  type: {op: text, text: KILN, size: 110, weight: 700, color: [3, 1.2, 0.3]}\n"
               "  lit: {op: composite, source: type, backdrop: dusk}\n"
               "  last: {op: channels, image: lit, set: [{channel: R, from: B}, {channel: B, from: "
               "R}]}\n",
    .version = 1,
    .inputs = inputs,
    .params = params,
    .params_size = sizeof(channels_params),
    .result = LB_KIND_IMAGE,
    .check = check,
    .describe = describe,
    .evaluate = lb_points_evaluate,
    .points = &points,
};
