/* engine/scene/gltf_image.c: pictures and samplers to textures. glTF 2.0, 3.8. */
#include <string.h>

#include "engine/base/file.h"
#include "engine/media/media.h"
#include "engine/scene/gltf_read.h"

/* The bytes of a picture as they lie in the file. */
typedef struct {
    const uint8_t *bytes;
    size_t count;
    void *owned;
    char name[GLTF_WHERE]; /* for messages */
} source;

/* What keeps a picture from being used is told once, and the material does without it. */
static lb_status give_up(gltf *g, gltf_image *image, const char *where, const char *name,
                         const char *why)
{
    image->is_broken = true;
    lb_warn(g->diag, g->loc, "'%s': %s: '%s' %s; surfaces do without it", g->path, where, name,
            why);
    return gltf_fact(g, LB_FACT_DROPPED, where, "'%s' %s.", name, why);
}

static lb_status open_uri(gltf *g, gltf_image *image, const char *where, const char *uri,
                          source *out)
{
    lb_status status;
    char *path;

    if (gltf_uri_is_data(uri)) {
        snprintf(out->name, sizeof out->name, "the embedded picture");
        status = gltf_uri_data(uri, &out->owned, &out->count);
        out->bytes = out->owned;
        if (status == LB_FORMAT)
            return give_up(g, image, where, out->name, "is damaged");
        return status ? gltf_no_memory(g) : LB_OK;
    }
    snprintf(out->name, sizeof out->name, "%.180s", uri);
    if ((status = gltf_uri_path(g->folder, uri, &path)) == LB_MEMORY)
        return gltf_no_memory(g);
    if (status)
        return give_up(g, image, where, out->name, "is not a path beside the file");
    if (!lb_file_exists(path))
        status = give_up(g, image, where, out->name, "is missing");
    else if ((status = lb_file_read(NULL, g->loc, path, LB_MEDIA_MAX_BYTES, &out->owned,
                                    &out->count)) == LB_MEMORY)
        status = gltf_no_memory(g);
    else if (status)
        status = give_up(g, image, where, out->name, "cannot be read");
    out->bytes = out->owned;
    lb_free(path);
    return status;
}

static lb_status open_source(gltf *g, size_t index, char where[GLTF_WHERE], source *out)
{
    const json_t *object;
    const char *uri;
    int64_t view;
    size_t stride;
    lb_status status;

    if ((status = gltf_root_element(g, "images", index, where, &object)) ||
        (status = gltf_text(g, object, where, "uri", &uri)) ||
        (status = gltf_index(g, object, where, "bufferView", g->view_count, &view)))
        return status;
    if (uri)
        return open_uri(g, &g->images[index], where, uri, out);
    if (view < 0)
        return gltf_fail(g, LB_FORMAT, where, "uri or bufferView is needed");
    snprintf(out->name, sizeof out->name, "the picture in bufferView %lld", (long long)view);
    return gltf_view(g, (size_t)view, &out->bytes, &out->count, &stride);
}

static lb_status load(gltf *g, size_t index, lb_picture_use use)
{
    gltf_image *image = &g->images[index];
    char where[GLTF_WHERE];
    source from = {0};
    lb_status status;

    if (image->is_broken || image->textures[use])
        return LB_OK;
    status = open_source(g, index, where, &from);
    if (status == LB_OK && !image->is_broken) {
        status = lb_picture_texture(g->pool, from.name, from.bytes, from.count, use,
                                    g->options->working, &image->textures[use]);
        if (status == LB_MEMORY)
            status = gltf_no_memory(g);
        else if (status == LB_CANCELLED)
            status = lb_fail(g->diag, status, g->loc, "'%s': stopped", g->path);
        else if (status)
            status = give_up(g, image, where, from.name, lb_picture_fault(status));
    }
    lb_free(from.owned);
    return status;
}

/* glTF 2.0, 5.26: the codes of wrap modes and filters. */
static bool wrap_of(int64_t code, lb_wrap *out)
{
    *out = code == 33648 ? LB_WRAP_MIRROR : code == 33071 ? LB_WRAP_CLAMP : LB_WRAP_REPEAT;
    return code == 33648 || code == 33071 || code == 10497;
}

/* One filter serves both ways: as it is magnified, and with a pyramid unless the file says that
 * there is none. */
static lb_texture_filter filter_of(int64_t mag, int64_t min)
{
    if (mag == 9728)
        return LB_TEXTURE_NEAREST;
    return min == 9728 || min == 9729 ? LB_TEXTURE_BILINEAR : LB_TEXTURE_MIPMAP;
}

static lb_status read_sampler(gltf *g, int64_t index, lb_texture_map *map)
{
    char where[GLTF_WHERE];
    const json_t *object;
    int64_t u, v, mag, min;
    bool is_known;
    lb_status status;

    if (index < 0)
        return LB_OK; /* repeat, filtered: lb_texture_map_default */
    if ((status = gltf_root_element(g, "samplers", (size_t)index, where, &object)) ||
        (status = gltf_whole(g, object, where, "wrapS", 10497, 0, INT32_MAX, &u)) ||
        (status = gltf_whole(g, object, where, "wrapT", 10497, 0, INT32_MAX, &v)) ||
        (status = gltf_whole(g, object, where, "magFilter", 0, 0, INT32_MAX, &mag)) ||
        (status = gltf_whole(g, object, where, "minFilter", 0, 0, INT32_MAX, &min)))
        return status;
    is_known = wrap_of(u, &map->wrap_u);
    is_known = wrap_of(v, &map->wrap_v) && is_known;
    map->filter = filter_of(mag, min);
    if (!is_known && (status = gltf_fact(g, LB_FACT_ASSUMED, where,
                                         "A wrap mode is none of 33071, 33648, 10497: repeat.")))
        return status;
    if ((mag == 9728) != (min == 9728) && (mag == 9728 || min == 9728))
        return gltf_fact(g, LB_FACT_CONVERTED, where,
                         "Filters differ for magnifying and reducing: %s for both.",
                         lb_texture_filter_names[map->filter]);
    return LB_OK;
}

lb_status gltf_texture_get(gltf *g, size_t index, lb_picture_use use, lb_texture_map *map,
                           lb_texture **out)
{
    char where[GLTF_WHERE];
    const json_t *object;
    int64_t image, sampler;
    lb_status status;

    *out = NULL;
    if ((status = gltf_root_element(g, "textures", index, where, &object)) ||
        (status = gltf_index(g, object, where, "sampler", g->sampler_count, &sampler)) ||
        (status = gltf_index(g, object, where, "source", g->image_count, &image)) ||
        (status = read_sampler(g, sampler, map)))
        return status;
    if (image < 0)
        return gltf_fact(g, LB_FACT_DROPPED, where,
                         "The texture has no picture of a kind that is read.");
    if ((status = load(g, (size_t)image, use)) || g->images[image].is_broken)
        return status;
    return gltf_told(g, lb_texture_with_map(g->images[image].textures[use], map, out));
}
