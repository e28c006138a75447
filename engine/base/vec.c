/* engine/base/vec.c: vectors, matrices, quaternions. */
#include "engine/base/vec.h"

#include <math.h>

#include "engine/base/math.h"

float lb_vec3_length(lb_vec3 a)
{
    double x = a.x, y = a.y, z = a.z; /* no overflow of the squares */

    return (float)sqrt(x * x + y * y + z * z);
}

lb_vec3 lb_vec3_normalize(lb_vec3 a)
{
    double x = a.x, y = a.y, z = a.z;
    double length = sqrt(x * x + y * y + z * z);

    if (!(length > 0))
        return a;
    return (lb_vec3){(float)(x / length), (float)(y / length), (float)(z / length)};
}

lb_mat4 lb_mat4_identity(void)
{
    return (lb_mat4){{1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1}};
}

lb_mat4 lb_mat4_mul(const lb_mat4 *a, const lb_mat4 *b)
{
    lb_mat4 out;

    for (int c = 0; c < 4; c++)
        for (int r = 0; r < 4; r++)
            out.m[4 * c + r] = a->m[r] * b->m[4 * c] + a->m[4 + r] * b->m[4 * c + 1] +
                               a->m[8 + r] * b->m[4 * c + 2] + a->m[12 + r] * b->m[4 * c + 3];
    return out;
}

double lb_mat4_det3(const lb_mat4 *a)
{
    const double *m = a->m;

    return m[0] * (m[5] * m[10] - m[6] * m[9]) + m[4] * (m[9] * m[2] - m[10] * m[1]) +
           m[8] * (m[1] * m[6] - m[2] * m[5]);
}

lb_vec3d lb_mat4_point(const lb_mat4 *a, lb_vec3d p)
{
    const double *m = a->m;

    return (lb_vec3d){m[0] * p.x + m[4] * p.y + m[8] * p.z + m[12],
                      m[1] * p.x + m[5] * p.y + m[9] * p.z + m[13],
                      m[2] * p.x + m[6] * p.y + m[10] * p.z + m[14]};
}

lb_vec3d lb_mat4_direction(const lb_mat4 *a, lb_vec3d d)
{
    const double *m = a->m;

    return (lb_vec3d){m[0] * d.x + m[4] * d.y + m[8] * d.z, m[1] * d.x + m[5] * d.y + m[9] * d.z,
                      m[2] * d.x + m[6] * d.y + m[10] * d.z};
}

lb_mat4 lb_mat4_from_trs(const lb_trs *trs)
{
    lb_vec3d x = lb_quat_rotate(trs->rotation, (lb_vec3d){1, 0, 0});
    lb_vec3d y = lb_quat_rotate(trs->rotation, (lb_vec3d){0, 1, 0});
    lb_vec3d z = lb_quat_rotate(trs->rotation, (lb_vec3d){0, 0, 1});
    lb_vec3d s = trs->scale, t = trs->translation;

    return (lb_mat4){{x.x * s.x, x.y * s.x, x.z * s.x, 0, y.x * s.y, y.y * s.y, y.z * s.y, 0,
                      z.x * s.z, z.y * s.z, z.z * s.z, 0, t.x, t.y, t.z, 1}};
}

lb_quat lb_quat_identity(void)
{
    return (lb_quat){0, 0, 0, 1};
}

static double quat_dot(lb_quat a, lb_quat b)
{
    return a.x * b.x + a.y * b.y + a.z * b.z + a.w * b.w;
}

lb_quat lb_quat_normalize(lb_quat q)
{
    double length = sqrt(quat_dot(q, q));

    if (!(length > 0) || isinf(length))
        return lb_quat_identity();
    return (lb_quat){q.x / length, q.y / length, q.z / length, q.w / length};
}

lb_quat lb_quat_mul(lb_quat a, lb_quat b)
{
    return (lb_quat){a.w * b.x + a.x * b.w + a.y * b.z - a.z * b.y,
                     a.w * b.y - a.x * b.z + a.y * b.w + a.z * b.x,
                     a.w * b.z + a.x * b.y - a.y * b.x + a.z * b.w,
                     a.w * b.w - a.x * b.x - a.y * b.y - a.z * b.z};
}

