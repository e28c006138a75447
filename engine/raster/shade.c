/* engine/raster/shade.c: points into batches, batches into colours. */
#include "engine/raster/shade.h"

#include <string.h>

#include "engine/base/memory.h"

/* Points of one drawable under one set of lamps. */
typedef struct lb_shade_group {
    int32_t drawable, instant; /* instant: 0 unless lamps move */
    uint32_t count, at;        /* where in order */
} lb_shade_group;

void lb_shader_init(lb_shader *shader, const lb_shot *shot)
{
    shader->shot = shot;
    shader->want_color = shot->options.layers & LB_LAYER_COLOR;
    shader->want_normal = shot->options.layers & LB_LAYER_NORMAL;
    shader->want_uv = shot->options.layers & LB_LAYER_UV;
    for (int i = 0; i < LB_SURFACES; i++)
        shader->surfaces[i].triangle = LB_NO_SURFACE;
}

void lb_shader_clear(lb_shader *shader)
{
    lb_free(shader->order);
    lb_free(shader->groups);
    shader->order = NULL;
    shader->groups = NULL;
}

static const lb_needs *needs_of(lb_shader *shader, const lb_drawable *drawable)
{
    if (shader->needing != drawable) {
        shader->needing = drawable;
        shader->needs = lb_needs_of(drawable->material, shader->want_uv);
    }
    return &shader->needs;
}

lb_surface *lb_shader_surface(lb_shader *shader, const lb_drawable *drawable, uint32_t triangle,
                              int32_t instant)
{
    uint32_t mixed = triangle * 0x9e3779b1u ^ (uint32_t)instant * 0x85ebca6bu;
    lb_surface *s = &shader->surfaces[mixed >> 26];

    _Static_assert(LB_SURFACES == 1 << 6, "the shift above");
    if (s->triangle != triangle || s->instant != instant)
        lb_surface_make(shader->shot, drawable, triangle, instant, needs_of(shader, drawable), s);
    return s;
}

static void put_uvs(lb_batch *b, int32_t i, const lb_surface *s, const lb_shares *at, int set)
{
    const lb_vec2 *uv = s->uv[set];

    b->uv[set][0][i] = uv[0].x + at->b1 * uv[1].x + at->b2 * uv[2].x;
    b->uv[set][1][i] = uv[0].y + at->b1 * uv[1].y + at->b2 * uv[2].y;
    b->ddx[set][0][i] = at->b1_dx * uv[1].x + at->b2_dx * uv[2].x;
    b->ddx[set][1][i] = at->b1_dx * uv[1].y + at->b2_dx * uv[2].y;
    b->ddy[set][0][i] = at->b1_dy * uv[1].x + at->b2_dy * uv[2].x;
    b->ddy[set][1][i] = at->b1_dy * uv[1].y + at->b2_dy * uv[2].y;
}

static void put_tangent(lb_batch *b, int32_t i, const lb_surface *s, const lb_shares *at)
{
    float b0 = 1 - at->b1 - at->b2;
    const lb_vec4 *t = s->tangent;

    b->tangent[0][i] = b0 * t[0].x + at->b1 * t[1].x + at->b2 * t[2].x;
    b->tangent[1][i] = b0 * t[0].y + at->b1 * t[1].y + at->b2 * t[2].y;
    b->tangent[2][i] = b0 * t[0].z + at->b1 * t[1].z + at->b2 * t[2].z;
    b->tangent[3][i] = t[0].w;
    b->slope_u[0][i] = s->slope_u.x;
    b->slope_u[1][i] = s->slope_u.y;
    b->slope_u[2][i] = s->slope_u.z;
    b->slope_v[0][i] = s->slope_v.x;
    b->slope_v[1][i] = s->slope_v.y;
    b->slope_v[2][i] = s->slope_v.z;
}

/* Interpolates everything that the batch needs at a point. */
static void put_point(lb_batch *b, int32_t i, const lb_surface *s, const lb_eye *eye, double x,
                      double y)
{
    lb_shares at = lb_surface_shares(s, x, y);
    float b1 = at.b1, b2 = at.b2, b0 = 1 - b1 - b2, facing = s->front ? 1 : -1;
    lb_vec3 p = {s->position[0].x + b1 * s->position[1].x + b2 * s->position[2].x,
                 s->position[0].y + b1 * s->position[1].y + b2 * s->position[2].y,
                 s->position[0].z + b1 * s->position[1].z + b2 * s->position[2].z};
    lb_vec3 n = {s->normal[0].x + b1 * s->normal[1].x + b2 * s->normal[2].x,
                 s->normal[0].y + b1 * s->normal[1].y + b2 * s->normal[2].y,
                 s->normal[0].z + b1 * s->normal[1].z + b2 * s->normal[2].z};
    lb_vec3 v = eye->orthographic ? eye->backward : lb_vec3_sub(eye->position, p);

    if (!(lb_vec3_dot(n, n) > 1e-24f))
        n = lb_surface_flat(s);
    b->position[0][i] = p.x;
    b->position[1][i] = p.y;
    b->position[2][i] = p.z;
    b->normal[0][i] = n.x;
    b->normal[1][i] = n.y;
    b->normal[2][i] = n.z;
    b->view[0][i] = v.x;
    b->view[1][i] = v.y;
    b->view[2][i] = v.z;
    b->facing[i] = facing;
    b->base[0][i] = b0 * s->color[0].x + b1 * s->color[1].x + b2 * s->color[2].x;
    b->base[1][i] = b0 * s->color[0].y + b1 * s->color[1].y + b2 * s->color[2].y;
    b->base[2][i] = b0 * s->color[0].z + b1 * s->color[1].z + b2 * s->color[2].z;
    b->alpha[i] = b0 * s->color[0].w + b1 * s->color[1].w + b2 * s->color[2].w;
    for (int set = 0; set < 2; set++)
        if (b->needs.uv[set])
            put_uvs(b, i, s, &at, set);
    if (b->needs.slopes)
        put_tangent(b, i, s, &at);
}

