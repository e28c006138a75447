/* tests/engine/image/test_defocus.c: discs whose radius changes from pixel to pixel.
 *
 * What is known outside: the exact area of a disc in a pixel, the part of a disc beyond a straight
 * line (a circular segment over its circle), and that light is neither lost nor made. */
#include <criterion/criterion.h>
#include <math.h>

#include "engine/image/convolve.h"
#include "engine/image/defocus.h"
#include "engine/image/defocus_discs.h"
#include "tests/engine/image/picture.h"

struct scene {
    lb_plane *in[4], *radius, *out[4];
};

static struct scene scene_new(lb_box box)
{
    struct scene s;

    for (int c = 0; c < 4; c++)
        s.in[c] = picture_new(box);
    s.radius = picture_new(box);
    memset(s.out, 0, sizeof s.out);
    return s;
}

static void set(struct scene *s, int32_t x, int32_t y, float r, float g, float b, float a,
                float radius)
{
    float color[4] = {r, g, b, a};

    for (int c = 0; c < 4; c++)
        picture_set(s->in[c], x, y, color[c]);
    picture_set(s->radius, x, y, radius);
}

static void run(lb_pool *pool, struct scene *s, double max_radius, lb_box box)
{
    cr_assert(lb_defocus(pool, (const lb_plane *const *)s->in, s->radius, max_radius, box,
                         s->out) == LB_OK);
}

static void clear_out(struct scene *s)
{
    for (int c = 0; c < 4; c++)
        lb_plane_unref(&s->out[c]);
}

static void scene_clear(struct scene *s)
{
    for (int c = 0; c < 4; c++)
        lb_plane_unref(&s->in[c]);
    lb_plane_unref(&s->radius);
    clear_out(s);
}

static double at(const struct scene *s, int c, int32_t x, int32_t y)
{
    return (double)lb_plane_at(s->out[c], x, y);
}

/* Part of a disc beyond a line at `distance` from its middle: the segment's area over the circle's.
 */
static double segment(double radius, double distance)
{
    double u = fmax(-1, fmin(1, distance / radius));

    return (acos(u) - u * sqrt(1 - u * u)) / 3.14159265358979323846;
}

Test(defocus, in_focus_is_a_copy)
{
    struct scene s = scene_new((lb_box){-7, 3, 300, 90});
    lb_box box = {-20, 0, 310, 95};

    for (int32_t y = 3; y < 90; y++)
        for (int32_t x = -7; x < 300; x++)
            set(&s, x, y, lb_random_float(1, (uint32_t)x, (uint32_t)y, 0), 10000, -0.5f, 0.25f,
                (x & 3) * 0.125f * (y & 1 ? -1 : 1));
    picture_set(s.radius, 10, 10, NAN);
    run(NULL, &s, 30, box);
    for (int c = 0; c < 4; c++)
        for (int32_t y = 0; y < 95; y++)
            for (int32_t x = -20; x < 310; x++)
                cr_assert(lb_plane_at(s.out[c], x, y) == lb_plane_at(s.in[c], x, y));
    scene_clear(&s);
}

/* A highlight becomes the exact disc of the nearest radius in steps of 0.2 per cent. In front of
 * black that is itself out of focus, so that the highlight is no sharper than what is around it. */
Test(defocus, one_pixel_becomes_the_disc)
{
    static const double radii[] = {0.3, 0.51, 0.8, 1.5, 2, 3.7, 5, 7.5, 12, 13, 23.4, 38};

    for (size_t k = 0; k < sizeof radii / sizeof radii[0]; k++)
        for (int sign = -1; sign <= 1; sign += 2) {
            struct scene s = scene_new((lb_box){-50, -50, 51, 51});
            double exact = lb_disc_code_radius(lb_disc_code((float)radii[k])), sum = 0;

            cr_expect(radii[k] <= 0.5 || fabs(exact / radii[k] - 1) < 0.0011);
            for (int32_t y = -50; y < 51; y++)
                for (int32_t x = -50; x < 51; x++)
                    set(&s, x, y, 0, 0, 0, 1, (float)(sign * radii[k]));
            picture_set(s.in[0], 3, -2, 10000);
            run(NULL, &s, 40, (lb_box){-50, -50, 51, 51});
            for (int32_t y = -50; y < 51; y++)
                for (int32_t x = -50; x < 51; x++) {
                    double want = 10000 * lb_disc_weight(exact, x - 3, y + 2);

                    /* Units of 2^-30, half a one for each step of a row; float results. */
                    cr_assert(fabs(at(&s, 0, x, y) - want) <= 1e-7 + 2e-7 * want,
                              "radius %g (%d, %d): %.9g, not %.9g", sign * radii[k], x, y,
                              at(&s, 0, x, y), want);
                    sum += at(&s, 0, x, y);
                }
            cr_expect(fabs(sum - 10000) < 0.01);
            scene_clear(&s);
        }
}

