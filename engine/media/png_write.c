/* engine/media/png_write.c: PNG in bands, each filtered and packed by itself.
 *
 * libspng and libpng compress a picture in one piece on one thread, and both search for repeated
 * strings that photographs and renderings do not have. Here bands of rows are filtered and
 * compressed side by side; each ends at a whole byte and refers to nothing before it, so that they
 * join into one stream, the same whatever the number of threads. First as literals and runs
 * (deflate.h), which is as small as level 6 where there is grain, at a small part of the time.
 * Where a sample says that strings repeat, in drawings and ramps, zlib searches as well and the
 * smaller is kept.
 *
 * Sections are those of Portable Network Graphics (PNG) Specification (Third Edition), W3C. */
#include <libdeflate.h>
#include <string.h>
#include <zlib.h>

#include "engine/base/clones.h"
#include "engine/media/deflate.h"
#include "engine/media/display.h"

#define BAND_BYTES ((size_t)256 << 10) /* filtered bytes in a band, about */
#define PIXEL_MOST 8                   /* bytes: four channels of 16 bits */
#define FILTERS 5
#define CHUNK_BYTES 12  /* of a chunk, beside its data: length, type, CRC (5.3) */
#define SEARCH_BELOW 64 /* a band that shrinks to less than one in so many is searched */
#define SEARCH_GAIN 32  /* as is one where that saves one in so many of a sample */
#define SAMPLE_BYTES ((size_t)16 << 10)

/* A compressed band: its IDAT chunk. */
typedef struct band {
    uint8_t *chunk;
    size_t count;
    uint32_t adler; /* of the bytes before compression */
} band;

typedef struct writer {
    const lb_delivery *delivery;
    lb_signal signal;
    int bits;
    size_t pixel_bytes, row_bytes; /* without the filter's byte */
    int32_t height, band_rows, band_count;
    band *bands;
} writer;

/* What a worker needs for one band, in one block. */
typedef struct desk {
    uint8_t *rows[2];           /* this row and the one above, PIXEL_MOST zeros before each */
    uint8_t *attempts[FILTERS]; /* a row filtered in each way; that of filter 0 is the row */
    uint8_t *filtered;          /* the whole band, the filter's byte before each row */
    uint8_t *compressed[2];     /* the better, and one more try */
    size_t compressed_room;
    struct libdeflate_compressor *quick; /* for samples */
    float *scratch;
    void *block;
} desk;

static void put_u32(uint8_t *at, uint32_t value)
{
    at[0] = (uint8_t)(value >> 24);
    at[1] = (uint8_t)(value >> 16);
    at[2] = (uint8_t)(value >> 8);
    at[3] = (uint8_t)value;
}

/* A chunk (5.3): length, type, data in two parts, CRC of type and data. Answers what follows. */
static uint8_t *put_chunk(uint8_t *at, const char *type, const void *head, size_t head_count,
                          const void *data, size_t count)
{
    uint8_t *start = at + 4;

    put_u32(at, (uint32_t)(head_count + count));
    memcpy(start, type, 4);
    if (head_count)
        memcpy(start + 4, head, head_count);
    if (count)
        memcpy(start + 4 + head_count, data, count);
    at = start + 4 + head_count + count;
    put_u32(at, libdeflate_crc32(0, start, 4 + head_count + count));
    return at + 4;
}

/* 9.2, type 1. `row` may be read pixel_bytes before its start. */
LB_CLONES
static void filter_sub(uint8_t *restrict out, const uint8_t *row, ptrdiff_t pixel, ptrdiff_t count)
{
    for (ptrdiff_t i = 0; i < count; i++)
        out[i] = (uint8_t)(row[i] - row[i - pixel]);
}

LB_CLONES
static void filter_up(uint8_t *restrict out, const uint8_t *row, const uint8_t *above,
                      ptrdiff_t count)
{
    for (ptrdiff_t i = 0; i < count; i++)
        out[i] = (uint8_t)(row[i] - above[i]);
}

LB_CLONES
static void filter_average(uint8_t *restrict out, const uint8_t *row, const uint8_t *above,
                           ptrdiff_t pixel, ptrdiff_t count)
{
    for (ptrdiff_t i = 0; i < count; i++)
        out[i] = (uint8_t)(row[i] - ((row[i - pixel] + above[i]) >> 1));
}

