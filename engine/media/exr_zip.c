/* engine/media/exr_zip.c: the ZIP compression of OpenEXR, both ways.
 *
 * Bytes at even places first, then those at odd ones; each less the one before it, plus 128; then
 * a zlib stream. From the OpenEXR library's documentation, "OpenEXR File Layout", and checked
 * against that library in tests. Done here and not by the library's C core because the differences
 * become vectors, and because zlib's search for repeated strings costs five times what it brings:
 * halves of a picture repeat at distance one or not at all. */
#include <string.h>

#include "engine/base/clones.h"
#include "engine/media/exr.h"

enum { NOT_SET_UP, INFLATES, DEFLATES };

void lb_exr_zip_clear(lb_exr_zip *zip)
{
    if (zip->mode == INFLATES)
        inflateEnd(&zip->stream);
    if (zip->mode == DEFLATES)
        deflateEnd(&zip->stream);
    lb_free(zip->bytes);
    *zip = (lb_exr_zip){0};
}

static lb_status set_up(lb_exr_zip *zip, int mode, size_t room)
{
    if (zip->mode == NOT_SET_UP) {
        zip->stream = (z_stream){.zalloc = lb_codec_zalloc, .zfree = lb_codec_zfree};
        if ((mode == INFLATES ? inflateInit(&zip->stream)
                              : deflateInit2(&zip->stream, 1, Z_DEFLATED, 15, 9, Z_RLE)) != Z_OK)
            return LB_MEMORY;
        zip->mode = mode;
    }
    if (room > zip->room) {
        lb_free(zip->bytes);
        zip->room = 0;
        if (!(zip->bytes = lb_codec_alloc(room)))
            return LB_MEMORY;
        zip->room = room;
    }
    return LB_OK;
}

/* From differences to values; each needs the one before it. */
static void undo_differences(uint8_t *bytes, size_t count)
{
    uint8_t value = bytes[0];

    for (size_t i = 1; i < count; i++) {
        value = (uint8_t)(value + bytes[i] - 128);
        bytes[i] = value;
    }
}

LB_CLONES
static void interleave(uint8_t *restrict out, const uint8_t *restrict even,
                       const uint8_t *restrict odd, size_t pairs)
{
    for (size_t i = 0; i < pairs; i++) {
        out[2 * i] = even[i];
        out[2 * i + 1] = odd[i];
    }
}

LB_CLONES
static void deinterleave(uint8_t *restrict even, uint8_t *restrict odd, const uint8_t *restrict in,
                         size_t pairs)
{
    for (size_t i = 0; i < pairs; i++) {
        even[i] = in[2 * i];
        odd[i] = in[2 * i + 1];
    }
}

LB_CLONES
static void make_differences(uint8_t *restrict out, const uint8_t *in, size_t count)
{
    for (size_t i = 1; i < count; i++)
        out[i] = (uint8_t)(in[i] - in[i - 1] + 128);
}

lb_status lb_exr_unzip(lb_exr_zip *zip, const uint8_t *packed, size_t packed_count, uint8_t *out,
                       size_t count)
{
    size_t even = (count + 1) / 2;
    lb_status status = set_up(zip, INFLATES, count);
    int result;

    if (status != LB_OK)
        return status;
    if (packed_count == 0 || packed_count > UINT32_MAX || count > UINT32_MAX)
        return LB_FORMAT;
    inflateReset(&zip->stream);
    zip->stream.next_in = (Bytef *)packed; /* zlib only reads it */
    zip->stream.avail_in = (uInt)packed_count;
    zip->stream.next_out = zip->bytes;
    zip->stream.avail_out = (uInt)count;
    result = inflate(&zip->stream, Z_FINISH);
    if (result == Z_MEM_ERROR)
        return LB_MEMORY;
    if (result != Z_STREAM_END || zip->stream.avail_out != 0)
        return LB_FORMAT;
    undo_differences(zip->bytes, count);
    interleave(out, zip->bytes, zip->bytes + even, count / 2);
    if (count & 1)
        out[count - 1] = zip->bytes[even - 1];
    return LB_OK;
}

/* Places where a byte is the same as the three before it. */
LB_CLONES
static size_t count_repeats(const uint8_t *bytes, size_t count)
{
    size_t repeats = 0;

    for (size_t i = 3; i < count; i++)
        repeats += (size_t)((bytes[i] == bytes[i - 1]) & (bytes[i] == bytes[i - 2]) &
                            (bytes[i] == bytes[i - 3]));
    return repeats;
}

lb_status lb_exr_zip_chunk(lb_exr_zip *zip, const uint8_t *bytes, size_t count, const uint8_t **out,
                           size_t *out_count)
{
    size_t even = (count + 1) / 2, room;
    lb_status status;
    uint8_t *halves, *differences;

    *out = bytes;
    *out_count = count;
    if (count < 2 || count > INT32_MAX / 4)
        return LB_OK;
    if ((status = set_up(zip, DEFLATES, 3 * count)) != LB_OK)
        return status;
    halves = zip->bytes;
    differences = halves + count;
    deinterleave(halves, halves + even, bytes, count / 2);
    if (count & 1)
        halves[even - 1] = bytes[count - 1];
    differences[0] = halves[0];
    make_differences(differences, halves, count);
    room = count; /* what is longer is not wanted */
    deflateReset(&zip->stream);
    /* Where next to nothing repeats, not even looking for it is quicker and as small. */
    deflateParams(&zip->stream, 1,
                  count_repeats(differences, count) < count / 32 ? Z_HUFFMAN_ONLY : Z_RLE);
    zip->stream.next_in = differences;
    zip->stream.avail_in = (uInt)count;
    zip->stream.next_out = differences + count;
    zip->stream.avail_out = (uInt)room;
    if (deflate(&zip->stream, Z_FINISH) == Z_STREAM_END && zip->stream.total_out < count) {
        *out = differences + count;
        *out_count = zip->stream.total_out;
    }
    return LB_OK;
}
