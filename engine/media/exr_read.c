/* engine/media/exr_read.c: the pixels of an OpenEXR file, chunk by chunk on all threads.
 *
 * The library's C core finds, reads and decompresses chunks; ZIP and the way from packed lines to
 * planes are ours, which is quicker and checks that a chunk holds what it must. */
#include <string.h>

#include "engine/media/exr.h"
#include "engine/media/half.h"

#if __BYTE_ORDER__ != __ORDER_LITTLE_ENDIAN__
#error "chunks are little-endian and taken as they are"
#endif

#define LINES_A_PIECE 16 /* of chunks of one line */

/* What a thread works with. */
typedef struct bench {
    exr_decode_pipeline_t pipeline;
    bool is_ready;
    lb_exr_zip zip;
    const struct reading *reading;
    lb_box box; /* of the chunk */
} bench;

/* One part being read. */
typedef struct reading {
    const lb_exr_file *exr;
    const lb_exr_part *part;
    int32_t index;
    lb_plane **planes; /* for each channel; those of chroma may count in every second pixel */
    bench *benches;    /* one for each worker */
    int32_t chunk_count;
    exr_result_t *damage; /* for each chunk; 0: it is sound */
} reading;

static const exr_attr_chlist_entry_t *entry_of(const reading *r, int32_t c)
{
    return &r->part->channels->entries[c];
}

static lb_box chunk_box(const lb_exr_part *part, int32_t chunk)
{
    int32_t x = part->data.x0 + chunk % part->chunks_x * part->chunk_width;
    int32_t y = part->data.y0 + chunk / part->chunks_x * part->chunk_height;

    return lb_box_intersect((lb_box){x, y, x + part->chunk_width, y + part->chunk_height},
                            part->data);
}

/* The first multiple of `step` from `value` on, divided by it. */
static int32_t sample_from(int32_t value, int32_t step)
{
    int32_t rest = value % step;

    return value / step + (rest > 0 ? 1 : 0);
}

/* Where in a channel's plane the samples of a box are. */
static lb_box sample_box(lb_box box, int32_t x_step, int32_t y_step)
{
    return (lb_box){sample_from(box.x0, x_step), sample_from(box.y0, y_step),
                    sample_from(box.x1, x_step), sample_from(box.y1, y_step)};
}

static void store_row(float *out, const uint8_t *in, exr_pixel_type_t type, int32_t count)
{
    if (type == EXR_PIXEL_HALF) {
        lb_half_to_float_row(out, (const uint16_t *)(const void *)in, count);
    } else if (type == EXR_PIXEL_FLOAT) {
        memcpy(out, in, (size_t)count * sizeof *out);
    } else {
        /* Identifiers and counts: their value, not a share of the largest. */
        for (int32_t x = 0; x < count; x++) {
            uint32_t value;

            memcpy(&value, in + 4 * (size_t)x, sizeof value);
            out[x] = (float)value;
        }
    }
}

/* From packed lines, each with all channels one after the other, to the planes. */
static exr_result_t unpack(exr_decode_pipeline_t *pipeline)
{
    const bench *b = pipeline->decoding_user_data;
    const reading *r = b->reading;
    const uint8_t *in = pipeline->unpacked_buffer;
    size_t left = pipeline->chunk.unpacked_size;

    if (!in)
        return EXR_ERR_CORRUPT_CHUNK;
    for (int32_t y = b->box.y0; y < b->box.y1; y++)
        for (int32_t c = 0; c < r->part->channels->num_channels; c++) {
            const exr_attr_chlist_entry_t *entry = entry_of(r, c);
            lb_box samples = sample_box(b->box, entry->x_sampling, entry->y_sampling);
            lb_plane *plane = r->planes[c];
            int32_t count = lb_box_width(samples);
            size_t bytes = (size_t)count * (entry->pixel_type == EXR_PIXEL_HALF ? 2 : 4);

            if (y % entry->y_sampling != 0)
                continue;
            if (bytes > left)
                return EXR_ERR_CORRUPT_CHUNK;
            store_row(lb_plane_row_to_fill(plane, y / entry->y_sampling) +
                          (samples.x0 - lb_plane_box(plane).x0),
                      in, entry->pixel_type, count);
            in += bytes;
            left -= bytes;
        }
    return left == 0 ? EXR_ERR_SUCCESS : EXR_ERR_CORRUPT_CHUNK;
}

