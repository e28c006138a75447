/* engine/scene/gltf.c: a glTF file to a scene: containers, order of reading, what it refers to. */
#include "engine/scene/gltf.h"

#include <stdlib.h>
#include <string.h>

#include "engine/base/file.h"
#include "engine/base/hash.h"
#include "engine/media/media.h"
#include "engine/scene/gltf_read.h"

#define GLB_MAGIC 0x46546C67u /* "glTF" */
#define CHUNK_JSON 0x4E4F534Au
#define CHUNK_BIN 0x004E4942u

static uint32_t word(const uint8_t *at)
{
    return at[0] | (uint32_t)at[1] << 8 | (uint32_t)at[2] << 16 | (uint32_t)at[3] << 24;
}

/* Where the JSON and the binary chunk of a file lie. */
typedef struct {
    const char *json;
    size_t json_count;
    const uint8_t *bin; /* NULL: none */
    size_t bin_count;
} glb_parts;

static lb_status fail(lb_diag *diag, lb_loc loc, const char *path, const char *what)
{
    return lb_fail(diag, LB_FORMAT, loc, "'%s': %s", path, what);
}

/* glTF 2.0, 4.4: the header (magic, version, length), then chunks (length, type, data). Chunks of
 * other types, and binary ones that are not the second, are passed over as the standard asks. */
static lb_status split_glb(lb_diag *diag, lb_loc loc, const char *path, const uint8_t *bytes,
                           size_t count, glb_parts *out)
{
    size_t at = 12, chunk = 0;

    if (count < 20)
        return fail(diag, loc, path, "the file ends within its header");
    if (word(bytes + 4) != 2)
        return lb_fail(diag, LB_UNSUPPORTED, loc, "'%s': version %u of the container; 2 is read",
                       path, word(bytes + 4));
    if (word(bytes + 8) > count)
        return lb_fail(diag, LB_FORMAT, loc, "'%s': the file has %zu of its %u bytes", path, count,
                       word(bytes + 8));
    count = word(bytes + 8);
    for (; at + 8 <= count; chunk++) {
        size_t length = word(bytes + at);
        uint32_t type = word(bytes + at + 4);

        at += 8;
        if (length > count - at)
            return lb_fail(diag, LB_FORMAT, loc, "'%s': chunk %zu leaves the file", path, chunk);
        if (chunk == 0 && type != CHUNK_JSON)
            return fail(diag, loc, path, "the first chunk is not JSON");
        if (chunk == 0) {
            out->json = (const char *)bytes + at;
            out->json_count = length;
        } else if (chunk == 1 && type == CHUNK_BIN) {
            out->bin = bytes + at;
            out->bin_count = length;
        }
        at += length;
    }
    return out->json ? LB_OK : fail(diag, loc, path, "there is no JSON in it");
}

static lb_status split(lb_diag *diag, lb_loc loc, const char *path, const void *bytes, size_t count,
                       glb_parts *out)
{
    *out = (glb_parts){0};
    if (lb_gltf_is_binary(bytes, count))
        return split_glb(diag, loc, path, bytes, count, out);
    out->json = bytes;
    out->json_count = count;
    if (count >= 3 && memcmp(bytes, "\xEF\xBB\xBF", 3) == 0) { /* a byte order mark does no harm */
        out->json += 3;
        out->json_count -= 3;
    }
    return LB_OK;
}

bool lb_gltf_is_binary(const void *bytes, size_t count)
{
    return count >= 4 && word(bytes) == GLB_MAGIC;
}

bool lb_gltf_is(const void *bytes, size_t count)
{
    const char *text = bytes;
    size_t at = count >= 3 && memcmp(bytes, "\xEF\xBB\xBF", 3) == 0 ? 3 : 0;

    if (lb_gltf_is_binary(bytes, count))
        return true;
    while (at < count && strchr(" \t\r\n", text[at]) && text[at])
        at++;
    return at < count && text[at] == '{' && memmem(text, count, "\"asset\"", 7) != NULL;
}

