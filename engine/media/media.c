/* engine/media/media.c: which reader or writer a file goes to. */
#include "engine/media/media.h"

#include <string.h>

#include "engine/base/file.h"
#include "engine/media/codec.h"

const char *const lb_depth_names[] = {"8", "16", "half", "float", NULL};
const char *const lb_compression_names[] = {"none",  "rle", "zips", "zip", "piz",
                                            "pxr24", "b44", "b44a", NULL};

void lb_media_info_clear(lb_media_info *info)
{
    lb_free(info->channels);
    *info = (lb_media_info){0};
}

static lb_status find_format(const lb_encoded *file, lb_file_format *out)
{
    *out = LB_FORMAT_UNKNOWN;
    if (file->count == 0)
        return lb_fail(file->diag, LB_FORMAT, file->loc, "'%s' is empty", file->name);
    if (file->count > LB_MEDIA_MAX_BYTES)
        return lb_fail(file->diag, LB_LIMIT, file->loc, "'%s' has %zu bytes; at most %zu are read",
                       file->name, file->count, LB_MEDIA_MAX_BYTES);
    *out = lb_format_of(file->name, file->bytes, file->count);
    if (*out == LB_FORMAT_UNKNOWN)
        return lb_fail(file->diag, LB_FORMAT, file->loc,
                       "'%s' does not begin as any picture that is read: EXR, PNG, JPEG, HDR, TGA, "
                       "BMP",
                       file->name);
    return LB_OK;
}

lb_status lb_media_probe(lb_diag *diag, lb_loc loc, const char *name, const void *bytes,
                         size_t count, lb_media_info *out)
{
    lb_encoded file = {NULL, diag, loc, name, bytes, count};
    lb_file_format format;
    lb_status status = find_format(&file, &format);

    *out = (lb_media_info){.pixel_aspect = 1, .parts = 1};
    if (status != LB_OK)
        return status;
    if (format == LB_FORMAT_EXR)
        status = lb_exr_probe(&file, out);
    else if (format == LB_FORMAT_PNG)
        status = lb_png_probe(&file, out);
    else if (format == LB_FORMAT_HDR)
        status = lb_hdr_probe(&file, out);
    else
        status = lb_stb_probe(&file, format, out);
    if (status != LB_OK)
        lb_media_info_clear(out);
    return status;
}

static lb_status decode_picture(const lb_encoded *file, bool partial, lb_picture *out)
{
    lb_file_format format;
    lb_status status = find_format(file, &format);

    *out = (lb_picture){0};
    if (status != LB_OK)
        return status;
    if (format == LB_FORMAT_EXR)
        status = lb_exr_decode(file, partial, out);
    else if (format == LB_FORMAT_PNG)
        status = lb_png_decode(file, out);
    else if (format == LB_FORMAT_HDR)
        status = lb_hdr_decode(file, partial, out);
    else
        status = lb_stb_decode(file, format, partial, out);
    if (status != LB_OK)
        lb_picture_clear(out);
    return status;
}

/* Empties the picture into an image. */
static lb_status publish(const lb_encoded *file, lb_picture *picture, lb_image **out)
{
    lb_status status = lb_image_new(picture->display, picture->data, out);

    for (int32_t c = 0; c < picture->count && status == LB_OK; c++)
        status = lb_image_add(*out, picture->channels[c].name, picture->channels[c].plane);
    if (status == LB_OK)
        lb_image_set_pixel_aspect(*out, picture->pixel_aspect > 0 ? picture->pixel_aspect : 1);
    else
        lb_fail(file->diag, status, file->loc, "'%s': no room for its %d channels", file->name,
                (int)picture->count);
    if (status != LB_OK)
        lb_image_unref(out);
    lb_picture_clear(picture);
    return status;
}

lb_status lb_media_decode(lb_pool *pool, lb_diag *diag, lb_loc loc, const char *name,
                          const void *bytes, size_t count, bool partial, lb_image **out)
{
    lb_encoded file = {pool, diag, loc, name, bytes, count};
    lb_picture picture;
    lb_status status;

    *out = NULL;
    if ((status = decode_picture(&file, partial, &picture)) != LB_OK)
        return status;
    return publish(&file, &picture, out);
}

lb_status lb_media_read_memory(lb_pool *pool, lb_diag *diag, lb_loc loc, const char *name,
                               const void *bytes, size_t count, const lb_media_wish *wish,
                               lb_image **out)
{
    lb_encoded file = {pool, diag, loc, name, bytes, count};
    lb_picture picture;
    lb_status status;

    *out = NULL;
    if ((status = decode_picture(&file, false, &picture)) != LB_OK)
        return status;
    if ((status = lb_picture_to_working(&file, wish, &picture)) != LB_OK) {
        lb_picture_clear(&picture);
        return status;
    }
    return publish(&file, &picture, out);
}