/* The same radius everywhere: the uniform disc, but for the steps of radius and for squares of
 * pixels that are spread as one, which shift what is between them by a pixel or so. */
Test(defocus, equal_radii_are_the_uniform_disc)
{
    static const double radii[] = {1.5, 3, 6, 10, 30}, bound[] = {2e-3, 2e-3, 2e-3, 4e-3, 2e-3};
    lb_box box = {0, 0, 220, 160};

    for (size_t k = 0; k < sizeof radii / sizeof radii[0]; k++) {
        struct scene s = scene_new(box);
        lb_plane *want;

        for (int32_t y = 0; y < 160; y++)
            for (int32_t x = 0; x < 220; x++)
                set(&s, x, y, lb_random_float(4, (uint32_t)x, (uint32_t)y, 0),
                    0.5f + 0.3f * sinf((float)x * 0.2f) * cosf((float)y * 0.15f), 0.75f, 1,
                    (float)radii[k]);
        run(NULL, &s, 40, box);
        for (int c = 0; c < 4; c++) {
            double worst = 0;

            cr_assert(lb_convolve_disc(NULL, s.in[c], radii[k], LB_EDGE_TRANSPARENT, box, &want) ==
                      LB_OK);
            for (int32_t y = 0; y < 160; y++)
                for (int32_t x = 0; x < 220; x++)
                    worst = fmax(worst, fabs(at(&s, c, x, y) - (double)lb_plane_at(want, x, y)));
            cr_expect(worst < bound[k] * (c == 0 ? 4 : 1), "radius %g channel %d: %g", radii[k], c,
                      worst);
            lb_plane_unref(&want);
        }
        scene_clear(&s);
    }
}

/* Red and sharp in front of blue that is far out of focus. */
Test(defocus, a_sharp_foreground_has_no_halo)
{
    struct scene s = scene_new((lb_box){0, 0, 200, 120});

    for (int32_t y = 0; y < 120; y++)
        for (int32_t x = 0; x < 200; x++) {
            bool front = (x - 100) * (x - 100) + (y - 60) * (y - 60) < 900;
            set(&s, x, y, front ? 5 : 0, 0, front ? 0 : 0.5f, 1, front ? 0 : 18);
        }
    run(NULL, &s, 40, (lb_box){0, 0, 200, 120});
    for (int32_t y = 25; y < 95; y++)
        for (int32_t x = 30; x < 170; x++) {
            bool front = (x - 100) * (x - 100) + (y - 60) * (y - 60) < 900;

            cr_assert(at(&s, 0, x, y) == (front ? 5 : 0), "(%d, %d)", x, y);
            cr_assert(fabs(at(&s, 2, x, y) - (front ? 0 : 0.5)) < 1e-6, "(%d, %d): %g", x, y,
                      at(&s, 2, x, y));
            cr_assert(fabs(at(&s, 3, x, y) - 1) < 1e-6);
        }
    scene_clear(&s);
}

/* A red wall, out of focus in front, ends at a line before green that is sharp: the share of red at
 * a distance from the line is the disc's segment, on both sides of it. */
Test(defocus, a_blurred_foreground_covers_by_its_disc)
{
    static const double radii[] = {2, 5, 9, 14, 30};

    for (size_t k = 0; k < sizeof radii / sizeof radii[0]; k++) {
        struct scene s = scene_new((lb_box){0, 0, 200, 140});

        for (int32_t y = 0; y < 140; y++)
            for (int32_t x = 0; x < 200; x++)
                set(&s, x, y, x < 100, x >= 100, 0, 1, x < 100 ? (float)-radii[k] : 0);
        run(NULL, &s, 40, (lb_box){0, 0, 200, 140});
        for (int32_t x = 45; x < 155; x++) {
            /* The pixel's square: the mean over its width is near its middle's value. */
            double want = segment(radii[k], x + 0.5 - 100);

            cr_assert(fabs(at(&s, 0, x, 70) - want) < 0.02 / radii[k] + 0.006,
                      "radius %g at %d: %g, not %g", radii[k], x, at(&s, 0, x, 70), want);
            cr_assert(fabs(at(&s, 1, x, 70) - (1 - want)) < 0.02 / radii[k] + 0.006,
                      "radius %g at %d: green %g, not %g", radii[k], x, at(&s, 1, x, 70), 1 - want);
            cr_assert(fabs(at(&s, 3, x, 70) - 1) < 1e-6);
        }
        scene_clear(&s);
    }
}

