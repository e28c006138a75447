/* engine/scene/fbx_image.c: Texture and Video objects to pictures: embedded, beside the file, or
 * where the file says that they were. */
#include <string.h>

#include "engine/base/file.h"
#include "engine/base/text.h"
#include "engine/media/media.h"
#include "engine/scene/fbx_read.h"

/* Found in a Video, or in the Texture itself. */
typedef struct {
    const uint8_t *bytes;
    size_t count;
    void *owned;
    char name[FBX_WHERE]; /* for messages */
} source;

static void give_up(fbx *g, fbx_image *image, const fbx_object *texture, const char *name,
                    const char *why)
{
    char where[FBX_WHERE];

    image->is_broken = true;
    fbx_where(where, texture, NULL);
    lb_warn(g->diag, g->loc, "'%s': %s: '%s' %s; surfaces do without it", g->path, where, name,
            why);
    fbx_fact(g, LB_FACT_DROPPED, where, "'%s' %s.", name, why);
}

static const fbx_object *video_of(const fbx *g, const fbx_object *object)
{
    for (size_t i = 0; i < object->down_count; i++) {
        const fbx_object *child = &g->objects[fbx_down(g, object, i)->child];

        if (fbx_is_class(child, "Video"))
            return child;
    }
    return NULL;
}

/* ---- Embedded ---- */

