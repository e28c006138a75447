/* tests/engine/base/test_vec.c: projection, rotation, inversion. */
#include <criterion/criterion.h>
#include <math.h>

#include "engine/base/math.h"
#include "engine/base/vec.h"

/* glTF 2.0, section 3.10.3, with its own example (yfov 0.660593, aspect 1.5, near 0.01, far 100);
 * pixels of a 1920 x 1080 frame computed from the formula in double precision. */
static const struct {
    double yfov, aspect, near, far, x, y, z, pixel_x, pixel_y, ndc_z;
} projections[] = {
    {0.660593, 1.5, 0.01, 100, 0, 0, -1.5, 960, 540, 0.98686535},
    {0.660593, 1.5, 0.01, 100, 0.5, -0.25, -2, 1426.668, 736.87555, 0.99019902},
    {0.660593, 1.5, 0.01, 100, 1, 0.7, -5, 1333.3344, 319.49939, 0.99619962},
    {0.660593, 1.5, 0.01, 100, -3, 1.5, -50, 847.99969, 492.74987, 0.99979998},
    {0.660593, 1.5, 0.01, INFINITY, 0, 0, -1.5, 960, 540, 0.98666667},
    {0.660593, 1.5, 0.01, INFINITY, 0.5, -0.25, -2, 1426.668, 736.87555, 0.99},
    {0.660593, 1.5, 0.01, INFINITY, 1, 0.7, -5, 1333.3344, 319.49939, 0.996},
    {0.660593, 1.5, 0.01, INFINITY, -3, 1.5, -50, 847.99969, 492.74987, 0.9996},
    {0.4712389, 1.777777777778, 1, 2000, 0, 0, -1.5, 960, 540, -0.33299983},
    {0.4712389, 1.777777777778, 1, 2000, 0.5, -0.25, -2, 1522.3155, 821.15773, 0.00050025013},
    {0.4712389, 1.777777777778, 1, 2000, 1, 0.7, -5, 1409.8524, 225.10334, 0.6008004},
    {0.4712389, 1.777777777778, 1, 2000, -3, 1.5, -50, 825.04429, 472.52214, 0.96098049},
    {0.4712389, 1.777777777778, 10, 20000, 0, 0, -1.5, 960, 540, -12.339003},
    {0.4712389, 1.777777777778, 10, 20000, 1, 0.7, -5, 1409.8524, 225.10334, -3.0010005},
};

/* Full 4 x 4 times (p, 1). */
static void transform(const lb_mat4 *a, const double p[4], double out[4])
{
    for (int r = 0; r < 4; r++)
        out[r] = a->m[r] * p[0] + a->m[4 + r] * p[1] + a->m[8 + r] * p[2] + a->m[12 + r] * p[3];
}

Test(vec, perspective_meets_the_table)
{
    for (size_t i = 0; i < sizeof projections / sizeof projections[0]; i++) {
        double p[4] = {projections[i].x, projections[i].y, projections[i].z, 1}, clip[4], x, y;
        lb_mat4 m = lb_mat4_perspective(projections[i].yfov, projections[i].aspect,
                                        projections[i].near, projections[i].far);

        transform(&m, p, clip);
        x = (clip[0] / clip[3] + 1) * 1920 / 2;
        y = (1 - clip[1] / clip[3]) * 1080 / 2;
        /* The table has eight digits, its field of view seven. */
        cr_expect(fabs(x - projections[i].pixel_x) < 2e-4, "row %zu: x %.9g", i, x);
        cr_expect(fabs(y - projections[i].pixel_y) < 2e-4, "row %zu: y %.9g", i, y);
        cr_expect(fabs(clip[2] / clip[3] - projections[i].ndc_z) <
                      1e-8 * fmax(1, fabs(projections[i].ndc_z)) * 10,
                  "row %zu: z %.9g", i, clip[2] / clip[3]);
    }
}

