/* engine/raster/shot.c: cameras, drawables and lights out of the instants' scenes. */
#include "engine/raster/shot.h"

#include <math.h>
#include <string.h>

#include "engine/base/math.h"
#include "engine/base/memory.h"

#define MAX_FRAME 32768
#define NEAREST_PLANE 1e-6 /* for perspective cameras without a near plane */

/* What making a shot needs for a while. */
typedef struct {
    const lb_instant *instants;
    const lb_scene *scene; /* of the middle instant */
    lb_mat4 *first, *world;
    bool *moving, *visible;
} making;

static lb_status check_options(const lb_raster_options *o, int32_t count)
{
    lb_box r = o->region;
    int32_t reach = LB_GUARD_PIXELS - 2 * LB_TILE_MAX, x = o->width / 2, y = o->height / 2;

    if (o->width < 1 || o->height < 1 || !(o->pixel_aspect > 0) || o->samples < 1 ||
        o->samples > LB_MAX_SAMPLES || count < 1 || count > o->samples || lb_box_is_empty(r))
        return LB_INVALID;
    if (o->width > MAX_FRAME || o->height > MAX_FRAME || r.x0 < x - reach || r.y0 < y - reach ||
        r.x1 > x + reach || r.y1 > y + reach)
        return LB_LIMIT;
    return LB_OK;
}

static bool is_same_shape(const lb_scene *a, const lb_scene *b)
{
    if (a->item_count != b->item_count)
        return false;
    for (size_t i = 0; i < a->item_count; i++) {
        const lb_mesh *m = a->items[i].mesh, *n = b->items[i].mesh;

        if (a->items[i].kind != b->items[i].kind || !m != !n)
            return false;
        if (!m || m == n)
            continue;
        if (m->primitive_count != n->primitive_count)
            return false;
        for (int32_t k = 0; k < m->primitive_count; k++)
            if (m->primitives[k].vertex_count != n->primitives[k].vertex_count ||
                m->primitives[k].triangle_count != n->primitives[k].triangle_count)
                return false;
    }
    return true;
}

static bool is_same_array(const void *a, const void *b, size_t count, size_t size)
{
    return a == b || (a && b && memcmp(a, b, count * size) == 0);
}

/* Do both meshes look the same? Nodes that make geometry may make it anew for every instant. */
static bool is_same_mesh(const lb_mesh *a, const lb_mesh *b)
{
    if (a == b)
        return true;
    for (int32_t k = 0; k < a->primitive_count; k++) {
        const lb_primitive *p = &a->primitives[k], *q = &b->primitives[k];
        size_t n = (size_t)p->vertex_count;

        if (!is_same_array(p->positions, q->positions, n, sizeof *p->positions) ||
            !is_same_array(p->normals, q->normals, n, sizeof *p->normals) ||
            !is_same_array(p->uvs[0], q->uvs[0], n, sizeof *p->uvs[0]) ||
            !is_same_array(p->colors, q->colors, n, sizeof *p->colors))
            return false;
    }
    return true;
}

static lb_vec3d unit(double x, double y, double z, lb_vec3d otherwise)
{
    double length = sqrt(x * x + y * y + z * z);

    return length > 0 && length < INFINITY ? (lb_vec3d){x / length, y / length, z / length}
                                           : otherwise;
}

/* The camera's axes with its scale left out (glTF 2.0, 3.10.1), right-handed. */
static void camera_axes(const lb_mat4 *world, lb_vec3d axes[3])
{
    const double *m = world->m;
    lb_vec3d z = unit(m[8], m[9], m[10], (lb_vec3d){0, 0, 1});
    double along = m[4] * z.x + m[5] * z.y + m[6] * z.z;
    lb_vec3d y = unit(m[4] - along * z.x, m[5] - along * z.y, m[6] - along * z.z,
                      fabs(z.y) < 0.9 ? (lb_vec3d){0, 1, 0} : (lb_vec3d){1, 0, 0});

    axes[0] = unit(y.y * z.z - y.z * z.y, y.z * z.x - y.x * z.z, y.x * z.y - y.y * z.x,
                   (lb_vec3d){1, 0, 0});
    axes[1] = (lb_vec3d){z.y * axes[0].z - z.z * axes[0].y, z.z * axes[0].x - z.x * axes[0].z,
                         z.x * axes[0].y - z.y * axes[0].x};
    axes[2] = z;
}

