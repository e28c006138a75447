/* tests/bench/ours_scene.c: a scene of a graph as plain arrays, for others to draw. */
#include <string.h>

#include "engine/raster/shot.h"
#include "tests/bench/ours_graph.h"
#include "tests/bench/rivals.h"

#define SHUTTER 0.5 /* frames: 180 degrees */

typedef struct bench_scene {
    rival_scene scene; /* first: what is handed out */
    lb_shot *shot;
    lb_scene *source;
} bench_scene;

/* World to OpenGL's clip space, by columns: -1 is the left and the bottom. */
static void make_view(const lb_shot *shot, const lb_eye *eye, rival_scene *out, int t)
{
    const double *p = eye->pixel;
    double width = shot->options.width, height = shot->options.height;
    double near = out->near, far = out->far;

    for (int c = 0; c < 4; c++) {
        double w = p[12 + c], one = c == 3 ? 1 : 0;
        double x = 2 * (p[c] + shot->origin_x * w) / width - w;
        double y = w - 2 * (p[4 + c] + shot->origin_y * w) / height;
        double z = ((far + near) * p[8 + c] - 2 * far * near * one) / (far - near);
        double column[4] = {x, y, z, w};

        for (int r = 0; r < 4; r++)
            out->views[16 * t + 4 * c + r] = (float)column[r];
    }
    memcpy(out->eyes + 3 * t, &eye->position, sizeof eye->position);
}

static int find_picture(rival_scene *out, const lb_texture *texture)
{
    lb_texture_level level;
    rival_picture picture;

    if (!texture)
        return -1;
    level = lb_texture_level_at(texture, 0);
    picture = (rival_picture){level.width,
                              level.height,
                              lb_texture_channels(texture),
                              lb_texture_mapping(texture)->role == LB_TEXTURE_HEIGHT,
                              lb_texture_mapping(texture)->wrap_u == LB_WRAP_REPEAT,
                              level.texels};
    for (int i = 0; i < out->picture_count; i++)
        if (out->pictures[i].texels == picture.texels)
            return i;
    if (out->picture_count == RIVAL_PICTURES)
        return -1;
    out->pictures[out->picture_count] = picture;
    return out->picture_count++;
}

/* Metal-rough surfaces here are rough and not metal: their base colour, without highlights. */
static void make_part(const lb_shot *shot, const lb_drawable *d, rival_scene *out, rival_part *part)
{
    const lb_material *m = d->material;
    const lb_placing *placing = lb_shot_placing(shot, d, 0);
    const lb_primitive *p = placing->primitive;
    const lb_texture *maps[4] = {m->maps[LB_SLOT_DIFFUSE], m->maps[LB_SLOT_SPECULAR],
                                 m->maps[LB_SLOT_BUMP], m->maps[LB_SLOT_EMISSION]};
    bool blinn = m->shading == LB_SHADING_BLINN;

    *part = (rival_part){.vertex_count = p->vertex_count,
                         .triangle_count = p->triangle_count,
                         .positions = &p->positions->x,
                         .normals = &p->normals->x,
                         .uvs = p->uvs[0] ? &p->uvs[0]->x : NULL,
                         .colors = p->colors ? &p->colors->x : NULL,
                         .triangles = p->indices,
                         .exponent = m->exponent};
    memcpy(part->diffuse, blinn ? &m->diffuse : &m->base_color, sizeof part->diffuse);
    if (blinn)
        memcpy(part->specular, &m->specular, sizeof part->specular);
    memcpy(part->emission, &m->emission, sizeof part->emission);
    for (int i = 0; i < 4; i++) {
        part->maps[i] = find_picture(out, maps[i]);
        part->tiles[i] = maps[i] ? (float)lb_texture_mapping(maps[i])->matrix[0] : 1;
    }
    part->height = maps[2] ? (float)lb_texture_mapping(maps[2])->scale : 0;
    for (int t = 0; t < RIVAL_INSTANTS; t++) {
        const double *w = lb_shot_placing(shot, d, t)->world;

        for (int i = 0; i < 9; i++)
            part->turns[9 * t + i] = lb_shot_placing(shot, d, t)->normal[i % 3 * 3 + i / 3];
        for (int c = 0; c < 4; c++)
            for (int r = 0; r < 4; r++)
                part->worlds[16 * t + 4 * c + r] = r < 3 ? (float)w[4 * r + c] : c == 3 ? 1 : 0;
    }
}

