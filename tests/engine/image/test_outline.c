/* tests/engine/image/test_outline.c: areas of polygons in pixels by clipping (Sutherland and
 * Hodgman, CACM 17(1), 1974) and the shoelace formula, in tests/data/tables/coverage.csv; areas of
 * circles; non-zero winding as SVG 2, section 13.4.2, has it. */
#include <criterion/criterion.h>
#include <math.h>

#include "engine/image/outline.h"
#include "tests/support/table.h"

static void polygon(lb_outline *o, const double (*points)[2], int count)
{
    lb_outline_move(o, points[0][0], points[0][1]);
    for (int i = 1; i < count; i++)
        lb_outline_line(o, points[i][0], points[i][1]);
    lb_outline_close(o);
}

static void rectangle(lb_outline *o, double x0, double y0, double x1, double y1)
{
    double corners[4][2] = {{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}};

    polygon(o, (const double(*)[2])corners, 4);
}

static lb_plane *fill(const lb_outline *o, lb_box box)
{
    lb_plane *plane = NULL;

    cr_assert(!o->failed && lb_outline_fill(NULL, o, box, &plane) == LB_OK);
    return plane;
}

static double sum(const lb_plane *plane)
{
    lb_box box = lb_plane_box(plane);
    double all = 0;

    for (int32_t y = box.y0; y < box.y1; y++)
        for (int32_t x = box.x0; x < box.x1; x++)
            all += (double)lb_plane_at(plane, x, y);
    return all;
}

/* Corners go to a grid of 2^-16, which moves an area by less than 4 times that. */
Test(outline, triangles)
{
    table t = table_load("coverage");

    for (int i = 0; i < t.rows; i++) {
        double points[3][2] = {{table_number(&t, i, "x0"), table_number(&t, i, "y0")},
                               {table_number(&t, i, "x1"), table_number(&t, i, "y1")},
                               {table_number(&t, i, "x2"), table_number(&t, i, "y2")}};
        int32_t x = (int32_t)table_number(&t, i, "column");
        int32_t y = (int32_t)table_number(&t, i, "row");
        lb_outline o = {0};
        lb_plane *plane;

        polygon(&o, (const double(*)[2])points, 3);
        plane = fill(&o, (lb_box){x, y, x + 1, y + 1});
        cr_expect(fabs((double)lb_plane_at(plane, x, y) - table_number(&t, i, "coverage")) <
                      4 * 0x1p-16,
                  "%s (%d, %d): %.9g, not %.9g", table_text(&t, i, "triangle"), (int)x, (int)y,
                  (double)lb_plane_at(plane, x, y), table_number(&t, i, "coverage"));
        lb_plane_unref(&plane);
        lb_outline_clear(&o);
    }
    table_free(&t);
}

Test(outline, rectangles_are_exact)
{
    lb_outline o = {0};
    lb_plane *plane;

    rectangle(&o, 1.25, 2.5, 4.75, 3.75);
    cr_expect(lb_box_equal(lb_outline_box(&o), (lb_box){1, 2, 5, 4}));
    plane = fill(&o, (lb_box){0, 0, 7, 6});
    cr_expect(lb_plane_at(plane, 1, 2) == 0.375f && lb_plane_at(plane, 2, 2) == 0.5f);
    cr_expect(lb_plane_at(plane, 4, 2) == 0.375f && lb_plane_at(plane, 2, 3) == 0.75f);
    cr_expect(lb_plane_at(plane, 4, 3) == 0.5625f && lb_plane_at(plane, 5, 2) == 0.0f);
    cr_expect(lb_plane_at(plane, 0, 3) == 0.0f && lb_plane_at(plane, 2, 4) == 0.0f);
    cr_expect(sum(plane) == 3.5 * 1.25);
    lb_plane_unref(&plane);
    lb_outline_clear(&o);
}

/* The same shape turned the other way, overlapped by itself, and with a hole. */
Test(outline, winding)
{
    lb_outline o = {0};
    lb_plane *plane;

    rectangle(&o, 1, 1, 5, 5);
    rectangle(&o, 3, 3, 8, 8); /* overlaps and turns the same way: counted once */
    plane = fill(&o, (lb_box){0, 0, 9, 9});
    cr_expect(lb_plane_at(plane, 4, 4) == 1 && sum(plane) == 16 + 25 - 4);
    lb_plane_unref(&plane);
    lb_outline_clear(&o);
    rectangle(&o, 1, 1, 7, 7);
    rectangle(&o, 5, 3, 3, 5); /* x swapped: turns the other way */
    plane = fill(&o, (lb_box){0, 0, 9, 9});
    cr_expect(lb_plane_at(plane, 4, 4) == 0 && sum(plane) == 36 - 4);
    lb_plane_unref(&plane);
    lb_outline_clear(&o);
    rectangle(&o, 5, 3, 3, 5);
    plane = fill(&o, (lb_box){0, 0, 9, 9});
    cr_expect(lb_plane_at(plane, 4, 4) == 1 && sum(plane) == 4);
    lb_plane_unref(&plane);
    lb_outline_clear(&o);
}

/* Four cubics with handles of 0.5522847498 r stand in for a circle (common practice); their area is
 * within 0.03 % of pi r^2, and flattening takes away less than 2 pi r 0.0025. */
