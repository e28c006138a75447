/* engine/media/exr_write.c: scanline OpenEXR files.
 *
 * Chunks are packed and compressed on all threads, then written in their order, so the bytes do not
 * depend on the number of threads. The library writes into memory and never learns the file's name:
 * it would delete what stands there when a write fails. */
#include <stdatomic.h>
#include <string.h>

#include "engine/media/exr.h"
#include "engine/media/half.h"

/* Of zlib, inside PXR24: higher levels take twice the time for one per cent. */
#define ZIP_LEVEL 4

typedef struct chunk {
    uint8_t *bytes;
    size_t count;
} chunk;

/* The file as the library writes it, at absolute places: the table of chunks comes last. */
typedef struct memory_file {
    uint8_t *bytes;
    size_t count, capacity;
} memory_file;

typedef struct writer {
    const lb_delivery *delivery;
    exr_context_t context;
    memory_file out;
    lb_box data;
    exr_pixel_type_t type;
    int32_t channel_count;
    const char *names[LB_MAX_CHANNELS];      /* sorted, as the library sorts them */
    const lb_plane *planes[LB_MAX_CHANNELS]; /* NULL: 0 everywhere */
    int32_t lines, chunk_count;
    chunk *chunks;
    struct bench *benches; /* one for each worker */
    atomic_bool clamped;
} writer;

/* What a thread works with. */
typedef struct bench {
    exr_encode_pipeline_t pipeline;
    bool is_ready;
    lb_exr_zip zip;
    writer *writer;
    float *zeros; /* a row, for what has no plane */
    chunk *chunk; /* where the result goes */
} bench;

static void be_silent(exr_const_context_t context, exr_result_t code, const char *message)
{
    (void)context;
    (void)code;
    (void)message;
}

/* A new block and not a longer one: that would be cleared twice. */
static bool reserve(memory_file *out, size_t capacity)
{
    uint8_t *grown;

    if (capacity <= out->capacity)
        return true;
    if (!(grown = lb_codec_alloc(capacity)))
        return false;
    if (out->count)
        memcpy(grown, out->bytes, out->count);
    lb_free(out->bytes);
    out->bytes = grown;
    out->capacity = capacity;
    return true;
}

static int64_t memory_write(exr_const_context_t context, void *user, const void *buffer,
                            uint64_t size, uint64_t offset, exr_stream_error_func_ptr_t complain)
{
    memory_file *out = user;
    size_t end;

    (void)context;
    (void)complain;
    if (!lb_size_add((size_t)offset, (size_t)size, &end) || end > SIZE_MAX / 2 ||
        (end > out->capacity && !reserve(out, end + end / 2 + 65536)))
        return -1;
    memcpy(out->bytes + offset, buffer, (size_t)size);
    if (end > out->count)
        out->count = end;
    return (int64_t)size;
}

static exr_attr_box2i_t window_of(lb_box box)
{
    return (exr_attr_box2i_t){{{{box.x0, box.y0}}}, {{{box.x1 - 1, box.y1 - 1}}}};
}

static exr_result_t set_attributes(const writer *w, int part)
{
    const lb_write_options *options = w->delivery->options;
    exr_context_t context = w->context;
    exr_result_t code = EXR_ERR_SUCCESS;

    if (options->working != LB_SPACE_RAW) {
        lb_primaries p = lb_space_primaries(options->working);
        exr_attr_chromaticities_t c = {(float)p.red[0],   (float)p.red[1],  (float)p.green[0],
                                       (float)p.green[1], (float)p.blue[0], (float)p.blue[1],
                                       (float)p.white[0], (float)p.white[1]};

        code = exr_attr_set_chromaticities(context, part, "chromaticities", &c);
    }
    if (code == EXR_ERR_SUCCESS && options->rate.num > 0 && options->rate.den > 0) {
        exr_attr_rational_t rate = {options->rate.num, (uint32_t)options->rate.den};
        exr_attr_timecode_t timecode = {
            lb_timecode_bcd(options->index, options->rate, options->drop_frame), 0};

        code = exr_attr_set_rational(context, part, "framesPerSecond", &rate);
        if (code == EXR_ERR_SUCCESS)
            code = exr_attr_set_timecode(context, part, "timeCode", &timecode);
    }
    if (code == EXR_ERR_SUCCESS && options->graph_key)
        code = exr_attr_set_string(context, part, "lampblack.graph", options->graph_key);
    return code;
}

