/* engine/media/picture.c: images in the making, and the checks that come before any of their
 * memory. */
#include "engine/media/codec.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "engine/base/file.h"

void lb_picture_clear(lb_picture *picture)
{
    for (int32_t i = 0; i < picture->count; i++)
        lb_plane_unref(&picture->channels[i].plane);
    lb_free(picture->channels);
    *picture = (lb_picture){0};
}

static int32_t index_of(const lb_picture *picture, const char *name)
{
    for (int32_t i = 0; i < picture->count; i++)
        if (strcmp(picture->channels[i].name, name) == 0)
            return i;
    return -1;
}

lb_status lb_picture_add(lb_picture *picture, const char *name, lb_plane *plane)
{
    struct lb_picture_channel *grown = picture->channels;
    lb_status status = LB_OK;

    if (index_of(picture, name) >= 0)
        status = LB_INVALID;
    else if (picture->count == LB_MAX_CHANNELS || strlen(name) >= LB_CHANNEL_NAME)
        status = LB_LIMIT;
    else if (picture->count == picture->capacity) {
        grown = lb_realloc(picture->channels, (size_t)picture->count + 8, sizeof *grown);
        status = grown ? LB_OK : LB_MEMORY;
    }
    if (status != LB_OK) {
        lb_plane_unref(&plane);
        return status;
    }
    if (picture->count == picture->capacity)
        picture->capacity += 8;
    picture->channels = grown;
    grown += picture->count++;
    strcpy(grown->name, name);
    grown->plane = plane;
    return LB_OK;
}

lb_plane *lb_picture_find(const lb_picture *picture, const char *name)
{
    int32_t index = index_of(picture, name);

    return index < 0 ? NULL : picture->channels[index].plane;
}

lb_plane *lb_picture_take(lb_picture *picture, const char *name)
{
    int32_t index = index_of(picture, name);
    lb_plane *plane;

    if (index < 0)
        return NULL;
    plane = picture->channels[index].plane;
    picture->channels[index] = picture->channels[--picture->count];
    return plane;
}

lb_status lb_picture_make(const lb_encoded *file, lb_picture *picture, int32_t width,
                          int32_t height, const char *const *names, int32_t count)
{
    lb_box box = {0, 0, width, height};

    picture->display = picture->data = box;
    for (int32_t c = 0; c < count; c++) {
        lb_plane *plane;
        lb_status status = lb_plane_new_raw(box, &plane);

        if (status == LB_OK)
            status = lb_picture_add(picture, names[c], plane);
        if (status != LB_OK)
            return lb_fail(file->diag, status, file->loc, "'%s': no room for %d x %d pixels",
                           file->name, (int)width, (int)height);
    }
    return LB_OK;
}

lb_status lb_check_room(const lb_encoded *file, int64_t width, int64_t height, uint64_t bytes)
{
    size_t budget = lb_memory_budget(), used = lb_memory_used();

    if (width < 1 || height < 1)
        return lb_fail(file->diag, LB_FORMAT, file->loc, "'%s' is damaged: it has no pixels",
                       file->name);
    if (width > LB_MEDIA_MAX_SIDE || height > LB_MEDIA_MAX_SIDE)
        return lb_fail(file->diag, LB_LIMIT, file->loc,
                       "'%s' claims %" PRId64 " x %" PRId64 " pixels; %d a side are read",
                       file->name, width, height, LB_MEDIA_MAX_SIDE);
    if (width * height > LB_PLANE_MAX_PIXELS)
        return lb_fail(file->diag, LB_LIMIT, file->loc,
                       "'%s' claims %" PRId64 " x %" PRId64 " pixels; %" PRId64 " in all are read",
                       file->name, width, height, LB_PLANE_MAX_PIXELS);
    if (budget && (used > budget || bytes > budget - used))
        return lb_fail(file->diag, LB_MEMORY, file->loc,
                       "'%s': %" PRId64 " x %" PRId64 " pixels need %" PRIu64
                       " MiB; the memory budget of %zu MiB has no room for them",
                       file->name, width, height, bytes >> 20, budget >> 20);
    return LB_OK;
}

lb_status lb_check_density(const lb_encoded *file, int64_t width, int64_t height, uint64_t units,
                           uint64_t densest)
{
    if (units / densest > file->count)
        return lb_fail(file->diag, LB_FORMAT, file->loc,
                       "'%s' is damaged: its %zu bytes cannot hold the %" PRId64 " x %" PRId64
                       " pixels that it claims",
                       file->name, file->count, width, height);
    return LB_OK;
}

static int by_name(const void *a, const void *b)
{
    return strcmp(a, b);
}

lb_status lb_info_set_channels(lb_media_info *info, const char *const *names, int32_t count)
{
    info->channels = lb_alloc((size_t)count, sizeof *info->channels);
    if (!info->channels)
        return LB_MEMORY;
    for (int32_t c = 0; c < count; c++)
        snprintf(info->channels[c], sizeof info->channels[c], "%s", names[c]);
    qsort(info->channels, (size_t)count, sizeof *info->channels, by_name);
    info->channel_count = count;
    return LB_OK;
}

/* A TGA of version 2 ends in this, a full stop and a NUL. Truevision TGA File Format
 * Specification 2.0, "TGA file footer". */
static bool has_tga_footer(const uint8_t *bytes, size_t count)
{
    return count >= 26 + 18 && memcmp(bytes + count - 18, "TRUEVISION-XFILE.", 18) == 0;
}

lb_file_format lb_format_of(const char *name, const uint8_t *bytes, size_t count)
{
    static const struct {
        lb_file_format format;
        uint8_t length;
        char bytes[12];
    } signatures[] = {
        {LB_FORMAT_PNG, 8, "\x89PNG\r\n\x1a\n"},
        {LB_FORMAT_EXR, 4, "\x76\x2f\x31\x01"},
        {LB_FORMAT_JPEG, 3, "\xff\xd8\xff"},
        {LB_FORMAT_HDR, 10, "#?RADIANCE"},
        {LB_FORMAT_HDR, 6, "#?RGBE"},
        {LB_FORMAT_BMP, 2, "BM"},
    };
    const char *extension = lb_path_extension(name);

    for (size_t i = 0; i < sizeof signatures / sizeof *signatures; i++)
        if (count >= signatures[i].length &&
            memcmp(bytes, signatures[i].bytes, signatures[i].length) == 0)
            return signatures[i].format;
    if (strcasecmp(extension, "tga") == 0 || has_tga_footer(bytes, count))
        return LB_FORMAT_TGA;
    return LB_FORMAT_UNKNOWN;
}

lb_file_format lb_format_to_write(const char *path)
{
    static const struct {
        char extension[8];
        lb_file_format format;
    } formats[] = {
        {"exr", LB_FORMAT_EXR},  {"png", LB_FORMAT_PNG}, {"hdr", LB_FORMAT_HDR},
        {"jpg", LB_FORMAT_JPEG}, {"tga", LB_FORMAT_TGA},
    };
    const char *extension = lb_path_extension(path);

    for (size_t i = 0; i < sizeof formats / sizeof *formats; i++)
        if (strcasecmp(extension, formats[i].extension) == 0)
            return formats[i].format;
    if (strcasecmp(extension, "jpeg") == 0)
        return LB_FORMAT_JPEG;
    return LB_FORMAT_UNKNOWN;
}