lb_status lb_media_read(lb_pool *pool, lb_diag *diag, lb_loc loc, const char *path,
                        const lb_media_wish *wish, lb_image **out)
{
    void *bytes;
    size_t count;
    lb_status status;

    *out = NULL;
    if ((status = lb_file_read(diag, loc, path, LB_MEDIA_MAX_BYTES, &bytes, &count)) != LB_OK)
        return status;
    status = lb_media_read_memory(pool, diag, loc, path, bytes, count, wish, out);
    lb_free(bytes);
    return status;
}

/* What a format can hold, for the message. */
static lb_status check_depth(lb_diag *diag, lb_loc loc, const char *path, lb_file_format format,
                             lb_depth depth)
{
    static const struct {
        uint8_t depths; /* a bit each */
        char text[64];
    } rules[] = {
        [LB_FORMAT_EXR] = {1 << LB_DEPTH_HALF | 1 << LB_DEPTH_FLOAT, "EXR holds half or float"},
        [LB_FORMAT_PNG] = {1 << LB_DEPTH_8 | 1 << LB_DEPTH_16, "PNG holds 8 or 16"},
        [LB_FORMAT_HDR] = {1 << LB_DEPTH_HALF | 1 << LB_DEPTH_FLOAT,
                           "HDR has one depth of its own; ask for half or float"},
        [LB_FORMAT_JPEG] = {1 << LB_DEPTH_8, "JPEG holds 8"},
        [LB_FORMAT_TGA] = {1 << LB_DEPTH_8, "TGA holds 8"},
    };

    if ((unsigned)depth > LB_DEPTH_FLOAT)
        return lb_fail(diag, LB_INVALID, loc, "'%s': there is no depth number %d", path,
                       (int)depth);
    if (!(rules[format].depths & (1 << depth)))
        return lb_fail(diag, LB_INVALID, loc, "'%s' cannot be written with depth %s: %s", path,
                       lb_depth_names[depth], rules[format].text);
    return LB_OK;
}

lb_status lb_media_check_write(lb_diag *diag, lb_loc loc, const char *path,
                               const lb_write_options *options)
{
    const char *extension = lb_path_extension(path);
    lb_file_format format = lb_format_to_write(path);

    if (format == LB_FORMAT_UNKNOWN && !*extension)
        return lb_fail(diag, LB_INVALID, loc,
                       "'%s' has no extension; it chooses the format: exr, png, hdr, jpg, tga",
                       path);
    if (format == LB_FORMAT_UNKNOWN)
        return lb_fail(diag, LB_UNSUPPORTED, loc,
                       "'%s': pictures are not written as '%s'; exr, png, hdr, jpg, tga are", path,
                       extension);
    if (format == LB_FORMAT_EXR && (unsigned)options->compression > LB_COMPRESSION_B44A)
        return lb_fail(diag, LB_UNSUPPORTED, loc,
                       "'%s': EXR is written with none, rle, zips, zip, piz, pxr24, b44 or b44a; "
                       "DWAA and DWAB are not implemented",
                       path);
    if ((unsigned)options->view > LB_VIEW_RAW || (unsigned)options->working >= LB_SPACE_COUNT)
        return lb_fail(diag, LB_INVALID, loc, "'%s': there is no such view or colour space", path);
    if (options->quality < 0 || options->quality > 100)
        return lb_fail(diag, LB_INVALID, loc, "'%s': quality is %d; it goes from 1 to 100", path,
                       (int)options->quality);
    return check_depth(diag, loc, path, format, options->depth);
}

lb_status lb_media_encode(lb_pool *pool, lb_diag *diag, lb_loc loc, const char *path,
                          const lb_image *image, const lb_write_options *options, void **out,
                          size_t *count)
{
    lb_delivery delivery = {pool, diag, loc, path, image, options};
    lb_file_format format = lb_format_to_write(path);
    lb_status status;

    *out = NULL;
    *count = 0;
    if ((status = lb_media_check_write(diag, loc, path, options)) != LB_OK)
        return status;
    if (format == LB_FORMAT_EXR)
        return lb_exr_encode(&delivery, out, count);
    if (format == LB_FORMAT_PNG)
        return lb_png_encode(&delivery, out, count);
    if (format == LB_FORMAT_HDR)
        return lb_hdr_encode(&delivery, out, count);
    return lb_stb_encode(&delivery, format, out, count);
}

lb_status lb_media_write(lb_pool *pool, lb_diag *diag, lb_loc loc, const char *path,
                         const lb_image *image, const lb_write_options *options)
{
    void *bytes;
    size_t count;
    lb_status status = lb_media_encode(pool, diag, loc, path, image, options, &bytes, &count);

    if (status != LB_OK)
        return status;
    status = lb_file_write(diag, loc, path, bytes, count);
    lb_free(bytes);
    return status;
}