static exr_result_t write_header(writer *w)
{
    const lb_image *image = w->delivery->image;
    exr_attr_box2i_t display = window_of(lb_image_display(image)), data = window_of(w->data);
    exr_attr_v2f_t centre = {{{0, 0}}};
    exr_result_t code;
    int part = 0;

    if ((code = exr_add_part(w->context, NULL, EXR_STORAGE_SCANLINE, &part)) != EXR_ERR_SUCCESS)
        return code;
    code = exr_initialize_required_attr(
        w->context, part, &display, &data, (float)lb_image_pixel_aspect(image), &centre, 1.0f,
        EXR_LINEORDER_INCREASING_Y, (exr_compression_t)w->delivery->options->compression);
    if (code == EXR_ERR_SUCCESS)
        code = exr_set_zip_compression_level(w->context, part, ZIP_LEVEL);
    for (int32_t c = 0; c < w->channel_count && code == EXR_ERR_SUCCESS; c++)
        code = exr_add_channel(w->context, part, w->names[c], w->type, EXR_PERCEPTUALLY_LOGARITHMIC,
                               1, 1);
    if (code == EXR_ERR_SUCCESS)
        code = set_attributes(w, part);
    if (code == EXR_ERR_SUCCESS)
        code = exr_write_header(w->context);
    if (code == EXR_ERR_SUCCESS)
        code = exr_get_chunk_count(w->context, part, &w->chunk_count);
    if (code == EXR_ERR_SUCCESS)
        code = exr_get_scanlines_per_chunk(w->context, part, &w->lines);
    return code;
}

/* Lines with all channels one after the other, as half or float. */
static exr_result_t pack(exr_encode_pipeline_t *pipeline)
{
    const bench *b = pipeline->encoding_user_data;
    writer *w = b->writer;
    int32_t count = lb_box_width(w->data), first = pipeline->chunk.start_y;
    size_t bytes = (size_t)count * (w->type == EXR_PIXEL_HALF ? 2 : 4);
    uint8_t *out = pipeline->packed_buffer;
    bool clamped = false;

    for (int32_t y = first; y < first + pipeline->chunk.height; y++)
        for (int32_t c = 0; c < w->channel_count; c++, out += bytes) {
            const float *row = w->planes[c] ? lb_plane_row(w->planes[c], y) : b->zeros;

            if (w->type == EXR_PIXEL_FLOAT)
                memcpy(out, row, bytes);
            else if (lb_half_from_float_row((uint16_t *)(void *)out, row, count))
                clamped = true;
        }
    if (clamped)
        atomic_store_explicit(&w->clamped, true, memory_order_relaxed);
    pipeline->packed_bytes = (size_t)(out - (uint8_t *)pipeline->packed_buffer);
    return EXR_ERR_SUCCESS;
}

static exr_result_t store(chunk *out, const void *bytes, size_t count)
{
    out->bytes = lb_block_new(count);
    if (!out->bytes)
        return EXR_ERR_OUT_OF_MEMORY;
    memcpy(out->bytes, bytes, count);
    out->count = count;
    return EXR_ERR_SUCCESS;
}

static exr_result_t compress_zip(exr_encode_pipeline_t *pipeline)
{
    bench *b = pipeline->encoding_user_data;
    const uint8_t *bytes;
    size_t count;
    lb_status status =
        lb_exr_zip_chunk(&b->zip, pipeline->packed_buffer, pipeline->packed_bytes, &bytes, &count);

    return status == LB_OK ? store(b->chunk, bytes, count) : lb_exr_report(status);
}

