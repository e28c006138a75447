/* engine/image/defocus.c
 *
 * Method (docs/methods.md): every pixel is scattered over the exact disc of its circle of
 * confusion, in slices of equal blur from front to back (defocus_sources.h, defocus_discs.h,
 * defocus_tile.h). A slice takes the room that those before it left, so what is sharp in front
 * keeps what is behind it out, and a blurred edge in front lets through what it does not cover;
 * what that uncovers is estimated (defocus_hidden.c). Where all slices leave room, because what is
 * behind a sharp edge is not in the picture, the result is divided by what there is. */
#include "engine/image/defocus.h"

#include <math.h>
#include <string.h>

#include "engine/base/math.h"
#include "engine/image/convolve.h"
#include "engine/image/defocus_tile.h"
#include "engine/image/extend.h"

#define MOST_RADIUS 512.0

static double limited(double max_radius)
{
    return max_radius > 0 ? fmin(max_radius, MOST_RADIUS) : 0; /* NaN is 0 */
}

/* A few pixels more than the disc, for squares that are spread as one. */
int32_t lb_defocus_spread(double max_radius)
{
    return (int32_t)ceil(limited(max_radius)) + 8;
}

int32_t lb_defocus_reach(double max_radius)
{
    return lb_defocus_spread(max_radius) + lb_defocus_hidden_reach(limited(max_radius));
}

/* The next code, so that no radius is cut to it, nor the mean of some. */
double lb_defocus_max_radius(double radius)
{
    return radius < MOST_RADIUS ? lb_disc_code_radius(lb_disc_code((float)radius) + 1)
                                : MOST_RADIUS;
}

struct defocus {
    lb_defocus_sources sources;
    lb_discs discs;
    lb_near near;
    double *radii; /* by code */
    lb_box in, box;
    int32_t across; /* tiles */
    void **memory;  /* of each worker's tiles; NULL: not yet */
    lb_plane **out;
};

/* Part of a circle of that radius to one side of a line `distance` from its middle. */
static double beyond(double radius, double distance)
{
    double u = distance / radius;

    if (u >= 1)
        return 0;
    return (lb_acos(u) - u * sqrt(1 - u * u)) / LB_PI;
}

/* How much of the disc of a pixel lies on the picture. */
static double share_inside(const struct defocus *job, int32_t x, int32_t y)
{
    const lb_defocus_sources *s = &job->sources;
    uint32_t code = s->code[lb_defocus_at(s, x, y)] & LB_DEFOCUS_CODE;
    double r = job->radii[code];
    double left = x + 0.5 - job->in.x0, right = job->in.x1 - x - 0.5;
    double up = y + 0.5 - job->in.y0, down = job->in.y1 - y - 0.5;
    double across = fmin(left, right), along = fmin(up, down);

    if (!code || (across >= r && along >= r))
        return 1;
    if (along >= r)
        return 1 - beyond(r, left) - beyond(r, right);
    if (across >= r)
        return 1 - beyond(r, up) - beyond(r, down);
    return (lb_disc_area(r, 0, left, 0, up) + lb_disc_area(r, 0, right, 0, up) +
            lb_disc_area(r, 0, left, 0, down) + lb_disc_area(r, 0, right, 0, down)) /
           (LB_PI * r * r);
}

static void store_tile(const struct defocus *job, const lb_defocus_tile *tile)
{
    lb_box inside = lb_box_intersect(tile->box, job->in);

    for (int32_t y = tile->box.y0; y < tile->box.y1; y++) {
        const lb_lanes *total = tile->total + (ptrdiff_t)(y - tile->box.y0) * LB_DEFOCUS_TILE_WIDTH;
        bool row_inside = y >= inside.y0 && y < inside.y1;
        float *rows[4];

        for (int c = 0; c < 4; c++)
            rows[c] = lb_plane_row_to_fill(job->out[c], y) - job->box.x0;
        for (int32_t x = tile->box.x0; x < tile->box.x1; x++, total++) {
            double covered = (*total)[4], scale = 1;

            if (covered > 1e-7 && covered < 1 - 1e-6 && row_inside && x >= inside.x0 &&
                x < inside.x1)
                scale = fmax(share_inside(job, x, y) / covered, 1);
            for (int c = 0; c < 4; c++)
                rows[c][x] = (float)((*total)[c] * scale);
        }
    }
}

static void copy_tile(const struct defocus *job, lb_box box)
{
    for (int c = 0; c < 4; c++)
        for (int32_t y = box.y0; y < box.y1; y++)
            lb_plane_copy_row(job->sources.color[c], LB_EDGE_TRANSPARENT, y, box.x0, box.x1,
                              lb_plane_row_to_fill(job->out[c], y) + (box.x0 - job->box.x0));
}

static void clear_tile(const struct defocus *job, lb_box box)
{
    for (int c = 0; c < 4; c++)
        for (int32_t y = box.y0; y < box.y1; y++)
            memset(lb_plane_row_to_fill(job->out[c], y) + (box.x0 - job->box.x0), 0,
                   (size_t)lb_box_width(box) * sizeof(float));
}