/* A surface that runs from near to far through the focus has no seams and no holes. */
Test(defocus, a_slanted_plane_stays_whole)
{
    struct scene s = scene_new((lb_box){0, 0, 120, 400});

    for (int32_t y = 0; y < 400; y++)
        for (int32_t x = 0; x < 120; x++)
            set(&s, x, y, 0.5f, 0.25f, 0.125f, 1, (float)(200 - y) * 0.18f);
    run(NULL, &s, 40, (lb_box){40, 50, 80, 350});
    for (int32_t y = 50; y < 350; y++)
        for (int32_t x = 40; x < 80; x++) {
            cr_assert(fabs(at(&s, 0, x, y) - 0.5) < 1e-6, "(%d, %d): %g", x, y, at(&s, 0, x, y));
            cr_assert(fabs(at(&s, 3, x, y) - 1) < 1e-6, "(%d, %d): %g", x, y, at(&s, 3, x, y));
        }
    scene_clear(&s);
}

/* A layer on nothing keeps its light and gets soft edges beyond its box. */
Test(defocus, nothing_is_around_a_picture)
{
    struct scene s = scene_new((lb_box){0, 0, 60, 50});
    double before, after;

    for (int32_t y = 0; y < 50; y++)
        for (int32_t x = 0; x < 60; x++)
            set(&s, x, y, 0.8f, 0.4f, 0.2f, 1, 7);
    lb_plane_unref(&s.in[3]);
    before = picture_sum(s.in[0]);
    run(NULL, &s, 8, (lb_box){-9, -9, 69, 59}); /* no alpha: opaque */
    after = picture_sum(s.out[0]);
    cr_expect(fabs(after / before - 1) < 1e-5, "%g became %g", before, after);
    for (int32_t y = -9; y < 59; y++)
        for (int32_t x = -9; x < 69; x++)
            cr_assert(fabs(at(&s, 0, x, y) - 0.8 * at(&s, 3, x, y)) < 1e-6);
    cr_expect(fabs(at(&s, 3, 30, 25) - 1) < 1e-6 && at(&s, 3, -9, 25) == 0);
    cr_expect(fabs(at(&s, 3, 30, 0) - (1 - segment(7, 0.5))) < 0.002);
    scene_clear(&s);
}

static struct scene anything(lb_box box)
{
    struct scene s = scene_new(box);

    for (int32_t y = box.y0; y < box.y1; y++)
        for (int32_t x = box.x0; x < box.x1; x++) {
            uint32_t cell =
                lb_random_u32(9, (uint32_t)(x + 1000) / 37, (uint32_t)(y + 1000) / 29, 0);
            float flat = (float)(cell % 7) / 8,
                  noise = lb_random_float(5, (uint32_t)x, (uint32_t)y, 1);
            float radius = (float)((int32_t)(cell % 41) - 20) + 0.3f * noise;

            if (cell % 3 == 0)
                radius = 0;
            if (lb_random_u32(8, (uint32_t)x, (uint32_t)y, 0) % 300 == 0)
                flat = 500;
            set(&s, x, y, flat, flat * noise, noise, 0.5f + 0.5f * noise, radius);
        }
    return s;
}

Test(defocus, same_bits_for_any_threads_and_region, .timeout = 120)
{
    lb_box box = {-31, -17, 340, 290};
    struct scene s = anything(box), three = s, part;
    lb_pool *pool;
    int32_t reach = lb_defocus_reach(20.5);

    cr_assert(lb_pool_new(3, &pool) == LB_OK);
    run(NULL, &s, 20.5, box);
    memset(three.out, 0, sizeof three.out);
    run(pool, &three, 20.5, box);
    for (int c = 0; c < 4; c++)
        cr_expect(picture_same(s.out[c], three.out[c], box), "threads, channel %d", c);
    for (int32_t k = 0; k < 7; k++) {
        lb_box wanted = {-31 + 47 * k, -17 + 31 * k, -31 + 47 * k + 9 + 13 * k, -17 + 31 * k + 11};
        lb_box cut = lb_box_grow(wanted, reach, reach);

        part = s;
        cut = lb_box_intersect(cut, box);
        for (int c = 0; c < 4; c++)
            part.in[c] = picture_cut(s.in[c], LB_EDGE_TRANSPARENT, cut);
        part.radius = picture_cut(s.radius, LB_EDGE_TRANSPARENT, cut);
        run(pool, &part, 20.5, wanted);
        for (int c = 0; c < 4; c++)
            cr_expect(picture_same(s.out[c], part.out[c], wanted), "part %d, channel %d", k, c);
        scene_clear(&part);
    }
    clear_out(&three);
    scene_clear(&s);
    lb_pool_free(&pool);
}

