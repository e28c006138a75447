/* engine/media/stb.c: JPEG, TGA and BMP through stb_image and stb_image_write. The one place where
 * these are compiled.
 *
 * The readers allocate on trust and read what they allocated before it is written (a JPEG scan
 * that names a Huffman table which was never defined), so memory comes zeroed, counts against the
 * budget and has a limit; only the formats that are wanted are built, and nothing is exported. PNG
 * goes through libspng and zlib: stb_image would allocate what a chunk claims before it has seen a
 * byte of it, and stb_image_write knows 8 bits only. HDR is ours too: hdr_read.c tells. */
#include <limits.h>
#include <string.h>

#include "engine/media/codec.h"
#include "engine/media/display.h"

#define STBI_MALLOC(bytes) lb_codec_alloc(bytes)
#define STBI_REALLOC(block, bytes) lb_codec_realloc((block), (bytes))
#define STBI_FREE(block) lb_free(block)
#define STBIW_MALLOC(bytes) lb_codec_alloc(bytes)
#define STBIW_REALLOC(block, bytes) lb_codec_realloc((block), (bytes))
#define STBIW_FREE(block) lb_free(block)
#define STBI_ONLY_JPEG
#define STBI_ONLY_TGA
#define STBI_ONLY_BMP
#define STBI_NO_LINEAR
#define STBI_MAX_DIMENSIONS LB_MEDIA_MAX_SIDE
#define STBI_NO_STDIO
#define STBI_WRITE_NO_STDIO
#define STB_IMAGE_STATIC
#define STB_IMAGE_WRITE_STATIC
#define STB_IMAGE_IMPLEMENTATION
#define STB_IMAGE_WRITE_IMPLEMENTATION
#pragma GCC diagnostic ignored "-Wunused-function" /* of the formats that are not built */
#include <stb_image.h>
#include <stb_image_write.h>

#define ROWS_A_PIECE 16
#define DEFAULT_QUALITY 90
#define SIDE_MAX 65535 /* of JPEG and TGA: 16 bits */

static const struct {
    char name[8];
    /* Pixels that a byte can stand for at most. JPEG: a block of 64 for two bits, 16 times as many
     * where other components are sampled more densely; RLE of TGA: 128 for two bytes; BMP: 8. All
     * rounded up. */
    uint64_t densest;
} formats[] = {
    [LB_FORMAT_JPEG] = {"jpeg", 4096},
    [LB_FORMAT_TGA] = {"tga", 128},
    [LB_FORMAT_BMP] = {"bmp", 16},
};

/* Straight to the reader of the format that was recognised: asked by its front door, stb_image
 * would guess anew, and take for a JPEG what was checked as a TGA. */
static bool read_info(const lb_encoded *file, lb_file_format format, int *w, int *h, int *n)
{
    stbi__context context;

    stbi__g_failure_reason = NULL; /* not all failures give one */
    stbi__start_mem(&context, file->bytes, (int)file->count);
    if (format == LB_FORMAT_JPEG)
        return stbi__jpeg_info(&context, w, h, n);
    if (format == LB_FORMAT_BMP)
        return stbi__bmp_info(&context, w, h, n);
    return stbi__tga_info(&context, w, h, n);
}

static uint8_t *read_pixels(const lb_encoded *file, lb_file_format format, int *w, int *h,
                            int channels)
{
    stbi__result_info info = {.bits_per_channel = 8};
    stbi__context context;
    int n;

    stbi__start_mem(&context, file->bytes, (int)file->count);
    if (format == LB_FORMAT_JPEG)
        return stbi__jpeg_load(&context, w, h, &n, channels, &info);
    if (format == LB_FORMAT_BMP)
        return stbi__bmp_load(&context, w, h, &n, channels, &info);
    return stbi__tga_load(&context, w, h, &n, channels, &info);
}

static lb_status fail_stb(const lb_encoded *file, lb_file_format format)
{
    const char *reason = stbi_failure_reason();

    if (lb_codec_ran_out())
        return lb_fail(file->diag, LB_MEMORY, file->loc, "'%s': no room to decode it", file->name);
    return lb_fail(file->diag, LB_FORMAT, file->loc, "'%s' cannot be read as %s: %s", file->name,
                   formats[format].name, reason ? reason : "damaged");
}

/* Bits 0 to 3 of a TGA's descriptor say how many bits of a pixel are alpha. Truevision TGA File
 * Format Specification 2.0, field 5.6. */
static bool tga_has_no_alpha(const lb_encoded *file)
{
    return file->count >= 18 && (file->bytes[17] & 15) == 0;
}

