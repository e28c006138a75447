/* engine/graph/value.c: what goes along the wires. */
#include "engine/graph/value.h"

#include <string.h>

const char *lb_kind_text(lb_kind kind)
{
    switch (kind) {
    case LB_KIND_NONE:
        return "nothing";
    case LB_KIND_IMAGE:
        return "an image";
    case LB_KIND_SCENE:
        return "a scene";
    case LB_KIND_MATERIAL:
        return "a material";
    case LB_KIND_TEXTURE:
        return "a texture";
    }
    return "nothing";
}

lb_value lb_value_ref(lb_value value)
{
    switch (value.kind) {
    case LB_KIND_NONE:
        break;
    case LB_KIND_IMAGE:
        lb_image_ref(value.image);
        break;
    case LB_KIND_SCENE:
        lb_scene_ref(value.scene);
        break;
    case LB_KIND_MATERIAL:
        lb_material_ref(value.material);
        break;
    case LB_KIND_TEXTURE:
        lb_texture_ref(value.texture);
        break;
    }
    return value;
}

void lb_value_unref(lb_value *value)
{
    switch (value->kind) {
    case LB_KIND_NONE:
        break;
    case LB_KIND_IMAGE:
        lb_image_unref(&value->image);
        break;
    case LB_KIND_SCENE:
        lb_scene_unref(&value->scene);
        break;
    case LB_KIND_MATERIAL:
        lb_material_unref(&value->material);
        break;
    case LB_KIND_TEXTURE:
        lb_texture_unref(&value->texture);
        break;
    }
    *value = (lb_value){0};
}

size_t lb_value_bytes(lb_value value)
{
    size_t bytes = 0;

    switch (value.kind) {
    case LB_KIND_NONE:
        break;
    case LB_KIND_IMAGE:
        return lb_image_bytes(value.image);
    case LB_KIND_SCENE:
        return lb_scene_bytes(value.scene);
    case LB_KIND_MATERIAL:
        bytes = sizeof *value.material;
        for (int slot = 0; slot < LB_SLOT_COUNT; slot++)
            if (value.material->maps[slot])
                bytes += lb_texture_bytes(value.material->maps[slot]);
        return bytes;
    case LB_KIND_TEXTURE:
        return lb_texture_bytes(value.texture);
    }
    return bytes;
}

const lb_channels *lb_channels_make(lb_arena *arena, const char *const *names)
{
    lb_channels *channels = lb_arena_alloc(arena, 1, sizeof *channels);

    if (!channels)
        return NULL;
    for (; *names && channels->count < LB_MAX_CHANNELS; names++) {
        int32_t at = channels->count;

        while (at > 0 && strcmp(channels->names[at - 1], *names) > 0) {
            channels->names[at] = channels->names[at - 1];
            at--;
        }
        channels->names[at] = lb_arena_strdup(arena, *names);
        if (!channels->names[at])
            return NULL;
        channels->count++;
    }
    return channels;
}

const lb_channels *lb_channels_rgba(void)
{
    static const lb_channels rgba = {4, {"A", "B", "G", "R"}};

    return &rgba;
}

int32_t lb_channels_find(const lb_channels *channels, const char *name)
{
    if (channels)
        for (int32_t i = 0; i < channels->count; i++)
            if (strcmp(channels->names[i], name) == 0)
                return i;
    return -1;
}
