/* engine/media/exr_header.c: opening an OpenEXR file, and what is refused before a pixel is read.
 */
#include <inttypes.h>
#include <math.h>
#include <string.h>

#include "engine/media/exr.h"

/* A byte of any compression that is read gives at most this many: deflate 1032 (its own format),
 * PIZ about 410 (255 equal 16-bit values for ten bits), RLE 64. */
#define DENSEST 2048
/* Of one chunk in the file: its offset in the table, and its own head. */
#define CHUNK_LEAST 16
#define MAX_PARTS 4096

const char *const lb_exr_compressions[] = {"none",  "rle", "zips", "zip",  "piz",
                                           "pxr24", "b44", "b44a", "dwaa", "dwab"};

exr_result_t lb_exr_report(lb_status status)
{
    switch (status) {
    case LB_OK:
        return EXR_ERR_SUCCESS;
    case LB_MEMORY:
        return EXR_ERR_OUT_OF_MEMORY;
    default:
        return EXR_ERR_CORRUPT_CHUNK;
    }
}

/* Without it the library prints to the standard error stream. */
static void be_silent(exr_const_context_t context, exr_result_t code, const char *message)
{
    (void)context;
    (void)code;
    (void)message;
}

static int64_t memory_size(exr_const_context_t context, void *user)
{
    const lb_encoded *file = user;

    (void)context;
    return (int64_t)file->count;
}

static int64_t memory_read(exr_const_context_t context, void *user, void *buffer, uint64_t size,
                           uint64_t offset, exr_stream_error_func_ptr_t complain)
{
    const lb_encoded *file = user;

    (void)context;
    (void)complain;
    if (offset >= file->count)
        return 0;
    if (size > file->count - offset)
        size = file->count - offset;
    memcpy(buffer, file->bytes + offset, size);
    return (int64_t)size;
}

static lb_status fail_exr(const lb_encoded *file, exr_result_t code)
{
    if (lb_codec_ran_out() || code == EXR_ERR_OUT_OF_MEMORY)
        return lb_fail(file->diag, LB_MEMORY, file->loc, "'%s': no room for its header",
                       file->name);
    return lb_fail(file->diag, LB_FORMAT, file->loc, "'%s' is a damaged EXR: its header says: %s",
                   file->name, exr_get_default_error_message(code));
}

/* Inclusive corners to a half-open box; false: empty, or too far out to be meant. */
static bool box_of(const exr_attr_box2i_t *window, lb_box *out)
{
    const int32_t limit = LB_BOX_LIMIT;

    if (window->min.x > window->max.x || window->min.y > window->max.y || window->min.x < -limit ||
        window->min.y < -limit || window->max.x >= limit || window->max.y >= limit)
        return false;
    *out = (lb_box){window->min.x, window->min.y, window->max.x + 1, window->max.y + 1};
    return true;
}

static lb_status refuse_deep(const lb_exr_file *exr, int32_t p)
{
    const lb_encoded *file = exr->file;
    const char *name = exr->parts[p].name;

    if (exr->part_count > 1)
        return lb_fail(file->diag, LB_UNSUPPORTED, file->loc,
                       "'%s': part %d ('%s') holds deep data, which is not read", file->name,
                       (int)p + 1, name ? name : "");
    return lb_fail(file->diag, LB_UNSUPPORTED, file->loc,
                   "'%s' holds deep data, which is not read; flat scanlines and tiles are",
                   file->name);
}

static lb_status check_compression(const lb_encoded *file, exr_compression_t compression)
{
    if (compression == EXR_COMPRESSION_DWAA || compression == EXR_COMPRESSION_DWAB)
        return lb_fail(file->diag, LB_UNSUPPORTED, file->loc,
                       "'%s' is compressed with %s, which is not implemented; none, rle, zips, "
                       "zip, piz, pxr24, b44 and b44a are",
                       file->name, compression == EXR_COMPRESSION_DWAA ? "DWAA" : "DWAB");
    if ((int)compression < 0 || (int)compression > (int)EXR_COMPRESSION_DWAB)
        return lb_fail(file->diag, LB_FORMAT, file->loc,
                       "'%s' is a damaged EXR: there is no compression %d", file->name,
                       (int)compression);
    return LB_OK;
}