static void make_lights(const lb_shot *shot, rival_scene *out)
{
    const lb_lamp_set *set = &shot->lamps[RIVAL_INSTANTS / 2];

    memcpy(out->ambient, &set->ambient, sizeof out->ambient);
    for (int i = 0; i < set->count && out->light_count < RIVAL_LIGHTS; i++) {
        const lb_lamp *lamp = &set->lamps[i];
        rival_light *light = &out->lights[out->light_count++];

        *light = (rival_light){.decay = (int)lamp->decay,
                               .inverse_range = lamp->inverse_range,
                               .cone_outer = lamp->type == LB_LIGHT_SPOT ? lamp->cone_outer : -2,
                               .cone_step = lamp->type == LB_LIGHT_SPOT ? lamp->cone_step : 1};
        memcpy(light->color, &lamp->color, sizeof light->color);
        memcpy(light->position, &lamp->position, sizeof light->position);
        memcpy(light->axis, &lamp->axis, sizeof light->axis);
    }
}

static int make_scene(bench_scene *s)
{
    const lb_shot *shot = s->shot;
    rival_scene *out = &s->scene;

    out->near = (float)shot->eyes[0].near;
    out->far = (float)shot->eyes[0].far;
    for (int t = 0; t < RIVAL_INSTANTS; t++)
        make_view(shot, &shot->eyes[t], out, t);
    if (!(out->parts = lb_alloc((size_t)shot->drawable_count, sizeof *out->parts)))
        return LB_MEMORY;
    for (int32_t i = 0; i < shot->drawable_count; i++)
        make_part(shot, &shot->drawables[i], out, &out->parts[out->part_count++]);
    make_lights(shot, out);
    return LB_OK;
}

/* The shot that the renderer makes of it, before anything is projected. */
static lb_status make_shot(const bench_graph *graph, int frame, int width, int height,
                           bench_scene *s)
{
    lb_raster_options options = {.width = width,
                                 .height = height,
                                 .pixel_aspect = 1,
                                 .region = {0, 0, width, height},
                                 .samples = RIVAL_INSTANTS,
                                 .layers = LB_LAYER_COLOR,
                                 .lighting = true};
    lb_instant instants[RIVAL_INSTANTS];

    for (int i = 0; i < RIVAL_INSTANTS; i++)
        instants[i] = (lb_instant){
            .scene = s->source,
            .time_s = bench_graph_time(graph, frame + SHUTTER * (i + 0.5) / RIVAL_INSTANTS),
            .camera = lb_scene_find(s->source, LB_ITEM_CAMERA, NULL)};
    return lb_shot_new(instants, RIVAL_INSTANTS, &options, &s->shot);
}

rival_scene *bench_scene_new(bench_graph *graph, const char *node, int frame)
{
    bench_scene *s = lb_alloc(1, sizeof *s);
    int width, height;

    if (!s)
        return NULL;
    if (bench_graph_scene(graph, node, frame, &width, &height, &s->source) == LB_OK &&
        make_shot(graph, frame, width, height, s) == LB_OK && make_scene(s) == LB_OK)
        return &s->scene;
    bench_scene_free(&s->scene);
    return NULL;
}

void bench_scene_free(rival_scene *scene)
{
    bench_scene *s = (bench_scene *)(void *)scene;

    if (!s)
        return;
    lb_free(scene->parts);
    lb_shot_free(&s->shot);
    lb_scene_unref(&s->source);
    lb_free(s);
}