static lb_status parse(lb_diag *diag, lb_loc loc, const char *path, const glb_parts *parts,
                       json_t **out)
{
    json_error_t error;

    *out = json_loadb(parts->json, parts->json_count, JSON_REJECT_DUPLICATES, &error);
    if (*out && json_is_object(*out))
        return LB_OK;
    if (*out) {
        json_decref(*out);
        *out = NULL;
        return fail(diag, loc, path, "the JSON is not an object");
    }
    if (json_error_code(&error) == json_error_out_of_memory)
        return lb_fail(diag, LB_MEMORY, loc, "'%s': no room for its JSON", path);
    return lb_fail(diag, LB_FORMAT, loc, "'%s': JSON, line %d, column %d: %s", path, error.line,
                   error.column, error.text);
}

/* "2.0": digits, a dot, digits. */
static bool read_version(const char *text, long *major, long *minor)
{
    char *end;

    *major = strtol(text, &end, 10);
    if (end == text || *end != '.')
        return false;
    text = end + 1;
    *minor = strtol(text, &end, 10);
    return end != text && *end == 0 && *major >= 0 && *minor >= 0;
}

/* glTF 2.0, 3.2: minVersion is what a reader has to be able to; else version's major number. */
static lb_status check_version(gltf *g)
{
    const json_t *asset;
    const char *version, *least;
    long major, minor;
    lb_status status;

    if ((status = gltf_object(g, g->root, "", "asset", &asset)))
        return status;
    if (!asset)
        return gltf_fail(g, LB_FORMAT, "", "there is no asset in it, so it is no glTF");
    if ((status = gltf_text(g, asset, "/asset", "version", &version)) ||
        (status = gltf_text(g, asset, "/asset", "minVersion", &least)))
        return status;
    if (!version || !read_version(version, &major, &minor))
        return gltf_fail(g, LB_FORMAT, "/asset/version", "a version like 2.0 is needed");
    if (major != 2)
        return gltf_fail(g, LB_UNSUPPORTED, "/asset/version",
                         "the file is version %ld; 2.0 is read", major);
    if (least && !read_version(least, &major, &minor))
        return gltf_fail(g, LB_FORMAT, "/asset/minVersion", "a version like 2.0 is needed");
    if (least && (major != 2 || minor != 0))
        return gltf_fail(g, LB_UNSUPPORTED, "/asset/minVersion",
                         "the file needs a reader of version %ld.%ld; this is one of 2.0", major,
                         minor);
    return LB_OK;
}

/* Memory for what lies in each list of the file; an empty list needs none. */
static bool reserve(void **out, size_t count, size_t size)
{
    return count == 0 || (*out = lb_alloc(count, size)) != NULL;
}

static lb_status open_lists(gltf *g)
{
    char path[GLTF_WHERE];
    const json_t *extension, *lights;
    lb_status status;

    if ((status = gltf_root_count(g, "buffers", &g->buffer_count)) ||
        (status = gltf_root_count(g, "bufferViews", &g->view_count)) ||
        (status = gltf_root_count(g, "accessors", &g->accessor_count)) ||
        (status = gltf_root_count(g, "images", &g->image_count)) ||
        (status = gltf_root_count(g, "samplers", &g->sampler_count)) ||
        (status = gltf_root_count(g, "textures", &g->texture_count)) ||
        (status = gltf_root_count(g, "materials", &g->material_count)) ||
        (status = gltf_root_count(g, "meshes", &g->mesh_count)) ||
        (status = gltf_root_count(g, "cameras", &g->camera_count)) ||
        (status = gltf_root_count(g, "nodes", &g->node_count)) ||
        (status = gltf_extension(g, g->root, "", "KHR_lights_punctual", path, &extension)) ||
        (status = gltf_array(g, extension, path, "lights", &lights)))
        return status;
    g->light_count = json_array_size(lights);
    if (!reserve((void **)&g->buffers, g->buffer_count, sizeof *g->buffers) ||
        !reserve((void **)&g->images, g->image_count, sizeof *g->images) ||
        !reserve((void **)&g->materials, g->material_count, sizeof *g->materials) ||
        !reserve((void **)&g->meshes, g->mesh_count, sizeof *g->meshes) ||
        !reserve((void **)&g->cameras, g->camera_count, sizeof *g->cameras) ||
        !reserve((void **)&g->lights, g->light_count, sizeof *g->lights) ||
        !reserve((void **)&g->node_items, g->node_count, sizeof *g->node_items))
        return gltf_no_memory(g);
    for (size_t i = 0; i < g->node_count; i++)
        g->node_items[i] = -1;
    return LB_OK;
}

