/* engine/raster/project.c: vertices to screen positions at every instant. */
#include <math.h>
#include <stdlib.h>

#include "engine/base/memory.h"
#include "engine/raster/clip.h"

#define RUN 4096 /* vertices a piece of work */

/* Vertices [first, end) of a drawable. */
typedef struct {
    int32_t drawable, first, end;
} run;

typedef struct {
    lb_shot *shot;
    const run *runs;
} projecting;

/* Object to X, Y, distance, w: 4 x 4 by rows. */
static void object_matrix(const lb_shot *shot, const lb_placing *placing, int32_t instant,
                          double out[16])
{
    const double *p = shot->eyes[instant].pixel, *w = placing->world;

    for (int row = 0; row < 4; row++, p += 4)
        for (int column = 0; column < 4; column++)
            out[4 * row + column] = p[0] * w[column] + p[1] * w[4 + column] + p[2] * w[8 + column] +
                                    (column == 3 ? p[3] : 0);
}

static inline void transform(const double m[16], lb_vec3 p, double out[4])
{
    double x = p.x, y = p.y, z = p.z;

    for (int row = 0; row < 4; row++)
        out[row] = m[4 * row] * x + m[4 * row + 1] * y + m[4 * row + 2] * z + m[4 * row + 3];
}

void lb_shot_clip_point(const lb_shot *shot, const lb_placing *placing, int32_t instant,
                        lb_vec3 point, double out[4])
{
    double m[16];

    object_matrix(shot, placing, instant, m);
    transform(m, point, out);
}

static void project_at(lb_shot *shot, const lb_drawable *d, const run *r, int32_t instant)
{
    const lb_eye *eye = &shot->eyes[instant];
    const lb_placing *placing = lb_shot_placing(shot, d, instant);
    const lb_vec3 *positions = placing->primitive->positions;
    lb_vertex *out = (lb_vertex *)lb_shot_vertices(shot, d, instant);
    bool orthographic = eye->orthographic;
    double m[16];

    object_matrix(shot, placing, instant, m);
    for (int32_t i = r->first; i < r->end; i++) {
        double h[4];
        int32_t beyond;

        transform(m, positions[i], h);
        beyond = lb_clip_planes(eye, h);
        if (beyond) {
            out[i] = (lb_vertex){LB_OUTSIDE, beyond, 0};
        } else {
            double inverse = 1 / h[3];

            out[i].x = lb_clip_snap(h[0] * inverse);
            out[i].y = lb_clip_snap(h[1] * inverse);
            out[i].key = (float)(orthographic ? -h[2] : inverse);
        }
    }
}

/* How many instants a vertex takes to go LB_STRIDE_FIXED along x or y, where it is fastest. */
static void find_strides(lb_shot *shot, const lb_drawable *d, const run *r)
{
    for (int32_t i = r->first; i < r->end; i++) {
        const lb_vertex *v = shot->moving_vertices + d->first_vertex + (size_t)i;
        int32_t count = shot->instant_count;
        int64_t step = 1, stride;

        for (int32_t t = 1; t < count; t++) {
            const lb_vertex *w = v + shot->moving_vertex_count;
            bool outside = v->x == LB_OUTSIDE || w->x == LB_OUTSIDE;
            int64_t dx = outside ? LB_STRIDE_FIXED : llabs((int64_t)v->x - w->x);
            int64_t dy = outside ? LB_STRIDE_FIXED : llabs((int64_t)v->y - w->y);

            step = dx > step ? dx : step;
            step = dy > step ? dy : step;
            v = w;
        }
        stride = LB_STRIDE_FIXED / step;
        stride = stride < 1 ? 1 : stride > count ? count : stride;
        shot->strides[d->first_vertex + (size_t)i] = (uint8_t)stride;
    }
}

static lb_status project_runs(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const projecting *p = context;

    (void)worker;
    for (int32_t i = begin; i < end; i++) {
        const run *r = &p->runs[i];
        const lb_drawable *d = &p->shot->drawables[r->drawable];

        for (int32_t t = 0; t < (d->moving ? p->shot->instant_count : 1); t++)
            project_at(p->shot, d, r, t);
        if (d->moving)
            find_strides(p->shot, d, r);
    }
    return LB_OK;
}

lb_status lb_shot_project(lb_pool *pool, lb_shot *shot)
{
    size_t count = 0;
    projecting p = {.shot = shot};
    lb_status status;
    run *runs;

    for (int32_t i = 0; i < shot->drawable_count; i++)
        count += ((size_t)shot->drawables[i].vertex_count + RUN - 1) / RUN;
    if (count == 0)
        return LB_OK;
    if (count > INT32_MAX)
        return LB_LIMIT;
    if (!(runs = lb_alloc(count, sizeof *runs)))
        return LB_MEMORY;
    count = 0;
    for (int32_t i = 0; i < shot->drawable_count; i++) {
        int32_t vertices = shot->drawables[i].vertex_count;

        for (int32_t first = 0; first < vertices; first += RUN)
            runs[count++] = (run){i, first, vertices - first > RUN ? first + RUN : vertices};
    }
    p.runs = runs;
    status = lb_pool_for(pool, (int32_t)count, 1, project_runs, &p);
    lb_free(runs);
    return status;
}