static void light_batch(lb_batch *b, bool lighting)
{
    bool is_lit = lighting && b->material->shading != LB_SHADING_UNLIT;

    if (!is_lit) {
        memcpy(b->out, b->base, sizeof b->out);
        return;
    }
    lb_batch_fill_surface(b);
    for (int c = 0; c < 3; c++)
        memcpy(b->out[c], b->emission[c], sizeof b->out[c]);
    lb_lights_add(b);
}

/* Shades a full batch; order[i] says where point i's answer goes. */
static void finish_batch(const lb_shader *shader, lb_batch *b, bool only_alpha,
                         const uint32_t *order, lb_shaded *out)
{
    lb_alpha_mode mode = b->material->alpha_mode;
    bool want_color = shader->want_color && !only_alpha;
    bool want_normal = (shader->want_color && shader->shot->options.lighting &&
                        b->material->shading != LB_SHADING_UNLIT) ||
                       shader->want_normal;

    b->padded = (b->count + 15) & ~15;
    if (want_color || mode != LB_ALPHA_OPAQUE)
        lb_batch_fill_alpha(b);
    if (want_normal && !only_alpha)
        lb_batch_bend_normals(b);
    if (want_color)
        light_batch(b, shader->shot->options.lighting);
    for (int32_t i = 0; i < b->count; i++) {
        lb_shaded *to = &out[order[i]];
        float alpha = b->alpha[i] > 0 ? b->alpha[i] : 0;

        alpha = alpha < 1 ? alpha : 1;
        to->rgba[3] = only_alpha || mode == LB_ALPHA_BLEND ? alpha : 1;
        for (int c = 0; c < 3 && want_color; c++)
            to->rgba[c] = b->out[c][i] * to->rgba[3];
        for (int c = 0; c < 3 && shader->want_normal && !only_alpha; c++)
            to->normal[c] = b->normal[c][i];
        for (int c = 0; c < 2 && shader->want_uv && !only_alpha; c++)
            to->uv[c] = b->uv[0][c][i];
    }
}

static void shade_group(lb_shader *shader, const lb_shade_group *group, double x, double y,
                        const lb_point *points, bool only_alpha, lb_shaded *out)
{
    const lb_shot *shot = shader->shot;
    const lb_drawable *d = &shot->drawables[group->drawable];
    const uint32_t *order = shader->order + group->at - group->count;
    lb_batch *b = &shader->batch;

    b->material = d->material;
    b->lamps = &shot->lamps[group->instant];
    b->needs = *needs_of(shader, d);
    for (uint32_t first = 0; first < group->count; first += LB_BATCH, order += LB_BATCH) {
        b->count = group->count - first < LB_BATCH ? (int32_t)(group->count - first) : LB_BATCH;
        for (int32_t i = 0; i < b->count; i++) {
            const lb_point *p = &points[order[i]];
            int32_t instant = d->moving ? p->instant : 0;

            put_point(b, i, lb_shader_surface(shader, d, p->triangle, instant),
                      &shot->eyes[p->instant], x + (double)p->x, y + (double)p->y);
        }
        finish_batch(shader, b, only_alpha, order, out);
    }
}

/* Finds the groups that the points fall into, in the order of their first points. */
static bool find_groups(lb_shader *shader, const lb_point *points, size_t count, size_t *groups)
{
    size_t found = 0, last = 0;

    for (size_t i = 0; i < count; i++) {
        int32_t instant = shader->shot->lamps_move ? points[i].instant : 0;
        size_t g = last;

        if (g >= found || shader->groups[g].drawable != points[i].drawable ||
            shader->groups[g].instant != instant)
            for (g = 0; g < found; g++)
                if (shader->groups[g].drawable == points[i].drawable &&
                    shader->groups[g].instant == instant)
                    break;
        if (g == found) {
            if (!lb_grow((void **)&shader->groups, &shader->group_capacity, found,
                         sizeof *shader->groups))
                return false;
            shader->groups[found++] = (lb_shade_group){points[i].drawable, instant, 0, 0};
        }
        shader->groups[g].count++;
        shader->order[count + i] = (uint32_t)g;
        last = g;
    }
    *groups = found;
    return true;
}

bool lb_shade_points(lb_shader *shader, int32_t x, int32_t y, const lb_point *points, size_t count,
                     bool only_alpha, lb_shaded *out)
{
    const lb_shot *shot = shader->shot;
    size_t groups;
    uint32_t at = 0;

    if (2 * count > shader->order_capacity) { /* the second half: the group of each */
        uint32_t *order = lb_realloc(shader->order, 2 * count, sizeof *order);

        if (!order)
            return false;
        shader->order = order;
        shader->order_capacity = 2 * count;
    }
    if (!find_groups(shader, points, count, &groups))
        return false;
    for (size_t g = 0; g < groups; g++) {
        shader->groups[g].at = at;
        at += shader->groups[g].count;
    }
    for (size_t i = 0; i < count; i++)
        shader->order[shader->groups[shader->order[count + i]].at++] = (uint32_t)i;
    for (size_t g = 0; g < groups; g++)
        shade_group(shader, &shader->groups[g], x - shot->origin_x, y - shot->origin_y, points,
                    only_alpha, out);
    return true;
}