/* glTF 2.0, section 3.10.3.3: x / r, y / t, near to -1 and far to 1. */
Test(vec, orthographic)
{
    lb_mat4 m = lb_mat4_orthographic(4, 2, 1, 9);
    double near[4] = {4, -2, -1, 1}, far[4] = {0, 0, -9, 1}, out[4];

    transform(&m, near, out);
    cr_expect(out[0] == 1 && out[1] == -1 && out[2] == -1 && out[3] == 1);
    transform(&m, far, out);
    cr_expect(out[2] == 1);
}

static void expect_quat(lb_quat q, double x, double y, double z, double w, double tolerance)
{
    cr_expect(fabs(q.x - x) <= tolerance && fabs(q.y - y) <= tolerance &&
                  fabs(q.z - z) <= tolerance && fabs(q.w - w) <= tolerance,
              "(%.15g, %.15g, %.15g, %.15g), not (%g, %g, %g, %g)", q.x, q.y, q.z, q.w, x, y, z, w);
}

/* glTF 2.0, appendix C.4: from the identity to a quarter turn about y; nine digits. */
Test(vec, slerp_meets_the_table)
{
    static const double rows[][3] = {
        {0, 0, 1},
        {0.1, 0.0784590957, 0.996917334},
        {0.25, 0.195090322, 0.98078528},
        {0.5, 0.382683432, 0.923879533},
        {0.75, 0.555570233, 0.831469612},
        {1, 0.707106781, 0.707106781},
    };
    lb_quat from = lb_quat_identity(), to = {0, sqrt(0.5), 0, sqrt(0.5)};
    lb_quat negated = {-to.x, -to.y, -to.z, -to.w};

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        expect_quat(lb_quat_slerp(from, to, rows[i][0]), 0, rows[i][1], 0, rows[i][2], 1e-9);
        expect_quat(lb_quat_slerp(from, negated, rows[i][0]), 0, rows[i][1], 0, rows[i][2], 1e-9);
    }
    /* No loss where the angle is small: the half of 1e-7 and of 1e-5 radians. */
    for (double angle = 1e-7; angle < 2e-5; angle *= 100) {
        lb_quat small = lb_quat_from_axis((lb_vec3d){0, 0, 1}, angle);
        expect_quat(lb_quat_slerp(from, small, 0.5), 0, 0, sin(angle / 4), cos(angle / 4), 1e-15);
    }
    expect_quat(lb_quat_slerp(to, to, 0.3), 0, sqrt(0.5), 0, sqrt(0.5), 1e-15);
}

static uint32_t state = 1;

static double next_unit(void)
{
    state = state * 1664525u + 1013904223u; /* Knuth, Seminumerical Algorithms, table 3.3.4-1 */
    return (double)(state >> 8) / 8388608.0 - 1;
}

static lb_quat next_quat(void)
{
    lb_quat q = {next_unit(), next_unit(), next_unit(), next_unit()};

    return lb_quat_normalize(q);
}

static void expect_near(lb_vec3d a, lb_vec3d b, double tolerance)
{
    cr_expect(fabs(a.x - b.x) <= tolerance && fabs(a.y - b.y) <= tolerance &&
                  fabs(a.z - b.z) <= tolerance,
              "(%.15g, %.15g, %.15g), not (%.15g, %.15g, %.15g)", a.x, a.y, a.z, b.x, b.y, b.z);
}

/* Rz * Ry * Rx with the elementary matrices of any textbook, right-handed. */
static lb_vec3d turn(lb_vec3d v, int axis, double angle)
{
    double c = cos(angle), s = sin(angle);

    if (axis == 0)
        return (lb_vec3d){v.x, c * v.y - s * v.z, s * v.y + c * v.z};
    if (axis == 1)
        return (lb_vec3d){c * v.x + s * v.z, v.y, -s * v.x + c * v.z};
    return (lb_vec3d){c * v.x - s * v.y, s * v.x + c * v.y, v.z};
}

