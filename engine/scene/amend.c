/* engine/scene/amend.c: putting right what an import got wrong, in plain sight. */
#include "engine/scene/amend.h"

#include <math.h>
#include <string.h>

#include "engine/base/math.h"
#include "engine/base/memory.h"

const char *const lb_amend_names[] = {
    "visible", "position", "rotation",   "scale", "material", "color", "intensity", "decay",
    "range",   "cone",     "cone-inner", "fov",   "near",     "far",   NULL,
};

bool lb_amend_fits(lb_item_kind kind, lb_amend_field field)
{
    if (field <= LB_AMEND_SCALE)
        return true;
    if (field == LB_AMEND_MATERIAL)
        return kind == LB_ITEM_MESH;
    return kind == (field <= LB_AMEND_CONE_INNER ? LB_ITEM_LIGHT : LB_ITEM_CAMERA);
}

/* One change: where it is told, and what failed first. */
typedef struct {
    lb_scene *scene;
    lb_item *item;
    const lb_amendment *to;
    char where[160];
    lb_status status; /* of recording */
} change;

static const char *label(const lb_item *item)
{
    return item->name[0] ? item->name : item->data_name;
}

static bool has(const change *c, lb_amend_field field)
{
    return (c->to->given >> field & 1) != 0;
}

static void record(change *c, lb_amend_field field, const char *from, const char *to)
{
    if (c->status == LB_OK)
        c->status = lb_scene_add_fact(c->scene, LB_FACT_AMENDED, c->where, "%s: %s becomes %s.",
                                      lb_amend_names[field], from, to);
}

/* `count` doubles each, at most 4. */
static void record_numbers(change *c, lb_amend_field field, size_t count, const void *from,
                           const void *to)
{
    char texts[2][128];
    double n[4];

    for (size_t k = 0; k < 2; k++) {
        int at = 0;

        memcpy(n, k ? to : from, count * sizeof *n);
        for (size_t i = 0; i < count; i++)
            at += snprintf(texts[k] + at, sizeof texts[k] - (size_t)at, "%s%.7g", i ? ", " : "",
                           n[i]);
    }
    record(c, field, texts[0], texts[1]);
}

static void record_number(change *c, lb_amend_field field, double from, double to)
{
    record_numbers(c, field, 1, &from, &to);
}

/* What the item is, if that is why it cannot have the property; NULL: it can. */
static const char *lacks(const lb_item *item, lb_amend_field field)
{
    static const char *const kinds[] = {"a group", "a mesh", "a light", "a camera"};
    static const char *const lights[] = {"a point light", "a spot light", "a directional light",
                                         "an ambient light"};
    bool fades = item->light.type == LB_LIGHT_POINT || item->light.type == LB_LIGHT_SPOT;
    bool is_cone = field == LB_AMEND_CONE || field == LB_AMEND_CONE_INNER;

    if (!lb_amend_fits(item->kind, field))
        return kinds[item->kind];
    if (((field == LB_AMEND_DECAY || field == LB_AMEND_RANGE) && !fades) ||
        (is_cone && item->light.type != LB_LIGHT_SPOT))
        return lights[item->light.type];
    return field == LB_AMEND_FOV && item->camera.orthographic ? "an orthographic camera" : NULL;
}

static lb_status check_fields(const change *c, lb_diag *diag, lb_loc loc)
{
    lb_status status = LB_OK;

    for (int32_t i = 0; i < LB_AMEND_COUNT; i++) {
        lb_amend_field field = (lb_amend_field)i;
        const char *why = has(c, field) ? lacks(c->item, field) : NULL;

        if (why)
            status = lb_fail(diag, LB_INVALID, loc, "'%s' is %s and has no '%s'", label(c->item),
                             why, lb_amend_names[field]);
    }
    return status;
}

/* A unit quaternion from the columns of a rotation. */
static lb_quat quat_from_columns(lb_vec3d x, lb_vec3d y, lb_vec3d z)
{
    double trace = x.x + y.y + z.z;
    lb_quat q;

    /* Shepperd, Journal of Guidance and Control 1(3), 1978: divide by the largest of the four. */
    if (trace >= x.x && trace >= y.y && trace >= z.z)
        q = (lb_quat){y.z - z.y, z.x - x.z, x.y - y.x, 1 + trace};
    else if (x.x >= y.y && x.x >= z.z)
        q = (lb_quat){1 + x.x - y.y - z.z, y.x + x.y, z.x + x.z, y.z - z.y};
    else if (y.y >= z.z)
        q = (lb_quat){y.x + x.y, 1 + y.y - x.x - z.z, z.y + y.z, z.x - x.z};
    else
        q = (lb_quat){z.x + x.z, z.y + y.z, 1 + z.z - x.x - y.y, x.y - y.x};
    return lb_quat_normalize(q);
}

static double dot(lb_vec3d a, lb_vec3d b)
{
    return a.x * b.x + a.y * b.y + a.z * b.z;
}

