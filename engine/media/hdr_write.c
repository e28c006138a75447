/* engine/media/hdr_write.c: Radiance HDR, 32-bit RLE RGBE.
 *
 * The layout is Greg Ward's: "Real Pixels", Graphics Gems II (1991), section II.5, and the file
 * format of the Radiance reference manual. Written here because stb_image_write cuts mantissas off
 * where they should be rounded, and does not check its memory. */
#include <math.h>
#include <string.h>

#include "engine/media/display.h"

#define RUN_LEAST 4 /* shorter runs cost more than they save */
#define RUN_MOST 127
#define LITERAL_MOST 128

/* Three mantissas of 8 bits and one exponent e: value = mantissa / 256 * 2^(e - 128). */
static void put_rgbe(const float *rgb, uint8_t out[4])
{
    float most = fmaxf(fmaxf(rgb[0], rgb[1]), rgb[2]);
    int exponent;
    float scale;

    memset(out, 0, 4);
    if (!(most >= 0x1p-120f)) /* smaller than the exponent goes, or NaN */
        return;
    frexpf(most, &exponent);
    scale = ldexpf(1.0f, 8 - exponent);
    if (most * scale >= 255.5f) { /* would round to 256 */
        exponent++;
        scale *= 0.5f;
    }
    for (int i = 0; i < 3; i++)
        out[i] = (uint8_t)fminf(rgb[i] * scale + 0.5f, 255.0f);
    out[3] = (uint8_t)(exponent + 128);
}

/* Values that RGBE has: not negative, not NaN, below 2^127. */
static float legal(float value)
{
    return value > 0.0f ? fminf(value, 0x1.fep126f) : 0.0f;
}

static size_t run_at(const uint8_t *bytes, size_t at, size_t count)
{
    size_t length = 1;

    while (at + length < count && length < RUN_MOST && bytes[at + length] == bytes[at])
        length++;
    return length;
}

/* One channel of a row; answers the bytes it took, at most count + count / 128 + 1. */
static size_t pack_runs(const uint8_t *bytes, size_t count, uint8_t *out)
{
    size_t at = 0, put = 0;

    while (at < count) {
        size_t run = run_at(bytes, at, count), literal = 0;

        if (run >= RUN_LEAST) {
            out[put++] = (uint8_t)(128 + run);
            out[put++] = bytes[at];
            at += run;
            continue;
        }
        while (at + literal < count && literal < LITERAL_MOST &&
               run_at(bytes, at + literal, count) < RUN_LEAST)
            literal++;
        out[put++] = (uint8_t)literal;
        memcpy(out + put, bytes + at, literal);
        put += literal;
        at += literal;
    }
    return put;
}

/* A row's pixels, RLE where the format has it: widths 8 to 32767. */
static size_t pack_row(const uint8_t *rgbe, uint8_t *channel, size_t width, uint8_t *out)
{
    size_t put = 4;

    if (width < 8 || width > 32767) {
        memcpy(out, rgbe, width * 4);
        return width * 4;
    }
    out[0] = out[1] = 2;
    out[2] = (uint8_t)(width >> 8);
    out[3] = (uint8_t)width;
    for (size_t c = 0; c < 4; c++) {
        for (size_t x = 0; x < width; x++)
            channel[x] = rgbe[4 * x + c];
        put += pack_runs(channel, width, out + put);
    }
    return put;
}

static size_t encode_row(const lb_signal *signal, int32_t y, float *const rgb[3], uint8_t *rgbe,
                         uint8_t *out)
{
    const lb_write_options *options = signal->delivery->options;
    int32_t width = lb_box_width(signal->window);
    uint8_t *channel = rgbe + 4 * (size_t)width;

    lb_signal_light_row(signal, y, rgb);
    /* Readers take the primaries to be Rec. 709's (common practice). */
    if (options->view != LB_VIEW_RAW)
        lb_space_convert_row(options->working, LB_SPACE_LINEAR_REC709, rgb[0], rgb[1], rgb[2],
                             width);
    for (int32_t x = 0; x < width; x++) {
        float pixel[3] = {legal(rgb[0][x]), legal(rgb[1][x]), legal(rgb[2][x])};

        put_rgbe(pixel, rgbe + 4 * (size_t)x);
    }
    return pack_row(rgbe, channel, (size_t)width, out);
}

lb_status lb_hdr_encode(const lb_delivery *d, void **out, size_t *count)
{
    lb_signal signal;
    lb_status status = lb_signal_open(d, false, LB_MEDIA_MAX_SIDE, &signal);
    size_t width, height, row_most;
    uint8_t *bytes, *rgbe;
    float *scratch;

    if (status != LB_OK)
        return status;
    width = (size_t)lb_box_width(signal.window);
    height = (size_t)lb_box_height(signal.window);
    row_most = 4 + 4 * (width + width / LITERAL_MOST + 1);
    bytes = lb_alloc(128 + row_most * height, 1);
    rgbe = lb_alloc(width, 5);
    scratch = lb_alloc(width, 3 * sizeof *scratch);
    if (bytes && rgbe && scratch) {
        float *const rgb[3] = {scratch, scratch + width, scratch + 2 * width};
        size_t put = (size_t)snprintf((char *)bytes, 128,
                                      "#?RADIANCE\nFORMAT=32-bit_rle_rgbe\n\n-Y %zu +X %zu\n",
                                      height, width);

        for (int32_t y = signal.window.y0; y < signal.window.y1; y++)
            put += encode_row(&signal, y, rgb, rgbe, bytes + put);
        *out = bytes;
        *count = put;
    } else {
        status = lb_fail(d->diag, LB_MEMORY, d->loc, "'%s': no room to encode it", d->path);
        lb_free(bytes);
    }
    lb_free(rgbe);
    lb_free(scratch);
    return status;
}
