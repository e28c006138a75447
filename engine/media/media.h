/* engine/media/media.h: pictures from files, pictures to files. */
#ifndef LB_MEDIA_MEDIA_H
#define LB_MEDIA_MEDIA_H

#include "engine/base/time.h"
#include "engine/color/space.h"
#include "engine/image/image.h"

#define LB_MEDIA_MAX_BYTES ((size_t)2 << 30) /* largest file read */
#define LB_MEDIA_MAX_SIDE 65536

/* What a file's header says. */
typedef struct lb_media_info {
    char format[16];      /* "png" "jpeg" "hdr" "tga" "bmp" "exr" */
    lb_box display, data; /* from (0, 0) for formats without windows */
    int32_t channel_count;
    char (*channels)[LB_CHANNEL_NAME]; /* sorted; owned, lb_media_info_clear */
    int32_t bits;                      /* per channel as stored: 8, 16, 32 */
    bool is_float;
    double pixel_aspect;
    lb_space space;     /* what the format usually holds: srgb for 8 bits, linear-rec709 for
                         * float files; raw is never guessed */
    bool has_primaries; /* EXR chromaticities */
    lb_primaries primaries;
    char compression[16]; /* EXR: "zip" ...; else "" */
    int32_t parts;        /* EXR parts; else 1 */
} lb_media_info;
void lb_media_info_clear(lb_media_info *info);

/* Reads a header. `name` is for messages and to guess formats without a signature (TGA). */
LB_MUST_CHECK lb_status lb_media_probe(lb_diag *diag, lb_loc loc, const char *name,
                                       const void *bytes, size_t count, lb_media_info *out);

/* Decodes a file held in memory into an image as stored: values as floats (integers divided by
 * their largest value), not converted, not premultiplied unless the file is (EXR is; PNG, TGA are
 * not). One-channel files give "Y", with alpha "Y" and "A"; colour gives R, G, B (, A). EXR keeps
 * its channel names; of several parts, part k's channels get "NAME." before them unless they have
 * it already. Palette and 1 to 4 bit PNGs come expanded.
 *
 * A damaged EXR whose chunks decode in part gives the sound rows, zeros elsewhere, a warning, and
 * LB_OK only if `partial` is true; else LB_FORMAT. */
LB_MUST_CHECK lb_status lb_media_decode(lb_pool *pool, lb_diag *diag, lb_loc loc, const char *name,
                                        const void *bytes, size_t count, bool partial,
                                        lb_image **out);

/* lb_media_decode of a file's bytes, then made what the graph works in: space to working-linear,
 * "Y" spread to R, G, B for colour (space not raw), alpha premultiplied. raw: values as they are.
 */
typedef struct lb_media_wish {
    lb_space space;   /* what the file holds */
    lb_space working; /* what is wanted */
} lb_media_wish;
LB_MUST_CHECK lb_status lb_media_read(lb_pool *pool, lb_diag *diag, lb_loc loc, const char *path,
                                      const lb_media_wish *wish, lb_image **out);
/* The same from bytes in memory (a texture inside a glTF file). */
LB_MUST_CHECK lb_status lb_media_read_memory(lb_pool *pool, lb_diag *diag, lb_loc loc,
                                             const char *name, const void *bytes, size_t count,
                                             const lb_media_wish *wish, lb_image **out);

/* "a.####.exr" and frame 7: "a.0007.exr" (minus sign in front of the digits for negative frames).
 * Owned by the caller (lb_free); NULL: no memory. A pattern without # is itself. */
char *lb_sequence_name(const char *pattern, int32_t frame);
bool lb_sequence_is_pattern(const char *path); /* has a run of # */
/* The largest frame below or at `frame` whose file is there; false: none. Looks in the folder. */
bool lb_sequence_hold(const char *pattern, int32_t frame, int32_t *out);

typedef enum lb_depth { LB_DEPTH_8, LB_DEPTH_16, LB_DEPTH_HALF, LB_DEPTH_FLOAT } lb_depth;
extern const char *const lb_depth_names[]; /* "8" "16" "half" "float", NULL */

typedef enum lb_compression {
    LB_COMPRESSION_NONE,
    LB_COMPRESSION_RLE,
    LB_COMPRESSION_ZIPS,
    LB_COMPRESSION_ZIP,
    LB_COMPRESSION_PIZ,
    LB_COMPRESSION_PXR24,
    LB_COMPRESSION_B44,
    LB_COMPRESSION_B44A,
} lb_compression;
extern const char *const lb_compression_names[]; /* none rle zips zip piz pxr24 b44 b44a, NULL */

/* How a frame is written; the format comes from the name's extension (exr, png, hdr, jpg, tga). */
typedef struct lb_write_options {
    lb_depth depth;
    lb_compression compression;
    lb_view view;     /* for display formats */
    lb_space working; /* what the image holds */
    lb_rate rate;     /* framesPerSecond */
    int64_t index;    /* frames since timecode 00:00:00:00 */
    bool drop_frame;
    const char *graph_key; /* hexadecimal; NULL: not written */
    int32_t quality;       /* jpg 1..100, default 90 when 0 */
} lb_write_options;

/* True if that extension can be written and the options fit it (say why not with `loc`). */
LB_MUST_CHECK lb_status lb_media_check_write(lb_diag *diag, lb_loc loc, const char *path,
                                             const lb_write_options *options);

/* Encodes to memory; *out is the caller's (lb_free). EXR: every channel, data window kept (cut to
 * nothing but the display window's frame plus what is there), values beyond half clamped to
 * +-65504 with a warning. PNG: the display window, composited over nothing: un-premultiplied with
 * alpha if the image has an "A" that is not 1 everywhere, else without alpha channel; sRGB chunk
 * (or cICP) as the view asks; rounding to nearest, NaN to 0. */
LB_MUST_CHECK lb_status lb_media_encode(lb_pool *pool, lb_diag *diag, lb_loc loc, const char *path,
                                        const lb_image *image, const lb_write_options *options,
                                        void **out, size_t *count);
/* lb_media_encode, then lb_file_write: the name appears only when the file is whole. */
LB_MUST_CHECK lb_status lb_media_write(lb_pool *pool, lb_diag *diag, lb_loc loc, const char *path,
                                       const lb_image *image, const lb_write_options *options);

#endif