/* glTF 2.0, 3.10.3, and the viewport in one: rows of X, Y, distance and w. */
static lb_status make_eye(const lb_shot *shot, const lb_camera *camera, const lb_mat4 *world,
                          lb_eye *eye)
{
    const lb_raster_options *o = &shot->options;
    double ex = world->m[12] - shot->world_origin.x, ey = world->m[13] - shot->world_origin.y;
    double ez = world->m[14] - shot->world_origin.z;
    double shift_x = o->width / 2.0 - shot->origin_x, shift_y = o->height / 2.0 - shot->origin_y;
    double scale_x, scale_y;
    lb_vec3d axes[3];

    if (camera->orthographic) {
        scale_y = camera->ymag > 0   ? o->height / (2 * camera->ymag)
                  : camera->xmag > 0 ? o->width * o->pixel_aspect / (2 * camera->xmag)
                                     : 0;
    } else {
        scale_y = camera->yfov_rad > 0 && camera->yfov_rad < LB_PI
                      ? o->height / (2 * lb_tan(camera->yfov_rad / 2))
                      : 0;
    }
    if (!(scale_y > 0 && scale_y < INFINITY))
        return LB_INVALID;
    scale_x = scale_y / o->pixel_aspect;
    camera_axes(world, axes);
    for (int row = 0; row < 4; row++) {
        /* Camera coordinates x, y, z as rows of (axis, -axis . eye), mixed. */
        double *to = eye->pixel + 4 * row;
        double a = row == 0 ? scale_x : 0, b = row == 1 ? -scale_y : 0, c = 0, d = 0;

        if (row == 2 || (row == 3 && !camera->orthographic))
            c = -1;
        else if (row == 3)
            d = 1;
        else if (camera->orthographic)
            d = row == 0 ? shift_x : shift_y;
        else
            c = row == 0 ? -shift_x : -shift_y;
        to[0] = a * axes[0].x + b * axes[1].x + c * axes[2].x;
        to[1] = a * axes[0].y + b * axes[1].y + c * axes[2].y;
        to[2] = a * axes[0].z + b * axes[1].z + c * axes[2].z;
        to[3] = d - (to[0] * ex + to[1] * ey + to[2] * ez);
    }
    eye->orthographic = camera->orthographic;
    eye->near = camera->orthographic ? camera->near : fmax(camera->near, NEAREST_PLANE);
    eye->far = camera->far;
    eye->position = (lb_vec3){(float)ex, (float)ey, (float)ez};
    eye->backward = (lb_vec3){(float)axes[2].x, (float)axes[2].y, (float)axes[2].z};
    return LB_OK;
}

static lb_mat4 camera_world(const lb_instant *instant, const lb_mat4 *world)
{
    return instant->camera >= 0 ? world[instant->camera] : instant->camera_world;
}

static const lb_camera *camera_of(const lb_instant *instant)
{
    return instant->camera >= 0 ? &instant->scene->items[instant->camera].camera
                                : &instant->camera_settings;
}

static lb_status make_eyes(lb_shot *shot, making *m)
{
    int32_t middle = shot->instant_count / 2;
    lb_mat4 world;

    for (int32_t t = 0; t < shot->instant_count; t++) {
        int32_t camera = m->instants[t].camera;

        if (camera < -1 || camera >= (int32_t)m->instants[t].scene->item_count ||
            (camera >= 0 && m->instants[t].scene->items[camera].kind != LB_ITEM_CAMERA))
            return LB_INVALID;
    }
    lb_scene_pose(m->scene, m->instants[middle].time_s, m->world, NULL);
    world = camera_world(&m->instants[middle], m->world);
    shot->world_origin = (lb_vec3d){world.m[12], world.m[13], world.m[14]};
    for (int32_t t = 0; t < shot->instant_count; t++) {
        lb_status status;

        lb_scene_pose(m->instants[t].scene, m->instants[t].time_s, m->world, NULL);
        world = camera_world(&m->instants[t], m->world);
        if ((status = make_eye(shot, camera_of(&m->instants[t]), &world, &shot->eyes[t])))
            return status;
        if (shot->eyes[t].orthographic != shot->eyes[0].orthographic)
            return LB_INVALID;
    }
    shot->orthographic = shot->eyes[0].orthographic;
    return LB_OK;
}

