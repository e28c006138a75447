/* engine/base/vec.h: vectors, matrices, quaternions. Column vectors; a matrix is stored by columns,
 * element (row r, column c) at m[4 * c + r]. The world is glTF's: right-handed, y up. */
#ifndef LB_BASE_VEC_H
#define LB_BASE_VEC_H

#include <stdbool.h>

typedef struct lb_vec2 {
    float x, y;
} lb_vec2;
typedef struct lb_vec3 {
    float x, y, z;
} lb_vec3;
typedef struct lb_vec4 {
    float x, y, z, w;
} lb_vec4;
/* Doubles where transforms are chained: a frame far from the origin keeps its precision. */
typedef struct lb_vec3d {
    double x, y, z;
} lb_vec3d;
typedef struct lb_quat {
    double x, y, z, w;
} lb_quat;
typedef struct lb_mat4 {
    double m[16];
} lb_mat4;

/* Translation, then rotation, then scale, read right to left: T * R * S. */
typedef struct lb_trs {
    lb_vec3d translation;
    lb_quat rotation; /* unit */
    lb_vec3d scale;
} lb_trs;

static inline lb_vec3 lb_vec3_add(lb_vec3 a, lb_vec3 b)
{
    return (lb_vec3){a.x + b.x, a.y + b.y, a.z + b.z};
}
static inline lb_vec3 lb_vec3_sub(lb_vec3 a, lb_vec3 b)
{
    return (lb_vec3){a.x - b.x, a.y - b.y, a.z - b.z};
}
static inline lb_vec3 lb_vec3_mul(lb_vec3 a, lb_vec3 b)
{
    return (lb_vec3){a.x * b.x, a.y * b.y, a.z * b.z};
}
static inline lb_vec3 lb_vec3_scale(lb_vec3 a, float s)
{
    return (lb_vec3){a.x * s, a.y * s, a.z * s};
}
static inline float lb_vec3_dot(lb_vec3 a, lb_vec3 b)
{
    return a.x * b.x + a.y * b.y + a.z * b.z;
}
static inline lb_vec3 lb_vec3_cross(lb_vec3 a, lb_vec3 b)
{
    return (lb_vec3){a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x};
}
float lb_vec3_length(lb_vec3 a);
lb_vec3 lb_vec3_normalize(lb_vec3 a); /* (0, 0, 0) stays */

lb_mat4 lb_mat4_identity(void);
lb_mat4 lb_mat4_mul(const lb_mat4 *a, const lb_mat4 *b); /* a * b: b is applied first */
double lb_mat4_det3(const lb_mat4 *a);                   /* of the upper 3 x 3; < 0 mirrors */
lb_vec3d lb_mat4_point(const lb_mat4 *a, lb_vec3d p);    /* w taken as 1, affine part */
lb_vec3d lb_mat4_direction(const lb_mat4 *a, lb_vec3d d);
lb_mat4 lb_mat4_from_trs(const lb_trs *trs);

lb_quat lb_quat_identity(void);
lb_quat lb_quat_normalize(lb_quat q);
lb_quat lb_quat_mul(lb_quat a, lb_quat b); /* b is applied first */
/* XYZ Euler angles in degrees, applied x first: Rz * Ry * Rx. */
lb_quat lb_quat_from_euler_deg(double x, double y, double z);
lb_quat lb_quat_from_axis(lb_vec3d axis, double angle_rad);
/* glTF 2.0, appendix C.4, the shorter way round. */
lb_quat lb_quat_slerp(lb_quat a, lb_quat b, double t);
/* Turns -z to face from `eye` to `target`, y as near to up (0, 1, 0) as can be. */
lb_quat lb_quat_look(lb_vec3d eye, lb_vec3d target);
lb_vec3d lb_quat_rotate(lb_quat q, lb_vec3d v);

#endif