lb_quat lb_quat_from_axis(lb_vec3d axis, double angle_rad)
{
    double length = sqrt(axis.x * axis.x + axis.y * axis.y + axis.z * axis.z);
    double s = lb_sin(0.5 * angle_rad) / length;

    if (!(length > 0))
        return lb_quat_identity();
    return (lb_quat){axis.x * s, axis.y * s, axis.z * s, lb_cos(0.5 * angle_rad)};
}

lb_quat lb_quat_from_euler_deg(double x, double y, double z)
{
    const double half = LB_PI / 360;
    lb_quat qx = {lb_sin(x * half), 0, 0, lb_cos(x * half)};
    lb_quat qy = {0, lb_sin(y * half), 0, lb_cos(y * half)};
    lb_quat qz = {0, 0, lb_sin(z * half), lb_cos(z * half)};

    return lb_quat_mul(qz, lb_quat_mul(qy, qx));
}

/* glTF 2.0, appendix C.4; nearly equal rotations, where sin a would be lost, on the chord. */
lb_quat lb_quat_slerp(lb_quat a, lb_quat b, double t)
{
    double dot = quat_dot(a, b), sign = dot < 0 ? -1 : 1;
    double angle, from, to;

    dot = fabs(dot);
    if (dot > 1 - 1e-12) {
        from = 1 - t;
        to = t;
    } else {
        angle = lb_acos(dot);
        from = lb_sin(angle * (1 - t)) / lb_sin(angle);
        to = lb_sin(angle * t) / lb_sin(angle);
    }
    to *= sign;
    return lb_quat_normalize((lb_quat){from * a.x + to * b.x, from * a.y + to * b.y,
                                       from * a.z + to * b.z, from * a.w + to * b.w});
}

/* From the columns of a rotation matrix, by the largest component so that no root is small. */
static lb_quat quat_from_axes(lb_vec3d x, lb_vec3d y, lb_vec3d z)
{
    double trace = x.x + y.y + z.z;
    lb_quat q;

    if (trace > 0)
        q = (lb_quat){y.z - z.y, z.x - x.z, x.y - y.x, 1 + trace};
    else if (x.x >= y.y && x.x >= z.z)
        q = (lb_quat){1 + x.x - y.y - z.z, x.y + y.x, z.x + x.z, y.z - z.y};
    else if (y.y >= z.z)
        q = (lb_quat){x.y + y.x, 1 + y.y - x.x - z.z, y.z + z.y, z.x - x.z};
    else
        q = (lb_quat){z.x + x.z, y.z + z.y, 1 + z.z - x.x - y.y, x.y - y.x};
    return lb_quat_normalize(q);
}

lb_quat lb_quat_look(lb_vec3d eye, lb_vec3d target)
{
    lb_vec3d x, y, z = {eye.x - target.x, eye.y - target.y, eye.z - target.z};
    double length = sqrt(z.x * z.x + z.y * z.y + z.z * z.z), flat;

    if (!(length > 0) || isinf(length))
        return lb_quat_identity();
    z = (lb_vec3d){z.x / length, z.y / length, z.z / length};
    flat = sqrt(z.x * z.x + z.z * z.z);
    /* up x z; straight up or down, where every direction is as good, x stays. */
    x = flat > 1e-9 ? (lb_vec3d){z.z / flat, 0, -z.x / flat} : (lb_vec3d){1, 0, 0};
    y = (lb_vec3d){z.y * x.z - z.z * x.y, z.z * x.x - z.x * x.z, z.x * x.y - z.y * x.x};
    return quat_from_axes(x, y, z);
}

lb_vec3d lb_quat_rotate(lb_quat q, lb_vec3d v)
{
    /* v + 2 w (u x v) + 2 u x (u x v), u the vector part. */
    lb_vec3d c = {2 * (q.y * v.z - q.z * v.y), 2 * (q.z * v.x - q.x * v.z),
                  2 * (q.x * v.y - q.y * v.x)};

    return (lb_vec3d){v.x + q.w * c.x + (q.y * c.z - q.z * c.y),
                      v.y + q.w * c.y + (q.z * c.x - q.x * c.z),
                      v.z + q.w * c.z + (q.x * c.y - q.y * c.x)};
}