/* Which items are not at the same place in the picture at every instant? */
static void find_moving(const lb_shot *shot, making *m)
{
    size_t items = m->scene->item_count;
    bool all = false;

    for (int32_t t = 1; t < shot->instant_count; t++)
        all |= memcmp(shot->eyes[t].pixel, shot->eyes[0].pixel, sizeof shot->eyes[t].pixel) != 0;
    lb_scene_pose(m->instants[0].scene, m->instants[0].time_s, m->first, NULL);
    for (size_t i = 0; i < items; i++)
        m->moving[i] = all;
    for (int32_t t = 1; t < shot->instant_count && !all; t++) {
        const lb_scene *scene = m->instants[t].scene;

        lb_scene_pose(scene, m->instants[t].time_s, m->world, NULL);
        for (size_t i = 0; i < items; i++)
            if (!m->moving[i] &&
                (memcmp(&m->world[i], &m->first[i], sizeof m->world[i]) != 0 ||
                 (scene->items[i].mesh &&
                  !is_same_mesh(scene->items[i].mesh, m->instants[0].scene->items[i].mesh))))
                m->moving[i] = true;
    }
}

static const lb_material *material_of(const lb_shot *shot, const lb_item *item,
                                      const lb_primitive *p)
{
    return item->material ? item->material : p->material ? p->material : shot->plain;
}

static bool is_drawn(const making *m, size_t item)
{
    return m->visible[item] && m->scene->items[item].kind == LB_ITEM_MESH &&
           m->scene->items[item].mesh;
}

/* Appends the drawables of one class and numbers their vertices and triangles. */
static lb_status add_class(lb_shot *shot, const making *m, int32_t class)
{
    bool moving = class == LB_CLASS_MOVING || class == LB_CLASS_CLEAR_MOVING;
    bool clear = class >= LB_CLASS_CLEAR_STILL;
    size_t *vertices = moving ? &shot->moving_vertex_count : &shot->vertex_count;

    shot->class_first[class] = shot->drawable_count;
    for (size_t i = 0; i < m->scene->item_count; i++) {
        const lb_item *item = &m->scene->items[i];

        if (!is_drawn(m, i) || m->moving[i] != moving)
            continue;
        for (int32_t k = 0; k < item->mesh->primitive_count; k++) {
            const lb_primitive *p = &item->mesh->primitives[k];
            const lb_material *material = material_of(shot, item, p);
            lb_drawable *d = &shot->drawables[shot->drawable_count];

            if (p->triangle_count < 1 || (material->alpha_mode != LB_ALPHA_OPAQUE) != clear)
                continue;
            if ((uint32_t)p->triangle_count > INT32_MAX - shot->triangle_count)
                return LB_LIMIT;
            *d = (lb_drawable){.material = material,
                               .item = (int32_t)i,
                               .primitive = k,
                               .moving = moving,
                               .transparent = clear,
                               .first_triangle = shot->triangle_count,
                               .triangle_count = (uint32_t)p->triangle_count,
                               .first_vertex = *vertices,
                               .vertex_count = p->vertex_count};
            shot->triangle_count += d->triangle_count;
            *vertices += (size_t)p->vertex_count;
            shot->drawable_count++;
        }
    }
    shot->class_first[class + 1] = shot->drawable_count;
    return LB_OK;
}

static lb_status make_drawables(lb_shot *shot, making *m)
{
    size_t primitives = 0, placings = 0;

    lb_scene_pose(m->scene, m->instants[shot->instant_count / 2].time_s, m->world, m->visible);
    for (size_t i = 0; i < m->scene->item_count; i++)
        if (is_drawn(m, i))
            primitives += (size_t)m->scene->items[i].mesh->primitive_count;
    if (primitives == 0)
        return LB_OK;
    if (primitives > INT32_MAX)
        return LB_LIMIT;
    if (!(shot->drawables = lb_alloc(primitives, sizeof *shot->drawables)))
        return LB_MEMORY;
    for (int32_t class = 0; class < LB_CLASSES; class ++) {
        lb_status status = add_class(shot, m, class);

        if (status)
            return status;
    }
    for (int32_t i = 0; i < shot->drawable_count; i++) {
        shot->drawables[i].placing = placings;
        placings += shot->drawables[i].moving ? (size_t)shot->instant_count : 1;
    }
    if (placings && !(shot->placings = lb_alloc(placings, sizeof *shot->placings)))
        return LB_MEMORY;
    return LB_OK;
}

/* Normals are transformed by the cofactors of the upper 3 x 3, which is its inverse transposed
 * times the determinant: there even where a scale is 0. */