static int sextet(char c)
{
    static const char digits[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    const char *at = c ? strchr(digits, c) : NULL;

    return at ? (int)(at - digits) : -1;
}

/* Base64 (RFC 4648), in as many texts as there are. Answers the bytes; false: it is none. */
static bool decode_texts(const fbx_node *content, uint8_t *out, size_t *count)
{
    uint32_t bits = 0;
    int held = 0;

    *count = 0;
    for (size_t v = 0; v < content->value_count; v++) {
        const fbx_value *value = &content->values[v];
        const char *text = value->type == FBX_TEXT ? value->text : (const char *)value->raw;

        if (value->type != FBX_TEXT && value->type != FBX_RAW)
            return false;
        for (size_t i = 0; i < value->count; i++) {
            int digit = sextet(text[i]);

            if (digit < 0 && !strchr("=\r\n \t", text[i]))
                return false;
            if (digit < 0)
                continue;
            bits = bits << 6 | (uint32_t)digit;
            if ((held += 6) >= 8)
                out[(*count)++] = (uint8_t)(bits >> (held -= 8));
        }
    }
    return true;
}

/* False: nothing is embedded. */
static bool open_content(fbx *g, const fbx_object *video, source *out, lb_status *status)
{
    const fbx_node *content = video ? fbx_child(video->node, "Content") : NULL;
    size_t length = 0;
    uint8_t *bytes;

    *status = LB_OK;
    for (size_t i = 0; content && i < content->value_count; i++)
        if (content->values[i].type == FBX_RAW || content->values[i].type == FBX_TEXT)
            length += content->values[i].count;
    if (length == 0)
        return false;
    snprintf(out->name, sizeof out->name, "the embedded picture of %.100s", video->name);
    if (g->document.is_binary) {
        out->bytes = content->values[0].raw;
        out->count = content->values[0].type == FBX_RAW ? content->values[0].count : 0;
        return true;
    }
    if (!(out->owned = bytes = lb_alloc(length, 1))) {
        *status = fbx_no_memory(g);
        return true;
    }
    out->bytes = bytes;
    if (!decode_texts(content, bytes, &out->count))
        out->count = 0;
    return true;
}

/* ---- Beside the file ---- */

static bool is_absolute(const char *name)
{
    return name[0] == '/' || name[0] == '\\' || (name[0] && name[1] == ':');
}

/* A name of the file with slashes, below `folder` unless it is absolute; `base`: its last part
 * only. NULL: no memory. */
static char *place_of(const fbx *g, const char *name, bool base)
{
    char *copy = lb_strdup(name), *from, *out;

    if (!copy)
        return NULL;
    for (char *at = copy; *at; at++)
        if (*at == '\\')
            *at = '/';
    from = base && strrchr(copy, '/') ? strrchr(copy, '/') + 1 : copy;
    while (!is_absolute(from) && strncmp(from, "./", 2) == 0)
        from += 2;
    out = lb_path_join(g->folder, from);
    lb_free(copy);
    return out;
}

static const char *name_in(const fbx_object *object, const char *const keys[2])
{
    const char *name = "";

    for (int i = 0; i < 2 && object && !name[0]; i++)
        (void)fbx_text(fbx_child(object->node, keys[i]), 0, &name);
    return name;
}

/* The relative name, then the last part of it or of the absolute name beside the file, then the
 * absolute name. */
lb_status fbx_image_places(const fbx *g, const fbx_object *object, char *out[FBX_PLACES])
{
    static const char *const relative_keys[2] = {"RelativeFilename", "RelativeFileName"};
    static const char *const absolute_keys[2] = {"FileName", "Filename"};
    const fbx_object *video = video_of(g, object);
    const char *relative = name_in(object, relative_keys), *absolute;
    bool room = true;

    relative = relative[0] ? relative : name_in(video, relative_keys);
    absolute = name_in(object, absolute_keys);
    absolute = absolute[0] ? absolute : name_in(video, absolute_keys);
    memset(out, 0, FBX_PLACES * sizeof *out);
    if (relative[0] && !is_absolute(relative))
        room = (out[0] = place_of(g, relative, false)) != NULL;
    if (room && (relative[0] || absolute[0]))
        room = (out[1] = place_of(g, relative[0] ? relative : absolute, true)) != NULL;
    if (room && absolute[0])
        room = (out[2] = place_of(g, absolute, false)) != NULL;
    for (int i = 0; i < FBX_PLACES && !room; i++) {
        lb_free(out[i]);
        out[i] = NULL;
    }
    return room ? LB_OK : LB_MEMORY;
}

static lb_status open_file(fbx *g, fbx_image *image, const fbx_object *texture, source *out)
{
    static const char *const how[] = {NULL, "beside the file, and not where its name says",
                                      "where the absolute name says"};
    char *places[FBX_PLACES], where[FBX_WHERE];
    lb_status status = LB_OK;
    int at = 0, named = 0;

    if (fbx_image_places(g, texture, places))
        return fbx_no_memory(g);
    while (at < FBX_PLACES && !(places[at] && lb_file_exists(places[at])))
        at++;
    while (named < FBX_PLACES - 1 && !places[named])
        named++;
    snprintf(out->name, sizeof out->name, "%.180s", places[named] ? places[named] : "no name");
    if (at == FBX_PLACES) {
        give_up(g, image, texture, out->name, "is missing");
    } else {
        snprintf(out->name, sizeof out->name, "%.180s", places[at]);
        status =
            lb_file_read(NULL, g->loc, places[at], LB_MEDIA_MAX_BYTES, &out->owned, &out->count);
        out->bytes = out->owned;
        if (how[at] && (at != 1 || places[0]))
            fbx_fact(g, LB_FACT_ASSUMED, fbx_where(where, texture, NULL),
                     "The picture was found %s.", how[at]);
        if (status == LB_MEMORY)
            status = fbx_no_memory(g);
        else if (status) {
            give_up(g, image, texture, out->name, "cannot be read");
            status = LB_OK;
        }
    }
    for (int i = 0; i < FBX_PLACES; i++)
        lb_free(places[i]);
    return status;
}

static lb_status load(fbx *g, fbx_image *image, const fbx_object *texture, lb_picture_use use)
{
    const fbx_object *video = video_of(g, texture);
    source from = {0};
    lb_status status;

    if (!open_content(g, video, &from, &status))
        status = open_file(g, image, texture, &from);
    if (status == LB_OK && !image->is_broken) {
        status = lb_picture_texture(g->pool, from.name, from.bytes, from.count, use,
                                    g->options->working, &image->textures[use]);
        if (status == LB_MEMORY) {
            status = fbx_no_memory(g);
        } else if (status == LB_CANCELLED) {
            status = lb_fail(g->diag, status, g->loc, "'%s': stopped", g->path);
        } else if (status) {
            give_up(g, image, texture, from.name, lb_picture_fault(status));
            status = LB_OK;
        }
    }
    lb_free(from.owned);
    return status;
}

lb_status fbx_texture_get(fbx *g, const fbx_object *texture, lb_picture_use use,
                          const lb_texture_map *map, lb_texture **out)
{
    const fbx_object *video = video_of(g, texture);
    fbx_image *image = &g->images[(video ? video : texture) - g->objects];
    lb_status status = LB_OK;

    *out = NULL;
    if (video)
        g->objects[video - g->objects].used = true;
    if (!image->is_broken && !image->textures[use])
        status = load(g, image, texture, use);
    if (status || image->is_broken)
        return status;
    return fbx_told(g, lb_texture_with_map(image->textures[use], map, out));
}
