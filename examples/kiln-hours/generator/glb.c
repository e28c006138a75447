/* examples/kiln-hours/generator/glb.c: Khronos glTF 2.0, sections 3 and 4 (binary container). */
#include "glb.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef struct text {
    char *bytes;
    size_t count, room;
} text;

#define MAX_NODES 512

struct glb {
    text buffer; /* the binary part */
    text views, accessors, images, textures, materials, cameras, lights, meshes, samplers, channels;
    int view_count, accessor_count, image_count, material_count, camera_count, light_count,
        mesh_count, sampler_count;
    int node_count;
    text nodes[MAX_NODES];
    int parents[MAX_NODES];
    size_t triangles, mesh_triangles[MAX_NODES];
    int last_times; /* accessor of the last curve's times, used again when they are the same */
    size_t last_times_at, last_times_bytes;
};

static void put(text *t, const void *bytes, size_t count)
{
    if (t->count + count + 1 > t->room) {
        t->room = (t->count + count + 1) * 2;
        t->bytes = grab(t->bytes, t->room, 1);
    }
    memcpy(t->bytes + t->count, bytes, count);
    t->count += count;
    t->bytes[t->count] = 0;
}

static void say_list(text *t, const char *format, va_list arguments)
{
    char line[2048];
    int count = vsnprintf(line, sizeof line, format, arguments);

    if (count < 0 || (size_t)count >= sizeof line)
        give_up("a line of JSON is too long");
    put(t, line, (size_t)count);
}

__attribute__((format(printf, 2, 3))) static void say(text *t, const char *format, ...)
{
    va_list arguments;

    va_start(arguments, format);
    say_list(t, format, arguments);
    va_end(arguments);
}

static const char *comma(int count)
{
    return count > 0 ? ",\n" : "";
}

glb *glb_new(void)
{
    glb *g = grab(NULL, 1, sizeof *g);

    memset(g, 0, sizeof *g);
    g->last_times = -1;
    return g;
}

/* Appends to the binary part, aligned to 4; answers the buffer view. */
static int add_view(glb *g, const void *bytes, size_t count, int target)
{
    static const char zeros[4];

    say(&g->views, "%s{\"buffer\":0,\"byteOffset\":%zu,\"byteLength\":%zu", comma(g->view_count),
        g->buffer.count, count);
    if (target != 0)
        say(&g->views, ",\"target\":%d", target);
    say(&g->views, "}");
    put(&g->buffer, bytes, count);
    put(&g->buffer, zeros, (4 - count % 4) % 4);
    return g->view_count++;
}

enum { UBYTE = 5121, USHORT = 5123, UINT = 5125, FLOAT = 5126 };

static int add_accessor(glb *g, int view, int type, const char *shape, size_t count,
                        const char *more)
{
    say(&g->accessors, "%s{\"bufferView\":%d,\"componentType\":%d,\"count\":%zu,\"type\":\"%s\"%s}",
        comma(g->accessor_count), view, type, count, shape, more);
    return g->accessor_count++;
}

int glb_image(glb *g, const char *name, const void *png, size_t bytes)
{
    int view = add_view(g, png, bytes, 0);

    say(&g->images, "%s{\"name\":\"%s\",\"bufferView\":%d,\"mimeType\":\"image/png\"}",
        comma(g->image_count), name, view);
    say(&g->textures, "%s{\"source\":%d,\"sampler\":0}", comma(g->image_count), g->image_count);
    return g->image_count++;
}

int glb_material(glb *g, const char *name, const char *json, ...)
{
    va_list arguments;

    say(&g->materials, "%s{\"name\":\"%s\",", comma(g->material_count), name);
    va_start(arguments, json);
    say_list(&g->materials, json, arguments);
    va_end(arguments);
    say(&g->materials, "}");
    return g->material_count++;
}