static void clear(gltf *g)
{
    for (size_t i = 0; g->buffers && i < g->buffer_count; i++)
        lb_free(g->buffers[i].owned);
    for (size_t i = 0; g->images && i < g->image_count; i++)
        for (int32_t use = 0; use < LB_PICTURE_USE_COUNT; use++)
            lb_texture_unref(&g->images[i].textures[use]);
    for (size_t i = 0; g->materials && i < g->material_count; i++)
        lb_material_unref(&g->materials[i].material);
    for (size_t i = 0; g->meshes && i < g->mesh_count; i++)
        lb_mesh_unref(&g->meshes[i].mesh);
    lb_material_unref(&g->plain.material);
    lb_free(g->buffers);
    lb_free(g->images);
    lb_free(g->materials);
    lb_free(g->meshes);
    lb_free(g->cameras);
    lb_free(g->lights);
    lb_free(g->node_items);
    lb_free(g->folder);
    json_decref(g->root);
}

static lb_status read_all(gltf *g)
{
    lb_status status;

    if (!(g->folder = lb_path_folder(g->path)))
        return gltf_no_memory(g);
    if ((status = gltf_told(g, lb_scene_new(&g->scene))) || (status = check_version(g)) ||
        (status = gltf_extensions_check(g)) || (status = open_lists(g)) ||
        (status = gltf_nodes_read(g)) || (status = gltf_animations_read(g)))
        return status;
    return gltf_rest_report(g);
}

lb_status lb_gltf_read(lb_pool *pool, lb_diag *diag, lb_loc loc, const char *path,
                       const void *bytes, size_t count, const lb_gltf_options *options,
                       lb_scene **out)
{
    gltf g = {.pool = pool, .diag = diag, .loc = loc, .path = path, .options = options};
    glb_parts parts;
    lb_status status;

    *out = NULL;
    lb_space_matrix(LB_SPACE_LINEAR_REC709, options->working, g.to_working);
    if ((status = split(diag, loc, path, bytes, count, &parts)) ||
        (status = parse(diag, loc, path, &parts, &g.root)))
        return status;
    g.bin = parts.bin;
    g.bin_count = parts.bin_count;
    status = read_all(&g);
    if (status)
        lb_scene_unref(&g.scene);
    *out = g.scene;
    clear(&g);
    return status;
}

/* Could any file lie beside this one? Quick, so that files which hold everything are not parsed
 * for nothing: every uri in sight is data, and no escape could hide one. */
static bool may_refer(const glb_parts *parts)
{
    const char *at = parts->json, *end = at + parts->json_count;

    if (memmem(at, parts->json_count, "\\u", 2))
        return true;
    while ((at = memmem(at, (size_t)(end - at), "\"uri\"", 5))) {
        for (at += 5; at < end && strchr(" \t\r\n:", *at) && *at; at++)
            ;
        if (end - at < 6 || memcmp(at, "\"data:", 6) != 0)
            return true;
    }
    return false;
}

static lb_status each_uri(const json_t *list, const char *folder, lb_gltf_file_fn fn, void *context)
{
    const json_t *element;
    size_t i;

    json_array_foreach(list, i, element)
    {
        const char *uri = json_string_value(json_object_get(element, "uri"));
        char *path;
        lb_status status;

        if (!uri || gltf_uri_is_data(uri))
            continue;
        if ((status = gltf_uri_path(folder, uri, &path)) == LB_MEMORY)
            return status;
        if (status)
            continue; /* lb_gltf_read tells of it */
        status = fn(context, path);
        lb_free(path);
        if (status)
            return status;
    }
    return LB_OK;
}

lb_status lb_gltf_files(lb_diag *diag, lb_loc loc, const char *path, const void *bytes,
                        size_t count, lb_gltf_file_fn fn, void *context)
{
    glb_parts parts;
    json_t *root;
    char *folder;
    lb_status status;

    if ((status = split(diag, loc, path, bytes, count, &parts)))
        return status;
    if (!may_refer(&parts))
        return LB_OK;
    if ((status = parse(diag, loc, path, &parts, &root)))
        return status;
    if (!(folder = lb_path_folder(path)))
        status = lb_fail(diag, LB_MEMORY, loc, "'%s': no room", path);
    else if ((status = each_uri(json_object_get(root, "buffers"), folder, fn, context)) == LB_OK)
        status = each_uri(json_object_get(root, "images"), folder, fn, context);
    lb_free(folder);
    json_decref(root);
    return status;
}
