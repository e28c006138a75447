/* engine/media/exr.h: what the files about OpenEXR share; for this layer only. */
#ifndef LB_MEDIA_EXR_H
#define LB_MEDIA_EXR_H

#include <libdeflate.h>
#include <openexr.h>

#include "engine/media/codec.h"

/* Names in the order of the format's numbers, "dwab" the last. */
extern const char *const lb_exr_compressions[];

/* One part, its header checked: flat, of a compression that can be undone, of sane size. */
typedef struct lb_exr_part {
    const char *name; /* NULL: none; lent from the context */
    const exr_attr_chlist_t *channels;
    exr_compression_t compression;
    bool is_tiled;
    lb_box data;
    int32_t chunk_width, chunk_height; /* pixels; of scanline parts the whole width */
    int32_t chunks_x, chunks_y;        /* of the largest level */
} lb_exr_part;

typedef struct lb_exr_file {
    const lb_encoded *file;
    exr_context_t context;
    lb_box display, data; /* data: around those of all parts */
    int32_t part_count, channel_count;
    lb_exr_part *parts;
    exr_attr_chromaticities_t chromaticities; /* of the first part that has them */
    bool has_chromaticities;
    double pixel_aspect;
} lb_exr_file;

/* Opens a file in memory and refuses what cannot be read. Close in any case. */
LB_MUST_CHECK lb_status lb_exr_open(const lb_encoded *file, lb_exr_file *out);
void lb_exr_close(lb_exr_file *exr);

/* The name under which channel c of a part is known: with the part's name in front if the file has
 * several parts and the name does not have it yet. False: too long. */
bool lb_exr_channel_name(const lb_exr_file *exr, const lb_exr_part *part, int32_t c,
                         char out[LB_CHANNEL_NAME]);

/* If channel c is RY or BY of luminance and chroma whose Y is there too. Sets the channels of the
 * three. */
bool lb_exr_find_chroma(const lb_exr_part *part, int32_t c, int32_t *y, int32_t *ry, int32_t *by);

/* Changes the name of such a channel to R, G or B, as which it is read; leaves others alone. */
void lb_exr_rgb_name(const lb_exr_part *part, int32_t c, char name[LB_CHANNEL_NAME]);

exr_result_t lb_exr_report(lb_status status); /* as the library's callbacks want it */
/* Luminance Y and chroma to R, G, B in the box `data`. Chroma may be sampled at every second pixel
 * and row. `y` becomes G. On failure *r and *b are NULL. */
LB_MUST_CHECK lb_status lb_exr_chroma_to_rgb(lb_pool *pool, lb_box data, const lb_plane *ry,
                                             const lb_plane *by, lb_plane *y,
                                             const lb_primaries *primaries, lb_plane **r,
                                             lb_plane **b);

/* ZIP and ZIPS, for one thread. Zero-initialise; lb_exr_zip_clear. */
typedef struct lb_exr_zip {
    struct libdeflate_compressor *compressor;     /* NULL until the first use */
    struct libdeflate_decompressor *decompressor; /* the same */
    uint8_t *bytes; /* a chunk's halves; when compressing, their differences and the result too */
    size_t room;
} lb_exr_zip;
void lb_exr_zip_clear(lb_exr_zip *zip);
/* Exactly `count` bytes into out. LB_FORMAT: they are not what the stream holds. */
LB_MUST_CHECK lb_status lb_exr_unzip(lb_exr_zip *zip, const uint8_t *packed, size_t packed_count,
                                     uint8_t *out, size_t count);
/* *out is lent until the next call; *out_count is at most `count`: what does not shrink stays as it
 * is, which readers know by its size. */
LB_MUST_CHECK lb_status lb_exr_zip_chunk(lb_exr_zip *zip, const uint8_t *bytes, size_t count,
                                         const uint8_t **out, size_t *out_count);

#endif