static exr_result_t decompress_zip(exr_decode_pipeline_t *pipeline)
{
    bench *b = pipeline->decoding_user_data;

    if (pipeline->unpacked_buffer == pipeline->packed_buffer) /* did not shrink, is as it was */
        return EXR_ERR_SUCCESS;
    return lb_exr_report(lb_exr_unzip(&b->zip, pipeline->packed_buffer, pipeline->chunk.packed_size,
                                      pipeline->unpacked_buffer, pipeline->chunk.unpacked_size));
}

static exr_result_t start_pipeline(bench *b, const exr_chunk_info_t *info)
{
    const reading *r = b->reading;
    exr_result_t code;

    if (b->is_ready)
        return exr_decoding_update(r->exr->context, r->index, info, &b->pipeline);
    code = exr_decoding_initialize(r->exr->context, r->index, info, &b->pipeline);
    if (code != EXR_ERR_SUCCESS)
        return code;
    b->is_ready = true;
    /* Chosen without any destination: it sets the library's way to read and decompress. */
    code = exr_decoding_choose_default_routines(r->exr->context, r->index, &b->pipeline);
    b->pipeline.decoding_user_data = b;
    b->pipeline.unpack_and_convert_fn = unpack;
    if (r->part->compression == EXR_COMPRESSION_ZIP || r->part->compression == EXR_COMPRESSION_ZIPS)
        b->pipeline.decompress_fn = decompress_zip;
    return code;
}

static exr_result_t find_chunk(const reading *r, int32_t chunk, lb_box box, exr_chunk_info_t *info)
{
    exr_result_t code;

    if (r->part->is_tiled)
        code = exr_read_tile_chunk_info(r->exr->context, r->index, chunk % r->part->chunks_x,
                                        chunk / r->part->chunks_x, 0, 0, info);
    else
        code = exr_read_scanline_chunk_info(r->exr->context, r->index, box.y0, info);
    if (code != EXR_ERR_SUCCESS)
        return code;
    /* Nothing packed would leave what the last chunk was; uncompressed, sizes are equal. */
    if (info->width != lb_box_width(box) || info->height != lb_box_height(box) ||
        info->packed_size == 0 ||
        (r->part->compression == EXR_COMPRESSION_NONE && info->packed_size != info->unpacked_size))
        return EXR_ERR_CORRUPT_CHUNK;
    return EXR_ERR_SUCCESS;
}

/* A chunk that broke off may have left some lines. */
static void clear_chunk(const reading *r, lb_box box)
{
    for (int32_t c = 0; c < r->part->channels->num_channels; c++) {
        lb_box samples = sample_box(box, entry_of(r, c)->x_sampling, entry_of(r, c)->y_sampling);
        lb_plane *plane = r->planes[c];

        for (int32_t y = samples.y0; y < samples.y1; y++)
            memset(lb_plane_row_to_fill(plane, y) + (samples.x0 - lb_plane_box(plane).x0), 0,
                   (size_t)lb_box_width(samples) * sizeof(float));
    }
}

static lb_status read_chunks(void *context, int32_t begin, int32_t end, int32_t worker)
{
    reading *r = context;
    bench *b = &r->benches[worker];

    for (int32_t chunk = begin; chunk < end; chunk++) {
        exr_chunk_info_t info;
        exr_result_t code;

        lb_codec_ran_out();
        b->box = chunk_box(r->part, chunk);
        if (r->damage[chunk] != EXR_ERR_SUCCESS) {
            clear_chunk(r, b->box);
            continue;
        }
        if ((code = find_chunk(r, chunk, b->box, &info)) == EXR_ERR_SUCCESS &&
            (code = start_pipeline(b, &info)) == EXR_ERR_SUCCESS)
            code = exr_decoding_run(r->exr->context, r->index, &b->pipeline);
        if (lb_codec_ran_out())
            return LB_MEMORY;
        if (code == EXR_ERR_OUT_OF_MEMORY) /* so some decompressors call what they cannot undo */
            code = EXR_ERR_CORRUPT_CHUNK;
        r->damage[chunk] = code;
        if (code != EXR_ERR_SUCCESS)
            clear_chunk(r, b->box);
    }
    return LB_OK;
}