/* How the largest level is cut into chunks. */
static exr_result_t measure_chunks(const lb_exr_file *exr, int32_t p, lb_exr_part *part)
{
    int32_t width = lb_box_width(part->data), height = lb_box_height(part->data);
    int32_t lines = 0, count = 0;
    exr_result_t code;

    if ((code = exr_get_chunk_count(exr->context, p, &count)) != EXR_ERR_SUCCESS)
        return code;
    if (part->is_tiled) {
        uint32_t x = 0, y = 0;
        exr_tile_level_mode_t levels;
        exr_tile_round_mode_t rounding;

        code = exr_get_tile_descriptor(exr->context, p, &x, &y, &levels, &rounding);
        if (code != EXR_ERR_SUCCESS)
            return code;
        if (x == 0 || y == 0)
            return EXR_ERR_INVALID_ATTR;
        part->chunk_width = x < (uint32_t)width ? (int32_t)x : width;
        part->chunk_height = y < (uint32_t)height ? (int32_t)y : height;
    } else {
        code = exr_get_scanlines_per_chunk(exr->context, p, &lines);
        if (code != EXR_ERR_SUCCESS)
            return code;
        if (lines < 1)
            return EXR_ERR_INVALID_ATTR;
        part->chunk_width = width;
        part->chunk_height = lines;
    }
    part->chunks_x = (width - 1) / part->chunk_width + 1;
    part->chunks_y = (height - 1) / part->chunk_height + 1;
    /* The table of chunks has an entry for each, and each is somewhere in the file. */
    if ((int64_t)part->chunks_x * part->chunks_y > count ||
        (uint64_t)count * CHUNK_LEAST > exr->file->count)
        return EXR_ERR_FILE_BAD_HEADER;
    return EXR_ERR_SUCCESS;
}

/* Which samplings can be read: all pixels, and chroma at every second one. */
static lb_status check_sampling(const lb_exr_file *exr, const lb_exr_part *part)
{
    for (int32_t c = 0; c < part->channels->num_channels; c++) {
        const exr_attr_chlist_entry_t *entry = &part->channels->entries[c];
        int32_t y, ry, by;

        if (entry->x_sampling == 1 && entry->y_sampling == 1)
            continue;
        if (part->is_tiled || !lb_exr_find_chroma(part, c, &y, &ry, &by) || c == y ||
            entry->x_sampling != 2 || entry->y_sampling != 2 || part->data.x0 % 2 != 0 ||
            part->data.y0 % 2 != 0)
            return lb_fail(exr->file->diag, LB_UNSUPPORTED, exr->file->loc,
                           "'%s': channel '%s' is sampled at every %d x %d pixels; only RY and BY "
                           "beside a Y may be, at every 2 x 2",
                           exr->file->name, entry->name.str, (int)entry->x_sampling,
                           (int)entry->y_sampling);
    }
    return LB_OK;
}

static lb_status open_part(lb_exr_file *exr, int32_t p)
{
    lb_exr_part *part = &exr->parts[p];
    exr_attr_box2i_t window;
    exr_storage_t storage;
    exr_result_t code;
    lb_status status;

    if (exr_get_name(exr->context, p, &part->name) != EXR_ERR_SUCCESS)
        part->name = NULL;
    if ((code = exr_get_storage(exr->context, p, &storage)) != EXR_ERR_SUCCESS)
        return fail_exr(exr->file, code);
    if (storage != EXR_STORAGE_SCANLINE && storage != EXR_STORAGE_TILED)
        return refuse_deep(exr, p);
    part->is_tiled = storage == EXR_STORAGE_TILED;
    if ((code = exr_get_compression(exr->context, p, &part->compression)) != EXR_ERR_SUCCESS ||
        (code = exr_get_channels(exr->context, p, &part->channels)) != EXR_ERR_SUCCESS ||
        (code = exr_get_data_window(exr->context, p, &window)) != EXR_ERR_SUCCESS)
        return fail_exr(exr->file, code);
    if ((status = check_compression(exr->file, part->compression)) != LB_OK)
        return status;
    if (!box_of(&window, &part->data) || part->channels->num_channels < 1)
        return fail_exr(exr->file, EXR_ERR_INVALID_ATTR);
    if ((status = lb_check_room(exr->file, lb_box_width(part->data), lb_box_height(part->data),
                                0)) != LB_OK ||
        (status = check_sampling(exr, part)) != LB_OK)
        return status;
    if ((code = measure_chunks(exr, p, part)) != EXR_ERR_SUCCESS)
        return fail_exr(exr->file, code);
    exr->channel_count += part->channels->num_channels;
    if (exr->channel_count > LB_MAX_CHANNELS)
        return lb_fail(exr->file->diag, LB_LIMIT, exr->file->loc, "'%s' has more than %d channels",
                       exr->file->name, LB_MAX_CHANNELS);
    if (!exr->has_chromaticities)
        exr->has_chromaticities =
            exr_attr_get_chromaticities(exr->context, p, "chromaticities", &exr->chromaticities) ==
            EXR_ERR_SUCCESS;
    return LB_OK;
}