/* Wide and even enough for squares of every size, in front of the focus and behind it. */
static struct scene wide_scene(lb_box box)
{
    struct scene s = scene_new(box);

    for (int32_t y = box.y0; y < box.y1; y++)
        for (int32_t x = box.x0; x < box.x1; x++) {
            float noise = lb_random_float(6, (uint32_t)(x + 1000), (uint32_t)(y + 1000), 2);
            float value = 0.5f + 0.1f * noise + 0.002f * (float)x;

            if (lb_random_u32(7, (uint32_t)(x + 1000), (uint32_t)(y + 1000), 0) % 500 == 0)
                value = 40;
            set(&s, x, y, value, 1 - 0.5f * value, noise, 1,
                x < 90 ? -26 - 0.02f * (float)y : 11 + 0.07f * (float)x);
        }
    return s;
}

Test(defocus, same_bits_for_any_region_of_wide_discs, .timeout = 120)
{
    lb_box box = {-21, -13, 260, 190};
    struct scene s = wide_scene(box), part;
    int32_t reach = lb_defocus_reach(30.5);

    run(NULL, &s, 30.5, box);
    for (int32_t k = 0; k < 6; k++) {
        lb_box wanted = {-21 + 43 * k, -13 + 29 * k, -21 + 43 * k + 7 + 9 * k, -13 + 29 * k + 13};
        lb_box cut = lb_box_intersect(lb_box_grow(wanted, reach, reach), box);

        part = s;
        for (int c = 0; c < 4; c++)
            part.in[c] = picture_cut(s.in[c], LB_EDGE_TRANSPARENT, cut);
        part.radius = picture_cut(s.radius, LB_EDGE_TRANSPARENT, cut);
        run(NULL, &part, 30.5, wanted);
        for (int c = 0; c < 4; c++)
            cr_expect(picture_same(s.out[c], part.out[c], wanted), "part %d, channel %d", k, c);
        scene_clear(&part);
    }
    scene_clear(&s);
}

/* A limit that no radius reaches does not matter. */
Test(defocus, same_bits_for_any_larger_limit)
{
    lb_box box = {0, 0, 150, 130};
    struct scene s = anything(box), wider = s;
    double most = lb_defocus_max_radius(20.3);

    cr_expect(most > 20.3 && most < 20.4 && lb_defocus_max_radius(1e9) == 512);
    cr_expect(lb_defocus_reach(most) < lb_defocus_reach(90));
    run(NULL, &s, most, box);
    memset(wider.out, 0, sizeof wider.out);
    run(NULL, &wider, 90, box);
    for (int c = 0; c < 4; c++)
        cr_expect(picture_same(s.out[c], wider.out[c], box), "channel %d", c);
    clear_out(&wider);
    scene_clear(&s);
}

/* One bright pixel on nothing at all: its disc, which keeps its light, and exactly nothing where it
 * does not reach. */
Test(defocus, nothing_stays_nothing)
{
    lb_box box = {0, 0, 400, 300};

    for (int sign = -1; sign <= 1; sign += 2) {
        struct scene s = scene_new(box);
        int32_t lit = 0;

        for (int32_t y = 0; y < 300; y++)
            for (int32_t x = 0; x < 400; x++)
                picture_set(s.radius, x, y, (float)(sign * 9));
        set(&s, 200, 150, 100, 50, 25, 1, (float)(sign * 9));
        run(NULL, &s, 9, box);
        for (int32_t y = 0; y < 300; y++)
            for (int32_t x = 0; x < 400; x++) {
                bool far = (x - 200) * (x - 200) + (y - 150) * (y - 150) > 11 * 11;

                lit += at(&s, 0, x, y) > 0;
                for (int c = 0; c < 4; c++)
                    cr_assert(!far || at(&s, c, x, y) == 0);
            }
        cr_expect(abs(lit - 254) < 60, "%d pixels lit, the disc has 254", lit);
        cr_expect(fabs(picture_sum(s.out[0]) - 100) < 1e-3);
        scene_clear(&s);
    }
}

