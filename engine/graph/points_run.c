/* engine/graph/points_run.c: runs of operators that work pixel by pixel.
 *
 * The frame is gone through in pieces of rows. For each piece the members are called one after the
 * other; what a member makes goes into a row of scratch memory that the next ones read, or, if
 * somebody outside wants it, straight into a plane of the result. */
#include <string.h>

#include "engine/graph/points_find.h"

#define BAND_PIXELS 32768 /* of a piece of work for a thread: many spans, some milliseconds */
#define LINE_FLOATS 16    /* of a cache line */

typedef struct points_run {
    lb_pool *pool;
    lb_arena *arena;
    lb_found *members;
    lb_plane ***copies; /* a member, a channel: planes for what a kept member passes on of rows */
    int32_t count;
    int32_t row_count;        /* scratch rows */
    lb_box box;               /* of all that is kept */
    int32_t piece, pieces;    /* pixels of a span, and how many a row has */
    int32_t tap_rows;         /* for taps that leave their clip */
    float *scratch;           /* row_count + tap_rows rows a worker */
    size_t stride;            /* floats a worker */
    double *seconds;          /* count a worker: time of the members in sampled rows */
    const lb_plane **touched; /* planes that several members read and make, each once */
    int32_t touched_count;
} points_run;

/* Planes of what a kept member makes, and an image for them. */
static lb_status make_image(lb_points_member *of, lb_found *m)
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

/* Planes for the channels that a kept member passes on and that another one makes into a row. */
static lb_status make_copies(points_run *run, int32_t at)
{
    const lb_points_member *of = run->members[at].of;
    int32_t count = of->desc->channels->count;
    lb_status status = LB_OK;

    run->copies[at] = lb_arena_alloc(run->arena, (size_t)count + 1, sizeof(lb_plane *));
    if (!run->copies[at])
        return LB_MEMORY;
    for (int32_t c = 0; c < count && status == LB_OK; c++)
        if ((of->channels >> c & 1) && lb_points_made(of->use, c) < 0 &&
            run->members[at].channels[c].kind == LB_SOURCE_ROW)
            status = lb_plane_new_raw(of->box, &run->copies[at][c]);
    return status;
}

/* The pixels of a source in a span: where they lie, or, where the span leaves its clip, in
 * `spare` with zeros around. */
static const float *row_of(const points_run *run, const lb_source_of *from, const float *scratch,
                           const lb_span *span, int32_t x0, float *spare)
{
    int32_t begin = span->x, end = span->x + span->count;
    const float *row;

    if (from->kind == LB_SOURCE_ZERO || span->y < from->clip.y0 || span->y >= from->clip.y1 ||
        from->clip.x0 >= end || from->clip.x1 <= begin)
        return scratch + LB_ROW_ZEROS * LB_SPAN_MOST;
    begin = from->clip.x0 > begin ? from->clip.x0 : begin;
    end = from->clip.x1 < end ? from->clip.x1 : end;
    if (from->kind == LB_SOURCE_PLANE)
        row = lb_plane_row(from->plane, span->y) + (begin - lb_plane_box(from->plane).x0);
    else if (from->kind == LB_SOURCE_ONE)
        row = scratch + LB_ROW_ONES * LB_SPAN_MOST;
    else /* rows of scratch begin where the piece begins */
        row = scratch + run->members[from->maker].rows[from->made] * LB_SPAN_MOST + (begin - x0);
    if (end - begin == span->count)
        return row;
    memset(spare, 0, (size_t)span->count * sizeof *spare);
    memcpy(spare + (begin - span->x), row, (size_t)(end - begin) * sizeof *spare);
    return spare;
}

