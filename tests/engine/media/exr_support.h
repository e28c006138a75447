/* tests/engine/media/exr_support.h: OpenEXR files by the library's C core alone, with its own
 * packing, compressing and unpacking: the other opinion. Header-only. */
#ifndef LB_TESTS_ENGINE_MEDIA_EXR_SUPPORT_H
#define LB_TESTS_ENGINE_MEDIA_EXR_SUPPORT_H

#include <openexr.h>

#include "tests/engine/media/media_support.h"

typedef struct exr_bytes {
    unsigned char *bytes;
    size_t count, capacity;
} exr_bytes;

static inline void exr_check(exr_result_t code, const char *what)
{
    if (code != EXR_ERR_SUCCESS)
        support_die(exr_get_default_error_message(code), what);
}

static inline void exr_hush(exr_const_context_t context, exr_result_t code, const char *message)
{
    (void)context;
    (void)code;
    (void)message;
}

static inline int64_t exr_write_bytes(exr_const_context_t context, void *user, const void *buffer,
                                      uint64_t size, uint64_t offset,
                                      exr_stream_error_func_ptr_t complain)
{
    exr_bytes *out = user;

    (void)context;
    (void)complain;
    if (offset + size > out->capacity) {
        out->capacity = (offset + size) * 2;
        out->bytes = realloc(out->bytes, out->capacity);
    }
    memcpy(out->bytes + offset, buffer, size);
    if (offset + size > out->count)
        out->count = offset + size;
    return (int64_t)size;
}

static inline int64_t exr_read_bytes(exr_const_context_t context, void *user, void *buffer,
                                     uint64_t size, uint64_t offset,
                                     exr_stream_error_func_ptr_t complain)
{
    exr_bytes *in = user;

    (void)context;
    (void)complain;
    if (offset >= in->count)
        return 0;
    if (size > in->count - offset)
        size = in->count - offset;
    memcpy(buffer, in->bytes + offset, size);
    return (int64_t)size;
}

static inline int64_t exr_size_bytes(exr_const_context_t context, void *user)
{
    (void)context;
    return (int64_t)((exr_bytes *)user)->count;
}

typedef struct made_channel {
    const char *name;
    exr_pixel_type_t type;
    int step; /* sampling, both ways */
} made_channel;

typedef struct made_part {
    const char *name;
    lb_box data;
    int tile; /* 0: scanlines */
    bool mipmap;
    exr_compression_t compression;
    made_channel channels[8]; /* ended by one without a name */
    /* What a channel holds at a pixel (of level 0; others get -1). */
    double (*value)(const char *channel, int32_t x, int32_t y);
} made_part;

/* Samples of one chunk for one channel, as the library wants them: each of the channel's type. */
static inline void *made_samples(const made_part *part, const exr_coding_channel_info_t *info,
                                 int32_t x0, int32_t y0, int32_t height, bool other_level)
{
    int32_t step = info->x_samples;
    size_t count = (size_t)info->width * (size_t)info->height;
    float *out = malloc(count * 4 + 4);
    size_t at = 0;

    for (int32_t y = y0; y < y0 + height; y++) {
        if (y % step != 0)
            continue;
        for (int32_t i = 0; i < info->width; i++) {
            double value = other_level ? -1 : part->value(info->channel_name, x0 + i * step, y);
            float as_float = (float)value;
            uint32_t as_uint = (uint32_t)value;

            if (info->data_type == EXR_PIXEL_UINT)
                memcpy(out + at++, &as_uint, 4);
            else
                out[at++] = as_float;
        }
    }
    if (at != count)
        support_die("wrong count", "made_samples");
    return out;
}

static inline void made_chunk(exr_context_t context, int p, const made_part *part,
                              const exr_chunk_info_t *info, int32_t x0, int32_t y0,
                              bool other_level)
{
    exr_encode_pipeline_t encode = EXR_ENCODE_PIPELINE_INITIALIZER;
    void *samples[8] = {0};

    exr_check(exr_encoding_initialize(context, p, info, &encode), "exr_encoding_initialize");
    for (int c = 0; c < encode.channel_count; c++) {
        exr_coding_channel_info_t *channel = &encode.channels[c];

        samples[c] = made_samples(part, channel, x0, y0, info->height, other_level);
        channel->user_data_type =
            channel->data_type == EXR_PIXEL_UINT ? EXR_PIXEL_UINT : EXR_PIXEL_FLOAT;
        channel->user_bytes_per_element = 4;
        channel->user_pixel_stride = 4;
        channel->user_line_stride = 4 * channel->width;
        channel->encode_from_ptr = samples[c];
    }
    exr_check(exr_encoding_choose_default_routines(context, p, &encode), "choose");
    exr_check(exr_encoding_run(context, p, &encode), "exr_encoding_run");
    exr_encoding_destroy(context, &encode);
    for (int c = 0; c < 8; c++)
        free(samples[c]);
}

