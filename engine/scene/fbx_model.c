/* engine/scene/fbx_model.c: transforms of models. The formula is common practice, from memory:
 *
 *   T Roff Rp Rpre R Rpost^-1 Rp^-1 Soff Sp S Sp^-1
 *
 * with Lcl Translation T, Rotation R and Scaling S, offsets and pivots of rotation and scaling, and
 * the rotations before and after R, which are XYZ whatever R's order is. */
#include <math.h>

#include "engine/base/math.h"
#include "engine/scene/fbx_read.h"

lb_quat fbx_euler(int64_t order, lb_vec3d degrees)
{
    static const int axes[6][3] = {{0, 1, 2}, {0, 2, 1}, {1, 2, 0},
                                   {1, 0, 2}, {2, 0, 1}, {2, 1, 0}};
    const double angles[3] = {degrees.x, degrees.y, degrees.z};
    lb_quat out = lb_quat_identity();

    for (int i = 0; i < 3; i++) {
        int axis = axes[order >= 0 && order < 6 ? order : 0][i];
        double half = angles[axis] * LB_PI / 360, s = lb_sin(half);
        lb_quat turn = {axis == 0 ? s : 0, axis == 1 ? s : 0, axis == 2 ? s : 0, lb_cos(half)};

        out = lb_quat_mul(turn, out);
    }
    return out;
}

static lb_vec3d sum(lb_vec3d a, lb_vec3d b)
{
    return (lb_vec3d){a.x + b.x, a.y + b.y, a.z + b.z};
}

static lb_quat inverse(lb_quat q)
{
    return (lb_quat){-q.x, -q.y, -q.z, q.w};
}

/* In the file's own space. */
static lb_trs file_trs(const fbx_model *m, const lb_vec3d lcl[3])
{
    lb_vec3d s = lcl[2], sp = m->scaling_pivot, rp = m->rotation_pivot, inner;
    lb_trs out = {.rotation = fbx_euler(m->is_turned ? m->order : 0, lcl[1]), .scale = s};

    if (m->is_turned)
        out.rotation = lb_quat_mul(lb_quat_mul(m->pre, out.rotation), inverse(m->post));
    inner = (lb_vec3d){sp.x - s.x * sp.x + m->scaling_offset.x - rp.x,
                       sp.y - s.y * sp.y + m->scaling_offset.y - rp.y,
                       sp.z - s.z * sp.z + m->scaling_offset.z - rp.z};
    out.translation =
        sum(sum(lcl[0], sum(m->rotation_offset, rp)), lb_quat_rotate(out.rotation, inner));
    return out;
}

lb_trs fbx_model_trs(const fbx *g, const fbx_model *model, const lb_vec3d lcl[3])
{
    lb_trs out = file_trs(model, lcl);

    out.translation = fbx_point(g, out.translation);
    out.rotation = lb_quat_normalize(lb_quat_mul(fbx_rotation(g, out.rotation), model->aim));
    out.scale = fbx_size(g, out.scale);
    return out;
}

bool fbx_geometric(fbx *g, const fbx_object *model, lb_mat4 *out)
{
    lb_vec3d t = {0, 0, 0}, r = {0, 0, 0}, s = {1, 1, 1};
    lb_trs trs;

    (void)fbx_vector(g, model, "GeometricTranslation", &t);
    (void)fbx_vector(g, model, "GeometricRotation", &r);
    (void)fbx_vector(g, model, "GeometricScaling", &s);
    trs = (lb_trs){t, fbx_euler(0, r), s};
    *out = lb_mat4_from_trs(&trs);
    return t.x != 0 || t.y != 0 || t.z != 0 || r.x != 0 || r.y != 0 || r.z != 0 || s.x != 1 ||
           s.y != 1 || s.z != 1;
}

/* Pre- and post-rotation and the order count where RotationActive is on. A file that gives one of
 * them and does not say is taken to mean them; one that says no is believed. */