/* Refuses a part with chunks that do not decode: any, or with `partial` all of them. */
static lb_status judge(const reading *r, bool partial)
{
    const lb_encoded *file = r->exr->file;
    int32_t damaged = 0, first = 0;
    lb_box box;

    for (int32_t i = 0; i < r->chunk_count; i++)
        if (r->damage[i] != EXR_ERR_SUCCESS && damaged++ == 0)
            first = i;
    if (damaged == 0 || (partial && damaged < r->chunk_count))
        return LB_OK;
    box = chunk_box(r->part, first);
    return lb_fail(file->diag, LB_FORMAT, file->loc,
                   "'%s' is damaged: %d of its %d blocks cannot be decoded, the first at x %d, y "
                   "%d (%s)",
                   file->name, (int)damaged, (int)r->chunk_count, (int)box.x0, (int)box.y0,
                   exr_get_default_error_message(r->damage[first]));
}

/* Tells of those that are left out. */
static void warn_damaged(const reading *r)
{
    const lb_encoded *file = r->exr->file;
    int32_t damaged = 0;

    for (int32_t i = 0; i < r->chunk_count; i++)
        damaged += r->damage[i] != EXR_ERR_SUCCESS;
    if (damaged)
        lb_warn(file->diag, file->loc,
                "'%s' is damaged: %d of its %d blocks cannot be decoded; they are zero", file->name,
                (int)damaged, (int)r->chunk_count);
}

/* Looks at every chunk's head before there is memory for a picture. */
static lb_status survey(reading *r, bool partial)
{
    r->chunk_count = r->part->chunks_x * r->part->chunks_y;
    if (!(r->damage = lb_alloc((size_t)r->chunk_count, sizeof *r->damage)))
        return lb_fail(r->exr->file->diag, LB_MEMORY, r->exr->file->loc,
                       "'%s': no room for its %d blocks", r->exr->file->name, (int)r->chunk_count);
    for (int32_t i = 0; i < r->chunk_count; i++) {
        exr_chunk_info_t info;

        lb_codec_ran_out();
        r->damage[i] = find_chunk(r, i, chunk_box(r->part, i), &info);
        if (lb_codec_ran_out())
            return lb_fail(r->exr->file->diag, LB_MEMORY, r->exr->file->loc,
                           "'%s': no room for its table of blocks", r->exr->file->name);
    }
    return judge(r, partial);
}

static lb_status make_planes(const reading *r)
{
    bool fills = lb_box_equal(r->part->data, r->exr->data);

    for (int32_t c = 0; c < r->part->channels->num_channels; c++) {
        int32_t x_step = entry_of(r, c)->x_sampling, y_step = entry_of(r, c)->y_sampling;
        lb_box box = r->exr->data;
        lb_status status;

        if (x_step != 1 || y_step != 1)
            box = sample_box(r->part->data, x_step, y_step);
        status = fills ? lb_plane_new_raw(box, &r->planes[c]) : lb_plane_new(box, &r->planes[c]);
        if (status != LB_OK)
            return status;
    }
    return LB_OK;
}

static lb_status decode_chunks(reading *r)
{
    lb_pool *pool = r->exr->file->pool;
    int32_t workers = pool ? lb_pool_threads(pool) : 1;
    lb_status status = LB_MEMORY;

    r->benches = lb_alloc((size_t)workers, sizeof *r->benches);
    if (r->benches) {
        for (int32_t i = 0; i < workers; i++)
            r->benches[i].reading = r;
        status = lb_pool_for(pool, r->chunk_count,
                             !r->part->is_tiled && r->part->chunk_height == 1 ? LINES_A_PIECE : 1,
                             read_chunks, r);
    }
    for (int32_t i = 0; i < workers && r->benches; i++) {
        if (r->benches[i].is_ready)
            exr_decoding_destroy(r->exr->context, &r->benches[i].pipeline);
        lb_exr_zip_clear(&r->benches[i].zip);
    }
    lb_free(r->benches);
    return status;
}

static lb_primaries primaries_of(const lb_exr_file *exr)
{
    const exr_attr_chromaticities_t *c = &exr->chromaticities;

    if (!exr->has_chromaticities) /* then they are Rec. 709's: the format's documentation */
        return lb_space_primaries(LB_SPACE_LINEAR_REC709);
    return (lb_primaries){{(double)c->red_x, (double)c->red_y},
                          {(double)c->green_x, (double)c->green_y},
                          {(double)c->blue_x, (double)c->blue_y},
                          {(double)c->white_x, (double)c->white_y}};
}

