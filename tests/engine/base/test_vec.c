/* tests/engine/base/test_vec.c: rotation, transforms. */
#include <criterion/criterion.h>
#include <math.h>

#include "engine/base/math.h"
#include "engine/base/vec.h"

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

/* Full 4 x 4 times a column. */
static void transform(const lb_mat4 *a, const double p[4], double out[4])
{
    for (int r = 0; r < 4; r++)
        out[r] = a->m[r] * p[0] + a->m[4 + r] * p[1] + a->m[8 + r] * p[2] + a->m[12 + r] * p[3];
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