static inline void made_part_pixels(exr_context_t context, int p, const made_part *part)
{
    exr_chunk_info_t info;
    int32_t lines, levels_x = 1, levels_y = 1;

    if (!part->tile) {
        exr_check(exr_get_scanlines_per_chunk(context, p, &lines), "lines");
        for (int32_t y = part->data.y0; y < part->data.y1; y += lines) {
            exr_check(exr_write_scanline_chunk_info(context, p, y, &info), "chunk info");
            made_chunk(context, p, part, &info, part->data.x0, y, false);
        }
        return;
    }
    exr_check(exr_get_tile_levels(context, p, &levels_x, &levels_y), "levels");
    for (int32_t level = 0; level < levels_x; level++) {
        int32_t width, height;

        exr_check(exr_get_level_sizes(context, p, level, level, &width, &height), "level size");
        for (int32_t ty = 0; ty * part->tile < height; ty++)
            for (int32_t tx = 0; tx * part->tile < width; tx++) {
                exr_check(exr_write_tile_chunk_info(context, p, tx, ty, level, level, &info),
                          "tile info");
                made_chunk(context, p, part, &info, part->data.x0 + tx * part->tile,
                           part->data.y0 + ty * part->tile, level > 0);
            }
    }
}

/* A file with these parts; free bytes. */
static inline exr_bytes make_exr(lb_box display, const made_part *parts, int count,
                                 const exr_attr_chromaticities_t *chromaticities)
{
    exr_context_initializer_t start = EXR_DEFAULT_CONTEXT_INITIALIZER;
    exr_attr_box2i_t window = {.min = {.x = display.x0, .y = display.y0},
                               .max = {.x = display.x1 - 1, .y = display.y1 - 1}};
    exr_attr_v2f_t centre = {.x = 0, .y = 0};
    exr_bytes out = {0};
    exr_context_t context;

    start.user_data = &out;
    start.write_fn = exr_write_bytes;
    exr_check(exr_start_write(&context, "/dev/null/made.exr", EXR_WRITE_FILE_DIRECTLY, &start),
              "exr_start_write");
    for (int i = 0; i < count; i++) {
        const made_part *part = &parts[i];
        exr_attr_box2i_t data = {.min = {.x = part->data.x0, .y = part->data.y0},
                                 .max = {.x = part->data.x1 - 1, .y = part->data.y1 - 1}};
        int p;

        exr_check(exr_add_part(context, part->name,
                               part->tile ? EXR_STORAGE_TILED : EXR_STORAGE_SCANLINE, &p),
                  "exr_add_part");
        exr_check(exr_initialize_required_attr(context, p, &window, &data, 1, &centre, 1,
                                               EXR_LINEORDER_INCREASING_Y, part->compression),
                  "required");
        if (part->tile)
            exr_check(
                exr_set_tile_descriptor(context, p, (uint32_t)part->tile, (uint32_t)part->tile,
                                        part->mipmap ? EXR_TILE_MIPMAP_LEVELS : EXR_TILE_ONE_LEVEL,
                                        EXR_TILE_ROUND_DOWN),
                "tiles");
        for (const made_channel *c = part->channels; c->name; c++)
            exr_check(exr_add_channel(context, p, c->name, c->type, EXR_PERCEPTUALLY_LOGARITHMIC,
                                      c->step ? c->step : 1, c->step ? c->step : 1),
                      "exr_add_channel");
        if (chromaticities)
            exr_check(exr_attr_set_chromaticities(context, p, "chromaticities", chromaticities),
                      "chromaticities");
    }
    exr_check(exr_write_header(context), "exr_write_header");
    for (int i = 0; i < count; i++)
        made_part_pixels(context, i, &parts[i]);
    exr_check(exr_finish(&context), "exr_finish");
    return out;
}

/* Opens a file in memory; exr_finish. */
static inline exr_context_t open_exr(exr_bytes *in)
{
    exr_context_initializer_t start = EXR_DEFAULT_CONTEXT_INITIALIZER;
    exr_context_t context;

    start.user_data = in;
    start.read_fn = exr_read_bytes;
    start.size_fn = exr_size_bytes;
    start.error_handler_fn = exr_hush;
    exr_check(exr_start_read(&context, "memory", &start), "exr_start_read");
    return context;
}

/* One channel of a scanline part as floats, by the library's own routines; free. The others are
 * decoded too: for files with four channels of one type the library does not look whether there
 * is a place for each. */
static inline float *exr_channel_floats(exr_context_t context, const char *name, lb_box data)
{
    size_t width = (size_t)lb_box_width(data), size = width * (size_t)lb_box_height(data) * 4;
    float *out = malloc(size), *others = malloc(size);
    int32_t lines;
    bool found = false;

    exr_check(exr_get_scanlines_per_chunk(context, 0, &lines), "lines");
    for (int32_t y = data.y0; y < data.y1; y += lines) {
        exr_decode_pipeline_t decode = EXR_DECODE_PIPELINE_INITIALIZER;
        exr_chunk_info_t info;

        exr_check(exr_read_scanline_chunk_info(context, 0, y, &info), "chunk info");
        exr_check(exr_decoding_initialize(context, 0, &info, &decode), "initialize");
        for (int c = 0; c < decode.channel_count; c++) {
            exr_coding_channel_info_t *channel = &decode.channels[c];
            bool is_it = strcmp(channel->channel_name, name) == 0;

            found = found || is_it;
            channel->decode_to_ptr =
                (uint8_t *)((is_it ? out : others) + (size_t)(y - data.y0) * width);
            channel->user_data_type = EXR_PIXEL_FLOAT;
            channel->user_bytes_per_element = 4;
            channel->user_pixel_stride = 4;
            channel->user_line_stride = (int32_t)(4 * width);
        }
        exr_check(exr_decoding_choose_default_routines(context, 0, &decode), "choose");
        exr_check(exr_decoding_run(context, 0, &decode), "exr_decoding_run");
        exr_decoding_destroy(context, &decode);
    }
    free(others);
    if (!found)
        support_die("no such channel", name);
    return out;
}

#endif