/* Replaces the planes of Y, RY and BY, of every layer that has them, by those of G, R and B. */
static lb_status convert_chroma(const reading *r)
{
    lb_primaries primaries = primaries_of(r->exr);

    for (int32_t c = 0; c < r->part->channels->num_channels; c++) {
        int32_t y, ry, by;
        lb_plane *red, *blue;
        lb_status status;

        if (!lb_exr_find_chroma(r->part, c, &y, &ry, &by) || c != y)
            continue;
        status = lb_exr_chroma_to_rgb(r->exr->file->pool, r->part->data, r->planes[ry],
                                      r->planes[by], r->planes[y], &primaries, &red, &blue);
        if (status != LB_OK)
            return status;
        lb_plane_unref(&r->planes[ry]);
        lb_plane_unref(&r->planes[by]);
        r->planes[ry] = red;
        r->planes[by] = blue;
    }
    return LB_OK;
}

/* Hands the planes over under their names. */
static lb_status add_planes(const reading *r, lb_picture *out)
{
    const lb_encoded *file = r->exr->file;

    for (int32_t c = 0; c < r->part->channels->num_channels; c++) {
        char name[LB_CHANNEL_NAME] = "";
        lb_status status = LB_LIMIT;

        if (lb_exr_channel_name(r->exr, r->part, c, name)) {
            lb_exr_rgb_name(r->part, c, name);
            status = lb_picture_add(out, name, r->planes[c]);
            r->planes[c] = NULL;
        }
        if (status == LB_INVALID)
            return lb_fail(file->diag, LB_FORMAT, file->loc, "'%s' has two channels '%s'",
                           file->name, name);
        if (status != LB_OK)
            return lb_fail(file->diag, status, file->loc, "'%s': channel '%s': %s", file->name,
                           r->part->channels->entries[c].name.str, lb_status_text(status));
    }
    return LB_OK;
}

static lb_status decode_part(reading *r, bool partial, lb_picture *out)
{
    const lb_encoded *file = r->exr->file;
    lb_status status = make_planes(r);

    if (status == LB_OK)
        status = decode_chunks(r);
    if (status != LB_OK)
        return lb_fail(file->diag, status, file->loc, "'%s' could not be decoded: %s", file->name,
                       lb_status_text(status));
    if ((status = judge(r, partial)) != LB_OK)
        return status;
    warn_damaged(r);
    if ((status = convert_chroma(r)) != LB_OK)
        return lb_fail(file->diag, status, file->loc,
                       "'%s': luminance and chroma could not be made R, G, B: %s", file->name,
                       lb_status_text(status));
    return add_planes(r, out);
}

static lb_status read_part(const lb_exr_file *exr, int32_t index, bool partial, lb_picture *out)
{
    reading r = {.exr = exr, .part = &exr->parts[index], .index = index};
    int32_t count = r.part->channels->num_channels;
    lb_status status = survey(&r, partial);

    if (status == LB_OK && !(r.planes = lb_alloc((size_t)count, sizeof *r.planes)))
        status = lb_fail(exr->file->diag, LB_MEMORY, exr->file->loc,
                         "'%s': no room for its %d channels", exr->file->name, (int)count);
    if (status == LB_OK)
        status = decode_part(&r, partial, out);
    for (int32_t c = 0; c < count && r.planes; c++)
        lb_plane_unref(&r.planes[c]);
    lb_free(r.planes);
    lb_free(r.damage);
    return status;
}

lb_status lb_exr_decode(const lb_encoded *file, bool partial, lb_picture *out)
{
    lb_exr_file exr;
    lb_status status = lb_exr_open(file, &exr);

    if (status == LB_OK) {
        out->display = exr.display;
        out->data = exr.data;
        out->pixel_aspect = exr.pixel_aspect;
        out->is_premultiplied = true; /* "Technical Introduction to OpenEXR", alpha */
        out->has_primaries = exr.has_chromaticities;
        out->primaries = primaries_of(&exr);
    }
    for (int32_t p = 0; p < exr.part_count && status == LB_OK; p++)
        status = read_part(&exr, p, partial, out);
    lb_exr_close(&exr);
    return status;
}
