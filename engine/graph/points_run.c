/* engine/graph/points_run.c: runs of operators that work pixel by pixel.
 *
 * The frame is gone through in pieces of rows. For each piece the members are called one after the
 * other; what a member makes goes into a row of scratch memory that the next ones read, or, if
 * somebody outside wants it, straight into a plane of the result. Scratch rows are given out like
 * registers: one is free again after its last reader. */
#include <string.h>

#include "engine/graph/points.h"

#define BAND_PIXELS 32768 /* of a piece of work for a thread: many spans, some milliseconds */

typedef enum source_kind { SOURCE_ZERO, SOURCE_ONES, SOURCE_ROW, SOURCE_PLANE } source_kind;

/* Where the pixels of a tap or of a passed channel lie. Outside `clip` they are 0. */
typedef struct source {
    source_kind kind;
    lb_box clip;
    int32_t row;           /* ROW: scratch row */
    const lb_plane *plane; /* PLANE */
} source;

/* A member with everything found. */
typedef struct member {
    const lb_points_member *of;
    source taps[LB_MAX_TAPS];
    int32_t rows[LB_MAX_MADE];     /* scratch rows; -1: into `planes` */
    lb_plane *planes[LB_MAX_MADE]; /* of the result */
    int32_t last_use[LB_MAX_MADE]; /* the last member that reads it */
    source *passed;                /* kept members: of each wanted channel that is not made */
    lb_plane **copies;             /* planes for those of them that lie in scratch rows */
} member;

typedef struct points_run {
    lb_pool *pool;
    member *members;
    int32_t count;
    int32_t row_count;     /* scratch rows; row 0 holds ones, row 1 zeros */
    lb_box box;            /* of all that is kept */
    int32_t piece, pieces; /* pixels of a span, and how many a row has */
    int32_t tap_rows;      /* for taps that leave their clip */
    float *scratch;        /* row_count + tap_rows rows a worker */
    size_t stride;         /* floats a worker */
    double *seconds;       /* count a worker: time of the members in sampled rows */
    lb_arena *arena;
} points_run;

enum { ROW_ONES, ROW_ZEROS, ROW_FIRST };

static int32_t index_of_made(const lb_points_use *use, int32_t channel)
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

/* Finds where a tap of member `at` gets its pixels, through members that only pass them on;
 * `reader` is who uses them in the end. */
static source find_source(points_run *run, int32_t at, lb_tap tap, int32_t reader)
{
    lb_box clip = LB_BOX_EVERYTHING;

    for (;;) {
        const lb_points_member *of = run->members[at].of;
        const lb_points_input *input = &of->inputs[tap.slot];
        const lb_desc *desc = &of->call->inputs[tap.slot];
        const char *name;
        int32_t channel, made;

        if (tap.channel == LB_TAP_INSIDE)
            return (source){SOURCE_ONES, lb_box_intersect(clip, desc->data_window), ROW_ONES, NULL};
        if (tap.channel < 0 || (input->member < 0 && !input->image))
            return (source){.kind = SOURCE_ZERO};
        name = desc->channels->names[tap.channel];
        if (input->member < 0) {
            const lb_plane *plane = lb_image_find(input->image, name);

            if (!plane)
                return (source){.kind = SOURCE_ZERO};
            return (source){SOURCE_PLANE, lb_box_intersect(clip, lb_plane_box(plane)), 0, plane};
        }
        at = input->member;
        of = run->members[at].of;
        channel = find_layered(of->desc->channels, input->layer, name);
        clip = lb_box_intersect(clip, of->box);
        if (channel < 0 || !(of->channels >> channel & 1))
            return (source){.kind = SOURCE_ZERO};
        if ((made = index_of_made(of->use, channel)) < 0) {
            tap = of->use->passed[channel];
            continue;
        }
        if (reader > run->members[at].last_use[made])
            run->members[at].last_use[made] = reader;
        if (run->members[at].planes[made])
            return (source){SOURCE_PLANE, clip, 0, run->members[at].planes[made]};
        return (source){SOURCE_ROW, clip, run->members[at].rows[made], NULL};
    }
}