/* One member in one piece of a row: its part of it, and what it passes on of others' rows. */
static void run_member(const points_run *run, int32_t at, float *scratch, int32_t x0, int32_t x1,
                       int32_t y)
{
    const lb_found *m = &run->members[at];
    const lb_points_member *of = m->of;
    lb_plane **copies = run->copies[at];
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
            taps[i] = row_of(run, &m->taps[i], scratch, &span, x0, spare + i * LB_SPAN_MOST);
        for (int32_t i = 0; i < of->use->made_count; i++)
            made[i] = m->planes[i] ? lb_plane_row_to_fill(m->planes[i], y) + (span.x - of->box.x0)
                                   : scratch + m->rows[i] * LB_SPAN_MOST + (span.x - x0);
        of->call->op->points->span(of->call, of->use->state, &span);
    }
    for (int32_t c = 0; copies && c < of->desc->channels->count; c++)
        if (copies[c])
            memcpy(lb_plane_row_to_fill(copies[c], y) + (span.x - of->box.x0),
                   row_of(run, &m->channels[c], scratch, &span, x0, spare),
                   (size_t)span.count * sizeof *spare);
}

/* Where the piece that begins at x0 ends. */
static int32_t piece_end(const points_run *run, int32_t x0)
{
    return run->box.x1 - x0 < run->piece ? run->box.x1 : x0 + run->piece;
}

/* Asks for what the piece from x0 on will need, some planes at each member's turn. A member by
 * itself goes along its rows and the hardware sees it coming; of several each begins anew in every
 * piece, when the others have had their turn. */
static void fetch_ahead(const points_run *run, int32_t turn, int32_t x0, int32_t y)
{
    for (int32_t i = turn; i < run->touched_count; i += run->count) {
        lb_box box = lb_plane_box(run->touched[i]);
        int32_t begin = x0 > box.x0 ? x0 : box.x0;
        int32_t end = piece_end(run, x0) < box.x1 ? piece_end(run, x0) : box.x1;
        const float *row;

        if (y < box.y0 || y >= box.y1)
            continue;
        row = lb_plane_row(run->touched[i], y);
        for (int32_t x = begin; x < end; x += LINE_FLOATS)
            __builtin_prefetch(row + (x - box.x0));
    }
}