static void place(const lb_shot *shot, const lb_mat4 *world, const lb_primitive *primitive,
                  lb_placing *out)
{
    const double *m = world->m;
    double det = lb_mat4_det3(world), largest = 0, cofactor[9];

    out->primitive = primitive;
    out->mirrored = det < 0;
    for (int row = 0; row < 3; row++)
        for (int column = 0; column < 4; column++)
            out->world[4 * row + column] = m[4 * column + row];
    out->world[3] -= shot->world_origin.x;
    out->world[7] -= shot->world_origin.y;
    out->world[11] -= shot->world_origin.z;
    for (int row = 0; row < 3; row++)
        for (int column = 0; column < 3; column++) {
            int r1 = (row + 1) % 3, r2 = (row + 2) % 3, c1 = (column + 1) % 3;
            int c2 = (column + 2) % 3;

            cofactor[3 * row + column] =
                m[4 * c1 + r1] * m[4 * c2 + r2] - m[4 * c1 + r2] * m[4 * c2 + r1];
            largest = fmax(largest, fabs(cofactor[3 * row + column]));
        }
    largest = largest > 0 ? (out->mirrored ? -largest : largest) : 1;
    for (int i = 0; i < 9; i++)
        out->normal[i] = (float)(cofactor[i] / largest);
}

static void add_lamp(const lb_shot *shot, const lb_light *light, const lb_mat4 *world,
                     lb_lamp_set *set)
{
    const double *m = world->m;
    lb_vec3 color = lb_vec3_scale(light->color, light->intensity);
    lb_vec3d back = unit(m[8], m[9], m[10], (lb_vec3d){0, 0, 1});
    float sign = light->type == LB_LIGHT_DIRECTIONAL ? 1 : -1;
    float outer = lb_cosf(light->outer_half_rad), inner = lb_cosf(light->inner_half_rad);

    if (light->type == LB_LIGHT_AMBIENT) {
        set->ambient = lb_vec3_add(set->ambient, color);
        return;
    }
    set->lamps[set->count++] = (lb_lamp){
        .type = light->type,
        .decay = light->type == LB_LIGHT_DIRECTIONAL ? LB_DECAY_NONE : light->decay,
        .color = color,
        .position = {(float)(m[12] - shot->world_origin.x), (float)(m[13] - shot->world_origin.y),
                     (float)(m[14] - shot->world_origin.z)},
        .axis = {sign * (float)back.x, sign * (float)back.y, sign * (float)back.z},
        .inverse_range = light->range > 0 && light->range < INFINITY ? 1 / light->range : 0,
        .cone_outer = outer,
        .cone_step = 1 / (inner - outer > 0.001f ? inner - outer : 0.001f),
    };
}

static lb_status make_lamps(lb_shot *shot, making *m)
{
    size_t lights = 0, total;

    for (size_t i = 0; i < m->scene->item_count; i++)
        lights += m->scene->items[i].kind == LB_ITEM_LIGHT;
    if (!lb_size_mul(lights ? lights : 1, (size_t)shot->instant_count, &total) ||
        lights > INT32_MAX || !(shot->lamp_store = lb_alloc(total, sizeof *shot->lamp_store)))
        return LB_MEMORY;
    for (int32_t t = 0; t < shot->instant_count; t++) {
        const lb_scene *scene = m->instants[t].scene;
        lb_lamp_set *set = &shot->lamps[t];

        set->lamps = shot->lamp_store + (lights ? lights : 1) * (size_t)t;
        if (!lights) /* none at all: one from the camera */
            set->lamps[set->count++] = (lb_lamp){
                .type = LB_LIGHT_DIRECTIONAL, .color = {1, 1, 1}, .axis = shot->eyes[t].backward};
        lb_scene_pose(scene, m->instants[t].time_s, m->world, m->visible);
        for (size_t i = 0; i < scene->item_count && lights; i++)
            if (scene->items[i].kind == LB_ITEM_LIGHT && m->visible[i])
                add_lamp(shot, &scene->items[i].light, &m->world[i], set);
        shot->lamps_move |=
            set->count != shot->lamps[0].count ||
            memcmp(&set->ambient, &shot->lamps[0].ambient, sizeof set->ambient) != 0 ||
            memcmp(set->lamps, shot->lamps[0].lamps, (size_t)set->count * sizeof *set->lamps) != 0;
    }
    return LB_OK;
}

static void place_all(lb_shot *shot, making *m)
{
    for (int32_t t = 0; t < shot->instant_count; t++) {
        const lb_scene *scene = m->instants[t].scene;

        lb_scene_pose(scene, m->instants[t].time_s, m->world, NULL);
        for (int32_t i = 0; i < shot->drawable_count; i++) {
            const lb_drawable *d = &shot->drawables[i];

            if (t == 0 || d->moving)
                place(shot, &m->world[d->item],
                      &scene->items[d->item].mesh->primitives[d->primitive],
                      &shot->placings[d->placing + (size_t)t]);
        }
    }
}

