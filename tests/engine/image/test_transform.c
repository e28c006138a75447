/* tests/engine/image/test_transform.c: affine maps. Formulas: backward mapping between pixel
 * centres at .5; kernels stretched by the scale where a picture shrinks (common practice). */
#include <criterion/criterion.h>
#include <math.h>

#include "engine/image/limit.h"
#include "tests/engine/image/picture.h"

static lb_plane *transformed(lb_pool *pool, const lb_plane *in, const double m[6], lb_filter filter,
                             lb_edge edge, lb_box box)
{
    lb_plane *out;

    cr_assert(lb_transform_plane(pool, in, m, filter, edge, box, &out) == LB_OK);
    return out;
}

/* The definition, in double: every tap of the stretched kernel, normalised along each axis. */
static double slow_pixel(const lb_plane *in, const double m[6], lb_filter filter, lb_edge edge,
                         int32_t i, int32_t j)
{
    lb_box box = lb_plane_box(in);
    double x = m[0] * (i + 0.5) + m[1] * (j + 0.5) + m[2];
    double y = m[3] * (i + 0.5) + m[4] * (j + 0.5) + m[5];
    double wx = fmax(1, hypot(m[0], m[1])), wy = fmax(1, hypot(m[3], m[4]));
    double rx = lb_filter_radius(filter) * wx, ry = lb_filter_radius(filter) * wy;
    double sum = 0, total_x = 0, total_y = 0;

    for (int32_t a = (int32_t)floor(x - rx) - 1; a <= x + rx + 1; a++)
        total_x += lb_filter_value(filter, (a + 0.5 - x) / wx);
    for (int32_t b = (int32_t)floor(y - ry) - 1; b <= y + ry + 1; b++) {
        double w = lb_filter_value(filter, (b + 0.5 - y) / wy);
        int32_t row = lb_edge_index(edge, b - box.y0, lb_box_height(box));

        total_y += w;
        if (w == 0 || row < 0)
            continue;
        for (int32_t a = (int32_t)floor(x - rx) - 1; a <= x + rx + 1; a++) {
            int32_t column = lb_edge_index(edge, a - box.x0, lb_box_width(box));

            if (column >= 0)
                sum += w * lb_filter_value(filter, (a + 0.5 - x) / wx) *
                       (double)lb_plane_at(in, box.x0 + column, box.y0 + row);
        }
    }
    return sum / total_x / total_y;
}

static const double maps[][6] = {
    {1, 0, 0.3, 0, 1, -4.7},        /* a fraction of a pixel */
    {0.4, 0, 3.2, 0, 0.7, 1.1},     /* larger */
    {-0.4, 0, 30, 0, -1, 21},       /* larger and mirrored */
    {2.5, 0, -7, 0, 3.3, -9},       /* smaller */
    {0.8, -0.6, 11, 0.6, 0.8, -5},  /* turned */
    {0.4, 0.2, 1, -0.1, 0.3, 4},    /* turned, sheared and larger */
    {2.1, -1.2, 13, 1.2, 2.1, -30}, /* turned and smaller */
    {0.3, -0.1, 5, 2.4, 3.1, -40},  /* larger one way, smaller the other */
};

Test(transform, meets_the_definition, .timeout = 120)
{
    lb_plane *in = picture_new((lb_box){-4, 2, 37, 29});
    lb_box box = {-6, -3, 44, 31};

    for (int32_t y = 2; y < 29; y++)
        for (int32_t x = -4; x < 37; x++)
            picture_set(in, x, y, lb_random_float(3, (uint32_t)x, (uint32_t)y, 0));
    for (size_t k = 0; k < sizeof maps / sizeof maps[0]; k++)
        for (int filter = LB_FILTER_BILINEAR; filter <= LB_FILTER_MITCHELL; filter++)
            for (int edge = LB_EDGE_TRANSPARENT; edge <= LB_EDGE_MIRROR; edge++) {
                lb_plane *out =
                    transformed(NULL, in, maps[k], (lb_filter)filter, (lb_edge)edge, box);

                for (int32_t y = box.y0; y < box.y1; y += 3)
                    for (int32_t x = box.x0; x < box.x1; x += 5) {
                        double want =
                            slow_pixel(in, maps[k], (lb_filter)filter, (lb_edge)edge, x, y);
                        double got = (double)lb_plane_at(out, x, y);

                        /* float weights; the curve of wide kernels is straight between samples */
                        cr_assert(fabs(got - want) < 3e-6, "map %zu %s %s (%d, %d): %.8g, not %.8g",
                                  k, lb_filter_names[filter], lb_edge_names[edge], x, y, got, want);
                    }
                lb_plane_unref(&out);
            }
    lb_plane_unref(&in);
}