int glb_camera(glb *g, const char *name, const char *json, ...)
{
    va_list arguments;

    say(&g->cameras, "%s{\"name\":\"%s\",\"type\":\"perspective\",\"perspective\":{",
        comma(g->camera_count), name);
    va_start(arguments, json);
    say_list(&g->cameras, json, arguments);
    va_end(arguments);
    say(&g->cameras, "}}");
    return g->camera_count++;
}

int glb_light(glb *g, const char *name, const char *json, ...)
{
    va_list arguments;

    say(&g->lights, "%s{\"name\":\"%s\",", comma(g->light_count), name);
    va_start(arguments, json);
    say_list(&g->lights, json, arguments);
    va_end(arguments);
    say(&g->lights, "}");
    return g->light_count++;
}

static uint16_t unit16(double x)
{
    return (uint16_t)(clamp01(x) * 65535 + 0.5);
}

/* Positions and normals as floats, texture coordinates as 16-bit fractions, colours as bytes. */
static void add_vertices(glb *g, const soup *s)
{
    size_t n = s->vertex_count;
    float *three = grab(NULL, n * 3, sizeof *three);
    uint16_t *two = grab(NULL, n * 2, sizeof *two);
    uint8_t *four = grab(NULL, n * 4, sizeof *four);
    float low[3] = {INFINITY, INFINITY, INFINITY}, high[3] = {-INFINITY, -INFINITY, -INFINITY};
    char bounds[256];

    for (size_t i = 0; i < n; i++) {
        const vertex *v = &s->vertices[i];
        const double p[3] = {v->position.x, v->position.y, v->position.z};

        for (int k = 0; k < 3; k++) {
            /* to a hundredth of a millimetre: it packs better and nobody can tell */
            float value = (float)(rint(p[k] * 1e5) / 1e5);

            three[3 * i + (size_t)k] = value;
            low[k] = fminf(low[k], value);
            high[k] = fmaxf(high[k], value);
            four[4 * i + (size_t)k] = (uint8_t)(clamp01(v->color[k]) * 255 + 0.5);
        }
        four[4 * i + 3] = 255;
        two[2 * i] = unit16(v->u);
        two[2 * i + 1] = unit16(v->v);
    }
    snprintf(bounds, sizeof bounds, ",\"min\":[%.9g,%.9g,%.9g],\"max\":[%.9g,%.9g,%.9g]",
             (double)low[0], (double)low[1], (double)low[2], (double)high[0], (double)high[1],
             (double)high[2]);
    add_accessor(g, add_view(g, three, n * 12, 34962), FLOAT, "VEC3", n, bounds);
    for (size_t i = 0; i < n; i++) {
        v3 normal = v3_normal(s->vertices[i].normal);

        three[3 * i] = (float)normal.x;
        three[3 * i + 1] = (float)normal.y;
        three[3 * i + 2] = (float)normal.z;
    }
    add_accessor(g, add_view(g, three, n * 12, 34962), FLOAT, "VEC3", n, "");
    add_accessor(g, add_view(g, two, n * 4, 34962), USHORT, "VEC2", n, ",\"normalized\":true");
    add_accessor(g, add_view(g, four, n * 4, 34962), UBYTE, "VEC4", n, ",\"normalized\":true");
    free(three);
    free(two);
    free(four);
}

int glb_mesh(glb *g, const char *name, soup *s, int material)
{
    int first = g->accessor_count;

    if (s->vertex_count == 0 || s->vertex_count > 65535 || g->mesh_count == MAX_NODES)
        give_up("mesh '%s' has %zu vertices", name, s->vertex_count);
    uint16_t *short_indices = grab(NULL, s->index_count, sizeof *short_indices);
    for (size_t i = 0; i < s->index_count; i++)
        short_indices[i] = (uint16_t)s->indices[i];
    add_vertices(g, s);
    add_accessor(g, add_view(g, short_indices, s->index_count * 2, 34963), USHORT, "SCALAR",
                 s->index_count, "");
    free(short_indices);
    say(&g->meshes,
        "%s{\"name\":\"%s\",\"primitives\":[{\"attributes\":{\"POSITION\":%d,\"NORMAL\":%d,"
        "\"TEXCOORD_0\":%d,\"COLOR_0\":%d},\"indices\":%d,\"material\":%d}]}",
        comma(g->mesh_count), name, first, first + 1, first + 2, first + 3, first + 4, material);
    g->mesh_triangles[g->mesh_count] = s->index_count / 3;
    soup_free(s);
    return g->mesh_count++;
}