/* 9.4: the neighbour nearest to left + above - corner; ties in that order. */
LB_CLONES
static void filter_paeth(uint8_t *restrict out, const uint8_t *row, const uint8_t *above,
                         ptrdiff_t pixel, ptrdiff_t count)
{
    for (ptrdiff_t i = 0; i < count; i++) {
        int16_t a = row[i - pixel], b = above[i], c = above[i - pixel];
        int16_t pa = (int16_t)(b - c), pb = (int16_t)(a - c), pc = (int16_t)(pa + pb);
        int16_t best, distance;

        pa = (int16_t)(pa < 0 ? -pa : pa);
        pb = (int16_t)(pb < 0 ? -pb : pb);
        pc = (int16_t)(pc < 0 ? -pc : pc);
        best = pb < pa ? b : a;
        distance = pb < pa ? pb : pa;
        best = pc < distance ? c : best;
        out[i] = (uint8_t)(row[i] - best);
    }
}

/* The sum of the bytes as signed differences: what 12.7 recommends to make small. */
LB_CLONES
static uint32_t cost_of(const uint8_t *row, ptrdiff_t count)
{
    uint32_t sum = 0;

    for (ptrdiff_t i = 0; i < count; i++) {
        uint8_t up = row[i], down = (uint8_t)-up;

        sum += up < down ? up : down;
    }
    return sum;
}

/* Filters a row in every way and keeps the one that looks smallest. */
static void filter_row(const writer *w, desk *d, uint8_t *row, const uint8_t *above, uint8_t *out)
{
    ptrdiff_t count = (ptrdiff_t)w->row_bytes, pixel = (ptrdiff_t)w->pixel_bytes;
    uint32_t least = UINT32_MAX;
    int best = 0;

    d->attempts[0] = row;
    filter_sub(d->attempts[1], row, pixel, count);
    filter_up(d->attempts[2], row, above, count);
    filter_average(d->attempts[3], row, above, pixel, count);
    filter_paeth(d->attempts[4], row, above, pixel, count);
    for (int f = 0; f < FILTERS; f++) {
        uint32_t cost = cost_of(d->attempts[f], count);

        if (cost < least) {
            least = cost;
            best = f;
        }
    }
    out[0] = (uint8_t)best;
    memcpy(out + 1, d->attempts[best], w->row_bytes);
}

static bool set_desk(const writer *w, desk *d)
{
    size_t line = (w->row_bytes + PIXEL_MOST + 63) & ~(size_t)63;
    size_t filtered = (w->row_bytes + 1) * (size_t)w->band_rows;
    size_t scratch = lb_signal_scratch(&w->signal) * sizeof(float);
    uint8_t *at;

    /* What zlib calls a bound for any setting, and the flush; more than lb_deflate_bound. */
    d->compressed_room = compressBound((uLong)filtered) + filtered / 8 + 64;
    at = lb_block_new(scratch + line * (2 + FILTERS - 1) + filtered + 2 * d->compressed_room);
    d->block = at;
    d->quick = libdeflate_alloc_compressor(6);
    if (!at || !d->quick)
        return false;
    d->scratch = (float *)(void *)at;
    at += scratch;
    for (int i = 0; i < 2; i++, at += line) {
        memset(at, 0, line);
        d->rows[i] = at + PIXEL_MOST;
    }
    for (int f = 1; f < FILTERS; f++, at += line)
        d->attempts[f] = at;
    d->filtered = at;
    d->compressed[0] = at + filtered;
    d->compressed[1] = d->compressed[0] + d->compressed_room;
    return true;
}

/* The rows of a band as integers, filtered. Its first row needs the last one of the band above. */
static size_t filter_band(const writer *w, desk *d, int32_t first, int32_t last)
{
    int32_t top = w->signal.window.y0;
    size_t put = 0;

    if (first > 0)
        lb_signal_row(&w->signal, top + first - 1, w->bits, d->scratch, d->rows[(first - 1) & 1]);
    for (int32_t y = first; y < last; y++) {
        uint8_t *row = d->rows[y & 1];

        lb_signal_row(&w->signal, top + y, w->bits, d->scratch, row);
        filter_row(w, d, row, d->rows[(y & 1) ^ 1], d->filtered + put);
        put += w->row_bytes + 1;
    }
    return put;
}

/* A search for strings, into d->compressed[1]; answers the bytes, 0: no memory. */
static size_t search(const desk *d, const uint8_t *bytes, size_t count, int level, bool is_last)
{
    z_stream stream = {.zalloc = lb_codec_zalloc, .zfree = lb_codec_zfree};
    size_t put = 0;

    if (deflateInit2(&stream, level, Z_DEFLATED, -15, 9, Z_FILTERED) != Z_OK)
        return 0;
    stream.next_in = (Bytef *)bytes;
    stream.avail_in = (uInt)count;
    stream.next_out = d->compressed[1];
    stream.avail_out = (uInt)d->compressed_room;
    deflate(&stream, is_last ? Z_FINISH : Z_FULL_FLUSH);
    if (stream.avail_in == 0 && stream.avail_out > 0)
        put = d->compressed_room - stream.avail_out;
    deflateEnd(&stream);
    return put;
}

