/* engine/media/hdr_read.c: Radiance HDR, 32-bit RLE RGBE, scanlines top to bottom.
 *
 * The layout is Greg Ward's: "Real Pixels", Graphics Gems II (1991), section II.5, and the file
 * format of the Radiance reference manual. Read here because stb_image does not come back from a
 * file that is cut short inside a run. */
#include <math.h>
#include <string.h>

#include "engine/base/text.h"
#include "engine/media/codec.h"

/* Pixels that a byte can stand for at most: a run of 127 in each of four channels is eight bytes.
 */
#define DENSEST 16
#define LINE_MOST 512

typedef struct header {
    int32_t width, height;
    size_t pixels; /* where they begin */
    double exposure;
} header;

/* The line at *at without its end, and *at moved behind that. False: none, or one too long. */
static bool next_line(const lb_encoded *file, size_t *at, const char **line, size_t *length)
{
    const uint8_t *start = file->bytes + *at;
    size_t left = file->count - *at;
    const uint8_t *end = memchr(start, '\n', left < LINE_MOST ? left : LINE_MOST);

    if (!end)
        return false;
    *line = (const char *)start;
    *length = (size_t)(end - start);
    *at += *length + 1;
    return true;
}

static bool begins(const char *line, size_t length, const char *with)
{
    return length >= strlen(with) && memcmp(line, with, strlen(with)) == 0;
}

/* A number of up to five digits at line[*at], after `sign`; false: something else. */
static bool read_side(const char *line, size_t length, size_t *at, const char *sign, int32_t *out)
{
    size_t first;

    if (!begins(line + *at, length - *at, sign))
        return false;
    first = *at += strlen(sign);
    for (*out = 0; *at < length && line[*at] >= '0' && line[*at] <= '9' && *at < first + 6; ++*at)
        *out = *out * 10 + (line[*at] - '0');
    return *at > first;
}

static lb_status read_line(const lb_encoded *file, const char *line, size_t length, header *out)
{
    double exposure;

    if (begins(line, length, "FORMAT=") && !begins(line, length, "FORMAT=32-bit_rle_rgbe"))
        return lb_fail(file->diag, LB_UNSUPPORTED, file->loc,
                       "'%s' has another format than 32-bit_rle_rgbe", file->name);
    if (begins(line, length, "EXPOSURE=")) {
        for (line += 9, length -= 9; length > 0 && *line == ' '; line++)
            length--;
        while (length > 0 && (line[length - 1] == ' ' || line[length - 1] == '\r'))
            length--;
        if (lb_text_number(line, length, &exposure))
            out->exposure *= exposure;
    }
    return LB_OK;
}

static lb_status read_header(const lb_encoded *file, header *out)
{
    const char *line;
    size_t length, at = 0, column = 0;
    lb_status status;

    *out = (header){.exposure = 1};
    do {
        if (!next_line(file, &at, &line, &length))
            return lb_fail(file->diag, LB_FORMAT, file->loc,
                           "'%s' is a damaged HDR: its header has no end", file->name);
        if ((status = read_line(file, line, length, out)) != LB_OK)
            return status;
    } while (length > 0);
    if (!next_line(file, &at, &line, &length))
        return lb_fail(file->diag, LB_FORMAT, file->loc, "'%s' is a damaged HDR: it has no size",
                       file->name);
    if (!read_side(line, length, &column, "-Y ", &out->height) ||
        !read_side(line, length, &column, " +X ", &out->width) || column != length)
        return lb_fail(file->diag, LB_UNSUPPORTED, file->loc,
                       "'%s' says '%.*s'; pictures are read with -Y HEIGHT +X WIDTH", file->name,
                       length < 40 ? (int)length : 40, line);
    out->pixels = at;
    if ((status = lb_check_room(file, out->width, out->height,
                                (uint64_t)out->width * (uint64_t)out->height * 12)) != LB_OK)
        return status;
    return lb_check_density(file, out->width, out->height,
                            (uint64_t)out->width * (uint64_t)out->height, DENSEST);
}

lb_status lb_hdr_probe(const lb_encoded *file, lb_media_info *out)
{
    static const char *const names[] = {"R", "G", "B"};
    header head;
    lb_status status = read_header(file, &head);

    if (status != LB_OK)
        return status;
    strcpy(out->format, "hdr");
    out->display = out->data = (lb_box){0, 0, head.width, head.height};
    out->is_float = true;
    out->bits = 32;
    out->space = LB_SPACE_LINEAR_REC709;
    if ((status = lb_info_set_channels(out, names, 3)) != LB_OK)
        lb_fail(file->diag, status, file->loc, "'%s': no room for its header", file->name);
    return status;
}