/* Stands where the library would write. */
static exr_result_t keep(exr_encode_pipeline_t *pipeline)
{
    bench *b = pipeline->encoding_user_data;

    if (b->chunk->bytes) /* compress_zip was here */
        return EXR_ERR_SUCCESS;
    return store(b->chunk, pipeline->compressed_buffer, pipeline->compressed_bytes);
}

static exr_result_t start_pipeline(bench *b, const exr_chunk_info_t *info)
{
    const writer *w = b->writer;
    exr_result_t code;

    code = b->is_ready ? exr_encoding_update(w->context, 0, info, &b->pipeline)
                       : exr_encoding_initialize(w->context, 0, info, &b->pipeline);
    if (code != EXR_ERR_SUCCESS)
        return code;
    /* The library looks at these, though `pack` does not. */
    for (int16_t c = 0; c < b->pipeline.channel_count; c++) {
        exr_coding_channel_info_t *channel = &b->pipeline.channels[c];

        channel->encode_from_ptr = (const uint8_t *)b->zeros;
        channel->user_data_type = EXR_PIXEL_FLOAT;
        channel->user_bytes_per_element = channel->user_pixel_stride = 4;
        channel->user_line_stride = 0;
    }
    if (b->is_ready)
        return EXR_ERR_SUCCESS;
    b->is_ready = true;
    code = exr_encoding_choose_default_routines(w->context, 0, &b->pipeline);
    b->pipeline.encoding_user_data = b;
    b->pipeline.convert_and_pack_fn = pack;
    b->pipeline.yield_until_ready_fn = NULL;
    b->pipeline.write_fn = keep;
    if (w->delivery->options->compression == LB_COMPRESSION_ZIP ||
        w->delivery->options->compression == LB_COMPRESSION_ZIPS)
        b->pipeline.compress_fn = compress_zip;
    return code;
}

static lb_status status_of(exr_result_t code)
{
    if (code == EXR_ERR_SUCCESS)
        return LB_OK;
    return lb_codec_ran_out() || code == EXR_ERR_OUT_OF_MEMORY ? LB_MEMORY : LB_IO;
}

static lb_status make_chunks(void *context, int32_t begin, int32_t end, int32_t worker)
{
    writer *w = context;
    bench *b = &w->benches[worker];
    exr_result_t code = EXR_ERR_SUCCESS;

    for (int32_t i = begin; i < end && code == EXR_ERR_SUCCESS; i++) {
        exr_chunk_info_t info;

        b->chunk = &w->chunks[i];
        code = exr_write_scanline_chunk_info(w->context, 0, w->data.y0 + i * w->lines, &info);
        if (code == EXR_ERR_SUCCESS)
            code = start_pipeline(b, &info);
        if (code == EXR_ERR_SUCCESS)
            code = exr_encoding_run(w->context, 0, &b->pipeline);
    }
    return status_of(code);
}

static lb_status compress_chunks(writer *w)
{
    lb_pool *pool = w->delivery->pool;
    int32_t workers = pool ? lb_pool_threads(pool) : 1;
    float *zeros = lb_alloc((size_t)lb_box_width(w->data), sizeof *zeros);
    lb_status status = LB_MEMORY;

    w->chunks = lb_alloc((size_t)w->chunk_count, sizeof *w->chunks);
    w->benches = lb_alloc((size_t)workers, sizeof *w->benches);
    if (zeros && w->chunks && w->benches) {
        for (int32_t i = 0; i < workers; i++) {
            w->benches[i].writer = w;
            w->benches[i].zeros = zeros;
        }
        /* Pieces of about 16 lines: handing over one line at a time costs more than it brings. */
        status = lb_pool_for(pool, w->chunk_count, w->lines >= 16 ? 1 : 16, make_chunks, w);
    }
    for (int32_t i = 0; i < workers && w->benches; i++) {
        if (w->benches[i].is_ready)
            exr_encoding_destroy(w->context, &w->benches[i].pipeline);
        lb_exr_zip_clear(&w->benches[i].zip);
    }
    lb_free(w->benches);
    lb_free(zeros);
    return status;
}

