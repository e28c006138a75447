/* tests/lang/test_easing.c: lang/easing.h against tests/data/tables/easing*.csv (CSS Easing
 * Functions Level 1, computed from the published formula) and facts that the Web Platform Tests
 * assert (css/css-easing, web-animations). */
#include <criterion/criterion.h>
#include <math.h>

#include "lang/easing.h"
#include "tests/lang/messages.h"
#include "tests/support/table.h"

static lb_status read_easing(const char *text, lb_arena *arena, lb_diag *diag, lb_easing *out)
{
    lb_yaml_node *root;
    char quoted[300];
    lb_status status;
    const char *file;

    snprintf(quoted, sizeof quoted, "'%s'", text);
    file = lb_diag_add_source(diag, "f", quoted, strlen(quoted));
    status = lb_yaml_read(diag, file, quoted, strlen(quoted), arena, &root);
    cr_assert(status == LB_OK && root);
    return lb_easing_read(diag, root, arena, out);
}

/* What an easing function gives; NaN if it cannot be read. */
static double ease(const char *text, double x)
{
    lb_arena *arena = lb_arena_new();
    lb_diag *diag = lb_diag_new();
    lb_easing easing;
    double y = NAN;

    if (read_easing(text, arena, diag, &easing) == LB_OK)
        y = lb_easing_at(&easing, x);
    lb_diag_free(&diag);
    lb_arena_free(&arena);
    return y;
}

/* The table's own error: it solves for the curve's parameter by halving, to some 1e-16. Where the
 * tangent is vertical (the last control point above the end, at x = 1) that is 1e-8 of y. */
Test(easing, cubic_bezier_table)
{
    table t = table_load("easing");

    for (int i = 0; i < t.rows; i++) {
        double x = table_number(&t, i, "input"), y = table_number(&t, i, "output");
        double tolerance = table_number(&t, i, "x2") == 1 && x == 1 ? 1e-8 : 1e-12;
        const char *name = table_text(&t, i, "name");
        char text[128];
        double got;

        snprintf(text, sizeof text, "cubic-bezier(%s, %s, %s, %s)", table_text(&t, i, "x1"),
                 table_text(&t, i, "y1"), table_text(&t, i, "x2"), table_text(&t, i, "y2"));
        got = ease(text, x);
        cr_expect(fabs(got - y) <= tolerance, "%s at %g: %.17g, not %.17g", text, x, got, y);
        if (strcmp(name, "custom") != 0) {
            got = ease(name, x);
            cr_expect(fabs(got - y) <= 1e-12, "%s at %g: %.17g, not %.17g", name, x, got, y);
        }
    }
    table_free(&t);
}

/* tests/data/easing/bezier.csv. Two units in the last place of input and output: more is not in the
 * input. Where the curve stands upright (x' and with it the slope's reciprocal is 0 at a point), x
 * hardly tells where one is: there it is the cube root of that. */
Test(easing, cubic_bezier_to_the_last_digits)
{
    table t = table_load_from("easing", "bezier");
    double worst = 0;

    for (int i = 0; i < t.rows; i++) {
        double x = table_number(&t, i, "input"), y = table_number(&t, i, "output");
        double slope = table_number(&t, i, "slope"), got;
        double tolerance =
            slope < 1e6 ? 4.5e-16 * (fmax(1, fabs(y)) + slope * fmax(1, fabs(x))) : 1e-5;
        const char *name = table_text(&t, i, "name");
        char text[128];

        snprintf(text, sizeof text, "cubic-bezier(%s, %s, %s, %s)", table_text(&t, i, "x1"),
                 table_text(&t, i, "y1"), table_text(&t, i, "x2"), table_text(&t, i, "y2"));
        got = ease(text, x);
        cr_expect(fabs(got - y) <= tolerance, "%s at %.17g: %.17g, not %.17g, %g off of %g", text,
                  x, got, y, fabs(got - y), tolerance);
        worst = fmax(worst, slope < 1e6 ? fabs(got - y) / tolerance : 0);
        if (strcmp(name, "custom") != 0) {
            double named = ease(name, x);

            cr_expect(fabs(named - y) <= tolerance, "%s at %.17g: %.17g", name, x, named);
        }
    }
    cr_expect(worst > 0);
    table_free(&t);
}

