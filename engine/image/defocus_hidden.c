/* engine/image/defocus_hidden.c: what stands behind a blurred edge.
 *
 * A picture has no pixels for what something in front hides, but once that is blurred its edge lets
 * it through. An estimate is enough: the surroundings, near ones before far ones. For each octave
 * of radius in front of the focus, the pixels that are at least an octave farther back are averaged
 * down a pyramid, and going up again every level fills what the finer one does not know. */
#include <math.h>
#include <string.h>

#include "engine/base/clones.h"
#include "engine/base/memory.h"
#include "engine/image/defocus_sources.h"
#include "engine/image/pyramid.h"

#define GRAIN 32
#define MOST_LEVELS 12
#define PARTS 6 /* r, g, b, a, signed radius, how much is known */
#define KNOWN 5

static const lb_halving halving = {{3, 3}};

/* Octave `a` has radii from 2^(a - 1) to 2^a; a level of the pyramid per doubling. */
static int32_t levels_of(int32_t octave)
{
    return octave < 1 ? 1 : octave;
}

static int32_t support_of(int32_t octave)
{
    return 3 << levels_of(octave); /* 1.5 samples of every level, down and up */
}

static int32_t octaves_of(double max_radius)
{
    return lb_disc_code((float)max_radius) / LB_DISC_STEPS_PER_OCTAVE + 1;
}

int32_t lb_defocus_hidden_reach(double max_radius)
{
    return support_of(octaves_of(max_radius) - 1);
}

struct hidden {
    lb_defocus_sources *s;
    int32_t first_slice; /* of this octave; two */
    lb_box box;
    lb_plane *level[MOST_LEVELS + 1][PARTS];
    lb_plane *const *coarse; /* while filling: the level above, made as fine as `fine` */
    lb_plane **fine;
};

/* The smallest box around the pixels of an octave's slices. */
static lb_box box_of_slices(const lb_defocus_sources *s, int32_t first)
{
    uint64_t slices = (first >= 0 ? (uint64_t)1 << first : 0) | (uint64_t)1 << (first + 1);
    lb_box around = {0};

    for (int32_t y = s->box.y0; y < s->box.y1; y++) {
        const uint8_t *slice = s->slice + lb_defocus_at(s, s->box.x0, y);
        int32_t width = lb_box_width(s->box), x0 = 0, x1 = width;

        if (!(s->rows[y - s->box.y0] & slices))
            continue;
        while (x0 < width && slice[x0] != first && slice[x0] != first + 1)
            x0++;
        while (x1 > x0 && slice[x1 - 1] != first && slice[x1 - 1] != first + 1)
            x1--;
        if (x0 < x1)
            around = lb_box_unite(around, (lb_box){s->box.x0 + x0, y, s->box.x0 + x1, y + 1});
    }
    return around;
}

static const float *row_of(const lb_plane *plane, int32_t x, int32_t y)
{
    return lb_plane_row(plane, y) + (x - lb_plane_box(plane).x0);
}

/* Level 0: the pixels farther back, 0 elsewhere. */
static lb_status mask_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const struct hidden *job = context;
    const lb_defocus_sources *s = job->s;
    int32_t behind = job->first_slice + 2;

    (void)worker;
    for (int32_t y = job->box.y0 + begin; y < job->box.y0 + end; y++) {
        const uint8_t *slice = s->slice + lb_defocus_at(s, job->box.x0, y);

        for (int c = 0; c < PARTS; c++) {
            const lb_plane *plane = c < 4 ? s->color[c] : s->radius;
            const float *in = row_of(plane, job->box.x0, y);
            float *out = lb_plane_row_to_fill(job->level[0][c], y);
            float most = (float)s->max_radius;

            for (int32_t x = 0; x < lb_box_width(job->box); x++) {
                float value = in[x];

                if (c == KNOWN)
                    value = 1;
                else if (c == KNOWN - 1)
                    value = value > most ? most : value >= -most ? value : 0;
                out[x] = slice[x] >= behind ? value : 0;
            }
        }
    }
    return LB_OK;
}

/* The coarsest level knows everything that it knows anything of. */
LB_CLONES
static void trust_row(float *restrict value, const float *restrict known, int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        value[x] = value[x] / (known[x] > 1e-3f ? known[x] : 1e-3f);
}

LB_CLONES
static void fill_row(float *restrict value, const float *restrict known,
                     const float *restrict coarse, int32_t count)
{
    for (int32_t x = 0; x < count; x++) {
        float missing = 1.0f - known[x];

        value[x] += (missing > 0.0f ? missing : 0.0f) * coarse[x];
    }
}

static lb_status fill_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const struct hidden *job = context;
    lb_box box = lb_plane_box(job->fine[KNOWN]);

    (void)worker;
    for (int32_t y = box.y0 + begin; y < box.y0 + end; y++)
        for (int c = 0; c < PARTS; c++) { /* what is known comes last: the others look at it */
            const float *known = lb_plane_row(job->fine[KNOWN], y);
            float *value = lb_plane_row_to_fill(job->fine[c], y);

            if (!job->coarse) {
                if (c != KNOWN)
                    trust_row(value, known, lb_box_width(box));
                else
                    for (int32_t x = 0; x < lb_box_width(box); x++)
                        value[x] = value[x] < 1e-3f ? value[x] * 1e3f : 1.0f;
            } else if (c != KNOWN) {
                fill_row(value, known, lb_plane_row(job->coarse[c], y), lb_box_width(box));
            } else {
                const float *coarse = lb_plane_row(job->coarse[c], y);

                for (int32_t x = 0; x < lb_box_width(box); x++)
                    value[x] += fmaxf(1.0f - value[x], 0.0f) * coarse[x];
            }
        }
    return LB_OK;
}

