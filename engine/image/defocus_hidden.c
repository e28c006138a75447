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
#define PARTS 5 /* r, g, b, a, signed radius */

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

/* One octave at work. What is known (1: farther back, 0: not) has a pyramid as it was averaged and
 * is then filled itself; the parts follow one by one, so that few planes are there at a time. */
struct hidden {
    lb_defocus_sources *s;
    int32_t first_slice; /* of this octave; two */
    int32_t levels;
    lb_box box;
    lb_plane *known[MOST_LEVELS + 1]; /* as averaged */
    lb_plane *level[MOST_LEVELS + 1]; /* of the part at hand, or of what is known */
    lb_plane *filled;                 /* level 0 of what is known */
    const lb_plane *coarse;           /* while filling: the level above, made as fine as `level` */
    int32_t part, at;                 /* while making: PARTS is what is known; which level */
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

/* What is farther back, 0 elsewhere. */
LB_CLONES
static void mask_row(const uint8_t *restrict slice, int32_t behind, const float *restrict in,
                     float *restrict out, int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        out[x] = slice[x] >= behind ? in[x] : 0.0f;
}

static void known_row(const uint8_t *restrict slice, int32_t behind, float *restrict out,
                      int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        out[x] = slice[x] >= behind ? 1.0f : 0.0f;
}

LB_CLONES
static void limit_row(float *row, float most, int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        row[x] = row[x] > most ? most : row[x] >= -most ? row[x] : 0.0f;
}

/* Level 0. */
static lb_status mask_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const struct hidden *job = context;
    const lb_defocus_sources *s = job->s;
    const lb_plane *plane = job->part < 4 ? s->color[job->part] : s->radius;
    int32_t behind = job->first_slice + 2, width = lb_box_width(job->box);

    (void)worker;
    for (int32_t y = job->box.y0 + begin; y < job->box.y0 + end; y++) {
        const uint8_t *slice = s->slice + lb_defocus_at(s, job->box.x0, y);
        float *out = lb_plane_row_to_fill(job->level[0], y);

        if (job->part == PARTS)
            known_row(slice, behind, out, width);
        else
            mask_row(slice, behind, row_of(plane, job->box.x0, y), out, width);
        if (job->part == 4)
            limit_row(out, (float)s->max_radius, width);
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
    lb_plane *fine = job->level[job->at];
    lb_box box = lb_plane_box(fine);

    (void)worker;
    for (int32_t y = box.y0 + begin; y < box.y0 + end; y++) {
        const float *known = lb_plane_row(job->known[job->at], y);
        float *value = lb_plane_row_to_fill(fine, y);

        if (job->coarse)
            fill_row(value, known, lb_plane_row(job->coarse, y), lb_box_width(box));
        else if (job->part < PARTS)
            trust_row(value, known, lb_box_width(box));
        else
            for (int32_t x = 0; x < lb_box_width(box); x++)
                value[x] = value[x] < 1e-3f ? value[x] * 1e3f : 1.0f;
    }
    return LB_OK;
}

static lb_status copy_plane(const lb_plane *in, lb_plane **out)
{
    lb_box box = lb_plane_box(in);
    lb_status status = lb_plane_new_raw(box, out);

    for (int32_t y = box.y0; y < box.y1 && !status; y++)
        memcpy(lb_plane_row_to_fill(*out, y), lb_plane_row(in, y),
               (size_t)lb_box_width(box) * sizeof(float));
    return status;
}

static void clear_levels(struct hidden *job)
{
    for (int32_t l = 0; l <= job->levels; l++)
        lb_plane_unref(&job->level[l]);
}

/* A part down the pyramid and up again; level[0] is what comes out. */
static lb_status fill_part(lb_pool *pool, struct hidden *job, int32_t part)
{
    lb_status status = lb_plane_new_raw(job->box, &job->level[0]);
    lb_box box = job->box;

    job->part = part;
    if (!status)
        status = lb_pool_for(pool, lb_box_height(box), GRAIN, mask_rows, job);
    for (int32_t l = 0; l < job->levels && !status; l++) {
        box = lb_halving_holds(halving, box, LB_EDGE_TRANSPARENT);
        status = lb_plane_halve(pool, job->level[l], LB_EDGE_TRANSPARENT, halving, box,
                                &job->level[l + 1]);
    }
    for (int32_t l = 0; l <= job->levels && !status && part == PARTS; l++)
        status = copy_plane(job->level[l], &job->known[l]);
    for (int32_t l = job->levels; l >= 0 && !status; l--) {
        lb_plane *made = NULL;

        job->at = l;
        box = lb_plane_box(job->level[l]);
        if (l < job->levels)
            status =
                lb_plane_double(pool, job->level[l + 1], LB_EDGE_TRANSPARENT, halving, box, &made);
        job->coarse = made;
        if (!status)
            status = lb_pool_for(pool, lb_box_height(box), GRAIN, fill_rows, job);
        lb_plane_unref(&made);
        if (l < job->levels)
            lb_plane_unref(&job->level[l + 1]);
    }
    return status;
}

#define RUN 256 /* pixels that are looked at together */

/* What is known of a pixel counts in full from a quarter on: it fades where nothing is near. */
static inline float share_of(float known)
{
    return known > 0.25f ? 1 : 4 * known;
}

/* -1: one of the octave's own pixels, and something is known of what it hides. */
LB_CLONES
static void find_own(const uint8_t *restrict slice, int32_t first, const float *restrict known,
                     int32_t *restrict own, int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        own[x] = (slice[x] == first || slice[x] == first + 1) && known[x] >= 1e-3f ? -1 : 0;
}

LB_CLONES
static void keep_run(const int32_t *restrict own, const float *restrict known,
                     const float *restrict value, float *restrict out, int32_t count)
{
    for (int32_t x = 0; x < count; x++) {
        float here = value[x] / known[x] * share_of(known[x]);

        out[x] = own[x] ? here : out[x];
    }
}

/* How far what is hidden is spread, and in which slice. */
static void keep_radii(const struct hidden *job, const int32_t *own, const float *known,
                       const float *value, float *out, size_t at, int32_t count)
{
    lb_defocus_sources *s = job->s;
    int32_t codes[RUN], least = job->first_slice + 2;
    float radius[RUN];

    for (int32_t x = 0; x < count; x++)
        radius[x] = own[x] ? value[x] / known[x] : 0;
    lb_disc_code_row(radius, (float)s->max_radius, codes, count);
    for (int32_t x = 0; x < count; x++) {
        int32_t slice = lb_slice_of(s->slices, codes[x], radius[x] < 0);

        if (!own[x])
            continue;
        out[x] = share_of(known[x]);
        s->hidden_code[at + (size_t)x] = (uint16_t)codes[x];
        s->hidden_slice[at + (size_t)x] = (uint8_t)(slice < least ? least : slice);
    }
}

/* The octave's own pixels take what level 0 holds now. */
static lb_status keep_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const struct hidden *job = context;
    lb_defocus_sources *s = job->s;
    lb_box box = lb_box_intersect(job->box, s->hidden_box);