/* One channel of a row: a count over 128 repeats the byte after it, one below is followed by as
 * many bytes. */
static bool unpack_runs(const lb_encoded *file, size_t *at, uint8_t *out, size_t count)
{
    size_t put = 0;

    while (put < count) {
        size_t length, left = file->count - *at;
        bool is_run;

        if (left < 2)
            return false;
        length = file->bytes[(*at)++];
        is_run = length > 128;
        length -= is_run ? 128 : 0;
        if (length == 0 || length > count - put || (!is_run && length > file->count - *at))
            return false;
        if (is_run)
            memset(out + put, file->bytes[(*at)++], length);
        else
            memcpy(out + put, file->bytes + *at, length);
        *at += is_run ? 0 : length;
        put += length;
    }
    return true;
}

/* The four channels of a row, one after the other. */
static bool unpack_row(const lb_encoded *file, size_t *at, uint8_t *out, size_t width)
{
    const uint8_t *in = file->bytes + *at;
    size_t left = file->count - *at;

    if (width >= 8 && width < 32768 && left >= 4 && in[0] == 2 && in[1] == 2 && in[2] < 128) {
        if (((size_t)in[2] << 8 | in[3]) != width)
            return false;
        *at += 4;
        for (size_t c = 0; c < 4; c++)
            if (!unpack_runs(file, at, out + c * width, width))
                return false;
        return true;
    }
    if (left < 4 * width)
        return false;
    for (size_t x = 0; x < width; x++)
        for (size_t c = 0; c < 4; c++)
            out[c * width + x] = in[4 * x + c];
    *at += 4 * width;
    return true;
}

/* The runs of files before 1991: mantissas 1, 1, 1 repeat the pixel before. No mantissa of a pixel
 * that is not black is that small. */
static bool has_old_runs(const uint8_t *row, size_t width)
{
    for (size_t x = 0; x < width; x++)
        if (row[x] == 1 && row[width + x] == 1 && row[2 * width + x] == 1)
            return true;
    return false;
}

/* value = mantissa / 256 * 2^(exponent - 128); exponent 0 is black. */
static void store_row(const lb_picture *picture, int32_t y, const uint8_t *row, size_t width)
{
    for (int32_t c = 0; c < 3; c++) {
        float *out = lb_plane_row_to_fill(picture->channels[c].plane, y);

        for (size_t x = 0; x < width; x++) {
            int exponent = row[3 * width + x];

            out[x] = exponent ? ldexpf((float)row[(size_t)c * width + x], exponent - 136) : 0.0f;
        }
    }
}

static lb_status read_rows(const lb_encoded *file, const header *head, bool partial,
                           lb_picture *out)
{
    size_t width = (size_t)head->width, at = head->pixels;
    uint8_t *row = lb_alloc(width, 4);
    lb_status status = LB_OK;
    int32_t y;

    if (!row)
        return lb_fail(file->diag, LB_MEMORY, file->loc, "'%s': no room to decode it", file->name);
    for (y = 0; y < head->height && unpack_row(file, &at, row, width); y++) {
        if (has_old_runs(row, width)) {
            status = lb_fail(file->diag, LB_UNSUPPORTED, file->loc,
                             "'%s' has runs of the first kind, which are not read", file->name);
            break;
        }
        store_row(out, y, row, width);
    }
    if (status == LB_OK && y < head->height && !(partial && y > 0))
        status = lb_fail(file->diag, LB_FORMAT, file->loc,
                         "'%s' is a damaged HDR: row %d of %d cannot be decoded", file->name,
                         (int)y, (int)head->height);
    else if (status == LB_OK && y < head->height)
        lb_warn(file->diag, file->loc,
                "'%s' is a damaged HDR: from row %d of %d on it is taken as black", file->name,
                (int)y, (int)head->height);
    for (; status == LB_OK && y < head->height; y++)
        for (int32_t c = 0; c < 3; c++)
            memset(lb_plane_row_to_fill(out->channels[c].plane, y), 0, width * sizeof(float));
    lb_free(row);
    return status;
}

lb_status lb_hdr_decode(const lb_encoded *file, bool partial, lb_picture *out)
{
    static const char *const names[] = {"R", "G", "B"};
    header head;
    lb_status status = read_header(file, &head);

    if (status == LB_OK)
        status = lb_picture_make(file, out, head.width, head.height, names, 3);
    if (status == LB_OK)
        status = read_rows(file, &head, partial, out);
    if (status == LB_OK && head.exposure != 1)
        lb_warn(file->diag, file->loc,
                "'%s' says that it was exposed by %g; its values are taken as they are", file->name,
                head.exposure);
    return status;
}
