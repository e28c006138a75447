/* tests/engine/scene/test_triangulate.c: polygons are cut into triangles that cover them once:
 * there are n - 2 (Meisters, "Polygons have ears", 1975), all turn as the polygon does, and their
 * areas add up to its own, which is the shoelace formula's. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>

#include "engine/base/math.h"
#include "engine/scene/triangulate.h"

#define MOST 5000

static double twice_area(const double (*at)[2], uint32_t a, uint32_t b, uint32_t c)
{
    return (at[b][0] - at[a][0]) * (at[c][1] - at[a][1]) -
           (at[b][1] - at[a][1]) * (at[c][0] - at[a][0]);
}

/* A polygon given in a plane, put into space in several ways. `slack`: area that a triangle may
 * have the wrong way round, from rounding to float. */
static void expect_cut(const char *name, const double (*at)[2], int32_t count, double slack)
{
    static lb_vec3 points[MOST];
    static uint32_t out[3 * MOST];
    double whole = 0;

    for (int32_t i = 0; i < count; i++) {
        int32_t j = (i + 1) % count;

        whole += at[i][0] * at[j][1] - at[j][0] * at[i][1];
    }
    for (int way = 0; way < 8; way++) {
        lb_cutter cutter = {0};
        double sum = 0;
        lb_cut cut;

        for (int32_t i = 0; i < count; i++) {
            int32_t k = way & 1 ? count - 1 - i : i; /* the other way round too */
            float x = (float)at[k][0], y = (float)at[k][1];

            points[i] = way / 2 == 0   ? (lb_vec3){x, y, 3}
                        : way / 2 == 1 ? (lb_vec3){-2, x, y}
                        : way / 2 == 2 ? (lb_vec3){y, 100, x}
                                       : (lb_vec3){x, y, x + 2 * y};
        }
        cr_assert(lb_triangulate(&cutter, points, count, out, &cut) == LB_OK);
        cr_expect(cut == LB_CUT_SOUND, "%s, way %d: cut %d", name, way, (int)cut);
        for (int32_t t = 0; t < count - 2; t++) {
            uint32_t c[3];
            double area;

            for (int i = 0; i < 3; i++) {
                cr_assert(out[3 * t + i] < (uint32_t)count);
                c[i] = way & 1 ? (uint32_t)count - 1 - out[3 * t + i] : out[3 * t + i];
            }
            area = twice_area(at, c[0], c[1], c[2]) * (way & 1 ? -1 : 1) * (whole < 0 ? -1 : 1);
            cr_expect(area >= -slack, "%s, way %d: triangle %d turns the other way: %g", name, way,
                      t, area);
            sum += area;
        }
        cr_expect(fabs(sum - fabs(whole)) <= 1e-9 * fabs(whole) + slack, "%s, way %d: %g, not %g",
                  name, way, sum, fabs(whole));
        lb_cutter_clear(&cutter);
    }
}

#define EXPECT_CUT(name, ...)                                                                      \
    do {                                                                                           \
        static const double at[][2] = __VA_ARGS__;                                                 \
        expect_cut(name, at, (int32_t)(sizeof at / sizeof at[0]), 0);                              \
    } while (0)

Test(triangulate, simple_polygons)
{
    EXPECT_CUT("triangle", {{0, 0}, {4, 0}, {0, 3}});
    EXPECT_CUT("square", {{0, 0}, {1, 0}, {1, 1}, {0, 1}});
    EXPECT_CUT("dart", {{0, 0}, {4, 2}, {0, 4}, {1, 2}});
    EXPECT_CUT("dart from its hollow", {{1, 2}, {0, 0}, {4, 2}, {0, 4}});
    EXPECT_CUT("L", {{0, 0}, {3, 0}, {3, 1}, {1, 1}, {1, 3}, {0, 3}});
    EXPECT_CUT("corners on straight edges",
               {{0, 0}, {1, 0}, {2, 0}, {2, 1}, {2, 2}, {1, 2}, {0, 2}});
    EXPECT_CUT("triangle with corners on all edges",
               {{0, 0}, {1, 0}, {2, 0}, {3, 0}, {2, 1}, {1, 2}, {0, 3}, {0, 2}, {0, 1}});
    EXPECT_CUT("comb", {{0, 0},
                        {7, 0},
                        {7, 4},
                        {6, 4},
                        {6, 1},
                        {5, 1},
                        {5, 4},
                        {4, 4},
                        {4, 1},
                        {3, 1},
                        {3, 4},
                        {2, 4},
                        {2, 1},
                        {1, 1},
                        {1, 4},
                        {0, 4}});
    EXPECT_CUT(
        "star",
        {{0, 10}, {-2, 3}, {-9, 3}, {-4, -1}, {-6, -8}, {0, -4}, {6, -8}, {4, -1}, {9, 3}, {2, 3}});
    EXPECT_CUT("square with a hole",
               {{0, 0}, {6, 0}, {6, 6}, {0, 6}, {0, 0}, {2, 2}, {2, 4}, {4, 4}, {4, 2}, {2, 2}});
    EXPECT_CUT("square with two holes", {{0, 0},
                                         {9, 0},
                                         {9, 9},
                                         {7, 6},
                                         {7, 4},
                                         {5, 4},
                                         {5, 6},
                                         {7, 6},
                                         {9, 9},
                                         {0, 9},
                                         {0, 0},
                                         {1, 1},
                                         {1, 3},
                                         {3, 3},
                                         {3, 1},
                                         {1, 1}});
}

