/* engine/media/codec.h: what the readers and writers of the formats share; for this layer only. */
#ifndef LB_MEDIA_CODEC_H
#define LB_MEDIA_CODEC_H

#include "engine/media/media.h"

/* A file held in memory, and where to complain about it. All lent. */
typedef struct lb_encoded {
    lb_pool *pool; /* may be NULL */
    lb_diag *diag;
    lb_loc loc;
    const char *name; /* for messages */
    const uint8_t *bytes;
    size_t count;
} lb_encoded;

/* Memory for libraries: zeroed, counted, limited; lb_free. */
#define LB_CODEC_BLOCK_MAX ((size_t)8 << 30) /* 2^31 floats */
void *lb_codec_alloc(size_t bytes);
void *lb_codec_calloc(size_t count, size_t size);
void *lb_codec_realloc(void *block, size_t bytes);
void *lb_codec_block(size_t bytes); /* lb_block_new; not zeroed, lb_block_free */
void lb_codec_note_shortage(void);  /* for a library with an allocator of its own */
/* Whether one of these failed on this thread since this was last asked. */
bool lb_codec_ran_out(void);
/* The same as zlib wants it. */
void *lb_codec_zalloc(void *opaque, unsigned count, unsigned size);
void lb_codec_zfree(void *opaque, void *block);

typedef enum lb_file_format {
    LB_FORMAT_UNKNOWN,
    LB_FORMAT_PNG,
    LB_FORMAT_JPEG,
    LB_FORMAT_HDR,
    LB_FORMAT_TGA,
    LB_FORMAT_BMP,
    LB_FORMAT_EXR,
} lb_file_format;

/* What a file is, by its first bytes; TGA, which has no signature, by its name or its footer. */
lb_file_format lb_format_of(const char *name, const uint8_t *bytes, size_t count);
/* What a file shall be, by its name's extension in any case; LB_FORMAT_UNKNOWN: none that can be
 * written. */
lb_file_format lb_format_to_write(const char *path);

/* An image in the making: its planes may still be written to. Zero-initialise. */
typedef struct lb_picture {
    lb_box display, data;
    double pixel_aspect; /* 0: 1 */
    bool is_premultiplied;
    bool has_primaries;
    lb_primaries primaries;
    int32_t count, capacity;
    struct lb_picture_channel {
        char name[LB_CHANNEL_NAME];
        lb_plane *plane; /* all have the box `data` */
    } * channels;
} lb_picture;

void lb_picture_clear(lb_picture *picture);
/* Adds a plane, which becomes the picture's also when this fails. A name that is there already is
 * LB_INVALID; LB_LIMIT, LB_MEMORY. */
LB_MUST_CHECK lb_status lb_picture_add(lb_picture *picture, const char *name, lb_plane *plane);
/* The plane of that name, lent; NULL: there is none. */
lb_plane *lb_picture_find(const lb_picture *picture, const char *name);
/* Takes the channel out and hands its plane to the caller; NULL: there is none. */
lb_plane *lb_picture_take(lb_picture *picture, const char *name);
/* Makes width x height planes named by `names` (the first `count` of them). */
LB_MUST_CHECK lb_status lb_picture_make(const lb_encoded *file, lb_picture *picture, int32_t width,
                                        int32_t height, const char *const *names, int32_t count);

/* Makes a decoded picture what the graph works in: lb_media_read says how. */
LB_MUST_CHECK lb_status lb_picture_to_working(const lb_encoded *file, const lb_media_wish *wish,
                                              lb_picture *picture);

/* Refuses a picture before anything is allocated for it: sides over LB_MEDIA_MAX_SIDE, more pixels
 * than a plane has, `bytes` that exceed the memory budget. */
LB_MUST_CHECK lb_status lb_check_room(const lb_encoded *file, int64_t width, int64_t height,
                                      uint64_t bytes);
/* Refuses a header that claims more than the file can hold: more than `densest` units for each of
 * its bytes (units are whatever the format counts). */
LB_MUST_CHECK lb_status lb_check_density(const lb_encoded *file, int64_t width, int64_t height,
                                         uint64_t units, uint64_t densest);

/* For lb_media_info: `count` names are copied and sorted. */
LB_MUST_CHECK lb_status lb_info_set_channels(lb_media_info *info, const char *const *names,
                                             int32_t count);

LB_MUST_CHECK lb_status lb_png_probe(const lb_encoded *file, lb_media_info *out);
LB_MUST_CHECK lb_status lb_png_decode(const lb_encoded *file, lb_picture *out);
LB_MUST_CHECK lb_status lb_stb_probe(const lb_encoded *file, lb_file_format format,
                                     lb_media_info *out);
LB_MUST_CHECK lb_status lb_stb_decode(const lb_encoded *file, lb_file_format format, bool partial,
                                      lb_picture *out);
LB_MUST_CHECK lb_status lb_hdr_probe(const lb_encoded *file, lb_media_info *out);
LB_MUST_CHECK lb_status lb_hdr_decode(const lb_encoded *file, bool partial, lb_picture *out);
LB_MUST_CHECK lb_status lb_exr_probe(const lb_encoded *file, lb_media_info *out);
LB_MUST_CHECK lb_status lb_exr_decode(const lb_encoded *file, bool partial, lb_picture *out);

/* A frame on its way into a file. All lent. */
typedef struct lb_delivery {
    lb_pool *pool; /* may be NULL */
    lb_diag *diag;
    lb_loc loc;
    const char *path; /* for messages */
    const lb_image *image;
    const lb_write_options *options;
} lb_delivery;

LB_MUST_CHECK lb_status lb_png_encode(const lb_delivery *delivery, void **out, size_t *count);
LB_MUST_CHECK lb_status lb_stb_encode(const lb_delivery *delivery, lb_file_format format,
                                      void **out, size_t *count);
LB_MUST_CHECK lb_status lb_hdr_encode(const lb_delivery *delivery, void **out, size_t *count);
LB_MUST_CHECK lb_status lb_exr_encode(const lb_delivery *delivery, void **out, size_t *count);

#endif
