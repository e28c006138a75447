/* engine/media/exr_zip.c: the ZIP compression of OpenEXR, both ways.
 *
 * Bytes at even places first, then those at odd ones; each less the one before it, plus 128; then
 * a zlib stream. From the OpenEXR library's documentation, "OpenEXR File Layout", and checked
 * against that library in tests. Done here and not by the library's C core because the differences
 * become vectors, and because libdeflate packs a chunk in half of zlib's time and unpacks it in
 * half, to the same size.
 * (It has no allocator for each use: its few hundred KiB a thread are not in our account.) */
#include <string.h>

#include "engine/base/clones.h"
#include "engine/media/exr.h"

/* As small as zlib's level 4 on noise and on clean pictures, and the quickest. */
#define LEVEL 1

void lb_exr_zip_clear(lb_exr_zip *zip)
{
    libdeflate_free_compressor(zip->compressor);
    libdeflate_free_decompressor(zip->decompressor);
    lb_block_free(zip->bytes);
    *zip = (lb_exr_zip){0};
}

static lb_status make_room(lb_exr_zip *zip, size_t room)
{
    if (room <= zip->room)
        return LB_OK;
    lb_block_free(zip->bytes);
    zip->room = 0;
    if (!(zip->bytes = lb_codec_block(room)))
        return LB_MEMORY;
    zip->room = room;
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
    lb_status status = make_room(zip, count);

    if (status != LB_OK)
        return status;
    if (!zip->decompressor && !(zip->decompressor = libdeflate_alloc_decompressor())) {
        lb_codec_note_shortage();
        return LB_MEMORY;
    }
    /* Without a place for the count it must come out right. */
    if (libdeflate_zlib_decompress(zip->decompressor, packed, packed_count, zip->bytes, count,
                                   NULL) != LIBDEFLATE_SUCCESS)
        return LB_FORMAT;
    undo_differences(zip->bytes, count);
    interleave(out, zip->bytes, zip->bytes + even, count / 2);
    if (count & 1)
        out[count - 1] = zip->bytes[even - 1];
    return LB_OK;
}

lb_status lb_exr_zip_chunk(lb_exr_zip *zip, const uint8_t *bytes, size_t count, const uint8_t **out,
                           size_t *out_count)
{
    size_t even = (count + 1) / 2, packed;
    lb_status status;
    uint8_t *halves, *differences;

    *out = bytes;
    *out_count = count;
    if (count < 2)
        return LB_OK;
    if (count > SIZE_MAX / 4 || (status = make_room(zip, 3 * count)) != LB_OK)
        return LB_MEMORY;
    if (!zip->compressor && !(zip->compressor = libdeflate_alloc_compressor(LEVEL)))
        return LB_MEMORY;
    halves = zip->bytes;
    differences = halves + count;
    deinterleave(halves, halves + even, bytes, count / 2);
    if (count & 1)
        halves[even - 1] = bytes[count - 1];
    differences[0] = halves[0];
    make_differences(differences, halves, count);
    /* No more room than for what is smaller: 0 says that it is not. */
    packed = libdeflate_zlib_compress(zip->compressor, differences, count, differences + count,
                                      count - 1);
    if (packed > 0) {
        *out = differences + count;
        *out_count = packed;
    }
    return LB_OK;
}
