/* engine/raster/lights.c: lamps and what surfaces make of them, eight or more points at a time.
 *
 * All loops run to `padded`, so that no width of vector leaves a rest that is done otherwise. */
#include <math.h>

#include "engine/base/clones.h"
#include "engine/base/math.h"
#include "engine/raster/shade.h"

#define NEAREST 1e-4f /* as lb_light_strength: nearer surfaces are lit as from here */
#define INVERSE_PI ((float)(1 / LB_PI))
#define LEAST_ALPHA                                                                                \
    1e-3f /* metallic-roughness: of roughness squared, so that highlights stay finite */

/* KHR_lights_punctual: attenuation by range, and the cone; decay none 1, linear 1/d, quadratic
 * 1 / (pi d^2): radiance of a white Lambert surface. */
LB_CLONES
static void aim_from_place(lb_batch *b, const lb_lamp *lamp)
{
    lb_vec3 at = lamp->position, axis = lamp->axis;
    float inverse_range = lamp->inverse_range;
    float outer = lamp->type == LB_LIGHT_SPOT ? lamp->cone_outer : -2;
    float step = lamp->type == LB_LIGHT_SPOT ? lamp->cone_step : 1;
    float constant = lamp->decay == LB_DECAY_NONE ? 1 : 0;
    float linear = lamp->decay == LB_DECAY_LINEAR ? 1 : 0;
    float quadratic = lamp->decay == LB_DECAY_QUADRATIC ? INVERSE_PI : 0;

    for (int32_t i = 0; i < b->padded; i++) {
        float x = at.x - b->position[0][i], y = at.y - b->position[1][i];
        float z = at.z - b->position[2][i], distance = sqrtf(x * x + y * y + z * z);
        float reach = distance > NEAREST ? distance : NEAREST, inverse = 1 / reach;
        float ratio = reach * inverse_range, ratio2 = ratio * ratio, window = 1 - ratio2 * ratio2;
        float cone, scale = distance > 0 ? 1 / distance : 0;

        x *= scale;
        y *= scale;
        z *= scale;
        cone = (-(x * axis.x + y * axis.y + z * axis.z) - outer) * step;
        cone = cone < 0 ? 0 : cone;
        cone = cone > 1 ? 1 : cone;
        window = window < 0 ? 0 : window;
        b->way[0][i] = x;
        b->way[1][i] = y;
        b->way[2][i] = z;
        b->strength[i] =
            (constant + inverse * (linear + inverse * quadratic)) * window * (cone * cone);
    }
}

static void aim_along(lb_batch *b, const lb_lamp *lamp)
{
    for (int32_t i = 0; i < b->padded; i++) {
        b->way[0][i] = lamp->axis.x;
        b->way[1][i] = lamp->axis.y;
        b->way[2][i] = lamp->axis.z;
        b->strength[i] = 1;
    }
}

void lb_lights_aim(lb_batch *batch, const lb_lamp *lamp)
{
    if (lamp->type == LB_LIGHT_DIRECTIONAL)
        aim_along(batch, lamp);
    else
        aim_from_place(batch, lamp);
}

/* Blinn, "Models of Light Reflection for Computer Synthesized Pictures", SIGGRAPH 1977:
 * E (kd N.L + ks (N.H)^n), nothing where N.L <= 0. No 1 / pi: the classical convention. */
LB_CLONES
static void add_blinn(lb_batch *b, lb_vec3 color, bool has_specular)
{
    for (int32_t i = 0; i < b->padded; i++) {
        float cosine = b->normal[0][i] * b->way[0][i] + b->normal[1][i] * b->way[1][i] +
                       b->normal[2][i] * b->way[2][i];
        float light = cosine > 0 ? b->strength[i] : 0, lambert = light * cosine;

        b->out[0][i] += color.x * lambert * b->base[0][i];
        b->out[1][i] += color.y * lambert * b->base[1][i];
        b->out[2][i] += color.z * lambert * b->base[2][i];
    }
    if (!has_specular)
        return;
    for (int32_t i = 0; i < b->padded; i++) {
        float lx = b->way[0][i], ly = b->way[1][i], lz = b->way[2][i];
        float nx = b->normal[0][i], ny = b->normal[1][i], nz = b->normal[2][i];
        float hx = lx + b->view[0][i], hy = ly + b->view[1][i], hz = lz + b->view[2][i];
        float length2 = hx * hx + hy * hy + hz * hz;
        float cosine = (nx * hx + ny * hy + nz * hz) / sqrtf(length2 > 1e-20f ? length2 : 1e-20f);
        float light = nx * lx + ny * ly + nz * lz > 0 ? b->strength[i] : 0, gloss;

        cosine = cosine > 1e-30f ? cosine : 1e-30f;
        gloss = light * lb_exp2f(b->exponent[i] * lb_log2f(cosine));
        b->out[0][i] += color.x * gloss * b->specular[0][i];
        b->out[1][i] += color.y * gloss * b->specular[1][i];
        b->out[2][i] += color.z * gloss * b->specular[2][i];
    }
}