Test(easing, steps_table)
{
    table t = table_load("easing_steps");

    for (int i = 0; i < t.rows; i++) {
        double x = table_number(&t, i, "input"), y = table_number(&t, i, "output"), got;
        char text[64];

        snprintf(text, sizeof text, "steps(%s, %s)", table_text(&t, i, "steps"),
                 table_text(&t, i, "position"));
        got = ease(text, x);
        cr_expect(fabs(got - y) <= 1e-15, "%s at %g: %.17g, not %.17g", text, x, got, y);
    }
    table_free(&t);
}

/* Web Platform Tests, css/css-easing/cubic-bezier-timing-functions-output. */
Test(easing, where_curves_cross)
{
    cr_expect(ease("cubic-bezier(0, 1.5, 1, 1.5)", 0.23368793) < 1);
    cr_expect(ease("cubic-bezier(0, 1.5, 1, 1.5)", 0.23368795) > 1);
    cr_expect(ease("cubic-bezier(0, -0.5, 1, -0.5)", 0.76631205) < 0);
    cr_expect(ease("cubic-bezier(0, -0.5, 1, -0.5)", 0.76631207) > 0);
}

/* Web Platform Tests, css/css-easing/linear-timing-functions-output, at the times it looks at. */
Test(easing, linear_stops)
{
    static const struct {
        const char *text;
        double x, y;
    } rows[] = {
        {"linear(0, 1.5, 1)", 0, 0},
        {"linear(0, 1.5, 1)", 0.25, 0.75},
        {"linear(0, 1.5, 1)", 0.5, 1.5},
        {"linear(0, 1.5, 1)", 0.75, 1.25},
        {"linear(0, 1.5, 1)", 1, 1},
        {"linear(1, -0.5, 0)", 0.25, 0.25},
        {"linear(1, -0.5, 0)", 0.5, -0.5},
        {"linear(1, -0.5, 0)", 0.75, -0.25},
        {"linear(0.2 0% 20%, 0.4 20% 40%, 0.6 40% 60%, 0.8 60% 80%, 1.0 80% 100%)", 0, 0.2},
        {"linear(0.2 0% 20%, 0.4 20% 40%, 0.6 40% 60%, 0.8 60% 80%, 1.0 80% 100%)", 0.2, 0.4},
        {"linear(0.2 0% 20%, 0.4 20% 40%, 0.6 40% 60%, 0.8 60% 80%, 1.0 80% 100%)", 0.4, 0.6},
        {"linear(0.2 0% 20%, 0.4 20% 40%, 0.6 40% 60%, 0.8 60% 80%, 1.0 80% 100%)", 0.8, 1},
        {"linear(0.2 0% 20%, 0.4 20% 40%, 0.6 40% 60%, 0.8 60% 80%, 1.0 80% 100%)", 1, 1},
        {"linear(0, 0.1 -10%, 1)", 0, 0.1},
        {"linear(0, 0.1 -10%, 1)", 0.1, 0.19},
        {"linear(0, 0.1 -10%, 1)", 0.55, 0.595},
        {"linear(0, 0.9 110%, 1)", 0.55, 0.45},
        {"linear(0, 0.9 110%, 1 110%)", 0.55, 0.45},
        {"linear(25% 75% 0.5, 1)", 0.5, 0.5},
        {"linear(0, 1.3, 1, 0.92, 1, 0.99, 1, 0.998, 1 100% 100%)", 0.375, 0.92},
    };

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        double y = ease(rows[i].text, rows[i].x);

        cr_expect(fabs(y - rows[i].y) <= 1e-15, "%s at %g: %.17g", rows[i].text, rows[i].x, y);
    }
}