/* Whether strings repeat: samples from the band, searched and not. libdeflate does that in half of
 * zlib's time, but its stream cannot be joined to another. */
static bool is_worth_a_search(const desk *d, size_t count, size_t samples)
{
    size_t sample = count < SAMPLE_BYTES ? count : SAMPLE_BYTES;

    for (size_t i = 1; i <= samples; i++) {
        const uint8_t *from = d->filtered + (count - sample) * i / (samples + 1);
        size_t runs = lb_deflate_runs(from, sample, true, d->compressed[1]);
        size_t strings = libdeflate_deflate_compress(d->quick, from, sample, d->compressed[1],
                                                     d->compressed_room);

        if (strings > 0 && strings + runs / SEARCH_GAIN < runs)
            return true;
    }
    return false;
}

/* The zlib header (10.1) stands in front of the first band. */
static lb_status compress_band(const desk *d, size_t count, bool is_first, bool is_last, band *out)
{
    static const uint8_t zlib_header[2] = {0x78, 0x01}; /* window 32 KiB, fastest */
    size_t head = is_first ? sizeof zlib_header : 0;
    size_t packed = lb_deflate_runs(d->filtered, count, is_last, d->compressed[0]);
    int slot = 0;

    if (packed < count / SEARCH_BELOW || is_worth_a_search(d, count, is_first && is_last ? 3 : 1)) {
        size_t other = search(d, d->filtered, count, 6, is_last);

        if (!other)
            return LB_MEMORY;
        slot = other < packed;
        packed = slot ? other : packed;
    }
    out->adler = libdeflate_adler32(1, d->filtered, count);
    out->count = CHUNK_BYTES + head + packed;
    if (!(out->chunk = lb_block_new(out->count)))
        return LB_MEMORY;
    put_chunk(out->chunk, "IDAT", zlib_header, head, d->compressed[slot], packed);
    return LB_OK;
}

static lb_status make_bands(void *context, int32_t begin, int32_t end, int32_t worker)
{
    writer *w = context;
    lb_status status = LB_OK;
    desk d;

    (void)worker;
    if (!set_desk(w, &d))
        status = LB_MEMORY;
    for (int32_t i = begin; i < end && status == LB_OK; i++) {
        int32_t first = i * w->band_rows, last = first + w->band_rows;
        bool is_last = i == w->band_count - 1;
        size_t count = filter_band(w, &d, first, is_last ? w->height : last);

        status = compress_band(&d, count, i == 0, is_last, &w->bands[i]);
    }
    libdeflate_free_compressor(d.quick);
    lb_block_free(d.block);
    return status;
}

static uint8_t *put_header(const writer *w, uint8_t *at)
{
    static const uint8_t color_types[] = {0, 0, 4, 2, 6}; /* by channels; 11.2.1 */
    uint8_t header[13] = {0};

    put_u32(header, (uint32_t)lb_box_width(w->signal.window));
    put_u32(header + 4, (uint32_t)w->height);
    header[8] = (uint8_t)w->bits;
    header[9] = color_types[w->signal.channels];
    return put_chunk(at, "IHDR", header, sizeof header, NULL, 0);
}

/* cHRM (11.3.2.1) and gAMA (11.3.2.2), for readers that know no better. */
static uint8_t *put_approximation(uint8_t *at, lb_space space, uint32_t gamma)
{
    lb_primaries p = lb_space_primaries(space);
    const double *points[] = {p.white, p.red, p.green, p.blue};
    uint8_t data[32];

    for (int i = 0; i < 8; i++)
        put_u32(data + 4 * i, (uint32_t)(points[i / 2][i % 2] * 100000 + 0.5));
    at = put_chunk(at, "cHRM", data, 32, NULL, 0);
    put_u32(data, gamma);
    return put_chunk(at, "gAMA", data, 4, NULL, 0);
}

/* What the numbers mean. cICP (11.3.2.6) holds codes of ITU-T H.273: colour primaries, transfer
 * function, matrix 0 for RGB, full range 1; it stands first because it overrides the others. sRGB
 * (11.3.2.5) has intent 1, relative colorimetric: nothing was adapted to a viewing condition; with
 * it go a gAMA of 45455 and the cHRM of Rec. 709, as that section recommends. */
static uint8_t *put_colour(uint8_t *at, lb_view view)
{
    static const uint8_t rec709[] = {1, 1, 0, 1}, display_p3[] = {12, 13, 0, 1}, intent[] = {1};

    if (view == LB_VIEW_SRGB) {
        at = put_chunk(at, "sRGB", intent, 1, NULL, 0);
        return put_approximation(at, LB_SPACE_SRGB, 45455);
    }
    if (view == LB_VIEW_REC709)
        return put_chunk(at, "cICP", rec709, 4, NULL, 0);
    if (view == LB_VIEW_DISPLAY_P3) {
        at = put_chunk(at, "cICP", display_p3, 4, NULL, 0);
        return put_approximation(at, LB_SPACE_DISPLAY_P3, 45455);
    }
    return at;
}