/* The tables of a DHT segment: a byte of class and number, 16 counts, as many values (ISO/IEC
 * 10918-1, B.2.4.2). stb_image adds the counts up into arrays of 256 and does not look. */
static bool huffman_tables_fit(const uint8_t *tables, size_t count)
{
    while (count > 0) {
        size_t values = 0;

        if (count < 17)
            return false;
        for (int i = 1; i <= 16; i++)
            values += tables[i];
        if (values > 256 || values > count - 17)
            return false;
        tables += 17 + values;
        count -= 17 + values;
    }
    return true;
}

/* Walks the markers of a JPEG as stb_image does, to its end: whether that is there, and whether
 * its Huffman tables can be read. ISO/IEC 10918-1, B.1: after a scan's header, 0xFF is followed by
 * 0 (a byte of data) or 0xD0..0xD7 (a restart) until the next marker. */
static void walk_jpeg(const lb_encoded *file, bool *is_whole, bool *is_sound)
{
    const uint8_t *bytes = file->bytes;
    size_t at = 0, count = file->count;

    *is_whole = false;
    *is_sound = true;
    while (at + 2 <= count && !*is_whole && *is_sound) {
        uint8_t marker = bytes[at + 1];
        size_t length;

        if (bytes[at] != 0xff || marker == 0 || marker == 0xff || (marker & 0xf8) == 0xd0) {
            at++; /* data, or filling before a marker */
            continue;
        }
        if (marker == 0xd8) { /* the start, before which there may be filling too */
            at += 2;
            continue;
        }
        *is_whole = marker == 0xd9;
        if (*is_whole || at + 4 > count)
            return;
        length = (size_t)bytes[at + 2] << 8 | bytes[at + 3];
        if (marker == 0xc4)
            *is_sound = length >= 2 && length <= count - at - 2 &&
                        huffman_tables_fit(bytes + at + 4, length - 2);
        at += 2 + length;
    }
}

/* The header, and the channels that will be kept of those that stb hands over. */
static lb_status read_header(const lb_encoded *file, lb_file_format format, int32_t *width,
                             int32_t *height, int32_t *stored, int32_t *kept)
{
    int w, h, n;
    lb_status status;

    if (file->count > INT_MAX)
        return lb_fail(file->diag, LB_LIMIT, file->loc, "'%s' has more than 2 GiB", file->name);
    if (format == LB_FORMAT_JPEG) {
        bool is_whole, is_sound;

        walk_jpeg(file, &is_whole, &is_sound);
        if (!is_sound)
            return lb_fail(file->diag, LB_FORMAT, file->loc,
                           "'%s' is a damaged JPEG: a Huffman table is longer than one can be",
                           file->name);
    }
    lb_codec_ran_out();
    if (!read_info(file, format, &w, &h, &n))
        return fail_stb(file, format);
    if (n < 1 || n > 4)
        return lb_fail(file->diag, LB_UNSUPPORTED, file->loc, "'%s' has %d channels", file->name,
                       n);
    if ((status = lb_check_room(file, w, h, (uint64_t)w * (uint64_t)h * (uint64_t)n * 8)) !=
            LB_OK ||
        (status = lb_check_density(file, w, h, (uint64_t)w * (uint64_t)h,
                                   formats[format].densest)) != LB_OK)
        return status;
    *width = w;
    *height = h;
    *stored = *kept = n;
    if (format == LB_FORMAT_TGA && (n == 2 || n == 4) && tga_has_no_alpha(file))
        *kept = n - 1;
    return LB_OK;
}

static const char *const *channel_names(int32_t stored)
{
    static const char *const grey[] = {"Y", "A"}, *const colour[] = {"R", "G", "B", "A"};

    return stored <= 2 ? grey : colour;
}

lb_status lb_stb_probe(const lb_encoded *file, lb_file_format format, lb_media_info *out)
{
    int32_t width, height, stored, kept;
    lb_status status = read_header(file, format, &width, &height, &stored, &kept);

    if (status != LB_OK)
        return status;
    strcpy(out->format, formats[format].name);
    out->display = out->data = (lb_box){0, 0, width, height};
    out->bits = 8;
    out->space = LB_SPACE_SRGB;
    status = lb_info_set_channels(out, channel_names(stored), kept);
    if (status != LB_OK)
        lb_fail(file->diag, status, file->loc, "'%s': no room for its header", file->name);
    return status;
}

typedef struct expansion {
    const lb_picture *picture;
    const uint8_t *pixels;
    int32_t stored;
} expansion;

