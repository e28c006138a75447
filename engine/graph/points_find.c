/* engine/graph/points_find.c: where the members of a run find their pixels.
 *
 * Members come after those they read, so what a channel of an earlier member is, through whatever
 * passes it on, is known when a later one asks. Scratch rows are given out like registers: a row is
 * free again after the last member that reads it. */
#include "engine/graph/points_find.h"

#include <string.h>

int32_t lb_points_made(const lb_points_use *use, int32_t channel)
{
    for (int32_t i = 0; i < use->made_count; i++)
        if (use->made[i] == channel)
            return i;
    return -1;
}

/* Channel `name` of a layer, or of the whole picture, among all of a picture's. */
static int32_t find_layered(const lb_channels *channels, const char *layer, const char *name)
{
    size_t length;

    if (!layer)
        return lb_channels_find(channels, name);
    length = strlen(layer);
    for (int32_t i = 0; i < channels->count; i++)
        if (strncmp(channels->names[i], layer, length) == 0 && channels->names[i][length] == '.' &&
            strcmp(channels->names[i] + length + 1, name) == 0)
            return i;
    return -1;
}

static const lb_source_of zero = {.kind = LB_SOURCE_ZERO, .maker = -1, .made = -1};

static lb_source_of source_of_tap(const lb_found *found, const lb_points_member *reader, lb_tap tap)
{
    const lb_points_input *input = &reader->inputs[tap.slot];
    const lb_desc *desc = &reader->call->inputs[tap.slot];
    lb_source_of source = {.kind = LB_SOURCE_PLANE, .maker = -1, .made = -1};
    const lb_points_member *from;
    const char *name;
    int32_t channel;

    if (tap.channel == LB_TAP_INSIDE) {
        source.kind = LB_SOURCE_ONE;
        source.clip = desc->data_window;
        return source;
    }
    if (tap.channel < 0 || (input->member < 0 && !input->image))
        return zero;
    name = desc->channels->names[tap.channel];
    if (input->member < 0) {
        if (!(source.plane = lb_image_find(input->image, name)))
            return zero;
        source.clip = lb_plane_box(source.plane);
        return source;
    }
    from = found[input->member].of;
    channel = find_layered(from->desc->channels, input->layer, name);
    if (channel < 0 || !(from->channels >> channel & 1))
        return zero;
    return found[input->member].channels[channel];
}

/* What readers of member `at` see of one of its channels. */
static lb_source_of source_of_channel(const lb_found *found, int32_t at, int32_t channel)
{
    const lb_points_member *of = found[at].of;
    int32_t made = lb_points_made(of->use, channel);
    lb_source_of source;

    if (made >= 0)
        return (lb_source_of){.kind = found[at].planes[made] ? LB_SOURCE_PLANE : LB_SOURCE_ROW,
                              .clip = of->box,
                              .maker = at,
                              .made = made,
                              .plane = found[at].planes[made]};
    source = source_of_tap(found, of, of->use->passed[channel]);
    source.clip = lb_box_intersect(source.clip, of->box);
    return source;
}

static void note_use(lb_found *found, const lb_source_of *source, int32_t reader)
{
    if (source->maker >= 0 && found[source->maker].last_use[source->made] < reader)
        found[source->maker].last_use[source->made] = reader;
}

static lb_status find_member(lb_arena *arena, lb_found *found, int32_t at)
{
    lb_found *m = &found[at];
    const lb_points_use *use = m->of->use;
    const lb_channels *channels = m->of->desc->channels;

    m->taps = lb_arena_alloc(arena, (size_t)use->tap_count + 1, sizeof *m->taps);
    m->channels = lb_arena_alloc(arena, (size_t)channels->count + 1, sizeof *m->channels);
    if (!m->taps || !m->channels)
        return LB_MEMORY;
    for (int32_t i = 0; i < use->tap_count; i++) {
        m->taps[i] = source_of_tap(found, m->of, use->taps[i]);
        note_use(found, &m->taps[i], at);
    }
    for (int32_t c = 0; c < channels->count; c++) {
        if (!(m->of->channels >> c & 1))
            continue;
        m->channels[c] = source_of_channel(found, at, c);
        if (m->of->image && m->channels[c].maker != at) /* it passes it on to its own image */
            note_use(found, &m->channels[c], at);
    }
    return LB_OK;
}

/* A made channel whose row is free again after the same member as the next one's. */
typedef struct ending {
    int32_t maker, made;
    struct ending *next;
} ending;

static lb_status give_rows(lb_arena *arena, lb_found *found, int32_t count, int32_t *row_count)
{
    ending **endings = lb_arena_alloc(arena, (size_t)count, sizeof(ending *));
    int32_t *free_rows, free_count = 0, most = 0;

    for (int32_t at = 0; at < count; at++)
        most += found[at].of->use->made_count;
    free_rows = lb_arena_alloc(arena, (size_t)most + 1, sizeof *free_rows);
    if (!endings || !free_rows)
        return LB_MEMORY;
    *row_count = LB_ROW_FIRST;
    for (int32_t at = 0; at < count; at++) {
        for (int32_t i = 0; i < found[at].of->use->made_count; i++) {
            int32_t last = found[at].last_use[i] < at ? at : found[at].last_use[i];
            ending *end = lb_arena_alloc(arena, 1, sizeof *end);

            found[at].rows[i] = -1;
            if (!end)
                return LB_MEMORY;
            if (found[at].planes[i])
                continue;
            found[at].rows[i] = free_count > 0 ? free_rows[--free_count] : (*row_count)++;
            *end = (ending){at, i, endings[last]};
            endings[last] = end;
        }
        for (const ending *end = endings[at]; end; end = end->next)
            free_rows[free_count++] = found[end->maker].rows[end->made];
    }
    return LB_OK;
}

lb_status lb_points_find(lb_arena *arena, lb_found *found, int32_t count, int32_t *row_count)
{
    lb_status status = LB_OK;

    for (int32_t at = 0; at < count && status == LB_OK; at++) {
        for (int32_t i = 0; i < found[at].of->use->made_count; i++)
            found[at].last_use[i] = -1;
        status = find_member(arena, found, at);
    }
    return status == LB_OK ? give_rows(arena, found, count, row_count) : status;
}
