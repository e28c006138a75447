/* engine/raster/surface.c: planes of a triangle's attributes. */
#include "engine/raster/surface.h"

#include <math.h>

/* Perspective-correct shares: a corner's share divided by w is linear on the screen, and so is
 * their sum, 1 / w (Heckbert and Moreton, "Interpolation for Polygon Texture Mapping and Shading",
 * 1991). */

lb_needs lb_needs_of(const lb_material *material, bool want_uv)
{
    lb_needs needs = {.uv = {want_uv, false}, .color = true};

    for (int32_t slot = 0; slot < LB_SLOT_COUNT; slot++) {
        const lb_texture *map = material->maps[slot];

        if (!map)
            continue;
        needs.uv[lb_texture_mapping(map)->uv_set == 1] = true;
        if (slot == LB_SLOT_BUMP || slot == LB_SLOT_NORMAL) {
            needs.slopes = needs.tangent = true;
            needs.slopes_set = lb_texture_mapping(map)->uv_set == 1;
        }
    }
    return needs;
}

static lb_vec3 to_world(const double m[12], lb_vec3 p, double w)
{
    return (lb_vec3){
        (float)(m[0] * p.x + m[1] * p.y + m[2] * p.z + m[3] * w),
        (float)(m[4] * p.x + m[5] * p.y + m[6] * p.z + m[7] * w),
        (float)(m[8] * p.x + m[9] * p.y + m[10] * p.z + m[11] * w),
    };
}

static lb_vec3 normal_to_world(const float m[9], lb_vec3 n)
{
    return (lb_vec3){m[0] * n.x + m[1] * n.y + m[2] * n.z, m[3] * n.x + m[4] * n.y + m[5] * n.z,
                     m[6] * n.x + m[7] * n.y + m[8] * n.z};
}

/* Planes from corners that are all on the screen: fixed-point places and keys. False: no area. */
static bool screen_planes(const lb_shot *shot, const lb_vertex *const v[3], bool mirrored,
                          lb_surface *out)
{
    int64_t x1 = (int64_t)v[1]->x - v[0]->x, y1 = (int64_t)v[1]->y - v[0]->y;
    int64_t x2 = (int64_t)v[2]->x - v[0]->x, y2 = (int64_t)v[2]->y - v[0]->y;
    int64_t area = x1 * y2 - x2 * y1;
    double scale = (double)LB_FIXED_ONE / (double)area, w[3], share[3][2];

    out->x = v[0]->x * (1.0 / LB_FIXED_ONE);
    out->y = v[0]->y * (1.0 / LB_FIXED_ONE);
    out->front = (area > 0) == mirrored;
    if (area == 0)
        return false;
    share[1][0] = (double)y2 * scale;
    share[1][1] = (double)-x2 * scale;
    share[2][0] = (double)-y1 * scale;
    share[2][1] = (double)x1 * scale;
    share[0][0] = -share[1][0] - share[2][0];
    share[0][1] = -share[1][1] - share[2][1];
    out->key[0] = out->key[1] = 0;
    out->key[2] = v[0]->key;
    for (int i = 0; i < 3; i++) {
        w[i] = shot->orthographic ? 1 : v[i]->key;
        out->weight[i][0] = share[i][0] * w[i];
        out->weight[i][1] = share[i][1] * w[i];
        out->weight[i][2] = i == 0 ? w[i] : 0;
        out->key[0] += share[i][0] * v[i]->key;
        out->key[1] += share[i][1] * v[i]->key;
    }
    return true;
}

/* The same for a triangle that reaches beyond the near plane or the guard band. */
static bool clipped_planes(const lb_shot *shot, const lb_placing *placing, int32_t instant,
                           const uint32_t index[3], lb_surface *out)
{
    double corners[3][4];
    int32_t facing;

    for (int i = 0; i < 3; i++)
        lb_shot_clip_point(shot, placing, instant, placing->primitive->positions[index[i]],
                           corners[i]);
    out->x = out->y = 0;
    if (!lb_clip_weights(corners, out->weight, &facing))
        return false;
    out->front = (facing > 0) == placing->mirrored;
    for (int k = 0; k < 3; k++) {
        out->key[k] = 0;
        for (int i = 0; i < 3; i++)
            out->key[k] += out->weight[i][k] * (shot->orthographic ? -corners[i][2] : 1);
    }
    return true;
}

static bool find_planes(const lb_shot *shot, const lb_drawable *d, int32_t instant,
                        const uint32_t index[3], lb_surface *out)
{
    const lb_placing *placing = lb_shot_placing(shot, d, instant);
    const lb_vertex *vertices = lb_shot_vertices(shot, d, instant);
    const lb_vertex *const v[3] = {&vertices[index[0]], &vertices[index[1]], &vertices[index[2]]};

    if (v[0]->x == LB_OUTSIDE || v[1]->x == LB_OUTSIDE || v[2]->x == LB_OUTSIDE)
        return clipped_planes(shot, placing, instant, index, out);
    return screen_planes(shot, v, placing->mirrored, out);
}

bool lb_surface_is_front(const lb_shot *shot, const lb_drawable *drawable, uint32_t triangle,
                         int32_t instant)
{
    lb_surface s;

    return !find_planes(shot, drawable, instant, lb_shot_indices(shot, drawable, triangle), &s) ||
           s.front;
}