/* Planes of what a kept member makes, and an image for them. */
static lb_status make_image(lb_points_member *of, member *m)
{
    lb_status status = lb_image_new(of->desc->display_window, of->desc->data_window, &of->image);

    if (status == LB_OK)
        lb_image_set_pixel_aspect(of->image, of->desc->pixel_aspect);
    for (int32_t i = 0; i < of->use->made_count && status == LB_OK; i++) {
        int32_t channel = of->use->made[i];

        if (channel < 0 || !(of->channels >> channel & 1))
            continue;
        if ((status = lb_plane_new_raw(of->box, &m->planes[i])) == LB_OK)
            status = lb_image_add(of->image, of->desc->channels->names[channel], m->planes[i]);
        lb_plane_unref(&m->planes[i]);
        if (status == LB_OK) /* the image holds it, and is not published yet */
            m->planes[i] = (lb_plane *)lb_image_find(of->image, of->desc->channels->names[channel]);
    }
    return status;
}

/* Sources of the channels that a kept member passes on. */
static lb_status find_passed(points_run *run, int32_t at)
{
    member *m = &run->members[at];
    size_t count = (size_t)m->of->desc->channels->count;
    lb_status status = LB_OK;

    m->passed = lb_arena_alloc(run->arena, count + 1, sizeof *m->passed);
    m->copies = lb_arena_alloc(run->arena, count + 1, sizeof *m->copies);
    if (!m->passed || !m->copies)
        return LB_MEMORY;
    for (int32_t c = 0; c < (int32_t)count && status == LB_OK; c++) {
        if (!(m->of->channels >> c & 1) || index_of_made(m->of->use, c) >= 0)
            continue;
        /* As if member `at` read itself: the tap is of one of its own slots. */
        m->passed[c] = find_source(run, at, m->of->use->passed[c], at);
        if (m->passed[c].kind == SOURCE_ROW)
            status = lb_plane_new_raw(m->of->box, &m->copies[c]);
    }
    return status;
}

/* Gives every made channel its row, and every tap its source. Twice: the second time with the last
 * uses known, so that rows are given out anew when they are free. */
static lb_status find_all(points_run *run)
{
    bool *is_free =
        lb_arena_alloc(run->arena, (size_t)run->count * LB_MAX_MADE + ROW_FIRST, sizeof *is_free);

    if (!is_free)
        return LB_MEMORY;
    for (int32_t round = 0; round < 2; round++) {
        run->row_count = ROW_FIRST;
        for (int32_t at = 0; at < run->count; at++) {
            member *m = &run->members[at];

            for (int32_t i = 0; i < m->of->use->tap_count; i++)
                m->taps[i] = find_source(run, at, m->of->use->taps[i], at);
            if (round == 1 && m->of->image && find_passed(run, at) != LB_OK)
                return LB_MEMORY;
            if (round == 0 && m->of->image)
                for (int32_t c = 0; c < m->of->desc->channels->count; c++)
                    if ((m->of->channels >> c & 1) && index_of_made(m->of->use, c) < 0)
                        find_source(run, at, m->of->use->passed[c], at);
            for (int32_t i = 0; i < m->of->use->made_count; i++) {
                int32_t row = ROW_FIRST;

                m->rows[i] = -1;
                if (m->planes[i])
                    continue;
                while (row < run->row_count && !is_free[row])
                    row++;
                run->row_count = row == run->row_count ? row + 1 : run->row_count;
                is_free[row] = false;
                m->rows[i] = row;
            }
            for (int32_t before = 0; round == 1 && before <= at; before++)
                for (int32_t i = 0; i < run->members[before].of->use->made_count; i++)
                    if (run->members[before].rows[i] >= 0 &&
                        (run->members[before].last_use[i] == at ||
                         (before == at && run->members[before].last_use[i] < at)))
                        is_free[run->members[before].rows[i]] = true;
        }
    }
    return LB_OK;
}

/* The pixels of a source in a span: where they lie, or, where the span leaves its clip, in
 * `spare` with zeros around. */
static const float *row_of(const source *from, const float *scratch, const lb_span *span,
                           int32_t x0, float *spare)
{
    int32_t begin = span->x, end = span->x + span->count;
    const float *row;

    if (from->kind == SOURCE_ZERO || span->y < from->clip.y0 || span->y >= from->clip.y1 ||
        from->clip.x0 >= end || from->clip.x1 <= begin)
        return scratch + ROW_ZEROS * LB_SPAN_MOST;
    begin = from->clip.x0 > begin ? from->clip.x0 : begin;
    end = from->clip.x1 < end ? from->clip.x1 : end;
    if (from->kind == SOURCE_PLANE)
        row = lb_plane_row(from->plane, span->y) + (begin - lb_plane_box(from->plane).x0);
    else /* rows of scratch begin where the piece begins */
        row = scratch + from->row * LB_SPAN_MOST + (begin - x0);
    if (end - begin == span->count)
        return row;
    memset(spare, 0, (size_t)span->count * sizeof *spare);
    memcpy(spare + (begin - span->x), row, (size_t)(end - begin) * sizeof *spare);
    return spare;
}

