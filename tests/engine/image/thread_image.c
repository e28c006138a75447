/* tests/engine/image/thread_image.c: everything that splits an image over threads, under
 * ThreadSanitizer; and the result is what one thread makes. */
#include <stdio.h>

#include "engine/image/convolve.h"
#include "engine/image/defocus.h"
#include "engine/image/image.h"
#include "tests/engine/image/picture.h"

static const lb_box box = {-20, -10, 230, 170};
static lb_plane *in[4], *radius, *moves;

#define MAKERS 6

/* Up to four planes by maker `which`. */
static lb_status make(lb_pool *pool, int which, lb_plane *out[4])
{
    static const double small[2] = {2, 3}, large[2] = {9, 20};
    static const double turn[6] = {0.9, -0.3, 20, 0.3, 0.9, -9}, keep[6] = {1.4, 0, 3, 0, 0.7, 2};

    switch (which) {
    case 0:
        return lb_convolve_gaussian(pool, in[0], small, LB_EDGE_CLAMP, box, &out[0]);
    case 1:
        return lb_convolve_gaussian(pool, in[1], large, LB_EDGE_MIRROR, box, &out[0]);
    case 2:
        return lb_convolve_disc(pool, in[2], 7.3, LB_EDGE_REPEAT, box, &out[0]);
    case 3:
        return lb_warp_planes(pool, 3, (const lb_plane *const *)in, moves, radius, LB_FILTER_CUBIC,
                              LB_EDGE_TRANSPARENT, lb_plane_box(moves), out);
    case 4:
        if (lb_transform_plane(pool, in[0], keep, LB_FILTER_LANCZOS3, LB_EDGE_CLAMP, box, &out[1]))
            return LB_MEMORY;
        return lb_transform_plane(pool, in[3], turn, LB_FILTER_CUBIC, LB_EDGE_CLAMP, box, &out[0]);
    default:
        return lb_defocus(pool, (const lb_plane *const *)in, radius, 20, box, out);
    }
}

static int check(lb_pool *pool, int which)
{
    lb_plane *one[4] = {NULL}, *many[4] = {NULL};
    int bad = 0;

    if (make(NULL, which, one) || make(pool, which, many))
        bad = 1;
    for (int c = 0; c < 4; c++) {
        if (one[c] && many[c] && !picture_same(one[c], many[c], lb_plane_box(one[c])))
            bad = 1;
        lb_plane_unref(&one[c]);
        lb_plane_unref(&many[c]);
    }
    if (bad)
        fprintf(stderr, "maker %d differs with threads\n", which);
    return bad;
}

struct job {
    lb_pool *pool;
    lb_image *image;
};

/* From inside a piece, as operators of several frames do; the image's planes are shared. */
static lb_status run_inside(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const struct job *job = context;

    (void)worker;
    for (int32_t i = begin; i < end; i++) {
        lb_image *mine = lb_image_ref(job->image);
        lb_plane *plane = lb_plane_ref(lb_image_find(mine, "R")), *out = NULL;
        double sigma[2] = {1 + i, 6};
        lb_status status = lb_convolve_gaussian(job->pool, plane, sigma, LB_EDGE_CLAMP, box, &out);

        lb_plane_unref(&out);
        lb_plane_unref(&plane);
        lb_image_unref(&mine);
        if (status)
            return status;
    }
    return LB_OK;
}

int main(void)
{
    struct job job = {0};
    int bad = 0;

    for (int c = 0; c < 4; c++)
        in[c] = picture_random((lb_box){-5, 3, 200, 150}, (uint32_t)c);
    radius = picture_random(lb_plane_box(in[0]), 9);
    for (int32_t y = 3; y < 150; y++)
        for (int32_t x = -5; x < 200; x++)
            picture_set(radius, x, y, (float)((x / 30 + y / 40) % 5 * 7 - 14));
    moves = picture_random(lb_plane_box(in[0]), 10);
    if (lb_pool_new(3, &job.pool) || lb_image_new(box, box, &job.image) ||
        lb_image_add(job.image, "R", in[0]))
        return 1;
    for (int i = 0; i < MAKERS; i++)
        bad |= check(job.pool, i);
    if (lb_pool_for(job.pool, 8, 1, run_inside, &job))
        bad = 1;
    for (int c = 0; c < 4; c++)
        lb_plane_unref(&in[c]);
    lb_plane_unref(&radius);
    lb_plane_unref(&moves);
    lb_image_unref(&job.image);
    lb_pool_free(&job.pool);
    return bad;
}