Test(outline, circle)
{
    static const double k = 0.5522847498307936, pi = 3.14159265358979323846;

    for (double r = 0.3; r < 200; r *= 2.7) {
        double x = 100.37, y = 201.91, h = k * r, area = pi * r * r;
        lb_outline o = {0};
        lb_plane *plane;

        lb_outline_move(&o, x + r, y);
        lb_outline_cubic(&o, x + r, y + h, x + h, y + r, x, y + r);
        lb_outline_cubic(&o, x - h, y + r, x - r, y + h, x - r, y);
        lb_outline_cubic(&o, x - r, y - h, x - h, y - r, x, y - r);
        lb_outline_cubic(&o, x + h, y - r, x + r, y - h, x + r, y);
        lb_outline_close(&o);
        plane = fill(&o, lb_outline_box(&o));
        cr_expect(fabs(sum(plane) - area) < 0.0003 * area + 2 * pi * r * 0.0025 + 1e-5,
                  "r %g: %g, not %g", r, sum(plane), area);
        lb_plane_unref(&plane);
        lb_outline_clear(&o);
    }
}

/* A parabola y = x^2 / 8 from -8 to 8 under its chord at y = 8: the area is 2/3 of its box. */
Test(outline, conic)
{
    lb_outline o = {0};
    lb_plane *plane;

    lb_outline_move(&o, 2, 8);
    lb_outline_conic(&o, 10, -8, 18, 8);
    lb_outline_close(&o);
    plane = fill(&o, lb_outline_box(&o));
    cr_expect(fabs(sum(plane) - 16.0 * 8 * 2 / 3) < 0.2, "%g", sum(plane));
    lb_plane_unref(&plane);
    lb_outline_clear(&o);
}

/* Parts have the bits of the whole, and far right of the ink there is exactly nothing. */
Test(outline, parts)
{
    lb_outline o = {0};
    lb_plane *whole, *part;
    lb_box box = {-5, -5, 300, 60};

    for (int i = 0; i < 40; i++) {
        lb_outline_move(&o, 3.1 + i * 3.7, 10.3 + (i % 7) * 1.3);
        lb_outline_cubic(&o, 10 + i * 2, 4, 30 - i * 0.3, 35, 50 + i * 1.9, 41.7);
        lb_outline_conic(&o, 12, 44, 3 + i, 19);
        lb_outline_close(&o);
    }
    whole = fill(&o, box);
    cr_expect(lb_plane_at(whole, 299, 20) == 0.0f);
    for (int i = 0; i < 30; i++) {
        lb_box some = {-5 + i, -5 + i, 20 + 9 * i, 30 + i};

        part = fill(&o, some);
        for (int32_t y = some.y0; y < some.y1; y++)
            for (int32_t x = some.x0; x < some.x1; x++)
                cr_assert(lb_plane_at(part, x, y) == lb_plane_at(whole, x, y), "(%d, %d)", (int)x,
                          (int)y);
        lb_plane_unref(&part);
    }
    lb_plane_unref(&whole);
    lb_outline_clear(&o);
}

/* Moved by less than a pixel, the area stays and its middle moves by as much. */
Test(outline, subpixel_steps)
{
    double last = 0;

    for (int i = 0; i <= 50; i++) {
        double x = 5 + i * 0.02, middle = 0,
               points[3][2] = {{x, 2.2}, {x + 7.3, 9.1}, {x + 1.1, 13.7}};
        lb_outline o = {0};
        lb_plane *plane;

        polygon(&o, (const double(*)[2])points, 3);
        plane = fill(&o, (lb_box){0, 0, 20, 20});
        for (int32_t y = 0; y < 20; y++)
            for (int32_t column = 0; column < 20; column++)
                middle += (double)lb_plane_at(plane, column, y) * (column + 0.5);
        middle /= sum(plane);
        if (i > 0) /* the mean of a pixel is at its middle only nearly: a few 1/100 of a step */
            cr_expect(fabs(middle - last - 0.02) < 0.006, "step %d: %g", i, middle - last);
        last = middle;
        lb_plane_unref(&plane);
        lb_outline_clear(&o);
    }
}

Test(outline, strange_numbers)
{
    lb_outline o = {0};
    lb_plane *plane;

    lb_outline_move(&o, NAN, INFINITY);
    lb_outline_cubic(&o, 1e300, -1e300, NAN, 5, -INFINITY, 20);
    lb_outline_conic(&o, 1e30, 1e30, 3, 3);
    lb_outline_close(&o);
    plane = fill(&o, (lb_box){0, 0, 4, 4});
    for (int32_t y = 0; y < 4; y++)
        for (int32_t x = 0; x < 4; x++)
            cr_expect(lb_plane_at(plane, x, y) >= 0 && lb_plane_at(plane, x, y) <= 1);
    lb_plane_unref(&plane);
    lb_outline_clear(&o);
    cr_expect(lb_box_is_empty(lb_outline_box(&o)));
    plane = fill(&o, (lb_box){0, 0, 4, 4});
    cr_expect(sum(plane) == 0);
    lb_plane_unref(&plane);
}

Test(outline, memory_may_run_out)
{
    bool done = false;

    for (int64_t n = 1; !done; n++) {
        lb_outline o = {0};
        lb_plane *plane = NULL;
        lb_status status = LB_MEMORY;

        lb_memory_fail_at(n);
        rectangle(&o, 1, 1, 5, 5);
        if (!o.failed)
            status = lb_outline_fill(NULL, &o, (lb_box){0, 0, 8, 8}, &plane);
        done = lb_memory_fail_left() > 0;
        lb_memory_fail_at(0);
        cr_assert(done ? status == LB_OK : status == LB_MEMORY && !plane);
        lb_plane_unref(&plane);
        lb_outline_clear(&o);
    }
}
