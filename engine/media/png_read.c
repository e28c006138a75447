/* engine/media/png_read.c: PNG through libspng.
 *
 * Of the two decoders at hand libspng is taken for its limits, its checks of every CRC and its
 * error codes; stb_image believes the length of a chunk before it has seen a byte of it. */
#include <spng.h>
#include <string.h>

#include "engine/media/codec.h"

#define MAX_CHUNK ((size_t)16 << 20)  /* of the chunks that are not pixels */
#define MAX_CHUNKS ((size_t)64 << 20) /* of all that are kept */
#define ROWS_A_PIECE 16
/* A byte of deflate data gives at most this many: length 258 for two bits. */
#define DEFLATE_MOST 1032

/* An opened file, its header known. */
typedef struct reader {
    spng_ctx *context;
    struct spng_ihdr header;
    bool has_transparency; /* tRNS */
} reader;

static lb_status fail_png(const lb_encoded *file, int error)
{
    if (lb_codec_ran_out() || error == SPNG_EMEM)
        return lb_fail(file->diag, LB_MEMORY, file->loc, "'%s': no room to decode it", file->name);
    return lb_fail(file->diag, LB_FORMAT, file->loc, "'%s' is a damaged PNG: %s", file->name,
                   spng_strerror(error));
}

static int set_up(spng_ctx *context, const lb_encoded *file)
{
    int error;

    if ((error = spng_set_crc_action(context, SPNG_CRC_ERROR, SPNG_CRC_ERROR)) == 0 &&
        (error = spng_set_chunk_limits(context, MAX_CHUNK, MAX_CHUNKS)) == 0)
        error = spng_set_png_buffer(context, file->bytes, file->count);
    return error;
}

static int32_t stored_channels(const reader *png)
{
    switch (png->header.color_type) {
    case SPNG_COLOR_TYPE_TRUECOLOR:
        return 3;
    case SPNG_COLOR_TYPE_GRAYSCALE_ALPHA:
        return 2;
    case SPNG_COLOR_TYPE_TRUECOLOR_ALPHA:
        return 4;
    default:
        return 1;
    }
}

static bool is_grey(const reader *png)
{
    return png->header.color_type == SPNG_COLOR_TYPE_GRAYSCALE ||
           png->header.color_type == SPNG_COLOR_TYPE_GRAYSCALE_ALPHA;
}

static int32_t name_channels(const reader *png, const char **names)
{
    static const char *const grey[] = {"Y", "A"}, *const colour[] = {"R", "G", "B", "A"};
    int32_t count = is_grey(png) ? 1 : 3;
    bool has_alpha = png->header.color_type == SPNG_COLOR_TYPE_GRAYSCALE_ALPHA ||
                     png->header.color_type == SPNG_COLOR_TYPE_TRUECOLOR_ALPHA ||
                     png->has_transparency;

    count += has_alpha ? 1 : 0;
    for (int32_t c = 0; c < count; c++)
        names[c] = is_grey(png) ? grey[c] : colour[c];
    return count;
}

/* Reads up to the first pixel and refuses what is too big. Close in any case. */
static lb_status open_png(const lb_encoded *file, reader *out)
{
    struct spng_alloc memory = {lb_codec_alloc, lb_codec_realloc, lb_codec_calloc, lb_free};
    struct spng_trns transparency;
    const char *names[4];
    uint64_t pixels, row_bits;
    lb_status status;
    int error;

    *out = (reader){0};
    lb_codec_ran_out();
    if (!(out->context = spng_ctx_new2(&memory, 0)))
        return fail_png(file, SPNG_EMEM);
    if ((error = set_up(out->context, file)) != 0 ||
        (error = spng_get_ihdr(out->context, &out->header)) != 0)
        return fail_png(file, error);
    if ((error = spng_get_trns(out->context, &transparency)) != 0 && error != SPNG_ECHUNKAVAIL)
        return fail_png(file, error);
    out->has_transparency = error == 0;
    pixels = (uint64_t)out->header.width * out->header.height;
    row_bits = (uint64_t)out->header.width * out->header.bit_depth * (uint64_t)stored_channels(out);
    /* Samples are expanded to 8 or 16 bits RGBA in between, then to floats. */
    if ((status = lb_check_room(file, out->header.width, out->header.height,
                                pixels * ((uint64_t)name_channels(out, names) * 4 +
                                          (out->header.bit_depth == 16 ? 8 : 4)))) != LB_OK)
        return status;
    return lb_check_density(file, out->header.width, out->header.height,
                            (row_bits / 8 + 1) * out->header.height, DEFLATE_MOST);
}