static lb_status fill_level(lb_pool *pool, struct hidden *job, int32_t level, bool top)
{
    lb_plane *made[PARTS] = {NULL};
    lb_box box = lb_plane_box(job->level[level][KNOWN]);
    lb_status status = LB_OK;

    for (int c = 0; c < PARTS && !top && !status; c++)
        status = lb_plane_double(pool, job->level[level + 1][c], LB_EDGE_TRANSPARENT, halving, box,
                                 &made[c]);
    job->fine = job->level[level];
    job->coarse = top ? NULL : made;
    if (!status)
        status = lb_pool_for(pool, lb_box_height(box), GRAIN, fill_rows, job);
    for (int c = 0; c < PARTS; c++)
        lb_plane_unref(&made[c]);
    job->coarse = NULL;
    return status;
}

/* The octave's own pixels take what level 0 holds now. */
static lb_status keep_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const struct hidden *job = context;
    lb_defocus_sources *s = job->s;

    (void)worker;
    for (int32_t y = job->box.y0 + begin; y < job->box.y0 + end; y++) {
        size_t at = lb_defocus_at(s, job->box.x0, y);

        for (int32_t x = 0; x < lb_box_width(job->box); x++, at++) {
            float known = lb_plane_row(job->level[0][KNOWN], y)[x], share, radius;
            int32_t slice;

            if ((s->slice[at] != job->first_slice && s->slice[at] != job->first_slice + 1) ||
                known < 1e-3f)
                continue;
            share = known > 0.25f ? 1 : 4 * known; /* fades where nothing is near */
            for (int c = 0; c < 4; c++)
                lb_plane_row_to_fill(s->hidden[c], y)[job->box.x0 - s->box.x0 + x] =
                    lb_plane_row(job->level[0][c], y)[x] / known * share;
            lb_plane_row_to_fill(s->hidden[4], y)[job->box.x0 - s->box.x0 + x] = share;
            radius = lb_plane_row(job->level[0][4], y)[x] / known;
            s->hidden_code[at] = (uint16_t)lb_disc_code(fminf(fabsf(radius), (float)s->max_radius));
            slice = lb_slice_of(s->slices, s->hidden_code[at], radius < 0);
            s->hidden_slice[at] =
                (uint8_t)(slice < job->first_slice + 2 ? job->first_slice + 2 : slice);
        }
    }
    return LB_OK;
}

static lb_status run_octave(lb_pool *pool, struct hidden *job, int32_t levels)
{
    lb_status status = LB_OK;
    lb_box box = job->box;

    for (int c = 0; c < PARTS && !status; c++)
        status = lb_plane_new_raw(box, &job->level[0][c]);
    if (!status)
        status = lb_pool_for(pool, lb_box_height(box), GRAIN, mask_rows, job);
    for (int32_t l = 0; l < levels && !status; l++) {
        box = lb_halving_holds(halving, box, LB_EDGE_TRANSPARENT);
        for (int c = 0; c < PARTS && !status; c++)
            status = lb_plane_halve(pool, job->level[l][c], LB_EDGE_TRANSPARENT, halving, box,
                                    &job->level[l + 1][c]);
    }
    for (int32_t l = levels; l >= 0 && !status; l--)
        status = fill_level(pool, job, l, l == levels);
    if (!status)
        status = lb_pool_for(pool, lb_box_height(job->box), GRAIN, keep_rows, job);
    for (int32_t l = 0; l <= levels; l++)
        for (int c = 0; c < PARTS; c++)
            lb_plane_unref(&job->level[l][c]);
    return status;
}

static lb_status make_room(lb_defocus_sources *s)
{
    size_t pixels = s->stride * (size_t)lb_box_height(s->box);
    lb_status status = LB_OK;

    if (s->hidden_slice)
        return LB_OK;
    s->hidden_code = lb_block_new(pixels * sizeof *s->hidden_code);
    s->hidden_slice = lb_block_new(pixels * sizeof *s->hidden_slice);
    if (!s->hidden_code || !s->hidden_slice)
        return LB_MEMORY;
    memset(s->hidden_slice, LB_NO_SLICE, pixels);
    for (int c = 0; c < 5 && !status; c++)
        status = lb_plane_new_raw(s->box, &s->hidden[c]);
    return status;
}

lb_status lb_defocus_find_hidden(lb_pool *pool, lb_defocus_sources *s)
{
    lb_status status = LB_OK;

    for (int32_t octave = octaves_of(s->max_radius) - 1; octave >= 0 && !status; octave--) {
        struct hidden job = {.s = s, .first_slice = s->slices.side - 2 - 2 * octave};
        lb_box own;

        /* With an odd count of half octaves the widest has only one: slice -1 never occurs. */
        own = box_of_slices(s, job.first_slice);
        if (lb_box_is_empty(own))
            continue;
        job.box =
            lb_box_intersect(lb_box_grow(own, support_of(octave), support_of(octave)), s->box);
        if (!(status = make_room(s)))
            status = run_octave(pool, &job, levels_of(octave));
    }
    return status;
}