/* pHYs (11.3.4.3) without a unit: how many pixels wide and high the same length is. */
static uint8_t *put_aspect(uint8_t *at, double aspect)
{
    uint8_t data[9] = {0};

    if (!(aspect > 0.01 && aspect < 100) || aspect == 1)
        return at;
    put_u32(data, 1000000);
    put_u32(data + 4, (uint32_t)(aspect * 1000000 + 0.5));
    return put_chunk(at, "pHYs", data, sizeof data, NULL, 0);
}

static uint8_t *put_key(uint8_t *at, const char *key)
{
    static const char keyword[] = "lampblack.graph"; /* with the NUL that 11.3.3.2 asks for */

    return key ? put_chunk(at, "tEXt", keyword, sizeof keyword, key, strlen(key)) : at;
}

/* The bands, and the checksum of all of them behind the last. */
static uint8_t *put_bands(const writer *w, uint8_t *at)
{
    uint32_t adler = 1;
    uint8_t checksum[4];

    for (int32_t i = 0; i < w->band_count; i++) {
        const band *b = &w->bands[i];
        int32_t rows = i == w->band_count - 1 ? w->height - i * w->band_rows : w->band_rows;

        memcpy(at, b->chunk, b->count);
        at += b->count;
        adler = (uint32_t)adler32_combine(adler, b->adler,
                                          (z_off_t)((w->row_bytes + 1) * (size_t)rows));
    }
    put_u32(checksum, adler);
    return put_chunk(at, "IDAT", checksum, sizeof checksum, NULL, 0);
}

static lb_status assemble(const writer *w, void **out, size_t *count)
{
    static const uint8_t signature[] = {0x89, 'P', 'N', 'G', '\r', '\n', 0x1a, '\n'};
    const lb_write_options *options = w->delivery->options;
    size_t room = 512 + (options->graph_key ? strlen(options->graph_key) : 0);
    uint8_t *bytes, *at;

    for (int32_t i = 0; i < w->band_count; i++)
        room += w->bands[i].count;
    if (!(bytes = at = lb_alloc(room, 1)))
        return LB_MEMORY;
    memcpy(at, signature, sizeof signature);
    at = put_header(w, at + sizeof signature);
    at = put_colour(at, options->view);
    at = put_aspect(at, lb_image_pixel_aspect(w->delivery->image));
    at = put_key(at, options->graph_key);
    at = put_bands(w, at);
    at = put_chunk(at, "IEND", NULL, 0, NULL, 0);
    *out = bytes;
    *count = (size_t)(at - bytes);
    return LB_OK;
}

static lb_status lay_out(const lb_delivery *d, writer *w)
{
    lb_status status = lb_signal_open(d, true, LB_MEDIA_MAX_SIDE, &w->signal);
    size_t rows;

    if (status != LB_OK)
        return status;
    w->delivery = d;
    w->bits = d->options->depth == LB_DEPTH_16 ? 16 : 8;
    w->pixel_bytes = (size_t)w->signal.channels * (size_t)w->bits / 8;
    w->row_bytes = w->pixel_bytes * (size_t)lb_box_width(w->signal.window);
    w->height = lb_box_height(w->signal.window);
    rows = BAND_BYTES / (w->row_bytes + 1) + 1;
    w->band_rows = rows < (size_t)w->height ? (int32_t)rows : w->height;
    w->band_count = (w->height + w->band_rows - 1) / w->band_rows;
    w->bands = lb_alloc((size_t)w->band_count, sizeof *w->bands);
    if (!w->bands)
        return lb_fail(d->diag, LB_MEMORY, d->loc, "'%s': no room to encode it", d->path);
    return LB_OK;
}

lb_status lb_png_encode(const lb_delivery *d, void **out, size_t *count)
{
    writer w = {0};
    lb_status status = lay_out(d, &w);

    if (status != LB_OK)
        return status;
    status = lb_pool_for(d->pool, w.band_count, 1, make_bands, &w);
    if (status == LB_OK)
        status = assemble(&w, out, count);
    for (int32_t i = 0; i < w.band_count; i++)
        lb_block_free(w.bands[i].chunk);
    lb_free(w.bands);
    if (status != LB_OK)
        return lb_fail(d->diag, status, d->loc, "'%s' could not be encoded: %s", d->path,
                       lb_status_text(status));
    return LB_OK;
}