static void close_png(reader *png)
{
    spng_ctx_free(png->context);
    png->context = NULL;
}

/* pHYs gives pixels for one unit of length: a pixel is wide where there are few of them. */
static double pixel_aspect(const reader *png)
{
    struct spng_phys size;

    if (spng_get_phys(png->context, &size) != 0 || size.ppu_x == 0 || size.ppu_y == 0)
        return 1;
    return (double)size.ppu_y / size.ppu_x;
}

lb_status lb_png_probe(const lb_encoded *file, lb_media_info *out)
{
    const char *names[4];
    reader png;
    lb_status status = open_png(file, &png);

    if (status == LB_OK) {
        strcpy(out->format, "png");
        out->display = out->data =
            (lb_box){0, 0, (int32_t)png.header.width, (int32_t)png.header.height};
        out->bits = png.header.bit_depth == 16 ? 16 : 8;
        out->pixel_aspect = pixel_aspect(&png);
        out->space = LB_SPACE_SRGB;
        status = lb_info_set_channels(out, names, name_channels(&png, names));
        if (status != LB_OK)
            lb_fail(file->diag, status, file->loc, "'%s': no room for its header", file->name);
    }
    close_png(&png);
    return status;
}

typedef struct expansion {
    const lb_picture *picture;
    const uint8_t *pixels; /* RGBA */
    bool is_16;
    int32_t sources[4]; /* which of RGBA goes to each channel */
} expansion;

static lb_status expand_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const expansion *e = context;
    int32_t width = lb_box_width(e->picture->data);

    (void)worker;
    for (int32_t y = begin; y < end; y++)
        for (int32_t c = 0; c < e->picture->count; c++) {
            float *row = lb_plane_row_to_fill(e->picture->channels[c].plane, y);
            size_t first = (size_t)y * (size_t)width * 4 + (size_t)e->sources[c];

            if (e->is_16) {
                const uint16_t *in = (const uint16_t *)(const void *)e->pixels + first;

                for (int32_t x = 0; x < width; x++)
                    row[x] = (float)in[4 * x] / 65535.0f;
            } else {
                const uint8_t *in = e->pixels + first;

                for (int32_t x = 0; x < width; x++)
                    row[x] = (float)in[4 * x] / 255.0f;
            }
        }
    return LB_OK;
}

static lb_status decode_png(const lb_encoded *file, reader *png, lb_picture *out)
{
    int32_t width = (int32_t)png->header.width, height = (int32_t)png->header.height;
    expansion e = {.picture = out, .is_16 = png->header.bit_depth == 16};
    size_t bytes = (size_t)width * (size_t)height * (e.is_16 ? 8 : 4);
    uint8_t *pixels = lb_block_new(bytes);
    const char *names[4];
    int32_t count = name_channels(png, names);
    lb_status status;
    int error;

    if (!pixels)
        return fail_png(file, SPNG_EMEM);
    e.pixels = pixels;
    for (int32_t c = 0; c < count; c++)
        e.sources[c] = strcmp(names[c], "A") == 0 ? 3 : c;
    error = spng_decode_image(png->context, pixels, bytes,
                              e.is_16 ? SPNG_FMT_RGBA16 : SPNG_FMT_RGBA8, SPNG_DECODE_TRNS);
    if (error == 0)
        error = spng_decode_chunks(png->context); /* what follows the pixels is checked too */
    if (error != 0) {
        status = fail_png(file, error);
    } else if ((status = lb_picture_make(file, out, width, height, names, count)) == LB_OK) {
        out->pixel_aspect = pixel_aspect(png);
        status = lb_pool_for(file->pool, height, ROWS_A_PIECE, expand_rows, &e);
        if (status != LB_OK)
            lb_fail(file->diag, status, file->loc, "'%s' could not be decoded: %s", file->name,
                    lb_status_text(status));
    }
    lb_block_free(pixels);
    return status;
}

lb_status lb_png_decode(const lb_encoded *file, lb_picture *out)
{
    reader png;
    lb_status status = open_png(file, &png);

    if (status == LB_OK)
        status = decode_png(file, &png, out);
    close_png(&png);
    return status;
}