Test(transform, whole_pixels_are_exact)
{
    lb_plane *in = picture_random((lb_box){3, -2, 50, 31}, 6);
    lb_box box = {-10, -10, 70, 50};

    picture_set(in, 20, 10, INFINITY); /* as depth has where there is nothing */
    picture_set(in, 21, 10, -0.0f);
    for (int filter = LB_FILTER_NEAREST; filter <= LB_FILTER_LANCZOS3; filter++)
        for (int32_t shift = -7; shift <= 9; shift += 4) {
            double move[6] = {1, 0, shift, 0, 1, 3 - shift}, quarter[6] = {0, -1, 40, 1, 0, shift};
            lb_plane *out =
                transformed(NULL, in, move, (lb_filter)filter, LB_EDGE_TRANSPARENT, box);
            lb_plane *turned =
                transformed(NULL, in, quarter, (lb_filter)filter, LB_EDGE_TRANSPARENT, box);

            for (int32_t y = box.y0; y < box.y1; y++)
                for (int32_t x = box.x0; x < box.x1; x++) {
                    float want = lb_plane_at(in, x + shift, y + 3 - shift);
                    float got = lb_plane_at(out, x, y);

                    cr_assert(memcmp(&got, &want, sizeof got) == 0, "moved by %d, %s", shift,
                              lb_filter_names[filter]);
                    want = lb_plane_at(in, 39 - y, x + shift);
                    got = lb_plane_at(turned, x, y);
                    cr_assert(memcmp(&got, &want, sizeof got) == 0, "turned, %s",
                              lb_filter_names[filter]);
                }
            lb_plane_unref(&out);
            lb_plane_unref(&turned);
        }
    lb_plane_unref(&in);
}

/* A picture that is made smaller keeps its mean, and the finest checkerboard becomes grey. */
Test(transform, smaller_does_not_alias)
{
    static const double scales[] = {2.6, 3.7, 7};
    lb_plane *in = picture_new((lb_box){0, 0, 400, 400});

    for (int32_t y = 0; y < 400; y++)
        for (int32_t x = 0; x < 400; x++)
            picture_set(in, x, y, (float)((x + y) & 1));
    for (size_t k = 0; k < 3; k++)
        for (int turned = 0; turned < 2; turned++) {
            double s = scales[k], c = turned ? 0.8 * s : s, n = turned ? 0.6 * s : 0;
            double m[6] = {c, -n, turned ? 150 : 0, n, c, turned ? 20 : 0};
            lb_plane *out =
                transformed(NULL, in, m, LB_FILTER_LANCZOS3, LB_EDGE_CLAMP, (lb_box){8, 8, 28, 28});

            for (int32_t y = 8; y < 28; y++)
                for (int32_t x = 8; x < 28; x++)
                    cr_assert(fabsf(lb_plane_at(out, x, y) - 0.5f) < 0.03f,
                              "scale %g, turned %d: %g", s, turned, (double)lb_plane_at(out, x, y));
            lb_plane_unref(&out);
        }
    lb_plane_unref(&in);
}