    (void)worker;
    for (int32_t y = job->box.y0 + begin; y < job->box.y0 + end; y++)
        for (int32_t x = box.x0; x < box.x1 && y >= box.y0 && y < box.y1; x += RUN) {
            int32_t own[RUN], count = box.x1 - x < RUN ? box.x1 - x : RUN;
            size_t at = lb_defocus_at(s, x, y);
            const float *known = row_of(job->filled, x, y), *value = row_of(job->level[0], x, y);
            float *out = lb_plane_row_to_fill(s->hidden[job->part], y) + (x - s->hidden_box.x0);

            find_own(s->slice + at, job->first_slice, known, own, count);
            if (job->part < 4)
                keep_run(own, known, value, out, count);
            else
                keep_radii(job, own, known, value, out, at, count);
        }
    return LB_OK;
}

static lb_status run_octave(lb_pool *pool, struct hidden *job)
{
    lb_status status = fill_part(pool, job, PARTS);

    job->filled = job->level[0];
    job->level[0] = NULL;
    for (int32_t part = 0; part < PARTS && !status; part++) {
        if (!(status = fill_part(pool, job, part)))
            status = lb_pool_for(pool, lb_box_height(job->box), GRAIN, keep_rows, job);
        clear_levels(job);
    }
    clear_levels(job);
    lb_plane_unref(&job->filled);
    for (int32_t l = 0; l <= job->levels; l++)
        lb_plane_unref(&job->known[l]);
    return status;
}

static lb_status make_room(lb_defocus_sources *s)
{
    size_t pixels = s->stride * (size_t)lb_box_height(s->box);
    lb_status status = LB_OK;

    s->hidden_code = lb_block_new(pixels * sizeof *s->hidden_code);
    s->hidden_slice = lb_block_new(pixels * sizeof *s->hidden_slice);
    if (!s->hidden_code || !s->hidden_slice)
        return LB_MEMORY;
    memset(s->hidden_slice, LB_NO_SLICE, pixels);
    for (int c = 0; c < 5 && !status; c++)
        status = lb_plane_new_raw(s->hidden_box, &s->hidden[c]);
    return status;
}

lb_status lb_defocus_find_hidden(lb_pool *pool, lb_defocus_sources *s)
{
    lb_box own[MOST_LEVELS + 1];
    int32_t octaves = octaves_of(s->max_radius);
    lb_status status = LB_OK;

    s->hidden_box = (lb_box){0};
    for (int32_t octave = 0; octave < octaves; octave++) {
        /* With an odd count of half octaves the widest has only one: slice -1 never occurs. */
        own[octave] = box_of_slices(s, s->slices.side - 2 - 2 * octave);
        s->hidden_box = lb_box_unite(s->hidden_box, own[octave]);
    }
    if (lb_box_is_empty(s->hidden_box))
        return LB_OK;
    status = make_room(s);
    for (int32_t octave = octaves - 1; octave >= 0 && !status; octave--) {
        struct hidden job = {
            .s = s, .first_slice = s->slices.side - 2 - 2 * octave, .levels = levels_of(octave)};
        int32_t support = support_of(octave);

        if (lb_box_is_empty(own[octave]))
            continue;
        job.box = lb_box_intersect(lb_box_grow(own[octave], support, support), s->box);
        status = run_octave(pool, &job);
    }
    return status;
}