static void read_turns(fbx *g, const fbx_object *object, fbx_model *m)
{
    lb_vec3d pre = {0, 0, 0}, post = {0, 0, 0};
    fbx_origin order = fbx_integer(g, object, "RotationOrder", &m->order), active;
    bool is_given = fbx_vector(g, object, "PreRotation", &pre) == FBX_AUTHORED;
    char where[FBX_WHERE];
    int64_t on = 0;

    is_given |= fbx_vector(g, object, "PostRotation", &post) == FBX_AUTHORED;
    is_given |= order == FBX_AUTHORED && m->order != 0;
    active = fbx_integer(g, object, "RotationActive", &on);
    m->is_turned = active == FBX_AUTHORED ? on != 0 : is_given || on != 0;
    m->pre = fbx_euler(0, pre);
    m->post = fbx_euler(0, post);
    fbx_where(where, object, "RotationActive");
    if (is_given && !m->is_turned)
        fbx_fact(g, LB_FACT_DROPPED, where,
                 "It is off: RotationOrder, PreRotation and PostRotation do not count.");
    else if (is_given && active != FBX_AUTHORED)
        fbx_fact(g, LB_FACT_ASSUMED, where,
                 "Not given, but RotationOrder, PreRotation or PostRotation is: they count.");
    if (m->order < 0 || m->order > 5) {
        fbx_fact(g, LB_FACT_DROPPED, fbx_where(where, object, "RotationOrder"),
                 "Order %lld is not read: XYZ.", (long long)m->order);
        m->order = 0;
    }
}

/* 3 x 3 by rows. */
static void multiply(const double a[9], const double b[9], double out[9])
{
    double product[9];

    for (int r = 0; r < 3; r++)
        for (int c = 0; c < 3; c++)
            product[3 * r + c] =
                a[3 * r] * b[c] + a[3 * r + 1] * b[3 + c] + a[3 * r + 2] * b[6 + c];
    for (int i = 0; i < 9; i++)
        out[i] = product[i];
}

static void linear_of(lb_quat q, lb_vec3d s, double out[9])
{
    lb_trs trs = {{0, 0, 0}, q, s};
    lb_mat4 m = lb_mat4_from_trs(&trs);

    for (int r = 0; r < 3; r++)
        for (int c = 0; c < 3; c++)
            out[3 * r + c] = m.m[4 * c + r];
}

static bool invert(const double a[9], double out[9])
{
    double x = a[4] * a[8] - a[5] * a[7], y = a[5] * a[6] - a[3] * a[8],
           z = a[3] * a[7] - a[4] * a[6], det = a[0] * x + a[1] * y + a[2] * z;
    const double cofactors[9] = {x, a[2] * a[7] - a[1] * a[8], a[1] * a[5] - a[2] * a[4],
                                 y, a[0] * a[8] - a[2] * a[6], a[2] * a[3] - a[0] * a[5],
                                 z, a[1] * a[6] - a[0] * a[7], a[0] * a[4] - a[1] * a[3]};

    if (!(fabs(det) > 1e-30) || !(fabs(det) < 1e60))
        return false;
    for (int i = 0; i < 9; i++)
        out[i] = cofactors[i] / det;
    return true;
}

static bool is_even(lb_vec3d s)
{
    return s.x == s.y && s.y == s.z;
}

/* The item gets a matrix: what the inherit type makes has shear, or undoes an uneven scale. */
static void set_matrix(fbx *g, const fbx_model *m, const fbx_model *above, lb_item *item)
{
    lb_mat4 aim;
    lb_trs turn = {{0, 0, 0}, m->aim, {1, 1, 1}};
    double back[9], local[9];
    lb_vec3d t = item->trs.translation;

    if (!invert(above->world_linear, back))
        return;
    multiply(back, m->world_linear, local);
    item->matrix = lb_mat4_identity();
    for (int r = 0; r < 3; r++)
        for (int c = 0; c < 3; c++)
            item->matrix.m[4 * c + r] =
                g->sign[r] * g->sign[c] * local[3 * g->axis[r] + g->axis[c]];
    aim = lb_mat4_from_trs(&turn);
    item->matrix = lb_mat4_mul(&item->matrix, &aim);
    item->matrix.m[12] = t.x;
    item->matrix.m[13] = t.y;
    item->matrix.m[14] = t.z;
    item->has_matrix = true;
}

/* The world's rotation and linear part after the inherit type: 0 RrSs, the parent's scale behind
 * the own rotation; 1 RSrs, plain products; 2 Rrs, without the parent's own scale. From memory. */