/* One member in one piece of a row: its part of it, and what it passes on of others' rows. */
static void run_member(const points_run *run, const member *m, float *scratch, int32_t x0,
                       int32_t x1, int32_t y)
{
    const lb_points_member *of = m->of;
    float *spare = scratch + (size_t)run->row_count * LB_SPAN_MOST;
    const float *taps[LB_MAX_TAPS];
    float *made[LB_MAX_MADE];
    lb_span span = {.y = y, .taps = taps, .made = made, .made_count = of->use->made_count};

    if (y < of->box.y0 || y >= of->box.y1)
        return;
    span.x = of->box.x0 > x0 ? of->box.x0 : x0;
    span.count = (of->box.x1 < x1 ? of->box.x1 : x1) - span.x;
    if (span.count <= 0)
        return;
    if (of->use->made_count > 0) {
        for (int32_t i = 0; i < of->use->tap_count; i++)
            taps[i] = row_of(&m->taps[i], scratch, &span, x0, spare + i * LB_SPAN_MOST);
        for (int32_t i = 0; i < of->use->made_count; i++)
            made[i] = m->planes[i] ? lb_plane_row_to_fill(m->planes[i], y) + (span.x - of->box.x0)
                                   : scratch + m->rows[i] * LB_SPAN_MOST + (span.x - x0);
        of->call->op->points->span(of->call, of->use->state, &span);
    }
    for (int32_t c = 0; m->copies && c < of->desc->channels->count; c++)
        if (m->copies[c])
            memcpy(lb_plane_row_to_fill(m->copies[c], y) + (span.x - of->box.x0),
                   row_of(&m->passed[c], scratch, &span, x0, spare),
                   (size_t)span.count * sizeof *spare);
}

static lb_status run_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const points_run *run = context;
    float *scratch = run->scratch + (size_t)worker * run->stride;
    double *seconds = run->seconds + (size_t)worker * (size_t)run->count;

    for (int32_t x = 0; x < LB_SPAN_MOST; x++)
        scratch[ROW_ONES * LB_SPAN_MOST + x] = 1.0f;
    memset(scratch + ROW_ZEROS * LB_SPAN_MOST, 0, LB_SPAN_MOST * sizeof *scratch);
    for (int32_t y = run->box.y0 + begin; y < run->box.y0 + end; y++)
        for (int32_t p = 0; p < run->pieces; p++) {
            int32_t x0 = run->box.x0 + p * run->piece;
            int32_t x1 = run->box.x1 - x0 < run->piece ? run->box.x1 : x0 + run->piece;
            bool sampled = y == run->box.y0 + begin && run->count > 1;
            double then = sampled ? lb_clock_s() : 0;

            for (int32_t i = 0; i < run->count; i++) {
                run_member(run, &run->members[i], scratch, x0, x1, y);
                if (sampled) {
                    double now = lb_clock_s();

                    seconds[i] += now - then;
                    then = now;
                }
            }
        }
    return LB_OK;
}

/* The pixels of `clip` of a plane over `box`; 0 elsewhere. */
static lb_status cut_clipped(const lb_plane *plane, lb_box clip, lb_box box, lb_plane **out)
{
    lb_box inner = lb_box_intersect(clip, box);
    lb_plane *part = NULL;
    lb_status status;

    if (lb_box_equal(inner, box) && lb_box_equal(box, lb_plane_box(plane))) {
        *out = lb_plane_ref(plane);
        return LB_OK;
    }
    if (lb_box_is_empty(inner))
        return lb_plane_new_constant(box, 0, out);
    if (lb_box_equal(inner, lb_box_intersect(lb_plane_box(plane), box))) /* clips nothing more */
        return lb_plane_cut(plane, box, out);
    if ((status = lb_plane_cut(plane, inner, &part)) == LB_OK)
        status = lb_plane_cut(part, box, out);
    lb_plane_unref(&part);
    return status;
}