/* The same tests' invalid values, with what is said about them and where. */
Test(easing, faults)
{
    static const struct {
        const char *text, *message;
    } rows[] = {
        {"", "f:1:2: error: unknown easing function ''\n"},
        {"easein", "f:1:2: error: unknown easing function 'easein'; did you mean 'ease-in'?\n"},
        {"linear()", "f:1:9: error: a number should be here\n"},
        {"linear(0)", "f:1:8: error: linear() takes two stops or more\n"},
        {"linear(100%)", "f:1:13: error: a number should be here\n"},
        {"linear(0% 1 50%)", "f:1:14: error: a stop is a number with one or two percentages\n"},
        {"linear(0 0% 100%)", "f:1:8: error: linear() takes two stops or more\n"},
        {"linear(0% 100% 0)", "f:1:8: error: linear() takes two stops or more\n"},
        {"cubic-bezier(1.1, 0, 1, 1)",
         "f:1:15: error: x1 of cubic-bezier is 1.1; it goes from 0 to 1\n"},
        {"cubic-bezier(0, 0, -0.1, 1)",
         "f:1:21: error: x2 of cubic-bezier is -0.1; it goes from 0 to 1\n"},
        {"cubic-bezier(0, 0, 1)", "f:1:22: error: ',' should be here\n"},
        {"cubic-bezier(0, 0, 1, 1",
         "f:1:25: error: the easing function ends where ')' should be\n"},
        {"cubic-bezier(0, a, 1, 1)", "f:1:18: error: a number should be here\n"},
        {"cubic-bezier(0, .inf, 1, 1)", "f:1:18: error: a number should be here\n"},
        {"steps(0, start)", "f:1:8: error: steps takes a whole number from 1 to 1000000\n"},
        {"steps(1, jump-none)", "f:1:8: error: steps takes a whole number from 2 to 1000000\n"},
        {"steps(2.5)", "f:1:8: error: steps takes a whole number from 1 to 1000000\n"},
        {"steps(2, middle)",
         "f:1:11: error: jump-start, jump-end, jump-none or jump-both should be here\n"},
        {"ease ease", "f:1:7: error: the easing function should end here\n"},
        {"steps", "f:1:2: error: 'steps' takes its values in brackets\n"},
        {"ease(1)", "f:1:2: error: 'ease' takes no values in brackets\n"},
    };

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        lb_arena *arena = lb_arena_new();
        lb_diag *diag = lb_diag_new();
        lb_easing easing;
        char *messages;
        lb_status status = read_easing(rows[i].text, arena, diag, &easing);

        messages = messages_of(diag);
        cr_expect(status == LB_INVALID && strcmp(messages, rows[i].message) == 0, "'%s': %s",
                  rows[i].text, messages);
        free(messages);
        lb_diag_free(&diag);
        lb_arena_free(&arena);
    }
}

/* x(s) never falls, so neither does the answer where y1 and y2 lie in 0 .. 1; and the curve read
 * the other way round is the same curve. */
Test(easing, shape)
{
    for (int a = 0; a <= 10; a++)
        for (int b = 0; b <= 10; b++) {
            lb_easing easing = {LB_EASING_BEZIER, a / 10.0, 0.5, b / 10.0, 0.75, 0, 0, 0, NULL};
            lb_easing turned = {
                LB_EASING_BEZIER, 1 - b / 10.0, 0.25, 1 - a / 10.0, 0.5, 0, 0, 0, NULL};
            double before = 0;

            for (int i = 1; i < 100; i++) {
                double y = lb_easing_at(&easing, i / 100.0);
                double back = 1 - lb_easing_at(&turned, 1 - i / 100.0);

                cr_expect(y >= before - 1e-15, "x1 %g x2 %g at %d %%", a / 10.0, b / 10.0, i);
                cr_expect(fabs(y - back) < 1e-6, "x1 %g x2 %g at %d %%: %.17g %.17g", a / 10.0,
                          b / 10.0, i, y, back);
                before = y;
            }
        }
}