Test(vec, euler_angles_turn_about_x_first)
{
    for (int i = 0; i < 100; i++) {
        double x = 400 * next_unit(), y = 400 * next_unit(), z = 400 * next_unit();
        const double rad = LB_PI / 180;
        lb_vec3d v = {next_unit(), next_unit(), next_unit()};
        lb_vec3d want = turn(turn(turn(v, 0, x * rad), 1, y * rad), 2, z * rad);

        expect_near(lb_quat_rotate(lb_quat_from_euler_deg(x, y, z), v), want, 1e-14);
    }
}

Test(vec, matrices_and_quaternions_agree)
{
    for (int i = 0; i < 100; i++) {
        lb_quat a = next_quat(), b = next_quat();
        lb_vec3d v = {next_unit(), next_unit(), next_unit()}, s = {2, -3, 0.5}, t = {7, 8, 9};
        lb_trs trs = {t, a, s};
        lb_mat4 m = lb_mat4_from_trs(&trs);
        lb_vec3d scaled = {s.x * v.x, s.y * v.y, s.z * v.z}, turned = lb_quat_rotate(a, scaled);

        expect_near(lb_quat_rotate(lb_quat_mul(a, b), v), lb_quat_rotate(a, lb_quat_rotate(b, v)),
                    1e-15 * 8);
        expect_near(lb_mat4_direction(&m, v), turned, 1e-14);
        expect_near(lb_mat4_point(&m, v),
                    (lb_vec3d){turned.x + t.x, turned.y + t.y, turned.z + t.z}, 1e-14);
        cr_expect(fabs(lb_mat4_det3(&m) - s.x * s.y * s.z) < 1e-14);
    }
}

Test(vec, product_applies_the_right_one_first)
{
    for (int i = 0; i < 20; i++) {
        lb_mat4 a, b, ab;
        double v[4], bv[4], want[4], got[4];

        for (int k = 0; k < 16; k++) {
            a.m[k] = next_unit();
            b.m[k] = next_unit();
        }
        for (int k = 0; k < 4; k++)
            v[k] = next_unit();
        ab = lb_mat4_mul(&a, &b);
        transform(&b, v, bv);
        transform(&a, bv, want);
        transform(&ab, v, got);
        for (int k = 0; k < 4; k++)
            cr_expect(fabs(got[k] - want[k]) < 1e-14);
    }
}

/* a times its inverse, less the identity; the tolerance is the condition of such matrices. */
static double inverse_error(const lb_mat4 *a)
{
    lb_mat4 inverse, product;
    double worst = 0;

    cr_assert(lb_mat4_invert(a, &inverse));
    product = lb_mat4_mul(a, &inverse);
    for (int k = 0; k < 16; k++)
        worst = fmax(worst, fabs(product.m[k] - (k % 5 == 0)));
    return worst;
}

Test(vec, inverses)
{
    for (int i = 0; i < 200; i++) {
        lb_mat4 general;
        lb_trs trs = {{1e6 * next_unit(), 5, 1e-3}, next_quat(), {1e-3, 40, next_unit() + 1.01}};
        lb_mat4 affine = lb_mat4_from_trs(&trs);

        for (int k = 0; k < 16; k++)
            general.m[k] = next_unit() + 3 * (k % 5 == 0);
        cr_expect(inverse_error(&general) < 1e-13);
        cr_expect(inverse_error(&affine) < 1e-6); /* 1e6 / 1e-3 times 2^-52 */
    }
    for (size_t i = 0; i < sizeof projections / sizeof projections[0]; i++) {
        lb_mat4 m = lb_mat4_perspective(projections[i].yfov, projections[i].aspect,
                                        projections[i].near, projections[i].far);
        cr_expect(inverse_error(&m) < 1e-9);
    }
}