int glb_node(glb *g, int parent, const char *name, const placing *where, const char *kind,
             int index)
{
    text *t = &g->nodes[g->node_count];

    if (g->node_count == MAX_NODES)
        give_up("more than %d nodes", MAX_NODES);
    say(t, "{\"name\":\"%s\"", name);
    if (where != NULL) {
        v3 p = where->translation;
        quat q = where->rotation;

        if (p.x != 0 || p.y != 0 || p.z != 0)
            say(t, ",\"translation\":[%.7g,%.7g,%.7g]", p.x, p.y, p.z);
        if (q.x != 0 || q.y != 0 || q.z != 0 || q.w != 0)
            say(t, ",\"rotation\":[%.9g,%.9g,%.9g,%.9g]", q.x, q.y, q.z, q.w);
        if (where->scale != 0)
            say(t, ",\"scale\":[%.7g,%.7g,%.7g]", where->scale, where->scale, where->scale);
    }
    if (kind != NULL && strcmp(kind, "light") == 0)
        say(t, ",\"extensions\":{\"KHR_lights_punctual\":{\"light\":%d}}", index);
    else if (kind != NULL)
        say(t, ",\"%s\":%d", kind, index);
    if (kind != NULL && strcmp(kind, "mesh") == 0)
        g->triangles += g->mesh_triangles[index];
    g->parents[g->node_count] = parent;
    return g->node_count++;
}

void glb_curve(glb *g, int node, const char *path, const char *interpolation, int keys, int width,
               const float *times, const float *values)
{
    size_t bytes = (size_t)keys * sizeof *times;
    int tuples = strcmp(interpolation, "CUBICSPLINE") == 0 ? 3 * keys : keys;
    char bounds[96];

    if (g->last_times < 0 || g->last_times_bytes != bytes ||
        memcmp(g->buffer.bytes + g->last_times_at, times, bytes) != 0) {
        snprintf(bounds, sizeof bounds, ",\"min\":[%.9g],\"max\":[%.9g]", (double)times[0],
                 (double)times[keys - 1]);
        g->last_times_at = g->buffer.count;
        g->last_times_bytes = bytes;
        g->last_times =
            add_accessor(g, add_view(g, times, bytes, 0), FLOAT, "SCALAR", (size_t)keys, bounds);
    }
    int view = add_view(g, values, (size_t)tuples * (size_t)width * sizeof *values, 0);
    int output = add_accessor(g, view, FLOAT, width == 4 ? "VEC4" : "VEC3", (size_t)tuples, "");
    say(&g->samplers, "%s{\"input\":%d,\"output\":%d,\"interpolation\":\"%s\"}",
        comma(g->sampler_count), g->last_times, output, interpolation);
    say(&g->channels, "%s{\"sampler\":%d,\"target\":{\"node\":%d,\"path\":\"%s\"}}",
        comma(g->sampler_count), g->sampler_count, node, path);
    g->sampler_count++;
}

size_t glb_triangles(const glb *g)
{
    return g->triangles;
}

static void say_array(text *t, const char *name, const text *items)
{
    if (items->count == 0)
        return;
    say(t, ",\n\"%s\":[\n", name);
    put(t, items->bytes, items->count);
    say(t, "]");
}

static void say_children(text *t, const glb *g, int parent)
{
    int count = 0;

    for (int i = 0; i < g->node_count; i++)
        if (g->parents[i] == parent)
            say(t, "%s%d", count++ > 0 ? "," : "", i);
}