/* glTF 2.0, appendix B.3. `strength` is the radiance of a white Lambert surface: illuminance is pi
 * times that, so D and the diffuse term are taken without their 1 / pi. */
LB_CLONES
static void add_metal_rough(lb_batch *b, lb_vec3 color)
{
    for (int32_t i = 0; i < b->padded; i++) {
        float lx = b->way[0][i], ly = b->way[1][i], lz = b->way[2][i];
        float nx = b->normal[0][i], ny = b->normal[1][i], nz = b->normal[2][i];
        float vx = b->view[0][i], vy = b->view[1][i], vz = b->view[2][i];
        float hx = lx + vx, hy = ly + vy, hz = lz + vz, length2 = hx * hx + hy * hy + hz * hz;
        float scale = 1 / sqrtf(length2 > 1e-20f ? length2 : 1e-20f);
        float nl = nx * lx + ny * ly + nz * lz, nv = nx * vx + ny * vy + nz * vz;
        float light = nl > 0 ? b->strength[i] * nl : 0;
        float rough = b->roughness[i] * b->roughness[i];
        float a2, nh, vh, cx, cy, cz, sine2, d, v, w, gloss, one, metal = b->metallic[i];

        hx *= scale;
        hy *= scale;
        hz *= scale;
        rough = rough > LEAST_ALPHA ? rough : LEAST_ALPHA;
        a2 = rough * rough;
        nl = nl > 1e-4f ? nl : 1e-4f;
        nv = fabsf(nv) > 1e-4f ? fabsf(nv) : 1e-4f;
        nh = nx * hx + ny * hy + nz * hz;
        vh = vx * hx + vy * hy + vz * hz;
        /* (N.H)^2 (a2 - 1) + 1 = a2 (N.H)^2 + |N x H|^2, which cancels nothing. */
        cx = ny * hz - nz * hy;
        cy = nz * hx - nx * hz;
        cz = nx * hy - ny * hx;
        sine2 = cx * cx + cy * cy + cz * cz;
        d = a2 * nh * nh + sine2;
        d = nh > 0 ? a2 / (d * d) : 0;
        v = 0.5f / (nv * sqrtf(a2 + (1 - a2) * nl * nl) + nl * sqrtf(a2 + (1 - a2) * nv * nv));
        one = 1 - vh;
        one = one > 0 ? one : 0;
        w = one * one * one * one * one;
        gloss = v * d;
        for (int c = 0; c < 3; c++) {
            float base = b->base[c][i], fresnel = 0.04f + 0.96f * w;
            float dielectric = base + (gloss - base) * fresnel;
            float conductor = (base + (1 - base) * w) * gloss;
            float tint = c == 0 ? color.x : c == 1 ? color.y : color.z;

            b->out[c][i] += tint * light * (dielectric + (conductor - dielectric) * metal);
        }
    }
}

LB_CLONES
static void add_ambient(lb_batch *b, lb_vec3 ambient)
{
    for (int32_t i = 0; i < b->padded; i++) {
        b->out[0][i] += ambient.x * b->base[0][i] * b->occlusion[i];
        b->out[1][i] += ambient.y * b->base[1][i] * b->occlusion[i];
        b->out[2][i] += ambient.z * b->base[2][i] * b->occlusion[i];
    }
}

void lb_lights_add(lb_batch *batch)
{
    const lb_material *m = batch->material;
    bool has_specular = m->specular.x != 0 || m->specular.y != 0 || m->specular.z != 0;

    for (int32_t i = 0; i < batch->lamps->count; i++) {
        const lb_lamp *lamp = &batch->lamps->lamps[i];

        lb_lights_aim(batch, lamp);
        if (m->shading == LB_SHADING_METAL_ROUGH)
            add_metal_rough(batch, lamp->color);
        else
            add_blinn(batch, lamp->color, has_specular);
    }
    if (batch->lamps->ambient.x != 0 || batch->lamps->ambient.y != 0 ||
        batch->lamps->ambient.z != 0)
        add_ambient(batch, batch->lamps->ambient);
}