static lb_vec3d scaled(lb_vec3d a, double s)
{
    return (lb_vec3d){a.x * s, a.y * s, a.z * s};
}

bool lb_trs_from_matrix(const lb_mat4 *matrix, lb_trs *out)
{
    const double *m = matrix->m;
    lb_vec3d x = {m[0], m[1], m[2]}, y = {m[4], m[5], m[6]}, z = {m[8], m[9], m[10]};
    double a = sqrt(dot(x, x)), b = sqrt(dot(y, y)), c = sqrt(dot(z, z));

    if (!(a > 0 && b > 0 && c > 0) || !(a < INFINITY && b < INFINITY && c < INFINITY))
        return false;
    if (lb_mat4_det3(matrix) < 0)
        a = -a;
    x = scaled(x, 1 / a);
    y = scaled(y, 1 / b);
    z = scaled(z, 1 / c);
    if (!(fabs(dot(x, y)) < 1e-5 && fabs(dot(y, z)) < 1e-5 && fabs(dot(x, z)) < 1e-5))
        return false;
    out->translation = (lb_vec3d){m[12], m[13], m[14]};
    out->rotation = quat_from_columns(x, y, z);
    out->scale = (lb_vec3d){a, b, c};
    return true;
}

/* Takes out the curves that would move what is set. */
static void still(lb_scene *scene, int32_t item, lb_curve_target target)
{
    size_t kept = 0;

    for (size_t i = 0; i < scene->curve_count; i++) {
        lb_curve *curve = &scene->curves[i];

        if (curve->item == item && curve->target == target) {
            lb_free(curve->times);
            lb_free(curve->values);
        } else {
            scene->curves[kept++] = *curve;
        }
    }
    scene->curve_count = kept;
}

static lb_status amend_place(change *c, int32_t index, lb_diag *diag, lb_loc loc)
{
    lb_trs *now = &c->item->trs;
    const lb_trs *to = &c->to->trs;

    if (!has(c, LB_AMEND_POSITION) && !has(c, LB_AMEND_ROTATION) && !has(c, LB_AMEND_SCALE))
        return LB_OK;
    if (c->item->has_matrix) {
        if (!lb_trs_from_matrix(&c->item->matrix, now))
            return lb_fail(diag, LB_INVALID, loc,
                           "'%s' has a matrix that shears: it cannot be placed anew",
                           label(c->item));
        c->item->has_matrix = false;
    }
    if (has(c, LB_AMEND_POSITION)) {
        record_numbers(c, LB_AMEND_POSITION, 3, &now->translation, &to->translation);
        now->translation = to->translation;
        still(c->scene, index, LB_CURVE_TRANSLATION);
    }
    if (has(c, LB_AMEND_ROTATION)) {
        record_numbers(c, LB_AMEND_ROTATION, 4, &now->rotation, &to->rotation);
        now->rotation = to->rotation;
        still(c->scene, index, LB_CURVE_ROTATION);
    }
    if (has(c, LB_AMEND_SCALE)) {
        record_numbers(c, LB_AMEND_SCALE, 3, &now->scale, &to->scale);
        now->scale = to->scale;
        still(c->scene, index, LB_CURVE_SCALE);
    }
    return LB_OK;
}

static void amend_color(change *c)
{
    lb_vec3 *now = &c->item->light.color;
    double from[3] = {now->x, now->y, now->z};
    double to[3] = {c->to->color.x, c->to->color.y, c->to->color.z};

    record_numbers(c, LB_AMEND_COLOR, 3, from, to);
    *now = c->to->color;
}

#define FULL_DEG (360 / LB_PI) /* of a half angle in radians */

static lb_status amend_light(change *c, lb_diag *diag, lb_loc loc)
{
    lb_light *now = &c->item->light;

    if (has(c, LB_AMEND_COLOR))
        amend_color(c);
    if (has(c, LB_AMEND_INTENSITY)) {
        record_number(c, LB_AMEND_INTENSITY, now->intensity, c->to->intensity);
        now->intensity = (float)c->to->intensity;
    }
    if (has(c, LB_AMEND_DECAY)) {
        record(c, LB_AMEND_DECAY, lb_decay_names[now->decay], lb_decay_names[c->to->decay]);
        now->decay = c->to->decay;
    }
    if (has(c, LB_AMEND_RANGE)) {
        record_number(c, LB_AMEND_RANGE, now->range, c->to->range);
        now->range = (float)c->to->range;
    }
    if (has(c, LB_AMEND_CONE)) {
        record_number(c, LB_AMEND_CONE, now->outer_half_rad * FULL_DEG, c->to->cone_deg);
        now->outer_half_rad = (float)(c->to->cone_deg / FULL_DEG);
    }
    if (has(c, LB_AMEND_CONE_INNER)) {
        record_number(c, LB_AMEND_CONE_INNER, now->inner_half_rad * FULL_DEG,
                      c->to->cone_inner_deg);
        now->inner_half_rad = (float)(c->to->cone_inner_deg / FULL_DEG);
    }
    if (now->inner_half_rad > now->outer_half_rad)
        return lb_fail(diag, LB_INVALID, loc,
                       "'%s': the inner cone of %.6g degrees is wider than the cone of %.6g",
                       label(c->item), now->inner_half_rad * FULL_DEG,
                       now->outer_half_rad * FULL_DEG);
    return LB_OK;
}