static lb_status expand_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const expansion *e = context;
    int32_t width = lb_box_width(e->picture->data), stored = e->stored;

    (void)worker;
    for (int32_t y = begin; y < end; y++)
        for (int32_t c = 0; c < e->picture->count; c++) {
            float *row = lb_plane_row_to_fill(e->picture->channels[c].plane, y);
            size_t first = (size_t)y * (size_t)width * (size_t)stored + (size_t)c;

            for (int32_t x = 0; x < width; x++)
                row[x] = (float)e->pixels[first + (size_t)stored * (size_t)x] / 255.0f;
        }
    return LB_OK;
}

/* A JPEG without its end: refused, or told and decoded. */
static lb_status check_whole(const lb_encoded *file, bool partial)
{
    bool is_whole, is_sound;

    walk_jpeg(file, &is_whole, &is_sound);
    if (is_whole)
        return LB_OK;
    if (!partial)
        return lb_fail(file->diag, LB_FORMAT, file->loc, "'%s' is a JPEG that was cut short",
                       file->name);
    lb_warn(file->diag, file->loc, "'%s' is a JPEG that was cut short; what is missing is grey",
            file->name);
    return LB_OK;
}

lb_status lb_stb_decode(const lb_encoded *file, lb_file_format format, bool partial,
                        lb_picture *out)
{
    expansion e = {.picture = out};
    int32_t width, height, kept;
    int w = 0, h = 0;
    uint8_t *pixels;
    lb_status status = read_header(file, format, &width, &height, &e.stored, &kept);

    if (status == LB_OK && format == LB_FORMAT_JPEG)
        status = check_whole(file, partial);
    if (status != LB_OK)
        return status;
    pixels = read_pixels(file, format, &w, &h, e.stored);
    e.pixels = pixels;
    if (!pixels)
        return fail_stb(file, format);
    if (w != width || h != height)
        status = lb_fail(file->diag, LB_FORMAT, file->loc, "'%s' has two sizes", file->name);
    else
        status = lb_picture_make(file, out, width, height, channel_names(e.stored), kept);
    if (status == LB_OK &&
        (status = lb_pool_for(file->pool, height, ROWS_A_PIECE, expand_rows, &e)) != LB_OK)
        lb_fail(file->diag, status, file->loc, "'%s' could not be decoded: %s", file->name,
                lb_status_text(status));
    stbi_image_free(pixels);
    return status;
}

/* The file as it grows. */
typedef struct sink {
    uint8_t *bytes;
    size_t count, capacity;
    bool failed;
} sink;

static void pour(void *context, void *data, int size)
{
    sink *s = context;
    size_t wanted = s->count + (size_t)size;

    if (!s->failed && wanted > s->capacity) {
        size_t capacity = wanted < 32768 ? 65536 : wanted * 2;
        uint8_t *grown = lb_codec_realloc(s->bytes, capacity);

        s->failed = !grown;
        if (grown) {
            s->bytes = grown;
            s->capacity = capacity;
        }
    }
    if (s->failed)
        return;
    memcpy(s->bytes + s->count, data, (size_t)size);
    s->count = wanted;
}

static int write_pixels(const lb_delivery *d, lb_file_format format, const lb_signal *signal,
                        const uint8_t *pixels, sink *s)
{
    int width = lb_box_width(signal->window), height = lb_box_height(signal->window);
    int quality = d->options->quality ? d->options->quality : DEFAULT_QUALITY;

    if (format == LB_FORMAT_JPEG)
        return stbi_write_jpg_to_func(pour, s, width, height, signal->channels, pixels, quality);
    return stbi_write_tga_to_func(pour, s, width, height, signal->channels, pixels);
}

lb_status lb_stb_encode(const lb_delivery *d, lb_file_format format, void **out, size_t *count)
{
    lb_signal signal;
    uint8_t *pixels = NULL;
    sink s = {0};
    lb_status status = lb_signal_open(d, format == LB_FORMAT_TGA, SIDE_MAX, &signal);

    if (status == LB_OK)
        status = lb_signal_pixels(&signal, &pixels);
    if (status == LB_OK && (!write_pixels(d, format, &signal, pixels, &s) || s.failed))
        status = lb_fail(d->diag, LB_MEMORY, d->loc, "'%s': no room to encode it", d->path);
    lb_block_free(pixels);
    if (status != LB_OK) {
        lb_free(s.bytes);
        return status;
    }
    *out = s.bytes;
    *count = s.count;
    return LB_OK;
}