static lb_status run_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const points_run *run = context;
    float *scratch = run->scratch + (size_t)worker * run->stride;
    double *seconds = run->seconds + (size_t)worker * (size_t)run->count;

    for (int32_t x = 0; x < LB_SPAN_MOST; x++)
        scratch[LB_ROW_ONES * LB_SPAN_MOST + x] = 1.0f;
    memset(scratch + LB_ROW_ZEROS * LB_SPAN_MOST, 0, LB_SPAN_MOST * sizeof *scratch);
    for (int32_t y = run->box.y0 + begin; y < run->box.y0 + end; y++)
        for (int32_t p = 0; p < run->pieces; p++) {
            int32_t x0 = run->box.x0 + p * run->piece;
            int32_t x1 = piece_end(run, x0);
            bool sampled = y == run->box.y0 + begin && run->count > 1;
            bool last = p == run->pieces - 1;
            double then = sampled ? lb_clock_s() : 0;

            for (int32_t i = 0; i < run->count; i++) {
                if (!last || y + 1 < run->box.y0 + end)
                    fetch_ahead(run, i, last ? run->box.x0 : x1, last ? y + 1 : y);
                run_member(run, i, scratch, x0, x1, y);
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
static lb_status add_passed(const lb_points_member *of, const lb_found *m, lb_plane **copies)
{
    lb_status status = LB_OK;

    for (int32_t c = 0; c < of->desc->channels->count && status == LB_OK; c++) {
        const lb_source_of *from = &m->channels[c];
        lb_plane *plane = NULL, *ones = NULL;

        if (!(of->channels >> c & 1) || lb_points_made(of->use, c) >= 0)
            continue;
        if (copies[c]) {
            plane = lb_plane_ref(copies[c]);
        } else if (from->kind == LB_SOURCE_PLANE) {
            status = cut_clipped(from->plane, from->clip, of->box, &plane);
        } else if (from->kind == LB_SOURCE_ONE && !lb_box_is_empty(from->clip)) {
            if ((status = lb_plane_new_constant(from->clip, 1, &ones)) == LB_OK)
                status = cut_clipped(ones, from->clip, of->box, &plane);
        } else {
            status = lb_plane_new_constant(of->box, 0, &plane);
        }
        if (status == LB_OK)
            status = lb_image_add(of->image, of->desc->channels->names[c], plane);
        lb_plane_unref(&plane);
        lb_plane_unref(&ones);
    }
    return status;
}

static void note_touched(points_run *run, const lb_plane *plane)
{
    for (int32_t i = 0; i < run->touched_count; i++)
        if (run->touched[i] == plane)
            return;
    if (plane && lb_plane_stride(plane) != 0)
        run->touched[run->touched_count++] = plane;
}

/* Of a run of several. */
static lb_status find_touched(points_run *run)
{
    size_t most = 0;

    for (int32_t at = 0; at < run->count; at++)
        most += (size_t)run->members[at].of->use->tap_count +
                (size_t)run->members[at].of->use->made_count;
    if (!(run->touched = lb_arena_alloc(run->arena, most + 1, sizeof *run->touched)))
        return LB_MEMORY;
    for (int32_t at = 0; at < run->count; at++) {
        const lb_found *m = &run->members[at];

        for (int32_t i = 0; i < m->of->use->tap_count; i++)
            note_touched(run, m->taps[i].plane);
        for (int32_t i = 0; i < m->of->use->made_count; i++)
            note_touched(run, m->planes[i]);
    }
    return LB_OK;
}

/* Room for what belongs to one member. */
static lb_status set_up_member(points_run *run, int32_t at, lb_points_member *of)
{
    lb_found *m = &run->members[at];
    size_t made = (size_t)of->use->made_count + 1;

    m->of = of;
    m->rows = lb_arena_alloc(run->arena, made, sizeof *m->rows);
    m->planes = lb_arena_alloc(run->arena, made, sizeof(lb_plane *));
    m->last_use = lb_arena_alloc(run->arena, made, sizeof *m->last_use);
    if (!m->rows || !m->planes || !m->last_use)
        return LB_MEMORY;
    if (of->use->tap_count >= run->tap_rows)
        run->tap_rows = of->use->tap_count + 1; /* one at least, for passed channels */
    if (!of->kept || lb_box_is_empty(of->box))
        return LB_OK;
    run->box = lb_box_unite(run->box, of->box);
    return make_image(of, m);
}

static lb_status set_up(points_run *run, lb_points_member *members)
{
    size_t count = (size_t)run->count;
    lb_status status = LB_OK;

    run->arena = lb_arena_new();
    if (!run->arena || !(run->members = lb_arena_alloc(run->arena, count, sizeof(lb_found))) ||
        !(run->copies = lb_arena_alloc(run->arena, count, sizeof(lb_plane **))))
        return LB_MEMORY;
    for (int32_t i = 0; i < run->count && status == LB_OK; i++)
        status = set_up_member(run, i, &members[i]);
    if (status == LB_OK)
        status = lb_points_find(run->arena, run->members, run->count, &run->row_count);
    for (int32_t i = 0; i < run->count && status == LB_OK; i++)
        if (members[i].image)
            status = make_copies(run, i);
    return status == LB_OK && run->count > 1 ? find_touched(run) : status;
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
            status = add_passed(&members[i], &run.members[i], run.copies[i]);
    share_time(&run, members);
    for (int32_t i = 0; run.copies && i < count; i++)
        for (int32_t c = 0; run.copies[i] && c < members[i].desc->channels->count; c++)
            lb_plane_unref(&run.copies[i][c]);
    for (int32_t i = 0; i < count && status != LB_OK; i++)
        if (members[i].image)
            lb_image_unref(&members[i].image);
    lb_free(run.seconds);
    lb_arena_free(&run.arena);
    return status;
}