/* Corners at angles that go up: the middle sees all of them, so nothing crosses. */
Test(triangulate, stars_of_any_shape)
{
    static double at[400][2];
    uint64_t state = 5;

    for (int round = 0; round < 60; round++) {
        int32_t count = 3 + round * 6;

        for (int32_t i = 0; i < count; i++) {
            double angle = 2 * LB_PI * i / count, r;

            state = state * 6364136223846793005u + 1442695040888963407u;
            r = 0.5 + (double)(state >> 40) / (1 << 24);
            at[i][0] = (float)(r * lb_cos(angle)); /* what a float holds, so that areas are exact */
            at[i][1] = (float)(r * lb_sin(angle));
        }
        expect_cut("random star", (const double(*)[2])at, count, 0);
    }
}

/* A band that winds inwards, 1 wide with 1 between: nearly all corners on its inside are hollow. */
Test(triangulate, a_spiral)
{
    static double at[1000][2], inner[1000][2];
    int32_t count = 0, turns = 240;
    double x = 0, y = 0, length = 2 * turns + 2;

    for (int32_t i = 0; i < turns; i++) {
        static const int way[4][2] = {{1, 0}, {0, 1}, {-1, 0}, {0, -1}};
        const int *to = way[i % 4], *from = way[(i + 3) % 4];

        at[count][0] = x;
        at[count][1] = y;
        inner[count][0] = x - from[0] + to[0]; /* 1 to the left of both edges that meet here */
        inner[count][1] = y - from[1] + to[1];
        if (i == 0) {
            inner[count][0] = x;
            inner[count][1] = y + 1;
        }
        count++;
        x += to[0] * length;
        y += to[1] * length;
        length -= i >= 1 ? 2 : 0;
    }
    for (int32_t i = 0; i < count; i++) {
        at[2 * count - 1 - i][0] = inner[i][0];
        at[2 * count - 1 - i][1] = inner[i][1];
    }
    expect_cut("spiral", (const double(*)[2])at, 2 * count, 0);
}

Test(triangulate, what_is_no_simple_polygon)
{
    static const lb_vec3 line[] = {{0, 0, 0}, {1, 1, 1}, {2, 2, 2}, {3, 3, 3}};
    static const lb_vec3 point[] = {{1, 1, 1}, {1, 1, 1}, {1, 1, 1}, {1, 1, 1}, {1, 1, 1}};
    static const lb_vec3 bow[] = {{0, 0, 0}, {4, 4, 0}, {4, 0, 0}, {0, 3, 0}};
    static const lb_vec3 twice[] = {{0, 0, 0}, {4, 0, 0}, {2, 3, 0},
                                    {0, 0, 0}, {4, 0, 0}, {2, 3, 0}};
    static const struct {
        const char *name;
        const lb_vec3 *points;
        int32_t count;
        lb_cut cut;
    } rows[] = {
        {"a line", line, 4, LB_CUT_NO_AREA},
        {"a point", point, 5, LB_CUT_NO_AREA},
        {"a bow tie", bow, 4, LB_CUT_CROSSING},
        {"twice round", twice, 6, LB_CUT_SOUND},
    };

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        lb_cutter cutter = {0};
        uint32_t out[12];
        lb_cut cut;

        cr_expect(lb_triangulate(&cutter, rows[i].points, rows[i].count, out, &cut) == LB_OK);
        for (int32_t k = 0; k < 3 * (rows[i].count - 2); k++)
            cr_expect(out[k] < (uint32_t)rows[i].count, "%s", rows[i].name);
        if (i != 3) /* twice round is sound or not: both cover it */
            cr_expect(cut == rows[i].cut, "%s: %d", rows[i].name, (int)cut);
        lb_cutter_clear(&cutter);
    }
}

/* Convex polygons have no limit; others take the square of their corners, knots too. */
Test(triangulate, big_polygons)
{
    static lb_vec3 points[200000];
    uint32_t *out = calloc(3 * 200000, sizeof *out);
    lb_cutter cutter = {0};
    uint64_t state = 9;
    lb_cut cut;

    cr_assert(out);
    for (int32_t i = 0; i < 200000; i++)
        points[i] = (lb_vec3){(float)i, (float)i * (float)i, 1};
    cr_expect(lb_triangulate(&cutter, points, 2000, out, &cut) == LB_OK && cut == LB_CUT_SOUND);
    points[0].y = -1e9f;
    cr_expect(lb_triangulate(&cutter, points, LB_TRIANGULATE_MOST + 1, out, &cut) == LB_OK);
    for (int32_t i = 0; i < LB_TRIANGULATE_MOST + 1; i++) {
        state = state * 6364136223846793005u + 1442695040888963407u;
        points[i] = (lb_vec3){(float)(state >> 40), (float)(state >> 20 & 0xFFFFFF), 0};
    }
    cr_expect(lb_triangulate(&cutter, points, LB_TRIANGULATE_MOST, out, &cut) == LB_OK);
    cr_expect(cut == LB_CUT_CROSSING);
    cr_expect(lb_triangulate(&cutter, points, LB_TRIANGULATE_MOST + 1, out, &cut) == LB_OK);
    cr_expect(cut == LB_CUT_TOO_LONG);
    lb_cutter_clear(&cutter);
    free(out);
}

Test(triangulate, says_when_there_is_no_memory)
{
    static const lb_vec3 dart[] = {{0, 0, 0}, {4, 2, 0}, {0, 4, 0}, {1, 2, 0}};

    for (int64_t n = 1;; n++) {
        lb_cutter cutter = {0};
        uint32_t out[6];
        lb_cut cut;
        lb_status status;

        lb_memory_fail_at(n);
        status = lb_triangulate(&cutter, dart, 4, out, &cut);
        lb_cutter_clear(&cutter);
        if (lb_memory_fail_left() > 0) {
            lb_memory_fail_at(0);
            cr_expect(status == LB_OK && n > 1);
            break;
        }
        cr_expect(status == LB_MEMORY);
    }
}