Test(vec, what_has_no_inverse)
{
    lb_mat4 out = lb_mat4_identity(), before = out, m;
    lb_trs flat = {{1, 2, 3}, {0.5, 0.5, 0.5, 0.5}, {1, 0, 1}};
    lb_trs tiny = {{1, 2, 3}, {0.5, 0.5, 0.5, 0.5}, {1e-30, 1e-30, 1e-30}};

    m = lb_mat4_from_trs(&flat);
    cr_expect(!lb_mat4_invert(&m, &out));
    m = lb_mat4_from_trs(&tiny); /* small, but well shaped */
    cr_expect(lb_mat4_invert(&m, &out));
    out = before;
    m = (lb_mat4){{1, 2, 3, 4, 2, 4, 6, 8, 1, 0, 0, 1, 0, 1, 1, 1}};
    cr_expect(!lb_mat4_invert(&m, &out));
    m = (lb_mat4){{1, 2, 3, 0, 4, 5, 6, 0, 7, 8, 9, 0, 0, 0, 0, 1}};
    cr_expect(!lb_mat4_invert(&m, &out));
    m = lb_mat4_identity();
    m.m[6] = NAN;
    cr_expect(!lb_mat4_invert(&m, &out));
    m.m[6] = INFINITY;
    cr_expect(!lb_mat4_invert(&m, &out));
    for (int k = 0; k < 16; k++)
        cr_expect(out.m[k] == before.m[k]);
}

Test(vec, look_turns_minus_z_to_the_target)
{
    for (int i = 0; i < 100; i++) {
        lb_vec3d eye = {next_unit(), next_unit(), next_unit()};
        lb_vec3d target = {next_unit(), next_unit(), next_unit()};
        lb_vec3d d = {target.x - eye.x, target.y - eye.y, target.z - eye.z};
        double length = sqrt(d.x * d.x + d.y * d.y + d.z * d.z);
        lb_quat q = lb_quat_look(eye, target);

        expect_near(lb_quat_rotate(q, (lb_vec3d){0, 0, -1}),
                    (lb_vec3d){d.x / length, d.y / length, d.z / length}, 1e-14);
        cr_expect(fabs(lb_quat_rotate(q, (lb_vec3d){1, 0, 0}).y) < 1e-14); /* level */
        cr_expect(lb_quat_rotate(q, (lb_vec3d){0, 1, 0}).y > 0);           /* not upside down */
    }
    expect_quat(lb_quat_look((lb_vec3d){0, 0, 0}, (lb_vec3d){0, 0, -9}), 0, 0, 0, 1, 1e-15);
    expect_quat(lb_quat_look((lb_vec3d){1, 2, 3}, (lb_vec3d){1, 2, 3}), 0, 0, 0, 1, 0);
    expect_near(lb_quat_rotate(lb_quat_look((lb_vec3d){0, 9, 0}, (lb_vec3d){0, 0, 0}),
                               (lb_vec3d){0, 0, -1}),
                (lb_vec3d){0, -1, 0}, 1e-15);
    expect_near(lb_quat_rotate(lb_quat_look((lb_vec3d){0, -9, 0}, (lb_vec3d){0, 0, 0}),
                               (lb_vec3d){0, 0, -1}),
                (lb_vec3d){0, 1, 0}, 1e-15);
}

Test(vec, edges)
{
    lb_vec3 zero = lb_vec3_normalize((lb_vec3){0, 0, 0});
    lb_vec3 big = lb_vec3_normalize((lb_vec3){3e38f, 0, 3e38f});
    lb_vec3 small = lb_vec3_normalize((lb_vec3){0, 1e-44f, 0});

    cr_expect(zero.x == 0 && zero.y == 0 && zero.z == 0);
    cr_expect(fabsf(big.x - 0.70710678f) < 1e-7f && fabsf(big.z - 0.70710678f) < 1e-7f);
    cr_expect(small.y == 1);
    cr_expect(lb_vec3_length((lb_vec3){2, 3, 6}) == 7);
    expect_quat(lb_quat_normalize((lb_quat){0, 0, 0, 0}), 0, 0, 0, 1, 0);
    expect_quat(lb_quat_from_axis((lb_vec3d){0, 0, 0}, 1), 0, 0, 0, 1, 0);
    expect_quat(lb_quat_from_axis((lb_vec3d){0, 5, 0}, LB_PI / 2), 0, sqrt(0.5), 0, sqrt(0.5),
                1e-15);
}