Test(defocus, scratch_is_what_it_takes)
{
    static const double most[] = {0.4, 3, 20.5, 100};
    lb_box box = {0, 0, 300, 200};
    struct scene s = anything(box);

    for (size_t k = 0; k < sizeof most / sizeof most[0]; k++)
        for (int32_t threads = 1; threads <= 3; threads++) {
            size_t want = lb_defocus_scratch(most[k], box, box, threads), peak;
            lb_pool *pool;

            cr_assert(lb_pool_new(threads, &pool) == LB_OK);
            lb_memory_trim();
            lb_memory_reset_peak();
            run(pool, &s, most[k], box);
            peak = lb_memory_peak() - lb_memory_used();
            /* Blocks are rounded up by an eighth. The bound is for discs of all radii. */
            cr_expect(peak <= want + want / 8 + 4096, "%g: %zu, not %zu", most[k], peak, want);
            cr_expect(most[k] > 10 || peak >= want / 3, "%g: %zu of %zu", most[k], peak, want);
            clear_out(&s);
            lb_pool_free(&pool);
        }
    cr_expect(lb_defocus_scratch(5, (lb_box){0}, box, 1) == 0);
    scene_clear(&s);
}

Test(defocus, hopeless_radii_give_an_answer)
{
    static const float hopeless[] = {NAN, INFINITY, -INFINITY, 1e30f, -1e30f, 1e-40f, -0.0f};
    static const double most[] = {0, -5, NAN, 0.2, 3, 1e9};
    struct scene s = scene_new((lb_box){0, 0, 21, 20});

    for (size_t k = 0; k < sizeof most / sizeof most[0]; k++) {
        for (int32_t y = 0; y < 20; y++)
            for (int32_t x = 0; x < 21; x++)
                set(&s, x, y, 1, 2, 3, 1, hopeless[(x + y) % 7]);
        run(NULL, &s, most[k], (lb_box){-3, -3, 24, 23});
        for (int32_t y = -3; y < 23; y++)
            for (int32_t x = -3; x < 24; x++)
                for (int c = 0; c < 4; c++)
                    cr_assert(isfinite(at(&s, c, x, y)) && at(&s, c, x, y) >= 0);
        clear_out(&s);
    }
    run(NULL, &s, 4, (lb_box){900, 900, 910, 905});
    cr_expect(picture_sum(s.out[0]) == 0, "far from everything");
    scene_clear(&s);
}

Test(defocus, boxes_must_fit)
{
    struct scene s = scene_new((lb_box){0, 0, 20, 20});

    lb_plane_unref(&s.in[2]);
    s.in[2] = picture_new((lb_box){0, 0, 20, 21});
    cr_expect(lb_defocus(NULL, (const lb_plane *const *)s.in, s.radius, 5, (lb_box){0, 0, 4, 4},
                         s.out) == LB_INVALID &&
              !s.out[0]);
    lb_plane_unref(&s.in[2]);
    s.in[2] = picture_new((lb_box){0, 0, 20, 20});
    lb_plane_unref(&s.radius);
    s.radius = picture_new((lb_box){1, 0, 20, 20});
    cr_expect(lb_defocus(NULL, (const lb_plane *const *)s.in, s.radius, 5, (lb_box){0, 0, 4, 4},
                         s.out) == LB_INVALID &&
              !s.out[0]);
    scene_clear(&s);
}

Test(defocus, failing_allocations, .timeout = 120)
{
    struct scene s = anything((lb_box){0, 0, 80, 60});
    size_t before = lb_memory_used();

    for (int64_t n = 1;; n++) {
        lb_status status;
        bool done;

        lb_memory_fail_at(n);
        status = lb_defocus(NULL, (const lb_plane *const *)s.in, s.radius, 20.5,
                            (lb_box){0, 0, 80, 60}, s.out);
        done = lb_memory_fail_left() > 0;
        lb_memory_fail_at(0);
        cr_assert(status == (done ? LB_OK : LB_MEMORY));
        for (int c = 0; c < 4; c++)
            cr_assert((s.out[c] != NULL) == done);
        clear_out(&s);
        cr_assert(lb_memory_used() == before);
        if (done) {
            cr_expect(n > 100);
            break;
        }
    }
    scene_clear(&s);
}