static lb_status run_tile(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const struct defocus *job = context;
    lb_defocus_tile tile = {.sources = &job->sources, .discs = &job->discs, .near = &job->near};
    int32_t x = job->box.x0 + begin % job->across * LB_DEFOCUS_TILE_WIDTH;
    int32_t y = job->box.y0 + begin / job->across * LB_DEFOCUS_TILE_HEIGHT;
    lb_box box = {x, y, x + LB_DEFOCUS_TILE_WIDTH, y + LB_DEFOCUS_TILE_HEIGHT};

    (void)end;
    box = lb_box_intersect(box, job->box);
    switch (lb_defocus_fate_of(&job->sources, box)) {
    case LB_DEFOCUS_EMPTY:
        clear_tile(job, box);
        return LB_OK;
    case LB_DEFOCUS_SHARP:
        copy_tile(job, box);
        return LB_OK;
    default:
        break;
    }
    if (!job->memory[worker]) {
        if (!(job->memory[worker] = lb_block_new(lb_defocus_tile_bytes())))
            return LB_MEMORY;
        memset(job->memory[worker], 0, lb_defocus_tile_bytes());
    }
    lb_defocus_tile_begin(&tile, job->memory[worker], box);
    lb_defocus_tile_run(&tile);
    store_tile(job, &tile);
    return LB_OK;
}

static lb_status run_tiles(lb_pool *pool, struct defocus *job)
{
    int32_t workers = pool ? lb_pool_threads(pool) : 1;
    int32_t down = (lb_box_height(job->box) - 1) / LB_DEFOCUS_TILE_HEIGHT + 1;
    lb_status status;

    job->across = (lb_box_width(job->box) - 1) / LB_DEFOCUS_TILE_WIDTH + 1;
    if (!(job->memory = lb_alloc((size_t)workers, sizeof *job->memory)))
        return LB_MEMORY;
    status = lb_pool_for(pool, job->across * down, 1, run_tile, job);
    for (int32_t w = 0; w < workers; w++)
        lb_block_free(job->memory[w]);
    lb_free(job->memory);
    return status;
}

static lb_status run(lb_pool *pool, struct defocus *job, const lb_plane *const in[4],
                     const lb_plane *radius, double max_radius, lb_box wanted)
{
    lb_status status;

    if ((status = lb_defocus_sources_new(pool, in, radius, max_radius, wanted, &job->sources)) ||
        (status = lb_defocus_find_hidden(pool, &job->sources)) ||
        (status = lb_defocus_merge(pool, &job->sources)) ||
        (status = lb_defocus_map(pool, &job->sources)))
        return status;
    if (!(job->radii = lb_alloc((size_t)job->sources.codes, sizeof *job->radii)))
        return LB_MEMORY;
    for (int32_t code = 0; code < job->sources.codes; code++)
        job->radii[code] = lb_disc_code_radius(code);
    if ((status = lb_near_new(pool, job->sources.used, job->sources.codes, &job->near)) ||
        (status = lb_discs_new(pool, job->sources.used, LB_NEAR_CODES, job->sources.codes,
                               LB_DEFOCUS_TILE_STRIDE, &job->discs)))
        return status;
    return run_tiles(pool, job);
}

lb_status lb_defocus(lb_pool *pool, const lb_plane *const in[4], const lb_plane *radius,
                     double max_radius, lb_box box, lb_plane *out[4])
{
    struct defocus job = {.in = lb_plane_box(in[0]), .box = box, .out = out};
    const lb_plane *color[4] = {in[0], in[1], in[2], in[3]};
    int32_t reach = lb_defocus_reach(max_radius);
    lb_box wanted = lb_box_intersect(lb_box_grow(box, reach, reach), job.in);
    lb_plane *opaque = NULL;
    lb_status status = LB_OK;

    for (int c = 0; c < 4; c++)
        out[c] = NULL;
    for (int c = 0; c < 4; c++)
        if (in[c] && !lb_box_equal(lb_plane_box(in[c]), job.in))
            return LB_INVALID;
    if (!lb_box_is_empty(wanted) && !lb_box_contains(lb_plane_box(radius), wanted))
        return LB_INVALID;
    if (!in[3])
        status = lb_plane_new_constant(job.in, 1, &opaque);
    if (!in[3])
        color[3] = opaque;
    for (int c = 0; c < 4 && !status; c++)
        status =
            lb_box_is_empty(wanted) ? lb_plane_new(box, &out[c]) : lb_plane_new_raw(box, &out[c]);
    if (!status && !lb_box_is_empty(wanted))
        status = run(pool, &job, color, radius, limited(max_radius), wanted);
    lb_defocus_sources_clear(&job.sources);
    lb_discs_clear(&job.discs);
    lb_near_clear(&job.near);
    lb_free(job.radii);
    lb_plane_unref(&opaque);
    for (int c = 0; c < 4 && status; c++)
        lb_plane_unref(&out[c]);
    return status;
}

size_t lb_defocus_scratch(double max_radius, lb_box in, lb_box box, int32_t threads)
{
    int32_t reach = lb_defocus_reach(max_radius);
    int32_t codes = lb_disc_code((float)limited(max_radius)) + 1;
    lb_box wanted = lb_box_intersect(lb_box_grow(box, reach, reach), in);
    size_t tiles = ((size_t)lb_box_width(box) / LB_DEFOCUS_TILE_WIDTH + 1) *
                   ((size_t)lb_box_height(box) / LB_DEFOCUS_TILE_HEIGHT + 1);
    size_t workers = threads > 1 ? (size_t)threads : 1;

    if (lb_box_is_empty(wanted) || lb_box_is_empty(box))
        return 0;
    if (codes == 1) /* all is in focus */
        tiles = 0;
    return lb_defocus_sources_bytes(wanted, limited(max_radius)) +
           (tiles < workers ? tiles : workers) * lb_defocus_tile_bytes() +
           workers * sizeof(void *) + lb_near_bytes() + lb_discs_bytes(limited(max_radius)) +
           (size_t)codes * sizeof(double);
}