Test(transform, same_bits_for_any_threads_and_region)
{
    lb_plane *in = picture_random((lb_box){-9, 4, 260, 170}, 8);
    lb_box box = {-20, -10, 300, 200};
    lb_pool *pool;

    cr_assert(lb_pool_new(3, &pool) == LB_OK);
    for (size_t k = 0; k < sizeof maps / sizeof maps[0]; k++)
        for (int filter = LB_FILTER_NEAREST; filter <= LB_FILTER_MITCHELL; filter++) {
            const double *m = maps[k];
            lb_plane *one = transformed(NULL, in, m, (lb_filter)filter, LB_EDGE_TRANSPARENT, box);
            lb_plane *three = transformed(pool, in, m, (lb_filter)filter, LB_EDGE_TRANSPARENT, box);

            cr_expect(picture_same(one, three, box));
            for (int32_t i = 0; i < 5; i++) {
                lb_box part = {-20 + 61 * i, -10 + 40 * i, -20 + 61 * i + 9 * i + 1,
                               -10 + 40 * i + 7};
                double rx = lb_filter_radius((lb_filter)filter) * fmax(1, hypot(m[0], m[1])) + 1;
                double ry = lb_filter_radius((lb_filter)filter) * fmax(1, hypot(m[3], m[4])) + 1;
                double x0 = INFINITY, y0 = INFINITY, x1 = -INFINITY, y1 = -INFINITY;
                lb_plane *cut, *got;

                for (int corner = 0; corner < 4; corner++) {
                    double u = corner & 1 ? part.x1 : part.x0, v = corner & 2 ? part.y1 : part.y0;
                    double x = m[0] * u + m[1] * v + m[2], y = m[3] * u + m[4] * v + m[5];

                    x0 = fmin(x0, x - rx);
                    x1 = fmax(x1, x + rx);
                    y0 = fmin(y0, y - ry);
                    y1 = fmax(y1, y + ry);
                }
                cut = picture_cut(in, LB_EDGE_TRANSPARENT, lb_box_around(x0, y0, x1, y1));
                got = transformed(pool, cut, m, (lb_filter)filter, LB_EDGE_TRANSPARENT, part);
                cr_expect(picture_same(one, got, part), "map %zu, %s, part %d", k,
                          lb_filter_names[filter], i);
                lb_plane_unref(&cut);
                lb_plane_unref(&got);
            }
            lb_plane_unref(&one);
            lb_plane_unref(&three);
        }
    lb_pool_free(&pool);
    lb_plane_unref(&in);
}

/* Planes together and limited in one go as each alone, limited afterwards. */
Test(transform, company_and_limits)
{
    lb_box box = {-30, -20, 190, 150};
    lb_plane *planes[5];

    for (uint32_t p = 0; p < 5; p++)
        planes[p] = picture_random((lb_box){-9, 4, 160, 130}, p);
    for (size_t k = 0; k < sizeof maps / sizeof maps[0]; k++)
        for (int filter = LB_FILTER_NEAREST; filter <= LB_FILTER_MITCHELL; filter++) {
            lb_plane *got[5];

            cr_assert(lb_transform_planes(NULL, 5, (const lb_plane *const *)planes, maps[k],
                                          (lb_filter)filter, LB_EDGE_TRANSPARENT, true, box,
                                          got) == LB_OK);
            for (int p = 0; p < 5; p++) {
                lb_plane *want = transformed(NULL, planes[p], maps[k], (lb_filter)filter,
                                             LB_EDGE_TRANSPARENT, box);

                if (lb_filter_rings((lb_filter)filter))
                    cr_assert(lb_limit_transform(NULL, planes[p], maps[k], LB_EDGE_TRANSPARENT,
                                                 want) == LB_OK);
                cr_expect(picture_same(want, got[p], box), "map %zu, %s, plane %d", k,
                          lb_filter_names[filter], p);
                lb_plane_unref(&want);
                lb_plane_unref(&got[p]);
            }
        }
    for (int p = 0; p < 5; p++)
        lb_plane_unref(&planes[p]);
}

