/* tests/engine/image/test_gather.c: samples that are made together have the bits of those made one
 * by one. The plain loops are built once more, under other names and without vector code. */
#include <criterion/criterion.h>
#include <math.h>

#include "engine/image/gather.h"
#include "tests/engine/image/picture.h"

#define LB_NO_CLONES
#undef LB_CLONES
#define LB_BASE_CLONES_H
#define LB_CLONES
#define lb_gather_at plain_at
#define lb_gather_moved plain_moved
#define lb_gather_run plain_run
#define lb_gather_limit plain_limit
#define lb_gather_is_wide plain_is_wide
#define lb_gather_wide plain_wide
void plain_at(lb_gather *gather, const double *x, const double *y, int32_t count);
void plain_moved(lb_gather *gather, int32_t first_x, int32_t y, const float *dx, const float *dy,
                 int32_t count);
void plain_run(const lb_gather *gather, int32_t count, const lb_plane *const *planes, lb_edge edge,
               float *const *out);
void plain_limit(const lb_gather *gather, const lb_plane *plane, lb_edge edge, float *values);
#include "engine/image/gather.c"
#include "engine/image/gather_wide.c"
#undef lb_gather_at
#undef lb_gather_moved
#undef lb_gather_run
#undef lb_gather_limit
#undef lb_gather_is_wide
#undef lb_gather_wide

#define PLANES 5

/* One pixel in a hundred is infinite, not a number, or 0 with a sign. */
static lb_plane *hostile(lb_box box, uint32_t seed)
{
    static const float values[] = {INFINITY, -INFINITY, NAN, -0.0f, 1e-40f, -3};
    lb_plane *plane = picture_random(box, seed);

    for (int32_t y = box.y0; y < box.y1; y++)
        for (int32_t x = box.x0; x < box.x1; x++) {
            uint32_t dice = lb_random_u32(seed, (uint32_t)x, (uint32_t)y, 3);

            if (dice % 100 < 6)
                picture_set(plane, x, y, values[dice % 100]);
        }
    return plane;
}

static bool same(float a, float b)
{
    return (isnan(a) && isnan(b)) || memcmp(&a, &b, sizeof a) == 0;
}

/* `smooth`: neighbours look at neighbours. Every fifth position is whole along x, every seventh
 * along y. */
static void fill_moves(float *dx, float *dy, int32_t count, uint32_t seed, float smooth)
{
    for (int32_t i = 0; i < count; i++) {
        dx[i] = 6 * sinf((float)i / 40 + (float)seed) +
                smooth * lb_random_float(seed, (uint32_t)i, 0, 0);
        dy[i] = 5 * cosf((float)i / 30 + (float)seed) +
                smooth * lb_random_float(seed, (uint32_t)i, 1, 0);
        dx[i] = i % 5 == 0 ? rintf(dx[i]) : dx[i];
        dy[i] = i % 7 == 0 ? rintf(dy[i]) : dy[i];
    }
}

static void check(const lb_plane *const *planes, int32_t first_x, int32_t y, int32_t count,
                  float smooth)
{
    float dx[LB_GATHER_MOST], dy[LB_GATHER_MOST];
    float got[PLANES][LB_GATHER_MOST], want[PLANES][LB_GATHER_MOST];
    float *const to[] = {got[0], got[1], got[2], got[3], got[4]};
    float *const from[] = {want[0], want[1], want[2], want[3], want[4]};

    fill_moves(dx, dy, count, (uint32_t)(first_x + y), smooth);
    for (int filter = LB_FILTER_NEAREST; filter <= LB_FILTER_MITCHELL; filter++)
        for (int limited = 0; limited < 2; limited++)
            for (int32_t n = 1; n <= PLANES; n++) {
                lb_gather g = {.filter = (lb_filter)filter}, plain = {.filter = (lb_filter)filter};

                if (limited && filter != LB_FILTER_CUBIC && filter != LB_FILTER_LANCZOS3)
                    continue;
                lb_gather_moved(&g, first_x, y, dx, dy, count);
                plain_moved(&plain, first_x, y, dx, dy, count);
                g.limited = limited;
                lb_gather_run(&g, n, planes, LB_EDGE_CLAMP, to);
                plain_run(&plain, n, planes, LB_EDGE_CLAMP, from);
                for (int32_t p = 0; p < n; p++) {
                    if (limited) /* apart: what `limited` promises */
                        plain_limit(&plain, planes[p], LB_EDGE_CLAMP, want[p]);
                    for (int32_t i = 0; i < count; i++)
                        cr_assert(same(got[p][i], want[p][i]),
                                  "%s, limited %d, plane %d of %d, sample %d: %g, not %g",
                                  lb_filter_names[filter], limited, p, n, i, (double)got[p][i],
                                  (double)want[p][i]);
                }
            }
}

Test(gather, together_as_one_by_one, .timeout = 60)
{
    lb_box box = {0, 0, 200, 90};
    lb_plane *planes[PLANES];

    for (uint32_t p = 0; p < 4; p++)
        planes[p] = p % 2 ? hostile(box, p) : picture_random(box, p);
    cr_assert(lb_plane_new_constant(box, 0.75f, &planes[4]) == LB_OK);
    for (int32_t y = 0; y < 90; y += 3) {
        check((const lb_plane *const *)planes, 40 + y / 4, y, 128, 0.3f);
        check((const lb_plane *const *)planes, -10, y, 37 + y, 4);
        check((const lb_plane *const *)planes, 90, y, 120, 0);
        check((const lb_plane *const *)planes, 20, y, 128, 60);
    }
    for (uint32_t p = 0; p < PLANES; p++)
        lb_plane_unref(&planes[p]);
}

/* Planes narrower than what is read at once. */
Test(gather, narrow_planes)
{
    for (int32_t width = 1; width < 40; width += 3) {
        lb_plane *plane = hostile((lb_box){0, 0, width, 30}, (uint32_t)width);
        const lb_plane *const planes[PLANES] = {plane, plane, plane, plane, plane};

        for (int32_t y = 0; y < 30; y += 5)
            check(planes, -3, y, width + 6, 0.5f);
        lb_plane_unref(&plane);
    }
}