/* Bytes of a part's pixels as the file has them before compression. */
static uint64_t stored_bytes(const lb_exr_part *part)
{
    uint64_t pixels = (uint64_t)lb_box_width(part->data) * (uint64_t)lb_box_height(part->data);
    uint64_t bytes = 0;

    for (int32_t c = 0; c < part->channels->num_channels; c++) {
        const exr_attr_chlist_entry_t *entry = &part->channels->entries[c];

        bytes += pixels * (entry->pixel_type == EXR_PIXEL_HALF ? 2 : 4) /
                 ((uint64_t)entry->x_sampling * (uint64_t)entry->y_sampling);
    }
    return bytes;
}

/* What all parts together need. */
static lb_status check_sizes(lb_exr_file *exr)
{
    uint64_t stored = 0;
    int64_t width, height;
    lb_status status;

    for (int32_t p = 0; p < exr->part_count; p++) {
        exr->data = p ? lb_box_unite(exr->data, exr->parts[p].data) : exr->parts[p].data;
        stored += stored_bytes(&exr->parts[p]);
    }
    width = lb_box_width(exr->data);
    height = lb_box_height(exr->data);
    status = lb_check_room(exr->file, width, height,
                           (uint64_t)width * (uint64_t)height * 4 * (uint64_t)exr->channel_count);
    if (status == LB_OK)
        status = lb_check_density(exr->file, width, height, stored, DENSEST);
    /* Parts far from each other make a window that none of them fills. */
    if (status == LB_OK && exr->part_count > 1)
        status =
            lb_check_density(exr->file, width, height, (uint64_t)width * (uint64_t)height, DENSEST);
    return status;
}

static lb_status open_parts(lb_exr_file *exr)
{
    exr_attr_box2i_t window;
    float aspect = 1;
    int count = 0;
    exr_result_t code;

    if ((code = exr_get_count(exr->context, &count)) != EXR_ERR_SUCCESS)
        return fail_exr(exr->file, code);
    if (count < 1 || count > MAX_PARTS)
        return lb_fail(exr->file->diag, LB_LIMIT, exr->file->loc, "'%s' has %d parts",
                       exr->file->name, count);
    exr->part_count = count;
    if (!(exr->parts = lb_alloc((size_t)count, sizeof *exr->parts)))
        return fail_exr(exr->file, EXR_ERR_OUT_OF_MEMORY);
    for (int32_t p = 0; p < count; p++) {
        lb_status status = open_part(exr, p);

        if (status != LB_OK)
            return status;
    }
    if ((code = exr_get_display_window(exr->context, 0, &window)) != EXR_ERR_SUCCESS ||
        (code = exr_get_pixel_aspect_ratio(exr->context, 0, &aspect)) != EXR_ERR_SUCCESS)
        return fail_exr(exr->file, code);
    if (!box_of(&window, &exr->display))
        return fail_exr(exr->file, EXR_ERR_INVALID_ATTR);
    exr->pixel_aspect = isfinite(aspect) && aspect > 0 ? (double)aspect : 1;
    return check_sizes(exr);
}

lb_status lb_exr_open(const lb_encoded *file, lb_exr_file *out)
{
    exr_context_initializer_t start = EXR_DEFAULT_CONTEXT_INITIALIZER;
    exr_result_t code;

    *out = (lb_exr_file){.file = file};
    start.error_handler_fn = be_silent;
    start.alloc_fn = lb_codec_alloc;
    start.free_fn = lb_free;
    start.user_data = (void *)file; /* only read */
    start.read_fn = memory_read;
    start.size_fn = memory_size;
    start.flags = EXR_CONTEXT_FLAG_SILENT_HEADER_PARSE;
    lb_codec_ran_out();
    if ((code = exr_start_read(&out->context, "memory", &start)) != EXR_ERR_SUCCESS) {
        out->context = NULL;
        return fail_exr(file, code);
    }
    return open_parts(out);
}

void lb_exr_close(lb_exr_file *exr)
{
    if (exr->context)
        exr_finish(&exr->context);
    lb_free(exr->parts);
    *exr = (lb_exr_file){0};
}