Test(transform, hopeless_maps_give_an_answer)
{
    static const double hopeless[][6] = {
        {0, 0, 0, 0, 0, 0},        {NAN, 0, 0, 0, 1, 0},        {1, 0, NAN, 0, 1, 0},
        {1, 0, INFINITY, 0, 1, 0}, {1e30, 0, 0, 0, 1e30, 0},    {1e30, 1e30, 0, -1e30, 1, 0},
        {0.5, 0.5, NAN, 1, 1, 3},  {3, 1, INFINITY, 1, 3, NAN}, {1e-300, 0, 5, 0, 1e-300, 5},
        {1, 0, 1e9, 0, 1, 1e9},    {1, 0, 0.25, 0, 1, -1e300},  {5000, 1, 0, 1, 5000, 0},
    };
    lb_plane *in = picture_random((lb_box){0, 0, 30, 20}, 1);

    for (size_t k = 0; k < sizeof hopeless / sizeof hopeless[0]; k++)
        for (int filter = LB_FILTER_NEAREST; filter <= LB_FILTER_MITCHELL; filter++)
            for (int edge = LB_EDGE_TRANSPARENT; edge <= LB_EDGE_MIRROR; edge++) {
                lb_plane *out = transformed(NULL, in, hopeless[k], (lb_filter)filter, (lb_edge)edge,
                                            (lb_box){0, 0, 5, 4});

                for (int32_t y = 0; y < 4; y++)
                    for (int32_t x = 0; x < 5; x++)
                        cr_expect(isfinite(lb_plane_at(out, x, y)), "map %zu, %s, %s", k,
                                  lb_filter_names[filter], lb_edge_names[edge]);
                lb_plane_unref(&out);
            }
    lb_plane_unref(&in);
}

Test(transform, memory_is_foreseen)
{
    lb_box in_box = {0, 0, 900, 40}, box = {-30, -20, 700, 30};
    lb_plane *in = picture_random(in_box, 3);
    lb_pool *pool;

    cr_assert(lb_pool_new(3, &pool) == LB_OK);
    for (size_t k = 0; k < sizeof maps / sizeof maps[0]; k++)
        for (int filter = LB_FILTER_NEAREST; filter <= LB_FILTER_MITCHELL; filter++) {
            size_t said = lb_transform_scratch(in_box, maps[k], (lb_filter)filter, box, 3), used;
            lb_plane *out;

            lb_memory_trim();
            lb_memory_reset_peak();
            cr_assert(lb_transform_planes(pool, 1, (const lb_plane *const *)&in, maps[k],
                                          (lb_filter)filter, LB_EDGE_TRANSPARENT, true, box,
                                          &out) == LB_OK);
            used = lb_memory_peak() - lb_memory_used(); /* all but the result */
            cr_expect(used <= said && said < used + 200000, "map %zu, %s: used %zu, said %zu", k,
                      lb_filter_names[filter], used, said);
            lb_plane_unref(&out);
        }
    lb_pool_free(&pool);
    lb_plane_unref(&in);
}

Test(transform, failing_allocations)
{
    lb_plane *in = picture_random((lb_box){0, 0, 50, 40}, 4);
    size_t before = lb_memory_used();

    for (size_t k = 0; k < sizeof maps / sizeof maps[0]; k++)
        for (int64_t n = 1;; n++) {
            lb_plane *out;
            lb_status status;
            bool done;

            lb_memory_fail_at(n);
            status = lb_transform_plane(NULL, in, maps[k], LB_FILTER_CUBIC, LB_EDGE_MIRROR,
                                        lb_plane_box(in), &out);
            done = lb_memory_fail_left() > 0;
            lb_memory_fail_at(0);
            cr_assert(status == (done ? LB_OK : LB_MEMORY) && (out != NULL) == done);
            lb_plane_unref(&out);
            cr_assert(lb_memory_used() == before);
            if (done) {
                cr_expect(n > 2);
                break;
            }
        }
    lb_plane_unref(&in);
}