static lb_status make_vertices(lb_shot *shot)
{
    size_t moving, bytes;

    if (!lb_size_mul(shot->moving_vertex_count, (size_t)shot->instant_count, &moving))
        return LB_MEMORY;
    if (shot->vertex_count) {
        if (!lb_size_mul(shot->vertex_count, sizeof *shot->vertices, &bytes) ||
            !(shot->vertices = lb_block_new(bytes)))
            return LB_MEMORY;
    }
    if (moving) {
        if (!lb_size_mul(moving, sizeof *shot->moving_vertices, &bytes) ||
            !(shot->moving_vertices = lb_block_new(bytes)) ||
            !(shot->strides = lb_block_new(shot->moving_vertex_count)))
            return LB_MEMORY;
    }
    return LB_OK;
}

static lb_status fill(lb_shot *shot, making *m)
{
    size_t count = (size_t)shot->instant_count;
    size_t items = m->scene->item_count ? m->scene->item_count : 1;
    lb_status status;

    for (int32_t t = 0; t < shot->instant_count; t++)
        if (!is_same_shape(m->instants[0].scene, m->instants[t].scene))
            return LB_INVALID;
    shot->eyes = lb_alloc(count, sizeof *shot->eyes);
    shot->lamps = lb_alloc(count, sizeof *shot->lamps);
    m->first = lb_alloc(items, sizeof *m->first);
    m->world = lb_alloc(items, sizeof *m->world);
    m->moving = lb_alloc(items, sizeof *m->moving);
    m->visible = lb_alloc(items, sizeof *m->visible);
    if (!shot->eyes || !shot->lamps || !m->first || !m->world || !m->moving || !m->visible)
        return LB_MEMORY;
    if ((status = lb_material_new("", &shot->plain)) || (status = make_eyes(shot, m)))
        return status;
    find_moving(shot, m);
    if ((status = make_drawables(shot, m)) || (status = make_lamps(shot, m)) ||
        (status = make_vertices(shot)))
        return status;
    place_all(shot, m);
    return LB_OK;
}

lb_status lb_shot_new(const lb_instant *instants, int32_t count, const lb_raster_options *options,
                      lb_shot **out)
{
    making m = {.instants = instants};
    lb_status status;
    lb_shot *shot;

    *out = NULL;
    if ((status = check_options(options, count)))
        return status;
    if (!(shot = lb_alloc(1, sizeof *shot)))
        return LB_MEMORY;
    m.scene = instants[count / 2].scene;
    shot->options = *options;
    shot->instant_count = count;
    lb_pattern_make(options->samples, &shot->pattern);
    shot->whole = lb_pattern_span(&shot->pattern, 0, 1);
    for (int32_t t = 0; t < count; t++)
        shot->spans[t] = lb_pattern_span(&shot->pattern, t, count);
    shot->origin_x = options->width / 2 / LB_TILE_MAX * LB_TILE_MAX;
    shot->origin_y = options->height / 2 / LB_TILE_MAX * LB_TILE_MAX;
    shot->tile_shift = options->samples > 16 ? 4 : 5;
    shot->tile_size = 1 << shot->tile_shift;
    status = fill(shot, &m);
    lb_free(m.first);
    lb_free(m.world);
    lb_free(m.moving);
    lb_free(m.visible);
    if (status)
        lb_shot_free(&shot);
    *out = shot;
    return status;
}

void lb_shot_free(lb_shot **shot)
{
    lb_shot *old = *shot;

    *shot = NULL;
    if (!old)
        return;
    lb_material_unref(&old->plain);
    lb_free(old->eyes);
    lb_free(old->lamps);
    lb_free(old->lamp_store);
    lb_free(old->drawables);
    lb_free(old->placings);
    lb_block_free(old->vertices);
    lb_block_free(old->moving_vertices);
    lb_block_free(old->strides);
    lb_free(old);
}

int32_t lb_shot_drawable_of(const lb_shot *shot, uint32_t triangle, int32_t hint)
{
    const lb_drawable *d = &shot->drawables[hint];
    int32_t low = 0, high = shot->drawable_count;

    if (triangle - d->first_triangle < d->triangle_count)
        return hint;
    while (high - low > 1) {
        int32_t middle = low + (high - low) / 2;

        if (shot->drawables[middle].first_triangle <= triangle)
            low = middle;
        else
            high = middle;
    }
    return low;
}