/* In order, because the table says where each is. */
static lb_status write_chunks(writer *w)
{
    exr_result_t code = EXR_ERR_SUCCESS;
    size_t room = w->out.count + 4096;

    for (int32_t i = 0; i < w->chunk_count; i++)
        room += w->chunks[i].count + 16;
    if (!reserve(&w->out, room))
        return LB_MEMORY;
    for (int32_t i = 0; i < w->chunk_count && code == EXR_ERR_SUCCESS; i++) {
        code = exr_write_scanline_chunk(w->context, 0, w->data.y0 + i * w->lines,
                                        w->chunks[i].bytes, w->chunks[i].count);
        lb_block_free(w->chunks[i].bytes);
        w->chunks[i].bytes = NULL;
    }
    return status_of(code);
}

/* The image's channels; one without any is a transparent black pixel. */
static void lay_out(writer *w)
{
    static const char *const names[] = {"A", "B", "G", "R"};
    const lb_image *image = w->delivery->image;
    lb_box display = lb_image_display(image);

    w->type = w->delivery->options->depth == LB_DEPTH_HALF ? EXR_PIXEL_HALF : EXR_PIXEL_FLOAT;
    w->channel_count = lb_image_count(image);
    w->data = lb_image_box(image);
    for (int32_t c = 0; c < w->channel_count; c++) {
        w->names[c] = lb_image_name(image, c);
        w->planes[c] = lb_image_plane(image, c);
    }
    if (w->channel_count > 0)
        return;
    w->channel_count = 4;
    w->data = (lb_box){display.x0, display.y0, display.x0 + 1, display.y0 + 1};
    memcpy(w->names, names, sizeof names);
}

static lb_status encode(writer *w)
{
    exr_context_initializer_t start = EXR_DEFAULT_CONTEXT_INITIALIZER;
    exr_result_t code;
    lb_status status;

    start.error_handler_fn = be_silent;
    start.alloc_fn = lb_codec_alloc;
    start.free_fn = lb_free;
    start.user_data = &w->out;
    start.write_fn = memory_write;
    /* A name under which nothing can be, so that nothing can be deleted. */
    lb_codec_ran_out();
    code = exr_start_write(&w->context, "/dev/null/frame.exr", EXR_WRITE_FILE_DIRECTLY, &start);
    if (code != EXR_ERR_SUCCESS) {
        w->context = NULL;
        return status_of(code);
    }
    status = status_of(write_header(w));
    if (status == LB_OK)
        status = compress_chunks(w);
    if (status == LB_OK)
        status = write_chunks(w);
    /* Its answer is good even when chunks are missing; ours are counted. */
    code = exr_finish(&w->context);
    if (status == LB_OK)
        status = status_of(code);
    for (int32_t i = 0; i < w->chunk_count && w->chunks; i++)
        lb_block_free(w->chunks[i].bytes);
    lb_free(w->chunks);
    return status;
}

lb_status lb_exr_encode(const lb_delivery *d, void **out, size_t *count)
{
    writer w = {.delivery = d};
    lb_status status;

    if (lb_box_is_empty(lb_image_display(d->image)))
        return lb_fail(d->diag, LB_INVALID, d->loc, "'%s': the frame has no pixels", d->path);
    atomic_init(&w.clamped, false);
    lay_out(&w);
    status = encode(&w);
    if (status != LB_OK) {
        lb_free(w.out.bytes);
        return lb_fail(d->diag, status, d->loc, "'%s' could not be encoded: %s", d->path,
                       status == LB_IO ? "the library refused it" : lb_status_text(status));
    }
    if (atomic_load(&w.clamped))
        lb_warn(d->diag, d->loc,
                "'%s': values beyond the largest half were made 65504; depth float keeps them",
                d->path);
    *out = w.out.bytes;
    *count = w.out.count;
    return LB_OK;
}