bool lb_exr_channel_name(const lb_exr_file *exr, const lb_exr_part *part, int32_t c,
                         char out[LB_CHANNEL_NAME])
{
    const char *name = part->channels->entries[c].name.str, *prefix = part->name;
    size_t length = prefix ? strlen(prefix) : 0;
    int written;

    if (exr->part_count == 1 || length == 0 ||
        (strncmp(name, prefix, length) == 0 && name[length] == '.'))
        written = snprintf(out, LB_CHANNEL_NAME, "%s", name);
    else
        written = snprintf(out, LB_CHANNEL_NAME, "%s.%s", prefix, name);
    return written > 0 && written < LB_CHANNEL_NAME;
}

/* The channel `layer` + `base`, -1 if there is none. */
static int32_t find_channel(const lb_exr_part *part, const char *layer, size_t length,
                            const char *base)
{
    for (int32_t c = 0; c < part->channels->num_channels; c++) {
        const char *name = part->channels->entries[c].name.str;

        if (strncmp(name, layer, length) == 0 && strcmp(name + length, base) == 0)
            return c;
    }
    return -1;
}

bool lb_exr_find_chroma(const lb_exr_part *part, int32_t c, int32_t *y, int32_t *ry, int32_t *by)
{
    const char *name = part->channels->entries[c].name.str, *dot = strrchr(name, '.');
    size_t length = dot ? (size_t)(dot - name) + 1 : 0;

    *y = find_channel(part, name, length, "Y");
    *ry = find_channel(part, name, length, "RY");
    *by = find_channel(part, name, length, "BY");
    if (*y < 0 || *ry < 0 || *by < 0 || (c != *y && c != *ry && c != *by))
        return false;
    return part->channels->entries[*ry].x_sampling == part->channels->entries[*by].x_sampling &&
           part->channels->entries[*ry].y_sampling == part->channels->entries[*by].y_sampling;
}

void lb_exr_rgb_name(const lb_exr_part *part, int32_t c, char name[LB_CHANNEL_NAME])
{
    char *dot = strrchr(name, '.');
    int32_t y, ry, by;

    if (lb_exr_find_chroma(part, c, &y, &ry, &by))
        strcpy(dot ? dot + 1 : name, c == ry ? "R" : c == by ? "B" : "G");
}

static lb_status list_channels(const lb_exr_file *exr, lb_media_info *out)
{
    char(*names)[LB_CHANNEL_NAME] = lb_alloc((size_t)exr->channel_count, sizeof *names);
    const char **pointers = lb_alloc((size_t)exr->channel_count, sizeof *pointers);
    lb_status status = names && pointers ? LB_OK : LB_MEMORY;
    int32_t count = 0;

    for (int32_t p = 0; p < exr->part_count && status == LB_OK; p++) {
        const lb_exr_part *part = &exr->parts[p];

        for (int32_t c = 0; c < part->channels->num_channels && status == LB_OK; c++) {
            exr_pixel_type_t type = part->channels->entries[c].pixel_type;

            if (!lb_exr_channel_name(exr, part, c, names[count])) {
                status = LB_LIMIT;
                break;
            }
            lb_exr_rgb_name(part, c, names[count]);
            pointers[count] = names[count];
            count++;
            out->is_float = out->is_float || type != EXR_PIXEL_UINT;
            if (type != EXR_PIXEL_HALF)
                out->bits = 32;
        }
    }
    if (status == LB_OK)
        status = lb_info_set_channels(out, pointers, count);
    lb_free(pointers);
    lb_free(names);
    return status;
}

lb_status lb_exr_probe(const lb_encoded *file, lb_media_info *out)
{
    lb_exr_file exr;
    lb_status status = lb_exr_open(file, &exr);

    if (status == LB_OK) {
        const exr_attr_chromaticities_t *c = &exr.chromaticities;

        strcpy(out->format, "exr");
        snprintf(out->compression, sizeof out->compression, "%s",
                 lb_exr_compressions[exr.parts[0].compression]);
        out->display = exr.display;
        out->data = exr.data;
        out->bits = 16;
        out->pixel_aspect = exr.pixel_aspect;
        out->space = LB_SPACE_LINEAR_REC709;
        out->parts = exr.part_count;
        out->has_primaries = exr.has_chromaticities;
        if (exr.has_chromaticities)
            out->primaries = (lb_primaries){{(double)c->red_x, (double)c->red_y},
                                            {(double)c->green_x, (double)c->green_y},
                                            {(double)c->blue_x, (double)c->blue_y},
                                            {(double)c->white_x, (double)c->white_y}};
        status = list_channels(&exr, out);
        if (status != LB_OK)
            lb_fail(file->diag, status, file->loc, "'%s': its channels' names: %s", file->name,
                    lb_status_text(status));
    }
    lb_exr_close(&exr);
    return status;
}