static lb_status amend_camera(change *c, lb_diag *diag, lb_loc loc)
{
    lb_camera *now = &c->item->camera;

    if (has(c, LB_AMEND_FOV)) {
        record_number(c, LB_AMEND_FOV, now->yfov_rad * 180 / LB_PI, c->to->fov_deg);
        now->yfov_rad = c->to->fov_deg * LB_PI / 180;
    }
    if (has(c, LB_AMEND_NEAR)) {
        record_number(c, LB_AMEND_NEAR, now->near, c->to->near);
        now->near = c->to->near;
    }
    if (has(c, LB_AMEND_FAR)) {
        record_number(c, LB_AMEND_FAR, now->far, c->to->far);
        now->far = c->to->far;
    }
    if (!(now->far > now->near))
        return lb_fail(diag, LB_INVALID, loc,
                       "'%s': the far plane at %.6g is not beyond the near one at %.6g",
                       label(c->item), now->far, now->near);
    return LB_OK;
}

/* The name of what an item's surface has now. */
static const char *material_name(const lb_item *item)
{
    const lb_mesh *mesh = item->mesh;

    if (item->material)
        return item->material->name;
    if (mesh && mesh->primitive_count == 1 && mesh->primitives[0].material)
        return mesh->primitives[0].material->name;
    return mesh && mesh->primitive_count > 1 ? "several" : "none";
}

lb_status lb_scene_amend(lb_scene *scene, int32_t item, const lb_amendment *amendment,
                         lb_diag *diag, lb_loc loc)
{
    change c = {.scene = scene, .item = &scene->items[item], .to = amendment};
    lb_status status;

    snprintf(c.where, sizeof c.where, "%s '%.120s'", lb_item_kind_names[c.item->kind],
             label(c.item));
    if ((status = check_fields(&c, diag, loc)) || (status = amend_place(&c, item, diag, loc)))
        return status;
    if (has(&c, LB_AMEND_VISIBLE)) {
        record(&c, LB_AMEND_VISIBLE, c.item->visible ? "true" : "false",
               amendment->visible ? "true" : "false");
        c.item->visible = amendment->visible;
    }
    if (has(&c, LB_AMEND_MATERIAL)) {
        record(&c, LB_AMEND_MATERIAL, material_name(c.item), amendment->material->name);
        lb_material_unref(&c.item->material);
        c.item->material = lb_material_ref(amendment->material);
    }
    if ((c.item->kind == LB_ITEM_LIGHT && (status = amend_light(&c, diag, loc))) ||
        (c.item->kind == LB_ITEM_CAMERA && (status = amend_camera(&c, diag, loc))))
        return status;
    if (c.status)
        return lb_fail(diag, c.status, loc, "no room to record an amendment");
    return LB_OK;
}

lb_status lb_scene_amend_material(lb_scene *scene, int32_t item, lb_match_fn match, void *context,
                                  const lb_material *material, int32_t *count)
{
    lb_item *at = &scene->items[item];
    lb_mesh *mesh;
    lb_status status;
    char where[160];

    *count = 0;
    if (!at->mesh || (at->material && !match(context, at->material->name)))
        return LB_OK;
    for (int32_t i = 0; i < at->mesh->primitive_count; i++)
        *count += at->material || (at->mesh->primitives[i].material &&
                                   match(context, at->mesh->primitives[i].material->name));
    if (*count == 0)
        return LB_OK;
    snprintf(where, sizeof where, "mesh '%.120s'", label(at));
    if (at->material || *count == at->mesh->primitive_count) {
        status = lb_scene_add_fact(scene, LB_FACT_AMENDED, where, "material: %s becomes %s.",
                                   material_name(at), material->name);
        lb_material_unref(&at->material);
        at->material = lb_material_ref(material);
        return status;
    }
    if ((status = lb_mesh_copy(at->mesh, &mesh)))
        return status;
    for (int32_t i = 0; i < mesh->primitive_count && status == LB_OK; i++) {
        lb_primitive *p = &mesh->primitives[i];

        if (!p->material || !match(context, p->material->name))
            continue;
        status =
            lb_scene_add_fact(scene, LB_FACT_AMENDED, where, "material of part %d: %s becomes %s.",
                              i, p->material->name, material->name);
        lb_material_unref(&p->material);
        p->material = lb_material_ref(material);
    }
    lb_mesh_unref(&at->mesh);
    at->mesh = mesh;
    return status;
}