static void say_nodes(text *t, const glb *g)
{
    say(t, ",\n\"scene\":0,\n\"scenes\":[{\"name\":\"shot\",\"nodes\":[");
    say_children(t, g, -1);
    say(t, "]}],\n\"nodes\":[\n");
    for (int i = 0; i < g->node_count; i++) {
        int has_child = 0;

        put(t, g->nodes[i].bytes, g->nodes[i].count);
        for (int k = 0; k < g->node_count; k++)
            has_child |= g->parents[k] == i;
        if (has_child) {
            say(t, ",\"children\":[");
            say_children(t, g, i);
            say(t, "]");
        }
        say(t, i + 1 < g->node_count ? "},\n" : "}");
    }
    say(t, "]");
}

static void say_document(text *t, const glb *g)
{
    say(t, "{\"asset\":{\"version\":\"2.0\",\"generator\":\"kiln-hours generator\"},\n"
           "\"extensionsUsed\":[\"KHR_lights_punctual\",\"KHR_materials_emissive_strength\"]");
    say_nodes(t, g);
    say_array(t, "cameras", &g->cameras);
    say_array(t, "meshes", &g->meshes);
    say_array(t, "materials", &g->materials);
    say_array(t, "textures", &g->textures);
    say_array(t, "images", &g->images);
    say(t, ",\n\"samplers\":[{\"magFilter\":9729,\"minFilter\":9987,\"wrapS\":10497,"
           "\"wrapT\":33071}]");
    say(t, ",\n\"animations\":[{\"name\":\"take\",\"channels\":[\n");
    put(t, g->channels.bytes, g->channels.count);
    say(t, "],\"samplers\":[\n");
    put(t, g->samplers.bytes, g->samplers.count);
    say(t, "]}],\n\"extensions\":{\"KHR_lights_punctual\":{\"lights\":[\n");
    put(t, g->lights.bytes, g->lights.count);
    say(t, "]}}");
    say_array(t, "accessors", &g->accessors);
    say_array(t, "bufferViews", &g->views);
    say(t, ",\n\"buffers\":[{\"byteLength\":%zu}]}", g->buffer.count);
    while (t->count % 4 != 0)
        say(t, " ");
}

static void put_u32(FILE *file, size_t value)
{
    uint8_t bytes[4] = {(uint8_t)value, (uint8_t)(value >> 8), (uint8_t)(value >> 16),
                        (uint8_t)(value >> 24)};

    fwrite(bytes, 1, 4, file);
}

void glb_write(glb **g, const char *path)
{
    text json = {0};
    FILE *file = fopen(path, "wb");

    if (file == NULL)
        give_up("cannot write %s", path);
    say_document(&json, *g);
    put_u32(file, 0x46546c67);
    put_u32(file, 2);
    put_u32(file, 12 + 8 + json.count + 8 + (*g)->buffer.count);
    put_u32(file, json.count);
    put_u32(file, 0x4e4f534a);
    fwrite(json.bytes, 1, json.count, file);
    put_u32(file, (*g)->buffer.count);
    put_u32(file, 0x004e4942);
    fwrite((*g)->buffer.bytes, 1, (*g)->buffer.count, file);
    if (ferror(file) | fclose(file))
        give_up("cannot write all of %s", path);
    free(json.bytes);
    text *all[] = {&(*g)->buffer,   &(*g)->views,     &(*g)->accessors, &(*g)->images,
                   &(*g)->textures, &(*g)->materials, &(*g)->cameras,   &(*g)->lights,
                   &(*g)->meshes,   &(*g)->samplers,  &(*g)->channels};
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++)
        free(all[i]->bytes);
    for (int i = 0; i < (*g)->node_count; i++)
        free((*g)->nodes[i].bytes);
    free(*g);
    *g = NULL;
}
