/* tests/engine/image/test_lens.c: circles of confusion by the thin lens (Potmesil and Chakravarty,
 * SIGGRAPH 1981): tests/data/tables/circle_of_confusion.csv and depth_of_field.csv. */
#include <criterion/criterion.h>
#include <math.h>

#include "engine/image/lens.h"
#include "tests/support/table.h"

Test(lens, circle_of_confusion)
{
    table t = table_load("circle_of_confusion");

    for (int i = 0; i < t.rows; i++) {
        double focus = table_number(&t, i, "focus_mm"), at = table_number(&t, i, "distance_mm");
        double c = lb_lens_confusion(table_number(&t, i, "focal_mm"),
                                     table_number(&t, i, "f_number"), focus, at);
        double want = table_number(&t, i, "coc_mm");

        cr_expect(fabs(fabs(c) - want) <= 1e-12 * fmax(want, 1), "row %d: %.17g, not %.17g", i, c,
                  want);
        cr_expect(at < focus ? c < 0 : at > focus ? c > 0 : c == 0);
    }
    table_free(&t);
}

/* At the near and the far limit of the depth of field the circle is the one it was worked out for.
 */
Test(lens, depth_of_field)
{
    table t = table_load("depth_of_field");

    for (int i = 0; i < t.rows; i++) {
        double focal = table_number(&t, i, "focal_mm"), number = table_number(&t, i, "f_number");
        double focus = table_number(&t, i, "focus_mm"), c = table_number(&t, i, "coc_mm");
        double near = lb_lens_confusion(focal, number, focus, table_number(&t, i, "near_mm"));
        double far = lb_lens_confusion(focal, number, focus, table_number(&t, i, "far_mm"));

        cr_expect(fabs(near + c) < 1e-9, "near: %g, not %g", near, -c);
        if (isfinite(table_number(&t, i, "far_mm")))
            cr_expect(fabs(far - c) < 1e-9, "far: %g, not %g", far, c);
        else
            cr_expect(far <= c);
    }
    table_free(&t);
}

Test(lens, nothing_there_is_infinitely_far)
{
    double far = lb_lens_confusion(50, 2, 1000, INFINITY);

    cr_expect(lb_lens_confusion(50, 2, 1000, 0) == far);
    cr_expect(lb_lens_confusion(50, 2, 1000, -3) == far);
    cr_expect(lb_lens_confusion(50, 2, 1000, NAN) == far);
}