/* Adds what a kept member passes on. */
static lb_status add_passed(const lb_points_member *of, const member *m)
{
    lb_status status = LB_OK;

    for (int32_t c = 0; c < of->desc->channels->count && status == LB_OK; c++) {
        const source *from = &m->passed[c];
        lb_plane *plane = NULL;

        if (!(of->channels >> c & 1) || index_of_made(of->use, c) >= 0)
            continue;
        if (m->copies[c])
            plane = lb_plane_ref(m->copies[c]);
        else if (from->kind == SOURCE_PLANE)
            status = cut_clipped(from->plane, from->clip, of->box, &plane);
        else if (from->kind == SOURCE_ONES && lb_box_contains(from->clip, of->box))
            status = lb_plane_new_constant(of->box, 1, &plane);
        else if (from->kind == SOURCE_ONES) {
            lb_plane *ones = NULL;

            status = lb_plane_new_constant(lb_box_intersect(from->clip, of->box), 1, &ones);
            if (status == LB_OK)
                status = lb_plane_cut(ones, of->box, &plane);
            lb_plane_unref(&ones);
        } else
            status = lb_plane_new_constant(of->box, 0, &plane);
        if (status == LB_OK)
            status = lb_image_add(of->image, of->desc->channels->names[c], plane);
        lb_plane_unref(&plane);
    }
    return status;
}

static lb_status set_up(points_run *run, lb_points_member *members)
{
    lb_status status = LB_OK;

    run->arena = lb_arena_new();
    run->members =
        run->arena ? lb_arena_alloc(run->arena, (size_t)run->count, sizeof(member)) : NULL;
    if (!run->members)
        return LB_MEMORY;
    for (int32_t i = 0; i < run->count && status == LB_OK; i++) {
        member *m = &run->members[i];

        m->of = &members[i];
        if (members[i].use->tap_count >= run->tap_rows)
            run->tap_rows = members[i].use->tap_count + 1; /* one at least, for passed channels */
        for (int32_t k = 0; k < LB_MAX_MADE; k++)
            m->last_use[k] = -1;
        if (members[i].kept && !lb_box_is_empty(members[i].box)) {
            run->box = lb_box_unite(run->box, members[i].box);
            status = make_image(&members[i], m);
        }
    }
    return status == LB_OK ? find_all(run) : status;
}

/* True if a pixel has to be made at all: else everything passes. */
static bool has_work(const points_run *run)
{
    for (int32_t i = 0; i < run->count; i++)
        if (run->members[i].of->use->made_count > 0)
            return true;
    return false;
}

static lb_status go_through(points_run *run)
{
    int32_t width = lb_box_width(run->box), workers = lb_pool_threads(run->pool);
    int32_t rows = BAND_PIXELS / (width > 0 ? width : 1);
    size_t floats, all;
    lb_status status;

    if (!has_work(run) || lb_box_is_empty(run->box))
        return LB_OK;
    run->pieces = (width - 1) / LB_SPAN_MOST + 1;
    run->piece = ((width - 1) / run->pieces / 16 + 1) * 16;
    run->stride = (size_t)(run->row_count + run->tap_rows) * LB_SPAN_MOST;
    if (!lb_size_mul(run->stride, (size_t)workers, &floats) ||
        !lb_size_mul(floats, sizeof(float), &all))
        return LB_MEMORY;
    run->scratch = lb_block_new(all);
    run->seconds = lb_alloc((size_t)workers * (size_t)run->count, sizeof(double));
    status = run->scratch && run->seconds ? lb_pool_for(run->pool, lb_box_height(run->box),
                                                        rows > 1 ? rows : 1, run_rows, run)
                                          : LB_MEMORY;
    lb_block_free(run->scratch);
    return status;
}

/* How the time divides among the members, from the rows that were timed. */
static void share_time(const points_run *run, lb_points_member *members)
{
    double sum = 0;

    for (int32_t i = 0; i < run->count; i++) {
        members[i].share = 0;
        for (int32_t w = 0; run->seconds && w < lb_pool_threads(run->pool); w++)
            members[i].share += run->seconds[w * run->count + i];
        sum += members[i].share;
    }
    for (int32_t i = 0; i < run->count; i++)
        members[i].share = sum > 0 ? members[i].share / sum : 1.0 / run->count;
}

lb_status lb_points_run(lb_pool *pool, lb_points_member *members, int32_t count)
{
    points_run run = {.pool = pool, .count = count};
    lb_status status = set_up(&run, members);

    if (status == LB_OK)
        status = go_through(&run);
    for (int32_t i = 0; i < count && status == LB_OK; i++)
        if (members[i].image)
            status = add_passed(&members[i], &run.members[i]);
    share_time(&run, members);
    for (int32_t i = 0; run.members && i < count; i++)
        for (int32_t c = 0; run.members[i].copies && c < members[i].desc->channels->count; c++)
            lb_plane_unref(&run.members[i].copies[c]);
    for (int32_t i = 0; i < count && status != LB_OK; i++)
        if (members[i].image)
            lb_image_unref(&members[i].image);
    lb_free(run.seconds);
    lb_arena_free(&run.arena);
    return status;
}