static void inherit(fbx *g, fbx_model *m, const fbx_model *above)
{
    lb_item *item = &g->scene->items[m->item];
    lb_trs own = file_trs(m, m->lcl);
    lb_vec3d even = {1, 1, 1};
    double r[9], s[9], shear[9], back[9];

    linear_of(own.rotation, even, r);
    linear_of(lb_quat_identity(), own.scale, s);
    m->is_uniform = (!above || above->is_uniform) && is_even(own.scale);
    m->world_rotation = above ? lb_quat_mul(above->world_rotation, own.rotation) : own.rotation;
    if (!above || m->inherit == 1 || (m->inherit == 0 && above->is_uniform)) {
        multiply(r, s, m->world_linear);
        if (above)
            multiply(above->world_linear, m->world_linear, m->world_linear);
        return;
    }
    /* The parent's world without its rotation, and for type 2 without its own scale. */
    linear_of(inverse(above->world_rotation), even, back);
    multiply(back, above->world_linear, shear);
    if (m->inherit == 2) {
        lb_vec3d a = above->lcl[2];

        if (a.x == 0 || a.y == 0 || a.z == 0)
            a = even;
        linear_of(lb_quat_identity(), (lb_vec3d){1 / a.x, 1 / a.y, 1 / a.z}, back);
        multiply(shear, back, shear);
    }
    linear_of(m->world_rotation, even, r);
    multiply(r, shear, m->world_linear);
    multiply(m->world_linear, s, m->world_linear);
    if (m->inherit == 2 && is_even(above->lcl[2]) && above->is_uniform) {
        double a = above->lcl[2].x != 0 ? above->lcl[2].x : 1;

        item->trs.scale =
            (lb_vec3d){item->trs.scale.x / a, item->trs.scale.y / a, item->trs.scale.z / a};
    } else {
        set_matrix(g, m, above, item);
    }
}

static void tell_inherit(fbx *g, const fbx_object *object, const fbx_model *m,
                         const fbx_model *above)
{
    char where[FBX_WHERE];

    fbx_where(where, object, "InheritType");
    if (m->inherit < 0 || m->inherit > 2)
        fbx_fact(g, LB_FACT_ASSUMED, where, "Type %lld is not known: plain products (1).",
                 (long long)m->inherit);
    else if (above && g->scene->items[m->item].has_matrix)
        fbx_fact(g, LB_FACT_CONVERTED, where,
                 "Type %lld under an uneven scale becomes a matrix, as it is at rest.",
                 (long long)m->inherit);
    else if (above && m->inherit == 2 &&
             (above->lcl[2].x != 1 || above->lcl[2].y != 1 || above->lcl[2].z != 1))
        fbx_fact(g, LB_FACT_CONVERTED, where,
                 "Type 2: the scale of the parent is divided out, as it is at rest.");
}

void fbx_model_transform(fbx *g, fbx_model *m)
{
    const fbx_object *object = &g->objects[m->object];
    const fbx_model *above = m->parent == FBX_NONE ? NULL : &g->models[m->parent];

    m->lcl[0] = m->lcl[1] = (lb_vec3d){0, 0, 0};
    m->lcl[2] = (lb_vec3d){1, 1, 1};
    (void)fbx_vector(g, object, "Lcl Translation", &m->lcl[0]);
    (void)fbx_vector(g, object, "Lcl Rotation", &m->lcl[1]);
    (void)fbx_vector(g, object, "Lcl Scaling", &m->lcl[2]);
    (void)fbx_vector(g, object, "RotationOffset", &m->rotation_offset);
    (void)fbx_vector(g, object, "RotationPivot", &m->rotation_pivot);
    (void)fbx_vector(g, object, "ScalingOffset", &m->scaling_offset);
    (void)fbx_vector(g, object, "ScalingPivot", &m->scaling_pivot);
    (void)fbx_integer(g, object, "InheritType", &m->inherit);
    read_turns(g, object, m);
    g->scene->items[m->item].trs = fbx_model_trs(g, m, m->lcl);
    inherit(g, m, above);
    tell_inherit(g, object, m, above);
}