/* dP/du and dP/dv of the flat triangle; 0 where the texture coordinates span no area. */
static void find_slopes(lb_surface *s, int32_t set)
{
    float u1 = s->uv[set][1].x, v1 = s->uv[set][1].y, u2 = s->uv[set][2].x, v2 = s->uv[set][2].y;
    float det = u1 * v2 - u2 * v1;
    lb_vec3 e1 = s->position[1], e2 = s->position[2];

    s->slope_u = s->slope_v = (lb_vec3){0, 0, 0};
    if (!(fabsf(det) > 0))
        return;
    det = 1 / det;
    s->slope_u = lb_vec3_scale(lb_vec3_sub(lb_vec3_scale(e1, v2), lb_vec3_scale(e2, v1)), det);
    s->slope_v = lb_vec3_scale(lb_vec3_sub(lb_vec3_scale(e2, u1), lb_vec3_scale(e1, u2)), det);
    if (!(lb_vec3_dot(s->slope_u, s->slope_u) < INFINITY &&
          lb_vec3_dot(s->slope_v, s->slope_v) < INFINITY))
        s->slope_u = s->slope_v = (lb_vec3){0, 0, 0};
}

static void find_attributes(const lb_placing *placing, const uint32_t index[3],
                            const lb_needs *needs, lb_surface *s)
{
    const lb_primitive *p = placing->primitive;
    static const lb_vec4 white = {1, 1, 1, 1}, none = {0, 0, 0, 0};

    for (int set = 0; set < 2; set++)
        for (int i = 0; i < 3 && needs->uv[set]; i++) {
            s->uv[set][i] = p->uvs[set] ? p->uvs[set][index[i]] : (lb_vec2){0, 0};
            if (i > 0) {
                s->uv[set][i].x -= s->uv[set][0].x;
                s->uv[set][i].y -= s->uv[set][0].y;
            }
        }
    for (int i = 0; i < 3 && needs->color && p->colors; i++)
        s->color[i] = p->colors[index[i]];
    if (needs->color && !p->colors)
        s->color[0] = s->color[1] = s->color[2] = white;
    for (int i = 0; i < 3 && needs->tangent; i++) {
        lb_vec4 t = p->tangents ? p->tangents[index[i]] : none;
        lb_vec3 way = to_world(placing->world, (lb_vec3){t.x, t.y, t.z}, 0);

        s->tangent[i] = (lb_vec4){way.x, way.y, way.z, placing->mirrored ? -t.w : t.w};
    }
    if (needs->slopes)
        find_slopes(s, needs->slopes_set);
}

void lb_surface_make(const lb_shot *shot, const lb_drawable *drawable, uint32_t triangle,
                     int32_t instant, const lb_needs *needs, lb_surface *out)
{
    const lb_placing *placing = lb_shot_placing(shot, drawable, instant);
    const lb_primitive *p = placing->primitive;
    const uint32_t *index = lb_shot_indices(shot, drawable, triangle);

    out->triangle = triangle;
    out->instant = instant;
    out->has_next = false;
    if (!find_planes(shot, drawable, instant, index, out)) {
        *out = (lb_surface){.triangle = triangle, .instant = instant, .front = out->front};
        out->weight[0][2] = 1;
    }
    for (int i = 0; i < 3; i++) {
        out->position[i] = to_world(placing->world, p->positions[index[i]], 1);
        out->normal[i] = normal_to_world(placing->normal, p->normals[index[i]]);
        if (i > 0) {
            out->position[i] = lb_vec3_sub(out->position[i], out->position[0]);
            out->normal[i] = lb_vec3_sub(out->normal[i], out->normal[0]);
        }
    }
    out->mirrored = placing->mirrored;
    find_attributes(placing, index, needs, out);
}

lb_vec3 lb_surface_flat(const lb_surface *surface)
{
    lb_vec3 n = lb_vec3_normalize(lb_vec3_cross(surface->position[1], surface->position[2]));

    return surface->mirrored ? lb_vec3_scale(n, -1) : n;
}

double lb_surface_motion(const lb_shot *shot, const lb_drawable *drawable, lb_surface *surface,
                         double x, double y)
{
    lb_shares at = lb_surface_shares(surface, x, y);
    double b[3] = {1 - (double)at.b1 - (double)at.b2, at.b1, at.b2}, sum[3] = {0}, dx, dy;

    if (!surface->has_next) {
        int32_t instant = surface->instant + (surface->instant + 1 < shot->instant_count ? 1 : -1);
        const lb_placing *placing = lb_shot_placing(shot, drawable, instant);
        const uint32_t *index = lb_shot_indices(shot, drawable, surface->triangle);

        for (int i = 0; i < 3; i++) {
            double h[4];

            lb_shot_clip_point(shot, placing, instant, placing->primitive->positions[index[i]], h);
            surface->next[i][0] = h[0];
            surface->next[i][1] = h[1];
            surface->next[i][2] = h[3];
        }
        surface->has_next = true;
    }
    for (int i = 0; i < 3; i++)
        for (int k = 0; k < 3; k++)
            sum[k] += b[i] * surface->next[i][k];
    dx = fabs(sum[0] / sum[2] - x);
    dy = fabs(sum[1] / sum[2] - y);
    return sum[2] > 0 ? fmax(dx, dy) : INFINITY;
}
